"""The day as plain JSON data for a page: everything that is shown, nothing that is computed there."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from jointload.day.book import RESULTS, Book, Recorded
from jointload.day.folder.settings import Aim
from jointload.day.rider.fitting import told_stage
from jointload.day.rider.strain import CAUTIONS
from jointload.day.rider.verdict import KINDS, damaged
from jointload.insole.fitting.aim import TARGETS
from jointload.study.manifest import Trial
from jointload.study_run.batch import TRIALS

Record = dict[str, Any]
TRIAL_FILES = {
    "metrics.csv": ("Numbers", "csv"), "quality.csv": ("Checks", "csv"), "curves.csv": ("Curves", "csv"),
    "run.json": ("Record", "json"),
}  # fmt: skip
DAY = "day"
PROTOCOL = {
    "protocol.html": ("Protocol", "html"),
    "protocol.csv": ("Protocol as a table", "csv"),
    "protocol.md": ("Protocol as text", "md"),
}


@dataclass(frozen=True)
class Under:
    """What is under way beside the book: files that are being written, and what the workers are at."""

    arriving: tuple[tuple[str, int, str], ...] = ()
    searching: bool = False
    now: float = 0.0


@dataclass(frozen=True)
class Connection:
    """Whether the folder is there, since when [clock], and whether it was ever gone."""

    since: str
    there: bool = True
    was_gone: bool = False

    def told(self) -> Record:
        gone = "" if self.there else f"The folder is gone since {self.since}. Nothing is lost; it is looked for."
        back = f"The folder is back since {self.since}." if self.was_gone else ""
        return {"folder": "there" if self.there else "gone", "since": self.since, "text": gone or back}


def short_trials(book: Book) -> list[Record]:
    """Every recording in order of arrival, a short row a trial."""
    out = []
    for recorded in book.recorded.values():
        rows = book.rows(recorded.file)
        out += [_short(book, recorded, trial) for trial in rows] or [_unlisted(book, recorded)]
    return out


def _short(book: Book, recorded: Recorded, trial: Trial) -> Record:
    told = book.verdict(recorded, trial)
    job = book.job(trial)
    reason = told.get("reason", "")
    if told:
        result = book.results.get(trial.name)
        whole = trial.kind != "landing" or not recorded.whole or result is not None
        status = "done" if whole else "intervals"
    elif isinstance(job, str):
        status, reason = "waits", job
    else:
        status = "checking"
    away = False
    if told.get("numbers") and trial.name in book.verdicts:
        away = bool(book.beside(trial)["outlier"]["is"])
    return _row(recorded, trial.name, trial, status, told.get("word", ""), reason) | {"outlier": away}


def _unlisted(book: Book, recorded: Recorded) -> Record:
    """A recording that trials.csv does not list: it is asked for, was left out, or is damaged."""
    name, left = recorded.file, book.left_out.get(recorded.file)
    if left is not None:
        return _row(recorded, name, left, "left_out", "", f"Left out: {left.reason}") | {"outlier": False}
    if not recorded.whole:
        told = _damaged(recorded)
        return _row(recorded, name, None, "done", "again", told["reason"]) | {"outlier": False}
    return _row(recorded, name, None, "asked", "", "Whose is it?") | {"outlier": False}


def _row(recorded: Recorded, name: str, of: Any, status: str, word: str, reason: str) -> Record:
    return {
        "name": name, "file": recorded.file, "order": recorded.order, "at": recorded.at,
        "rider": getattr(of, "rider", ""), "kind": getattr(of, "kind", recorded.kind),
        "condition": getattr(of, "condition", ""), "landing": getattr(of, "landing", 1),
        "version": recorded.version, "status": status, "word": word, "reason": reason,
    }  # fmt: skip


def _damaged(recorded: Recorded) -> Record:
    return damaged(recorded.file, recorded.problem)


def whole_trial(book: Book, name: str) -> Record:
    """Everything of one trial; KeyError if there is none."""
    for recorded in book.recorded.values():
        for trial in book.rows(recorded.file):
            if trial.name == name:
                return _whole(book, recorded, trial)
        if recorded.file == name:
            told = {} if recorded.whole else _damaged(recorded)
            return _filled(_unlisted(book, recorded), told, recorded)
    raise KeyError(name)


def _whole(book: Book, recorded: Recorded, trial: Trial) -> Record:
    told = book.verdict(recorded, trial)
    row = _filled(_short(book, recorded, trial), told, recorded)
    if told.get("numbers") and trial.name in book.verdicts:
        row |= book.beside(trial)
    row["files"] = [
        {"key": f"trial/{trial.name}/{name}", "text": text, "kind": kind}
        for name, (text, kind) in TRIAL_FILES.items()
        if trial.name in book.results and book.results[trial.name].told["status"] != "refused"
    ]
    return row


def _filled(row: Record, told: Record, recorded: Recorded) -> Record:
    nothing: Record = {
        "seconds": None, "title": "", "advice": "", "checks": [], "numbers": [], "outlier": {"is": False, "text": ""},
        "settled": {"word": "", "text": ""}, "variation": {"text": ""},
        "further": {"landings": None, "quantity": "", "text": ""},
    }  # fmt: skip
    kept = {name: told[name] for name in ("seconds", "title", "advice", "checks", "numbers") if name in told}
    return row | nothing | kept | {"versions": list(recorded.versions), "files": []}


# Questions ----------------------------------------------------------------------------------------------------------


def questions(book: Book) -> list[Record]:
    """Recordings whose rider or condition a person must say, with what their names propose."""
    return [_question(book, recorded) for recorded in book.unanswered()]


def _question(book: Book, recorded: Recorded) -> Record:
    words = PurePosixPath(recorded.file).stem.lower()
    last = next((trial for _, trial in reversed(list(book.trials()))), None)
    named = [rider for rider in book.study.riders if rider.lower() in words]
    rider = max(named, key=len) if named else last.rider if last is not None else ""
    conditions = [name for name in known_conditions(book) if name.lower() in words]
    condition = max(conditions, key=len) if conditions else ""
    if not condition and last is not None and recorded.kind == "landing" and last.kind == "landing":
        condition = last.condition
    earlier = next((trial.file for trial in book.study.of_rider[rider, "static"] if trial.condition == ""), "")
    same = next(
        (one.file for one in book.recorded.values() if one is not recorded and one.sha256 == recorded.sha256), ""
    )
    return {
        "file": recorded.file,
        "at": recorded.at,
        "kind": recorded.kind,
        "kind_sure": recorded.sure,
        "rider": rider,
        "condition": condition if recorded.kind == "landing" else "",
        "why": f"the same content as {same}" if same else "not in trials.csv",
        "earlier": earlier if recorded.kind == "static" else "",
    }


def known_conditions(book: Book) -> list[str]:
    """Conditions of the plan and of the landings, in this order."""
    planned = [row["condition"] for row in book.plan()["rows"]]
    seen = [trial.condition for trial in book.study.landings]
    return list(dict.fromkeys(name for name in [*planned, *seen, *book.settings.shapes] if name))


# The whole ----------------------------------------------------------------------------------------------------------


def protocol_files(folder: Path) -> list[Record]:
    """The protocol's files that are there."""
    there = (name for name in PROTOCOL if (folder / DAY / name).is_file())
    return [{"key": name, "text": PROTOCOL[name][0], "kind": PROTOCOL[name][1]} for name in there]


def told_day(book: Book, under: Under) -> Record:
    """What follows from the book; the engine adds what it alone knows."""
    rows = short_trials(book)
    return {
        "riders": [_rider(book, rider) for rider in book.study.riders],
        "conditions": known_conditions(book),
        "kinds": list(KINDS),
        "targets": list(TARGETS),
        "plan": book.plan(),
        "questions": questions(book),
        "arriving": [{"file": file, "size": size, "text": text} for file, size, text in under.arriving],
        "trials": rows,
        "latest": whole_trial(book, _latest(rows)) if rows else None,
        "fitting": _fitting(book, under.searching),
        "session": book.session(under.now),
        "cautions": list(CAUTIONS),
        "faults": list(book.faults),
    }


def _latest(rows: list[Record]) -> str:
    """The newest trial whose verdict is known or on its way; a left out one is no news."""
    shown = [row for row in rows if row["status"] != "left_out"] or rows
    return str(shown[-1]["name"])


def _rider(book: Book, name: str) -> Record:
    rider = book.study.riders[name].rider
    static = next((trial for trial in reversed(book.study.of_rider[name, "static"])), None)
    recorded = book.recorded.get(static.file) if static is not None else None
    word = book.verdict(recorded, static).get("word", "") if recorded is not None and static is not None else ""
    return {
        "id": name, "mass_kg": rider.mass, "height_m": rider.height, "stance": rider.stance,
        "static": recorded.file if recorded is not None else "", "static_word": word,
    }  # fmt: skip


def _fitting(book: Book, searching: bool) -> Record | None:
    if book.aim is None:
        return None
    stage = book.stage(searching)
    files = [
        {"key": f"fit/{one['path']}", "text": one["text"], "kind": one["kind"]}
        for one in (stage.found or {}).get("files", ())
    ]
    left = sum(row["left"] for row in book.plan()["rows"] if row["rider"] == book.aim.rider)
    return told_stage(stage, left) | {"files": files}


# Files that may be handed out ---------------------------------------------------------------------------------------


def file_of(book: Book, key: str) -> Path:
    """The file behind a key that the page was told; KeyError for every other."""
    kind, _, rest = key.partition("/")
    if key in PROTOCOL:
        return book.folder / DAY / key
    if kind == "trial":
        name, _, file = rest.rpartition("/")
        if any(one["key"] == key for one in whole_trial(book, name)["files"]):
            return book.folder / RESULTS / TRIALS / name / file
    if (
        kind == "fit"
        and book.aim is not None
        and any(one["key"] == key for one in (_fitting(book, False) or {})["files"])
    ):
        return book.folder / DAY / fit_folder(book.aim) / rest
    raise KeyError(key)


def fit_folder(aim: Aim) -> str:
    """The folder of a fit: letters, digits and dashes of the rider, the foot, the target."""
    words = "_".join((aim.rider, aim.side, aim.target))
    return "fit_" + "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in words)

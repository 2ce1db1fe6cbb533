"""A study folder: study.toml, riders.csv, trials.csv and labels.toml, with the recordings beside them.

Everything is read and checked before anything is analysed, and every fault is told at once.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path, PurePosixPath
from typing import Any, Literal, get_args

from jointload.errors import InputError, StudyError, expected_found, not_read
from jointload.intake.labels import read_labels
from jointload.intake.rider import Rider, rider_from
from jointload.settings import Settings
from jointload.study.beneath import BENEATH_COLUMNS, beneath_of, check_beneath, is_inside
from jointload.study.plan import Plan, read_plan

SETTINGS_FILE, RIDERS_FILE, TRIALS_FILE, LABELS_FILE = "study.toml", "riders.csv", "trials.csv", "labels.toml"
HOW = "write it; `jointload guide study` says how"
Kind = Literal["static", "landing", "hip_movement"]
RIDER_COLUMNS = ("id", "mass_kg", "height_m", "sex", "stance", "shoe", "group", "labels")
MEASUREMENTS = ("leg_length_m", "foot_length_m", "marker_radius_m")
INSISTS = "same_person"
"""Column of trials.csv by which a standing trial is insisted to be its rider's."""
TRIAL_COLUMNS = ("file", "rider", "kind", "condition", "style", "task", "landing", "note", INSISTS, *BENEATH_COLUMNS)


@dataclass(frozen=True)
class Trial:
    """One row of trials.csv; name is that of its result folder, landing which of the file's landings is meant.

    beneath : column -> file of the board and the pressure insoles under the feet
    same_person : whether a standing trial is insisted to be its rider's, whatever speaks against it
    """

    name: str
    file: str
    rider: str
    kind: Kind
    condition: str
    style: str
    task: str
    landing: int
    line: int
    beneath: dict[str, str] = field(default_factory=dict)
    same_person: bool = False


@dataclass(frozen=True)
class StudyRider:
    """One row of riders.csv: the rider, the group for a comparison between riders, the file that names the markers."""

    rider: Rider
    group: str
    labels: str


@dataclass(frozen=True)
class Study:
    """A checked study folder."""

    folder: Path
    plan: Plan
    riders: dict[str, StudyRider]
    trials: tuple[Trial, ...]

    @property
    def landings(self) -> tuple[Trial, ...]:
        """The trials that are analysed, in the order of their names."""
        return tuple(sorted((t for t in self.trials if t.kind == "landing"), key=lambda t: t.name))

    def helper(self, trial: Trial, kind: Kind) -> Trial | None:
        """The rider's static or hip movement trial of the same condition, else the one without a condition, else the
        only one."""
        found = self.of_rider[trial.rider, kind]
        by_condition = {other.condition: other for other in found}
        only = found[0] if len(found) == 1 else None
        return by_condition.get(trial.condition) or by_condition.get("") or only

    @cached_property
    def of_rider(self) -> dict[tuple[str, Kind], list[Trial]]:
        """(rider, kind) -> that rider's trials of the kind."""
        out: dict[tuple[str, Kind], list[Trial]] = defaultdict(list)
        for trial in self.trials:
            out[trial.rider, trial.kind].append(trial)
        return out


def read_study(folder: str | Path) -> Study:
    """Read and check a study folder; StudyError holds every fault of it."""
    study, faults = survey(folder)
    if faults:
        raise StudyError(faults)
    return study


def survey(folder: str | Path, unfinished: bool = False) -> tuple[Study, list[str]]:
    """What a study folder holds, as far as it can be read, and every fault of it.

    unfinished : the study is being recorded: what is not there yet is no fault
    """
    folder = Path(folder)
    faults: list[str] = []
    if not folder.is_dir():
        advice = f"give a folder that holds {SETTINGS_FILE}, {RIDERS_FILE}, {TRIALS_FILE} and the recordings"
        faults.append(expected_found("study", "a folder", "none", str(folder), advice))
        return Study(folder, Plan("", "", Settings()), {}, ()), faults
    plan = read_plan(folder / SETTINGS_FILE, faults)
    riders = _read_riders(folder, faults)
    if unfinished and not (folder / TRIALS_FILE).exists():
        return Study(folder, plan, riders, ()), list(dict.fromkeys(faults))
    trials = _read_trials(folder, plan.task, faults, least=0 if unfinished else 1)
    study = Study(folder, plan, riders, tuple(trials))
    if riders and trials:
        _check_together(study, faults, unfinished)
    return study, list(dict.fromkeys(faults))


# riders.csv and trials.csv ------------------------------------------------------------------------------------------


def _rows(
    path: Path, needed: tuple[str, ...], known: tuple[str, ...], faults: list[str], least: int = 1
) -> list[dict[str, str]]:
    """Rows of a CSV file with commas or semicolons, cells stripped; '#line' is the line of the file."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as problem:
        faults.append(not_read("study", f"a readable {path.name}", problem, path, HOW))
        return []
    except UnicodeDecodeError as problem:
        faults.append(expected_found("study", "text in UTF-8", problem, str(path), "save it as UTF-8"))
        return []
    head = text.partition("\n")[0]
    reader = csv.DictReader(text.splitlines(), delimiter=";" if ";" in head and "," not in head else ",")
    columns = [(name or "").strip() for name in reader.fieldnames or []]
    reader.fieldnames = columns
    missing, unknown = [n for n in needed if n not in columns], [n for n in columns if n not in known]
    if missing or unknown:
        found = "; ".join(
            part for part in (", ".join(missing) and f"no {', '.join(missing)}", ", ".join(map(repr, unknown))) if part
        )
        faults.append(expected_found("columns", ", ".join(known), found, str(path), "correct the first line"))
        return []
    rows = [
        {key: (value or "").strip() for key, value in row.items() if key is not None}
        | {"#line": str(reader.line_num), "#more": "yes" if None in row else ""}
        for row in reader
    ]
    for row in rows:
        if row["#more"]:
            where = f"{path} line {row['#line']}"
            faults.append(
                expected_found("row", f"{len(columns)} cells", "more", where, "put a cell with a comma in quotes")
            )
    if len(rows) < least:
        faults.append(expected_found("study", "one row or more", "none", str(path), "fill it in"))
    return [row for row in rows if not row["#more"]]


def _read_riders(folder: Path, faults: list[str]) -> dict[str, StudyRider]:
    path = folder / RIDERS_FILE
    riders: dict[str, StudyRider] = {}
    known = RIDER_COLUMNS + MEASUREMENTS
    for row in _rows(path, ("id", "mass_kg", "height_m", "sex"), known, faults):
        where = f"{path} line {row['#line']}"
        content: dict[str, Any] = {key: row[key] for key in ("id", "sex", "stance", "shoe") if row.get(key)}
        for key in ("mass_kg", "height_m"):
            content[key] = _number(row[key])
        content["measurements"] = {key: _number(row[key]) for key in MEASUREMENTS if row.get(key)}
        not_numbers = [key for key, value in content["measurements"].items() if not isinstance(value, float)]
        if not_numbers:
            faults.append(expected_found("measurements", "numbers", ", ".join(not_numbers), where, "correct them"))
            continue
        try:
            rider = rider_from(content, where)
        except InputError as problem:
            faults.append(str(problem))
            continue
        if rider.id in riders:
            faults.append(expected_found("rider", "each id once", f"{rider.id} again", where, "join the two rows"))
        riders[rider.id] = StudyRider(rider, row.get("group", ""), row.get("labels", "") or LABELS_FILE)
    return riders


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def _read_trials(folder: Path, usual_task: str, faults: list[str], least: int) -> list[Trial]:
    path = folder / TRIALS_FILE
    trials = []
    for row in _rows(path, ("file", "rider", "kind", "condition"), TRIAL_COLUMNS, faults, least):
        where = f"{path} line {row['#line']}"
        file, kind, landing = row["file"].replace("\\", "/"), row["kind"], row.get("landing", "") or "1"
        wrong = len(faults)
        if kind not in get_args(Kind):
            faults.append(expected_found("kind", " or ".join(get_args(Kind)), repr(kind), where, "correct it"))
        if not is_inside(file):
            faults.append(
                expected_found("file", "a path inside the study folder", repr(file), where, "move the recording there")
            )
        if not landing.isdigit() or not 1 <= int(landing) <= 99:
            faults.append(expected_found("landing", "a number from 1", repr(landing), where, "correct it"))
        if kind == "landing" and not row["condition"]:
            faults.append(
                expected_found("condition", "a word, such as flat", "none", where, "say under what it was landed")
            )
        insisted = row.get(INSISTS, "")
        if insisted not in ("", "yes") or (insisted and kind != "static"):
            advice = "it insists that a standing trial is this rider's"
            faults.append(
                expected_found(INSISTS, "nothing, or yes in a row of kind static", repr(insisted), where, advice)
            )
        if len(faults) == wrong:
            name = PurePosixPath(file).with_suffix("").as_posix().replace("/", "__")
            suffix = f"__landing_{landing}" if landing != "1" else ""
            trials.append(
                Trial(
                    name + suffix,
                    file,
                    row["rider"],
                    kind,  # type: ignore[arg-type]
                    row["condition"],
                    row.get("style", ""),
                    row.get("task", "") or usual_task,
                    int(landing),
                    int(row["#line"]),
                    beneath_of(row, folder, where, faults),
                    bool(insisted),
                )
            )
    return trials


# What must fit together ---------------------------------------------------------------------------------------------


def _check_together(study: Study, faults: list[str], unfinished: bool) -> None:
    path = study.folder / TRIALS_FILE
    _check_riders(study, path, faults)
    _check_names(study, path, faults)
    _check_helpers(study, path, faults)
    _check_case(study, faults)
    check_beneath(study.folder, (trial.beneath for trial in study.trials), faults)
    if not unfinished:
        _check_complete(study, path, faults)
    _check_labels(study, faults)


def _check_complete(study: Study, path: Path, faults: list[str]) -> None:
    """Every recording is there, every rider has a landing, every landing a standing trial."""
    for rider in sorted(rider for rider in study.riders if not study.of_rider[rider, "landing"]):
        faults.append(
            expected_found(
                "rider",
                "a landing of each rider",
                f"none of {rider}",
                str(study.folder / RIDERS_FILE),
                "add one or drop the rider",
            )
        )
    for trial in study.trials:
        if not (study.folder / trial.file).is_file():
            where = f"{path} line {trial.line}"
            faults.append(
                expected_found("file", f"{trial.file} in the study folder", "no such file", where, "add or correct it")
            )
    for rider in sorted(study.riders):
        bare = sorted({t.condition for t in study.of_rider[rider, "landing"] if study.helper(t, "static") is None})
        if bare:
            advice = "add a row of kind static for the rider"
            faults.append(
                expected_found(
                    f"static of {rider}", "one standing trial", f"none for {', '.join(bare)}", str(path), advice
                )
            )
    if not study.landings:
        faults.append(expected_found("trials", "one landing or more", "none", str(path), "add rows of kind landing"))


def _check_labels(study: Study, faults: list[str]) -> None:
    for name in sorted({rider.labels for rider in study.riders.values()}):
        try:
            read_labels(study.folder / name)
        except InputError as problem:
            faults.append(str(problem))


def _check_riders(study: Study, path: Path, faults: list[str]) -> None:
    for trial in study.trials:
        if trial.rider not in study.riders:
            known = ", ".join(sorted(study.riders)[:8]) + (" ..." if len(study.riders) > 8 else "")
            where = f"{path} line {trial.line}"
            faults.append(
                expected_found(
                    "rider", f"one of {RIDERS_FILE} ({known})", repr(trial.rider), where, "add or correct it"
                )
            )


def _check_names(study: Study, path: Path, faults: list[str]) -> None:
    by_file: dict[tuple[str, int], list[Trial]] = defaultdict(list)
    by_name: dict[str, list[Trial]] = defaultdict(list)
    for trial in study.trials:
        by_file[PurePosixPath(trial.file).as_posix(), trial.landing].append(trial)
        by_name[trial.name].append(trial)
    for (file, _), trials in by_file.items():
        if len(trials) > 1:
            lines = " and ".join(str(t.line) for t in trials)
            advice = "correct the file, or give each row its number in a column landing where one file holds several"
            faults.append(
                expected_found("file", "one trial of each", f"{len(trials)} of {file}", f"{path} lines {lines}", advice)
            )
    for name, trials in by_name.items():
        files = sorted({t.file for t in trials})
        if len(files) > 1:
            found = f"{' and '.join(files)}, both {name}"
            faults.append(expected_found("file", "a result name of its own each", found, str(path), "rename one"))


def _check_helpers(study: Study, path: Path, faults: list[str]) -> None:
    """Each rider at most one static and one hip movement for each condition."""
    helpers: tuple[Kind, ...] = ("static", "hip_movement")
    for rider in sorted(study.riders):
        for kind in helpers:
            conditions = [t.condition for t in study.of_rider[rider, kind]]
            for twice in sorted({c for c in conditions if conditions.count(c) > 1}):
                under = f"of condition {twice}" if twice else "without a condition"
                message = expected_found(
                    f"{kind} of {rider}",
                    f"one {under}",
                    conditions.count(twice),
                    str(path),
                    "keep one, or name the condition of each",
                )
                faults.append(message)


def _check_case(study: Study, faults: list[str]) -> None:
    """Names that differ by case or blanks alone are one thing to a reader, and one file to some file systems."""
    trials, riders = study.folder / TRIALS_FILE, study.folder / RIDERS_FILE
    columns: dict[str, tuple[Path, Callable[[Trial], str]]] = {
        "file": (trials, lambda t: t.file),
        "condition": (trials, lambda t: t.condition),
        "style": (trials, lambda t: t.style),
        "task": (trials, lambda t: t.task),
    }
    named = [(what, path, {word(t) for t in study.trials}) for what, (path, word) in columns.items()]
    named.append(("rider", trials, {*study.riders, *(t.rider for t in study.trials)}))
    named.append(("group", riders, {rider.group for rider in study.riders.values()}))
    for what, path, words in named:
        alike: dict[str, list[str]] = defaultdict(list)
        for one in sorted(words):
            alike[" ".join(one.casefold().split())].append(one)
        for spellings in alike.values():
            if len(spellings) > 1:
                found = " and ".join(repr(one) for one in spellings)
                faults.append(expected_found(what, "one spelling of each name", found, str(path), "write it one way"))

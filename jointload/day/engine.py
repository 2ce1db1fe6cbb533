"""A recording day: open this file first. It watches a study folder, hands what arrives to workers, keeps the book, and
tells whoever asks; nothing of it is lost when the process is killed at any moment.

What is on the disk is the truth: recordings, trials.csv, plan.csv, results/, and day/journal.jsonl for what these do
not say. Opened again the day goes on from there.
"""

from __future__ import annotations

import contextlib
import json
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any

from jointload.day.arrivals import LOOK_SECONDS, LOOK_SHARE, Arrivals, Look, Ready, Stamp, Waker, stamp_of
from jointload.day.book import Book, Kept, LeftOut, Recorded
from jointload.day.fitting import FLAT, Fitting, enough_shapes, fitted
from jointload.day.journal import Journal
from jointload.day.lanes import Done, Lane, Lanes, worker_lanes
from jointload.day.protocol import write_protocol
from jointload.day.replay import Replay
from jointload.day.results import Result, whole_day, written
from jointload.day.settings import DAY_FILE, Aim, checked_aim, read_day_settings
from jointload.day.state import DAY, PROTOCOL, Under, file_of, fit_folder, told_day, whole_trial
from jointload.day.tables import (
    PLAN_FILE,
    Want,
    clear_drafts,
    conditions_text,
    read_wants,
    wants_text,
    with_trial,
    without_trial,
    write_safely,
)
from jointload.day.verdict import KINDS, Asked, FirstLook, judged, recognised, refusal
from jointload.errors import InputError, SettingError, StudyError, expected_found
from jointload.study.manifest import LABELS_FILE, RIDERS_FILE, SETTINGS_FILE, TRIALS_FILE, Study, survey
from jointload.study.plan import read_plan
from jointload.study_run.trial import Job

FORMAT = 1
AGAIN_SECONDS = 3.0
"""Pause before something that could not be written is tried again (choice)."""
REMIND_SECONDS = 5.0
"""How often the reminders of a rest are looked at (choice)."""
TABLES = (SETTINGS_FILE, RIDERS_FILE, LABELS_FILE, TRIALS_FILE, PLAN_FILE, DAY_FILE)
DIED = "reading it ended the program that read it, again and again; export it anew"
Record = dict[str, Any]


@dataclass(frozen=True)
class DayOptions:
    """plan : plan.csv in place of the folder's;  replay : a study folder that is played into this one, `speed` times as
    fast;  ask : without its trials.csv, so that every recording is asked for;  poll : look by polling alone"""

    plan: Path | None = None
    replay: Path | None = None
    speed: float = 1.0
    ask: bool = False
    poll: bool = False


@dataclass
class _Disk:
    """What could not be written yet, and when it is tried again (monotonic)."""

    edits: list[Callable[[str], str]] = field(default_factory=list)
    files: set[str] = field(default_factory=set)
    text: str = ""
    retry: float = 0.0


class Day:
    """One recording day of a study folder. Every method may be called from any thread.

    StudyError lists what is wrong with study.toml, riders.csv and labels.toml; SettingError is one line on plan.csv,
    day.toml or the replay.
    """

    def __init__(
        self,
        folder: str | Path,
        options: DayOptions | None = None,
        lanes: Callable[[], Lanes] = worker_lanes,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.options, self._make_lanes, self._clock = options or DayOptions(), lanes, clock
        self.folder = Path(folder).absolute()
        asked = self.options
        self._replay = Replay(asked.replay, self.folder, asked.speed, asked.ask) if asked.replay is not None else None
        study, faults = survey(self.folder, unfinished=True)
        if (faults and not study.riders) or not (self.folder / SETTINGS_FILE).is_file():
            raise StudyError(faults)
        settings = read_day_settings(self.folder / DAY_FILE)
        self.book = Book(self.folder, study, settings, time.strftime("%Y-%m-%d"), self._wants(), faults)
        self.book.aim = settings.fitting
        self.started = time.strftime("%H:%M")
        self._journal, self._disk = Journal(self.folder), _Disk()
        self._arrivals = Arrivals(self.folder, (SETTINGS_FILE, RIDERS_FILE, LABELS_FILE), clock)
        self._lanes: Lanes | None = None
        self._stamps: dict[str, Stamp | None] = self._table_stamps()
        self._looks: dict[str, Ready] = {}
        self._asked: dict[str, tuple[str, dict[str, Stamp]]] = {}
        self._fits: dict[str, Record] = {}
        self._there, self._since, self._was_gone = True, self.started, False
        self._under, self._end = Under(), {"stage": "open", "text": "", "faults": []}
        self._ending = False
        self._lock = threading.RLock()
        self._news = threading.Condition(self._lock)
        self._revision, self._told = 1, (0, "")
        self._dirty, self._reminded, self._remind_at = True, "", 0.0
        self._threads: list[threading.Thread] = []
        self._stopping = threading.Event()
        self._load()

    # Life ---------------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Begin to watch. The workers are started; the first verdict needs no warm-up."""
        self._waker = Waker(self.folder, self.options.poll)
        thread = threading.Thread(target=self._run, name="recording day", daemon=True)
        self._threads = [thread]
        thread.start()
        if self._replay is not None:
            self._replay.start(self._changed)

    def close(self) -> None:
        """End at once; what is under way is done again the next time."""
        if not self._threads or self._stopping.is_set():
            return
        self._stopping.set()
        if self._replay is not None:
            self._replay.stop()
        self._waker.stop()
        for thread in self._threads:
            thread.join()
        for lane in self._lanes or ():
            lane.close()
        self._changed()

    def __enter__(self) -> Day:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # What is told -------------------------------------------------------------------------------------------------

    @property
    def revision(self) -> int:
        with self._lock:
            return self._revision

    def wait_for_change(self, after: int, timeout: float) -> int:
        """The revision once it is beyond `after`, or after `timeout` [s]."""
        with self._news:
            self._news.wait_for(lambda: self._revision > after or self._stopping.is_set(), timeout)
            return self._revision

    def state(self) -> Record:
        """The whole day as plain data, a copy."""
        with self._lock:
            if self._told[0] != self._revision:
                self._told = self._revision, json.dumps(self._state())
            text = self._told[1]
        return dict(json.loads(text))

    def trial(self, name: str) -> Record:
        """The whole of one trial; KeyError if unknown."""
        with self._lock:
            return dict(json.loads(json.dumps(whole_trial(self.book, name))))

    def file(self, key: str) -> Path:
        """The file behind a key that `state` or `trial` lists; KeyError for every other."""
        with self._lock:
            path = file_of(self.book, key)
        if not path.is_file():
            raise KeyError(key)
        return path

    def _state(self) -> Record:
        book, disk, replay = self.book, self._disk, self._replay
        under = Under(self._under.arriving, bool(self._fits), self._clock())
        gone = "" if self._there else f"The folder is gone since {self._since}. Nothing is lost; it is looked for."
        files = [
            {"key": name, "text": text, "kind": kind}
            for name, (text, kind) in PROTOCOL.items()
            if (self.folder / DAY / name).is_file()
        ]
        return {
            "format": FORMAT,
            "revision": self._revision,
            "study": {
                "name": book.study.plan.name, "folder": str(self.folder), "date": book.today, "started": self.started,
                "replay": replay is not None,
            },
            "connection": {
                "folder": "there" if self._there else "gone",
                "since": self._since,
                "text": gone or (f"The folder is back since {self._since}." if self._was_gone else ""),
            },
            "disk": {"full": bool(disk.text), "waiting": len(disk.edits), "text": disk.text},
            **told_day(book, under),
            "end": self._end | {"files": files},
            "replay": None
            if replay is None
            else {"playing": replay.playing, "done": replay.done, "of": len(replay.files), "text": replay.text},
        }  # fmt: skip

    def _changed(self) -> None:
        with self._news:
            self.book.touched()
            self._revision += 1
            self._news.notify_all()

    # What is answered ---------------------------------------------------------------------------------------------

    def answer(
        self,
        file: str,
        rider: str,
        kind: str = "landing",
        condition: str = "",
        landing: int = 1,
        replaces: bool = False,
    ) -> None:
        """Say whose a recording is: trials.csv has it when this returns, or it waits for room on the disk.

        replaces : a standing trial or hip movement takes the place of the rider's earlier one
        SettingError in one line when it cannot be.
        """
        with self._lock:
            condition = self._checked_answer(file, rider, kind, condition.strip(), landing)
            earlier = self._earlier_helper(file, rider, kind, condition)
            if earlier and not replaces:
                found = f"{earlier} already"
                advice = "say that this one takes its place, or name the condition of each"
                raise SettingError(expected_found(KINDS[kind], "one of each rider", found, rider, advice))
            cells = {"file": file, "rider": rider, "kind": kind, "condition": condition, "landing": str(landing)}
            with_trial(self._trials_text(), cells)
            self._note("answered", file=file)
            self.book.left_out.pop(file, None)
            if earlier:
                self._leave(earlier, f"{file} took its place")
            self._edit(lambda text: with_trial(text, cells))

    def leave_out(self, file: str, reason: str) -> None:
        """Take the rows of a recording from trials.csv; the recording stays. An answer brings it back."""
        with self._lock:
            if file not in self.book.recorded:
                raise SettingError(
                    expected_found("recording", "one of this day", repr(file), "the folder", "choose one")
                )
            if not reason.strip():
                raise SettingError(expected_found("reason", "a few words", "none", file, "say why it is left out"))
            self._leave(file, " ".join(reason.split()))

    def want(self, rider: str, condition: str, landings: int) -> None:
        """Change the plan: how many usable landings of a rider and condition are wanted, 0 for none."""
        with self._lock:
            if rider not in self.book.study.riders or not condition.strip() or not 0 <= landings <= 99:
                found = f"{rider!r}, {condition!r}, {landings}"
                expected = "a rider of riders.csv, a condition and 0 to 99 landings"
                raise SettingError(expected_found("plan", expected, found, "the page", "correct it"))
            shown = [(row["rider"], row["condition"], row["needed"]) for row in self.book.plan()["rows"]]
            rows = list(self.book.wants if self.book.wants is not None else shown)
            wanted: list[Want] = [row for row in rows if row[:2] != (rider, condition.strip()) or landings]
            wanted = [(*row[:2], landings) if row[:2] == (rider, condition.strip()) else row for row in wanted]
            if landings and (rider, condition.strip()) not in [row[:2] for row in wanted]:
                wanted.append((rider, condition.strip(), landings))
            self._write(self._plan_path, wants_text(wanted))
            self.book.wants = tuple(wanted)
            self._touch()

    def fit(self, rider: str, side: str, target: str = Aim.target) -> None:
        """Begin the fitting of a rider's foot; SettingError when rider, side or target is unknown."""
        aim = checked_aim({"rider": rider, "side": side, "target": target}, "the page")
        with self._lock:
            if rider not in self.book.study.riders:
                known = ", ".join(self.book.study.riders)
                raise SettingError(expected_found("rider", known, repr(rider), RIDERS_FILE, "choose one"))
            self.book.aim = aim
            self._note("aim", **asdict(aim))
            self._touch()

    def stop_fitting(self) -> None:
        with self._lock:
            self.book.aim = None
            self._note("aim")
            self._touch()

    def finish(self) -> None:
        """End of the day: when all that was recorded is analysed, the study is run and the protocol written. Returns at
        once; the day may go on and be finished again."""
        with self._lock:
            self._ending = True
            self._end = {"stage": "running", "text": "The study is being completed.", "faults": []}
            self._touch()

    def _checked_answer(self, file: str, rider: str, kind: str, condition: str, landing: int) -> str:
        """The condition in the spelling that is used already."""
        book = self.book
        faults = [
            ("recording", "one of this day", repr(file), file in book.recorded),
            ("rider", ", ".join(book.study.riders), repr(rider), rider in book.study.riders),
            ("kind", ", ".join(KINDS), repr(kind), kind in KINDS),
            ("condition", "a word, such as flat", "none", bool(condition) or kind != "landing"),
            ("landing", "a number from 1 to 99", repr(landing), isinstance(landing, int) and 1 <= landing <= 99),
        ]
        for what, expected, found, good in faults:
            if not good:
                raise SettingError(expected_found(what, expected, found, file, "choose one"))
        known = {" ".join(trial.condition.casefold().split()): trial.condition for trial in book.study.trials}
        known |= {" ".join(name.casefold().split()): name for _, name, _ in book.wants or ()}
        return known.get(" ".join(condition.casefold().split()), " ".join(condition.split()))

    def _earlier_helper(self, file: str, rider: str, kind: str, condition: str) -> str:
        """The rider's other standing trial or hip movement of the condition; of a landing there may be many."""
        if kind == "landing":
            return ""
        others = (trial for trial in self.book.study.trials if (trial.rider, trial.kind) == (rider, kind))
        return next((one.file for one in others if one.condition == condition and one.file != file), "")

    def _leave(self, file: str, reason: str) -> None:
        row = next(iter(self.book.rows(file)), None)
        whose = {} if row is None else {"rider": row.rider, "kind": row.kind, "condition": row.condition}
        left = LeftOut(reason, **whose)
        self.book.left_out[file] = left
        self._note("left_out", file=file, **asdict(left))
        self._edit(lambda text: without_trial(text, file))

    # Writing ------------------------------------------------------------------------------------------------------

    def _trials_text(self) -> str:
        try:
            return (self.folder / TRIALS_FILE).read_text(encoding="utf-8-sig")
        except FileNotFoundError:
            return ""
        except (OSError, UnicodeDecodeError) as problem:
            raise SettingError(
                expected_found(
                    "trials.csv", "a text that can be read", str(problem), str(self.folder), "close it elsewhere"
                )
            ) from None

    def _edit(self, edit: Callable[[str], str]) -> None:
        """Change trials.csv; where it cannot be written now, the change waits for it."""
        self._disk.edits.append(edit)
        self._flush_edits()
        self._touch()

    def _flush_edits(self) -> None:
        disk = self._disk
        if not disk.edits:
            return
        try:
            text = self._trials_text()
            for edit in disk.edits:
                text = edit(text)
            write_safely(self.folder / TRIALS_FILE, text)
        except (OSError, SettingError) as problem:
            self._cannot_write(TRIALS_FILE, problem)
            return
        disk.edits.clear()
        self._written(TRIALS_FILE)
        self._reread()

    def _note(self, what: str, **told: Any) -> None:
        try:
            self._journal.add(what, **told)
            self._written(DAY)
        except OSError as problem:
            self._cannot_write(DAY, problem)

    def _write(self, path: Path, text: str) -> None:
        """A table that a person asked for: SettingError where it cannot be written."""
        try:
            write_safely(path, text)
        except OSError as problem:
            found, advice = problem.strerror or str(problem), "make room, and say it again"
            raise SettingError(expected_found(path.name, "a place to write", found, str(path.parent), advice)) from None

    def _cannot_write(self, what: str, problem: Exception) -> None:
        why = getattr(problem, "strerror", None) or str(problem)
        self._disk.files.add(what)
        self._disk.text = f"{what} cannot be written: {why}. Nothing is lost while this program runs; make room."
        self._disk.retry = self._clock() + AGAIN_SECONDS
        self._changed()

    def _written(self, what: str) -> None:
        self._disk.files.discard(what)
        if not self._disk.files and self._disk.text:
            self._disk.text = ""
            self._changed()

    def _touch(self) -> None:
        self._dirty = True
        self._changed()
        if self._threads:
            self._waker.wake()

    # Tables -------------------------------------------------------------------------------------------------------

    @property
    def _plan_path(self) -> Path:
        return self.options.plan or self.folder / PLAN_FILE

    def _wants(self) -> tuple[Want, ...] | None:
        path = self._plan_path
        return read_wants(path) if self.options.plan is not None or path.exists() else None

    def _table_stamps(self) -> dict[str, Stamp | None]:
        out: dict[str, Stamp | None] = {}
        study = self.book.study
        names = {*TABLES, *(rider.labels for rider in study.riders.values())}
        names |= {file for trial in study.trials for file in trial.beneath.values()}
        for path in (*(self.folder / name for name in sorted(names)), self._plan_path):
            try:
                out[str(path)] = stamp_of(path)
            except OSError:
                out[str(path)] = None
        return out

    def _reread(self) -> None:
        """Take what a person changed in the tables by hand; a table that cannot be read leaves what was known."""
        self._stamps, book = self._table_stamps(), self.book
        study, faults = survey(self.folder, unfinished=True)
        book.take_study(self._sound(study, faults))
        for read in (self._read_settings, self._read_wants):
            try:
                read()
            except InputError as problem:
                faults.append(str(problem))
        book.faults = faults
        self._dirty = True
        self._changed()

    def _sound(self, new: Study, faults: list[str]) -> Study:
        """The study without what a table under a person's hands does not say for now: settings, riders and trials of
        before stand in for those that cannot be read."""
        old, of_plan = self.book.study, list[str]()
        read_plan(self.folder / SETTINGS_FILE, of_plan)
        return Study(
            folder=new.folder,
            plan=old.plan if of_plan else new.plan,
            riders=new.riders or old.riders,
            trials=old.trials if faults and not new.trials else new.trials,
        )

    def _read_settings(self) -> None:
        before, self.book.settings = self.book.settings, read_day_settings(self.folder / DAY_FILE)
        if before.fitting != self.book.settings.fitting:
            self.book.aim = self.book.settings.fitting

    def _read_wants(self) -> None:
        self.book.wants = self._wants()

    # The journal read again ---------------------------------------------------------------------------------------

    def _load(self) -> None:
        clear_drafts(self.folder, self.folder / DAY)
        take = {
            "arrived": self._load_arrived, "verdict": self._load_verdict, "result": self._load_result,
            "left_out": self._load_left_out, "answered": lambda told: self.book.left_out.pop(told["file"], None),
            "aim": self._load_aim, "fitted": self._load_fitted,
        }  # fmt: skip
        for entry in self._journal.entries():
            what = entry.pop("what", "")
            with contextlib.suppress(KeyError, TypeError):  # a line of another version of this program
                if what in take:
                    take[what](entry)
        self.book.touched()

    def _load_arrived(self, told: Record) -> None:
        known = self.book.recorded.get(told["file"])
        versions = known.versions if known is not None else []
        versions.append({"version": told["version"], "at": told["at"], "word": "", "reason": ""})
        self.book.recorded[told["file"]] = Recorded(**told, versions=versions)

    def _load_verdict(self, told: Record) -> None:
        self.book.verdicts[told["name"]] = Kept(told["key"], told["told"])
        self._mark(told["file"], told["told"])

    def _load_result(self, told: Record) -> None:
        self.book.results[told["name"]] = Kept(told["key"], told["told"])

    def _load_left_out(self, told: Record) -> None:
        file = told.pop("file")
        self.book.left_out[file] = LeftOut(**told)

    def _load_aim(self, told: Record) -> None:
        self.book.aim = Aim(**told) if told else None

    def _load_fitted(self, told: Record) -> None:
        self.book.fits[Aim(**told["aim"])] = Kept(told["key"], told["told"])

    # The loop -----------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        from jointload.study_run.trial import program

        program()
        while not self._stopping.is_set():
            self._waker.wait(max(LOOK_SECONDS, LOOK_SHARE * self.turn()))

    def turn(self) -> float:
        """One turn of the day: what a look at the folder finds, what the workers have done, what is to be done next.
        Returns how long the look took [s]."""
        began = time.monotonic()
        look = self._arrivals.look()
        took = time.monotonic() - began
        with self._lock:
            self._lanes = self._lanes or self._make_lanes()
            self._turn(look, self._lanes)
        return took

    def _turn(self, look: Look, lanes: Lanes) -> None:
        self._connect(look.there)
        if look.there:
            if self._table_stamps() != self._stamps:
                self._reread()
            for ready in look.ready:
                self._looks[ready.file] = ready
                lanes.quick.put(f"look {ready.file}", recognised, self._first_look(ready.file))
            self._retry()
        if look.there and look.arriving != self._under.arriving:
            self._under = Under(look.arriving)
            self._changed()
        for lane in lanes:
            for done in list(lane.step()):
                self._take(done)
        if self._dirty and self._there:
            self._dirty = False
            self._hand_out(lanes)
        self._remind()

    def _connect(self, there: bool) -> None:
        if there != self._there:
            self._there, self._since = there, time.strftime("%H:%M:%S")
            self._was_gone = self._was_gone or not there
            self._dirty = True
            self._changed()

    def _retry(self) -> None:
        """Write what could not be written before."""
        if (not self._disk.files and not self._journal.waiting) or self._clock() < self._disk.retry:
            return
        self._flush_edits()
        try:
            self._journal.flush()
            self._written(DAY)
        except OSError as problem:
            self._cannot_write(DAY, problem)
        self._disk.files.discard("results")
        self._written("results")
        self._dirty = True

    def _remind(self) -> None:
        """A reminder of a rest ends by itself."""
        now = self._clock()
        if now < self._remind_at:
            return
        self._remind_at = now + REMIND_SECONDS
        told = json.dumps([(one["rider"], one["reminder"]) for one in self.book.session(now)])
        if told != self._reminded:
            self._reminded = told
            self._changed()

    def _first_look(self, file: str) -> FirstLook:
        plan, riders = self.book.study.plan, self.book.study.riders
        rows = self.book.rows(file)
        labels = next((riders[row.rider].labels for row in rows if row.rider in riders), LABELS_FILE)
        return FirstLook(str(self.folder / file), str(self.folder / labels), plan.up, plan.forward)

    # What the workers have done -----------------------------------------------------------------------------------

    def _take(self, done: Done) -> None:
        what, _, name = done.key.partition(" ")
        if what == "look":
            self._arrived(name, done.answer)
        elif what == "judge":
            self._judged(name, done.answer)
        elif what == "result":
            self._resulted(name, done.answer)
        elif what == "fit":
            self._fitted(name, done.answer)
        elif what == "end":
            self._ended(done.answer)

    def _arrived(self, file: str, told: Record | None) -> None:
        """A recording was read: it counts if it is whole, or rested for so long that it is damaged."""
        ready = self._looks.pop(file)
        told = told or {"whole": False, "problem": DIED, "sha256": "", "kind": "", "sure": False}
        known = self.book.recorded.get(file)
        if not self._arrivals.read(ready, told["whole"]):
            return
        if known is not None and (known.sha256, known.problem) == (told["sha256"], told["problem"]):
            return
        order = known.order if known is not None else len(self.book.recorded) + 1
        entry = {
            "file": file, "order": order, "at": time.strftime("%H:%M:%S"), "date": self._date_of(ready),
            "version": 1 + (known.version if known is not None else 0), **told,
        }  # fmt: skip
        self._load_arrived(entry)
        self.book.recorded[file].seconds = self._clock() if entry["date"] == self.book.today else None
        if not told["whole"]:
            self._mark(file, refusal(told["problem"]))
        self._note("arrived", **entry)
        self._touch()

    def _date_of(self, ready: Ready) -> str:
        """Today, but for a file that was there before: it may be of another day. A camera's clock that is wrong takes
        no landing from today's count."""
        if ready.file not in (self._arrivals.first or ()):
            return self.book.today
        return min(time.strftime("%Y-%m-%d", time.localtime(ready.stamp[1] / 1e9)), self.book.today)

    def _mark(self, file: str, told: Record) -> None:
        """Write a verdict beside the version that it is of."""
        recorded = self.book.recorded.get(file)
        if recorded is not None:
            recorded.versions[-1] |= {"word": told["word"], "reason": told["reason"]}

    def _counts(self, name: str) -> tuple[str, bool]:
        """The key under which a task was asked for, and whether its files are still what they were."""
        key, stamps = self._asked.pop(name)
        self._dirty = True
        return key, self._stamps_of(stamps) == stamps

    def _judged(self, name: str, told: Record | None) -> None:
        key, same = self._counts(f"judge {name}")
        if not same:
            return
        told = told or refusal(DIED) | {"seconds": 0.0}
        file = next((trial.file for trial in self.book.study.trials if trial.name == name), "")
        self.book.verdicts[name] = Kept(key, told)
        self._mark(file, told)
        self._note("verdict", name=name, file=file, key=key, told=told)
        self._touch()

    def _resulted(self, name: str, told: Record | None) -> None:
        key, same = self._counts(f"result {name}")
        told = told or {"status": "refused", "reason": DIED, "numbers": []}
        if told["status"] == "stop":
            self._cannot_write("results", OSError(told["reason"]))
            return
        if same:
            self.book.results[name] = Kept(key, told)
            self._note("result", name=name, key=key, told=told)
            self._touch()

    def _fitted(self, name: str, told: Record | None) -> None:
        asked = self._fits.pop(name)
        aim, told = asked["aim"], told or {"problem": "the search ended its worker again and again"}
        self.book.fits[aim] = Kept(asked["key"], told)
        self._note("fitted", aim=asdict(aim), key=asked["key"], told=told)
        self._touch()

    def _ended(self, told: Record | None) -> None:
        told = told or {"text": "", "faults": ["the study run ended its worker again and again"]}
        open_files = [one.file for one in self.book.unanswered()]
        faults = [*told["faults"], *(f"{file}: nobody said whose it is" for file in open_files)]
        try:
            write_protocol(self.book, told | {"faults": faults}, self._clock())
        except OSError as problem:
            faults.append(f"the protocol cannot be written: {problem.strerror or problem}")
        stage = "failed" if told["faults"] else "done"
        text = told["text"] or "The study is not complete; the protocol says what lacks."
        self._end = {"stage": stage, "text": text, "faults": faults}
        self._touch()

    # What is to be done next --------------------------------------------------------------------------------------

    def _hand_out(self, lanes: Lanes) -> None:
        """Ask the workers for every verdict and result that the book lacks."""
        book = self.book
        for recorded, trial in book.trials():
            job = book.job(trial) if recorded.whole else ""
            if not isinstance(job, Job):
                continue
            key = book.key(trial)
            verdict, result = book.verdicts.get(trial.name), book.results.get(trial.name)
            if verdict is None or verdict.key != key:
                self._ask(lanes.quick, f"judge {trial.name}", key, job, judged, Asked(trial.kind, job, book.quantities))
            elif trial.kind == "landing" and (result is None or result.key != key):
                self._ask(lanes.slow, f"result {trial.name}", key, job, written, Result(job, book.quantities))
        self._hand_out_fit(lanes)
        if self._ending and not (lanes.quick.busy or lanes.slow.busy or self._asked or self._disk.files):
            self._ending = False
            lanes.slow.put("end day", whole_day, str(self.folder))

    def _ask(self, lane: Lane, name: str, key: str, job: Job, task: Callable[[Any], Any], asked: Any) -> None:
        if name in self._asked and self._asked[name][0] == key:
            return
        if name in self._asked and lane.at is not None and lane.at.key == name:
            return  # it is being told of an earlier version: asked again when that has come back
        if self._disk.files and task is written:
            return
        self._asked[name] = key, self._stamps_of(job.inputs.values())
        lane.put(name, task, asked)

    def _stamps_of(self, files: Iterable[str]) -> dict[str, Stamp]:
        out = {}
        for file in files:
            try:
                out[file] = stamp_of(self.folder / file)
            except OSError:
                out[file] = (-1, -1, -1)
        return out

    def _hand_out_fit(self, lanes: Lanes) -> None:
        """Search the shape when the baseline is there, when the shapes that were asked for are, and when a landing that
        was used is another one."""
        book = self.book
        if book.aim is None or self._fits:
            return
        stage = book.stage(False)
        if not stage.baseline:
            return
        jobs, keys = book.fit_jobs(stage)
        flat = tuple(job for shape, job in jobs if shape == FLAT)
        shaped = tuple((shape, job) for shape, job in jobs if shape != FLAT)
        asked = [shape["condition"] for shape in stage.next_shapes]
        others = [name for name in stage.have if book.shape(name) not in ("", FLAT) and name not in asked]
        ready = enough_shapes(stage.have, others)
        kept = book.fits.get(book.aim)
        if kept is not None:
            used = json.loads(kept.key)
            replaced = bool(set(used["keys"]) - set(keys))
            if not (
                replaced or (stage.shapes_done and set(keys) != set(used["keys"])) or (ready and not used["ready"])
            ):
                return
        if not flat:
            return
        self._write_conditions(jobs)
        key = json.dumps({"keys": keys, "ready": ready})
        name = fit_folder(book.aim)
        self._fits[name] = {"aim": book.aim, "key": key}
        lanes.fit.warm()
        lanes.fit.put(f"fit {name}", fitted, Fitting(book.aim, flat, shaped, str(self.folder / DAY / name)))
        self._changed()

    def _write_conditions(self, jobs: list[tuple[str, Job]]) -> None:
        """The table by which `jointload fit` finds the same landings."""
        assert self.book.aim is not None
        rows = [(job.inputs["trial"], shape) for shape, job in jobs if job.settings["landing"] == 1]
        with contextlib.suppress(OSError):
            write_safely(self.folder / f"conditions_{self.book.aim.rider}.csv", conditions_text(rows))

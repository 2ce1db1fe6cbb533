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
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from jointload.day.book import LeftOut
from jointload.day.by_hand import TablesByHand
from jointload.day.disk import AGAIN_SECONDS, Disk
from jointload.day.folder.arrivals import LOOK_SECONDS, LOOK_SHARE, Arrivals, Look, Waker
from jointload.day.folder.replay import Replay
from jointload.day.folder.settings import Aim, checked_aim
from jointload.day.folder.tables import clear_drafts, wants_text, with_trial, without_trial
from jointload.day.lanes import Lanes, worker_lanes
from jointload.day.protocol import write_protocol
from jointload.day.rider.results import whole_day
from jointload.day.rider.verdict import KINDS
from jointload.day.state import DAY, Connection, Under, file_of, protocol_files, told_day, whole_trial
from jointload.day.tasks import Tasks
from jointload.errors import SettingError, expected_found
from jointload.study.manifest import LABELS_FILE, RIDERS_FILE, SETTINGS_FILE

FORMAT = 1
REMIND_SECONDS = 5.0
"""How often the reminders of a rest are looked at (choice)."""
END = "end day"
"""The task by which the study is completed."""
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
        self._tables = TablesByHand(self.folder, asked.plan, time.strftime("%Y-%m-%d"))
        self.book = self._tables.book
        self.started = time.strftime("%H:%M")
        self._arrivals = Arrivals(self.folder, (SETTINGS_FILE, RIDERS_FILE, LABELS_FILE), clock)
        self._disk = Disk(self.book, self._arrivals.there, self._changed, self._reread, clock)
        self._tasks = Tasks(self.book, self._disk, self._arrivals, self._touch, self._changed, clock)
        self._lanes: Lanes | None = None
        self._connection = Connection(self.started)
        self._under, self._end = Under(), {"stage": "open", "text": "", "faults": []}
        self._ending = False
        self._lock = threading.RLock()
        self._news = threading.Condition(self._lock)
        self._revision, self._told = 1, (0, "")
        self._reminded, self._remind_at = "", 0.0
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
        under = Under(self._under.arriving, self._tasks.searching, self._clock())
        return {
            "format": FORMAT,
            "revision": self._revision,
            "study": {
                "name": book.study.plan.name, "folder": str(self.folder), "date": book.today, "started": self.started,
                "replay": replay is not None,
            },
            "connection": self._connection.told(),
            "disk": {"full": bool(disk.text), "waiting": len(disk.edits), "text": disk.text},
            **told_day(book, under),
            "end": self._end | {"files": protocol_files(self.folder)},
            "replay": None if replay is None else replay.told(),
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
            condition = self.book.checked_answer(file, rider, kind, condition.strip(), landing)
            earlier = self.book.earlier_helper(file, rider, kind, condition)
            if earlier and not replaces:
                found = f"{earlier} already"
                advice = "say that this one takes its place, or name the condition of each"
                raise SettingError(expected_found(KINDS[kind], "one of each rider", found, rider, advice))
            cells = {"file": file, "rider": rider, "kind": kind, "condition": condition, "landing": str(landing)}
            with_trial(self._disk.trials_text(), cells)
            self._disk.learn("answered", file=file)
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
            wanted = self.book.wanted(rider, condition.strip(), landings)
            self._disk.write(self._tables.plan, wants_text(wanted))
            self.book.wants = tuple(wanted)
            self._touch()

    def fit(self, rider: str, side: str, target: str = Aim.target) -> None:
        """Begin the fitting of a rider's foot; SettingError when rider, side or target is unknown."""
        aim = checked_aim({"rider": rider, "side": side, "target": target}, "the page")
        with self._lock:
            if rider not in self.book.study.riders:
                known = ", ".join(self.book.study.riders)
                raise SettingError(expected_found("rider", known, repr(rider), RIDERS_FILE, "choose one"))
            self._disk.learn("aim", **asdict(aim))
            self._touch()

    def stop_fitting(self) -> None:
        with self._lock:
            self._disk.learn("aim")
            self._touch()

    def finish(self) -> None:
        """End of the day: when all that was recorded is analysed, the study is run and the protocol written. Returns at
        once; the day may go on and be finished again."""
        with self._lock:
            self._ending = True
            self._end = {"stage": "running", "text": "The study is being completed.", "faults": []}
            self._touch()

    def _leave(self, file: str, reason: str) -> None:
        row = next(iter(self.book.rows(file)), None)
        whose = {} if row is None else {"rider": row.rider, "kind": row.kind, "condition": row.condition}
        self._disk.learn("left_out", file=file, **asdict(LeftOut(reason, **whose)))
        self._edit(lambda text: without_trial(text, file))

    def _edit(self, edit: Callable[[str], str]) -> None:
        self._disk.edit(edit)
        self._touch()

    def _reread(self) -> None:
        self._tables.reread()
        self._tasks.due = True
        self._changed()

    def _touch(self) -> None:
        self._tasks.due = True
        self._changed()
        if self._threads:
            self._waker.wake()

    # The journal read again ---------------------------------------------------------------------------------------

    def _load(self) -> None:
        clear_drafts(self.folder, self.folder / DAY)
        for entry in self._disk.journal.entries():
            what = entry.pop("what", "")
            with contextlib.suppress(KeyError, TypeError):  # a line of another version of this program
                self.book.take(what, entry)
        self.book.touched()

    # The loop -----------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        from jointload.study_run.trial import program

        program()
        while not self._stopping.is_set():
            self._waker.wait(max(LOOK_SECONDS, LOOK_SHARE * self.safe_turn()))

    def safe_turn(self) -> float:
        """A turn whose fault is told and does not end the day."""
        try:
            took = self.turn()
        except Exception as problem:
            took, fault = AGAIN_SECONDS / LOOK_SHARE, f"unforeseen {type(problem).__name__}: {problem}; the day goes on"
            with self._lock:
                self._tasks.due = True
                if fault not in self.book.faults:
                    self.book.faults.append(fault)
                    self._changed()
        return took

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
            if self._tables.edited():
                self._reread()
            for ready in look.ready:
                self._tasks.look(ready, lanes)
            if self._disk.retried():
                self._tasks.due = True
        if look.there and look.arriving != self._under.arriving:
            self._under = Under(look.arriving)
            self._changed()
        for lane in lanes:
            for done in list(lane.step()):
                if done.key == END:
                    self._ended(done.answer)
                else:
                    self._tasks.take(done)
        if self._tasks.due and self._connection.there:
            self._tasks.due = False
            self._tasks.hand_out(lanes)
            if self._ending and self._tasks.idle(lanes):
                self._ending = False
                lanes.slow.put(END, whole_day, str(self.folder))
        self._remind()

    def _connect(self, there: bool) -> None:
        known = self._connection
        if there != known.there:
            self._connection = Connection(time.strftime("%H:%M:%S"), there, known.was_gone or not there)
            self._tasks.due = True
            self._changed()

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

    # The end -----------------------------------------------------------------------------------------------------

    def _ended(self, told: Record | None) -> None:
        told = told or {"text": "", "faults": ["the study run ended its worker again and again"]}
        open_files = [one.file for one in self.book.unanswered()]
        faults = [*told["faults"], *(f"{file}: nobody said whose it is" for file in open_files)]
        try:
            self._disk.require_there()
            write_protocol(self.book, told | {"faults": faults}, self._clock())
        except OSError as problem:
            faults.append(f"the protocol cannot be written: {problem.strerror or problem}")
        stage = "failed" if told["faults"] else "done"
        text = told["text"] or "The study is not complete; the protocol says what lacks."
        self._end = {"stage": stage, "text": text, "faults": faults}
        self._touch()

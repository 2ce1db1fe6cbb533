"""What the workers of a recording day are asked for, and what the book learns from their answers."""

from __future__ import annotations

import contextlib
import json
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from jointload.day.book import RESULTS, Book
from jointload.day.disk import Disk
from jointload.day.folder.arrivals import Arrivals, Ready, Stamp, stamps_of
from jointload.day.folder.settings import Aim
from jointload.day.folder.tables import conditions_text
from jointload.day.lanes import Done, Lane, Lanes
from jointload.day.rider.fitting import FLAT, Fitting, enough_shapes, fitted
from jointload.day.rider.results import Result, written
from jointload.day.rider.verdict import Asked, FirstLook, judged, recognised, refusal
from jointload.day.state import DAY, fit_folder
from jointload.report.words.whole_file import whole_file
from jointload.study.manifest import LABELS_FILE
from jointload.study_run.trial import Job

DIED = "reading it ended the program that read it, again and again; export it anew"
Record = dict[str, Any]


class Tasks:
    """What was asked of the workers and has not come back. `due` : something may be to be asked

    touched : to be called when the book has learned something, so that more may be asked;  changed : when a page would
    show something else
    """

    def __init__(
        self,
        book: Book,
        disk: Disk,
        arrivals: Arrivals,
        touched: Callable[[], None],
        changed: Callable[[], None],
        clock: Callable[[], float],
    ) -> None:
        self.book, self.folder = book, book.folder
        self.due = True
        self._disk, self._arrivals, self._clock = disk, arrivals, clock
        self._touched, self._changed = touched, changed
        self._looks: dict[str, Ready] = {}
        self._asked: dict[str, tuple[str, dict[Path, Stamp | None]]] = {}
        self._fits: dict[str, tuple[Aim, str]] = {}

    @property
    def searching(self) -> bool:
        """Whether a shape is searched."""
        return bool(self._fits)

    def idle(self, lanes: Lanes) -> bool:
        """Whether every verdict and result that was asked for is there, and written."""
        return not (lanes.quick.busy or lanes.slow.busy or self._asked or self._disk.files)

    # What is asked for --------------------------------------------------------------------------------------------

    def look(self, ready: Ready, lanes: Lanes) -> None:
        """Have a recording read for the first time."""
        self._looks[ready.file] = ready
        lanes.quick.put(f"look {ready.file}", recognised, self._first_look(ready.file))

    def _first_look(self, file: str) -> FirstLook:
        plan, riders = self.book.study.plan, self.book.study.riders
        rows = self.book.rows(file)
        labels = next((riders[row.rider].labels for row in rows if row.rider in riders), LABELS_FILE)
        return FirstLook(str(self.folder / file), str(self.folder / labels), plan.up, plan.forward)

    def hand_out(self, lanes: Lanes) -> None:
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

    def _ask(self, lane: Lane, name: str, key: str, job: Job, task: Callable[[Any], Any], asked: Any) -> None:
        if name in self._asked and self._asked[name][0] == key:
            return
        if name in self._asked and lane.at is not None and lane.at.key == name:
            return  # it is being told of an earlier version: asked again when that has come back
        if self._disk.files and task is written:
            return
        self._asked[name] = key, stamps_of(self.folder / file for file in job.inputs.values())
        lane.put(name, task, asked)

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
        self._fits[name] = book.aim, key
        lanes.fit.warm()
        lanes.fit.put(f"fit {name}", fitted, Fitting(book.aim, flat, shaped, str(self.folder / DAY / name)))
        self._changed()

    def _write_conditions(self, jobs: list[tuple[str, Job]]) -> None:
        """The table by which `jointload fit` finds the same landings."""
        assert self.book.aim is not None
        rows = [(job.inputs["trial"], shape) for shape, job in jobs if job.settings["landing"] == 1]
        table = self.folder / f"conditions_{self.book.aim.rider}.csv"
        with contextlib.suppress(OSError), whole_file(table) as file:
            file.write(conditions_text(rows))

    # What comes back ----------------------------------------------------------------------------------------------

    def take(self, done: Done) -> None:
        """The book learns what came of a task."""
        what, _, name = done.key.partition(" ")
        take = {"look": self._arrived, "judge": self._judged, "result": self._resulted, "fit": self._fitted}
        take[what](name, done.answer)

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
        self._disk.learn("arrived", **entry)
        self.book.recorded[file].seconds = self._clock() if entry["date"] == self.book.today else None
        if not told["whole"]:
            self.book.mark(file, refusal(told["problem"]))
        self._touched()

    def _date_of(self, ready: Ready) -> str:
        """Today, but for a file that was there before: it may be of another day. A camera's clock that is wrong takes
        no landing from today's count."""
        if ready.file not in (self._arrivals.first or ()):
            return self.book.today
        return min(time.strftime("%Y-%m-%d", time.localtime(ready.stamp[1] / 1e9)), self.book.today)

    def _counts(self, name: str) -> tuple[str, bool]:
        """The key under which a task was asked for, and whether its files are still what they were."""
        key, stamps = self._asked.pop(name)
        self.due = True
        return key, stamps_of(stamps) == stamps

    def _judged(self, name: str, told: Record | None) -> None:
        key, same = self._counts(f"judge {name}")
        if not same:
            return
        told = told or refusal(DIED) | {"seconds": 0.0}
        file = next((trial.file for trial in self.book.study.trials if trial.name == name), "")
        self._disk.learn("verdict", name=name, file=file, key=key, told=told)
        self._touched()

    def _resulted(self, name: str, told: Record | None) -> None:
        key, same = self._counts(f"result {name}")
        told = told or {"status": "refused", "reason": DIED, "numbers": []}
        if told["status"] == "stop":
            self._disk.cannot_write(RESULTS, OSError(told["reason"]))
            return
        if same:
            self._disk.learn("result", name=name, key=key, told=told)
            self._touched()

    def _fitted(self, name: str, told: Record | None) -> None:
        aim, key = self._fits.pop(name)
        told = told or {"problem": "the search ended its worker again and again"}
        self._disk.learn("fitted", aim=asdict(aim), key=key, told=told)
        self._touched()

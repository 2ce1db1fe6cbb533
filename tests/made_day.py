"""A recording day driven by hand: its workers are this process, its clock is moved, its recordings are the sample's."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from jointload.day.engine import Day, DayOptions
from jointload.day.folder.arrivals import PATIENCE_SECONDS, REST_SECONDS
from jointload.day.lanes import Done, Lanes
from jointload.modeldata import shipped_folder

TABLES = ("study.toml", "riders.csv", "labels.toml")
MOST_TURNS = 60


class Here:
    """A lane whose worker is this process: one task a step, in the order in which they were put."""

    def __init__(self, skipped: Sequence[str] = (), at_once: bool = False) -> None:
        self.waiting: list[tuple[str, Callable[[Any], Any], Any]] = []
        self.done: list[str] = []
        self.skipped, self.at_once = tuple(skipped), at_once

    @property
    def busy(self) -> bool:
        return bool(self.waiting)

    @property
    def at(self) -> None:
        return None

    def put(self, key: str, task: Callable[[Any], Any], asked: Any) -> None:
        if not key.startswith(self.skipped or ("\0",)):
            self.waiting = [one for one in self.waiting if one[0] != key]
            self.waiting.append((key, task, asked))

    def warm(self) -> None:
        pass

    def step(self) -> Iterator[Done]:
        now = len(self.waiting) if self.at_once else min(1, len(self.waiting))
        for _ in range(now):
            key, task, asked = self.waiting.pop(0)
            self.done.append(key)
            yield Done(key, task(asked))

    def close(self) -> None:
        self.waiting.clear()


class Clock:
    """Seconds that only grow when they are told to."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


class HandDay:
    """A day whose turns are taken one by one. skipped : beginnings of the names of tasks that nobody does, such as
    'result';  at_once : a lane does all that waits in one turn"""

    def __init__(
        self,
        folder: Path,
        options: DayOptions | None = None,
        skipped: Sequence[str] = (),
        at_once: bool = False,
    ) -> None:
        self.clock = Clock()
        self.lanes = Lanes(*(Here(skipped, at_once) for _ in range(3)))  # type: ignore[arg-type]
        self.day = Day(folder, options, lambda: self.lanes, self.clock)
        self.folder = folder

    def turn(self, seconds: float = 0.0, times: int = 1) -> dict[str, Any]:
        for _ in range(times):
            self.day.turn()
            self.clock.now += seconds
        return self.day.state()

    def settle(self) -> dict[str, Any]:
        """Turns until all that is there is read, judged and written."""
        self.turn()
        self.clock.now += REST_SECONDS
        for _ in range(MOST_TURNS):
            state = self.turn()
            if not any(lane.busy for lane in self.lanes) and not state["arriving"]:
                break
            self.clock.now += 0.05
        return self.turn(times=2)

    def damaged(self) -> dict[str, Any]:
        """The same with patience for files that are not whole."""
        self.settle()
        self.clock.now += PATIENCE_SECONDS
        self.turn(1.0, times=6)
        return self.settle()

    def row(self, file: str) -> dict[str, Any]:
        return next(row for row in self.day.state()["trials"] if row["file"] == file)


def empty_study(folder: Path) -> Path:
    """The sample's tables without trials.csv and recordings."""
    folder.mkdir(parents=True)
    for name in TABLES:
        shutil.copyfile(shipped_folder("sample_c3d") / name, folder / name)
    return folder


def record(folder: Path, name: str, source: str = "") -> Path:
    """One of the sample's recordings appears, whole, under a name."""
    shutil.copyfile(shipped_folder("sample_c3d") / (source or name), folder / name)
    return folder / name


def another(folder: Path, name: str, source: str, seed: int) -> Path:
    """A landing of the sample whose last marker digits differ: other bytes, the same motion."""
    content = bytearray((shipped_folder("sample_c3d") / source).read_bytes())
    place = len(content) - 2048 - 4 * (seed % 100)
    content[place] ^= 1 + seed % 7
    (folder / name).write_bytes(content)
    return folder / name

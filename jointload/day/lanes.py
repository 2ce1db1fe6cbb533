"""Worker processes of a recording day, one a lane: verdicts, results, the fit. A lane does one thing after the other; a
worker that dies or hangs is replaced, and what it was at is tried once more."""

from __future__ import annotations

import importlib
import itertools
import os
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from jointload.study_run.processes import Processes
from jointload.study_run.trial import limit_threads

TRIES = 2
"""A task that ends its worker so often is given up (choice)."""
MOST_SECONDS = 180.0
"""A task that takes longer is taken for hanging (choice: sixty times a landing's)."""
FIT_SECONDS = 900.0
"""A search that takes longer is taken for hanging (choice: thirty times a usual one)."""
VERDICT_SECONDS = 60.0
"""A verdict that takes longer is taken for hanging: others wait behind it (choice)."""
POLITENESS = 10
"""How far the fit's worker steps back from the others (choice)."""
USUAL = ("scipy.linalg", "scipy.special")
"""Imported late elsewhere, and needed by every landing."""
Task = Callable[[Any], Any]


@dataclass(frozen=True)
class Loading:
    """The module that a worker needs, and whether it steps back from the others."""

    needs: str
    polite: bool


@dataclass
class _Work:
    key: str
    task: Task
    asked: Any
    tries: int = 0
    began: float = 0.0


@dataclass(frozen=True)
class Done:
    """What came of a task; answer None where its worker died or hung over it every time."""

    key: str
    answer: Any


class Lane:
    """One worker process and what waits for it. A new task of a key takes the place of a waiting one.

    newest_first : what was put last is done first, so that the latest landing waits for no backlog
    """

    def __init__(
        self, needs: str, polite: bool = False, most_seconds: float = MOST_SECONDS, newest_first: bool = False
    ) -> None:
        self.crew: Any = Processes(1)
        self.newest_first = newest_first
        self.loading, self.most_seconds = Loading(needs, polite), most_seconds
        self.waiting: deque[_Work] = deque()
        self.at: _Work | None = None
        self.ticket, self.numbers = "", itertools.count(1)

    @property
    def busy(self) -> bool:
        return self.at is not None or bool(self.waiting)

    def put(self, key: str, task: Task, asked: Any) -> None:
        self.waiting = deque(work for work in self.waiting if work.key != key)
        self.waiting.append(_Work(key, task, asked))

    def warm(self) -> None:
        """Start the worker and let it load what it needs before the first recording."""
        self.put("", loaded, self.loading)

    def step(self) -> Iterator[Done]:
        """Hand out what waits, take what is done; never waits."""
        if self.at is None and self.waiting:
            work = self.waiting.pop() if self.newest_first else self.waiting.popleft()
            self._give(work, next(iter(self.crew.members(1))))
        for ticket, answer in self.crew.news(0.0):
            if ticket == self.ticket and self.at is not None:
                work, self.at = self.at, None
                if work.key:
                    yield Done(work.key, answer)
        at = self.at
        if at is None:
            return
        gone = not any(worker.ticket == self.ticket for worker in self.crew.workers.values())
        late = time.monotonic() - at.began > self.most_seconds
        if late:
            self.crew.take_back([self.ticket])
        if gone or late:
            self.at = None
            if at.tries < TRIES:
                self.waiting.appendleft(at)
            elif at.key:
                yield Done(at.key, None)

    def _give(self, work: _Work, member: str) -> None:
        work.tries, work.began = work.tries + 1, time.monotonic()
        self.at, self.ticket = work, str(next(self.numbers))
        self.crew.give(member, self.ticket, work.task, work.asked)

    def close(self) -> None:
        self.waiting.clear()
        self.at = None
        self.crew.dismiss()


class Lanes(NamedTuple):
    """Verdicts, results, and the fit."""

    quick: Lane
    slow: Lane
    fit: Lane


def worker_lanes() -> Lanes:
    """A process each; those of verdicts and results are up before the first recording."""
    fit = Lane("jointload.day.rider.fitting", polite=True, most_seconds=FIT_SECONDS)
    lanes = Lanes(
        Lane("jointload.day.rider.verdict", most_seconds=VERDICT_SECONDS),
        Lane("jointload.day.rider.results", newest_first=True),
        fit,
    )
    lanes.quick.warm()
    lanes.slow.warm()
    return lanes


def loaded(loading: Loading) -> None:
    """Import what the first task needs, on one thread of linear algebra; step back where the worker is polite."""
    for name in (loading.needs, *USUAL):
        importlib.import_module(name)
    limit_threads()
    if loading.polite and hasattr(os, "nice"):
        os.nice(POLITENESS)

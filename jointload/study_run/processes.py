"""Worker processes of this machine, each at one job; one that dies or is given up is replaced."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jointload.study_run.dispatch import Member, Work
from jointload.study_run.serving import serve
from jointload.study_run.trial import Job, Outcome

END_SECONDS = 5.0
"""Longest wait for a killed process to be gone (choice)."""


@dataclass
class _Worker:
    """A process, the line to it, its counter of signs of life, and the attempt it is at."""

    process: Any
    line: Any
    beats: Any
    ticket: str = ""


def _pulse(worker: _Worker) -> tuple[int, str] | None:
    """Signs of life it gave itself, and its processor time where the system tells it: a process that is coming up gives
    no sign yet, and one deep in a library may give none for a while. None where nothing is known."""
    try:
        status = Path(f"/proc/{worker.process.pid}/stat").read_text(encoding="ascii", errors="replace")
        spent = " ".join(status.rpartition(")")[2].split()[11:13])
    except OSError:
        spent = ""
    return (worker.beats.value, spent) if worker.beats.value or spent else None


class Processes:
    """A crew of at most `count` processes, started when there is work for them."""

    def __init__(self, count: int) -> None:
        import multiprocessing

        self.context = multiprocessing.get_context("spawn")
        self.count, self.numbers = count, itertools.count(1)
        self.workers: dict[str, _Worker] = {}

    def members(self, wanted: int) -> Mapping[str, Member]:
        while len(self.workers) < min(self.count, wanted):
            self.workers[f"process {next(self.numbers)}"] = self._started()
        return {name: Member(1, _pulse(worker)) for name, worker in self.workers.items()}

    def give(self, member: str, ticket: str, work: Work, job: Job) -> None:
        worker = self.workers[member]
        worker.ticket = ticket
        with contextlib.suppress(OSError):  # it died: the next news tell so
            worker.line.send((ticket, work, job))

    def news(self, seconds: float) -> Iterator[tuple[str, Outcome]]:
        from multiprocessing.connection import wait

        names: dict[Any, str] = {worker.line: name for name, worker in self.workers.items()}
        ready: list[Any] = wait(list(names), seconds)
        for line in ready:
            try:
                ticket, outcome = line.recv()
            except (EOFError, OSError):
                self.give_up(names[line])
                continue
            self.workers[names[line]].ticket = ""
            yield ticket, outcome

    def take_back(self, tickets: Iterable[str]) -> None:
        """A process can only be told by its end."""
        gone = set(tickets)
        for name in [name for name, worker in self.workers.items() if worker.ticket in gone]:
            self.give_up(name)

    def give_up(self, member: str) -> None:
        worker = self.workers.pop(member, None)
        if worker is None:
            return
        worker.process.kill()
        worker.process.join(END_SECONDS)
        worker.line.close()

    def dismiss(self) -> None:
        for name in list(self.workers):
            self.give_up(name)

    def _started(self) -> _Worker:
        ours, theirs = self.context.Pipe()
        beats = self.context.RawValue("L", 0)
        process = self.context.Process(target=serve, args=(theirs, beats), daemon=True)
        process.start()
        theirs.close()
        return _Worker(process, ours, beats)

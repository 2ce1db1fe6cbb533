"""Workers that are killed, stopped and added while a study runs, at moments drawn from a seed."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

START = 60.0
"""Longest wait [s] for a process to come up on a busy machine."""
PAUSE = 10.0
"""How long a worker is stopped [s] that is let go on."""


@dataclass
class Cluster:
    """A Dask scheduler on this machine and its workers, in processes of their own."""

    place: Path
    scheduler: subprocess.Popen[bytes] | None = None
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)
    address: str = ""

    def start(self, workers: int) -> None:
        import distributed

        self.scheduler = self._started("dask_scheduler", "--host", "127.0.0.1", "--port", "0")
        for _ in range(workers):
            self.add()
        deadline = time.monotonic() + START
        while not self._file.is_file():
            assert time.monotonic() < deadline, "no scheduler"
            time.sleep(0.05)
        with distributed.Client(scheduler_file=str(self._file), set_as_default=False) as client:
            if workers:
                client.wait_for_workers(workers, timeout=START)
            self.address = client.scheduler.address

    def add(self) -> None:
        self.workers.append(
            self._started(
                "dask_worker", "--nthreads", "1", "--no-nanny", "--death-timeout", "30", "--host", "127.0.0.1"
            )
        )

    def alive(self) -> list[int]:
        return [worker.pid for worker in self.workers if worker.poll() is None]

    def end(self) -> None:
        for process in [*self.workers, *([self.scheduler] if self.scheduler else [])]:
            process.kill()
            process.wait()

    @property
    def _file(self) -> Path:
        return self.place / "scheduler.json"

    def _started(self, program: str, *options: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.{program}", "--scheduler-file", str(self._file)]
        with (self.place / f"{program}.log").open("ab") as log:
            return subprocess.Popen([*command, "--no-dashboard", *options], stdout=log, stderr=log, cwd=self.place)


@contextmanager
def cluster(place: Path, workers: int) -> Iterator[Cluster]:
    place.mkdir(parents=True, exist_ok=True)
    running = Cluster(place)
    try:
        running.start(workers)
        yield running
    finally:
        running.end()


def worker_processes() -> list[int]:
    """Of this process, without those that are gone."""
    return [process.pid for process in multiprocessing.active_children() if process.pid is not None]


@dataclass(frozen=True)
class Trouble:
    """What happens [s] after the run began: 'kill', 'stop' (for good), 'pause' or 'add'."""

    moment: float
    kind: str


def drawn(seed: int, kinds: Sequence[str], seconds: float) -> list[Trouble]:
    """Each kind once, at a moment drawn evenly over the seconds."""
    rng = np.random.default_rng(seed)
    moments = rng.uniform(0.0, seconds, len(kinds))
    return [Trouble(float(moment), kind) for moment, kind in sorted(zip(moments, kinds, strict=True))]


@contextmanager
def troubled(
    troubles: Sequence[Trouble], alive: Callable[[], list[int]], add: Callable[[], None], seed: int
) -> Iterator[list[int]]:
    """While troubles happen to workers drawn from those alive; gives the workers that were stopped. In the end those
    that still are stopped go on."""
    rng = np.random.default_rng((seed, 1))
    over, stopped, timers = threading.Event(), list[int](), list[threading.Timer]()

    def happen() -> None:
        began = time.monotonic()
        for trouble in troubles:
            if over.wait(max(0.0, began + trouble.moment - time.monotonic())):
                return
            if trouble.kind == "add":
                add()
                continue
            able = [pid for pid in alive() if pid not in stopped]
            if able:
                one = able[rng.integers(len(able))]
                with suppress(ProcessLookupError):
                    os.kill(one, signal.SIGKILL if trouble.kind == "kill" else signal.SIGSTOP)
                if trouble.kind != "kill":
                    stopped.append(one)
                if trouble.kind == "pause":
                    timers.append(threading.Timer(PAUSE, go_on, [one]))
                    timers[-1].start()

    def go_on(pid: int) -> None:
        if pid in alive():
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGCONT)

    thread = threading.Thread(target=happen)
    thread.start()
    try:
        yield stopped
    finally:
        over.set()
        thread.join()
        for timer in timers:
            timer.cancel()
        for pid in stopped:
            go_on(pid)

"""A study over TCP: a real scheduler and two worker processes, one of which is killed midway."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from made_study import every_byte, sample_study

from jointload.errors import StudyError
from jointload.study_run.batch import run_study
from jointload.study_run.trial import Outcome
from jointload.study_run.workers import on_cluster

distributed = pytest.importorskip("distributed", reason="the extra cluster is not installed")
START = 60.0
"""Longest wait [s] for a process to come up on a busy machine."""


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Address of a scheduler, and its two workers."""
    file = tmp_path / "scheduler.json"
    options = ["--scheduler-file", str(file)]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": str(tmp_path)}
    scheduler = [*options, "--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
    worker = [*options, "--nthreads", "1", "--no-nanny", "--no-dashboard", "--host", "127.0.0.1"]
    started = [subprocess.Popen([sys.executable, "-m", "distributed.cli.dask_scheduler", *scheduler], **quiet)]  # type: ignore[call-overload]
    try:
        started += [
            subprocess.Popen([sys.executable, "-m", "distributed.cli.dask_worker", *worker], **quiet)  # type: ignore[call-overload]
            for _ in range(2)
        ]
        deadline = time.monotonic() + START
        while not file.is_file():
            assert time.monotonic() < deadline, "no scheduler"
            time.sleep(0.05)
        with distributed.Client(scheduler_file=str(file), set_as_default=False) as client:
            client.wait_for_workers(2, timeout=START)
            address = client.scheduler.address
        yield address, started[1:]
    finally:
        for process in started:
            process.kill()
            process.wait()


def test_a_worker_is_killed_and_the_study_ends_the_same(
    cluster: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path
) -> None:
    address, workers = cluster
    study = sample_study(tmp_path / "study", times=2)
    seen = []

    def kill_one(outcomes: Iterator[Outcome], words: str, _: int) -> Iterable[Outcome]:
        for outcome in outcomes:
            yield outcome
            if words == "Analysing":
                seen.append(outcome)
                if len(seen) == 5:
                    os.kill(workers[0].pid, signal.SIGKILL)

    with on_cluster(address) as over_tcp:
        done = run_study(study, tmp_path / "out", over_tcp, watch=kill_one)
    workers[0].wait(timeout=START)
    assert workers[1].poll() is None and done.analysed + done.unchanged == 12 and not done.refused
    run_study(study, tmp_path / "here")
    assert every_byte(tmp_path / "out") == every_byte(tmp_path / "here")


@pytest.mark.parametrize(
    ("address", "found"), [("tcp://127.0.0.1:1", "in tcp://127.0.0.1:1"), ("here", "found 'here'")]
)
def test_no_scheduler_is_told(address: str, found: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("jointload.study_run.workers.CONNECT_SECONDS", 1)
    with pytest.raises(StudyError, match=found), on_cluster(address):
        pass

"""A study over TCP: a real scheduler and its workers, which are killed, stopped and added midway."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterable, Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest
from made_study import every_byte, of_rider_a, ran_sample, sample_study
from troubled import cluster

from jointload.errors import StudyError
from jointload.study_run.trial import Outcome
from jointload.study_run.workers import on_cluster
from jointload.whole_study import run_study

pytestmark = pytest.mark.skipif(find_spec("distributed") is None, reason="the extra cluster is not installed")
LATE = 1.0
"""Time [s] in which a worker that goes on could still write."""
SILENT = 4.0
"""Limit of silence [s]: shorter than a worker is stopped here."""
RETURNS = 4
"""How long a scheduler is waited for that went away, or does not answer at first [s]."""


def test_workers_are_killed_stopped_and_added_and_the_study_ends_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the fifth result one of two workers is killed, one stopped and one added; the stopped one goes on when the
    study is done, and then writes nothing. Every landing counts once. tests/benchmarks/many_landings.py has 10,000."""
    pytest.importorskip("pyarrow", reason="the extra parquet is not installed")
    monkeypatch.setattr("jointload.report.files.parquet_parts.LANDINGS", 5)
    study, here = ran_sample(tmp_path, times=2)
    seen, lines = list[Outcome](), list[str]()

    with cluster(tmp_path / "cluster", 2) as running:

        def trouble(outcomes: Iterator[Outcome], words: str, _: int) -> Iterable[Outcome]:
            for outcome in outcomes:
                yield outcome
                if words == "Analysing":
                    seen.append(outcome)
                    if len(seen) == 5:
                        running.workers[0].kill()
                        running.workers[1].send_signal(signal.SIGSTOP)
                        running.add()

        with on_cluster(running.address, SILENT, lines.append) as over_tcp:
            done = run_study(study, tmp_path / "there", over_tcp, parquet=True, watch=trouble)
            found = names(tmp_path / "there")
        running.workers[1].send_signal(signal.SIGCONT)
        time.sleep(LATE)
        assert names(tmp_path / "there") == found and not [name for name in found if ".drafts" in name]
    assert done.analysed == 12 and not done.refused
    assert sorted(outcome.name for outcome in seen) == names(tmp_path / "there" / "trials", "*")
    assert names(tmp_path / "there" / "metrics.parquet") == [f"part-0000{k}.parquet" for k in range(3)]
    assert any(line.startswith("a worker was lost; its ") for line in lines), lines
    assert any(line.startswith("a worker was silent for 4 s and is given up; its ") for line in lines), lines
    run_study(study, here, parquet=True)
    assert names(here) == found
    assert every_byte(tmp_path / "there") == every_byte(here)


def test_a_worker_added_to_none_does_the_study(tmp_path: Path) -> None:
    lines = list[str]()
    study = of_rider_a(sample_study(tmp_path / "study"))
    with cluster(tmp_path / "cluster", 0) as running, on_cluster(running.address, SILENT, lines.append) as over_tcp:
        timer = threading.Timer(1.0, running.add)
        timer.start()
        assert run_study(study, tmp_path / "out", over_tcp).analysed == 2
        timer.join()
    assert lines == ["no worker is there; the study waits for one"]


def test_a_scheduler_that_goes_away_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("jointload.study_run.workers.CONNECT_SECONDS", RETURNS)
    study = sample_study(tmp_path / "study")
    with cluster(tmp_path / "cluster", 0) as running:
        assert running.scheduler is not None
        kill = running.scheduler.kill
        with (
            on_cluster(running.address, SILENT, lambda line: kill()) as over_tcp,
            pytest.raises(StudyError, match="found it went away"),
        ):
            run_study(study, tmp_path / "out", over_tcp)


def names(folder: Path, pattern: str = "**/*") -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.glob(pattern))


@pytest.mark.parametrize(
    ("address", "found"),
    [
        ("tcp://127.0.0.1:1", "found nobody who answered within 1 s in tcp://127.0.0.1:1"),
        ("here", "found 'here'"),
    ],
)
def test_no_scheduler_is_told(address: str, found: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("jointload.study_run.workers.CONNECT_SECONDS", 1)
    with pytest.raises(StudyError, match=found) as told, on_cluster(address):
        pass
    assert len(str(told.value).splitlines()) == 1


def test_something_else_that_listens_is_told_in_one_line(tmp_path: Path) -> None:
    """A server that takes the connection and says nothing, asked from the command line: no traceback follows."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        address = f"tcp://127.0.0.1:{other.getsockname()[1]}"
        code = (
            "import sys; from jointload.study_run import workers; workers.CONNECT_SECONDS = 1; "
            "from jointload.cli.main import main; sys.exit(main())"
        )
        asked = [sys.executable, "-c", code, "study", "run", str(tmp_path), "--cluster", address]
        done = subprocess.run(asked, capture_output=True, text=True, check=False)
    assert done.returncode == 2 and done.stderr.count("\n") == 1, done.stderr
    assert done.stderr.startswith("jointload: cluster: expected a running scheduler, found nobody who answered")

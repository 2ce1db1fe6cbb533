"""The process of a day is killed: as a recording arrives, as an answer is on the disk, as a result is being written.
Thirty kills at random moments are in tests/benchmarks/day.py."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from made_day import empty_study, record
from made_study import every_byte, read_csv, with_draws

from jointload.whole_study import run_study

FILES = ("rider_a_static.c3d", "rider_a_landing_flat.c3d")
DRIVER = Path(__file__).parents[1] / "day_driver.py"
PATIENCE = 240.0


def started(folder: Path) -> subprocess.Popen[bytes]:
    paths = os.pathsep.join((str(Path(__file__).parents[2]), str(DRIVER.parent)))
    environment = os.environ | {"PYTHONPATH": paths}
    command = [sys.executable, str(DRIVER), str(folder), str(len(FILES))]
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def killed_when(folder: Path, moment: Callable[[], bool]) -> None:
    """One life of the day, which ends with kill -9 as soon as the moment has come."""
    process = started(folder)
    deadline = time.monotonic() + PATIENCE
    while not moment():
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < deadline
        time.sleep(0.002)
    process.kill()
    process.communicate()


def test_killed_three_times_the_day_ends_with_the_same_bytes(tmp_path: Path) -> None:
    study = empty_study(tmp_path / "study")
    with_draws(study)
    riders = (study / "riders.csv").read_text(encoding="utf-8").splitlines()
    (study / "riders.csv").write_text("\n".join(riders[:2]) + "\n", encoding="utf-8")
    for k, file in enumerate(FILES):
        os.utime(record(study, file), (1e9 + k, 1e9 + k))
    journal, results = study / "day" / "journal.jsonl", study / "results"
    killed_when(study, journal.exists)
    killed_when(study, lambda: (study / "trials.csv").exists())
    killed_when(study, lambda: any(results.glob(".drafts-*/*")))
    last = started(study)
    out, problem = last.communicate(timeout=PATIENCE)
    assert last.returncode == 0, (out, problem)

    assert [row[0] for row in read_csv(study / "trials.csv")[1:]] == list(FILES)
    run_study(study, tmp_path / "out")
    assert every_byte(results) == every_byte(tmp_path / "out")
    rows = read_csv(study / "day" / "protocol.csv")
    assert [row[rows[0].index("file")] for row in rows[1:]] == list(FILES), "each once"
    assert not list(study.glob(".*draft")) and not list(results.glob(".drafts-*"))

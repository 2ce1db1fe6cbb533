"""What is no recording, through the command line: one line, exit code 2, quickly and in little memory; and the largest
recording that must still be read."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from jointload.intake.c3d_bytes.parameters import LIMITS

DAMAGED = Path(__file__).parent / "damaged"
SECONDS = 2.0
MEGABYTES = 300.0
LONG_SECONDS = 10.0
"""Of the processor: other work on the machine does not count."""
HANG = 120.0
LONG_MEGABYTES = 2500.0

pytestmark = pytest.mark.skipif(not hasattr(os, "wait4"), reason="this system does not tell a child's memory")


@dataclass(frozen=True)
class Outcome:
    code: int
    out: str
    err: str
    seconds: float
    megabytes: float


LAUNCHER = """
import os, subprocess, sys
account, *words = sys.argv[1:]
child = subprocess.Popen([sys.executable, *words])
_, status, usage = os.wait4(child.pid, 0)
open(account, "w").write(f"{usage.ru_maxrss} {usage.ru_utime + usage.ru_stime}")
sys.exit(os.waitstatus_to_exitcode(status))
"""
"""A process starts with the memory account of the one that forked it: a small one stands between, not the test run."""


def run(*words: str) -> Outcome:
    """A child Python with these words; its peak memory and processor time come from the system's account of it."""
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), "COLUMNS": "200"}
    with tempfile.TemporaryDirectory() as folder:
        account = Path(folder) / "account"
        command = [sys.executable, "-c", LAUNCHER, str(account), *words]
        done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=HANG)
        unit = 1 if sys.platform == "darwin" else 1024
        memory, seconds = account.read_text(encoding="utf-8").split()
    return Outcome(done.returncode, done.stdout, done.stderr, float(seconds), int(memory) * unit / 1e6)


def check(path: Path, *words: str) -> Outcome:
    return run("-m", "jointload.cli", "check", str(path), *words)


def make(kind: str, folder: Path) -> Path:
    path = folder / "trial.c3d"
    if kind == "a directory":
        path.mkdir()
    elif kind == "a pipe":
        os.mkfifo(path)
    elif kind == "an empty file":
        path.touch()
    elif kind == "a text file":
        path.write_text("a line of text\n" * 500, encoding="utf-8")
    elif kind == "64 MB of zeros":
        with path.open("wb") as stream:
            stream.truncate(64 * 1024**2)
    elif kind == "a huge file of zeros":
        with path.open("wb") as stream:
            stream.truncate(LIMITS.file_bytes + 1)
    elif kind == "a loop of links":
        path.symlink_to(folder / "other.c3d")
        (folder / "other.c3d").symlink_to(path)
    elif kind == "a forbidden file":
        path.write_bytes((DAMAGED / "w00_sigsegv.c3d").read_bytes())
        path.chmod(0)
    return path


def assert_refused(outcome: Outcome, said: str = "refused") -> None:
    assert outcome.code == 2
    assert len(outcome.err.splitlines()) == 1 and said in outcome.err, outcome.err
    assert not outcome.out.strip()
    assert outcome.seconds < SECONDS
    assert outcome.megabytes < MEGABYTES


@pytest.mark.parametrize("name", sorted(path.name for path in DAMAGED.glob("*.c3d")))
def test_damaged_files(name: str) -> None:
    assert_refused(check(DAMAGED / name))


KINDS = (
    "a directory",
    "a pipe",
    "an empty file",
    "a text file",
    "64 MB of zeros",
    "a huge file of zeros",
    "a loop of links",
    "a forbidden file",
)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_recording(kind: str, tmp_path: Path) -> None:
    if kind == "a forbidden file" and hasattr(os, "geteuid") and os.geteuid() == 0:
        pytest.skip("nothing is forbidden to this user")
    if kind == "a pipe" and not hasattr(os, "mkfifo"):
        pytest.skip("this system has no named pipes")
    assert_refused(check(make(kind, tmp_path)), "does not exist" if kind == "nothing" else "refused")


def test_no_file(tmp_path: Path) -> None:
    outcome = check(tmp_path / "trial.c3d")
    assert outcome.code == 2 and not outcome.out.strip()
    assert len(outcome.err.splitlines()) == 1 and "trial.c3d does not exist" in outcome.err


def test_a_plate_of_unknown_type_is_refused_with_its_markers_read(
    tmp_path: Path, write_c3d: Callable[..., bytes]
) -> None:
    corners = np.array([[500.0, 0, 0], [0, 0, 0], [0, 400, 0], [500, 400, 0]]).T[:, :, None]
    plate = {"USED": 1, "TYPE": np.array([6]), "ZERO": np.array([1, 5]), "CORNERS": corners}
    content = write_c3d(
        np.ones((10, 2, 3)), analog=np.ones((10, 2)), samples_per_frame=1, parameters={"FORCE_PLATFORM": plate}
    )
    path = tmp_path / "trial.c3d"
    path.write_bytes(content)
    outcome = check(path, "--all")
    assert outcome.code == 2 and not outcome.err
    assert "type 6, only types 1 to 4 are read" in outcome.out and "2 of 2 markers" in outcome.out


def test_every_damaged_file_is_in_the_list() -> None:
    assert len(list(DAMAGED.glob("*.c3d"))) == 10


def test_half_an_hour_at_300_hz_is_read(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    """540,000 frames of 30 markers as real numbers, 259 MB: the head is written, the frames are a hole in the file but
    for the last one, so that the disk holds little and yet every byte is read."""
    frames, markers = 540_000, 30
    trial = {"ACTUAL_START_FIELD": np.array([1, 0]), "ACTUAL_END_FIELD": np.array([frames % 65536, frames // 65536])}
    point = {"FRAMES": -1, "LONG_FRAMES": float(frames)}
    small = write_c3d(
        np.full((1, markers, 3), 700.0), rate=300.0, parameters={"POINT": point, "TRIAL": trial}, header={5: 65535}
    )
    frame_bytes = 16 * markers
    data = small.index(np.full(3, 700.0, dtype="<f4").tobytes())
    path = tmp_path / "long.c3d"
    with path.open("wb") as stream:
        stream.write(small[:data])
        stream.seek(data + (frames - 1) * frame_bytes)
        stream.write(small[data : data + frame_bytes])
    code = (
        "import sys; from jointload.intake.c3d import read_recording;"
        "r = read_recording(sys.argv[1]); import numpy as np;"
        "print(r.frames, r.point_rate, np.isnan(r.markers[:, :, :-1]).all(), np.abs(r.markers[:, :, -1]).min())"
    )
    outcome = run("-c", code, str(path))
    assert outcome.code == 0, outcome.err
    assert outcome.out.split() == [str(frames), "300.0", "True", "0.7000000000000001"]
    assert outcome.seconds < LONG_SECONDS
    assert outcome.megabytes < LONG_MEGABYTES

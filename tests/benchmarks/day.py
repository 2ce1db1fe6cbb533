"""A recording day measured: how soon a verdict and the intervals follow a file's last byte, whether memory stays flat,
and whether kills at random moments lose anything.

    python tests/benchmarks/day.py verdicts [--landings 200] [--every 2.5]
    python tests/benchmarks/day.py kills [--kills 30] [--within 8] [--seed 1]

verdicts: a camera's computer saves landings of three riders in eight pieces, one every few seconds, each with noise of
its own on every marker; the day runs beside it with its workers, as a user starts it. kills: the day is killed with
kill -9 after 0 to 8 s, again and again, while recordings arrive; what is there in the end is compared with a study run
of an undisturbed copy. The load of the machine is printed: other work on it lengthens every time.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(HERE), str(HERE.parent)]

from made_day import empty_study, record  # noqa: E402
from made_study import every_byte, read_csv  # noqa: E402

from jointload.day.engine import Day  # noqa: E402
from jointload.intake.c3d_bytes.guard import OpenedRecording  # noqa: E402
from jointload.intake.c3d_bytes.layout import read_layout  # noqa: E402
from jointload.intake.c3d_bytes.parameters import LIMITS  # noqa: E402
from jointload.modeldata import shipped_folder  # noqa: E402
from jointload.whole_study import run_study  # noqa: E402

NOISE = 0.1
"""[mm] added to every marker, so that no two landings have the same numbers."""
PIECES, PIECE_SECONDS = 8, 0.05
WITHIN = {"verdict": 3.0, "intervals": 10.0}
SHARE = 0.95


def noisy(source: Path, seed: int) -> bytes:
    """A landing of the sample with other noise on its markers (files of real numbers, four a point)."""
    with OpenedRecording(source, LIMITS) as opened:
        layout = read_layout(opened.structure(), LIMITS)
        section, _ = opened.section(layout.start, layout.stop)
    content = source.read_bytes()
    words = np.frombuffer(section, dtype="<f4").copy()
    per_frame = layout.points * 4 + layout.channels * max(1, layout.samples_per_frame)
    frames = words[: layout.frames * per_frame].reshape(layout.frames, per_frame)
    points = frames[:, : layout.points * 4].reshape(layout.frames, layout.points, 4)
    points[..., :3] += NOISE * np.random.default_rng(seed).standard_normal(points[..., :3].shape).astype("<f4")
    place = content.index(bytes(section[:4096]))
    return content[:place] + words.tobytes() + content[place + words.nbytes :]


class Camera:
    """Saves landings one after the other; `saved` holds when the last byte of each was written."""

    def __init__(self, folder: Path, landings: int, every: float) -> None:
        self.folder, self.landings, self.every = folder, landings, every
        self.saved: dict[str, float] = {}

    def name(self, k: int) -> tuple[str, str]:
        rider, condition = "abc"[k % 3], ("flat", "wedge")[k // 3 % 2]
        return f"rider_{rider}_landing_{condition}_{k:03}.c3d", f"rider_{rider}_landing_{condition}.c3d"

    def run(self) -> None:
        began = time.monotonic()
        for k in range(self.landings):
            name, source = self.name(k)
            content = noisy(shipped_folder("sample_c3d") / source, k)
            time.sleep(max(0.0, began + k * self.every - time.monotonic()))
            step = -(-len(content) // PIECES)
            with (self.folder / name).open("wb") as file:
                for start in range(0, len(content), step):
                    file.write(content[start : start + step])
                    file.flush()
                    time.sleep(PIECE_SECONDS)
            self.saved[Path(name).stem] = time.monotonic()


def memory(pid: int) -> float:
    """Resident [MB]."""
    for line in Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return float("nan")


def spent(pid: int) -> float:
    """Processor time [s]."""
    status = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
    return sum(map(int, status.rpartition(")")[2].split()[11:13])) / os.sysconf("SC_CLK_TCK")


def processes(day: Day) -> list[int]:
    """The day's own process, and its workers of verdicts and of results."""
    workers = [worker.process.pid for lane in day._lanes or () for worker in lane.crew.workers.values()]
    return [os.getpid(), *workers]


def verdicts(landings: int, every: float) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = empty_study(Path(place) / "study")
        camera = Camera(folder, landings, every)
        rows = ["file,rider,kind,condition"]
        for rider in "abc":
            record(folder, f"rider_{rider}_static.c3d")
            rows.append(f"rider_{rider}_static.c3d,rider_{rider},static,")
        for k in range(landings):
            name, _ = camera.name(k)
            rows.append(f"{name},{name[:7]},landing,{'wedge' if 'wedge' in name else 'flat'}")
        (folder / "trials.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
        seen: dict[str, dict[str, float]] = {"verdict": {}, "intervals": {}}
        with Day(folder) as day:
            while not day.state()["trials"] or any(row["word"] == "" for row in day.state()["trials"]):
                time.sleep(0.2)
            before = [spent(pid) for pid in processes(day)]
            threading.Thread(target=camera.run, daemon=True).start()
            followed(day, camera, seen)
            summary(seen, camera)
            after = [spent(pid) for pid in processes(day)]
            each = ", ".join(f"{(b - a) / landings:.2f}" for a, b in zip(before, after, strict=False))
            print(f"processor time a landing [s], the day with the camera beside it, verdicts, results: {each}")
            began = time.monotonic()
            day.state()
            text = len(str(day.state())) / 1e3
            print(f"state of {landings} landings: {1e3 * (time.monotonic() - began):.0f} ms twice, {text:.0f} kB")


def followed(day: Day, camera: Camera, seen: dict[str, dict[str, float]]) -> None:
    """Until every landing has its intervals; a page would be told at the same moments."""
    revision, told = 0, 0
    while len(seen["intervals"]) < camera.landings:
        revision = day.wait_for_change(revision, 1.0)
        now = time.monotonic()
        for row in day.state()["trials"]:
            name = row["name"]
            if row["word"] and name in camera.saved:
                seen["verdict"].setdefault(name, now - camera.saved[name])
                if row["status"] == "done":
                    seen["intervals"].setdefault(name, now - camera.saved[name])
        if len(seen["intervals"]) >= told + 25:
            told = len(seen["intervals"])
            sizes = ", ".join(f"{memory(pid):.0f}" for pid in processes(day))
            print(f"{told} landings: load {os.getloadavg()[0]:.1f}; memory {sizes} MB", flush=True)
            summary(seen, camera)


def summary(seen: dict[str, dict[str, float]], camera: Camera) -> None:
    for what, limit in WITHIN.items():
        times = np.array(list(seen[what].values()))
        if times.size:
            inside = 100 * float(np.mean(times <= limit))
            print(
                f"  {what}: {times.size} of {len(camera.saved)}, middle {np.median(times):.2f} s, "
                f"95 % within {np.quantile(times, SHARE):.2f} s, worst {times.max():.2f} s; "
                f"{inside:.1f} % within {limit:g} s",
                flush=True,
            )


# Kills ----------------------------------------------------------------------------------------------------------------


def lives(folder: Path, recordings: int, kills: int, within: float, random_number: random.Random) -> Iterator[str]:
    """One life of the day after the other, each killed but the last."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join((str(HERE.parent), str(HERE)))}
    command = [sys.executable, str(HERE / "day_driver.py"), str(folder), str(recordings)]
    for _ in range(kills):
        process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)
        seconds = random_number.uniform(0.0, within)
        time.sleep(seconds)
        if process.poll() is not None:
            yield "it had ended"
            return
        process.kill()
        process.wait()
        yield f"killed after {seconds:.1f} s"
    subprocess.run(command, env=environment, check=True, stdout=subprocess.DEVNULL)
    yield "ended by itself"


def kills(count: int, within: float, seed: int) -> None:
    """Recordings arrive through all lives: about one every other life."""
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory() as place:
        folder = empty_study(Path(place) / "study")
        riders = (folder / "riders.csv").read_text(encoding="utf-8").splitlines()
        (folder / "riders.csv").write_text("\n".join(riders[:2]) + "\n", encoding="utf-8")
        files = ["rider_a_static.c3d"]
        sources = ("rider_a_landing_flat.c3d", "rider_a_landing_wedge.c3d")
        files += [source.replace(".c3d", f"_{k:02}.c3d") for k in range(count // 4) for source in sources]
        record(folder, files[0])
        for number, told in enumerate(lives(folder, len(files), count, within, chance)):
            done = len(read_csv(folder / "trials.csv")) - 1 if (folder / "trials.csv").exists() else 0
            results = len(list((folder / "results" / "trials").glob("[a-z]*"))) if (folder / "results").exists() else 0
            print(f"{number + 1}: {told}; {done} answers, {results} results", flush=True)
            if number < len(files) - 1:
                file = files[number + 1]
                (folder / file).write_bytes(noisy(shipped_folder("sample_c3d") / f"{file[:-7]}.c3d", number))
        quiet = Path(place) / "quiet"
        shutil.copytree(folder, quiet, ignore=shutil.ignore_patterns("results", "day"))
        wanted = "".join(f"{line}\n" for line in ["file,rider,kind,condition", *map(row_of, files)])
        run_study(quiet)
        ours, theirs = every_byte(folder / "results"), every_byte(quiet / "results")
        differing = sorted(name for name in ours | theirs if ours.get(name) != theirs.get(name))
        text = (folder / "trials.csv").read_text(encoding="utf-8")
        print(
            f"trials.csv equals that of an undisturbed day: {text == wanted}; differing results: {differing or 'none'}"
        )


def row_of(file: str) -> str:
    if "static" in file:
        return f"{file},rider_a,static,"
    return f"{file},rider_a,landing,{'wedge' if 'wedge' in file else 'flat'}"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("verdicts", "kills"))
    parser.add_argument("--landings", type=int, default=200)
    parser.add_argument("--every", type=float, default=2.5)
    parser.add_argument("--kills", type=int, default=30)
    parser.add_argument("--within", type=float, default=8.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if asked.what == "verdicts":
        verdicts(asked.landings, asked.every)
    else:
        kills(asked.kills, asked.within, asked.seed)

"""Speed of what users run: python tests/benchmarks/speed.py [--out TABLE.md] [--quick]

Prints one table, with the machine's load, and writes it as Markdown. Times are processor seconds, of children too, so
that other work on the machine counts little; it still shares caches and cores, so nothing is judged above a load of
LARGEST_LOAD. Where a reference exists, the ratio to it in the same run is what counts.
"""

from __future__ import annotations

import os

os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

import argparse
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from jointload.analysis import Analysis, analyse, fit_body
from jointload.body.angles import joint_angles
from jointload.body.pose import smooth_markers, track_segments
from jointload.foot.bore import with_feet
from jointload.intake.c3d import analog_channels, decode, read_recording
from jointload.intake.c3d_bytes.guard import OpenedRecording
from jointload.intake.c3d_bytes.layout import read_layout
from jointload.intake.c3d_bytes.parameters import LIMITS
from jointload.intake.session import Session, read_session
from jointload.loads.contact import foot_contact
from jointload.loads.moments import Chain, SegmentMotion, inverse_dynamics, joint_loads
from jointload.modeldata import shipped_folder
from jointload.numerics.rigid_fit import fit_poses
from jointload.report.files.folder import write_report
from jointload.settings import Settings
from jointload.uncertainty.in_order import usual_threads
from jointload.uncertainty.intervals import DRAWS, with_intervals

SAMPLE = shipped_folder("sample_c3d")
ROOT = Path(__file__).parents[2]
LANDING, STATIC = SAMPLE / "rider_a_landing_flat.c3d", SAMPLE / "rider_a_static.c3d"
FILES = {"static": STATIC, "labels": SAMPLE / "labels.toml", "rider": SAMPLE / "rider_a.toml"}
LARGEST_LOAD = 0.5
"""Other work [processes that run or wait, mean of a minute] above which no figure is called reached or missed."""


@dataclass(frozen=True)
class Row:
    """One line of the table: what, our figure, the reference's, and whether `value` is within `wanted`, where there is
    such a figure."""

    what: str
    ours: str
    reference: str = ""
    value: float = float("nan")
    wanted: float = float("nan")
    wanted_words: str = ""

    def cells(self, judged: bool) -> tuple[str, ...]:
        ratio = "" if np.isnan(self.value) or not self.reference else f"{self.value:.2f}"
        verdict = "" if np.isnan(self.wanted) else "not judged"
        if judged and verdict:
            verdict = "reached" if self.value <= self.wanted else "missed"
        return self.what, self.ours, self.reference, ratio, self.wanted_words, verdict


def best(work: Callable[[], object], repeats: int = 15) -> float:
    """Least processor time [s] of several runs, after one to warm up."""
    work()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def command(*words: str, repeats: int = 1) -> tuple[float, float]:
    """Processor and wall time [s] of a command in a process of its own, with its children: the least of some runs."""
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    cpu, wall = [], []
    for _ in range(repeats):
        before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        with tempfile.TemporaryDirectory() as folder:
            done = subprocess.run(
                [sys.executable, *words], cwd=folder, env=environment, capture_output=True, check=False
            )
        if done.returncode not in (0, 1):
            raise RuntimeError(done.stderr.decode())
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        cpu.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        wall.append(time.perf_counter() - start)
    return min(cpu), min(wall)


def start_up() -> Iterator[Row]:
    bare, _ = command("-c", "pass", repeats=5)
    for word in ("--help", "--version"):
        taken, _ = command("-m", "jointload.cli", word, repeats=5)
        yield Row(f"`jointload {word}`", f"{taken:.2f} s", f"bare Python {bare:.2f} s", *_over(taken, bare, 0.12))
    taken, _ = command("-m", "jointload.cli", "check", str(LANDING), repeats=3)
    yield Row("`jointload check FILE`", f"{taken:.2f} s", "", taken, 0.4, "0.4 s")


def _over(taken: float, bare: float, most: float) -> tuple[float, float, str]:
    return taken / bare, (bare + most) / bare, f"bare Python + {most:g} s"


def trial_of_300_frames(folder: Path) -> Path:
    """A sample landing cut to 300 frames and filled to 60 markers, two plates."""
    import ezc3d

    file = ezc3d.c3d(str(LANDING))
    points, analogs = file["data"]["points"], file["data"]["analogs"]
    step = analogs.shape[2] // points.shape[2]
    frames = min(300, points.shape[2])
    extra = 60 - points.shape[1]
    repeated = np.concatenate((points, points[:, :extra]), axis=1)[:, :, np.minimum(np.arange(300), frames - 1)]
    labels = file["parameters"]["POINT"]["LABELS"]["value"]
    file["parameters"]["POINT"]["LABELS"]["value"] = labels + [f"extra_{k}" for k in range(extra)]
    file["parameters"]["POINT"]["DESCRIPTIONS"]["value"] = [""] * 60
    file["data"]["points"] = repeated
    file["data"]["meta_points"]["residuals"] = np.zeros((1, 60, 300))
    file["data"]["meta_points"]["camera_masks"] = np.zeros((7, 60, 300), dtype=bool)
    samples = np.minimum(np.arange(300 * step), analogs.shape[2] - 1)
    file["data"]["analogs"] = analogs[:, :, samples]
    path = folder / "trial.c3d"
    file.write(str(path))
    return path


def one_landing() -> Iterator[Row]:
    """From files to numbers: the inner loop alone, and all that a user gets."""
    import ezc3d

    with tempfile.TemporaryDirectory() as name:
        path = trial_of_300_frames(Path(name))
        analysis = whole(path, variants=False)
        bare = best(lambda: ezc3d.c3d(str(path)), 30)
        said = f"ezc3d's bare read, {1e3 * bare:.1f} ms"
        for what, work, wanted in (
            ("decoder alone: bytes to arrays of markers and channels", lambda: arrays(path), 0.15),
            ("reading with axes, plates and their findings", lambda: read_recording(path), float("nan")),
            ("inner loop: read to moments, body fitted before", inner_loop(path), float("nan")),
            ("read + analyse, all that a user gets", lambda: whole(path, variants=False), 1.0),
            ("the same with its variants", lambda: whole(path, variants=True), 2.0),
            ("heel, ball and toes of both feet, beside it", lambda: with_feet(analysis), float("nan")),
        ):
            mine = best(work)
            wanted_words = "" if np.isnan(wanted) else f"{wanted:g}"
            yield Row(f"{what}, 300 frames", f"{1e3 * mine:.1f} ms", said, mine / bare, wanted, wanted_words)


def arrays(path: Path) -> None:
    with OpenedRecording(path, LIMITS) as opened:
        structure = opened.structure()
        layout = read_layout(structure, LIMITS)
        section, _ = opened.section(layout.start, layout.stop)
    data = decode(section, layout, structure)
    analog_channels(data, layout, structure, range(layout.channels))
    np.ascontiguousarray(data[:, : 4 * layout.points].reshape(layout.frames, -1, 4).transpose(2, 1, 0), dtype=float)


def inner_loop(path: Path) -> Callable[[], None]:
    session, settings = read_session(LANDING, **FILES), Settings()
    body = fit_body(Session(session.static, session.static, session.labels, session.rider), session.rider, settings)

    def ours() -> None:
        trial = read_recording(path)
        markers, _ = smooth_markers(trial, body, settings.cutoff, settings.longest_gap)
        poses, _ = track_segments(markers, body, trial.point_rate)
        angles = joint_angles(poses, body)
        contact = foot_contact(trial, poses, body, settings.cutoff, settings.contact_threshold)
        joint_loads(poses, body, angles, contact.force, contact.moment)

    return ours


def whole(path: Path, variants: bool) -> Analysis:
    """Landing and static trial read, body fitted, checks, events, every measure."""
    return analyse(read_session(path, **FILES), variants=variants)


def newton_euler() -> Iterator[Row]:
    frames, segments = 10_000, 10
    rng = np.random.default_rng(0)
    rotation = Rotation.random(segments * frames, random_state=1).as_matrix().reshape(segments, frames, 3, 3)
    motion = SegmentMotion(
        np.ascontiguousarray(rotation.transpose(2, 3, 0, 1)),
        *(rng.normal(size=(3, segments, frames)) for _ in range(4)),
    )
    tensor = np.stack([np.diag([0.1, 0.2, 0.25])] * segments, axis=2)
    chain = Chain(np.ones(segments), tensor, (*range(1, segments), -1))
    joint, wrench = rng.normal(size=(3, segments, frames)), rng.normal(size=(3, 2, frames))
    mine = 1e6 * best(lambda: inverse_dynamics(motion, chain, joint, wrench, wrench, (0, 4)), 40) / frames
    what, ours = f"inverse dynamics, {segments} segments, {frames:,} frames", f"{mine:.2f} us a frame"
    yield Row(what, ours, "", mine, 0.6, "0.6 us")
    for reads, words in ((False, "bare loop over pinocchio"), (True, "the same, every joint force read")):
        taken = pinocchio_loop(segments, reads)
        if taken is not None:
            yield Row("", "", f"{words}, {taken:.1f} us", mine / taken)


def pinocchio_loop(segments: int, reads: bool, frames: int = 2000) -> float | None:
    """Microseconds a frame of a rigid-body library's own inverse dynamics; None where it is not installed."""
    try:
        import pinocchio as pin
    except ImportError:
        return None
    model, parent = pin.Model(), 0
    for _ in range(segments):
        kind = pin.JointModelFreeFlyer() if parent == 0 else pin.JointModelSpherical()
        parent = model.addJoint(parent, kind, pin.SE3.Random(), f"joint {parent}")
        model.appendBodyToJoint(parent, pin.Inertia.Random(), pin.SE3.Identity())
    data, rng = model.createData(), np.random.default_rng(0)
    q = np.array([pin.randomConfiguration(model, -np.ones(model.nq), np.ones(model.nq)) for _ in range(frames)])
    v, a = rng.normal(size=(frames, model.nv)), rng.normal(size=(frames, model.nv))

    def loop() -> list[np.ndarray]:
        out = []
        for f in range(frames):
            pin.rnea(model, data, q[f], v[f], a[f])
            if reads:
                out.append(np.array([data.f[j].vector for j in range(1, model.njoints)]))
        return out

    return 1e6 * best(loop, 3) / frames


def rigid_fits() -> Iterator[Row]:
    rng = np.random.default_rng(2)
    clusters = [rng.normal(scale=0.1, size=(3, 5)) for _ in range(8)]
    turns = Rotation.random(300, random_state=2).as_matrix()
    seen = [np.einsum("fij,jn->inf", turns, c) + rng.normal(scale=0.002, size=(3, 5, 300)) for c in clusters]

    def by_singular_values() -> None:
        for local, lab in zip(clusters, seen, strict=True):
            a, b = local - local.mean(axis=1, keepdims=True), lab - lab.mean(axis=1, keepdims=True)
            p, _, q = np.linalg.svd(np.einsum("inf,jn->fij", b, a))
            p[..., -1] *= np.linalg.det(p @ q)[:, None]
            p @ q

    mine, other = best(lambda: fit_poses(clusters, seen)), best(by_singular_values)
    words = f"batched numpy.linalg.svd, {1e3 * other:.1f} ms"
    yield Row("poses of 8 clusters, 300 frames", f"{1e3 * mine:.2f} ms", words, mine / other)


def draws() -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as name:
        session = read_session(trial_of_300_frames(Path(name)), **FILES)
    plain = analyse(session, variants=False)
    shared = best(lambda: with_intervals(plain), 2)
    yield Row(f"{DRAWS} draws with the share of each input, 300 frames", f"{shared:.2f} s", "", shared, 2.0, "2.0 s")
    threads = usual_threads()
    spent, passed = time.process_time(), time.perf_counter()
    with_intervals(plain, threads=threads)
    spent, passed = time.process_time() - spent, time.perf_counter() - passed
    yield Row(f"the same on {threads} threads", f"{passed:.2f} s, {spent:.2f} s of processor")
    alone = best(lambda: with_intervals(analyse(session, variants=False), shares=False), 2)
    yield Row(f"a study's landing with {DRAWS} draws, no report", f"{alone:.2f} s", "", alone, 2.5, "2.5 s")


def commands() -> Iterator[Row]:
    words = [word for role, path in FILES.items() for word in (f"--{role}", str(path))]
    asked = ("-m", "jointload.cli", "analyse", str(LANDING), *words, "--out", "result")
    for what, words_of_it, most in (
        (f"`jointload analyse` with {DRAWS} draws and report", asked, 5.0),
        ("`jointload demo`", ("-m", "jointload.cli", "demo", "--out", "result"), 12.0),
    ):
        cpu, wall = command(*words_of_it)
        yield Row(what, f"{wall:.1f} s, {cpu:.1f} s of processor", "", wall, most, f"{most:g} s on two cores")
    with tempfile.TemporaryDirectory() as folder:
        analysis = with_intervals(analyse(read_session(LANDING, **FILES)))
        start = time.process_time()
        write_report(analysis, Path(folder) / "result")
        taken = time.process_time() - start
        size = (Path(folder) / "result" / "report.html").stat().st_size / 1e6
    yield Row("report writing, the first in a process", f"{taken:.1f} s", "", taken, 1.0, "1.0 s")
    yield Row("page", f"{size:.1f} MB", "", size, 2.0, "2.0 MB")


def table(rows: list[Row], load: float) -> str:
    judged = load <= LARGEST_LOAD
    said = f"load {load:.1f}" if judged else f"load {load:.1f}, above {LARGEST_LOAD:g}: nothing is judged"
    machine = f"{os.cpu_count()} processors, Python {platform.python_version()}, numpy {np.__version__}; {said}"
    heads = ("what", "ours", "reference", "ratio", "wanted, at most", "")
    lines = ["| " + " | ".join(cells) + " |" for cells in (heads, ("---",) * 6, *(row.cells(judged) for row in rows))]
    return "\n".join((f"Processor time of one core unless said; {machine}.", "", *lines)) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description="Time what users run")
    parser.add_argument("--out", type=Path, help="write the table here, too, as Markdown")
    parser.add_argument("--quick", action="store_true", help="leave out the draws and the long commands")
    words = parser.parse_args()
    load, rows = os.getloadavg()[0], []
    groups = [start_up, one_landing, newton_euler, rigid_fits] + ([] if words.quick else [draws, commands])
    for group in groups:
        rows += list(group())
        print(f"{group.__name__} done", file=sys.stderr)
    text = table(rows, load)
    print(text, end="")
    if words.out is not None:
        words.out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()

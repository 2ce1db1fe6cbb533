"""Speed, run by hand: python tests/benchmarks/speed.py

Times depend on the machine; the ratios, taken in one run against a named reference, are what counts.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from jointload.analysis import fit_body
from jointload.body.angles import joint_angles
from jointload.body.pose import smooth_markers, track_segments
from jointload.intake.c3d import read_recording
from jointload.intake.labels import read_labels
from jointload.intake.rider import read_rider
from jointload.intake.session import Session
from jointload.loads.contact import foot_contact
from jointload.loads.moments import Chain, SegmentMotion, inverse_dynamics, joint_loads
from jointload.modeldata import shipped_folder
from jointload.numerics.rigid_fit import fit_poses
from jointload.settings import Settings

SAMPLE = shipped_folder("sample_c3d")


def best(work: Callable[[], object], repeats: int = 15) -> float:
    """Shortest time [s] of several runs, after one to warm up."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def trial_of_300_frames(folder: Path) -> Path:
    """A sample landing cut to 300 frames and filled to 60 markers, two plates."""
    import ezc3d

    file = ezc3d.c3d(str(SAMPLE / "rider_a_landing_flat.c3d"))
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


def read_to_moments() -> None:
    import ezc3d

    with tempfile.TemporaryDirectory() as name:
        path = trial_of_300_frames(Path(name))
        labels, rider = read_labels(SAMPLE / "labels.toml"), read_rider(SAMPLE / "rider_a.toml")
        static = read_recording(SAMPLE / "rider_a_static.c3d")
        settings = Settings()
        body = fit_body(Session(static, static, labels, rider), rider, settings)

        def ours() -> None:
            trial = read_recording(path)
            markers, _ = smooth_markers(trial, body, settings.cutoff, settings.longest_gap)
            poses, _ = track_segments(markers, body, trial.point_rate)
            angles = joint_angles(poses, body)
            contact = foot_contact(trial, poses, body, settings.cutoff, settings.contact_threshold)
            joint_loads(poses, body, angles, contact.force, contact.moment)

        reference, mine = best(lambda: ezc3d.c3d(str(path))), best(ours)
    print(f"read to moments, 300 frames, 60 markers, 2 plates: {1e3 * mine:.1f} ms")
    print(f"  ezc3d's bare read: {1e3 * reference:.1f} ms; ratio {mine / reference:.2f} (wanted at most 1.6)")


def newton_euler() -> None:
    frames, segments = 3000, 10
    rng = np.random.default_rng(0)
    rotation = Rotation.random(segments * frames, random_state=1).as_matrix().reshape(segments, frames, 3, 3)
    motion = SegmentMotion(
        np.ascontiguousarray(rotation.transpose(2, 3, 0, 1)),
        *(rng.normal(size=(3, segments, frames)) for _ in range(4)),
    )
    tensor = np.stack([np.diag([0.1, 0.2, 0.25])] * segments, axis=2)
    chain = Chain(np.ones(segments), tensor, (*range(1, segments), -1))
    joint, wrench = rng.normal(size=(3, segments, frames)), rng.normal(size=(3, 2, frames))
    mine = best(lambda: inverse_dynamics(motion, chain, joint, wrench, wrench, (0, 4)))
    taken = 1e6 * mine / frames
    print(f"inverse dynamics, {segments} segments, {frames} frames: {taken:.2f} us a frame (wanted at most 1.2)")
    try:
        import pinocchio as pin
    except ImportError:
        print("  pinocchio is not installed: no ratio")
        return
    model = pin.Model()
    parent = 0
    for _ in range(segments):
        kind = pin.JointModelFreeFlyer() if parent == 0 else pin.JointModelSpherical()
        parent = model.addJoint(parent, kind, pin.SE3.Random(), f"joint {parent}")
        model.appendBodyToJoint(parent, pin.Inertia.Random(), pin.SE3.Identity())
    data = model.createData()
    q = np.array([pin.randomConfiguration(model, -np.ones(model.nq), np.ones(model.nq)) for _ in range(frames)])
    v, a = rng.normal(size=(frames, model.nv)), rng.normal(size=(frames, model.nv))

    def loop() -> list[np.ndarray]:
        out = []
        for f in range(frames):
            pin.rnea(model, data, q[f], v[f], a[f])
            out.append(np.array([data.f[j].vector for j in range(1, model.njoints)]))
        return out

    reference = best(loop, 3)
    print(f"  a loop over pinocchio that reads every joint force: {1e6 * reference / frames:.1f} us a frame")
    print(f"  {reference / mine:.0f} times slower (wanted at least 5)")


def rigid_fits() -> None:
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

    mine, reference = best(lambda: fit_poses(clusters, seen)), best(by_singular_values)
    print(f"poses of 8 clusters, 300 frames: {1e3 * mine:.2f} ms")
    print(f"  batched numpy.linalg.svd: {1e3 * reference:.2f} ms; {reference / mine:.1f} times slower")


def help_text() -> None:
    command = [sys.executable, "-m", "jointload.cli", "--help"]
    taken = best(lambda: subprocess.run(command, check=True, capture_output=True), 5)
    print(f"jointload --help: {taken:.2f} s (wanted under 0.3)")


if __name__ == "__main__":
    read_to_moments()
    newton_euler()
    rigid_fits()
    help_text()

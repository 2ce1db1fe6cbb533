"""The insole's bed, run by hand: python tests/benchmarks/insole.py

1,000 draws x 10 instants on cells of 8 mm, on one core: baseline and one wedge, wanted within 5 s. Seconds are those of
the processor, which other work slows less than it slows the clock.
"""

from __future__ import annotations

import os

for library in ("OPENBLAS", "OMP", "MKL"):
    os.environ[f"{library}_NUM_THREADS"] = "1"

import time  # noqa: E402
from collections.abc import Callable  # noqa: E402

import numpy as np  # noqa: E402

from jointload.analysis import Analysis, analyse  # noqa: E402
from jointload.insole.bed.bed import GRAVITY, REASONS, BedLoad, BedPose  # noqa: E402
from jointload.insole.bed.foundation import baseline_pose, changed_pose, first_order  # noqa: E402
from jointload.insole.bed.person import draw_person, plain_foot  # noqa: E402
from jointload.insole.fitting.fit import fit  # noqa: E402
from jointload.insole.fitting.whatif import what_ifs  # noqa: E402
from jointload.insole.shape.geometry import parse_wedge  # noqa: E402
from jointload.intake.session import read_session  # noqa: E402
from jointload.modeldata import shipped_folder  # noqa: E402

MASS, LENGTH, THICK = 70.0, 0.260, 0.012
DRAWS, INSTANTS, DEGREES = 1000, 10, 5.0
WANTED = 5.0
ANSWER_DRAWS, ANSWER_WANTED, FIT_WANTED = 200, 3.0, 10.0
WALKING, RUNNING = 1.05, 2.4


def timed(label: str, work: Callable[[], BedPose]) -> tuple[BedPose, float]:
    start = time.process_time()
    pose = work()
    seconds = time.process_time() - start
    print(f"{label:34s} {seconds:6.2f} s   stable {pose.stable.mean():7.2%}   ", end="")
    print("" if np.isnan(pose.residual).all() else f"largest imbalance {np.nanmax(pose.residual):.1e} of F")
    return pose, seconds


def quantiles(values: np.ndarray) -> str:
    return "{1:6.3f} ({0:6.3f} to {2:6.3f})".format(*np.nanquantile(values, [0.05, 0.5, 0.95]))


def speed() -> None:
    bed, person = plain_foot(LENGTH), draw_person(DRAWS, 1, MASS, LENGTH)
    weight = MASS * GRAVITY
    load = BedLoad(
        weight * np.linspace(0.5, 4.0, INSTANTS),
        LENGTH * np.linspace(0.20, 0.60, INSTANTS),
        np.linspace(-0.005, 0.005, INSTANTS),
    )
    flat, tilt = np.full(bed.x.shape, THICK), np.tan(np.deg2rad(DEGREES)) * bed.y
    print(f"{DRAWS} draws x {INSTANTS} instants x {bed.x.size} cells")
    before, first = timed("baseline", lambda: baseline_pose(bed, flat, person.materials, person.joints, load))
    after, second = timed("wedge of 5 deg", lambda: changed_pose(bed, flat + tilt, person.joints, before))
    start = time.process_time()
    unknowns, _ = first_order(bed, person.joints, before, tilt[:, None])
    print(f"{'the same, to first order':34s} {time.process_time() - start:6.2f} s")
    print(f"baseline and wedge {first + second:.2f} s, wanted under {WANTED:g} s")
    whole = after.roll - before.roll
    print("error of roll, to first order      ", quantiles(unknowns[..., 1, 0] / whole - 1))
    for code, count in zip(*np.unique(after.reason, return_counts=True), strict=True):
        print(f"{count:6d} poses: {REASONS[code] or 'stable'}")


def magnitudes() -> None:
    bed, person = plain_foot(LENGTH), draw_person(DRAWS, 1, MASS, LENGTH)
    flat = np.full(bed.x.shape, THICK)
    heel = np.clip((0.50 - bed.x / LENGTH) / 0.15, 0, 1)
    print("\nmedian (5 to 95 %) of roll per degree and shift of the centre of pressure [mm per degree]")
    for task, weights, forward in (("walking", WALKING, 0.38), ("running", RUNNING, 0.42), ("landing", 5.0, 0.50)):
        load = BedLoad(np.array([weights * MASS * GRAVITY]), np.array([forward * LENGTH]), np.zeros(1))
        before = baseline_pose(bed, flat, person.materials, person.joints, load)
        for part, share in (("full", 1.0), ("heel", heel)):
            for side, sign in (("medial", 1), ("lateral", -1)):
                tilt = share * np.tan(np.deg2rad(sign * DEGREES)) * bed.y
                after = changed_pose(bed, flat + tilt, person.joints, before)
                roll = np.rad2deg(after.roll - before.roll) / (sign * DEGREES)
                shift = 1000 * (after.cop_y - before.cop_y) / (sign * DEGREES)
                print(f"{task:8s} {part:5s} {side:8s} roll {quantiles(roll)}   shift {quantiles(shift)}")
        lift = 0.018 * np.clip((0.65 - bed.x / LENGTH) / 0.45, 0, 1)
        after = changed_pose(bed, flat + lift, person.joints, before)
        print(f"{task:8s} 18 mm heel lift, pitch [deg] {quantiles(np.rad2deg(after.pitch - before.pitch))}")


def sample_landing() -> Analysis:
    sample = shipped_folder("sample_c3d")
    files = {"labels": sample / "labels.toml", "rider": sample / "rider_a.toml"}
    session = read_session(sample / "rider_a_landing_flat.c3d", sample / "rider_a_static.c3d", **files)
    return analyse(session, variants=False)


def one_answer() -> None:
    """A whole what-if on the shipped sample landing, and what three more shapes cost."""
    analysis = sample_landing()
    for count in (1, 4):
        wedges = [parse_wedge(f"lateral:{2 * k + 2}", "right", "full") for k in range(count)]
        start = time.process_time()
        what_ifs(analysis, wedges, ANSWER_DRAWS)
        words = f"what-if, {count} shapes, {ANSWER_DRAWS} draws"
        print(f"{words:34s} {time.process_time() - start:6.2f} s   (one wanted under {ANSWER_WANTED:g} s)")


def one_fit() -> None:
    """A whole fit on the shipped sample landing: slopes, five searches, the full answer."""
    analysis = sample_landing()
    for target in ("achilles_load", "knee_adduction_moment"):
        start = time.process_time()
        found = fit(analysis, "right", target, draws=ANSWER_DRAWS)
        seconds = time.process_time() - start
        print(f"{'fit of ' + target:34s} {seconds:6.2f} s   (wanted under {FIT_WANTED:g} s)   {found.verdict[:40]}")


if __name__ == "__main__":
    speed()
    one_answer()
    one_fit()
    magnitudes()

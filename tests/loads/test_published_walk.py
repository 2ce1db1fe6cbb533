"""Winter's walking trial through the project's own moments function, his plane embedded in three dimensions.

Winter DA (2009) Biomechanics and Motor Control of Human Movement, 4th ed., Appendix A, Tables A.2, A.3 and A.5.
Masses and moments of inertia of the trial are not printed beside it; those below were fitted to A.3 and A.5 by least
squares (see fitted values).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from jointload.loads.moments import Chain, SegmentMotion, inverse_dynamics
from jointload.numerics.rotations import about_axis, cross

MASS = np.array([0.794, 2.664, 5.67])
"""Foot, leg, thigh [kg], 1.40, 4.70 and 10.0 % of 56.7 kg."""
INERTIA = np.array([0.0028, 0.0350, 0.0535])
"""[kg m2] about the centre of mass, transverse axis."""
GRAVITY = np.array([0.0, -9.81, 0.0])
FORCE_TOLERANCE = 0.2
"""Root mean square [N]; the table prints one decimal, accelerations two or three digits."""
MOMENT_TOLERANCE = 0.4
"""Root mean square [N m]; the table prints one decimal, the centre of pressure millimetres."""


def table(folder: Path, name: str) -> dict[str, np.ndarray]:
    lines = [line for line in (folder / name).read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return {key: np.array([float(row[key] or "nan") for row in rows]) for key in rows[0] if key != "state"}


@pytest.fixture(scope="module")
def walk(shared_reference: Path) -> dict[str, dict[str, np.ndarray]]:
    names = {
        "markers": "winter_A2_filtered_markers.csv",
        "motion": "winter_A3_segment_kinematics.csv",
        "loads": "winter_A5_joint_reactions_moments.csv",
    }
    return {key: table(shared_reference, name) for key, name in names.items()}


@pytest.fixture(scope="module")
def ours(walk: dict[str, dict[str, np.ndarray]]) -> tuple[np.ndarray, np.ndarray]:
    """Force and moment (3, segment, frame) at ankle, knee and hip."""
    motion, loads, markers = walk["motion"], walk["loads"], walk["markers"]
    segments = ("foot", "leg", "thigh")
    frames = motion["foot_cmx_m"].size
    flat = np.zeros(frames)

    def spatial(x: str, y: str) -> np.ndarray:
        return np.stack([np.stack([motion[f"{s}_{x}"], motion[f"{s}_{y}"], flat]) for s in segments], axis=1)

    def turning(name: str) -> np.ndarray:
        return np.stack([np.stack([flat, flat, motion[f"{s}_{name}"]]) for s in segments], axis=1)

    angle = np.deg2rad(np.stack([motion[f"{s}_theta_deg"] for s in segments]))
    segment_motion = SegmentMotion(
        rotation=about_axis("z", angle),
        centre=spatial("cmx_m", "cmy_m"),
        acceleration=spatial("ax", "ay"),
        angular_velocity=turning("omega_rps"),
        angular_acceleration=turning("alpha_rps2"),
    )
    tensor = np.stack([np.diag([i, i, i]) for i in INERTIA], axis=2)
    joints = np.stack(
        [np.stack([markers[f"{j}_x"], markers[f"{j}_y"], flat]) for j in ("ankle", "knee", "hip")], axis=1
    )
    ground = np.stack([loads["grf_x_N"], loads["grf_y_N"], flat])
    pressed = np.stack([np.nan_to_num(loads["copx_m"]), flat, flat])
    return inverse_dynamics(
        segment_motion,
        Chain(MASS, tensor, (1, 2, -1)),
        joints,
        ground[:, None],
        cross(pressed, ground)[:, None],
        (0,),
        GRAVITY,
    )


def rms(difference: np.ndarray) -> float:
    return float(np.sqrt(np.nanmean(difference**2)))


@pytest.mark.parametrize(("joint", "s"), [("ankle", 0), ("knee", 1), ("hip", 2)])
def test_joint_forces(
    walk: dict[str, dict[str, np.ndarray]], ours: tuple[np.ndarray, np.ndarray], joint: str, s: int
) -> None:
    force, loads = ours[0], walk["loads"]
    assert rms(force[0, s] - loads[f"{joint}_rx_N"]) < FORCE_TOLERANCE
    assert rms(force[1, s] - loads[f"{joint}_ry_N"]) < FORCE_TOLERANCE


@pytest.mark.parametrize(("joint", "s"), [("ankle", 0), ("knee", 1), ("hip", 2)])
def test_joint_moments(
    walk: dict[str, dict[str, np.ndarray]], ours: tuple[np.ndarray, np.ndarray], joint: str, s: int
) -> None:
    assert rms(ours[1][2, s] - walk["loads"][f"{joint}_moment_Nm"]) < MOMENT_TOLERANCE


def test_nothing_leaves_the_plane(ours: tuple[np.ndarray, np.ndarray]) -> None:
    force, moment = ours
    assert np.all(force[2] == 0)
    assert np.all(moment[:2] == 0)

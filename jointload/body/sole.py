"""Where the sole of a foot is, how it moves, and when it rests: the one place that says so."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import Array
from jointload.numerics.signals import first_derivative

REST_SPEED, REST_HEIGHT = 0.3, 0.02
"""A sole point that is slower [m/s] and lower above its standing height [m] rests on the ground (choice)."""
SOLE_POINTS = ("calcaneus", "forefoot")


@dataclass(frozen=True, eq=False)
class Sole:
    """points (3, P, F) [m], lab axes; heights (P, F) [m] above their places in the static trial; velocities (3, P, F)
    [m/s]. One unknown point where the foot has none."""

    points: Array
    heights: Array
    velocities: Array

    @property
    def speeds(self) -> Array:
        """(P, F) [m/s]"""
        return np.asarray(np.linalg.norm(self.velocities, axis=0))


def sole_of(poses: SegmentPoses, body: FittedBody, side: str) -> Sole:
    """Heel and forefoot of one foot in every frame."""
    names = [f"{side}_{name}" for name in SOLE_POINTS if f"{side}_{name}" in body.points]
    if not names:
        unknown = np.full((3, 1, poses.origin.shape[2]), np.nan)
        return Sole(unknown, unknown[0], unknown)
    points = np.stack([poses.place(body, name) for name in names], axis=1)
    standing = np.array([body.standing_points[name][1] for name in names])
    return Sole(points, points[1] - standing[:, None], first_derivative(points, 1.0 / poses.rate))


def rests(height: Array, speed: Array) -> NDArray[np.bool_]:
    """Whether what is so high [m] above its standing height and moves so fast [m/s] rests; not where it is unknown."""
    with np.errstate(invalid="ignore"):
        return np.asarray((height < REST_HEIGHT) & (speed < REST_SPEED))

"""How the body is lined up, seen from the rider's own front: pelvis, trunk, shank and sole.

The facing frame has Y up and X along the pelvis' forward direction at touch-down, so that a rider who stands across the
laboratory reads the same as one who stands along it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import SIDES, Array, Which
from jointload.numerics.rotations import from_axes, rotate_back


@dataclass(frozen=True, eq=False)
class Alignment:
    """Time series [rad] in the facing frame; sided ones are (2, F), right then left; NaN where unknown.

    pelvis_tilt : of X to the horizontal, front down positive;  pelvis_obliquity : of Z, right side up positive
    pelvis_rotation : of X about the vertical, turned to the left positive
    trunk_lean : to the right positive;  trunk_lean_forward : forward positive
    tibia_inclination_frontal : knee medial of the ankle positive
    knee_over_ankle : at the ankle, from the line to the hip centre to the line to the knee centre, knee medial positive
    hip_pelvis_angle : in front, between the thigh's long axis and the line from mid-hip to L5/S1, in the pelvis' plane
    sole_angle : toes up positive, against the standing sole
    """

    facing: Array
    pelvis_tilt: Array
    pelvis_obliquity: Array
    pelvis_rotation: Array
    trunk_lean: Array
    trunk_lean_forward: Array
    tibia_inclination_frontal: Array
    knee_over_ankle: Array
    hip_pelvis_angle: Array
    sole_angle: Array

    def drawn(self, draw: Which) -> Alignment:
        """One draw of many, or some of them."""
        series = {f.name: getattr(self, f.name)[..., draw, :] for f in fields(self) if f.name != "facing"}
        return Alignment(facing=self.facing[..., draw], **series)


def alignment(poses: SegmentPoses, body: FittedBody, frame: int) -> Alignment:
    """Alignment through the whole trial in the facing frame of one frame (touch-down)."""
    facing = facing_frame(poses, frame)
    lab_from_pelvis, _ = poses.of("pelvis")
    forward = rotate_back(facing[..., None], lab_from_pelvis[:, 0])
    trunk_up = rotate_back(facing[..., None], poses.of("trunk")[0][:, 1])
    hip, knee, ankle = (_facing_points(f"{joint}_centre", poses, body, facing) for joint in ("hip", "knee", "ankle"))
    shank, leg = _medial_angle(knee - ankle), _medial_angle(hip - ankle)
    return Alignment(
        facing=facing,
        pelvis_tilt=-np.arcsin(forward[1]),
        pelvis_obliquity=np.arcsin(lab_from_pelvis[1, 2]),
        pelvis_rotation=np.arctan2(-forward[2], forward[0]),
        trunk_lean=np.arctan2(trunk_up[2], trunk_up[1]),
        trunk_lean_forward=np.arctan2(trunk_up[0], trunk_up[1]),
        tibia_inclination_frontal=shank,
        knee_over_ankle=shank - leg,
        hip_pelvis_angle=_hip_pelvis_angle(poses, body),
        sole_angle=np.stack([_sole_angle(poses, body, side) for side in SIDES]),
    )


def facing_frame(poses: SegmentPoses, frame: int) -> Array:
    """lab_from_facing (3, 3): Y up, X along the pelvis' forward direction at `frame`, or at the nearest frame that
    has it."""
    forward = poses.of("pelvis")[0][:, 0]
    known = np.flatnonzero(np.isfinite(forward[0]).reshape(-1, forward.shape[-1]).all(axis=0))
    if not known.size:
        return np.eye(3)
    nearest = known[np.argmin(np.abs(known - frame))]
    return from_axes(np.array([0.0, 1.0, 0.0]).reshape(3, *(1,) * (forward.ndim - 2)), forward[..., nearest], "y", "x")


def _facing_points(name: str, poses: SegmentPoses, body: FittedBody, facing: Array) -> Array:
    """(3, 2, F) [m] of a right and a left point."""
    places = np.stack([poses.place(body, f"{side}_{name}") for side in SIDES], axis=1)
    return rotate_back(facing[:, :, None, ..., None], places)


def _medial_angle(upward: Array) -> Array:
    """(2, F) frontal angle of upward lines (3, 2, F) from the vertical, positive when their tops lie medially."""
    across = upward[2].copy()
    across[SIDES.index("right")] *= -1.0
    return np.arctan2(across, upward[1])


def _hip_pelvis_angle(poses: SegmentPoses, body: FittedBody) -> Array:
    """(2, F)"""
    lab_from_pelvis, _ = poses.of("pelvis")
    spine = rotate_back(lab_from_pelvis, poses.place(body, "l5s1") - poses.place(body, "hip_mid"))
    down = -poses.rotation[:, 1, [poses.index(f"{side}_thigh") for side in SIDES]]
    thigh = rotate_back(lab_from_pelvis[:, :, None], down)
    across, along = thigh[0] * spine[1] - thigh[1] * spine[0], thigh[0] * spine[0] + thigh[1] * spine[1]
    return np.mod(np.arctan2(across, along), 2 * np.pi)


def _sole_angle(poses: SegmentPoses, body: FittedBody, side: str) -> Array:
    foot = f"{side}_foot"
    standing = np.asarray(np.arcsin(body.standing[foot][0][1, 0]) if foot in body.standing else np.nan)
    return np.arcsin(np.clip(poses.of(foot)[0][1, 0], -1.0, 1.0)) - standing[..., None]

"""Segment poses become joint angles in the joint coordinate system, positive in the named direction on both sides."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import Array, Finding, FrameNumbers, Which
from jointload.numerics.rotations import GIMBAL_LIMIT, cardan_zxy, compose, inverse, joint_axes, unwrap
from jointload.numerics.together import together
from jointload.settings import AngleZero


@dataclass(frozen=True, eq=False)
class JointAngles:
    """angle : (3, J, F) [rad] about e1, e2, e3, signed so that the joint's named rotations are positive on both sides.

    axes : (3 components, 3 axes, J, F) unit vectors e1, e2, e3 in the lab
    signs : (3, J) that turned rotations about the axes into the named directions
    """

    joints: tuple[str, ...]
    rotations: tuple[tuple[str, str, str], ...]
    angle: Array
    axes: Array
    signs: Array
    zero: AngleZero

    def drawn(self, draw: Which) -> JointAngles:
        """One draw of many, or some of them."""
        return replace(self, angle=self.angle[..., draw, :], axes=self.axes[..., draw, :])

    def of(self, joint: str, rotation: str) -> Array:
        """(F,) [rad] of one named rotation of one joint."""
        j = self.joints.index(joint)
        return self.angle[self.rotations[j].index(rotation), j]


def joint_angles(poses: SegmentPoses, body: FittedBody, zero: AngleZero = "anatomical") -> JointAngles:
    """Angles of every joint whose two frames exist, NaN for the rest.

    Rotations in the order Z, X', Y'' of the distal frame in the proximal one (Grood and Suntay 1983; Wu 2002). With
    zero='standing' the distal frame is turned so that every angle is zero in the static trial; the axes, and so the
    moments about them, stay anatomical.
    """
    joints = body.definition.joints
    names, rules = list(joints), list(joints.values())
    shape = (len(joints), *poses.origin.shape[2:])
    angle, axes = np.full((3, *shape), np.nan), np.full((3, 3, *shape), np.nan)
    halves = [j for j, rule in enumerate(rules) if rule.proximal in body.offsets]
    wholes = [j for j in halves if rules[j].distal in body.offsets]
    for j in set(halves) - set(wholes):
        proximal = _frames_in_lab(poses, body, [rules[j].proximal])
        axes[:, :, [j]] = joint_axes(proximal, proximal)
    for some in (wholes[part] for part in together(len(wholes), poses.origin[0, 0].size)):
        proximal = _frames_in_lab(poses, body, [rules[j].proximal for j in some])
        distal = _frames_in_lab(poses, body, [rules[j].distal for j in some])
        axes[:, :, some] = joint_axes(proximal, distal)
        if zero == "standing":
            standing = np.stack([body.standing_rotation(names[j]) for j in some], axis=2)
            distal = compose(distal, inverse(standing)[..., None])
        angle[:, some] = unwrap(cardan_zxy(compose(inverse(proximal), distal)))
    signs = np.array([joint.signs for joint in joints.values()], dtype=float).T
    signed = angle * signs.reshape(*signs.shape, *(1,) * (angle.ndim - 2))
    return JointAngles(tuple(joints), tuple(joint.rotations for joint in joints.values()), signed, axes, signs, zero)


def gimbal_findings(angles: JointAngles, numbers: FrameNumbers) -> tuple[Finding, ...]:
    """Joints whose second rotation comes near a right angle, where the first and third cannot be told apart."""
    out = []
    for j, name in enumerate(angles.joints):
        second = np.abs(angles.angle[1, j])
        if np.isfinite(second).any() and np.nanmax(second) > GIMBAL_LIMIT:
            where = f"{name}, frame {numbers.of(int(np.nanargmax(second)))}"
            evidence = f"second rotation reaches {np.rad2deg(np.nanmax(second)):.0f} deg"
            advice = "its first and third rotation are not reliable there"
            out.append(Finding("near_gimbal_lock", "warn", where, evidence, advice))
    return tuple(out)


def _frames_in_lab(poses: SegmentPoses, body: FittedBody, frames: list[str]) -> Array:
    """lab_from_frame (3, 3, J, F) of some frames."""
    where = [poses.index(body.offsets[frame][0]) for frame in frames]
    segment_from_frame = np.stack([body.offsets[frame][1] for frame in frames], axis=2)
    return compose(poses.rotation[:, :, where], segment_from_frame[..., None])

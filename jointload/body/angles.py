"""Segment poses become joint angles in the joint coordinate system, positive in the named direction on both sides."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import Array, Finding, FrameNumbers, Which
from jointload.numerics.rotations import GIMBAL_LIMIT, cardan_zxy, compose, inverse, joint_axes, unwrap
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
    shape = (len(joints), *poses.origin.shape[2:])
    angle, axes = np.full((3, *shape), np.nan), np.full((3, 3, *shape), np.nan)
    for j, (name, joint) in enumerate(joints.items()):
        if joint.proximal not in body.offsets:
            continue
        proximal = _frame_in_lab(poses, body, joint.proximal)
        if joint.distal not in body.offsets:
            axes[:, :, j] = joint_axes(proximal, proximal)
            continue
        distal = _frame_in_lab(poses, body, joint.distal)
        axes[:, :, j] = joint_axes(proximal, distal)
        if zero == "standing":
            distal = compose(distal, inverse(body.standing_rotation(name))[..., None])
        angle[:, j] = unwrap(cardan_zxy(compose(inverse(proximal), distal)))
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


def _frame_in_lab(poses: SegmentPoses, body: FittedBody, frame: str) -> Array:
    segment, segment_from_frame = body.offsets[frame]
    return compose(poses.of(segment)[0], segment_from_frame[..., None])

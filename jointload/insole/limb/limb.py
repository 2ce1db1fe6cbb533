"""The limb over a foot that rolls and pitches: the ankle is carried, the pelvis follows by a share of it and tips
forward with the leg's turn, and thigh and shank close between hip and ankle and swing about that line."""

from __future__ import annotations

import numpy as np

from jointload.body.pose import SegmentPoses
from jointload.insole.limb.response import FootResponse
from jointload.intake.recording import Array
from jointload.landing.landed import Landing
from jointload.numerics.rotations import about_axis, compose, cross, dot, from_vector, rotate, unit

STRAIGHT = 0.9995
"""A leg is not stretched beyond this share of thigh and shank together, 3.6 deg short of straight (choice)."""
SLENDER = 0.01
"""Below this sine of the angle between thigh and leg the knee bends about the thigh's own axis (choice)."""
UP = np.array([0.0, 1.0, 0.0])[:, None]
LEG_POINTS = ("hip_centre", "knee_centre", "ankle_centre", "calcaneus", "toe_tip", "ankle_centre")
"""What a picture of a leg joins, in this order."""


def middle_leg(landing: Landing, side: str, response: FootResponse) -> Array:
    """(3, P, W) [m] lab: the places of LEG_POINTS in the middle of the drawn answers, over the landing of this foot."""
    frames = landing.window(side)
    measured = landing.poses
    shown = SegmentPoses(
        measured.segments, measured.rotation[..., frames], measured.origin[..., frames],
        measured.residual[..., frames], measured.rate,
    )  # fmt: skip
    poses = answering_poses(landing, side, shown, response.middle())
    return np.stack([poses.place(landing.body, f"{side}_{name}") for name in LEG_POINTS], axis=1)


def answering_poses(landing: Landing, side: str, poses: SegmentPoses, response: FootResponse) -> SegmentPoses:
    """The foot rolled and pitched, the ankle carried sideways by ankle height times roll, the hip by what the pelvis
    takes of it, the knee where thigh and shank close between them, swung about their line, and the shank
    turned about its long axis. The other leg keeps its poses."""
    mirror = 1.0 if side == "right" else -1.0
    body, moved = landing.body, response.ankle_height * response.roll
    hip, knee, ankle = (poses.place(body, f"{side}_{joint}_centre") for joint in ("hip", "knee", "ankle"))
    right = unit(poses.of(f"{side}_foot")[0][:, 2] * np.array([1.0, 0.0, 1.0])[:, None])
    shift = mirror * moved * right
    rotation, origin = poses.rotation.copy(), poses.origin.copy()
    carried = _carried_pelvis(landing, side, poses, response, mirror * right, (rotation, origin))
    bend_axis = poses.of(f"{side}_thigh")[0][:, 2]
    plane = response.knee_plane - response.swing
    thigh_turn, shank_turn = _closed_knee(hip, knee, ankle, ankle + shift - carried, bend_axis, mirror * plane)
    still = (moved == 0.0) & (plane == 0.0)
    new_hip = np.where(still, hip, hip + carried)
    new_knee = np.where(still, knee, new_hip + rotate(thigh_turn, knee - hip))
    new_ankle = np.where(still, ankle, new_knee + rotate(shank_turn, ankle - knee))
    spin = about_axis("y", mirror * (response.tibial_rotation - response.knee_plane - response.knee_twist))
    foot = compose(about_axis("x", mirror * response.roll), about_axis("z", -response.pitch))
    for segment, turn, own, old, new in (
        ("thigh", thigh_turn, None, hip, new_hip),
        ("shank", shank_turn, spin, knee, new_knee),
        ("foot", None, foot, ankle, new_ankle),
    ):
        s = poses.index(f"{side}_{segment}")
        if turn is not None:
            rotation[:, :, s] = np.where(still, rotation[:, :, s], compose(turn, rotation[:, :, s]))
            origin[:, s] = np.where(still, origin[:, s], new + rotate(turn, origin[:, s] - old))
        else:
            origin[:, s] += new - old
        if own is not None:
            rotation[:, :, s] = compose(rotation[:, :, s], own)
    return SegmentPoses(poses.segments, rotation, origin, poses.residual, poses.rate)


def _carried_pelvis(
    landing: Landing, side: str, poses: SegmentPoses, response: FootResponse, outward: Array, out: tuple[Array, Array]
) -> Array:
    """(3, N) [m] displacement of this hip; the pelvis in `out` (rotation, origin) is shifted outwards, tipped about
    this hip as one raised under it would be, and tilted forward about both. That
    the whole body rises is not followed."""
    rotation, origin = out
    hip, other = (poses.place(landing.body, f"{s}_hip_centre") for s in (side, "left" if side == "right" else "right"))
    across = (hip - other) * np.array([1.0, 0.0, 1.0])[:, None]
    width = np.sqrt(dot(across, across))
    tip = from_vector(response.rise / width * cross(across / width, UP))
    tilt = from_vector((-1.0 if side == "right" else 1.0) * response.pelvis_tilt * unit(hip - other))
    shift = response.pelvis_shift * outward
    still = np.all([response.pelvis_shift == 0.0, response.rise == 0.0, response.pelvis_tilt == 0.0], axis=0)
    s, turn = poses.index("pelvis"), compose(tip, tilt)
    rotation[:, :, s] = np.where(still, rotation[:, :, s], compose(turn, rotation[:, :, s]))
    origin[:, s] = np.where(still, origin[:, s], hip + shift + rotate(turn, origin[:, s] - hip))
    return np.where(still, 0.0, shift)


def _closed_knee(
    hip: Array, knee: Array, ankle: Array, new_ankle: Array, bend_axis: Array, plane: Array
) -> tuple[Array, Array]:
    """Lab rotations (3, 3, N) of thigh and shank that carry the ankle to its new place with the hip kept.

    The leg swings to the new line from hip to ankle, the knee bends to its new length, and the plane of both turns
    about that line by `plane` [rad], positive knee inwards of a right leg.
    """
    thigh, shank, leg, new_leg = knee - hip, ankle - knee, ankle - hip, new_ankle - hip
    a, b, old, new = (np.sqrt(dot(v, v)) for v in (thigh, shank, leg, new_leg))
    new = np.minimum(new, np.maximum(old, STRAIGHT * (a + b)))
    swing = from_vector(_turn_between(leg / old, new_leg / np.sqrt(dot(new_leg, new_leg))))
    normal = cross(thigh, leg)
    flat_leg = np.sqrt(dot(normal, normal)) < SLENDER * a * old
    normal = unit(np.where(flat_leg, -bend_axis, normal))
    at_hip, at_ankle = (_corner(side, new, other) - _corner(side, old, other) for side, other in ((a, b), (b, a)))
    line = new_leg / np.sqrt(dot(new_leg, new_leg))
    turned = from_vector(-plane * line)
    whole = compose(turned, swing)
    return compose(whole, from_vector(-at_hip * normal)), compose(whole, from_vector(at_ankle * normal))


def _corner(side: Array, base: Array, opposite: Array) -> Array:
    """Angle [rad] of a triangle between a side and the base."""
    return np.arccos(np.clip((side**2 + base**2 - opposite**2) / (2 * side * base), -1.0, 1.0))


def _turn_between(old: Array, new: Array) -> Array:
    """Rotation vector (3, N) of the smallest turn from one direction to another."""
    axis = cross(old, new)
    sine = np.sqrt(dot(axis, axis))
    return axis * np.where(sine > 0, np.arcsin(np.minimum(sine, 1.0)) / np.where(sine > 0, sine, 1.0), 1.0)

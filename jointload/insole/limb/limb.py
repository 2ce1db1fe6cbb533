"""The limb over a foot that rolls and pitches: the ankle is carried, thigh and shank close between it and the hip."""

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


def answering_poses(landing: Landing, side: str, poses: SegmentPoses, response: FootResponse) -> SegmentPoses:
    """The foot rolled and pitched, the ankle carried sideways by ankle height times roll, the knee where thigh and
    shank close between it and the hip, and the shank turned about its long axis. The pelvis keeps its place."""
    mirror = 1.0 if side == "right" else -1.0
    body, moved = landing.body, response.ankle_height * response.roll
    hip, knee, ankle = (poses.place(body, f"{side}_{joint}_centre") for joint in ("hip", "knee", "ankle"))
    right = unit(poses.of(f"{side}_foot")[0][:, 2] * np.array([1.0, 0.0, 1.0])[:, None])
    shift = mirror * moved * right
    bend_axis = poses.of(f"{side}_thigh")[0][:, 2]
    thigh_turn, shank_turn = _closed_knee(hip, knee, ankle, ankle + shift, bend_axis, mirror * response.knee_plane)
    still = (moved == 0.0) & (response.knee_plane == 0.0)
    new_knee = np.where(still, knee, hip + rotate(thigh_turn, knee - hip))
    new_ankle = np.where(still, ankle, new_knee + rotate(shank_turn, ankle - knee))
    rotation, origin = poses.rotation.copy(), poses.origin.copy()
    spin = about_axis("y", mirror * (response.tibial_rotation - response.knee_plane))
    foot = compose(about_axis("x", mirror * response.roll), about_axis("z", -response.pitch))
    for segment, turn, own, old, new in (
        ("thigh", thigh_turn, None, hip, hip),
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

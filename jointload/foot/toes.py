"""The toes: the foot's push against the toe box, and the bending of the first toe joint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.foot.heel import of_shoe
from jointload.foot.spreads import drawn
from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.intake.shoe import Shoe
from jointload.landing.landed import Landing
from jointload.landing.measures.force_measures import BEARING_SHARE
from jointload.loads.moments import loaded_segments, segment_motion
from jointload.numerics.rotations import cross, dot, rotate_back
from jointload.numerics.signals import over_time, zero_lag_lowpass

SLIDES = 10.0
"""A push of the toes counts from this force on [N] (choice: below it the shoe's own stop and the plates push)."""
FLAT = 0.05
"""Rise of the foot's axis per length up to which the foot lies flat (choice: 3 deg, what markers on a shoe may err)."""
BEND_CUTOFF = 20.0
"""Low-pass [Hz] of the markers that the toe's bending is read from (choice)."""


@dataclass(frozen=True, eq=False)
class ToePush:
    """Draws (D,): largest force of the toes on the toe box [N], its impulse [N s], how long it lasts [s], whether the
    foot slides, and the friction that would have kept it from sliding."""

    peak: Array
    impulse: Array
    lasts: Array
    slides: Array
    friction_needed: Array


def along_foot(landing: Landing, side: str, turn: Array, tilt: Array, shoe_mass: float | Array) -> tuple[Array, Array]:
    """Push of the foot towards its toes, and load on its sole, (D, N) [N] at the force rate over its landing.

    The ground's force less what stops the shoe itself, F - m (a - g), along the foot and normal to the sole that bears:
    with the opposite of it the foot inside pushes and presses.
    turn, tilt : (D, 1) [rad] of the foot's axis about the sole's normal, and of the sole's plane along the foot
    shoe_mass : m [kg]; its acceleration a is that of the foot
    """
    window = landing.fast_window(side)
    at = np.arange(window.start, window.stop) / landing.contact.fast_rate * landing.poses.rate
    rotation = landing.poses.of(f"{side}_foot")[0]
    nearest = np.clip(np.rint(at).astype(int), 0, rotation.shape[-1] - 1)
    axes = bearing_axes(rotation[:, 0, nearest])
    force, own = (
        rotate_back(axes, each)
        for each in (landing.impact_force(side)[:, window], foot_acceleration(landing, side)[:, nearest] + GRAVITY)
    )
    forward, up, right = (f - shoe_mass * a for f, a in zip(force, own, strict=True))
    shear = np.cos(turn) * forward + np.sin(turn) * right
    return -(np.cos(tilt) * shear + np.sin(tilt) * up), np.cos(tilt) * up - np.sin(tilt) * shear


def bearing_axes(foot_axis: Array) -> Array:
    """(3, 3, N) lab_from_sole of the part of the sole that bears: x along the foot, y its normal, z to the right.

    foot_axis : (3, N) heel to toe in the lab. Toes up by more than FLAT, the whole foot stands on its heel as one piece
    and x rises with it; flat, or heel up with the forefoot flat on the ground, bent at its toe joints, x is level.
    """
    x = np.stack([foot_axis[0], np.maximum(foot_axis[1] - FLAT, 0.0), foot_axis[2]])
    x = x / np.sqrt(dot(x, x))
    up = np.zeros_like(x)
    up[1] = 1.0
    y = up - dot(up, x) * x
    y = y / np.sqrt(dot(y, y))
    return np.stack([x, y, cross(x, y)], axis=1)


GRAVITY = np.array([[0.0], [G], [0.0]])


def foot_acceleration(landing: Landing, side: str) -> Array:
    """(3, F) [m/s2] of the foot's centre of mass."""
    motion = landing.motion or segment_motion(landing.poses, landing.body)
    return motion.acceleration[:, loaded_segments(landing.body).index(f"{side}_foot")]


def toe_push(push: Array, load: Array, friction: Array, lacing: Array, time: Array, bearing: float) -> ToePush:
    """F_toe = max(0, push - mu load - F_lacing): what neither friction nor lacing can hold, the toe box holds.

    push, load : (D, N) [N];  friction, lacing : (D, 1), [N];  time : (N,) [s];  bearing : the friction needed is read
    while the sole bears more than this [N]. The room before the toes takes nothing off: once more is pushed than
    friction and lacing hold, the room is used up before the ground can push so. Friction is Coulomb's.
    """
    pressed = np.maximum(load, 0.0)
    force = np.maximum(push - friction * pressed - lacing, 0.0)
    force = np.where(pressed > 0.0, force, 0.0)
    step = float(time[1] - time[0])
    needed = np.where(load > bearing, (push - lacing) / np.maximum(load, 1.0), 0.0)
    peak = force.max(axis=1)
    return ToePush(
        peak=peak,
        impulse=over_time(force, time),
        lasts=step * np.count_nonzero(force > SLIDES, axis=1),
        slides=(peak > SLIDES).astype(float),
        friction_needed=np.maximum(needed, 0.0).max(axis=1),
    )


def toes_of(
    landing: Landing,
    side: str,
    shoe: Shoe | None,
    vertical: Array,
    time: Array,
    draws: int,
    seed: int,
    sloped: float = 0.0,
) -> ToePush:
    """The toes' push in a landing; friction, which holds less under a landing's load than in its test, and lacing as
    shoe.toml has them, else over their published or chosen range.

    vertical : (D, N) [N] as Underfoot has it: what is not known of the plate's force scales the push, too
    sloped : [rad] by which what lies under the foot slopes down towards the toes beside the sole itself
    """
    unknown, of_shoes = drawn("sole", draws, seed), drawn("shoe", draws, seed)
    turn, tilt = (np.deg2rad(np.asarray(unknown[name])) for name in ("axis_turn", "axis_tilt"))
    push, load = along_foot(landing, side, turn, tilt - sloped, unknown["shoe_mass"])
    usual = landing.impact_force(side)[1, landing.fast_window(side)]
    factor = np.divide(vertical, usual, out=np.ones_like(vertical), where=np.abs(usual) > 1.0)
    friction, lacing = (
        np.asarray(of_shoes[name]) if given is None else of_shoe(given, name, draws, seed)
        for name, given in (
            ("friction", None if shoe is None else shoe.friction),
            ("lacing", None if shoe is None else shoe.lacing),
        )
    )
    rest, grip = np.asarray(unknown["shoe_rest"]), friction * unknown["grip_loaded"]
    return toe_push(factor * push + rest, factor * load, grip, lacing, time, BEARING_SHARE * landing.weight)


def toe_bend(landing: Landing, side: str, labels: dict[str, str]) -> tuple[float, str]:
    """Largest upward bending [rad] of the first toe joint in the landing beside standing, and why it is unknown.

    Between the lines heel to first metatarsal head and from there to the toe, seen along the foot's own cross axis.
    labels : landmark -> label
    """
    names = [labels.get(f"{side}_{name}", "") for name in ("calcaneus", "metatarsal1", "toe")]
    points = landing.body.standing_points
    standing = [points.get(f"{side}_{name}") for name in ("calcaneus", "metatarsal1", "toe")]
    if not all(name in landing.recording.labels for name in names) or any(point is None for point in standing):
        return float("nan"), "needs markers on heel, first metatarsal head and toe"
    rows = [landing.recording.labels.index(name) for name in names]
    rotation = landing.poses.of(f"{side}_foot")[0]
    paths = zero_lag_lowpass(landing.recording.markers[:, rows], BEND_CUTOFF, landing.poses.rate)
    cross = rotation[:, 2]
    stand_rotation = landing.body.standing[f"{side}_foot"][0]
    still = np.stack([np.asarray(point) for point in standing], axis=1)[..., None]
    moving = _bending(paths, cross, rotation[:, 1])[landing.window(side)]
    rest = float(_bending(still, stand_rotation[:, 2][:, None], stand_rotation[:, 1][:, None])[0])
    if not moving.size or not np.isfinite(moving).all():
        return float("nan"), "heel, first metatarsal head and toe are not seen throughout"
    return float(np.max(moving - rest)), ""


def _bending(points: Array, cross: Array, up: Array) -> Array:
    """(F,) [rad] by which the second of two lines through three points (3, 3, F) is turned upwards, across `cross`."""
    rear, fore = points[:, 1] - points[:, 0], points[:, 2] - points[:, 1]
    rear, fore = (line - np.sum(line * cross, axis=0) * cross for line in (rear, fore))
    ahead = np.cross(up, cross, axis=0)
    rising = [np.arctan2(np.sum(line * up, axis=0), np.sum(line * ahead, axis=0)) for line in (rear, fore)]
    return np.asarray(rising[1] - rising[0])

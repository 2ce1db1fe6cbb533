"""The same moments poured again: changed poses and a moved force through the functions of the analysis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from jointload.body.angles import JointAngles, joint_angles
from jointload.body.pose import SegmentPoses
from jointload.insole.limb.limb import answering_poses
from jointload.insole.limb.response import SERIES, FootResponse
from jointload.intake.plates.plates import centre_of_pressure
from jointload.intake.recording import SIDES, Array
from jointload.landing.landed import Landing
from jointload.loads.moments import JointLoads, SegmentMotion, joint_loads, segment_motion
from jointload.numerics.rotations import cross, dot, from_vector, rotate, unit
from jointload.numerics.signals import zero_lag_lowpass

FILTER_ROOM = 0.25
"""Time [s] around the landing that a filter after the dynamics needs to settle (choice)."""


OWN_ANGLES = {
    "rearfoot_roll": ("ankle", "inversion", 1.0),
    "tibial_rotation": ("ankle", "internal_rotation", -1.0),
    "ankle_dorsiflexion": ("ankle", "dorsiflexion", 1.0),
    "knee_flexion": ("knee", "flexion", 1.0),
    "knee_adduction": ("knee", "adduction", 1.0),
    "knee_internal_rotation": ("knee", "internal_rotation", 1.0),
    "hip_flexion": ("hip", "flexion", 1.0),
    "hip_adduction": ("hip", "adduction", 1.0),
}
"""One person's own answer -> joint and rotation that it is added to, and its sign there."""


@dataclass(frozen=True, eq=False)
class Leg:
    """Angles and loads of every draw, (D, W) in place of the frame axis: D draws, W frames of the landing.

    pelvic_drop : [rad] of the other side below this one;  pelvis_tilt : [rad] forward;  knee_press : [N] net force
    along the shank, pressing the knee;  knee_aside : (D, 1) [rad] one person's own part of the knee over the ankle
    """

    angles: JointAngles
    loads: JointLoads
    pelvic_drop: Array
    pelvis_tilt: Array
    knee_press: Array
    knee_aside: Array


@dataclass(frozen=True, eq=False)
class Poured:
    """What the mechanics gives, and with one person's own answers on top."""

    mechanics: Leg
    own: Leg
    dt: float

    @property
    def rows(self) -> int:
        """D."""
        return self.angles.angle.shape[-2]

    @property
    def angles(self) -> JointAngles:
        return self.mechanics.angles

    @property
    def loads(self) -> JointLoads:
        return self.mechanics.loads

    @property
    def person(self) -> JointLoads:
        """Loads with one person's own answers."""
        return self.own.loads


def pour_again(landing: Landing, side: str, response: FootResponse) -> Poured:
    """Angles and loads of every draw in the landing of one foot, through the same functions as the analysis.

    One person's own lever arm is a parallel shift of the force's line in the frontal plane of the foot, and a shift of
    its foot point forward, while it aims at the body's centre; own answers of angles are added to them, the same
    through the landing.
    """
    window = landing.window(side)
    frames = _padded(window, landing)
    draws, length = response.draws, frames.stop - frames.start
    held = _held(response, window, frames)
    poses, feet = _tiled(landing.poses, frames, draws), _tiled(landing.poses, frames, 1)
    poses = answering_poses(landing, side, poses, held)
    motion = _carried_motion(landing, frames, feet, poses, draws)
    force = np.tile(landing.contact.force[..., frames], draws)
    moment = np.tile(landing.contact.moment[..., frames], draws)
    s = SIDES.index(side)
    across, along = (np.tile(axis[:, frames], draws) for axis in _floor_axes(landing.poses, side))
    force[:, s], moment[:, s] = _moved_wrench(landing, side, frames, (force[:, s], moment[:, s]), held, (across, along))
    angles = joint_angles(poses, landing.body, landing.settings.angle_zero)
    loads = joint_loads(poses, landing.body, angles, force, moment, motion)
    extra, forward = {}, np.repeat(response.own_answer("pressure_centre_forward"), length)
    for joint in ("ankle", "knee", "hip"):
        passed = forward * _below_centre(landing, side, joint, poses)
        arm = np.repeat(_own_arm(response, joint), length) * across + passed * along
        extra[f"{side}_{joint}"] = -cross(arm, force[:, s])
    person = _with_extra_moments(loads, angles, extra)
    inner = slice(window.start - frames.start, window.stop - frames.start)

    def by_draw(series: Array) -> Array:
        rows = series.reshape(*series.shape[:-1], draws, length)
        if landing.settings.smoothing == "after":
            rows[..., [0, -1]] = np.nan
            rows = zero_lag_lowpass(rows, landing.settings.cutoff, landing.poses.rate)
        return rows[..., inner]

    centre = loads.centre.reshape(*loads.centre.shape[:-1], draws, length)[..., inner]

    def shaped(loads: JointLoads) -> JointLoads:
        parts: dict[str, Any] = {name: by_draw(getattr(loads, name)) for name in ("force", "moment", "components")}
        return replace(loads, centre=centre, **parts)

    pelvis = poses.of("pelvis")[0]
    press = -dot(loads.force[:, loads.joints.index(f"{side}_knee")], poses.of(f"{side}_shank")[0][:, 1])
    drop = np.arcsin(pelvis[1, 2]) * (1.0 if side == "right" else -1.0)
    mechanics = Leg(
        replace(angles, angle=by_draw(angles.angle)), shaped(loads),
        by_draw(drop), by_draw(-np.arcsin(pelvis[1, 0])), by_draw(press), np.zeros((draws, 1)),
    )  # fmt: skip
    return Poured(mechanics, _with_own_angles(mechanics, shaped(person), response, side), 1.0 / landing.poses.rate)


def _own_arm(response: FootResponse, joint: str) -> Array:
    """(D,) [m] by which one person's force line moves past a joint."""
    return response.own_answer("force_line") + response.own_answer(f"{joint}_line")


def _below_centre(landing: Landing, side: str, joint: str, poses: SegmentPoses) -> Array:
    """(N,) by how much of a shift of its foot point a force that aims at the body's centre passes a joint: 1 on the
    floor, 0 at the height of the centre."""
    heights = (poses.place(landing.body, name)[1] for name in (f"{side}_{joint}_centre", "l5s1"))
    height, centre = (one - landing.contact.floor for one in heights)
    return np.nan_to_num(1.0 - height / centre)


def _with_own_angles(leg: Leg, loads: JointLoads, response: FootResponse, side: str) -> Leg:
    angle = leg.angles.angle.copy()
    for name, (joint, rotation, sign) in OWN_ANGLES.items():
        j = leg.angles.joints.index(f"{side}_{joint}")
        angle[leg.angles.rotations[j].index(rotation), j] += sign * response.own_answer(name)[:, None]
    own = {name: response.own_answer(name)[:, None] for name in ("pelvic_drop", "pelvis_tilt", "knee_over_ankle")}
    return replace(
        leg, angles=replace(leg.angles, angle=angle), loads=loads, knee_aside=own["knee_over_ankle"],
        pelvic_drop=leg.pelvic_drop + own["pelvic_drop"], pelvis_tilt=leg.pelvis_tilt + own["pelvis_tilt"],
    )  # fmt: skip


def _padded(window: slice, landing: Landing) -> slice:
    """The window with the frames on either side that an acceleration needs, or with room for the filter."""
    room = round(FILTER_ROOM * landing.poses.rate) if landing.settings.smoothing == "after" else 2
    return slice(max(window.start - room, 0), min(window.stop + room, landing.recording.frames))


def _held(response: FootResponse, window: slice, frames: slice) -> FootResponse:
    """The response over the padded frames, flattened to (D x F): held at its ends."""
    before, after = window.start - frames.start, frames.stop - window.stop

    def flat_rows(values: Array) -> Array:
        return np.pad(values, ((0, 0), (before, after)), mode="edge").ravel()

    changed: dict[str, Any] = {name: flat_rows(getattr(response, name)) for name in SERIES}
    return replace(response, **changed)


def _tiled(poses: SegmentPoses, frames: slice, draws: int) -> SegmentPoses:
    rotation, origin, residual = (
        np.tile(part[..., frames], draws) for part in (poses.rotation, poses.origin, poses.residual)
    )
    return SegmentPoses(poses.segments, rotation, origin, residual, poses.rate)


def _carried_motion(
    landing: Landing, frames: slice, measured: SegmentPoses, poses: SegmentPoses, draws: int
) -> SegmentMotion:
    """Accelerations of the measured motion at the changed places: the answer is quasi-static."""
    motion = segment_motion(measured, landing.body)
    if landing.motion is not None:
        motion = replace(motion, acceleration=landing.motion.acceleration[..., frames])
    names = [name for name in landing.body.segments if name in landing.body.inertia]
    where = [poses.index(name) for name in names]
    rotation = poses.rotation[:, :, where]
    com = np.stack([landing.body.inertia[name].com for name in names], axis=1)
    return SegmentMotion(
        rotation=rotation,
        centre=poses.origin[:, where] + rotate(rotation, com[..., None]),
        acceleration=np.tile(motion.acceleration, draws),
        angular_velocity=np.tile(motion.angular_velocity, draws),
        angular_acceleration=np.tile(motion.angular_acceleration, draws),
    )


def _floor_axes(poses: SegmentPoses, side: str) -> tuple[Array, Array]:
    """(3, F) horizontal directions across the foot, towards the other leg, and along it, forward."""
    level = np.array([1.0, 0.0, 1.0])[:, None]
    rotation, _ = poses.of(f"{side}_foot")
    across = unit(rotation[:, 2] * level) * (-1.0 if side == "right" else 1.0)
    up = np.array([0.0, 1.0, 0.0])[:, None]
    along = cross(up, across) * (1.0 if side == "left" else -1.0)
    return across, along


def _moved_wrench(
    landing: Landing,
    side: str,
    frames: slice,
    wrench: tuple[Array, Array],
    response: FootResponse,
    axes: tuple[Array, Array],
) -> tuple[Array, Array]:
    """The force at its moved point, turned by the share lambda of what would keep it aimed at the body's centre.

    The body's centre is the lumbosacral point (choice: it is seen wherever the pelvis is), and shifted
    with it.
    """
    (force, moment), (across, along) = wrench, axes
    draws, s = response.draws, SIDES.index(side)
    length = frames.stop - frames.start
    one_force, one_moment = landing.contact.force[:, s, frames], landing.contact.moment[:, s, frames]
    point = centre_of_pressure(one_force, one_moment, landing.contact.floor, landing.settings.contact_threshold)
    aim = landing.poses.place(landing.body, "l5s1")[:, frames] - point
    known = np.isfinite(point[0]) & np.isfinite(aim[0])
    point, aim = (np.tile(np.where(known, part, np.array([0.0, 1.0, 0.0])[:, None]), draws) for part in (point, aim))
    every = np.tile(known, draws)
    shift = (response.medial * across + response.forward * along) * every
    old, new = unit(aim), unit(aim - every * response.pelvis_shift * across - shift)
    following = np.repeat(response.force_following, length)
    turned = rotate(from_vector(following * cross(old, new)), force)
    return turned, moment + cross(point + shift, turned) - cross(point, force)


def _with_extra_moments(loads: JointLoads, angles: JointAngles, extra: Mapping[str, Array]) -> JointLoads:
    """The loads with one more internal moment (3, N) [N m] in each named joint."""
    moment, components = loads.moment.copy(), loads.components.copy()
    for name, more in extra.items():
        j = loads.joints.index(name)
        moment[:, j] += more
        components[:, j] += np.einsum("caf,cf->af", angles.axes[:, :, j], more) * angles.signs[:, j, None]
    return replace(loads, moment=moment, components=components)

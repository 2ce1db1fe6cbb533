"""Newton-Euler from the feet up: net joint forces and moments, powers, and checks of the whole body.

The sum runs over the distal side of every joint, about the lab origin, and is shifted to the joint last, so that
nothing is ever divided by a force. Winter DA (2009) chapter 7; Derrick TR et al (2020) J Biomech 99:109533 on what
must be reported.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from jointload.body.angles import JointAngles
from jointload.body.calibration import FittedBody
from jointload.body.definitions import Segment
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import SIDES, Array, Which
from jointload.intake.rider import G
from jointload.numerics.rotations import add_cross, angular_motion, cross, dot, rotate, rotate_back
from jointload.numerics.signals import of_fourth_order, second_derivative, zero_lag_lowpass
from jointload.numerics.together import together

GRAVITY = np.array([0.0, -G, 0.0])


@dataclass(frozen=True, eq=False)
class SegmentMotion:
    """Motion of the S segments that carry mass.

    rotation : lab_from_segment (3, 3, S, F);  centre : centre of mass (3, S, F) [m];  acceleration : its (3, S, F)
    [m/s2]
    angular_velocity, angular_acceleration : lab axes (3, S, F) [rad/s], [rad/s2]
    """

    rotation: Array
    centre: Array
    acceleration: Array
    angular_velocity: Array
    angular_acceleration: Array

    def part(self, segments: slice, frames: slice) -> SegmentMotion:
        """Some segments in some frames."""
        series = (self.centre, self.acceleration, self.angular_velocity, self.angular_acceleration)
        rotation = self.rotation[:, :, segments, ..., frames]
        return SegmentMotion(rotation, *(each[:, segments, ..., frames] for each in series))


@dataclass(frozen=True, eq=False)
class Chain:
    """Which segments are summed under which joint: mass (S,), tensor (3, 3, S) in segment axes, or (S, D) and
    (3, 3, S, D) for D draws; parent joint of every segment.

    Segments come distal before proximal; `above[s]` is the index of the segment that segment s hangs on, -1 for the
    last one. The joint of segment s is the one at its proximal end.
    """

    mass: Array
    tensor: Array
    above: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class JointLoads:
    """Net loads exerted by the proximal on the distal segment of every joint (internal), NaN where unknown.

    force, moment : (3, J, F) [N], [N m], lab axes, moment about the joint centre
    components : (3, J, F) [N m] projections of the moment on e1, e2, e3, positive in the joint's named rotations
    power : (J, F) [W], positive when the joint generates; centre : (3, J, F) [m]
    """

    joints: tuple[str, ...]
    rotations: tuple[tuple[str, str, str], ...]
    force: Array
    moment: Array
    components: Array
    power: Array
    centre: Array

    def drawn(self, draw: Which) -> JointLoads:
        """One draw of many, or some of them."""
        series = {
            name: getattr(self, name)[..., draw, :] for name in ("force", "moment", "components", "power", "centre")
        }
        return replace(self, **series)

    def of(self, joint: str, rotation: str, kind: str = "external") -> Array:
        """(F,) [N m] moment about one named rotation; kind 'external' is the load, 'internal' the body's answer to
        it."""
        j = self.joints.index(joint)
        internal = self.components[self.rotations[j].index(rotation), j]
        return internal if kind == "internal" else -internal


def inverse_dynamics(
    motion: SegmentMotion,
    chain: Chain,
    joint_centre: Array,
    contact_force: Array,
    contact_moment: Array,
    contact_segment: tuple[int, ...],
    gravity: Array = GRAVITY,
) -> tuple[Array, Array]:
    """Net force and moment at the proximal end of every segment, exerted ON that segment.

    joint_centre : (3, S, F) [m]
    contact_force, contact_moment : (3, C, F) [N], [N m about the lab origin], acting on contact_segment (C)
    Returns force (3, S, F) [N] and moment (3, S, F) [N m] about joint_centre, lab axes.

    Per segment  F = m (a - g) - F_ext,  M_O = r x m (a - g) + R (J Omega' + Omega x J Omega) - M_ext,  summed up the
    tree, then M = M_O - p x F. Angular rates are turned into the segment, the constant tensor acts there, the result is
    turned back.
    """
    force, moment = out = np.empty((2, *np.broadcast_shapes(joint_centre.shape, motion.acceleration.shape)))
    for segments, frames in _parts(force):
        need = out[:, :, segments, ..., frames]
        _own_need(motion.part(segments, frames), chain.mass[segments], chain.tensor[:, :, segments], gravity, *need)
    for c, s in enumerate(contact_segment):
        force[:, s] -= contact_force[:, c]
        moment[:, s] -= contact_moment[:, c]
    for s, above in enumerate(chain.above):
        if above >= 0:
            out[:, :, above] += out[:, :, s]
    for segments, frames in _parts(force):
        centre = joint_centre[:, segments, ..., frames]
        add_cross(moment[:, segments, ..., frames], force[:, segments, ..., frames], centre)
    return force, moment


def _parts(series: Array) -> Iterator[tuple[slice, slice]]:
    """Segments and frames of a series (3, S, ..., F) that are worked on together."""
    for frames in together(series.shape[-1], 1):
        for segments in together(series.shape[1], series[0, 0, ..., frames].size):
            yield segments, frames


def _own_need(motion: SegmentMotion, mass: Array, tensor: Array, gravity: Array, force: Array, moment: Array) -> None:
    """m (a - g) and its moment about the lab origin with the rate of angular momentum, of every segment by itself, into
    `force` and `moment`."""
    np.multiply(motion.acceleration, mass[..., None], out=force)
    for axis in np.flatnonzero(gravity):
        force[axis] -= (gravity[axis] * mass)[..., None]
    rotate(motion.rotation, _rate_of_angular_momentum(motion, tensor), out=moment)
    add_cross(moment, motion.centre, force)


def _rate_of_angular_momentum(motion: SegmentMotion, tensor: Array) -> Array:
    """J Omega' + Omega x J Omega in segment axes, (3, S, F)."""
    velocity = rotate_back(motion.rotation, motion.angular_velocity)
    out = rotate_back(motion.rotation, motion.angular_acceleration)
    off_diagonal = tensor[[0, 0, 1], [1, 2, 2]]
    if np.any(off_diagonal):
        wide = tensor[..., None]
        return rotate(wide, out) + cross(velocity, rotate(wide, velocity))
    own, spin = tensor[[0, 1, 2], [0, 1, 2], ..., None], np.empty(out.shape[1:])
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.multiply(velocity[j], velocity[k], out=spin)
        spin *= own[k] - own[j]
        out[i] *= own[i]
        out[i] += spin
    return out


def loaded_segments(body: FittedBody) -> tuple[str, ...]:
    """Segments whose weight and inertia the chain sums, distal first: feet, shanks, thighs, pelvis."""
    return tuple(name for name in body.segments if name in body.inertia)


def body_chain(body: FittedBody) -> Chain:
    """The chain of a fitted body over `loaded_segments`."""
    names = loaded_segments(body)
    parents = [body.definition.segments[name].parent for name in names]
    return Chain(
        mass=np.array([body.inertia[name].mass for name in names]),
        tensor=np.stack([body.inertia[name].tensor for name in names], axis=2),
        above=tuple(names.index(parent) if parent in names else -1 for parent in parents),
    )


def segment_motion(poses: SegmentPoses, body: FittedBody) -> SegmentMotion:
    """Central differences of the poses of `loaded_segments`, accelerations of fourth order: over 4 ms those of second
    order would take 1 % off a hip's peak."""
    names = loaded_segments(body)
    where = [poses.index(name) for name in names]
    rotation = poses.rotation[:, :, where]
    com = np.stack([body.inertia[name].com for name in names], axis=1)
    centre = poses.origin[:, where] + rotate(rotation, com[..., None])
    dt = 1.0 / poses.rate
    velocity, acceleration = np.empty((2, *centre.shape))
    for some in together(len(names), centre[0, 0].size):
        velocity[:, some], acceleration[:, some] = angular_motion(rotation[:, :, some], dt)
        of_fourth_order(acceleration[:, some])
    moved = of_fourth_order(second_derivative(centre, dt))
    return SegmentMotion(rotation, centre, moved, velocity, acceleration)


def joint_loads(
    poses: SegmentPoses,
    body: FittedBody,
    angles: JointAngles,
    contact_force: Array,
    contact_moment: Array,
    motion: SegmentMotion | None = None,
) -> JointLoads:
    """Loads of every joint of the body from the wrench on each foot.

    contact_force, contact_moment : (3, 2, F) right foot, left foot; NaN where the wrench is unknown, which
    then reaches every joint above that foot and no other.
    """
    motion = motion or segment_motion(poses, body)
    names, chain = loaded_segments(body), body_chain(body)
    feet = [(side, names.index(f"{side}_foot")) for side in SIDES if f"{side}_foot" in names]
    picked = [SIDES.index(side) for side, _ in feet]
    segment_joint = [body.definition.segments[name].joint for name in names]
    centre = np.stack([poses.place(body, body.definition.joints[joint].centre) for joint in segment_joint], axis=1)
    force, moment = inverse_dynamics(
        motion, chain, centre, contact_force[:, picked], contact_moment[:, picked], tuple(s for _, s in feet)
    )
    return _by_joint(body, angles, names, segment_joint, motion, force, moment, centre)


def _by_joint(
    body: FittedBody,
    angles: JointAngles,
    names: tuple[str, ...],
    segment_joint: list[str],
    motion: SegmentMotion,
    force: Array,
    moment: Array,
    centre: Array,
) -> JointLoads:
    joints = angles.joints
    shape = (3, len(joints), *force.shape[2:])
    out = {key: np.full(shape, np.nan) for key in ("force", "moment", "centre", "relative")}
    complete = _complete_below(body, names)
    for j, joint in enumerate(joints):
        rule = body.definition.joints[joint]
        if joint not in segment_joint or joint not in complete:
            continue
        s = segment_joint.index(joint)
        out["force"][:, j], out["moment"][:, j] = rule.toward * force[:, s], rule.toward * moment[:, s]
        out["centre"][:, j] = centre[:, s]
        if rule.toward > 0 and body.definition.segments[names[s]].parent in names:
            above = names.index(body.definition.segments[names[s]].parent)
            out["relative"][:, j] = motion.angular_velocity[:, s] - motion.angular_velocity[:, above]
    signs = angles.signs.reshape(*angles.signs.shape, *(1,) * (force.ndim - 2))
    components = np.einsum("caj...,cj...->aj...", angles.axes, out["moment"]) * signs
    return JointLoads(
        joints,
        angles.rotations,
        out["force"],
        out["moment"],
        components,
        dot(out["moment"], out["relative"]),
        out["centre"],
    )


def _complete_below(body: FittedBody, names: tuple[str, ...]) -> set[str]:
    """Joints below which no segment is missing, so that the sum is whole."""
    segments = body.definition.segments
    complete = set()
    for name in names:
        below = [other for other in segments if _hangs_on(other, name, segments)]
        if all(other in names for other in below):
            complete.add(segments[name].joint)
    return complete


def _hangs_on(other: str, name: str, segments: Mapping[str, Segment]) -> bool:
    while other in segments and other != name:
        other = segments[other].parent
    return other == name


def in_frame(loads: JointLoads, poses: SegmentPoses, body: FittedBody, frame: str) -> tuple[Array, Array]:
    """Joint force and moment (3, J, F) expressed in the 'proximal' or 'distal' segment's axes, or in the 'lab'."""
    if frame == "lab":
        return loads.force, loads.moment
    force, moment = np.full_like(loads.force, np.nan), np.full_like(loads.moment, np.nan)
    for j, joint in enumerate(loads.joints):
        rule = body.definition.joints[joint]
        name = rule.proximal if frame == "proximal" else rule.distal
        segment = body.definition.frames[name][0].segment
        rotation, _ = poses.of(segment)
        force[:, j], moment[:, j] = rotate_back(rotation, loads.force[:, j]), rotate_back(rotation, loads.moment[:, j])
    return force, moment


def smooth_loads(
    loads: JointLoads, angles: JointAngles, cutoff: float | None, rate: float
) -> tuple[JointLoads, JointAngles]:
    """Low-pass the loads and angles after the dynamics on raw data (Edwards WB, Troy KL, Derrick TR (2011) Gait
    Posture)."""
    smoothed = replace(
        loads,
        force=zero_lag_lowpass(loads.force, cutoff, rate),
        moment=zero_lag_lowpass(loads.moment, cutoff, rate),
        components=zero_lag_lowpass(loads.components, cutoff, rate),
        power=zero_lag_lowpass(loads.power, cutoff, rate),
    )
    return smoothed, replace(angles, angle=zero_lag_lowpass(angles.angle, cutoff, rate))

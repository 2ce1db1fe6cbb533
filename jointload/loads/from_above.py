"""The load on L5/S1 from what lies above it: the motion of trunk, head and arms, without a plate.

It shares no force and no leg marker with the sum from the feet, so that the two can be held against each other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from jointload.body.angles import JointAngles
from jointload.body.calibration import FittedBody
from jointload.body.inertia import PERCENT, SegmentInertia, table_row
from jointload.body.mass_centre import line_point
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import Array, Which
from jointload.loads.moments import GRAVITY
from jointload.numerics.rotations import (
    angular_motion,
    compose,
    cross,
    dot,
    from_axes,
    inverse,
    rotate,
    rotate_back,
)
from jointload.numerics.signals import of_fourth_order, second_derivative, zero_lag_lowpass
from jointload.numerics.together import together


@dataclass(frozen=True, eq=False)
class UpperLoads:
    """What the pelvis exerts on the trunk at L5/S1, NaN where unknown.

    force : (3, F) [N], lab axes;  components : (3, F) [N m] about e1, e2, e3, named and signed as JointLoads.components
    missing : parts of the upper body that are not seen; with any, everything is NaN
    """

    force: Array
    components: Array
    missing: tuple[str, ...]

    def drawn(self, draw: Which) -> UpperLoads:
        """One draw of many, or some of them."""
        return replace(self, force=self.force[:, draw], components=self.components[:, draw])


def loads_from_above(
    poses: SegmentPoses,
    markers: dict[str, Array],
    body: FittedBody,
    angles: JointAngles,
    cutoff_after: float | None = None,
    flesh: Array | None = None,
) -> UpperLoads:
    """Load of L5/S1 by Newton and Euler over trunk, head and arms.

    markers : label to (3, F) [m], or (3, D, F) with D draws of body and poses;  cutoff_after : low-pass [Hz] of the
    result, for dynamics on raw data;  flesh : (3, F) [N] what drives the flesh of all these beside their bones, taken
    to act at their common centre

    F = sum m (a - g),  M = sum (r - p) x m (a - g) + R (J Omega' + Omega x J Omega)_trunk,  p the centre of L5/S1

    The trunk above the pelvis is rigid; head and arms are points on lines between landmarks, whose own rotation (about
    1 N m at 100 rad/s2) is left out. Together they have the mass that legs and pelvis leave of the rider, where these
    are known.
    """
    parts, missing = _parts(poses, markers, body)
    trunk = upper_trunk(body)
    if trunk is None or missing:
        nothing = np.full((3, *poses.origin.shape[2:]), np.nan)
        return UpperLoads(nothing, nothing, tuple(missing) if trunk is not None else ("trunk", *missing))
    dt, centre = 1.0 / poses.rate, poses.place(body, "l5s1")
    rotation, origin = poses.of("trunk")
    parts = [(trunk.mass, origin + rotate(rotation, trunk.com[..., None])), *parts]
    masses, places = np.stack(np.broadcast_arrays(*(mass for mass, _ in parts))), [place for _, place in parts]
    seen, force, moment = masses.sum(axis=0), np.zeros(()), turned(rotation, trunk.tensor, dt)
    for some in together(len(places), centre[0].size):
        more, turning = _pushed(masses[some], np.stack(places[some], axis=1), centre, dt)
        force, moment = force + more, moment + turning
    if not body.lost:
        left = np.asarray(body.rider.mass - sum(segment.mass for segment in body.inertia.values())) / seen
        force, moment = left[..., None] * force, left[..., None] * moment
    if flesh is not None:
        middle = _common_centre(parts)[1]
        force, moment = force + flesh, moment + cross(middle - centre, flesh)
    j = angles.joints.index("l5s1")
    signs = angles.signs[:, j].reshape(3, *(1,) * (moment.ndim - 1))
    components = np.einsum("ca...,c...->a...", angles.axes[:, :, j], moment) * signs
    smooth = [zero_lag_lowpass(each, cutoff_after, poses.rate) for each in (force, components)]
    return UpperLoads(smooth[0], smooth[1], ())


def upper_mass(poses: SegmentPoses, markers: dict[str, Array], body: FittedBody) -> tuple[Array | float, Array | None]:
    """Mass [kg] of what is seen of trunk, head and arms, and its centre (3, F) [m]; None where the trunk is not."""
    parts, _ = _parts(poses, markers, body)
    trunk = upper_trunk(body)
    if trunk is None or not np.isfinite(poses.of("trunk")[1]).any():
        return 0.0, None
    rotation, origin = poses.of("trunk")
    return _common_centre([(trunk.mass, origin + rotate(rotation, trunk.com[..., None])), *parts])


def _common_centre(parts: list[tuple[float | Array, Array]]) -> tuple[Array, Array]:
    """Mass [kg] and centre (3, F) [m] of several parts."""
    seen, weighted = np.zeros(()), np.zeros(())
    for mass, place in parts:
        seen, weighted = seen + mass, weighted + np.asarray(mass)[..., None] * place
    return seen, weighted / seen[..., None]


def _parts(
    poses: SegmentPoses, markers: dict[str, Array], body: FittedBody
) -> tuple[list[tuple[float | Array, Array]], list[str]]:
    """Mass [kg] and centre (3, F) [m] of head and each part of the arms; the names of those that are not seen."""
    parts, missing = list[tuple[float | Array, Array]](), list[str]()
    for name, line in body.definition.mass_lines.items():
        if name == "trunk":
            continue
        start, end = (line_point(point, poses, markers, body) for point in (line.start, line.end))
        if start is None or end is None:
            missing.append(name)
        else:
            mass, share = body.line_masses[name]
            parts.append((mass, start + share * (end - start)))
    return parts, missing


@lru_cache(maxsize=2)
def upper_trunk(body: FittedBody) -> SegmentInertia | None:
    """The trunk without the pelvis, in the trunk's frame; None where either is not fitted.

    The whole trunk of de Leva (1996) between the middles of shoulders and hips in the static trial, less the pelvis of
    the table in use, both moved to the common centre of what remains. Remembered, because masses and moments ask.
    """
    points = body.standing_points
    if "trunk" not in body.standing or "pelvis" not in body.inertia or "shoulder_mid" not in points:
        return None
    row = table_row("de_leva_1996", body.rider.sex, body.definition.mass_lines["trunk"].table_segment)
    whole_mass, share = body.line_masses["trunk"]
    along = points["hip_mid"] - points["shoulder_mid"]
    lab_from_trunk, origin = body.standing["trunk"]
    lab_from_pelvis, pelvis_origin = body.standing["pelvis"]
    pelvis = body.inertia["pelvis"]
    whole_com = points["shoulder_mid"] + share * along
    pelvis_com = pelvis_origin + rotate(lab_from_pelvis, pelvis.com)
    mass = whole_mass - pelvis.mass
    com = (whole_mass * whole_com - pelvis.mass * pelvis_com) / mass
    radii = [float(row[f"rg_{axis}_pct"]) * PERCENT for axis in ("sagittal", "longitudinal", "transverse")]
    across = from_axes(-along, lab_from_trunk[:, 2], "y", "z")
    squares = np.square(radii).reshape(3, *(1,) * (across.ndim - 2))
    whole = whole_mass * dot(along, along) * compose(across * squares, inverse(across))
    tensor = (
        whole
        + whole_mass * _shift(whole_com - com)
        - compose(compose(lab_from_pelvis, pelvis.tensor), inverse(lab_from_pelvis))
        - pelvis.mass * _shift(pelvis_com - com)
    )
    in_trunk = compose(compose(inverse(lab_from_trunk), tensor), lab_from_trunk)
    return SegmentInertia(mass, rotate_back(lab_from_trunk, com - origin), in_trunk)


def _shift(offset: Array) -> Array:
    """Parallel axes: tensor (3, 3, ...) per mass of a point at `offset` (3, ...)."""
    return np.multiply.outer(np.eye(3), dot(offset, offset)) - offset[:, None] * offset[None]


def _pushed(masses: Array, places: Array, centre: Array, dt: float) -> tuple[Array, Array]:
    """Force (3, F) that moves masses (P,) at places (3, P, F), and its moment about `centre`."""
    fall = GRAVITY.reshape(3, *(1,) * (places.ndim - 1))
    force = masses[..., None] * (of_fourth_order(second_derivative(places, dt)) - fall)
    return force.sum(axis=1), cross(places - centre[:, None], force).sum(axis=1)


def turned(rotation: Array, tensor: Array, dt: float) -> Array:
    """Rate of a rigid body's own angular momentum (3, F), lab axes."""
    velocity, acceleration = angular_motion(rotation, dt)
    velocity, acceleration = rotate_back(rotation, velocity), rotate_back(rotation, of_fourth_order(acceleration))
    wide = tensor[..., None]
    return rotate(rotation, rotate(wide, acceleration) + cross(velocity, rotate(wide, velocity)))

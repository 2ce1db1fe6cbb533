"""A changed shape, the foot's answer on its bed, and the same moments poured again: before, after and change with two
intervals, that of the mechanics and that of one person."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from jointload.analysis import Analysis
from jointload.body.angles import JointAngles, joint_angles
from jointload.body.pose import SegmentPoses
from jointload.errors import SettingError, expected_found
from jointload.insole.foundation import REASONS, BedPose, pressure
from jointload.insole.geometry import Wedge
from jointload.insole.response import (
    SERIES,
    FootResponse,
    Settled,
    Standing,
    published_response,
    respond,
    settle,
    settle_flat,
    stable_reasons,
    stand,
)
from jointload.insole.shape import HeelLift, InsoleShape, flat, measure, wedge_shape
from jointload.intake.plates import centre_of_pressure
from jointload.intake.recording import SIDES, Array, Finding
from jointload.intake.rider import G
from jointload.landing.landed import Landing
from jointload.landing.load_measures import MOMENT_PEAKS
from jointload.loads.moments import JointLoads, SegmentMotion, joint_loads, segment_motion
from jointload.numerics.rotations import about_axis, compose, cross, dot, from_vector, rotate, unit
from jointload.numerics.signals import integral, zero_lag_lowpass

INTERVAL = (0.025, 0.975)
FILTER_ROOM = 0.25
"""Time [s] around the landing that a filter after the dynamics needs to settle (choice)."""
RUNNING_CONTACT = 0.4
"""A step shorter than this [s] is taken as running, a longer one as walking (choice)."""
NEAR_ZERO = 0.10
"""No per-cent change of a moment below this [Nm/kg], of an impulse below a tenth of it [Nm s/kg] (choice)."""
STIFF_FLOOR = 3.0
"""From this many body weights on the floor of the net roll stiffness decides, a choice without a source."""
STRAIGHT = 0.9995
"""A leg is not stretched beyond this share of thigh and shank together, 3.6 deg short of straight (choice)."""
SLENDER = 0.01
"""Below this sine of the angle between thigh and leg the knee bends about the thigh's own axis (choice)."""
USUAL_BASE = 0.004
"""Thickness [m] of the flat insole that a wedge, a lift or another thickness is compared with (choice)."""
FAINT = 0.10
"""A region that bears less than this share of the sole's largest pressure gets no per-cent change (choice)."""
LEAST_PRESSURE = 1.0e3
"""A draw whose region bears less than this [Pa] is left out of its per-cent change (choice)."""
MANY_UNSTABLE = 0.05
"""Share of poses without a stable place from where on it is told as a warning (choice)."""
MOVED_PRESSURE = 0.25
"""Share of instants with a centre of pressure outside the sole from where on it is told (choice)."""
TOES = 0.84
"""The toes begin at this share of the length (choice)."""
HEEL_END, MIDFOOT_END = 0.35, 0.58
"""Ends of heel and midfoot as shares of the length (choice, a third each of the sole behind the toes)."""
FIRST_RAY = 0.33
"""The first metatarsal bears this medial share of the forefoot's width (choice)."""


@dataclass(frozen=True)
class Change:
    """One quantity before and after, in SI units; before is NaN where only the change is known.

    low and high bound 95 % of the drawn changes by the mechanics alone, person_low and person_high those of one person;
    share_lower : of the drawn persons whose value falls;  percent : change over before, NaN near zero
    """

    quantity: str
    side: str
    before: float
    after: float
    change: float
    low: float
    high: float
    share_lower: float
    person_low: float = float("nan")
    person_high: float = float("nan")
    percent: float = float("nan")
    note: str = ""

    @property
    def distinguishable(self) -> bool:
        """Whether the interval of one person leaves out zero."""
        return self.person_low > 0 or self.person_high < 0


@dataclass(frozen=True, eq=False)
class PressureMap:
    """Median pressure (n,) [Pa] of the draws under the cells of the sole, flat and changed, at the reference instant.

    x, y, area : (n,) cells, [m] forward from the heel and towards medial, [m2];  point : centre of pressure (2,) [m]
    height_change : (n,) [m] of the insole
    """

    x: Array
    y: Array
    area: Array
    before: Array
    after: Array
    point_before: tuple[float, float]
    point_after: tuple[float, float]
    height_change: Array


@dataclass(frozen=True, eq=False)
class WhatIf:
    """The predicted effect of one shape on one landing; others: further shapes under the same foot, same draws."""

    shape: InsoleShape
    shape_text: str
    side: str
    task: str
    draws: int
    seed: int
    rows: tuple[Change, ...]
    response_text: tuple[str, ...]
    findings: tuple[Finding, ...]
    pressure: PressureMap
    others: tuple[WhatIf, ...] = ()


@dataclass(frozen=True)
class Parts:
    """Simple parts under one foot, fitted to its length when that is known: a wedge, a heel lift [m], another
    thickness of the whole insole [m]."""

    side: str
    wedge: Wedge | None = None
    lift: float = 0.0
    thickness: float = USUAL_BASE

    def shape(self, length: float) -> InsoleShape:
        """The insole of these parts for a foot of this length [m]."""
        plain = InsoleShape(self.side, length, base=self.thickness, lift=HeelLift(self.lift))
        if self.wedge is None:
            return plain
        tilted = wedge_shape(self.wedge, length)
        return replace(plain, rearfoot=tilted.rearfoot, forefoot=tilted.forefoot)

    def __str__(self) -> str:
        foot = "right" if self.side == "r" else "left"
        words = [str(self.wedge)] if self.wedge is not None else []
        words += [f"{1000 * self.lift:g} mm heel lift under the {foot} foot"] if self.lift else []
        if self.thickness != USUAL_BASE:
            words.append(
                f"{1000 * self.thickness:g} mm insole in place of {1000 * USUAL_BASE:g} mm under the {foot} foot"
            )
        return "; ".join(words) or f"flat insole under the {foot} foot"


Given = Wedge | Parts | InsoleShape
"""What a what-if may be asked about."""


def what_if(analysis: Analysis, shape: Given, draws: int = 200, seed: int = 1) -> WhatIf:
    """Predict what a shape under one foot would shift in an analysed landing, against a flat insole of equal base, or
    of USUAL_BASE where the thickness is part of the question.

    The answer is quasi-static: the measured force stays, the foot settles anew on its bed, the pelvis stays where it
    was, and inertia is that of the measured motion. In the first 30 ms of an impact it is an upper bound. A lumbar
    change is not predicted. SettingError when this side has no moments.
    """
    return what_ifs(analysis, [shape], draws, seed)[0]


def what_ifs(analysis: Analysis, shapes: Iterable[Given], draws: int = 200, seed: int = 1) -> tuple[WhatIf, ...]:
    """Several shapes with the same draws of the same person, so that their differences are the shapes'."""
    standings: dict[str, Standing] = {}
    flats: dict[tuple[str, InsoleShape], BedPose] = {}
    out = []
    for given in shapes:
        side = given.side
        if side not in standings:
            _require_moments(analysis.landing, side)
            standings[side] = stand(analysis.landing, side, draws, seed)
        standing = standings[side]
        case = _case(given, standing.place.length)
        key = (side, case.before)
        if key not in flats:
            flats[key] = settle_flat(standing, case.before)
        out.append(_answer(analysis.landing, standing, settle(standing, case.after, flats[key]), case, draws, seed))
    return tuple(out)


def compare(analysis: Analysis, shapes: Iterable[Given], draws: int = 200, seed: int = 1) -> WhatIf:
    """what_ifs of several shapes under one foot as one answer: the first, with the others beside it."""
    first, *others = what_ifs(analysis, shapes, draws, seed)
    if any(other.side != first.side for other in others):
        raise SettingError(
            expected_found("shapes", "one foot", "both feet", "the comparison", "ask for one foot at a time")
        )
    return replace(first, others=tuple(others))


def _require_moments(landing: Landing, side: str) -> None:
    if side not in landing.events.sides or not _has_moments(landing, side):
        raise SettingError(
            expected_found(
                "what-if",
                f"a landing with moments of side {side!r}",
                "none",
                landing.recording.name,
                "see quality.csv for the reason, or choose the other side",
            )
        )


@dataclass(frozen=True)
class _Case:
    """What was asked, and the insoles before and after."""

    given: Given
    before: InsoleShape
    after: InsoleShape

    @property
    def text(self) -> str:
        return shape_text(self.given)


def _case(given: Given, length: float) -> _Case:
    if isinstance(given, Wedge):
        given_shape = wedge_shape(given, length)
        return _Case(given, flat(given_shape), given_shape)
    if isinstance(given, Parts):
        return _Case(given, InsoleShape(given.side, length, base=USUAL_BASE), given.shape(length))
    return _Case(given, flat(given), given)


def _answer(landing: Landing, standing: Standing, settled: Settled, case: _Case, draws: int, seed: int) -> WhatIf:
    side, text = standing.side, case.text
    if not settled.usable.any():
        expected, found = "a foot that stands on it", f"{REASONS[stable_reasons(settled)[0]]}"
        raise SettingError(expected_found("what-if", expected, found, text, "choose a lower shape"))
    window = landing.window(side)
    response = respond(standing, settled, window)
    poured = pour_again(landing, side, response.with_none_first())
    task = task_of(landing, side)
    maps, regions = _pressures(standing, settled)
    rows = (
        *_foot_rows(landing, standing, settled, response),
        *_load_rows(landing, side, poured),
        *regions,
        *_stack_rows(case),
    )
    findings = _findings(landing, standing, settled, case, task)
    return WhatIf(case.after, text, side, task, draws, seed, rows, _assumptions(standing, case), findings, maps)


def shape_text(shape: Given) -> str:
    """The shape in words: what is added to a flat insole."""
    if not isinstance(shape, InsoleShape):
        return str(shape)
    parts = []
    for name, posting in (("rearfoot", shape.rearfoot), ("forefoot", shape.forefoot)):
        if posting.angle:
            raised = "medial" if posting.angle > 0 else "lateral"
            parts.append(f"{abs(np.rad2deg(posting.angle)):g} deg {name} posting, {raised} side raised")
    for name, height in (
        ("heel lift", shape.lift.height),
        ("arch fill", shape.arch.height),
        ("metatarsal support", shape.metatarsal.height),
    ):
        if height:
            parts.append(f"{1000 * height:g} mm {name}")
    foot = "right" if shape.side == "r" else "left"
    return f"insole under the {foot} foot, base {1000 * shape.base:g} mm: {'; '.join(parts) or 'flat'}"


def task_of(landing: Landing, side: str) -> str:
    """'landing' after a flight; else 'running' or 'walking' by the length of the contact."""
    if landing.events.kind == "landing":
        return "landing"
    events = landing.events.sides[side]
    return "running" if events.takeoff - events.touchdown < RUNNING_CONTACT else "walking"


# The same moments, poured again -------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Poured:
    """Angles and loads of every draw, (D, W) in place of the frame axis: D draws, W frames of the landing.

    loads : by the mechanics;  person : with one person's own lever arm
    """

    angles: JointAngles
    loads: JointLoads
    person: JointLoads
    dt: float


def pour_again(landing: Landing, side: str, response: FootResponse) -> Poured:
    """Angles and loads of every draw in the landing of one foot, through the same functions as the analysis.

    One person's own lever arm is a parallel shift of the force's line in the frontal plane of the foot.
    """
    window = landing.window(side)
    frames = _padded(window, landing)
    draws, length = response.draws, frames.stop - frames.start
    held = _held(response, window, frames)
    poses, feet = _tiled(landing.poses, frames, draws), _tiled(landing.poses, frames, 1)
    poses = _answering_poses(landing, side, poses, held)
    motion = _carried_motion(landing, feet, poses, draws)
    force = np.tile(landing.contact.force[..., frames], draws)
    moment = np.tile(landing.contact.moment[..., frames], draws)
    s = SIDES.index(side)
    across, along = (np.tile(axis[:, frames], draws) for axis in _floor_axes(landing.poses, side))
    force[:, s], moment[:, s] = _moved_wrench(landing, side, frames, (force[:, s], moment[:, s]), held, (across, along))
    angles = joint_angles(poses, landing.body, landing.settings.angle_zero)
    loads = joint_loads(poses, landing.body, angles, force, moment, motion)
    own = np.repeat(response.personal_arm, length) * across
    person = _with_extra_moment(loads, angles, side, -cross(own, force[:, s]))
    inner = slice(window.start - frames.start, window.stop - frames.start)

    def by_draw(series: Array) -> Array:
        rows = series.reshape(*series.shape[:-1], draws, length)
        if landing.settings.smoothing == "after":
            rows[..., [0, -1]] = np.nan
            rows = zero_lag_lowpass(rows, landing.settings.cutoff, landing.poses.rate)
        return rows[..., inner]

    def shaped(loads: JointLoads) -> JointLoads:
        return replace(
            loads, force=by_draw(loads.force), moment=by_draw(loads.moment), components=by_draw(loads.components)
        )

    return Poured(replace(angles, angle=by_draw(angles.angle)), shaped(loads), shaped(person), 1.0 / landing.poses.rate)


def _padded(window: slice, landing: Landing) -> slice:
    """The window with the frame on either side that a second difference needs, or with room for the filter."""
    room = round(FILTER_ROOM * landing.poses.rate) if landing.settings.smoothing == "after" else 1
    return slice(max(window.start - room, 0), min(window.stop + room, landing.recording.frames))


def _has_moments(landing: Landing, side: str) -> bool:
    moment = landing.loads.of(f"knee_{side}", "adduction")[landing.window(side)]
    return moment.size > 0 and bool(np.isfinite(moment).all())


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


def _carried_motion(landing: Landing, measured: SegmentPoses, poses: SegmentPoses, draws: int) -> SegmentMotion:
    """Accelerations of the measured motion at the changed places: the answer is quasi-static."""
    motion = segment_motion(measured, landing.body)
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
    rotation, _ = poses.of(f"foot_{side}")
    across = unit(rotation[:, 2] * level) * (-1.0 if side == "r" else 1.0)
    up = np.array([0.0, 1.0, 0.0])[:, None]
    along = cross(up, across) * (1.0 if side == "l" else -1.0)
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

    The body's centre is the lumbosacral point (choice: it is seen wherever the pelvis is).
    """
    (force, moment), (across, along) = wrench, axes
    draws, s = response.draws, SIDES.index(side)
    length = frames.stop - frames.start
    one_force, one_moment = landing.contact.force[:, s, frames], landing.contact.moment[:, s, frames]
    point = centre_of_pressure(one_force, one_moment, landing.contact.floor, landing.settings.contact_threshold)
    aim = landing.poses.place(landing.body, "l5s1")[:, frames] - point
    known = np.isfinite(point[0]) & np.isfinite(aim[0])
    point, aim = (np.tile(np.where(known, part, np.array([0.0, 1.0, 0.0])[:, None]), draws) for part in (point, aim))
    shift = (response.medial * across + response.forward * along) * np.tile(known, draws)
    old, new = unit(aim), unit(aim - shift)
    following = np.repeat(response.force_following, length)
    turned = rotate(from_vector(following * cross(old, new)), force)
    return turned, moment + cross(point + shift, turned) - cross(point, force)


def _with_extra_moment(loads: JointLoads, angles: JointAngles, side: str, extra: Array) -> JointLoads:
    """The loads of one leg's joints with one more internal moment (3, N) [N m] in each."""
    moment, components = loads.moment.copy(), loads.components.copy()
    for name in (f"ankle_{side}", f"knee_{side}", f"hip_{side}"):
        j = loads.joints.index(name)
        moment[:, j] += extra
        components[:, j] += np.einsum("caf,cf->af", angles.axes[:, :, j], extra) * angles.signs[:, j, None]
    return replace(loads, moment=moment, components=components)


# The limb -----------------------------------------------------------------------------------------------------------


def _answering_poses(landing: Landing, side: str, poses: SegmentPoses, response: FootResponse) -> SegmentPoses:
    """The foot rolled and pitched, the ankle carried sideways by ankle height times roll, the knee where thigh and
    shank close between it and the hip, and the shank turned about its long axis. The pelvis keeps its place."""
    mirror = 1.0 if side == "r" else -1.0
    body, moved = landing.body, response.ankle_height * response.roll
    hip, knee, ankle = (poses.place(body, f"{joint}_centre_{side}") for joint in ("hip", "knee", "ankle"))
    right = unit(poses.of(f"foot_{side}")[0][:, 2] * np.array([1.0, 0.0, 1.0])[:, None])
    shift = mirror * moved * right
    bend_axis = poses.of(f"thigh_{side}")[0][:, 2]
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
        s = poses.index(f"{segment}_{side}")
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


# Rows ---------------------------------------------------------------------------------------------------------------


def _row(quantity: str, side: str, before: float, changes: Array, person: Array, near_zero: float = np.inf) -> Change:
    low, high = np.quantile(changes, INTERVAL)
    person_low, person_high = np.quantile(person, INTERVAL)
    middle = float(np.median(changes))
    percent = 100.0 * middle / before if abs(before) > near_zero else float("nan")
    return Change(
        quantity, side, before, before + middle, middle, float(low), float(high), float(np.mean(person < 0)),
        float(person_low), float(person_high), percent,
    )  # fmt: skip


def _foot_rows(landing: Landing, standing: Standing, settled: Settled, response: FootResponse) -> list[Change]:
    """What the foot does at the reference instant."""
    side, instant, unknown = standing.side, standing.reference, float("nan")
    at = int(standing.frames[instant]) - landing.window(side).start
    return [
        _row(name, side, before, values[:, at], values[:, at])
        for name, before, values in (
            ("rearfoot_roll", unknown, response.roll),
            ("foot_pitch", unknown, response.pitch),
            ("pressure_centre_medial", float(standing.load.y[instant]), response.medial),
            ("pressure_centre_forward", float(standing.load.x[instant]), response.forward),
            ("tibial_rotation", unknown, response.tibial_rotation),
        )
    ]


Reading = Callable[[JointAngles, JointLoads, float], Array]


def _load_rows(landing: Landing, side: str, poured: Poured) -> list[Change]:
    mass, out = landing.weight / G, []
    for name, read in _readings(side).items():
        mechanics, person = (read(poured.angles, loads, poured.dt) for loads in (poured.loads, poured.person))
        near_zero = np.inf if "moment" not in name and "impulse" not in name else NEAR_ZERO * mass
        near_zero *= 0.1 if "impulse" in name else 1.0
        before = float(mechanics[0])
        out.append(_row(name, side, before, mechanics[1:] - before, person[1:] - before, near_zero))
    return out


def _readings(side: str) -> dict[str, Reading]:
    """How each quantity (D,) is read from every draw, knee adduction and flexion together."""
    out: dict[str, Reading] = {
        "rearfoot_eversion_peak": _angle_reading(f"ankle_{side}", "inversion", -1.0),
        "knee_adduction_peak": _angle_reading(f"knee_{side}", "adduction", 1.0),
        "knee_internal_rotation_peak": _angle_reading(f"knee_{side}", "internal_rotation", 1.0),
        "hip_adduction_peak": _angle_reading(f"hip_{side}", "adduction", 1.0),
    }
    for name, (joint, rotation, kind, sign) in MOMENT_PEAKS.items():
        out[name] = _peak_reading(f"{joint}_{side}", rotation, kind, sign)
    out["knee_adduction_impulse"] = lambda angles, loads, dt: integral(
        np.maximum(loads.of(f"knee_{side}", "adduction"), 0.0), dt
    )
    return out


def _angle_reading(joint: str, rotation: str, sign: float) -> Reading:
    return lambda angles, loads, dt: (sign * angles.of(joint, rotation)).max(axis=-1)


def _peak_reading(joint: str, rotation: str, kind: str, sign: float) -> Reading:
    return lambda angles, loads, dt: (sign * loads.of(joint, rotation, kind)).max(axis=-1)


def regions(standing: Standing) -> dict[str, Array]:
    """Name -> (n,) whether a cell belongs to it."""
    bed = standing.bed
    along = bed.x / bed.length
    heel, fore = along < HEEL_END, (along >= MIDFOOT_END) & (along < TOES)
    edge = bed.y[fore].max() - FIRST_RAY * np.ptp(bed.y[fore])
    return {
        "medial_heel": heel & (bed.y > 0),
        "lateral_heel": heel & (bed.y <= 0),
        "midfoot": (along >= HEEL_END) & (along < MIDFOOT_END),
        "first_metatarsal": fore & (bed.y > edge),
        "other_metatarsals": fore & (bed.y <= edge),
        "toes": along >= TOES,
    }


def _pressures(standing: Standing, settled: Settled) -> tuple[PressureMap, list[Change]]:
    """The map at the reference instant, and the change of each region's largest pressure in per cent; a faint region
    has none."""
    use = settled.usable
    before = pressure(standing.bed, settled.flat)[use]
    after = before if settled.changed is settled.flat else pressure(standing.bed, settled.changed)[use]
    both = np.isfinite(before[..., 0]) & np.isfinite(after[..., 0])
    before, after = (np.where(both[..., None], part, 0.0) for part in (before, after))
    rows = []
    for name, cells in regions(standing).items():
        old, new = (part[..., cells].max(axis=(1, 2)) for part in (before, after))
        if np.median(old) < FAINT * float(np.median(before.max(axis=(1, 2)))):
            continue
        pressed = old > LEAST_PRESSURE
        change = 100.0 * (new[pressed] / old[pressed] - 1.0)
        rows.append(_row(f"peak_pressure_{name}", standing.side, float("nan"), change, change))
    k = standing.reference if both[:, standing.reference].any() else int(np.argmax(both.sum(axis=0)))
    points = [
        (float(np.nanmedian(pose.cop_x[:, k])), float(np.nanmedian(pose.cop_y[:, k])))
        for pose in (settled.flat, settled.changed)
    ]
    seen = both[:, k]
    middle = [np.median(part[seen, k], axis=0) for part in (before, after)]
    bed, height = standing.bed, settled.changed.height - settled.flat.height
    return PressureMap(bed.x, bed.y, bed.area, middle[0], middle[1], points[0], points[1], height), rows


def _stack_rows(case: _Case) -> list[Change]:
    """Heights under heel and ball: no draw moves them."""
    old, new = measure(case.before), measure(case.after)
    out = []
    for name, before, after in (
        ("heel_stack", old.heel_stack, new.heel_stack),
        ("forefoot_stack", old.forefoot_stack, new.forefoot_stack),
    ):
        change = np.full(1, after - before)
        out.append(_row(name, case.after.side, before, change, change))
    return out


# Words --------------------------------------------------------------------------------------------------------------


def _assumptions(standing: Standing, case: _Case) -> tuple[str, ...]:
    return (
        "the measured vertical force stays; the foot settles anew on tissue, insole and midsole (models/insole_response"
        "/foundation.toml, with its spreads)",
        f"the baseline is a flat insole of {1000 * case.before.base:g} mm of the same material",
        f"foot length {1000 * standing.place.length:.0f} mm by {standing.place.basis}",
        "the rolling foot carries the ankle sideways; thigh and shank close between ankle and hip; the pelvis stays",
        "eversion turns the tibia inwards by the inclination of the subtalar axis; part of it turns the knee's plane",
        "the force turns so that it stays aimed near the body's centre as its foot point moves",
        "inertia is that of the measured motion; in the first 30 ms of an impact the answer is an upper bound",
        "a shift towards the toes or heel does not move the ankle forward or back",
        "one person's interval adds a lever arm of 4 to 5 mm (SD) at 5 deg of wedge, a choice from published spreads; "
        "it is the same at ankle, knee and hip, and nothing for a shape without tilt",
    )


def _findings(landing: Landing, standing: Standing, settled: Settled, case: _Case, task: str) -> tuple[Finding, ...]:
    given, text = case.given, case.text
    out = [
        Finding(
            "prediction",
            "warn",
            text,
            "mechanics with the spread of other people, none measured on this rider",
            "a trial of this rider on the shape decides; watch the ankle on the raised side",
        ),
        Finding("lumbar_change", "pass", text, "not predicted", "measure it on the shape"),
    ]
    out += _load_findings(landing, standing, settled, text, task)
    if isinstance(given, Wedge) and given.angle:
        out.append(_ratio_finding(standing, settled, given, task))
        if given.length == "heel":
            out.append(
                Finding(
                    "contradicting_sign",
                    "warn",
                    "centre of pressure",
                    "published heel wedges moved it either way",
                    "the mechanics gives one sign; do not rely on it for a heel wedge",
                )
            )
    if isinstance(given, InsoleShape) and abs(given.length / standing.place.length - 1.0) > 0.1:
        lengths = f"{1000 * given.length:.0f} mm insole, {1000 * standing.place.length:.0f} mm foot"
        out.append(Finding("insole_length", "warn", text, lengths, "check the size of the insole or of the foot"))
    return tuple(out)


def _load_findings(landing: Landing, standing: Standing, settled: Settled, text: str, task: str) -> list[Finding]:
    """What this landing's load leaves to doubt."""
    out = []
    peak = float(standing.load.force.max()) / landing.weight
    if peak > STIFF_FLOOR:
        out.append(
            Finding(
                "stiffness_floor",
                "warn",
                text,
                f"{peak:.1f} body weights on the foot; above {STIFF_FLOOR:g} a floor of the roll stiffness decides",
                "the floor is a choice without a source: read roll and moments at the peak as orders of magnitude",
            )
        )
    if task == "landing":
        out.append(
            Finding(
                "no_landing_study",
                "warn",
                "rearfoot roll",
                "no published wedge study of a landing",
                "the same stiffness as in walking and running is used",
            )
        )
    if (share := settled.unstable_share) > 0:
        severity, words = (
            "warn" if share > MANY_UNSTABLE else "pass",
            "; ".join(REASONS[k] for k in stable_reasons(settled)),
        )
        out.append(
            Finding(
                "no_stable_pose",
                "warn" if severity == "warn" else "pass",
                text,
                f"{100 * share:.1f} % of the poses: {words}",
                "these are bridged from the instants before and after, or the draw is left out",
            )
        )
    if standing.pulled.mean() > MOVED_PRESSURE:
        out.append(
            Finding(
                "pressure_outside_sole",
                "warn",
                standing.side,
                f"at {standing.pulled.sum()} of {standing.pulled.size} instants the centre of pressure lies outside "
                f"a sole of {1000 * standing.place.length:.0f} mm",
                "it was taken to the sole's edge; check foot markers, foot length and plate corners",
            )
        )
    return out


def _ratio_finding(standing: Standing, settled: Settled, wedge: Wedge, task: str) -> Finding:
    """Whether the mechanics' rearfoot roll lies where published wedge studies saw it."""
    bears = standing.rearfoot_bears
    roll = (settled.changed.roll - settled.flat.roll)[settled.usable][:, bears] / wedge.angle
    weights = np.where(np.isfinite(roll), standing.load.force[bears], 0.0)
    roll = np.sum(np.nan_to_num(roll) * weights, axis=1) / np.maximum(np.sum(weights, axis=1), 1.0)
    published = published_response(wedge, task, 1000, 1).roll / wedge.angle
    low, high = np.quantile(published, INTERVAL)
    middle = float(np.median(roll))
    agrees = low <= middle <= high
    return Finding(
        "published_ratio",
        "pass" if agrees else "warn",
        "rearfoot roll",
        f"{middle:.2f} deg per deg of wedge by mechanics while the rearfoot bears; published ratios for {task} "
        f"{low:.2f} to {high:.2f}",
        "they agree" if agrees else "they do not agree: trust neither without a trial of this rider",
    )

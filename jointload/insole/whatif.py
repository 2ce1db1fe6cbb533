"""A changed shape, the foot's response to it, and the same moments poured again: before, after and change with an
interval."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from jointload.analysis import Analysis
from jointload.body.angles import JointAngles, joint_angles
from jointload.body.pose import SegmentPoses
from jointload.errors import SettingError, expected_found
from jointload.insole.geometry import Wedge
from jointload.insole.response import FootResponse, draw_response
from jointload.intake.recording import SIDES, Array, Finding
from jointload.landing.measures import MOMENT_PEAKS, Landing
from jointload.loads.moments import JointLoads, joint_loads
from jointload.numerics.rotations import about_axis, compose, cross, unit
from jointload.numerics.signals import integral, zero_lag_lowpass

INTERVAL = (0.025, 0.975)
FILTER_ROOM = 0.25
"""Time [s] around the landing that a filter after the dynamics needs to settle (choice)."""
RUNNING_CONTACT = 0.4
"""A step shorter than this [s] is taken as running, a longer one as walking (choice)."""


@dataclass(frozen=True)
class Change:
    """One quantity before and after, in SI units; low and high bound 95 % of the drawn changes; share_lower of them
    are falls."""

    quantity: str
    side: str
    before: float
    after: float
    change: float
    low: float
    high: float
    share_lower: float
    note: str = ""

    @property
    def distinguishable(self) -> bool:
        """Whether the interval leaves out zero."""
        return self.low > 0 or self.high < 0


@dataclass(frozen=True, eq=False)
class WhatIf:
    """The predicted effect of one shape on one landing."""

    wedge: Wedge
    shape_text: str
    side: str
    task: str
    draws: int
    seed: int
    rows: tuple[Change, ...]
    response_text: tuple[str, ...]
    findings: tuple[Finding, ...]


def what_if(analysis: Analysis, wedge: Wedge, draws: int = 500, seed: int = 1) -> WhatIf:
    """Predict what a wedge would shift in an analysed landing.

    The response is quasi-static and acts at full size from touch-down: in the first 30 ms it is an upper bound. The
    ankle, knee and hip keep their places; the foot rolls, the shank turns about its long axis and the centre of
    pressure moves. A lumbar change is not predicted. SettingError when this side has no moments.
    """
    landing, side = analysis.landing, wedge.side
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
    task = task_of(landing, side)
    response = draw_response(wedge, task, draws, seed)
    angles, loads = pour_again(landing, side, _with_no_response_first(response))
    dt = 1.0 / landing.poses.rate
    rows = tuple(_change(name, side, read(angles, loads, dt)) for name, read in _readings(side).items())
    return WhatIf(wedge, str(wedge), side, task, draws, seed, rows, response.assumptions, _findings(wedge, task))


def task_of(landing: Landing, side: str) -> str:
    """'landing' after a flight; else 'running' or 'walking' by the length of the contact."""
    if landing.events.kind == "landing":
        return "landing"
    events = landing.events.sides[side]
    return "running" if events.takeoff - events.touchdown < RUNNING_CONTACT else "walking"


def pour_again(landing: Landing, side: str, response: FootResponse) -> tuple[JointAngles, JointLoads]:
    """Angles and loads of every draw in the landing of one foot, through the same functions as the analysis.

    The arrays of the result have (D, W) in place of the frame axis: D draws, W frames of the landing.
    """
    window = landing.window(side)
    frames = _padded(window, landing)
    draws, length = response.roll.size, frames.stop - frames.start
    poses = _responding_poses(landing.poses, side, response, frames)
    force = np.tile(landing.contact.force[..., frames], draws)
    moment = np.tile(landing.contact.moment[..., frames], draws)
    s = SIDES.index(side)
    medial = _medial_direction(landing.poses, side)[:, frames]
    shift = (medial[:, None] * response.shift[:, None]).reshape(3, draws * length)
    moment[:, s] += cross(shift, force[:, s])
    angles = joint_angles(poses, landing.body, landing.settings.angle_zero)
    loads = joint_loads(poses, landing.body, angles, force, moment)
    inner = slice(window.start - frames.start, window.stop - frames.start)

    def by_draw(series: Array) -> Array:
        rows = series.reshape(*series.shape[:-1], draws, length)
        if landing.settings.smoothing == "after":
            rows[..., [0, -1]] = np.nan
            rows = zero_lag_lowpass(rows, landing.settings.cutoff, landing.poses.rate)
        return rows[..., inner]

    return replace(angles, angle=by_draw(angles.angle)), replace(
        loads, force=by_draw(loads.force), moment=by_draw(loads.moment), components=by_draw(loads.components)
    )


def _padded(window: slice, landing: Landing) -> slice:
    """The window with the frame on either side that a second difference needs, or with room for the filter."""
    room = round(FILTER_ROOM * landing.poses.rate) if landing.settings.smoothing == "after" else 1
    return slice(max(window.start - room, 0), min(window.stop + room, landing.recording.frames))


def _has_moments(landing: Landing, side: str) -> bool:
    moment = landing.loads.of(f"knee_{side}", "adduction")[landing.window(side)]
    return moment.size > 0 and bool(np.isfinite(moment).all())


def _with_no_response_first(response: FootResponse) -> FootResponse:
    def first_zero(draws: Array) -> Array:
        return np.concatenate(([0.0], draws))

    return replace(
        response,
        roll=first_zero(response.roll),
        shift=first_zero(response.shift),
        tibial_rotation=first_zero(response.tibial_rotation),
    )


def _responding_poses(poses: SegmentPoses, side: str, response: FootResponse, frames: slice) -> SegmentPoses:
    """Every draw's poses: the foot rolled about its long axis through the ankle, the shank turned about its long
    axis."""
    draws, mirror = response.roll.size, 1.0 if side == "r" else -1.0
    rotation = np.tile(poses.rotation[..., frames], draws)
    length = frames.stop - frames.start
    for segment, axis, angle in (
        (f"foot_{side}", "x", response.roll),
        (f"shank_{side}", "y", response.tibial_rotation),
    ):
        turned = np.repeat(about_axis(axis, mirror * angle), length, axis=-1)
        s = poses.index(segment)
        rotation[:, :, s] = compose(rotation[:, :, s], turned)
    return SegmentPoses(
        poses.segments,
        rotation,
        np.tile(poses.origin[..., frames], draws),
        np.tile(poses.residual[..., frames], draws),
        poses.rate,
    )


def _medial_direction(poses: SegmentPoses, side: str) -> Array:
    """(3, F) horizontal direction across the foot, towards the other leg."""
    across = poses.of(f"foot_{side}")[0][:, 2] * np.array([1.0, 0.0, 1.0])[:, None]
    return unit(across) * (-1.0 if side == "r" else 1.0)


Reading = Callable[[JointAngles, JointLoads, float], Array]


def _readings(side: str) -> dict[str, Reading]:
    """How each quantity (D,) is read from every draw, knee adduction and flexion together."""
    out: dict[str, Reading] = {
        "rearfoot_eversion_peak": lambda angles, loads, dt: (-angles.of(f"ankle_{side}", "inversion")).max(axis=-1),
        "knee_internal_rotation_peak": lambda angles, loads, dt: angles.of(f"knee_{side}", "internal_rotation").max(
            axis=-1
        ),
    }
    for name, (joint, rotation, kind, sign) in MOMENT_PEAKS.items():
        out[name] = _peak_reading(f"{joint}_{side}", rotation, kind, sign)
    out["knee_adduction_impulse"] = lambda angles, loads, dt: integral(
        np.maximum(loads.of(f"knee_{side}", "adduction"), 0.0), dt
    )
    return out


def _peak_reading(joint: str, rotation: str, kind: str, sign: float) -> Reading:
    return lambda angles, loads, dt: (sign * loads.of(joint, rotation, kind)).max(axis=-1)


def _change(quantity: str, side: str, values: Array) -> Change:
    before, changes = float(values[0]), values[1:] - values[0]
    low, high = np.quantile(changes, INTERVAL)
    middle = float(np.median(changes))
    return Change(quantity, side, before, before + middle, middle, float(low), float(high), float(np.mean(changes < 0)))


def _findings(wedge: Wedge, task: str) -> tuple[Finding, ...]:
    out = [
        Finding(
            "prediction",
            "warn",
            str(wedge),
            "ratios of other people, none measured on this rider",
            "a trial of this rider with the wedge decides; watch the ankle on the raised side",
        )
    ]
    if task == "landing":
        out.append(
            Finding(
                "no_landing_study",
                "warn",
                "rearfoot ratio",
                "no published wedge study of a landing",
                "the running ratio is used with twice its spread",
            )
        )
    if wedge.length == "heel":
        out.append(
            Finding(
                "contradicting_sign",
                "warn",
                "centre of pressure",
                "published heel wedges moved it either way",
                "the interval holds both signs",
            )
        )
    return tuple(out)

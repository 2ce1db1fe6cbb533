"""The numbers of a landing: forces, angles, moments, work, each one small function in SI units.

A function gets the landing and a side and returns the value, or NaN with the reason. Definitions, signs and sources
of every quantity stand in models/glossary/quantities.csv.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from jointload.body.angles import JointAngles
from jointload.body.calibration import FittedBody
from jointload.body.mass_centre import MassCentre
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import SIDES, Array, Recording
from jointload.intake.rider import G
from jointload.landing.alignment import Alignment
from jointload.landing.events import LandingEvents, impact_lowpass, touchdown_speed
from jointload.loads.contact import Contact
from jointload.loads.moments import JointLoads
from jointload.numerics.rotations import dot
from jointload.numerics.signals import derivatives, integral, zero_lag_lowpass
from jointload.settings import Settings

BEARING_SHARE = 0.2
"""Friction is read while a foot bears more than this share of body weight (choice: below it the ratio is noise)."""
TRAVEL_SPEED = 0.7
"""Above this horizontal speed [m/s] of the pelvis at touch-down, braking is against the direction of travel
(choice)."""
HEEL_FIRST, TOE_FIRST = np.deg2rad(8.0), np.deg2rad(-1.6)
"""Sole angle at touch-down of a heel or forefoot contact (Altman & Davis 2012 Gait Posture 35:298, running; from
memory)."""
IMPULSE_SECONDS = 0.1
FALL_SECONDS = 0.35
"""The fall of the centre of mass is read from at most this last part of the flight [s] (choice: before it a rider may
stand on a ledge)."""


@dataclass(frozen=True)
class Measure:
    """One number of the report: value, low and high in SI units, NaN when unknown; `word` where the answer is no
    number."""

    quantity: str
    side: str
    value: float
    low: float = float("nan")
    high: float = float("nan")
    note: str = ""
    word: str = ""


@dataclass(frozen=True, eq=False)
class Landing:
    """All that the measures read."""

    recording: Recording
    body: FittedBody
    poses: SegmentPoses
    angles: JointAngles
    alignment: Alignment
    contact: Contact
    loads: JointLoads
    events: LandingEvents
    centre: MassCentre
    weight: float
    weight_of_rider: float
    weight_on_plates: float
    settings: Settings
    _fast: dict[str, Array] = field(default_factory=dict, compare=False)

    def window(self, side: str) -> slice:
        """Marker frames of one foot's landing, none when its end is not known."""
        return self._span(side, self.poses.rate)

    def fast_window(self, side: str) -> slice:
        """Force samples of one foot's landing, none when its end is not known."""
        return self._span(side, self.contact.fast_rate)

    def _span(self, side: str, rate: float) -> slice:
        events = self.events.sides[side]
        start = round(events.touchdown * rate)
        return slice(start, round(events.landing_end * rate) + 1 if np.isfinite(events.landing_end) else start)

    def touchdown_frame(self, side: str = "") -> int:
        time = self.events.sides[side].touchdown if side else self.events.first_touchdown
        return min(round(time * self.poses.rate), self.recording.frames - 1)

    def impact_force(self, side: str) -> Array:
        """(3, N) [N] force on one foot with the impact cut-off."""
        if side not in self._fast:
            force = self.contact.fast_force[:, SIDES.index(side)]
            self._fast[side] = impact_lowpass(force, self.settings, self.contact.fast_rate)
        return self._fast[side]


Result = float | tuple[float, str]
Sided = Callable[[Landing, str], Result]
Unsided = Callable[[Landing], Result]


def measure_landing(landing: Landing) -> tuple[Measure, ...]:
    """Every quantity of the glossary that this landing can give, one row a side; NaN rows carry the reason."""
    out = []
    for name, unsided in BODY_MEASURES.items():
        out.append(_measure(name, "", unsided(landing)))
    for side in SIDES:
        if side in landing.events.sides:
            reason = _reason(landing, side)
            out += [_measure(name, side, sided(landing, side), reason) for name, sided in SIDE_MEASURES.items()]
            out.append(_first_contact_zone(landing, side))
        else:
            names = (*SIDE_MEASURES, "first_contact_zone")
            out += [Measure(name, side, float("nan"), note="this foot does not land on a plate") for name in names]
    return tuple(out)


def _measure(name: str, side: str, result: Result, reason: str = "") -> Measure:
    value, note = result if isinstance(result, tuple) else (result, "")
    if not np.isfinite(value) and not note:
        note = reason or "not known from this recording"
    return Measure(name, side, float(value), note=note)


def _reason(landing: Landing, side: str) -> str:
    """Why numbers of one side may be unknown: its end, its wrench, its segments."""
    window = landing.window(side)
    until = max(window.stop, window.start + 1)
    lost = [g.reason for g in landing.contact.lost if g.side == side and g.start < until and g.stop > window.start]
    missing = [reason for name, reason in landing.body.lost.items() if name.endswith(f"_{side}")]
    return "; ".join(dict.fromkeys(r for r in [landing.events.sides[side].reason, *lost, *missing] if r))


def _largest(series: Array) -> float:
    """Largest value of a window, NaN when any part of it is unknown: a peak may hide in what was not seen."""
    return float(np.max(series)) if series.size else float("nan")


# Force


def vertical_force_peak(landing: Landing, side: str) -> Result:
    return _largest(landing.impact_force(side)[1, landing.fast_window(side)])


def _force_at(landing: Landing, side: str, time: float) -> float:
    return (
        float(landing.impact_force(side)[1, round(time * landing.contact.fast_rate)])
        if np.isfinite(time)
        else float("nan")
    )


def vertical_force_first_peak(landing: Landing, side: str) -> Result:
    time = landing.events.sides[side].first_peak
    return _force_at(landing, side, time), "" if np.isfinite(time) else "no peak stands out"


def vertical_force_second_peak(landing: Landing, side: str) -> Result:
    return _force_at(landing, side, landing.events.sides[side].second_peak), "" if np.isfinite(
        landing.events.sides[side].second_peak
    ) else "one peak only"


def vertical_loading_rate(landing: Landing, side: str) -> Result:
    events = landing.events.sides[side]
    rise = _force_at(landing, side, events.first_peak) - _force_at(landing, side, events.touchdown)
    duration = events.first_peak - events.touchdown
    return rise / duration if duration > 0 else float("nan")


def time_to_peak(landing: Landing, side: str) -> Result:
    return _time_of_largest(landing.impact_force(side)[1], landing, side)


def _time_of_largest(series: Array, landing: Landing, side: str) -> float:
    window = series[landing.fast_window(side)]
    return (
        float(np.argmax(window) / landing.contact.fast_rate)
        if window.size and np.isfinite(window).all()
        else float("nan")
    )


def vertical_impulse_100ms(landing: Landing, side: str) -> Result:
    start = landing.fast_window(side).start
    rate = landing.contact.fast_rate
    samples = round(IMPULSE_SECONDS * rate) + 1
    window = landing.contact.fast_force[1, SIDES.index(side), start : start + samples]
    if window.size < samples:
        return float("nan"), "the recording ends within 100 ms"
    return float(integral(window, 1.0 / rate))


def _braking(landing: Landing, side: str) -> tuple[Array, str]:
    """(N,) [N] horizontal force against the travel, and which direction was used."""
    pelvis = landing.poses.place(landing.body, "hip_mid")
    frame = max(landing.touchdown_frame() - round(0.02 * landing.poses.rate), 1)
    velocity = derivatives(pelvis, 1.0 / landing.poses.rate)[0][[0, 2], min(frame, pelvis.shape[1] - 2)]
    speed = float(np.hypot(*velocity))
    forward, note = landing.alignment.facing[[0, 2], 0], "against the pelvis' forward direction"
    if speed > TRAVEL_SPEED:
        forward, note = velocity / speed, f"against the travel at {speed:.1f} m/s"
    force = landing.impact_force(side)
    return -(forward[0] * force[0] + forward[1] * force[2]), note


def braking_force_peak(landing: Landing, side: str) -> Result:
    force, note = _braking(landing, side)
    return _largest(force[landing.fast_window(side)]), note


def time_to_braking_peak(landing: Landing, side: str) -> Result:
    return _time_of_largest(_braking(landing, side)[0], landing, side)


def friction_use_peak(landing: Landing, side: str) -> Result:
    force = landing.impact_force(side)[:, landing.fast_window(side)]
    if not force.size or not np.isfinite(force).all():
        return float("nan")
    bearing = force[1] > BEARING_SHARE * landing.weight
    if not bearing.any():
        return float("nan"), "the foot bears less than a fifth of body weight"
    return float(np.max(np.hypot(force[0, bearing], force[2, bearing]) / force[1, bearing]))


# Whole body


def body_weight_plate(landing: Landing) -> Result:
    return landing.weight_on_plates, "" if np.isfinite(
        landing.weight_on_plates
    ) else "the static trial does not stand on the plates"


def body_weight_rider(landing: Landing) -> Result:
    return landing.weight_of_rider


def vertical_force_total_peak(landing: Landing) -> Result:
    """Largest vertical force [N] of all plates together, known even where two feet share a plate."""
    rate, end = landing.contact.fast_rate, landing.events.last_end
    if not np.isfinite(end):
        return float("nan"), _all_reasons(landing)
    total = impact_lowpass(landing.contact.total, landing.settings, rate)
    return _largest(total[round(landing.events.first_touchdown * rate) : round(end * rate) + 1])


def touchdown_speed_of(landing: Landing) -> Result:
    return touchdown_speed(landing.poses, landing.body, landing.events)


def drop_height(landing: Landing) -> Result:
    speed, note = touchdown_speed(landing.poses, landing.body, landing.events)
    return speed * abs(speed) / (2 * G), note


def flight_time(landing: Landing) -> Result:
    return landing.events.flight_end - landing.events.flight_start, "" if np.isfinite(
        landing.events.flight_start
    ) else "the take-off is not on a plate"


def time_to_stabilisation(landing: Landing) -> Result:
    time = landing.events.stabilised - landing.events.first_touchdown
    return time, "" if np.isfinite(time) else "the total force does not settle within the recording"


def pelvis_drop(landing: Landing) -> Result:
    height = landing.poses.place(landing.body, "hip_mid")[1]
    if not np.isfinite(landing.events.lowest_pelvis):
        return float("nan"), "the pelvis is not seen"
    return float(height[landing.touchdown_frame()] - height[round(landing.events.lowest_pelvis * landing.poses.rate)])


def fall_acceleration(landing: Landing) -> Result:
    """Downward acceleration [m/s2] of the whole body's centre in flight, least squares parabola; 9.81 when all is
    well."""
    if landing.events.kind != "landing":
        return float("nan"), "no flight before this contact"
    rate, height, end = landing.poses.rate, landing.centre.position[1], landing.events.flight_end
    begin = end - FALL_SECONDS if not np.isfinite(landing.events.flight_start) else landing.events.flight_start
    begin = max(begin, end - FALL_SECONDS)
    frames = np.arange(max(0, int(np.ceil((begin + 0.03) * rate))), int((end - 0.03) * rate) + 1)
    frames = frames[np.isfinite(height[frames])]
    if frames.size < 6:
        return float(
            "nan"
        ), "the whole body's centre is not known in flight" if landing.centre.share < 1 else "flight too short"
    note = f"without {', '.join(landing.centre.missing)}" if landing.centre.missing else ""
    return float(-2.0 * np.polyfit(frames / rate, height[frames], 2)[0]), note


def residual_force(landing: Landing) -> Result:
    """Root mean square vertical force [N] that mass times acceleration of the whole body leaves unexplained."""
    acceleration = derivatives(landing.centre.position[1], 1.0 / landing.poses.rate)[1]
    leftover = landing.contact.force[1].sum(axis=0) - landing.weight / G * (acceleration + G)
    if landing.settings.smoothing == "after":
        leftover = zero_lag_lowpass(leftover, landing.settings.cutoff, landing.poses.rate)
    window = leftover[_whole_window(landing)]
    if not window.size or not np.isfinite(window).all():
        return float("nan"), "needs trunk markers and both feet on plates throughout the landing"
    return float(np.sqrt(np.mean(window**2)))


# Angles


def _angle_at_touchdown(joint: str, rotation: str) -> Sided:
    return lambda landing, side: float(landing.angles.of(f"{joint}_{side}", rotation)[landing.touchdown_frame(side)])


def _angle_peak(joint: str, rotation: str, sign: float = 1.0) -> Sided:
    return lambda landing, side: _largest(sign * landing.angles.of(f"{joint}_{side}", rotation)[landing.window(side)])


def _series_at_touchdown(name: str) -> Sided:
    return lambda landing, side: float(
        getattr(landing.alignment, name)[SIDES.index(side), landing.touchdown_frame(side)]
    )


def _series_at_peak_knee_flexion(name: str) -> Sided:
    def value(landing: Landing, side: str) -> Result:
        window = landing.window(side)
        flexion = landing.angles.of(f"knee_{side}", "flexion")[window]
        if not flexion.size or not np.isfinite(flexion).all():
            return float("nan")
        return float(getattr(landing.alignment, name)[SIDES.index(side), window][np.argmax(flexion)])

    return value


def pelvis_obliquity_touchdown(landing: Landing, side: str) -> Result:
    right_up = float(landing.alignment.pelvis_obliquity[landing.touchdown_frame(side)])
    return right_up if side == "r" else -right_up


def _body_at_touchdown(name: str) -> Unsided:
    return lambda landing: float(getattr(landing.alignment, name)[landing.touchdown_frame()])


def trunk_flexion_peak(landing: Landing) -> Result:
    return _largest(landing.angles.of("l5s1", "flexion")[_whole_window(landing)])


def _whole_window(landing: Landing) -> slice:
    """Frames from the first touch-down to the last end, none when an end is not known."""
    windows = [landing.window(side) for side in landing.events.sides]
    start = min(w.start for w in windows)
    return slice(start, max(w.stop for w in windows) if np.isfinite(landing.events.last_end) else start)


# Loads


MOMENT_PEAKS = {
    "ankle_dorsiflexion_moment_peak": ("ankle", "dorsiflexion", "external", 1.0),
    "ankle_inversion_moment_peak": ("ankle", "inversion", "internal", 1.0),
    "ankle_eversion_moment_peak": ("ankle", "inversion", "internal", -1.0),
    "knee_flexion_moment_peak": ("knee", "flexion", "external", 1.0),
    "knee_adduction_moment_peak": ("knee", "adduction", "external", 1.0),
    "knee_abduction_moment_peak": ("knee", "adduction", "external", -1.0),
    "hip_flexion_moment_peak": ("hip", "flexion", "external", 1.0),
    "hip_adduction_moment_peak": ("hip", "adduction", "external", 1.0),
}
"""Quantity -> joint, named rotation, whether the load or the body's answer to it is meant, and 1 or -1 for its sign."""


def _moment_peak(joint: str, rotation: str, kind: str, sign: float) -> Sided:
    def value(landing: Landing, side: str) -> Result:
        return _largest(sign * landing.loads.of(f"{joint}_{side}", rotation, kind)[landing.window(side)])

    return value


def _impulse(joint: str, rotation: str, sign: float = 1.0) -> Sided:
    def value(landing: Landing, side: str) -> Result:
        moment = sign * landing.loads.of(f"{joint}_{side}", rotation)[landing.window(side)]
        return float(integral(np.maximum(moment, 0.0), 1.0 / landing.poses.rate))

    return value


def _power(landing: Landing, joint: str, side: str) -> Array:
    return landing.loads.power[landing.loads.joints.index(f"{joint}_{side}"), landing.window(side)]


def _work_negative(joint: str) -> Sided:
    def value(landing: Landing, side: str) -> Result:
        power = _power(landing, joint, side)
        return float(integral(np.minimum(power, 0.0), 1.0 / landing.poses.rate))

    return value


def _power_absorbed_peak(joint: str) -> Sided:
    return lambda landing, side: -_largest(-_power(landing, joint, side))


def _along(landing: Landing, joint: str, segment: str) -> Array:
    """(F,) [N] component of a joint's net force along a segment's long axis."""
    return dot(landing.loads.force[:, landing.loads.joints.index(joint)], landing.poses.of(segment)[0][:, 1])


def knee_compression_peak(landing: Landing, side: str) -> Result:
    return _largest(-_along(landing, f"knee_{side}", f"shank_{side}")[landing.window(side)])


def l5s1_compression_peak(landing: Landing) -> Result:
    return _largest(_along(landing, "l5s1", "pelvis")[_whole_window(landing)]), _both_sides_note(landing)


def l5s1_extension_moment_peak(landing: Landing) -> Result:
    return _largest(-landing.loads.of("l5s1", "flexion", "internal")[_whole_window(landing)]), _both_sides_note(landing)


def l5s1_lateral_bend_moment_peak(landing: Landing) -> Result:
    moment = landing.loads.of("l5s1", "lateral_bend_right", "internal")[_whole_window(landing)]
    known = moment.size > 0 and np.isfinite(moment).all()
    value = float(moment[np.argmax(np.abs(moment))]) if known else float("nan")
    return value, _both_sides_note(landing)


def _both_sides_note(landing: Landing) -> str:
    missing = [
        f"no contact of the {'right' if s == 'r' else 'left'} foot" for s in SIDES if s not in landing.events.sides
    ]
    return "; ".join(dict.fromkeys(r for r in [_all_reasons(landing), *missing] if r))


def _all_reasons(landing: Landing) -> str:
    """Why numbers of the whole body may be unknown: an end, or a wrench lost while either foot lands."""
    events = landing.events
    end = events.last_end if np.isfinite(events.last_end) else events.first_touchdown
    start, stop = (round(t * landing.poses.rate) for t in (events.first_touchdown, end))
    lost = [gone.reason for gone in landing.contact.lost if gone.start <= stop and gone.stop > start]
    return "; ".join(dict.fromkeys(r for r in [*(side.reason for side in events.sides.values()), *lost] if r))


def _first_contact_zone(landing: Landing, side: str) -> Measure:
    angle = float(landing.alignment.sole_angle[SIDES.index(side), landing.touchdown_frame(side)])
    if not np.isfinite(angle):
        return Measure("first_contact_zone", side, float("nan"), note="the foot is not seen at touch-down")
    word = "heel" if angle > HEEL_FIRST else "forefoot" if angle < TOE_FIRST else "midfoot"
    return Measure("first_contact_zone", side, float("nan"), word=word)


BODY_MEASURES: dict[str, Unsided] = {
    "body_weight_plate": body_weight_plate,
    "body_weight_rider": body_weight_rider,
    "vertical_force_total_peak": vertical_force_total_peak,
    "touchdown_speed": touchdown_speed_of,
    "drop_height": drop_height,
    "flight_time": flight_time,
    "time_to_stabilisation": time_to_stabilisation,
    "pelvis_drop": pelvis_drop,
    "fall_acceleration": fall_acceleration,
    "residual_force": residual_force,
    "pelvis_tilt_touchdown": _body_at_touchdown("pelvis_tilt"),
    "trunk_lean_touchdown": _body_at_touchdown("trunk_lean"),
    "trunk_lean_forward_touchdown": _body_at_touchdown("trunk_lean_forward"),
    "trunk_flexion_peak": trunk_flexion_peak,
    "l5s1_extension_moment_peak": l5s1_extension_moment_peak,
    "l5s1_lateral_bend_moment_peak": l5s1_lateral_bend_moment_peak,
    "l5s1_compression_peak": l5s1_compression_peak,
}

SIDE_MEASURES: dict[str, Sided] = {
    "vertical_force_peak": vertical_force_peak,
    "vertical_force_first_peak": vertical_force_first_peak,
    "vertical_force_second_peak": vertical_force_second_peak,
    "vertical_loading_rate": vertical_loading_rate,
    "vertical_impulse_100ms": vertical_impulse_100ms,
    "time_to_peak": time_to_peak,
    "braking_force_peak": braking_force_peak,
    "time_to_braking_peak": time_to_braking_peak,
    "friction_use_peak": friction_use_peak,
    "sole_angle_touchdown": _series_at_touchdown("sole_angle"),
    "ankle_dorsiflexion_touchdown": _angle_at_touchdown("ankle", "dorsiflexion"),
    "ankle_dorsiflexion_peak": _angle_peak("ankle", "dorsiflexion"),
    "rearfoot_eversion_peak": _angle_peak("ankle", "inversion", -1.0),
    "knee_flexion_touchdown": _angle_at_touchdown("knee", "flexion"),
    "knee_flexion_peak": _angle_peak("knee", "flexion"),
    "knee_adduction_touchdown": _angle_at_touchdown("knee", "adduction"),
    "knee_adduction_peak": _angle_peak("knee", "adduction"),
    "knee_internal_rotation_peak": _angle_peak("knee", "internal_rotation"),
    "hip_flexion_touchdown": _angle_at_touchdown("hip", "flexion"),
    "hip_flexion_peak": _angle_peak("hip", "flexion"),
    "hip_adduction_peak": _angle_peak("hip", "adduction"),
    "hip_pelvis_angle_touchdown": _series_at_touchdown("hip_pelvis_angle"),
    "knee_over_ankle": _series_at_peak_knee_flexion("knee_over_ankle"),
    "tibia_inclination_frontal": _series_at_peak_knee_flexion("tibia_inclination_frontal"),
    "pelvis_obliquity_touchdown": pelvis_obliquity_touchdown,
    **{name: _moment_peak(*what) for name, what in MOMENT_PEAKS.items()},
    "knee_adduction_impulse": _impulse("knee", "adduction"),
    "knee_abduction_impulse": _impulse("knee", "adduction", -1.0),
    "knee_flexion_impulse": _impulse("knee", "flexion"),
    "hip_adduction_impulse": _impulse("hip", "adduction"),
    "knee_compression_peak": knee_compression_peak,
    "ankle_power_absorbed_peak": _power_absorbed_peak("ankle"),
    "knee_power_absorbed_peak": _power_absorbed_peak("knee"),
    "hip_power_absorbed_peak": _power_absorbed_peak("hip"),
    "ankle_work_negative": _work_negative("ankle"),
    "knee_work_negative": _work_negative("knee"),
    "hip_work_negative": _work_negative("hip"),
}

"""Every number of a landing under its name: the registry that `measure_landing` runs through.

A function gets the landing and a side and returns the value in SI units, or NaN with the reason. Definitions, signs and
sources of every quantity stand in models/glossary/quantities.csv.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

import numpy as np

from jointload.intake.recording import SIDES
from jointload.landing.landed import Landing, Measure, Result, Sided, Unsided, Value, reason_of_side
from jointload.landing.measures.angle_measures import (
    angle_at_touchdown,
    angle_peak,
    body_at_touchdown,
    first_contact_zone,
    pelvis_obliquity_touchdown,
    series_at_peak_knee_flexion,
    series_at_touchdown,
    trunk_flexion_peak,
)
from jointload.landing.measures.back_measures import (
    l5s1_compression_peak,
    l5s1_extension_impulse,
    l5s1_extension_moment_peak,
    l5s1_lateral_bend_moment_peak,
    l5s1_moment_disagreement,
    lordosis_at,
    lordosis_standing,
)
from jointload.landing.measures.body_measures import (
    body_weight_plate,
    body_weight_rider,
    drop_height,
    fall_acceleration,
    flight_time,
    pelvis_drop,
    time_to_stabilisation,
    touchdown_speed_of,
    unexplained_force,
    vertical_force_total_peak,
)
from jointload.landing.measures.force_measures import (
    braking_force_peak,
    friction_use_peak,
    time_to_braking_peak,
    time_to_peak,
    vertical_force_first_peak,
    vertical_force_peak,
    vertical_force_second_peak,
    vertical_impulse_100ms,
    vertical_loading_rate,
)
from jointload.landing.measures.load_measures import (
    MOMENT_PEAKS,
    impulse,
    knee_compression_peak,
    moment_peak,
    power_absorbed_peak,
    work_negative,
)
from jointload.landing.measures.style_measures import (
    JOINTS,
    back_front,
    leg_impulse,
    leg_work,
    right_left,
    softness,
    trunk_lean_forward_peak,
    work_share,
)
from jointload.landing.measures.tissue_measures import (
    BODY_LOADS,
    MEDIAL_SHARE,
    SIDE_LOADS,
    body_load,
    side_load,
)


def measure_landing(landing: Landing, asked: Collection[str] | None = None) -> tuple[Measure, ...]:
    """Every quantity of the glossary that this landing can give, or those asked for, one row a side; NaN rows carry the
    reason."""
    out = []
    for name in _those(BODY_MEASURES, asked):
        reason = landing.body.lost.get("trunk", "") if name.startswith(OF_THE_TRUNK) else ""
        out.append(_measure(name, "", BODY_MEASURES[name](landing), reason))
    for side in SIDES:
        names, zone = _those(SIDE_MEASURES, asked), _those(("first_contact_zone",), asked)
        if side in landing.events.sides:
            reason = reason_of_side(landing, side)
            out += [_measure(name, side, SIDE_MEASURES[name](landing, side), reason) for name in names]
            out += [first_contact_zone(landing, side) for _ in zone]
        else:
            why = "this foot does not land on a plate"
            out += [Measure(name, side, float("nan"), note=why) for name in (*names, *zone)]
    return tuple(out)


def _those(names: Iterable[str], asked: Collection[str] | None) -> list[str]:
    return [name for name in names if asked is None or name in asked]


def drawn_values(landing: Landing) -> dict[tuple[str, str], Value]:
    """(quantity, side) -> (D,) [SI] of a landing with draws: every quantity of `measure_landing`."""
    out: dict[tuple[str, str], Value] = {
        (name, ""): _value(unsided(landing)) for name, unsided in BODY_MEASURES.items()
    }
    for side in SIDES:
        out["first_contact_zone", side] = float("nan")
        for name, sided in SIDE_MEASURES.items():
            out[name, side] = _value(sided(landing, side)) if side in landing.events.sides else float("nan")
    return out


def _value(result: Result) -> Value:
    return result[0] if isinstance(result, tuple) else result


def _measure(name: str, side: str, result: Result, reason: str = "") -> Measure:
    value, note = result if isinstance(result, tuple) else (result, "")
    if not np.isfinite(value) and not note:
        note = reason or "not known from this recording"
    return Measure(name, side, float(value), note=note)


OF_THE_TRUNK = ("trunk_", "lordosis_")
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
    "unexplained_force": unexplained_force,
    "pelvis_tilt_touchdown": body_at_touchdown("pelvis_tilt"),
    "trunk_lean_touchdown": body_at_touchdown("trunk_lean"),
    "trunk_lean_forward_touchdown": body_at_touchdown("trunk_lean_forward"),
    "trunk_lean_forward_peak": trunk_lean_forward_peak,
    "trunk_flexion_peak": trunk_flexion_peak,
    "lordosis_standing": lordosis_standing,
    "lordosis_touchdown": lordosis_at("touchdown"),
    "lordosis_force_peak": lordosis_at("force_peak"),
    "l5s1_extension_impulse": l5s1_extension_impulse,
    "l5s1_extension_moment_peak": l5s1_extension_moment_peak,
    "l5s1_lateral_bend_moment_peak": l5s1_lateral_bend_moment_peak,
    "l5s1_compression_peak": l5s1_compression_peak,
    "l5s1_moment_disagreement": l5s1_moment_disagreement,
    **{name: body_load(name) for name in BODY_LOADS},
    "force_asymmetry_right_left": right_left(leg_impulse),
    "force_asymmetry_back_front": back_front(leg_impulse),
    "work_asymmetry_right_left": right_left(leg_work),
    "work_asymmetry_back_front": back_front(leg_work),
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
    "sole_angle_touchdown": series_at_touchdown("sole_angle"),
    "ankle_dorsiflexion_touchdown": angle_at_touchdown("ankle", "dorsiflexion"),
    "ankle_dorsiflexion_peak": angle_peak("ankle", "dorsiflexion"),
    "rearfoot_eversion_peak": angle_peak("ankle", "inversion", -1.0),
    "knee_flexion_touchdown": angle_at_touchdown("knee", "flexion"),
    "knee_flexion_peak": angle_peak("knee", "flexion"),
    "knee_adduction_touchdown": angle_at_touchdown("knee", "adduction"),
    "knee_adduction_peak": angle_peak("knee", "adduction"),
    "knee_internal_rotation_peak": angle_peak("knee", "internal_rotation"),
    "hip_flexion_touchdown": angle_at_touchdown("hip", "flexion"),
    "hip_flexion_peak": angle_peak("hip", "flexion"),
    "hip_adduction_peak": angle_peak("hip", "adduction"),
    "hip_pelvis_angle_touchdown": series_at_touchdown("hip_pelvis_angle"),
    "knee_over_ankle": series_at_peak_knee_flexion("knee_over_ankle"),
    "tibia_inclination_frontal": series_at_peak_knee_flexion("tibia_inclination_frontal"),
    "pelvis_obliquity_touchdown": pelvis_obliquity_touchdown,
    **{name: moment_peak(*what) for name, what in MOMENT_PEAKS.items()},
    "knee_adduction_impulse": impulse("knee", "adduction"),
    "knee_abduction_impulse": impulse("knee", "adduction", -1.0),
    "knee_flexion_impulse": impulse("knee", "flexion"),
    "hip_adduction_impulse": impulse("hip", "adduction"),
    "knee_compression_peak": knee_compression_peak,
    "ankle_power_absorbed_peak": power_absorbed_peak("ankle"),
    "knee_power_absorbed_peak": power_absorbed_peak("knee"),
    "hip_power_absorbed_peak": power_absorbed_peak("hip"),
    "ankle_work_negative": work_negative("ankle"),
    "knee_work_negative": work_negative("knee"),
    "hip_work_negative": work_negative("hip"),
    **{f"{joint}_work_share": work_share(joint) for joint in JOINTS},
    "softness": softness,
    **{name: side_load(name) for name in (*SIDE_LOADS, MEDIAL_SHARE)},
}

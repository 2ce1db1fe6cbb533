"""The numbers of a landing whose feet share a plate, with their interval over every split that fits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from jointload.intake.recording import Array, Finding
from jointload.intake.rider import G
from jointload.landing.landed import Landing, Measure
from jointload.landing.measures.every_measure import measure_landing
from jointload.landing.measures.load_measures import MOMENT_PEAKS
from jointload.loads.moments import JointLoads

FOLLOWS_LOADS = (
    *MOMENT_PEAKS, "knee_adduction_impulse", "knee_abduction_impulse", "knee_flexion_impulse", "hip_adduction_impulse",
    "knee_compression_peak", "ankle_power_absorbed_peak", "knee_power_absorbed_peak", "hip_power_absorbed_peak",
    "ankle_work_negative", "knee_work_negative", "hip_work_negative", "vertical_force_peak",
    "vertical_force_first_peak", "vertical_force_second_peak", "vertical_impulse_100ms", "tibiofemoral_force_impulse",
    "tibiofemoral_medial_force_impulse", "tibiofemoral_force_peak", "tibiofemoral_medial_force_peak",
    "patellofemoral_force_impulse", "patellofemoral_force_peak", "patellofemoral_stress_peak",
    "achilles_force_impulse", "achilles_force_peak",
)  # fmt: skip
"""Quantities that rise, or fall, wherever their series does: the ends of the series give the ends of the number."""
FOLLOWS_SHARE = (
    "vertical_loading_rate", "time_to_peak", "braking_force_peak", "time_to_braking_peak", "friction_use_peak",
    "tibiofemoral_lateral_force_peak", "tibiofemoral_medial_share", "ankle_work_share", "knee_work_share",
    "hip_work_share", "force_asymmetry_right_left", "force_asymmetry_back_front", "work_asymmetry_right_left",
    "work_asymmetry_back_front",
)  # fmt: skip
"""Quantities that depend on the split in no such simple way."""
SHARED = "shared plate"
COMPARABLE = 0.21
"""An interval wider than this share of its number cannot tell conditions apart: the largest published effect of a wedge
on the knee adduction moment (Kang 2013 Orthopedics, 0.380 to 0.299 Nm/kg; read in an excerpt)."""


def with_split_interval(measures: tuple[Measure, ...], landing: Landing) -> tuple[Measure, ...]:
    """The measures with low and high over the feasible splits; intervals they already have are widened, never
    narrowed."""
    if landing.split is None:
        return measures
    split = landing.split
    low, high = (
        {(m.quantity, m.side): m.value for m in measure_landing(_at(landing, loads, vertical))}
        for loads, vertical in ((split.low, split.vertical_low), (split.high, split.vertical_high))
    )
    return tuple(_widened(m, low, high) for m in measures)


def _at(landing: Landing, loads: JointLoads, vertical: Array) -> Landing:
    """The landing at one end of the interval, with no force of its own remembered."""
    fast = landing.contact.fast_force.copy()
    fast[1] = vertical
    return replace(landing, loads=loads, contact=replace(landing.contact, fast_force=fast), _filtered=[])


def _widened(measure: Measure, low: dict[tuple[str, str], float], high: dict[tuple[str, str], float]) -> Measure:
    key = (measure.quantity, measure.side)
    if not np.isfinite(measure.value):
        return measure
    if measure.quantity in FOLLOWS_SHARE:
        return replace(measure, note=_joined(measure.note, f"{SHARED}, without interval"))
    if measure.quantity not in FOLLOWS_LOADS:
        return measure
    ends = [measure.value, low[key], high[key]]
    note = _joined(measure.note, SHARED)
    return replace(measure.widened(min(ends), max(ends)), note=note)


def _joined(*notes: str) -> str:
    return "; ".join(note for note in notes if note)


def split_findings(measures: Iterable[Measure], landing: Landing) -> tuple[Finding, ...]:
    """Whether the knee adduction moment is known well enough to compare conditions."""
    if landing.split is None:
        return ()
    out = []
    for measure in measures:
        if measure.quantity != "knee_adduction_moment_peak" or not np.isfinite(measure.low):
            continue
        width, per_kg = measure.high - measure.low, G / landing.weight
        text = f"knee adduction moment peak {per_kg * measure.value:.2f} Nm/kg, "
        text += f"{per_kg * measure.low:.2f} to {per_kg * measure.high:.2f} over every split that fits"
        wide = width > COMPARABLE * abs(measure.value)
        advice = "too wide to compare conditions; land with one foot on one plate to compare" if wide else ""
        where = f"{measure.side} knee"
        out.append(Finding("split_interval", "warn" if wide else "pass", where, text, advice))
    return tuple(out)

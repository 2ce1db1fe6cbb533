"""What other choices than those of a landing's analysis would have given: other settings, and other quiet stretches
where no static trial tells the body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from jointload.intake.recording import Finding, Recording
from jointload.landing.landed import Measure
from jointload.modeldata import load_model
from jointload.settings import Settings, Smoothing

SMOOTHINGS: dict[Smoothing, str] = {
    "balanced": "balanced with the plates",
    "fixed": "fixed cut-off before the dynamics",
    "after": "fixed cut-off after the dynamics",
}
"""Every way to smooth, and its words in the table of choices."""
THRESHOLDS = (10.0, 20.0, 50.0)
"""Contact thresholds [N] whose influence every report shows."""
MAIN_QUANTITIES = (
    "vertical_force_peak", "vertical_loading_rate", "time_to_peak", "braking_force_peak", "touchdown_speed",
    "knee_flexion_peak", "ankle_dorsiflexion_moment_peak", "knee_flexion_moment_peak", "knee_adduction_moment_peak",
    "knee_abduction_moment_peak", "hip_flexion_moment_peak", "l5s1_extension_moment_peak", "knee_work_negative",
)  # fmt: skip
"""The numbers whose dependence on the settings is shown."""


@dataclass(frozen=True, eq=False)
class Variant:
    """MAIN_QUANTITIES under another choice of settings, for the table of what the choice shifts."""

    name: str
    measures: tuple[Measure, ...]


def other_settings(settings: Settings) -> dict[str, Settings]:
    """Other contact thresholds, and other ways to smooth, by their words in the table of choices."""
    thresholds = [t for t in THRESHOLDS if t != settings.contact_threshold]
    others = {f"contact threshold {t:g} N": replace(settings, contact_threshold=t) for t in thresholds}
    for smoothing, name in SMOOTHINGS.items():
        if smoothing != settings.smoothing:
            cutoff = Settings().cutoff if smoothing == "balanced" else settings.cutoff
            others[name] = replace(settings, smoothing=smoothing, cutoff=cutoff)
    return others


def over_stretches(
    measures: tuple[Measure, ...],
    trial: Recording,
    chosen: slice,
    others: Sequence[Mapping[tuple[str, str], float]],
) -> tuple[tuple[Measure, ...], tuple[Finding, ...]]:
    """The angles widened to what other quiet stretches of the trial would have given, and which was chosen.

    others : (quantity, side) -> value [SI], of every other stretch
    """
    where = f"{trial.name}, frames {trial.numbers.span(chosen.start, chosen.stop)}"
    text = f"the body is fitted to these {chosen.stop - chosen.start} frames, the quietest of the landing itself"
    if not others:
        text += "; no other stretch is quiet enough to compare"
        return measures, (Finding("quiet_frames", "pass", where, text, "a standing trial is safer"),)
    widened = tuple(_widened(m, [other.get((m.quantity, m.side), float("nan")) for other in others]) for m in measures)
    turned = max((w.high - w.low for w, m in zip(widened, measures, strict=True) if w is not m), default=0.0)
    text += f"; {len(others)} other quiet stretches give angles that differ by up to {np.rad2deg(turned):.1f} deg"
    advice = "the intervals of the angles carry the choice; a standing trial is safer"
    return widened, (Finding("quiet_frames", "pass", where, text, advice),)


def _widened(measure: Measure, others: list[float]) -> Measure:
    """A measure that is an angle, with an interval that holds the values of other choices."""
    values = [value for value in (measure.value, *others) if np.isfinite(value)]
    if measure.quantity not in _angles() or not np.isfinite(measure.value) or max(values) - min(values) < 1e-12:
        return measure
    return measure.widened(min(values), max(values))


@lru_cache(maxsize=1)
def _angles() -> frozenset[str]:
    """Quantities that are angles, by the glossary."""
    return frozenset(row["name"] for row in load_model("glossary", "quantities").content if row["unit"] == "deg")

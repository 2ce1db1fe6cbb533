"""What is known of a rider beside one landing: from the recording's own certainty, and from further landings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.asked import Given
from jointload.insole.change import Least
from jointload.insole.personal import Known, calibrate, measured
from jointload.landing.certainty import LIKELY

LEAST_REPEATS = 3
"""Landings on the flat insole from which on their scatter is told (choice)."""

Measured = tuple[Given | None, Analysis]
"""A further landing of the same rider, and the shape it was made on; None for the flat insole."""


def known_of(analysis: Analysis, side: str = "", landings: Sequence[Measured] = (), seed: int = 1) -> Known:
    """Smallest changes that the recording can show, where its intervals are known, and with further landings under the
    foot `side` a calibration to this rider and the smallest changes that its own scatter lets be seen.

    SettingError when there are landings on fewer than two shapes beside the flat insole.
    """
    recording = recording_least(analysis)
    if not landings:
        return Known(recording_least=recording)
    trials = measured([(shape, other.landing) for shape, other in landings], side, analysis.landing)
    flat = [analysis, *(other for shape, other in landings if shape is None)]
    return Known(calibrate(analysis.landing, trials, seed), recording, rider_least(flat))


def recording_least(analysis: Analysis) -> Least:
    """(quantity, side) -> smallest change [SI] that a second recording could show; empty without intervals."""
    certainty = analysis.certainty
    return {} if certainty is None else {key: certainty.detectable_change(key) for key in certainty.samples}


def rider_least(landings: Sequence[Analysis]) -> Least:
    """(quantity, side) -> minimal detectable change [SI] of one landing, 1.96 sqrt(2) SD of landings in one condition;
    empty for fewer than three."""
    if len(landings) < LEAST_REPEATS:
        return {}
    values: dict[tuple[str, str], list[float]] = {}
    for analysis in landings:
        for measure in analysis.measures:
            values.setdefault((measure.quantity, measure.side), []).append(measure.value)
    return {
        key: float(LIKELY * np.sqrt(2.0) * np.std(numbers, ddof=1))
        for key, numbers in values.items()
        if len(numbers) == len(landings) and np.isfinite(numbers).all()
    }

"""What is known of a rider beside one landing: from the recording's own certainty, and from further landings."""

from __future__ import annotations

from collections.abc import Sequence

from jointload.analysis import Analysis
from jointload.insole.calibration.personal import Known, calibrate, measured
from jointload.insole.limb.change import Least
from jointload.insole.shape.asked import Given
from jointload.uncertainty.repeats import FEWEST_REPEATS, minimal_detectable_change, own_variation, repeated_values

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
    """(quantity, side) -> minimal detectable change [SI] of one landing by the scatter of landings in one condition; of
    those that every landing gives, and empty for fewer than three landings."""
    if len(landings) < FEWEST_REPEATS:
        return {}
    return {
        key: minimal_detectable_change(own_variation(values).sd)
        for key, values in repeated_values(landings).items()
        if values.size == len(landings)
    }

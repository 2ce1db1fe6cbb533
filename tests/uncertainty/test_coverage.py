"""Do the intervals hold the truth: a few landings here, more in tests/benchmarks/coverage.py."""

from __future__ import annotations

import numpy as np
import pytest
from few import few_draws
from landed import USUAL, landed

from jointload.analysis import analyse, descend, fit_body, weigh
from jointload.landing.certainty import drawn_interval
from jointload.landing.measures.every_measure import measure_landing
from jointload.settings import Settings
from jointload.synthetic.disturbed import disturbed
from jointload.synthetic.landing import SyntheticLanding
from jointload.uncertainty.draws import Streams
from jointload.uncertainty.pour import pour
from jointload.uncertainty.spreads import load_sources

NAMED = (
    "touchdown_speed", "knee_flexion_touchdown", "knee_flexion_peak", "ankle_dorsiflexion_peak",
    "rearfoot_eversion_peak", "hip_flexion_peak", "ankle_dorsiflexion_moment_peak", "knee_flexion_moment_peak",
    "knee_adduction_moment_peak", "hip_flexion_moment_peak", "l5s1_extension_moment_peak", "knee_work_negative",
)  # fmt: skip
LANDINGS, DRAWS = 8, 25
HELD = 0.88
"""95 % less three standard errors of 168 numbers, of which those of one landing hang together (a third count)."""


@pytest.fixture(scope="module")
def landing() -> SyntheticLanding:
    return landed(USUAL)


def held(landing: SyntheticLanding, size: float) -> float:
    """Share of intervals that hold the truth through the usual filter; size : of the true spreads, 1 as drawn."""
    inside = []
    for seed in range(LANDINGS):
        made = disturbed(landing, seed, size)
        analysis = analyse(made.session, made.settings, variants=False)
        with few_draws():
            samples = pour(made.session, analysis.landing, load_sources(), Streams.of(made.session, 0), DRAWS).samples
        rider, weight, _ = weigh(made.exact)
        body = fit_body(made.exact, rider, Settings(), made.truth).drawn(0)
        truth = {
            (m.quantity, m.side): m.value for m in measure_landing(descend(made.exact, body, weight, Settings())[0])
        }
        for measure in analysis.measures:
            if measure.quantity in NAMED:
                key = (measure.quantity, measure.side)
                low, high = drawn_interval(measure.value, samples[key])
                inside.append(low <= truth[key] <= high)
    return float(np.mean(inside))


def test_intervals_hold_the_truth_as_often_as_they_say(landing: SyntheticLanding) -> None:
    assert held(landing, 1.0) > HELD


def test_with_errors_twice_as_large_they_do_not(landing: SyntheticLanding) -> None:
    """1.96 standard deviations are then 0.98: two of three landings."""
    assert held(landing, 2.0) < 0.78


def test_without_errors_the_recording_is_exact(landing: SyntheticLanding) -> None:
    made = disturbed(landing, 3, 0.0)
    np.testing.assert_allclose(made.session.trial.markers, made.exact.trial.markers, atol=1e-12)
    np.testing.assert_allclose(made.session.trial.plates[0].moment, made.exact.trial.plates[0].moment, atol=1e-9)
    assert made.settings == Settings()

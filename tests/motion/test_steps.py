"""Walking and running that other laboratories recorded: steps keep a fixed cut-off, and agree with the usual 15 Hz."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from recorded import published_session

from jointload import analysis
from jointload.analysis import analyse, follow_body
from jointload.landing.events import may_follow_flights, may_have_fallen
from jointload.settings import Settings
from jointload.uncertainty.intervals import with_intervals

TRIALS = ("walk_1", "walk_2", "walk_3", "run")
DRAWS = 60
MOST = ("moment_peak", "work_negative", "work_positive", "flexion_peak")


@pytest.mark.parametrize("name", TRIALS)
def test_a_step_changes_by_less_than_its_interval_against_15_hz(shared_c3d: Path, name: str) -> None:
    """15 Hz for markers and plates is common practice in walking and running."""
    session = published_session(shared_c3d, name)
    usual = analyse(session, Settings(), variants=False)
    assert usual.settings.smoothing == "fixed"
    assert [finding.check for finding in usual.findings].count("smoothing") == 1
    other = analyse(session, Settings(smoothing="fixed", cutoff=15.0), variants=False)
    values = {(m.quantity, m.side): m.value for m in other.measures}
    judged = [
        measure
        for measure in with_intervals(usual, DRAWS, shares=False).measures
        if measure.quantity.endswith(MOST) and np.isfinite([measure.value, measure.low]).all()
    ]
    assert len(judged) > 20
    for measure in judged:
        assert measure.low <= values[measure.quantity, measure.side] <= measure.high, (measure.quantity, measure.side)


def test_only_what_is_loaded_after_a_while_in_the_air_may_be_a_landing() -> None:
    rate, force = 1000.0, np.full(1000, 700.0)
    force[300:400] = 0.0
    assert not may_follow_flights(force, rate, 20.0), "0.1 s without load"
    force[300:500] = 0.0
    assert may_follow_flights(force, rate, 20.0) == [0.5]
    force[300:] = 0.0
    assert not may_follow_flights(force, rate, 20.0), "nothing comes down again"


def test_only_a_body_that_fell_may_land() -> None:
    """A fall of 9.81 m/s2 with one foot that swings up, a walk on the level, and markers that were not seen."""
    rate = 250.0
    time = np.arange(100) / rate
    markers = np.zeros((3, 7, time.size)) + 1.0
    assert not may_have_fallen(markers, rate, 0.3)
    markers[1] -= 0.5 * 9.81 * time**2
    markers[1, 0] += 20.0 * time**2
    assert may_have_fallen(markers, rate, 0.3)
    assert may_have_fallen(np.full_like(markers, np.nan), rate, 0.3), "nobody knows"
    assert may_have_fallen(markers[..., :20], rate, 0.05), "seen too late"


def test_a_walk_onto_plates_is_followed_once(shared_c3d: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []
    monkeypatch.setattr(analysis, "follow_body", lambda *given: calls.append(given[3]) or follow_body(*given))
    assert analyse(published_session(shared_c3d, "walk_1"), variants=False).settings.smoothing == "fixed"
    assert [settings.smoothing for settings in calls] == ["fixed"]

"""A recording without any plate: angles as with plates, no forces, and it is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from jointload.analysis import Analysis, analyse
from jointload.intake.session import Session
from jointload.landing.measures.load_measures import MOMENT_PEAKS
from jointload.settings import Settings

FRAMES_OFF = 3
"""Touch-down by the foot's fall is this near to that by force: the filter of the markers spreads the stop."""


@pytest.fixture(scope="module")
def pair(clean_session: Session) -> tuple[Analysis, Analysis]:
    bare = replace(clean_session, trial=replace(clean_session.trial, plates=()))
    fixed = Settings(smoothing="fixed")
    return analyse(clean_session, fixed, variants=False), analyse(bare, variants=False)


def value(analysis: Analysis, quantity: str, side: str) -> float:
    return next(m.value for m in analysis.measures if (m.quantity, m.side) == (quantity, side))


def test_angles_are_those_with_plates(pair: tuple[Analysis, Analysis]) -> None:
    whole, bare = pair
    off = np.abs(bare.landing.angles.angle - whole.landing.angles.angle)
    assert np.nanmedian(off) < np.deg2rad(0.1)
    for side in ("right", "left"):
        for name in ("knee_flexion_peak", "ankle_dorsiflexion_peak", "hip_flexion_peak"):
            assert value(bare, name, side) == pytest.approx(value(whole, name, side), abs=np.deg2rad(0.5)), name


def test_a_foot_touches_down_where_it_stops_falling(pair: tuple[Analysis, Analysis]) -> None:
    whole, bare = pair
    for side in ("right", "left"):
        off = bare.landing.events.sides[side].touchdown - whole.landing.events.sides[side].touchdown
        assert abs(off) * whole.landing.poses.rate <= FRAMES_OFF


def test_there_are_no_forces_and_it_is_said(pair: tuple[Analysis, Analysis]) -> None:
    _, bare = pair
    said = {finding.check: finding for finding in bare.findings}
    assert said["no_forces"].severity == "warn"
    assert "no plate gives a force: angles alone" in said["no_forces"].evidence
    for measure in bare.measures:
        if measure.quantity.startswith("l5s1"):
            continue  # from trunk, head and arms down, which needs no plate
        if measure.quantity in MOMENT_PEAKS or "force" in measure.quantity:
            assert not np.isfinite(measure.value), measure.quantity
            assert measure.note or measure.word, measure.quantity

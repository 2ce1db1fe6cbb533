"""Intervals of numbers and of changes: complete, reproducible, narrow where errors are shared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from jointload.analysis import Analysis, analyse
from jointload.errors import SettingError
from jointload.landing.certainty import change_between, drawn_interval
from jointload.settings import Settings
from jointload.uncertainty.draws import Streams
from jointload.uncertainty.intervals import changes, detectable_changes, total_draws, with_intervals
from jointload.uncertainty.pour import pour
from jointload.uncertainty.spreads import SOURCES, load_sources

DRAWS = 60


@pytest.fixture(scope="module")
def certain(flat: Analysis) -> Analysis:
    return with_intervals(flat, DRAWS)


@pytest.fixture(scope="module")
def certain_again(again: Analysis) -> Analysis:
    return with_intervals(again, DRAWS, shares=False)


def test_a_tissue_load_bears_its_own_doubt_and_that_of_what_was_measured_once_each(
    flat: Analysis, certain: Analysis
) -> None:
    """Arms alone, and the drawn inputs alone, owe each other nothing: the reaches add up as the sides of a right
    angle."""
    own = {(m.quantity, m.side): m for m in flat.measures}
    names = ("tibiofemoral_force_impulse", "achilles_force_peak", "l5s1_disc_force_impulse")
    loads = [measure for measure in certain.measures if measure.quantity in names]
    assert len(loads) == 5, "both sides of two, and the back"
    for measure in loads:
        key = (measure.quantity, measure.side)
        low, high = certain.certainty.interval(key)
        up = np.hypot(own[key].high - measure.value, high - measure.value)
        down = np.hypot(measure.value - own[key].low, measure.value - low)
        assert measure.high == pytest.approx(measure.value + up)
        assert measure.low == pytest.approx(max(measure.value - down, 0.0))


def test_every_number_has_an_interval_around_it(certain: Analysis) -> None:
    for measure in certain.measures:
        if measure.word or not np.isfinite(measure.value):
            assert not np.isfinite(measure.low) and not np.isfinite(measure.high)
        else:
            assert measure.low <= measure.value <= measure.high, measure
    assert sum(np.isfinite(measure.value) for measure in certain.measures) > 100


def test_without_draws_nothing_changes(flat: Analysis) -> None:
    assert with_intervals(flat, 0) is flat
    with pytest.raises(SettingError, match="draws: expected 0, or 2 and more, found 1"):
        with_intervals(flat, 1)


def test_draws_are_poured_the_same_to_the_bit_on_one_thread_and_two(flat: Analysis) -> None:
    streams = Streams.of(flat.session, 0)
    sources = load_sources()
    once, twice = (pour(flat.session, flat.landing, sources, streams, 20, threads=threads) for threads in (1, 2))
    for key, samples in once.samples.items():
        assert np.array_equal(samples, twice.samples[key], equal_nan=True)
    assert np.array_equal(once.moment, twice.moment, equal_nan=True)
    assert np.array_equal(once.angle, twice.angle, equal_nan=True)


def test_every_draw_is_told(flat: Analysis) -> None:
    told: list[int] = []
    with_intervals(flat, 20, inputs=("plate_force", "inertia"), told=told.append)
    assert sum(told) == total_draws(20, ("plate_force", "inertia"))


def test_shares_add_up_and_name_the_right_input(certain: Analysis) -> None:
    drawn = certain.certainty
    assert drawn is not None
    for key in (("knee_flexion_peak", "right"), ("hip_flexion_moment_peak", "left")):
        assert sum(drawn.shares(key).values()) == pytest.approx(1.0)
    weight = drawn.shares(("body_weight_plate", ""))
    assert weight["plate_force"] == pytest.approx(1.0)
    assert drawn.shares(("pelvis_tilt_touchdown", ""))["placement"] > 0.7
    sums = [drawn.summed(key) for key in drawn.samples if np.isfinite(drawn.summed(key))]
    assert 0.8 < np.median(sums) < 1.25


def test_an_input_that_is_exact_makes_no_width(flat: Analysis, certain: Analysis) -> None:
    sources = load_sources(name for name in SOURCES if name != "placement")
    samples = pour(flat.session, flat.landing, sources, Streams.of(flat.session, 0), DRAWS).samples
    key = ("pelvis_tilt_touchdown", "")
    assert certain.certainty is not None
    assert np.std(samples[key]) < 0.5 * np.std(certain.certainty.samples[key])


def test_a_change_is_far_more_certain_than_a_level(certain: Analysis, certain_again: Analysis) -> None:
    """What both recordings share drops out: this is the point of drawing them together."""
    found = {(c.quantity, c.side): c for c in changes(certain, certain_again)}
    for name, most in (
        ("knee_adduction_touchdown", 0.5),
        ("hip_flexion_touchdown", 0.4),
        ("pelvis_tilt_touchdown", 0.3),
    ):
        for measure in certain.measures:
            if measure.quantity == name:
                change = found[name, measure.side]
                assert change.high - change.low < most * (measure.high - measure.low), name


def test_one_recording_twice_is_not_distinguishable(certain: Analysis, certain_again: Analysis) -> None:
    found = changes(certain, certain_again)
    assert len(found) > 80
    assert not [c for c in found if c.distinguishable]
    assert all(c.change == 0.0 for c in found if np.isfinite(c.change))


def test_the_smallest_change_is_that_of_two_recordings(certain: Analysis, certain_again: Analysis) -> None:
    """1.96 times the deviation of the drawn changes between two recordings, from the inputs' own variances."""
    smallest = detectable_changes(certain)
    drawn, other = certain.certainty, certain_again.certainty
    assert drawn is not None and other is not None
    keys = [
        (q, s)
        for q in ("knee_flexion_touchdown", "ankle_dorsiflexion_moment_peak", "hip_work_negative")
        for s in ("right", "left")
    ]
    ratio = [smallest[key] / (1.96 * np.std(other.samples[key] - drawn.samples[key], ddof=1)) for key in keys]
    assert 0.75 < np.mean(ratio) < 1.25


@pytest.mark.parametrize(("factor", "seen"), [(2.0, True), (-2.0, True), (0.5, False)])
def test_a_change_beyond_the_smallest_is_seen(
    certain: Analysis, certain_again: Analysis, factor: float, seen: bool
) -> None:
    key = ("knee_flexion_touchdown", "right")
    shift = factor * detectable_changes(certain)[key]
    drawn, other = certain.certainty, certain_again.certainty
    assert drawn is not None and other is not None
    moved = replace(
        other,
        values={**other.values, key: other.values[key] + shift},
        samples={**other.samples, key: other.samples[key] + shift},
    )
    assert change_between(key, drawn, moved).distinguishable is seen


def test_changes_want_one_rider_drawn_alike(flat: Analysis, certain: Analysis, certain_again: Analysis) -> None:
    with pytest.raises(SettingError, match="expected an analysis with intervals, found one without in rider_a"):
        changes(flat, certain)
    stranger = replace(certain.session, rider=replace(certain.session.rider, id="U2"))
    with pytest.raises(SettingError, match="expected two landings of one rider, found rider_a and U2"):
        changes(certain, replace(certain, session=stranger))
    fewer = replace(certain, certainty=replace(certain.certainty, draws=20))
    with pytest.raises(SettingError, match="expected two landings drawn alike, found 60 draws"):
        changes(certain_again, fewer)


def test_a_change_between_two_ways_to_smooth_is_refused(flat: Analysis) -> None:
    balanced, fixed = (
        with_intervals(analyse(flat.session, Settings(smoothing=way), variants=False), 2, inputs=("plate_force",))
        for way in ("balanced", "fixed")
    )
    with pytest.raises(SettingError, match="one --smoothing for both"):
        changes(balanced, fixed)


def test_the_interval_is_what_the_draws_are_away_from_the_value() -> None:
    """Their standard deviation, 4 / sqrt(12), and their shift, 1, as one root of squares."""
    samples = 11.0 + np.linspace(-2.0, 2.0, 401)
    low, high = drawn_interval(10.0, samples)
    half = 1.96 * np.hypot(4.0 / np.sqrt(12.0), 1.0)
    assert low == pytest.approx(10.0 - half, rel=0.01) and high == pytest.approx(10.0 + half, rel=0.01)


def test_a_time_is_no_better_known_than_a_sample(certain: Analysis) -> None:
    """Evenly spread over one sample of 1000 Hz: 1.96 / sqrt(12) of it to either side, 0.57 ms."""
    measure = next(m for m in certain.measures if m.quantity == "time_to_peak" and m.side == "left")
    assert measure.high - measure.value > 0.0005
    assert detectable_changes(certain)["time_to_peak", "left"] > 0.0005 * np.sqrt(2.0)


def test_an_interval_stays_on_its_side_of_zero_and_needs_draws() -> None:
    assert drawn_interval(0.5, np.linspace(0.0, 4.0, 100))[0] == 0.0
    assert drawn_interval(-0.5, -np.linspace(0.0, 4.0, 100))[1] == 0.0
    known = np.linspace(0.0, 1.0, 100)
    assert np.isnan(drawn_interval(0.5, np.where(known < 0.2, np.nan, known))[0])
    assert np.isnan(drawn_interval(np.nan, known)[0])


def test_a_gap_filled_from_other_markers_widens_the_interval(flat: Analysis) -> None:
    """A marker of the right shank is hidden over the deepest knee; by the cameras' doubt alone the peak is less
    certain."""
    session, events = flat.session, flat.landing.events.sides["right"]
    cluster = flat.landing.body.clusters["right_shank"]
    assert len(cluster.labels) >= 4
    rate, trial = session.trial.point_rate, session.trial
    markers = trial.markers.copy()
    deepest = round(events.landing_end * rate)
    markers[:, trial.labels.index(cluster.labels[0]), deepest - round(0.1 * rate) : deepest + round(0.1 * rate)] = (
        np.nan
    )
    hidden = analyse(replace(session, trial=replace(trial, markers=markers)), variants=False)
    widths = []
    for analysis in (flat, hidden):
        (measure,) = [
            m
            for m in with_intervals(analysis, DRAWS, inputs=("camera",), shares=False).measures
            if (m.quantity, m.side) == ("knee_flexion_peak", "right")
        ]
        widths.append(measure.high - measure.low)
    assert widths[1] > 1.5 * widths[0]

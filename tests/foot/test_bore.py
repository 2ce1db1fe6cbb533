"""Heel, ball and toes of invented landings: every number has an interval or a reason, and holds against its truth."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from recorded import published_session, sample_session

from jointload.analysis import Analysis, analyse
from jointload.foot.bore import BALL, FOOT_QUANTITIES, HEEL, TOES, with_feet
from jointload.foot.felt import BOUND, MEASURED, MODELLED, FootBore
from jointload.foot.heel import dropped_heel, heel_bore, loading_time
from jointload.foot.heel_pad import heel_of
from jointload.foot.spreads import drawn
from jointload.foot.underfoot import underfoot
from jointload.intake.recording import SIDES
from jointload.intake.session import read_session
from jointload.intake.shoe import Given, Shoe
from jointload.landing.landed import Measure
from jointload.modeldata import shipped_folder
from jointload.numerics.signals import over_time
from jointload.report.words.quantities import quantity

SAMPLE = shipped_folder("sample_c3d")
DRAWS = 100


@pytest.fixture(scope="module")
def plain() -> Analysis:
    return analyse(sample_session(), variants=False)


@pytest.fixture(scope="module")
def felt() -> Analysis:
    session = read_session(
        SAMPLE / "rider_a_board.c3d", SAMPLE / "rider_a_static.c3d", labels=SAMPLE / "labels.toml",
        rider=SAMPLE / "rider_a.toml", board=SAMPLE / "board.toml", pressure_right=SAMPLE / "rider_a_board_right.csv",
        pressure_left=SAMPLE / "rider_a_board_left.csv", pressure_layout=SAMPLE / "pressure_layout.csv",
    )  # fmt: skip
    return analyse(session, variants=False)


def numbers(analysis: Analysis) -> dict[tuple[str, str], Measure]:
    return {(m.quantity, m.side): m for m in analysis.measures if m.quantity in FOOT_QUANTITIES}


def with_shoe(analysis: Analysis, shoe: Shoe) -> Analysis:
    return with_feet(replace(analysis, session=replace(analysis.session, shoe=shoe)), DRAWS)


def test_every_number_is_explained_and_has_an_interval_or_a_reason(plain: Analysis, felt: Analysis) -> None:
    for analysis in (with_feet(plain, DRAWS), with_feet(felt, DRAWS)):
        found = numbers(analysis)
        assert set(found) == {(name, side) for name in FOOT_QUANTITIES for side in SIDES}
        for measure in found.values():
            assert quantity(measure.quantity).definition
            inside = measure.low <= measure.value <= measure.high
            assert inside or measure.note, measure


def test_where_the_force_is_from_is_said(plain: Analysis, felt: Analysis) -> None:
    for analysis, basis in ((plain, MODELLED), (felt, MEASURED)):
        feet = with_feet(analysis, DRAWS).feet
        assert [foot.side for foot in feet] == list(SIDES) and {foot.basis for foot in feet} == {basis}
        assert all(basis in foot.notes["heel_pressure_peak"] for foot in feet)


def test_asking_twice_changes_nothing(plain: Analysis) -> None:
    once = with_feet(plain, DRAWS)
    assert [repr(m) for m in with_feet(once, DRAWS).measures] == [repr(m) for m in once.measures]


def test_the_heel_bears_no_more_than_its_foot(plain: Analysis) -> None:
    below = underfoot(plain.landing, "right", DRAWS, 1)
    assert below is not None
    assert (below.heel <= below.vertical + 1e-9).all() and (below.heel >= 0).all()
    first, others, ball = (below.ball[part] for part in ("first_metatarsal", "other_metatarsals", "ball"))
    assert first.impulse + others.impulse == pytest.approx(ball.impulse)
    assert (ball.peak_force <= 1.001 * (first.peak_force + others.peak_force)).all()
    assert (ball.peak_pressure == np.maximum(first.peak_pressure, others.peak_pressure)).all()
    before = over_time(below.vertical - below.heel, below.time)
    assert (ball.impulse <= 1.02 * before).all(), "the ball bears of what the heel leaves"
    assert np.corrcoef(ball.impulse / below.vertical.max(axis=1), before / below.vertical.max(axis=1))[0, 1] > 0.1


def test_a_thicker_softer_sole_relieves_the_heel(plain: Analysis) -> None:
    hard, soft = (
        numbers(with_shoe(plain, Shoe(sole=Given(t, t, t), sole_modulus=Given(e, e, e))))["heel_pressure_peak", "right"]
        for t, e in ((0.004, 6e6), (0.025, 1.2e6))
    )
    assert soft.value < 0.9 * hard.value


def test_a_bare_foot_has_no_sole_and_no_toe_box(plain: Analysis) -> None:
    bare, shod = numbers(with_shoe(plain, Shoe(barefoot=True))), numbers(with_feet(plain, DRAWS))
    assert bare["heel_pressure_peak", "left"].value > shod["heel_pressure_peak", "left"].value
    for name in TOES:
        if name != "toe_bend_peak":
            assert np.isnan(bare[name, "left"].value) and "barefoot" in bare[name, "left"].note


def test_grip_and_lacing_hold_the_toes_back(plain: Analysis) -> None:
    loose, icy = Given(0.0, 4.0, 8.0), Given(0.05, 0.08, 0.10)
    grip = numbers(with_shoe(plain, Shoe(friction=Given(1.1, 1.17, 1.2), lacing=loose)))
    slip = numbers(with_shoe(plain, Shoe(friction=icy, lacing=loose)))
    tied = numbers(with_shoe(plain, Shoe(friction=icy, lacing=Given(40.0, 44.0, 48.0))))
    for side in SIDES:
        push, slide, needed = (("toe_push_force_peak", side), ("toe_slide", side), ("friction_needed", side))
        assert grip[push].value == 0.0 and grip[slide].value == 0.0
        assert slip[push].value > 50.0 and slip[slide].value == 1.0
        assert slip[needed].value == grip[needed].value > tied[needed].value
        assert slip[push].value - tied[push].value == pytest.approx(40.0, abs=6.0)


WALKS = ("walk_1", "walk_2", "walk_3")


@pytest.mark.parametrize("name", WALKS)
def test_walkers_of_published_recordings_do_not_slide_and_bear_less_than_barefoot(shared_c3d: Path, name: str) -> None:
    """25 % of body weight along with 110 % down at heel strike, 0.23, in walking; Naemi 2016, doi 10.5772/64170. The
    slipperiest of five socks held 0.31; Sensors 2022 22:5525. Heel about 1.1 body weights at most (the same review)."""
    analysis = with_feet(analyse(published_session(shared_c3d, name), variants=False), DRAWS)
    found = numbers(analysis)
    for side in SIDES:
        assert 0.10 < found["friction_needed", side].value < 0.31 and found["toe_slide", side].value < 0.1
        assert 0.6 < found["heel_force_peak", side].value / analysis.landing.weight < 1.2
        assert found["heel_pressure_of_walking", side].high < 1.0


def test_an_unknown_force_leaves_a_bound(plain: Analysis) -> None:
    contact = plain.landing.contact
    force = contact.fast_force.copy()
    force[:, 0] = np.nan
    lost = replace(plain.landing, contact=replace(contact, fast_force=force), _filtered=[])
    right, left = with_feet(replace(plain, landing=lost), DRAWS).feet
    assert right.basis == BOUND and left.basis == MODELLED
    assert right.bounds["heel_force_peak"] == pytest.approx(contact.total.max(), rel=0.05)
    for name in (*HEEL, *BALL):
        assert name not in right.samples and right.notes[name]
    assert "at most" in right.notes["heel_force_peak"]


def test_the_map_bears_the_whole_force(felt: Analysis, plain: Analysis) -> None:
    for analysis in (plain, felt):
        for foot in with_feet(analysis, DRAWS).feet:
            assert foot.map is not None
            borne = np.nansum(foot.map.pressure * foot.map.area)
            largest = analysis.landing.impact_force(foot.side)[1, analysis.landing.fast_window(foot.side)].max()
            assert borne == pytest.approx(largest, rel=0.12), foot.side


def test_the_loading_time_is_from_first_load_to_the_largest() -> None:
    time = np.arange(200) / 1000.0
    ramp = np.interp(time, [0.050, 0.080, 0.150], [0.0, 1000.0, 0.0])[None]
    assert loading_time(ramp, time) == pytest.approx(0.080 - 0.051, abs=0.0015)


def test_the_drop_test_of_the_same_pads_is_the_published_one() -> None:
    """Between free mass and leg the pad itself goes down less than the 11.3 mm of the mass (Int J Sports Med 1993
    14:312)."""
    dropped = dropped_heel(heel_of(drawn("heel_pad", DRAWS, 2), 0.012), DRAWS, 2)
    assert 0.006 < np.median(dropped.compression) < 0.0113
    assert 450.0 < np.median(dropped.force) < 750.0


def test_a_longer_landing_of_the_same_force_meets_a_softer_pad(plain: Analysis) -> None:
    time = np.arange(400) / 1000.0
    rider = plain.landing.body.rider
    quick, slow = (
        heel_bore(np.tile(1500.0 * np.interp(time, [0.0, t, 0.399], [0.0, 1.0, 0.0]), (DRAWS, 1)), time, rider, None,
                  DRAWS, 1)
        for t in (0.010, 0.200)
    )  # fmt: skip
    assert (slow.landing.compression > quick.landing.compression).all()


def test_an_interval_without_draws_is_a_bound_or_nothing() -> None:
    foot = FootBore("right", BOUND, {}, {}, {"heel_force_peak": 900.0}, np.zeros(0), np.zeros((3, 0)))
    assert np.isnan(foot.middle("heel_force_peak")) and foot.interval("heel_force_peak")[1] == 900.0
    assert np.isnan(foot.interval("toe_slide")).all()

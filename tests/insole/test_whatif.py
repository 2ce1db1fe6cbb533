"""The first insole answer: laws it must obey, and the published magnitudes it is made of."""

from __future__ import annotations

import numpy as np
import pytest

from jointload.analysis import Analysis, analyse
from jointload.errors import SettingError
from jointload.insole.geometry import Wedge, parse_wedge
from jointload.insole.response import FootResponse, draw_response
from jointload.insole.whatif import WhatIf, pour_again, what_if
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.settings import Settings
from jointload.synthetic.landing import simulate_landing
from jointload.synthetic.measurement import as_recording
from jointload.synthetic.specification import LandingSpec
from jointload.synthetic.standing import label_map, static_recording

RIDER = Rider("S1", 70.0, 1.76, "m")


@pytest.fixture(scope="module")
def session() -> Session:
    trial = as_recording(simulate_landing(LandingSpec(RIDER, settling=0.4)))
    return Session(trial, static_recording(RIDER), label_map(), RIDER)


@pytest.fixture(scope="module")
def analysis(session: Session) -> Analysis:
    return analyse(session, variants=False)


def change(answer: WhatIf, quantity: str) -> float:
    (row,) = [row for row in answer.rows if row.quantity == quantity]
    return row.change


@pytest.mark.parametrize("text", ["medial:0", "lateral:0"])
def test_no_wedge_changes_nothing_at_all(analysis: Analysis, text: str) -> None:
    answer = what_if(analysis, parse_wedge(text, "r"), draws=50)
    for row in answer.rows:
        assert (row.change, row.low, row.high) == (0.0, 0.0, 0.0), row.quantity
        assert not row.distinguishable


def test_before_is_what_the_analysis_reports(analysis: Analysis) -> None:
    reported = {m.quantity: m.value for m in analysis.measures if m.side == "r"}
    for row in what_if(analysis, parse_wedge("medial:4", "r"), draws=50).rows:
        assert row.before == pytest.approx(reported[row.quantity], rel=1e-9, abs=1e-9), row.quantity


def test_what_medial_raises_lateral_lowers(analysis: Analysis) -> None:
    medial = what_if(analysis, parse_wedge("medial:4", "r", "full"), draws=200)
    lateral = what_if(analysis, parse_wedge("lateral:4", "r", "full"), draws=200)
    assert change(medial, "knee_adduction_moment_peak") > 0 > change(lateral, "knee_adduction_moment_peak")
    assert change(medial, "rearfoot_eversion_peak") < 0 < change(lateral, "rearfoot_eversion_peak")
    assert change(lateral, "knee_internal_rotation_peak") > 0, "eversion turns the tibia inward"


def test_a_bigger_wedge_does_more(analysis: Analysis) -> None:
    changes = [
        change(what_if(analysis, parse_wedge(f"lateral:{angle}", "r", "full"), draws=200), "knee_adduction_impulse")
        for angle in (2, 4, 8)
    ]
    assert 0 > changes[0] > changes[1] > changes[2]


def test_the_same_seed_gives_the_same_person(analysis: Analysis) -> None:
    first, second = (what_if(analysis, parse_wedge("medial:4", "r"), draws=60, seed=5) for _ in range(2))
    assert first.rows == second.rows
    assert what_if(analysis, parse_wedge("medial:4", "r"), draws=60, seed=6).rows != first.rows


def test_the_other_leg_is_left_alone(analysis: Analysis) -> None:
    wedge = FootResponse(np.array([0.0, 0.05]), np.array([0.0, 0.004]), np.array([0.0, -0.03]), ())
    _, loads = pour_again(analysis.landing, "r", wedge)
    for joint in ("ankle_l", "knee_l", "hip_l"):
        flat, wedged = loads.components[:, loads.joints.index(joint)].swapaxes(0, 1)
        np.testing.assert_array_equal(flat, wedged)


def test_the_scalar_lever_law(analysis: Analysis) -> None:
    """dM = F x d: shifting the centre of pressure alone changes the joint moments by its lever arm times the force, to
    1 %.

    At 1.05 body weights, 10.3 N/kg, one millimetre is 0.0103 Nm/kg (arithmetic on Hinman et al. 2012 Clin Biomech
    27:27-33).
    """
    landing, window = analysis.landing, analysis.landing.window("r")
    shift = 0.003
    _, loads = pour_again(landing, "r", FootResponse(np.zeros(2), np.array([0.0, shift]), np.zeros(2), ()))
    flat, shifted = loads.moment[:, loads.joints.index("knee_r")].swapaxes(0, 1)
    force = landing.contact.force[:, 0, window]
    across = landing.poses.of("foot_r")[0][:, 2, window] * np.array([1.0, 0.0, 1.0])[:, None]
    lever_law = shift * np.linalg.norm(np.cross((across / np.linalg.norm(across, axis=0)).T, force.T), axis=1)
    loaded = force[1] > 0.5 * landing.weight
    assert loaded.sum() > 10
    np.testing.assert_allclose(np.linalg.norm(shifted - flat, axis=0)[loaded], lever_law[loaded], rtol=0.01)


def test_rearfoot_roll_lies_in_the_published_ratios() -> None:
    """Telfer et al. (2013) J Biomech 46:1489: 0.13 to 0.16 deg per deg walking; Sinclair (2017) FAOJ 10(4):1: 0.32 to
    0.35 running."""
    wedge = parse_wedge("medial:5", "r")
    for task, low, high in (("walking", 0.13, 0.16), ("running", 0.30, 0.36)):
        roll = draw_response(wedge, task, 4000, 1).roll
        assert low < np.median(roll) / wedge.angle < high
    landing = draw_response(wedge, "landing", 4000, 1).roll / wedge.angle
    wider = 1.3
    """Twice the spread before the cut-off at 0.6, which takes part of it."""
    assert np.std(landing) > wider * np.std(draw_response(wedge, "running", 4000, 1).roll / wedge.angle)
    assert landing.min() >= 0.05
    assert landing.max() <= 0.6


def test_a_full_length_wedge_shifts_the_pressure_as_published() -> None:
    """Hinman et al. (2012): -5.8 % of the knee adduction moment at 5 deg, about 2.8 mm of net lever arm."""
    shift = draw_response(parse_wedge("lateral:5", "r", "full"), "walking", 4000, 1).shift
    assert np.median(shift) == pytest.approx(-0.003, abs=0.0005)


def test_a_heel_wedge_does_not_promise_a_direction() -> None:
    """Published heel wedges moved the centre of pressure either way, so the draws hold both signs."""
    shift = draw_response(parse_wedge("medial:4", "r"), "landing", 1000, 1).shift
    assert 0.1 < np.mean(shift < 0) < 0.5


def test_tibial_coupling_is_the_published_one() -> None:
    """Fischer (2018): 0.68, SD 0.15, of the rearfoot's eversion, 8 cadavers."""
    response = draw_response(parse_wedge("lateral:6", "r"), "running", 4000, 1)
    assert np.median(response.tibial_rotation / -response.roll) == pytest.approx(0.68, abs=0.02)


@pytest.mark.parametrize(
    ("text", "side", "words"),
    [
        ("medial:40", "r", "0 to 10 degrees"),
        ("medial:-2", "r", "0 to 10 degrees"),
        ("medial:four", "r", "0 to 10 degrees"),
        ("inward:4", "r", "medial:DEGREES"),
        ("medial:4", "right", "side r or l"),
    ],
)
def test_impossible_wedges_are_refused_in_one_line(text: str, side: str, words: str) -> None:
    with pytest.raises(SettingError, match=words) as caught:
        parse_wedge(text, side)
    assert "\n" not in str(caught.value)


def test_a_side_without_moments_is_refused_with_the_way_out(session: Session) -> None:
    one_plate = Session(_without_left_plate(session), session.static, session.labels, session.rider)
    analysis = analyse(one_plate, variants=False)
    with pytest.raises(SettingError, match="see quality"):
        what_if(analysis, parse_wedge("medial:4", "l"), draws=50)


def _without_left_plate(session: Session):
    from dataclasses import replace

    return replace(session.trial, plates=session.trial.plates[:1])


def test_smoothing_after_the_dynamics_keeps_the_answer(session: Session, analysis: Analysis) -> None:
    after = analyse(session, Settings(smoothing="after"), variants=False)
    wedge = Wedge(np.deg2rad(5.0), "r", "full")
    one, other = (change(what_if(a, wedge, draws=100), "knee_adduction_moment_peak") for a in (analysis, after))
    assert other == pytest.approx(one, rel=0.3)

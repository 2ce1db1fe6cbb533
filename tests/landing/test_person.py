"""A standing trial of somebody else: several signs are one finding, said first, and moments are refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from recorded import published_session

from jointload.analysis import Analysis, analyse
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.landing.checks.person import signs_of_another
from jointload.landing.measures.load_measures import MOMENT_PEAKS
from jointload.synthetic.standing import TYPICAL, static_recording
from jointload.together import compare_trials


def stranger(session: Session) -> Session:
    """The same landing with the standing trial of a heavier, taller person, whose markers sit elsewhere."""
    other = Rider("S9", 1.3 * session.rider.mass, session.rider.height + 0.10, "m", stance="right")
    static = static_recording(other, TYPICAL, 17)
    shifted = static.markers + np.random.default_rng(3).normal(0, 0.012, (3, len(static.labels), 1))
    return replace(session, static=replace(static, markers=shifted))


@pytest.fixture(scope="module")
def analysis(clean_session: Session) -> Analysis:
    return analyse(stranger(clean_session), variants=False)


def moments(analysis: Analysis) -> list[float]:
    return [m.value for m in analysis.measures if m.quantity in MOMENT_PEAKS]


def test_somebody_elses_standing_trial_is_said_first_and_gives_no_moments(analysis: Analysis) -> None:
    first = analysis.findings[0]
    assert (first.check, first.severity) == ("same_person", "refuse")
    assert first.evidence.startswith("this standing trial looks like somebody else's: the markers of ")
    assert "the weight on its plates is +30 % off" in first.evidence
    assert "--same-person" in first.advice
    assert not np.isfinite(moments(analysis)).any()


def test_who_insists_gets_moments_and_a_warning(clean_session: Session) -> None:
    analysis = analyse(replace(stranger(clean_session), same_person=True), variants=False)
    assert (analysis.findings[0].check, analysis.findings[0].severity) == ("same_person", "warn")
    assert np.isfinite(moments(analysis)).all()


def test_one_sign_alone_is_no_other_person() -> None:
    one, three = {"right_shank": 0.016}, {"right_shank": 0.016, "right_thigh": 0.018, "pelvis": 0.015}
    assert not signs_of_another({"right_shank": 0.004}, 900.0, 700.0), "a wrong mass in rider.toml"
    assert not signs_of_another(one, 700.0, 700.0), "a cluster that slipped"
    assert signs_of_another(one, 900.0, 700.0)
    assert signs_of_another(three, float("nan"), 700.0), "no plates under the standing trial"


def test_check_holds_a_standing_trial_against_a_landing(clean_session: Session) -> None:
    """The same signs as the analysis, and for the right person none."""
    right, other = clean_session, stranger(clean_session)
    found = compare_trials(right.static, right.trial, right.labels)
    assert {finding.severity for finding in found} == {"pass"}
    assert {"axes", "rates", "labels", "cluster_shape"} <= {finding.check for finding in found}
    assert compare_trials(other.static, other.trial, other.labels)[0].check == "same_person"


def test_check_tells_exchanged_labels_and_bent_clusters_of_two_recordings(clean_session: Session) -> None:
    trial = clean_session.trial
    markers = trial.markers.copy()
    first, second = (trial.labels.index(label) for label in ("R_foot_medial", "R_foot_lateral"))
    markers[:, [first, second]] = markers[:, [second, first]]
    markers[:, trial.labels.index("L_shank_3")] += 0.02
    moved = replace(trial, markers=markers)
    found = compare_trials(clean_session.static, moved, clean_session.labels)
    told = {finding.check: finding for finding in found if finding.severity != "pass"}
    assert set(told) == {"labels_exchanged", "cluster_shape"}
    assert "L_shank_3 is " in told["cluster_shape"].evidence


def test_check_tells_another_up_axis(clean_session: Session) -> None:
    static, trial = clean_session.static, clean_session.trial
    lying = replace(trial, lab_from_file=np.roll(static.lab_from_file, 1, axis=1))
    found = compare_trials(static, lying, clean_session.labels)
    assert [f.severity for f in found if f.check == "axes"] == ["warn"]


def test_published_standing_trials_are_of_the_people_who_move(shared_c3d: Path) -> None:
    for name in ("run", "walk_1", "walk_2", "walk_3"):
        session = published_session(shared_c3d, name)
        found = compare_trials(session.static, session.trial, session.labels)
        assert not [f for f in found if f.check == "same_person"], name

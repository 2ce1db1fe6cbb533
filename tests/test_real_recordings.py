"""Published recordings through the whole staircase: both sides' moments where one foot is on one plate, inside
published ranges."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from recorded import PUBLISHED, published_session

from jointload.analysis import Analysis, analyse

MOMENTS = (
    "ankle_dorsiflexion_moment_peak",
    "knee_flexion_moment_peak",
    "knee_adduction_moment_peak",
    "hip_adduction_moment_peak",
)


@pytest.fixture(scope="module")
def analyses(shared_c3d: Path) -> dict[str, Analysis]:
    return {name: analyse(published_session(shared_c3d, name), variants=False) for name in PUBLISHED}


def value(analysis: Analysis, quantity: str, side: str = "") -> float:
    (measure,) = [m for m in analysis.measures if m.quantity == quantity and m.side == side]
    return measure.value


def per_kg(analysis: Analysis, quantity: str, side: str) -> float:
    return value(analysis, quantity, side) / analysis.landing.body.rider.mass


@pytest.mark.parametrize("name", PUBLISHED)
@pytest.mark.parametrize("side", ["right", "left"])
def test_both_sides_have_moments(analyses: dict[str, Analysis], name: str, side: str) -> None:
    assert all(np.isfinite(per_kg(analyses[name], quantity, side)) for quantity in MOMENTS)


@pytest.mark.parametrize("name", ["walk_1", "walk_2", "walk_3"])
@pytest.mark.parametrize("side", ["right", "left"])
def test_walking_values_lie_in_published_ranges(analyses: dict[str, Analysis], name: str, side: str) -> None:
    """Winter (2009) Table A.5: ankle 90 Nm at 56.7 kg (1.58 Nm/kg), vertical force 1.10 BW; knee adduction of healthy
    people 0.3 to 0.6
    Nm/kg (Kang et al. 2013 Orthopedics: 0.38). Bands are wide because mass and height of this rider are guesses."""
    analysis = analyses[name]
    assert 0.9 < value(analysis, "vertical_force_peak", side) / analysis.landing.weight < 1.5
    assert 0.9 < per_kg(analysis, "ankle_dorsiflexion_moment_peak", side) < 2.0
    assert 0.2 < per_kg(analysis, "knee_adduction_moment_peak", side) < 0.9
    assert 0.5 < per_kg(analysis, "hip_adduction_moment_peak", side) < 1.5
    assert 20 < np.rad2deg(value(analysis, "knee_flexion_peak", side)) < 60, "late stance may end beyond the plate"


@pytest.mark.parametrize("side", ["right", "left"])
def test_running_values_lie_in_published_ranges(analyses: dict[str, Analysis], side: str) -> None:
    """Keller et al. (1996) Clin Biomech 11:253-259: up to 2.5 BW in running; moments of running near 2 to 3 Nm/kg are
    common practice."""
    analysis = analyses["run"]
    assert 2.0 < value(analysis, "vertical_force_peak", side) / analysis.landing.weight < 3.0
    assert 1.8 < per_kg(analysis, "ankle_dorsiflexion_moment_peak", side) < 3.5
    assert 1.5 < per_kg(analysis, "knee_flexion_moment_peak", side) < 3.5
    assert 0.3 < per_kg(analysis, "knee_adduction_moment_peak", side) < 1.6
    assert analysis.landing.events.kind == "step"


def test_the_jump_is_a_landing_with_plausible_height(analyses: dict[str, Analysis]) -> None:
    """Flight time gives the height by g t^2 / 8; the pelvis' speed at touch-down gives it by v^2 / 2g. They differ by
    posture only."""
    jump = analyses["jump"]
    assert jump.landing.events.kind == "landing"
    from_time = 9.80665 * value(jump, "flight_time") ** 2 / 8
    assert value(jump, "drop_height") == pytest.approx(from_time, rel=0.15)


def test_the_body_of_the_jump_falls_freely(analyses: dict[str, Analysis]) -> None:
    assert value(analyses["jump"], "fall_acceleration") == pytest.approx(9.80665, rel=0.05)


def test_the_jump_takes_its_calibration_from_its_own_flat_feet(analyses: dict[str, Analysis]) -> None:
    checks = {finding.check for finding in analyses["jump"].findings}
    assert "no_quiet_stance" in checks
    assert not analyses["jump"].landing.body.lost


def test_without_a_static_trial_the_choice_of_quiet_frames_is_told_and_carried(analyses: dict[str, Analysis]) -> None:
    """Before any draw the angles, and no other numbers, have intervals that hold what other quiet frames give."""
    jump = analyses["jump"]
    (said,) = [finding for finding in jump.findings if finding.check == "quiet_frames"]
    assert said.where.startswith("vertical_jump_two_plates.c3d, frames ")
    assert "other quiet stretches give angles that differ by up to" in said.evidence
    angles = [m for m in jump.measures if m.quantity == "knee_flexion_peak"]
    assert angles and all(m.low < m.high and m.low <= m.value <= m.high for m in angles)
    assert not [f for f in analyses["walk_1"].findings if f.check == "quiet_frames"]


def test_without_a_static_trial_none_is_spoken_of(analyses: dict[str, Analysis]) -> None:
    jump = analyses["jump"]
    said = [f"{f.evidence} {f.advice}" for f in jump.findings if f.severity != "pass"]
    said += [measure.note for measure in jump.measures]
    assert any("since the frames the body was fitted to" in text for text in said)
    assert not [text for text in said if "the static trial" in text]


def test_a_flight_of_a_tenth_of_a_second_is_not_called_none(analyses: dict[str, Analysis]) -> None:
    (measure,) = [m for m in analyses["run"].measures if m.quantity == "flight_time"]
    assert measure.note.endswith("s without load before this contact: a flight is taken from 0.15 s on")


def test_joint_work_of_the_jump_is_absorbed(analyses: dict[str, Analysis]) -> None:
    """Zhang, Bates & Dufek (2000) Med Sci Sports Exerc 32:812: hip 0.9 to 2.2, ankle 0.5 to 0.9 J/kg over three
    heights (abstract)."""
    jump = analyses["jump"]
    assert -3.0 < per_kg(jump, "knee_work_negative", "left") < -0.3
    assert -3.0 < per_kg(jump, "hip_work_negative", "left") < -0.3
    assert -1.2 < per_kg(jump, "ankle_work_negative", "left") < -0.1


def test_unknown_feet_are_named_and_lower_back_is_not_guessed(analyses: dict[str, Analysis]) -> None:
    walk = analyses["walk_1"]
    assert np.isnan(value(walk, "l5s1_extension_moment_peak"))
    (measure,) = [m for m in walk.measures if m.quantity == "l5s1_extension_moment_peak"]
    assert "beside the plates" in measure.note
    assert any("stands on the floor beside the plates" in f.evidence for f in walk.findings)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("jump", ("cut to 4 characters", "taken from EVENT:CONTEXTS", "600 Hz")),
        ("run", ("CAL_MATRIX",)),
        ("walk_1", ("say V", "no X_SCREEN", "% of the frames missing")),
    ],
)
def test_the_oddities_of_the_files_are_named(analyses: dict[str, Analysis], name: str, words: tuple[str, ...]) -> None:
    said = "\n".join(f"{f.check} {f.where} {f.evidence} {f.advice}" for f in analyses[name].findings)
    for word in words:
        assert word in said


@pytest.mark.parametrize("name", ["run", "walk_1", "walk_2", "walk_3"])
def test_steps_are_smoothed_at_a_fixed_cutoff_and_it_is_said(analyses: dict[str, Analysis], name: str) -> None:
    """Splines that follow a step's force doubled hip moments of walking, outside their own intervals."""
    assert analyses[name].settings.smoothing == "fixed"
    (told,) = [finding for finding in analyses[name].findings if finding.check == "smoothing"]
    assert told.evidence.startswith("a step") and "20 Hz is used" in told.advice
    assert analyses["jump"].settings.smoothing == "balanced"

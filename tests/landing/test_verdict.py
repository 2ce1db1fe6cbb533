"""Each fault that the verdict tells, seeded into one synthetic landing: it is found, and nothing else is said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from recorded import published_session, sample_session

from jointload.analysis import Analysis, analyse
from jointload.errors import SettingError
from jointload.intake.labels import LabelMap
from jointload.intake.recording import Finding, Plate, Recording
from jointload.intake.session import Session
from jointload.landing.checks.force_checks import force_lag
from jointload.landing.checks.verdict import judge
from jointload.landing.measures.load_measures import MOMENT_PEAKS
from jointload.numerics.rotations import about_axis, from_axes, rotate, rotate_back
from jointload.numerics.signals import runs
from jointload.settings import Settings

RIGHT_MOMENT = "knee_flexion_moment_peak"

SAME_NOISE = 2e-3
"""Share by which moments may differ when frames outside the landing are spoilt: the markers' noise is one number."""


@pytest.fixture(scope="module")
def clean(clean_session: Session) -> Analysis:
    return analyse(clean_session, variants=False)


def doubts(analysis: Analysis) -> dict[str, str]:
    """Check to severity of everything that is not a pass."""
    return {f.check: f.severity for f in analysis.findings if f.severity != "pass"}


def told(analysis: Analysis, check: str) -> Finding:
    return next(finding for finding in analysis.findings if finding.check == check)


def analysed(session: Session, settings: Settings | None = None, **changes: object) -> Analysis:
    return analyse(replace(session, **changes), settings, variants=False)  # type: ignore[arg-type]


def moments_of(analysis: Analysis, side: str) -> list[float]:
    return [m.value for m in analysis.measures if m.quantity in MOMENT_PEAKS and m.side == side]


def has_moments(analysis: Analysis, side: str) -> bool:
    values = np.isfinite(moments_of(analysis, side))
    assert values.size == len(MOMENT_PEAKS)
    assert values.all() or not values.any()
    return bool(values.all())


# Seeding ------------------------------------------------------------------------------------------------------------


def moved(recording: Recording, label: str, by: np.ndarray, frames: slice = slice(None)) -> Recording:
    """One marker moved by (3,) or (3, F) [m] in some frames."""
    markers = recording.markers.copy()
    row = markers[:, recording.labels.index(label), frames]
    row += by[:, None] if by.ndim == 1 else by
    return replace(recording, markers=markers)


def exchanged(recording: Recording, first: str, second: str, frames: slice = slice(None)) -> Recording:
    markers = recording.markers.copy()
    where = [recording.labels.index(first), recording.labels.index(second)]
    markers[:, where, frames] = markers[:, where[::-1], frames]
    return replace(recording, markers=markers)


def with_plates(recording: Recording, change: Callable[[Plate], Plate], *numbers: int) -> Recording:
    plates = tuple(change(plate) if plate.number in numbers else plate for plate in recording.plates)
    return replace(recording, plates=plates)


def scaled(factor: float | np.ndarray) -> Callable[[Plate], Plate]:
    return lambda plate: replace(plate, force=factor * plate.force, moment=factor * plate.moment)


def delayed(seconds: float) -> Callable[[Plate], Plate]:
    shift = round(1000 * seconds)

    def change(plate: Plate) -> Plate:
        still = [np.concatenate((np.tile(x[:, :1], shift), x[:, :-shift]), axis=1) for x in (plate.force, plate.moment)]
        return replace(plate, force=still[0], moment=still[1])

    return change


def misplaced(by: tuple[float, float, float]) -> Callable[[Plate], Plate]:
    """A plate whose corners were measured wrong by (3,) [m]: its force acts there, too."""
    way = np.array(by)
    return lambda plate: replace(
        plate,
        corners=plate.corners + way[:, None],
        moment=plate.moment + np.cross(way[:, None], plate.force, axis=0),
    )


def with_labels(session: Session, exchange: dict[str, str]) -> LabelMap:
    """The session's labels with the landmarks of `exchange` named for each other, in both directions."""
    landmarks = dict(session.labels.landmarks)
    for one, other in exchange.items():
        landmarks[one], landmarks[other] = landmarks[other], landmarks[one]
    return replace(session.labels, landmarks=landmarks)


def carried_by(analysis: Analysis, segment: str, way: np.ndarray) -> np.ndarray:
    """A way (3,) [m] in a segment's axes as (3, F) in the lab."""
    return rotate(analysis.landing.poses.of(segment)[0], way[:, None])


# Nothing to find ----------------------------------------------------------------------------------------------------


def test_a_clean_landing_has_no_doubts(clean: Analysis) -> None:
    assert doubts(clean) == {}
    assert has_moments(clean, "right")
    assert has_moments(clean, "left")


@pytest.mark.parametrize("rider", ["rider_a", "rider_b", "rider_c"])
@pytest.mark.parametrize("condition", ["flat", "wedge"])
def test_the_sample_study_has_no_doubts(rider: str, condition: str) -> None:
    assert doubts(analyse(sample_session(rider, condition), variants=False)) == {}


def test_every_check_gives_its_evidence(clean: Analysis) -> None:
    findings = judge(clean.landing).findings
    assert len({finding.check for finding in findings}) > 10
    for finding in findings:
        assert finding.evidence, finding.check
        assert finding.where, finding.check


# Labels and the static trial ----------------------------------------------------------------------------------------


def test_right_and_left_exchanged_throughout(clean_session: Session) -> None:
    """The impossible angles are what such a body gives."""
    names = clean_session.labels.landmarks
    labels = with_labels(clean_session, {n: n.replace("right", "left") for n in names if n.startswith("right")})
    clusters = {
        name.replace("right", "left") if "right" in name else name.replace("left", "right"): of
        for name, of in labels.clusters.items()
    }
    analysis = analysed(clean_session, labels=replace(labels, clusters=clusters))
    found = doubts(analysis)
    assert found.pop("landmark_sides") == "refuse"
    assert set(found) <= {"impossible_angle", "near_gimbal_lock", "static_posture", "joint_apart"}
    assert "right and left: all landmarks" in told(analysis, "landmark_sides").evidence
    assert not any(np.isfinite(moments_of(analysis, "right") + moments_of(analysis, "left")))


@pytest.mark.parametrize(
    ("exchange", "words", "stopped"),
    [
        ({"right_femur_epicondyle_lateral": "right_femur_epicondyle_medial"}, "femur epicondyle medial and", "right"),
        ({"left_malleolus_lateral": "left_malleolus_medial"}, "malleolus medial and malleolus lateral, left", "left"),
        ({"right_femur_epicondyle_lateral": "left_femur_epicondyle_lateral"}, "femur epicondyle lateral", "right left"),
        ({"right_asis": "right_psis", "left_asis": "left_psis"}, "front and rear of the pelvis", "right left"),
    ],
)
def test_landmarks_exchanged_in_the_static_trial(
    clean_session: Session, exchange: dict[str, str], words: str, stopped: str
) -> None:
    analysis = analysed(clean_session, labels=with_labels(clean_session, exchange))
    finding = told(analysis, "landmark_sides")
    assert finding.severity == "refuse"
    assert words in finding.evidence
    refused = {f.check for f in analysis.findings if f.severity == "refuse"}
    assert refused - {"impossible_angle"} == {"landmark_sides"}, "frames the wrong way round make such angles, too"
    for side in ("right", "left"):
        assert has_moments(analysis, side) == (side not in stopped)


def test_a_static_trial_on_bent_knees(clean: Analysis, clean_session: Session) -> None:
    static = bent(clean, clean_session.static, np.deg2rad(40.0))
    analysis = analysed(clean_session, static=static)
    assert doubts(analysis) == {"static_posture": "warn"}
    assert "knee bent by 4" in told(analysis, "static_posture").evidence
    assert has_moments(analysis, "right")


def bent(clean: Analysis, static: Recording, angle: float) -> Recording:
    """The static trial with the thighs leaned back about the knees and the upper body carried along."""
    body, markers = clean.landing.body, static.markers.copy()
    turn = np.array([[np.cos(angle), -np.sin(angle), 0.0], [np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]])
    drop = np.zeros(3)
    for side in ("right", "left"):
        knee, hip = (body.standing_points[f"{side}_{joint}_centre"] for joint in ("knee", "hip"))
        drop = turn @ (hip - knee) - (hip - knee)
        for label in body.clusters[f"{side}_thigh"].labels:
            row = static.labels.index(label)
            markers[:, row] = turn @ (markers[:, row] - knee[:, None]) + knee[:, None]
    legs = [row for row, label in enumerate(static.labels) if markers[1, row].mean() < 0.55 or "thigh" in label]
    upper = np.setdiff1d(np.arange(len(static.labels)), legs)
    markers[:, upper] += drop[:, None, None]
    return replace(static, markers=markers)


# Markers ------------------------------------------------------------------------------------------------------------


def test_markers_that_change_places_for_a_while(clean: Analysis, clean_session: Session) -> None:
    start = clean.landing.touchdown_frame() + 10
    trial = exchanged(clean_session.trial, "R_heel", "R_heel_lateral", slice(start, start + 20))
    analysis = analysed(clean_session, trial=trial)
    assert doubts(analysis) == {"markers exchanged": "refuse"}
    assert f"frames {start + 1}-{start + 20}" in told(analysis, "markers exchanged").evidence
    assert not has_moments(analysis, "right")
    assert has_moments(analysis, "left")
    (note,) = {m.note for m in analysis.measures if m.quantity == RIGHT_MOMENT and m.side == "right"}
    assert "R_heel and R_heel_lateral are exchanged" in note


def test_an_exchange_outside_the_landing_leaves_its_moments(clean: Analysis, clean_session: Session) -> None:
    trial = exchanged(clean_session.trial, "R_heel", "R_heel_lateral", slice(10, 20))
    analysis = analysed(clean_session, trial=trial)
    assert doubts(analysis) == {"markers exchanged": "refuse"}
    np.testing.assert_allclose(moments_of(analysis, "left"), moments_of(clean, "left"), rtol=SAME_NOISE)
    assert has_moments(analysis, "right")


def test_a_marker_that_jumps(clean_session: Session) -> None:
    trial = moved(clean_session.trial, "L_shank_2", np.array([0.03, 0.03, 0.0]), slice(30, 32))
    analysis = analysed(clean_session, trial=trial)
    assert doubts(analysis) == {"marker jumps": "warn"}
    evidence = told(analysis, "marker jumps").evidence
    assert evidence.startswith("2 jumps off the path")
    assert "L_shank_2 in frame 31" in evidence or "L_shank_2 in frame 33" in evidence


def test_labels_exchanged_in_the_whole_trial_are_exchanged_back(clean_session: Session) -> None:
    trial = exchanged(clean_session.trial, "R_foot_medial", "R_foot_lateral")
    analysis = analysed(clean_session, trial=trial)
    assert doubts(analysis) == {"labels_exchanged": "warn"}
    assert has_moments(analysis, "right")


@pytest.mark.parametrize(
    ("segment", "label", "way"),
    [
        ("right_thigh", "R_thigh_2", (0.0, 0.020, 0.0)),
        ("left_shank", "L_shank_3", (0.014, 0.0, 0.014)),
        ("left_foot", "L_toe", (0.0, 0.020, 0.0)),
        ("pelvis", "R_spine_front", (0.0, -0.014, 0.014)),
    ],
)
def test_a_marker_that_slipped_after_the_static_trial(
    clean: Analysis, clean_session: Session, segment: str, label: str, way: tuple[float, float, float]
) -> None:
    trial = moved(clean_session.trial, label, carried_by(clean, segment, np.array(way)))
    analysis = analysed(clean_session, trial=trial)
    assert doubts(analysis) == {"cluster_shape": "warn"}
    finding = told(analysis, "cluster_shape")
    assert segment in finding.where
    assert finding.evidence.startswith(f"{label} is ")
    assert int(finding.evidence.split()[2]) == pytest.approx(20, abs=5), "skin motion adds to the 20 mm"
    kept = len(clean.landing.body.clusters[segment].labels) > 3
    assert (label not in analysis.landing.body.clusters[segment].labels) == kept
    assert ("leaves it out" in finding.advice) == kept


def test_a_slipped_marker_that_is_left_out_does_little_harm(clean: Analysis, clean_session: Session) -> None:
    """30 mm at one of four markers of the shank turn the ankle by 13 degrees about its length; what is left is the
    skin's motion of three markers in place of four."""
    trial = moved(clean_session.trial, "R_shank_2", carried_by(clean, "right_shank", np.array([0.030, 0.0, 0.0])))
    analysis = analysed(clean_session, trial=trial)
    window = clean.landing.window("right")
    for joint in ("right_ankle", "right_knee"):
        pair = [a.landing.angles.angle[:, a.landing.angles.joints.index(joint), window] for a in (clean, analysis)]
        off = np.abs(np.rad2deg(pair[1] - pair[0])).max(axis=1)
        assert off[0] < 1.5 and off.max() < 3.5, joint


def test_one_of_three_markers_that_slipped(clean: Analysis, clean_session: Session) -> None:
    """With three markers there are only distances to tell by."""
    labels = replace(
        clean_session.labels,
        clusters=clean_session.labels.clusters | {"right_foot": ("R_heel", "R_foot_medial", "R_foot_lateral")},
    )
    way = carried_by(clean, "right_foot", np.array([0.020, 0.0, 0.0]))
    analysis = analysed(clean_session, labels=labels, trial=moved(clean_session.trial, "R_heel", way))
    assert doubts(analysis) == {"cluster_shape": "warn"}
    assert told(analysis, "cluster_shape").evidence.startswith("R_heel is ")


@pytest.mark.parametrize(("way", "severity"), [(0.065, "warn"), (0.130, "refuse")])
def test_a_cluster_that_moved_as_a_whole(clean: Analysis, clean_session: Session, way: float, severity: str) -> None:
    trial = clean_session.trial
    for label in clean_session.labels.clusters["right_shank"]:
        trial = moved(trial, label, carried_by(clean, "right_shank", np.array([0.0, way, 0.0])))
    analysis = analysed(clean_session, trial=trial)
    assert doubts(analysis) == {"joint_apart": severity}
    assert {f.where for f in analysis.findings if f.check == "joint_apart"} == {"right_ankle", "right_knee"}
    assert has_moments(analysis, "right") == (severity == "warn")
    assert has_moments(analysis, "left")


def test_a_marker_that_is_computed(clean_session: Session) -> None:
    trial = clean_session.trial
    heel, inner, outer = (trial.marker(f"R_{name}") for name in ("heel", "foot_medial", "foot_lateral"))
    frame = np.stack(
        [from_axes(inner[:, k] - heel[:, k], outer[:, k] - heel[:, k], "x", "z") for k in range(trial.frames)], 2
    )
    local = rotate_back(frame, trial.marker("R_toe") - heel).mean(axis=1)
    computed = heel + rotate(frame, local[:, None])
    analysis = analysed(clean_session, trial=moved(trial, "R_toe", computed - trial.marker("R_toe")))
    assert doubts(analysis) == {"computed markers": "warn"}
    assert told(analysis, "computed markers").where.endswith("R_heel, R_toe")


@pytest.mark.parametrize("parts", [1, 2, 3])
def test_every_finding_numbers_the_frames_of_the_file(clean_session: Session, parts: int) -> None:
    """Also where the file is too slow and its motion is followed at a finer rate."""
    trial = clean_session.trial
    markers = trial.markers[..., ::parts].copy()
    begin, frames = markers.shape[2] * 2 // 3, 45 // parts
    hidden = [k for k, name in enumerate(trial.labels) if name.startswith(("R_shank", "R_knee", "R_ankle"))]
    markers[:, hidden, begin : begin + frames] = np.nan
    slow = replace(trial, markers=markers, point_rate=trial.point_rate / parts, first_frame=501)
    analysis = analysed(clean_session, trial=slow)
    assert analysis.landing.poses.rate >= 200.0
    assert told(analysis, "segment_gap").evidence == f"no pose in frames {501 + begin}-{500 + begin + frames}"


def test_a_marker_hidden_across_touchdown(clean: Analysis, clean_session: Session) -> None:
    touchdown = clean.landing.touchdown_frame()
    trial = moved(clean_session.trial, "R_toe", np.full(3, np.nan), slice(touchdown - 5, touchdown + 5))
    assert doubts(analysed(clean_session, trial=trial)) == {"gap_from_segment": "warn", "gap_across_touchdown": "warn"}


# Plates and feet ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("way", "direction"), [(0.06, "to the right"), (-0.06, "to the left")])
def test_a_plate_misplaced_in_the_laboratory(clean_session: Session, way: float, direction: str) -> None:
    trial = with_plates(clean_session.trial, misplaced((0.0, 0.0, way)), 1)
    analysis = analysed(clean_session, trial=trial)
    lapped = {"plate overlap": "warn"} if way < 0 else {}
    assert doubts(analysis) == {"pressure_off_foot": "refuse"} | lapped, "to the left lies the other plate"
    finding = told(analysis, "pressure_off_foot")
    assert finding.where == "right foot"
    assert direction in finding.evidence
    assert float(finding.evidence.split()[0]) == pytest.approx(60, abs=8), (
        "the pressure lies near the middle of the sole"
    )
    assert not has_moments(analysis, "right")
    assert has_moments(analysis, "left")


def test_a_stopped_side_keeps_forces_and_angles(clean: Analysis, clean_session: Session) -> None:
    trial = with_plates(clean_session.trial, misplaced((0.0, 0.0, 0.06)), 1)
    analysis = analysed(clean_session, trial=trial)
    before, after = ({(m.quantity, m.side): m for m in a.measures} for a in (clean, analysis))
    for quantity in ("vertical_force_peak", "vertical_loading_rate", "knee_flexion_peak", "ankle_dorsiflexion_peak"):
        assert after[quantity, "right"].value == before[quantity, "right"].value
    for quantity, side in ((RIGHT_MOMENT, "right"), ("hip_work_negative", "right")):
        assert np.isfinite(before[quantity, side].value)
        assert np.isnan(after[quantity, side].value)
        assert "beside the foot" in after[quantity, side].note
    back = after["l5s1_extension_moment_peak", ""]
    assert back.value == pytest.approx(before["l5s1_extension_moment_peak", ""].value, rel=0.1)
    assert "from trunk, head and arms down" in back.note and "beside the foot" in back.note
    for (quantity, side), measure in before.items():
        if side == "left":
            assert after[quantity, side].value == pytest.approx(measure.value, nan_ok=True, rel=1e-12)


def test_stopped_moments_stay_stopped_with_other_settings(clean_session: Session) -> None:
    trial = with_plates(clean_session.trial, misplaced((0.0, 0.0, 0.06)), 1)
    analysis = analyse(replace(clean_session, trial=trial), Settings(smoothing="after"))
    assert not has_moments(analysis, "right")
    assert len(analysis.variants) > 1
    for variant in analysis.variants:
        values = {(m.quantity, m.side): m.value for m in variant.measures}
        assert np.isnan(values[RIGHT_MOMENT, "right"])
        assert np.isfinite(values[RIGHT_MOMENT, "left"])


def test_a_foot_that_is_partly_off_its_plate(clean: Analysis, clean_session: Session) -> None:
    landing = clean.landing
    heel = landing.poses.place(landing.body, "right_calcaneus")[0, landing.window("right")].mean()

    def cut(plate: Plate) -> Plate:
        corners = plate.corners.copy()
        corners[0] = np.maximum(corners[0], heel + 0.04)
        return replace(plate, corners=corners)

    analysis = analysed(clean_session, trial=with_plates(clean_session.trial, cut, 1))
    assert doubts(analysis) == {"foot_off_plate": "warn"}
    assert told(analysis, "foot_off_plate").where == "right foot"
    assert has_moments(analysis, "right")


def test_a_plate_that_stays_silent(clean_session: Session) -> None:
    analysis = analysed(clean_session, trial=with_plates(clean_session.trial, scaled(0.0), 1))
    found = doubts(analysis)
    assert found.pop("plate_silent") == "refuse"
    assert set(found) <= {"foot_on_plate", "no_touchdown"}, "contact and events tell of a foot without force"
    assert np.isnan(analysis.landing.loads.moment[:, analysis.landing.loads.joints.index("right_knee")]).all()
    assert has_moments(analysis, "left")


@pytest.mark.parametrize("number", [1, 2])
def test_a_landing_with_one_foot_beside_the_plates_is_told_once(clean_session: Session, number: int) -> None:
    """What the whole body's force would show cannot be told then."""
    plates = tuple(plate for plate in clean_session.trial.plates if plate.number == number)
    analysis = analysed(clean_session, trial=replace(clean_session.trial, plates=plates))
    assert set(doubts(analysis)) <= {"foot_on_plate", "no_touchdown"}
    assert "foot_on_plate" in doubts(analysis)
    assert has_moments(analysis, ("right", "left")[number - 1])


def test_a_saturated_plate(clean_session: Session) -> None:
    vertical = clean_session.trial.plates[0].force[1]
    level = 0.85 * vertical.max()
    factor = np.minimum(vertical, level) / np.where(vertical > level, vertical, np.minimum(vertical, level))
    analysis = analysed(clean_session, trial=with_plates(clean_session.trial, scaled(factor), 1))
    assert doubts(analysis) == {"plate saturation": "refuse"}
    assert f"vertical force stands at {level:.0f} N" in told(analysis, "plate saturation").evidence
    assert not has_moments(analysis, "right")
    assert has_moments(analysis, "left")


def test_a_drifting_plate(clean_session: Session) -> None:
    trial = clean_session.trial

    def drifting(plate: Plate) -> Plate:
        force = np.zeros_like(plate.force)
        force[1] = 60.0 * trial.force_time
        middle = plate.corners.mean(axis=1)[:, None]
        return replace(plate, force=plate.force + force, moment=plate.moment + np.cross(middle, force, axis=0))

    analysis = analysed(clean_session, trial=with_plates(trial, drifting, 2))
    assert doubts(analysis) == {"baseline drift": "warn"}


# Force and motion ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("seconds", "severity"), [(0.010, "warn"), (0.020, "refuse")])
def test_markers_and_force_out_of_step(clean_session: Session, seconds: float, severity: str) -> None:
    analysis = analysed(clean_session, trial=with_plates(clean_session.trial, delayed(seconds), 1, 2))
    assert doubts(analysis) == {"out_of_step": severity}
    assert f"{1000 * seconds:.0f} ms behind" in told(analysis, "out_of_step").evidence
    assert has_moments(analysis, "right") == has_moments(analysis, "left") == (severity == "warn")


@pytest.mark.parametrize("shift", [0.0, 0.004, 0.012])
def test_the_lag_is_right_to_a_millisecond(clean_session: Session, shift: float) -> None:
    trial = clean_session.trial if shift == 0 else with_plates(clean_session.trial, delayed(shift), 1, 2)
    lag, alike = force_lag(analysed(clean_session, trial=trial).landing)
    assert lag == pytest.approx(shift, abs=0.001)
    assert alike > 0.99


def test_the_pelvis_stands_for_a_body_without_trunk_markers(clean_session: Session) -> None:
    legs = {
        n: label
        for n, label in clean_session.labels.landmarks.items()
        if not n.startswith(("acromion", "elbow", "wrist", "head"))
    }
    session = replace(clean_session, labels=replace(clean_session.labels, landmarks=legs))
    assert told(analysed(session), "out_of_step").severity == "pass"
    late = analysed(session, trial=with_plates(clean_session.trial, delayed(0.04), 1, 2))
    assert told(late, "out_of_step").severity == "refuse"


@pytest.mark.parametrize(("share", "severity"), [(0.08, "warn"), (-0.25, "refuse")])
def test_a_body_that_does_not_fall_freely(clean: Analysis, clean_session: Session, share: float, severity: str) -> None:
    trial = clean_session.trial
    before = np.minimum(trial.time - clean.landing.events.first_touchdown, 0.0)
    markers = trial.markers.copy()
    markers[1] -= 0.5 * share * 9.81 * before**2
    analysis = analysed(clean_session, trial=replace(trial, markers=markers))
    assert doubts(analysis) == {"free_fall": severity}
    assert has_moments(analysis, "right") == (severity == "warn")


@pytest.mark.parametrize(("factor", "severity"), [(1.3, "warn"), (2.5, "refuse")])
def test_a_force_that_the_motion_does_not_explain(clean_session: Session, factor: float, severity: str) -> None:
    analysis = analysed(clean_session, trial=with_plates(clean_session.trial, scaled(factor), 1, 2))
    beyond = {"beyond_people": "warn"} if severity == "warn" else {}
    assert doubts(analysis) == {"unexplained_force": severity} | beyond
    assert has_moments(analysis, "right") == has_moments(analysis, "left") == (severity == "warn")


def test_a_peak_that_no_body_bears(clean_session: Session) -> None:
    analysis = analysed(clean_session, trial=with_plates(clean_session.trial, scaled(10.0), 1))
    assert doubts(analysis) == {"implausible_peak": "refuse", "plate noise": "warn"}, "its noise is ten times as large"
    assert not has_moments(analysis, "right")
    assert has_moments(analysis, "left")
    assert "implausible peak" in told(analysis, "unexplained_force").advice, "the cause of the residual is named"


def test_a_mass_that_is_not_the_riders(clean_session: Session) -> None:
    heavier = replace(clean_session.rider, mass=1.05 * clean_session.rider.mass)
    assert doubts(analysed(clean_session, rider=heavier)) == {"body_weight": "warn"}


@pytest.mark.parametrize(("share", "off"), [(0.5, "(+100"), (2.0, "(-50")])
def test_a_mass_that_is_far_off_is_said_plainly(clean_session: Session, share: float, off: str) -> None:
    analysis = analysed(clean_session, rider=replace(clean_session.rider, mass=share * clean_session.rider.mass))
    found = told(analysis, "body_weight")
    assert found.severity == "warn" and off in found.evidence
    assert found.advice.endswith("check the mass in rider.toml and the plates' scale")
    standing = "both feet stand on plates: check the mass in rider.toml and the plates' scale"
    assert any(each.check == "body_weight" and each.advice.endswith(standing) for each in analysis.findings)
    assert [check for check in doubts(analysis) if "weight" in check] == ["body_weight"], "one caution, in both trials"


def test_a_cutoff_too_high_for_the_markers(clean_session: Session) -> None:
    assert told(analysed(clean_session, Settings(smoothing="fixed", cutoff=80.0)), "filter").severity == "warn"
    assert told(analysed(clean_session, Settings(smoothing="fixed", cutoff=None)), "filter").severity == "pass"


@pytest.mark.parametrize("cutoff", [125.0, 140.0])
def test_a_cutoff_that_no_sampled_marker_can_hold_is_an_error(clean_session: Session, cutoff: float) -> None:
    with pytest.raises(SettingError, match="less than half the marker rate, 250 Hz") as caught:
        analysed(clean_session, Settings(smoothing="fixed", cutoff=cutoff))
    assert "\n" not in str(caught.value)


# Published recordings -----------------------------------------------------------------------------------------------


def real(shared_c3d: Path, name: str) -> Analysis:
    return analyse(published_session(shared_c3d, name), variants=False)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("jump", {"joint_apart"}), ("run", set()), ("walk_1", set()), ("walk_2", {"foot_off_plate"}), ("walk_3", set()),
    ],
)  # fmt: skip
def test_published_recordings_are_not_refused(shared_c3d: Path, name: str, expected: set[str]) -> None:
    """The jump's left thigh is tracked by two knee markers and one more, of a calibration without quiet stance; in the
    second walk the right heel comes down over the rear edge of its plate."""
    analysis = real(shared_c3d, name)
    verdict = judge(analysis.landing)
    assert {f.check for f in verdict.findings if f.severity != "pass"} == expected
    assert not [f for f in analysis.findings if f.severity == "refuse"]
    assert not verdict.stopped


@pytest.mark.parametrize("name", ["run", "walk_1", "walk_2", "walk_3"])
def test_a_mass_that_does_not_fit_the_steps(shared_c3d: Path, name: str) -> None:
    """No standing trial of these was on a plate. The runner's mass is published (Fukuchi 2017 PeerJ 5:e3298); that of
    the walker is the impulse of a stance over the duration of a step (walking_rider.toml)."""
    session = published_session(shared_c3d, name)
    said = {
        share: told(analysed(session, rider=replace(session.rider, mass=share * session.rider.mass)), "body_weight")
        for share in (0.9, 1.0, 1.1)
    }
    assert {share: finding.severity for share, finding in said.items()} == {0.9: "warn", 1.0: "pass", 1.1: "warn"}
    assert "check the mass in rider.toml and the plates' scale" in said[1.1].advice


def test_the_weight_of_a_step_is_the_mean_force_of_whole_strides(shared_c3d: Path) -> None:
    """Over 85 strides on a treadmill that is a plate the body gains no speed upwards: no marker is needed. 2 % is what
    the pelvis' velocity may differ from the body's by over two seconds (0.2 m/s)."""
    session = published_session(shared_c3d, "run")
    force = np.sum([plate.force[1] for plate in session.trial.plates], axis=0)
    touched = [start for start, stop in runs(force > 20.0) if stop - start > 0.1 * session.trial.force_rate]
    weight = float(told(analysed(session), "body_weight").evidence.split(" N")[0])
    assert len(touched) == 86
    assert weight == pytest.approx(force[touched[0] : touched[-1]].mean(), rel=0.02)


def test_the_computed_markers_of_the_jump_are_named(shared_c3d: Path) -> None:
    jump = real(shared_c3d, "jump")
    finding = told(jump, "computed markers")
    assert finding.severity == "warn"
    assert "R.Ankle, R.Ankle.Medial, R.Toe" in finding.where


def test_a_foot_turned_upside_down_has_no_moments(clean_session: Session) -> None:
    """All markers of one foot turned by 130 degrees about the line across it: no ankle bends like that."""
    trial = clean_session.trial
    markers = trial.markers.copy()
    names = ("right_calcaneus", "right_calcaneus_lateral", "right_metatarsal1", "right_metatarsal5", "right_toe")
    rows = [trial.labels.index(clean_session.labels.landmarks[name]) for name in names]
    middle = markers[:, rows].mean(axis=1, keepdims=True)
    turn = about_axis("z", np.deg2rad(130.0))
    markers[:, rows] = middle + np.einsum("ij,jmf->imf", turn, markers[:, rows] - middle)
    turned = replace(clean_session, trial=replace(trial, markers=markers))
    analysis = analyse(turned, variants=False)
    refused = {f.where for f in analysis.findings if f.check == "impossible_angle" and f.severity == "refuse"}
    assert "right_ankle" in refused
    (moment,) = [m for m in analysis.measures if m.quantity == RIGHT_MOMENT and m.side == "right"]
    assert np.isnan(moment.value)
    assert moment.note
    for measure in analysis.measures:
        if measure.quantity.startswith("ankle_") and measure.side == "right":
            assert measure.note, f"{measure.quantity} is void"
    (peak,) = [m for m in analysis.measures if (m.quantity, m.side) == ("ankle_dorsiflexion_peak", "right")]
    assert peak.note.startswith("not to be used: impossible angle")

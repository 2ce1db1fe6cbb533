"""A body fitted to a standing trial, its poses and its angles: left mirrors right, missing landmarks cost only what
needs them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made import LABELS, RATE, RIDER, recording, standing_positions
from scipy.spatial.transform import Rotation

from jointload.body.angles import joint_angles
from jointload.body.calibration import calibrate, other_quiet_stretches, quiet_frames
from jointload.body.pose import moving_hip_centres, smooth_markers, track_segments
from jointload.errors import CalibrationError, SettingError
from jointload.intake.labels import LabelMap
from jointload.intake.recording import SIDES

TURN_TOLERANCE = 1e-9
"""[rad] rigid markers carry an exact pose."""


@pytest.fixture(scope="module")
def body():
    return calibrate(recording(standing_positions()), LABELS, RIDER)


def poses_of(body, positions: dict[str, np.ndarray], frames: int = 60):
    markers, _ = smooth_markers(recording(positions, frames, "trial"), body, None, 0.1)
    return track_segments(markers, body, RATE)[0]


def test_every_segment_stands(body) -> None:
    assert not body.lost
    assert set(body.standing) == set(body.segments)


def test_frames_point_forward_up_and_right(body) -> None:
    for name, (rotation, _) in body.standing.items():
        tilt = np.rad2deg(np.arccos(np.clip(np.diag(rotation), -1, 1)))
        assert np.all(tilt < 25), f"{name}: X forward, Y up, Z right of a standing body, within {tilt} deg"


def test_frames_follow_their_definitions(body) -> None:
    """Wu et al. (2002) J Biomech 35:543-548: pelvis Z along the ASIS, femur Y from the epicondyles' middle to the hip
    centre."""
    points = body.standing_points
    pelvis, thigh, foot = (body.standing[name][0] for name in ("pelvis", "right_thigh", "right_foot"))
    np.testing.assert_allclose(pelvis[:, 2], [0.0, 0.0, 1.0], atol=1e-12)
    axis = points["right_hip_centre"] - points["right_knee_centre"]
    np.testing.assert_allclose(thigh[:, 1], axis / np.linalg.norm(axis), atol=1e-12)
    np.testing.assert_allclose(foot[:, 1], [0.0, 1.0, 0.0], atol=1e-12)


def test_left_mirrors_right(body) -> None:
    poses = poses_of(body, standing_positions())
    angles = joint_angles(poses, body)
    for joint in ("ankle", "knee", "hip"):
        right, left = (angles.angle[:, angles.joints.index(f"{side}_{joint}"), 5] for side in SIDES)
        np.testing.assert_allclose(right, left, atol=TURN_TOLERANCE)
    for segment in ("foot", "shank", "thigh"):
        assert body.inertia[f"right_{segment}"].mass == body.inertia[f"left_{segment}"].mass


@pytest.mark.parametrize(
    ("joint", "axis", "right_sign", "segments", "rotation"),
    [
        ("knee", "z", -1, ("shank", "foot"), "flexion"),
        ("hip", "z", 1, ("thigh", "shank", "foot"), "flexion"),
    ],
)
@pytest.mark.parametrize("side", SIDES)
def test_a_turn_about_the_joint_axis_is_the_named_rotation(
    body, joint, axis, right_sign, segments, rotation, side
) -> None:
    """Bending by a known angle about the proximal Z axis raises flexion by that angle and leaves the other two
    alone."""
    amount = 0.5
    centre = body.standing_points[f"{side}_{joint}_centre"]
    proximal = body.standing["pelvis" if joint == "hip" else f"{side}_thigh"][0]
    turn = Rotation.from_rotvec(right_sign * amount * proximal[:, 2]).as_matrix()
    moved = dict(standing_positions())
    for segment in segments:
        for label in body.clusters[f"{side}_{segment}"].labels:
            moved[label] = centre + turn @ (moved[label] - centre)
    before = joint_angles(poses_of(body, standing_positions()), body)
    after = joint_angles(poses_of(body, moved), body)
    j = before.joints.index(f"{side}_{joint}")
    change = (after.angle - before.angle)[:, j, 5]
    assert change[before.rotations[j].index(rotation)] == pytest.approx(amount, abs=TURN_TOLERANCE)
    others = [k for k in range(3) if before.rotations[j][k] != rotation]
    np.testing.assert_allclose(change[others], 0.0, atol=TURN_TOLERANCE)


@pytest.mark.parametrize("side", SIDES)
def test_a_knee_pushed_inwards_is_abducted(body, side) -> None:
    """Valgus is a negative adduction angle on both sides (Grood and Suntay 1983 with ISB letters)."""
    centre = body.standing_points[f"{side}_knee_centre"]
    outward = -1.0 if side == "right" else 1.0
    turn = Rotation.from_rotvec([0.1 * outward, 0.0, 0.0]).as_matrix()
    moved = dict(standing_positions())
    for segment in ("shank", "foot"):
        for label in body.clusters[f"{side}_{segment}"].labels:
            moved[label] = centre + turn @ (moved[label] - centre)
    foot_moved_out = moved[f"{side} calcaneus"][2] * (1 if side == "right" else -1) > 0.09
    assert foot_moved_out
    change = joint_angles(poses_of(body, moved), body).of(f"{side}_knee", "adduction")[5]
    assert change < joint_angles(poses_of(body, standing_positions()), body).of(f"{side}_knee", "adduction")[5] - 0.09


def test_turning_the_laboratory_leaves_joint_angles(body) -> None:
    turn = Rotation.from_euler("yxz", [1.2, 0.3, -0.4]).as_matrix()
    turned = {label: turn @ place + np.array([1.0, 2.0, 3.0]) for label, place in standing_positions().items()}
    np.testing.assert_allclose(
        joint_angles(poses_of(body, turned), body).angle,
        joint_angles(poses_of(body, standing_positions()), body).angle,
        atol=TURN_TOLERANCE,
    )


def test_the_standing_zero_makes_the_static_trial_zero(body) -> None:
    angles = joint_angles(poses_of(body, standing_positions()), body, zero="standing")
    np.testing.assert_allclose(angles.angle, 0.0, atol=TURN_TOLERANCE)


def test_a_missing_landmark_costs_only_what_needs_it() -> None:
    labels = LabelMap({k: v for k, v in LABELS.landmarks.items() if k != "left_malleolus_medial"})
    body = calibrate(recording(standing_positions()), labels, RIDER)
    assert {"left_shank", "left_foot"} <= set(body.lost)
    assert "left_malleolus_medial" in body.lost["left_malleolar"] or "left_ankle_centre" in body.lost["left_shank"]
    angles = joint_angles(poses_of(body, standing_positions()), body)
    assert np.isnan(angles.of("left_knee", "flexion")).all()
    assert np.isfinite(angles.of("right_knee", "flexion")).all()
    assert np.isfinite(angles.of("left_hip", "flexion")).all()


@pytest.mark.parametrize(("missing", "words"), [("right_asis", "right_asis"), ("left_psis", "sacrum")])
def test_no_pelvis_no_body(missing: str, words: str) -> None:
    labels = LabelMap({k: v for k, v in LABELS.landmarks.items() if k != missing})
    with pytest.raises(CalibrationError, match=words):
        calibrate(recording(standing_positions()), labels, RIDER)


def test_a_walking_static_trial_is_refused() -> None:
    frames = 60
    drift = np.stack([np.linspace(0, 1.2, frames), np.zeros(frames), np.zeros(frames)])
    moving = {label: place[:, None] + drift for label, place in standing_positions().items()}
    with pytest.raises(CalibrationError, match="feet rest flat"):
        quiet_frames(recording(moving, frames), LABELS)


def test_the_stillest_stretch_is_found() -> None:
    frames = 200
    sway = np.where(np.arange(frames) < 120, np.cumsum(np.ones(frames)) * 0.002, 0.24)
    moving = {
        label: place[:, None] + np.stack([sway, 0 * sway, 0 * sway]) for label, place in standing_positions().items()
    }
    assert quiet_frames(recording(moving, frames), LABELS).start >= 119


def test_further_quiet_stretches_are_found_apart_from_the_first() -> None:
    """Quiet, a step aside, quiet again: both ends would do, and none of the frames between."""
    frames = 200
    sway = np.interp(np.arange(frames), [0, 80, 120, 200], [0.0, 0.0, 0.5, 0.5])
    moving = {
        label: place[:, None] + np.stack([sway, 0 * sway, 0 * sway]) for label, place in standing_positions().items()
    }
    trial = recording(moving, frames)
    spans = [quiet_frames(trial, LABELS), *other_quiet_stretches(trial, LABELS)]
    assert len(spans) == 4
    assert all(span.stop <= 82 or span.start >= 118 for span in spans)
    assert all(a.stop <= b.start or b.stop <= a.start for k, a in enumerate(spans) for b in spans[k + 1 :])


def test_an_unknown_hip_centre_lists_the_known_ones() -> None:
    with pytest.raises(SettingError, match="harrington_2007"):
        calibrate(recording(standing_positions()), LABELS, RIDER, hip_centre="guess")


def test_a_hidden_marker_is_carried_by_its_segment_and_reported(body) -> None:
    frames = 60
    lean = Rotation.from_rotvec([[0.0, 0.0, -0.01 * k] for k in range(frames)]).as_matrix()
    path = {label: np.einsum("fij,j->if", lean, place) for label, place in standing_positions().items()}
    path["right asis"] = path["right asis"].copy()
    path["right asis"][:, 20:50] = np.nan
    markers, findings = smooth_markers(recording(path, frames, "trial"), body, None, 0.05)
    truth = np.einsum("fij,j->if", lean, standing_positions()["right asis"])
    np.testing.assert_allclose(markers["right asis"], truth, atol=1e-9)
    assert any(f.check == "gap_from_segment" and "right asis (30)" in f.where for f in findings)


def test_few_markers_lean_on_the_neighbours_joint_centre() -> None:
    clusters = {f"{side}_shank": (f"{side} malleolus_lateral", f"{side} malleolus_medial") for side in SIDES}
    labels = replace(LABELS, clusters=clusters)
    body = calibrate(recording(standing_positions()), labels, RIDER)
    markers, _ = smooth_markers(recording(standing_positions(), name="trial"), body, None, 0.1)
    poses, findings = track_segments(markers, body, RATE)
    np.testing.assert_allclose(poses.of("right_shank")[0][..., 3], body.standing["right_shank"][0], atol=1e-9)
    assert any(f.check == "few_markers" and f.where == "right_shank" for f in findings)


def test_lost_joints_are_named() -> None:
    labels = LabelMap({k: v for k, v in LABELS.landmarks.items() if k != "right_calcaneus"})
    (finding,) = [
        f for f in calibrate(recording(standing_positions()), labels, RIDER).findings if f.where == "right_foot"
    ]
    assert (
        finding.advice
        == "not given: angles of right_ankle, moments of right_ankle, right_knee, right_hip, l5s1; add markers"
    )


def test_hip_centres_follow_from_a_movement_trial(body) -> None:
    """Thighs that swing about known centres give those centres, whatever the regression said."""
    frames = 120
    shift = np.array([0.01, -0.015, 0.008])
    phase = np.linspace(0, 4 * np.pi, frames)
    swing = Rotation.from_euler("zx", np.column_stack((0.5 * np.sin(phase), 0.4 * np.cos(1.3 * phase)))).as_matrix()
    path: dict[str, np.ndarray] = dict(standing_positions())
    centres = {side: body.standing_points[f"{side}_hip_centre"] + shift for side in SIDES}
    for side in SIDES:
        for label in body.clusters[f"{side}_thigh"].labels:
            arm = standing_positions()[label] - centres[side]
            path[label] = centres[side][:, None] + np.einsum("fij,j->if", swing, arm)
    found = moving_hip_centres(recording(path, frames, "swing"), body, None, 0.1)
    lab_from_pelvis, origin = body.standing["pelvis"]
    for side in SIDES:
        np.testing.assert_allclose(origin + lab_from_pelvis @ found[side], centres[side], atol=1e-6)
    refitted = calibrate(recording(standing_positions()), LABELS, RIDER, hip_centres=found)
    assert refitted.hip_centre_method == "functional"
    np.testing.assert_allclose(refitted.standing_points["right_hip_centre"], centres["right"], atol=1e-6)


def test_a_static_trial_of_one_frame_will_do() -> None:
    body = calibrate(recording(standing_positions(), frames=1), LABELS, RIDER)
    assert not body.lost
    assert "frames 1 to 1" in body.calibrated_from

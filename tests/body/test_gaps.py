"""A hidden marker keeps its own place among the others: no joint jumps where a marker vanishes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made import LABELS, RATE, RIDER, recording, standing_positions
from scipy.spatial.transform import Rotation

from jointload.body.angles import gimbal_findings, joint_angles
from jointload.body.calibration import FittedBody, calibrate
from jointload.body.pose import complete_markers, smooth_markers, track_segments
from jointload.intake.recording import FrameNumbers, Recording

FRAMES = 200
HIDDEN = slice(85, 115)
OWN = np.array([0.012, 0.004, -0.006])
"""[m] by which the skin carries the hidden marker off its place in the standing trial."""
BELOW = ("right fibula_head", "right tibia_tuberosity", "right malleolus_lateral", "right malleolus_medial")
JUMP = np.deg2rad(0.1)


@pytest.fixture(scope="module")
def body() -> FittedBody:
    return calibrate(recording(standing_positions()), LABELS, RIDER)


def bending(wander: float = 0.0) -> Recording:
    """A right knee that bends by 70 degrees and stretches again; one marker of the shank sits off its standing place,
    and wanders [m] slowly there."""
    bend = np.deg2rad(35.0) * (1.0 - np.cos(2 * np.pi * np.arange(FRAMES) / FRAMES))
    turn = Rotation.from_rotvec(np.outer(-bend, [0.0, 0.0, 1.0])).as_matrix()
    places = standing_positions()
    centre = 0.5 * (places["right femur_epicondyle_lateral"] + places["right femur_epicondyle_medial"])
    path: dict[str, np.ndarray] = dict(places)
    for label in BELOW:
        own = OWN[:, None] + wander * np.sin(np.arange(FRAMES) / 9.0) if label == BELOW[0] else np.zeros((3, 1))
        path[label] = centre[:, None] + np.einsum("fij,jf->if", turn, (places[label] - centre)[:, None] + own)
    return recording(path, FRAMES, "trial")


def hidden(trial: Recording, frames: slice = HIDDEN) -> Recording:
    markers = trial.markers.copy()
    markers[:, trial.labels.index(BELOW[0]), frames] = np.nan
    return replace(trial, markers=markers)


def flexion(trial: Recording, body: FittedBody) -> np.ndarray:
    markers, _ = smooth_markers(trial, body, None, 0.1)
    return joint_angles(track_segments(markers, body, RATE)[0], body).of("right_knee", "flexion")


def test_the_knee_does_not_jump_where_a_marker_vanishes(body: FittedBody) -> None:
    whole, filled = flexion(bending(), body), flexion(hidden(bending()), body)
    np.testing.assert_allclose(filled, whole, atol=JUMP)


def test_the_residual_is_eased_from_one_side_to_the_other(body: FittedBody) -> None:
    """What it was before and after differs; the path has no step at either end, and stays near the truth between."""
    trial = bending(wander=0.003)
    markers, _ = smooth_markers(hidden(trial), body, None, 0.1)
    off = np.linalg.norm(markers[BELOW[0]] - trial.marker(BELOW[0]), axis=0)
    assert off[[HIDDEN.start, HIDDEN.stop - 1]].max() < 0.0015
    assert off[HIDDEN].max() < 0.008, "twice the wander, along the diagonal"
    assert not off[: HIDDEN.start].any() and not off[HIDDEN.stop :].any()


@pytest.mark.parametrize("frames", [slice(0, 40), slice(160, 200)])
def test_at_the_end_of_a_trial_the_residual_is_held(body: FittedBody, frames: slice) -> None:
    trial = bending()
    markers, _ = smooth_markers(hidden(trial, frames), body, None, 0.1)
    np.testing.assert_allclose(markers[BELOW[0]], trial.marker(BELOW[0]), atol=1e-6)


def test_how_uncertain_a_filled_place_is_follows_from_how_the_marker_wanders(body: FittedBody) -> None:
    """Nothing for a marker that rides rigidly; millimetres for one that wanders by them; said in the finding."""
    spreads = []
    for wander in (0.0, 0.003):
        _, _, findings, (fill,) = complete_markers(hidden(bending(wander)), body, 0.1)
        spreads.append(fill.spread)
        doubt = fill.doubt(FRAMES)
        assert doubt.max() == pytest.approx(fill.spread, rel=0.01)
        assert not doubt[: HIDDEN.start].any() and not doubt[HIDDEN.stop :].any()
        (said,) = [f for f in findings if f.check == "gap_from_segment"]
        assert f"uncertain by up to {1000 * fill.spread:.1f} mm" in said.evidence
    assert spreads[0] < 1e-6
    assert 0.001 < spreads[1] < 0.006


def test_frames_are_numbered_as_the_file_numbers_them(body: FittedBody) -> None:
    """Findings on gaps and poses of a trial that starts at frame 501, and the stretch of such a standing trial."""
    trial = replace(hidden(bending()), first_frame=501)
    trial.markers[:, [trial.labels.index(label) for label in BELOW], 60:70] = np.nan
    markers, _ = smooth_markers(trial, body, None, 0.05)
    _, findings = track_segments(markers, body, RATE, trial.numbers)
    (gap,) = [f for f in findings if f.check == "segment_gap" and f.where == "right_shank"]
    assert gap.evidence == "no pose in frames 561-570"
    static = replace(recording(standing_positions()), first_frame=301)
    assert calibrate(static, LABELS, RIDER).calibrated_from == "standing, frames 301 to 325"


def test_a_rotation_near_a_right_angle_is_told_with_its_frame(body: FittedBody) -> None:
    trial = bending()
    angles = joint_angles(track_segments(smooth_markers(trial, body, None, 0.05)[0], body, RATE)[0], body)
    assert gimbal_findings(angles, trial.numbers) == ()
    turned = angles.angle.copy()
    turned[1, angles.joints.index("right_knee"), 20] = np.deg2rad(88.0)
    (finding,) = gimbal_findings(replace(angles, angle=turned), FrameNumbers(501))
    assert (finding.where, finding.evidence) == ("right_knee, frame 521", "second rotation reaches 88 deg")


def test_frames_of_a_finer_rate_bear_the_numbers_of_the_file() -> None:
    numbers = FrameNumbers(501, 2)
    assert [numbers.of(frame) for frame in (0, 1, 2)] == [501, 501, 502]
    assert [numbers.span(*run) for run in ((0, 1), (1, 6), (2, 5), (3, 4))] == [
        "501-501",
        "502-503",
        "502-503",
        "502-502",
    ]

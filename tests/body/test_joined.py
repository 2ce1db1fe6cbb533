"""Bones brought together in their joints, against landings whose bones truly meet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from landed import USUAL, landed

from jointload.body.calibration import BodyErrors, FittedBody, calibrate
from jointload.body.joined import Joining, _gaps, apart, joined
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import Array
from jointload.numerics.rotations import compose, from_vector, inverse, rotate, to_vector
from jointload.synthetic.landing import SyntheticLanding
from jointload.synthetic.standing import label_map, static_recording

RIDER = USUAL.rider
SLIDE = np.array([0.004, -0.003, 0.005])
TURN = np.deg2rad([1.5, 2.0, -2.5])


@pytest.fixture(scope="module")
def landing() -> SyntheticLanding:
    return landed(USUAL)


@pytest.fixture(scope="module")
def exact(landing: SyntheticLanding) -> tuple[SegmentPoses, FittedBody]:
    """True poses at 250 Hz, and the body that moves so."""
    body, poses = calibrate(static_recording(RIDER), label_map(), RIDER), landing.poses
    cut = {key: getattr(poses, key)[..., ::4] for key in ("rotation", "origin", "residual")}
    return replace(poses, rate=250.0, **cut), body


def slid(poses: SegmentPoses, body: FittedBody, segment: str, turn: Array = TURN) -> SegmentPoses:
    """The markers of one segment moved as a whole on its bone."""
    s, wrong = poses.index(segment), from_vector(turn)[..., None]
    rotation, origin = poses.rotation.copy(), poses.origin.copy()
    middle = origin[:, s] + rotate(rotation[:, :, s], body.clusters[segment].local.mean(axis=1)[:, None])
    origin[:, s] = middle + SLIDE[:, None] + rotate(wrong, origin[:, s] - middle)
    rotation[:, :, s] = compose(wrong, rotation[:, :, s])
    return replace(poses, rotation=rotation, origin=origin)


def off(poses: SegmentPoses, true: SegmentPoses, body: FittedBody, point: str) -> float:
    """Root mean square distance [m] of a joint's centre from its true place."""
    away = poses.place(body, point) - true.place(body, point)
    return float(np.sqrt(np.mean(np.sum(away**2, axis=0))))


def test_bones_that_meet_are_left_where_they_are(exact: tuple[SegmentPoses, FittedBody]) -> None:
    poses, body = exact
    meetings = Joining.along(poses, body, body).meetings
    assert {each.centre for each in meetings} == {
        f"{side}_{joint}_centre" for side in ("right", "left") for joint in ("hip", "knee", "ankle")
    }
    assert np.abs(_gaps(poses, body, meetings)).max() < 1e-9
    together, same = joined(poses, body)
    np.testing.assert_allclose(together.rotation, poses.rotation, atol=1e-9)
    np.testing.assert_allclose(together.origin, poses.origin, atol=1e-9)
    np.testing.assert_allclose(
        same.standing_points["left_hip_centre"], body.standing_points["left_hip_centre"], atol=1e-9
    )


@pytest.mark.parametrize(
    ("segment", "point", "left"),
    [("right_thigh", "right_knee_centre", 0.6), ("left_shank", "left_ankle_centre", 0.4), ("pelvis", "hip_mid", 0.95)],
)
def test_skin_that_slid_is_found_out(
    exact: tuple[SegmentPoses, FittedBody], segment: str, point: str, left: float
) -> None:
    """The joint below is nearer to its true place, by the less the better its markers are known beside its neighbours'
    (the pelvis is twice as sure as a thigh), and the bones meet again."""
    poses, body = exact
    apart = slid(poses, body, segment)
    together, moved = joined(apart, body)
    assert off(together, poses, moved, point) < left * off(apart, poses, body, point)
    meetings = Joining.along(poses, body, body).meetings
    after, before = _gaps(together, moved, meetings), _gaps(apart, body, meetings)
    assert np.sqrt(np.mean(after**2)) < 0.4 * np.sqrt(np.mean(before**2))


def test_a_turn_about_the_line_of_both_joints_is_not_seen(exact: tuple[SegmentPoses, FittedBody]) -> None:
    """No gap tells a thigh's turn about its own length: what is not known is not touched."""
    poses, body = exact
    s = poses.index("right_thigh")
    along = poses.rotation[:, 1, s, 100]
    apart = slid(poses, body, "right_thigh", np.deg2rad(3.0) * along)
    together, _ = joined(apart, body)
    kept = [
        to_vector(compose(each.rotation[:, :, s], inverse(poses.rotation[:, :, s])))[:, 100] @ along
        for each in (apart, together)
    ]
    assert kept[1] == pytest.approx(kept[0], rel=0.3)


def test_a_hip_that_was_misplaced_is_brought_nearer(exact: tuple[SegmentPoses, FittedBody]) -> None:
    """The thighs of a landing turn by 80 degrees: the spheres they move on tell where the hips are."""
    poses, body = exact
    wrong = np.array([[0.012], [-0.010], [0.008]])
    errors = BodyErrors(1, {"right_hip_centre": wrong}, {})
    apart = calibrate(static_recording(RIDER), label_map(), RIDER, errors=errors).drawn(0)
    rotation, origin = poses.rotation.copy(), poses.origin.copy()
    for s, name in enumerate(poses.segments):
        (standing, there), (fitted, seen) = body.standing[name], apart.standing[name]
        rotation[:, :, s] = compose(poses.rotation[:, :, s], (standing.T @ fitted)[..., None])
        origin[:, s] += rotate(poses.rotation[:, :, s], (standing.T @ (seen - there))[:, None])
    _, moved = joined(replace(poses, rotation=rotation, origin=origin), apart)
    true = body.standing_points["right_hip_centre"]
    before, after = (np.linalg.norm(each.standing_points["right_hip_centre"] - true) for each in (apart, moved))
    assert after < 0.7 * before


def test_draws_are_joined_as_one_is(exact: tuple[SegmentPoses, FittedBody]) -> None:
    poses, body = exact
    apart = slid(poses, body, "left_thigh")
    alone, moved = joined(apart, body)
    shares = Joining.along(apart, body, moved)
    nothing = BodyErrors(2, {}, {})
    two = calibrate(static_recording(RIDER), label_map(), RIDER, errors=nothing)
    wide = {key: np.repeat(getattr(apart, key)[..., None, :], 2, axis=-2) for key in ("rotation", "origin", "residual")}
    both, bodies = shares.joined(replace(apart, **wide), two, {})
    np.testing.assert_allclose(both.origin[..., 1, :], alone.origin, atol=1e-9)
    knee = bodies.standing_points["left_knee_centre"]
    np.testing.assert_allclose(knee, np.stack([moved.standing_points["left_knee_centre"]] * 2, axis=1), atol=1e-9)


def test_what_is_not_seen_stays_so_and_spoils_nothing(exact: tuple[SegmentPoses, FittedBody]) -> None:
    poses, body = exact
    apart = slid(poses, body, "left_thigh")
    origin = apart.origin.copy()
    origin[:, apart.index("right_shank"), 50:60] = np.nan
    together, moved = joined(replace(apart, origin=origin), body)
    assert np.isnan(together.origin[:, apart.index("right_shank"), 50:60]).all()
    left = together.origin[:, apart.index("left_thigh")]
    assert np.isfinite(left).all()
    assert off(together, poses, moved, "left_knee_centre") < 0.7 * off(apart, poses, body, "left_knee_centre")


def test_a_cluster_that_moved_by_centimetres_drags_no_neighbour_along(exact: tuple[SegmentPoses, FittedBody]) -> None:
    poses, body = exact
    s, origin = poses.index("right_shank"), poses.origin.copy()
    origin[0, s] += 0.06
    together, _ = joined(replace(poses, origin=origin), body)
    np.testing.assert_allclose(together.origin[:, s], origin[:, s], atol=1e-9)
    foot = poses.index("right_foot")
    np.testing.assert_allclose(together.origin[:, foot], poses.origin[:, foot], atol=1e-9)
    assert apart(replace(poses, origin=origin), body)["right_knee_centre"].min() > 0.05

"""Alignment in the rider's own facing frame: signs, sides, and independence of how the laboratory is turned."""

from __future__ import annotations

import numpy as np
import pytest
from made import LABELS, RATE, RIDER, recording, standing_positions
from scipy.spatial.transform import Rotation

from jointload.body.calibration import FittedBody, calibrate
from jointload.body.pose import smooth_markers, track_segments
from jointload.foot.bore import FOOT_QUANTITIES
from jointload.intake.recording import SIDES
from jointload.landing.alignment import Alignment, alignment
from jointload.landing.measures.every_measure import BODY_MEASURES, SIDE_MEASURES
from jointload.modeldata import load_model

SAME = 1e-9
SERIES = (
    "pelvis_tilt",
    "pelvis_obliquity",
    "pelvis_rotation",
    "trunk_lean",
    "trunk_lean_forward",
    "tibia_inclination_frontal",
    "knee_over_ankle",
    "hip_pelvis_angle",
    "sole_angle",
)


@pytest.fixture(scope="module")
def body() -> FittedBody:
    return calibrate(recording(standing_positions()), LABELS, RIDER)


def aligned(body: FittedBody, positions: dict[str, np.ndarray]) -> Alignment:
    markers, _ = smooth_markers(recording(positions, 10, "trial"), body, None, 0.1)
    return alignment(track_segments(markers, body, RATE)[0], body, 5)


def turned(segments: tuple[str, ...], body: FittedBody, centre: np.ndarray, vector: tuple[float, float, float]):
    turn = Rotation.from_rotvec(vector).as_matrix()
    out = dict(standing_positions())
    for segment in segments:
        for label in body.clusters[segment].labels:
            out[label] = centre + turn @ (out[label] - centre)
    return out


def everything(body: FittedBody) -> tuple[str, ...]:
    return tuple(body.clusters)


def test_standing_square_is_nearly_zero(body: FittedBody) -> None:
    found = aligned(body, standing_positions())
    for name in ("pelvis_obliquity", "pelvis_rotation", "trunk_lean", "sole_angle"):
        np.testing.assert_allclose(getattr(found, name), 0.0, atol=SAME, err_msg=name)
    np.testing.assert_allclose(found.knee_over_ankle[0], found.knee_over_ankle[1], atol=SAME)


@pytest.mark.parametrize("quarter", [1, 2, 3])
def test_turning_the_laboratory_changes_no_alignment(body: FittedBody, quarter: int) -> None:
    turn = Rotation.from_euler("y", 90 * quarter, degrees=True).as_matrix()
    leaning = turned(everything(body), body, np.zeros(3), (0.1, 0.0, -0.2))
    once = aligned(body, leaning)
    again = aligned(body, {label: turn @ place for label, place in leaning.items()})
    for name in SERIES:
        np.testing.assert_allclose(getattr(again, name), getattr(once, name), atol=SAME, err_msg=name)


def test_leaning_right_raises_the_left_side(body: FittedBody) -> None:
    found = aligned(body, turned(everything(body), body, np.zeros(3), (0.1, 0.0, 0.0)))
    np.testing.assert_allclose(found.trunk_lean, 0.1, atol=0.01)
    np.testing.assert_allclose(found.pelvis_obliquity, -0.1, atol=0.002)


def test_leaning_forward_tilts_the_pelvis_forward(body: FittedBody) -> None:
    upright = aligned(body, standing_positions())
    found = aligned(body, turned(everything(body), body, np.zeros(3), (0.0, 0.0, -0.2)))
    np.testing.assert_allclose(found.pelvis_tilt - upright.pelvis_tilt, 0.2, atol=SAME)
    np.testing.assert_allclose(found.trunk_lean_forward - upright.trunk_lean_forward, 0.2, atol=SAME)


@pytest.mark.parametrize("side", SIDES)
def test_a_shank_that_leans_inwards_is_positive_on_both_sides(body: FittedBody, side: str) -> None:
    k, medial = SIDES.index(side), -1.0 if side == "right" else 1.0
    ankle = body.standing_points[f"{side}_ankle_centre"]
    leg = (f"{side}_shank", f"{side}_thigh")
    upright = aligned(body, standing_positions())
    found = aligned(body, turned(leg, body, ankle, (0.1 * medial, 0.0, 0.0)))
    np.testing.assert_allclose((found.tibia_inclination_frontal - upright.tibia_inclination_frontal)[k], 0.1, atol=0.01)
    assert np.all(found.knee_over_ankle[k] > upright.knee_over_ankle[k])
    np.testing.assert_allclose(found.knee_over_ankle[1 - k], upright.knee_over_ankle[1 - k], atol=SAME)


@pytest.mark.parametrize("side", SIDES)
def test_lifted_toes_are_positive(body: FittedBody, side: str) -> None:
    heel = body.standing_points[f"{side}_calcaneus"]
    found = aligned(body, turned((f"{side}_foot",), body, heel, (0.0, 0.0, 0.3)))
    np.testing.assert_allclose(found.sole_angle[SIDES.index(side)], 0.3, atol=0.01)


@pytest.mark.parametrize("side", SIDES)
def test_a_bent_hip_closes_the_angle_between_thigh_and_pelvis(body: FittedBody, side: str) -> None:
    hip = body.standing_points[f"{side}_hip_centre"]
    k = SIDES.index(side)
    before = aligned(body, standing_positions()).hip_pelvis_angle[k]
    after = aligned(body, turned((f"{side}_thigh",), body, hip, (0.0, 0.0, 0.4))).hip_pelvis_angle[k]
    np.testing.assert_allclose(before - after, 0.4, atol=0.02)


def test_every_measure_has_a_glossary_row_and_no_row_is_orphaned() -> None:
    rows = {row["name"] for row in load_model("glossary", "quantities").content}
    assert rows == {*BODY_MEASURES, *SIDE_MEASURES, *FOOT_QUANTITIES, "first_contact_zone"}

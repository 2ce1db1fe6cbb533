"""Which foot bears which plate, from made-up feet and plates."""

from __future__ import annotations

import numpy as np
import pytest
from made import LABELS, RATE, RIDER, recording, standing_positions

from jointload.body.calibration import FittedBody, calibrate
from jointload.body.pose import smooth_markers, track_segments
from jointload.intake.recording import Plate
from jointload.loads.contact import Contact, foot_contact, loaded_spans, outside, standing_weight

FRAMES = 100
WEIGHT = RIDER.weight


@pytest.fixture(scope="module")
def body() -> FittedBody:
    return calibrate(recording(standing_positions()), LABELS, RIDER)


def plate(number: int, z: tuple[float, float], vertical: np.ndarray, x: tuple[float, float] = (-0.3, 0.4)) -> Plate:
    """A plate on the floor whose load presses in the middle of its width."""
    (x0, x1), (z0, z1) = x, z
    corners = np.array([[x1, x1, x0, x0], [0.0] * 4, [z0, z1, z1, z0]])
    force = np.stack([0 * vertical, vertical, 0 * vertical])
    pressed = np.array([0.03, 0.0, 0.09 * np.sign(z0 + z1)])
    return Plate(number, 2, corners, force, np.cross(pressed, force.T).T, "made up")


def contact_of(
    body: FittedBody, positions: dict[str, np.ndarray], *plates: Plate, cutoff: float | None = None
) -> Contact:
    trial = recording(positions, FRAMES, "trial", tuple(plates))
    markers, _ = smooth_markers(trial, body, None, 0.1)
    poses, _ = track_segments(markers, body, RATE)
    return foot_contact(trial, poses, body, cutoff, 20.0)


def steady(force: float) -> np.ndarray:
    return np.full(FRAMES, force)


def raised(side: str, height: float = 0.3) -> dict[str, np.ndarray]:
    """The standing rider with one foot held up."""
    lift = np.array([0.0, height, 0.0])
    foot = {f"{side} {n}" for n in ("calcaneus", "metatarsal1", "metatarsal5")}
    return {label: place + lift if label in foot else place for label, place in standing_positions().items()}


def test_one_foot_on_each_plate(body: FittedBody) -> None:
    right, left = plate(1, (0.01, 0.5), steady(400.0)), plate(2, (-0.5, -0.01), steady(300.0))
    contact = contact_of(body, standing_positions(), right, left)
    assert not contact.lost
    np.testing.assert_allclose(contact.force[1], [steady(400.0), steady(300.0)])
    np.testing.assert_allclose(contact.moment[:, 0], right.moment)


def test_two_feet_on_one_plate_give_nothing_and_say_so(body: FittedBody) -> None:
    contact = contact_of(body, standing_positions(), plate(1, (-0.5, 0.5), steady(WEIGHT)))
    assert np.isnan(contact.force).all()
    assert {gone.reason for gone in contact.lost} == {"two feet on one plate"}
    assert any("two feet on one plate" in finding.evidence for finding in contact.findings)


def test_one_raised_foot_leaves_the_plate_to_the_other(body: FittedBody) -> None:
    contact = contact_of(body, raised("left"), plate(1, (-0.5, 0.5), steady(WEIGHT)))
    np.testing.assert_allclose(contact.force[1, 0], WEIGHT)
    np.testing.assert_allclose(contact.force[:, 1], 0.0)
    assert not contact.lost


def test_a_foot_on_two_plates_gives_nothing_for_that_foot(body: FittedBody) -> None:
    front = plate(1, (0.0, 0.5), steady(300.0), x=(0.05, 0.6))
    back = plate(2, (0.0, 0.5), steady(100.0), x=(-0.5, 0.05))
    contact = contact_of(body, raised("left"), front, back)
    assert np.isnan(contact.force[:, 0]).all()
    assert np.isfinite(contact.force[:, 1]).all()
    assert {gone.reason for gone in contact.lost} == {"the foot stands on two plates"}


def test_a_foot_beside_the_plates_is_not_taken_as_unloaded(body: FittedBody) -> None:
    contact = contact_of(body, standing_positions(), plate(1, (0.01, 0.5), steady(400.0)))
    assert np.isfinite(contact.force[:, 0]).all()
    assert np.isnan(contact.force[:, 1]).all()
    assert [gone.reason for gone in contact.lost] == ["the foot stands on the floor beside the plates"]


def test_a_loaded_plate_without_a_foot_is_nobodys(body: FittedBody) -> None:
    contact = contact_of(body, standing_positions(), plate(1, (2.0, 2.5), steady(400.0)))
    assert np.isnan(contact.force).all()


def test_no_plate_is_unknown_not_zero(body: FittedBody) -> None:
    contact = contact_of(body, standing_positions())
    assert np.isnan(contact.force).all()
    assert "no force plate" in contact.lost[0].reason


def test_a_swinging_foot_over_the_same_plate_does_not_take_it(body: FittedBody) -> None:
    """Both feet low over one plate, the left moving past at 2 m/s: the plate belongs to the foot under the pressure."""
    step = np.linspace(-1.0, 1.0, FRAMES)
    foot = {f"left {n}" for n in ("calcaneus", "metatarsal1", "metatarsal5")}
    moving = {
        label: place[:, None] + np.stack([step, np.full(FRAMES, 0.03), 0 * step]) if label in foot else place
        for label, place in standing_positions().items()
    }
    contact = contact_of(body, moving, plate(1, (-0.4, 0.6), steady(WEIGHT)))
    np.testing.assert_allclose(contact.force[1, 0], WEIGHT)
    np.testing.assert_allclose(contact.force[1, 1], 0.0)


def test_a_foot_that_swings_by_at_toe_off_does_not_stand(body: FittedBody) -> None:
    """The load falls through the threshold of 20 N to its half, where the contact ends: too little to tell where the
    plate is pressed, and the left foot still moves past at 2 m/s."""
    step = np.linspace(-1.0, 1.0, FRAMES)
    foot = {f"left {n}" for n in ("calcaneus", "metatarsal1", "metatarsal5")}
    moving = {
        label: place[:, None] + np.stack([step, np.full(FRAMES, 0.03), 0 * step]) if label in foot else place
        for label, place in standing_positions().items()
    }
    load = np.where(np.arange(FRAMES) < 48, WEIGHT, np.where(np.arange(FRAMES) < 54, 14.0, 0.0))
    contact = contact_of(body, moving, plate(1, (-0.4, 0.6), load))
    assert not [gone for gone in contact.lost if gone.reason == "two feet on one plate"]
    np.testing.assert_allclose(contact.force[1, 0, :54], load[:54])


def test_the_tail_of_a_filtered_force_stays_with_its_foot(body: FittedBody) -> None:
    pressing = (np.arange(FRAMES) > 40) & (np.arange(FRAMES) < 70)
    load, lift = np.where(pressing, WEIGHT, 0.0), np.where(pressing, 0.0, 0.04)
    foot = {f"right {n}" for n in ("calcaneus", "metatarsal1", "metatarsal5")}
    up = np.stack([0 * lift, lift, 0 * lift])
    path = {label: place[:, None] + up if label in foot else place for label, place in raised("left").items()}
    contact = contact_of(body, path, plate(1, (-0.5, 0.5), load), cutoff=10.0)
    assert contact.force[1, 0, 38] > 1.0
    assert np.sum(contact.force[1, 0]) == pytest.approx(np.sum(load), rel=0.01)


def test_contact_needs_the_threshold_and_a_least_duration() -> None:
    force = np.zeros(500)
    force[100:102] = 300.0
    force[200:300] = 15.0
    force[350:450] = np.linspace(0, 200, 100)
    spans = loaded_spans(force, 1000.0, 20.0)
    assert [start for start, _ in spans] == [350 + 10], "20 N on a rise of 200 N over 99 samples"


def test_hysteresis_keeps_a_noisy_contact_whole() -> None:
    force = np.where(np.arange(400) % 2, 22.0, 18.0)
    force[:100] = force[300:] = 0.0
    assert len(loaded_spans(force, 1000.0, 20.0)) == 1


def test_body_weight_is_read_from_a_steady_stance_only() -> None:
    plates = (plate(1, (0.0, 0.5), steady(350.0)), plate(2, (-0.5, 0.0), steady(340.0)))
    trial = recording(standing_positions(), FRAMES, "trial", plates)
    assert standing_weight(trial, slice(10, 60), WEIGHT) == pytest.approx(690.0)
    assert np.isnan(standing_weight(trial, slice(10, 13), WEIGHT)), "three frames are no stance"
    wobbling = (plate(1, (0.0, 0.5), steady(350.0) * (1 + 0.5 * np.sin(np.arange(FRAMES)))), plates[1])
    assert np.isnan(standing_weight(recording(standing_positions(), FRAMES, "trial", wobbling), slice(10, 60), WEIGHT))
    one_foot = (plates[0],)
    assert np.isnan(
        standing_weight(recording(standing_positions(), FRAMES, "trial", one_foot), slice(10, 60), 3 * WEIGHT)
    )
    assert np.isnan(standing_weight(trial, slice(10, 60), 0.4 * WEIGHT)), "it may be something else"
    assert standing_weight(trial, slice(10, 60), 0.4 * WEIGHT, alone=True) == pytest.approx(690.0)


@pytest.mark.parametrize("order", [(0, 1, 2, 3), (3, 2, 1, 0)])
def test_how_far_a_place_lies_outside_a_plate(order: tuple[int, ...]) -> None:
    """Of 0.4 by 0.6 m turned by 30 deg, whichever way its corners go round: past one side, past a corner, inside."""
    turn = np.array([[np.cos(np.pi / 6), -np.sin(np.pi / 6)], [np.sin(np.pi / 6), np.cos(np.pi / 6)]])

    def in_lab(level: list[list[float]]) -> np.ndarray:
        x, z = turn @ np.array(level).T + np.array([[1.0], [-2.0]])
        return np.stack((x, np.full_like(x, 0.1), z))

    corners = in_lab([[0.2, 0.3], [-0.2, 0.3], [-0.2, -0.3], [0.2, -0.3]])[:, list(order)]
    places = in_lab([[0.25, 0.0], [0.0, -0.37], [0.25, 0.34], [0.0, 0.0], [-0.19, 0.1]])
    places[:, 4] = np.where(np.arange(3) == 1, np.nan, places[:, 4])
    np.testing.assert_allclose(outside(corners, places[:, None])[0], [0.05, 0.07, 0.05, -0.2, -0.01], atol=1e-12)
    assert np.isnan(outside(corners, np.full((3, 1, 1), np.nan))).all()
    on_edge = corners[[1, 0, 2]] * np.array([1.0, 1.0, 0.0])[:, None]
    assert np.isnan(outside(on_edge, places[:, None])).all(), "a wrong --up: said elsewhere, and no warning from here"

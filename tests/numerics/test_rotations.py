"""Rotations against scipy's Rotation, a worked frame and closed-form motion."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from jointload.numerics import rotations as r

ROUNDING = 1e-12


def random_rotations(count: int, seed: int = 0) -> tuple[Rotation, np.ndarray]:
    them = Rotation.random(count, random_state=seed)
    return them, them.as_matrix().transpose(1, 2, 0)


def test_products_equal_scipy() -> None:
    a, ours_a = random_rotations(50, 1)
    b, ours_b = random_rotations(50, 2)
    vector = np.random.default_rng(0).normal(size=(3, 50))
    np.testing.assert_allclose(r.compose(ours_a, ours_b).transpose(2, 0, 1), (a * b).as_matrix(), atol=ROUNDING)
    np.testing.assert_allclose(r.rotate(ours_a, vector).T, a.apply(vector.T), atol=ROUNDING)
    np.testing.assert_allclose(r.rotate_back(ours_a, vector).T, a.inv().apply(vector.T), atol=ROUNDING)


def test_rotation_vectors_equal_scipy_and_are_exact_at_zero() -> None:
    them, ours = random_rotations(200, 3)
    np.testing.assert_allclose(r.to_vector(ours).T, them.as_rotvec(), atol=1e-7)
    np.testing.assert_allclose(r.from_vector(r.to_vector(ours)), ours, atol=1e-7)
    assert np.array_equal(r.from_vector(np.zeros(3)), np.eye(3))
    assert np.array_equal(r.to_vector(np.eye(3)), np.zeros(3))


def test_cardan_angles_equal_scipy() -> None:
    them, ours = random_rotations(200, 4)
    np.testing.assert_allclose(r.cardan_zxy(ours).T, them.as_euler("ZXY"), atol=ROUNDING)


def test_cardan_angles_of_the_worked_matrix() -> None:
    """Matrix of 40, -7, 12 deg about Z, X', Y'' to six decimals, worked by hand from the product of three rotations."""
    matrix = np.array(
        [[0.765592, -0.637996, 0.082645], [0.609331, 0.760334, 0.224960], [-0.206362, -0.121869, 0.970857]]
    )
    np.testing.assert_allclose(np.rad2deg(r.cardan_zxy(matrix)), [40, -7, 12], atol=1e-4)


def test_leg_frame_of_a_published_worked_example() -> None:
    """Winter DA, Biomechanics and Motor Control of Human Movement, worked 3-D leg segment (p. 183 as cited by an open
    notebook), cm.

    y = unit(knee centre - ankle centre), x = unit(y x (medial - lateral malleolus)), z = x x y.
    """
    lateral, medial = np.array([2.92, 10.10, 18.85]), np.array([2.71, 10.22, 26.52])
    ankle, knee = np.array([2.815, 10.16, 22.685]), np.array([6.67, 41.89, 20.965])
    printed = [[0.9925, 0.1204, -0.0224], [-0.1190, 0.9913, 0.0568], [0.0290, -0.0537, 0.9981]]
    frame = r.from_axes(knee - ankle, medial - lateral, "y", "z")
    half_a_printed_digit = 6e-5
    np.testing.assert_allclose(frame, np.array(printed), atol=half_a_printed_digit)
    np.testing.assert_allclose(frame.T @ (medial - ankle), [0.0, -0.1592, 3.8336], atol=6e-4)
    assert np.linalg.norm(knee - ankle) == pytest.approx(32.0096, abs=6e-5)


@pytest.mark.parametrize("primary", "xyz")
@pytest.mark.parametrize("secondary", "xyz")
def test_frames_are_right_handed(primary: str, secondary: str) -> None:
    if primary == secondary:
        return
    a, b = np.random.default_rng(5).normal(size=(2, 3))
    frame = r.from_axes(a, b, primary, secondary)
    assert np.linalg.det(frame) == pytest.approx(1.0)
    np.testing.assert_allclose(frame[:, "xyz".index(primary)], a / np.linalg.norm(a))
    assert frame[:, "xyz".index(secondary)] @ b > 0


def test_joint_axes_give_the_same_angles_as_the_matrix() -> None:
    """Grood and Suntay's dot products: the flexion angle about e1 from the proximal X axis to e2."""
    _, proximal = random_rotations(100, 6)
    angles = np.random.default_rng(6).uniform(-1.2, 1.2, size=(3, 100))
    turn = r.compose(
        r.compose(r.about_axis("z", angles[0]), r.about_axis("x", angles[1])), r.about_axis("y", angles[2])
    )
    distal = r.compose(proximal, turn)
    e1, e2, e3 = r.joint_axes(proximal, distal).swapaxes(0, 1)
    np.testing.assert_allclose(
        np.arctan2(r.dot(e2, proximal[:, 1]), r.dot(e2, proximal[:, 0])), angles[0], atol=ROUNDING
    )
    np.testing.assert_allclose(np.arcsin(r.dot(e1, e3)), angles[1], atol=ROUNDING)
    np.testing.assert_allclose(r.cardan_zxy(turn), angles, atol=ROUNDING)


def test_steady_spin_is_exact() -> None:
    spin, dt = np.array([3.0, -5.0, 2.0]), 0.005
    start = Rotation.random(random_state=9).as_matrix()
    path = r.compose(r.from_vector(spin[:, None] * np.arange(20) * dt), start[..., None])
    velocity, acceleration = r.angular_motion(path, dt)
    np.testing.assert_allclose(velocity[:, 1:-1], np.repeat(spin[:, None], 18, axis=1), atol=1e-9)
    np.testing.assert_allclose(acceleration[:, 1:-1], 0.0, atol=1e-8)
    assert np.isnan(velocity[:, [0, -1]]).all()


def test_angular_acceleration_converges_with_the_square_of_the_step() -> None:
    def worst(dt: float) -> float:
        time = np.arange(0, 1, dt)
        angle = 0.8 * np.sin(4 * time)
        _, acceleration = r.angular_motion(r.about_axis("x", angle), dt)
        return float(np.nanmax(np.abs(acceleration[0] + 12.8 * np.sin(4 * time))))

    assert worst(0.002) < 1e-4 * 12.8
    assert worst(0.004) / worst(0.002) == pytest.approx(4.0, rel=0.05)


def test_unwrapping_steps_over_gaps() -> None:
    truth = np.linspace(2.0, 5.0, 30)
    wrapped = (truth + np.pi) % (2 * np.pi) - np.pi
    wrapped[10:13] = np.nan
    out = r.unwrap(wrapped)
    difference = out - truth
    assert np.nanmax(np.abs(difference - np.round(np.nanmean(difference) / (2 * np.pi)) * 2 * np.pi)) < 1e-12
    assert np.isnan(out[10:13]).all()


def test_the_inverse_of_any_matrix() -> None:
    """Against numpy.linalg.inv, to the rounding that a condition number of up to 100 leaves."""
    rng = np.random.default_rng(5)
    left, right = (Rotation.random(40, random_state=k).as_matrix() for k in (1, 2))
    matrices = (left * 10.0 ** rng.uniform(-1.0, 1.0, (40, 1, 3))) @ right
    found = np.moveaxis(r.inverse_of_any(np.moveaxis(matrices, 0, -1)), -1, 0)
    np.testing.assert_allclose(found @ matrices, np.broadcast_to(np.eye(3), found.shape), atol=1e-12)

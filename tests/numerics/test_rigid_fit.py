"""Least-squares pose against the singular value solution of Söderkvist I, Wedin PA (1993) J Biomech 26:1473-1477."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from jointload.numerics.rigid_fit import fit_poses

AGREEMENT = 1e-12
"""Two algorithms in double precision on well-spread clusters."""
RESIDUAL_ROUNDING = 1e-7
"""[m] the residual is the root of a difference of two nearly equal sums of squares."""


def singular_value_fit(local: np.ndarray, seen: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Söderkvist and Wedin: C = B A', svd P T Q', R = P diag(1, 1, det(P Q')) Q', d = mean(B) - R mean(A)."""
    a, b = local - local.mean(axis=1, keepdims=True), seen - seen.mean(axis=1, keepdims=True)
    p, _, q = np.linalg.svd(b @ a.T)
    rotation = p @ np.diag([1.0, 1.0, np.linalg.det(p @ q)]) @ q
    return rotation, seen.mean(axis=1) - rotation @ local.mean(axis=1)


@pytest.mark.parametrize("noise", [0.0, 0.002, 0.02])
@pytest.mark.parametrize("markers", [3, 4, 7])
def test_equals_the_singular_value_solution(markers: int, noise: float) -> None:
    rng = np.random.default_rng(markers)
    local = rng.normal(scale=0.08, size=(3, markers))
    turns = Rotation.random(60, random_state=1).as_matrix()
    exact = np.einsum("fij,jn->inf", turns, local) + rng.normal(size=(3, 1, 60))
    seen = exact + rng.normal(size=exact.shape) * noise
    rotation, origin, residual = fit_poses([local], [seen])
    for f in range(60):
        expected, place = singular_value_fit(local, seen[:, :, f])
        np.testing.assert_allclose(rotation[:, :, 0, f], expected, atol=AGREEMENT)
        np.testing.assert_allclose(origin[:, 0, f], place, atol=AGREEMENT)
        left = seen[:, :, f] - expected @ local - place[:, None]
        assert residual[0, f] == pytest.approx(np.sqrt(np.sum(left**2) / markers), abs=RESIDUAL_ROUNDING)


def test_quarter_turn_of_a_square() -> None:
    """The worked square of the same paper's published program: a quarter turn, no shift, no residual."""
    square = np.array([[0.0, 1, 0, 1], [0, 0, 1, 1], [0, 0, 0, 0]])
    turned = np.array([[0.0, 0, -1, -1], [0, 1, 0, 1], [0, 0, 0, 0]])
    rotation, origin, residual = fit_poses([square], [turned[:, :, None]])
    np.testing.assert_allclose(rotation[:, :, 0, 0], [[0, -1, 0], [1, 0, 0], [0, 0, 1]], atol=AGREEMENT)
    np.testing.assert_allclose(origin[:, 0, 0], 0.0, atol=AGREEMENT)
    assert residual[0, 0] < 1e-8


def test_half_turns_and_mirrored_clusters_stay_rotations() -> None:
    local = np.random.default_rng(3).normal(size=(3, 5))
    for axis in "xyz":
        half = Rotation.from_euler(axis, np.pi).as_matrix()
        rotation, _, _ = fit_poses([local], [(half @ local)[:, :, None]])
        np.testing.assert_allclose(rotation[:, :, 0, 0], half, atol=AGREEMENT)
    mirrored = local * np.array([[1.0], [1.0], [-1.0]])
    rotation, _, _ = fit_poses([local], [mirrored[:, :, None]])
    assert np.linalg.det(rotation[:, :, 0, 0]) == pytest.approx(1.0)
    np.testing.assert_allclose(rotation[:, :, 0, 0], singular_value_fit(local, mirrored)[0], atol=1e-9)


def test_missing_markers_are_left_out_frame_by_frame() -> None:
    rng = np.random.default_rng(4)
    local = rng.normal(scale=0.1, size=(3, 5))
    seen = np.repeat((Rotation.random(random_state=2).as_matrix() @ local)[:, :, None], 6, axis=2)
    seen = seen + rng.normal(scale=0.003, size=seen.shape)
    seen[:, 1, 2] = np.nan
    seen[:, :3, 4] = np.nan
    rotation, origin, _ = fit_poses([local], [seen])
    expected, place = singular_value_fit(np.delete(local, 1, axis=1), np.delete(seen[:, :, 2], 1, axis=1))
    np.testing.assert_allclose(rotation[:, :, 0, 2], expected, atol=AGREEMENT)
    np.testing.assert_allclose(origin[:, 0, 2], place, atol=AGREEMENT)
    assert np.isnan(rotation[:, :, 0, 4]).all()
    assert np.isfinite(rotation[..., [0, 1, 2, 3, 5]]).all()


def test_markers_on_one_line_fix_no_pose() -> None:
    line = np.outer([1.0, 2.0, -1.0], [0.0, 0.1, 0.2, 0.35])
    rotation, origin, residual = fit_poses([line], [line[:, :, None]])
    assert np.isnan(rotation).all()
    assert np.isnan(origin).all()
    assert np.isnan(residual).all()

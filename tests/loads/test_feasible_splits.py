"""The corners of the feasible set against scipy's linear programme, and against statics that a lever decides."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog, minimize
from scipy.sparse import block_diag

from jointload.loads.feasible_splits import constraint_rows, nearest_inside, split_corners
from jointload.loads.soles import off_sole, sole_edges

FRAMES = 40
SOLVER = 1e-7
"""HiGHS' own tolerance on constraints and optimum."""


def soles(rng: np.random.Generator, half_length: float = 0.13, half_width: float = 0.05) -> np.ndarray:
    """(2, 2, 6, FRAMES) two hexagons, each turned and moved from frame to frame."""
    x = half_length * np.array([-1.0, -1.0, 0.4, 1.0, 1.0, 0.4])
    z = half_width * np.array([0.7, -0.7, -1.0, -0.6, 0.6, 1.0])
    out = np.empty((2, 2, 6, FRAMES))
    for k, sign in enumerate((1.0, -1.0)):
        angle = sign * np.deg2rad(12.0) + 0.1 * rng.standard_normal(FRAMES)
        cos, sin = np.cos(angle), np.sin(angle)
        out[0, k] = cos * x[:, None] - sin * z[:, None] + 0.02 * rng.standard_normal(FRAMES)
        out[1, k] = sin * x[:, None] + cos * z[:, None] + sign * 0.22 + 0.02 * rng.standard_normal(FRAMES)
    return out


def pressed_between(outline: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A plate's pressure point that some split explains: between a point of each sole."""
    weight = rng.dirichlet(np.ones(6), size=(2, FRAMES))
    right, left = (np.einsum("ivf,fv->if", outline[:, k], weight[k]) for k in range(2))
    share = rng.uniform(0.0, 1.0, FRAMES)
    return share * right + (1.0 - share) * left


def test_corners_hold_the_optimum_of_every_linear_programme() -> None:
    """One sparse programme over all frames (scipy.optimize.linprog, HiGHS), for twelve directions of load."""
    rng = np.random.default_rng(5)
    outline = soles(rng)
    share = np.stack((rng.uniform(0.0, 0.1, FRAMES), rng.uniform(0.9, 1.0, FRAMES)))
    rows, limits = constraint_rows(outline, pressed_between(outline, rng), share, margin=0.03)
    corners, found = split_corners(rows, limits)
    assert found.all()
    blocks = block_diag([rows[..., f] for f in range(FRAMES)], format="csr")
    for _ in range(12):
        load = rng.standard_normal((3, FRAMES))
        best = linprog(load.T.ravel(), blocks, limits.T.ravel(), bounds=(None, None), method="highs")
        assert best.success
        lowest = np.einsum("if,ikf->kf", load, corners).min(axis=0)
        per_frame = np.sum(best.x.reshape(FRAMES, 3).T * load, axis=0)
        np.testing.assert_allclose(lowest, per_frame, atol=SOLVER)


def test_a_frame_that_no_split_explains_has_no_corner() -> None:
    rng = np.random.default_rng(6)
    outline = soles(rng)
    pressed = pressed_between(outline, rng)
    pressed[:, 3] = [1.0, 0.0]
    free = np.array([[0.0], [1.0]]) + np.zeros(FRAMES)
    corners, found = split_corners(*constraint_rows(outline, pressed, free, 0.005))
    assert np.flatnonzero(~found).tolist() == [3]
    assert np.isnan(corners[..., 3]).all()


def test_between_points_the_lever_decides() -> None:
    """Soles of a tenth of a millimetre: statics of a beam on two supports, share = distance to the other support."""
    rng = np.random.default_rng(7)
    outline = soles(rng, 1e-4, 1e-4)
    right, left = outline.mean(axis=2).swapaxes(0, 1)
    share = np.linspace(0.05, 0.95, FRAMES)
    free = np.array([[0.0], [1.0]]) + np.zeros(FRAMES)
    pressed = share * right + (1.0 - share) * left
    corners, found = split_corners(*constraint_rows(outline, pressed, free, 0.0))
    assert found.all()
    np.testing.assert_allclose(corners[0], np.broadcast_to(share, corners[0].shape), atol=1e-3)


def test_the_nearest_point_is_that_of_a_general_solver() -> None:
    """Against scipy.optimize.minimize (SLSQP) frame by frame; points inside stay where they are."""
    rng = np.random.default_rng(8)
    outline = soles(rng)
    free = np.array([[0.0], [1.0]]) + np.zeros(FRAMES)
    rows, limits = constraint_rows(outline, pressed_between(outline, rng), free, 0.01)
    corners, _ = split_corners(rows, limits)
    middle, spread = corners.mean(axis=1), np.array([0.05, 0.02, 0.02])
    outside = middle + 0.2 * rng.standard_normal(middle.shape)
    near = nearest_inside(outside, rows, limits, spread)
    for f in range(0, FRAMES, 4):
        best = minimize(
            lambda x, f=f: np.sum(((x - outside[:, f]) / spread) ** 2),
            middle[:, f],
            jac=lambda x, f=f: 2.0 * (x - outside[:, f]) / spread**2,
            constraints={"type": "ineq", "fun": lambda x, f=f: limits[:, f] - rows[..., f] @ x},
            method="SLSQP",
            options={"ftol": 1e-12, "maxiter": 200},
        )
        np.testing.assert_allclose(near[:, f], best.x, atol=1e-5)
    np.testing.assert_allclose(nearest_inside(middle, rows, limits, spread), middle)


def test_edges_face_outwards() -> None:
    outline = soles(np.random.default_rng(9))[:, 0]
    middle = outline.mean(axis=1)
    assert (off_sole(outline, middle) < -0.02).all()
    normal, limit = sole_edges(outline)
    np.testing.assert_allclose(np.sum(normal**2, axis=0), 1.0)
    assert (np.sum(normal * middle[:, None], axis=0) < limit).all()
    far = middle + np.array([[0.0], [0.5]])
    np.testing.assert_allclose(off_sole(outline, far), 0.45, atol=0.03)

"""All ways in which two feet may share one wrench, as the corners of a convex set.

In every frame three numbers are free: the right foot's share s of the vertical force and the first moments u = s p of
its pressure point p. The left foot has the rest, 1 - s and P - u, with P the plate's own pressure point. Both points
lie under their soles,

    n . u <= s c  for every edge of the right sole,   n . (P - u) <= (1 - s) c  for every edge of the left,

and s within its bounds: a polytope. A load that is affine in (s, u) takes its extremes in the polytope's corners, which
are found here for all frames at once; they are the optima of the linear programmes over the same rows.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from jointload.intake.recording import Array
from jointload.loads.soles import sole_edges
from jointload.numerics.rotations import cross, dot

EVEN_SHARE = 0.5
"""What the feet can oppose to each other is largest at even shares: the set is cut there, so that loads with a kink
take their extremes in corners, too."""
SLACK = 1e-9
CHUNK = 256
"""Frames solved at once."""


def constraint_rows(outline: Array, pressed: Array, share: Array, margin: float) -> tuple[Array, Array]:
    """The set as rows . (s, ux, uz) <= limits, (R, 3, F) and (R, F).

    outline : (2, 2 feet, V, F) [m] of the soles, right then left;  pressed : (2, F) [m] the plate's pressure point
    share : (2, F) bounds of the right foot's share;  margin : [m] by which the soles are widened
    """
    normal, limit = sole_edges(outline)
    limit = limit + margin
    right = np.stack((-limit[0], normal[0, 0], normal[1, 0]), axis=1)
    left = np.stack((limit[1], -normal[0, 1], -normal[1, 1]), axis=1)
    frames = pressed.shape[1]
    one, none = np.ones(frames), np.zeros(frames)
    bounds = np.stack((np.stack((-one, none, none)), np.stack((one, none, none))))
    rows = np.concatenate((right, left, bounds))
    beyond = limit[1] - np.sum(normal[:, 1] * pressed[:, None], axis=0)
    return rows, np.concatenate((np.zeros_like(beyond), beyond, -share[:1], share[1:]))


def split_corners(rows: Array, limits: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Corners (3, K, F) of the set, cut at EVEN_SHARE, and whether (F,) there is any; a frame with fewer than K corners
    repeats one, a frame without any is NaN."""
    frames = rows.shape[2]
    cut_row = np.broadcast_to(np.array([[[1.0], [0.0], [0.0]]]), (1, 3, frames))
    planes = np.concatenate((rows, cut_row))
    heights = np.concatenate((limits, np.full((1, frames), EVEN_SHARE)))
    parts = [
        _corners(planes[..., k : k + CHUNK], heights[:, k : k + CHUNK], rows.shape[0]) for k in range(0, frames, CHUNK)
    ]
    most = max((part.shape[1] for part in parts), default=0)
    widened = [np.concatenate((part, np.repeat(part[:, :1], most - part.shape[1], axis=1)), axis=1) for part in parts]
    corners = np.concatenate(widened, axis=2) if widened else np.full((3, 1, 0), np.nan)
    return corners, np.isfinite(corners[0, 0])


def _corners(planes: Array, heights: Array, constraints: int) -> Array:
    """(3, K, F) every point where three planes meet inside all constraints."""
    first, second, third = np.array(list(combinations(range(planes.shape[0]), 3))).T
    a, b, c = (planes[which].swapaxes(0, 1) for which in (first, second, third))
    bc = cross(b, c)
    with np.errstate(invalid="ignore", divide="ignore"):
        point = heights[first] * bc + heights[second] * cross(c, a) + heights[third] * cross(a, b)
        point /= dot(a, bc)
        beyond = np.einsum("rif,itf->rtf", planes[:constraints], point) - heights[:constraints, None]
        valid = np.isfinite(point).all(axis=0) & (beyond < SLACK).all(axis=0)
    most = max(int(valid.sum(axis=0).max(initial=0)), 1)
    order = np.argsort(~valid, axis=0, kind="stable")[:most]
    kept = np.take_along_axis(point, order[None], axis=1)
    inside = np.take_along_axis(valid, order, axis=0)
    return np.where(inside, kept, np.where(inside[0], kept[:, :1].swapaxes(0, 1), np.nan).swapaxes(0, 1))


def nearest_inside(point: Array, rows: Array, limits: Array, spread: Array) -> Array:
    """(3, F) the points of the set nearest to points (3, F), distances counted in units of `spread` (3,).

    Least distance programming by non-negative least squares, a frame after the other; a point inside stays. Lawson CL,
    Hanson RJ (1974) Solving Least Squares Problems, chapter 23 (from memory).
    """
    from scipy.optimize import nnls

    scaled = rows * spread[:, None]
    beyond = np.einsum("rif,if->rf", rows, point) - limits
    out = point.copy()
    target = np.array([0.0, 0.0, 0.0, 1.0])
    for f in np.flatnonzero((beyond > 0.0).any(axis=0)):
        dual = np.vstack((-scaled[..., f].T, beyond[:, f]))
        multipliers, _ = nnls(dual, target)
        left = dual @ multipliers - target
        out[:, f] -= spread * left[:3] / left[3]
    return out

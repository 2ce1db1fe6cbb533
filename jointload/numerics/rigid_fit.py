"""Least-squares rigid pose of marker clusters, closed form, all segments and frames at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from jointload.numerics.rotations import rotate
from jointload.numerics.together import together

Array = NDArray[np.float64]

LEAST_SPREAD = 0.01
"""Markers closer than this [m, root mean square] to one straight line do not fix a rotation about it (choice)."""
NEWTON_STEPS, LEAST_STEP = 30, 1e-9
"""Newton's method ends with a step below this share of the root: convergence is quadratic, so that 1e-16 is left."""


def fit_poses(clusters: Sequence[Array], observed: Sequence[Array]) -> tuple[Array, Array, Array]:
    """Pose of every segment in every frame.

    clusters : per segment (3, n) [m], marker positions in the segment's frame
    observed : per segment (3, n, F) [m], the same markers in the lab; NaN where not seen
    For D draws they are (3, n, D) and (3, n, D, F), every draw with the same markers unseen; all results then have D
    before F.

    Returns lab_from_segment (3, 3, S, F), position of the segment's origin (3, S, F) [m] and the root mean square
    distance (S, F) [m] of the markers from the fit. NaN where fewer than three markers, or only markers on one line,
    are seen.

    The rotation maximises the trace of Horn's symmetric 4 x 4 matrix; its largest eigenvalue is the largest root of the
    characteristic polynomial, found by Newton's method from above, and the quaternion is a column of the adjugate.
    Horn BKP (1987) J Opt Soc Am A 4:629-642; Theobald DL (2005) Acta Cryst A61:478-480 (both from memory).
    """
    shape = (len(clusters), *observed[0].shape[2:])
    covariance, spread, count = np.empty((3, 3, *shape)), np.empty(shape), np.zeros(shape)
    centre_local, centre_lab = np.empty((3, *shape)), np.empty((3, *shape))
    for s, (local, seen_at) in enumerate(zip(clusters, observed, strict=True)):
        patterns = [each for each in _visibility_patterns(seen_at) if _fixes_a_rotation(local[:, each[0]])]
        if not (patterns and isinstance(patterns[0][1], slice)):
            covariance[:, :, s] = centre_local[:, s] = centre_lab[:, s] = spread[s] = np.nan
        for visible, where in patterns:
            _accumulate(
                local[:, visible],
                seen_at[:, visible][..., where],
                s,
                where,
                covariance,
                centre_local,
                centre_lab,
                spread,
            )
            count[s][..., where] = local[:, visible].shape[1]
    rotation, position, largest = np.empty((3, 3, *shape)), np.empty((3, *shape)), np.empty(shape)
    for some in together(len(clusters), spread[0].size):
        quaternion, largest[some] = _largest_eigenpair(covariance[:, :, some], 0.5 * spread[some])
        rotation[:, :, some] = turned = rotation_from_quaternion(quaternion)
        position[:, some] = centre_lab[:, some] - rotate(turned, centre_local[:, some])
    with np.errstate(invalid="ignore", divide="ignore"):
        residual = np.sqrt(np.maximum(spread - 2 * largest, 0.0) / count)
    return rotation, position, residual


def _visibility_patterns(observed: Array) -> list[tuple[slice | NDArray[np.bool_], slice | NDArray[np.intp]]]:
    """Markers that are seen together, and the frames in which they are; one slice of all where nothing is missing."""
    seen = np.isfinite(observed[0] if observed.ndim == 3 else observed[0, :, 0])
    if seen.all():
        return [(slice(None), slice(None))]
    patterns, index = np.unique(seen, axis=1, return_inverse=True)
    index = index.reshape(-1)
    return [(patterns[:, k], np.flatnonzero(index == k)) for k in range(patterns.shape[1])]


def _fixes_a_rotation(local: Array) -> bool:
    if local.shape[1] < 3:
        return False
    local = local if local.ndim == 2 else local[..., 0]
    singular = np.linalg.svd(local - local.mean(axis=1, keepdims=True), compute_uv=False)
    return bool(singular[1] / np.sqrt(local.shape[1]) >= LEAST_SPREAD)


def _accumulate(
    local: Array,
    observed: Array,
    s: int,
    where: slice | NDArray[np.intp],
    covariance: Array,
    centre_local: Array,
    centre_lab: Array,
    spread: Array,
) -> None:
    mean_local, mean_lab = local.mean(axis=1, keepdims=True), observed.mean(axis=1)
    centred, arms = local - mean_local, observed - mean_lab[:, None]
    if local.ndim == 2:
        covariance[:, :, s][..., where] = (centred @ arms).swapaxes(0, 1)
    else:
        covariance[:, :, s][..., where] = (centred.transpose(2, 0, 1) @ arms.transpose(0, 2, 1, 3)).transpose(
            2, 0, 1, 3
        )
    centre_local[:, s][..., where] = mean_local[:, 0, ..., None]
    centre_lab[:, s][..., where] = mean_lab
    spread[s][..., where] = np.einsum("in...,in...->...", arms, arms) + np.sum(centred**2, axis=(0, 1))[..., None]


def _largest_eigenpair(covariance: Array, start: Array) -> tuple[Array, Array]:
    """Unit quaternion (4, ...) and eigenvalue (...) of Horn's matrix; start is an upper bound of the eigenvalue."""
    (xx, xy, xz), (yx, yy, yz), (zx, zy, zz) = covariance
    a, b, c, d = xx + yy + zz, xx - yy - zz, yy - xx - zz, zz - xx - yy
    e, f, g = yz - zy, zx - xz, xy - yx
    h, i, j = xy + yx, zx + xz, yz + zy
    largest = _largest_root(covariance, _symmetric_determinant(a, b, c, d, e, f, g, h, i, j), start)
    column = _best_column(_adjugate(a - largest, b - largest, c - largest, d - largest, e, f, g, h, i, j))
    with np.errstate(invalid="ignore", divide="ignore"):
        return column / np.sqrt(np.einsum("k...,k...->...", column, column)), largest


def _best_column(adjugate: dict[tuple[int, int], Callable[[], Array]]) -> Array:
    """The longest column (4, ...) of a matrix of rank one, q q' times a number: that with the largest diagonal. Mostly
    one column is the longest everywhere, and the others are never worked out."""
    diagonal = np.stack([adjugate[k, k]() for k in range(4)])
    best = np.argmax(np.nan_to_num(np.abs(diagonal), nan=-1.0, posinf=-1.0), axis=0)
    out = np.full(diagonal.shape, np.nan)
    for k in range(4):
        longest = best == k
        if longest.any():
            column = [diagonal[k] if row == k else adjugate[min(row, k), max(row, k)]() for row in range(4)]
            if longest.all():
                return np.stack(column)
            np.copyto(out, column, where=longest)
    return out


def _largest_root(covariance: Array, c0: Array, start: Array) -> Array:
    (xx, xy, xz), (yx, yy, yz), (zx, zy, zz) = covariance
    c2 = -2.0 * np.einsum("ij...,ij...->...", covariance, covariance)
    c1 = -8.0 * (xx * (yy * zz - yz * zy) - xy * (yx * zz - yz * zx) + xz * (yx * zy - yy * zx))
    root = start.copy()
    with np.errstate(invalid="ignore", divide="ignore"):
        for _ in range(NEWTON_STEPS):
            square = root * root
            slope = 4 * square * root + 2 * c2 * root + c1
            step = np.where(slope > 0, ((square + c2) * square + c1 * root + c0) / slope, 0.0)
            root = root - step
            if not np.any(np.abs(step) > LEAST_STEP * np.abs(root)):
                break
    return root


def _symmetric_determinant(
    a: Array, b: Array, c: Array, d: Array, e: Array, f: Array, g: Array, h: Array, i: Array, j: Array
) -> Array:
    """Determinant of [[a e f g] [e b h i] [f h c j] [g i j d]]."""
    s0, s1, s2 = a * b - e * e, a * h - e * f, a * i - e * g
    s3, s4, s5 = e * h - b * f, e * i - b * g, f * i - h * g
    t5, t4, t3 = c * d - j * j, h * d - j * i, h * j - c * i
    t2, t1, t0 = f * d - j * g, f * j - c * g, f * i - h * g
    return s0 * t5 - s1 * t4 + s2 * t3 + s3 * t2 - s4 * t1 + s5 * t0


def _adjugate(
    a: Array, b: Array, c: Array, d: Array, e: Array, f: Array, g: Array, h: Array, i: Array, j: Array
) -> dict[tuple[int, int], Callable[[], Array]]:
    """Adjugate of the same symmetric matrix: (row, column) of its upper half -> what works it out."""
    cd, hd, hj = c * d - j * j, h * d - i * j, h * j - c * i
    fd, fj, fi = f * d - g * j, f * j - c * g, f * i - h * g
    bd, ed, ei = b * d - i * i, e * d - g * i, e * i - b * g
    return {
        (0, 0): lambda: b * cd - h * hd + i * hj,
        (0, 1): lambda: -(e * cd - h * fd + i * fj),
        (0, 2): lambda: e * hd - b * fd + i * fi,
        (0, 3): lambda: -(e * hj - b * fj + h * fi),
        (1, 1): lambda: a * cd - f * fd + g * fj,
        (1, 2): lambda: -(a * hd - e * fd + g * fi),
        (1, 3): lambda: a * hj - e * fj + f * fi,
        (2, 2): lambda: a * bd - e * ed + g * ei,
        (2, 3): lambda: -(a * (b * j - h * i) - e * (e * j - f * i) + g * (e * h - b * f)),
        (3, 3): lambda: a * (b * c - h * h) - e * (e * c - f * h) + f * (e * h - b * f),
    }


def rotation_from_quaternion(q: Array) -> Array:
    """(3, 3, ...) rotation of unit quaternions (4, ...), scalar part first."""
    w, x, y, z = q
    ww, xx, yy, zz = q * q
    xy, xz, yz, wx, wy, wz = x * y, x * z, y * z, w * x, w * y, w * z
    out = np.empty((3, 3, *w.shape))
    out[0, 0], out[1, 1], out[2, 2] = ww + xx - yy - zz, ww - xx + yy - zz, ww - xx - yy + zz
    out[0, 1], out[1, 0] = 2 * (xy - wz), 2 * (xy + wz)
    out[0, 2], out[2, 0] = 2 * (xz + wy), 2 * (xz - wy)
    out[1, 2], out[2, 1] = 2 * (yz - wx), 2 * (yz + wx)
    return out

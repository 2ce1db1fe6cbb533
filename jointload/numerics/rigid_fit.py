"""Least-squares rigid pose of marker clusters, closed form, all segments and frames at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

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
    groups = list(_seen_alike(clusters, observed))
    fixed = [_fix_a_rotation(local) for _, _, local, _ in groups]
    throughout = all(isinstance(each[1], slice) and known.all() for each, known in zip(groups, fixed, strict=True))
    covariance, spread, count = np.empty((3, 3, *shape)), np.empty(shape), np.zeros(shape)
    centre_local, centre_lab = np.empty((3, *shape)), np.empty((3, *shape))
    if not throughout:
        for each in (covariance, spread, centre_local, centre_lab):
            each[...] = np.nan
    for (segments, where, local, seen_at), known in zip(groups, fixed, strict=True):
        if not known.any():
            continue
        own_covariance, own_local, own_lab, own_spread = _moments(local, seen_at)
        for g, s in ((g, segments[g]) for g in np.flatnonzero(known)):
            covariance[:, :, s][..., where] = own_covariance[:, :, g]
            centre_local[:, s][..., where], centre_lab[:, s][..., where] = own_local[:, g], own_lab[:, g]
            spread[s][..., where], count[s][..., where] = own_spread[g], local.shape[2]
    rotation, position, largest = np.empty((3, 3, *shape)), np.empty((3, *shape)), np.empty(shape)
    for some in together(len(clusters), spread[0].size):
        quaternion, largest[some] = _largest_eigenpair(covariance[:, :, some], 0.5 * spread[some])
        rotation[:, :, some] = turned = rotation_from_quaternion(quaternion)
        position[:, some] = centre_lab[:, some] - rotate(turned, centre_local[:, some])
    with np.errstate(invalid="ignore", divide="ignore"):
        residual = np.sqrt(np.maximum(spread - 2 * largest, 0.0) / count)
    return rotation, position, residual


def _seen_alike(
    clusters: Sequence[Array], observed: Sequence[Array]
) -> Iterator[tuple[list[int], slice | NDArray[np.intp], Array, Array]]:
    """Segments, frames, and their markers in the segment (G, 3, n, ...) and in the lab (G, 3, n, ..., F): those of as
    many markers seen throughout at once; any other by itself, and so with draws, which are work enough for one call."""
    alike: dict[int, list[int]] = {}
    for s, (local, seen_at) in enumerate(zip(clusters, observed, strict=True)):
        for visible, where in _visibility_patterns(seen_at):
            if isinstance(where, slice) and local.ndim == 2:
                alike.setdefault(local.shape[1], []).append(s)
            else:
                yield [s], where, local[None, :, visible], seen_at[None, :, visible][..., where]
    for same in alike.values():
        yield same, slice(None), np.stack([clusters[s] for s in same]), np.stack([observed[s] for s in same])


def _visibility_patterns(observed: Array) -> list[tuple[slice | NDArray[np.bool_], slice | NDArray[np.intp]]]:
    """Markers that are seen together, and the frames in which they are; one slice of all where nothing is missing."""
    seen = np.isfinite(observed[0] if observed.ndim == 3 else observed[0, :, 0])
    if seen.all():
        return [(slice(None), slice(None))]
    patterns, index = np.unique(seen, axis=1, return_inverse=True)
    index = index.reshape(-1)
    return [(patterns[:, k], np.flatnonzero(index == k)) for k in range(patterns.shape[1])]


def _fix_a_rotation(local: Array) -> NDArray[np.bool_]:
    """(G,) whether markers (G, 3, n, ...) do, by the first of their draws."""
    if local.shape[2] < 3:
        return np.zeros(local.shape[0], dtype=bool)
    local = local if local.ndim == 3 else local[..., 0]
    singular = np.linalg.svd(local - local.mean(axis=2, keepdims=True), compute_uv=False)
    return np.asarray(singular[:, 1] / np.sqrt(local.shape[2]) >= LEAST_SPREAD)


def _moments(local: Array, observed: Array) -> tuple[Array, Array, Array, Array]:
    """Covariance (3, 3, G, ..., F) of markers (G, 3, n, ...) with themselves in the lab (G, 3, n, ..., F), middle of
    either (3, G, ..., F), and the sum (G, ..., F) of their squared distances from it."""
    mean_local, mean_lab = local.mean(axis=2, keepdims=True), observed.mean(axis=2)
    centred, arms = local - mean_local, observed - mean_lab[:, :, None]
    if local.ndim == 3:
        covariance = (centred[:, None] @ arms).transpose(2, 1, 0, 3)
    else:
        by_draw = centred.transpose(0, 3, 1, 2)[:, None] @ arms.transpose(0, 1, 3, 2, 4)
        covariance = by_draw.transpose(3, 1, 0, 2, 4)
    spread = np.einsum("gin...,gin...->g...", arms, arms) + np.sum(centred**2, axis=(1, 2))[..., None]
    return covariance, mean_local[:, :, 0].swapaxes(0, 1)[..., None], mean_lab.swapaxes(0, 1), spread


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

"""A marker that is hidden is put where the other markers of its segment carry it, with its own place among them.

A marker sits on skin: it is never quite where the rigid fit of the others puts it. That residual is carried across the
gap, eased from what it was before to what it is afterwards, so that a segment does not jump where a marker vanishes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.body.calibration import Cluster
from jointload.intake.recording import Array
from jointload.numerics.rigid_fit import fit_poses
from jointload.numerics.rotations import rotate, rotate_back
from jointload.numerics.signals import runs

EDGE_FRAMES = 3
"""Seen frames next to a gap whose mean residual is carried into it (choice: halves the cameras' noise)."""
LEAST_SEEN = 10
"""Frames in which a marker's own residual must be known to say how much it wanders (choice)."""
UNKNOWN_WANDER = 0.005
"""[m] standard deviation of a residual that is not known (choice: that of skin motion in hard movements)."""


@dataclass(frozen=True)
class Fill:
    """Frames [start, stop) of one marker, counted from 0, that its segment's other markers filled.

    marker : its row;  before, after : whether it is seen on that side;  spread : [m] standard deviation, along one
    axis, of its place in the middle of the gap (at the open end of one that has only one side)
    """

    marker: int
    start: int
    stop: int
    before: bool
    after: bool
    spread: float

    def doubt(self, frames: int) -> Array:
        """(F,) [m] standard deviation of the marker's place: nothing where it is seen, the most farthest from there."""
        out = np.zeros(frames)
        length = self.stop - self.start
        place = (np.arange(length) + 1.0) / (length + 1.0)
        if self.before and self.after:
            out[self.start : self.stop] = self.spread * np.sin(np.pi * place)
        elif self.before:
            out[self.start : self.stop] = self.spread * place
        elif self.after:
            out[self.start : self.stop] = self.spread * place[::-1]
        else:
            out[self.start : self.stop] = self.spread
        return out


def fill_from_neighbours(markers: Array, labels: list[str], clusters: dict[str, Cluster]) -> tuple[Array, list[Fill]]:
    """Trajectories (3, M, F) [m] with what the fit of a segment's other markers can fill, and what was filled.

    Segments of fewer than four markers, and frames in which fewer than three others are seen, stay NaN.
    """
    out, fills = markers, []
    for cluster in clusters.values():
        own = [(label, labels.index(label)) for label in cluster.labels if label in labels]
        if len(own) < 4:
            continue
        where = [row for _, row in own]
        local = cluster.local[:, [cluster.labels.index(label) for label, _ in own]]
        for k in np.flatnonzero(~np.isfinite(markers[0, where]).all(axis=1)).tolist():
            filled, found = _filled(markers[:, where], local, k)
            if found:
                out = out.copy() if out is markers else out
                out[:, where[k]] = filled
                fills += [Fill(where[k], *each) for each in found]
    return out, fills


def _filled(seen: Array, local: Array, k: int) -> tuple[Array, list[tuple[int, int, bool, bool, float]]]:
    """Path (3, F) of one marker of a cluster (3, n, F), and of every filled gap start, stop, its seen sides, and how
    uncertain it is [m]."""
    path, others = seen[:, k].copy(), [n for n in range(local.shape[1]) if n != k]
    by_all = _carried(seen, local, k, others)
    found = []
    for start, stop in runs(~np.isfinite(seen[0, k]) & np.isfinite(by_all[1][0])):
        throughout = [n for n in others if np.isfinite(seen[0, n, start:stop]).all()]
        by_some = _carried(seen, local, k, throughout) if 3 <= len(throughout) < len(others) else by_all
        rotation, placed, left = by_some if np.isfinite(by_some[1][0, start:stop]).all() else by_all
        before, after = _edge(left[:, :start][:, ::-1], start), _edge(left[:, stop:], left.shape[1] - stop)
        own = _eased(before, after, stop - start)
        path[:, start:stop] = placed[:, start:stop] + rotate(rotation[..., start:stop], own)
        sides = (before is not None, after is not None)
        found.append((start, stop, *sides, _wander(left, stop - start, all(sides))))
    return path, found


def _carried(seen: Array, local: Array, k: int, others: list[int]) -> tuple[Array, Array, Array]:
    """Rotation of a cluster by some of its markers, where they carry marker k (3, F) [m], and how far that marker is
    from there (3, F) [m] in the segment's axes."""
    rotation, origin, _ = fit_poses([local[:, others]], [seen[:, others]])
    rotation, origin = rotation[:, :, 0], origin[:, 0]
    carried = origin + rotate(rotation, local[:, k, None])
    return rotation, carried, rotate_back(rotation, seen[:, k] - carried)


def _edge(residual: Array, frames: int) -> Array | None:
    """(3,) mean of the first EDGE_FRAMES of a residual that are known right next to a gap; None where none is."""
    near = residual[:, : min(frames, EDGE_FRAMES)]
    known = np.isfinite(near[0])
    return near[:, known].mean(axis=1) if known.any() else None


def _eased(before: Array | None, after: Array | None, length: int) -> Array:
    """(3, length) residual across a gap: from one side's to the other's without a kink, one side's alone, or none."""
    if before is None and after is None:
        return np.zeros((3, length))
    start = after if before is None else before
    end = before if after is None else after
    assert start is not None and end is not None
    u = (np.arange(length) + 1.0) / (length + 1.0)
    return start[:, None] + (end - start)[:, None] * (u * u * (3.0 - 2.0 * u))


def _wander(residual: Array, length: int, both: bool) -> float:
    """Standard deviation [m] along one axis of a residual (3, F) from the middle of its values half a gap away on both
    sides, or from the value a whole gap away on one."""
    reach = max(1, (length + 1) // 2 if both else length)
    if residual.shape[1] > 2 * reach:
        middle = residual[:, reach:-reach]
        away = middle - 0.5 * (residual[:, : -2 * reach] + residual[:, 2 * reach :])
        away = away if both else residual[:, reach:] - residual[:, :-reach]
        away = away[:, np.isfinite(away).all(axis=0)]
        if away.shape[1] >= LEAST_SEEN:
            return float(np.sqrt(np.mean(away**2)))
    known = residual[:, np.isfinite(residual).all(axis=0)]
    if known.shape[1] >= LEAST_SEEN:
        return float(np.sqrt(np.mean((known - known.mean(axis=1, keepdims=True)) ** 2)))
    return UNKNOWN_WANDER

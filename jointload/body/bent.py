"""Clusters that bent since the standing trial: which marker moved against the others, and a body that leaves it out."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from jointload.body.calibration import Cluster, FittedBody
from jointload.body.pose import SegmentPoses, smooth_markers
from jointload.intake.recording import Array, Recording
from jointload.numerics.rigid_fit import fit_poses
from jointload.numerics.rotations import rotate_back
from jointload.numerics.signals import known_median

SLIPPED = 0.015
"""[m] a marker this far from where the rest of its cluster puts it has slipped (choice; skin motion, averaged over a
trial, reaches 13 mm in the published recordings at hand)."""
SLIP_SCREEN = 0.0025
"""[m] a cluster whose typical fit is better than this holds no such marker: a slip leaves a sixth of itself or more,
typically a third, in the fit of four to six markers; three do not see a slip across the line of the other two."""
SLIP_FRAMES = 40
"""Frames, spread over those in which most markers are seen, on which slipped markers are looked for."""
GOOD_SPREAD = 0.02
"""[m] root mean square distance of three markers from one straight line with which they fix a rotation well (choice:
twice the least with which they fix one at all)."""


def without_slipped(trial: Recording, body: FittedBody, typical: dict[str, float]) -> FittedBody:
    """The body without the marker of a cluster that slipped, where three others remain; itself where none did.

    typical : residual [m] of every segment's fit with every marker
    """
    slipped = slipped_markers(trial, body, typical)
    gone = {name: found for name, found in slipped.items() if _will_do(trial, body.clusters[name], found[0])}
    if not gone:
        return body
    kept = {name: tuple(n for n in body.clusters[name].labels if n != label) for name, (label, _) in gone.items()}
    return replace(with_labels_only(body, kept), left_out=gone)


def left_out_as_in(body: FittedBody, other: FittedBody) -> FittedBody:
    """The body without the markers that were left out of another of the same rider, because they slipped."""
    if not other.left_out:
        return body
    kept = {name: other.clusters[name].labels for name in other.left_out}
    return replace(with_labels_only(body, kept), left_out=other.left_out)


def with_labels_only(body: FittedBody, labels: dict[str, tuple[str, ...]]) -> FittedBody:
    """The body with clusters of these labels alone; segments that are not named keep theirs."""
    clusters = dict(body.clusters)
    for name, kept in labels.items():
        cluster = clusters[name]
        clusters[name] = Cluster(kept, cluster.local[:, [cluster.labels.index(label) for label in kept]])
    return replace(body, clusters=clusters)


def _will_do(trial: Recording, cluster: Cluster, label: str) -> bool:
    """Whether a cluster fixes a pose well without one of its markers."""
    kept = [k for k, other in enumerate(cluster.labels) if other != label and other in trial.labels]
    if len(kept) < 3:
        return False
    local = cluster.local[:, kept]
    across = np.linalg.svd(local - local.mean(axis=1, keepdims=True), compute_uv=False)[1]
    return bool(across / np.sqrt(len(kept)) >= GOOD_SPREAD)


def slipped_words(label: str, moved: float) -> str:
    """What to say of a marker that slipped so far [m]."""
    return f"{label} is {1000 * moved:.0f} mm from where the other markers of its cluster put it"


def slipped_markers(trial: Recording, body: FittedBody, typical: dict[str, float]) -> dict[str, tuple[str, float]]:
    """Segment to the marker that slipped and by how much [m]; typical : residual [m] of every segment's fit."""
    return _slipped_among(trial, body, tuple(name for name, residual in typical.items() if residual > SLIP_SCREEN))


@lru_cache(maxsize=2)
def _slipped_among(trial: Recording, body: FittedBody, suspects: tuple[str, ...]) -> dict[str, tuple[str, float]]:
    """The same among some segments; remembered, because a landing is followed first and judged later."""
    shapes = _cluster_shapes(trial, body, list(suspects))
    fits = _fits_without_each(
        {name: (local, seen) for name, (labels, local, seen) in shapes.items() if len(labels) > 3}
    )
    found: dict[str, tuple[str, float]] = {}
    for name, (labels, local, seen) in shapes.items():
        told = _against_others(local, seen, *fits[name]) if name in fits else _against_distances(local, seen)
        if told[0] > SLIPPED:
            found[name] = labels[told[1]], told[0]
    return found


def typical_residuals(poses: SegmentPoses, body: FittedBody) -> dict[str, float]:
    """Segment to the median [m] of its rigid fit's residual."""
    middle = zip(poses.segments, known_median(poses.residual).tolist(), strict=True)
    return {name: each for name, each in middle if np.isfinite(each) and len(body.clusters[name].labels) >= 3}


def _cluster_shapes(
    trial: Recording, body: FittedBody, segments: list[str]
) -> dict[str, tuple[tuple[str, ...], Array, Array]]:
    """Segment to labels, places in the segment (3, n) and positions in the lab (3, n, SLIP_FRAMES) [m]."""
    if not segments:
        return {}
    wanted = [trial.labels.index(label) for n in segments for label in body.clusters[n].labels if label in trial.labels]
    often = np.argsort(-np.isfinite(trial.markers[0, wanted]).sum(axis=0), kind="stable")
    frames = np.sort(often[: max(SLIP_FRAMES, np.count_nonzero(np.isfinite(trial.markers[0, wanted]).all(axis=0)))])
    frames = frames[np.unique(np.linspace(0, frames.size - 1, SLIP_FRAMES).astype(int))]
    few = replace(trial, markers=trial.markers[..., frames])
    part = replace(body, clusters={name: body.clusters[name] for name in segments})
    markers, _ = smooth_markers(few, part, None, 0.0)
    out = {}
    for name in segments:
        cluster = body.clusters[name]
        here = [k for k, label in enumerate(cluster.labels) if label in markers]
        labels = tuple(cluster.labels[k] for k in here)
        out[name] = (labels, cluster.local[:, here], np.stack([markers[label] for label in labels], axis=1))
    return out


def _fits_without_each(clusters: dict[str, tuple[Array, Array]]) -> dict[str, tuple[Array, Array, Array]]:
    """Segment -> `fit_poses` of its cluster without each of its n markers, n in place of S; all fitted at once.

    clusters : segment -> places in the segment (3, n) and in the lab (3, n, F) [m]
    """
    if not clusters:
        return {}
    others = [
        (local[:, rest], seen[:, rest])
        for local, seen in clusters.values()
        for rest in ([j for j in range(local.shape[1]) if j != k] for k in range(local.shape[1]))
    ]
    rotation, origin, residual = fit_poses([local for local, _ in others], [seen for _, seen in others])
    out, start = {}, 0
    for name, (local, _) in clusters.items():
        own = slice(start, start + local.shape[1])
        out[name] = rotation[:, :, own], origin[:, own], residual[own]
        start = own.stop
    return out


def _against_others(local: Array, seen: Array, rotation: Array, origin: Array, residual: Array) -> tuple[float, int]:
    """Distance [m] of the marker without which the others fit best from where they put it, and which it is."""
    quality = known_median(np.where(np.isfinite(seen[0]), residual, np.nan))
    odd = int(np.argmin(np.nan_to_num(quality, nan=np.inf)))
    there = rotate_back(rotation[:, :, odd], seen[:, odd] - origin[:, odd]) - local[:, odd, None]
    return float(np.nan_to_num(np.linalg.norm(known_median(there)))), odd


def _against_distances(local: Array, seen: Array) -> tuple[float, int]:
    """Of three markers the largest change of a distance [m], and the marker opposite to the distance that changed
    least."""
    ends = np.array([[1, 2], [2, 0], [0, 1]])
    before = np.linalg.norm(local[:, ends[:, 0]] - local[:, ends[:, 1]], axis=0)
    apart = np.linalg.norm(seen[:, ends[:, 0]] - seen[:, ends[:, 1]], axis=0)
    known = np.isfinite(apart).all(axis=0)
    if not known.any():
        return 0.0, 0
    change = np.abs(np.median(apart[:, known], axis=1) - before)
    return float(change.max()), int(np.argmin(change))

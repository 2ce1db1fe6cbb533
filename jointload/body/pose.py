"""Markers of a movement trial become segment poses."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np

from jointload.body.calibration import Cluster, FittedBody
from jointload.body.gaps import Fill, fill_from_neighbours
from jointload.body.joint_centres import functional_hip_centre
from jointload.errors import CalibrationError, LabelError, expected_found
from jointload.intake.recording import FROM_ONE, SIDES, Array, Finding, FrameNumbers, Recording, Which
from jointload.numerics.rigid_fit import fit_poses
from jointload.numerics.rotations import rotate, rotate_back
from jointload.numerics.signals import bridge_short_gaps, runs, zero_lag_lowpass

LARGE_RESIDUAL = 0.015
"""Root mean square marker residual [m] that a cluster should not exceed (choice; skin motion is of this size)."""
EXCHANGE_SAMPLE = 25
"""Frames spread over the trial on which exchanged labels are looked for."""
EXCHANGE_GAIN = 0.4
"""An exchange must bring the residual below this share of what it was (choice)."""


@dataclass(frozen=True, eq=False)
class SegmentPoses:
    """Poses of all segments of a body, in the order of its definition; NaN where unknown. Draws come before frames:
    (..., D, F).

    rotation : lab_from_segment (3, 3, S, F);  origin : (3, S, F) [m];  residual : (S, F) [m] root mean square of the
    fit
    """

    segments: tuple[str, ...]
    rotation: Array
    origin: Array
    residual: Array
    rate: float

    def index(self, segment: str) -> int:
        return self.segments.index(segment)

    def of(self, segment: str) -> tuple[Array, Array]:
        """lab_from_segment (3, 3, F) and origin (3, F) of one segment."""
        s = self.index(segment)
        return self.rotation[:, :, s], self.origin[:, s]

    def place(self, body: FittedBody, point: str) -> Array:
        """Lab position (3, F) [m] of a landmark or joint centre, carried by its segment; NaN when it is unknown."""
        if point not in body.points:
            return np.full((3, *self.origin.shape[2:]), np.nan)
        segment, local = body.points[point]
        rotation, origin = self.of(segment)
        return origin + rotate(rotation, local[..., None])

    def drawn(self, draw: Which) -> SegmentPoses:
        """One draw of many, or some of them."""
        return SegmentPoses(
            self.segments,
            self.rotation[..., draw, :],
            self.origin[..., draw, :],
            self.residual[..., draw, :],
            self.rate,
        )


def smooth_markers(
    recording: Recording, body: FittedBody, cutoff: float | None, longest_gap: float, protected: tuple[int, ...] = ()
) -> tuple[dict[str, Array], tuple[Finding, ...]]:
    """Gap-filled and low-pass filtered trajectories {label: (3, F)} of every marker the body needs.

    Gaps up to `longest_gap` [s] are bridged by a spline, unless they hold one of the `protected` frames
    (touch-downs); longer ones are filled from the segment's other markers by rigid fit; what is left stays NaN. Every
    fill is a finding.
    """
    used, markers, findings, _ = complete_markers(recording, body, longest_gap, protected)
    smooth = zero_lag_lowpass(markers, cutoff, recording.point_rate)
    return dict(zip(used, smooth.swapaxes(0, 1), strict=True)), findings


@lru_cache(maxsize=4)
def complete_markers(
    recording: Recording, body: FittedBody, longest_gap: float, protected: tuple[int, ...] = ()
) -> tuple[list[str], Array, tuple[Finding, ...], list[Fill]]:
    """Labels and gap-filled trajectories (3, M, F) of every marker the body needs, before any filter; the findings; and
    what was filled from other markers. Remembered, because a landing is followed with several choices."""
    used, markers, exchanged = _labelled(recording, body)
    findings = list(exchanged)
    gaps = ~np.isfinite(markers[0])
    fills: list[Fill] = []
    if gaps.any():
        longest = int(longest_gap * recording.point_rate)
        markers, bridged = bridge_short_gaps(markers, longest, protected)
        markers, fills = fill_from_neighbours(markers, used, body.clusters)
        findings += _gap_findings(recording, used, gaps, bridged, fills, protected)
    return used, markers, tuple(findings), fills


@lru_cache(maxsize=2)
def _labelled(recording: Recording, body: FittedBody) -> tuple[list[str], Array, list[Finding]]:
    """Labels and trajectories (3, M, F) of every marker the body needs, exchanged labels put back, and the findings;
    remembered likewise."""
    used = _needed_labels(recording, body)
    markers = recording.markers[:, [recording.labels.index(label) for label in used]]
    return used, *_exchanged_back(markers, used, body, recording.name)


def track_segments(
    markers: dict[str, Array], body: FittedBody, rate: float, numbers: FrameNumbers = FROM_ONE
) -> tuple[SegmentPoses, tuple[Finding, ...]]:
    """Least-squares pose of every segment; segments with fewer than three markers lean on joint centres of their
    neighbour. Draws (3, D, F) of markers and body give draws of poses, and no findings.

    numbers : of the frames, for the findings
    """
    segments = body.segments
    shape = (len(segments), *next(iter(markers.values())).shape[1:])
    rotation, origin, residual = (np.full((*components, *shape), np.nan) for components in ((3, 3), (3,), ()))
    poses = SegmentPoses(segments, rotation, origin, residual, rate)
    seen = {name: [label for label in c.labels if label in markers] for name, c in body.clusters.items()}
    waiting = [name for name in reversed(segments) if name in seen and len(seen[name]) > 0]
    alone = [name for name in waiting if len(seen[name]) >= 3]
    _fit_together(alone, seen, markers, body, poses, supported=False)
    leaning = [name for name in waiting if name not in alone]
    for name in leaning:
        _fit_together([name], seen, markers, body, poses, supported=True)
    return poses, () if rotation.ndim > 4 else tuple(_pose_findings(body, poses, seen, leaning, numbers))


def moving_hip_centres(
    movement: Recording, body: FittedBody, cutoff: float | None, longest_gap: float
) -> dict[str, Array]:
    """Hip centres (3,) [m] in the pelvis frame, one a side, from a trial in which both thighs swing about the hips."""
    markers, _ = smooth_markers(movement, body, cutoff, longest_gap)
    lab_from_pelvis, origin = track_segments(markers, body, movement.point_rate)[0].of("pelvis")
    out: dict[str, Array] = {}
    for side in SIDES:
        cluster = body.clusters.get(f"{side}_thigh")
        labels = [label for label in cluster.labels if label in markers] if cluster else []
        if not labels:
            expected = f"{side}_thigh markers in the static trial and in the movement"
            advice = "record them, or leave --hip-movement out"
            raise CalibrationError(expected_found("hip movement", expected, "none", movement.name, advice))
        thigh = np.stack([rotate_back(lab_from_pelvis, markers[label] - origin) for label in labels], axis=1)
        out[side], _ = functional_hip_centre(thigh)
    return out


def _needed_labels(recording: Recording, body: FittedBody) -> list[str]:
    """Labels of the clusters and of the landmarks on mass lines that the recording holds."""
    lines = body.definition.mass_lines.values()
    points = [
        n
        for line in lines
        for point in (line.start, line.end)
        for choice in body.definition.points.get(point, ((point,),))
        for n in choice
    ]
    wanted = [label for cluster in body.clusters.values() for label in cluster.labels]
    wanted += [body.landmark_labels[name] for name in points if name in body.landmark_labels]
    present = [label for label in dict.fromkeys(wanted) if label in recording.labels]
    if not present:
        raise LabelError(
            expected_found(
                "markers",
                "at least one marker of the static trial's clusters",
                "none",
                recording.name,
                "correct labels.toml",
            )
        )
    return present


def _fit_together(
    names: list[str],
    seen: dict[str, list[str]],
    markers: dict[str, Array],
    body: FittedBody,
    poses: SegmentPoses,
    supported: bool,
) -> None:
    if not names:
        return
    clusters, observed = [], []
    for name in names:
        cluster = body.clusters[name]
        local = cluster.local[:, [cluster.labels.index(label) for label in seen[name]]]
        lab = np.stack([markers[label] for label in seen[name]], axis=1)
        if supported:
            for point in body.definition.segments[name].support:
                place = poses.place(body, point)
                if np.isfinite(place).any():
                    local = np.concatenate((local, standing_local(body, name, point)[:, None]), axis=1)
                    lab = np.concatenate((lab, place[:, None]), axis=1)
        clusters.append(local)
        observed.append(lab)
    where = [poses.index(name) for name in names]
    poses.rotation[:, :, where], poses.origin[:, where], poses.residual[where] = fit_poses(clusters, observed)


def standing_local(body: FittedBody, segment: str, point: str) -> Array:
    """(3,) [m] a point of the standing rider in a segment's frame, whether or not it is carried by it."""
    rotation, origin = body.standing[segment]
    return rotate_back(rotation, body.standing_points[point] - origin)


def _exchanged_back(markers: Array, used: list[str], body: FittedBody, trial: str) -> tuple[Array, list[Finding]]:
    """Exchange two labels of a segment where only that makes the trial's cluster the static trial's, and say so."""
    sample = markers[..., np.unique(np.linspace(0, markers.shape[2] - 1, EXCHANGE_SAMPLE).astype(int))]
    known = {name: _known_part(cluster, used) for name, cluster in body.clusters.items()}
    known = {name: part for name, part in known.items() if part[1].shape[1] >= 3}
    findings: list[Finding] = []
    for name in _misshapen(known, sample):
        labels, local, where = known[name]
        (as_labelled,) = _typical_residuals([local], [sample[:, where]])
        if not as_labelled > LARGE_RESIDUAL:
            continue
        pairs = list(combinations(range(len(labels)), 2))
        tried = _typical_residuals([local] * len(pairs), [sample[:, _exchange(where, *pair)] for pair in pairs])
        best = int(np.argmin(tried))
        if tried[best] < min(LARGE_RESIDUAL, EXCHANGE_GAIN * as_labelled):
            markers = markers.copy() if not findings else markers
            markers[:, where] = markers[:, _exchange(where, *pairs[best])]
            first, second = (labels[k] for k in pairs[best])
            findings.append(
                Finding(
                    "labels_exchanged",
                    "warn",
                    f"{name}, {trial}",
                    f"{first} and {second}: {1000 * as_labelled:.0f} mm from the cluster as fitted, "
                    f"{1000 * tried[best]:.0f} mm once exchanged",
                    "they were exchanged back; correct the labels in the recording",
                )
            )
    return markers, findings


def _misshapen(known: dict[str, tuple[list[str], Array, list[int]]], sample: Array) -> list[str]:
    """Segments in whose cluster a distance differs from the static trial's by LARGE_RESIDUAL or more."""
    if not known:
        return []
    pairs, owner = list[tuple[int, int]](), list[str]()
    for name, (labels, _, _) in known.items():
        pairs += [(len(owner) + i, len(owner) + j) for i, j in combinations(range(len(labels)), 2)]
        owner += [name] * len(labels)
    local, rows = (np.concatenate([part[k] for part in known.values()], axis=-1) for k in (1, 2))
    first, second = np.array(pairs).T
    static, distance = (np.linalg.norm(x[:, first] - x[:, second], axis=0) for x in (local, sample[:, rows]))
    seen = np.isfinite(distance)
    mean = np.where(seen, distance, 0.0).sum(axis=1) / np.maximum(seen.sum(axis=1), 1)
    changed = seen.any(axis=1) & (np.abs(mean - static) > LARGE_RESIDUAL)
    return list(dict.fromkeys(owner[k] for k in first[changed]))


def _known_part(cluster: Cluster, used: list[str]) -> tuple[list[str], Array, list[int]]:
    """Labels of a cluster that the trial holds, their places (3, n) in the segment, and their rows in `used`."""
    labels = [label for label in cluster.labels if label in used]
    return labels, cluster.local[:, [cluster.labels.index(label) for label in labels]], [used.index(n) for n in labels]


def _exchange(where: list[int], first: int, second: int) -> list[int]:
    out = list(where)
    out[first], out[second] = out[second], out[first]
    return out


def _typical_residuals(clusters: list[Array], seen: list[Array]) -> list[float]:
    """Root mean square residual [m] of every cluster over its frames, NaN when it is never seen."""
    residual = fit_poses(clusters, seen)[2]
    return [
        float(np.sqrt(np.mean(row[np.isfinite(row)] ** 2))) if np.isfinite(row).any() else np.nan for row in residual
    ]


def _gap_findings(
    recording: Recording,
    used: list[str],
    gaps: Array,
    bridged: list[tuple[int, int, int]],
    fills: list[Fill],
    protected: tuple[int, ...],
) -> list[Finding]:
    out = []
    if bridged:
        count, longest = len(bridged), max(stop - start for _, start, stop in bridged)
        names = ", ".join(sorted({used[m] for m, _, _ in bridged}))
        out.append(
            Finding(
                "gap_bridged",
                "pass",
                names,
                f"{count} gaps of up to {longest} frames bridged by a spline",
                "none needed",
            )
        )
    if fills:
        filled = {
            used[row]: sum(f.stop - f.start for f in fills if f.marker == row) for row in [f.marker for f in fills]
        }
        text = ", ".join(f"{label} ({count})" for label, count in filled.items())
        most = 1000 * max(fill.spread for fill in fills)
        out.append(
            Finding(
                "gap_from_segment",
                "warn",
                text,
                f"frames filled from the segment's other markers, uncertain by up to {most:.1f} mm",
                "intervals carry it; check these markers near the landing",
            )
        )
    for frame in protected:
        hidden = [used[m] for m in np.flatnonzero(gaps[:, min(max(frame, 0), gaps.shape[1] - 1)])]
        if hidden:
            out.append(
                Finding(
                    "gap_across_touchdown",
                    "warn",
                    f"{recording.name}, frame {recording.numbers.of(frame)}",
                    f"{', '.join(hidden)} not seen at touch-down",
                    "numbers of the impact phase that need these markers are less certain",
                )
            )
    return out


def _pose_findings(
    body: FittedBody, poses: SegmentPoses, seen: dict[str, list[str]], leaning: list[str], numbers: FrameNumbers
) -> list[Finding]:
    out = []
    for name in leaning:
        support = ", ".join(body.definition.segments[name].support)
        out.append(
            Finding(
                "few_markers",
                "warn",
                name,
                f"{len(seen[name])} own markers",
                f"its pose leans on {support}; place at least three markers",
            )
        )
    for s, name in enumerate(poses.segments):
        if name in body.lost:
            continue
        known = np.isfinite(poses.origin[0, s])
        if not known.any():
            out.append(
                Finding(
                    "segment_lost",
                    "warn",
                    name,
                    "fewer than three markers in the trial",
                    "its angles and moments are not given",
                )
            )
        else:
            typical = float(np.sqrt(np.mean(poses.residual[s, known] ** 2)))
            if typical > LARGE_RESIDUAL:
                out.append(
                    Finding(
                        "large_residual",
                        "warn",
                        name,
                        f"markers {1000 * typical:.0f} mm from the rigid fit",
                        "check swapped or slipped markers",
                    )
                )
            hidden = [numbers.span(start, stop) for start, stop in runs(~known)]
            if hidden:
                out.append(
                    Finding(
                        "segment_gap",
                        "warn",
                        name,
                        f"no pose in frames {', '.join(hidden[:5])}",
                        "numbers in these frames are missing",
                    )
                )
    return out

"""Paths of markers: gaps, jumps, exchanged labels, places that were computed or cannot be."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, groupby

import numpy as np
from numpy.typing import NDArray

from jointload.errors import some
from jointload.intake.labels import LabelMap
from jointload.intake.recording import Array, Finding, Recording, Severity
from jointload.numerics.signals import runs

BELOW_FLOOR = 0.01
"""A marker more than this [m] under the plates' surface cannot be where it is shown (choice)."""
GAP_SHARE = 0.05
"""Share of missing frames above which a marker is a warning: own choice."""
GAP_TIME = 0.1
"""[s] longest gap that can be filled with little harm in a landing: own choice."""
STOPPING_SPEED = 6.0
"""[m/s] a marker whose velocity changes by more than this between two frames, and at once back, has left its path: a
foot that stops dead within one frame after a fall of 1.8 m changes it by as much, but does not turn back (choice)."""
EXCHANGE_NEAR = 0.3
"""Two markers exchange places when each lands this near, as a share of their distance, to where the other would have
been (choice)."""
MANY_JUMPS = 500
"""Exchanges are looked for among this many jumps: labels that jump more often hold no paths."""
COMPUTED_SPREAD = 5e-5
"""[m] standard deviation of the distance between two markers below which at least one is computed: cameras see two
markers on one rigid plate vary by 0.14 mm or more in the published recordings at hand."""
COMPUTED_TRAVEL = 0.1
"""[m] both markers must have travelled this far for their distance to say anything (choice)."""
COMPUTED_SAMPLE, COMPUTED_SEEN = 40, 10
"""Frames spread over the trial on which distances are compared, and the fewest in which both markers must be seen."""
COMPUTED_FEW = 8
"""Every so many of them tell most pairs apart already (choice)."""


def judged_labels(recording: Recording, label_map: LabelMap | None) -> list[str]:
    """The labels of a recording that a map names; all of them without a map."""
    if label_map is None:
        return list(recording.labels)
    named = label_map.labels
    return [label for label in recording.labels if label in named]


def check_gaps(recording: Recording, label_map: LabelMap | None) -> list[Finding]:
    """One row a marker for gaps that matter between its first and last sight; the others, markers that enter or leave
    the view, and markers never seen in one row each."""
    labels = judged_labels(recording, label_map)
    missing = np.isnan(recording.markers[0])
    gaps = [_Gaps.of(label, missing[recording.labels.index(label)], recording.point_rate) for label in labels]
    seen = [gap for gap in gaps if not gap.never]
    inner = [gap for gap in seen if gap.inner_share > GAP_SHARE or gap.longest > GAP_TIME]
    short = [gap for gap in seen if gap.inner_share > 0 and gap not in inner]
    text = f"{sum(gap.whole for gap in gaps)} of {len(labels)} markers have no gap"
    if short:
        text += f"; {len(short)} with short gaps of up to {max(gap.longest for gap in short):.2f} s"
    found = [Finding("gaps", "pass", "markers", text, "short gaps can be filled" if short else "")]
    if never := [gap.label for gap in gaps if gap.never]:
        advice = "what needs them is not given"
        found.append(Finding("gaps", "warn", some(never), "100.0 % of the frames missing", advice))
    for gap in inner:
        text = f"{100 * gap.inner_share:.1f} % of the frames missing between its first and last sight"
        text += f", longest {gap.longest:.2f} s"
        found.append(Finding("gaps", "warn", gap.label, text, "look at the frames of interest"))
    return found + _end_gaps([gap for gap in seen if gap.end_share > 0])


def _end_gaps(gaps: list[_Gaps]) -> list[Finding]:
    if not gaps:
        return []
    worst = max(gaps, key=lambda gap: gap.end_share)
    text = f"{_count(len(gaps), 'marker')} not seen at the start or at the end, {worst.label} the longest: "
    text += f"{100 * worst.end_share:.1f} % of the frames missing there"
    severity: Severity = "warn" if worst.end_share > GAP_SHARE else "pass"
    return [Finding("gaps", severity, "start and end", text, "numbers of these frames are missing")]


@dataclass(frozen=True)
class _Gaps:
    """inner_share, end_share : of all frames, missing between first and last sight and outside; longest : inner gap
    [s]."""

    label: str
    never: bool
    whole: bool
    inner_share: float
    end_share: float
    longest: float

    @classmethod
    def of(cls, label: str, missing: NDArray[np.bool_], rate: float) -> _Gaps:
        if missing.size and not missing.any():
            return cls(label, False, True, 0.0, 0.0, 0.0)
        inner = between_sights(missing)
        share, all_missing = inner.sum() / missing.size, missing.sum() / missing.size
        longest = longest_run(inner) / rate
        whole = not missing.any()
        return cls(label, bool(missing.all()), whole, float(share), float(all_missing - share), longest)


@dataclass(frozen=True)
class Jump:
    """A marker that leaves its path by `size` [m] between frame - 1 and `frame`, counted from 0."""

    label: str
    frame: int
    size: float


@dataclass(frozen=True)
class Exchange:
    """Two markers that carry each other's label in the frames [start, stop), counted from 0."""

    labels: tuple[str, str]
    start: int
    stop: int


def check_jumps(recording: Recording, label_map: LabelMap | None) -> list[Finding]:
    """Markers that leave their path within one frame, and pairs that exchange their places."""
    jumps = marker_jumps(recording, judged_labels(recording, label_map))
    exchanges = exchanged_markers(recording, jumps)
    out = []
    for pair in dict.fromkeys(exchange.labels for exchange in exchanges):
        frames = some(recording.numbers.span(e.start, e.stop) for e in exchanges if e.labels == pair)
        advice = "exchange their labels there; no moments of their segments in these frames"
        out.append(
            Finding("markers exchanged", "refuse", " and ".join(pair), f"change places in frames {frames}", advice)
        )
    explained = {label for exchange in exchanges for label in exchange.labels}
    alone = [jump for jump in jumps if jump.label not in explained]
    if not alone:
        text = "no other marker leaves its path" if out else "none leaves its path"
        return [*out, Finding("marker jumps", "pass", "markers", text, "")]
    largest = max(alone, key=lambda jump: jump.size)
    text = f"{_count(len(alone), 'jump')} off the path within one frame, the largest {1000 * largest.size:.0f} mm: "
    text += f"{largest.label} in frame {recording.numbers.of(largest.frame)}"
    advice = "delete these frames or label them again: accelerations near them are wrong"
    return [*out, Finding("marker jumps", "warn", some(dict.fromkeys(jump.label for jump in alone)), text, advice)]


def marker_jumps(recording: Recording, labels: list[str]) -> list[Jump]:
    """Jumps of these markers in the order of the frames.

    A step D between two frames is D, then -D in the second difference; an impact is of one sign.
    """
    if not labels or recording.frames < 4:
        return []
    path = recording.markers[:, [recording.labels.index(label) for label in labels]]
    second = np.diff(path, n=2, axis=2)
    square = np.einsum("imf,imf->mf", second, second)
    with np.errstate(invalid="ignore"):
        far = square > (STOPPING_SPEED / recording.point_rate) ** 2
    rows, at = np.nonzero(far[:, :-1] & far[:, 1:])
    back = np.einsum("ik,ik->k", second[:, rows, at], second[:, rows, at + 1]) < 0
    size = np.sqrt(np.minimum(square[rows, at], square[rows, at + 1]))
    jumps = [Jump(labels[rows[k]], int(at[k]) + 2, float(size[k])) for k in np.flatnonzero(back)]
    return sorted(jumps, key=lambda jump: jump.frame)


def exchanged_markers(recording: Recording, jumps: list[Jump]) -> tuple[Exchange, ...]:
    """Stretches in which two markers carry each other's label, from the jumps at their ends; the whole trial when not
    both ends are seen."""
    ends: dict[tuple[str, str], list[int]] = {}
    for frame, together in groupby(jumps[:MANY_JUMPS], key=lambda jump: jump.frame):
        for one, other in combinations(sorted(jump.label for jump in together), 2):
            if _change_places(recording, one, other, frame):
                ends.setdefault((one, other), []).append(frame)
    out = []
    for pair, frames in ends.items():
        even = len(frames) % 2 == 0
        stretches = list(zip(frames[::2], frames[1::2], strict=True)) if even else [(0, recording.frames)]
        out += [Exchange(pair, start, stop) for start, stop in stretches]
    return tuple(out)


def _change_places(recording: Recording, one: str, other: str, frame: int) -> bool:
    """Whether each marker goes on, from `frame`, where the other one was heading."""
    a, b = recording.marker(one), recording.marker(other)
    ahead_a, ahead_b = (2 * path[:, frame - 1] - path[:, frame - 2] for path in (a, b))
    near = EXCHANGE_NEAR * np.linalg.norm(ahead_a - ahead_b)
    return bool(np.linalg.norm(a[:, frame] - ahead_b) < near and np.linalg.norm(b[:, frame] - ahead_a) < near)


def check_computed(recording: Recording, label_map: LabelMap | None) -> list[Finding]:
    """Markers that keep their distance to another one better than cameras can see: computed, not measured."""
    groups = computed_markers(recording, judged_labels(recording, label_map))
    check = "computed markers"
    if not groups:
        return [Finding(check, "pass", "markers", "no two keep a distance that noise would not allow", "")]
    together = "; ".join(", ".join(group) for group in groups)
    text = f"the distances of each group vary by less than {1e3 * COMPUTED_SPREAD:g} mm while it travels"
    advice = "at least one marker of each group is computed, not measured: doubt the angles of its segment"
    return [Finding(check, "warn", together, text, advice)]


def computed_markers(recording: Recording, labels: list[str]) -> list[list[str]]:
    """Groups of labels whose distances do not vary while they travel."""
    if recording.frames < COMPUTED_SEEN or len(labels) < 2:
        return []
    frames = np.unique(np.linspace(0, recording.frames - 1, 3 * COMPUTED_SAMPLE).astype(int))
    path = recording.markers[:, [recording.labels.index(label) for label in labels]][..., frames]
    often = np.argsort(-np.isfinite(path[0]).sum(axis=0), kind="stable")[:COMPUTED_SAMPLE]
    path = path[..., often]
    first, second = np.triu_indices(len(labels), 1)
    moving = _travel(path) > COMPUTED_TRAVEL
    both = moving[first] & moving[second]
    first, second = first[both], second[both]
    few = _distance(path[..., ::COMPUTED_FEW], first, second)
    # Two of n values that differ by r make their standard deviation r / sqrt(2 n) or more.
    near = ~(_range(few) > COMPUTED_SPREAD * np.sqrt(2.0 * path.shape[2]))
    first, second = first[near], second[near]
    fixed = _spread(_distance(path, first, second)) < COMPUTED_SPREAD
    return _groups([(labels[a], labels[b]) for a, b in zip(first[fixed], second[fixed], strict=True)])


def _distance(path: Array, first: NDArray[np.intp], second: NDArray[np.intp]) -> Array:
    """(P, F) [m] between pairs of (3, M, F) markers."""
    apart = path[:, first] - path[:, second]
    return np.asarray(np.sqrt(np.einsum("ipf,ipf->pf", apart, apart)))


def _range(distance: Array) -> Array:
    """(P,) from the least to the largest of (P, F) that is known; not above zero where nothing is."""
    return np.fmax.reduce(distance, axis=1, initial=-np.inf) - np.fmin.reduce(distance, axis=1, initial=np.inf)


def _travel(path: Array) -> Array:
    """(M,) [m] diagonal of the box in which each marker of (3, M, F) moves; 0 when it is never seen."""
    seen = np.isfinite(path)
    high, low = np.where(seen, path, -np.inf).max(axis=2), np.where(seen, path, np.inf).min(axis=2)
    span = np.where(seen.any(axis=2), high - low, 0.0)
    return np.sqrt(np.sum(span**2, axis=0))


def _spread(distance: Array) -> Array:
    """(P,) standard deviation along the frames of (P, F), infinite with fewer than COMPUTED_SEEN values."""
    seen = np.isfinite(distance)
    count = seen.sum(axis=1)
    filled = np.where(seen, distance, 0.0)
    mean = filled.sum(axis=1) / np.maximum(count, 1)
    square = np.where(seen, distance - mean[:, None], 0.0) ** 2
    return np.where(count >= COMPUTED_SEEN, np.sqrt(square.sum(axis=1) / np.maximum(count, 1)), np.inf)


def _groups(pairs: list[tuple[str, str]]) -> list[list[str]]:
    """Names joined by pairs."""
    groups: list[list[str]] = []
    for pair in pairs:
        touched = [group for group in groups if set(group) & set(pair)]
        joined = list(dict.fromkeys([*(name for group in touched for name in group), *pair]))
        groups = [group for group in groups if group not in touched] + [joined]
    return groups


def check_below_floor(recording: Recording, label_map: LabelMap | None) -> list[Finding]:
    """Markers that dip under the surface of the plates, which nothing worn on a body can do."""
    check = "markers below the floor"
    labels = judged_labels(recording, label_map)
    if not recording.plates or not labels:
        return [Finding(check, "pass", "file", "no plate tells where the floor is", "")]
    floor = min(float(plate.corners[1].mean()) for plate in recording.plates)
    rows = [recording.labels.index(label) for label in labels]
    heights = np.nan_to_num(recording.markers[1, rows], nan=np.inf).min(axis=1) - floor
    sunk = {label: depth for label, depth in zip(labels, heights, strict=True) if depth < -BELOW_FLOOR}
    if not sunk:
        return [Finding(check, "pass", "markers", f"the lowest is {1000 * heights.min():.0f} mm over the plates", "")]
    worst = some(f"{label} {-1000 * depth:.0f} mm" for label, depth in sorted(sunk.items(), key=lambda i: i[1]))
    advice = "computed instead of measured, or the plates are misplaced: angles of that foot are not reliable"
    return [Finding(check, "warn", worst, f"{_count(len(sunk), 'marker')} below the plates at some time", advice)]


def between_sights(missing: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The part of the frames from the first to the last in which the marker is seen; empty when it never is."""
    seen = np.flatnonzero(~missing)
    return missing[seen[0] : seen[-1] + 1] if seen.size else missing[:0]


def longest_run(flags: NDArray[np.bool_]) -> int:
    """Length of the longest unbroken run of True."""
    return max((stop - start for start, stop in runs(flags)), default=0)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'s' if number != 1 else ''}"

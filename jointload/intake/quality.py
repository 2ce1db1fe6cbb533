"""What a reader must know of a recording before trusting a number that comes from it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from jointload.intake.labels import LabelMap
from jointload.intake.recording import Finding, Recording

BELOW_FLOOR = 0.01
"""A marker more than this [m] under the plates' surface cannot be where it is shown (choice)."""
FORCE_RATE_ADVISED = 1000.0
MARKER_RATE_ADVISED = 200.0
"""[Hz] rates for landings. FROM MEMORY, without a page to cite: a hard landing has content up to about 100 Hz, and its
first peak rises within 10 to 30 ms, to which 1000 Hz gives at least ten samples."""
GAP_SHARE = 0.05
"""Share of missing frames above which a marker is a warning: own choice."""
GAP_TIME = 0.1
"""[s] longest gap that can be filled with little harm in a landing: own choice."""

Check = Callable[[Recording, LabelMap | None], list[Finding]]


def inspect_recording(recording: Recording, label_map: LabelMap | None = None) -> tuple[Finding, ...]:
    """All findings on a recording: those made while it was read, then those of CHECKS in their order.

    With a label map only the markers it names are judged, without one all of them.
    """
    made = [finding for check in CHECKS.values() for finding in check(recording, label_map)]
    return (*recording.findings, *made)


def check_axes(recording: Recording, _: LabelMap | None) -> list[Finding]:
    """Which file axes became forward and up, and why."""
    return [Finding("axes", "pass", "lab", recording.axes_evidence, "")]


def check_rates(recording: Recording, _: LabelMap | None) -> list[Finding]:
    """Whether markers and forces were sampled fast enough for an impact."""
    rates = [("markers", recording.point_rate, MARKER_RATE_ADVISED)]
    if recording.plates:
        rates.append(("plates", recording.force_rate, FORCE_RATE_ADVISED))
    return [
        Finding("rates", "pass", where, f"{rate:g} Hz", "")
        if rate >= advised
        else Finding("rates", "warn", where, f"{rate:g} Hz, advised for impacts {advised:g} Hz", "peaks may be cut")
        for where, rate, advised in rates
    ]


def check_gaps(recording: Recording, label_map: LabelMap | None) -> list[Finding]:
    """Markers with missing frames: how many, and the longest run."""
    wanted = [label for label in recording.labels if label_map is None or label in label_map.labels]
    missing: NDArray[np.bool_] = np.isnan(recording.markers[0])
    findings = []
    for label in wanted:
        gaps = missing[recording.labels.index(label)]
        if not gaps.any():
            continue
        share, inner, longest = gaps.mean(), between_sights(gaps), longest_run(gaps) / recording.point_rate
        text = f"{100 * share:.1f} % of the frames missing, longest {longest:.2f} s"
        text += f"; between first and last sight {100 * inner.mean() if inner.size else 0:.1f} %"
        if share > GAP_SHARE or longest > GAP_TIME:
            findings.append(Finding("gaps", "warn", label, text, "look at the frames of interest"))
        else:
            findings.append(Finding("gaps", "pass", label, text, "short gaps can be filled"))
    whole = len(wanted) - len(findings)
    return [Finding("gaps", "pass", "markers", f"{whole} of {len(wanted)} markers have no gap", ""), *findings]


def check_plates(recording: Recording, _: LabelMap | None) -> list[Finding]:
    """Whether there is any force to work with."""
    if recording.plates:
        numbers = ", ".join(str(plate.number) for plate in recording.plates)
        return [Finding("plates", "pass", "file", f"force from plate {numbers}", "")]
    return [Finding("plates", "warn", "file", "no plate gives a force", "angles can be computed, moments cannot")]


def check_labels_present(recording: Recording, label_map: LabelMap | None) -> list[Finding]:
    """Mapped markers that this recording lacks; another trial may have them."""
    if label_map is None:
        return []
    absent = sorted(label_map.labels.difference(recording.labels))
    if not absent:
        return [Finding("labels", "pass", "labels.toml", "all mapped markers are in the recording", "")]
    text = f"not in the recording: {', '.join(absent)}"
    return [Finding("labels", "warn", "labels.toml", text, "they must be in the static trial")]


def check_below_floor(recording: Recording, label_map: LabelMap | None) -> list[Finding]:
    """Markers that dip under the surface of the plates, which nothing worn on a body can do."""
    check = "markers below the floor"
    if not recording.plates:
        return [Finding(check, "pass", "file", "no plate tells where the floor is", "")]
    floor = min(float(plate.corners[1].mean()) for plate in recording.plates)
    heights = np.nan_to_num(recording.markers[1], nan=np.inf).min(axis=1) - floor
    sunk = {label: depth for label, depth in zip(recording.labels, heights, strict=True) if depth < -BELOW_FLOOR}
    if not sunk:
        return [Finding(check, "pass", "markers", f"the lowest is {1000 * heights.min():.0f} mm over the plates", "")]
    worst = ", ".join(
        f"{label} {-1000 * depth:.0f} mm" for label, depth in sorted(sunk.items(), key=lambda i: i[1])[:4]
    )
    advice = "computed instead of measured, or the plates are misplaced: angles of that foot are not reliable"
    return [Finding(check, "warn", worst, f"{len(sunk)} markers dip below the plates", advice)]


CHECKS: dict[str, Check] = {
    "axes": check_axes,
    "rates": check_rates,
    "plates": check_plates,
    "labels": check_labels_present,
    "gaps": check_gaps,
    "markers below the floor": check_below_floor,
}


def between_sights(missing: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The part of the frames from the first to the last in which the marker is seen; empty when it never is."""
    seen = np.flatnonzero(~missing)
    return missing[seen[0] : seen[-1] + 1] if seen.size else missing[:0]


def longest_run(flags: NDArray[np.bool_]) -> int:
    """Length of the longest unbroken run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]])))
    return int((edges[1::2] - edges[::2]).max(initial=0))

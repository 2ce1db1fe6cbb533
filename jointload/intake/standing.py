"""Whether a recording is of somebody who stands still, and what such a recording need not have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jointload.intake.recording import Array, Finding, Recording

STILL = 0.03
"""[m] a marker of somebody who stands stays this near to its middle place (choice: sway is a third of it)."""
STILL_SHARE = 0.9
"""Share of the markers that must stay so near (choice: an arm may move)."""
LEAST_SECONDS, LEAST_MARKERS = 0.2, 4
STEADY = 0.1
"""Share by which the whole vertical force may vary while somebody stands (choice)."""
LOADED = 50.0
"""[N] whole vertical force below which nobody stands on the plates."""


def stands_still(recording: Recording) -> bool:
    """Whether the markers hardly move and the plates, where they are loaded at all, are loaded throughout alike."""
    if recording.frames / recording.point_rate < LEAST_SECONDS:
        return False
    seen = np.isfinite(recording.markers[0]).any(axis=1)
    if seen.sum() < LEAST_MARKERS:
        return False
    if float(np.mean(_reach(recording.markers[:, seen]) < STILL)) < STILL_SHARE:
        return False
    if not recording.plates:
        return True
    total = np.sum([plate.force[1] for plate in recording.plates], axis=0)
    step = recording.samples_per_frame
    frames = total[: total.size // step * step].reshape(-1, step).mean(axis=1)
    middle = float(np.median(frames))
    return bool(np.abs(frames).max() < LOADED or np.abs(frames - middle).max() < STEADY * middle)


def _reach(markers: Array) -> Array:
    """(M,) [m] farthest place of every marker from its middle one, gaps left out."""
    away = np.linalg.norm(markers - np.nanmedian(markers, axis=2, keepdims=True), axis=0)
    return np.asarray(np.nanmax(away, axis=1))


def of_a_standing_trial(finding: Finding) -> Finding:
    """The finding, without doubts that are none of a standing trial: slow rates, no free plate, no force at all."""
    if finding.severity != "warn":
        return finding
    no_rest = finding.check == "baseline" and finding.evidence.startswith("none: no unloaded stretch")
    no_force = finding.check in ("plates", "plate load") or (
        finding.check == "plate" and finding.evidence == "the file holds no analog channels"
    )
    slow = finding.check == "rates" and "advised for impacts" in finding.evidence
    if no_rest:
        return replace(finding, severity="pass", advice="somebody stands on it throughout: compare with the body weight")
    if no_force:
        return replace(finding, severity="pass", advice="a standing trial needs no force; a weight cannot be compared")
    if slow:
        return replace(finding, severity="pass", advice="enough for somebody who stands still")
    return finding

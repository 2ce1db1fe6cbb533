"""Plates as they lie and as they rest: outlines that overlap, and noise against the contact threshold."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from jointload.intake.recording import Array, Finding, Plate, Recording
from jointload.numerics.signals import runs
from jointload.settings import Settings

OVERLAP = 0.01
"""[m] by which the outlines of two plates may overlap: corners are measured to some millimetres (choice)."""
NOISE_BLOCK, NOISE_LEVEL, NOISE_STRETCH = 0.02, 40.0, 0.06
"""[s] blocks whose mean stays below this [N] are unloaded; [s] so long at least (choice: the flights of a run)."""
CLEAR_OF_NOISE = 8.0
"""A contact threshold clears the noise when half of it, at which a contact ends, is four standard deviations."""
THRESHOLDS = (20.0, 30.0, 50.0, 75.0, 100.0)
"""[N] thresholds that are proposed."""
SHORTEST = 0.03
"""[s] a force above the threshold for less is no contact, as in the analysis."""


def check_overlap(recording: Recording) -> list[Finding]:
    """Plates whose outlines, seen from above, overlap: their corners cannot both be right."""
    found = []
    for one, other in combinations(recording.plates, 2):
        depth = overlap(one, other)
        if depth > OVERLAP:
            where, text = f"plates {one.number} and {other.number}", f"their outlines overlap by {1000 * depth:.0f} mm"
            advice = "correct FORCE_PLATFORM:CORNERS: a foot there would stand on both"
            found.append(Finding("plate overlap", "warn", where, text, advice))
    return found or [Finding("plate overlap", "pass", "plates", "no two outlines overlap", "")]


def overlap(one: Plate, other: Plate) -> float:
    """[m] least way by which one plate would have to move to clear the other, seen from above; 0 where it need not.

    Separating axes of two convex outlines: they are apart where one side of either tells them apart.
    """
    outlines = [plate.corners[[0, 2]] for plate in (one, other)]
    depths = []
    for outline in outlines:
        for edge in (outline - np.roll(outline, 1, axis=1)).T:
            normal = np.array([-edge[1], edge[0]]) / max(float(np.linalg.norm(edge)), 1e-9)
            (low, high), (from_, to) = ((float((normal @ o).min()), float((normal @ o).max())) for o in outlines)
            depths.append(min(high - from_, to - low))
    return max(0.0, min(depths))


def check_noise(recording: Recording) -> list[Finding]:
    """Noise of unloaded plates against the usual contact threshold."""
    found = [one for plate in recording.plates if (one := _noise(plate, recording.force_rate)) is not None]
    return found or [Finding("plate noise", "pass", "plates", "no plate is seen unloaded for long enough to tell", "")]


def _noise(plate: Plate, rate: float) -> Finding | None:
    vertical, usual = plate.force[1], Settings().contact_threshold
    noise = unloaded_noise(vertical, rate)
    if not np.isfinite(noise):
        return None
    check, where = "plate noise", f"plate {plate.number}"
    text = f"{noise:.1f} N (standard deviation) while it is unloaded"
    if CLEAR_OF_NOISE * noise <= usual:
        return Finding(check, "pass", where, text, "")
    proposed = next((level for level in THRESHOLDS if level >= CLEAR_OF_NOISE * noise), THRESHOLDS[-1])
    times = [_touchdown(vertical, rate, level) for level in (usual, proposed)]
    moved = 1000 * (times[1] - times[0])
    text += f": a contact threshold of {usual:g} N does not clear it"
    how = f", touch-down moves by {moved:.0f} ms" if np.isfinite(moved) else ""
    return Finding(check, "warn", where, text, f"take --threshold {proposed:g}{how}, or find what shakes the plate")


def unloaded_noise(vertical: Array, rate: float) -> float:
    """Typical standard deviation [N] of a vertical force (N,) in its unloaded stretches, NaN where it has none; about a
    straight line, as a level that drifts is no noise."""
    size = max(2, round(NOISE_BLOCK * rate))
    means = vertical[: vertical.size // size * size].reshape(-1, size).mean(axis=1)
    stretches = runs(np.abs(means) < NOISE_LEVEL)
    spreads = [
        _about_a_line(vertical[(start + 1) * size : (stop - 1) * size])
        for start, stop in stretches
        if (stop - start - 2) * size >= NOISE_STRETCH * rate
    ]
    return float(np.median(spreads)) if spreads else float("nan")


def _about_a_line(force: Array) -> float:
    sample = np.arange(force.size)
    return float(np.std(force - np.polyval(np.polyfit(sample, force, 1), sample)))


def _touchdown(vertical: Array, rate: float, threshold: float) -> float:
    """Time [s] at which a force first passes a threshold for SHORTEST, NaN where it never does."""
    starts = [a for a, b in runs(vertical > threshold) if a > 0 and b - a >= SHORTEST * rate]
    return starts[0] / rate if starts else float("nan")

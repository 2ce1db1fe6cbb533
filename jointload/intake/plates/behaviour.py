"""Plates as they lie, rest and reach their limit: outlines that overlap, noise, drift, forces that are cut."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
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
FLAT_FORCE = 50.0
"""[N] an extreme below this is no load (choice)."""
FLAT_SHARE = 1e-3
"""A force within this share of its extreme is at the extreme (choice: two bits of a 12-bit converter)."""
FLAT_SAMPLES, FLAT_SECONDS = 5, 0.004
"""A flat top lasts at least this long (choice)."""
FLAT_SHARPNESS = 8.0
"""How many times the tolerance the force would have risen had it gone on as it entered: a smooth peak gives 2, a peak
in steps of a coarse converter a little more, a clipped one ten times as much."""
DRIFT = 10.0
"""[N] change of the unloaded level that matters: half of the 20 N by which a touch-down is told (choice)."""
RESTING = 5.0
"""[N] unloaded level beyond which a plate does not rest at zero (choice: a quarter of the 20 N by which a touch-down is
told)."""
DRIFT_BLOCK, DRIFT_NOISE, DRIFT_LEVEL = 0.02, 15.0, 40.0
"""[s] length of the blocks compared; [N] range within which a block is steady, level below which it bears no load
(choice)."""
DRIFT_SECONDS, DRIFT_APART = 0.04, 0.2
"""[s] the level is the mean of this long at either end of the unloaded time, which must lie this far apart (choice)."""
COMPONENTS = ("forward", "vertical", "sideward")


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


@dataclass(frozen=True)
class FlatTop:
    """Samples [start, stop) in which a component (0 to 2) of a plate's force stands at an extreme level [N]."""

    plate: int
    component: int
    start: int
    stop: int
    level: float


def check_saturation(recording: Recording) -> list[Finding]:
    """Forces that stand still at their extreme: the plate or its amplifier could give no more.

    A single saturated sensor of several that are summed does not make a flat top and is not seen here.
    """
    check = "plate saturation"
    tops = flat_tops(recording)
    advice = "the peak is cut: choose a larger range and record again; no moments in these frames"
    out = []
    for plate, component in dict.fromkeys((top.plate, top.component) for top in tops):
        own = [top for top in tops if (top.plate, top.component) == (plate, component)]
        longest = max(top.stop - top.start for top in own) / recording.force_rate
        text = f"{COMPONENTS[component]} force stands at {own[0].level:.0f} N for {1000 * longest:.0f} ms"
        out.append(Finding(check, "refuse", f"plate {recording.plates[plate].number}", text, advice))
    return out or [Finding(check, "pass", "plates", "no force stands still at its extreme", "")]


@lru_cache(maxsize=2)
def flat_tops(recording: Recording) -> tuple[FlatTop, ...]:
    """Every flat top at the extremes of the plates' force components; remembered, because a recording is judged by
    itself and in its landing."""
    least = max(FLAT_SAMPLES, round(FLAT_SECONDS * recording.force_rate))
    return tuple(
        FlatTop(p, c, start, stop, sign * extreme)
        for p, plate in enumerate(recording.plates)
        for c in range(3)
        for sign in (1.0, -1.0)
        for start, stop, extreme in _flat_stretches(sign * plate.force[c], least)
    )


def _flat_stretches(force: Array, least: int) -> list[tuple[int, int, float]]:
    """(start, stop, level) of the stretches in which a force (N,) stands at its maximum, entered or left abruptly."""
    extreme = float(np.max(force, initial=0.0))
    if extreme < FLAT_FORCE:
        return []
    tolerance = FLAT_SHARE * extreme
    out = []
    for start, stop in runs(force >= extreme - tolerance):
        rise = force[start] - force[start - 2] if start >= 2 else 0.0
        fall = force[stop - 1] - force[stop + 1] if stop + 1 < force.size else 0.0
        sharp = 0.5 * max(rise, fall) * 0.5 * (stop - start) / tolerance
        if stop - start >= least and sharp > FLAT_SHARPNESS:
            out.append((start, stop, extreme))
    return out


def check_drift(recording: Recording) -> list[Finding]:
    """Whether the unloaded level of a plate is zero and stays so within the trial."""
    return [_drift(plate, recording.force_rate) for plate in recording.plates] or [
        Finding("baseline drift", "pass", "file", "no plate", "")
    ]


def _drift(plate: Plate, rate: float) -> Finding:
    check, where = "baseline drift", f"plate {plate.number}"
    size = max(2, round(DRIFT_BLOCK * rate))
    blocks = plate.force[1, : plate.force.shape[1] // size * size].reshape(-1, size)
    levels, steady = blocks.mean(axis=1), np.ptp(blocks, axis=1) <= DRIFT_NOISE
    free = np.flatnonzero(steady & (np.abs(levels) < DRIFT_LEVEL))
    if free.size < 2 or (free[-1] - free[0]) * size / rate < DRIFT_APART:
        return Finding(check, "pass", where, "not unloaded at two times far enough apart to tell", "")
    ends = max(1, round(DRIFT_SECONDS * rate / size))
    before, after = levels[free[:ends]].mean(), levels[free[-ends:]].mean()
    text = f"unloaded level {before:+.1f} N at {free[0] * size / rate:.2f} s, "
    text += f"{after:+.1f} N at {(free[-1] + 1) * size / rate:.2f} s"
    if abs(after - before) > DRIFT:
        advice = "touch-down and every moment shift with it: warm up and zero the plate"
    elif abs(before + after) / 2.0 > RESTING:
        advice = "the plate does not rest at zero: touch-down and every moment shift with it; zero it before the trial"
    else:
        return Finding(check, "pass", where, text, "")
    return Finding(check, "warn", where, text, advice)

"""Finds where a force plate was unloaded, so that its offset can be taken off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.intake.recording import Array, Finding

QUIET_BLOCK = 0.02
"""[s] length of the blocks whose means are compared to find the unloaded level."""
QUIET_RANGE = 15.0
"""[N] a block whose vertical force stays within this range is quiet (or three times the trial's own noise, if more)."""
SAME_LEVEL = 15.0
"""[N] blocks this close to the lowest quiet level count as the same level."""
OFFSET_LIMIT = 40.0
"""[N] a lowest level up to this size is taken for an offset of the unloaded plate, not for a load."""
OFFSET_SHARE = 0.1
"""A lowest level up to this share of the peak is also taken for an offset."""
LOADED = 50.0
"""[N] vertical force above which a plate counts as loaded."""
UNLOADED_TIME = 0.04
"""[s] least total time at the unloaded level for a baseline found in the data."""
BLANK_AWAY = 2.0
"""[N] a blank range this far from the level at which the plate rests is no rest of it (choice: a tenth of the usual
contact threshold)."""

Samples = NDArray[np.intp]
"""Numbers of analog samples, from 0."""


@dataclass(frozen=True)
class Timing:
    """Frames of the trial, their numbering and the analog samples per frame."""

    frames: int
    first_frame: int
    point_rate: float
    samples_per_frame: int

    @property
    def force_rate(self) -> float:
        return self.point_rate * self.samples_per_frame


def block_levels(vertical: Array, length: int) -> tuple[Array, Array]:
    """Mean and range (both (B,)) of consecutive blocks of so many samples; a rest at the end is left out."""
    blocks = vertical[: vertical.size // length * length].reshape(-1, length)
    return blocks.mean(axis=1), np.ptp(blocks, axis=1)


def samples_per_block(timing: Timing) -> int:
    """Samples in a block that is quiet or loaded as a whole."""
    return max(2, round(QUIET_BLOCK * timing.force_rate))


def find_baseline(
    vertical: Array, zero: Array, timing: Timing, number: int
) -> tuple[Samples | None, str, list[Finding]]:
    """The samples whose mean is the unloaded level, how they were found, and what to know about it.

    vertical : (N,) [N] vertical force of one plate, of either sign
    zero : the two frame numbers of FORCE_PLATFORM:ZERO, from 1, inclusive; (0, 0) and (1, 0) mean none
    """
    where = f"plate {number}"
    findings: list[Finding] = []
    if not np.isfinite(vertical).all():
        text = "none: force samples are missing"
        return None, text, [Finding("baseline", "warn", where, text, "export the trial again")]
    quiet, level, peak = _lowest_quiet_level(vertical, timing)
    told = f"FORCE_PLATFORM:ZERO frames ({', '.join(f'{value:g}' for value in zero)})"
    if zero.size >= 2 and np.isfinite(zero).all() and 0 < zero[0] <= zero[1]:
        samples = _zero_samples(zero, timing)
        problem = _zero_problem(vertical, samples, level, peak, timing)
        if not problem:
            text = f"mean of {told}, {vertical[samples].mean():+.1f} N removed"
            return samples, text, [Finding("baseline", "pass", where, text, "")]
        findings.append(Finding("baseline", "warn", where, f"{told} {problem}", "the data were searched instead"))
    else:
        told += " name no range"
    if quiet.size >= UNLOADED_TIME * timing.force_rate and abs(level) <= max(OFFSET_LIMIT, OFFSET_SHARE * abs(peak)):
        found = f"mean of {quiet.size / timing.force_rate:.2f} s found unloaded in the data"
        text = f"{found}, {vertical[quiet].mean():+.1f} N removed; {told}"
        if abs(level) > SAME_LEVEL:
            findings.append(Finding("baseline", "warn", where, text, "zero the plate before the trial"))
        else:
            findings.append(Finding("baseline", "pass", where, text, ""))
        return quiet, text, findings
    text = f"none: no unloaded stretch, lowest steady level {level:.0f} N; {told}"
    findings.append(Finding("baseline", "warn", where, text, "record a moment with the plate free, or zero it before"))
    return None, text, findings


def _zero_samples(zero: Array, timing: Timing) -> Samples:
    """Samples of a ZERO range; file frames count from the first frame, or from 1 when that lies outside the trial."""
    start, stop = round(zero[0]) - timing.first_frame, round(zero[1]) - timing.first_frame + 1
    if start < 0 or stop > timing.frames:
        start, stop = round(zero[0]) - 1, round(zero[1])
    if start < 0 or stop > timing.frames:
        return np.empty(0, dtype=int)
    return np.arange(start * timing.samples_per_frame, stop * timing.samples_per_frame)


def _zero_problem(vertical: Array, samples: Samples, level: float, peak: float, timing: Timing) -> str:
    """Why a ZERO range cannot be the unloaded level, in words; empty when it can."""
    if not samples.size:
        return f"lie outside the trial's {timing.frames} frames"
    mean = float(vertical[samples].mean())
    away = abs(mean - level)
    if np.ptp(vertical[samples]) == 0.0 and BLANK_AWAY < away <= OFFSET_LIMIT:
        return f"are blank, {mean:.1f} N in every sample, while the plate rests at {level:+.1f} N"
    if away > SAME_LEVEL and abs(mean) > SAME_LEVEL:
        return f"hold {mean:.0f} N while the lowest steady level of the trial is {level:.0f} N: the plate was loaded"
    if abs(mean) > OFFSET_LIMIT and abs(peak - mean) < LOADED:
        return f"hold {mean:.0f} N as does the whole trial: load and offset cannot be told apart"
    return ""


def _without_blanks(quiet: NDArray[np.bool_], ranges: Array, loads: Array, seconds: float) -> NDArray[np.bool_]:
    """The quiet blocks without those in which every sample is the same, where the others show the plate at rest: a
    plate makes noise, a range that was not recorded does not."""
    alive = quiet & (ranges > 0.0)
    if not alive.any() or abs(loads[alive].min()) > OFFSET_LIMIT:
        return quiet
    at_rest = alive & (loads <= loads[alive].min() + SAME_LEVEL)
    return alive if at_rest.sum() * seconds >= UNLOADED_TIME else quiet


def _lowest_quiet_level(vertical: Array, timing: Timing) -> tuple[Samples, float, float]:
    """Samples at the lowest steady level, that level [N] and the level farthest from it [N]."""
    length = min(samples_per_block(timing), vertical.size)
    means, ranges = block_levels(vertical, length)
    if not means.size:
        return np.empty(0, dtype=int), 0.0, 0.0
    toward_load = -1.0 if abs(means.min()) > abs(means.max()) else 1.0
    quiet = ranges <= max(QUIET_RANGE, 3.0 * float(np.percentile(ranges, 10)))
    loads = means * toward_load
    quiet = _without_blanks(quiet, ranges, loads, length / timing.force_rate)
    lowest = float(loads[quiet].min()) if quiet.any() else float(loads.min())
    chosen = quiet & (loads <= lowest + SAME_LEVEL)
    samples = (np.flatnonzero(chosen)[:, None] * length + np.arange(length)).ravel()
    level = float(np.median(means[chosen])) if chosen.any() else lowest * toward_load
    return samples, level, float(loads.max()) * toward_load

"""What ends the landing of a foot, by the definition that is chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.body.angles import JointAngles
from jointload.intake.recording import Array

IMPACT_SECONDS = 0.1
"""Longest impact phase, and the phase when there is no second force peak (James et al. 2007 J Sports Sci Med 6:126
use 100 ms)."""
SEARCH_SECONDS = 1.0
"""The pelvis is lowest within this time [s] of touch-down (choice)."""


@dataclass(frozen=True)
class Instant:
    """A time [s], or NaN with the reason."""

    time: float
    reason: str = ""


@dataclass(frozen=True, eq=False)
class Seen:
    """What events need of the motion: height (F,) [m] of the middle of the hips, joint angles, rate [Hz]."""

    pelvis: Array
    angles: JointAngles
    rate: float


def lowest_pelvis_of(seen: Seen, begin: float, lifted: float) -> Instant:
    """The lowest pelvis from the last touch-down on, before the feet lift again."""
    return _turning_point(-seen.pelvis, begin, lifted, seen.rate, "the pelvis is lowest")


def _turning_point(series: Array, begin: float, end: float, rate: float, what: str) -> Instant:
    """Time of the largest value within SEARCH_SECONDS of `begin`, when it is seen to fall again afterwards."""
    start = round(begin * rate)
    stop = min(round(min(begin + SEARCH_SECONDS, end) * rate) + 1, series.size)
    window = series[start:stop]
    if not window.size or not np.isfinite(window).all():
        return Instant(float("nan"), f"not seen until {what}")
    highest = int(np.argmax(window))
    if highest == window.size - 1 and stop == series.size:
        return Instant(float("nan"), f"the recording ends before {what}")
    if highest == window.size - 1 and np.isinf(end):
        return Instant(float("nan"), f"{SEARCH_SECONDS:g} s pass before {what}")
    return Instant((start + highest) / rate)


@dataclass(frozen=True, eq=False)
class Ends:
    """What ends a landing, by the definition chosen."""

    definition: str
    lowest: Instant
    seen: Seen

    def of(self, side: str, touchdown: float, lifted: float, peak_force: Instant) -> Instant:
        if self.definition == "lowest_pelvis":
            return self.lowest
        if self.definition == "fixed_100ms":
            return Instant(touchdown + IMPACT_SECONDS)
        if self.definition == "peak_force":
            return peak_force
        flexion = self.seen.angles.of(f"{side}_knee", "flexion")
        return _turning_point(flexion, touchdown, lifted, self.seen.rate, "the knee is most bent")

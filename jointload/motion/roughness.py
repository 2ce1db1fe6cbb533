"""How rough a motion may be at any time, as the plates tell it: calm in flight and standing, rough when feet strike.

The plates' force is the mass times the acceleration of the whole body, so its rate is the body's jerk, sample by sample
and free of marker noise. A segment's jerk is taken to be noise whose density follows it, and to be several times larger
for a short while after a foot has touched down, most so far down the leg.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.body.calibration import FittedBody
from jointload.intake.recording import Array, Recording
from jointload.numerics.signals import zero_lag_lowpass

CALM = 100.0
"""Density [m2/s5] of the jerk of calm movement: 32 m/s3 for 50 ms (choice; 0.3 mm of noise at 250 Hz are then smoothed
with half the amplitude left at 13 Hz, and flight shows less than 0.02 Nm/kg at any joint)."""
CORRELATED = 0.01
"""Time [s] over which a jerk keeps its sign at an impact (choice)."""
ALL_ALONG = 1.5
"""A segment's jerk per that of the whole body outside the strike: 1.0 to 1.5 in invented landings."""
STRIKE = {"board": 24.0, "foot": 8.0, "shank": 5.5, "thigh": 1.7, "pelvis": 1.7, "trunk": 1.5}
"""The same after a strike, tuned on landings of tests/benchmarks/impact.py kept apart from those reported (bones there
have 20 to 60, 10 to 40, 5 to 8, 5 to 8 and 4 to 8 in the first 80 ms)."""
FORCE_CUTOFF = 60.0
"""Low-pass [Hz] of the force whose rate is taken (choice: plates ring above it)."""


@dataclass(frozen=True)
class Stop:
    """How a strike stops a body: it counts from `before` a touch-down, in full until `full` after it, no more at
    `over`; the squared rate of the force is averaged over a window with the half-width `smeared`; all [s] (choice)."""

    before: float
    full: float
    over: float
    smeared: float


OF_LIMBS = Stop(before=0.006, full=0.06, over=0.10, smeared=0.03)
OF_BOARD = Stop(before=0.002, full=0.025, over=0.05, smeared=0.02)
"""A board is rigid and light: it stops at once, and its touch is known to a force sample. Tuning landings, error of the
force it takes in 30 ms after the touch: with the limbs' stop 69, 47, 25 N along the travel at 100, 250, 1000 Hz, so 49,
30, 23 N, where its own spline expects 52, 21, 22 N."""


@dataclass(frozen=True, eq=False)
class Roughness:
    """jerk : (F,) [m2/s6] mean square of the whole body's;  strike : (F,) share to which a strike counts."""

    jerk: Array
    strike: Array

    @property
    def calm(self) -> NDArray[np.bool_]:
        """(F,) away from any strike."""
        return self.strike == 0.0

    def density(self, kind: str) -> Array:
        """(F,) [m2/s5] of the jerk of a kind of segment."""
        most = STRIKE.get(kind, STRIKE["trunk"])
        return CALM + 2.0 * CORRELATED * self.jerk * (ALL_ALONG**2 + most**2 * self.strike)


def roughness(
    trial: Recording, body: FittedBody, struck: tuple[int, ...], stop: Stop = OF_LIMBS, finer: int = 1
) -> Roughness:
    """Of the frames of a trial, or of a grid so many times as fine; calm throughout where there are no plates.

    struck : force samples in which plates begin to bear load
    """
    frames, step = (trial.frames - 1) * finer + 1, trial.samples_per_frame // finer
    jerk, rate = np.zeros(frames), trial.point_rate * finer
    if trial.plates:
        force = np.nan_to_num(np.sum([plate.force for plate in trial.plates], axis=0))
        force = zero_lag_lowpass(force, min(FORCE_CUTOFF, 0.4 * trial.force_rate), trial.force_rate)
        quickly = np.gradient(force, 1.0 / trial.force_rate, axis=-1) / body.rider.mass
        square = _averaged(np.sum(quickly**2, axis=0), round(stop.smeared * trial.force_rate))[::step][:frames]
        jerk = np.pad(square, (0, frames - square.size), mode="edge")
    since = np.arange(frames) - np.array([sample // step for sample in struck] or (np.inf,))[:, None]
    falling = np.clip((stop.over - since / rate) / (stop.over - stop.full), 0.0, 1.0)
    return Roughness(jerk, np.max(np.where(since > -stop.before * rate, falling, 0.0), axis=0))


def _averaged(x: Array, half: int) -> Array:
    window = np.hanning(2 * half + 3)[1:-1]
    padded = np.pad(x, half, mode="edge")
    return np.convolve(padded, window / window.sum(), mode="valid")

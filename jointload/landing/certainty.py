"""How certain the numbers of a landing are: drawn values of each, their intervals, and what makes them wide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from jointload.intake.recording import Array

LIKELY = 1.96
"""Standard deviations to either side that hold 95 % of a normal distribution."""
LEAST_KNOWN = 0.95
"""An interval needs this share of the draws to give the number (choice)."""
SETTLED = 0.10
"""A width is settled once it stays this near to its last value (choice)."""
FEWEST = 40
"""Draws below which no width is looked at."""
ROUNDING = 1e-9
"""Draws that differ by less than this share of their size do not differ."""

Key = tuple[str, str]
"""Quantity and side ('right', 'left' or '')."""


@dataclass(frozen=True)
class UncertainInput:
    """An input that was drawn: its name and title, the variance it makes alone by quantity and side (none where shares
    were not asked for), and the share of that variance which is new in every recording of one rider."""

    name: str
    title: str
    variance: Mapping[Key, float]
    new_share: float


@dataclass(frozen=True, eq=False)
class Certainty:
    """D draws of every number of a landing, SI units.

    values : as analysed;  samples : (D,) drawn, NaN where a draw does not give the number
    angle, moment : (3, J, F) [rad], [N m] standard deviations in the order of JointAngles.angle and
    JointLoads.components
    sampling : (quantity, side) -> variance [s2] of a time that is read from one force sample, part of its samples
    """

    draws: int
    seed: int
    inputs: tuple[UncertainInput, ...]
    values: Mapping[Key, float]
    samples: Mapping[Key, Array]
    angle: Array
    moment: Array
    sampling: Mapping[Key, float] = field(default_factory=dict)

    def interval(self, key: Key) -> tuple[float, float]:
        """The 95 % interval of a number, NaN where the draws do not give one."""
        return drawn_interval(self.values[key], self.samples[key])

    def variance(self, key: Key) -> float:
        """Of all inputs together."""
        return variance_of(self.samples[key])

    def shares(self, key: Key) -> dict[str, float]:
        """Input's name -> its share of what all inputs make, each alone; empty where nothing varies."""
        alone = {each.name: each.variance.get(key, np.nan) for each in self.inputs}
        total = sum(alone.values())
        return {name: value / total for name, value in alone.items()} if total > 0 else {}

    def summed(self, key: Key) -> float:
        """Sum of the variances that each input makes alone over the variance of all together; 1 where they add up."""
        together = self.variance(key)
        return sum(each.variance.get(key, np.nan) for each in self.inputs) / together if together > 0 else float("nan")

    def detectable_change(self, key: Key) -> float:
        """Smallest change [SI] between two recordings of one rider, with the same markers in place, that their inputs'
        errors alone would not make in 95 of 100 pairs: 1.96 sqrt(2 v), v the variance that is new in every recording.
        """
        new = self.sampling.get(key, 0.0)
        new += sum(each.new_share * each.variance.get(key, np.nan) for each in self.inputs)
        return float(LIKELY * np.sqrt(2.0 * new)) if self.inputs else float("nan")

    def draws_needed(self) -> int:
        """Draws from which on the widths of 95 % of all numbers stay within SETTLED of their last value."""
        moving = [s for s in self.samples.values() if np.isfinite(s).all() and variance_of(s) > 0]
        if not moving:
            return 0
        counts = np.unique(np.linspace(min(FEWEST, self.draws), self.draws, 24).astype(int))
        stack = np.stack(moving)
        widths = np.stack([stack[:, :n].std(axis=1) for n in counts])
        away = np.quantile(np.abs(widths / widths[-1] - 1.0), 0.95, axis=1)
        unsettled = np.flatnonzero(away > SETTLED)
        return int(counts[unsettled[-1] + 1]) if unsettled.size else int(counts[0])


@dataclass(frozen=True)
class Change:
    """One number before and after, SI units, and the 95 % interval of its change."""

    quantity: str
    side: str
    before: float
    after: float
    low: float
    high: float

    @property
    def change(self) -> float:
        return self.after - self.before

    @property
    def distinguishable(self) -> bool:
        """Whether the interval leaves out zero; an unknown interval does not."""
        return bool(self.low > 0.0 or self.high < 0.0)


def drawn_interval(value: float, samples: Array) -> tuple[float, float]:
    """LIKELY root mean squares of what the draws are away from the value, to either side of it, but not beyond zero
    where no draw is.

    NaN where the value, or too many draws, are unknown. Errors shift a peak as well as scatter it, the value from the
    truth as the draws from the value: on landings of known truth this holds the truth as often as it should, quantiles
    and standard deviations of the draws do not (README, tests/benchmarks).
    """
    known = samples[np.isfinite(samples)]
    if not np.isfinite(value) or known.size < max(LEAST_KNOWN * samples.size, 2):
        return float("nan"), float("nan")
    half = LIKELY * _away(value, known)
    low = max(value - half, 0.0) if value >= 0.0 and known.min() >= 0.0 else value - half
    high = min(value + half, 0.0) if value <= 0.0 and known.max() <= 0.0 else value + half
    return float(low), float(high)


def change_between(key: Key, before: Certainty, after: Certainty) -> Change:
    """The change of one number; the draws of both belong together, so what both bear alike takes itself off."""
    first, second = before.values[key], after.values[key]
    drawn = after.samples[key] - before.samples[key]
    known = drawn[np.isfinite(drawn)]
    half = LIKELY * _away(second - first, known) if known.size >= max(LEAST_KNOWN * drawn.size, 2) else float("nan")
    return Change(*key, first, second, float(second - first - half), float(second - first + half))


def _away(value: float, known: Array) -> float:
    """Root mean square of what draws are away from a value; what is rounding only is nothing."""
    shift = float(np.mean(known)) - value
    return float(np.hypot(np.sqrt(variance_of(known)), shift if abs(shift) > ROUNDING * abs(value) else 0.0))


def variance_of(samples: Array) -> float:
    """Of the draws that are known; what is rounding only is nothing."""
    known = samples[np.isfinite(samples)]
    if known.size < 2:
        return float("nan")
    variance = float(np.var(known, ddof=1))
    return variance if variance > (ROUNDING * np.abs(known).max()) ** 2 else 0.0

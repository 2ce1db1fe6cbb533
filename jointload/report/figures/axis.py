"""An axis of a panel: its ends, its round ticks, and where on it a value lies."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from jointload.intake.recording import Array

ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)
"""Steps between ticks, times a power of ten."""
MOST_TICKS = 5
ROOM = 0.05
"""Share of the shown span that is left free at each end."""


@dataclass(frozen=True)
class Axis:
    """From `low` to `high`, the other way round where low is the larger; `decades` : logarithmic."""

    low: float
    high: float
    label: str = ""
    ticks: tuple[tuple[float, str], ...] = ()
    decades: bool = False
    grid: bool = True

    def share(self, values: Array | float) -> Array:
        """Where values lie from the low end, 0, to the high end, 1."""
        low, high, found = self.low, self.high, np.asarray(values, dtype=float)
        if self.decades:
            low, high = math.log10(low), math.log10(high)
            with np.errstate(divide="ignore", invalid="ignore"):
                found = np.log10(found)
        return (found - low) / (high - low)


def ticked(low: float, high: float, label: str = "", most: int = MOST_TICKS, grid: bool = True) -> Axis:
    """An axis with at most so many ticks at round numbers."""
    return Axis(low, high, label, round_ticks(low, high, most), grid=grid)


def around(
    values: Iterable[Array | float], label: str = "", least: float = 0.0, room: float = ROOM, grid: bool = True,
    headroom: float = 0.0, most: int = MOST_TICKS,
) -> Axis:  # fmt: skip
    """An axis that shows all finite values, and at least a span of `least`; headroom : share added above."""
    return ticked(*limits(values, least, room, headroom), label, most, grid)


def limits(
    values: Iterable[Array | float], least: float = 0.0, room: float = ROOM, headroom: float = 0.0
) -> tuple[float, float]:
    """Ends of an axis round all finite values; -1 to 1 where there is none."""
    seen = np.concatenate([np.atleast_1d(np.asarray(each, dtype=float)).ravel() for each in values] or [np.zeros(0)])
    seen = seen[np.isfinite(seen)]
    low, high = (float(seen.min()), float(seen.max())) if seen.size else (-1.0, 1.0)
    span = (high - low) or abs(high) or 1.0
    low, high = low - room * span, high + room * span
    if high - low < least:
        middle = 0.5 * (low + high)
        low, high = middle - 0.5 * least, middle + 0.5 * least
    return low, high + headroom * (high - low)


def decades(values: Iterable[float], label: str = "") -> Axis:
    """A logarithmic axis round positive values, with a tick at every power of ten, or at 1, 2 and 5 of few."""
    seen = [v for v in values if np.isfinite(v) and v > 0] or [1.0]
    low, high = math.log10(min(seen)) - 0.08, math.log10(max(seen)) + 0.08
    if high - low < 0.5:
        low, high = low - 0.2, high + 0.2
    stops = (1.0,) if high - low > 2.5 else (1.0, 3.0) if high - low > 1.2 else (1.0, 2.0, 5.0)
    powers = range(math.floor(low), math.ceil(high) + 1)
    step = max(1, math.ceil((high - low) / MOST_TICKS))
    places = [s * 10.0**p for p in powers if p % step == 0 for s in stops if low <= math.log10(s) + p <= high]
    return Axis(10**low, 10**high, label, tuple((place, f"{place:.12g}") for place in places), decades=True)


def named(names: Sequence[str], label: str = "", grid: bool = False) -> Axis:
    """One place a name, at 0, 1, 2 ..."""
    return Axis(-0.5, len(names) - 0.5, label, tuple((float(k), name) for k, name in enumerate(names)), grid=grid)


def round_ticks(low: float, high: float, most: int = MOST_TICKS) -> tuple[tuple[float, str], ...]:
    """Multiples of a round step between two ends, with their texts."""
    low, high = min(low, high), max(low, high)
    if not np.isfinite([low, high]).all() or high <= low:
        return ()
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    for step in (r * p for p in (power, 10 * power) for r in ROUND):
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if last - first < most:
            break
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    if round(step, decimals) != round(step, decimals + 1):
        decimals += 1
    return tuple((k * step, f"{k * step:.{decimals}f}".replace("-", "−")) for k in range(first, last + 1))

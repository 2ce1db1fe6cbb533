"""How a rider's load changes with the height landed from: this rider's and all riders' recorded heights together.

ln load = a + b ln height, with a level and a slope of each rider's own: a rider with many heights follows them, one
with few leans on the others. What is predicted is the mean logarithm of a rider's load at a height, by the best linear
unbiased prediction (Robinson GK (1991) Stat Sci 6:15-32, from memory), with Student's t for so few riders.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointload.intake.recording import Array
from jointload.study.mixed import CONFIDENCE, fit_mixed

if TYPE_CHECKING:
    import pandas

LEAST_RIDERS = 3
"""Riders with two heights or more from which on it can be told how slopes differ (choice)."""
APART = 1.1
"""Ratio from which on two heights are two (choice)."""
BEYOND = 1.5
"""Ratio by which a height may lie beyond those recorded (choice)."""


@dataclass(frozen=True, eq=False)
class HeightLaw:
    """Loads over heights of N landings.

    rider : of each;  x, y : (N,) logarithm of height over their mean, and of load
    level, slope, landing : variances of riders' levels and slopes and of landings
    riders : with two heights or more;  low, high : recorded heights [m]
    """

    rider: tuple[str, ...]
    x: Array
    y: Array
    middle: float
    level: float
    slope: float
    landing: float
    riders: int
    low: float
    high: float

    def reaches(self, height: float) -> bool:
        """Whether a height [m] is near enough to those recorded."""
        return self.low / BEYOND <= height <= self.high * BEYOND

    def predicted(self, rider: str, height: float) -> tuple[float, float]:
        """Mean logarithm of the rider's load at a height [m], and half its 95 % interval."""
        from scipy import stats

        x0 = np.log(height) - self.middle
        own = np.array([one == rider for one in self.rider])
        same = np.array([[a == b for b in self.rider] for a in self.rider])
        shared = self.level + self.slope * np.outer(self.x, self.x)
        spread = np.where(same, shared, 0.0) + self.landing * np.eye(len(self.x))
        near = np.where(own, self.level + self.slope * x0 * self.x, 0.0)
        fixed, at = np.column_stack([np.ones_like(self.x), self.x]), np.array([1.0, x0])
        inverse = np.linalg.inv(spread)
        of_fixed = np.linalg.inv(fixed.T @ inverse @ fixed)
        line = of_fixed @ fixed.T @ inverse @ self.y
        value = at @ line + near @ inverse @ (self.y - fixed @ line)
        left = at - fixed.T @ inverse @ near
        variance = self.level + self.slope * x0**2 - near @ inverse @ near + left @ of_fixed @ left
        half = stats.t.isf(0.5 * (1 - CONFIDENCE), self.riders - 1) * np.sqrt(max(float(variance), 0.0))
        return float(value), float(half)


def height_law(loads: pandas.DataFrame) -> HeightLaw | None:
    """The law of landings (columns rider, height [m], value, one load of one side), None where too few riders landed
    from two heights."""
    known = loads[(loads["value"] > 0) & (loads["height"] > 0)]
    several = known.groupby("rider")["height"].agg(lambda heights: heights.max() >= APART * heights.min())
    if several.sum() < LEAST_RIDERS:
        return None
    height = np.log(known["height"].to_numpy(dtype=float))
    middle = float(height.mean())
    x, y = height - middle, np.log(known["value"].to_numpy(dtype=float))
    fit = fit_mixed(y, np.column_stack([np.ones_like(x), x]), known["rider"].to_numpy(object), cells=x[:, None])
    if not fit.converged:
        return None
    return HeightLaw(
        rider=tuple(known["rider"]),
        x=x,
        y=y,
        middle=middle,
        level=float(np.asarray(fit.cov_re)[0, 0]),
        slope=float(fit.vcomp[0]),
        landing=float(fit.scale),
        riders=int(several.sum()),
        low=float(known["height"].min()),
        high=float(known["height"].max()),
    )

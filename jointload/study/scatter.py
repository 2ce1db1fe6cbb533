"""How far landings of a rider from one class of heights differ, and what that leaves unknown of what they stand for.

A dose takes a few recorded landings for all of a rider's. Their mean would come out otherwise on another day, by
Student's t; the more so the fewer they are and the higher the exponent. What every landing of a person has in common,
as an arm or a joint's centre, is in each load's own interval and not here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from jointload.intake.recording import Array
from jointload.study.exposures import Exposure
from jointload.study.mixed import CONFIDENCE

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True)
class Scatter:
    """Standard deviation of the logarithm of a load between landings of a kind, all riders alike, and its degrees of
    freedom, 0 where no landing was repeated."""

    sd: float
    freedom: int

    def half(self, weights: Array) -> float:
        """Half the 95 % interval of the logarithm of a sum over landings (N,), by their scatter alone; 0 where nothing
        tells of it.

        t s sqrt(sum w^2) / sum w: t s / sqrt(N) of landings that count alike.  weights : (N,) part of each in the sum
        """
        whole = float(weights.sum())
        if not (self.freedom and whole > 0):
            return 0.0
        alike = float(np.sqrt(np.sum(weights**2))) / whole
        return _of_student(self.freedom) * self.sd * alike


@lru_cache(maxsize=64)
def _of_student(freedom: int) -> float:
    """Half an interval of Student's t."""
    from scipy.stats import t

    return float(t.ppf(0.5 + 0.5 * CONFIDENCE, freedom))


def landing_scatter(loads: pandas.DataFrame, exposures: Sequence[Exposure]) -> Scatter:
    """The scatter of one load of one side (columns rider, height [m], value), from landings of a rider that fit the
    same rows of the exposure table."""
    known = loads[(loads["value"] > 0) & np.isfinite(loads["height"])]
    squares, freedom = 0.0, 0
    for rider, own in known.groupby("rider"):
        height, value = (own[name].to_numpy(dtype=float) for name in ("height", "value"))
        fits = [(height >= row.from_m) & (height < row.to_m) for row in exposures if row.rider == rider]
        kinds, kind = np.unique(np.array(fits, dtype=bool).reshape(len(fits), len(own)), axis=1, return_inverse=True)
        for k in np.flatnonzero(kinds.any(axis=0)):
            mine = np.log(value[kind.ravel() == k])
            squares += float(np.sum((mine - mine.mean()) ** 2))
            freedom += mine.size - 1
    return Scatter(float(np.sqrt(squares / freedom)) if freedom else 0.0, freedom)

"""What a landing did to one foot, as draws of every number: heel, ball and toes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from jointload.intake.recording import Array

ENDS = (2.5, 97.5)
"""Per cent of the draws below the ends of an interval."""
MEASURED, MODELLED, BOUND = "measured by pressure insoles", "modelled", "bound"
"""Where the force under heel and ball is from."""


@dataclass(frozen=True, eq=False)
class SoleMap:
    """Where the force went when it was largest.

    along, outward : (n,) [m] from the back of the heel and towards the little toe;  area : (n,) [m2]
    pressure : (n,) [Pa], NaN where a sensor does not measure;  length : of the foot [m];  time : [s] after touch-down
    """

    along: Array
    outward: Array
    area: Array
    pressure: Array
    length: float
    time: float


@dataclass(frozen=True, eq=False)
class FootBore:
    """One foot over its landing.

    basis : one of MEASURED, MODELLED, BOUND
    samples : quantity -> (D,) [SI] draws of what is known;  notes : quantity -> why it is unknown, or what else is to
    be said of it
    bounds : quantity -> what it cannot be above [SI], where no more is known
    time : (N,) [s] after touch-down;  heel_force : (3, N) [N] low, middle and high of the force under the heel
    """

    side: str
    basis: str
    samples: Mapping[str, Array]
    notes: Mapping[str, str]
    bounds: Mapping[str, float]
    time: Array
    heel_force: Array
    map: SoleMap | None = None

    def middle(self, quantity: str) -> float:
        """Median of the draws, NaN where there are none."""
        return float(np.median(self.samples[quantity])) if quantity in self.samples else float("nan")

    def interval(self, quantity: str) -> tuple[float, float]:
        """The 95 % interval of a number; (NaN, its bound) where only that is known."""
        if quantity not in self.samples:
            return float("nan"), self.bounds.get(quantity, float("nan"))
        low, high = np.percentile(self.samples[quantity], ENDS)
        return float(low), float(high)

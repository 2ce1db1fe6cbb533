"""The parameters that a search may turn, and the heights of an insole as their sum."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.insole.bed.bed import FootBed
from jointload.insole.limb.response import heights_on, slopes_across
from jointload.insole.shape.asked import USUAL_BASE
from jointload.insole.shape.outline import BALL_SHARE, HEEL_SHARE
from jointload.insole.shape.shape import HeelLift, InsoleShape, sole_grid
from jointload.intake.recording import Array

PARAMETERS = ("rearfoot_posting", "forefoot_posting", "heel_lift", "base_thickness")
"""In the order of every array with an axis K: two angles [rad], two heights [m]. An arch fill is none: published trials
saw no systematic effect of it (Wahmkow et al. 2017 PLoS One e0172334), so nothing is built on the mechanics' own."""
BASE = PARAMETERS.index("base_thickness")
ANGLES = (0, 1)
UNIT = 0.001
"""Height [m], and tangent, of the insoles that the parts are measured on."""
THICK = 0.020
"""Base [m] of those insoles, from which no tilt reaches the minimum thickness."""
GRID = 61, 21


@dataclass(frozen=True, eq=False)
class HeightParts:
    """Heights over a flat insole of USUAL_BASE per unit of every part's amount; a posting's amount is its tangent.

    cells : (n, K) under the foot;  grid : (g, K) over the whole insole, where it is thinnest
    stacks : (2, K) under heel and ball;  across : (2, K) mean slope across rearfoot and forefoot
    """

    plain: InsoleShape
    cells: Array
    grid: Array
    stacks: Array
    across: Array

    @classmethod
    def of(cls, bed: FootBed, side: str, length: float) -> HeightParts:
        plain = InsoleShape(side, length, base=USUAL_BASE)
        thick = replace(plain, base=THICK)
        heel_and_ball = np.array([HEEL_SHARE, BALL_SHARE]) * length
        x, y = (places.ravel() for places in sole_grid(plain, *GRID))
        columns = []
        for k in range(len(PARAMETERS)):
            one = np.zeros(len(PARAMETERS))
            one[k] = np.arctan(UNIT) if k in ANGLES else UNIT
            shape = with_parameters(thick, one + (np.arange(len(one)) == BASE) * THICK)
            columns.append(
                (
                    heights_on(bed, shape) - THICK,
                    shape.heights(x, y) - THICK,
                    shape.heights(heel_and_ball, np.zeros(2)) - THICK,
                    np.array(slopes_across(bed, shape)),
                )
            )
        return cls(plain, *(np.stack(part, axis=1) / UNIT for part in zip(*columns, strict=True)))

    def amounts(self, values: Array) -> Array:
        """(S, K) of parameters (S, K): tangents, heights, and the base with what the minimum thickness raises it by."""
        out = np.array(values, dtype=float)
        out[:, ANGLES] = np.tan(values[:, ANGLES])
        out[:, BASE] = values[:, BASE] - USUAL_BASE
        thinnest = USUAL_BASE + (out @ self.grid.T).min(axis=1)
        out[:, BASE] += np.maximum(0.0, self.plain.minimum - thinnest)
        return out

    def stack_heights(self, amounts: Array) -> Array:
        """(S, 2) [m] under heel and ball."""
        return USUAL_BASE + amounts @ self.stacks.T

    def wedges(self, amounts: Array) -> Array:
        """(S,) [rad], the larger mean tilt of rearfoot and forefoot."""
        return np.arctan(np.abs(amounts @ self.across.T).max(axis=1))

    def shape(self, values: Array) -> InsoleShape:
        return with_parameters(self.plain, values)


def with_parameters(plain: InsoleShape, values: Array) -> InsoleShape:
    """The insole with these parameters (K,)."""
    rear, fore, lift, base = (float(value) for value in values)
    return replace(
        plain,
        base=base,
        rearfoot=replace(plain.rearfoot, angle=rear),
        forefoot=replace(plain.forefoot, angle=fore),
        lift=HeelLift(lift),
    )

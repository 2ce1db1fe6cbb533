"""The parameters that a search may turn, and the heights of an insole as their sum."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.insole.bed.bed import FootBed, Mask
from jointload.insole.limb.response import own_features
from jointload.insole.limb.standing import drop_of, heights_on, rise_of, slopes_across
from jointload.insole.shape.asked import USUAL_BASE
from jointload.insole.shape.parts import HeelLift
from jointload.insole.shape.shape import InsoleShape
from jointload.insole.shape.surface import sole_grid
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
HEEL, BALL = (0.0, 0.30), (0.58, 0.84)
"""Where heel and ball lie along the insole, as shares of its length (choice)."""
COARSE = 0.027
"""Largest distance between rows of the grid, as a share of the length: no row just inside is missed."""
SLACK = 2e-5
"""By how much [m] a sum of parts on this grid may lie below the greatest height of the solid."""


@dataclass(frozen=True, eq=False)
class HeightParts:
    """Heights over a flat insole of USUAL_BASE per unit of every part's amount; a posting's amount is its tangent.

    cells : (n, K) under the foot;  grid : (g, K) over the whole insole, where it is thinnest
    heel, ball : (g,) which places of the grid lie under heel and ball
    across : (2, K) mean slope across rearfoot and forefoot;  drops : (K,) from heel to toe
    rises : (K,) of the ankle over that of the other foot, which gets the same base
    One amount more than parameters: what the minimum thickness raises the whole insole by.
    """

    plain: InsoleShape
    cells: Array
    grid: Array
    heel: Mask
    ball: Mask
    across: Array
    drops: Array
    rises: Array

    @classmethod
    def of(cls, bed: FootBed, side: str, length: float) -> HeightParts:
        plain = InsoleShape(side, length, base=USUAL_BASE)
        thick = replace(plain, base=THICK)
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
                    np.array(slopes_across(bed, shape)),
                    np.array(drop_of(shape)),
                    np.array(rise_of(bed, shape) - shape.base),
                )
            )
        columns.append(columns[BASE])
        cells, grid, across, drops, rises = (np.stack(part, axis=-1) / UNIT for part in zip(*columns, strict=True))
        heel, ball = (
            (x >= (low - COARSE) * length) & (x <= (high + COARSE) * length) for low, high in (HEEL, BALL)
        )  # fmt: skip
        return cls(plain, cells, grid, heel, ball, across, drops, rises)

    def amounts(self, values: Array) -> Array:
        """(S, K) of parameters (S, K - 1): tangents, heights, and what the minimum thickness raises all of it by."""
        out = np.concatenate((values, np.zeros((len(values), 1))), axis=1)
        out[:, ANGLES] = np.tan(values[:, ANGLES])
        out[:, BASE] = values[:, BASE] - USUAL_BASE
        thinnest = USUAL_BASE + (out @ self.grid.T).min(axis=1)
        out[:, -1] = np.maximum(0.0, self.plain.minimum - thinnest)
        return out

    def stack_heights(self, amounts: Array) -> Array:
        """(S, 2) [m], the greatest height anywhere under the heel and under the ball, sloped edges among it; no less
        than that of the solid, which is SLACK off the sum of parts at most."""
        highest = [(amounts @ self.grid[part].T).max(axis=1) for part in (self.heel, self.ball)]
        return np.asarray(USUAL_BASE + SLACK + np.stack(highest, axis=1))

    def own_features(self, amounts: Array) -> Array:
        """(S, 4) of the shapes."""
        return own_features(amounts @ self.across.T, amounts @ self.drops)

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

"""The shape of an insole: heights over a sole, from its parts.

Axes: x forward from the heel, y towards medial, z up, in metres; angles in radians.
A right and a left insole of the same parts have the same heights here and are mirrored when they are written.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.insole.shape.geometry import Wedge
from jointload.insole.shape.outline import BREADTH_SHARE, Outline
from jointload.insole.shape.parts import (
    CUP_END,
    CUP_FULL,
    CUP_WALL,
    NO_ARCH,
    NO_CUP,
    NO_FOREFOOT,
    NO_LIFT,
    NO_METATARSAL,
    NO_REARFOOT,
    ArchFill,
    HeelCup,
    HeelLift,
    Layer,
    MetatarsalSupport,
    Posting,
    ThinLayer,
    check_layers,
    check_range,
    cover_thickness,
    smooth_bump,
    smooth_step,
)
from jointload.insole.shape.surface import FINE, sole_grid
from jointload.intake.recording import Array

BASE_RANGE = (0.0005, 0.030)
"""Base thickness [m] (choice)."""
THINNEST_MINIMUM = 0.0005
"""The smallest minimum thickness that may be stated [m]; printed walls need 1.2 to 2 mm (from memory)."""


@dataclass(frozen=True)
class InsoleShape:
    """An insole for one foot, 'right' or 'left': heights [m] over a sole of length and width [m].

    base : thickness before anything is added [m];  minimum : no place is thinner than this under the covers [m]
    width 0 takes the usual breadth for the length. Where tilt would make a place too thin the whole insole is raised,
    by `raised`.
    """

    side: str
    length: float
    width: float = 0.0
    base: float = 0.004
    minimum: float = 0.0015
    rearfoot: Posting = NO_REARFOOT
    forefoot: Posting = NO_FOREFOOT
    lift: HeelLift = NO_LIFT
    arch: ArchFill = NO_ARCH
    metatarsal: MetatarsalSupport = NO_METATARSAL
    layers: tuple[Layer, ...] = ()
    thin: tuple[ThinLayer, ...] = ()
    cup: HeelCup = NO_CUP

    def __post_init__(self) -> None:
        if self.side not in ("right", "left"):
            raise SettingError(
                expected_found("insole side", "right or left", repr(self.side), "the shape", "correct it")
            )
        if self.width == 0:
            object.__setattr__(self, "width", BREADTH_SHARE * self.length)
        Outline(self.length, self.width)
        check_range("base thickness", self.base, *BASE_RANGE)
        check_range("minimum thickness", self.minimum, THINNEST_MINIMUM, 0.010)
        check_layers(self.layers)
        check_range("base thickness, not under minimum and covers together", self.base, self._least, BASE_RANGE[1])

    @property
    def outline(self) -> Outline:
        return Outline(self.length, self.width)

    @property
    def _least(self) -> float:
        return self.minimum + cover_thickness(self.layers)

    @cached_property
    def raised(self) -> float:
        """What the whole insole is raised by [m], so that no place is under the minimum and the covers."""
        x, y = sole_grid(self, *FINE)
        return max(0.0, self._least - float(self._unraised(x, y).min()))

    def heights(self, x: Array, y: Array) -> Array:
        """Height [m] of the top over the shoe at x forward from the heel and y towards medial [m], of any shape."""
        return self.bearing_heights(x, y) + self._rim(x, y)

    def bearing_heights(self, x: Array, y: Array) -> Array:
        """The same without a cup's wall: what the foot stands on."""
        return self.without_thin_heights(x, y) + self.thin_heights(x)

    def without_thin_heights(self, x: Array, y: Array) -> Array:
        return self._unraised(x, y) + self.raised

    def thin_heights(self, x: Array) -> Array:
        """Height [m] of all thin layers together at x."""
        along = np.asarray(x, dtype=float) / self.length
        return np.asarray(sum((one.height * one.share(along) for one in self.thin), np.zeros_like(along)))

    def medial_edge(self, x: Array) -> Array:
        return self.outline.medial_edge(x)

    def lateral_edge(self, x: Array) -> Array:
        return self.outline.lateral_edge(x)

    def _unraised(self, x: Array, y: Array) -> Array:
        along, y = np.asarray(x, dtype=float) / self.length, np.asarray(y, dtype=float)
        slope = math.tan(self.rearfoot.angle) * self.rearfoot.share(along)
        slope = slope + math.tan(self.forefoot.angle) * self.forefoot.share(along)
        return np.asarray(
            self.base + slope * y + self.lift.heights(along) + self._arch(along, y) + self._metatarsal(along, y)
        )

    def _arch(self, along: Array, y: Array) -> Array:
        fill = self.arch
        edge = float(self.medial_edge(np.asarray(fill.centre * self.length)))
        inwards = np.clip((edge - y) / (fill.reach * self.width), 0.0, 1.0)
        return fill.height * smooth_bump((along - fill.centre) / fill.half_length) * smooth_bump(inwards)

    def _rim(self, x: Array, y: Array) -> Array:
        """Rise of the cup's wall towards the edge of the heel, and towards its end."""
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        if not self.cup.height:
            return np.zeros(np.broadcast_shapes(x.shape, y.shape))
        along = x / self.length
        aside = np.minimum(self.medial_edge(x) - y, y - self.lateral_edge(x))
        inside = smooth_step(aside / CUP_WALL) * smooth_step(x / CUP_WALL)
        reach = 1.0 - smooth_step((along - CUP_FULL) / (CUP_END - CUP_FULL))
        return np.asarray(self.cup.height * reach * (1.0 - inside))

    def _metatarsal(self, along: Array, y: Array) -> Array:
        dome = self.metatarsal
        forward = (along - dome.position) * self.length / (0.5 * dome.length)
        return dome.height * smooth_bump(np.hypot(forward, (y - dome.offset) / (0.5 * dome.width)))


def flat(shape: InsoleShape) -> InsoleShape:
    """The same insole with nothing added: the baseline of a what-if."""
    return InsoleShape(shape.side, shape.length, shape.width, shape.base, shape.minimum, layers=shape.layers)


def wedge_shape(wedge: Wedge, length: float, width: float = 0.0, base: float = 0.004) -> InsoleShape:
    """A wedge as an insole: rearfoot posting for the heel, the same posting of both parts for the full length."""
    plain = InsoleShape(wedge.side, length, width, base)
    forefoot = wedge.angle if wedge.length == "full" else 0.0
    return replace(
        plain, rearfoot=replace(plain.rearfoot, angle=wedge.angle), forefoot=replace(plain.forefoot, angle=forefoot)
    )

"""The upper surface of any insole, designed or scanned.

Axes: x forward from the heel, y towards medial, z up, in metres; angles in radians.
"""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np

from jointload.insole.shape.parts import Layer
from jointload.intake.recording import Array

FINE = 241, 81
"""Places along and across the sole at which smallest, largest and steepest are looked for."""


class Surface(Protocol):
    """What a shape and the scan of an existing insole have in common. Lengths in m, y towards medial."""

    @property
    def side(self) -> str: ...
    @property
    def length(self) -> float: ...
    @property
    def width(self) -> float: ...
    @property
    def layers(self) -> tuple[Layer, ...]: ...
    def heights(self, x: Array, y: Array) -> Array: ...
    def medial_edge(self, x: Array) -> Array: ...
    def lateral_edge(self, x: Array) -> Array: ...


def sole_grid(surface: Surface, along: int, across: int) -> tuple[Array, Array]:
    """x and y (along, across) [m] of places that fill the sole, closer at both round ends; from lateral to medial."""
    turn = np.linspace(0.0, math.pi, along)
    x = 0.5 * surface.length * (1.0 - np.cos(turn))
    lateral, medial = surface.lateral_edge(x), surface.medial_edge(x)
    share = np.linspace(0.0, 1.0, across)
    return np.repeat(x[:, None], across, axis=1), lateral[:, None] + (medial - lateral)[:, None] * share


def is_inside(surface: Surface, x: Array, y: Array) -> Array:
    """Whether places lie on the sole."""
    x = np.asarray(x)
    on = (x >= 0) & (x <= surface.length) & (y >= surface.lateral_edge(x)) & (y <= surface.medial_edge(x))
    return np.asarray(on)

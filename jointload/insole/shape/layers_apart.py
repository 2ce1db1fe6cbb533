"""The layers of an insole one by one, as they are cut."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.insole.shape.parts import UNDER, Layer, ThinLayer, cover_thickness
from jointload.insole.shape.shape import InsoleShape
from jointload.insole.shape.surface import Surface
from jointload.intake.recording import Array


@dataclass(frozen=True)
class LayerSurface:
    """One layer of a surface by itself, as it is cut: a sheet of even thickness, or the body that takes the shape, less
    the sheets above and below it.

    number : from the foot down, 0 the first
    """

    whole: Surface
    layer: Layer
    number: int

    @property
    def place(self) -> str:
        """Where it lies, in words, where it is not the whole sole."""
        return ""

    @property
    def side(self) -> str:
        return self.whole.side

    @property
    def length(self) -> float:
        return self.whole.length

    @property
    def width(self) -> float:
        return self.whole.width

    @property
    def layers(self) -> tuple[Layer, ...]:
        return (replace(self.layer, thickness=None),)

    def heights(self, x: Array, y: Array) -> Array:
        if self.layer.thickness is not None:
            return np.full(np.broadcast_shapes(np.shape(x), np.shape(y)), self.layer.thickness)
        thin = self.whole.thin_heights(x) if isinstance(self.whole, InsoleShape) else 0.0
        return self.whole.heights(x, y) - thin - cover_thickness(self.whole.layers)

    def medial_edge(self, x: Array) -> Array:
        return self.whole.medial_edge(x)

    def lateral_edge(self, x: Array) -> Array:
        return self.whole.lateral_edge(x)


@dataclass(frozen=True)
class ThinSurface(LayerSurface):
    """A thin layer by itself, from one skived edge to the other; x counts from the first."""

    thin: ThinLayer

    @property
    def start(self) -> float:
        """[m] from the insole's heel."""
        return self.thin.reach[0] * self.whole.length

    @property
    def place(self) -> str:
        return UNDER[self.thin.under]

    @property
    def length(self) -> float:
        return self.thin.reach[1] * self.whole.length - self.start

    def heights(self, x: Array, y: Array) -> Array:
        x, y = np.broadcast_arrays(np.asarray(x, dtype=float), y)
        return np.asarray(self.thin.height * self.thin.share((x + self.start) / self.whole.length))

    def medial_edge(self, x: Array) -> Array:
        return self.whole.medial_edge(np.asarray(x) + self.start)

    def lateral_edge(self, x: Array) -> Array:
        return self.whole.lateral_edge(np.asarray(x) + self.start)


def layers_apart(surface: Surface) -> tuple[LayerSurface, ...]:
    """Every layer by itself, from the foot down; none where there is only one."""
    thin = surface.thin if isinstance(surface, InsoleShape) else ()
    first = [ThinSurface(surface, Layer(one.material, one.height), k, one) for k, one in enumerate(thin)]
    others = [LayerSurface(surface, layer, k) for k, layer in enumerate(surface.layers, start=len(thin))]
    return (*first, *others) if len(first) + len(others) > 1 else ()

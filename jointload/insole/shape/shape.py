"""The shape of an insole: heights over a sole, from the parts a maker knows by name.

Axes: x forward from the heel, y towards medial, z up, in metres; angles in radians. A right and a left insole of the
same parts have the same heights here and are mirrored when they are written.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.insole.shape.geometry import Wedge
from jointload.insole.shape.materials import Material
from jointload.insole.shape.outline import BALL_SHARE, BREADTH_SHARE, HEEL_SHARE, Outline
from jointload.intake.recording import Array
from jointload.landing.sole_regions import BALL_START, HEEL_END, TOE_START

STEEPEST_POSTING = math.radians(15.0)
"""No posting is steeper [rad] (choice); a file may ask for 10 deg at most."""
HIGHEST_LIFT, HIGHEST_ARCH, HIGHEST_METATARSAL = 0.020, 0.030, 0.012
"""Largest heel lift, arch fill, metatarsal support [m] (choice; lifts inside a shoe are about 10 mm, from memory)."""
BASE_RANGE = (0.0005, 0.030)
"""Base thickness [m] (choice)."""
THINNEST_MINIMUM = 0.0005
"""The smallest minimum thickness that may be stated [m]; printed walls need 1.2 to 2 mm (from memory)."""
UNDER = {"heel": "under the heel", "ball": "under the ball", "whole": "under the whole foot"}
"""Where a thin layer lies, in words."""
THIN_RANGE, CUP_RANGE = (0.001, 0.008), (0.008, 0.025)
"""Height [m] of a thin layer, as far as they are compared, and of a cup's rim over the insole (choice)."""
SKIVED = 0.10
"""A thin layer under a part of the foot runs out over this share of the length beyond it (choice)."""
THINNEST_EDGE = 0.0002
"""What a skived edge is cut to [m] (choice)."""
CUP_WALL, CUP_FULL, CUP_END = 0.010, 0.22, 0.42
"""Width [m] over which a cup rises to its rim, and the shares of the length up to which its rim is full, and gone
(choice)."""
FINE = 241, 81
"""Places along and across the sole at which smallest, largest and steepest are looked for."""


def _range(what: str, value: float, low: float, high: float, unit: str = "mm", factor: float = 1000.0) -> None:
    if not low <= value <= high:
        raise SettingError(
            expected_found(
                what, f"{factor * low:g} to {factor * high:g} {unit}", f"{factor * value:g} {unit}", "the shape",
                "change it",
            )
        )  # fmt: skip


def smooth_step(share: Array) -> Array:
    """0 below 0, 1 above 1, 3 s^2 - 2 s^3 between: no kink at either end."""
    s = np.clip(share, 0.0, 1.0)
    return s * s * (3.0 - 2.0 * s)


def smooth_bump(distance: Array) -> Array:
    """1 at 0, 0 from 1 on, cos^2 between: no kink at either end."""
    return np.cos(0.5 * math.pi * np.clip(np.abs(distance), 0.0, 1.0)) ** 2


@dataclass(frozen=True)
class Posting:
    """A tilt of the sole about its centre line: angle [rad], positive when the medial side is raised.

    In full from start to end, shares of the length; it fades out over `blend` beyond either end.
    """

    angle: float = 0.0
    start: float = 0.0
    end: float = 0.35
    blend: float = 0.25

    def __post_init__(self) -> None:
        _range("posting", self.angle, -STEEPEST_POSTING, STEEPEST_POSTING, "deg", 180 / math.pi)
        _range("posting start", self.start, 0.0, 1.0, "of the length", 1.0)
        _range("posting end", self.end, self.start, 1.0, "of the length", 1.0)
        _range("posting blend", self.blend, 0.05, 0.6, "of the length", 1.0)

    def share(self, x: Array) -> Array:
        """How much of the tilt acts at x, a share of the length."""
        rise = smooth_step((x - self.start + self.blend) / self.blend) if self.start > 0 else 1.0
        fall = smooth_step((self.end + self.blend - x) / self.blend) if self.end < 1 else 1.0
        return np.asarray(rise * fall)


@dataclass(frozen=True)
class HeelLift:
    """height [m] under the heel, in full up to ramp_start, gone at ramp_end, shares of the length."""

    height: float = 0.0
    ramp_start: float = 0.10
    ramp_end: float = 0.68

    def __post_init__(self) -> None:
        _range("heel lift", self.height, 0.0, HIGHEST_LIFT)
        _range("heel lift ramp start", self.ramp_start, 0.0, 0.6, "of the length", 1.0)
        _range("heel lift ramp end", self.ramp_end, self.ramp_start + 0.1, 1.0, "of the length", 1.0)

    def heights(self, x: Array) -> Array:
        return self.height * (1.0 - smooth_step((x - self.ramp_start) / (self.ramp_end - self.ramp_start)))


@dataclass(frozen=True)
class ArchFill:
    """height [m] of the fill at the medial edge, highest at `centre` and gone `half_length` before and behind it,
    shares of the length; it falls to nothing `reach` of the width inwards."""

    height: float = 0.0
    centre: float = 0.43
    half_length: float = 0.24
    reach: float = 0.60

    def __post_init__(self) -> None:
        _range("arch fill", self.height, 0.0, HIGHEST_ARCH)
        _range("arch fill centre", self.centre, 0.2, 0.6, "of the length", 1.0)
        _range("arch fill half length", self.half_length, 0.1, 0.4, "of the length", 1.0)
        _range("arch fill reach", self.reach, 0.2, 1.0, "of the width", 1.0)


@dataclass(frozen=True)
class MetatarsalSupport:
    """A dome of `height` [m] with its top at `position`, a share of the length, and `offset` [m] towards medial;
    `length` and `width` [m] are those of its foot."""

    height: float = 0.0
    position: float = 0.60
    offset: float = 0.0
    length: float = 0.044
    width: float = 0.040

    def __post_init__(self) -> None:
        _range("metatarsal support", self.height, 0.0, HIGHEST_METATARSAL)
        _range("metatarsal support position", self.position, 0.4, 0.75, "of the length", 1.0)
        _range("metatarsal support offset", self.offset, -0.03, 0.03)
        _range("metatarsal support length", self.length, 0.02, 0.10)
        _range("metatarsal support width", self.width, 0.02, 0.08)


@dataclass(frozen=True)
class Layer:
    """One layer, named from the foot down. thickness [m], or None for the one layer that takes the shape."""

    material: Material
    thickness: float | None = None


@dataclass(frozen=True)
class ThinLayer:
    """A sheet laid upon the insole, on top of all else: height [m] under 'heel', 'ball' or 'whole'; under a part of the
    foot it is full there and skived to nothing beyond."""

    material: Material
    height: float
    under: str = "heel"

    def __post_init__(self) -> None:
        if self.under not in UNDER:
            raise SettingError(
                expected_found("thin layer", " or ".join(UNDER), repr(self.under), "the shape", "say under what")
            )
        _check_layers((Layer(self.material),))
        _range(f"thin layer {self.material.name}", self.height, *THIN_RANGE)

    @property
    def reach(self) -> tuple[float, float]:
        """Where the sheet begins and ends, shares of the length: at its skived edges."""
        along = np.linspace(0.0, 1.0, 4001)
        there = along[self.share(along) * self.height >= THINNEST_EDGE]
        return float(there[0]), float(there[-1])

    def share(self, along: Array) -> Array:
        """How much of the height acts at a share of the length."""
        if self.under == "whole":
            return np.ones_like(np.asarray(along, dtype=float))
        if self.under == "heel":
            return 1.0 - smooth_step((along - HEEL_END) / SKIVED)
        rise, fall = (along - BALL_START + SKIVED / 2) / (SKIVED / 2), (along - TOE_START) / (SKIVED / 2)
        return np.asarray(smooth_step(rise) * (1.0 - smooth_step(fall)))

    def __str__(self) -> str:
        return f"{1000 * self.height:g} mm {self.material.name.replace('_', ' ')} {UNDER[self.under]}"


def thin_stack(thin: tuple[ThinLayer, ...]) -> tuple[float, float]:
    """What thin layers add under heel and under ball [m]."""
    heel, ball = (sum(one.height for one in thin if one.under in (part, "whole")) for part in ("heel", "ball"))
    return heel, ball


@dataclass(frozen=True)
class HeelCup:
    """A close cup around the heel, its rim `height` [m] over the insole, 0 for none. It holds the heel's pad together:
    the wall follows the foot's side and bears nothing upwards."""

    height: float = 0.0

    def __post_init__(self) -> None:
        if self.height:
            _range("heel cup", self.height, *CUP_RANGE)


NO_CUP = HeelCup()


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
    rearfoot: Posting = Posting()
    forefoot: Posting = Posting(0.0, 0.60, 1.0)
    lift: HeelLift = HeelLift()
    arch: ArchFill = ArchFill()
    metatarsal: MetatarsalSupport = MetatarsalSupport()
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
        _range("base thickness", self.base, *BASE_RANGE)
        _range("minimum thickness", self.minimum, THINNEST_MINIMUM, 0.010)
        _check_layers(self.layers)
        _range("base thickness, not under minimum and covers together", self.base, self._least, BASE_RANGE[1])

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


def cover_thickness(layers: tuple[Layer, ...]) -> float:
    """Thickness [m] of all layers but the one that takes the shape."""
    return sum(layer.thickness for layer in layers if layer.thickness is not None)


def _check_layers(layers: tuple[Layer, ...]) -> None:
    for layer in layers:
        if layer.material.kind == "tissue":
            raise SettingError(
                expected_found(
                    "layer", "a foam, gel, elastomer or shell", f"{layer.material.name}, a tissue", "the layers",
                    "choose another material",
                )
            )  # fmt: skip
        if layer.thickness is not None:
            _range(f"layer {layer.material.name} thickness", layer.thickness, 0.0002, 0.015)
    shaped = sum(layer.thickness is None for layer in layers)
    if layers and shaped != 1:
        raise SettingError(
            expected_found(
                "layers", "one layer without a thickness, which takes the shape", f"{shaped}", "the layers",
                "leave the thickness out of exactly one",
            )
        )  # fmt: skip


# Numbers of a surface -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Numbers:
    """volume [m3], mass [kg] (NaN without densities), heights [m] and the steepest slope [rad] of one surface."""

    volume: float
    mass: float
    thinnest: float
    thickest: float
    heel_stack: float
    forefoot_stack: float
    steepest: float
    heel_tilt: float
    """Mean tilt across the heel [rad], positive when the medial side is higher."""
    forefoot_tilt: float


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


def measure(surface: Surface) -> Numbers:
    """Numbers of a surface by its heights alone."""
    x, y = sole_grid(surface, *FINE)
    z = surface.heights(x, y)
    volume, area = _integrals(x, y, z)
    return Numbers(
        volume=volume,
        mass=_mass(surface, x, y, volume, area),
        thinnest=float(z.min()),
        thickest=float(z.max()),
        heel_stack=_height_at(surface, HEEL_SHARE),
        forefoot_stack=_height_at(surface, BALL_SHARE),
        steepest=_steepest(surface),
        heel_tilt=_tilt(surface, HEEL_SHARE),
        forefoot_tilt=_tilt(surface, BALL_SHARE),
    )


def _integrals(x: Array, y: Array, z: Array) -> tuple[float, float]:
    """Volume [m3] and area [m2] by the trapezoid rule, across first."""
    along = x[:, 0]
    section = np.sum(0.5 * (z[:, 1:] + z[:, :-1]) * np.diff(y, axis=1), axis=1)
    breadth = y[:, -1] - y[:, 0]
    steps = np.diff(along)
    return float(np.sum(0.5 * (section[1:] + section[:-1]) * steps)), float(
        np.sum(0.5 * (breadth[1:] + breadth[:-1]) * steps)
    )


def _mass(surface: Surface, x: Array, y: Array, volume: float, area: float) -> float:
    """Mass [kg]: covers by area and thickness, thin layers by their own volume, the shaped layer by what is left; NaN
    without layers or densities."""
    layers = surface.layers
    if not layers:
        return math.nan
    thin = surface.thin if isinstance(surface, InsoleShape) else ()
    sheets = [_integrals(x, y, one.height * one.share(x / surface.length))[0] for one in thin]
    body = volume - area * cover_thickness(layers) - sum(sheets)
    return sum(
        layer.material.density * (body if layer.thickness is None else area * layer.thickness) for layer in layers
    ) + sum(one.material.density * sheet for one, sheet in zip(thin, sheets, strict=True))


def _height_at(surface: Surface, share: float) -> float:
    return float(surface.heights(np.array([share * surface.length]), np.array([0.0]))[0])


def _tilt(surface: Surface, share: float) -> float:
    """Slope of the straight line through a cross section [rad]."""
    x = np.full(61, share * surface.length)
    y = np.linspace(float(surface.lateral_edge(x[:1])[0]), float(surface.medial_edge(x[:1])[0]), 61)
    return math.atan(float(np.polyfit(y, surface.heights(x, y), 1)[0]))


def _steepest(surface: Surface) -> float:
    """Steepest slope [rad] of the top on the sole, by differences over half a millimetre inwards of the edge."""
    x, y = sole_grid(surface, *FINE)
    x, y, step = x[1:-1, 1:-1], y[1:-1, 1:-1], 0.00025
    slope = [
        (surface.heights(x + dx, y + dy) - surface.heights(x - dx, y - dy)) / (2 * step)
        for dx, dy in ((step, 0.0), (0.0, step))
    ]
    return math.atan(float(np.hypot(*slope).max()))

"""The parts of an insole by the names that a maker knows, each with its limits.

Axes: x forward from the heel, y towards medial, z up, in metres; angles in radians.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.insole.shape.materials import Material
from jointload.intake.recording import Array
from jointload.landing.sole_regions import BALL_START, HEEL_END, TOE_START

STEEPEST_POSTING = math.radians(15.0)
"""No posting is steeper [rad] (choice); a file may ask for 10 deg at most."""
HIGHEST_LIFT, HIGHEST_ARCH, HIGHEST_METATARSAL = 0.020, 0.030, 0.012
"""Largest heel lift, arch fill, metatarsal support [m] (choice; lifts inside a shoe are about 10 mm, from memory)."""
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


def check_range(what: str, value: float, low: float, high: float, unit: str = "mm", factor: float = 1000.0) -> None:
    """SettingError in one line where a value lies outside; in SI units, told in `unit`s of which it has `factor`."""
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
        check_range("posting", self.angle, -STEEPEST_POSTING, STEEPEST_POSTING, "deg", 180 / math.pi)
        check_range("posting start", self.start, 0.0, 1.0, "of the length", 1.0)
        check_range("posting end", self.end, self.start, 1.0, "of the length", 1.0)
        check_range("posting blend", self.blend, 0.05, 0.6, "of the length", 1.0)

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
        check_range("heel lift", self.height, 0.0, HIGHEST_LIFT)
        check_range("heel lift ramp start", self.ramp_start, 0.0, 0.6, "of the length", 1.0)
        check_range("heel lift ramp end", self.ramp_end, self.ramp_start + 0.1, 1.0, "of the length", 1.0)

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
        check_range("arch fill", self.height, 0.0, HIGHEST_ARCH)
        check_range("arch fill centre", self.centre, 0.2, 0.6, "of the length", 1.0)
        check_range("arch fill half length", self.half_length, 0.1, 0.4, "of the length", 1.0)
        check_range("arch fill reach", self.reach, 0.2, 1.0, "of the width", 1.0)


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
        check_range("metatarsal support", self.height, 0.0, HIGHEST_METATARSAL)
        check_range("metatarsal support position", self.position, 0.4, 0.75, "of the length", 1.0)
        check_range("metatarsal support offset", self.offset, -0.03, 0.03)
        check_range("metatarsal support length", self.length, 0.02, 0.10)
        check_range("metatarsal support width", self.width, 0.02, 0.08)


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
        check_layers((Layer(self.material),))
        check_range(f"thin layer {self.material.name}", self.height, *THIN_RANGE)

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
            check_range("heel cup", self.height, *CUP_RANGE)


NO_REARFOOT, NO_FOREFOOT = Posting(), Posting(0.0, 0.60, 1.0)
NO_LIFT, NO_ARCH, NO_METATARSAL, NO_CUP = HeelLift(), ArchFill(), MetatarsalSupport(), HeelCup()
"""What an insole has of each part unless more is asked for: nothing, at the usual place."""


def cover_thickness(layers: tuple[Layer, ...]) -> float:
    """Thickness [m] of all layers but the one that takes the shape."""
    return sum(layer.thickness for layer in layers if layer.thickness is not None)


def check_layers(layers: tuple[Layer, ...]) -> None:
    """SettingError where a layer is no material to cut, or not exactly one takes the shape."""
    for layer in layers:
        if layer.material.kind == "tissue":
            raise SettingError(
                expected_found(
                    "layer", "a foam, gel, elastomer or shell", f"{layer.material.name}, a tissue", "the layers",
                    "choose another material",
                )
            )  # fmt: skip
        if layer.thickness is not None:
            check_range(f"layer {layer.material.name} thickness", layer.thickness, 0.0002, 0.015)
    shaped = sum(layer.thickness is None for layer in layers)
    if layers and shaped != 1:
        raise SettingError(
            expected_found(
                "layers", "one layer without a thickness, which takes the shape", f"{shaped}", "the layers",
                "leave the thickness out of exactly one",
            )
        )  # fmt: skip

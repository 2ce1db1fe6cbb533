"""The outline of a sole, as the medial and lateral edge at every distance from the heel."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.intake.recording import Array
from jointload.numerics.splines import CubicCurve

STATIONS = (0.0, 0.15, 0.30, 0.45, 0.58, 0.70, 0.80, 0.90, 1.0)
"""Distance from the heel as a share of the length."""
HALF_WIDTH = (0.68, 0.68, 0.66, 0.71, 0.88, 1.0, 0.978, 0.92, 0.87)
"""Half the width there as a share of half the largest width, before both ends are rounded (choice, a plain sole)."""
MIDDLE = (0.0, 0.0, -0.035, -0.07, -0.045, 0.0, 0.05, 0.11, 0.18)
"""The middle of the sole there, towards medial, as a share of half the largest width: hollow at the arch, toe inwards
(choice)."""
HEEL_ROUND, TOE_ROUND = 0.125, 0.24
"""Share of the length over which the heel and the toe are rounded (choice)."""
TOE_BLUNTNESS = 2.3
"""Exponent of the toe's superellipse; 2 is an ellipse (choice)."""
BREADTH_SHARE = 0.36
"""Width of the sole over its length where the width is not given: 95 mm over 265 mm, the median British man."""
BALL_SHARE = 0.70
"""The widest place, at the heads of the metatarsals, as a share of the length."""
HEEL_SHARE = 0.15
"""Where the heel is measured, as a share of the length."""
LENGTHS, WIDTHS = (0.15, 0.36), (0.05, 0.14)
"""Plausible length and width of a sole [m], a child's to a very large man's."""


@dataclass(frozen=True)
class Outline:
    """A sole's outline; x forward from the heel, y towards medial from the line heel to ball, both in m."""

    length: float
    width: float

    def __post_init__(self) -> None:
        for name, value, (low, high) in (("length", self.length, LENGTHS), ("width", self.width, WIDTHS)):
            if not low <= value <= high:
                raise SettingError(
                    expected_found(
                        f"insole {name}", f"{1000 * low:g} to {1000 * high:g} mm", f"{1000 * value:g} mm", "the shape",
                        "give it in millimetres in insole.toml",
                    )
                )  # fmt: skip

    def medial_edge(self, x: Array) -> Array:
        """y [m] of the medial edge."""
        return self._middle(x) + self._half_width(x)

    def lateral_edge(self, x: Array) -> Array:
        """y [m] of the lateral edge."""
        return self._middle(x) - self._half_width(x)

    def _middle(self, x: Array) -> Array:
        return 0.5 * self.width * _curves()[1](np.clip(np.asarray(x) / self.length, 0.0, 1.0))

    def _half_width(self, x: Array) -> Array:
        share = np.clip(np.asarray(x, dtype=float) / self.length, 0.0, 1.0)
        heel = np.clip(1.0 - share / HEEL_ROUND, 0.0, 1.0)
        toe = np.clip((share - 1.0 + TOE_ROUND) / TOE_ROUND, 0.0, 1.0)
        rounded = np.sqrt(1.0 - heel**2) * (1.0 - toe**TOE_BLUNTNESS) ** (1.0 / TOE_BLUNTNESS)
        return 0.5 * self.width * np.asarray(_curves()[0](share)) * rounded


@lru_cache(maxsize=1)
def _curves() -> tuple[CubicCurve, CubicCurve]:
    """Half width and middle against the share of the length, as cubic splines."""
    stations, widths = np.array(STATIONS), np.array(HALF_WIDTH)
    largest = float(CubicCurve.through(stations, widths)(np.linspace(0.0, 1.0, 2001)).max())
    return CubicCurve.through(stations, widths / largest), CubicCurve.through(stations, np.array(MIDDLE))


def foot_size(
    calcaneus: Array, metatarsal1: Array, metatarsal5: Array, toe: Array | None = None
) -> tuple[float, float]:
    """Length and width [m] of a foot from markers of a static trial, (3,) each, lab axes with Y up.

    Length runs from the rearmost marker to the toe along the floor; without a toe marker the middle of the metatarsal
    heads stands at BALL_SHARE of it. Width is the distance of the metatarsal heads along the floor. Markers sit on the
    skin, not on the sole: expect a few millimetres too little in length, too much in width.
    """
    floor = np.array([1.0, 0.0, 1.0])
    ball = 0.5 * (metatarsal1 + metatarsal5)
    forward = (ball - calcaneus) * floor
    forward = forward / np.linalg.norm(forward)
    if toe is None:
        length = float(forward @ (ball - calcaneus)) / BALL_SHARE
    else:
        length = float(forward @ (toe - calcaneus))
    return length, float(np.linalg.norm((metatarsal1 - metatarsal5) * floor))


def mondopoint(text: str | float) -> tuple[float, float | None]:
    """Length and, where given, width [m] of a foot from its Mondopoint size: '265' or '265/100' (ISO 9407: mm)."""
    first, _, second = str(text).partition("/")
    try:
        length, width = float(first), float(second) if second else None
    except ValueError:
        length, width = float("nan"), None
    if not 1000 * LENGTHS[0] <= length <= 1000 * LENGTHS[1]:
        raise SettingError(
            expected_found(
                "mondopoint", "the foot's length in mm, 150 to 360, or length/width", repr(text), "insole.toml",
                "measure the foot; other size systems do not fix a length",
            )
        )  # fmt: skip
    return length / 1000, None if width is None else width / 1000

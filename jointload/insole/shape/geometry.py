"""The shape under the foot. For now a wedge of one angle under the heel or the whole foot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from jointload.errors import SettingError, expected_found

STEEPEST = 10.0
"""Largest wedge [deg]; studies use 2 to 10 deg, and discomfort grows at 10 (insole evidence: Kerrigan 2002, from
memory)."""
HEEL_WIDTH = 0.060
"""Width of a heel on an insole [m] for the height of a wedge's raised edge (choice, a man's medium shoe)."""

Length = Literal["heel", "full"]


@dataclass(frozen=True)
class Wedge:
    """angle [rad], positive when the medial side is raised; under one foot, 'right' or 'left'; under the heel or
    the full length."""

    angle: float
    side: str
    length: Length = "heel"

    @property
    def raised_side(self) -> str:
        return "medial" if self.angle >= 0 else "lateral"

    @property
    def raised_edge(self) -> float:
        """Height [m] of the raised edge over the other one across the heel."""
        return HEEL_WIDTH * float(np.tan(abs(self.angle)))

    def __str__(self) -> str:
        foot = self.side
        part = "heel wedge" if self.length == "heel" else "full-length wedge"
        height = f"{1000 * self.raised_edge:.1f} mm over a {1000 * HEEL_WIDTH:.0f} mm heel"
        size = f"{abs(np.rad2deg(self.angle)):g} deg"
        return f"{size} {part} under the {foot} foot, {self.raised_side} side raised ({height})"


def parse_wedge(text: str, side: str, length: str = "heel") -> Wedge:
    """A wedge from 'medial:4' or 'lateral:4', in degrees."""
    raised, _, degrees = text.partition(":")
    if raised not in ("medial", "lateral") or side not in ("right", "left") or length not in ("heel", "full"):
        raise SettingError(
            expected_found(
                "wedge",
                "medial:DEGREES or lateral:DEGREES, side right or left, length heel or full",
                f"{text!r}, side {side!r}, length {length!r}",
                "the command",
                "correct it",
            )
        )
    try:
        angle = float(degrees)
    except ValueError:
        angle = float("nan")
    if not 0 <= angle <= STEEPEST:
        raise SettingError(
            expected_found(
                "wedge angle", f"0 to {STEEPEST:g} degrees", repr(degrees), "the command", f"write it like {raised}:4"
            )
        )
    return Wedge(
        float(np.deg2rad(angle)) * (1 if raised == "medial" else -1), side, "full" if length == "full" else "heel"
    )

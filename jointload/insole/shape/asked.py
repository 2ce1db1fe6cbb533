"""What a what-if is asked about, and the insoles before and after."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.insole.shape.geometry import Wedge
from jointload.insole.shape.parts import NO_CUP, HeelCup, HeelLift, ThinLayer
from jointload.insole.shape.shape import InsoleShape, flat, wedge_shape

USUAL_BASE = 0.004
"""Thickness [m] of the flat insole that a wedge, a lift or another thickness is compared with (choice)."""


@dataclass(frozen=True)
class Parts:
    """Simple parts under one foot, fitted to its length when that is known: a wedge, a heel lift [m], another
    thickness of the whole insole [m], thin layers upon it, a heel cup."""

    side: str
    wedge: Wedge | None = None
    lift: float = 0.0
    thickness: float = USUAL_BASE
    thin: tuple[ThinLayer, ...] = ()
    cup: HeelCup = NO_CUP

    def shape(self, length: float) -> InsoleShape:
        """The insole of these parts for a foot of this length [m]."""
        plain = InsoleShape(
            self.side, length, base=self.thickness, lift=HeelLift(self.lift), thin=self.thin, cup=self.cup
        )
        if self.wedge is None:
            return plain
        tilted = wedge_shape(self.wedge, length)
        return replace(plain, rearfoot=tilted.rearfoot, forefoot=tilted.forefoot)

    def __str__(self) -> str:
        foot = self.side
        words = [str(self.wedge)] if self.wedge is not None else []
        words += [f"{1000 * self.lift:g} mm heel lift under the {foot} foot"] if self.lift else []
        if self.thickness != USUAL_BASE:
            words.append(
                f"{1000 * self.thickness:g} mm insole in place of {1000 * USUAL_BASE:g} mm under the {foot} foot"
            )
        words += [f"{thin} of the {foot} foot" for thin in self.thin if thin.under != "whole"]
        words += [
            f"{str(thin).replace('the whole', f'the whole {foot}')}" for thin in self.thin if thin.under == "whole"
        ]
        words += [f"{_cup_text(self.cup)} under the {foot} foot"] if self.cup.height else []
        return "; ".join(words) or f"flat insole under the {foot} foot"


def _cup_text(cup: HeelCup) -> str:
    return f"heel cup {1000 * cup.height:g} mm high"


Given = Wedge | Parts | InsoleShape
"""What a what-if may be asked about."""


@dataclass(frozen=True)
class Case:
    """What was asked, and the insoles before and after."""

    given: Given
    before: InsoleShape
    after: InsoleShape

    @property
    def text(self) -> str:
        return shape_text(self.given)


def case_of(given: Given, length: float) -> Case:
    """What was asked of a sole of this length [m], and the flat insole that it is held against."""
    if isinstance(given, Wedge):
        given_shape = wedge_shape(given, length)
        return Case(given, flat(given_shape), given_shape)
    if isinstance(given, Parts):
        return Case(given, InsoleShape(given.side, length, base=USUAL_BASE), given.shape(length))
    return Case(given, flat(given), given)


def shape_text(shape: Given) -> str:
    """The shape in words: what is added to a flat insole."""
    if not isinstance(shape, InsoleShape):
        return str(shape)
    parts = []
    for name, posting in (("rearfoot", shape.rearfoot), ("forefoot", shape.forefoot)):
        if posting.angle:
            raised = "medial" if posting.angle > 0 else "lateral"
            parts.append(f"{abs(np.rad2deg(posting.angle)):g} deg {name} posting, {raised} side raised")
    for name, height in (
        ("heel lift", shape.lift.height),
        ("arch fill", shape.arch.height),
        ("metatarsal support", shape.metatarsal.height),
    ):
        if height:
            parts.append(f"{1000 * height:g} mm {name}")
    parts += [str(thin) for thin in shape.thin]
    parts += [_cup_text(shape.cup)] if shape.cup.height else []
    foot = shape.side
    return f"insole under the {foot} foot, base {1000 * shape.base:g} mm: {'; '.join(parts) or 'flat'}"

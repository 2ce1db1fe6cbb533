"""Thin layers and a cup in a fit: every material at every height under heel, ball or both, by what it leaves of heel,
ball and toes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray

from jointload.errors import SettingError, expected_found
from jointload.foot.layer_choice import MOSTLY
from jointload.foot.on_insole import ON_INSOLE, Feet, OnThin, Shifted
from jointload.foot.thin_layers import HEIGHTS
from jointload.insole.fitting.aim import BALL
from jointload.insole.fitting.slopes import Slopes
from jointload.insole.limb.feet import Borne
from jointload.insole.limb.regions import BALL_REGIONS, HEEL_REGIONS
from jointload.insole.shape.materials import Material
from jointload.insole.shape.parts import UNDER, HeelCup, ThinLayer, thin_stack
from jointload.intake.recording import Array

CUP = HeelCup(0.012)
"""The cup that a fit may use (choice)."""


@dataclass(frozen=True, eq=False)
class Laid:
    """Thin layers and a cup upon the insole, and what they make of the foot."""

    thin: tuple[ThinLayer, ...]
    cup: HeelCup
    made: OnThin

    @property
    def heights(self) -> Array:
        """(2,) [m] under heel and ball."""
        return np.array(thin_stack(self.thin))

    @property
    def bottomed(self) -> bool:
        return any(share >= MOSTLY for _, share in self.made.bottomed)


@dataclass(frozen=True, eq=False)
class FeetSlopes:
    """Heel, ball and toes of one foot in a search: the insole's own heights to first order, layers as they are.

    usable : (D,) which of the foot's draws stand beside those of the slopes
    """

    feet: Feet
    slopes: Slopes
    usable: NDArray[np.bool_]
    _known: dict[tuple[tuple[ThinLayer, ...], HeelCup], Laid] = field(default_factory=dict)

    @classmethod
    def of(cls, borne: Borne, slopes: Slopes, quantities: Iterable[str]) -> FeetSlopes | None:
        """None where no quantity is one of heel, ball or toes; SettingError where one of these was asked for that
        is not known in this landing."""
        asked = [name for name in quantities if name in ON_INSOLE]
        feet = borne.feet
        reason = borne.reason
        if feet is not None and "toe_push_force_peak" in asked and feet.bearing.toe_push is None:
            reason = feet.bearing.no_toes
        if asked and reason:
            advice = "choose another target, or see what `jointload analyse` says of this foot"
            raise SettingError(expected_found("target", "a number that this landing has", reason, asked[0], advice))
        if feet is None or not asked:
            return None
        return cls(feet, slopes, np.asarray(slopes.flat.stable.any(axis=1)))

    def laid(self, thin: tuple[ThinLayer, ...], cup: HeelCup) -> Laid:
        if (thin, cup) not in self._known:
            self._known[thin, cup] = Laid(thin, cup, self.feet.on_thin(thin, bool(cup.height)))
        return self._known[thin, cup]

    def before(self, quantity: str) -> float:
        return float(np.median(self.feet.number(quantity)[self.usable]))

    def changes(self, quantity: str, amounts: Array, laid: Laid) -> Array:
        """(S, D) change of one quantity [SI] on the shapes, of the usable draws."""
        drop = (amounts @ self.slopes.parts.drops)[:, None]
        heel, ball = np.ones((2, len(amounts), self.feet.bearing.draws))
        if quantity == BALL:
            ball[:, self.usable] += self.slopes.largest(BALL_REGIONS, amounts)
        elif not quantity.startswith("toe"):
            heel[:, self.usable] += self.slopes.largest(HEEL_REGIONS, amounts)
        return self.feet.change(quantity, laid.made, Shifted(heel, heel, ball), drop)[:, self.usable]


def options(slopes: FeetSlopes, materials: Sequence[Material], room: float, cup: bool, beside: Laid) -> Iterator[Laid]:
    """What may be added to layers that lie there already: a layer of any material and height within a room [m] in
    another place, or a cup; none that bottoms out."""
    if cup and not beside.cup.height:
        yield slopes.laid(beside.thin, CUP)
    taken = {place for one in beside.thin for place in (UNDER if one.under == "whole" else (one.under, "whole"))}
    for under, material, height in product(UNDER, materials, HEIGHTS):
        if under not in taken and height <= room + 1e-9:
            found = slopes.laid((*beside.thin, ThinLayer(material, height, under)), beside.cup)
            if not found.bottomed:
                yield found

"""Heel, ball and toes of one landing on another insole: before and after, for drawn persons.

The insole's own heights (posting, lift, base) act by the bed, thin layers and a cup by the law of the heel's pad for
impact. Arrays are (D,): draws.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from jointload.errors import SettingError
from jointload.foot.bore import DRAWS, SEED
from jointload.foot.heel_pad import StiffeningColumn
from jointload.foot.layer_law import Circumstances, bottomed, law_form, layer_columns, stiffening_in
from jointload.foot.thin_layers import (
    Bearing,
    OnLayers,
    PressedStack,
    Stack,
    bearing_of,
    toe_change,
)
from jointload.insole.limb.standing import drop_of
from jointload.insole.shape.parts import ThinLayer, thin_stack
from jointload.insole.shape.shape import InsoleShape
from jointload.intake.recording import Array
from jointload.intake.shoe import Shoe
from jointload.landing.landed import Landing

ON_INSOLE = (
    "heel_pressure_peak", "heel_pad_strain_peak", "heel_force_peak", "ball_pressure_peak", "toe_push_force_peak",
)  # fmt: skip
"""What an insole may change of heel, ball and toes."""


@dataclass(frozen=True, eq=False)
class Shifted:
    """What the insole's own heights make of the largest pressure under the heel, of the force there and of the largest
    pressure under the ball, by the bed: factors (D,)."""

    heel_pressure: Array
    heel_force: Array
    ball_pressure: Array


@dataclass(frozen=True, eq=False)
class FeetOn:
    """numbers : quantity -> before and change [SI], of those that are known;  reasons : why others are not
    bottomed : of each thin layer, the share of persons in whom it is"""

    numbers: dict[str, tuple[Array, Array]]
    reasons: dict[str, str]
    bottomed: tuple[tuple[ThinLayer, float], ...] = ()


def bears(
    landing: Landing, side: str, shoe: Shoe | None, draws: int = DRAWS, seed: int = SEED
) -> tuple[Bearing | None, str]:
    """What one foot bears, or None and why it is not known."""
    try:
        return bearing_of(landing, side, shoe, draws, seed), ""
    except SettingError as problem:
        return None, str(problem)


@dataclass(frozen=True, eq=False)
class OnThin:
    """What thin layers and a cup make of one foot, for all its draws (D,): the heel's pressure left over that without
    them, the force that goes from heel to ball [N], the ball's pressure over that without them, and by what the heel
    lies higher than the ball [m], layers less what is sunk in.

    on : heel and ball as the cup holds them;  bottomed : as in FeetOn
    """

    on: OnLayers
    heel_factor: Array
    moved: Array
    ball_factor: Array
    raised: Array
    bottomed: tuple[tuple[ThinLayer, float], ...]


@dataclass(frozen=True, eq=False)
class Feet:
    """One foot that is laid upon one insole after the other."""

    bearing: Bearing

    @cached_property
    def plain(self) -> OnLayers:
        return OnLayers.of(self.bearing, False)

    @cached_property
    def in_cup(self) -> OnLayers:
        return OnLayers.of(self.bearing, True)

    def number(self, quantity: str) -> Array:
        """(D,) one of ON_INSOLE before any change [SI]."""
        whole = {
            "heel_pressure_peak": self.plain.bare.peak_pressure, "heel_force_peak": self.bearing.heel_force,
            "ball_pressure_peak": self.bearing.ball_pressure,
        }  # fmt: skip
        if quantity == "heel_pad_strain_peak":
            return self.strain(self.plain, self.number("heel_pressure_peak"))
        if quantity == "toe_push_force_peak":
            assert self.bearing.toe_push is not None
            return np.asarray(self.bearing.toe_push[self.bearing.toe_push.shape[0] // 2])
        return self._each(whole[quantity])

    def on_thin(self, thin: tuple[ThinLayer, ...], cup: bool) -> OnThin:
        on = self.in_cup if cup else self.plain
        if not thin and not cup:
            one, none = np.ones(self.bearing.draws), np.zeros(self.bearing.draws)
            return OnThin(on, one, none, one, none, ())
        stack, columns = _stack(on, thin)
        pressed = on.pressed(stack)
        heel, ball = thin_stack(thin)
        return OnThin(
            on,
            self._each(pressed.heel_pressure / self.plain.bare.peak_pressure),
            self._each(pressed.moved),
            self._each(1.0 + pressed.ball_change),
            heel - ball - self._each(pressed.sunk),
            _bottoming(pressed, columns),
        )

    def strain(self, on: OnLayers, pressure: Array) -> Array:
        """(..., D) of the heel's pad under a pressure."""
        pad = on.heel.pad
        own = (self._each(each) for each in (pad.thickness, pad.modulus, pad.stiffening_strain))
        column = StiffeningColumn(*own)
        return np.asarray(column.compression(pressure) / column.thickness)

    def change(self, quantity: str, laid: OnThin, shifted: Shifted, drop: Array | float) -> Array:
        """(..., D) change of one of ON_INSOLE [SI];  shifted : factors (..., D);  drop : [m] of the insole's own
        heights, by which the heel lies higher over the ball than before"""
        if quantity == "toe_push_force_peak":
            return toe_change(self.bearing, drop + laid.raised)
        before = self.number(quantity)
        if quantity == "ball_pressure_peak":
            return np.asarray(before * (laid.ball_factor * shifted.ball_pressure - 1.0))
        if quantity == "heel_force_peak":
            return np.asarray(before * (shifted.heel_force - 1.0) - laid.moved)
        pressure = self.number("heel_pressure_peak")
        left = pressure * laid.heel_factor * shifted.heel_pressure
        return left - before if quantity == "heel_pressure_peak" else self.strain(laid.on, left) - before

    @property
    def known(self) -> tuple[str, ...]:
        """Those of ON_INSOLE that this landing has."""
        return tuple(q for q in ON_INSOLE if self.bearing.toe_push is not None or not q.startswith("toe_push"))

    def _each(self, values: float | Array) -> Array:
        return np.asarray(np.broadcast_to(values, (self.bearing.draws, 1))[:, 0])


def feet_on(
    feet: Feet, before: InsoleShape, after: InsoleShape, shifted: Shifted | None, usable: NDArray[np.bool_]
) -> FeetOn:
    """shifted : factors of the usable draws, None where the insole's own heights stay"""
    laid = feet.on_thin(after.thin, bool(after.cup.height))
    every = [np.ones(feet.bearing.draws) for _ in range(3)]
    if shifted is not None:
        for whole, factor in zip(
            every, (shifted.heel_pressure, shifted.heel_force, shifted.ball_pressure), strict=True
        ):
            whole[usable] = factor
    own = drop_of(replace(after, thin=())) - drop_of(before)
    numbers = {
        name: (feet.number(name)[usable], feet.change(name, laid, Shifted(*every), own)[usable]) for name in feet.known
    }
    reasons = {} if feet.bearing.toe_push is not None else {"toe_push_force_peak": feet.bearing.no_toes}
    return FeetOn(numbers, reasons, laid.bottomed)


def _stack(on: OnLayers, thin: tuple[ThinLayer, ...]) -> tuple[Stack, list[tuple[ThinLayer, StiffeningColumn]]]:
    """The layers under heel and ball, and each by itself."""
    bearing, unknown = on.bearing, on.unknown
    columns = []
    for one in thin:
        stiffer = stiffening_in(one.material, bearing.quickness, Circumstances(), unknown, bearing.seed)
        column = layer_columns([one.material], [one.height], stiffer[None], unknown, bearing.seed)
        modulus, strain = (np.asarray(each)[0, 0] for each in (column.modulus, column.stiffening_strain))
        columns.append((one, StiffeningColumn(one.height, modulus, strain)))
    heel, ball = ([(one, c) for one, c in columns if one.under in (part, "whole")] for part in ("heel", "ball"))
    return Stack(
        tuple(c for _, c in heel),
        tuple(c for _, c in ball),
        _form(on, [o for o, _ in heel]),
        _form(on, [o for o, _ in ball]),
    ), columns


def _form(on: OnLayers, thin: list[ThinLayer]) -> float | Array:
    """(D, 1) factor of what layers on each other spare, each by its share of the height."""
    whole = sum(one.height for one in thin)
    return np.asarray(sum(one.height / whole * law_form(one.material, on.unknown) for one in thin)) if thin else 1.0


def _bottoming(
    pressed: PressedStack, columns: list[tuple[ThinLayer, StiffeningColumn]]
) -> tuple[tuple[ThinLayer, float], ...]:
    """A layer under both is judged where it is pressed more."""
    out = []
    for one, column in columns:
        parts = [pressed.ball] if one.under == "ball" else [pressed.heel]
        parts = [pressed.heel, pressed.ball] if one.under == "whole" else parts
        most = np.max([part.peak_pressure for part in parts], axis=0)
        out.append((one, float(bottomed(most, column).mean())))
    return tuple(out)

"""What thin layers in a shoe leave of a landing under heel and ball: every material at every height, for drawn persons.

The force under a foot stays: published layers of 0 to 16 mm did not change the ground's. A layer spreads it over more
of the heel, sinks in, and tilts the foot. Arrays are (M, H, D): materials, heights, draws.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.foot.heel import loading_time, sole_columns
from jointload.foot.heel_pad import Column, Heel, PressedHeel, StiffeningColumn, heel_force, heel_of, press_heel
from jointload.foot.layer_law import Circumstances, bottomed, law_form, layer_columns, stiffening_in
from jointload.foot.spreads import drawn
from jointload.foot.toes import toes_of
from jointload.foot.underfoot import Underfoot, underfoot
from jointload.insole.shape.materials import Material
from jointload.intake.recording import Array
from jointload.intake.shoe import Shoe
from jointload.landing.landed import Landing
from jointload.landing.sole_regions import BALL_START, HEEL_END
from jointload.loads.tissue.spreads import Factors

PLACES = ("heel", "ball", "whole")
"""Where a layer may lie; whole : under the whole foot."""
HEIGHTS = tuple(k / 1000 for k in range(1, 9))
"""Heights that are compared [m]."""
MOST_MOVED = 0.5
"""Share of the heel's force that a sinking heel moves to the ball at most (choice)."""
TILTS = np.deg2rad(np.linspace(-6.0, 6.0, 13))
"""Tilts of the foot for which the toes' push is found; between them it is interpolated."""
NO_FORCE = "the force under this foot, or where it acts, is not known throughout its landing"


@dataclass(frozen=True, eq=False)
class Bearing:
    """One foot at the largest force under its heel; draws (D, 1).

    heel_force, ball_force [N], ball_pressure [Pa] : each at its own largest;  quickness : from touch to it [s]
    sole : columns of the shoe;  lever : heel to ball along the foot [m];  body_weight : [N]
    toe_push : (G, D) [N] largest push of the toes for each of TILTS, None where it is not known, and why
    """

    side: str
    basis: str
    heel_force: Array
    ball_force: Array
    ball_pressure: Array
    quickness: Array
    sole: tuple[Column, ...]
    lever: float
    body_weight: float
    seed: int
    toe_push: Array | None = None
    no_toes: str = ""

    @property
    def draws(self) -> int:
        return int(self.heel_force.shape[0])


@dataclass(frozen=True, eq=False)
class Spared:
    """What layers at one place leave; (M, H, D) unless said, NaN where it is not known.

    heel_change, ball_change : of the peak pressure, as a share of that without a layer
    heel_pressure [Pa], pad_strain, pad_way (strain over the locking strain) : that are left
    taken, kept : energy of the layer in the loading [J];  left : its height [m] under the heel's middle, of a layer
    under the ball alone under a metatarsal head's;  bottomed : 1 where it is that much stiffer than unloaded
    ball_force : that goes from heel to ball [N];  toe_push : its change [N]
    """

    place: str
    heel_change: Array
    ball_change: Array
    heel_pressure: Array
    pad_strain: Array
    pad_way: Array
    taken: Array
    kept: Array
    left: Array
    bottomed: Array
    ball_force: Array
    toe_push: Array


@dataclass(frozen=True, eq=False)
class LayerTrial:
    """Every material at every height under one foot. stiffer : (M, D) factor of a material's modulus in this landing
    over that of its test;  bare_pressure, bare_strain : (D,) without a layer, and without a cup;  cup_change : (D,) of
    the heel's pressure by the cup alone, 0 without one;  spared : place -> what is left, beside neither layer nor cup
    riders : whose landings lie together in the draws, side by side
    """

    bearing: Bearing
    materials: tuple[Material, ...]
    heights: tuple[float, ...]
    circumstances: Circumstances
    stiffer: Array
    bare_pressure: Array
    bare_strain: Array
    cup_change: Array
    spared: dict[str, Spared]
    riders: int = 1


def bearing_of(landing: Landing, side: str, shoe: Shoe | None, draws: int = 200, seed: int = 5) -> Bearing:
    """What layers under one foot have to bear; SettingError with the reason where that is not known."""
    below = underfoot(landing, side, draws, seed) if side in landing.events.sides else None
    if below is None or not (below.heel.max(axis=1) > 0).all() or "ball" not in below.ball:
        found = "this foot does not land on a plate" if side not in landing.events.sides else NO_FORCE
        found = found if below is None else "nothing presses on the heel, or no sensor of the ball measures"
        raise SettingError(
            expected_found(f"{side} foot", "a force under heel and ball", found, "the landing", "see the other foot")
        )
    length = below.map.length if below.map is not None else 0.152 * landing.body.rider.height
    push, reason = _toes(landing, side, shoe, below, draws, seed)
    return Bearing(
        side,
        below.basis,
        below.heel.max(axis=1, keepdims=True),
        below.ball["ball"].peak_force[:, None],
        np.maximum(*(below.ball[part].peak_pressure for part in ("first_metatarsal", "other_metatarsals")))[:, None],
        loading_time(below.heel, below.time),
        sole_columns(shoe, draws, seed),
        (BALL_START - 0.5 * HEEL_END) * length,
        landing.body.rider.weight,
        seed,
        push,
        reason,
    )


def spare(
    bearing: Bearing,
    materials: Sequence[Material],
    heights: Sequence[float] = HEIGHTS,
    circumstances: Circumstances | None = None,
    places: Sequence[str] = PLACES,
) -> LayerTrial:
    """Press heel and ball of every drawn person onto every layer, in the same landing."""
    circumstances = circumstances or Circumstances()
    on, without = OnLayers.of(bearing, circumstances.cup), OnLayers.of(bearing, False).bare
    unknown = on.unknown
    stiffer = np.stack([stiffening_in(m, bearing.quickness, circumstances, unknown, bearing.seed) for m in materials])
    layer = layer_columns(materials, heights, stiffer, unknown, bearing.seed)
    form = np.stack([law_form(m, unknown) for m in materials])[:, None]
    losses = np.array([m.energy_loss for m in materials])[:, None, None, None]
    return LayerTrial(
        bearing, tuple(materials), tuple(heights), circumstances, stiffer[..., 0],
        np.ravel(without.peak_pressure), np.ravel(without.strain),
        np.ravel(on.bare.peak_pressure / without.peak_pressure - 1.0),
        {place: _spared(place, on, layer, form, losses, without.peak_pressure) for place in places},
    )  # fmt: skip


def held_by_cup(heel: Heel, thicker: float | Array) -> Heel:
    """The heel whose pad a close cup holds together: as firm, but thicker by a factor, before and under load."""
    return replace(heel, pad=replace(heel.pad, thickness=heel.pad.thickness * thicker))


# heel and ball upon it ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class OnLayers:
    """What stands on layers: heel and ball of drawn persons, bare (D, 1), and the form of the laws upon them.

    heel, ball : pads;  unknown : draws of models/foot/layer.toml;  bare : the heel without any layer, in its cup
    """

    bearing: Bearing
    heel: Heel
    ball: Heel
    unknown: Factors
    bare: PressedHeel

    @classmethod
    def of(cls, bearing: Bearing, cup: bool) -> OnLayers:
        unknown = drawn("layer", bearing.draws, bearing.seed)
        heel = heel_of(drawn("heel_pad", bearing.draws, bearing.seed), bearing.quickness)
        heel = held_by_cup(heel, unknown["cup"]) if cup else heel
        return cls(bearing, heel, _ball_of(unknown), unknown, press_heel(bearing.heel_force, heel, bearing.sole))

    @cached_property
    def ball_load(self) -> Array:
        """(D, 1) [N] on the one head of the metatarsals that presses most, from the pressure there."""
        columns = (self.ball.pad, *self.bearing.sole)
        pressure = self.bearing.ball_pressure
        depth = _depth(pressure, columns)
        low, high = np.zeros_like(pressure), pressure.copy()
        for _ in range(50):
            middle = 0.5 * (low + high)
            short = _depth(middle, columns) < depth - self.ball.rim
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        edge = np.where(depth > self.ball.rim, low, 0.0)
        return heel_force(pressure, edge, self.ball, columns)

    def pressed(self, stack: Stack) -> PressedStack:
        """A heel that sinks in turns the foot against the ankle, which presses the ball down by as much as it lifts the
        heel:  dF = k d / lever^2,  d what the heel sinks by more than the ball."""
        bearing, load, bare_ball = self.bearing, self.ball_load, self.bearing.ball_pressure
        columns = [(*stack.heel, *bearing.sole), (*stack.ball, *bearing.sole)]
        heel = press_heel(bearing.heel_force, self.heel, columns[0]) if stack.heel else self.bare
        ball = press_heel(load, self.ball, columns[1]).peak_pressure if stack.ball else bare_ball
        sunk = [
            _depth(pressure, (pads.pad, *below)) - _depth(before, (pads.pad, *bearing.sole))
            for pads, pressure, before, below in (
                (self.heel, heel.peak_pressure, self.bare.peak_pressure, columns[0]),
                (self.ball, ball, bare_ball, columns[1]),
            )
        ]
        stiffness = self.unknown["ankle_stiffness"] * bearing.body_weight
        moved = stiffness * (sunk[0] - sunk[1]) / bearing.lever**2
        moved = np.clip(moved, -MOST_MOVED * bearing.ball_force, MOST_MOVED * bearing.heel_force)
        heel = press_heel(bearing.heel_force - moved, self.heel, columns[0])
        pressed = press_heel(load * (1.0 + moved / bearing.ball_force), self.ball, columns[1])
        left = self.bare.peak_pressure * (1.0 + stack.heel_form * (heel.peak_pressure / self.bare.peak_pressure - 1.0))
        return PressedStack(
            heel, pressed, moved, sunk[0] - sunk[1], left,
            stack.ball_form * (pressed.peak_pressure / bare_ball - 1.0),
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Stack:
    """Columns laid under heel and ball, on the shoe's own sole, and the doubt of their laws' form (D, 1)."""

    heel: tuple[StiffeningColumn, ...] = ()
    ball: tuple[StiffeningColumn, ...] = ()
    heel_form: float | Array = 1.0
    ball_form: float | Array = 1.0


@dataclass(frozen=True, eq=False)
class PressedStack:
    """moved : [N] from heel to ball;  sunk : what the heel goes down by more than the ball [m]
    heel_pressure : [Pa] left;  ball_change : of the ball's pressure, a share"""

    heel: PressedHeel
    ball: PressedHeel
    moved: Array
    sunk: Array
    heel_pressure: Array
    ball_change: Array


def _depth(pressure: Array, columns: Sequence[Column]) -> Array:
    return np.asarray(sum(column.compression(pressure) for column in columns))


def _ball_of(unknown: Factors) -> Heel:
    """A metatarsal head is a small heel."""
    pad = StiffeningColumn(unknown["ball_thickness"], unknown["ball_modulus"], unknown["ball_locking"])
    return Heel(pad, unknown["ball_curve"], unknown["ball_radius"], math.nan)


def _spared(place: str, on: OnLayers, layer: StiffeningColumn, form: Array, losses: Array, compared: Array) -> Spared:
    """compared : (D, 1) [Pa], the pressure that a change is counted from;  losses : of the layer's energy, a share"""
    under_heel, under_ball = (((layer,) if place in (part, "whole") else ()) for part in ("heel", "ball"))
    stack = Stack(under_heel, under_ball, form if under_heel else 1.0, form if under_ball else 1.0)
    pressed = on.pressed(stack)
    main = pressed.heel if under_heel else pressed.ball
    raised = layer.thickness * (bool(under_heel) - bool(under_ball)) - pressed.sunk
    taken = main.layer_energies[0]

    def whole(values: Array) -> Array:
        return np.take(values, 0, axis=-1)

    return Spared(
        place,
        heel_change=whole(pressed.heel_pressure / compared - 1.0),
        ball_change=whole(pressed.ball_change),
        heel_pressure=whole(pressed.heel_pressure),
        pad_strain=whole(pressed.heel.strain),
        pad_way=whole(pressed.heel.locked),
        taken=whole(taken),
        kept=whole(taken * losses),
        left=whole(layer.thickness - main.layer_compressions[0]),
        bottomed=whole(bottomed(main.peak_pressure, layer)),
        ball_force=whole(pressed.moved),
        toe_push=toe_change(on.bearing, whole(raised)),
    )


# toes -----------------------------------------------------------------------------------------------------------------


def _toes(
    landing: Landing, side: str, shoe: Shoe | None, below: Underfoot, draws: int, seed: int
) -> tuple[Array | None, str]:
    if shoe is not None and shoe.barefoot:
        return None, "barefoot: no toe box"
    if not np.isfinite(landing.poses.of(f"{side}_foot")[0][..., landing.window(side)]).all():
        return None, "the foot is not seen throughout"
    rows = [toes_of(landing, side, shoe, below.vertical, below.time, draws, seed, down) for down in TILTS]
    return np.stack([row.peak for row in rows]), ""


def toe_change(bearing: Bearing, raised: Array) -> Array:
    """(..., D) [N] change of the toes' largest push on a foot whose heel lies higher by `raised` [m]."""
    if bearing.toe_push is None:
        return np.full(raised.shape, np.nan)
    tilt = np.clip(raised / bearing.lever, TILTS[0], TILTS[-1])
    place = (tilt - TILTS[0]) / (TILTS[1] - TILTS[0])
    first = np.minimum(place.astype(int), TILTS.size - 2)
    draw = np.arange(bearing.draws)
    low, high = bearing.toe_push[first, draw], bearing.toe_push[first + 1, draw]
    level = bearing.toe_push[TILTS.size // 2]
    return np.where(raised == 0.0, 0.0, low + (place - first) * (high - low) - level)

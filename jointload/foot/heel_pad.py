"""The heel's fat pad under impact: a round heel whose every place is a column of pad, on a hard floor or on layers.

Columns under one pressure stand in series; the heel is a paraboloid, so that force, place and energy follow from what
one column does. Arrays broadcast: `(..., D, F)` draws before frames, layers before both.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from jointload.foot.spreads import foot_spreads, likeliest
from jointload.intake.recording import Array
from jointload.loads.tissue.spreads import Factors
from jointload.modeldata import load_model

Numbers = float | Array

STEPS = 40
"""Most steps of each search; five to eight are usual."""
SETTLED = 1e-9
"""Share by which a force may be missed."""
SMALL = 3e-3
"""Share of a layer's own scale of pressure below which its series serves: rounding of the closed form grows there."""
ZERO: Array = np.zeros(())
NODES, WEIGHTS = np.polynomial.legendre.leggauss(12)
"""Places and weights between -1 and 1 of the integral over pressure that gives each layer's energy."""


class Column(Protocol):
    """What a layer in series has to give, each of any shape that broadcasts with the pressure [Pa], zero at zero.

    compression [m] grows with pressure and ever less steeply;  compliance [m/Pa] is its slope;  complement [Pa m] is
    its integral over pressure, so that the work of a loading is p c - complement
    """

    def compression(self, pressure: Array) -> Array: ...

    def compliance(self, pressure: Array) -> Array: ...

    def complement(self, pressure: Array) -> Array: ...


@dataclass(frozen=True, eq=False)
class StiffeningColumn:
    """A layer p = E s / (1 - s / e), s the compression over the thickness: c = h p / (E + p / e).

    thickness : h [m];  modulus : E [Pa], while it is loaded;  stiffening_strain : e, where pressure has no bound
    An infinite e is a linear layer.
    """

    thickness: Numbers
    modulus: Numbers
    stiffening_strain: Numbers

    def compression(self, pressure: Array) -> Array:
        return np.asarray(self.thickness * pressure / (self.modulus + pressure / self.stiffening_strain))

    def compliance(self, pressure: Array) -> Array:
        firm = self.modulus + pressure / self.stiffening_strain
        return np.asarray(self.thickness * self.modulus / firm**2)

    def complement(self, pressure: Array) -> Array:
        """h e (p - E e ln(1 + p / (E e))), by its series where p is far below E e; h p^2 / 2 E of a linear layer."""
        bound = self.modulus * self.stiffening_strain
        share = pressure / bound
        with np.errstate(invalid="ignore"):
            whole = self.thickness * self.stiffening_strain * (pressure - bound * np.log1p(share))
        start = self.thickness * pressure**2 / self.modulus * (1 / 2 - share / 3 + share**2 / 4 - share**3 / 5)
        return np.asarray(np.where(share < SMALL, start, whole))


@dataclass(frozen=True, eq=False)
class Heel:
    """A heel: its pad as a column, its radius of curvature R and the radius r [m] of the part that bears.

    energy_loss : share of a loading's work that the pad keeps
    """

    pad: StiffeningColumn
    curve: Numbers
    radius: Numbers
    energy_loss: Numbers

    @property
    def rim(self) -> Numbers:
        """What the heel's edge lies higher than its lowest place [m]: r^2 / 2 R."""
        return self.radius**2 / (2.0 * self.curve)


@dataclass(frozen=True, eq=False)
class PressedHeel:
    """A heel at the largest compression of a loading; every field (..., D, F).

    force [N];  peak_pressure, edge_pressure : at the middle and at the heel's edge [Pa];  compression : of the pad at
    its middle [m];  strain : over its thickness;  locked : strain over the locking strain, 1 where no way is left
    room : way left before that [m];  pad_energy : work the pad took [J];  layer_compressions [m], at the middle, and
    layer_energies [J] in the order of the layers
    """

    force: Array
    peak_pressure: Array
    edge_pressure: Array
    compression: Array
    strain: Array
    locked: Array
    room: Array
    pad_energy: Array
    layer_compressions: tuple[Array, ...]
    layer_energies: tuple[Array, ...]


def heel_of(factors: Factors, loading_time: Numbers) -> Heel:
    """A heel from numbers or draws (D, 1) of models/foot/heel_pad.toml, loaded within a time [s].

    E = E_impact (loading time of the drop test / loading time)^m: slow loading meets a softer pad. Modulus and curve go
    with the locking strain, so that whatever it is the published tests are met.
    """
    rows = load_model("foot", "heel_pad").content
    usual, tied = rows["impact"]["loading_time"], rows["tied"]
    locking = factors["locking_strain"]
    sooner = 1.0 / np.asarray(locking) - 1.0 / foot_spreads("heel_pad")["locking_strain"].value
    modulus = factors["modulus"] * np.exp(tied["modulus"] * sooner)
    modulus = modulus * (usual / np.asarray(loading_time)) ** factors["rate_exponent"]
    pad = StiffeningColumn(factors["thickness"], modulus, locking)
    return Heel(pad, factors["curve"] * np.exp(tied["curve"] * sooner), factors["radius"], factors["energy_loss"])


def likeliest_heel(loading_time: Numbers) -> Heel:
    """The heel of the likeliest numbers; loading_time : from touch to the largest force [s]."""
    return heel_of(likeliest("heel_pad"), loading_time)


def press_heel(force: Numbers, heel: Heel, layers: Sequence[Column] = ()) -> PressedHeel:
    """The heel under a force [N] that grew to it, with layers between it and a hard floor.

    With c(p) the compression of all columns together and W(c) its work, the middle goes down by d = c(p0), the edge by
    d - r^2 / 2R, and  F = 2 pi R (W(d) - W(d - r^2 / 2R)).
    force : (..., D, F), none below zero; NaN stays NaN
    Reference: elastic foundation under a paraboloid, as in Johnson KL (1985) Contact Mechanics, section 4.3.
    """
    columns = (heel.pad, *layers)
    shape = np.broadcast_shapes(
        np.shape(force), np.shape(heel.curve), np.shape(heel.radius), *(np.shape(c.compliance(ZERO)) for c in columns)
    )
    force = np.broadcast_to(np.maximum(np.asarray(force, dtype=float), 0.0), shape)
    middle, edge = _pressures(force, heel, columns)
    compression = heel.pad.compression(middle)
    strain = compression / heel.pad.thickness
    energies = _energies(middle, edge, heel, columns)
    return PressedHeel(
        force=force,
        peak_pressure=middle,
        edge_pressure=edge,
        compression=compression,
        strain=strain,
        locked=strain / heel.pad.stiffening_strain,
        room=np.asarray(heel.pad.thickness * heel.pad.stiffening_strain - compression),
        pad_energy=energies[0],
        layer_compressions=tuple(layer.compression(middle) for layer in layers),
        layer_energies=tuple(energies[1:]),
    )


def heel_force(middle: Array, edge: Array, heel: Heel, columns: Sequence[Column]) -> Array:
    """F = 2 pi R (W(p0) - W(p_edge)) [N], W = p c - complement."""
    return np.asarray(2.0 * math.pi * heel.curve * (_work(middle, columns) - _work(edge, columns)))


def _work(pressure: Array, columns: Sequence[Column]) -> Array:
    return _sum(pressure * c.compression(pressure) - c.complement(pressure) for c in columns)


def _sum(parts: Iterable[Array]) -> Array:
    total = ZERO
    for part in parts:
        total = total + part
    return total


def _pressures(force: Array, heel: Heel, columns: Sequence[Column]) -> tuple[Array, Array]:
    """Pressures at the middle and the edge under a force, by Newton's steps on the logarithms of both."""
    loaded = force > 0
    wanted = np.where(loaded, force, 1.0)
    middle = wanted / (0.5 * math.pi * np.asarray(heel.radius) ** 2)
    edge = np.zeros_like(middle)
    for _ in range(STEPS):
        edge = _edge(middle, edge, heel, columns)
        reached = heel_force(middle, edge, heel, columns)
        if np.all(np.abs(reached / wanted - 1.0) < SETTLED):
            break
        compliance = _sum(c.compliance(middle) for c in columns)
        slope = 2.0 * math.pi * heel.curve * (middle - edge) * compliance * middle / reached
        middle = middle * np.exp(np.clip(np.log(wanted / reached) / slope, -2.0, 2.0))
    none = np.where(np.isnan(force), np.nan, 0.0)
    return np.where(loaded, middle, none), np.where(loaded, edge, none)


def _edge(middle: Array, start: Array, heel: Heel, columns: Sequence[Column]) -> Array:
    """Pressure at the heel's edge, which goes down by less than the middle: zero where it does not reach the floor.

    Compression over pressure is concave, so that Newton's steps from below never overshoot.
    """
    depth = _sum(c.compression(middle) for c in columns) - heel.rim
    touching = depth > 0
    pressure = np.where(touching, np.minimum(start, middle), 0.0)
    for _ in range(STEPS):
        missing = np.where(touching, depth - _sum(c.compression(pressure) for c in columns), 0.0)
        if np.all(np.abs(missing) <= 1e-10 * np.abs(depth) + 1e-15):
            break
        pressure = np.maximum(pressure + missing / _sum(c.compliance(pressure) for c in columns), 0.0)
    return np.asarray(pressure)


def _energies(middle: Array, edge: Array, heel: Heel, columns: Sequence[Column]) -> list[Array]:
    """Work [J] each column's material took: 2 pi R times the integral of its own work over the depth, from edge to
    middle, in u = ln(1 + p / E of the pad), where what is integrated bends little."""
    scale = np.asarray(heel.pad.modulus)
    low, high = np.log1p(edge / scale), np.log1p(middle / scale)
    totals = [np.zeros_like(middle) for _ in columns]
    for node, weight in zip(NODES, WEIGHTS, strict=True):
        pressure = scale * np.expm1(low + 0.5 * (node + 1.0) * (high - low))
        stretch = 0.5 * weight * (high - low) * (pressure + scale) * _sum(c.compliance(pressure) for c in columns)
        for k, column in enumerate(columns):
            own = pressure * column.compression(pressure) - column.complement(pressure)
            totals[k] = totals[k] + own * stretch
    return [np.asarray(2.0 * math.pi * heel.curve * total) for total in totals]

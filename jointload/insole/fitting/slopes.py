"""Everything a shape does to first order in its parameters: one product answers any number of shapes.

The bed is linearised at its baseline, the limb and the moments by small pours; what remains to full answers is a few
per cent at 5 deg. Axes: S shapes, K parameters, D draws, W frames of the landing, P pressed places.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from jointload.insole.bed.bed import BedPose, Mask
from jointload.insole.bed.foundation import first_order
from jointload.insole.bed.person import OWN_PARTS
from jointload.insole.fitting.parameters import HeightParts
from jointload.insole.limb.pouring import Poured, pour_again
from jointload.insole.limb.readings import Reading, readings
from jointload.insole.limb.regions import regions
from jointload.insole.limb.response import (
    FootResponse,
    between,
    followers,
    leg_answer,
    mended,
    own_answers,
)
from jointload.insole.limb.standing import Standing, settle_flat
from jointload.intake.recording import Array
from jointload.landing.landed import Landing

SMALL_TURN, SMALL_SHIFT = np.deg2rad(1.0), 0.002
"""Turns [rad] and shifts [m] of the small pours (choice)."""
WAYS = {
    "roll": SMALL_TURN, "tibial_rotation": SMALL_TURN, "swing": SMALL_TURN, "rise": SMALL_SHIFT,
    "pitch": SMALL_TURN, "medial": SMALL_SHIFT, "forward": SMALL_SHIFT,
}  # fmt: skip
"""Way in which the foot acts on the leg, a series of FootResponse -> size of its small pour."""
PRESSED = 0.6
"""A place is watched when it bears this share of the largest pressure, of its region or of the foot, in the middle draw
(choice)."""
SHAPES_AT_ONCE = 24


@dataclass(frozen=True, eq=False)
class PressedPlaces:
    """Pressures before (D, P) [Pa] and their slopes (K, D, P) per unit of amount; region : (P,) index into names."""

    before: Array
    slope: Array
    region: Array
    names: tuple[str, ...]
    _kept: dict[str, tuple[Array, Array]] = field(default_factory=dict)

    def of(self, name: str) -> tuple[Array, Array]:
        """Before and slope at the places of one region, or at those of the whole foot that bear most."""
        if name not in self._kept:
            middle = np.median(self.before, axis=0)
            chosen = self.region == self.names.index(name) if name else middle >= PRESSED * middle.max()
            self._kept[name] = (
                np.ascontiguousarray(self.before[:, chosen]),
                np.ascontiguousarray(self.slope[..., chosen]),
            )
        return self._kept[name]

    def of_all(self, names: tuple[str, ...]) -> tuple[Array, Array]:
        """The same at the places of several regions."""
        whole = " ".join(names)
        if whole not in self._kept:
            parts = zip(*(self.of(name) for name in names if name in self.names), strict=True)
            before, slope = (np.ascontiguousarray(np.concatenate(part, axis=-1)) for part in parts)
            self._kept[whole] = before, slope
        return self._kept[whole]


@dataclass(frozen=True, eq=False)
class Slopes:
    """The first-order answer of one foot in its landing.

    series : quantity -> (D, W) before, (K, D, W) per unit of amount, and (4, D, W) by one person's own answer to each
    of OWN_PARTS at full size
    foot : way -> (K, D, W) per unit of amount;  persons : values (D,) of the usable draws
    """

    standing: Standing
    flat: BedPose
    parts: HeightParts
    readings: dict[str, Reading]
    series: dict[str, tuple[Array, Array, Array]]
    places: PressedPlaces
    foot: dict[str, Array]
    persons: dict[str, Array]
    _before: dict[str, tuple[Array, float]] = field(default_factory=dict)

    def changes(self, quantity: str, amounts: Array) -> Array:
        """(S, D) change of one quantity of one person: a reading's, in SI units, or of a region's largest pressure, as
        a share; 'peak_pressure' is the largest anywhere."""
        out = [
            self._pressure(quantity, some) if quantity.startswith("peak_pressure") else self._reading(quantity, some)
            for some in np.array_split(amounts, max(1, len(amounts) // SHAPES_AT_ONCE))
        ]
        return np.concatenate(out)

    def before(self, quantity: str) -> float:
        """The value before [SI]; 1 for a pressure, whose changes are shares."""
        if quantity.startswith("peak_pressure"):
            return 1.0
        return self._numbers_before(quantity)[1]

    def _numbers_before(self, quantity: str) -> tuple[Array, float]:
        """(D,) and their median: asked as often as a search looks at a shape."""
        if quantity not in self._before:
            numbers = self.readings[quantity].to_number(self.series[quantity][0])
            self._before[quantity] = numbers, float(np.median(numbers))
        return self._before[quantity]

    def largest(self, names: Iterable[str], amounts: Array) -> Array:
        """(S, D) change of the largest pressure anywhere under some regions, as a share; none where nothing presses."""
        before, slope = self.places.of_all(tuple(names))
        if not before.size:
            return np.zeros((len(amounts), len(before)))
        most = before.max(axis=-1)
        after = np.maximum(_moved(before, amounts, slope).max(axis=-1), 0.0)
        return np.where(most > 0.0, after / np.where(most > 0.0, most, 1.0) - 1.0, 0.0)

    def _reading(self, quantity: str, amounts: Array) -> Array:
        before, slope, own = self.series[quantity]
        after = _moved(_moved(before, amounts, slope), self.parts.own_features(amounts), own, inside=True)
        to_number = self.readings[quantity].to_number
        numbers = to_number(after.reshape(-1, after.shape[-1])).reshape(after.shape[:2])
        return np.asarray(numbers - self._numbers_before(quantity)[0])

    def _pressure(self, quantity: str, amounts: Array) -> Array:
        before, slope = self.places.of(quantity.removeprefix("peak_pressure").removeprefix("_"))
        after = _moved(before, amounts, slope)
        return np.asarray(after.max(axis=-1) / before.max(axis=-1) - 1.0)


def _moved(before: Array, amounts: Array, slope: Array, inside: bool = False) -> Array:
    """(S, ...) before (...), or (S, ...) where the shapes are in it, with the amounts (S, K) of its slopes (K, ...);
    sums of a few terms are quicker than a product of matrices."""
    out = before if inside else np.repeat(before[None], len(amounts), axis=0)
    for k in range(len(slope)):
        out += amounts[:, k].reshape(-1, *[1] * slope[k].ndim) * slope[k]
    return out


def slopes_of(landing: Landing, standing: Standing, parts: HeightParts, wanted: Iterable[str]) -> Slopes:
    """Linearise one foot's answer for the wanted readings."""
    flat = settle_flat(standing, parts.plain)
    usable = np.asarray(flat.stable.any(axis=1))
    persons = {name: values[usable] for name, values in standing.person.values.items()}
    unknowns, pressed = first_order(standing.bed, standing.person.joints, flat, parts.cells)
    foot = _foot_slopes(landing, standing, flat, unknowns, persons, parts.rises)
    known = readings(landing, standing.side, persons)
    chosen = {name: known[name] for name in wanted if name in known}
    return Slopes(
        standing=standing,
        flat=flat,
        parts=parts,
        readings=chosen,
        series=_series_slopes(landing, standing, persons, foot, chosen),
        places=_pressed_places(standing, flat, pressed, usable),
        foot=foot,
        persons=persons,
    )


def _foot_slopes(
    landing: Landing, standing: Standing, flat: BedPose, unknowns: Array, persons: dict[str, Array], rises: Array
) -> dict[str, Array]:
    """Way -> (K, D, W) of the usable draws; the centre of pressure by what the joints carry, F d(y) = k_net d(roll).

    rises : (K,) of the ankle per unit of amount
    """
    joints, force, window = standing.person.joints, standing.load.force, landing.window(standing.side)
    roll, pitch = (np.moveaxis(unknowns[..., k, :], -1, 0) for k in (1, 2))
    at_instants = {
        "roll": roll,
        "pitch": pitch,
        "medial": joints.net_roll(standing.load, standing.bed.ankle_height) * roll / force,
        "forward": -joints.pitch[:, None] * pitch / force,
    }
    spread, usable = between(standing.frames, window), np.asarray(flat.stable.any(axis=1))
    out = {
        name: np.stack([spread(mended(one[usable], flat.stable[usable])) for one in values])
        for name, values in at_instants.items()
    }
    legs = [leg_answer(standing, persons, roll, window) for roll in out["roll"]]
    out |= {name: np.stack([leg[name] for leg in legs]) for name in ("roll", "tibial_rotation", "swing")}
    return out | {"rise": np.ones_like(out["roll"]) * rises[:, None, None]}


def _series_slopes(
    landing: Landing, standing: Standing, persons: dict[str, Array], foot: dict[str, Array], chosen: dict[str, Reading]
) -> dict[str, tuple[Array, Array, Array]]:
    """Every reading's series by small pours, one a way in which the foot acts on the leg; the first ones carry one
    person's own answer to each of OWN_PARTS, too."""
    after = np.arange(1, len(persons["force_following"]) + 1)
    before: dict[str, Array] = {}
    slope: dict[str, Array] = {}
    own: dict[str, list[Array]] = {name: [] for name in chosen}
    for k, (way, size) in enumerate(WAYS.items()):
        poured = _small_pour(landing, standing, persons, way, size, np.eye(len(OWN_PARTS))[k:][:1].ravel())
        for name, reading in chosen.items():
            mechanics = reading.series(poured.mechanics, after)
            if k == 0:
                before[name] = reading.series(poured.mechanics, np.zeros_like(after))
                slope[name] = np.zeros((len(foot["roll"]), *before[name].shape))
            slope[name] += (mechanics - before[name]) / size * foot[way]
            if k < len(OWN_PARTS):
                own[name].append(reading.series(poured.own, after) - mechanics)
    return {name: (before[name], slope[name], np.stack(own[name])) for name in chosen}


def _small_pour(
    landing: Landing, standing: Standing, persons: dict[str, Array], way: str, size: float, features: Array
) -> Poured:
    """features : of the own answers, none for an empty array"""
    window = landing.window(standing.side)
    draws, frames = len(persons["force_following"]), window.stop - window.start
    none = replace(
        FootResponse.none(draws, frames),
        ankle_height=standing.bed.ankle_height,
        force_following=persons["force_following"],
        own=own_answers(persons, features) if features.size else {},
    )
    moved = {name: np.full((draws, frames), size if name == way else 0.0) for name in WAYS}
    moved |= followers(standing, persons, moved)
    return pour_again(landing, standing.side, replace(none, **moved).with_none_first())  # type: ignore[arg-type]


def _pressed_places(standing: Standing, flat: BedPose, pressed: Array, usable: Mask) -> PressedPlaces:
    """The places at the instants where a region's largest pressure may lie."""
    before = np.nan_to_num(flat.pressure[usable])
    slope = np.nan_to_num(pressed[usable])
    middle, found = np.median(before, axis=0), regions(standing)
    watched, region = [], []
    for k, cells in enumerate(found.values()):
        chosen = cells & (middle >= PRESSED * middle[:, cells].max())
        watched.append(np.argwhere(chosen))
        region.append(np.full(chosen.sum(), k))
    t, cell = np.concatenate(watched).T
    return PressedPlaces(
        before[:, t, cell], np.moveaxis(slope[:, t, cell], -1, 0), np.concatenate(region), tuple(found)
    )

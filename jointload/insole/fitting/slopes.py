"""Everything a shape does to first order in its parameters: one product answers any number of shapes.

The bed is linearised at its baseline, the limb and the moments by small pours; what remains to full answers is a few
per cent at 5 deg. Axes: S shapes, K parameters, D draws, W frames of the landing, P pressed places.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from jointload.insole.bed.bed import BedPose, Mask
from jointload.insole.bed.foundation import first_order, pressure
from jointload.insole.fitting.parameters import HeightParts
from jointload.insole.limb.pouring import Poured, pour_again
from jointload.insole.limb.readings import Reading, readings
from jointload.insole.limb.regions import regions
from jointload.insole.limb.response import (
    FootResponse,
    Standing,
    between,
    mended,
    personal_size,
    settle_flat,
    tibial_coupling,
)
from jointload.intake.recording import Array
from jointload.landing.landed import Landing

SMALL_TURN, SMALL_SHIFT = np.deg2rad(1.0), 0.002
"""Roll and pitch [rad] and shift of the centre of pressure [m] of the small pours (choice)."""
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


@dataclass(frozen=True, eq=False)
class Slopes:
    """The first-order answer of one foot in its landing.

    series : quantity -> (D, W) before, (K, D, W) per unit of amount, and (D, W) by one person's own arm at full size
    foot : name -> (K, D, W) of roll, medial shift and tibial rotation;  persons : values (D,) of the usable draws
    """

    standing: Standing
    flat: BedPose
    parts: HeightParts
    readings: dict[str, Reading]
    series: dict[str, tuple[Array, Array, Array]]
    places: PressedPlaces
    foot: dict[str, Array]
    persons: dict[str, Array]

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
        return float(np.median(self.readings[quantity].to_number(self.series[quantity][0])))

    def _reading(self, quantity: str, amounts: Array) -> Array:
        before, slope, arm = self.series[quantity]
        size = np.asarray(personal_size(self.parts.wedges(amounts)))
        after = _moved(before, amounts, slope) + size[:, None, None] * arm
        to_number = self.readings[quantity].to_number
        numbers = to_number(after.reshape(-1, after.shape[-1])).reshape(after.shape[:2])
        return np.asarray(numbers - to_number(before))

    def _pressure(self, quantity: str, amounts: Array) -> Array:
        before, slope = self.places.of(quantity.removeprefix("peak_pressure").removeprefix("_"))
        after = _moved(before, amounts, slope)
        return np.asarray(after.max(axis=-1) / before.max(axis=-1) - 1.0)


def _moved(before: Array, amounts: Array, slope: Array) -> Array:
    """(S, ...) before (...) with the amounts (S, K) of its slopes (K, ...); sums of four terms are quicker than a
    product of matrices."""
    out = np.repeat(before[None], len(amounts), axis=0)
    for k in range(len(slope)):
        out += amounts[:, k].reshape(-1, *[1] * before.ndim) * slope[k]
    return out


def slopes_of(landing: Landing, standing: Standing, parts: HeightParts, wanted: Iterable[str]) -> Slopes:
    """Linearise one foot's answer for the wanted readings."""
    flat = settle_flat(standing, parts.plain)
    usable = np.asarray(flat.stable.any(axis=1))
    persons = {name: values[usable] for name, values in standing.person.values.items()}
    unknowns, pressed = first_order(standing.bed, standing.person.joints, flat, parts.cells)
    foot = _foot_slopes(landing, standing, flat, unknowns)
    foot = {name: values[:, usable] for name, values in foot.items()}
    foot["tibial_rotation"] = -tibial_coupling(persons)[:, None] * foot["roll"]
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


def _foot_slopes(landing: Landing, standing: Standing, flat: BedPose, unknowns: Array) -> dict[str, Array]:
    """(K, D, W): roll, pitch, and the centre of pressure by what the joints carry, F d(y) = k_net d(roll)."""
    joints, force = standing.person.joints, standing.load.force
    roll, pitch = (np.moveaxis(unknowns[..., k, :], -1, 0) for k in (1, 2))
    at_instants = {
        "roll": roll,
        "pitch": pitch,
        "medial": joints.net_roll(force, standing.bed.ankle_height) * roll / force,
        "forward": -joints.pitch[:, None] * pitch / force,
    }
    spread = between(standing.frames, landing.window(standing.side))
    usable = np.asarray(flat.stable.any(axis=1))
    out = {}
    for name, values in at_instants.items():
        frames = [spread(mended(one[usable], flat.stable[usable])) for one in values]
        out[name] = np.full((len(values), usable.size, frames[0].shape[1]), np.nan)
        out[name][:, usable] = frames
    return out


def _series_slopes(
    landing: Landing, standing: Standing, persons: dict[str, Array], foot: dict[str, Array], chosen: dict[str, Reading]
) -> dict[str, tuple[Array, Array, Array]]:
    """Every reading's series by four small pours, one a way in which the foot acts on the limb."""
    pours = _small_pours(landing, standing, persons)
    after = np.arange(1, len(persons["personal_answer"]) + 1)
    out = {}
    for name, reading in chosen.items():
        first, _ = pours["roll"]
        before = reading.series(first.angles, first.loads, np.zeros_like(after))
        slope = np.zeros((len(foot["roll"]), *before.shape))
        for way, (poured, size) in pours.items():
            slope += (reading.series(poured.angles, poured.loads, after) - before) / size * foot[way]
        mechanics, person = (reading.series(first.angles, loads, after) for loads in (first.loads, first.person))
        out[name] = before, slope, person - mechanics
    return out


def _small_pours(landing: Landing, standing: Standing, persons: dict[str, Array]) -> dict[str, tuple[Poured, float]]:
    window = landing.window(standing.side)
    draws, frames = len(persons["personal_answer"]), window.stop - window.start
    none = replace(
        FootResponse.none(draws, frames),
        ankle_height=standing.bed.ankle_height,
        force_following=persons["force_following"],
        personal_arm=persons["personal_answer"] * persons["personal_lever_arm"],
    )
    out = {}
    for way, size in (("roll", SMALL_TURN), ("pitch", SMALL_TURN), ("medial", SMALL_SHIFT), ("forward", SMALL_SHIFT)):
        moved: dict[str, Any] = {way: np.full((draws, frames), size)}
        if way == "roll":
            rotation = -tibial_coupling(persons)[:, None] * moved["roll"]
            moved |= {"tibial_rotation": rotation, "knee_plane": persons["knee_plane_share"][:, None] * rotation}
        out[way] = pour_again(landing, standing.side, replace(none, **moved).with_none_first()), size
    return out


def _pressed_places(standing: Standing, flat: BedPose, pressed: Array, usable: Mask) -> PressedPlaces:
    """The places at the instants where a region's largest pressure may lie."""
    before = np.nan_to_num(pressure(standing.bed, flat)[usable])
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

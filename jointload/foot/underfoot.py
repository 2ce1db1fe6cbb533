"""The force under heel and ball of a foot in time: felt by pressure insoles, else by the bed under the plate's force
and place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.foot.felt import MEASURED, MODELLED, SoleMap
from jointload.foot.spreads import drawn
from jointload.insole.bed.bed import FootBed
from jointload.insole.bed.foundation import baseline_pose, slope_along
from jointload.insole.bed.person import draw_person
from jointload.insole.limb.standing import bed_load, bed_of, place_foot
from jointload.intake.recording import SIDES, Array
from jointload.landing.landed import Landing
from jointload.landing.sole_regions import (
    BALL_START,
    HEEL_END,
    INNER_SHARE,
    TOE_START,
    foot_length_of,
    region_of_sensors,
)
from jointload.loads.pressed_soles import PressedSole, at_times
from jointload.loads.tissue.spreads import Factors
from jointload.numerics.signals import over_time

BED_PERSONS = 40
"""Persons for whom the bed is solved, each standing for several draws (choice: they differ little in it)."""
BED_INSTANTS = 20
LEAST_LOAD = 0.05
"""The bed is solved while a foot bears more than this share of its largest force (choice)."""
BALL = {
    "first_metatarsal": ("first_metatarsal_head",),
    "other_metatarsals": ("other_metatarsal_heads",),
    "ball": ("first_metatarsal_head", "other_metatarsal_heads"),
}
"""Part of the ball, and the whole of it -> its regions on a pressure insole."""


@dataclass(frozen=True, eq=False)
class BallLoad:
    """One part of the ball, (D,): largest pressure [Pa], largest force [N], time integrals of its largest pressure
    [Pa s] and of its force [N s]."""

    peak_pressure: Array
    peak_force: Array
    pressure_time: Array
    impulse: Array


@dataclass(frozen=True, eq=False)
class Underfoot:
    """Forces under one foot over its landing; draws before samples.

    time : (N,) [s] after touch-down;  vertical, heel : (D, N) [N];  ball : part -> its load, of those with sensors
    """

    basis: str
    time: Array
    vertical: Array
    heel: Array
    ball: dict[str, BallLoad]
    map: SoleMap | None


def underfoot(landing: Landing, side: str, draws: int, seed: int) -> Underfoot | None:
    """None where the force on this foot, or where it acts, is not known throughout its landing."""
    window = landing.fast_window(side)
    force = landing.impact_force(side)[1, window]
    if force.size < 2 or not np.isfinite(force).all() or not force.max() > 0:
        return None
    unknown = drawn("sole", draws, seed)
    time = np.arange(force.size) / landing.contact.fast_rate
    vertical = np.asarray(unknown["plate_gain"] * _split(landing, side, window, force, unknown["split_place"]))
    if landing.pressed is not None and side in landing.pressed.soles:
        felt = _felt(landing, side, landing.pressed.soles[side], time, vertical, draws, seed)
        if felt is not None:
            return felt
    return _modelled(landing, side, time, vertical, draws, seed)


def _split(landing: Landing, side: str, window: slice, force: Array, place: float | Array) -> Array:
    """The force on a foot that shares its plate, between its lowest and highest: (D, N)."""
    if landing.split is None:
        return force
    s, place = SIDES.index(side), np.asarray(place)
    raw = landing.contact.fast_force[1, s, window]
    low, high = landing.split.vertical_low[s, window] - raw, landing.split.vertical_high[s, window] - raw
    return np.maximum(force + np.maximum(place, 0.0) * high - np.minimum(place, 0.0) * low, 0.0)


# felt -----------------------------------------------------------------------------------------------------------------


def _felt(
    landing: Landing, side: str, sole: PressedSole, time: Array, vertical: Array, draws: int, seed: int
) -> Underfoot | None:
    """The insole's own shares times the plate's force; None where it has no number in the landing."""
    layout = sole.recording.layout
    touchdown = landing.events.sides[side].touchdown
    felt = at_times(sole.pressure, sole.time, touchdown + time)
    measures = np.isfinite(felt).any(axis=1)
    if not measures.any() or np.isnan(felt[measures]).all(axis=0).any():
        return None
    force = np.nan_to_num(felt) * layout.area[:, None]
    length, _ = foot_length_of(landing.body.rider, layout)
    regions = np.array(region_of_sensors(layout, length))
    heel = np.isin(regions, ("medial_heel", "lateral_heel")) & measures
    whole = force.sum(axis=0)
    share = _ratio(force[heel].sum(axis=0), whole)
    of_insole = drawn("sole", draws, seed)
    gain = of_insole["heel_gain"]
    share = np.minimum(of_insole["heel_felt"] * share * gain / (1.0 + share * (gain - 1.0)), 1.0)
    scale = _ratio(vertical.mean(axis=0), whole)
    ball = {}
    for part, names in BALL.items():
        of_part = np.isin(regions, names) & measures
        if of_part.any():
            ball[part] = _ball_felt(felt[of_part], layout.area[of_part], scale, time, draws, seed, part)
    peak = int(np.argmax(vertical.mean(axis=0)))
    shown = np.where(measures, felt[:, peak] * scale[peak], np.nan)
    told = SoleMap(layout.along, layout.outward, layout.area, shown, length, float(time[peak]))
    return Underfoot(MEASURED, time, vertical, share * vertical, ball, told)


def _ball_felt(felt: Array, area: Array, scale: Array, time: Array, draws: int, seed: int, part: str) -> BallLoad:
    """felt : (K, N) [Pa] of its sensors. A single sensor may be off, their sum by less: as the mean of as many as bear,
    1 over the sum of their shares' squares."""
    pressure = np.nan_to_num(felt) * scale
    highest, force = pressure.max(axis=0), area @ pressure
    unknown = drawn("sole", draws, seed)
    one = unknown["sensor_gain"]
    shares = area * pressure[:, int(np.argmax(force))] / max(float(force.max()), 1e-12)
    together = unknown["ball_felt"] * (1.0 + (np.asarray(one) - 1.0) * np.sqrt(shares @ shares))
    gain, many = np.ravel(one), np.ravel(together)
    integral, impulse = (float(over_time(series, time)) for series in (highest, force))
    return BallLoad(gain * highest.max(), many * force.max(), gain * integral, many * impulse)


# modelled -------------------------------------------------------------------------------------------------------------


def _modelled(landing: Landing, side: str, time: Array, vertical: Array, draws: int, seed: int) -> Underfoot | None:
    place = place_foot(landing, side)
    bed = bed_of(place)
    frames = _instants(landing, side)
    if frames.size < 2:
        return None
    load, _ = bed_load(landing, side, place, bed, frames)
    person = draw_person(min(BED_PERSONS, draws), seed, landing.body.rider.mass, place.length)
    pose = baseline_pose(bed, np.zeros_like(bed.x), person.materials, person.joints, load)
    pressed, slope = pose.pressure, slope_along(bed, person.joints, pose)
    known = np.asarray(np.isfinite(pressed).all(axis=(0, 2)))
    if np.count_nonzero(known) < 2:
        return None
    pressed, slope, force, frames = pressed[:, known], slope[:, known], load.force[known], frames[known]
    heel = bed.x < HEEL_END * bed.length
    borne = (pressed * bed.area).sum(axis=-1)
    share, by_way = ((of * bed.area)[..., heel].sum(axis=-1) / borne for of in (pressed, slope))
    which = np.arange(draws) % share.shape[0]
    unknown = drawn("sole", draws, seed)
    moved = unknown["pressure_place"] * np.median(by_way, axis=0)
    touchdown = landing.events.sides[side].touchdown
    at = landing.recording.time[frames] - touchdown
    beside = np.clip(unknown["beside_heel"] * (1.0 - share[which] - moved), 0.0, 1.0)
    in_time = np.stack([np.interp(time, at, row) for row in 1.0 - beside])
    ball = _ball_modelled(bed, pressed, at, which, unknown["plate_gain"] * beside * force, unknown)
    peak = int(np.argmax(force))
    told = SoleMap(bed.x, -bed.y, bed.area, np.median(pressed[:, peak], axis=0), bed.length, float(at[peak]))
    return Underfoot(MODELLED, time, vertical, in_time * vertical, ball, told)


def _instants(landing: Landing, side: str) -> NDArray[np.intp]:
    """Marker frames, evenly over the loaded part of the landing, with that of the largest force."""
    window = landing.window(side)
    force = landing.contact.force[1, SIDES.index(side), window]
    loaded = np.flatnonzero(force > LEAST_LOAD * float(np.nanmax(force, initial=0.0)))
    if loaded.size < 2:
        return np.zeros(0, dtype=np.intp)
    even = np.linspace(loaded[0], loaded[-1], min(BED_INSTANTS, loaded.size)).round().astype(np.intp)
    return np.asarray(window.start + np.union1d(even, [int(np.nanargmax(force))]))


def _ball(bed: FootBed) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Cells under the first and under the other metatarsal heads."""
    along = bed.x / bed.length
    ball = (along >= BALL_START) & (along < TOE_START)
    edge = bed.y[ball].max() - INNER_SHARE * np.ptp(bed.y[ball])
    first = ball & (bed.y > edge)
    return first, ball & ~first


def _ball_modelled(
    bed: FootBed, pressed: Array, at: Array, which: NDArray[np.intp], front: Array, unknown: Factors
) -> dict[str, BallLoad]:
    """front : (D, T) [N], what the sole bears before the heel, which a centre of pressure does tell; of it each part of
    the ball bears the bed's share times a factor of its own, both together no more than all of it.

    pressed : (P, T, n) [Pa] of the bed's persons, of whom a draw has the one that `which` names
    """
    before = (pressed @ (bed.area * (bed.x >= HEEL_END * bed.length)))[which]
    heads, forces = [], []
    for name, cells in zip(("first_head", "other_heads"), _ball(bed), strict=True):
        borne = (pressed[..., cells] @ bed.area[cells])[which]
        heads.append(_ratio(pressed[..., cells].max(axis=-1)[which], borne))
        forces.append(front * np.exp(unknown[name]) * _ratio(borne, before))
    whole = forces[0] + forces[1]
    within = _ratio(np.minimum(whole, front), whole)
    forces, whole = [within * force for force in forces], within * whole
    peaks = [
        np.exp(unknown[name]) * head * force
        for name, head, force in zip(("first_peak", "others_peak"), heads, forces, strict=True)
    ]
    of = dict(zip(BALL, (*zip(peaks, forces, strict=True), (np.maximum(*peaks), whole)), strict=True))
    return {
        part: BallLoad(highest.max(axis=1), force.max(axis=1), *(over_time(each, at) for each in (highest, force)))
        for part, (highest, force) in of.items()
    }


def _ratio(part: Array, whole: Array) -> Array:
    """Part over whole, 0 where the whole is nothing."""
    return np.divide(part, whole, out=np.zeros_like(part), where=whole > 0)

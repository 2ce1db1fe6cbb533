"""A foot on a flat insole through its landing: its place and length, the measured load on its bed, and how it settles
on a shape."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jointload.foot.spreads import likeliest
from jointload.insole.bed.bed import STABLE, BedLoad, BedMaterials, BedPose, FootBed, Person
from jointload.insole.bed.foundation import baseline_pose, changed_pose, within_sole
from jointload.insole.bed.person import draw_person, plain_foot
from jointload.insole.bed.pressed_bed import MeasuredBed, measured_bed, pressed_baseline
from jointload.insole.shape.outline import LENGTHS, foot_size
from jointload.insole.shape.shape import InsoleShape, flat
from jointload.intake.plates.plates import centre_of_pressure
from jointload.intake.recording import SIDES, Array
from jointload.landing.landed import Landing
from jointload.landing.sole_regions import HEEL_END
from jointload.modeldata import load_model
from jointload.numerics.rotations import cross, dot, rotate_back, unit

SPREAD_INSTANTS = 9
"""Instants spread evenly over the loaded part of a landing; the named ones come on top (choice)."""
CELL = 0.038
"""Size of a cell of the sole as a share of its length: about 10 mm (choice, for speed; see the test of finer cells)."""
LEAST_LOAD = 0.10
"""The bed is solved while the foot bears at least this share of body weight; the answer is held beyond (choice)."""
LENGTH_SHARE = 0.152
"""Foot length over body height (Drillis and Contini, in Winter 2009, from memory)."""
PLAUSIBLE_SHARE = (0.130, 0.175)
"""Foot lengths from markers outside these shares of body height are not used (choice)."""
SKIN_ALLOWANCE = 0.005
"""Added to a length between markers [m]: they sit on the skin above the sole's ends (choice)."""
PULLED_SHARE = 0.88
"""A centre of pressure further out than this share of the way from the sole's middle to its edge is taken there
(choice): on the very edge a foot with rigid parts has no place to stand."""
HEEL_AT, BALL_AT = 0.10, 0.70
"""Where a heel-to-toe drop is measured, as shares of the insole's length (choice)."""
REARFOOT_BEARS = 2.0 / 3.0
"""The rearfoot takes part in bearing while the centre of pressure lies behind this share of the foot (choice)."""


@dataclass(frozen=True)
class FootPlace:
    """Length [m] of a foot, where it is from, and the sole's axes in the foot segment: heel forward of the ankle [m]
    (negative), line of the foot to the rider's right of the ankle [m]."""

    length: float
    basis: str
    heel: float
    line: float


@dataclass(frozen=True, eq=False)
class Standing:
    """A foot on a flat insole through its landing, before any change.

    frames : (T,) marker frames of the instants;  pulled : (T,) whether the centre of pressure lay outside the sole
    measured : what pressure insoles felt, None without them
    """

    side: str
    place: FootPlace
    bed: FootBed
    person: Person
    frames: NDArray[np.intp]
    load: BedLoad
    pulled: NDArray[np.bool_]
    body_weight: float
    rate: float
    measured: MeasuredBed | None = None

    @property
    def baseline_text(self) -> str:
        """Where the pressure before any change is from."""
        return "modelled" if self.measured is None else self.measured.text

    @property
    def rearfoot_bears(self) -> NDArray[np.bool_]:
        """(T,) instants of more than half a body weight with the centre of pressure behind REARFOOT_BEARS; all of the
        loaded ones where there is none."""
        loaded = self.load.force > 0.5 * min(self.body_weight, float(self.load.force.max()))
        behind = loaded & (self.load.x < REARFOOT_BEARS * self.bed.length)
        return behind if behind.any() else loaded

    @property
    def reference(self) -> int:
        """The instant of the largest force that the rearfoot bears."""
        return int(np.argmax(np.where(self.rearfoot_bears, self.load.force, 0.0)))


@dataclass(frozen=True, eq=False)
class Settled:
    """Both poses (D, T) of the bed, flat and changed, the shape's slopes across rearfoot and forefoot and its
    heel-to-toe drop [m], by what it raises the ankle [m], and which draws (D,) can be used at all."""

    flat: BedPose
    changed: BedPose
    slopes: tuple[float, float]
    drop: float
    rise: float
    usable: NDArray[np.bool_]

    @property
    def unstable_share(self) -> float:
        """Share of the poses that found no stable place."""
        return float(np.mean(~(self.flat.stable & self.changed.stable)))


def place_foot(landing: Landing, side: str) -> FootPlace:
    """Length from rider.toml (measurements.foot_length_m), else from the foot's markers in the static trial, else from
    body height; the heel is the calcaneus marker."""
    rider, (_, calcaneus) = landing.body.rider, landing.body.points[f"{side}_calcaneus"]
    low, high = LENGTHS
    if low <= rider.measurements.get("foot_length_m", 0.0) <= high:
        length, basis = rider.measurements["foot_length_m"], "rider.toml"
    else:
        length, basis = _marker_length(landing, side)
    return FootPlace(length, basis, float(calcaneus[0]), float(calcaneus[2]))


def _marker_length(landing: Landing, side: str) -> tuple[float, str]:
    points, height = landing.body.standing_points, landing.body.rider.height
    heel, first, fifth = (points.get(f"{side}_{name}") for name in ("calcaneus", "metatarsal1", "metatarsal5"))
    toe = points.get(f"{side}_toe")
    ends = [] if heel is None or first is None or fifth is None else [(toe, "heel to toe"), (None, "heel to ball")]
    for end, words in ends:
        if end is None and words == "heel to toe":
            continue
        length = foot_size(heel, first, fifth, end)[0] + SKIN_ALLOWANCE  # type: ignore[arg-type]
        if PLAUSIBLE_SHARE[0] <= length / height <= PLAUSIBLE_SHARE[1]:
            return length, f"markers, {words}, and {1000 * SKIN_ALLOWANCE:.0f} mm"
    return LENGTH_SHARE * height, f"{LENGTH_SHARE:g} of body height, no markers that fit"


def stand(
    landing: Landing, side: str, draws: int, seed: int, person_of: Callable[[Person], Person] | None = None
) -> Standing:
    """The foot's bed, one person's draws, and the measured load at the instants of its landing.

    person_of : turns draws of the population into draws of this rider
    """
    place = place_foot(landing, side)
    bed = bed_of(place)
    person = draw_person(draws, seed, landing.body.rider.mass, place.length)
    person = person if person_of is None else person_of(person)
    frames = instants(landing, side)
    load, pulled = bed_load(landing, side, place, bed, frames)
    felt = measured_bed(landing, side, bed, frames, load)
    return Standing(side, place, bed, person, frames, load, pulled, landing.weight, landing.poses.rate, felt)


def bed_of(place: FootPlace) -> FootBed:
    """The cells under a foot of this length."""
    return plain_foot(place.length, size=CELL * place.length)


def shape_tilt(landing: Landing, shape: InsoleShape) -> float:
    """tilt of a shape under the foot of a landing [rad]."""
    return tilt(bed_of(place_foot(landing, shape.side)), shape)


def instants(landing: Landing, side: str) -> NDArray[np.intp]:
    """Marker frames at which the bed is solved: evenly over the loaded part of the landing, and the instants of the
    largest vertical force, knee adduction, abduction and flexion moment."""
    window = landing.window(side)
    vertical = landing.contact.force[1, SIDES.index(side), window]
    loaded = np.flatnonzero(vertical >= min(LEAST_LOAD * landing.weight, 0.5 * float(vertical.max())))
    even = np.linspace(loaded[0], loaded[-1], SPREAD_INSTANTS).round().astype(np.intp)
    adduction, flexion = (landing.loads.of(f"{side}_knee", name)[window] for name in ("adduction", "flexion"))
    named = [int(np.argmax(series)) for series in (vertical, adduction, -adduction, flexion)]
    return window.start + np.unique(np.concatenate((even, [k for k in named if loaded[0] <= k <= loaded[-1]])))


def pressure_centre(landing: Landing, side: str, place: FootPlace, frames: Any) -> tuple[Array, Array]:
    """Measured centre of pressure in the foot's axes: x forward from the heel, y medial of its line [m]."""
    s = SIDES.index(side)
    force, moment = landing.contact.force[:, s, frames], landing.contact.moment[:, s, frames]
    lab = centre_of_pressure(force, moment, landing.contact.floor, landing.settings.contact_threshold)
    rotation, origin = landing.poses.of(f"{side}_foot")
    forward, _, right = rotate_back(rotation[..., frames], lab - origin[:, frames])
    return forward - place.heel, (right - place.line) * _medial_sign(side)


def _medial_sign(side: str) -> float:
    return -1.0 if side == "right" else 1.0


def bed_load(
    landing: Landing, side: str, place: FootPlace, bed: FootBed, frames: NDArray[np.intp]
) -> tuple[BedLoad, NDArray[np.bool_]]:
    """Vertical force and centre of pressure at the frames; a point near or beyond the sole's
    edge is taken inwards. Also, at which frames (T,) it lay outside."""
    x, y = pressure_centre(landing, side, place, frames)
    force = landing.contact.force[1, SIDES.index(side), frames]
    middle = np.array([np.average(bed.x, weights=bed.area), np.average(bed.y, weights=bed.area)])
    outside = ~within_sole(bed, x, y)
    inside = within_sole(bed, *(c + (v - c) / PULLED_SHARE for c, v in zip(middle, (x, y), strict=True)))
    for k in np.flatnonzero(~inside):
        x[k], y[k] = _on_edge(bed, middle, np.array([x[k], y[k]]))
    return BedLoad(force, x, y, shank_sine(landing, side, frames)), outside


def shank_sine(landing: Landing, side: str, frames: NDArray[np.intp]) -> Array:
    """(T,) sine of the angle between the shank and the line from hip to ankle at marker frames."""
    hip, knee, ankle = (
        landing.poses.place(landing.body, f"{side}_{joint}_centre")[:, frames] for joint in ("hip", "knee", "ankle")
    )
    aside = cross(unit(knee - ankle), unit(hip - ankle))
    return np.asarray(np.sqrt(dot(aside, aside)))


def _on_edge(bed: FootBed, middle: Array, point: Array) -> Array:
    """PULLED_SHARE of the way from the sole's middle to its edge, towards a point."""
    low, high = 0.0, 2.0
    for _ in range(20):
        half = 0.5 * (low + high)
        x, y = middle + half * (point - middle)
        low, high = (half, high) if within_sole(bed, np.array([x]), np.array([y]))[0] else (low, half)
    return np.asarray(middle + PULLED_SHARE * low * (point - middle))


def heights_on(bed: FootBed, shape: InsoleShape) -> Array:
    """(n,) [m] height of the insole under every cell, with what a cup thickens the heel's pad by; an insole of another
    length is met at the same share of it."""
    return shape.bearing_heights(bed.x * shape.length / bed.length, bed.y) + _held_in_cup(bed, shape)


def _held_in_cup(bed: FootBed, shape: InsoleShape) -> Array:
    """(n,) [m] of pad that a cup holds under every cell: the bed takes it as a layer as soft as the pad itself."""
    if not shape.cup.height:
        return np.zeros_like(bed.x)
    return np.where(bed.x < HEEL_END * bed.length, (float(likeliest("layer")["cup"]) - 1.0) * bed.tissue, 0.0)


def bed_materials(bed: FootBed, person: Person, shape: InsoleShape) -> BedMaterials:
    """The person's layers, with the insole's own foam where the shape names it: its modulus keeps the drawn spread."""
    shaped = [layer.material for layer in shape.layers if layer.thickness is None]
    materials = person.materials
    if shaped:
        usual = load_model("insole_response", "foundation").content["draws"]["insole_modulus"]["median"]
        spread = materials.insole_modulus / usual
        strain = np.full_like(spread, shaped[0].stiffening_strain)
        materials = replace(materials, insole_modulus=spread * shaped[0].modulus, insole_strain=strain)
    return with_thin_layers(bed, materials, shape) if shape.thin or shape.cup.height else materials


def with_thin_layers(bed: FootBed, materials: BedMaterials, shape: InsoleShape) -> BedMaterials:
    """The insole's foam and what lies upon it as one layer a cell (D, n): as soft in series while hardly pressed, and
    compacted at the same height together,  H / E = sum(h / E),  H e = sum(h e)."""
    x = bed.x * shape.length / bed.length
    pad = likeliest("heel_pad")
    sheets = [
        (one.height * one.share(x / shape.length), one.material.modulus, one.material.stiffening_strain)
        for one in shape.thin
    ]
    sheets.append((_held_in_cup(bed, shape), float(pad["modulus"]), float(pad["locking_strain"])))
    body = shape.without_thin_heights(x, bed.y)
    whole, soft, way = (
        body,
        body / materials.insole_modulus[:, None],
        body * materials.insole_strain[:, None],
    )
    for height, modulus, strain in sheets:
        whole, soft, way = whole + height, soft + height / modulus, way + height * strain
    return replace(materials, insole_modulus=whole / soft, insole_strain=way / whole)


def settle_flat(standing: Standing, shape: InsoleShape) -> BedPose:
    """The foot on the flat insole of the same base and foam as the shape, pressing as pressure insoles felt where there
    are any."""
    bed, joints = standing.bed, standing.person.joints
    materials = bed_materials(bed, standing.person, flat(shape))
    modelled = baseline_pose(bed, heights_on(bed, flat(shape)), materials, joints, standing.load)
    return modelled if standing.measured is None else pressed_baseline(bed, modelled, standing.measured, joints)


def settle(standing: Standing, shape: InsoleShape, on_flat: BedPose) -> Settled:
    """The foot on the shape; a draw without any stable instant cannot be used."""
    bed, laid = standing.bed, bool(shape.thin or shape.cup.height)
    materials = with_thin_layers(bed, on_flat.materials, shape) if laid else None
    changed = changed_pose(bed, heights_on(bed, shape), standing.person.joints, on_flat, materials)
    usable = np.any(on_flat.stable & changed.stable, axis=1)
    rise = rise_of(standing.bed, shape) - float(on_flat.height[0])
    return Settled(on_flat, changed, slopes_across(standing.bed, shape), drop_of(shape), rise, usable)


def rise_of(bed: FootBed, shape: InsoleShape) -> float:
    """Height [m] of a shape under the ankle on the line of the foot, without thin layers and what a tilt raises the
    whole insole by to stay thick enough: these are taken to be under the other foot, too."""
    at_ankle = np.array([bed.ankle_forward * shape.length / bed.length])
    return float(shape.without_thin_heights(at_ankle, np.zeros(1))[0] - shape.raised)


def tilt(bed: FootBed, shape: InsoleShape) -> float:
    """The wedge angle [rad] of a shape: the larger mean slope across the rearfoot or the forefoot, medial positive."""
    return float(np.arctan(max(slopes_across(bed, shape), key=abs)))


def slopes_across(bed: FootBed, shape: InsoleShape) -> tuple[float, float]:
    """Mean slope across the rearfoot and across the forefoot, medial positive."""
    x, step = bed.x * shape.length / bed.length, 0.002
    slope = (shape.bearing_heights(x, bed.y + step) - shape.bearing_heights(x, bed.y - step)) / (2 * step)
    rear, fore = (np.average(slope[part], weights=bed.area[part]) for part in (bed.x < bed.split, bed.x >= bed.split))
    return float(rear), float(fore)


def drop_of(shape: InsoleShape) -> float:
    """Heel-to-toe drop [m] of a shape: its height on the line of the foot under the heel over that under the ball."""
    heel, ball = shape.bearing_heights(shape.length * np.array([HEEL_AT, BALL_AT]), np.zeros(2))
    return float(heel - ball)


def stable_reasons(settled: Settled) -> tuple[int, ...]:
    """Distinct reasons against a pose among all draws and instants."""
    found = np.union1d(np.unique(settled.flat.reason), np.unique(settled.changed.reason))
    return tuple(int(k) for k in found if k != STABLE)

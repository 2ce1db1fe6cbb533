"""Feet that follow laws of their own, others than the analysis': pads, loads under the sole and shoes, drawn as persons
and shoes differ [SI]."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from jointload.intake.pressure import SensorLayout
from jointload.intake.shoe import Shoe, shoe_from
from jointload.landing.sole_regions import region_of_sensors

Array = np.ndarray


# the heel's pad -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PadLaw:
    """What a column of the pad presses with, over softness, at a strain and a shape.

    All meet the published tests with the middle person's numbers (softness [Pa], shape, curve and radius [m]) and a pad
    of 18 mm: 11.0 to 11.6 g and 11.1 to 11.3 mm of the drop on living heels, 379 to 398, 515 to 527 and 670 to 715 kPa
    in walking, 0.61 to 0.63 of the thickness left in standing. Above these tests they part: 1.1 to 1.5 MPa at 1.5 kN
    on a hard floor. The spreads of models/foot were set without a look at the growing one.
    differs : standard deviation of ln shape between persons;  reaches : strain up to which it holds, of a shape
    """

    pressed: Callable[[Array, float], Array]
    softness: float
    shape: float
    differs: float
    curve: float
    radius: float
    reaches: Callable[[float], float]


def _exponential(strain: Array, shape: float) -> Array:
    return np.asarray(np.expm1(shape * strain))


def _locking(strain: Array, shape: float) -> Array:
    return np.asarray(strain / (1.0 - (strain / shape) ** 2))


def _hardening(strain: Array, shape: float) -> Array:
    return np.asarray(strain + shape * strain**5)


def _growing(strain: Array, shape: float) -> Array:
    return np.asarray(strain * np.exp(shape * strain**2))


PAD_LAWS = (
    PadLaw(_exponential, 45.5e3, 4.81, 0.06, 0.0895, 0.0270, lambda shape: 1.5),
    PadLaw(_locking, 508e3, 0.75, 0.03, 0.0692, 0.0316, lambda shape: 0.9995 * shape),
    PadLaw(_growing, 309e3, 4.33, 0.10, 0.0915, 0.0289, lambda shape: 1.5),
    PadLaw(_hardening, 367e3, 24.7, 0.25, 0.0912, 0.0303, lambda shape: 1.5),
)


class Sole(Protocol):
    """What lies between pad and ground."""

    def compression(self, pressure: Array) -> Array: ...


@dataclass(frozen=True)
class OtherSole:
    """A shoe's sole E s (1 + (s / begins)^3); begins : infinite for one that stays linear."""

    thickness: float
    modulus: float
    begins: float

    @classmethod
    def of(cls, rng: np.random.Generator) -> OtherSole:
        """Every second one is linear, as rubber nearly is."""
        begins = float("inf") if rng.random() < 0.5 else rng.uniform(0.35, 0.6)
        return cls(rng.triangular(0.004, 0.012, 0.025), rng.triangular(1.2e6, 2.5e6, 6.0e6), begins)

    def compression(self, pressure: Array) -> Array:
        strain = np.concatenate(([0.0], np.geomspace(1e-5, 30.0, 2500)))
        held = self.modulus * strain * (1.0 + (strain / self.begins) ** 3)
        return np.asarray(self.thickness * np.interp(pressure, held, strain))


@dataclass(frozen=True)
class OtherHeel:
    """A pad of one of these laws under a sphere, ring by ring, on a linear sole; all of one person."""

    law: PadLaw
    thickness: float
    softness: float
    shape: float
    curve: float
    radius: float
    rate_exponent: float

    @classmethod
    def of(cls, rng: np.random.Generator) -> OtherHeel:
        """Thickness as published (20 +- 2 mm in one study, 12.5 to 24.5 mm over seven), the rest so that persons differ
        as published in walking (25 to 31 %, their mass by 15 %); none beyond three standard deviations there."""
        law = PAD_LAWS[int(rng.integers(len(PAD_LAWS)))]

        def about(value: float, spread: float) -> float:
            return value * float(np.exp(spread * rng.standard_normal()))

        heel = cls(
            law,
            float(np.clip(rng.normal(0.018, 0.0020), 0.0125, 0.0245)),
            about(law.softness, SOFTNESS_DIFFERS),
            about(law.shape, law.differs),
            about(law.curve, CURVE_DIFFERS),
            about(law.radius, RADIUS_DIFFERS),
            rng.uniform(0.02, 0.08),
        )
        walks = heel.pressed(*BRISK, None)["pressure"]
        return heel if abs(walks - BRISK_PRESSURE[0]) < 3.0 * BRISK_PRESSURE[1] else cls.of(rng)

    def pressed(self, force: float, loading_time: float, sole: Sole | None) -> dict[str, float]:
        """Peak pressure, compression, strain and energy of the pad, and what the heel's middle goes down by."""
        edges = np.linspace(0.0, self.radius, 61)
        middles, areas = 0.5 * (edges[1:] + edges[:-1]), np.pi * np.diff(edges**2)
        lifted = self.curve - np.sqrt(self.curve**2 - middles**2)
        strain = np.concatenate(([0.0], np.geomspace(1e-5, self.law.reaches(self.shape), 2500)))
        stiff = self.softness * (0.012 / loading_time) ** self.rate_exponent
        pressure = stiff * self.law.pressed(strain, self.shape)
        density = np.concatenate(([0.0], np.cumsum(0.5 * (pressure[1:] + pressure[:-1]) * np.diff(strain))))
        depth = self.thickness * strain + (0.0 if sole is None else sole.compression(pressure))
        low, high = 0.0, float(depth[-1])
        for _ in range(60):
            middle = 0.5 * (low + high)
            borne = float(np.interp(middle - lifted, depth, pressure, left=0.0) @ areas)
            low, high = (low, middle) if borne > force else (middle, high)
        most = float(np.interp(high, depth, strain))
        return {
            "down": high,
            "pressure": float(np.interp(high, depth, pressure)),
            "compression": most * self.thickness,
            "strain": most,
            "energy": float(np.interp(high - lifted, depth, density, left=0.0) @ areas) * self.thickness,
        }


SOFTNESS_DIFFERS, CURVE_DIFFERS, RADIUS_DIFFERS = 0.28, 0.20, 0.10
"""Standard deviations of the logarithm between persons."""
BRISK, BRISK_PRESSURE = (1.3 * 70.0 * 9.81, 0.10), (734e3, 184e3)
"""Force [N] and its time [s] in walking at 2 m/s, and the heel's pressure there, 131 persons (J Biomech 1989 (10):1083)
[Pa]."""


# what lies under the sole ---------------------------------------------------------------------------------------------


REGIONS_DIFFER = {
    "medial_heel": 0.21, "lateral_heel": 0.25, "midfoot": 0.15, "first_metatarsal_head": 0.38, "hallux": 0.39,
    "lesser_toes": 0.47,
}  # fmt: skip
OTHER_HEADS_DIFFER = (0.37, 0.40, 0.28, 0.41)
"""Standard deviations between 12 parachutists of a region's peak pressure over its mean, half-squat landings from 1.5 m
in boots; other heads: second to fifth. An abstract without authors or journal, whose unit cannot be right: none but its
ratios are used. Its first head bore 1.47 times as much as the mean of the others."""


def persons_weights(layout: SensorLayout, pattern: dict[str, float], rng: np.random.Generator) -> Array:
    """(K,) of the sensors: a pattern's, times what one person's region differs by."""
    regions = np.array(region_of_sensors(layout, layout.length))
    weight = np.array([pattern.get(region, 1.0) for region in regions])
    for region, spread in REGIONS_DIFFER.items():
        weight[regions == region] *= np.exp(spread * rng.standard_normal())
    others = np.flatnonzero(regions == "other_metatarsal_heads")
    ends = np.linspace(layout.outward[others].min(), layout.outward[others].max(), len(OTHER_HEADS_DIFFER) + 1)
    ray = np.digitize(layout.outward[others], ends[1:-1])
    own = np.exp(np.array(OTHER_HEADS_DIFFER) * rng.standard_normal(len(OTHER_HEADS_DIFFER)))
    weight[others] *= own[ray]
    return weight


# the shoe -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OtherShoe:
    """friction at 500 N, falling with load to the power of -0.08; lacing [N]; mass [kg]; turn of the foot inside [rad];
    lean : share of the vertical force that the plate takes for a shear."""

    friction: float
    lacing: float
    sole: OtherSole
    mass: float
    turn: float
    lean: float

    def push(self, inside: Array, load: Array) -> Array:
        """(N,) [N] of the toes on the toe box; inside : force on the foot along itself, load : on its sole [N]."""
        grip = self.friction * (np.maximum(load, 1.0) / 500.0) ** -0.08 * np.maximum(load, 0.0)
        return np.where(load > 0, np.maximum(-inside - grip - self.lacing, 0.0), 0.0)


PLATE_LEANS = 0.005
"""Of the vertical force, standard deviation: half of the 1 % that makers of plates allow (from memory)."""


def other_shoe(rng: np.random.Generator, slippery: bool) -> OtherShoe:
    """slippery : wet socks on a slick insole, loosely laced, so that toes do push"""
    return OtherShoe(
        friction=rng.triangular(0.05, 0.10, 0.16) if slippery else rng.triangular(0.31, 0.46, 0.614),
        lacing=rng.triangular(0.0, 10.0, 30.0) if slippery else rng.triangular(0.0, 30.0, 80.0),
        sole=OtherSole.of(rng),
        mass=rng.uniform(0.25, 0.45),
        turn=np.deg2rad(3.0) * rng.standard_normal(),
        lean=PLATE_LEANS * rng.standard_normal(),
    )


def shoe_said(shoe: OtherShoe, rng: np.random.Generator, known: bool) -> Shoe | None:
    """What shoe.toml says: measured with 7 % error, or nothing."""
    if not known:
        return None
    off = 1.0 + 0.06 * rng.standard_normal(4)
    return shoe_from(
        {
            "friction": float(np.clip(off[0] * shoe.friction, 0.06, 1.9)),
            "lacing_n": float(max(off[1] * shoe.lacing, 0.0)),
            "sole_mm": float(1e3 * off[2] * shoe.sole.thickness),
            "sole_mpa": float(1e-6 * off[3] * shoe.sole.modulus),
        }
    )

"""How quick is the comparison of thin layers, and do its intervals hold? Run by hand: python tests/benchmarks/layers.py

Speed: 200 layers x 200 draws of one landing, processor time of one core. Truth: drawn persons whose pad, shoe and layer
follow laws of their own (pads of four laws under a sphere, ring by ring; cushions that harden as a power, and closed
cells full of gas whose walls yield, which the fit itself warns of), whose layer was pressed slowly, read with noise and
fitted; how often the 95 % intervals hold what the layer truly spares.
"""

from __future__ import annotations

import os

for library in ("OPENBLAS", "OMP", "MKL"):
    os.environ[f"{library}_NUM_THREADS"] = "1"

import argparse  # noqa: E402
import sys  # noqa: E402
import time  # noqa: E402
from dataclasses import dataclass, replace  # noqa: E402
from pathlib import Path  # noqa: E402

import numpy as np  # noqa: E402

sys.path.insert(0, str(Path(__file__).parents[1]))

from other_feet import OtherHeel  # noqa: E402

from jointload.foot.heel_pad import StiffeningColumn  # noqa: E402
from jointload.foot.layer_choice import told  # noqa: E402
from jointload.foot.spreads import drawn, triangular  # noqa: E402
from jointload.foot.thin_layers import TILTS, Bearing, spare  # noqa: E402
from jointload.insole.shape.compression import CompressionTest, fit_layer  # noqa: E402
from jointload.insole.shape.materials import Material, shipped_materials  # noqa: E402

Array = np.ndarray
WANTED_SECONDS = 3.0
ATMOSPHERE = 100e3
SLOW = 2.0
"""[s] of the slow test."""


def bearing(force: float, ball: float, rise: float, sole: StiffeningColumn, draws: int, seed: int) -> Bearing:
    """What a plate and a bed tell of a landing: a force within 5 %, a rise within 15 %."""
    off = triangular(0.9, 1.0, 1.1, "off", draws, seed)
    quick = triangular(0.7, 1.0, 1.3, "quick", draws, seed)
    toes = np.repeat(800.0 * TILTS[:, None] + 90.0, draws, axis=1)
    loads = force * off, ball * off, 250e3 * off
    return Bearing("right", "modelled", *loads, rise * quick, (sole,), 0.14, 700.0, seed, toes)


def speed(layers: int = 200, draws: int = 200) -> float:
    """Processor seconds for so many layers in the eight heights of every place."""
    known = [m for m in shipped_materials().values() if m.kind == "foam"]
    many = [replace(known[k % len(known)], name=f"layer {k}") for k in range(layers // 8)]
    case = bearing(1100.0, 800.0, 0.03, StiffeningColumn(0.012, 2.5e6, 0.72), draws, 5)
    spare(case, many[:1])
    start = time.process_time()
    spare(case, many)
    return time.process_time() - start


@dataclass(frozen=True)
class Cushion:
    """A layer with a law of its own, stiffer with speed to the power of `rate`; most : its largest strain."""

    most: float
    rate: float

    def slowly(self, strain: Array) -> Array:
        raise NotImplementedError

    def pressure(self, strain: Array, lasts: float) -> Array:
        return np.asarray(self.slowly(strain) * (SLOW / lasts) ** self.rate)

    def tested(self, rng: np.random.Generator) -> Material:
        """The law that a slow test of the same batch gives, 2 % noise, a tenth off between samples."""
        strain = np.linspace(0.0, 0.92 * self.most, 120)
        sample = self.pressure(strain, SLOW) * np.exp(0.1 * rng.standard_normal())
        noise = 1.0 + 0.02 * rng.standard_normal(strain.size)
        back = (sample * (strain / strain[-1]) ** (0.5 + 6.0 * self.rate))[::-1]
        both = np.r_[strain, strain[::-1]], np.r_[sample * noise, back]
        test = CompressionTest(*both, strain.size - 1, 0.01, 5e-4, "slow test")
        return replace(fit_layer(test, "tested", "foam").material, modulus_cv=0.15, loading_time=SLOW)


@dataclass(frozen=True)
class Hardening(Cushion):
    """E s (1 + (s / s1)^n), to twelve times E in the end."""

    modulus: float
    begins: float
    power: float

    @classmethod
    def of(cls, rng: np.random.Generator) -> Hardening:
        rate, modulus = rng.triangular(0.0, 0.04, 0.12), rng.triangular(0.2e6, 0.7e6, 2.5e6)
        return cls(0.85, rate, modulus, rng.uniform(0.3, 0.5), rng.uniform(2.0, 4.0))

    def slowly(self, strain: Array) -> Array:
        return np.asarray(self.modulus * strain * (1.0 + (strain / self.begins) ** self.power))


@dataclass(frozen=True)
class GasFoam(Cushion):
    """Closed cells: walls E0 s / (1 + s E0 / s0), gas p0 s / (1 - s - R)."""

    walls: float
    plateau: float

    @classmethod
    def of(cls, rng: np.random.Generator) -> GasFoam:
        density, rate = rng.uniform(0.12, 0.25), rng.triangular(0.0, 0.04, 0.12)
        return cls(1.0 - density, rate, rng.triangular(0.5e6, 1.2e6, 3e6), rng.triangular(80e3, 150e3, 300e3))

    def slowly(self, strain: Array) -> Array:
        held = self.walls * strain / (1.0 + strain * self.walls / self.plateau)
        return np.asarray(held + ATMOSPHERE * strain / (self.most - strain))


@dataclass(frozen=True)
class Beneath:
    """A linear sole, and a layer of this height on it that is loaded within `lasts`."""

    layer: Cushion | None = None
    height: float = 0.0
    lasts: float = SLOW

    def compression(self, pressure: Array) -> Array:
        of_sole = SOLE[0] / SOLE[1] * pressure
        if self.layer is None:
            return np.asarray(of_sole)
        strain = np.linspace(0.0, 0.9999 * self.layer.most, 4000)
        return np.asarray(of_sole + self.height * np.interp(pressure, self.layer.pressure(strain, self.lasts), strain))


SOLE = (0.012, 2.5e6)
"""Thickness [m] and modulus [Pa]."""


def truth(number: int, kind: type[Hardening] | type[GasFoam]) -> list[tuple[float, bool, float]]:
    """Of one person and one foam at 2, 4 and 6 mm under the heel: change of the heel's pressure, held or not, width."""
    rng = np.random.default_rng([number, 11])
    heel, foam, ankle = OtherHeel.of(rng), kind.of(rng), 700.0 * rng.triangular(0.14, 0.8, 1.2)
    force, rise = rng.uniform(500.0, 2200.0), rng.uniform(0.012, 0.05)
    said = force * (1.0 + 0.04 * rng.standard_normal()), rise * (1.0 + 0.12 * rng.standard_normal())
    case = bearing(said[0], 0.7 * force, said[1], StiffeningColumn(*SOLE, 1e6), 200, number + 1)
    heights = (0.002, 0.004, 0.006)
    spared = spare(case, (foam.tested(rng),), heights, places=("heel",)).spared["heel"]
    bare = heel.pressed(force, rise, Beneath())
    out = []
    for k, height in enumerate(heights):
        on = Beneath(foam, height, rise)
        moved = ankle * (heel.pressed(force, rise, on)["down"] - bare["down"]) / 0.14**2
        left = heel.pressed(force - moved, rise, on)["pressure"]
        found, change = told(spared.heel_change[0, k]), left / bare["pressure"] - 1.0
        out.append((change, bool(found.low <= change <= found.high), found.high - found.low))
    return out


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--persons", type=int, default=100)
    words.add_argument("--first", type=int, default=0, help="number of the first person; others are fresh ones")
    chosen = words.parse_args()
    persons = range(chosen.first, chosen.first + chosen.persons)
    drawn("layer", 200, 5)
    took = speed()
    print(f"200 layers x 200 draws, three places: {took:.2f} s of one core (wanted: {WANTED_SECONDS:g} s)")
    print("| cushion | height | held | true change, middle | interval, middle |")
    print("|---|---|---:|---:|---:|")
    for kind in (Hardening, GasFoam):
        rows = np.array([truth(number, kind) for number in persons], dtype=float)
        for k, height in enumerate((2, 4, 6)):
            change, held, width = (rows[:, k] * 100.0).T
            cells = f"{held.mean():.1f} % | {np.median(change):.1f} % | {np.median(width):.1f} %"
            print(f"| {kind.__name__} | {height} mm | {cells} |")


if __name__ == "__main__":
    main()

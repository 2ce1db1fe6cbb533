"""What pressure insoles would have said of a synthetic landing: tables whose truth is the landing's own force.

Every sensor bears a part of the foot's vertical force; the parts are those nearest a made-up pattern whose centre lies
at the true centre of pressure. The insoles read too little, differ from each other, and run on their own clock.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from jointload.insole.shape.outline import Outline
from jointload.intake.pressure import SensorLayout
from jointload.intake.recording import SIDES, Array
from jointload.landing.sole_regions import region_of_sensors
from jointload.numerics.rotations import rotate_back
from jointload.synthetic.landing import SyntheticLanding

SENSOR_LENGTH, SENSOR_WIDTH = 0.016, 0.013
"""[m] of one sensor of the grid."""
EVEN = {"medial_heel": 3.0, "lateral_heel": 3.0, "midfoot": 0.6}
BACK_FOOT = {"medial_heel": 14.0, "lateral_heel": 3.0, "midfoot": 0.4, "first_metatarsal_head": 9.0, "hallux": 1.2}
FRONT_FOOT = {"medial_heel": 9.0, "lateral_heel": 8.0, "midfoot": 0.4, "lesser_toes": 0.7}
"""How much more than its neighbours a region bears (made up, to show what common practice has of board landings)."""
NEWTON_STEPS = 40


def made_layout(foot_length: float) -> SensorLayout:
    """A grid of sensors on a plain sole of this length [m]."""
    outline = Outline(foot_length, 0.36 * foot_length)
    sensors, along, outward = [], [], []
    for row, x in enumerate(np.arange(0.5 * SENSOR_LENGTH, foot_length, SENSOR_LENGTH)):
        low, high = (float(edge(np.array([x]))[0]) for edge in (outline.lateral_edge, outline.medial_edge))
        count = max(int((high - low) // SENSOR_WIDTH), 0)
        for column in range(count):
            sensors.append(f"P{row + 1:02d}{'ABCDEFGHIJ'[column]}")
            along.append(x)
            outward.append(-(0.5 * (low + high) + (column - 0.5 * (count - 1)) * SENSOR_WIDTH))
    area = np.full(len(sensors), SENSOR_LENGTH * SENSOR_WIDTH)
    nowhere = ("",) * len(sensors)
    return SensorLayout("layout.csv", tuple(sensors), np.array(along), np.array(outward), area, nowhere)


@dataclass(frozen=True)
class InsoleMake:
    """Insoles as a laboratory has them: gain of right and left, noise [kPa] and step [kPa] of a sensor, rate [Hz], and
    the time [s] on their clock at the recording's start."""

    gains: tuple[float, float] = (0.72, 0.66)
    noise: float = 1.5
    step: float = 0.5
    rate: float = 200.0
    clock: float = 1.37
    before: float = 0.6
    """Recorded time [s] before the cameras start; the feet are in the air."""
    patterns: tuple[dict[str, float], dict[str, float]] = field(default_factory=lambda: (EVEN, EVEN))
    """Of right and left foot."""


BOARD_PATTERNS = {"right": (BACK_FOOT, FRONT_FOOT), "left": (FRONT_FOOT, BACK_FOOT)}
"""The patterns of right and left foot, by the back foot."""


def true_pressure(landing: SyntheticLanding, side: str, layout: SensorLayout, pattern: dict[str, float]) -> Array:
    """(K, N) [Pa] at the force rate under sensors that bear as their region does in a pattern; see weighed_pressure."""
    regions = region_of_sensors(layout, layout.length)
    return weighed_pressure(landing, side, layout, np.array([pattern.get(region, 1.0) for region in regions]))


def weighed_pressure(landing: SyntheticLanding, side: str, layout: SensorLayout, weight: Array) -> Array:
    """(K, N) [Pa] at the force rate: the foot's vertical force, its centre where the landing has it.

    The parts are w exp(a x + b z), with w the sensors' weights (K,) and a, b so that the centre is met: of all parts
    with this centre the ones nearest the weights.
    """
    k = SIDES.index(side)
    rotation, origin = landing.poses.of(f"{side}_foot")
    local = rotate_back(rotation, landing.point[:, k] - origin)
    heel = landing.body.points[f"{side}_calcaneus"][1]
    outward = (1.0 if side == "right" else -1.0) * (local[2] - heel[2])
    wanted = np.stack((local[0] - heel[0], outward))
    places = np.stack((layout.along, layout.outward))
    low, high = places.min(axis=1) + 0.01, places.max(axis=1) - 0.01
    parts = _tilted(weight, places, np.clip(wanted, low[:, None], high[:, None]))
    return parts * np.maximum(landing.force[1, k], 0.0) / layout.area[:, None]


def _tilted(weight: Array, places: Array, wanted: Array) -> Array:
    """(K, N) parts that sum to one, with their centre at wanted (2, N) of places (2, K)."""
    tilt = np.zeros_like(wanted)
    for _ in range(NEWTON_STEPS):
        power = tilt.T @ places
        parts = weight * np.exp(power - power.max(axis=1, keepdims=True))
        parts /= parts.sum(axis=1, keepdims=True)
        centre = parts @ places.T
        spread = np.einsum("nk,ik,jk->nij", parts, places, places) - np.einsum("ni,nj->nij", centre, centre)
        step = np.linalg.solve(spread + 1e-9 * np.eye(2), (wanted.T - centre)[..., None])[..., 0]
        tilt += np.clip(step, -60.0, 60.0).T
    return np.asarray(parts.T)


def insole_tables(
    landing: SyntheticLanding, layout: SensorLayout, make: InsoleMake, seed: int = 0
) -> dict[str, tuple[Array, Array]]:
    """Side to the insole's own time (N,) [s] and what it says (K, N) [kPa]."""
    rng = np.random.default_rng([seed, 4])
    own = np.arange(-make.before, landing.time[-1], 1.0 / make.rate)
    out: dict[str, tuple[Array, Array]] = {}
    for k, side in enumerate(SIDES):
        true = true_pressure(landing, side, layout, make.patterns[k])
        felt = np.stack([np.interp(own, landing.time, row) for row in true])
        said = 1e-3 * make.gains[k] * felt + make.noise * rng.standard_normal(felt.shape) * (felt > 0)
        out[side] = (own + make.clock, np.maximum(np.round(said / make.step) * make.step, 0.0))
    return out


def write_layout(layout: SensorLayout, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("sensor", "along_mm", "outward_mm", "area_mm2"))
        for row in zip(layout.sensors, 1e3 * layout.along, 1e3 * layout.outward, 1e6 * layout.area, strict=True):
            writer.writerow((row[0], *(f"{value:.1f}" for value in row[1:])))


def write_pressure(layout: SensorLayout, time: Array, said: Array, path: Path, unit: str = "kPa") -> None:
    """said : (K, N) in this unit."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("time", *layout.sensors))
        writer.writerow(("s", *[unit] * len(layout.sensors)))
        for instant, row in zip(time, said.T, strict=True):
            writer.writerow((f"{instant:.4f}", *(f"{value:g}" for value in row)))

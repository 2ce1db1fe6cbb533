"""The baseline that pressure insoles measured: what they felt brought onto the bed's cells and into balance with the
plate, and the plantar shape that makes the modelled pose press so."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jointload.insole.bed.bed import SCALE, Array, BedLoad, BedPose, FootBed, JointStiffness
from jointload.insole.bed.bed_search import System, all_springs, settle_poses
from jointload.intake.pressure import SensorLayout
from jointload.intake.recording import Finding
from jointload.landing.landed import Landing
from jointload.landing.sole_regions import pressure_at

CLEAR = 1e-9
"""A cell that was felt to bear nothing stands at least this far [m] above the insole: clear of rounding."""
MOST_MOVED = 0.30
"""Share of the load beyond which the map is not bent to the plate's centre of pressure: it is another foot's, or lies
elsewhere (choice)."""
MUCH_MOVED = 0.15
"""Share of the load from where on it is told as a warning (choice)."""
NEWTON_STEPS = 60
CENTRED = 1e-12
"""Distance of a map's centre from the wanted one, in ARMS, at which it is accepted."""
STEEPEST_LEAN = 50.0
"""Exponent per ARMS beyond which no load with that centre is sought: it lies outside all that was felt."""
NOTHING = 1e-9
"""A smaller weight of a sensor is rounding: a cell that it alone reaches bears nothing."""
ARMS = np.array([0.100, 0.030])
"""Lengths [m] by which places along and across the sole are scaled."""


@dataclass(frozen=True, eq=False)
class MeasuredBed:
    """What pressure insoles felt under the cells of a bed at T instants, in balance with the plate.

    pressure : (T, n) [Pa], NaN throughout an instant that has no usable map;  factor : (T,) by which its force was
    scaled;  moved : (T,) share of the load that was moved to meet the centre of pressure
    """

    pressure: Array
    factor: Array
    moved: Array

    @property
    def known(self) -> NDArray[np.bool_]:
        """(T,) instants with a map."""
        return np.asarray(np.isfinite(self.pressure).all(axis=1))

    @property
    def text(self) -> str:
        """Which baseline stands, in words."""
        known = self.known
        if not known.any():
            return "modelled"
        return "measured by pressure insoles" + (
            "" if known.all() else f" at {known.sum()} of {known.size} instants, modelled at the others"
        )

    @property
    def finding(self) -> Finding:
        known, count = self.known, self.pressure.shape[0]
        advice = "where there is no map that fits, the modelled pressure stands: check side, clock and sensor layout"
        if not known.any():
            evidence = "modelled: the pressure insoles have no map that fits the plate's centre of pressure"
            return Finding("baseline_pressure", "warn", "pressure insoles", evidence, advice)
        factor, moved = self.factor[known], self.moved[known]
        evidence = (
            f"{self.text}; its force times {factor.min():.2f} to {factor.max():.2f} to meet the plate's, and "
            f"{100 * np.median(moved):.0f} % of the load moved, at most {100 * moved.max():.0f} %, to meet its centre"
        )
        if known.sum() == count and moved.max() <= MUCH_MOVED:
            return Finding("baseline_pressure", "pass", "pressure insoles", evidence, "")
        return Finding("baseline_pressure", "warn", "pressure insoles", evidence, advice)


def measured_bed(
    landing: Landing, side: str, bed: FootBed, frames: NDArray[np.intp], load: BedLoad
) -> MeasuredBed | None:
    """The measured pressure under one foot at marker frames (T,), None without an insole under it."""
    if landing.pressed is None or side not in landing.pressed.soles:
        return None
    sole = landing.pressed.soles[side]
    felt = np.stack([pressure_at(sole, time) for time in landing.recording.time[frames]])
    return on_bed(bed, sole.recording.layout, felt, load)


def on_bed(bed: FootBed, layout: SensorLayout, felt: Array, load: BedLoad) -> MeasuredBed:
    """Pressures felt (T, K) [Pa] brought onto the cells and into balance with the load.

    Between sensors by straight lines, beside the outermost as far as their own squares reach; further out nothing
    was measured, and the cell bears nothing. A sensor that was left out is bridged by its neighbours.
    """
    instants = load.force.size
    used = np.asarray(np.isfinite(felt).any(axis=0))
    cells = np.maximum(felt[:, used], 0.0) @ _weights(bed, layout, used).T
    pressure = np.full((instants, bed.x.size), np.nan)
    factor, moved = np.full(instants, np.nan), np.full(instants, np.nan)
    for t in np.flatnonzero(np.isfinite(cells).all(axis=1) & (cells.sum(axis=1) > 0) & (load.force > 0)):
        borne = cells[t] * bed.area
        share = borne / borne.sum()
        balanced = _centred(share, np.stack([bed.x - load.x[t], bed.y - load.y[t]], axis=1) / ARMS)
        factor[t], moved[t] = load.force[t] / borne.sum(), 0.5 * np.abs(balanced - share).sum()
        if moved[t] <= MOST_MOVED:
            pressure[t] = balanced * load.force[t] / bed.area
    return MeasuredBed(pressure, factor, moved)


def _weights(bed: FootBed, layout: SensorLayout, used: NDArray[np.bool_]) -> Array:
    """(n, K) of the used sensors for every cell; a row of zeros where nothing was measured."""
    from scipy.spatial import Delaunay, QhullError

    sensors = np.stack([layout.along, -layout.outward], axis=1)[used]
    cells = np.stack([bed.x, bed.y], axis=1)
    distance = np.abs(cells[:, None] - sensors).max(axis=2)
    nearest = distance.argmin(axis=1) if len(sensors) else np.zeros(len(cells), dtype=np.intp)
    weights, every = np.zeros((len(cells), len(sensors))), np.arange(len(cells))
    try:
        triangles = Delaunay(sensors)
    except (QhullError, ValueError):
        return weights
    found = triangles.find_simplex(cells)
    inside, beside = found >= 0, (found < 0) & (distance[every, nearest] <= 0.5 * np.sqrt(layout.area[used])[nearest])
    turn = triangles.transform[found[inside]]
    first = np.einsum("cij,cj->ci", turn[:, :2], cells[inside] - turn[:, 2])
    corners = np.concatenate((first, 1.0 - first.sum(axis=1, keepdims=True)), axis=1)
    weights[every[inside, None], triangles.simplices[found[inside]]] = np.clip(corners, 0.0, 1.0)
    weights[every[beside], nearest[beside]] = 1.0
    return np.where(weights > NOTHING, weights, 0.0)


def _centred(share: Array, away: Array) -> Array:
    """Shares (n,) of a load with their centre moved to the origin of the places (n, 2); NaN where none can be.

    Of all loads with that centre it is the nearest by relative entropy: every share times exp(l . place), by Newton's
    method on the convex sum of them. What bears nothing goes on bearing nothing.
    """
    lean = np.zeros(2)

    loaded = share > 0

    def leaning(lean: Array) -> tuple[float, Array]:
        exponent = np.where(loaded, away @ lean, -np.inf)
        most = float(exponent.max())
        part = share * np.exp(exponent - most)
        return most + float(np.log(part.sum())), part / part.sum()

    value, out = leaning(lean)
    for _ in range(NEWTON_STEPS):
        centre = out @ away
        if np.abs(centre).max() < CENTRED:
            return out
        spread = (away * out[:, None]).T @ away - np.outer(centre, centre)
        step, fraction = np.linalg.solve(spread + 1e-12 * np.eye(2), centre), 1.0
        while fraction > 1e-6:
            new_value, new = leaning(lean - fraction * step)
            if new_value <= value + 1e-12:
                break
            fraction *= 0.5
        lean, value, out = lean - fraction * step, new_value, new
        if np.abs(lean).max() > STEEPEST_LEAN:
            break
    return np.full_like(share, np.nan)


def pressed_baseline(bed: FootBed, baseline: BedPose, measured: MeasuredBed, joints: JointStiffness) -> BedPose:
    """A modelled baseline with the plantar shape under which its pose presses as was measured, in the instants that
    have a map.

    The law of the layers gives every cell's compression, and with it the height of the sole above the insole. Heave,
    roll and pitch stay those of the modelled baseline, and the arch sags as the measured pressure asks. A cell that
    bore nothing keeps its modelled shape but for what would touch.
    """
    known = measured.known
    if not known.any():
        return baseline
    footing = (baseline.height, baseline.materials, baseline.load)
    system, springs = System.of(bed, *footing), all_springs(bed, joints, baseline.load)
    pressed = np.where(known[:, None], measured.pressure, 0.0)
    pushed = (pressed * bed.area) @ bed.motion
    unknowns = baseline.unknowns
    unknowns[:, known, 4] = pushed[known, 4] / springs[:, known, 4]
    sunk = system.gap - unknowns @ bed.motion.T
    wanted = np.where(pressed > 0, _compression(system, pressed), np.minimum(sunk, -CLEAR))
    lowered = np.where(known[:, None] & baseline.stable[..., None], wanted - sunk, 0.0)
    held = np.where(known & baseline.stable, pushed[:, 3] * SCALE[3], baseline.held_twist)
    rest = unknowns * np.array([0.0, 1.0, 1.0, 0.0, 0.0])
    whole = System.of(bed, *footing, lowered).twisted_by(held)
    pose = settle_poses(bed, whole, springs, rest, unknowns, baseline.reason, footing)
    return replace(pose, lowered=lowered)


def _compression(system: System, pressure: Array) -> Array:
    """(D, T, n) [m] of the layers under pressures (T, n) [Pa], the law of bed_search.Place."""
    out = system.tissue_slope[:, None] * np.log1p(pressure / system.tissue_pressure[:, None])
    for capacity, half in (
        (system.insole_capacity, system.insole_half),
        (system.midsole_capacity, system.midsole_half),
    ):
        out = out + capacity[:, None] * pressure / (pressure + half[:, None])
    return out

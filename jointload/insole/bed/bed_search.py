"""The search for the pose in which a bed of layers carries a foot: Newton's method on the gradient of a potential.

Unknowns are those of bed.py, scaled by SCALE; arrays are (P, ...), one row a pose, or (D, T, ...), draws and instants.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from jointload.insole.bed.bed import (
    SCALE,
    STABLE,
    TIPPED,
    UNSETTLED,
    UNSTABLE,
    Array,
    BedLoad,
    BedMaterials,
    BedPose,
    FootBed,
    JointStiffness,
    Mask,
)

Index = NDArray[np.intp]

LARGEST_STEP = 0.006
"""Cap [m] on one Newton step of any scaled unknown."""
SMALLEST_FRACTION = 1.0 / 256.0
"""A step halved below this is taken as it is."""
MOST_STEPS = 400
LARGEST_INNER_STEP = 1.5
"""Cap on a step in ln(1 + p / a): a foam's share is a logistic curve in it, on which longer Newton steps can circle."""
BALANCED = 1e-11
"""Imbalance, as a share of the vertical force, below which a pose is accepted; 1e-9 is promised."""
MATCHED, NEARLY_MATCHED = 1e-12, 1e-3
"""Difference [m] between a cell's compression and its layers' sum below which a pose is accepted, or searched from."""
FIRM = 1e-6
"""A pose is stable when its stiffness stays positive definite with this share of its diagonal taken off."""
LOOSE = 1e-3
"""Stiffness [N/m] lent to a sole out of contact while searching, so that it falls back onto the bed."""
POSES_AT_ONCE = 192
STEEPEST = np.deg2rad(30.0)
"""Largest angle [rad] taken for small in the sole's motion (choice: sine and angle differ by 5 %)."""


@dataclass(frozen=True, eq=False)
class System:
    """Layers and loads of all poses: gap and loads (D, T, ...), materials (D, 1 or n); after take, all (P, ...)."""

    motion: Array
    free: Array
    area: Array
    gap: Array
    force: Array
    pull: Array
    tissue_pressure: Array
    tissue_slope: Array
    insole_capacity: Array
    insole_half: Array
    midsole_capacity: Array
    midsole_half: Array

    @classmethod
    def of(
        cls, bed: FootBed, height: Array, materials: BedMaterials, load: BedLoad, lowered: Array | None = None
    ) -> System:
        m = {f.name: per_cell(getattr(materials, f.name)) for f in fields(materials)}
        shape = (m["tissue_pressure"].shape[0], load.force.size)
        zero, gap = np.zeros_like(load.x), bed.midsole + height - bed.shape
        levers = np.stack([zero + 1.0, load.y, bed.ankle_forward - load.x, zero, zero], axis=-1)
        return cls(
            motion=bed.motion,
            free=np.ones(5),
            area=bed.area,
            gap=np.broadcast_to(gap, (*shape, gap.size)) if lowered is None else gap + lowered,
            force=np.broadcast_to(load.force, shape),
            pull=np.broadcast_to(load.force[:, None] * levers / SCALE, (*shape, 5)),
            tissue_pressure=m["tissue_pressure"],
            tissue_slope=bed.tissue / m["tissue_exponent"],
            insole_capacity=height * m["insole_strain"],
            insole_half=m["insole_modulus"] * m["insole_strain"],
            midsole_capacity=bed.midsole * m["midsole_strain"],
            midsole_half=m["midsole_modulus"] * m["midsole_strain"],
        )

    def twisted_by(self, moment: Array) -> System:
        """With a moment (D, T) [Nm] that the foot itself holds against the twist of its forefoot."""
        pull = self.pull.copy()
        pull[..., 3] = moment / SCALE[3]
        return replace(self, pull=pull)

    @property
    def shape(self) -> tuple[int, ...]:
        return self.force.shape

    def foams(self) -> list[tuple[Array, Array]]:
        """Capacity and half pressure of each foam that is there anywhere."""
        both = ((self.insole_capacity, self.insole_half), (self.midsole_capacity, self.midsole_half))
        return [(capacity, half) for capacity, half in both if capacity.any()]

    def compression(self, unknowns: Array) -> Array:
        """(P, n) [m] of the layers under every cell at scaled unknowns (P, 5)."""
        return np.maximum(self.gap - unknowns @ self.motion.T, 0.0)

    def take(self, draw: Index, instant: Index) -> System:
        """The poses at these draws and instants, one row each."""
        materials = {f.name: getattr(self, f.name)[draw] for f in fields(self)[6:]}
        loads = {f.name: getattr(self, f.name)[draw, instant] for f in fields(self)[3:6]}
        return replace(self, **loads, **materials)

    def keep(self, rows: Mask | slice) -> System:
        return replace(self, **{f.name: getattr(self, f.name)[rows] for f in fields(self)[3:]})


@dataclass(frozen=True, eq=False)
class Place:
    """The cells (P, n) at scaled unknowns (P, 5): u = ln(1 + p / a), the layers' compression at u and its slope."""

    unknowns: Array
    u: Array
    layers: Array
    slope: Array
    pressure: Array
    firmness: Array
    mismatch: Array

    @classmethod
    def cold(cls, system: System, unknowns: Array) -> Place:
        """At a pose from nothing: layers of one mean slope, then as many steps as they need."""
        compression = system.compression(unknowns)
        slope = system.tissue_slope + (system.insole_capacity + system.midsole_capacity) / 6.0
        place = cls._untold(unknowns, compression / slope, compression, slope)
        for _ in range(MOST_STEPS):
            place = place.moved(system, unknowns)
            if place.mismatch.max(initial=0.0) < NEARLY_MATCHED:
                break
        return place

    @classmethod
    def settled(cls, system: System, unknowns: Array, pressure: Array) -> Place:
        """At a pose whose pressures (P, n) [Pa] are known."""
        u = np.log1p(pressure / system.tissue_pressure)
        return cls._untold(unknowns, u, system.compression(unknowns), np.ones_like(u)).moved(system, unknowns)

    @classmethod
    def _untold(cls, unknowns: Array, u: Array, layers: Array, slope: Array) -> Place:
        nothing = np.zeros_like(u)
        return cls(unknowns, u, layers, slope, nothing, nothing, np.full(unknowns.shape[0], np.inf))

    def moved(self, system: System, unknowns: Array) -> Place:
        """At the next pose: every cell's compression shared anew by a Newton step in u between tissue and foams,

        c = (t_t / b) u + t_i p / (E_i + p / e_i) + t_m p / (E_m + p / e_m),  p = a (exp(u) - 1).
        """
        compression = system.compression(unknowns)
        step = (compression - self.layers) / self.slope
        u = self.u + np.clip(step, -LARGEST_INNER_STEP, LARGEST_INNER_STEP, out=step)
        u = np.clip(u, 0.0, compression / system.tissue_slope, out=u)
        pressure = np.expm1(u)
        pressure *= system.tissue_pressure
        steepness = pressure + system.tissue_pressure
        layers = system.tissue_slope * u
        slope = np.zeros_like(u)
        for capacity, half in system.foams():
            part = 1.0 / (pressure + half)
            share = capacity * part
            layers += share * pressure
            part *= half
            part *= share
            slope += part
        slope *= steepness
        slope += system.tissue_slope
        left = compression - layers
        firmness = steepness / slope
        firmness *= compression > 0
        pressure += firmness * left
        return Place(unknowns, u, layers, slope, pressure, firmness, np.abs(left).max(axis=1))

    def keep(self, rows: Mask) -> Place:
        return Place(*(getattr(self, f.name)[rows] for f in fields(self)))

    def pushed(self, system: System) -> Array:
        """(P, 5) [N], the bed's push along every scaled unknown."""
        return np.asarray((self.pressure * system.area) @ system.motion)

    def gradient(self, system: System, springs: Array, rest: Array) -> Array:
        """(P, 5) [N] of the potential: zero in balance."""
        return np.asarray(system.free * (system.pull + springs * (self.unknowns - rest) - self.pushed(system)))

    def stiffness(self, system: System, springs: Array) -> Array:
        """(P, 5, 5) [N/m], second derivative of the potential."""
        motion = system.motion * system.free
        pairs = motion[:, _ROWS] * motion[:, _COLUMNS]
        sums = (self.firmness * system.area) @ pairs
        matrix = np.empty((sums.shape[0], 5, 5))
        matrix[:, _ROWS, _COLUMNS] = sums
        matrix[:, _COLUMNS, _ROWS] = sums
        matrix[:, _DIAGONAL, _DIAGONAL] += springs
        return matrix


_ROWS, _COLUMNS = np.triu_indices(5)
_DIAGONAL = np.arange(5)
Footing = tuple[Array, BedMaterials, BedLoad]


def settle_poses(
    bed: FootBed, system: System, springs: Array, rest: Array, start: Array, reason: NDArray[np.int8], footing: Footing
) -> BedPose:
    """Search every pose that has no reason against it, and put the answers into (D, T)."""
    unknowns, pressure = np.full((*system.shape, 5), np.nan), np.full((*system.shape, bed.x.size), np.nan)
    residual, reason = np.full(system.shape, np.nan), reason.copy()
    for d, t in batches(reason == STABLE):
        unknowns[d, t], pressure[d, t], residual[d, t], reason[d, t] = _search(
            system.take(d, t), springs[d, t], rest[d, t], start[d, t]
        )
    return _pose_of(bed, unknowns, pressure, residual, reason, footing)


def _search(system: System, springs: Array, rest: Array, start: Array) -> tuple[Array, Array, Array, NDArray[np.int8]]:
    """Newton's method on the gradient, (P, 5): steps capped, halved until the imbalance falls, one row leaving as it
    settles."""
    rows = start.shape[0]
    unknowns, pressure = np.full((rows, 5), np.nan), np.full((rows, system.area.size), np.nan)
    residual, reason = np.full(rows, np.nan), np.full(rows, UNSETTLED, dtype=np.int8)
    place = Place.cold(system, start)
    base, step, fraction, least = start, np.zeros_like(start), np.ones(rows), np.full(rows, np.inf)
    left = np.arange(rows)
    for _ in range(MOST_STEPS):
        gradient = place.gradient(system, springs, rest)
        imbalance = np.abs(gradient).max(axis=1) / system.force
        done = (imbalance < BALANCED) & (place.mismatch < MATCHED)
        if done.any():
            firm = _positive_definite(place.keep(done).stiffness(system.keep(done), springs[done]))
            here = left[done]
            unknowns[here], pressure[here] = place.unknowns[done], place.pressure[done]
            tipped = (np.abs(unknowns[here] / SCALE)[:, 1:] > STEEPEST).any(axis=1)
            residual[here], reason[here] = imbalance[done], np.select([~firm, tipped], [UNSTABLE, TIPPED], STABLE)
            on = ~done
            if not on.any():
                break
            system, place, springs, rest = system.keep(on), place.keep(on), springs[on], rest[on]
            base, step, fraction, least = base[on], step[on], fraction[on], least[on]
            left, gradient = left[on], gradient[on]
        size = np.sqrt(np.sum(gradient**2, axis=1))
        better = (size < least) | (fraction < SMALLEST_FRACTION)
        fraction = np.where(better, 1.0, 0.5 * fraction)
        base = np.where(better[:, None], place.unknowns, base)
        step = np.where(better[:, None], _capped_step(place.stiffness(system, springs), gradient), step)
        least = np.where(better, size, least)
        place = place.moved(system, base + fraction[:, None] * step)
    return unknowns, pressure, residual, reason


def _capped_step(stiffness: Array, gradient: Array) -> Array:
    stiffness[:, _DIAGONAL, _DIAGONAL] += 1e-9 * np.abs(stiffness[:, _DIAGONAL, _DIAGONAL]) + LOOSE
    step = np.linalg.solve(stiffness, -gradient[..., None])[..., 0]
    return np.asarray(step / np.maximum(np.abs(step).max(axis=1, keepdims=True) / LARGEST_STEP, 1.0))


def _positive_definite(matrices: Array) -> Mask:
    """Whether each matrix (P, 5, 5) passes Cholesky's test with FIRM to spare; failing batches are halved."""
    diagonal = np.abs(matrices[:, _DIAGONAL, _DIAGONAL]) + LOOSE
    scaled = matrices / np.sqrt(diagonal[:, :, None] * diagonal[:, None, :]) - FIRM * np.eye(5)
    try:
        np.linalg.cholesky(scaled)
    except np.linalg.LinAlgError:
        if len(matrices) == 1:
            return np.zeros(1, dtype=bool)
        half = len(matrices) // 2
        return np.concatenate((_positive_definite(matrices[:half]), _positive_definite(matrices[half:])))
    return np.ones(len(matrices), dtype=bool)


def _pose_of(
    bed: FootBed, unknowns: Array, pressure: Array, residual: Array, reason: NDArray[np.int8], footing: Footing
) -> BedPose:
    """The pose of scaled unknowns (D, T, 5) and of what every cell bears (D, T, n); NaN where a reason stands."""
    height, materials, load = footing
    values = unknowns / SCALE
    values[reason != STABLE] = pressure[reason != STABLE] = np.nan
    moments = (pressure * bed.area) @ bed.motion * SCALE
    levers = moments / load.force[:, None]
    return BedPose(
        heave=values[..., 0],
        roll=values[..., 1],
        pitch=values[..., 2],
        twist=values[..., 3],
        arch=values[..., 4],
        cop_x=bed.ankle_forward - levers[..., 2],
        cop_y=levers[..., 1],
        pressure=pressure,
        residual=np.where(reason == STABLE, residual, np.nan),
        held_twist=moments[..., 3],
        reason=reason,
        height=height,
        materials=materials,
        load=load,
    )


def batches(wanted: Mask) -> Iterator[tuple[Index, Index]]:
    """Draws and instants of the poses that are wanted, POSES_AT_ONCE at a time."""
    draw, instant = np.nonzero(wanted)
    for k in range(0, draw.size, POSES_AT_ONCE):
        yield draw[k : k + POSES_AT_ONCE], instant[k : k + POSES_AT_ONCE]


def _inner_springs(joints: JointStiffness, load: BedLoad) -> Array:
    """(D, T, 2), twist and arch, scaled [N/m]."""
    arch = joints.loaded_arch(load.force)
    return np.stack([np.broadcast_to(joints.twist[:, None], arch.shape), arch], axis=-1) / SCALE[3:] ** 2


def all_springs(bed: FootBed, joints: JointStiffness, load: BedLoad) -> Array:
    """(D, T, 5), scaled [N/m]; none on heave."""
    roll = joints.net_roll(load, bed.ankle_height)
    pitch = np.broadcast_to(joints.pitch[:, None], roll.shape)
    outer = np.stack([np.zeros_like(roll), roll, pitch], axis=-1) / SCALE[:3] ** 2
    return np.concatenate((outer, _inner_springs(joints, load)), axis=-1)


def rest_of(baseline: BedPose) -> Array:
    """(D, T, 5): roll and pitch rest at the baseline, twist and arch at zero."""
    return baseline.unknowns * np.array([0.0, 1.0, 1.0, 0.0, 0.0])


def per_cell(values: Array) -> Array:
    """(D, 1) of values (D,), to stand beside cells (D, n)."""
    return values[:, None] if values.ndim == 1 else values

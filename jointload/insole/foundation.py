"""The bed under the foot: rearfoot and forefoot on layers of tissue, insole and midsole, and the pose they settle in.

Axes: x forward from the back of the heel, y medial, z up. Unknowns, in this order wherever an axis has length 5: heave
[m], roll (inversion positive), pitch (heel up positive), twist of the forefoot (inversion positive) and arch pitch of
the forefoot (down positive) [rad]. Arrays of poses are (D, T): draws of a person, instants.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from jointload.errors import SettingError, expected_found

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]

GRAVITY = 9.81
UNTWISTED = np.array([1.0, 1.0, 1.0, 0.0, 1.0])
"""Which unknowns a baseline is free in."""
SCALE = np.array([1.0, 0.030, 0.100, 0.030, 0.100])
"""Lever arms [m] that turn the unknowns into displacements of the sole and their moments into forces."""
LARGEST_STEP = 0.006
"""Cap [m] on one Newton step of any scaled unknown."""
SMALLEST_FRACTION = 1.0 / 256.0
"""A step halved below this is taken as it is."""
MOST_STEPS = 400
INNER_STEPS = 2
LARGEST_INNER_STEP = 1.5
"""Cap on a step in ln(1 + p / a): a foam's share is a logistic curve in it, on which longer Newton steps can circle."""
BALANCED = 1e-11
"""Imbalance, as a share of the vertical force, below which a pose is accepted; 1e-9 is promised."""
MATCHED = 1e-12
"""Difference [m] between a cell's compression and the sum of its layers below which a pose is accepted."""
FIRM = 1e-6
"""A pose is stable when its stiffness stays positive definite with this share of its diagonal taken off."""
LOOSE = 1e-3
"""Stiffness [N/m] lent to a sole out of contact while searching, so that it falls back onto the bed."""
POSES_AT_ONCE = 96
STEEPEST = np.deg2rad(30.0)
"""Largest angle [rad] taken for small in the sole's motion (choice: sine and angle differ by 5 %)."""

STABLE, UNSTABLE, TIPPED, UNSETTLED, OUTSIDE, UNLOADED, UNKNOWN = range(7)
REASONS = (
    "",
    "no stable pose: the foot would roll off",
    "no stable pose: the foot tips beyond small angles",
    "no stable pose: none was found",
    "centre of pressure outside the sole",
    "no downward force",
    "force or centre of pressure missing",
)
"""In words why a pose is NaN, by BedPose.reason."""


@dataclass(frozen=True, eq=False)
class FootBed:
    """The cells of a sole (n,) and the foot upon them.

    x, y : [m] cell centres;  area : [m2];  shape : [m] height of the unloaded plantar surface above its lowest plane
    tissue, midsole : [m] thickness of the layers above and below the insole
    length, ankle_forward, ankle_height, split, arch_hinge : [m] foot length, ankle from the heel and above the sole,
    start of the forefoot, and the line it bends about, from the heel
    """

    x: Array
    y: Array
    area: Array
    shape: Array
    tissue: Array
    midsole: Array
    length: float
    ankle_forward: float
    ankle_height: float
    split: float
    arch_hinge: float

    def __post_init__(self) -> None:
        for name in ("x", "y", "area", "shape", "tissue", "midsole"):
            values = getattr(self, name)
            if values.shape != self.x.shape or values.ndim != 1 or not np.isfinite(values).all():
                raise SettingError(
                    expected_found(name, f"{self.x.size} finite values", values.shape, "the foot bed", "correct it")
                )
        for name in ("area", "tissue", "midsole"):
            if not (getattr(self, name) > 0).all():
                raise SettingError(
                    expected_found(name, "positive values", getattr(self, name).min(), "the foot bed", "correct it")
                )

    @property
    def motion(self) -> Array:
        """(n, 5) rise of every cell's sole per unit of every unknown, its lever arms divided by SCALE."""
        fore = self.x >= self.split
        ones = np.ones_like(self.x)
        columns = (ones, self.y, self.ankle_forward - self.x, fore * self.y, fore * (self.arch_hinge - self.x))
        return np.stack(columns, axis=1) / SCALE


@dataclass(frozen=True, eq=False)
class BedMaterials:
    """Per draw (D,): tissue pressure [Pa] and exponent, moduli [Pa] and compaction strains of insole and midsole.

    The insole's two may be (D, n), a value per cell.
    """

    tissue_pressure: Array
    tissue_exponent: Array
    insole_modulus: Array
    insole_strain: Array
    midsole_modulus: Array
    midsole_strain: Array


@dataclass(frozen=True, eq=False)
class JointStiffness:
    """Per draw (D,) [Nm/rad]: what the limb sets against roll and pitch, the foot against twist and arch pitch.

    body_weight : [N];  floor_share : least share of the roll stiffness left after the load's own tipping
    """

    roll: Array
    pitch: Array
    twist: Array
    arch: Array
    body_weight: float
    floor_share: float

    def net_roll(self, force: Array, ankle_height: float) -> Array:
        """k_net = max(k_phi - F h_a, floor k_phi sqrt(F / BW)), (D, T) [Nm/rad]; force (T,) [N]: the rolling foot
        carries the ankle under the load. Source: models/insole_response/foundation.toml."""
        floor = self.floor_share * self.roll[:, None] * np.sqrt(np.maximum(force, 0.0) / self.body_weight)
        return np.maximum(self.roll[:, None] - force * ankle_height, floor)

    def loaded_arch(self, force: Array) -> Array:
        """k_eta max(1, F / BW), (D, T) [Nm/rad]; force (T,) [N]."""
        return self.arch[:, None] * np.maximum(1.0, force / self.body_weight)


@dataclass(frozen=True, eq=False)
class BedLoad:
    """Vertical force (T,) [N] and its centre of pressure (T,) [m] in the foot's axes, as measured on the baseline
    shape."""

    force: Array
    x: Array
    y: Array


@dataclass(frozen=True, eq=False)
class Person:
    """Draws (D,) of everything unknown about one rider; one and the same for all shapes.

    values : every drawn row of models/insole_response/foundation.toml by name, the limb's among them
    """

    materials: BedMaterials
    joints: JointStiffness
    values: dict[str, Array]


@dataclass(frozen=True, eq=False)
class BedPose:
    """Where the foot settles (D, T): heave [m], roll, pitch, twist, arch [rad], centre of pressure x, y [m].

    residual : imbalance as a share of the force;  held_twist : [Nm] the foot holds against its forefoot's twist
    reason : 0 where stable; else all else is NaN and REASONS says why
    height : (n,) [m], the insole this pose stands on
    """

    heave: Array
    roll: Array
    pitch: Array
    twist: Array
    arch: Array
    cop_x: Array
    cop_y: Array
    residual: Array
    held_twist: Array
    reason: NDArray[np.int8]
    height: Array
    materials: BedMaterials
    load: BedLoad

    @property
    def stable(self) -> Mask:
        return self.reason == STABLE

    @property
    def unknowns(self) -> Array:
        """(D, T, 5) scaled by SCALE [m]."""
        return np.stack([self.heave, self.roll, self.pitch, self.twist, self.arch], axis=-1) * SCALE


def baseline_pose(
    bed: FootBed, height: Array, materials: BedMaterials, joints: JointStiffness, load: BedLoad
) -> BedPose:
    """The pose in which the bed carries the measured force at the measured centre of pressure.

    sum(p A) = F,  sum(p A y) = F y_c,  sum(p A (x - x_a)) = F (x_c - x_a); the arch sags against its spring.
    The forefoot is not twisted: the foot is taken to hold what twists it (held_twist), and its spring counts from here.
    Were the passive spring to carry it all, 8 mm of the centre of pressure would turn the rearfoot by 7 to 18 deg.
    height : (n,) [m] of the insole. A centre of pressure outside the sole has no such pose: NaN with its reason.
    """
    _check_height(bed, height)
    system = _System.of(bed, height, materials, load)
    springs = _all_springs(bed, joints, load)
    springs[..., 1:3] = 0.0
    start = _start_in_contact(bed, system, materials, load)
    reason = _unusable(bed, load, system.shape[0])
    held = replace(system, free=UNTWISTED)
    return _settle(bed, held, springs, np.zeros_like(springs), start, reason, (height, materials, load))


def changed_pose(
    bed: FootBed,
    height: Array,
    joints: JointStiffness,
    baseline: BedPose,
    materials: BedMaterials | None = None,
    start: BedPose | None = None,
) -> BedPose:
    """The pose on another insole under the same force.

    sum(p A y) = F y_c + k_net (phi - phi_0),  sum(p A (x - x_a)) = F (x_c - x_a) - k_theta (theta - theta_0), so that
    F d(y of the centre of pressure) = k_net d(phi). An equal insole gives the baseline itself.
    materials : with another insole foam (else the baseline's);  start : a pose to search from (else the baseline)
    """
    _check_height(bed, height)
    materials = baseline.materials if materials is None else materials
    if np.array_equal(height, baseline.height) and _equal(materials, baseline.materials):
        return baseline
    system = _System.of(bed, height, materials, baseline.load).twisted_by(baseline.held_twist)
    first = baseline.unknowns if start is None else np.where(start.stable[..., None], start.unknowns, baseline.unknowns)
    springs, footing = _all_springs(bed, joints, baseline.load), (height, materials, baseline.load)
    pose = _settle(bed, system, springs, _rest(baseline), first, baseline.reason, footing)
    return replace(pose, held_twist=baseline.held_twist)


def linear_response(bed: FootBed, height: Array, joints: JointStiffness, baseline: BedPose) -> BedPose:
    """changed_pose by one implicit step: mostly within 3 % of its roll at 5 deg, 7 % with the load under the toes.

    dq = (B' w A B + K)^-1 B' (p - p_0) A, with pressure p and stiffness w of the new layers at the baseline's pose. The
    imbalance that is left is not sought: residual is NaN.
    """
    _check_height(bed, height)
    if np.array_equal(height, baseline.height):
        return baseline
    whole = _System.of(bed, height, baseline.materials, baseline.load).twisted_by(baseline.held_twist)
    springs, rest = _all_springs(bed, joints, baseline.load), _rest(baseline)
    unknowns = baseline.unknowns
    for d, t in _batches(baseline.stable):
        system = whole.take(d, t)
        place = _Place.cold(system, unknowns[d, t])
        gradient = place.gradient(system, springs[d, t], rest[d, t])
        unknowns[d, t] += np.linalg.solve(place.stiffness(system, springs[d, t]), -gradient[..., None])[..., 0]
    moments, unsought = whole.pull + springs * (unknowns - rest), np.full(whole.shape, np.nan)
    pose = _pose(bed, unknowns, moments, unsought, baseline.reason, (height, baseline.materials, baseline.load))
    return replace(pose, held_twist=baseline.held_twist)


def height_sensitivity(bed: FootBed, joints: JointStiffness, baseline: BedPose) -> Array:
    """(D, T, 5, n): change of the five unknowns [m or rad] per metre of insole added at each cell, to first order.

    dq = (B' w A B + K)^-1 B' w A (1 - strain) dh at the baseline: one product answers any number of shapes, to about
    6 % of the roll at 5 deg. The share (1 - strain) is what a compressed foam passes on of its own thickness.
    """
    whole = _System.of(bed, baseline.height, baseline.materials, baseline.load).twisted_by(baseline.held_twist)
    springs, strain = _all_springs(bed, joints, baseline.load), _per_cell(baseline.materials.insole_strain)
    out, unknowns = np.full((*whole.shape, 5, bed.x.size), np.nan), baseline.unknowns
    for d, t in _batches(baseline.stable):
        system = whole.take(d, t)
        place = _Place.cold(system, unknowns[d, t])
        passed = 1.0 - strain[d] * place.pressure / (place.pressure + system.insole_half)
        lifted = (place.firmness * system.area * passed)[:, None, :] * system.motion.T
        out[d, t] = np.linalg.solve(place.stiffness(system, springs[d, t]), lifted)
    return out / SCALE[:, None]


def pressure(bed: FootBed, pose: BedPose) -> Array:
    """(D, T, n) [Pa] under every cell of a pose; NaN where the pose is."""
    whole = _System.of(bed, pose.height, pose.materials, pose.load)
    out = np.full((*whole.shape, bed.x.size), np.nan)
    unknowns = pose.unknowns
    for d, t in _batches(pose.stable):
        system = whole.take(d, t)
        out[d, t] = _Place.cold(system, unknowns[d, t]).pressure
    return out


# The search


@dataclass(frozen=True, eq=False)
class _System:
    """Layers and loads of all poses: loads (D, T, ...), materials (D, 1 or n); after take, all of them (P, ...)."""

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
    def of(cls, bed: FootBed, height: Array, materials: BedMaterials, load: BedLoad) -> _System:
        m = {f.name: _per_cell(getattr(materials, f.name)) for f in fields(materials)}
        shape = (m["tissue_pressure"].shape[0], load.force.size)
        zero = np.zeros_like(load.x)
        levers = np.stack([zero + 1.0, load.y, bed.ankle_forward - load.x, zero, zero], axis=-1)
        return cls(
            motion=bed.motion,
            free=np.ones(5),
            area=bed.area,
            gap=bed.midsole + height - bed.shape,
            force=np.broadcast_to(load.force, shape),
            pull=np.broadcast_to(load.force[:, None] * levers / SCALE, (*shape, 5)),
            tissue_pressure=m["tissue_pressure"],
            tissue_slope=bed.tissue / m["tissue_exponent"],
            insole_capacity=height * m["insole_strain"],
            insole_half=m["insole_modulus"] * m["insole_strain"],
            midsole_capacity=bed.midsole * m["midsole_strain"],
            midsole_half=m["midsole_modulus"] * m["midsole_strain"],
        )

    def twisted_by(self, moment: Array) -> _System:
        """With a moment (D, T) [Nm] that the foot itself holds against the twist of its forefoot."""
        pull = self.pull.copy()
        pull[..., 3] = moment / SCALE[3]
        return replace(self, pull=pull)

    @property
    def shape(self) -> tuple[int, ...]:
        return self.force.shape

    def take(self, draw: Index, instant: Index) -> _System:
        """The poses at these draws and instants, one row each."""
        materials = {f.name: getattr(self, f.name)[draw] for f in fields(self)[6:]}
        return replace(self, force=self.force[draw, instant], pull=self.pull[draw, instant], **materials)

    def keep(self, rows: Mask) -> _System:
        return replace(self, **{f.name: getattr(self, f.name)[rows] for f in fields(self)[4:]})


@dataclass(frozen=True, eq=False)
class _Place:
    """The cells (P, n) at scaled unknowns (P, 5): u = ln(1 + p / a), the layers' compression at u and its slope."""

    unknowns: Array
    u: Array
    layers: Array
    slope: Array
    pressure: Array
    firmness: Array
    mismatch: Array

    @classmethod
    def cold(cls, system: _System, unknowns: Array) -> _Place:
        """At a pose from nothing: layers of one mean slope, then as many steps as they need."""
        compression = np.maximum(system.gap - unknowns @ system.motion.T, 0.0)
        slope = system.tissue_slope + (system.insole_capacity + system.midsole_capacity) / 6.0
        u, nothing = compression / slope, np.zeros_like(compression)
        place = cls(unknowns, u, compression, slope, nothing, nothing, np.full(unknowns.shape[0], np.inf))
        for _ in range(MOST_STEPS):
            place = place.moved(system, unknowns)
            if place.mismatch.max(initial=0.0) < MATCHED:
                break
        return place

    def moved(self, system: _System, unknowns: Array) -> _Place:
        """At the next pose: every cell's compression shared anew by Newton steps in u between tissue and foams,

        c = (t_t / b) u + t_i p / (E_i + p / e_i) + t_m p / (E_m + p / e_m),  p = a (exp(u) - 1).
        """
        compression = np.maximum(system.gap - unknowns @ system.motion.T, 0.0)
        most = compression / system.tissue_slope
        u, layers, slope = self.u, self.layers, self.slope
        for _ in range(INNER_STEPS):
            step = (compression - layers) / slope
            u = np.clip(u + np.clip(step, -LARGEST_INNER_STEP, LARGEST_INNER_STEP, out=step), 0.0, most)
            pressure = np.expm1(u)
            pressure *= system.tissue_pressure
            steepness = pressure + system.tissue_pressure
            layers = system.tissue_slope * u
            slope = np.zeros_like(u)
            for capacity, half in (
                (system.insole_capacity, system.insole_half),
                (system.midsole_capacity, system.midsole_half),
            ):
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
        return _Place(unknowns, u, layers, slope, pressure, firmness, np.abs(left).max(axis=1))

    def keep(self, rows: Mask) -> _Place:
        return _Place(*(getattr(self, f.name)[rows] for f in fields(self)))

    def pushed(self, system: _System) -> Array:
        """(P, 5) [N], the bed's push along every scaled unknown."""
        return np.asarray((self.pressure * system.area) @ system.motion)

    def gradient(self, system: _System, springs: Array, rest: Array) -> Array:
        """(P, 5) [N] of the potential: zero in balance."""
        return np.asarray(system.free * (system.pull + springs * (self.unknowns - rest) - self.pushed(system)))

    def stiffness(self, system: _System, springs: Array) -> Array:
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


def _settle(
    bed: FootBed, system: _System, springs: Array, rest: Array, start: Array, reason: NDArray[np.int8], footing: Footing
) -> BedPose:
    """Search every pose that has no reason against it, and put the answers into (D, T)."""
    unknowns, moments = np.full((*system.shape, 5), np.nan), np.full((*system.shape, 5), np.nan)
    residual, reason = np.full(system.shape, np.nan), reason.copy()
    for d, t in _batches(reason == STABLE):
        unknowns[d, t], moments[d, t], residual[d, t], reason[d, t] = _search(
            system.take(d, t), springs[d, t], rest[d, t], start[d, t]
        )
    return _pose(bed, unknowns, moments, residual, reason, footing)


def _search(system: _System, springs: Array, rest: Array, start: Array) -> tuple[Array, Array, Array, NDArray[np.int8]]:
    """Newton's method on the gradient, (P, 5): steps capped, halved until the imbalance falls, one row leaving as it
    settles."""
    rows = start.shape[0]
    unknowns, moments = np.full((rows, 5), np.nan), np.full((rows, 5), np.nan)
    residual, reason = np.full(rows, np.nan), np.full(rows, UNSETTLED, dtype=np.int8)
    place = _Place.cold(system, start)
    base, step, fraction, least = start, np.zeros_like(start), np.ones(rows), np.full(rows, np.inf)
    left = np.arange(rows)
    for _ in range(MOST_STEPS):
        gradient = place.gradient(system, springs, rest)
        imbalance = np.abs(gradient).max(axis=1) / system.force
        done = (imbalance < BALANCED) & (place.mismatch < MATCHED)
        if done.any():
            firm = _positive_definite(place.keep(done).stiffness(system.keep(done), springs[done]))
            here = left[done]
            unknowns[here], moments[here] = place.unknowns[done], place.pushed(system)[done]
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
    return unknowns, moments, residual, reason


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


def _pose(
    bed: FootBed, unknowns: Array, moments: Array, residual: Array, reason: NDArray[np.int8], footing: Footing
) -> BedPose:
    height, materials, load = footing
    values = np.where((reason == STABLE)[..., None], unknowns / SCALE, np.nan)
    levers = np.where((reason == STABLE)[..., None], moments * SCALE, np.nan) / load.force[:, None]
    return BedPose(
        heave=values[..., 0],
        roll=values[..., 1],
        pitch=values[..., 2],
        twist=values[..., 3],
        arch=values[..., 4],
        cop_x=bed.ankle_forward - levers[..., 2],
        cop_y=levers[..., 1],
        residual=np.where(reason == STABLE, residual, np.nan),
        held_twist=np.where(reason == STABLE, moments[..., 3] * SCALE[3], np.nan),
        reason=reason,
        height=height,
        materials=materials,
        load=load,
    )


def _batches(wanted: Mask) -> Iterator[tuple[Index, Index]]:
    draw, instant = np.nonzero(wanted)
    for k in range(0, draw.size, POSES_AT_ONCE):
        yield draw[k : k + POSES_AT_ONCE], instant[k : k + POSES_AT_ONCE]


def _inner_springs(joints: JointStiffness, load: BedLoad) -> Array:
    """(D, T, 2), twist and arch, scaled [N/m]."""
    arch = joints.loaded_arch(load.force)
    return np.stack([np.broadcast_to(joints.twist[:, None], arch.shape), arch], axis=-1) / SCALE[3:] ** 2


def _all_springs(bed: FootBed, joints: JointStiffness, load: BedLoad) -> Array:
    """(D, T, 5), scaled [N/m]; none on heave."""
    roll = joints.net_roll(load.force, bed.ankle_height)
    pitch = np.broadcast_to(joints.pitch[:, None], roll.shape)
    outer = np.stack([np.zeros_like(roll), roll, pitch], axis=-1) / SCALE[:3] ** 2
    return np.concatenate((outer, _inner_springs(joints, load)), axis=-1)


def _rest(baseline: BedPose) -> Array:
    """(D, T, 5): roll and pitch rest at the baseline, twist and arch at zero."""
    return baseline.unknowns * np.array([0.0, 1.0, 1.0, 0.0, 0.0])


def _start_in_contact(bed: FootBed, system: _System, materials: BedMaterials, load: BedLoad) -> Array:
    """(D, T, 5): level, sunk in as deep as the mean pressure under half the sole asks for."""
    mean = load.force / (0.5 * bed.area.sum())
    tissue = np.log1p(mean / materials.tissue_pressure[:, None]) / materials.tissue_exponent[:, None]
    depth = tissue * bed.tissue.mean()
    for capacity, half in (
        (system.insole_capacity, system.insole_half),
        (system.midsole_capacity, system.midsole_half),
    ):
        depth = depth + capacity.mean(axis=1)[:, None] * mean / (half.mean(axis=1)[:, None] + mean)
    start = np.zeros((*system.shape, 5))
    start[..., 0] = np.median(system.gap) - depth
    return start


def _unusable(bed: FootBed, load: BedLoad, draws: int) -> NDArray[np.int8]:
    """(D, T) reasons known before any search."""
    known = np.isfinite(load.force) & np.isfinite(load.x) & np.isfinite(load.y)
    inside = within_sole(bed, load.x, load.y)
    reason = np.select([~known, load.force <= 0, ~inside], [UNKNOWN, UNLOADED, OUTSIDE], STABLE)
    return np.tile(reason.astype(np.int8), (draws, 1))


def within_sole(bed: FootBed, x: Array, y: Array) -> Mask:
    """Whether points [m] lie inside the convex outline of the cells, where alone a pressing bed can balance a load."""
    from scipy.spatial import ConvexHull

    sides = ConvexHull(np.stack([bed.x, bed.y], axis=1)).equations
    return np.asarray((sides[:, :2] @ np.stack([x, y]) + sides[:, 2:] < 0).all(axis=0))


def _per_cell(values: Array) -> Array:
    return values[:, None] if values.ndim == 1 else values


def _equal(one: BedMaterials, other: BedMaterials) -> bool:
    return all(np.array_equal(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))


def _check_height(bed: FootBed, height: Array) -> None:
    if height.shape != bed.x.shape or not (height >= 0).all():
        found = f"{height.shape}, least {height.min(initial=np.inf):g} m"
        raise SettingError(
            expected_found("insole height", f"{bed.x.shape} values >= 0", found, "the insole", "make it thicker")
        )

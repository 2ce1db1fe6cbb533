"""The bed under the foot: rearfoot and forefoot on layers of tissue, insole and midsole, and the pose they settle in.

Axes and unknowns are those of bed.py. Arrays of poses are (D, T): draws of a person, instants.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from jointload.errors import SettingError, expected_found
from jointload.insole.bed.bed import (
    OUTSIDE,
    SCALE,
    STABLE,
    UNKNOWN,
    UNLOADED,
    Array,
    BedLoad,
    BedMaterials,
    BedPose,
    FootBed,
    JointStiffness,
    Mask,
)
from jointload.insole.bed.bed_search import (
    Index,
    Place,
    System,
    all_springs,
    batches,
    per_cell,
    rest_of,
    settle_poses,
)

UNTWISTED = np.array([1.0, 1.0, 1.0, 0.0, 1.0])
"""Which unknowns a baseline is free in."""


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
    system = System.of(bed, height, materials, load)
    springs = _springs_of_baseline(bed, joints, load)
    start = _start_in_contact(bed, system, materials, load)
    reason = _unusable(bed, load, system.shape[0])
    held, rest, footing = replace(system, free=UNTWISTED), np.zeros_like(springs), (height, materials, load)
    if len(reason) > 1:  # a draw lies nearer to another's pose than to a level sole
        one = slice(0, 1)
        first = settle_poses(bed, held.keep(one), springs[one], rest[one], start[one], reason[one], footing)
        start[1:, first.stable[0]] = first.unknowns[0, first.stable[0]]
    return settle_poses(bed, held, springs, rest, start, reason, footing)


def _springs_of_baseline(bed: FootBed, joints: JointStiffness, load: BedLoad) -> Array:
    """(D, T, 5): roll and pitch are free to find the centre of pressure."""
    springs = all_springs(bed, joints, load)
    springs[..., 1:3] = 0.0
    return springs


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
    system = System.of(bed, height, materials, baseline.load, baseline.lowered).twisted_by(baseline.held_twist)
    first = baseline.unknowns if start is None else np.where(start.stable[..., None], start.unknowns, baseline.unknowns)
    springs, footing = all_springs(bed, joints, baseline.load), (height, materials, baseline.load)
    pose = settle_poses(bed, system, springs, rest_of(baseline), first, baseline.reason, footing)
    return replace(pose, held_twist=baseline.held_twist, lowered=baseline.lowered)


def first_order(bed: FootBed, joints: JointStiffness, baseline: BedPose, parts: Array) -> tuple[Array, Array]:
    """What a metre of insole more under each cell would change of a baseline, to first order, about 6 % of the roll at
    5 deg: unknowns (D, T, 5, K) [m or rad per unit] and pressures (D, T, n, K) [Pa per unit].

    dq = (B' w A B + K)^-1 B' w A (1 - strain) dh,  dp = w ((1 - strain) dh - B dq). The share (1 - strain) is what a
    compressed foam passes on of its own thickness.
    parts : (n, K) [m per unit of K parameters], heights that are added; any shape is then one product
    """
    springs, strain = all_springs(bed, joints, baseline.load), per_cell(baseline.materials.insole_strain)
    unknowns = np.full((*baseline.stable.shape, 5, parts.shape[1]), np.nan)
    pressures = np.full((*baseline.stable.shape, *parts.shape), np.nan)
    for d, t, system, place in _places(bed, baseline):
        passed = 1.0 - strain[d] * place.pressure / (place.pressure + system.insole_half)
        lifted = ((place.firmness * bed.area * passed)[:, None, :] * bed.motion.T) @ parts
        unknowns[d, t] = np.linalg.solve(place.stiffness(system, springs[d, t]), lifted)
        pressed = passed[..., None] * parts - bed.motion @ unknowns[d, t]
        pressures[d, t] = place.firmness[..., None] * pressed
    return unknowns / SCALE[:, None], pressures


def slope_along(bed: FootBed, joints: JointStiffness, baseline: BedPose) -> Array:
    """(D, T, n) [Pa/m], by how much the pressure under every cell of a baseline changes as the centre of pressure goes
    towards the toes, to first order: K dq = F dx on the pitch, dp = -w B dq. NaN where the pose is."""
    out = np.full_like(baseline.pressure, np.nan)
    springs = _springs_of_baseline(bed, joints, baseline.load)
    for d, t, system, place in _places(bed, baseline):
        way = np.zeros((d.size, 5, 1))
        way[:, 2, 0] = system.force / SCALE[2]
        stiffness = place.stiffness(replace(system, free=UNTWISTED), springs[d, t])
        moved = np.linalg.solve(stiffness, way)[..., 0]
        out[d, t] = -place.firmness * (moved @ (UNTWISTED[:, None] * bed.motion.T))
    return out


def _places(bed: FootBed, pose: BedPose) -> Iterator[tuple[Index, Index, System, Place]]:
    """Draws, instants, layers and cells of the poses that hold, some at once."""
    whole = System.of(bed, pose.height, pose.materials, pose.load, pose.lowered).twisted_by(pose.held_twist)
    unknowns = pose.unknowns
    for d, t in batches(pose.stable):
        system = whole.take(d, t)
        yield d, t, system, Place.settled(system, unknowns[d, t], pose.pressure[d, t])


def _start_in_contact(bed: FootBed, system: System, materials: BedMaterials, load: BedLoad) -> Array:
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
    start[..., 0] = np.median(system.gap[0, 0]) - depth
    return start


def _unusable(bed: FootBed, load: BedLoad, draws: int) -> NDArray[np.int8]:
    """(D, T) reasons known before any search."""
    known = np.isfinite(load.force) & np.isfinite(load.x) & np.isfinite(load.y)
    inside = within_sole(bed, load.x, load.y)
    reason = np.select([~known, load.force <= 0, ~inside], [UNKNOWN, UNLOADED, OUTSIDE], STABLE)
    return np.tile(reason.astype(np.int8), (draws, 1))


def within_sole(bed: FootBed, x: Array, y: Array) -> Mask:
    """Whether points [m] lie inside the convex outline of the cells, where alone a pressing bed can balance a load."""
    corners = _outline(bed)
    (along_x, along_y), (start_x, start_y) = (np.roll(corners, -1, axis=0) - corners).T[..., None], corners.T[..., None]
    return np.asarray((along_x * (y - start_y) > along_y * (x - start_x)).all(axis=0))


@lru_cache(maxsize=8)
def _outline(bed: FootBed) -> Array:
    """(K, 2) [m] corners of the convex outline of the cells, counter-clockwise, by Andrew's monotone chain (from
    memory). Importing a library of geometry takes longer than all its outlines."""
    ordered = sorted(set(zip(bed.x.tolist(), bed.y.tolist(), strict=True)))
    out: list[tuple[float, float]] = []
    for way in (ordered, ordered[::-1]):
        side: list[tuple[float, float]] = []
        for place in way:
            while len(side) > 1 and _turn(side[-2], side[-1], place) <= 0.0:
                side.pop()
            side.append(place)
        out += side[:-1]
    return np.array(out)


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Above zero where the way from a over b to c turns to the left."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _equal(one: BedMaterials, other: BedMaterials) -> bool:
    return all(np.array_equal(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))


def _check_height(bed: FootBed, height: Array) -> None:
    if height.shape != bed.x.shape or not (height >= 0).all():
        found = f"{height.shape}, least {height.min(initial=np.inf):g} m"
        raise SettingError(
            expected_found("insole height", f"{bed.x.shape} values >= 0", found, "the insole", "make it thicker")
        )

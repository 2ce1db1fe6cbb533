"""Mass, centre of mass and inertia tensor of the legs and the pelvis, from the published tables in models/inertia."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from jointload.body.definitions import load_body
from jointload.errors import ModelDataError, expected_found, known_names
from jointload.intake.recording import Array, split_side
from jointload.intake.rider import Rider
from jointload.modeldata import load_model
from jointload.numerics.rotations import compose, cross, dot, inverse, rotate, rotate_back, unit

Points = Mapping[str, Array]
Frame = tuple[Array, Array]
"""lab_from_segment (3, 3) and the segment's origin (3,) [m] in lab axes, both of the static trial; or, as all places
here, (3, 3, D) and (3, D) for D draws of them."""

PERCENT = 0.01
NEEDS = {
    "foot": ("*_ankle_centre", "*_calcaneus", "*_forefoot", "*_toe_tip"),
    "shank": ("*_knee_centre", "*_ankle_centre"),
    "thigh": ("*_hip_centre", "*_knee_centre"),
    "pelvis": ("hip_mid", "l5s1"),
}
"""The points each segment must have, whatever the table; * stands for the side."""

LONG_AXIS_RADIUS = 0.1
"""Radius of gyration about the long axis per length where a planar table prints none (choice; de Leva: 0.1 to 0.16)."""


@dataclass(frozen=True, eq=False)
class SegmentInertia:
    """What Newton and Euler need of one segment.

    mass : [kg]
    com : (3,) [m], in the segment's frame
    tensor : (3, 3) [kg m2], about the com, in the axes of the segment's frame
    Each has a last axis more where there are draws.
    """

    mass: float | Array
    com: Array
    tensor: Array


@dataclass(frozen=True, eq=False)
class _Segment:
    """One segment in the static trial: its part, side ('right', 'left' or ''), frame and all points, in lab axes."""

    part: str
    side: str
    lab_from_segment: Array
    origin: Array
    points: Points

    @property
    def mirror(self) -> int:
        return -1 if self.side == "left" else 1

    def has(self, *names: str) -> bool:
        return all(name.replace("*", self.side) in self.points for name in names)

    def local(self, name: str) -> Array:
        """(3,) [m] of a point in the segment's frame."""
        return rotate_back(self.lab_from_segment, self.points[name.replace("*", self.side)] - self.origin)


def segment_inertias(
    table: str, rider: Rider, points: Points, frames: Mapping[str, Frame]
) -> dict[str, SegmentInertia]:
    """Inertia of every foot, shank and thigh and of the pelvis whose frame and points are there.

    table : a name of INERTIA_TABLES
    points : landmarks and virtual points of the static trial, (3,) [m], lab axes
    frames : segment to (lab_from_segment, origin) of the static trial
    ModelDataError for an unknown table, or for a row that gives a body which cannot exist.
    """
    if table not in INERTIA_TABLES:
        raise ModelDataError(f"unknown inertia table {table!r}; the known names are {known_names(INERTIA_TABLES)}")
    inertias = {}
    for name, (lab_from_segment, origin) in frames.items():
        side, part = split_side(name)
        segment = _Segment(part, side, lab_from_segment, origin, points)
        if part in NEEDS and segment.has(*NEEDS[part]):
            row = f"models/inertia/{table}.csv, {part} ({rider.sex})"
            inertias[name] = _possible(INERTIA_TABLES[table](segment, rider), row)
    return inertias


def de_leva_1996(segment: _Segment, rider: Rider) -> SegmentInertia:
    """Centre of mass on the line between the row's endpoints, diagonal tensor in the segment's axes.

    I_ii = m (r_i L)^2, with L the distance between the endpoints in the static trial. Rows and endpoints: Thigh (hip to
    knee centre), Shank (knee to ankle centre), Foot (heel to toe tip, so its long axis is X), Lower trunk for the
    pelvis (navel to the middle of the hips, so the centre of mass lies on the pelvis's Y above hip_mid).
    Deviations: the navel is no landmark, so the pelvis has the table's mean length scaled by stature; so has the foot
    where no toe marker exists, because a line to the metatarsal heads is shorter than the foot. The lower trunk reaches
    up to the navel, thus somewhat above L5/S1.
    Reference: de Leva (1996) J Biomech 29:1223-1230, Table 4.
    """
    row = table_row("de_leva_1996", rider.sex, DE_LEVA_ROWS[segment.part])
    reference_length = float(row["length_ref_mm"]) / float(row["stature_ref_mm"]) * rider.height
    if segment.part == "pelvis":
        end = segment.local("hip_mid")
        start = end + _wide(np.array([0.0, reference_length, 0.0]), end)
    elif segment.part == "foot":
        start, end = segment.local("*_calcaneus"), segment.local("*_toe_tip")
        if not segment.has("*_toe"):
            end = start + reference_length * unit(end - start)
    else:
        start, end = (segment.local(name) for name in NEEDS[segment.part])
    axes = ("longitudinal", "sagittal") if segment.part == "foot" else ("sagittal", "longitudinal")
    radii = [float(row[f"rg_{axis}_pct"]) * PERCENT for axis in (*axes, "transverse")]
    mass = float(row["mass_pct"]) * PERCENT * rider.mass
    com = start + float(row["com_pct"]) * PERCENT * (end - start)
    return SegmentInertia(mass, com, np.multiply.outer(np.diag(np.square(radii)), mass * _square(end - start)))


DE_LEVA_ROWS = {"foot": "Foot", "shank": "Shank", "thigh": "Thigh", "pelvis": "Lower trunk"}


def dumas_wojtusch_2018(segment: _Segment, rider: Rider) -> SegmentInertia:
    """Centre of mass and full tensor in three dimensions, mirrored on the left.

    I_ij = +-m (r_ij L / 100)^2 in the table's own axes, turned into the axes of the segment's frame.
    L: thigh hip to knee centre; shank knee to ankle centre; foot ankle centre to the middle of metatarsal heads I and
    V; pelvis L5/S1 to the middle of the hips in the sagittal plane.
    Deviations: without a fibula head the shank keeps its malleolar axes (turned outward by the tibia's torsion);
    without metatarsal heads I and V the foot uses *_forefoot and the foot frame's Z, and a toe marker alone is scaled
    back by the table's ankle-to-toe length.
    Reference: Dumas and Wojtusch (2018) Handbook of Human Motion, Tables 1-10; product signs of thigh and shank from
    Dumas et al. (2007) J Biomech 40:543-553, Table 2.
    """
    row = table_row("dumas_wojtusch_2018", rider.sex, segment.part)
    origin, length, segment_from_table = _dumas_frame(segment, row)
    mirror = np.array([1.0, 1.0, segment.mirror])
    com_table = np.multiply.outer(mirror * [float(row[f"com_{axis}_pct"]) for axis in "xyz"] * PERCENT, length)
    square = np.diag([float(row[f"r{axis}{axis}_pct"]) ** 2 for axis in "xyz"])
    for i, j, pair in ((0, 1, "xy"), (0, 2, "xz"), (1, 2, "yz")):
        square[i, j] = square[j, i] = float(row[f"sign_{pair}"]) * float(row[f"r{pair}_pct"]) ** 2
    mass = float(row["mass_pct"]) * PERCENT * rider.mass
    tensor_table = np.multiply.outer(square * np.outer(mirror, mirror), mass * (PERCENT * length) ** 2)
    tensor = compose(compose(segment_from_table, tensor_table), inverse(segment_from_table))
    return SegmentInertia(mass, origin + rotate(segment_from_table, com_table), tensor)


def _dumas_frame(segment: _Segment, row: dict[str, str]) -> tuple[Array, Array, Array]:
    """Origin (3,) [m], reference length [m] and axes (3, 3) of the table's own frame, seen from the segment's frame."""
    if segment.part == "pelvis":
        origin = segment.local("l5s1")
        return origin, np.hypot(*(segment.local("hip_mid") - origin)[:2]), _wide(np.eye(3), origin)
    if segment.part == "foot":
        return _dumas_foot(segment, row)
    origin, end = (segment.local(name) for name in NEEDS[segment.part])
    axes = _wide(np.eye(3), origin)
    if segment.part == "shank" and segment.has("*_fibula_head"):
        y = unit(origin - end)
        x = unit(cross(y, segment.mirror * (segment.local("*_fibula_head") - origin)))
        axes = np.stack([x, y, cross(x, y)], axis=1)
    return origin, np.linalg.norm(end - origin, axis=0), axes


def _dumas_foot(segment: _Segment, row: dict[str, str]) -> tuple[Array, Array, Array]:
    """X from the calcaneus to the forefoot, Y normal to the plane of calcaneus and metatarsal heads I and V."""
    ankle, calcaneus, forefoot = (segment.local(name) for name in ("*_ankle_centre", "*_calcaneus", "*_forefoot"))
    length = np.linalg.norm(forefoot - ankle, axis=0)
    right = _wide(np.array([0.0, 0.0, 1.0]), ankle)
    if segment.has("*_metatarsal1", "*_metatarsal5"):
        right = segment.mirror * (segment.local("*_metatarsal5") - segment.local("*_metatarsal1"))
    elif not segment.has("*_metatarsal2"):
        length = length * (float(row["length_ref_mm"]) / float(row["tip_length_ref_mm"]))
    x = unit(forefoot - calcaneus)
    y = unit(cross(right, x))
    return ankle, length, np.stack([x, y, cross(x, y)], axis=1)


def dempster_winter(segment: _Segment, rider: Rider) -> SegmentInertia:
    """Rods from a planar table: its radius of gyration about every transverse axis, LONG_AXIS_RADIUS about the long.

    I = m L^2 (r^2 (1 - u u') + r_long^2 u u') with u along the segment. Thigh hip to knee centre, leg knee to ankle
    centre, foot ankle centre to metatarsal II (*_forefoot without it), pelvis L5/S1 to the middle of the hips.
    Deviations: the table measures from the greater trochanter and the malleolus, which the joint centre stands for
    because a planar table says nothing of the direction across; L5/S1 stands for L4/L5; the pelvis has no printed
    radius and takes the tensor of de_leva_1996 per mass.
    Reference: Winter (2009) Biomechanics and Motor Control of Human Movement, 4th ed., Table 4.1.
    """
    row = table_row("dempster_winter", rider.sex, WINTER_ROWS[segment.part])
    tip = "*_metatarsal2" if segment.has("*_metatarsal2") else "*_forefoot"
    ends = {"foot": ("*_ankle_centre", tip), "pelvis": ("l5s1", "hip_mid")}.get(segment.part, NEEDS[segment.part])
    start, end = (segment.local(name) for name in ends)
    mass = float(row["mass_frac"]) * rider.mass
    com = start + float(row["com_prox"]) * (end - start)
    if segment.part == "pelvis":
        lower_trunk = de_leva_1996(segment, rider)
        return SegmentInertia(mass, com, lower_trunk.tensor * (mass / lower_trunk.mass))
    u = unit(end - start)
    along = u[:, None] * u[None]
    squares = float(row["rg_com"]) ** 2 * (_wide(np.eye(3), u) - along) + LONG_AXIS_RADIUS**2 * along
    return SegmentInertia(mass, com, mass * _square(end - start) * squares)


WINTER_ROWS = {"foot": "Foot", "shank": "Leg", "thigh": "Thigh", "pelvis": "Pelvis"}

INERTIA_TABLES: dict[str, Callable[[_Segment, Rider], SegmentInertia]] = {
    "de_leva_1996": de_leva_1996,
    "dumas_wojtusch_2018": dumas_wojtusch_2018,
    "dempster_winter": dempster_winter,
}


def table_row(table: str, sex: str, segment: str) -> dict[str, str]:
    """One row of models/inertia/<table>.csv, as printed; sex (f, m) matters only where the table has that column."""
    of_sex = _rows(table, sex)
    if segment not in of_sex:
        file = f"models/inertia/{table}.csv"
        raise ModelDataError(f"unknown segment {segment!r} in {file}; the known names are {known_names(of_sex)}")
    return of_sex[segment]


@lru_cache(maxsize=8)
def _rows(table: str, sex: str) -> dict[str, dict[str, str]]:
    """Segment -> its row."""
    rows: list[dict[str, Any]] = load_model("inertia", table).content
    return {row["segment"]: row for row in rows if row.get("sex", sex).lower() == sex}


def line_masses(rider: Rider) -> dict[str, tuple[float, float]]:
    """Mass [kg] and place of its centre [1, from start to end] of each mass line of the body definition.

    The rows are those of de Leva (1996) that the body definition names; "Trunk 3" runs from the middle of the
    shoulders to the middle of the hips and includes the pelvis.
    """
    masses = {}
    for name, line in load_body().mass_lines.items():
        row = table_row("de_leva_1996", rider.sex, line.table_segment)
        masses[name] = (float(row["mass_pct"]) * PERCENT * rider.mass, float(row["com_pct"]) * PERCENT)
    return masses


def _wide(constant: Array, like: Array) -> Array:
    """A constant vector or matrix with the trailing axes of `like` (3, ...)."""
    return constant.reshape(*constant.shape, *(1,) * (like.ndim - 1))


def _square(vector: Array) -> Array:
    return dot(vector, vector)


def _possible(inertia: SegmentInertia, row: str) -> SegmentInertia:
    """The same inertia, or ModelDataError when no rigid body can have it.

    Principal moments must be positive and none larger than the other two together.
    """
    known = np.isfinite(inertia.tensor).all()
    moments = np.linalg.eigvalsh(np.moveaxis(inertia.tensor, (0, 1), (-2, -1))) if known else np.zeros(3)
    smallest, middle, largest = np.moveaxis(moments, -1, 0)
    if np.any((np.asarray(inertia.mass) <= 0) | (smallest <= 0) | (largest > smallest + middle)):
        found = f"principal moments {np.array2string(moments, precision=4)} kg m2"
        advice = "correct the row or the static trial"
        raise ModelDataError(expected_found("inertia", "a tensor that a rigid body can have", found, row, advice))
    return inertia

"""An existing insole from a mesh: unit, axes, side and orientation checked, then sampled as heights over its sole."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jointload.errors import SettingError, expected_found, known_names
from jointload.insole.shape.mesh import Solid, load_solid, raster
from jointload.insole.shape.outline import BALL_SHARE, HEEL_SHARE, LENGTHS, WIDTHS
from jointload.insole.shape.parts import Layer
from jointload.intake.recording import SIDES, Array

UNITS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254}
AXES = {sign + letter: k for k, letter in enumerate("xyz") for sign in "+-"}
GRID = 0.0008
"""Distance of the sampled heights [m]; between them they are interpolated."""
STATION = 0.0004
"""Distance of the sampled edges [m]."""
HEIGHTS = (0.0005, 0.08)
"""Plausible overall height of an insole [m]; a deep heel cup stands 20 mm over its sole."""
FLATTER = 0.0005
"""The bottom may be this much less flat than the top [m]; more, and the insole lies upside down (choice)."""
UNEVEN_BOTTOM = 0.001
"""A bottom that rises more than this [m] is no flat bottom, and is told."""
ONE_SIDED = 0.002
"""The toe's middle over the arch's middle [m], from where on a sole tells its side (choice)."""
HEEL_WIDER = 1.05
"""A heel this much wider than the ball is no heel."""


@dataclass(frozen=True, eq=False)
class Scan:
    """Heights of an existing insole, a Surface like InsoleShape. notes tell what was found on the way."""

    side: str
    length: float
    width: float
    layers: tuple[Layer, ...]
    notes: tuple[str, ...]
    volume: float
    _x: Array
    _y: Array
    _z: Array
    _stations: Array
    _lateral: Array
    _medial: Array

    def heights(self, x: Array, y: Array) -> Array:
        """Height [m] of the top over the lowest place of the bottom, interpolated between samples."""
        x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        i, u = _cell(self._x, x)
        j, v = _cell(self._y, y)
        z = self._z
        low = z[i, j] * (1 - v) + z[i, j + 1] * v
        high = z[i + 1, j] * (1 - v) + z[i + 1, j + 1] * v
        return np.asarray(low * (1 - u) + high * u)

    def medial_edge(self, x: Array) -> Array:
        return np.interp(x, self._stations, self._medial)

    def lateral_edge(self, x: Array) -> Array:
        return np.interp(x, self._stations, self._lateral)


def read_scan(
    path: str | Path, side: str, unit: str = "", up: str = "+z", forward: str = "+x", layers: tuple[Layer, ...] = ()
) -> Scan:
    """Read an STL or OBJ solid of an insole for one foot, 'right' or 'left'; SettingError says what is wrong.

    unit : mm unless named otherwise; a size that speaks for another unit is refused with that unit's name
    up, forward : the file's axes that point up and to the toes
    """
    where = str(path)
    if side not in SIDES:
        raise _refused("insole side", "right or left", repr(side), where, "give --side")
    solid = load_solid(path)
    if solid.open_edges:
        advice = "close the holes in the program that made it"
        raise _refused("insole mesh", "a closed solid", f"{solid.open_edges} open edges", where, advice)
    turned = Solid(solid.vertices @ _file_from_named(up, forward, where).T, solid.triangles)
    factor = _unit_factor(turned, unit, where)
    placed = _placed(Solid(factor * turned.vertices, turned.triangles), where)
    return _sampled(placed, side, layers, where)


# Checks -------------------------------------------------------------------------------------------------------------


def _refused(what: str, expected: str, found: str, where: str, advice: str) -> SettingError:
    return SettingError(expected_found(what, expected, found, where, advice))


def _file_from_named(up: str, forward: str, where: str) -> Array:
    """Rotation that takes the file's axes to x forward, y left, z up."""
    rows = []
    for name in (forward, up):
        if name not in AXES:
            raise _refused("axis", known_names(AXES), repr(name), where, "correct --up or --forward")
        rows.append(np.eye(3)[AXES[name]] * (1.0 if name[0] == "+" else -1.0))
    ahead, above = rows
    if ahead @ above != 0:
        raise _refused("axes", "up and forward at right angles", f"{up} and {forward}", where, "correct one")
    return np.stack((ahead, np.cross(above, ahead), above))


def _unit_factor(solid: Solid, unit: str, where: str) -> float:
    """Metres in a unit of the file, by its name and checked against the size of a foot."""
    extent = np.ptp(solid.vertices, axis=0)
    longest = float(extent.max())
    fitting = [name for name, factor in UNITS.items() if LENGTHS[0] <= factor * longest <= LENGTHS[1]]
    if unit and unit not in UNITS:
        raise _refused("unit", known_names(UNITS), repr(unit), where, "correct --unit")
    size = " x ".join(f"{side:.4g}" for side in extent)
    wanted = f"a longest side of {1000 * LENGTHS[0]:g} to {1000 * LENGTHS[1]:g} mm"
    if (unit or "mm") not in fitting:
        advice = f"it looks like {fitting[0]}: give --unit {fitting[0]}" if fitting else "an absurd size for an insole"
        raise _refused(f"insole mesh in {unit or 'mm'}", wanted, size, where, advice)
    if extent.argmax() != 0 or extent.argmin() != 2:
        named = ("forward", "left", "up")
        found = f"the longest side {named[int(extent.argmax())]} and the thinnest {named[int(extent.argmin())]}"
        advice = "give --forward and --up, such as --forward +y --up +z"
        raise _refused("insole mesh", "the longest side forward and the thinnest up", found, where, advice)
    return UNITS[unit or "mm"]


def _placed(solid: Solid, where: str) -> Solid:
    """The line from the middle of the heel to the middle of the ball laid on x, the bottom on z = 0."""
    stations, right, left = _edges(solid)
    heel, ball = (stations[-1] * share + stations[0] * (1 - share) for share in (HEEL_SHARE, BALL_SHARE))
    breadth = [float(np.interp(x, stations, left - right)) for x in (heel, ball)]
    if breadth[0] > HEEL_WIDER * breadth[1]:
        found = f"a heel of {1000 * breadth[0]:.0f} mm and a ball of {1000 * breadth[1]:.0f} mm"
        raise _refused(
            "insole mesh", "a heel narrower than the ball", found, where, "it points backwards: give --forward"
        )
    middle = [float(np.interp(x, stations, 0.5 * (left + right))) for x in (heel, ball)]
    turn = np.arctan2(middle[1] - middle[0], ball - heel)
    x, y = solid.vertices[:, 0] - heel, solid.vertices[:, 1] - middle[0]
    ahead, left_of = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    z = solid.vertices[:, 2]
    return Solid(np.stack((ahead - ahead.min(), left_of, z - z.min()), axis=-1), solid.triangles)


def _sampled(solid: Solid, side: str, layers: tuple[Layer, ...], where: str) -> Scan:
    stations, right, left = _edges(solid)
    length, width, height = float(stations[-1]), float((left - right).max()), float(np.ptp(solid.vertices[:, 2]))
    for what, value, (low, high) in (("width", width, WIDTHS), ("height", height, HEIGHTS)):
        if not low <= value <= high:
            raise _refused(
                f"insole {what}", f"{1000 * low:g} to {1000 * high:g} mm", f"{1000 * value:.1f} mm", where,
                "an absurd size for an insole: check the mesh and --unit",
            )  # fmt: skip
    x = np.arange(-2 * GRID, length + 3 * GRID, GRID)
    y = np.arange(float(right.min()) - 2 * GRID, float(left.max()) + 3 * GRID, GRID)
    top, bottom = (raster(solid.corners, x, y, lowest) for lowest in (False, True))
    notes = [*_up_notes(top, bottom, where), *_side_notes(stations, right, left, side, where)]
    if solid.volume < 0:
        notes.append("the file's triangles face inwards; they were turned")
    z = _filled(top)
    if side == "left":
        y, z, right, left = -y[::-1], z[:, ::-1], -left, -right
    return Scan(side, length, width, layers, tuple(notes), abs(solid.volume), x, y, z, stations, right, left)


def _up_notes(top: Array, bottom: Array, where: str) -> list[str]:
    """Refuses an insole whose underside is less flat than its upper side."""
    rise = [float(np.ptp(np.nanpercentile(surface, (2.0, 98.0)))) for surface in (top, bottom)]
    if rise[1] > rise[0] + FLATTER:
        found = f"{1000 * rise[1]:.1f} mm of rise below and {1000 * rise[0]:.1f} mm above"
        raise _refused("insole mesh", "a flat side below", found, where, "it lies upside down: give --up")
    if rise[1] > UNEVEN_BOTTOM:
        return [f"the bottom rises by {1000 * rise[1]:.1f} mm; heights are over its lowest place"]
    return []


def _side_notes(stations: Array, right: Array, left: Array, side: str, where: str) -> list[str]:
    """Refuses the other foot's insole: toes lie towards medial of the hollow arch."""
    middle = 0.5 * (left + right)
    toe, arch = (
        float(np.interp(np.linspace(*span, 20) * stations[-1], stations, middle).mean())
        for span in ((0.88, 0.96), (0.40, 0.50))
    )
    if abs(toe - arch) < ONE_SIDED:
        return [f"the outline does not tell left from right; taken as {side} as asked"]
    found = "right" if toe > arch else "left"
    if found != side:
        raise _refused(
            "insole mesh", f"a {side} insole", f"the outline of a {found} one", where,
            f"give --side {found}, or another file",
        )  # fmt: skip
    return []


# Sampling -----------------------------------------------------------------------------------------------------------


def _edges(solid: Solid) -> tuple[Array, Array, Array]:
    """Stations x [m] from the rearmost to the foremost point, and the outermost y right and left there."""
    ends = solid.vertices[solid.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)][:, :, :2]
    low, high = float(solid.vertices[:, 0].min()), float(solid.vertices[:, 0].max())
    stations = np.linspace(low, high, int(np.ceil((high - low) / STATION)) + 1)
    first = np.searchsorted(stations, ends[:, :, 0].min(axis=1) - 1e-12)
    count = np.searchsorted(stations, ends[:, :, 0].max(axis=1) + 1e-12, side="right") - first
    owner = np.repeat(np.arange(len(ends)), count)
    k = first[owner] + np.arange(owner.size) - np.repeat(np.cumsum(count) - count, count)
    a, b = ends[owner, 0], ends[owner, 1]
    run = b[:, 0] - a[:, 0]
    share = np.clip((stations[k] - a[:, 0]) / np.where(run == 0, 1.0, run), 0.0, 1.0)
    y = a[:, 1] + share * (b[:, 1] - a[:, 1])
    right, left = np.full(stations.size, np.inf), np.full(stations.size, -np.inf)
    np.minimum.at(right, k, y)
    np.maximum.at(left, k, y)
    return stations, right, left


def _cell(grid: Array, values: Array) -> tuple[Array, Array]:
    """Number of the cell each value lies in, the nearest outside, and its share of the way through it."""
    place = np.clip((values - grid[0]) / (grid[1] - grid[0]), 0.0, grid.size - 1.000001)
    number = place.astype(int)
    return number, place - number


def _filled(z: Array) -> Array:
    """Heights carried straight on beyond the edge by three rings of samples, and evenly from there."""
    from scipy.ndimage import distance_transform_edt

    for _ in range(3):
        wide = np.pad(z, 2, constant_values=np.nan)
        guesses = []
        for axis in (0, 1):
            for step in (1, -1):
                near, far = (np.roll(wide, k * step, axis)[2:-2, 2:-2] for k in (1, 2))
                guesses.append(np.where(np.isnan(far), near, 2 * near - far))
        known = np.isfinite(guesses)
        mean = np.sum(np.where(known, guesses, 0.0), axis=0) / np.maximum(known.sum(axis=0), 1)
        z = np.where(np.isnan(z) & known.any(axis=0), mean, z)
    nearest = distance_transform_edt(np.isnan(z), return_distances=False, return_indices=True)
    return np.asarray(z[tuple(nearest)])

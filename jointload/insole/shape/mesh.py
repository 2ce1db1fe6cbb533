"""Closed solids of insoles: written as STL in millimetres, and read from STL or OBJ by trimesh.

In a file x points forward, y to the left and z up; the bottom lies on z = 0, the heel's end on x = 0. The left of a
right insole is its medial side, the left of a left one its lateral side.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jointload.errors import SettingError, expected_found, not_read
from jointload.insole.shape.surface import Surface, is_inside, sole_grid
from jointload.intake.recording import Array

PITCH = 0.0011
"""Largest distance of two points of a written top surface [m]."""
FINER = (1.0, 0.65, 0.4)
"""Shares of PITCH that are tried in turn; only a steep dome needs more than the first."""
REPRODUCED = 0.05e-3
"""A written file gives back the heights within this [m]."""
PROBE = 0.00073
"""Distance of the places at which that is checked [m]; it beats against PITCH."""
AREA_TOLERANCE = 1e-12
"""Triangles that cover less than this of the plan [m2] are walls."""
CANDIDATES = 2_000_000
"""Places looked at in one go by the raster."""
LARGEST_FILE = 300_000_000
"""No insole needs a larger file [bytes]."""
BINARY_HEAD, TRIANGLE_BYTES = 84, 50


@dataclass(frozen=True, eq=False)
class Solid:
    """vertices (V, 3) and triangles (T, 3) of their numbers, counter-clockwise seen from outside."""

    vertices: Array
    triangles: NDArray[np.int64]

    @property
    def corners(self) -> Array:
        """(T, 3, 3) triangle, corner, component."""
        return np.asarray(self.vertices[self.triangles], dtype=float)

    @property
    def volume(self) -> float:
        """Signed volume: the sum of the tetrahedra to the origin, positive when normals point outwards."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        return float(np.einsum("ti,ti->", a, np.cross(b, c))) / 6.0

    @property
    def open_edges(self) -> int:
        """Number of edges that are not passed as often one way as the other; 0 for a closed solid."""
        start, stop = self.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).T
        count = int(self.triangles.max()) + 1 if self.triangles.size else 0
        _, edge = np.unique(np.minimum(start, stop) * count + np.maximum(start, stop), return_inverse=True)
        return int(np.count_nonzero(np.bincount(np.ravel(edge), weights=np.where(start < stop, 1.0, -1.0))))


# Out ----------------------------------------------------------------------------------------------------------------


def solid_of(surface: Surface, pitch: float = PITCH) -> Solid:
    """The closed solid of a surface [m], in the axes of a file."""
    along, across = _counts(surface, pitch)
    x, y = sole_grid(surface, along, across)
    z = surface.heights(x, y)
    if surface.side == "left":
        x, y, z = x[:, ::-1], -y[:, ::-1], z[:, ::-1]
    inner = slice(1, -1)
    top = np.stack((x[inner], y[inner], z[inner]), axis=-1).reshape(-1, 3)
    edges = [np.stack((x[inner, k], y[inner, k], 0.0 * x[inner, k]), axis=-1) for k in (0, -1)]
    middle = across // 2
    ends = [(x[k, middle], y[k, middle], h) for k in (0, -1) for h in (z[k, middle], 0.0)]
    return Solid(np.concatenate((top, *edges, ends)), _triangles(along - 2, across))


def faithful_solid(surface: Surface) -> Solid:
    """The solid of a surface with points as close as its heights ask for, to be REPRODUCED; the closest of FINER if
    even that misses."""
    for share in FINER:
        solid = solid_of(surface, share * PITCH)
        if largest_miss(surface, solid) < 0.9 * REPRODUCED:
            break
    return solid


def _counts(surface: Surface, pitch: float) -> tuple[int, int]:
    """Points along and across; along they are closer at the ends, so that half pi times the even spacing is the
    largest."""
    along = int(np.ceil(0.5 * np.pi * surface.length / pitch)) + 1
    return along, int(np.ceil(surface.width / pitch)) + 1


def _triangles(rows: int, columns: int) -> NDArray[np.int64]:
    """Triangles over the points of solid_of: a top of rows by columns from right to left, its two lower edges, and the
    upper and lower end points of heel and toe."""
    top = np.arange(rows * columns).reshape(rows, columns)
    right, left = (rows * columns + np.arange(rows) + k * rows for k in (0, 1))
    heel, heel_low, toe, toe_low = rows * columns + 2 * rows + np.arange(4)
    parts = [
        _strip(top[:-1, :-1], top[1:, :-1], top[1:, 1:], top[:-1, 1:]),
        _strip(right[:-1], left[:-1], left[1:], right[1:]),
        _strip(right[:-1], right[1:], top[1:, 0], top[:-1, 0]),
        _strip(left[1:], left[:-1], top[:-1, -1], top[1:, -1]),
        _fan(heel, top[0]),
        _fan(toe, top[-1, ::-1]),
        np.array([[heel_low, left[0], right[0]], [toe_low, right[-1], left[-1]]]),
        _strip(*(np.array([k]) for k in (heel_low, right[0], top[0, 0], heel))),
        _strip(*(np.array([k]) for k in (left[0], heel_low, heel, top[0, -1]))),
        _strip(*(np.array([k]) for k in (right[-1], toe_low, toe, top[-1, 0]))),
        _strip(*(np.array([k]) for k in (toe_low, left[-1], top[-1, -1], toe))),
    ]
    return np.concatenate(parts)


def _strip(a: Any, b: Any, c: Any, d: Any) -> NDArray[np.int64]:
    """Two triangles for every quadrangle a, b, c, d."""
    a, b, c, d = (np.ravel(corner) for corner in (a, b, c, d))
    return np.concatenate((np.stack((a, b, c), axis=-1), np.stack((a, c, d), axis=-1)))


def _fan(centre: Any, rim: Any) -> NDArray[np.int64]:
    """Triangles from one point to each piece of a rim."""
    return np.stack((np.full(rim.size - 1, centre), rim[:-1], rim[1:]), axis=-1)


def stl_bytes(solid: Solid, title: str) -> bytes:
    """A binary STL in millimetres of a solid in metres; the title stands in its head."""
    corners = np.asarray(1000 * solid.corners, dtype="<f4")
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    record = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    record["normal"], record["corners"] = normal / np.where(size > 0, size, 1.0), corners
    head = title.encode("ascii", "replace")[:80].ljust(80)
    return head + struct.pack("<I", len(corners)) + record.tobytes()


def largest_miss(surface: Surface, solid: Solid) -> float:
    """Largest difference [m] between a surface and the top of a solid in file axes, at places of a fine raster."""
    x = np.arange(0.5 * PROBE, surface.length, PROBE)
    left = np.arange(-surface.width, surface.width, PROBE)
    z = raster(solid.corners, x, left)
    there, aside = np.meshgrid(x, left, indexing="ij")
    y = aside if surface.side == "right" else -aside
    inside = is_inside(surface, there, y) & np.isfinite(z)
    return float(np.abs(z - surface.heights(there, y))[inside].max())


# In -----------------------------------------------------------------------------------------------------------------


def load_solid(path: str | Path) -> Solid:
    """The solid of an STL or OBJ file as it stands there, without a unit; equal points are one.

    SettingError when it cannot be read.
    """
    path = Path(path)
    if path.suffix.lower() not in (".stl", ".obj"):
        raise _unreadable(path, "an STL or OBJ file", f"the ending {path.suffix!r}")
    try:
        size = path.stat().st_size
        if not path.is_file() or size > LARGEST_FILE:
            raise _unreadable(path, f"a file of at most {LARGEST_FILE // 10**6} MB", "a folder or a larger file")
        _check_length(path, size)
        vertices, faces = _through_trimesh(path)
    except OSError as problem:
        raise SettingError(not_read("insole mesh", "a readable file", problem, path, "correct the path")) from None
    if not len(faces) or not np.isfinite(vertices).all():
        raise _unreadable(path, "a mesh of triangles", "no triangle" if not len(faces) else "points without a place")
    return _merged(vertices, faces)


def _through_trimesh(path: Path) -> tuple[Array, NDArray[np.int64]]:
    import trimesh

    try:
        mesh: Any = trimesh.load_mesh(str(path), process=False)
        if isinstance(mesh, trimesh.Scene):
            mesh = trimesh.util.concatenate(list(mesh.geometry.values()))
        return np.asarray(mesh.vertices, dtype=float), np.asarray(mesh.faces, dtype=np.int64)
    except OSError:
        raise
    except Exception as problem:
        raise _unreadable(path, "a mesh of triangles", f"{type(problem).__name__} on reading it") from None


def _check_length(path: Path, size: int) -> None:
    """A binary STL says in its head how many triangles follow: a cut file is told as such."""
    if path.suffix.lower() != ".stl" or size < BINARY_HEAD:
        return
    with path.open("rb") as file:
        head = file.read(BINARY_HEAD)
    stated = BINARY_HEAD + TRIANGLE_BYTES * struct.unpack("<I", head[80:])[0]
    if not head.lstrip().startswith(b"solid") and stated > size:
        raise _unreadable(path, f"{stated} bytes, as its head says", f"{size}, the file is cut off")


def _merged(vertices: Array, faces: NDArray[np.int64]) -> Solid:
    """Equal points made one, triangles without area (two equal corners) left out."""
    order = np.lexsort(vertices.T[::-1])
    ordered = vertices[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.cumsum(first) - 1
    faces = number[faces]
    whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return Solid(ordered[first], faces[whole])


def _unreadable(path: Path, expected: str, found: str) -> SettingError:
    return SettingError(expected_found("insole mesh", expected, found, str(path), "export the solid again as STL"))


# Raster -------------------------------------------------------------------------------------------------------------


def raster(corners: Array, x: Array, y: Array, lowest: bool = False) -> Array:
    """(X, Y) height of the highest (or lowest) triangle over each place of an even grid, NaN where there is none.

    Barycentric: z at a place is the corners' z weighted by the shares of the triangle's plan opposite to them.
    corners : (T, 3, 3) triangle, corner, component;  x, y : evenly rising
    """
    a, b, c = np.moveaxis(corners, 1, 0)
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    corners, area = corners[np.abs(area) > AREA_TOLERANCE], area[np.abs(area) > AREA_TOLERANCE]
    first_x, count_x = _covered(corners[:, :, 0], x)
    first_y, count_y = _covered(corners[:, :, 1], y)
    places = count_x * count_y
    best = np.full(x.size * y.size, np.inf if lowest else -np.inf)
    bounds = np.flatnonzero(np.diff(np.cumsum(places) // CANDIDATES, prepend=-1))
    for start, stop in zip(bounds, [*bounds[1:], places.size], strict=True):
        part = slice(start, stop)
        owner = np.repeat(np.arange(start, stop), places[part])
        turn = np.arange(owner.size) - np.repeat(np.cumsum(places[part]) - places[part], places[part])
        i, j = first_x[owner] + turn // count_y[owner], first_y[owner] + turn % count_y[owner]
        z = _barycentric(corners[owner], area[owner], x[i], y[j])
        hit = np.isfinite(z)
        (np.minimum if lowest else np.maximum).at(best, i[hit] * y.size + j[hit], z[hit])
    return np.where(np.isfinite(best), best, np.nan).reshape(x.size, y.size)


def _covered(values: Array, grid: Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First place of the grid within each triangle's range (T, 3), and how many there are."""
    first = np.searchsorted(grid, values.min(axis=1), side="left")
    return first, np.maximum(np.searchsorted(grid, values.max(axis=1), side="right") - first, 0)


def _barycentric(corners: Array, area: Array, x: Array, y: Array) -> Array:
    """z of each triangle's plane at its place, NaN outside the triangle."""
    offset = corners[:, :, :2] - np.stack((x, y), axis=-1)[:, None, :]
    after, last = np.roll(offset, -1, axis=1), np.roll(offset, -2, axis=1)
    share = (after[..., 0] * last[..., 1] - after[..., 1] * last[..., 0]) / area[:, None]
    z = np.sum(share * corners[:, :, 2], axis=1)
    return np.where((share >= -1e-9).all(axis=1), z, np.nan)

"""Solids of insoles: closed, true to their heights, and refused where they are not what they say."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from jointload.errors import SettingError
from jointload.insole.shape.measured import measure
from jointload.insole.shape.mesh import (
    REPRODUCED,
    Solid,
    faithful_solid,
    largest_miss,
    load_solid,
    raster,
    solid_of,
    stl_bytes,
)
from jointload.insole.shape.parts import ArchFill, HeelLift, MetatarsalSupport, Posting
from jointload.insole.shape.scan import UNITS, read_scan
from jointload.insole.shape.shape import InsoleShape
from jointload.insole.shape.surface import sole_grid

COARSE = 0.003
"""Pitch for tests in which only the kind of mesh matters [m]."""
SHAPE = InsoleShape(
    "right", 0.265, 0.095, 0.005, 0.0015,
    Posting(math.radians(6)), Posting(math.radians(-3), 0.6, 1.0), HeelLift(0.006),
    ArchFill(0.012), MetatarsalSupport(0.005, offset=0.004),
)  # fmt: skip


def saved(solid: Solid, path: Path, scale: float = 1.0) -> Path:
    path.write_bytes(stl_bytes(Solid(scale * solid.vertices, solid.triangles), "made for a test"))
    return path


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("solids")
    return {s: saved(solid_of(replace(SHAPE, side=s)), folder / f"{s}.stl") for s in ("right", "left")}


# Out ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_written_solid_is_closed_faces_outwards_and_holds_its_volume(files: dict[str, Path], side: str) -> None:
    import trimesh

    mesh = trimesh.load_mesh(str(files[side]))
    assert mesh.is_watertight and mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(1e9 * measure(SHAPE).volume, rel=1e-4)
    assert mesh.bounds[0, 2] == 0
    np.testing.assert_allclose(mesh.extents[0], 265, atol=1e-3)


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_reloaded_file_gives_back_the_heights(files: dict[str, Path], side: str) -> None:
    shape = replace(SHAPE, side=side)
    solid = load_solid(files[side])
    assert largest_miss(shape, Solid(solid.vertices / 1000, solid.triangles)) < REPRODUCED
    scan = read_scan(files[side], side)
    x, y = sole_grid(shape, 200, 60)
    np.testing.assert_allclose(scan.heights(x, y), shape.heights(x, y), atol=REPRODUCED)
    assert scan.notes == ()
    assert scan.volume == pytest.approx(measure(shape).volume, rel=1e-4)


def test_a_coarse_solid_is_seen_to_miss() -> None:
    assert largest_miss(SHAPE, solid_of(SHAPE, 0.006)) > REPRODUCED


def test_a_steep_dome_gets_closer_points() -> None:
    steep = replace(SHAPE, metatarsal=MetatarsalSupport(0.012, length=0.040, width=0.022))
    assert largest_miss(steep, solid_of(steep)) > REPRODUCED
    solid = faithful_solid(steep)
    assert largest_miss(steep, solid) < REPRODUCED and solid.open_edges == 0


def test_left_and_right_are_mirror_images() -> None:
    right, left = solid_of(SHAPE, COARSE), solid_of(replace(SHAPE, side="left"), COARSE)
    mirrored = right.vertices * [1, -1, 1]
    order = [np.lexsort(v.T) for v in (mirrored, left.vertices)]
    np.testing.assert_allclose(mirrored[order[0]], left.vertices[order[1]], atol=1e-15)
    assert right.volume == pytest.approx(left.volume, rel=1e-3)
    assert right.volume > 0


def test_medial_of_a_right_insole_is_on_its_left() -> None:
    solid = solid_of(replace(SHAPE, forefoot=Posting(0.0, 0.6, 1.0)), COARSE)
    heel = (solid.vertices[:, 0] > 0.03) & (solid.vertices[:, 0] < 0.05) & (solid.vertices[:, 2] > 0)
    left = solid.vertices[heel & (solid.vertices[:, 1] > 0.025), 2]
    right = solid.vertices[heel & (solid.vertices[:, 1] < -0.025), 2]
    assert left.min() > right.max()


# Raster -------------------------------------------------------------------------------------------------------------


def test_the_raster_of_a_plane_is_the_plane() -> None:
    rng = np.random.default_rng(4)
    corners = np.array([[[0, 0, 0], [4, 0, 0], [0, 3, 0]], [[4, 0, 0], [4, 3, 0], [0, 3, 0]]], dtype=float)
    corners[..., 2] = 1 + 0.5 * corners[..., 0] - 0.2 * corners[..., 1]
    x, y = np.sort(rng.uniform(-1, 5, 40)), np.sort(rng.uniform(-1, 4, 50))
    z = raster(corners, x, y)
    there, aside = np.meshgrid(x, y, indexing="ij")
    inside = (there >= 0) & (there <= 4) & (aside >= 0) & (aside <= 3)
    assert np.array_equal(np.isfinite(z), inside)
    np.testing.assert_allclose(z[inside], (1 + 0.5 * there - 0.2 * aside)[inside], atol=1e-12)
    lowered = np.concatenate((corners, corners - [0, 0, 2]))
    np.testing.assert_allclose(raster(lowered, x, y, lowest=True), z - 2, atol=1e-12)
    np.testing.assert_allclose(raster(lowered, x, y), z, atol=1e-12)


# In -----------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def coarse() -> Solid:
    return solid_of(SHAPE, COARSE)


def refusal(path: Path, side: str = "right", **words: str) -> str:
    with pytest.raises(SettingError) as error:
        read_scan(path, side, **words)
    assert "\n" not in str(error.value) and str(path) in str(error.value)
    return str(error.value)


@pytest.mark.parametrize("unit", ["m", "cm", "in"])
def test_another_unit_is_named_and_taken_when_told(coarse: Solid, tmp_path: Path, unit: str) -> None:
    path = saved(coarse, tmp_path / "a.stl", 1e-3 / UNITS[unit])
    assert f"it looks like {unit}: give --unit {unit}" in refusal(path)
    assert read_scan(path, "right", unit).length == pytest.approx(0.265, abs=1e-6)


def test_a_wrongly_told_unit_is_refused(coarse: Solid, tmp_path: Path) -> None:
    path = saved(coarse, tmp_path / "a.stl")
    assert "it looks like mm" in refusal(path, unit="m")
    assert "expected cm, in, m, mm" in refusal(path, unit="yards")


@pytest.mark.parametrize("scale", [40.0, 2.3e-6])
def test_an_absurd_size_is_refused(coarse: Solid, tmp_path: Path, scale: float) -> None:
    assert "absurd size" in refusal(saved(coarse, tmp_path / "a.stl", scale))


def test_a_slab_too_narrow_or_too_high_is_refused(coarse: Solid, tmp_path: Path) -> None:
    narrow = Solid(coarse.vertices * [1, 0.4, 1], coarse.triangles)
    assert "insole width" in refusal(saved(narrow, tmp_path / "a.stl"))
    high = Solid(coarse.vertices * [1, 1, 4], coarse.triangles)
    assert "insole height" in refusal(saved(high, tmp_path / "b.stl"))


def test_an_open_mesh_is_refused_with_the_number_of_open_edges(coarse: Solid, tmp_path: Path) -> None:
    holed = Solid(coarse.vertices, np.delete(coarse.triangles, 100, axis=0))
    assert "found 3 open edges" in refusal(saved(holed, tmp_path / "a.stl"))


def test_upside_down_is_refused_and_taken_when_told(coarse: Solid, tmp_path: Path) -> None:
    turned = Solid(coarse.vertices * [1, -1, -1], coarse.triangles)
    path = saved(turned, tmp_path / "a.stl")
    assert "lies upside down" in refusal(path)
    assert read_scan(path, "right", up="-z").length == pytest.approx(0.265, abs=1e-6)


def test_the_wrong_side_is_refused(files: dict[str, Path]) -> None:
    assert "expected a left insole, found the outline of a right one" in refusal(files["right"], "left")
    assert "expected a right insole, found the outline of a left one" in refusal(files["left"], "right")


def test_other_axes_are_refused_and_taken_when_told(coarse: Solid, tmp_path: Path) -> None:
    standing = saved(Solid(coarse.vertices[:, [1, 2, 0]], coarse.triangles), tmp_path / "a.stl")
    assert "give --forward and --up" in refusal(standing)
    scan = read_scan(standing, "right", up="+y", forward="+z")
    x, y = sole_grid(SHAPE, 40, 20)
    np.testing.assert_allclose(scan.heights(x, y)[5:-5, 2:-2], SHAPE.heights(x, y)[5:-5, 2:-2], atol=0.0003)
    backwards = saved(Solid(coarse.vertices * [-1, -1, 1], coarse.triangles), tmp_path / "b.stl")
    assert "points backwards" in refusal(backwards)
    assert read_scan(backwards, "right", forward="-x").side == "right"
    assert "at right angles" in refusal(standing, up="+z", forward="-z")
    assert "expected +x" in refusal(standing, up="z")


def test_a_turned_and_moved_solid_is_laid_straight(coarse: Solid, tmp_path: Path) -> None:
    angle = math.radians(8)
    turn = np.array([[math.cos(angle), -math.sin(angle), 0], [math.sin(angle), math.cos(angle), 0], [0, 0, 1]])
    path = saved(Solid(coarse.vertices @ turn.T + [0.4, -0.2, 0.05], coarse.triangles), tmp_path / "a.stl")
    scan = read_scan(path, "right")
    assert scan.length == pytest.approx(0.265, abs=0.001)
    assert measure(scan).heel_tilt == pytest.approx(math.radians(6), abs=math.radians(0.3))


def test_triangles_that_face_inwards_are_turned_and_told(coarse: Solid, tmp_path: Path) -> None:
    path = saved(Solid(coarse.vertices, coarse.triangles[:, ::-1]), tmp_path / "a.stl")
    scan = read_scan(path, "right")
    assert scan.volume > 0
    assert "face inwards" in scan.notes[0]


def test_an_obj_reads_like_an_stl(coarse: Solid, tmp_path: Path) -> None:
    lines = ["v {} {} {}".format(*vertex) for vertex in 1000 * coarse.vertices]
    lines += ["f {} {} {}".format(*triangle) for triangle in coarse.triangles + 1]
    path = tmp_path / "a.obj"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    obj, stl = read_scan(path, "right"), read_scan(saved(coarse, tmp_path / "a.stl"), "right")
    x, y = sole_grid(SHAPE, 40, 20)
    np.testing.assert_allclose(obj.heights(x, y), stl.heights(x, y), atol=1e-7)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("words.stl", b"hello"),
        ("words.obj", b"hello"),
        ("empty.stl", b""),
        ("short.stl", b"x" * 80 + (5000).to_bytes(4, "little") + b"\0" * 500),
        ("nan.stl", b"x" * 80 + (1).to_bytes(4, "little") + np.full(12, np.nan, "<f4").tobytes() + b"\0\0"),
        ("insole.step", b"ISO"),
    ],
)
def test_what_is_no_mesh_is_refused(tmp_path: Path, name: str, content: bytes) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    assert "insole mesh" in refusal(path)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    assert "does not exist" in refusal(tmp_path / "nowhere.stl")

"""insole.toml: the parameters of an insole as a person writes them, in millimetres and degrees."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jointload.errors import SettingError, expected_found
from jointload.insole.shape.geometry import STEEPEST
from jointload.insole.shape.materials import Material, material, read_materials
from jointload.insole.shape.outline import mondopoint
from jointload.insole.shape.parts import (
    ArchFill,
    HeelCup,
    HeelLift,
    Layer,
    MetatarsalSupport,
    Posting,
    ThinLayer,
)
from jointload.insole.shape.shape import InsoleShape
from jointload.intake.recording import side_from
from jointload.intake.toml_file import read_toml

KEYS: dict[str, tuple[str, ...]] = {
    "": (
        "side", "name", "length_mm", "width_mm", "mondopoint", "base_mm", "minimum_mm", "materials", "layers",
        "rearfoot_posting", "forefoot_posting", "heel_lift", "arch_fill", "metatarsal_support", "thin_layers",
        "heel_cup", "sheet",
    ),
    "rearfoot_posting": ("degrees", "raised", "start", "end", "blend"),
    "forefoot_posting": ("degrees", "raised", "start", "end", "blend"),
    "heel_lift": ("height_mm", "ramp_start", "ramp_end"),
    "arch_fill": ("height_mm", "fraction", "arch_height_mm", "centre", "half_length", "reach"),
    "metatarsal_support": ("height_mm", "position", "offset_mm", "length_mm", "width_mm"),
    "layers": ("material", "thickness_mm"),
    "thin_layers": ("material", "thickness_mm", "under"),
    "heel_cup": ("height_mm",),
    "sheet": (
        "pseudonym", "mass_kg", "shoe_size", "shoe_type", "sport", "complaint", "orthosis_type", "cast_modifications",
        "shell_modifications", "cover", "heel_stabiliser", "notes",
    ),
}  # fmt: skip
"""Every key that insole.toml may have, table by table."""
DEFAULT_LAYERS: tuple[dict[str, Any], ...] = ({"material": "eva_medium"},)
SIDES = {"right": ("right",), "left": ("left",), "both": ("right", "left")}


@dataclass(frozen=True)
class Design:
    """What insole.toml says: a shape for each foot it names, and what the sheet shall carry."""

    shapes: tuple[InsoleShape, ...]
    name: str = "insole"
    sheet: dict[str, str] = field(default_factory=dict)


def read_shape(path: str | Path, side: str = "") -> InsoleShape:
    """The shape in insole.toml; of its two sides the one that is asked for."""
    shapes = {shape.side: shape for shape in read_design(path).shapes}
    chosen = side or next(iter(shapes))
    if chosen not in shapes or (not side and len(shapes) > 1):
        raise SettingError(
            expected_found("insole side", " or ".join(shapes), repr(side), str(path), "ask for one of them")
        )
    return shapes[chosen]


def read_design(path: str | Path) -> Design:
    """Read insole.toml; SettingError names the first key that is unknown, missing or out of its range."""
    path = Path(path)
    content = read_toml(path, "insole", "correct the path", SettingError)
    try:
        return design_from(content, path.parent)
    except SettingError as problem:
        raise SettingError(str(problem).replace("in the shape;", f"in {path};")) from None


def design_from(content: dict[str, Any], folder: Path = Path()) -> Design:
    """A checked Design from the keys of insole.toml; files that it names are looked for in `folder`."""
    _check_keys(content, "")
    given = str(content.get("side", ""))
    sides = SIDES.get(side_from(given) or given)
    if sides is None:
        found = repr(content.get("side", "no such key"))
        raise SettingError(expected_found("insole side", '"right", "left" or "both"', found, "the shape", "set side"))
    parts = _parts(content, folder)
    sheet = {key: str(value) for key, value in _table(content, "sheet").items()}
    shapes = tuple(InsoleShape(side=side, **parts) for side in sides)
    return Design(shapes, str(content.get("name", "insole")), sheet)


def _parts(content: dict[str, Any], folder: Path) -> dict[str, Any]:
    length, width = _size(content)
    return {
        "length": length,
        "width": width,
        "base": _mm(content, "base_mm", 4.0),
        "minimum": _mm(content, "minimum_mm", 1.5),
        "rearfoot": _posting(content, "rearfoot_posting", Posting()),
        "forefoot": _posting(content, "forefoot_posting", Posting(0.0, 0.60, 1.0)),
        "lift": _lift(_table(content, "heel_lift")),
        "arch": _arch(_table(content, "arch_fill")),
        "metatarsal": _metatarsal(_table(content, "metatarsal_support")),
        "layers": _layers(content, folder),
        "thin": _thin(content, folder),
        "cup": HeelCup(_mm(_table(content, "heel_cup"), "height_mm", 0.0, "heel_cup")),
    }


def _size(content: dict[str, Any]) -> tuple[float, float]:
    """Length and width [m]; width 0 where neither key gives it."""
    if ("length_mm" in content) == ("mondopoint" in content):
        found = "both" if "length_mm" in content else "neither"
        raise SettingError(
            expected_found("insole size", "length_mm or mondopoint, one of them", found, "the shape", "give one")
        )
    if "mondopoint" in content:
        length, width = mondopoint(content["mondopoint"])
    else:
        length, width = _mm(content, "length_mm"), None
    return length, _mm(content, "width_mm", 0.0 if width is None else 1000 * width)


def _posting(content: dict[str, Any], key: str, default: Posting) -> Posting:
    table = _table(content, key)
    if not table:
        return default
    degrees, raised = _number(table, "degrees", where=key), table.get("raised")
    if not 0 <= degrees <= STEEPEST:
        raise SettingError(
            expected_found(
                f"{key} degrees", f"0 to {STEEPEST:g}", f"{degrees:g}", "the shape",
                "choose a smaller posting and name its raised side with raised",
            )
        )  # fmt: skip
    if raised not in ("medial", "lateral") and degrees > 0:
        raise SettingError(
            expected_found(f"{key} raised", '"medial" or "lateral"', repr(raised), "the shape", "name the raised side")
        )
    return Posting(
        math.radians(degrees) * (-1.0 if raised == "lateral" else 1.0),
        *(_number(table, name, getattr(default, name), key) for name in ("start", "end", "blend")),
    )


def _lift(table: dict[str, Any]) -> HeelLift:
    plain = HeelLift()
    return HeelLift(
        _mm(table, "height_mm", 0.0, "heel_lift"),
        _number(table, "ramp_start", plain.ramp_start, "heel_lift"),
        _number(table, "ramp_end", plain.ramp_end, "heel_lift"),
    )


def _arch(table: dict[str, Any]) -> ArchFill:
    """A height, or a fraction of the height of the foot's own arch."""
    plain = ArchFill()
    if "fraction" in table:
        if "height_mm" in table or "arch_height_mm" not in table:
            raise SettingError(
                expected_found(
                    "arch_fill", "height_mm, or fraction with arch_height_mm", ", ".join(table), "the shape",
                    "give one or the other",
                )
            )  # fmt: skip
        fraction = _number(table, "fraction", where="arch_fill")
        if not 0 <= fraction <= 1:
            raise SettingError(
                expected_found("arch_fill fraction", "0 to 1", f"{fraction:g}", "the shape", "give a share")
            )
        height = fraction * _mm(table, "arch_height_mm", where="arch_fill")
    else:
        height = _mm(table, "height_mm", 0.0, "arch_fill")
    shares = (_number(table, name, getattr(plain, name), "arch_fill") for name in ("centre", "half_length", "reach"))
    return ArchFill(height, *shares)


def _metatarsal(table: dict[str, Any]) -> MetatarsalSupport:
    plain, where = MetatarsalSupport(), "metatarsal_support"
    return MetatarsalSupport(
        _mm(table, "height_mm", 0.0, where),
        _number(table, "position", plain.position, where),
        _mm(table, "offset_mm", 0.0, where),
        _mm(table, "length_mm", 1000 * plain.length, where),
        _mm(table, "width_mm", 1000 * plain.width, where),
    )


def _layers(content: dict[str, Any], folder: Path) -> tuple[Layer, ...]:
    return tuple(
        Layer(made, _mm(row, "thickness_mm", where="layers") if "thickness_mm" in row else None)
        for row, made in _of_materials(content, folder, "layers", list(DEFAULT_LAYERS))
    )


def _thin(content: dict[str, Any], folder: Path) -> tuple[ThinLayer, ...]:
    return tuple(
        ThinLayer(made, _mm(row, "thickness_mm", where="thin_layers"), str(row.get("under", "heel")))
        for row, made in _of_materials(content, folder, "thin_layers", [])
    )


def _of_materials(
    content: dict[str, Any], folder: Path, key: str, usual: list[Any]
) -> list[tuple[dict[str, Any], Material]]:
    """The rows of a list of layers, each with its material."""
    rows = content.get(key, usual)
    named = isinstance(rows, list) and all(isinstance(row, dict) and "material" in row for row in rows)
    if not named or (usual and not rows):
        raise SettingError(
            expected_found(key, f"[[{key}]] with a material each", repr(rows), "the shape", "name the materials")
        )
    for row in rows:
        _check_keys(row, key)
    own = read_materials(folder / str(content["materials"])) if rows and "materials" in content else {}
    return [(row, material(str(row["material"]), own)) for row in rows]


def _table(content: dict[str, Any], key: str) -> dict[str, Any]:
    table = content.get(key, {})
    if not isinstance(table, dict):
        raise SettingError(
            expected_found(key, f"a table [{key}]", repr(table), "the shape", "write its keys under that heading")
        )
    _check_keys(table, key)
    return table


def _check_keys(table: dict[str, Any], name: str) -> None:
    unknown = sorted(set(table) - set(KEYS[name]))
    if unknown:
        raise SettingError(
            expected_found(
                name or "insole file", "the keys " + ", ".join(KEYS[name]), ", ".join(unknown), "the shape",
                "correct the key's name",
            )
        )  # fmt: skip


def _mm(table: dict[str, Any], key: str, default: float | None = None, where: str = "") -> float:
    """A length of the file in millimetres as metres."""
    return _number(table, key, default, where) / 1000


def _number(table: dict[str, Any], key: str, default: float | None = None, where: str = "") -> float:
    value = table.get(key, default)
    name = f"{where} {key}".strip()
    if value is None:
        raise SettingError(expected_found(name, "a number", "no such key", "the shape", f"add {key}"))
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise SettingError(expected_found(name, "a number", repr(value), "the shape", f"correct {key}"))
    return float(value)

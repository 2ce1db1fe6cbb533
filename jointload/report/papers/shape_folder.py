"""The folder a maker gets: solids, drawings, the sheet and the numbers."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

from jointload.errors import OutputError, expected_found
from jointload.insole.shape.layers_apart import layers_apart
from jointload.insole.shape.measured import Numbers, measure
from jointload.insole.shape.mesh import (
    REPRODUCED,
    Solid,
    faithful_solid,
    largest_miss,
    load_solid,
    stl_bytes,
)
from jointload.insole.shape.shape import InsoleShape
from jointload.insole.shape.surface import Surface
from jointload.report.papers.insole_drawing import draw_insole
from jointload.report.papers.insole_sheet import Written, WrittenLayer, render_sheet
from jointload.report.papers.insole_words import CAUTIONS, HEADING, file_name, layer_file_name, remarks
from jointload.report.words.whole_folder import write_whole

RECORD = "shape.json"
AXES = "x forward from the heel's end, y to the left of the foot, z up from the shoe"


def write_shape(
    surfaces: Sequence[Surface], out: str | Path, name: str = "insole", fields: Mapping[str, str] | None = None
) -> Path:
    """Write one STL a side, drawing.svg and drawing.pdf (with the side in the name where there are two), sheet.html and
    shape.json into `out`, whole or not at all.

    Every STL is read back: OutputError unless it is closed and gives back the heights within REPRODUCED.
    """

    def fill(draft: Path) -> None:
        written, records = [], []
        for surface in surfaces:
            one, checked = _one(draft, surface, name, len(surfaces) > 1)
            written.append(one)
            records.append(_record(one, checked))
        (draft / "sheet.html").write_text(render_sheet(written, name, fields or {}), encoding="utf-8")
        record = {
            "heading": HEADING, "name": name, "jointload": _version(), "axes": AXES, "unit": "mm",
            "insoles": records, "cautions": CAUTIONS,
        }  # fmt: skip
        (draft / RECORD).write_text(json.dumps(record, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")

    return write_whole(out, RECORD, fill)


def _one(draft: Path, surface: Surface, name: str, sided: bool) -> tuple[Written, dict[str, Any]]:
    path = draft / file_name(surface)
    title = f"jointload {surface.side} insole, unit mm, x forward y left z up"
    content = stl_bytes(faithful_solid(surface), title)
    path.write_bytes(content)
    checked = _checked(surface, path)
    checksum = hashlib.sha256(content).hexdigest()
    suffix = f"_{surface.side}" if sided else ""
    for form, drawn in draw_insole(surface, name, checksum).items():
        (draft / f"drawing{suffix}.{form}").write_bytes(drawn)
    return Written(surface, measure(surface), checksum, _apart(draft, surface)), checked


def _apart(draft: Path, surface: Surface) -> tuple[WrittenLayer, ...]:
    """A file for each of several layers, checked as the whole is: a sheet as it is cut, the body without the sheets."""
    out = []
    for layer in layers_apart(surface):
        path, made = draft / layer_file_name(layer), layer.layer.material
        content = stl_bytes(
            faithful_solid(layer), f"jointload {surface.side} layer {made.name} {made.hardness}, unit mm"
        )
        path.write_bytes(content)
        _checked(layer, path)
        out.append(WrittenLayer(layer, hashlib.sha256(content).hexdigest()))
    return tuple(out)


def _checked(surface: Surface, path: Path) -> dict[str, Any]:
    """What the file read back says: closed, and how far it misses the heights at worst."""
    solid = load_solid(path)
    solid = Solid(solid.vertices / 1000, solid.triangles)
    miss = largest_miss(surface, solid)
    if solid.open_edges or not miss <= REPRODUCED:
        found = f"{solid.open_edges} open edges and a miss of {1000 * miss:.3f} mm"
        expected = f"a closed solid within {1000 * REPRODUCED:g} mm of the heights"
        advice = "the shape is too steep to be written; soften its blends"
        raise OutputError(expected_found("insole solid", expected, found, path.name, advice))
    return {"triangles": len(solid.triangles), "closed": True, "largest_miss_mm": round(1000 * miss, 4)}


def _record(one: Written, checked: dict[str, Any]) -> dict[str, Any]:
    return {
        "side": one.surface.side,
        "file": file_name(one.surface),
        "sha256": one.checksum,
        **checked,
        "numbers": shown_numbers(one.surface, one.numbers),
        "layers": [_layer_record(each) for each in one.apart],
        "remarks": remarks(one.surface),
        "parameters": _parameters(one.surface),
    }


def _layer_record(written: WrittenLayer) -> dict[str, Any]:
    layer = written.layer.layer
    thickness = "takes the shape" if layer.thickness is None else round(1000 * layer.thickness, 4)
    return {
        "file": layer_file_name(written.layer), "sha256": written.checksum, "material": layer.material.name,
        "hardness": layer.material.hardness or None, "modulus_MPa": layer.material.modulus / 1e6,
        "thickness_mm": thickness, "place": written.layer.place or "whole sole",
    }  # fmt: skip


def shown_numbers(surface: Surface, numbers: Numbers) -> dict[str, float | None]:
    """Numbers in millimetres, degrees, grams; None for what is unknown."""
    out = {
        "length_mm": 1000 * surface.length,
        "width_mm": 1000 * surface.width,
        "thinnest_mm": 1000 * numbers.thinnest,
        "thickest_mm": 1000 * numbers.thickest,
        "heel_stack_mm": 1000 * numbers.heel_stack,
        "forefoot_stack_mm": 1000 * numbers.forefoot_stack,
        "heel_tilt_deg": float(np.rad2deg(numbers.heel_tilt)),
        "forefoot_tilt_deg": float(np.rad2deg(numbers.forefoot_tilt)),
        "steepest_slope_deg": float(np.rad2deg(numbers.steepest)),
        "volume_cm3": 1e6 * numbers.volume,
        "mass_g": 1000 * numbers.mass,
    }
    return {key: None if math.isnan(value) else round(value, 4) + 0.0 for key, value in out.items()}


def _parameters(surface: Surface) -> dict[str, Any] | None:
    """Every parameter of a shape in SI units, and what it was raised by; None for the scan of an existing insole."""
    if not isinstance(surface, InsoleShape):
        return None
    values = asdict(surface)
    for name in ("layers", "thin"):
        values[name] = [
            layer | {"material": {k: v for k, v in layer["material"].items() if v == v}} for layer in values[name]
        ]
    return values | {"raised": surface.raised, "units": "SI: m, rad, Pa, kg/m3; positions are shares of the length"}


def _version() -> str:
    try:
        return version("jointload")
    except PackageNotFoundError:
        return "not installed"

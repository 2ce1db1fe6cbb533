"""Commands of the insole itself: its solid and drawing, and the materials it is made of."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointload.cli.app import app
from jointload.cli.command import Command
from jointload.cli.options import Out, Replace, side_asked
from jointload.cli.terminal import check_new, step
from jointload.errors import SettingError, expected_found

if TYPE_CHECKING:
    from jointload.insole.shape.compression import CompressionTest
    from jointload.insole.shape.impact_test import ImpactTest
    from jointload.insole.shape.surface import Surface


@app.command(cls=Command)
def shape(
    file: Annotated[Path, typer.Argument(help="insole.toml, or an STL or OBJ of an insole", show_default=False)],
    out: Out,
    replace: Replace = False,
    side: Annotated[str, typer.Option(help="right or left: the foot a mesh is for")] = "",
    unit: Annotated[str, typer.Option(help="a mesh's unit (mm, cm, m, in) where it is not mm")] = "",
    up: Annotated[str, typer.Option(help="a mesh's upward axis, such as +z")] = "+z",
    forward: Annotated[str, typer.Option(help="a mesh's axis from heel to toes, such as +x")] = "+x",
    layer: Annotated[str, typer.Option(help="a mesh's material, for its mass")] = "",
) -> None:
    """Make an insole's solid (STL), its drawing and its sheet from insole.toml, or from a mesh of an existing one."""
    from jointload.report.papers.insole_words import remarks
    from jointload.report.papers.shape_folder import RECORD, write_shape

    check_new(out, replace, RECORD)
    if file.suffix.lower() in (".stl", ".obj"):
        with step("Reading"):
            surfaces, name, fields = _scanned(file, side, unit, up, forward, layer), file.stem, {}
    else:
        from jointload.insole.shape.shape_file import read_design

        design = read_design(file)
        surfaces, name, fields = design.shapes, design.name, design.sheet
    with step("Solid, drawing and sheet"):
        write_shape(surfaces, out, name, fields)
    for note in dict.fromkeys(note for surface in surfaces for note in remarks(surface)):
        typer.echo(f"Note: {note}")
    typer.echo(f"Wrote {out / 'sheet.html'}, the drawing and {len(surfaces)} STL in millimetres.")


@app.command(cls=Command)
def material(
    file: Annotated[Path | None, typer.Argument(help="CSV of a compression or drop test", show_default=False)] = None,
    thickness: Annotated[str, typer.Option(help="the sample's thickness, such as 5mm")] = "",
    area: Annotated[str, typer.Option(help="the pressed area, such as 500mm2")] = "",
    kind: Annotated[str, typer.Option(help="foam, gel, elastomer or shell")] = "foam",
    name: Annotated[str, typer.Option(help="the material's name; the file's without it")] = "",
    density: Annotated[float, typer.Option(min=0, help="density [kg/m3]; 0 where unknown")] = 0.0,
    load: Annotated[str, typer.Option(help="load under a heel for the figure, such as 1500N")] = "1500N",
    more: Annotated[
        list[Path] | None, typer.Option(help="CSV of another test of the same material, at another speed or energy")
    ] = None,
    mass: Annotated[float, typer.Option(min=0, help="dropped mass of impact tests [kg]")] = 0.0,
    drop_height: Annotated[
        str, typer.Option(help="height of the drop, such as 50mm; with commas one for each impact test")
    ] = "",
    energy: Annotated[str, typer.Option(help="energy of the drop in its place, such as 5J; with commas likewise")] = "",
    tup: Annotated[str, typer.Option(help="diameter of a flat round tup in place of --area, such as 45mm")] = "",
    cutoff: Annotated[float, typer.Option(min=0, help="low-pass of a recorded impact [Hz]; 0 for none")] = 1000.0,
    hardness: Annotated[float, typer.Option(help="Shore A of a solid elastomer, in place of a test")] = 0.0,
    out: Annotated[
        Path | None, typer.Option(help="folder for row, figure and numbers; without it they are shown")
    ] = None,
    replace: Replace = False,
) -> None:
    """Fit a layer's law to compression tests (columns such as compression_mm,force_N) or impact tests (time_ms,force_N
    or acceleration_g of a dropped mass), or turn hardness to modulus."""
    from jointload.report.papers.material_folder import RECORD

    if out is not None:
        check_new(out, replace, RECORD)
    if (file is None) == (hardness == 0):
        advice = "give the test's CSV, or --hardness with --kind elastomer"
        found = "neither" if file is None else "both"
        raise SettingError(expected_found("material", "a test or a hardness", found, "the command", advice))
    if file is None:
        if out is not None:
            advice = "leave --out out: a modulus from hardness is shown"
            raise SettingError(
                expected_found("--out", "a test whose law is fitted", "a hardness", "the command", advice)
            )
        _hardness(hardness, kind)
        return
    sizes = {"thickness": thickness, "area": area, "tup": tup}
    drops = {"height": drop_height, "energy": energy}
    tests = _tests([file, *(more or [])], sizes, mass, drops, cutoff or None)
    _fitted(tests, load, kind, name or file.stem, density, out)


def _scanned(file: Path, side: str, unit: str, up: str, forward: str, layer: str) -> tuple[Surface, ...]:
    from jointload.insole.shape.materials import material as known
    from jointload.insole.shape.parts import Layer
    from jointload.insole.shape.scan import read_scan

    layers = (Layer(known(layer)),) if layer else ()
    return (read_scan(file, side_asked(side), unit, up, forward, layers),)


def _hardness(shore_a: float, kind: str) -> None:
    from jointload.insole.shape.materials import HARDNESS_LAWS, modulus_from_hardness

    fitting = [law for law, (_, (low, high)) in HARDNESS_LAWS.items() if low <= shore_a <= high]
    for law in fitting or HARDNESS_LAWS:
        modulus = modulus_from_hardness(shore_a, kind, law) / 1e6
        typer.echo(f"{law}: {modulus:.2f} MPa at {shore_a:g} Shore A, for solid elastomers only")


def _tests(
    files: list[Path], sizes: dict[str, str], mass: float, drops: dict[str, str], cutoff: float | None
) -> list[CompressionTest | ImpactTest]:
    """Every file as the test that its columns make it."""
    from math import pi

    from jointload.insole.shape import compression, impact_test

    def given(key: str, units: dict[str, float]) -> float | None:
        return compression.parse_quantity(sizes[key], units, key) if sizes[key] else None

    thickness, area = given("thickness", compression.LENGTH_UNITS), given("area", compression.AREA_UNITS)
    tup = given("tup", compression.LENGTH_UNITS)
    if tup is not None and area is not None:
        raise SettingError(expected_found("pressed area", "--area or --tup", "both", "the command", "give one"))
    area = area if tup is None else 0.25 * pi * tup**2
    impacts = [file for file in files if impact_test.is_impact(file)]
    heights = _one_each(drops["height"], "--drop-height", compression.LENGTH_UNITS, len(impacts))
    energies = _one_each(drops["energy"], "--energy", {"J": 1.0}, len(impacts))
    if impacts and not (mass and thickness and area):
        expected, advice = "--mass, --thickness and --area or --tup", "say what was dropped on what"
        raise SettingError(expected_found("impact test", expected, "not all of them", str(impacts[0]), advice))
    out: list[CompressionTest | ImpactTest] = []
    for file in files:
        if file not in impacts:
            out.append(compression.read_compression(file, thickness, area))
            continue
        k = impacts.index(file)
        dropped = impact_test.dropped_from(mass, heights[k], energies[k], str(file))
        out.append(impact_test.read_impact(file, dropped, thickness or 0.0, area or 0.0, cutoff))
    return out


def _one_each(words: str, option: str, units: dict[str, float], impacts: int) -> list[float | None]:
    """A number for each impact test: one for all, or as many as there are."""
    from jointload.insole.shape.compression import parse_quantity

    if not words:
        return [None] * impacts
    found: list[float | None] = [parse_quantity(word, units, option) for word in words.split(",")]
    if len(found) == 1:
        return found * impacts
    if len(found) != impacts:
        expected = f"one, or one for each of {impacts} impact tests"
        raise SettingError(expected_found(option, expected, str(len(found)), "the command", "correct it"))
    return found


def _fitted(
    tests: list[CompressionTest | ImpactTest], load: str, kind: str, name: str, density: float, out: Path | None
) -> None:
    from jointload.insole.shape.compression import FORCE_UNITS, parse_quantity
    from jointload.insole.shape.impact_test import fit_cushion
    from jointload.insole.shape.materials import shipped_materials
    from jointload.report.papers.material_folder import cushion_text, material_row, write_material

    newtons = parse_quantity(load, FORCE_UNITS, "load")
    found = fit_cushion(tests, name, kind, density or float("nan"))
    typer.echo(cushion_text(found))
    if out is None:
        typer.echo(material_row(found.fit.material), nl=False)
        return
    others = [m for m in shipped_materials().values() if m.kind in ("foam", "gel")]
    with step("Figure"):
        write_material(found, out, newtons, others)
    typer.echo(f"Wrote {out / 'material.csv'}, the figure and the numbers beside it.")

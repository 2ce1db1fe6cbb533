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
    from jointload.insole.shape.shape import Surface


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
    from jointload.report.papers.shape_folder import write_shape

    check_new(out, replace)
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
    hardness: Annotated[float, typer.Option(help="Shore A of a solid elastomer, in place of a test")] = 0.0,
    out: Annotated[
        Path | None, typer.Option(help="folder for row, figure and numbers; without it they are shown")
    ] = None,
    replace: Replace = False,
) -> None:
    """Fit a layer's law to a compression test (columns such as compression_mm,force_N), or turn hardness to modulus."""
    check_new(out, replace)
    if (file is None) == (hardness == 0):
        advice = "give the test's CSV, or --hardness with --kind elastomer"
        raise SettingError(expected_found("material", "a test or a hardness", "neither or both", "the command", advice))
    if file is None:
        _hardness(hardness, kind)
        return
    _fitted(file, {"thickness": thickness, "area": area, "load": load}, kind, name, density, out)


def _scanned(file: Path, side: str, unit: str, up: str, forward: str, layer: str) -> tuple[Surface, ...]:
    from jointload.insole.shape.materials import material as known
    from jointload.insole.shape.scan import read_scan
    from jointload.insole.shape.shape import Layer

    layers = (Layer(known(layer)),) if layer else ()
    return (read_scan(file, side_asked(side), unit, up, forward, layers),)


def _hardness(shore_a: float, kind: str) -> None:
    from jointload.insole.shape.materials import HARDNESS_LAWS, modulus_from_hardness

    fitting = [law for law, (_, (low, high)) in HARDNESS_LAWS.items() if low <= shore_a <= high]
    for law in fitting or HARDNESS_LAWS:
        modulus = modulus_from_hardness(shore_a, kind, law) / 1e6
        typer.echo(f"{law}: {modulus:.2f} MPa at {shore_a:g} Shore A, for solid elastomers only")


def _fitted(file: Path, words: dict[str, str], kind: str, name: str, density: float, out: Path | None) -> None:
    from jointload.insole.shape import compression as tests
    from jointload.insole.shape.materials import shipped_materials
    from jointload.report.papers.material_folder import fit_text, material_row, write_material

    units = {"thickness": tests.LENGTH_UNITS, "area": tests.AREA_UNITS, "load": tests.FORCE_UNITS}
    sizes = {key: tests.parse_quantity(word, units[key], key) if word else None for key, word in words.items()}
    test = tests.read_compression(file, sizes["thickness"], sizes["area"])
    fit = tests.fit_layer(test, name or file.stem, kind, density or float("nan"))
    typer.echo(fit_text(fit))
    if out is None:
        typer.echo(material_row(fit.material), nl=False)
        return
    others = [m for m in shipped_materials().values() if m.kind in ("foam", "gel")]
    with step("Figure"):
        write_material(fit, out, sizes["load"] or 1500.0, others)
    typer.echo(f"Wrote {out / 'material.csv'}, the figure and the numbers beside it.")

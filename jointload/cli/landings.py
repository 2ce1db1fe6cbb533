"""Commands on one landing: analyse it, ask what a shape under the foot would shift, and the demo of both."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointload.cli.app import app
from jointload.cli.beside import LandingCommand
from jointload.cli.command import Command
from jointload.cli.options import (
    USUAL,
    USUAL_DRAWS,
    Draws,
    DrawSeed,
    Figures,
    HeelCupWords,
    Laid,
    LandingWords,
    Out,
    OwnMaterials,
    Replace,
    Without,
    check_figures,
    check_out,
    laid_from,
    of_a_landing,
    side_asked,
)
from jointload.cli.riders import Conditions, analysed, known_rider, with_conditions, with_intervals
from jointload.cli.terminal import WARNINGS, print_last_lines, print_same_person, same_person, step
from jointload.errors import SettingError, expected_found

if TYPE_CHECKING:
    from jointload.analysis import Analysis
    from jointload.insole.calibration.personal import Known
    from jointload.insole.fitting.fit import Fit
    from jointload.insole.fitting.whatif import Given, WhatIf

USUAL_LENGTH = 0.265
"""Foot length [m] at which the parts of an insole are checked before the foot is known."""


@app.command(cls=Command)
def demo(out: Out = Path("demo_report"), replace: Replace = False, figures: Figures = "") -> None:
    """Analyse the invented sample study that ships with jointload, with a what-if and a fit, and write its report."""
    from jointload.insole.fitting.fit import fit
    from jointload.modeldata import shipped_folder

    check_figures(figures)
    check_out(out, replace)
    sample = shipped_folder("sample_c3d")
    files = {
        "trial": sample / "rider_a_landing_flat.c3d",
        "static": sample / "rider_a_static.c3d",
        "labels": sample / "labels.toml",
        "rider": sample / "rider_a.toml",
    }
    landing = LandingWords(files, USUAL)
    analysis = with_intervals(analysed(landing))
    answer = _predicted(analysis, _asked("medial:4", "right", "heel", "", "", [], Laid()))
    with step("The shape that lowers the largest pressure"):
        found = fit(analysis, "right", "peak_pressure")
    typer.echo(f"The sample study is in {sample}")
    _written(analysis, answer, landing, out, figures, found)


@app.command(cls=LandingCommand)
@of_a_landing
def analyse(
    landing: LandingWords,
    out: Out,
    replace: Replace = False,
    draws: Draws = USUAL_DRAWS,
    seed: DrawSeed = 0,
    without: Without = "",
    figures: Figures = "",
) -> None:
    """Analyse one landing: angles, moments, forces, alignment, how certain they are, and what to doubt."""
    check_figures(figures)
    check_out(out, replace)
    chosen = _kept_inputs(without)
    _written(with_intervals(analysed(landing), draws, seed, chosen), None, landing, out, figures)


@app.command(cls=LandingCommand)
@of_a_landing
def whatif(
    landing: LandingWords,
    out: Out,
    replace: Replace = False,
    heel_wedge: Annotated[
        str, typer.Option(help="medial:DEGREES or lateral:DEGREES, the raised side; several with commas are compared")
    ] = "",
    side: Annotated[str, typer.Option(help="right or left, the foot the shape is under")] = "",
    length: Annotated[str, typer.Option(help="'heel', or 'full' for a wedge of the whole foot's length")] = "heel",
    heel_lift: Annotated[str, typer.Option(help="height under the heel, such as 3mm")] = "",
    thickness: Annotated[str, typer.Option(help="thickness of the whole insole in place of 4 mm, such as 6mm")] = "",
    layer: Annotated[
        str,
        typer.Option(
            help="thin layers upon the insole, PLACE:MATERIAL:HEIGHT such as heel:gel:3mm, PLACE heel, ball or "
            "whole; several at once with +, several with commas are compared"
        ),
    ] = "",
    heel_cup: HeelCupWords = "",
    materials: OwnMaterials = None,
    insole: Annotated[
        list[Path] | None, typer.Option(help="insole.toml in place of such parts; give several to compare them")
    ] = None,
    draws: Annotated[int, typer.Option(min=50, max=20000, help="drawn persons")] = 200,
    seed: Annotated[int, typer.Option(help="seed of the draws")] = 1,
    conditions: Conditions = None,
    interval_draws: Draws = USUAL_DRAWS,
    figures: Figures = "",
) -> None:
    """Analyse one landing and predict what a wedge, a lift or an insole would shift, with an interval."""
    from jointload.insole.fitting.whatif import require_moments

    check_figures(figures)
    check_out(out, replace)
    laid = laid_from(layer, heel_cup, materials or [])
    asked = _asked(heel_wedge, side, length, heel_lift, thickness, insole or [], laid)
    plain = analysed(landing)
    for shape in asked:
        require_moments(plain.landing, shape.side)
    analysis = with_intervals(plain, interval_draws)
    known = known_rider(landing, analysis, conditions, asked[0].side, seed)
    landing = dataclasses.replace(landing, files=with_conditions(landing, conditions, asked[0].side))
    _written(analysis, _predicted(analysis, asked, draws, seed, known), landing, out, figures)


def _kept_inputs(without: str) -> tuple[str, ...]:
    """The uncertain inputs but those named with commas."""
    from jointload.uncertainty.spreads import SOURCES, load_source

    exact = {load_source(name.strip()).name for name in without.split(",") if name.strip()}
    return tuple(name for name in SOURCES if name not in exact)


def _predicted(
    analysis: Analysis, asked: tuple[Given, ...], draws: int = 200, seed: int = 1, known: Known | None = None
) -> WhatIf:
    from jointload.insole.fitting.whatif import compare

    with step("What the shape would shift"):
        return compare(analysis, asked, draws, seed, known)


def _asked(
    wedge: str, side: str, length: str, lift: str, thickness: str, insoles: list[Path], laid: Laid
) -> tuple[Given, ...]:
    """The shapes of the words, checked before anything is read; an insole file stands without parts."""
    from itertools import product

    from jointload.insole.fitting.whatif import USUAL_BASE, Parts
    from jointload.insole.shape.compression import LENGTH_UNITS, parse_quantity
    from jointload.insole.shape.geometry import parse_wedge
    from jointload.insole.shape.parts import HeelCup
    from jointload.insole.shape.shape_file import read_shape

    parts = {"--heel-wedge": wedge, "--heel-lift": lift, "--thickness": thickness}
    parts |= {"--layer": "given" * bool(laid.layers), "--heel-cup": "given" * bool(laid.cup)}
    given = [name for name, words in parts.items() if words]
    if bool(given) == bool(insoles):
        expected, found = "--insole alone, or some of " + ", ".join(parts), ", ".join(given) or "none of them"
        raise SettingError(expected_found("what-if", expected, found, "the command", "name what lies under the foot"))
    if insoles:
        return tuple(read_shape(path, side and side_asked(side)) for path in insoles)
    foot = side_asked(side)
    wedges = [parse_wedge(words.strip(), foot, length) for words in wedge.split(",")] if wedge else []
    if wedges and len(given) == 1:
        return tuple(wedges)
    height = parse_quantity(lift, LENGTH_UNITS, "heel lift") if lift else 0.0
    base = parse_quantity(thickness, LENGTH_UNITS, "thickness") if thickness else USUAL_BASE
    asked = tuple(
        Parts(foot, tilted, height, base, thin, HeelCup(laid.cup))
        for tilted, thin in product(wedges or (None,), laid.layers or ((),))
    )
    for parts_of_one in asked:
        parts_of_one.shape(USUAL_LENGTH)
    return asked


def _written(
    analysis: Analysis,
    answer: WhatIf | None,
    landing: LandingWords,
    out: Path,
    figures: str,
    found: Fit | None = None,
) -> None:
    from jointload.report.files.folder import write_report

    with step("Report"):
        write_report(analysis, out, whatif=answer, inputs=landing.files, figures=figures, fit=found)
    print_same_person(analysis)
    typer.echo(f"Wrote {out / 'report.html'} and the tables beside it.")
    print_last_lines(analysis, answer, found)
    if not same_person(analysis):
        raise typer.Exit(WARNINGS)

"""The shape that serves one rider: `jointload fit`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from jointload.cli.app import app
from jointload.cli.beside import LandingCommand
from jointload.cli.options import (
    USUAL_DRAWS,
    Draws,
    Figures,
    LandingWords,
    Out,
    OwnMaterials,
    Replace,
    check_figures,
    check_out,
    cushions,
    of_a_landing,
    side_asked,
)
from jointload.cli.riders import Conditions, analysed, known_rider, with_conditions, with_intervals
from jointload.cli.terminal import print_last_lines, print_same_person, step

if TYPE_CHECKING:
    from jointload.insole.fitting.aim import Limits


@app.command(cls=LandingCommand)
@of_a_landing
def fit(
    landing: LandingWords,
    out: Out,
    side: Annotated[str, typer.Option(help="right or left, the foot the shape is for", show_default=False)],
    replace: Replace = False,
    target: Annotated[
        str,
        typer.Option(
            help="what to lower: knee_adduction_moment, knee_adduction_impulse, rearfoot_eversion, knee_over_ankle, "
            "hip_adduction, pelvic_drop, achilles_load, peak_pressure, peak_pressure_REGION, or by thin layers and a "
            "heel cup heel_pressure, pad_strain, heel_force, ball_pressure, toe_push; with weights "
            "heel_pressure:2,knee_adduction_moment:1"
        ),
    ] = "knee_adduction_moment",
    stack: Annotated[str, typer.Option(help="greatest height anywhere under heel and ball")] = "8mm",
    posting: Annotated[float, typer.Option(help="most posting [deg]")] = 8.0,
    lift: Annotated[str, typer.Option(help="most heel lift")] = "10mm",
    inversion: Annotated[float, typer.Option(help="most that the ankle's inversion may rise by [deg]")] = 3.0,
    knee_rise: Annotated[float, typer.Option(help="most that the other knee moment may rise by [%]")] = 10.0,
    pressure_rise: Annotated[float, typer.Option(help="most that the largest pressure may rise by [%]")] = 10.0,
    no_cup: Annotated[bool, typer.Option("--no-cup", help="no heel cup: the shoe has no room for it")] = False,
    materials: OwnMaterials = None,
    conditions: Conditions = None,
    draws: Annotated[int, typer.Option(min=50, max=2000, help="drawn persons")] = 200,
    seed: Annotated[int, typer.Option(help="seed of the draws and of the search")] = 1,
    interval_draws: Draws = USUAL_DRAWS,
    figures: Figures = "",
) -> None:
    """Search the insole that lowers a load most within limits, judged at the worse end of its interval."""
    from jointload.insole.fitting.aim import parse_target
    from jointload.insole.fitting.fit import fit as search
    from jointload.insole.fitting.whatif import require_moments
    from jointload.report.files.folder import write_report
    from jointload.report.words.fit_units import told

    check_figures(figures)
    check_out(out, replace)
    foot = side_asked(side)
    aim, limits = parse_target(target), _limits(stack, posting, lift, inversion, knee_rise, pressure_rise, not no_cup)
    chosen = cushions(materials or [])
    plain = analysed(landing)
    require_moments(plain.landing, foot)
    analysis = with_intervals(plain, interval_draws)
    known = known_rider(landing, analysis, conditions, foot, seed)
    with step("Searching the shape"):
        found = search(analysis, foot, aim, limits, draws, seed, known, chosen)
    with step("Report"):
        write_report(analysis, out, inputs=with_conditions(landing, conditions, foot), figures=figures, fit=found)
    print_same_person(analysis)
    for sentence in told(found, analysis):
        typer.echo(sentence)
    insole = " and the insole's solid, drawing and sheet" if found.shape is not None else ""
    typer.echo(f"Wrote {out / 'report.html'}{insole}.")
    print_last_lines(analysis, fit=found)


def _limits(stack: str, posting: float, lift: str, inversion: float, knee: float, pressure: float, cup: bool) -> Limits:
    from math import radians

    from jointload.insole.fitting.aim import Limits
    from jointload.insole.shape.compression import LENGTH_UNITS, parse_quantity

    return Limits(
        stack=parse_quantity(stack, LENGTH_UNITS, "stack"),
        posting=radians(posting),
        lift=parse_quantity(lift, LENGTH_UNITS, "heel lift"),
        inversion=radians(inversion),
        knee_rise=knee / 100,
        pressure_rise=pressure / 100,
        cup=cup,
    )

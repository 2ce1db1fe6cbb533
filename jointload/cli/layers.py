"""Which thin layer under heel or ball: `jointload layers`."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointload.cli.app import app
from jointload.cli.beside import LandingCommand
from jointload.cli.options import DrawSeed, LandingWords, Out, Replace, of_a_landing, side_asked
from jointload.cli.terminal import check_new, step, watched
from jointload.errors import SettingError, expected_found

if TYPE_CHECKING:
    from jointload.foot.thin_layers import Bearing
    from jointload.insole.shape.materials import Material


@app.command(cls=LandingCommand)
@of_a_landing
def layers(
    landing: LandingWords,
    out: Out,
    replace: Replace = False,
    under: Annotated[str, typer.Option(help="heel, ball or whole: where the layer lies")] = "heel",
    height: Annotated[str, typer.Option(help="height that is judged, such as 3mm")] = "3mm",
    stack: Annotated[str, typer.Option(help="greatest height that the shoe has room for")] = "8mm",
    side: Annotated[str, typer.Option(help="right or left; the heel that bears more without it")] = "",
    others: Annotated[
        list[Path] | None,
        typer.Option(help="C3D file of another landing of this rider; give several: the hardest of all is shown"),
    ] = None,
    materials: Annotated[
        list[Path] | None, typer.Option(help="material.csv of your own, as `jointload material` writes it")
    ] = None,
    temperature: Annotated[
        float | None, typer.Option(help="of the layer in the shoe [deg C]; room temperature without it")
    ] = None,
    worn: Annotated[float, typer.Option(help="how far the layer was worn [km]")] = 0.0,
    cup: Annotated[bool, typer.Option("--cup", help="a close cup or counter holds the heel's pad together")] = False,
    draws: Annotated[int, typer.Option(min=50, max=5000, help="drawn persons")] = 200,
    seed: DrawSeed = 5,
) -> None:
    """Compare thin layers of every material under heel or ball in a hard landing, and say which one serves."""
    from jointload.foot.layer_choice import choose
    from jointload.foot.thin_layers import HEIGHTS, PLACES, Circumstances, spare
    from jointload.insole.shape.compression import LENGTH_UNITS, parse_quantity
    from jointload.report.papers.layer_folder import RECORD, write_layers
    from jointload.report.papers.layer_words import cost, held, sentence
    from jointload.report.words.whole_folder import check_replaceable

    check_new(out, replace)
    check_replaceable(out.absolute(), RECORD)
    if under not in PLACES:
        raise SettingError(expected_found("--under", ", ".join(PLACES), repr(under), "the command", "name one"))
    limit, asked = (parse_quantity(word, LENGTH_UNITS, what) for word, what in ((stack, "stack"), (height, "height")))
    if not HEIGHTS[0] <= asked <= min(limit, HEIGHTS[-1]):
        most = f"{1000 * HEIGHTS[0]:g} to {1000 * min(limit, HEIGHTS[-1]):g} mm, within the stack"
        raise SettingError(expected_found("--height", most, height, "the command", "choose another height"))
    found = Circumstances(float("nan") if temperature is None else temperature, worn, cup)
    chosen = _materials(materials or [])
    foot = side_asked(side) if side else ""
    bearings = []
    for file in watched([landing.files["trial"], *(others or [])], "Landings"):
        bearings += [(file.stem, each) for each in _bearings(landing, file, foot, draws, seed)]
    bearings.sort(key=lambda each: -float(each[1].heel_force.mean()))
    with step("Heel and ball on every layer"):
        trials = [(name, spare(bearing, chosen, HEIGHTS, found)) for name, bearing in bearings]
    choices = [choose(trials[0][1], place, asked, limit) for place in sorted(PLACES, key=lambda p: p != under)]
    record = {"draws": draws, "seed": seed, "landings": [name for name, _ in trials], "stack_m": limit}
    record |= {"temperature_deg_C": temperature, "worn_km": worn, "cup": cup, "materials": [m.name for m in chosen]}
    with step("Page and table"):
        write_layers(trials, choices, out, record)
    typer.echo(sentence(trials[0][1], choices[0]))
    for more in filter(None, (held(trials[0][1]), cost(trials[0][1], choices[0]))):
        typer.echo(more)
    typer.echo(f"Wrote {out / 'layers.html'} and the table beside it.")


def _materials(own: list[Path]) -> tuple[Material, ...]:
    """The shipped cushions, and all rows of the user's files; a name of the user's own stands for the shipped one."""
    from jointload.insole.shape.materials import read_materials, shipped_materials

    found = {m.name: m for m in shipped_materials().values() if m.kind in ("foam", "gel", "elastomer")}
    for path in own:
        found |= read_materials(path)
    return tuple(found.values())


def _bearings(landing: LandingWords, file: Path, foot: str, draws: int, seed: int) -> list[Bearing]:
    """What each foot of one landing bears, or the one asked for; SettingError where it is known of none."""
    from jointload.analysis import analyse
    from jointload.foot.thin_layers import bearing_of
    from jointload.intake.recording import SIDES
    from jointload.intake.session import read_session

    words = dataclasses.replace(landing, files=landing.files | {"trial": file})
    session = read_session(**{**words.files, **words.reading})
    analysis = analyse(session, landing.settings, variants=False)
    out, problems = [], []
    for side in (foot,) if foot else SIDES:
        try:
            out.append(bearing_of(analysis.landing, side, session.shoe, draws, seed))
        except SettingError as problem:
            problems.append(problem)
    if not out:
        raise problems[0]
    return out

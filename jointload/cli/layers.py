"""Which thin layer under heel or ball: `jointload layers` of one rider, `jointload study layers` of many."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointload.cli.app import app
from jointload.cli.beside import LandingCommand
from jointload.cli.command import Command
from jointload.cli.options import (
    Cup,
    DrawSeed,
    FootDraws,
    LandingWords,
    LayerHeight,
    LayerStack,
    Out,
    OwnMaterials,
    Replace,
    Temperature,
    Under,
    Worn,
    cushions,
    layer_question,
    of_a_landing,
    side_asked,
)
from jointload.cli.studies import Folder, study
from jointload.cli.terminal import check_new, step, watched
from jointload.errors import SettingError

if TYPE_CHECKING:
    from jointload.foot.layer_choice import LayerChoice
    from jointload.foot.thin_layers import Bearing, LayerTrial


@app.command(cls=LandingCommand)
@of_a_landing
def layers(
    landing: LandingWords,
    out: Out,
    replace: Replace = False,
    under: Under = "heel",
    height: LayerHeight = "3mm",
    stack: LayerStack = "8mm",
    side: Annotated[str, typer.Option(help="right or left; the heel that bears more without it")] = "",
    others: Annotated[
        list[Path] | None,
        typer.Option(help="C3D file of another landing of this rider; give several: the hardest of all is shown"),
    ] = None,
    materials: OwnMaterials = None,
    temperature: Temperature = None,
    worn: Worn = 0.0,
    cup: Cup = False,
    draws: FootDraws = 200,
    seed: DrawSeed = 5,
) -> None:
    """Compare thin layers of every material under heel or ball in a hard landing, and say which one serves."""
    from jointload.foot.layer_choice import choose
    from jointload.foot.thin_layers import HEIGHTS, spare
    from jointload.report.papers.layer_folder import RECORD, write_layers

    check_new(out, replace, RECORD)
    question = layer_question(under, height, stack, temperature, worn, cup, draws, seed)
    chosen = cushions(materials or [])
    foot = side_asked(side) if side else ""
    bearings = []
    for file in watched([landing.files["trial"], *(others or [])], "Landings"):
        bearings += [(file.stem, each) for each in _bearings(landing, file, foot, draws, seed)]
    bearings.sort(key=lambda each: -float(each[1].heel_force.mean()))
    with step("Heel and ball on every layer"):
        trials = [(name, spare(bearing, chosen, HEIGHTS, question.circumstances)) for name, bearing in bearings]
    choices = [choose(trials[0][1], place, question.height, question.limit) for place in question.places]
    record = question.as_record() | {
        "landings": [name for name, _ in trials], "materials": [m.name for m in chosen],
    }  # fmt: skip
    with step("Page and table"):
        write_layers(trials, choices, out, record)
    _told(trials[0][1], choices[0], out)


@study.command("layers", cls=Command)
def of_study(
    folder: Folder,
    results: Annotated[Path | None, typer.Option(help="what `study run` wrote; DIR/results without it")] = None,
    out: Annotated[Path | None, typer.Option(help="new folder; layers in the results without it")] = None,
    replace: Replace = False,
    under: Under = "heel",
    height: LayerHeight = "3mm",
    stack: LayerStack = "8mm",
    rider: Annotated[str, typer.Option(help="only this rider of riders.csv; all without it")] = "",
    condition: Annotated[str, typer.Option(help="only landings under this condition")] = "",
    every_landing: Annotated[
        bool, typer.Option("--every", help="every landing in place of each rider's hardest, each counting alike")
    ] = False,
    materials: OwnMaterials = None,
    temperature: Temperature = None,
    worn: Worn = 0.0,
    cup: Cup = False,
    draws: FootDraws = 200,
    seed: DrawSeed = 5,
) -> None:
    """Compare thin layers in the hardest landing of each rider of a study, and say which one serves them all."""
    from jointload.report.papers.layer_folder import RECORD
    from jointload.whole_study import layers_study

    out = out or (results or folder / "results") / "layers"
    check_new(out, replace, RECORD)
    question = layer_question(under, height, stack, temperature, worn, cup, draws, seed)
    whole, choice, written = layers_study(
        folder, question, cushions(materials or []), results, out, condition, rider, every_landing,
        lambda trials: watched(trials, "Landings"), step,
    )  # fmt: skip
    _told(whole, choice, written)


def _told(trial: LayerTrial, choice: LayerChoice, out: Path) -> None:
    from jointload.report.papers.layer_words import cost, held, sentence

    for words in filter(None, (sentence(trial, choice), held(trial), cost(trial, choice))):
        typer.echo(words)
    typer.echo(f"Wrote {out / 'layers.html'} and the table beside it.")


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

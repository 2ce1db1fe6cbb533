"""The page on thin layers: one sentence, one picture, what it costs, and the numbers behind."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from jointload.foot.layer_choice import LayerChoice, told
from jointload.foot.spreads import foot_spreads
from jointload.foot.thin_layers import LayerTrial
from jointload.insole.shape.materials import Material
from jointload.report.figures.layer_figure import layer_sheet, plain
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.papers.layer_words import (
    CAUTIONS,
    UNDER,
    circumstances,
    cost,
    held,
    loaded,
    millimetres,
    number,
    sentence,
    speed_of,
    unchanged,
    whose,
)
from jointload.report.words import html
from jointload.report.words.cells import sentence_case


def _head(choice: LayerChoice) -> tuple[str, ...]:
    own, other = ("ball", "heel") if choice.target == "ball" else ("heel", "ball")
    return (
        "layer", f"{own}'s pressure", "left under the heel [kPa]", "pad's strain [%]", "height left [mm]",
        "energy taken [J]", "kept [J]", "bottoms out in", f"{other}'s pressure", "toes' push [N]",
    )  # fmt: skip


Each = tuple[str, LayerTrial, LayerChoice]
"""A landing by name, its trial and the choice for it alone."""


def render_layers(trial: LayerTrial, choices: Sequence[LayerChoice], name: str, each: Sequence[Each] = ()) -> str:
    """The page; the first choice is the one that was asked for and has the picture. each : the landings by themselves,
    where there are several"""
    first, *others = choices
    body = [
        "<h1>Which thin layer</h1>",
        f"<p>{escape(name)}, {escape(whose(trial).removeprefix('the '))}; layers {escape(circumstances(trial))}.</p>",
        html.answer(sentence(trial, first)),
        html.paragraph(held(trial)) if trial.circumstances.cup else "",
        sheet_figure(layer_sheet(trial, first), _caption(trial, first), "height"),
        html.section("each", "Each landing by itself", _each(each)) if len(each) > 1 else "",
        html.section("cost", "What it costs elsewhere", html.paragraph(cost(trial, first)), *_others(trial, others)),
        html.section("unchanged", "What no thin layer changes", html.paragraph(unchanged())),
        html.section(
            "numbers", "The layers beside each other", html.paragraph(loaded(trial)), *_at_heights(trial, first),
        ),
        html.section("laws", "Where the laws are from", _laws(trial), _parameters()),
        html.section("cautions", "Cautions", *(html.paragraph(text) for text in CAUTIONS)),
    ]  # fmt: skip
    return html.document(f"Which thin layer: {name}", "\n".join(part for part in body if part))


def _caption(trial: LayerTrial, choice: LayerChoice) -> str:
    return (
        f"Middle of {trial.bearing.draws} drawn persons; the bar is the 95 % interval of the best at "
        f"{millimetres(choice.height)}. A change counts from {100 * _floor('told'):.0f} % at the worse end of the "
        f"interval; what runners just told apart differed by {100 * _floor('felt'):.0f} % [@intjexercsci_2024]."
    )


def _floor(key: str) -> float:
    from jointload.modeldata import load_model

    return float(load_model("foot", "layer").content["floors"][key])


def _others(trial: LayerTrial, choices: Sequence[LayerChoice]) -> list[str]:
    return [html.paragraph(f"{sentence_case(UNDER[c.place])}: {sentence(trial, c)} {cost(trial, c)}") for c in choices]


def _each(each: Sequence[Each]) -> str:
    """What serves each landing: a material that serves all need not serve one."""
    rows = [
        [
            escape(name),
            escape(trial.bearing.side),
            number(told(np.ravel(trial.bearing.heel_force))),
            number(told(trial.bare_pressure), 1e-3),
            escape(sentence(trial, choice)),
        ]
        for name, trial, choice in each
    ]
    return html.table(("landing", "foot", "force under the heel [N]", "heel [kPa]", "what serves it"), rows, (2, 3))


def _at_heights(trial: LayerTrial, choice: LayerChoice) -> list[str]:
    """The height that was asked for in the open, the others folded."""
    at = trial.heights.index(choice.height)
    first = f"<h3>{escape(millimetres(choice.height))} {escape(UNDER[choice.place])}</h3>{_at(trial, choice, at)}"
    others = [k for k in range(len(trial.heights)) if k != at]
    return [first, *(html.folded(f"At {millimetres(trial.heights[k])}", _at(trial, choice, k)) for k in others)]


def _at(trial: LayerTrial, choice: LayerChoice, at: int) -> str:
    rows = [_row(trial, choice, k, material, at) for k, material in enumerate(trial.materials)]
    return html.table(_head(choice), rows, range(1, len(rows[0])))


def _row(trial: LayerTrial, choice: LayerChoice, k: int, material: Material, at: int) -> list[str]:
    spared = trial.spared[choice.place]
    own, other = spared.heel_change, spared.ball_change
    if choice.target == "ball":
        own, other = other, own
    cells = [
        plain(material.name),
        number(told(own[k, at]), 100.0, 0, " %"),
        number(told(spared.heel_pressure[k, at]), 1e-3),
        number(told(spared.pad_strain[k, at]), 100.0),
        number(told(spared.left[k, at]), 1000.0, 1),
        number(told(spared.taken[k, at]), 1.0, 2),
        number(told(spared.kept[k, at]), 1.0, 2),
        f"{100 * spared.bottomed[k, at].mean():.0f} %",
        number(told(other[k, at]), 100.0, 0, " %"),
        number(told(spared.toe_push[k, at])),
    ]
    return [escape(cell) for cell in cells]


def _laws(trial: LayerTrial) -> str:
    rows = [
        [
            escape(plain(m.name)),
            f"{m.modulus / 1e6:.3g} MPa",
            f"{m.stiffening_strain:.2f}",
            escape(m.basis),
            escape(speed_of(m, trial)),
            escape(number(told(stiffer), 1.0, 2)),
            escape(m.source),
        ]
        for m, stiffer in zip(trial.materials, trial.stiffer, strict=True)
    ]
    head = ("material", "modulus", "compacted at", "basis", "speed", "times as stiff in this landing", "source")
    return html.table(head, rows, (1, 2, 5))


def _parameters() -> str:
    rows = [
        [escape(name.replace("_", " ")), f"{s.value:g} ({s.low:g} to {s.high:g})", escape(s.unit), escape(s.source)]
        for file in ("layer", "heel_pad")
        for name, s in foot_spreads(file).items()
    ]
    table = html.table(("parameter", "likeliest and range", "unit", "source, or choice"), rows)
    return html.folded("Every parameter with its source", table)

"""Thin layers in words: the one sentence, what a layer costs, what it does not change, how a law was come by."""

from __future__ import annotations

import math

import numpy as np

from jointload.foot.layer_choice import LayerChoice, Told, told
from jointload.foot.thin_layers import LayerTrial
from jointload.insole.shape.materials import Material
from jointload.modeldata import load_model
from jointload.report.figures.layer_figure import plain
from jointload.report.words.cells import sentence_case

UNDER = {"heel": "under the heel", "ball": "under the ball", "whole": "under the whole foot"}
LEAST_PUSH = 1.0
"""A change of the toes' push below this [N] is none."""
QUICKER = 5.0
"""A test this many times slower than the landing is called slow."""
CAUTIONS = (
    "A comparison of materials for one landing, from drawn persons; no bruise of a heel has a published threshold, so "
    "that no number here is a probability of injury.",
    "Standing on it decides what a foot bears: try a layer at low heights first, and stop when anything hurts. A "
    "licensed practitioner decides about a painful foot.",
    "A layer takes room in the shoe: the heel may slip out, and the toes need theirs.",
)


def number(value: Told, factor: float = 1.0, decimals: int = 0, unit: str = "") -> str:
    """Middle and interval such as '−12 % (−20 to −5)'; a dash where it is not known."""
    if math.isnan(value.middle):
        return "–"
    middle, low, high = (_signed(factor * each, decimals) for each in (value.middle, value.low, value.high))
    return f"{middle}{unit} ({low} to {high})"


def _signed(value: float, decimals: int) -> str:
    return f"{round(value, decimals) + 0.0:.{decimals}f}".replace("-", "−")


def millimetres(height: float) -> str:
    return f"{1000 * height:.3g} mm"


def sentence(trial: LayerTrial, choice: LayerChoice) -> str:
    """At 3 mm under the right heel: X, heel pressure −12 % (−20 to −5) ..."""
    where = f"{UNDER[choice.place]} of {whose(trial)}"
    if choice.place == "whole":
        where = f"under the whole {trial.bearing.side} foot" if trial.riders == 1 else where
    names = [plain(material.name) for material in trial.materials]
    if choice.best is None:
        first = (
            f"At {millimetres(choice.height)} {where} every material bottoms out in half of the drawn persons or more"
        )
    else:
        change = number(choice.change, 100.0, 0, " %")
        first = f"At {millimetres(choice.height)} {where}: {names[choice.best]}, {choice.target} pressure {change}"
        if choice.alike:
            first += f", not told from {_listed([names[k] for k in choice.alike], 'or')}"
    parts = [first]
    if choice.bottomed and choice.best is not None:
        one = len(choice.bottomed) == 1
        parts.append(
            f"{_listed([names[k] for k in choice.bottomed], 'and')} {'bottoms' if one else 'bottom'} out there"
        )
    none = "the cup alone" if trial.circumstances.cup and choice.target == "heel" else "none"
    parts.append(_reach(choice, none, trial.heights[-1]))
    return sentence_case("; ".join(filter(None, parts))) + "."


def whose(trial: LayerTrial) -> str:
    """The foot that bears, or the riders whose feet do."""
    return f"the {trial.bearing.side} foot" if trial.riders == 1 else f"{trial.riders} riders"


def _reach(choice: LayerChoice, none: str, highest: float) -> str:
    """From which height layers are told from no layer, and above which nothing is gained. highest : that was tried"""
    if choice.told_from is None:
        return f"no layer up to {millimetres(choice.limit)} is told from {none}"
    below = f"below {millimetres(choice.told_from)} nothing is told from {none}" if choice.told_from > 0.0011 else ""
    below = below or f"{millimetres(choice.told_from)} is told from {none} already"
    if choice.gained_to is None:
        return below
    if choice.gained_to >= choice.limit - 5e-4:
        return f"{below}; up to the limit of {millimetres(choice.limit)} each millimetre gains"
    if choice.gained_to >= highest - 5e-4:
        return f"{below}; up to {millimetres(highest)}, the highest that was tried, each millimetre gains"
    return f"{below}; above {millimetres(choice.gained_to)} nothing is gained"


def cost(trial: LayerTrial, choice: LayerChoice) -> str:
    """What the chosen layer does elsewhere: ball, or heel, and toes."""
    if choice.best is None:
        return ""
    at = int(np.argmin(np.abs(np.array(trial.heights) - choice.height)))
    spared = trial.spared[choice.place]
    other, change = ("heel", spared.heel_change) if choice.target == "ball" else ("ball", spared.ball_change)
    text = f"It changes the {other}'s pressure by {number(told(change[choice.best, at]), 100.0, 0, ' %')}"
    toes = told(spared.toe_push[choice.best, at])
    if math.isnan(toes.middle):
        return f"{text}; the push of the toes is not known: {trial.bearing.no_toes}."
    if max(abs(toes.low), abs(toes.high)) < LEAST_PUSH:
        return f"{text}; the toes push no harder."
    return f"{text}, and the largest push of the toes by {number(toes, 1.0, 0, ' N')}, because the foot slopes."


def unchanged() -> str:
    """What a thin layer does not change, as published."""
    row = load_model("foot", "layer").content["ground"]
    return f"{row['told']} {row['source']}"


def held(trial: LayerTrial) -> str:
    """What the cup does by itself; empty without one."""
    if not trial.circumstances.cup:
        return ""
    alone = number(told(trial.cup_change), 100.0, 0, " %")
    return f"The cup alone makes {alone} of each change under the heel: it holds the pad together and takes no height."


def loaded(trial: LayerTrial) -> str:
    """What heel and ball bear in this landing without a layer."""
    bearing = trial.bearing
    return (
        f"Force under the heel {number(told(np.ravel(bearing.heel_force)))} N, {bearing.basis}, reached in "
        f"{number(told(np.ravel(bearing.quickness)), 1000.0)} ms; without a layer it presses with "
        f"{number(told(trial.bare_pressure), 1e-3)} kPa and its pad is compressed by "
        f"{number(told(trial.bare_strain), 100.0)} % of its thickness. Under the ball the largest pressure is "
        f"{number(told(np.ravel(bearing.ball_pressure)), 1e-3)} kPa."
    )


def speed_of(material: Material, trial: LayerTrial) -> str:
    """How quickly a law was measured, and how it was carried to this landing."""
    landing = float(np.median(trial.bearing.quickness))
    if not math.isnan(material.rate_exponent):
        return f"speed from tests at two speeds, exponent {material.rate_exponent:.2f}"
    if math.isnan(material.loading_time):
        return "speed of its test unknown, probably slow: stiffened by a share of its energy loss"
    if material.loading_time > QUICKER * landing:
        times = material.loading_time / landing
        return f"measured slowly, {times:.0f} times as long as this landing: stiffened by a share of its energy loss"
    return f"measured in {1000 * material.loading_time:.0f} ms, as quickly as a landing"


def circumstances(trial: LayerTrial) -> str:
    """Temperature and wear that were asked for."""
    found = trial.circumstances
    warm = "at room temperature" if math.isnan(found.temperature) else f"at {found.temperature:g} °C"
    cup = ", in a close cup or counter" if found.cup else ""
    return f"{warm}, {'new' if found.worn == 0 else f'worn for {found.worn:g} km'}{cup}"


def _listed(names: list[str], last: str) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {last} {names[-1]}"

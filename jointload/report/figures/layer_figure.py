"""The picture that decides between thin layers: pressure left against height, a line a material."""

from __future__ import annotations

import numpy as np

from jointload.foot.layer_choice import MOSTLY, LayerChoice, cup_alone, judged
from jointload.foot.thin_layers import LayerTrial
from jointload.report.figures.axis import Axis, around, round_ticks
from jointload.report.figures.panel import Interval, Key, Line, Marks, Panel, Rule, Shape, Sheet, Span, Words

LOOKS: tuple[tuple[str, tuple[float, ...]], ...] = (
    ("first", ()), ("force", (8, 3)), ("board", (3, 3)), ("second", (10, 3, 2, 3)), ("part-5", (1, 3)),
    ("ink", (6, 2, 1, 2, 1, 2)), ("insole", (14, 4)), ("soft", (2, 5)),
)  # fmt: skip
"""Colour and dashes of each line; from the ninth on they come again, with the legend in the same order."""


def layer_sheet(trial: LayerTrial, choice: LayerChoice) -> Sheet:
    """Pressure left over that without a layer [%], middle of the drawn persons; bottomed heights marked, the stack's
    limit drawn, the interval of the best at the height asked for."""
    heights = 1000.0 * np.array([0.0, *trial.heights])
    change = judged(trial, choice.place)
    middles = 100.0 * (1.0 + np.median(change, axis=-1))
    start = 100.0 * (1.0 + float(np.median(cup_alone(trial, choice.place))))
    bottomed = trial.spared[choice.place].bottomed.mean(axis=-1) >= MOSTLY
    last = max(float(heights[-1]), 1000.0 * choice.limit)
    shapes: list[Shape] = [Span(1000.0 * choice.limit, last + 0.3)] if last + 0.3 > 1000.0 * choice.limit else []
    shapes += [Rule(100.0, colour="ink"), Rule(1000.0 * choice.limit, True, "warn", (5.0, 3.0), 1.6)]
    shapes.append(Words("stack limit", 1000.0 * choice.limit, 0.97, "warn", "end", (-4.0, -6.0), (False, True)))
    keys = []
    for k, material in enumerate(trial.materials):
        colour, dashes = LOOKS[k % len(LOOKS)]
        shapes.append(Line(heights, np.append(start, middles[k]), colour, dashes))
        if bottomed[k].any():
            shapes.append(Marks(heights[1:][bottomed[k]], middles[k][bottomed[k]], "triangle", colour, True, 5.0))
        keys.append(Key(plain(material.name), colour, dashes))
    lows = [middles]
    if choice.best is not None:
        low, high = (100.0 * (1.0 + end) for end in (choice.change.low, choice.change.high))
        colour = LOOKS[choice.best % len(LOOKS)][0]
        at = 1000.0 * choice.height
        shapes.append(Interval(at, low, high, colour, 2.2, upright=True))
        shapes.append(Marks(np.array([at]), np.array([100.0 * (1.0 + choice.change.middle)]), "circle", colour))
        lows.append(np.array([low, high]))
    keys.append(Key("bottomed out in half of the persons or more", "soft", mark="triangle", hollow=True, width=0))
    without = " and a cup" if trial.circumstances.cup else ""
    title = f"Pressure left under the {choice.target}"
    told = f"{title}, per cent of none, by height. " + "; ".join(
        f"{plain(m.name)}: " + ", ".join(f"{h:.0f} mm {v:.0f} %" for h, v in zip(heights[1:], row, strict=True))
        for m, row in zip(trial.materials, middles, strict=True)
    )
    behind = {
        plain(m.name): [
            f"{start:.1f}",
            *(f"{v:.1f}{' bottomed' if b else ''}" for v, b in zip(row, marks, strict=True)),
        ]
        for m, row, marks in zip(trial.materials, middles, bottomed, strict=True)
    }
    panel = Panel(
        title, f"% of the pressure without a layer{without}, middle of the drawn persons", f"{told}.",
        Axis(0.0, last + 0.3, "height of the layer, unloaded [mm]", round_ticks(0.0, last + 0.3, 8)),
        around([*lows, np.array([101.0])]), tuple(shapes), behind=behind,
    )  # fmt: skip
    return Sheet((panel,), tuple(keys), columns=1, height=340.0, rows=tuple(f"{h:.0f} mm" for h in heights))


def plain(name: str) -> str:
    """A material's name as words."""
    return name.replace("_", " ")

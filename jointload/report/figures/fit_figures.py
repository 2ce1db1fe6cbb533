"""What stack height buys, as a panel."""

from __future__ import annotations

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.report.figures.axis import around
from jointload.report.figures.panel import Interval, Key, Line, Marks, Panel, Rule, Shape, Sheet
from jointload.report.words.fit_units import target_numbers
from jointload.report.words.quantities import number_text

WORSE_DASHES = (6.0, 3.0)


def trade_off(analysis: Analysis, fit: Fit) -> Sheet:
    """Change of the target over the stack heights, with one person's interval."""
    heights = np.array([1000 * point.stack for point in fit.trade_off])
    ends = [target_numbers(fit, analysis, (point.low, point.change, point.high))[0] for point in fit.trade_off]
    unit = target_numbers(fit, analysis, ())[1]
    low, middle, high = np.array(ends).T
    shapes: tuple[Shape, ...] = (
        Rule(0.0, colour="ink"),
        *(Interval(*each, upright=True) for each in zip(heights, low, high, strict=True)),
        Line(heights, high, "soft", WORSE_DASHES),
        Line(heights, middle, "ink"),
        Marks(heights, high, "triangle", "soft", True),
        Marks(heights, middle),
    )
    keys = (
        Key("middle of the drawn persons", "ink", mark="circle"),
        Key("worse end of the 95 % interval", "soft", WORSE_DASHES, "triangle", True),
    )
    told = "; ".join(
        f"{height:.1f} mm: {number_text(change, unit, extra=1)}" for height, change in zip(heights, middle, strict=True)
    )
    title = f"{fit.target.text[:1].upper()}{fit.target.text[1:]}"
    panel = Panel(
        title, f"change of the target [{unit}]", f"{title}, change [{unit}] by stack height. {told}.",
        around([heights], "allowed stack height [mm]"), around([low, high, 0.0]), shapes,
    )  # fmt: skip
    return Sheet((panel,), keys, columns=1, height=220.0)

"""Predicted changes with their two intervals, as figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from jointload.analysis import Analysis
from jointload.insole.fitting.whatif import Change, WhatIf
from jointload.report.figures.sheet import INK, SOFT, drawn
from jointload.report.words.quantities import SIDE_WORDS, quantity, shown
from jointload.report.words.tables import distinguishable, ordered_changes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COMPARED = (
    "knee_adduction_moment_peak", "knee_flexion_moment_peak", "hip_adduction_moment_peak",
    "ankle_inversion_moment_peak", "rearfoot_roll", "pressure_centre_medial",
)  # fmt: skip
"""Quantities of the comparison of shapes: the knee in both planes, what it may cost elsewhere, and the foot."""


def changes(analysis: Analysis, whatif: WhatIf, form: str = "") -> bytes:
    """Predicted changes with both 95 % intervals, one panel a unit."""
    return drawn(lambda figure, _: _changes(figure, analysis, whatif), analysis, form)


def comparison(analysis: Analysis, whatif: WhatIf, form: str = "") -> bytes:
    """Predicted changes of several shapes beside each other with both 95 % intervals, one panel a quantity."""
    return drawn(lambda figure, _: _comparison(figure, analysis, whatif), analysis, form)


def _changes(figure: Figure, analysis: Analysis, whatif: WhatIf) -> None:
    units: dict[str, list[Change]] = {}
    for row in ordered_changes(whatif):
        units.setdefault(quantity(row.quantity).unit, []).append(row)
    figure.set_size_inches(10, 0.3 * len(whatif.rows) + 0.7 * len(units) + 0.3)
    heights = [len(rows) + 0.6 for rows in units.values()]
    panels = figure.subplots(len(units), 1, squeeze=False, height_ratios=heights)[:, 0]
    for axes, (unit, rows) in zip(panels, units.items(), strict=True):
        for place, row in enumerate(rows):
            _intervals(axes, analysis, row, place)
        axes.axvline(0.0, color=SOFT, linewidth=1.0)
        axes.set_yticks(range(len(rows)), [_change_label(row) for row in rows])
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.margins(x=0.08)
        axes.set_xlabel(f"predicted change [{unit}]")


def _comparison(figure: Figure, analysis: Analysis, whatif: WhatIf) -> None:
    answers = (whatif, *whatif.others)
    figure.set_size_inches(10, 6)
    for axes, name in zip(figure.subplots(2, 3).flat, COMPARED, strict=True):
        what = quantity(name)
        for place, answer in enumerate(answers, start=1):
            row = next(row for row in answer.rows if row.quantity == name)
            _intervals(axes, analysis, row, place, upright=True)
        axes.axhline(0.0, color=SOFT, linewidth=1.0)
        axes.set_xticks(range(1, len(answers) + 1))
        axes.set_xlim(0.5, len(answers) + 0.5)
        axes.set_xlabel("shape")
        axes.set_title(what.plain_name)
        axes.set_ylabel(f"change [{what.full_unit}]")


def _intervals(axes: Axes, analysis: Analysis, row: Change, place: float, upright: bool = False) -> None:
    """The change at its place: thick the interval of the mechanics, thin that of one person, filled where it leaves
    out zero."""
    low, middle, high, person_low, person_high = (
        shown(v, quantity(row.quantity), analysis.landing.weight)
        for v in (row.low, row.change, row.high, row.person_low, row.person_high)
    )
    styles: list[tuple[list[float], str, dict[str, Any]]] = [
        ([person_low, person_high], "-", {"color": SOFT, "linewidth": 1.2, "solid_capstyle": "butt"}),
        ([low, high], "-", {"color": INK, "linewidth": 3.2, "solid_capstyle": "butt"}),
        ([middle], "D" if distinguishable(row) else "o",
         {"color": INK, "markerfacecolor": INK if distinguishable(row) else "white", "markersize": 7}),
    ]  # fmt: skip
    for values, form, style in styles:
        places = [place] * len(values)
        axes.plot(*((places, values) if upright else (values, places)), form, **style)


def _change_label(row: Change) -> str:
    what = quantity(row.quantity)
    return f"{what.plain_name}, {SIDE_WORDS[row.side]}" + ("" if what.kind == "none" else f" ({what.kind})")

"""Predicted changes with their two intervals, as panels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.fitting.whatif import Change, WhatIf
from jointload.report.figures.axis import Axis, around, named
from jointload.report.figures.panel import NARROW, Interval, Key, Marks, Panel, Rule, Shape, Sheet, name_above, one
from jointload.report.words.cells import told_change
from jointload.report.words.quantities import SIDE_WORDS, quantity, shown
from jointload.report.words.tables import ordered_changes

COMPARED = (
    "knee_adduction_moment_peak", "knee_flexion_moment_peak", "hip_adduction_moment_peak",
    "ankle_inversion_moment_peak", "rearfoot_roll", "pressure_centre_medial",
)  # fmt: skip
"""Quantities of the comparison of shapes: the knee in both planes, what it may cost elsewhere, and the foot."""
ROW_HEIGHT, NAME_ABOVE = 42.0, 14.0
"""Of a change with its name above it [px]."""
WIDEST = 3.0
"""An axis ends at this many times the median reach of one person's intervals: a longer one becomes an arrow."""
KEYS = (
    Key("change, one person's interval leaves out zero", "ink", mark="diamond", width=0),
    Key("change, not distinguishable from none", "ink", mark="circle", hollow=True, width=0),
    Key("95 % of the mechanics", "ink", width=4.2),
    Key("95 % of one person", "soft", width=1.6),
)


def changes(analysis: Analysis, whatif: WhatIf) -> Sheet:
    """Predicted changes with both 95 % intervals, one panel a unit."""
    units: dict[str, list[Change]] = {}
    for row in (row for row in ordered_changes(whatif) if _moves(row)):
        units.setdefault(quantity(row.quantity).unit, []).append(row)
    panels = tuple(_panel(analysis, unit, rows) for unit, rows in units.items())
    return Sheet(panels, KEYS, columns=2, least=330.0)


def _moves(row: Change) -> bool:
    """Whether there is something to draw: a change that is not negligible for every person."""
    reach = max(abs(row.person_low), abs(row.person_high))
    return bool(np.isfinite(row.change)) and not row.geometry and not row.unmoved and not reach < row.floor


def comparison(analysis: Analysis, whatif: WhatIf) -> Sheet:
    """Predicted changes of several shapes beside each other with both 95 % intervals, one panel a quantity."""
    answers = (whatif, *whatif.others)
    panels = []
    for name in COMPARED:
        what = quantity(name)
        rows = [next(row for row in answer.rows if row.quantity == name) for answer in answers]
        shapes = [shape for k, row in enumerate(rows) for shape in _intervals(analysis, row, float(k), upright=True)]
        told = "; ".join(f"shape {k}: {_told(analysis, row)}" for k, row in enumerate(rows, start=1))
        panels.append(
            Panel(
                what.plain_name, f"change [{what.full_unit}]", f"{what.plain_name}, change [{what.full_unit}]. {told}.",
                named([str(k) for k in range(1, len(answers) + 1)], "shape"), _reach(analysis, rows),
                (Rule(0.0), *shapes),
            )
        )  # fmt: skip
    return Sheet(tuple(panels), KEYS, columns=3, narrow=NARROW)


def _panel(analysis: Analysis, unit: str, rows: Sequence[Change]) -> Panel:
    """A row a change, named above its interval, so that a narrow screen has room for both."""
    shapes: list[Shape] = [Rule(0.0, upright=True)]
    for place, row in enumerate(rows):
        shapes += _intervals(analysis, row, float(place))
        shapes.append(name_above(_label(row), float(place), NAME_ABOVE))
    told = ". ".join(f"{_label(row)}: {_told(analysis, row)}" for row in rows)
    axis = _reach(analysis, rows, f"predicted change [{unit}]")
    return Panel(
        f"Predicted change, {SIDE_WORDS[rows[0].side]} [{unit}]", "", f"Predicted change [{unit}]. {told}.", axis,
        Axis(len(rows) - 0.5, -1.0, grid=False), tuple(shapes), height=ROW_HEIGHT * (len(rows) + 0.5),
    )  # fmt: skip


def _reach(analysis: Analysis, rows: Sequence[Change], label: str = "") -> Axis:
    """An axis with every change and the intervals of its mechanics; a person's interval that is far wider leaves it."""
    ends = np.array([_shown(analysis, row) for row in rows])
    person = ends[:, 3:]
    most = WIDEST * float(np.nanmedian(np.abs(person).max(axis=1)))
    return around([ends[:, :3], np.clip(person, -most, most), 0.0], label)


def _shown(analysis: Analysis, row: Change) -> list[float]:
    """Low, change and high of the mechanics, then one person's ends, in the quantity's own unit."""
    what = quantity(row.quantity)
    values = (row.low, row.change, row.high, row.person_low, row.person_high)
    return [shown(value, what, analysis.landing.weight) for value in values]


def _intervals(analysis: Analysis, row: Change, place: float, upright: bool = False) -> list[Shape]:
    """The change at its place: thick the interval of the mechanics, thin that of one person, filled where it leaves
    out zero."""
    low, middle, high, person_low, person_high = _shown(analysis, row)
    clear = row.distinguishable
    x, y = (place, middle) if upright else (middle, place)
    return [
        Interval(place, person_low, person_high, "soft", 1.6, upright),
        Interval(place, low, high, "ink", 4.2, upright),
        Marks(one(x), one(y), "diamond" if clear else "circle", "ink", not clear, 4.5),
    ]


def _told(analysis: Analysis, row: Change) -> str:
    what = quantity(row.quantity)
    told = told_change(row, analysis)
    return f"{told.value} {what.unit}, one person {told.interval}"


def _label(row: Change) -> str:
    what = quantity(row.quantity)
    return what.plain_name + ("" if what.kind == "none" else f" ({what.kind})")

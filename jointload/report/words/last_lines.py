"""The last lines of a run in the terminal: what to look at, the three numbers that matter most, the verdict."""

from __future__ import annotations

import math

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.insole.fitting.whatif import WhatIf
from jointload.insole.limb.change import Change
from jointload.landing.landed import Measure
from jointload.report.words.cells import told_change, told_measure
from jointload.report.words.quantities import Quantity, Told, quantity
from jointload.report.words.trust import trust_in

NUMBERS = ("vertical_force_peak", "knee_adduction_moment_peak", "l5s1_extension_moment_peak")
"""How hard, and what knee and lower back bore."""
CHANGES = ("rearfoot_eversion_peak", "knee_over_ankle", "knee_adduction_moment_peak")
"""What a shape shifts, from the foot upwards."""
OF_FEET = ("heel_pressure_peak", "ball_pressure_peak", "toe_push_force_peak")
"""The same where heel, ball or toes were asked after."""


def last_lines(analysis: Analysis, whatif: WhatIf | None = None, fit: Fit | None = None) -> tuple[str, ...]:
    """Three numbers, or three changes where a shape was asked for, and the verdict; before them its checks by name.

    whatif, fit : made for the same analysis, or None
    """
    answer = whatif if whatif is not None else None if fit is None else fit.answer
    if answer is None:
        numbers = [_number_line(name, analysis) for name in NUMBERS]
    else:
        rows = {row.quantity: row for row in answer.rows if not row.instant}
        feet = answer.of_layers or (fit is not None and fit.target.of_feet)
        numbers = [_change_line(rows[name], analysis) for name in (OF_FEET if feet else CHANGES) if name in rows]
    trust = trust_in(analysis, whatif, fit)
    doubts = [check for each in (trust.recording, trust.prediction) if each for check in each.refused + each.cautions]
    named = ", ".join(check.replace("_", " ") for check in dict.fromkeys(doubts))
    look = f"Look at, in quality.csv: {named}" if named else ""
    return (*filter(None, (look, _first_of(whatif), *numbers)), f"Verdict: {trust.text}")


def _first_of(whatif: WhatIf | None) -> str:
    """Whose changes are told where several shapes were asked for."""
    if whatif is None or not whatif.others:
        return ""
    return f"Of the first of {1 + len(whatif.others)} shapes, {whatif.shape_text}; the report compares all:"


def _number_line(name: str, analysis: Analysis) -> str:
    """A quantity with the number of each side, empty where the analysis has none."""
    what, measures = quantity(name), [m for m in analysis.measures if m.quantity == name]
    told = ", ".join(_number(measure, analysis) for measure in measures)
    return f"{_head(what)}: {told}" if told else ""


def _number(measure: Measure, analysis: Analysis) -> str:
    side = f"{measure.side} " if measure.side else ""
    if not math.isfinite(measure.value):
        return f"{side}not known ({measure.note})"
    return side + _with_interval(told_measure(measure, analysis))


def _change_line(row: Change, analysis: Analysis) -> str:
    """A predicted change with one person's interval, and whether it can be told from none."""
    what = quantity(row.quantity)
    if not math.isfinite(row.change):
        return f"Change of {_head(what)}: not known ({row.note})"
    if row.unmoved:
        return f"Change of {row.side} {_head(what)}: none ({row.note})"
    told = _with_interval(told_change(row, analysis))
    doubt = "negligible" if row.negligible else "" if row.distinguishable else "not distinguishable from no change"
    return f"Change of {row.side} {_head(what)}: {'+' if row.change > 0 else ''}{told}{', ' * bool(doubt)}{doubt}"


def _head(what: Quantity) -> str:
    return f"{what.plain_name} [{what.full_unit}]"


def _with_interval(told: Told) -> str:
    return f"{told.value} ({told.interval})" if told.interval else told.value

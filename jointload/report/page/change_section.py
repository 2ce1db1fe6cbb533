"""What a change of the shoe's inside would shift, with its intervals and what limits them."""

from __future__ import annotations

from html import escape
from typing import Any

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.fitting.ledger import ledger, reading_of
from jointload.insole.fitting.whatif import Change, WhatIf
from jointload.report.figures import change_figures
from jointload.report.figures.pressure_bed import pressure_bed
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.page.answers import change_answer
from jointload.report.words import html
from jointload.report.words.cells import MOST_ALIKE, findings_table, linked, sentence_case, told_change, unit_text
from jointload.report.words.quantities import SIDE_WORDS, UNKNOWN, interval_text, number_text, quantity, shown
from jointload.report.words.section import Reported
from jointload.report.words.tables import ordered_changes, worst_first


def change_section(reported: Reported) -> str:
    analysis, whatif = reported.analysis, reported.whatif
    if whatif is None:
        return ""
    picture = sheet_figure(
        change_figures.changes(analysis, whatif),
        "Predicted change with its 95 % intervals: thick of the mechanics, thin of one person. Filled: the interval of "
        "one person leaves out zero. Hollow: not distinguishable from no change. What is negligible for every person "
        "stands in the table alone.",
    )
    return (
        html.answer(change_answer(analysis, whatif))
        + split_told(whatif)
        + f"<p><b>Prediction</b>, not a measurement: {escape(whatif.shape_text)}, against a flat insole. "
        f"{whatif.draws} drawn persons, seed {whatif.seed}. Knee adduction and knee flexion moment stand together, as "
        "a change that lowers one may raise the other. A lumbar change is not predicted.</p>"
        + (_comparison(analysis, whatif) if whatif.others else "")
        + (html.numbers("The first shape's changes as a picture", picture) if whatif.others else picture)
        + change_table_html(analysis, whatif)
        + instants_html(analysis, whatif)
        + sheet_figure(
            pressure_bed(whatif),
            f"What is added to the flat insole, and the pressure before ({whatif.baseline_pressure}) and after "
            "(modelled; median of the drawn persons) at the largest force that the rearfoot bears. The diamond is the "
            "centre of pressure. Only the change is meant: a model of the foot's bed misses measured pressures by a "
            "third to a half.",
        )
        + doubts_html(whatif, *whatif.others)
    )


def doubts_html(*answers: WhatIf) -> str:
    """What limits predictions, and what the first of them assumes."""
    assumed = "".join(f"<li>{escape(text)}</li>" for text in answers[0].response_text)
    alike = 1 if len(answers) > 1 else MOST_ALIKE
    found = worst_first(finding for answer in answers for finding in answer.findings)
    return (
        "<h3>What limits the prediction</h3>"
        + findings_table((finding for finding in found if finding.severity != "pass"), alike)
        + html.folded("What was checked beside", findings_table(f for f in found if f.severity == "pass"))
        + html.folded("What it assumes", f"<ul>{assumed}</ul>")
    )


def split_told(whatif: WhatIf) -> str:
    """That the wrench under this foot is a likely split only, where it is; empty elsewhere."""
    return "".join(
        html.paragraph(f"{sentence_case(finding.evidence)}; {finding.advice}.")
        for finding in whatif.findings
        if finding.check == "likely_split"
    )


def _comparison(analysis: Analysis, whatif: Any) -> str:
    """Every shape beside the others: change and one person's interval, by the same drawn persons."""
    answers = (whatif, *whatif.others)
    found = [{row.quantity: row for row in answer.rows} for answer in answers]
    rows = []
    for row in ordered_changes(whatif):
        what = quantity(row.quantity)
        cells = [_compared_cell(analysis, rows_of.get(row.quantity)) for rows_of in found]
        rows.append((linked(what), *cells, unit_text(what)))
    named = "".join(f"<li>{escape(answer.shape_text)}</li>" for answer in answers)
    head = ("Quantity", *(str(k + 1) for k in range(len(answers))), "Unit")
    note = html.paragraph(
        "Change, and below it the 95 % interval of one person. The same drawn persons stand on every shape, so that "
        "differences between shapes are those of the shapes. Nothing is ranked: a change whose interval reaches across "
        "zero is not distinguishable from none."
    )
    return (
        f"<h3>The shapes beside each other</h3><ol>{named}</ol>"
        + sheet_figure(
            change_figures.comparison(analysis, whatif),
            "Predicted change of every shape: thick the 95 % interval of the mechanics, thin that of one person.",
        )
        + html.numbers("Every change of every shape", note + html.table(head, rows, range(1, len(answers) + 1)))
    )


def _compared_cell(analysis: Analysis, row: Change | None) -> str:
    if row is None or not np.isfinite(row.change):
        return UNKNOWN
    if row.unmoved:
        return UNMOVED
    told = told_change(row, analysis)
    return f"{told.value}<small>{told.interval}</small>"


HOW_TO_READ = (
    "Mechanics is the 95 % interval of what the uncertain foot, shoe and limb leave open; a group's is that of the "
    "mean of 12 persons, as studies publish it; one person's adds how differently people answer the same shape. All "
    "are in the digits that one person's interval supports. Below a floor a change is negligible, however sure. "
    "Within a joint, changes stand by their size against what this recording can show."
)
LEAST = (
    "A change smaller than what this recording can show, or than this rider's own landings differ by, says so where "
    "that is known."
)


def change_table_html(analysis: Analysis, answer: WhatIf, targets: tuple[str, ...] = ()) -> str:
    """One table for one rider: the target first, then the change at every joint, each with its intervals."""
    head = (
        "Quantity", "Before", "Change", "Per cent", "One person", "Group", "Mechanics", "Unit", "Reading",
    )  # fmt: skip
    entries = ledger(answer, targets)
    joints = ["target" if entry.aimed_at else entry.joint for entry in entries]
    parts = []
    for joint in dict.fromkeys(joints):
        rows = [_change_cells(analysis, e.row) for e, own in zip(entries, joints, strict=True) if own == joint]
        parts.append((f"{joint.capitalize()}", rows))
    told = "Lower back: not predicted. " if analysis.landing.body.points.get("l5s1") else ""
    table = html.grouped_table(head, parts, numeric=range(1, 7))
    note = f"<p><small>{HOW_TO_READ} {told}{LEAST}</small></p>"
    return html.numbers(f"Every change: {len(entries)} numbers", table + note)


UNMOVED = "unchanged"


def _change_cells(analysis: Analysis, row: Change) -> tuple[str, ...]:
    what, told, weight = quantity(row.quantity), told_change(row, analysis), analysis.landing.weight
    name = f"{linked(what)}, {SIDE_WORDS[row.side]}"
    reading = (unit_text(what), escape(reading_of(row)))
    before = number_text(shown(row.before, what, weight), what.unit)
    if not np.isfinite(row.change):
        return (name, before, UNKNOWN, "", "", "", "", *reading)
    if row.unmoved:
        return (name, before, UNMOVED, "", "", "", "", *reading)
    pairs = ((row.person_low, row.person_high), (row.group_low, row.group_high), (row.low, row.high))
    intervals = [
        "" if row.geometry else _interval(shown(low, what, weight), shown(high, what, weight), told.decimals)
        for low, high in pairs
    ]
    percent = number_text(row.percent, "%") if np.isfinite(row.percent) else ""
    return (name, before, told.value, percent, *intervals, *reading)


def _interval(low: float, high: float, decimals: int) -> str:
    return interval_text(low, high, decimals).replace(UNKNOWN, "")


def instants_html(analysis: Analysis, answer: WhatIf) -> str:
    """The change of every series at the named instants, and one person's interval, folded away."""
    instants = list(dict.fromkeys(row.instant for row in answer.at_instants))
    found = {(row.quantity, row.instant): row for row in answer.at_instants}
    rows = []
    for name in dict.fromkeys(row.quantity for row in answer.at_instants):
        what = quantity(name)
        cells = [_compared_cell(analysis, found.get((name, instant))) for instant in instants]
        rows.append((linked(what), *cells, unit_text(what)))
    head = ("Change", *instants, "Unit")
    note = html.paragraph(
        "At touch-down the foot hardly bears: the answer of the first loaded instant is held, and the first 30 ms of "
        "an impact are an upper bound."
    )
    table = html.table(head, rows, numeric=range(1, len(instants) + 1))
    return html.folded("The same at named instants of the landing", note + table)

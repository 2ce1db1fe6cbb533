"""How other choices of threshold and smoothing shift the numbers."""

from __future__ import annotations

from html import escape

from jointload.report import html
from jointload.report.cells import linked, unit_text
from jointload.report.quantities import SIDE_WORDS, number_text, quantity
from jointload.report.section import Reported
from jointload.report.tables import variants_table


def choices_section(reported: Reported) -> str:
    analysis = reported.analysis
    if not analysis.variants:
        return ""
    frame = variants_table(analysis)
    rows = []
    for name, side, _, *values in frame.itertuples(index=False, name=None):
        what = quantity(name)
        first, *others = (number_text(value, what.unit) for value in values)
        marked = [text if text == first else f"<b>{text}</b>" for text in others]
        rows.append((linked(what), escape(SIDE_WORDS[side]), unit_text(what), first, *marked))
    head = ("Quantity", "Side", "Unit", *frame.columns[3:])
    return html.paragraph(
        "The same recording under other choices of threshold and smoothing. Bold: the shown digits differ from those "
        "under the settings used."
    ) + html.table(head, rows, numeric=range(3, len(head)))

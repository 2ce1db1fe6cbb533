"""What every number of this report means."""

from __future__ import annotations

from html import escape

from jointload.report import html
from jointload.report.cells import sentence_case, unit_text
from jointload.report.quantities import DIVISOR_WORDS, quantity
from jointload.report.section import Reported


def glossary_section(reported: Reported) -> str:
    analysis, whatif = reported.analysis, reported.whatif
    rows = []
    names = [measure.quantity for measure in analysis.measures]
    fitted = None if reported.fit is None else reported.fit.answer
    answers = [answer for answer in (whatif, fitted) if answer is not None]
    names += [row.quantity for answer in answers for row in (*answer.rows, *answer.at_instants)]
    for name in dict.fromkeys(names):
        what = quantity(name)
        texts = (what.definition, what.positive, what.frame, DIVISOR_WORDS[what.normaliser], what.source)
        place = f'<span id="q-{what.name}">{escape(sentence_case(what.plain_name))}</span>'
        rows.append((place, unit_text(what), *(escape(text) for text in texts)))
    table = html.table(("Name", "Unit", "Definition", "Positive", "Frame", "Divided by", "Source"), rows)
    return html.folded(f"All {len(rows)} quantities: definition, sign, frame, unit and source", table)

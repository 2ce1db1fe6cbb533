"""Numbers as table cells of the page: value, unit, sign, published band, or a dash with the reason."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.fitting.whatif import task_of
from jointload.intake.recording import SIDES, Finding
from jointload.landing.landed import Measure
from jointload.report.words import html
from jointload.report.words.quantities import Band, Quantity, number_text, quantity, sanity, shown
from jointload.sources import in_words

SIDE_HEADINGS = {"right": "Right", "left": "Left", "": "Whole body"}
MOST_ALIKE = 3
"""More findings of one kind than this share a row, with their places folded away."""


def measure_table(analysis: Analysis, names: Iterable[str]) -> str:
    """Right and left beside each other, then the whole body; columns that hold nothing are left out."""
    found = {(m.quantity, m.side): m for m in analysis.measures}
    rows = []
    for name in names:
        what, sides = quantity(name), [side for side in SIDE_HEADINGS if (name, side) in found]
        if sides:
            cells = [_cell(found[name, side], what, analysis) if side in sides else "" for side in SIDE_HEADINGS]
            band = _band_text(what, [found[name, side] for side in sides], analysis)
            positive = "" if what.positive == "none" else escape(what.positive)
            rows.append((linked(what), *cells, unit_text(what), positive, band))
    head = ("Quantity", *(_side_heading(analysis, side) for side in SIDE_HEADINGS), "Unit", "Positive", "Published")
    kept = [k for k in range(len(head)) if k == 0 or any(row[k] for row in rows)]
    numeric = [kept.index(k) for k in (1, 2, 3) if k in kept]
    return html.table([head[k] for k in kept], [[row[k] for k in kept] for row in rows], numeric)


def findings_table(findings: Iterable[Finding]) -> str:
    """One row a finding; many findings of one kind and advice share a row."""
    kinds: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        kinds.setdefault((finding.severity, finding.check, finding.advice), []).append(finding)
    rows = []
    for (severity, check, advice), alike in kinds.items():
        first = (html.mark(severity), escape(check.replace("_", " ")))
        if len(alike) > MOST_ALIKE:
            places = "".join(f"<li>{escape(f.where)}: {escape(f.evidence)}</li>" for f in alike)
            rows.append(
                (*first, f"{len(alike)} places", html.folded("each place", f"<ul>{places}</ul>"), escape(advice))
            )
        else:
            rows += [(*first, escape(f.where), escape(f.evidence), escape(advice)) for f in alike]
    return html.table(("", "Check", "Where", "What was found", "What to do"), rows) if rows else ""


def severity_counts(analysis: Analysis) -> dict[str, int]:
    found: list[str] = [finding.severity for finding in analysis.findings]
    return {severity: found.count(severity) for severity in html.MARKS}


def shown_value(measure: Measure, analysis: Analysis) -> float:
    return shown(measure.value, quantity(measure.quantity), analysis.landing.weight)


def is_unknown(measure: Measure) -> bool:
    return not measure.word and not np.isfinite(measure.value)


def linked(what: Quantity) -> str:
    """The name, leading to its row in the glossary."""
    return f'<a href="#q-{what.name}">{escape(sentence_case(what.plain_name))}</a>'


def unit_text(what: Quantity) -> str:
    return "" if what.unit == "word" else escape(what.full_unit.replace("m/s2", "m/s²"))


def sentence_case(text: str) -> str:
    return text[:1].upper() + text[1:]


def _side_heading(analysis: Analysis, side: str) -> str:
    back = side in SIDES and analysis.session.rider.stance == side
    return SIDE_HEADINGS[side] + (" (back foot)" if back else "")


def _cell(measure: Measure, what: Quantity, analysis: Analysis) -> str:
    """The number with its interval and note, or a dash with the reason."""
    if measure.word:
        return escape(measure.word)
    value = shown_value(measure, analysis)
    text = number_text(value, what.unit)
    if is_unknown(measure):
        return f"{text}<small>{escape(measure.note or 'not known from this recording')}</small>"
    band = band_of(what, measure, analysis)
    if band is not None and not band.inside:
        text = f'<span class="outside">{text}</span>'
    if np.isfinite(measure.low) and np.isfinite(measure.high):
        ends = [shown(v, what, analysis.landing.weight) for v in (measure.low, measure.high)]
        text += f'<small class="interval">{" to ".join(number_text(v, what.unit) for v in ends)}</small>'
    return text + (f"<small>{escape(measure.note)}</small>" if measure.note else "")


def _band_text(what: Quantity, measures: list[Measure], analysis: Analysis) -> str:
    """The published range, its source on pointing at it, and which side lies outside."""
    bands = {m.side: band_of(what, m, analysis) for m in measures if not is_unknown(m)}
    known = {side: band for side, band in bands.items() if band is not None}
    if not known:
        return ""
    band = next(iter(known.values()))
    outside = [SIDE_HEADINGS[side].lower() for side, b in known.items() if not b.inside]
    text = f"{band.low:g} to {band.high:g}".replace("-", "−")
    flag = f'<br><span class="mark warn">▲ outside: {", ".join(outside)}</span>' if outside else ""
    return f'<span title="{escape(in_words(band.source))}">{text}</span>{flag}'


def band_of(what: Quantity, measure: Measure, analysis: Analysis) -> Band | None:
    side = measure.side or next(iter(analysis.landing.events.sides))
    return sanity(what.name, task_of(analysis.landing, side), shown_value(measure, analysis))

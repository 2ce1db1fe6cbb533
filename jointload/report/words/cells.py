"""Numbers as table cells of the page: value, unit, sign, published band, or a dash with the reason."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from html import escape
from string import ascii_lowercase

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.fitting.whatif import Change, task_of
from jointload.intake.recording import SIDES, Finding
from jointload.landing.landed import Measure
from jointload.report.words import html
from jointload.report.words.quantities import Band, Quantity, Told, quantity, sanity, shown, told_number
from jointload.sources import in_words

SIDE_HEADINGS = {"right": "Right", "left": "Left", "": "Whole body"}
MOST_NOTED = 4
"""More cells of a table that note the same share one note beneath it: two rows of both feet may say it themselves."""
MOST_ALIKE = 3
"""More findings of one kind than this share a row as a rule, with their places folded away."""


def measure_table(analysis: Analysis, names: Iterable[str]) -> str:
    """Right and left beside each other, then what is of the whole body; columns that hold nothing are left out."""
    found = {(m.quantity, m.side): m for m in analysis.measures}
    names = list(names)
    return _table_of(analysis, names, SIDES, found) + _table_of(analysis, names, ("",), found)


def measure_numbers(analysis: Analysis, names: Iterable[str]) -> str:
    """The same as a table that a narrow screen folds away."""
    names = list(names)
    count = sum(measure.quantity in names for measure in analysis.measures)
    return html.numbers(f"All {count} numbers", measure_table(analysis, names))


def _table_of(
    analysis: Analysis, names: list[str], sides: tuple[str, ...], found: dict[tuple[str, str], Measure]
) -> str:
    """The quantities that these sides have; empty where there is none. What many cells note stands once, beneath."""
    rows = []
    marks = _marks(found[name, side] for name in names for side in sides if (name, side) in found)
    for name in names:
        own = [found[name, side] for side in sides if (name, side) in found]
        if own:
            what = quantity(name)
            cells = [_cell(found[name, s], what, analysis, marks) if (name, s) in found else "" for s in sides]
            positive = "" if what.positive == "none" else escape(what.positive)
            rows.append((linked(what), *cells, unit_text(what), positive, _band_text(what, own, analysis)))
    if not rows:
        return ""
    head = ("Quantity", *(side_heading(analysis, side) for side in sides), "Unit", "Positive", "Published")
    kept = [k for k in range(len(head)) if k == 0 or any(row[k] for row in rows)]
    numeric = [kept.index(k) for k in range(1, 1 + len(sides)) if k in kept]
    beneath = "".join(f'<p class="soft">{mark}: {escape(note)}.</p>' for note, mark in marks.items())
    return html.table([head[k] for k in kept], [[row[k] for k in kept] for row in rows], numeric) + beneath


def _marks(measures: Iterable[Measure]) -> dict[str, str]:
    """Note -> 'Note a' and so on, of what more than MOST_NOTED cells of a table say."""
    counts = Counter(measure.note for measure in measures if measure.note and not measure.word)
    often = [note for note, count in counts.items() if count > MOST_NOTED]
    return {note: f"Note {letter}" for note, letter in zip(often, ascii_lowercase, strict=False)}


def findings_table(findings: Iterable[Finding], most: int = MOST_ALIKE) -> str:
    """One row a finding; more than `most` findings of one kind and advice share a row."""
    kinds: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        kinds.setdefault((finding.severity, finding.check, finding.advice), []).append(finding)
    rows = []
    for (severity, check, advice), alike in kinds.items():
        first = (html.mark(severity), escape(check.replace("_", " ")))
        if len(alike) > most:
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


def told_measure(measure: Measure, analysis: Analysis) -> Told:
    """A measure in shown units and in the digits that its interval supports."""
    what = quantity(measure.quantity)
    value, low, high = (shown(v, what, analysis.landing.weight) for v in (measure.value, measure.low, measure.high))
    return told_number(value, low, high, what.unit)


def told_change(row: Change, analysis: Analysis) -> Told:
    """A predicted change in shown units with one person's interval, in the digits that this supports."""
    what = quantity(row.quantity)
    change, low, high = (shown(v, what, analysis.landing.weight) for v in (row.change, row.person_low, row.person_high))
    return told_number(change, low, high, what.unit, extra=1)


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


def side_heading(analysis: Analysis, side: str) -> str:
    """Right (back foot), where the rider's stance is told."""
    stance = analysis.session.rider.stance
    foot = "" if side not in SIDES or not stance else " (back foot)" if stance == side else " (front foot)"
    return SIDE_HEADINGS[side] + foot


def _cell(measure: Measure, what: Quantity, analysis: Analysis, marks: Mapping[str, str]) -> str:
    """The number with its interval and note, or a dash with the reason; a note's mark where it has one."""
    if measure.word:
        return escape(measure.word)
    told, note = told_measure(measure, analysis), marks.get(measure.note, measure.note)
    if is_unknown(measure):
        return f"{told.value}<small>{escape(note or 'not known from this recording')}</small>"
    band = band_of(what, measure, analysis)
    text = told.value if band is None or band.inside else f'<span class="outside">{told.value}</span>'
    text += f' <small class="interval">{told.interval}</small>' if told.interval else ""
    return text + (f" <small>{escape(note)}</small>" if note else "")


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

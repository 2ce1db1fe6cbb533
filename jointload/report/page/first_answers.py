"""The answers of the first screen: whether to trust it, how hard, how aligned, and what a shape would shift."""

from __future__ import annotations

from html import escape

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.fitting.ledger import size_of
from jointload.insole.fitting.whatif import Change, WhatIf
from jointload.intake.recording import SIDES
from jointload.landing.landed import Measure
from jointload.report.page.answers import MOMENTS_TOLD, aligned_words, hard_words
from jointload.report.words import html
from jointload.report.words.cells import (
    band_of,
    is_unknown,
    linked,
    sentence_case,
    shown_value,
    side_heading,
    told_change,
    told_measure,
    unit_text,
)
from jointload.report.words.fit_units import told as told_of_fit
from jointload.report.words.quantities import SIDE_WORDS, Band, quantity
from jointload.report.words.section import Reported
from jointload.report.words.trust import trust_in

HARD = (
    "vertical_force_peak", "vertical_loading_rate", "knee_flexion_moment_peak", "knee_adduction_moment_peak",
    "l5s1_extension_moment_peak",
)  # fmt: skip
"""How hard, and what knee and lower back bore: the strain of years that a landing is read for."""
ALIGNED = {
    "knee_over_ankle": ("inwards", "outwards"),
    "rearfoot_eversion_peak": ("everted", "inverted"),
    "hip_adduction_peak": ("adducted", "abducted"),
    "pelvis_obliquity_touchdown": ("this side higher", "this side lower"),
    "knee_flexion_peak": ("", ""),
}
"""Quantity -> what a value above, and one below zero says."""
NOT_TOLD = "not told from straight"


# Trust --------------------------------------------------------------------------------------------------------------


def trust_answer(reported: Reported) -> str:
    analysis, trust = reported.analysis, trust_in(reported.analysis, reported.whatif, reported.fit)
    parts = [trust.recording] + ([trust.prediction] if trust.prediction is not None else [])
    worst = min((each.severity for each in parts), key=list(html.MARKS).index)
    known = sum(not is_unknown(measure) for measure in analysis.measures)
    told = [f"{known} of {len(analysis.measures)} numbers are known"]
    if trust.recording.refused:
        told.insert(0, "do not use these numbers before the refused checks are solved")
    named = [check.replace("_", " ") for each in parts for check in (*each.refused, *each.cautions)]
    told += [f"look at: {', '.join(named)}"] if named else []
    words = "; ".join(told)
    text = f"{words[:1].upper()}{words[1:]}."
    where = ' <a href="#trust">Why</a>'
    if trust.prediction is not None:
        where += f', <a href="#{"fit" if reported.whatif is None else "change"}">of the prediction</a>'
    return f'<p class="verdict">{html.symbol(worst)} <b>{escape(trust.text)}</b></p><p>{escape(text)}{where}</p>'


# How hard, how aligned ------------------------------------------------------------------------------------------------


def hard_answer(reported: Reported) -> str:
    """One row a number of both sides, with its place in the published range; a line for one of the whole body."""
    analysis = reported.analysis
    rows, body = [], ""
    for name in HARD:
        found = [m for m in analysis.measures if m.quantity == name]
        if found and not found[0].side:
            body += f"<p>{_named(name)}: {_number(found[0], analysis)}</p>"
        elif found:
            bands = {m.side: band_of(quantity(name), m, analysis) for m in found if not is_unknown(m)}
            rows.append((_named(name), *_sides(found, analysis), _place_in_band(found, bands, analysis)))
    table = html.table(("", *_headings(analysis), "Published range"), rows)
    return html.paragraph(hard_words(analysis)) + table + body


def aligned_answer(reported: Reported) -> str:
    analysis = reported.analysis
    rows = []
    for name, (above, below) in ALIGNED.items():
        found = [m for m in analysis.measures if m.quantity == name]
        if found:
            told = {m.side: _way(m, above, below) for m in found}
            rows.append((_named(name), *_sides(found, analysis, told)))
    return html.paragraph(aligned_words(analysis)) + html.table(("", *_headings(analysis)), rows)


def _named(name: str) -> str:
    what = quantity(name)
    return f"{linked(what)} <small>{unit_text(what)}</small>"


def _headings(analysis: Analysis) -> tuple[str, ...]:
    return tuple(side_heading(analysis, side) for side in SIDES)


def _sides(found: list[Measure], analysis: Analysis, told: dict[str, str] | None = None) -> list[str]:
    """The cells of right and left."""
    cells = {m.side: _number(m, analysis, (told or {}).get(m.side, "")) for m in found}
    return [cells.get(side, "") for side in SIDES]


def _number(measure: Measure, analysis: Analysis, word: str = "") -> str:
    """The number, its interval or the reason why it is not known, and a word."""
    told = told_measure(measure, analysis)
    if is_unknown(measure):
        return f"<b>{told.value}</b> <small>{escape(measure.note or 'not known from this recording')}</small>"
    interval = f' <small class="interval">{told.interval}</small>' if told.interval else ""
    return f"<b>{told.value}</b>{interval}" + (f" <small>{escape(word)}</small>" if word else "")


def _way(measure: Measure, above: str, below: str) -> str:
    if is_unknown(measure):
        return ""
    if measure.low <= 0.0 <= measure.high:
        return NOT_TOLD
    return above if measure.value > 0 else below


def _place_in_band(found: list[Measure], bands: dict[str, Band | None], analysis: Analysis) -> str:
    """The range in words, and where each side lies in it: a filled dot for the right, a hollow square for the left."""
    known = {side: band for side, band in bands.items() if band is not None}
    if not known:
        return "<small>none on record</small>"
    band = next(iter(known.values()))
    marks, words = [], []
    for measure in found:
        if measure.side in known:
            share = (shown_value(measure, analysis) - band.low) / (band.high - band.low)
            seen = min(max(share, 0.0), 1.0)
            marks.append(f'<i class="c-{measure.side}" style="left:{100 * seen:.0f}%"></i>')
            words.append(f"{SIDE_WORDS[measure.side]} {_place_words(share)}")
    ends = f"{band.low:g} to {band.high:g}".replace("-", "−")
    told = "; ".join(words)
    out = any(not band.inside for band in known.values())
    flag = f' <span class="mark warn">▲ {escape(_outside(known))}</span>' if out else ""
    return f'{ends}{flag}<span class="range" role="img" aria-label="{escape(told)}">{"".join(marks)}</span>'


def _place_words(share: float) -> str:
    if share < 0.0:
        return "below the range"
    return "above the range" if share > 1.0 else f"{100 * share:.0f} % of the way up the range"


def _outside(known: dict[str, Band]) -> str:
    return f"outside: {', '.join(SIDE_WORDS[side] for side, band in known.items() if not band.inside)}"


# What a shape would shift ---------------------------------------------------------------------------------------------


def shift_answer(reported: Reported) -> str:
    """Of each shape the largest certain change, and the moments that cannot be told from none; nothing without one."""
    analysis, whatif, fit = reported.analysis, reported.whatif, reported.fit
    out = []
    if fit is not None:
        first, *others = told_of_fit(fit, analysis)
        text = f"<b>{escape(first)}</b> {escape(' '.join(others))}"
        certain = "" if fit.answer is None else " " + shift_sentences(analysis, fit.answer)
        out.append(f'<p>{text}{certain} <a href="#fit">The shape and its cost</a></p>')
    if whatif is not None and not whatif.others:
        which = f"<b>{escape(sentence_case(whatif.shape_text))}.</b> " if fit is not None else ""  # the title names one
        out.append(f'<p>{which}{shift_sentences(analysis, whatif)} <a href="#change">Every change</a></p>')
    elif whatif is not None:
        items = "".join(
            f"<li>{escape(each.shape_text)}. {shift_sentences(analysis, each)}</li>"
            for each in (whatif, *whatif.others)
        )
        out.append(f'<ol>{items}</ol><p><a href="#change">Every change</a></p>')
    return "".join(out)


def shift_sentences(analysis: Analysis, answer: WhatIf) -> str:
    """One sentence with the largest certain change of a prediction, one with the moments that are open."""
    certain = [row for row in answer.rows if row.distinguishable and not row.negligible and not row.geometry]
    moments = {row.quantity: row for row in answer.rows if row.quantity in MOMENTS_TOLD and np.isfinite(row.change)}
    open_moments = [
        moments[name]
        for name in MOMENTS_TOLD
        if name in moments and not moments[name].distinguishable and not moments[name].negligible
    ]
    if certain:
        row = max(certain, key=size_of)
        first = f"Largest certain change: <b>{_changed(row, analysis)}</b>."
    else:
        first = "<b>No change is certain for one person.</b>"
    if not open_moments:
        return first
    told = ", ".join(_moment_changed(row, analysis) for row in open_moments)
    return f"{first} Cannot be told from no change, in Nm/kg: the moments of {told}."


def _changed(row: Change, analysis: Analysis) -> str:
    """Such as: rearfoot roll +1.57 deg (0.05 to 3.43)."""
    what = quantity(row.quantity)
    return f"{_term(row, what.plain_name)} {_signed(row, analysis)} {escape(what.unit)}{_ends(row, analysis)}"


def _moment_changed(row: Change, analysis: Analysis) -> str:
    """Such as: knee adduction +0.12 (-0.04 to 0.25)."""
    name = quantity(row.quantity).plain_name.removeprefix("peak ").removesuffix(" moment")
    return f"{_term(row, name)} {_signed(row, analysis)}{_ends(row, analysis)}"


def _term(row: Change, name: str) -> str:
    return f'<a href="#q-{row.quantity}">{escape(name)}</a>'


def _signed(row: Change, analysis: Analysis) -> str:
    return ("+" if row.change > 0 else "") + told_change(row, analysis).value


def _ends(row: Change, analysis: Analysis) -> str:
    told = told_change(row, analysis)
    return f" ({told.interval})" if told.interval else ""

"""The shape that serves this rider: what was found within the limits, its price elsewhere, and what to measure next."""

from __future__ import annotations

from html import escape

from jointload.analysis import Analysis
from jointload.insole.calibration.observation import ANSWERED, OBSERVED
from jointload.insole.calibration.personal import Personal
from jointload.insole.fitting.fit import Fit
from jointload.report.figures import fit_figures
from jointload.report.figures.pressure_bed import pressure_bed
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.page.change_section import change_table_html, doubts_html, instants_html, split_told
from jointload.report.words import html
from jointload.report.words.cells import sentence_case
from jointload.report.words.fit_units import ends_text, told
from jointload.report.words.quantities import number_text, quantity, shown
from jointload.report.words.section import Reported

HARDLY = 0.95
"""Trials that leave more of the spread than this are not worth the day (choice)."""
CAUTION = (
    "A design study for a qualified prescriber, never a prescription. If it is worn, then introduced gradually, an "
    "hour or two a day at first; a raised side can raise the risk of an ankle sprain. Stop when anything hurts."
)
OBSERVED_UNITS = dict(
    zip(
        OBSERVED,
        (*ANSWERED, "medial_pressure_share", "medial_pressure_share"),
        strict=True,
    )
)
"""What a landing is observed by -> the glossary's quantity in whose unit it is shown."""


def fit_section(reported: Reported) -> str:
    analysis, fit = reported.analysis, reported.fit
    if fit is None:
        return ""
    return (
        _verdict(fit, analysis)
        + html.paragraph(_found(fit, analysis))
        + html.paragraph(CAUTION)
        + _limits(fit)
        + (_shape(analysis, fit) if fit.answer is not None else "")
        + _next_trials(fit)
        + ("" if fit.known.personal is None else _check(analysis, fit.known.personal))
    )


def _verdict(fit: Fit, analysis: Analysis) -> str:
    first, *others = told(fit, analysis)
    return f'<p class="verdict"><b>{escape(first)}</b></p>' + html.paragraph(" ".join(others))


def _found(fit: Fit, analysis: Analysis) -> str:
    side = fit.side
    text = (
        f"Prediction, not a measurement. Looked for under the {side} foot: the insole whose {fit.target.text} falls "
        f"most at the worse end of one person's 95 % interval, against a flat insole of 4 mm; {fit.draws} drawn "
        f"persons, seed {fit.seed}. "
    )
    if fit.answer is None:
        return text
    first = ends_text(fit, analysis, *fit.first_order)
    full = ends_text(fit, analysis, fit.low, fit.change, fit.high)
    if fit.helps:
        return text + f"The full bed gives {full}; the search, to first order, {first}."
    return text + "The best shape is shown to be measured, not to be worn."


def _limits(fit: Fit) -> str:
    used = "".join(f"<li>{escape(sentence_case(words))}</li>" for words in fit.limited_by)
    limited = f"<h3>What limits it</h3><ul>{used}</ul>" if used else "<p>No limit is used up.</p>"
    left = f"<p><small>Left out, as they hardly act: {escape(', '.join(fit.left_out))}.</small></p>"
    return limited + (left if fit.left_out else "")


def _shape(analysis: Analysis, fit: Fit) -> str:
    assert fit.answer is not None
    return (
        split_told(fit.answer)
        + sheet_figure(
            pressure_bed(fit.answer),
            f"The shape over a flat insole of 4 mm, and the pressure before ({fit.answer.baseline_pressure}) and after "
            "(modelled; median of the drawn persons) at the largest force that the rearfoot bears. The diamond is the "
            "centre of pressure.",
        )
        + "<h3>What it gains, and what it costs elsewhere</h3>"
        + change_table_html(analysis, fit.answer, fit.target.quantities)
        + instants_html(analysis, fit.answer)
        + sheet_figure(
            fit_figures.trade_off(analysis, fit),
            f"What each millimetre of height buys: change of the {fit.target.text} of the best shape within each stack "
            "height, with one person's 95 % interval. To first order; the last one was confirmed.",
        )
        + doubts_html(fit.answer)
    )


def _next_trials(fit: Fit) -> str:
    if not fit.trials:
        return ""
    best = fit.trials[0]
    if best.share_left > HARDLY:
        return "<h3>What to measure next</h3>" + html.paragraph(
            "Wedge trials would hardly narrow this prediction; a trial of the shape itself would."
        )
    rows = [
        (
            escape(" and ".join(str(wedge) for wedge in pair.wedges)),
            f"{100 * pair.share_left:.0f} %",
        )
        for pair in fit.trials
    ]
    return (
        "<h3>What to measure next</h3>"
        + html.paragraph(
            f"Two conditions beside the flat insole, {best.landings} landings each, listed in conditions.csv. What is "
            "expected to be left of the spread of one person's answer, by the calibration's own model:"
        )
        + html.table(("Wedges", "Spread left"), rows, numeric=(1,))
    )


def _check(analysis: Analysis, personal: Personal) -> str:
    """Every condition left out, foretold from the others."""
    rows = []
    for row in personal.left_out:
        what = quantity(OBSERVED_UNITS[row.quantity])
        numbers = (
            number_text(shown(value, what, analysis.landing.weight), what.unit, extra=1)
            for value in (row.foretold, row.measured, row.spread)
        )
        missed = row in personal.missed
        miss = f"{row.miss:.1f}"
        name = sentence_case(row.quantity.replace("_", " "))
        rows.append((escape(row.condition), name, *numbers, what.unit, f"<b>{miss}</b>" if missed else miss))
    head = ("Left out", "Change of the mean", "Foretold", "Measured", "Spread", "Unit", "Miss [standard units]")
    return (
        "<h3>Does the calibration foretell this rider</h3>"
        + html.paragraph(
            f"{personal.landings} landings on the flat insole and {len(personal.conditions)} shapes. Each shape is "
            "left out in turn and foretold from the others; bold misses are too large."
        )
        + html.table(head, rows, numeric=(2, 3, 4, 6))
    )

"""The first screen: whether to trust the recording, the landing in five numbers, and the body at its two instants."""

from __future__ import annotations

from html import escape

import numpy as np

from jointload.analysis import Analysis
from jointload.landing.landed import Measure
from jointload.report.figures import pictures
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.page.feet_section import feet_answer
from jointload.report.words import html
from jointload.report.words.cells import is_unknown, linked, severity_counts, shown_value
from jointload.report.words.quantities import SIDE_WORDS, Quantity, number_text, quantity, shown
from jointload.report.words.section import Reported

FIVE_NUMBERS = (
    "vertical_force_peak", "knee_flexion_peak", "knee_flexion_moment_peak", "knee_adduction_moment_peak",
    "l5s1_extension_moment_peak",
)  # fmt: skip
"""How hard, how deep, and what knee and lower back bore: the strain of years that a landing is read for."""


def first_screen(reported: Reported) -> str:
    analysis = reported.analysis
    session = analysis.session
    about = f"Rider {session.rider.id}, recording {session.trial.name}. {_arrival(analysis)}"
    return "\n".join(
        (
            f"<h1>{escape(title_of(analysis))}</h1>",
            f'<p class="lead">{escape(about)}</p>',
            _verdict(analysis),
            _five_numbers(analysis),
            feet_answer(reported),
            sheet_figure(
                pictures.body(analysis, pictures.INSTANTS[:2]),
                "The body with the ground force on each foot as an arrow from where it acts.",
                first_column="Instant",
            ),
            '<p><small>A research tool, not a medical device; insoles are prescribed by licensed practitioners. '
            '<a href="#cautions">Cautions</a></small></p>',
        )
    )  # fmt: skip


def title_of(analysis: Analysis) -> str:
    return (
        "One landing"
        if analysis.landing.events.kind == "landing"
        else f"One step, {analysis.landing.events.no_takeoff}"
    )


def _arrival(analysis: Analysis) -> str:
    """How fast the rider came down, and which foot first."""
    measures = {m.quantity: m for m in analysis.measures if m.quantity in ("touchdown_speed", "drop_height")}
    texts = []
    if all(name in measures and not is_unknown(measures[name]) for name in ("touchdown_speed", "drop_height")):
        speed, height = (
            number_text(shown_value(measures[name], analysis), quantity(name).unit)
            for name in ("touchdown_speed", "drop_height")
        )
        texts.append(f"Came down at {speed} m/s, as from a drop of {height} m")
    order = sorted((e.touchdown, side) for side, e in analysis.landing.events.sides.items())
    (first, side), *others = order
    words = f"{SIDE_WORDS[side]} foot first"
    for time, other in others:
        late = round(1000 * (time - first))
        words = f"{words}, {SIDE_WORDS[other]} {late} ms later" if late else "both feet together"
    texts.append(words if texts else words[:1].upper() + words[1:])
    return ", ".join(texts) + "."


def _verdict(analysis: Analysis) -> str:
    counts = severity_counts(analysis)
    unknown = sum(is_unknown(measure) for measure in analysis.measures)
    if counts["refuse"]:
        word, text = "refuse", "Do not use these numbers before the refused checks are solved."
    elif counts["warn"]:
        word, text = "warn", f"Usable with care: {counts['warn']} findings to look at before trusting a number."
    else:
        word, text = "pass", "No check found anything to doubt."
    text += f" {unknown} of {len(analysis.measures)} numbers are not known from this recording." if unknown else ""
    return f'<p class="verdict">{html.mark(word)} {escape(text)} <a href="#trust">Why</a></p>'


def _five_numbers(analysis: Analysis) -> str:
    """One card a number, a row a side: the number, and its interval or the reason why it is not known."""
    cards = []
    for name in FIVE_NUMBERS:
        what, found = quantity(name), [m for m in analysis.measures if m.quantity == name]
        if found:
            rows = "".join(_card_row(measure, what, analysis) for measure in found)
            unit = escape(what.full_unit)
            cards.append(f"<div><dt>{linked(what)}<br><small>{unit}</small></dt>{rows}</div>")
    note = "" if analysis.certainty is None else "<p><small>Small print: 95 % intervals.</small></p>"
    return f'<dl class="cards">{"".join(cards)}</dl>{note}'


def _card_row(measure: Measure, what: Quantity, analysis: Analysis) -> str:
    number = number_text(shown_value(measure, analysis), what.unit)
    ends = [shown(value, what, analysis.landing.weight) for value in (measure.low, measure.high)]
    if is_unknown(measure):
        note = measure.note or "not known from this recording"
    else:
        note = " to ".join(number_text(end, what.unit) for end in ends) if np.isfinite(ends).all() else ""
    side = SIDE_WORDS[measure.side]
    kind = "" if is_unknown(measure) else ' class="interval"'
    return f"<dd><span>{side}</span><b>{number}</b><small{kind}>{escape(note)}</small></dd>"

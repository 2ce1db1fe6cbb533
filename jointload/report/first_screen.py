"""The first screen: what this is, whether to trust it, and the landing in few numbers."""

from __future__ import annotations

from html import escape

from jointload.analysis import Analysis
from jointload.report import html
from jointload.report.cells import is_unknown, sentence_case, severity_counts, shown_value
from jointload.report.quantities import SIDE_WORDS, number_text, quantity
from jointload.report.section import Reported

KEY_QUANTITIES = (
    "touchdown_speed", "vertical_force_peak", "knee_flexion_peak", "knee_flexion_moment_peak",
    "knee_adduction_moment_peak", "knee_abduction_moment_peak",
)  # fmt: skip


def first_screen(reported: Reported) -> str:
    analysis = reported.analysis
    return "\n".join(
        (
            f"<h1>{escape(title_of(analysis))}</h1>",
            html.paragraph(f"Rider {analysis.session.rider.id}, recording {analysis.session.trial.name}."),
            _verdict(analysis),
            html.facts(_key_facts(analysis)),
        )
    )


def title_of(analysis: Analysis) -> str:
    return "One landing" if analysis.landing.events.kind == "landing" else "One step, no flight before it"


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


def _key_facts(analysis: Analysis) -> list[tuple[str, str, str]]:
    """Both sides of a number stand in one box, named in the order they stand."""
    out = []
    for name in KEY_QUANTITIES:
        what, found = quantity(name), [m for m in analysis.measures if m.quantity == name]
        if found:
            numbers = " | ".join(number_text(shown_value(m, analysis), what.unit) for m in found)
            sides = " | ".join(SIDE_WORDS[m.side] for m in found if m.side)
            reason = next((m.note for m in found if is_unknown(m)), "")
            small = ", ".join(text for text in (what.full_unit, sides, reason) if text)
            out.append((sentence_case(what.plain_name), numbers, small))
    return out

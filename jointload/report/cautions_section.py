"""Cautions: what this report is not, and what protects the people in it."""

from __future__ import annotations

from jointload.report import html
from jointload.report.section import Reported

CAUTIONS = (
    "This is a research tool. It is not a medical device, gives no diagnosis and does not predict injury.",
    "Joint moments and net joint forces are what the movement demanded of all tissues of a joint together. They are "
    "not the force on a cartilage, a disc or a ligament; muscles add to it, often severalfold.",
    "Published bands tell where other people's numbers lay. A number outside one asks for a second look at the data; "
    "it is neither a fault nor a danger by itself.",
    "Wedges shift loads little and differently from person to person. A predicted shift is a reason to measure, not to "
    "wear one. Insoles are prescribed by licensed practitioners; defer to them.",
    "Stop when it hurts. Hard landings need a warm-up, a spotter, a surface that was checked and the approval that "
    "your institution asks for.",
)


def cautions_section(reported: Reported) -> str:
    return '<div class="caution">' + "".join(html.paragraph(text) for text in CAUTIONS) + "</div>"

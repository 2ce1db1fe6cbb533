"""What the landing did to heel, ball and toes: three sentences, the map of both feet, every number and its source."""

from __future__ import annotations

import math
from html import escape

from jointload.analysis import Analysis
from jointload.foot.bore import BALL, FOOT_QUANTITIES, HEEL, TOES
from jointload.foot.felt import MEASURED
from jointload.foot.spreads import foot_spreads
from jointload.report.figures.feet_map import feet_map
from jointload.report.figures.heel_forces import heel_forces
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.page.feet_answers import feet_sentences, of_feet_asked, shape_sentences, socks_sentence
from jointload.report.words import html
from jointload.report.words.cells import measure_numbers
from jointload.report.words.section import Reported

QUANTITIES = FOOT_QUANTITIES
FILES = {"heel_pad": "The heel's pad", "sole": "Force and direction under the sole", "shoe": "The shoe, where not told"}
"""File of models/foot -> what its numbers are of."""
NO_LIMIT = (
    "No pressure or strain at which a heel bruises has been published, so that none is given here: the numbers say how "
    "a landing compares with what every heel knows, and which landing asks more of it than another. Who has pain "
    "should see a clinician, whatever stands here."
)
HOW = (
    "The heel is a round bone on a pad of columns that lock sooner or later, on the sole of the shoe; its law meets "
    "drops on living heels, standing and barefoot walking [@kinoshita_1993; @pmid16513397; @shorten_1989], wherever it "
    "locks. A close heel counter holds the pad together and is not in it. The toes push with what friction and lacing "
    "leave over of the ground's force along the foot's own axis."
)
MAP = "Pressure under each foot when the force on it was largest, on one scale, and each part's share of it"


def feet_answer(reported: Reported) -> str:
    """The first screen's answer, where the feet were asked after."""
    if not of_feet_asked(reported):
        return ""
    told = (*feet_sentences(reported.analysis), *shape_sentences(reported))
    where = ' <a href="#feet">Both feet and every number</a>'
    items = "</li><li>".join(escape(sentence) for sentence in told)
    return f"<ul><li>{items}{where}</li></ul>" if told else ""


def feet_section(reported: Reported) -> str:
    """Empty where the feet were not looked at."""
    analysis = reported.analysis
    told = feet_sentences(analysis)
    if not told:
        return ""
    sheet, curves = feet_map(analysis), heel_forces(analysis)
    caption = f"{MAP}, {_map_doubt(analysis)}"
    return (
        "".join(html.answer(sentence) for sentence in told)
        + (sheet_figure(sheet, caption) if sheet is not None else "")
        + "<h3>Heel</h3>"
        + (sheet_figure(curves, "Force under each heel in time.") if curves is not None else "")
        + measure_numbers(analysis, HEEL)
        + "<h3>Ball</h3>" + measure_numbers(analysis, BALL)
        + "<h3>Toes</h3>" + html.paragraph(socks_sentence()) + measure_numbers(analysis, TOES)
        + html.paragraph(NO_LIMIT)
        + html.paragraph(HOW)
        + html.folded("Every number behind it, with its range and source", _spreads())
    )  # fmt: skip


def _map_doubt(analysis: Analysis) -> str:
    """How a map was come by, and how far its parts may be off."""
    if any(foot.basis == MEASURED for foot in analysis.feet):
        gain = foot_spreads("sole")["sensor_gain"]
        return f"{MEASURED}; a sensor may show {gain.low:g} to {gain.high:g} times what is there."
    first, others = (foot_spreads("sole")[name] for name in ("first_head", "other_heads"))
    ends = (f"{math.exp(row.low):.1f} to {math.exp(row.high):.1f}" for row in (first, others))
    return (
        "modelled from the plate's force and place, which tell the heel from the rest. Of the rest the first "
        "metatarsal head may bear {} times what is drawn, the others {} times, midfoot and toes accordingly: the "
        "numbers below have that in their intervals."
    ).format(*ends)


def _spreads() -> str:
    rows = [
        (
            escape(what),
            escape(name.replace("_", " ")),
            f"{row.value:g}",
            f"{row.low:g} to {row.high:g}",
            escape(row.unit),
        )
        + (escape(row.basis), escape(row.source))
        for file, what in FILES.items()
        for name, row in foot_spreads(file).items()
    ]
    return html.table(("Of", "Number", "Value", "Range", "Unit", "Basis", "Source"), rows, (2,))

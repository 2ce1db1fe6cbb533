"""The report of one landing as one self-contained page in plain language: answers first, then sections in the order of
what was asked."""

from __future__ import annotations

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.insole.fitting.whatif import WhatIf
from jointload.report.page import change_section, tissue_section, trust_section
from jointload.report.page import landing_sections as landing
from jointload.report.page.board_section import board_section
from jointload.report.page.certainty_section import certainty_section
from jointload.report.page.feet_section import QUANTITIES as OF_FEET
from jointload.report.page.feet_section import feet_section
from jointload.report.page.first_screen import first_screen, title_of
from jointload.report.page.fit_section import fit_section
from jointload.report.page.pressure_section import pressure_section
from jointload.report.page.reading_sections import (
    cautions_section,
    choices_section,
    glossary_section,
    measured_section,
    methods_section,
)
from jointload.report.replay.replay import replay_section
from jointload.report.words import html
from jointload.report.words.methods import methods_text
from jointload.report.words.section import Reported, Section
from jointload.sources import cited

SECTIONS = (
    Section("fit", "The shape that serves this rider", fit_section),
    Section("change", "What the change of the shoe's inside would shift", change_section.change_section),
    Section("replay", "Watch the landing", replay_section),
    Section("forces", "How hard was the landing", landing.forces_section, landing.FORCES),
    Section("alignment", "How was the body aligned", landing.alignment_section, landing.ALIGNMENT),
    Section("loads", "What ankle, knee, hip and lower back bore", landing.moments_section, landing.LOADS),
    Section("board", "What stood under the feet", board_section),
    Section("feet", "What it did to heel, ball and toes", feet_section, OF_FEET),
    Section("pressure", "Where on the foot the load was", pressure_section),
    Section("work", "Which joints absorbed the landing", landing.work_section, landing.WORK),
    Section("tissue", "What tissues bore", tissue_section.tissue_section, tissue_section.QUANTITIES),
    Section("trust", "What limits trust in it", trust_section.trust_section, trust_section.QUANTITIES),
    Section(
        "certainty", "How certain the numbers are", certainty_section,
        fold="The smallest change this recording could show, and what makes the intervals wide",
    ),
    Section("choices", "How choices shift the numbers", choices_section, fold="The main numbers under other settings"),
    Section("measured", "What was measured", measured_section, fold="Rider, recording, rates and axes"),
    Section("methods", "How the numbers were made", methods_section, fold="The methods paragraph and its checklist"),
    Section(
        "glossary", "What every number means", glossary_section,
        fold="Every quantity: definition, sign, frame, unit and source",
    ),
    Section("cautions", "Cautions", cautions_section),
)  # fmt: skip
"""In the order of the page: what was asked beyond the landing, the landing, and what one reads once, folded away; a
section that has nothing to tell is left out."""


def render_page(
    analysis: Analysis, whatif: WhatIf | None = None, fit: Fit | None = None, beside: Analysis | None = None
) -> str:
    """The whole report as HTML; whatif, fit, beside : as in `Reported`, or None."""
    reported = Reported(analysis, whatif, fit, beside)
    contents = {section: section.render(reported) for section in SECTIONS}
    told = {
        section: html.folded(section.fold, content) if section.fold else content
        for section, content in contents.items()
        if content
    }
    body = [
        first_screen(reported),
        html.APPENDIX,
        *(html.section(section.key, section.heading, content) for section, content in told.items()),
    ]
    links = {section.key: section.heading for section in told}
    used = cited(methods_text(analysis, reported.answers).paragraph, *(f.evidence for f in analysis.findings))
    return html.document(title_of(reported), "\n".join(body), used, links)

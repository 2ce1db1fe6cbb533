"""The report of one landing as one self-contained page in plain language: a first screen, then sections in order."""

from __future__ import annotations

from html import escape

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
    Section("replay", "Watch the landing", replay_section),
    Section("forces", "How hard was the landing", landing.forces_section, landing.FORCES),
    Section("alignment", "How was the body aligned", landing.alignment_section, landing.ALIGNMENT),
    Section(
        "loads", "What ankle, knee, hip and lower back bore", landing.moments_section,
        landing.LOADS,
    ),
    Section("board", "What stood under the feet", board_section),
    Section("feet", "What it did to heel, ball and toes", feet_section, OF_FEET),
    Section("pressure", "Where on the foot the load was", pressure_section),
    Section("work", "Which joints absorbed the landing", landing.work_section, landing.WORK),
    Section("tissue", "What tissues bore", tissue_section.tissue_section, tissue_section.QUANTITIES),
    Section("change", "What the change of the shoe's inside would shift", change_section.change_section),
    Section("fit", "The shape that serves this rider", fit_section),
    Section("certainty", "How certain the numbers are", certainty_section),
    Section("trust", "What limits trust in it", trust_section.trust_section, trust_section.QUANTITIES),
    Section("choices", "How choices shift the numbers", choices_section),
    Section("measured", "What was measured", measured_section),
    Section("methods", "How the numbers were made", methods_section),
    Section("glossary", "What every number means", glossary_section),
    Section("cautions", "Cautions", cautions_section),
)  # fmt: skip
"""In the order of the page; a section that has nothing to tell is left out."""


def render_page(analysis: Analysis, whatif: WhatIf | None = None, fit: Fit | None = None) -> str:
    """The whole report as HTML; whatif, fit : made for the same analysis, or None."""
    reported = Reported(analysis, whatif, fit)
    contents = {section: section.render(reported) for section in SECTIONS}
    told = {section: content for section, content in contents.items() if content}
    links = "".join(f'<li><a href="#{section.key}">{escape(section.heading)}</a></li>' for section in told)
    body = [
        first_screen(reported),
        f'<nav aria-label="Sections"><ol>{links}<li><a href="#sources">Sources</a></li></ol></nav>',
        *(html.section(section.key, section.heading, content) for section, content in told.items()),
    ]
    used = cited(methods_text(analysis, reported.answers).paragraph)
    return html.document(f"{title_of(analysis)}: {analysis.session.trial.name}", "\n".join(body), used)

"""How a dose was reckoned, in sentences that cite what it used."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np

from jointload.modeldata import load_model
from jointload.report.study_pages.study_words import of_recordings
from jointload.report.words.methods import BANDS, TISSUES, tissues_text
from jointload.sources import cite, cited
from jointload.study.exposures import HEIGHTS
from jointload.study.strain_dose import Dose, tissues


def dose_items(found: Dose, records: Iterable[Path]) -> dict[str, str]:
    """Item -> what was done: the recordings' part from the trials' own records, then that of the dose."""
    content = load_model("tissue", "dose").content
    known = {row["tissue"] for row in found.doses if np.isfinite(row["dose"])}
    used = [tissue for name, tissue in tissues().items() if name in known]
    own = "; ".join(
        f"{each.title} {each.exponent:g} ({each.exponent_low:g} to {each.exponent_high:g}){_sources(each.source)}"
        for each in used
    )
    told = {item: text for item, text in of_recordings(records).items() if item not in (BANDS, TISSUES)}
    items = {
        TISSUES: tissues_text(each.impulse for each in used),
        "Dose": "sum over a rider's landings of their load over that of the study's usual landings, to the power of an "
        f"exponent; usual landings: condition {found.baseline}",
        "Exponents": f"1, 2 and 4 for all tissues{_sources(content['exponents']['source'])}, and of each tissue's own: "
        f"{own or 'none, as no load is known'}; damage is not load times cycles [@edwards_2018]",
        "Load of a landing": "impulse; peaks beside it are not to explain chronic overuse [@bisseling_2006]",
        "Cycles and repair": f"each landing counts for itself{_sources(content['cycles']['source'])}, without repair"
        f"{_sources(content['repair']['source'])}",
        "Styles": f"soft where the knees bend to {content['style']['cut']:g} degrees or more"
        f"{_sources(content['style']['source'])}",
        "Heights without a measured landing": f"{content['height_law']['source']}" if found.scaled else "no number",
        "Exposures": _exposures_text(found),
        "Intervals of the dose": "all loads at the low or at the high end of their intervals together"
        + (", with what few landings leave open by Student's t, scatter pooled over riders" * bool(found.repeated)),
    }
    return told | {item: text for item, text in items.items() if text}


def _exposures_text(found: Dose) -> str:
    """How what was told or counted with a range went into the intervals; nothing where every number is sure."""
    content, rows = load_model("tissue", "dose").content, found.exposures
    if not any(row.ranges for row in rows):
        return ""
    text = "95 % of draws from a triangle over each range are in every interval"
    if any(name in row.ranges for row in rows for name in HEIGHTS):
        text += f"; loads by a drawn height: {content['height_law']['source']}"
    if any(row.counted_days for row in rows):
        text += f"; counted landings by the day, with what a wearable misses{_sources(content['counted']['source'])}"
    return text


def _sources(text: str) -> str:
    """The citations alone of a source told in words, with a space before them."""
    keys = cite(cited(text))
    return f" {keys}" if keys else ""

"""The folder of a dose: one page, its tables and figures, and the record of how it was made."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from jointload.report.figures.paper import write_sheets
from jointload.report.files.folder import DIGITS
from jointload.report.files.paper import write_methods
from jointload.report.study_pages.dose_page import count_text, percent_text, render_dose
from jointload.report.study_pages.study_words import methods_paragraph
from jointload.report.words.csv_text import write_table
from jointload.report.words.quantities import UNKNOWN
from jointload.report.words.whole_folder import write_whole
from jointload.study.strain_dose import Dose

DOSE_RECORD = "dose.json"


def write_dose(
    out: Path, study: str, found: Dose, items: Mapping[str, str], record: Mapping[str, Any], form: str = ""
) -> Path:
    """Write dose.html, dose.csv, shares.csv, savings.csv, methods.md, methods.tex, references.bib and the record; all
    or nothing.  items : as of `dose_items`;  form : of figures/ for papers; none without it
    """
    import pandas as pd

    def fill(draft: Path) -> None:
        page, figures = render_dose(study, found, items)
        (draft / "dose.html").write_text(page, encoding="utf-8")
        for name, column, rows, text in (
            ("dose", "dose", found.doses, count_text), ("shares", "share", found.shares, percent_text),
            ("savings", "saving", found.savings, percent_text),
        ):  # fmt: skip
            table = pd.DataFrame([row | _shown(row, column, text) for row in rows])
            write_table(table, draft / f"{name}.csv", DIGITS)
        if form:
            write_sheets(figures, draft, form)
        write_methods(draft, methods_paragraph(items), items.items())
        (draft / DOSE_RECORD).write_text(json.dumps(record, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")

    return write_whole(out, DOSE_RECORD, fill)


def _shown(row: Mapping[str, Any], column: str, text: Callable[[float], str]) -> dict[str, str]:
    """A number and its ends in the page's digits, as a file has them."""
    plain = str.maketrans({"−": "-", UNKNOWN: "", "\N{NO-BREAK SPACE}": ""})
    return {f"shown_{name}": text(row[name]).translate(plain) for name in (column, "low", "high")}

"""The result folder of one trial of a study: the numbers, or all of a single landing's report where asked for."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from jointload.analysis import Analysis
from jointload.report.files.curves import CURVE_COLUMNS, curve_rows
from jointload.report.files.derived_c3d import write_derived
from jointload.report.files.folder import DIGITS, RECORD
from jointload.report.files.paper import write_methods
from jointload.report.files.sole_table import regions_table
from jointload.report.page.page import render_page
from jointload.report.words.csv_text import write_rows, write_table
from jointload.report.words.methods import methods_text
from jointload.report.words.tables import (
    FINDING_COLUMNS,
    METRIC_COLUMNS,
    all_findings,
    finding_rows,
    metric_rows,
    run_record,
    series_table,
)
from jointload.report.words.trust import trust_in

CURVE_DIGITS = "%.5g"
"""Five digits: finer than any marker."""


def trial_files(
    analysis: Analysis, condition: str, inputs: Mapping[str, Path], extra: Mapping[str, Any], full: bool
) -> Callable[[Path], None]:
    """What fills a trial's folder: metrics.csv, curves.csv, quality.csv and run.json; regions.csv where there are
    pressure insoles; series.csv, derived.c3d, report.html, methods and references.bib when `full`.

    run.json holds the methods in words, the SHA-256 of every other file, and what `extra` adds.
    """

    def fill(draft: Path) -> None:
        write_rows(METRIC_COLUMNS, metric_rows(analysis, condition), draft / "metrics.csv", DIGITS)
        write_rows(CURVE_COLUMNS, curve_rows(analysis), draft / "curves.csv", CURVE_DIGITS)
        write_rows(FINDING_COLUMNS, finding_rows(all_findings(analysis)), draft / "quality.csv")
        if analysis.landing.pressed is not None:
            write_table(regions_table(analysis), draft / "regions.csv", DIGITS)
        if full:
            write_table(series_table(analysis), draft / "series.csv", DIGITS)
            write_derived(analysis, draft / "derived.c3d")
            (draft / "report.html").write_text(render_page(analysis), encoding="utf-8")
        methods = methods_text(analysis)
        if full:
            write_methods(draft, methods.paragraph, methods.checklist)
        told = {"methods": dict(methods.checklist), "verdict": trust_in(analysis).record}
        record = run_record(analysis, inputs) | dict(extra) | told | {"outputs": hashes(draft)}
        (draft / RECORD).write_text(json.dumps(record, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")

    return fill


def hashes(folder: Path) -> dict[str, str]:
    """SHA-256 of every file of a result folder but its record."""
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.iterdir())
        if path.name != RECORD
    }

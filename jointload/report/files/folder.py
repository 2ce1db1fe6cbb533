"""The result folder of one landing, which appears whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.report.figures.paper import write_sheets
from jointload.report.files.derived_c3d import write_derived
from jointload.report.files.figure_files import every_figure
from jointload.report.files.fit_folder import fit_record, write_fit
from jointload.report.files.paper import write_methods
from jointload.report.files.sole_table import regions_table
from jointload.report.page.page import render_page
from jointload.report.words.csv_text import write_table
from jointload.report.words.methods import methods_text
from jointload.report.words.section import Reported
from jointload.report.words.tables import (
    all_findings,
    change_table,
    metrics_table,
    quality_table,
    run_record,
    series_table,
)
from jointload.report.words.trust import trust_in
from jointload.report.words.whole_folder import write_whole

DIGITS = "%.7g"
"""Seven digits carry every measurement and hide rounding."""
RECORD = "run.json"
"""The file by which an earlier result is known."""


def make_ready() -> None:
    """Import what tables are made with, a third of a second: to be called beside other work, before there is a
    report."""
    import pandas  # noqa: F401


def write_report(
    analysis: Analysis,
    out: str | Path,
    whatif: Any = None,
    inputs: Mapping[str, Path] | None = None,
    now: str | None = None,
    figures: str = "",
    fit: Fit | None = None,
    beside: Analysis | None = None,
) -> Path:
    """Write report.html, metrics.csv, series.csv, quality.csv, derived.c3d, methods.md, methods.tex, references.bib,
    run.json, whatif.csv when there is one, and regions.csv where there are pressure insoles; of a fit fit.csv,
    trade_off.csv and, where a shape helps, the folder insole with its solid.

    An earlier result in `out` is replaced; any other content is left alone: OutputError. Returns the folder.
    whatif, fit, beside : as in `Reported`;  inputs : role -> file, for their SHA-256
    now : the time in UTC to write into run.json
    figures : 'svg', 'png' or 'pdf' to write every figure as a file, too, into figures/
    """

    def fill(draft: Path) -> None:
        reported = Reported(analysis, whatif, fit, beside)
        _fill(draft, reported, inputs, now)
        if figures:
            write_sheets(every_figure(reported), draft, figures)

    return write_whole(out, RECORD, fill)


def _fill(draft: Path, reported: Reported, inputs: Mapping[str, Path] | None, now: str | None) -> None:
    analysis, whatif, fit = reported.analysis, reported.whatif, reported.fit
    write_table(metrics_table(analysis), draft / "metrics.csv", DIGITS)
    write_table(series_table(analysis), draft / "series.csv", DIGITS)
    write_table(quality_table(all_findings(analysis, whatif, fit)), draft / "quality.csv")
    if analysis.landing.pressed is not None:
        write_table(regions_table(analysis), draft / "regions.csv", DIGITS)
    if whatif is not None:
        write_table(change_table(analysis, whatif), draft / "whatif.csv", DIGITS)
    if fit is not None:
        write_fit(analysis, fit, draft, DIGITS)
    write_derived(analysis, draft / "derived.c3d")
    methods = methods_text(analysis, reported.answers)
    write_methods(draft, methods.paragraph, methods.checklist)
    (draft / "report.html").write_text(render_page(analysis, whatif, fit, reported.beside), encoding="utf-8")
    record = run_record(analysis, inputs, now) | {"verdict": trust_in(analysis, whatif, fit).record}
    if whatif is not None:
        record["whatif"] = {"shape": whatif.shape_text, "side": whatif.side, "draws": whatif.draws, "seed": whatif.seed}
        if whatif.others:
            record["whatif"]["compared_with"] = [other.shape_text for other in whatif.others]
    if fit is not None:
        record["fit"] = fit_record(fit)
    (draft / RECORD).write_text(json.dumps(record, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")

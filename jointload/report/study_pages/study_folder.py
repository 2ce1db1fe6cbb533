"""The folder of a comparison: one page, tables for a paper, figures, methods, and the record of how it was made."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.report.figures.paper import write_sheets
from jointload.report.files.folder import DIGITS
from jointload.report.files.paper import write_methods
from jointload.report.study_pages.study_page import render_comparison
from jointload.report.study_pages.study_words import (
    bare_unit,
    methods_paragraph,
    number,
    p_text,
    title_of,
    told_difference,
)
from jointload.report.words.csv_text import write_table
from jointload.report.words.quantities import UNKNOWN
from jointload.report.words.references import latex_letters
from jointload.report.words.tables import plain_digits
from jointload.report.words.whole_folder import write_whole
from jointload.study.comparison import Comparison, Row
from jointload.study.styles import Styles

if TYPE_CHECKING:
    import pandas

COMPARISON_RECORD = "comparison.json"
SHOWN = ("shown_difference", "shown_low", "shown_high")
"""The difference in the page's digits."""
PAPER_HEAD = (
    "Quantity",
    "Level",
    "Mean of baseline",
    "Difference",
    "95 % interval",
    "Unit",
    "Effect size",
    "p adjusted",
    "Finding",
)


def write_comparison(
    out: Path, name: str, found: Comparison, styles: Styles, others: pandas.DataFrame, items: Mapping[str, str],
    record: Mapping[str, Any], form: str = "",
) -> Path:  # fmt: skip
    """Write comparison.html, effects.csv, curve_tests.csv, styles.csv, percentiles.csv, repeats.csv where landings
    repeat, table.md, table.tex, methods.md, methods.tex, references.bib and the record; all or nothing.

    form : of figures/ for papers; none without it
    """

    def fill(draft: Path) -> None:
        page, figures = render_comparison(name, found, styles, others, items)
        (draft / "comparison.html").write_text(page, encoding="utf-8")
        write_table(effects_table(found), draft / "effects.csv", DIGITS)
        write_table(curves_table(found), draft / "curve_tests.csv", DIGITS)
        write_table(styles_table(styles), draft / "styles.csv", DIGITS)
        write_table(others, draft / "percentiles.csv", DIGITS)
        if len(found.repeats):
            write_table(found.repeats, draft / "repeats.csv", DIGITS)
        rows = [_paper_cells(row) for row in found.rows if row.primary]
        (draft / "table.md").write_text(_markdown(rows), encoding="utf-8")
        (draft / "table.tex").write_text(_latex(rows), encoding="utf-8")
        write_methods(draft, methods_paragraph(items), items.items())
        if form:
            write_sheets(figures, draft, form)
        (draft / COMPARISON_RECORD).write_text(
            json.dumps(record, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
        )

    return write_whole(out, COMPARISON_RECORD, fill)


def effects_table(found: Comparison) -> pandas.DataFrame:
    """One row a quantity, foot and level."""
    import pandas as pd

    rows = []
    for row in found.rows:
        c = row.contrast
        rows.append(
            {
                "quantity": row.quantity, "foot": row.foot, "unit": row.unit, "level": c.level, "baseline": c.baseline,
                "family": "primary" if row.primary else "exploratory", "baseline_mean": c.baseline_mean,
                "difference": c.estimate, "low": c.low, "high": c.high, "standard_error": c.error, "df": c.df, "p": c.p,
                "p_adjusted": row.adjusted, "adjusted_by": "Holm" if row.primary else "Benjamini-Hochberg",
                "effect_size": row.size.value, "effect_low": row.size.low, "effect_high": row.size.high,
                "effect_kind": row.size.kind, "smallest_change": row.margin, "smallest_change_from": row.margin_from,
                "p_equivalent": row.equivalent, "finding": row.verdict, "sd_between_riders": c.between_riders,
                "sd_rider_by_level": c.rider_by_level, "sd_within": c.residual, "riders": c.riders,
                "landings": c.trials, "model": c.model, "note": c.note, "riders_to_decide": row.riders_to_decide,
                **{f"riders_to_decide_{n}_landings": each for n, each in row.riders_with_more_landings.items()},
                **dict(zip(SHOWN, plain_digits(c.estimate, c.low, c.high, bare_unit(row.unit), extra=1), strict=True)),
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def curves_table(found: Comparison) -> pandas.DataFrame:
    """One row a curve and level, and one more for each further stretch."""
    import pandas as pd

    rows = []
    for curve in found.curves:
        test = curve.test
        base: dict[str, Any] = {"curve": curve.quantity, "foot": curve.foot, "unit": curve.unit, "level": curve.level}
        base |= {"baseline": curve.baseline, "riders_baseline": len(curve.first), "riders_level": len(curve.second)}
        of_test = {} if test is None else {
            "scheme": test.scheme, "labellings": test.permutations, "all_labellings": test.exact,
            "smallest_p": test.smallest_p, "p": test.p, "threshold_t": test.threshold,
        }  # fmt: skip
        for stretch in (test.stretches if test else ()) or (None,):
            own = {} if stretch is None else {
                "first_percent": stretch.first, "last_percent": stretch.last, "peak_percent": stretch.peak,
                "p_stretch": stretch.p,
            }  # fmt: skip
            rows.append(base | of_test | own | {"note": curve.note})
    return pd.DataFrame(rows)


def styles_table(styles: Styles) -> pandas.DataFrame:
    """One row a rider and noted style: features, components, and the cluster where there is one."""
    table = styles.cells.assign(task=styles.task)
    for name in styles.features:
        table[name] = styles.features[name].to_numpy()
    for k in range(styles.scores.shape[1]):
        table[f"component_{k + 1}"] = styles.scores[:, k]
    table["cluster"] = "" if styles.labels is None else styles.labels + 1
    table["fit"] = np.nan if styles.fits is None else styles.fits
    return table


def _paper_cells(row: Row) -> tuple[str, ...]:
    c = row.contrast
    told = told_difference(c, row.unit)
    size = f"{row.size.value:.2f} ({row.size.kind})".replace("-", "−") if np.isfinite(row.size.value) else "–"
    return (
        title_of(row.quantity, row.foot), c.level, number(c.baseline_mean, row.unit, 0), told.value,
        told.interval or UNKNOWN, row.unit, size, p_text(row.adjusted), row.verdict,
    )  # fmt: skip


def _markdown(rows: list[tuple[str, ...]]) -> str:
    lines = [PAPER_HEAD, ("---",) * len(PAPER_HEAD), *rows]
    return "".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |\n" for line in lines)


def _latex(rows: list[tuple[str, ...]]) -> str:
    def line(cells: tuple[str, ...]) -> str:
        return " & ".join(latex_letters(cell) for cell in cells) + r" \\" + "\n"

    columns = "ll" + "r" * (len(PAPER_HEAD) - 3) + "l"
    body = "".join(line(row) for row in rows)
    return f"\\begin{{tabular}}{{{columns}}}\n\\hline\n{line(PAPER_HEAD)}\\hline\n{body}\\hline\n\\end{{tabular}}\n"

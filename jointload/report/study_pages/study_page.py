"""The page of a comparison: what was compared, what differs, what does not, and how much may be said."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.report.figures.panel import Sheet
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.study_pages.study_figures import (
    curves_sheet,
    forest_rows,
    forest_sheet,
    riders_sheet,
    styles_sheet,
)
from jointload.report.study_pages.study_words import (
    methods_paragraph,
    methods_section,
    number,
    p_text,
    scheme_text,
    title_of,
)
from jointload.report.words import html
from jointload.sources import cited
from jointload.study.comparison import DIFFERS, NOT_KNOWN, OPEN, SAME, SMALL, Comparison, CurveRow, Row
from jointload.study.permutation import ALPHA
from jointload.study.reference import FEW
from jointload.study.styles import FEATURES, Styles

if TYPE_CHECKING:
    import pandas

CAUTION = (
    "A research tool, not a medical device: no diagnosis, no prediction of injury. A difference between groups or "
    "conditions says little of one rider. A licensed practitioner decides about a rider's body, shoes and insoles. A "
    "change that unloads one joint can load another: read ankle, knee, hip and lower back together."
)  # fmt: skip
MARKS = {
    DIFFERS: "■ differs", SMALL: "□ differs, within the smallest change", SAME: "= the same within the smallest change",
    OPEN: "? not decided", NOT_KNOWN: "– not known",
}  # fmt: skip


def render_comparison(
    name: str, found: Comparison, styles: Styles, others: pandas.DataFrame, items: Mapping[str, str]
) -> tuple[str, dict[str, Sheet]]:
    """The page, and its figures by name."""
    figures = _figures(found, styles)
    title = f"{name}: {found.by} compared"
    body = "\n".join(
        part
        for part in (
            f"<h1>{escape(title)}</h1>",
            html.paragraph(f"{found.task}: {', '.join(found.levels[1:])} against {found.levels[0]}"),
            f'<p class="caution">{escape(CAUTION)}</p>',
            _facts(found),
            _cautions(found),
            _primary(found, figures),
            _curves(found, figures),
            _exploratory(found, figures),
            _style_section(styles, figures),
            _riders_section(found, others),
            methods_section(items),
        )
        if part
    )
    return html.document(title, body, cited(methods_paragraph(items))), figures


def _figures(found: Comparison, styles: Styles) -> dict[str, Sheet]:
    out = {}
    if any(row.primary for row in found.rows):
        out["riders"] = riders_sheet(found)
    if forest_rows(found):
        out["effects"] = forest_sheet(found)
    for k, level in enumerate(found.levels[1:], start=1):
        curves = [curve for curve in found.curves if curve.level == level and len(curve.first) and len(curve.second)]
        if curves:
            out[f"curves_{k}"] = curves_sheet(curves)
    if styles.scores.shape[1] >= 2:
        out["styles"] = styles_sheet(styles)
    return out


def _facts(found: Comparison) -> str:
    primary = [row for row in found.rows if row.primary]
    differing = sum(row.verdict in (DIFFERS, SMALL) for row in primary)
    same = sum(row.verdict in (SAME, SMALL) for row in primary)
    rows = (
        ("Riders", str(found.riders), f"{found.trials} landings compared, {found.attempted} attempted"),
        ("Primary tests that differ", f"{differing} of {len(primary)}", "error of the family held at 5 % (Holm)"),
        ("Shown to be the same", f"{same} of {len(primary)}", "within the smallest change, by two one-sided tests"),
    )
    return html.table((), rows, (1,))


def _cautions(found: Comparison) -> str:
    if not found.cautions:
        return ""
    lines = "".join(f"<li>{escape(text)}</li>" for text in found.cautions)
    return f'<div class="verdict"><strong>How much this study can say</strong><ul>{lines}</ul></div>'


def _primary(found: Comparison, figures: Mapping[str, Sheet]) -> str:
    rows = [row for row in found.rows if row.primary]
    if not rows:
        return ""
    picture = (
        sheet_figure(
            figures["riders"],
            "Each dot is one rider's mean, joined where a rider met both; diamonds are the means of the riders.",
        )
        if "riders" in figures
        else ""
    )
    return html.section(
        "primary",
        "Primary quantities",
        html.paragraph(
            "Named in study.toml before looking. 'Not decided' means that neither a difference nor its absence could "
            "be shown: it is no finding."
        ),
        effect_table(found, rows),
        picture,
    )


def effect_table(found: Comparison, rows: list[Row]) -> str:
    several = len(found.levels) > 2
    head = [
        "Quantity",
        *(["Level"] if several else []),
        f"Mean {found.levels[0]}",
        "Difference",
        "95 % interval",
        "Unit",
    ]
    head += ["Effect size", "p adjusted", "Smallest change", "p equivalent", "Finding"]
    cells = []
    for row in rows:
        c = row.contrast
        size = f"{row.size.value:.2f}<small>{row.size.low:.2f} to {row.size.high:.2f}</small>".replace("-", "−")
        cells.append(
            [
                escape(title_of(row.quantity, row.foot)),
                *([escape(c.level)] if several else []),
                number(c.baseline_mean, row.unit, 0),
                number(c.estimate, row.unit),
                f"{number(c.low, row.unit)} to {number(c.high, row.unit)}" if np.isfinite(c.low) else "–",
                escape(row.unit),
                size if np.isfinite(row.size.value) else "–",
                p_text(row.adjusted),
                _margin_cell(row),
                p_text(row.equivalent),
                escape(MARKS[row.verdict]) + (f"<small> {escape(c.note)}</small>" if row.verdict == NOT_KNOWN else ""),
            ]
        )  # fmt: skip
    first = 2 if several else 1
    return html.table(head, cells, (first, first + 1, first + 2, first + 4, first + 5, first + 6, first + 7))


def _margin_cell(row: Row) -> str:
    known = np.isfinite(row.margin)
    return f"{number(row.margin, row.unit)}<small>{escape(row.margin_from)}</small>" if known else "–"


def _curves(found: Comparison, figures: Mapping[str, Sheet]) -> str:
    if not found.curves:
        return ""
    rows = [_curve_cells(curve) for curve in found.curves]
    pictures = [
        sheet_figure(
            figures[key],
            "Means of the riders, bands of one standard deviation between riders. Shaded: |t| beyond the threshold "
            "that holds the chance of any false alarm along the curve at 5 %. The p of a stretch is that of its peak: "
            "it does not prove where the stretch starts or ends.",
            first_column="% of the landing",
        )
        for key in figures
        if key.startswith("curves_")
    ]
    head = ("Curve", "Level", "Smallest p possible", "p of the curve", "Threshold |t|", "Stretches beyond it")
    schemes = sorted({scheme_text(curve.test) for curve in found.curves if curve.test is not None})
    how = f"Scheme: {'; '.join(schemes) or 'none possible'}. Another scheme gives another p."
    return html.section("curves", "Whole curves", html.table(head, rows, (2, 3, 4)), html.paragraph(how), *pictures)


def _curve_cells(curve: CurveRow) -> tuple[str, ...]:
    name = escape(title_of(curve.quantity, curve.foot))
    if curve.test is None:
        return (name, escape(curve.level), "–", "–", "–", escape(curve.note))
    stretches = "; ".join(f"{s.first} to {s.last} % (p {p_text(s.p)})" for s in curve.test.stretches)
    threshold = f"{curve.test.threshold:.2f}" if curve.test.smallest_p <= ALPHA else "none: too few riders"
    small = f"{curve.test.smallest_p:.2g}"
    return (name, escape(curve.level), small, p_text(curve.test.p), threshold, stretches or "none")


def _exploratory(found: Comparison, figures: Mapping[str, Sheet]) -> str:
    rows = [row for row in found.rows if not row.primary]
    picture = (
        sheet_figure(
            figures["effects"],
            "Effect sizes of the primary quantities (bold squares) and of a fixed list of others, none chosen by its "
            "result.",
        )
        if "effects" in figures
        else ""
    )
    return html.section(
        "others",
        "Effects, and everything else (exploratory)",
        picture,
        html.paragraph(
            "All other quantities. They were not named beforehand: what differs here is a question for the next "
            "study, not an answer. p adjusted after Benjamini and Hochberg holds the share of false alarms among those "
            "below 5 %."
        ),
        html.folded(f"all {len(rows)} exploratory comparisons", effect_table(found, rows)) if rows else "",
    )


def _style_section(styles: Styles, figures: Mapping[str, Sheet]) -> str:
    words = "".join(f"<li>Cluster {k + 1}: {escape(text)}</li>" for k, text in enumerate(styles.words))
    picture = sheet_figure(figures["styles"], "Riders near each other land alike.") if "styles" in figures else ""
    return html.section(
        "styles",
        "Landing styles",
        html.paragraph(f"Task: {styles.task}. {styles.finding[:1].upper()}{styles.finding[1:]}."),
        f"<ul>{words}</ul>" if words else "",
        picture,
        html.folded("the numbers of each rider", style_table(styles)) if len(styles.features) else "",
        html.paragraph(
            "A style belongs to the task it was seen in and is never carried to another one. Softness is the "
            "continuous score: 0 is the mean of stiff landings, 1 that of soft ones [@devita_1992]."
        ),
    )


def style_table(styles: Styles) -> str:
    units = {feature.name: feature.unit for feature in FEATURES}
    names = [str(name) for name in styles.features.columns]
    head = ["Rider", "Noted style", "Softness"] + (["Cluster", "Fit"] if styles.labels is not None else [])
    count = min(2, styles.scores.shape[1])
    head += [f"Component {k + 1}" for k in range(count)] + [f"{title_of(n, '')} ({units[n]})" for n in names]
    values, softness = styles.features.to_numpy(float), styles.cells["softness"].to_numpy(float)
    rows = []
    for k in range(len(styles.features)):
        row = [escape(str(styles.cells[name].iloc[k])) for name in ("rider", "style")]
        row.append(number(softness[k], "ratio", 0))
        if styles.labels is not None and styles.fits is not None:
            row += [str(int(styles.labels[k]) + 1), f"{styles.fits[k]:.2f}".replace("-", "−")]
        row += [f"{styles.scores[k, c]:.2f}".replace("-", "−") for c in range(count)]
        row += [number(values[k, c], units[name], 0) for c, name in enumerate(names)]
        rows.append(row)
    return html.table(head, rows, range(2, len(head)))


def _riders_section(found: Comparison, others: pandas.DataFrame) -> str:
    names = {row.name: row for row in found.rows if row.primary}
    shown: Any = others[others["quantity"].isin(names)]
    rows = [
        (
            escape(str(one.rider)),
            escape(title_of(names[one.quantity].quantity, names[one.quantity].foot)),
            number(one.mean, one.unit, 0),
            escape(one.unit),
            f"{one.percentile:.0f}",
            str(one.reference_n),
            f"{number(one.median, one.unit, 0)}<small>{number(one.quartile_1, one.unit, 0)} to "
            f"{number(one.quartile_3, one.unit, 0)}</small>",
        )
        for one in shown.itertuples(index=False)
    ]
    few = (
        f" With fewer than {FEW} others a percentile moves in coarse steps."
        if (others["reference_n"] < FEW).any()
        else ""
    )
    head = ("Rider", "Quantity", "Mean", "Unit", "Percentile", "Others", "Their median, quartiles")
    return html.section(
        "riders",
        "Each rider among the others",
        html.paragraph(
            f"Each rider's mean under {found.levels[0]} and its percentile among the other riders of this study.{few} "
            "High is not bad and low is not good. All quantities stand in percentiles.csv."
        ),
        html.folded(f"{len(rows)} rows", html.table(head, rows, (2, 4, 5, 6))) if rows else "",
    )

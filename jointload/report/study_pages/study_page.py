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
    answer_sentence,
    decided_words,
    methods_paragraph,
    methods_section,
    number,
    p_text,
    riders_text,
    scheme_text,
    title_of,
    told_difference,
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
    """The page, and its figures by name: answers, figures, tables, then what limits them."""
    figures = _figures(found, styles)
    title = f"{name}, {found.task}: what {' and '.join(found.levels[1:])} changed against {found.levels[0]}"
    sections = {
        "primary": ("The primary quantities, rider by rider", _riders(figures)),
        "curves": ("Whole curves", _curves(found, figures)),
        "effects": ("How large the differences are", _effects(figures)),
        "tables": ("The numbers of the primary quantities", _primary(found)),
        "others": ("Everything else (exploratory)", _exploratory(found)),
        "styles": ("Landing styles", _style_section(styles, figures)),
        "repeats": ("How well landings repeat", _repeats(found)),
        "riders": ("Each rider among the others", _riders_section(found, others)),
        "cautions": ("Cautions", _cautions(found)),
    }
    told = {key: (heading, content) for key, (heading, content) in sections.items() if content}
    body = "\n".join(
        (
            f"<h1>{escape(title)}</h1>",
            _answers(found),
            '<p class="soft">A research tool, not a medical device; a difference between groups or conditions says '
            'little of one rider. <a href="#cautions">Cautions</a></p>',
            html.with_appendix(told),
            methods_section(items),
        )
    )
    links = {key: heading for key, (heading, _) in told.items()} | {"methods": "Methods"}
    return html.document(title, body, cited(methods_paragraph(items)), links), figures


def _answers(found: Comparison) -> str:
    """How much the study can say, then a sentence for each primary quantity."""
    said = f"{found.riders} riders, {found.trials} of {found.attempted} attempted landings compared"
    count = len(found.cautions)
    cautions = f'; <a href="#cautions">{count} caution{"s" * (count != 1)}</a>' if count else ""
    mark = html.symbol("warn" if count else "pass")
    sentences = "".join(f"<li>{escape(answer_sentence(row))}</li>" for row in found.rows if row.primary)
    asked = f"What did {' and '.join(found.levels[1:])} change?"
    boxes = (
        f'<div class="answer wide" id="answer-trust"><h2>How much can it say?</h2><p class="verdict">{mark} '
        f"<b>{escape(decided_words(found))}</b></p><p>{escape(said)}{cautions}.</p></div>"
    )
    if sentences:
        boxes += f'<div class="answer wide" id="answer-shift"><h2>{escape(asked)}</h2><ul>{sentences}</ul></div>'
    return f'<div class="answers">{boxes}</div>'


def _figures(found: Comparison, styles: Styles) -> dict[str, Sheet]:
    out = {}
    if any(row.primary for row in found.rows):
        out["riders"] = riders_sheet(found)
    if forest_rows(found):
        out["effects"] = forest_sheet(found)
    for k, level in enumerate(found.levels[1:], start=1):
        curves = [curve for curve in found.curves if curve.level == level and len(curve.first) and len(curve.second)]
        if curves:
            out[f"curves_{k}"] = curves_sheet(found, curves)
    if styles.scores.shape[1] >= 2:
        out["styles"] = styles_sheet(styles)
    return out


def _cautions(found: Comparison) -> str:
    lines = "".join(f"<li>{escape(text)}</li>" for text in found.cautions)
    said = f"<p><b>How much this study can say</b></p><ul>{lines}</ul>" if lines else ""
    return f'<div class="caution">{said}{html.paragraph(CAUTION)}</div>'


def _riders(figures: Mapping[str, Sheet]) -> str:
    if "riders" not in figures:
        return ""
    return sheet_figure(
        figures["riders"],
        "Each dot is one rider's mean, joined where a rider met both; diamonds are the means of the riders.",
    )


def _effects(figures: Mapping[str, Sheet]) -> str:
    if "effects" not in figures:
        return ""
    return html.paragraph(SIZES) + sheet_figure(
        figures["effects"],
        "Effect sizes of the primary quantities (bold squares) and of a fixed list of others, none chosen by its "
        "result. An arrow: the interval goes on beyond the axis.",
    )


SIZES = (
    "An effect size counts a difference in standard deviations, so that degrees and newton metres can stand beside "
    "each other. d_z is the mean of the riders' own differences over how much these differ from rider to rider: 1 says "
    "that the usual difference is as large as its spread. Hedges' g divides the difference of two groups by the spread "
    "between riders of one group. Neither says whether a difference matters."
)


def _primary(found: Comparison) -> str:
    rows = [row for row in found.rows if row.primary]
    if not rows:
        return ""
    return html.paragraph(
        "Named in study.toml before looking. 'Not decided' means that neither a difference nor its absence could be "
        "shown: it is no finding. p adjusted holds the chance of any false alarm among these at 5 % (Holm); p "
        "equivalent below 0.05 shows a difference smaller than the smallest change."
    ) + effect_table(found, rows)


def effect_table(found: Comparison, rows: list[Row]) -> str:
    several = len(found.levels) > 2
    head = ["Quantity", *(["Level"] if several else []), f"Mean {found.levels[0]}", "Difference", "95 % interval",
            "Unit", "Finding", "Effect size", "p adjusted", "Smallest change", "p equivalent",
            "Riders to decide"]  # fmt: skip
    first = 2 if several else 1
    numeric = [first + k for k in (0, 1, 2, 5, 6, 7, 8, 9)]
    return html.table(head, [_effect_cells(row, several) for row in rows], numeric)


def _effect_cells(row: Row, several: bool) -> list[str]:
    c, told = row.contrast, told_difference(row.contrast, row.unit)
    size = f"{row.size.value:.2f}<small>{row.size.low:.2f} to {row.size.high:.2f}</small>".replace("-", "−")
    return [
        escape(title_of(row.quantity, row.foot)),
        *([escape(c.level)] if several else []),
        number(c.baseline_mean, row.unit, 0),
        told.value,
        told.interval,
        escape(row.unit),
        escape(MARKS[row.verdict]) + (f"<small> {escape(c.note)}</small>" if row.verdict == NOT_KNOWN else ""),
        size if np.isfinite(row.size.value) else "",
        p_text(row.adjusted),
        _margin_cell(row),
        p_text(row.equivalent) if np.isfinite(row.equivalent) else "",
        _riders_cell(row),
    ]


def _riders_cell(row: Row) -> str:
    """With as many landings as here; in small print with more of them."""
    more = [f"{riders_text(each)} with {count}" for count, each in row.riders_with_more_landings.items() if each > 0]
    small = f"<small>landings each: {', '.join(more)}</small>" if more else ""
    return riders_text(row.riders_to_decide) + small


def _margin_cell(row: Row) -> str:
    known = np.isfinite(row.margin)
    return f"{number(row.margin, row.unit, 0)}<small>{escape(row.margin_from)}</small>" if known else ""


def _curves(found: Comparison, figures: Mapping[str, Sheet]) -> str:
    if not found.curves:
        return ""
    rows = [_curve_cells(curve) for curve in found.curves]
    pictures = [
        sheet_figure(
            figures[key],
            "Of each curve the means of the riders with bands of one standard deviation between riders; then, where "
            "the riders are the same, what each rider's curve changed by. Shaded: |t| beyond the threshold that holds "
            "the chance of any false alarm along the curve at 5 %. The p of a stretch is that of its peak: it does not "
            "prove where the stretch starts or ends.",
            first_column="% of the landing",
        )
        for key in figures
        if key.startswith("curves_")
    ]
    head = ("Curve", "Level", "Smallest p possible", "p of the curve", "Threshold |t|", "Stretches beyond it")
    schemes = sorted({scheme_text(curve.test) for curve in found.curves if curve.test is not None})
    how = f"Scheme: {'; '.join(schemes) or 'none possible'}. Another scheme gives another p."
    return "".join(pictures) + html.numbers(
        f"The tests of {len(rows)} curves", html.table(head, rows, (2, 3, 4)) + html.paragraph(how)
    )


def _curve_cells(curve: CurveRow) -> tuple[str, ...]:
    name = escape(title_of(curve.quantity, curve.foot))
    if curve.test is None:
        return (name, escape(curve.level), "–", "–", "–", escape(curve.note))
    stretches = "; ".join(f"{s.first} to {s.last} % (p {p_text(s.p)})" for s in curve.test.stretches)
    threshold = f"{curve.test.threshold:.2f}" if curve.test.smallest_p <= ALPHA else "none: too few riders"
    small = f"{curve.test.smallest_p:.2g}"
    return (name, escape(curve.level), small, p_text(curve.test.p), threshold, stretches or "none")


def _exploratory(found: Comparison) -> str:
    rows = [row for row in found.rows if not row.primary]
    if not rows:
        return ""
    return html.paragraph(
        "All other quantities. They were not named beforehand: what differs here is a question for the next study, not "
        "an answer. p adjusted after Benjamini and Hochberg holds the share of false alarms among those below 5 %."
    ) + html.folded(f"all {len(rows)} exploratory comparisons", effect_table(found, rows))


def _style_section(styles: Styles, figures: Mapping[str, Sheet]) -> str:
    words = "".join(f"<li>Cluster {k + 1}: {escape(text)}</li>" for k, text in enumerate(styles.words))
    picture = sheet_figure(figures["styles"], "Riders near each other land alike.") if "styles" in figures else ""
    return "".join(
        (
            html.paragraph(f"Task: {styles.task}. {styles.finding[:1].upper()}{styles.finding[1:]}."),
            f"<ul>{words}</ul>" if words else "",
            picture,
            html.folded("the numbers of each rider", style_table(styles)) if len(styles.features) else "",
            html.paragraph(
                "A style belongs to the task it was seen in and is never carried to another one. Softness is the "
                "continuous score: 0 is the mean of stiff landings, 1 that of soft ones [@devita_1992]."
            ),
        )
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


def _repeats(found: Comparison) -> str:
    names = [row.name for row in found.rows if row.primary]
    if found.repeats.empty or not names:
        return ""
    shown: Any = found.repeats[found.repeats["name"].isin(names)]
    rows = [
        (
            escape(title_of(one.quantity, one.foot)),
            f"{one.riders} × {one.landings_each}",
            number(one.mean, one.unit, 0),
            *(number(value, one.unit) for value in (one.sd_within, one.sem, one.mdc95)),
            escape(one.unit),
            f"{_share(one.icc_3_1)}<small>{_share(one.icc_3_1_low)} to {_share(one.icc_3_1_high)}</small>",
            _share(one.icc_3_k),
        )
        for one in shown.itertuples(index=False)
    ]
    head = ("Quantity", "Riders × landings", "Mean", "SD of a rider", "SEM", "MDC95", "Unit", "ICC(3,1)", "ICC(3,k)")
    return html.paragraph(REPEATS.format(level=found.levels[0])) + html.table(head, rows, (1, 2, 3, 4, 5, 7, 8))


def _share(value: float) -> str:
    return f"{round(value, 2) + 0.0:.2f}".replace("-", "−")


REPEATS = (
    "The first landings of each rider under {level}, equally many of all. ICC is the share of the spread that riders "
    "make: near 1, a landing tells riders apart. ICC(3,1) is that of one landing, ICC(3,k) that of the mean of them; "
    "neither counts what all riders change by from landing to landing ([@mcgraw_1996], there C,1 and C,k). SEM, the "
    "standard deviation of all times √(1 − ICC(3,1)), is how far one landing typically lies from its rider's own mean; "
    "MDC95 is 1.96 √2 SEM: two landings of one rider differ by less in 95 of 100 pairs. Landings of one session tell "
    "nothing of markers put on anew, which add to both. All quantities and forms stand in repeats.csv."
)


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
    return html.paragraph(
        f"Each rider's mean under {found.levels[0]} and its percentile among the other riders of this study.{few} "
        "High is not bad and low is not good. All quantities stand in percentiles.csv."
    ) + (html.folded(f"{len(rows)} rows", html.table(head, rows, (2, 4, 5, 6))) if rows else "")

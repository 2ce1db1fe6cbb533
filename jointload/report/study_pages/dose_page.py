"""The page of a dose: what years of landings add up to, what decides it, and what a change would save."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from html import escape

import numpy as np

from jointload.modeldata import load_model
from jointload.report.figures.panel import Sheet
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.study_pages.dose_figures import KIND_WORDS, doses_sheet, savings_sheet, shares_sheet
from jointload.report.study_pages.study_words import methods_paragraph, methods_section
from jointload.report.words import html
from jointload.sources import cited
from jointload.study.strain_dose import FEWER, LIGHTER, Dose, Row, Tissue, saving_of_ratio, tissues

CAUTIONS = (
    "For research. A dose is a way to count, not a finding about a body: it diagnoses nothing, predicts no injury and "
    "calls no rider, activity or insole safe or unsafe. Who has pain should see a clinician, whatever stands here.",
    "Every load is a lower bound, because muscles that work against each other are not seen; the laws of adding up "
    "come from specimens and models, not from living riders.",
    "The exponent decides most of the answer and nobody knows it for a living person: read the range, not a number.",
    "Impulses of a landing are added up; peaks stand in dose.csv beside them and are not to be used to explain "
    "chronic overuse [@bisseling_2006].",
)
UNKNOWN = "–"


def render_dose(study: str, found: Dose, items: Mapping[str, str]) -> tuple[str, dict[str, Sheet]]:
    """The page, and its figures by name.  items : the methods, as of `dose_items`"""
    figures = {"doses": doses_sheet(found), "shares": shares_sheet(found), "savings": savings_sheet(found)}
    title = f"{study}: strain over years"
    body = "\n".join(
        (
            f"<h1>{escape(title)}</h1>",
            '<div class="caution">' + "".join(html.paragraph(text) for text in CAUTIONS) + "</div>",
            html.answer(_answer(found)),
            _doses(found, figures["doses"]),
            _shares(found, figures["shares"]),
            _savings(found, figures["savings"]),
            _exposures(found),
            _assumptions(found),
            methods_section(items),
        )
    )
    return html.document(title, body, cited(methods_paragraph(items))), figures


def _answer(found: Dose) -> str:
    """How far apart the exponents put the riders."""
    texts = []
    for kind in ("linear", "published"):
        chosen = [row for row in _known(found, kind) if row["tissue"] == "knee_cartilage"]
        if len(chosen) >= 2:
            least, most = (pick(chosen, key=lambda row: row["dose"]) for pick in (min, max))
            times = most["dose"] / least["dose"]
            texts.append(f"{most['rider']} {times:.3g} times {least['rider']} under {KIND_WORDS[kind]}")
    return f"The largest and the smallest dose of knee cartilage: {'; '.join(texts)}." if texts else ""


def _known(found: Dose, kind: str) -> list[Row]:
    """Doses by impulse that are known."""
    return [row for row in found.doses if (row["basis"], row["kind"]) == ("impulse", kind) and row["dose"] > 0]


def _grouped(rows: Iterable[Row], *names: str) -> dict[tuple[str, ...], list[Row]]:
    out: dict[tuple[str, ...], list[Row]] = {}
    for row in rows:
        out.setdefault(tuple(row[name] for name in names), []).append(row)
    return out


# Sections -----------------------------------------------------------------------------------------------------------


def _doses(found: Dose, sheet: Sheet) -> str:
    rows = []
    by_impulse = [row for row in found.doses if row["basis"] == "impulse"]
    for (rider, tissue), own in _grouped(by_impulse, "rider", "tissue").items():
        by_kind = {row["kind"]: row for row in own}
        cells = [
            _count(by_kind[kind]["dose"]) + _small(_range(by_kind[kind]["low"], by_kind[kind]["high"], _count))
            for kind in KIND_WORDS
        ]
        first = by_kind["linear"]
        rows.append(
            (escape(rider), escape(tissues()[tissue].title), _count(first["dose"] * first["reference"]), *cells)
            + (_own_exponent(tissues()[tissue]), escape(first["note"]))
        )
    head = ("Rider", "Tissue", "Sum of loads [BW s]", *KIND_WORDS.values(), "Its own", "Note")
    return html.section(
        "dose",
        "What the landings add up to",
        html.paragraph(
            "Dose: the number of landings of the study's mean load that would add up to the same, mean of both feet. "
            "Exponent 1 adds up load; higher ones count a hard landing for more. In small print the dose where all "
            "loads lie at the low or at the high end of their 95 % interval together."
        ),
        sheet_figure(
            sheet,
            "Marks: exponents. Lines: all loads at the low to all loads at the high end of their 95 % interval.",
        ),
        html.table(head, rows, range(2, 3 + len(KIND_WORDS))),
    )


def _shares(found: Dose, sheet: Sheet) -> str:
    rows = []
    for (rider, tissue, by, name), own in _grouped(found.shares, "rider", "tissue", "by", "name").items():
        cells = [
            _percent(row["share"]) + _small(_range(row["low"], row["high"], _percent))
            for kind in KIND_WORDS
            for row in own
            if row["kind"] == kind
        ]
        rows.append((escape(rider), escape(tissues()[tissue].title), by, escape(name), *cells))
    cut = load_model("tissue", "dose").content["style"]["cut"]
    return html.section(
        "shares",
        "Where the dose comes from",
        html.paragraph(
            "Share of the known dose by activity and by landing style (soft: knees bend to "
            f"{cut:g} degrees or more). In small print the share where all loads lie at the low or the high end of "
            "their interval together; arms and areas err alike in every landing and mostly drop out."
        ),
        sheet_figure(
            sheet,
            "Two bars a rider: exponent 1 and the tissue's own exponent.",
        ),
        html.folded(
            "The shares of each rider and tissue",
            html.table(("Rider", "Tissue", "By", "", *KIND_WORDS.values()), rows, range(4, 4 + len(KIND_WORDS))),
        ),
    )  # fmt: skip


def _savings(found: Dose, sheet: Sheet) -> str:
    rows = []
    for (change, rider), own in sorted(_grouped(found.savings, "change", "rider").items()):
        by_tissue = _grouped(own, "tissue")
        cells = [_saving_cell(by_tissue.get((name,), [])) for name in tissues()]
        notes = "; ".join(dict.fromkeys(row["note"] for row in own if row["note"]))
        rows.append((escape(change), escape(rider), *cells, escape(notes)))
    head = ("Change", "Rider", *(tissue.title for tissue in tissues().values()), "Note")
    return html.section(
        "savings",
        "What one change would save",
        html.paragraph(
            "As a range over the exponents, because the exponent alone turns the same change into a small or a large "
            "saving. A condition is compared with the usual landings by the ratio of their mean loads, each rider by "
            "itself; a change between single landings cannot be told from chance. A saving for one tissue may cost "
            "another: read the whole of a rider's row. In small print the 95 % interval over all exponents."
        ),
        sheet_figure(sheet, "Marks: exponents. Lines: from the least to the most."),
        html.table(head, rows, range(2, 2 + len(tissues()))),
    )


def _saving_cell(rows: list[Row]) -> str:
    """From the least to the most over the exponents, with the widest interval below it."""
    savings = [row["saving"] for row in rows if np.isfinite(row["saving"])]
    if not savings:
        return UNKNOWN
    ends = [(row["low"], row["high"]) for row in rows if np.isfinite([row["low"], row["high"]]).all()]
    interval = _range(min(low for low, _ in ends), max(high for _, high in ends), _percent) if ends else ""
    over = _range(min(savings), max(savings), _percent)
    return over + _small(interval if interval != over else "")


def _exposures(found: Dose) -> str:
    rows = [
        (
            escape(e.rider), escape(e.activity), f"{e.from_m:g} to {e.to_m:g}", f"{e.landings_per_session:g}",
            f"{e.sessions_per_week:g}", f"{e.weeks_per_year:g}", f"{e.years:g}", _count(e.landings),
        )
        for e in found.exposures
    ]  # fmt: skip
    head = ("Rider", "Activity", "Height [m]", "A session", "Sessions a week", "Weeks a year", "Years", "Landings")
    return html.section(
        "exposures", "The exposure table", html.table(head, rows, (3, 4, 5, 6, 7)),
        html.paragraph("As told, without an interval: a dose goes in proportion with each of these numbers."),
    )  # fmt: skip


# Assumptions --------------------------------------------------------------------------------------------------------


def _assumptions(found: Dose) -> str:
    content = load_model("tissue", "dose").content
    rows = [
        (
            escape(f"Exponent: {t.title}"), _own_exponent(t), escape(f"{t.basis}: {t.source}"),
            escape(
                f"{100 * LIGHTER:.0f} % lighter landings save {_lighter(t.exponent)}"
                f" ({_lighter(t.exponent_low)} to {_lighter(t.exponent_high)})"
            ),
        )
        for t in tissues().values()
    ]  # fmt: skip
    usual = ", ".join(_lighter(content["exponents"][kind]) for kind in ("linear", "squared", "fourth"))
    cycles = content["cycles"]
    more = 10.0 ** cycles["spine"]
    rows += [
        ("Exponents for all tissues", "1, 2, 4", escape(content["exponents"]["source"]),
         escape(f"{100 * LIGHTER:.0f} % lighter landings save {usual}")),
        ("Load of a landing", "impulse", "choice; on peaks [@bisseling_2006]", escape(_basis_effect(found))),
        ("Arms, areas and slopes behind the loads", "see each landing's report", "models/tissue",
         escape(_interval_effect(found))),
        ("Errors of markers, joint centres and plates", *_errors(found)),
        ("No muscle works against another", "", "choice: not seen by markers and plates",
         "every load and dose is a lower bound; shares and savings change only if it differs between landings"),
        ("Landings count each for themselves", f"power {cycles['spine']:g} in the spine", escape(cycles["source"]),
         f"ten times the landings are ten times the dose here, {more:.1f} times with that power"),
        ("No repair between landings", "", escape(content["repair"]["source"]), escape(content["repair"]["text"])),
        ("Landings in the laboratory stand for those outside", f"condition {escape(found.baseline)}", "choice",
         "not known; boards, surfaces and tiredness are not in it"),
        ("Heights without a measured landing", "square root of the height" if found.scaled else "no number",
         escape(content["height_law"]["source"]) if found.scaled else "choice", escape(_height_effect(found))),
        ("Soft or stiff", f"{content['style']['cut']:g} deg", escape(content["style"]["source"]),
         "moves landings between the two styles, no dose"),
        ("Fewer hard landings", f"{100 * FEWER:.0f} %", "choice", "the saving goes in proportion"),
    ]  # fmt: skip
    return html.section(
        "assumptions",
        "What is assumed, from where, and what it does",
        html.table(("Assumption", "Value", "Source", "Effect"), rows),
    )


def _errors(found: Dose) -> tuple[str, str, str]:
    """What the intervals hold of errors of the recordings: value, source, effect."""
    if found.draws:
        return f"{found.draws} draws a landing", "models/uncertainty", "inside every interval"
    effect = "see 'How certain the numbers are' in a landing's own report; they would widen every interval"
    return "not in these intervals", "no draws in study.toml", effect


def _own_exponent(tissue: Tissue) -> str:
    return f"{tissue.exponent:g} ({tissue.exponent_low:g} to {tissue.exponent_high:g})"


def _lighter(exponent: float) -> str:
    return _percent(float(saving_of_ratio(1 - LIGHTER, exponent)))


def _basis_effect(found: Dose) -> str:
    """How a dose by peaks differs from one by impulses, over riders and tissues."""
    texts = []
    for kind in ("linear", "published"):
        pairs = _grouped((row for row in found.doses if row["kind"] == kind), "rider", "tissue").values()
        doses = [{row["basis"]: row["dose"] for row in pair} for pair in pairs]
        ratios = [each["peak"] / each["impulse"] for each in doses if each["impulse"] > 0]
        if ratios:
            texts.append(f"{min(ratios):.2g} to {max(ratios):.2g} times under {KIND_WORDS[kind]}")
    return "by peaks the doses here would be " + ", ".join(texts) if texts else "not known here"


def _interval_effect(found: Dose) -> str:
    texts = []
    for kind in ("linear", "published"):
        rows = [row for row in _known(found, kind) if np.isfinite([row["low"], row["high"]]).all()]
        if rows:
            low, high = (pick(row[end] / row["dose"] for row in rows) for pick, end in ((min, "low"), (max, "high")))
            texts.append(f"doses from {low:.2g} to {high:.3g} times what they are under {KIND_WORDS[kind]}")
    return "; ".join(texts) or "no interval came with the study's numbers"


def _height_effect(found: Dose) -> str:
    lost = [1 - row["known_landings"] / row["landings"] for row in found.doses if row["tissue"] == "lumbar_disc"]
    return f"at most {_percent(max(lost))} of a rider's landings have no load of the disc"


# Cells --------------------------------------------------------------------------------------------------------------


def _count(value: float) -> str:
    """Three figures, thousands apart; an en dash when unknown."""
    if not np.isfinite(value):
        return UNKNOWN
    if value >= 1e7 or (0 < value < 0.01):
        mantissa, power = f"{value:.2e}".split("e")
        return f"{mantissa}·10<sup>{int(power)}</sup>".replace("-", "−")
    rounded = float(f"{value:.3g}")
    return f"{rounded:,.0f}".replace(",", "\N{NO-BREAK SPACE}") if rounded >= 100 else f"{rounded:g}"


def _percent(share: float) -> str:
    if not np.isfinite(share):
        return UNKNOWN
    return f"{100 * share:.1f} %".replace("-0.0 ", "0.0 ").replace("-", "−")


def _range(low: float, high: float, text: Callable[[float], str]) -> str:
    if not np.isfinite([low, high]).all():
        return ""
    return f"{text(low)} to {text(high)}"


def _small(text: str) -> str:
    return f"<small>{text}</small>" if text else ""

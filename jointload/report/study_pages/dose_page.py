"""The page of a dose: what years of landings add up to, what decides it, and what a change would save."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape

import numpy as np

from jointload.modeldata import load_model
from jointload.report.figures.panel import Sheet
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.study_pages.dose_answers import (
    best_change,
    known_words,
    largest_rider,
    largest_source,
    style_source,
    what_decides,
)
from jointload.report.study_pages.dose_figures import (
    KIND_WORDS,
    doses_sheet,
    matters_sheet,
    savings_sheet,
    shares_sheet,
)
from jointload.report.study_pages.study_words import methods_paragraph, methods_section
from jointload.report.words import html
from jointload.report.words.quantities import UNKNOWN, range_text
from jointload.sources import cited
from jointload.study.exposures import HEIGHTS, TIMES, Exposure
from jointload.study.strain_dose import FEWER, LIGHTER, Dose, Row, Tissue, of_worse_feet, saving_of_ratio, tissues

CAUTIONS = (
    "For research. A dose is a way to count, not a finding about a body: it diagnoses nothing, predicts no injury and "
    "calls no rider, activity or insole safe or unsafe. Who has pain should see a clinician, whatever stands here.",
    "Every load of joint, tendon or disc is a lower bound, because muscles that work against each other are not seen; "
    "the laws of adding up come from specimens and models, not from living riders; for heel, ball and toes there is "
    "none.",
    "The exponent decides most of the answer and nobody knows it for a living person: read the range, not a number.",
    "Impulses of a landing are added up; peaks stand in dose.csv beside them and are not to be used to explain "
    "chronic overuse [@bisseling_2006].",
)


def render_dose(study: str, found: Dose, items: Mapping[str, str]) -> tuple[str, dict[str, Sheet]]:
    """The page, of each rider's worse foot, and its figures by name: what matters most, then where it comes from.

    items : the methods, as of `dose_items`
    """
    worse = of_worse_feet(found)
    figures = {
        "what_matters": matters_sheet(worse), "doses": doses_sheet(worse), "shares": shares_sheet(worse),
        "savings": savings_sheet(worse),
    }  # fmt: skip
    sections = {
        "matters": ("What matters under every exponent", _matters(figures["what_matters"])),
        "dose": ("What the landings add up to", _doses(worse, figures["doses"])),
        "shares": ("Where the dose comes from", _shares(worse, figures["shares"])),
        "savings": ("What one change would save", _savings(worse, figures["savings"])),
        "exposures": ("The exposure table", html.folded("Landings of each rider as told", _exposures(found))),
        "assumptions": (
            "What is assumed, from where, and what it does", html.folded("Every assumption", _assumptions(worse)),
        ),
        "cautions": ("Cautions", f'<div class="caution">{"".join(html.paragraph(text) for text in CAUTIONS)}</div>'),
    }  # fmt: skip
    title = f"{study}, strain over years: who, what and which change matters most"
    body = "\n".join(
        (
            f"<h1>{escape(title)}</h1>",
            _answers(worse),
            '<p class="soft">For research: a way to count, not a finding about a body; who has pain should see a '
            "clinician. "
            '<a href="#cautions">Cautions</a></p>',
            html.with_appendix(sections),
            methods_section(items),
        )
    )
    links = {key: heading for key, (heading, _) in sections.items()} | {"methods": "Methods"}
    return html.document(title, body, cited(methods_paragraph(items)), links), figures


def _answers(worse: Dose) -> str:
    """How far it can be relied on, and the answers in sentences."""
    boxes = {
        "trust": (
            "How much can it say?",
            f"<p><b>{known_words(worse)}.</b> Exponents are not known for a living person: "
            'only what holds under every one of them is told first. <a href="#assumptions">What is assumed</a></p>',
        ),
        "rider": ("Whose strain is largest?", _listed(largest_rider(worse))),
        "source": ("Where does it come from?", _listed([*largest_source(worse), *style_source(worse)])),
        "change": ("What does one change save?", _listed(best_change(worse))),
        "unsure": ("What makes it unsure?", _listed(what_decides(worse))),
    }
    return (
        '<div class="answers">'
        + "".join(
            f'<div class="answer wide" id="answer-{key}"><h2>{escape(question)}</h2>{content}</div>'
            for key, (question, content) in boxes.items()
            if content
        )
        + "</div>"
    )


def _listed(sentences: Iterable[str]) -> str:
    lines = "".join(f"<li>{escape(text)}</li>" for text in sentences)
    return f"<ul>{lines}</ul>" if lines else ""


def _matters(sheet: Sheet) -> str:
    return html.paragraph(EXPONENTS) + sheet_figure(
        sheet,
        "Of each rider's worse foot: the dose of the knee's cartilage, the share of the activity that makes most of "
        "it, and the saving of the change that helps most. Marks: exponents; lines: from the least to the most of "
        "them.",
    )


EXPONENTS = (
    "The exponent says how much more a hard landing counts: with exponent 1 twice the load counts twice, with 2 four "
    "times, with 4 sixteen times. A tissue's own exponent is what tests of its specimens gave; the highest is the "
    "largest that their sources allow. Each foot is counted for itself, and the worse one is told, as that is the one "
    "that wears."
)


def _known(found: Dose, kind: str) -> list[Row]:
    """Doses by impulse that are known."""
    return [row for row in found.doses if (row["basis"], row["kind"]) == ("impulse", kind) and row["dose"] > 0]


def _grouped(rows: Iterable[Row], *names: str) -> dict[tuple[str, ...], list[Row]]:
    out: dict[tuple[str, ...], list[Row]] = {}
    for row in rows:
        out.setdefault(tuple(row[name] for name in names), []).append(row)
    return out


# Sections -----------------------------------------------------------------------------------------------------------


def _doses(worse: Dose, sheet: Sheet) -> str:
    rows = []
    by_impulse = [row for row in worse.doses if row["basis"] == "impulse"]
    for (rider, tissue), own in _grouped(by_impulse, "rider", "tissue").items():
        by_kind = {row["kind"]: row for row in own}
        first = by_kind["linear"]
        cells = [
            count_text(row["dose"]) + _small(range_text(row["low"], row["high"], count_text))
            for row in (by_kind[kind] for kind in KIND_WORDS)
        ]
        rows.append(
            (
                escape(rider),
                escape(tissues()[tissue].title),
                first["side"],
                count_text(first["dose"] * first["reference"]),
            )
            + (*cells, _own_exponent(tissues()[tissue]), escape(first["note"]))
        )
    head = ("Rider", "Tissue", "Foot", "Sum of loads [BW s]", *KIND_WORDS.values(), "Its own exponent", "Note")
    return (
        html.paragraph(
            "Dose: the number of landings of the study's mean load that would add up to the same. In small print the "
            "dose where all loads lie at the low or at the high end of their 95 % interval together, with 95 % of what "
            "the exposures may have been."
        )
        + sheet_figure(
            sheet,
            "Marks: exponents. Lines: all loads at the low to all loads at the high end of their 95 % interval.",
        )
        + html.numbers(f"All {len(rows)} doses", html.table(head, rows, range(3, 4 + len(KIND_WORDS))))
    )


def _shares(worse: Dose, sheet: Sheet) -> str:
    rows = []
    for (rider, tissue, by, name), own in _grouped(worse.shares, "rider", "tissue", "by", "name").items():
        cells = [
            percent_text(row["share"]) + _small(range_text(row["low"], row["high"], percent_text))
            for kind in KIND_WORDS
            for row in own
            if row["kind"] == kind
        ]
        rows.append((escape(rider), escape(tissues()[tissue].title), by, escape(name), *cells))
    cut = load_model("tissue", "dose").content["style"]["cut"]
    head = ("Rider", "Tissue", "By", "Name", *KIND_WORDS.values())
    return (
        html.paragraph(
            "Share of the known dose by activity and by landing style (soft: knees bend to "
            f"{cut:g} degrees or more). In small print the share where all loads lie at the low or the high end of "
            "their interval together; arms and areas err alike in every landing and mostly drop out."
        )
        + sheet_figure(sheet, "Two bars a rider: exponent 1 and the tissue's own exponent.")
        + html.folded("The shares of each rider and tissue", html.table(head, rows, range(4, 4 + len(KIND_WORDS))))
    )


def _savings(worse: Dose, sheet: Sheet) -> str:
    rows = []
    for (change, rider), own in sorted(_grouped(worse.savings, "change", "rider").items()):
        by_tissue = _grouped(own, "tissue")
        cells = [_saving_cell(by_tissue.get((name,), [])) for name in tissues()]
        notes = "; ".join(dict.fromkeys(row["note"] for row in own if row["note"]))
        rows.append((escape(change), escape(rider), *cells, escape(notes)))
    head = ("Change", "Rider", *(tissue.title for tissue in tissues().values()), "Note")
    return (
        html.paragraph(
            "As a range over the exponents, because the exponent alone turns the same change into a small or a large "
            "saving. A condition is compared with the usual landings by the ratio of their mean loads, each rider by "
            "itself; a change between single landings cannot be told from chance. A saving for one tissue may cost "
            "another: read the whole of a rider's row. In small print the 95 % interval over all exponents."
        )
        + sheet_figure(sheet, "Marks: exponents. Lines: from the least to the most.")
        + html.numbers(f"All {len(rows)} changes", html.table(head, rows, range(2, 2 + len(tissues()))))
    )


def _saving_cell(rows: list[Row]) -> str:
    """From the least to the most over the exponents, with the widest interval below it."""
    savings = [row["saving"] for row in rows if np.isfinite(row["saving"])]
    if not savings:
        return UNKNOWN
    ends = [(row["low"], row["high"]) for row in rows if np.isfinite([row["low"], row["high"]]).all()]
    interval = range_text(min(low for low, _ in ends), max(high for _, high in ends), percent_text) if ends else ""
    over = range_text(min(savings), max(savings), percent_text)
    return over + _small(interval if interval != over else "")


def _exposures(found: Dose) -> str:
    rows = [
        (
            escape(e.rider), escape(e.activity), *(_told(e, name) for name in (*HEIGHTS, *TIMES)),
            count_text(e.landings),
        )
        for e in found.exposures
    ]  # fmt: skip
    head = (
        "Rider",
        "Activity",
        "From [m]",
        "To [m]",
        "A session",
        "Sessions a week",
        "Weeks a year",
        "Years",
        "Landings",
    )
    return html.table(head, rows, range(2, 9)) + html.paragraph(EXPOSURE)


EXPOSURE = (
    "A dose goes in proportion with landings, sessions, weeks and years. A range in small print is drawn as a "
    "triangle, its top at the number above it, at one place for all of a rider's activities, as who remembers too much "
    "does so everywhere; a drawn height moves the load by its square root. A number without a range counts as sure."
)


def _told(row: Exposure, name: str) -> str:
    """A number of the exposure table with its range in small print."""
    ends = row.ranges.get(name)
    days = f", counted on {row.counted_days} days" if name == "landings_per_session" and row.counted_days else ""
    return f"{getattr(row, name):.3g}" + (_small(range_text(*ends, "{:.3g}".format) + days) if ends else "")


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
        ("Recorded landings stand for all from their heights", *_stands_for(found)),
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
    return html.table(("Assumption", "Value", "Source", "Effect"), rows)


def _errors(found: Dose) -> tuple[str, str, str]:
    """What the intervals hold of errors of the recordings: value, source, effect."""
    if found.draws:
        return f"{found.draws} draws a landing", "models/uncertainty", "inside every interval"
    effect = "see 'How certain the numbers are' in a landing's own report; they would widen every interval"
    return "not in these intervals", "no draws in study.toml", effect


def _stands_for(found: Dose) -> tuple[str, str, str]:
    """What the intervals hold of how a rider's landings differ: value, source, effect."""
    if found.repeated:
        told = f"{found.repeated} degree{'s' * (found.repeated != 1)} of freedom"
        return told, "Student's t, riders' landings scattering alike", "inside every interval"
    return "none repeated", "choice", "how landings differ is not in these intervals; record several of each rider"


def _own_exponent(tissue: Tissue) -> str:
    return f"{tissue.exponent:g} ({tissue.exponent_low:g} to {tissue.exponent_high:g})"


def _lighter(exponent: float) -> str:
    return percent_text(float(saving_of_ratio(1 - LIGHTER, exponent)))


def _basis_effect(found: Dose) -> str:
    """How a dose by peaks differs from one by impulses, over riders and tissues."""
    texts = []
    for kind in ("linear", "published"):
        pairs = _grouped((row for row in found.doses if row["kind"] == kind), "rider", "tissue").values()
        doses = [{row["basis"]: row["dose"] for row in pair} for pair in pairs]
        ratios = [each["peak"] / each["impulse"] for each in doses if each["impulse"] > 0]
        if ratios:
            texts.append(f"{range_text(min(ratios), max(ratios))} times under {KIND_WORDS[kind]}")
    return "by peaks the doses here would be " + ", ".join(texts) if texts else "not known here"


def _interval_effect(found: Dose) -> str:
    texts = []
    for kind in ("linear", "published"):
        rows = [row for row in _known(found, kind) if np.isfinite([row["low"], row["high"]]).all()]
        if rows:
            low, high = (pick(row[end] / row["dose"] for row in rows) for pick, end in ((min, "low"), (max, "high")))
            texts.append(f"doses from {range_text(low, high)} times what they are under {KIND_WORDS[kind]}")
    return "; ".join(texts) or "no interval came with the study's numbers"


def _height_effect(found: Dose) -> str:
    lost = [1 - row["known_landings"] / row["landings"] for row in found.doses if row["tissue"] == "lumbar_disc"]
    return f"at most {percent_text(max(lost))} of a rider's landings have no load of the disc"


# Cells --------------------------------------------------------------------------------------------------------------


def count_text(value: float) -> str:
    """Three figures, thousands apart; an en dash when unknown."""
    if not np.isfinite(value):
        return UNKNOWN
    rounded = float(f"{value:.3g}")
    return f"{rounded:,.0f}".replace(",", "\N{NO-BREAK SPACE}") if rounded >= 100 else f"{rounded:g}"


def percent_text(share: float) -> str:
    if not np.isfinite(share):
        return UNKNOWN
    return f"{100 * share:.0f} %".replace("-0 ", "0 ").replace("-", "−")


def _small(text: str) -> str:
    return f"<small>{text}</small>" if text else ""

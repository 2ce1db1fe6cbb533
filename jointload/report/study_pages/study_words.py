"""How a comparison names its quantities, numbers and methods."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from importlib import metadata
from pathlib import Path

import numpy as np

from jointload.report.files.folder import RECORD
from jointload.report.words import html
from jointload.report.words.methods import BANDS, DEFINITIONS, TISSUES, definitions_text, tissues_text
from jointload.report.words.quantities import Told, number_text, plain, quantity, told_number
from jointload.sources import cite, cited
from jointload.study.comparison import DIFFERS, NOT_KNOWN, OPEN, SAME, SMALL, Comparison, Row
from jointload.study.effects import MOST_RIDERS
from jointload.study.mixed import Contrast
from jointload.study.observations import OF_SIDE, OF_STANCE
from jointload.study.permutation import CurveTest
from jointload.study.styles import Styles

FOOT_WORDS = {"back": "back foot", "front": "front foot", "right": "right", "left": "left", "": ""}


def title_of(quantity: str, foot: str) -> str:
    """knee_flexion_peak, back -> Peak knee flexion, back foot."""
    words = plain(quantity)
    return words[:1].upper() + words[1:] + (f", {FOOT_WORDS[foot]}" if foot else "")


def bare_unit(unit: str) -> str:
    """Nm/kg external -> Nm/kg."""
    return unit.removesuffix(" external").removesuffix(" internal")


def number(value: float, unit: str, extra: int = 1) -> str:
    """A value with the decimals of its unit and one more: differences are small."""
    return number_text(value, bare_unit(unit), extra)


def told_difference(contrast: Contrast, unit: str) -> Told:
    """A difference in the digits that its interval supports."""
    return told_number(contrast.estimate, contrast.low, contrast.high, bare_unit(unit), extra=1)


def answer_sentence(row: Row) -> str:
    """What a study says of one quantity, and how many riders would decide it where it does not."""
    c, name = row.contrast, title_of(row.quantity, row.foot)
    if row.verdict == NOT_KNOWN:
        return f"{name}, {c.level} against {c.baseline}: not known: {c.note}."
    told = told_difference(c, row.unit)
    size, way = told.value.lstrip("−"), "higher" if c.estimate > 0 else "lower"
    said = f"{way} for {c.level} than for {c.baseline}" if size.strip("0.") else f"between {c.level} and {c.baseline}"
    return f"{name}: {size} {bare_unit(row.unit)} {said} ({told.interval}): {row.verdict}{_deciding(row)}."


def decided_words(found: Comparison) -> str:
    """How many of the primary quantities a study decides."""
    primary = [row for row in found.rows if row.primary]
    decided = sum(row.verdict in (DIFFERS, SMALL, SAME) for row in primary)
    return f"{decided} of {len(primary)} primary quantities are decided" if primary else "no primary quantity was named"


def _deciding(row: Row) -> str:
    if row.verdict != OPEN:
        return ""
    riders = row.riders_to_decide
    if np.isnan(riders):
        return "; how many riders would decide it is not known, as no smallest change is"
    change = f"a difference of {row.margin:.3g} {bare_unit(row.unit)}"
    more = [f"{riders_text(each)} with {count}" for count, each in row.riders_with_more_landings.items() if each > 0]
    landings = f" with {row.contrast.landings:.2g} landings each under either, {' or '.join(more)}" if more else ""
    return f"; about {riders_text(riders)} riders would decide on {change}{landings}"


def riders_text(riders: float) -> str:
    """How many would decide, '' where it is not known."""
    if np.isnan(riders):
        return ""
    return f"over {MOST_RIDERS}" if np.isinf(riders) else f"{riders:.0f}"


def p_text(p: float) -> str:
    if not np.isfinite(p):
        return "–"
    return "< 0.001" if p < 0.001 else f"{p:.3f}"


def checklist(found: Comparison, styles: Styles, refused: Mapping[str, str], records: Iterable[Path]) -> dict[str, str]:
    """Every item that a paper on joint loads must report, from the settings that were used: the recordings' part from
    the trials' own records, then the study's."""
    names = list(dict.fromkeys([row.quantity for row in found.rows]))
    own = {DEFINITIONS: definitions_text(names), TISSUES: tissues_text(names)}
    told = {item: text for item, text in of_recordings(records).items() if item not in (*own, BANDS)}
    return told | {item: text for item, text in own.items() if text} | _of_study(found, styles, refused)


def methods_paragraph(items: Mapping[str, str]) -> str:
    """The checklist as sentences of one paragraph."""
    left_out = ("Trials", "Laboratory axes", "Sign")
    return " ".join(f"{name}: {text.rstrip('.')}." for name, text in items.items() if name not in left_out)


def methods_section(items: Mapping[str, str]) -> str:
    """The paragraph and the checklist, folded away."""
    rows = [(escape(name), escape(text)) for name, text in items.items()]
    return html.section(
        "methods",
        "Methods",
        html.folded(
            "The methods paragraph and the reporting checklist",
            html.paragraph(methods_paragraph(items)) + html.table(("Item", "What was done"), rows),
        ),
    )


def of_recordings(records: Iterable[Path]) -> dict[str, str]:
    """What all trials say once; what differs between them with the most frequent answer and how many others."""
    answers: dict[str, Counter[str]] = {}
    for path in records:
        for item, text in json.loads((path / RECORD).read_text(encoding="utf-8"))["methods"].items():
            answers.setdefault(item, Counter())[text] += 1
    out = {}
    for item, texts in answers.items():
        (first, _), *others = sorted(texts.items(), key=lambda pair: (-pair[1], pair[0]))
        out[item] = first if not others else _of_many(first, [text for text, _ in others])
    out.pop("Trials", None)
    return out


def _of_many(first: str, others: Sequence[str]) -> str:
    more = cite(key for key in cited(*others) if key not in cited(first))
    text = f"{len(others) + 1} answers, each in its trial's run.json; one of them: {first}"
    return f"{text}; the others cite {more}" if more else text


def _of_study(found: Comparison, styles: Styles, refused: Mapping[str, str]) -> dict[str, str]:
    kept = found.attempted - len(refused)
    why = "; ".join(f"{name}: {reason}" for name, reason in list(refused.items())[:MOST_REASONS])
    more = f"; and {len(refused) - MOST_REASONS} more in trials.csv" if len(refused) > MOST_REASONS else ""
    asymmetry = quantity(f"force_asymmetry{OF_STANCE if found.by_stance else OF_SIDE}")
    models = sorted({row.contrast.model for row in found.rows if row.contrast.model != "none"})
    schemes = sorted({scheme_text(curve.test) for curve in found.curves if curve.test is not None})
    return {
        "Trials attempted, kept and why": f"{found.attempted} landings, {kept} kept"
        + (f"; refused: {why}{more}" if why else ""),
        "Compared": f"{found.by}: {', '.join(found.levels[1:])} against {found.levels[0]}, task {found.task}, "
        f"{found.riders} riders, {found.trials} landings",
        "Feet": "back and front by the rider's stance"
        if found.by_stance
        else "right and left, as not every rider's stance is known",
        "Asymmetry": f"{asymmetry.definition}; positive: {asymmetry.positive}; {asymmetry.source}",
        "Model": f"{'; '.join(models) or 'none could be fitted'} (restricted maximum likelihood, statsmodels); "
        "Student's t with containment degrees of freedom; intervals at 95 %",
        "Effect size": "within riders d_z, the mean over the standard deviation of the riders' differences "
        "[@lakens_2013]; between riders Hedges' g [@hedges_1981]; intervals by the noncentral t distribution "
        "[@cumming_2001]",
        "Multiplicity": "Holm over the primary quantities; all others are exploratory, Benjamini-Hochberg over them",
        "Equivalence": "two one-sided tests at 5 % each, not adjusted, against the smallest change of each quantity: "
        "that of study.toml, else the minimal detectable change of single landings, 1.96 √2 standard deviations within "
        "a rider",
        "Riders that would decide": "power of 80 % at 5 %, two-sided, for a difference of the smallest change, by the "
        "noncentral t distribution, if riders spread as these did; not adjusted for the other primary quantities",
        **_of_repeats(found),
        "Curves": "101 points from touch-down to landing end; largest |t| along the curve by permutation "
        "[@nichols_2002]: "
        f"{'; '.join(schemes) or 'not possible'}; the error is held along one curve, not over several curves; a "
        "stretch's p is that of its peak and does not prove where the stretch starts or ends",
        "Styles": f"means of each rider and noted style, standardised; clusters on the first two "
        f"principal components; softness between stiff and soft landings of [@devita_1992]; {styles.finding}",
        "Software of the study": ", ".join(f"{name} {metadata.version(name)}" for name in LIBRARIES),
    }


def _of_repeats(found: Comparison) -> dict[str, str]:
    """The item of what landings repeat, none where they do not."""
    if found.repeats.empty:
        return {}
    text = (
        f"equally many first landings of each rider under {found.levels[0]}; intraclass correlations of "
        "[@mcgraw_1996]; standard error of measurement SD √(1 − ICC(3,1)), minimal detectable change 1.96 √2 of it"
    )
    return {"Reliability within the session": text}


LIBRARIES = ("jointload", "statsmodels", "scikit-learn", "scipy")
MOST_REASONS = 5


def scheme_text(test: CurveTest) -> str:
    """The scheme of a curve's permutation with the number of labellings, since it changes p."""
    exact = "all" if test.exact else "random, seeded,"
    return f"{test.scheme}, {exact} {test.permutations} labellings"

"""What a dose says under every exponent: whose is largest, what it comes from, and which change saves most."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

import numpy as np

from jointload.report.words.quantities import range_text
from jointload.study.strain_dose import BY_DEFINITION, Dose, Row, tissues

KINDS = {"linear": "exponent 1", "squared": "exponent 2", "fourth": "exponent 4",
         "published": "the tissue's own exponent", "highest": "the tissue's highest exponent"}  # fmt: skip
HALF = 0.5
"""What makes as much of a dose has most of it."""


@dataclass(frozen=True)
class Most:
    """What has most of a rider's dose over tissues and exponents: its name, the foot's rows of it.

    always : whether it has most of every tissue under every exponent
    """

    rider: str
    name: str
    rows: tuple[Row, ...]
    always: bool

    def values(self, column: str) -> list[float]:
        return [float(row[column]) for row in self.rows if np.isfinite(row[column])]


def known_words(worse: Dose) -> str:
    """Of how many riders' tissues the dose is known."""
    known = {(row["rider"], row["tissue"]) for row in worse.doses if row["dose"] > 0}
    asked = {(row["rider"], row["tissue"]) for row in worse.doses}
    return f"{len(known)} of {len(asked)} doses are known"


def largest_rider(worse: Dose) -> list[str]:
    """A sentence a tissue: whose dose is largest under every exponent, or between whom the exponent decides."""
    out = []
    for name, tissue in tissues().items():
        doses: dict[str, dict[str, Row]] = {}
        for row in worse.doses:
            if (row["tissue"], row["basis"]) == (name, "impulse") and row["dose"] > 0:
                doses.setdefault(row["kind"], {})[row["rider"]] = row
        if not doses or any(len(found) < 2 for found in doses.values()):
            continue
        first = {kind: max(found, key=lambda rider: found[rider]["dose"]) for kind, found in doses.items()}
        if len(set(first.values())) == 1:
            rider = next(iter(first.values()))
            times = [found[rider]["dose"] / _second(found) for found in doses.values()]
            foot = doses["linear"][rider]["side"]
            out.append(
                f"{tissue.title}: {rider}{f' ({foot} foot)' if foot else ''} under every exponent, "
                f"{_times(times)} the next rider."
            )
        else:
            told = "; ".join(f"{rider} under {_kinds(k for k in first if first[k] == rider)}" for rider in _once(first))
            out.append(f"{tissue.title}: the exponent decides: {told}.")
    return out


def largest_source(worse: Dose) -> list[str]:
    """A sentence a rider: the activity that makes most of the dose."""
    return [_source_sentence(most, "activity") for most in most_of(worse, "activity")]


def style_source(worse: Dose) -> list[str]:
    """A sentence a rider who lands in more than one style."""
    several = {row["rider"] for row in worse.shares if row["by"] == "style" and 0.0 < row["share"] < 1.0}
    return [_source_sentence(most, "style") for most in most_of(worse, "style") if most.rider in several]


def best_change(worse: Dose) -> list[str]:
    """A sentence a rider: the change that saves most where it saves least, over all tissues and exponents."""
    out = []
    for most in most_saving(worse):
        savings = most.values("saving")
        unsure = "" if most.values("low") else "; from single landings, so that it cannot be told from chance"
        out.append(f"{most.rider}: {most.name} saves {_percents(savings)} over all tissues and exponents{unsure}.")
    exact = [float(row["saving"]) for row in worse.savings if row["note"] == BY_DEFINITION]
    change = next((row["change"] for row in worse.savings if row["note"] == BY_DEFINITION), "")
    return [*out, f"For everybody: {change} saves {_percents(exact)}, by the exponent alone."] if exact else out


def what_decides(worse: Dose) -> list[str]:
    """A sentence a rider: which of exponent, exposure and loads of the landings moves the dose of most tissues most."""
    unsure = {row.rider for row in worse.exposures if row.ranges}
    out = []
    for rider, rows in _by_rider(row for row in worse.doses if row["basis"] == "impulse" and row["dose"] > 0).items():
        times = {"the exponent": _over_exponents(rows), "the load of a landing": _folds(rows, "load")}
        if rider in unsure:
            times["the exposure"] = _folds(rows, "exposure")
        first = [max(times, key=lambda words: times[words].get(tissue, 1.0)) for tissue in times["the exponent"]]
        order = sorted((words for words in times if times[words]), key=lambda words: -first.count(words))
        told = ", ".join(f"{words} {_times(times[words].values())}" for words in order)
        out.append(
            f"{rider}: {order[0]} matters most, for {first.count(order[0])} of {len(first)} tissues; from least to "
            f"most a dose differs by {told}{'' if rider in unsure else '; its exposure is told without a range'}."
        )
    return out


def _over_exponents(rows: Iterable[Row]) -> dict[str, float]:
    """Tissue -> its largest dose over its smallest, over the exponents."""
    doses: dict[str, list[float]] = {}
    for row in rows:
        doses.setdefault(row["tissue"], []).append(row["dose"])
    return {tissue: max(own) / min(own) for tissue, own in doses.items()}


def _folds(rows: Iterable[Row], name: str) -> dict[str, float]:
    """Tissue -> high end over low under its own exponent, where both are known."""
    own = [row for row in rows if row["kind"] == "published" and row[f"{name}_low"] > 0]
    return {row["tissue"]: row[f"{name}_high"] / row[f"{name}_low"] for row in own}


def most_of(worse: Dose, by: str) -> list[Most]:
    """Of every rider the activity, or style, whose least share over tissues and exponents is the largest."""
    out = []
    for rider, rows in _by_rider(row for row in worse.shares if row["by"] == by and np.isfinite(row["share"])).items():
        name, own = _leading(rows, "name", "share")
        out.append(Most(rider, name, own, all(row["share"] >= HALF for row in own)))
    return out


def most_saving(worse: Dose) -> list[Most]:
    """Of every rider the change of landings whose least saving is the largest, among those known for most tissues; not
    what a lighter landing saves by definition."""
    out = []
    known = (row for row in worse.savings if np.isfinite(row["saving"]) and row["note"] != BY_DEFINITION)
    for rider, rows in _by_rider(known).items():
        change, own = _leading(rows, "change", "saving")
        out.append(Most(rider, change, own, True))
    return out


def _leading(rows: Iterable[Row], names: str, column: str) -> tuple[str, tuple[Row, ...]]:
    """The name, among those with most rows, whose least value is the largest, and its rows."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row[names], []).append(row)
    whole = max(len(own) for own in found.values())
    name = max((n for n in found if len(found[n]) == whole), key=lambda n: min(row[column] for row in found[n]))
    return name, tuple(found[name])


def _source_sentence(most: Most, by: str) -> str:
    words = f"{most.name} landings" if by == "style" else most.name
    shares = _percents(most.values("share"))
    if most.always:
        return f"{most.rider}: {words} makes {shares} of the dose, the most of every tissue under every exponent."
    return f"{most.rider}: no one {by} leads everywhere; {words} makes {shares}."


def _by_rider(rows: Iterable[Row]) -> dict[str, list[Row]]:
    out: dict[str, list[Row]] = {}
    for row in rows:
        out.setdefault(row["rider"], []).append(row)
    return out


def _second(found: dict[str, Row]) -> float:
    return float(sorted((row["dose"] for row in found.values()), reverse=True)[1])


def _once(names: dict[str, str]) -> list[str]:
    return list(dict.fromkeys(names.values()))


def _kinds(kinds: Iterable[str]) -> str:
    return ", ".join(KINDS[kind] for kind in kinds)


def _times(ratios: Collection[float]) -> str:
    return f"{range_text(min(ratios), max(ratios))} times"


def _percents(shares: Collection[float]) -> str:
    return (range_text(100 * min(shares), 100 * max(shares), "{:.0f}".format) + " %").replace("-", "−")

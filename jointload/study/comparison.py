"""What a study says of its conditions, styles, groups, boards or shoes: every quantity, whole curves, and how
little it may say."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.errors import StudyError, expected_found
from jointload.intake.recording import Array
from jointload.study.effects import (
    MANY_LANDINGS,
    EffectSize,
    benjamini_hochberg,
    effect_size,
    equivalence_p,
    holm,
    riders_to_decide,
)
from jointload.study.mixed import Contrast, contrasts
from jointload.study.observations import FACTORS, Curves, Observations
from jointload.study.permutation import ALPHA, CurveTest, labels_between, labels_within, sign_flip
from jointload.study.plan import Plan, split_foot
from jointload.uncertainty.repeats import minimal_detectable_change

if TYPE_CHECKING:
    import pandas

Verdict = str
DIFFERS, SAME, SMALL, OPEN, NOT_KNOWN = (
    "differs", "the same within the smallest change", "differs, within the smallest change", "not decided", "not known",
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One quantity of one foot, one level against the baseline.

    adjusted : p over the primary family (Holm), or over all others (Benjamini-Hochberg) where not primary
    margin : the smallest change and where it comes from;  equivalent : p of lying within it
    """

    name: str
    quantity: str
    foot: str
    unit: str
    primary: bool
    contrast: Contrast
    size: EffectSize
    margin: float
    margin_from: str
    equivalent: float
    adjusted: float = float("nan")

    @property
    def riders_to_decide(self) -> float:
        """How many riders would find a difference of the smallest change; as in effects.riders_to_decide."""
        return riders_to_decide(self.contrast, self.margin)

    @property
    def riders_with_more_landings(self) -> dict[int, float]:
        """Landings of each rider under each level -> how many riders would then find it; NaN where it is not known."""
        return {count: riders_to_decide(self.contrast, self.margin, count) for count in MANY_LANDINGS}

    @property
    def verdict(self) -> Verdict:
        if not np.isfinite(self.contrast.p):
            return NOT_KNOWN
        differs, same = self.adjusted < ALPHA, self.equivalent < ALPHA
        if differs:
            return SMALL if same else DIFFERS
        return SAME if same else OPEN


@dataclass(frozen=True, eq=False)
class CurveRow:
    """One curve of one foot: the riders' means (riders, 101) under the baseline and the level, and the test.

    paired : whether both hold the same riders, row by row
    """

    name: str
    quantity: str
    foot: str
    unit: str
    level: str
    baseline: str
    first: Array
    second: Array
    test: CurveTest | None
    note: str
    paired: bool = False


@dataclass(frozen=True, eq=False)
class Comparison:
    """All of it: rows with the primary ones first, curves, and what to bear in mind.

    repeats : how well landings under the baseline repeat, as `reliabilities` has it
    """

    by: str
    levels: tuple[str, ...]
    task: str
    rows: tuple[Row, ...]
    curves: tuple[CurveRow, ...]
    cautions: tuple[str, ...]
    data: pandas.DataFrame
    riders: int
    trials: int
    attempted: int
    by_stance: bool
    repeats: pandas.DataFrame


def chosen(
    seen: Observations, plan: Plan, by: str, task: str, condition: str, baseline: str = ""
) -> tuple[pandas.DataFrame, list[str], int]:
    """The numbers to compare with a column level, the levels, the baseline first, and how many landings were left out
    because none of them is named; StudyError with every fault.

    baseline : the level that the others are set against; without it the plan's where it is one, else the first by
    name; one of the plan that the study does not know is a fault
    """
    faults = []
    tasks = sorted(set(seen.numbers["task"]))
    if not task and len(tasks) > 1:
        faults.append(
            expected_found(
                "task",
                "one task",
                " and ".join(tasks),
                "trials.csv",
                "choose with --task: styles and loads do not carry over",
            )
        )
    data = seen.numbers[seen.numbers["task"] == (task or (tasks or [""])[0])]
    if condition:
        data = data[data["condition"] == condition]
    unnamed = data.loc[data[by] == "", "trial"].nunique()
    data = data[data[by] != ""].assign(level=lambda d: d[by])
    levels = sorted(set(data["level"]))
    if len(levels) < 2:
        found = f"only {levels[0]!r}" if levels else "none"
        where, advice = (
            ("riders.csv", "fill the column group") if by == "group" else ("trials.csv", f"fill the column {by}")
        )
        faults.append(expected_found(by, "two or more to compare", found, where, advice))
    if data["rider"].nunique() == 1:
        advice = "add riders; one rider's landings can be compared one by one in metrics.csv"
        faults.append(expected_found("riders", "two or more", "1", "trials.csv", advice))
    if baseline and baseline not in levels:
        known = " or ".join(levels) or "none, as nothing is named"
        faults.append(expected_found("--baseline", known, repr(baseline), f"the column {by}", "choose one of them"))
    first = baseline or plan.baseline
    if first and not baseline and not (seen.numbers[list(FACTORS)] == first).to_numpy().any():
        advice = "correct it, or choose one with --baseline"
        faults.append(expected_found("baseline", " or ".join(levels), repr(first), "study.toml", advice))
    levels = [level for level in levels if level == first] + [level for level in levels if level != first]
    faults += _faults_of_primary(data, plan)
    if faults:
        raise StudyError(faults)
    return data, levels, unnamed


def _faults_of_primary(data: pandas.DataFrame, plan: Plan) -> list[str]:
    faults = []
    for name in plan.primary if len(data) else ():
        values = data["value"][_named(data, name)].dropna()
        found = "none" if values.empty else f"{values.iloc[0]:g} in all {len(values)}" if values.nunique() == 1 else ""
        if found:
            advice = "look at the recordings, or name another primary quantity"
            faults.append(expected_found(f"primary {name}", "values that vary", found, "metrics.csv", advice))
    return faults


def _named(data: pandas.DataFrame, name: str) -> Any:
    quantity, foot = split_foot(name)
    return ((data["quantity"] == quantity) & ((data["foot"] == foot) | (foot == ""))).to_numpy()


def compare_numbers(
    data: pandas.DataFrame,
    levels: Sequence[str],
    plan: Plan,
    watch: Callable[[Sequence[str]], Iterable[str]] | None = None,
) -> tuple[Row, ...]:
    """Every quantity and foot, primary ones first, each level against the first."""
    primary = (
        np.any([_named(data, name) for name in plan.primary], axis=0) if plan.primary else np.zeros(len(data), bool)
    )
    of_family = set(data["name"][primary])
    known = data[np.isfinite(data["value"])]
    names = sorted(set(known["name"]), key=lambda name: (name not in of_family, name))
    groups = dict(tuple(known.groupby("name")))
    rows = []
    for name in watch(names) if watch else names:
        found = groups[name]
        for contrast in contrasts(found[["rider", "level", "value"]], levels):
            rows.append(_row(name, found, contrast, name in of_family, plan))
    return _adjusted(rows)


def _row(name: str, data: pandas.DataFrame, contrast: Contrast, primary: bool, plan: Plan) -> Row:
    quantity, foot, unit = (str(data[column].iloc[0]) for column in ("quantity", "foot", "unit"))
    margin, margin_from = _margin(name, quantity, contrast, plan)
    return Row(
        name=name,
        quantity=quantity,
        foot=foot,
        unit=unit,
        primary=primary,
        contrast=contrast,
        size=effect_size(data, contrast.baseline, contrast.level),
        margin=margin,
        margin_from=margin_from,
        equivalent=equivalence_p(contrast, margin),
    )


def _margin(name: str, quantity: str, contrast: Contrast, plan: Plan) -> tuple[float, str]:
    """The smallest change: what study.toml says matters, else what two single landings of one rider can show."""
    for key in (name, quantity):
        if key in plan.smallest_change:
            return plan.smallest_change[key], "study.toml"
    if contrast.repeated and contrast.residual > 0:
        return minimal_detectable_change(contrast.residual), "detectable in single landings"
    return float("nan"), "not known: no smallest_change, no repeated landings"


def _adjusted(rows: list[Row]) -> tuple[Row, ...]:
    out = []
    for primary, method in ((True, holm), (False, benjamini_hochberg)):
        family = [row for row in rows if row.primary is primary]
        for row, p in zip(family, method([row.contrast.p for row in family]), strict=True):
            out.append(replace(row, adjusted=p))
    return tuple(out)


def compare_curves(
    curves: Iterable[Curves], data: pandas.DataFrame, levels: Sequence[str], within_riders: bool = False
) -> tuple[CurveRow, ...]:
    """Whole curves of each level against the first.

    Riders who met both levels are compared with themselves by sign-flip; where none did, riders of one level with those
    of the other. within_riders : labels exchanged between the landings of each rider instead of signs
    """
    facts = data.drop_duplicates("trial").set_index("trial")
    return tuple(_compared(curve, facts, levels[0], level, within_riders) for curve in curves for level in levels[1:])


def _compared(curve: Curves, facts: pandas.DataFrame, baseline: str, level: str, within_riders: bool) -> CurveRow:
    import pandas as pd

    of_trial = facts.reindex(list(curve.trials))[["rider", "level"]].reset_index(drop=True)
    known = of_trial["level"].isin([baseline, level]).to_numpy()
    of_trial, values = of_trial[known].reset_index(drop=True), curve.values[known]
    means = pd.DataFrame(values).groupby([of_trial["rider"], of_trial["level"]]).mean()
    wide = {name: means.xs(name, level=1) for name in (baseline, level) if name in means.index.get_level_values(1)}
    first, second = (wide.get(name, means.iloc[:0].droplevel(1)) for name in (baseline, level))
    both = first.index.intersection(second.index)
    test, note = None, ""
    if within_riders and len(both):
        mine = of_trial["rider"].isin(both).to_numpy()
        rider, second_label = of_trial["rider"][mine].to_numpy(), (of_trial["level"][mine] == level).to_numpy()
        if mine.sum() > 2 * len(both):
            test = labels_within(values[mine], rider, second_label)
        else:
            note = "one landing of each rider under each level: nothing to exchange"
    elif len(both) >= 2:
        test = sign_flip(second.loc[both].to_numpy(float) - first.loc[both].to_numpy(float))
    elif len(both) == 0 and min(len(first), len(second)) >= 2:
        joined = np.concatenate([first.to_numpy(), second.to_numpy()])
        test = labels_between(joined, np.arange(len(joined)) >= len(first))
    else:
        note = "fewer than two riders to compare"
    paired = bool(len(both)) and not within_riders
    if paired:
        first, second = first.loc[both], second.loc[both]
    return CurveRow(
        curve.name,
        curve.quantity,
        curve.foot,
        curve.unit,
        level,
        baseline,
        first.to_numpy(),
        second.to_numpy(),
        test,
        note,
        paired,
    )


def cautions(
    rows: Sequence[Row], curves: Sequence[CurveRow], riders: int, conditions: Sequence[str], shared: int, left: str
) -> tuple[str, ...]:
    """What limits this comparison, in words.

    conditions : those taken together without being compared;  shared : landings with both feet on one plate
    left : which landings were left out, in words, '' where none
    """
    out = [left] if left else []
    if shared:
        out.append(
            f"In {shared} of the landings both feet were on one plate, and how they shared its load was not measured: "
            "numbers of a single foot are those of the likeliest split. The intervals here do not hold the other "
            "splits; those in metrics.csv do."
        )
    if len(conditions) > 1:
        out.append(f"Landings of {' and '.join(conditions)} are taken together; --condition keeps one of them.")
    if riders < FEW_RIDERS:
        out.append(
            f"{riders} riders: intervals are wide, a difference can hide in them, other riders may answer otherwise."
        )
    weak = [curve.test for curve in curves if curve.test is not None and curve.test.smallest_p > ALPHA]
    if weak:
        out.append(
            f"With {weak[0].riders} riders a permutation of whole curves can give no p below {weak[0].smallest_p:.2g}: "
            "whatever the curves look like, they cannot pass 5 %."
        )
    if not any(row.primary for row in rows):
        out.append("No primary quantity was named: everything here is exploratory.")
    if any(not np.isfinite(row.margin) for row in rows if row.primary):
        out.append("For some primary quantity no smallest change is known: there, 'no effect' cannot be shown.")
    return tuple(out)


FEW_RIDERS = 12
"""Below it the comparison says that riders are few (choice)."""

"""The numbers and curves of a study as its run has joined them: one value a landing, quantity and foot."""

from __future__ import annotations

import csv
import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from jointload.errors import StudyError, expected_found, not_read
from jointload.intake.recording import Array
from jointload.study.manifest import Study

if TYPE_CHECKING:
    import pandas

RECORD = "run.json"
AT_FEET = ("board", "shoe")
FACTORS = ("condition", "style", "group", *AT_FEET)
NOT_COMPARED = ("body_weight_plate", "body_weight_rider", "fall_acceleration", "unexplained_force", "flight_time")
"""Numbers that judge the recording and not the landing."""
OF_STANCE, OF_SIDE = "_back_front", "_right_left"
"""Endings of asymmetries that refer to the back foot and to the right one."""


@dataclass(frozen=True, eq=False)
class Observations:
    """What was seen.

    trials : a row a landing: trial, rider, group, task, condition, style, back_foot, status, reason
    numbers : a row a landing, quantity and foot: trial, rider, group, task, condition, style, board, shoe, quantity,
    foot, name, value, unit; name is quantity_foot, board and shoe are the files that trials.csv names, '' for none
    by_stance : feet are back and front; else r and l, since not every rider's stance is known
    """

    trials: pandas.DataFrame
    numbers: pandas.DataFrame
    by_stance: bool
    results: Path


def read_observations(study: Study, results: Path) -> Observations:
    """StudyError when the results are not there or are not those of this study's trials."""
    import pandas as pd

    advice = f"run `jointload study run {study.folder}` first, or name its folder with --results"
    try:
        trials = pd.read_csv(results / "trials.csv", dtype=str, keep_default_na=False)
        table = pd.read_csv(results / "metrics.csv", dtype=str, keep_default_na=False)
    except (OSError, ValueError) as problem:
        where = getattr(problem, "filename", None) or results
        raise StudyError([not_read("results", "trials.csv and metrics.csv", problem, where, advice)]) from None
    wanted, found = {trial.name for trial in study.landings}, set(trials["trial"])
    if wanted != found:
        differing = ", ".join(sorted(wanted ^ found)[:5])
        message = expected_found(
            "results", "the landings of trials.csv", f"more or fewer: {differing}", str(results), advice
        )
        raise StudyError([message])
    by_stance = all(rider.rider.stance for rider in study.riders.values())
    table["value"] = pd.to_numeric(table["value"], errors="coerce")
    table["foot"] = table["foot"] if by_stance else table["side"]
    other_asymmetry = table["quantity"].str.endswith(OF_SIDE if by_stance else OF_STANCE)
    numbers = table[~table["quantity"].isin(NOT_COMPARED) & ~other_asymmetry].reset_index(drop=True)
    for name in AT_FEET:
        named = dict(zip(trials["trial"], trials[name], strict=True)) if name in trials else {}
        numbers[name] = [named.get(trial, "") for trial in numbers["trial"]]
    numbers["name"] = [
        outcome(quantity, foot) for quantity, foot in zip(numbers["quantity"], numbers["foot"], strict=True)
    ]
    return Observations(trials, numbers, by_stance, results)


def require_one_smoothing(seen: Observations, trials: Iterable[str]) -> None:
    """StudyError where landings were smoothed in different ways, as their records say: moments then do not compare."""
    ways: dict[str, list[str]] = {}
    for trial in trials:
        record = seen.results / "trials" / trial / RECORD
        if record.is_file():
            settings = json.loads(record.read_text(encoding="utf-8")).get("settings", {})
            ways.setdefault(str(settings.get("smoothing", "")), []).append(trial)
    if len(ways) > 1:
        found = " and ".join(f"{way or 'none told'} in {len(of)} ({of[0]})" for way, of in sorted(ways.items()))
        advice = 'add smoothing = "fixed" to [settings] of study.toml and run the study again'
        raise StudyError([expected_found("smoothing", "one way for all landings", found, str(seen.results), advice)])


def outcome(quantity: str, foot: str) -> str:
    """knee_flexion_peak, back -> back_knee_flexion_peak."""
    return f"{foot}_{quantity}" if foot else quantity


@dataclass(frozen=True, eq=False)
class Curves:
    """One series of one foot: a row a landing in the order of trials; values (T, 101) in `unit`."""

    name: str
    quantity: str
    foot: str
    unit: str
    trials: tuple[str, ...]
    values: Array


def read_curves(seen: Observations, quantities: Collection[str], trials: Iterable[str]) -> tuple[Curves, ...]:
    """The curves of the named quantities; landings without one are left out of it."""
    back = dict(zip(seen.trials["trial"], seen.trials["back_foot"], strict=True))
    rows: dict[tuple[str, str, str], dict[str, Array]] = {}
    for trial in trials:
        with (seen.results / "trials" / trial / "curves.csv").open(encoding="utf-8", newline="") as file:
            for row in csv.reader(file):
                if row[0] in quantities:
                    foot = (
                        row[1] if not seen.by_stance or not row[1] else ("back" if row[1] == back[trial] else "front")
                    )
                    values = np.array([float(cell) if cell else np.nan for cell in row[5:]])
                    if np.isfinite(values).all():
                        rows.setdefault((row[0], foot, row[2]), {})[trial] = values
    return tuple(
        Curves(outcome(quantity, foot), quantity, foot, unit, tuple(found), np.array(list(found.values()), dtype=float))
        for (quantity, foot, unit), found in sorted(
            rows.items(), key=lambda item: (list(quantities).index(item[0][0]), item[0])
        )
    )


HEEL_FORCE = "heel_force_peak"


def hardest_landings(seen: Observations, condition: str = "", rider: str = "", every: bool = False) -> dict[str, str]:
    """Trial -> foot ('right' or 'left') with the larger force under its heel: of each rider's hardest landing, or of
    all. StudyError where there is none.

    condition, rider : only these
    """
    import pandas as pd

    table = pd.read_csv(seen.results / "metrics.csv", dtype=str, keep_default_na=False)
    rows = table[(table["quantity"] == HEEL_FORCE) & (table["side"] != "")].copy()
    rows["value"] = pd.to_numeric(rows["value"], errors="coerce")
    known = rows.dropna(subset=["value"])
    for name, wanted in (("condition", condition), ("rider", rider)):
        if wanted and wanted not in set(table[name]):
            found = ", ".join(sorted(set(table[name])))
            raise StudyError([expected_found(f"--{name}", found, wanted, str(seen.results), "choose one of them")])
        known = known[known[name] == wanted] if wanted else known
    if known.empty:
        advice = "see metrics.csv for why the force under each heel is not known"
        message = expected_found("landings", "a known force under a heel", "none", str(seen.results), advice)
        raise StudyError([message])
    ordered = known.sort_values(["value", "trial", "side"], ascending=[False, True, True])
    kept = ordered.drop_duplicates("trial" if every else "rider")
    return dict(zip(kept["trial"], kept["side"], strict=True))

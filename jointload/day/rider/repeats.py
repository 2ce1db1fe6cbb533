"""A landing's five numbers beside the rider's earlier landings of the condition: is it an outlier, are they settled,
how far do they spread, and how many more make the wanted change visible."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from jointload.intake.recording import SIDES, Array
from jointload.report.words.cells import sentence_case
from jointload.report.words.last_lines import NUMBERS
from jointload.report.words.quantities import number_text, plain
from jointload.study.effects import landings_to_decide
from jointload.study.plan import Plan, split_foot
from jointload.uncertainty.repeats import FEWEST_REPEATS

Record = dict[str, Any]
Cell = tuple[str, str]
"""Quantity and side."""
FIVE = 5
ALARMS = 0.05
"""Share of landings of a rider who does not change that any of the numbers calls (choice)."""
FEWEST_OF_TREND, MOST_OF_TREND = 4, 6
"""Landings by which a drift is told: fewer show none, and what was long before says nothing of now (choice)."""


def five_numbers(plan: Plan) -> tuple[str, ...]:
    """The study's primary quantities first, then how hard it was and what knee and lower back bore."""
    usual = (*NUMBERS, "vertical_loading_rate", "knee_flexion_moment_peak", "knee_flexion_peak")
    names = dict.fromkeys([*(split_foot(name)[0] for name in plan.primary), *usual])
    return tuple(names)[:FIVE]


def wanted_cells(plan: Plan, stance: str) -> tuple[Cell, ...]:
    """The primary numbers of a rider whose back foot is `stance`, those of both feet where study.toml names none."""
    other: dict[str, str] = {side: SIDES[1 - k] for k, side in enumerate(SIDES)}
    out: list[Cell] = []
    for name in plan.primary:
        stem, foot = split_foot(name)
        side = {"back": stance, "front": other.get(stance, "")}.get(foot, foot)
        out += [(stem, side)] if side else [(stem, side) for side in (*SIDES, "")]
    return tuple(out)


def beside_earlier(
    numbers: Sequence[Record],
    earlier: Sequence[Sequence[Record]],
    smallest: Mapping[str, float],
    wanted: Iterable[Cell],
) -> Record:
    """The numbers of one landing with what the earlier ones of its rider and condition say, and that in words.

    numbers : as in `verdict.numbers_of`;  earlier : those of the usable landings before it, in order of arrival
    smallest : quantity -> change in shown units below which a difference does not matter
    """
    known = {
        (row["quantity"], cell["side"]): cell["number"]
        for row in numbers
        for cell in row["cells"]
        if cell["number"] is not None
    }
    before = {key: _series(earlier, key) for key in known}
    level = ALARMS / max(len(known), 1)
    away = {key for key, value in known.items() if is_outlier(value, before[key], level)}
    drifting = {key for key, value in known.items() if drifts(np.append(before[key], value), level)}
    further = {
        key: further_landings(np.append(before[key], value), _margin(smallest, key)) for key, value in known.items()
    }
    rows = [
        row | {"cells": [_cell(row, cell, before, away, drifting, further) for cell in row["cells"]]} for row in numbers
    ]
    count = 1 + len(earlier)
    return {
        "numbers": rows,
        "outlier": {"is": bool(away), "text": _outlier_text(away, before)},
        "settled": _settled(count, drifting),
        "variation": {"text": _variation_text(rows, count)},
        "further": _further(further, [key for key in wanted if key in further], smallest),
    }


def is_outlier(value: float, before: Array, level: float) -> bool:
    """Whether a value lies outside the interval in which the next one of these is expected with 1 - level, by Student's
    t; never with fewer than FEWEST_REPEATS."""
    if before.size < FEWEST_REPEATS:
        return False
    spread = float(before.std(ddof=1)) * math.sqrt(1.0 + 1.0 / before.size)
    return bool(abs(value - float(before.mean())) > _student(before.size - 1, level) * spread)


def drifts(series: Array, level: float) -> bool:
    """Whether the last landings follow a slope that their scatter about it does not explain, by the t test of a
    regression; never with fewer than FEWEST_OF_TREND."""
    last = series[-MOST_OF_TREND:]
    if last.size < FEWEST_OF_TREND:
        return False
    x = np.arange(last.size) - 0.5 * (last.size - 1)
    slope = float(x @ last / (x @ x))
    rest = last - last.mean() - slope * x
    freedom = last.size - 2
    error = math.sqrt(float(rest @ rest) / freedom / float(x @ x))
    return abs(slope) > _student(freedom, level) * error


def further_landings(series: Array, margin: float | None) -> float:
    """How many more landings of a condition make a change of `margin` against as many of another one visible; NaN where
    the spread or the margin is not known."""
    if margin is None or series.size < FEWEST_REPEATS:
        return math.nan
    return max(0.0, landings_to_decide(float(series.std(ddof=1)), margin) - series.size)


def _student(freedom: int, level: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 1.0 - 0.5 * level))


def _series(earlier: Sequence[Sequence[Record]], key: Cell) -> Array:
    quantity, side = key
    return np.array(
        [
            cell["number"]
            for numbers in earlier
            for row in numbers
            if row["quantity"] == quantity
            for cell in row["cells"]
            if cell["side"] == side and cell["number"] is not None
        ],
        dtype=float,
    )


def _margin(smallest: Mapping[str, float], key: Cell) -> float | None:
    quantity, side = key
    return smallest.get(f"{side}_{quantity}", smallest.get(quantity))


# Words --------------------------------------------------------------------------------------------------------------


def _cell(
    row: Record,
    cell: Record,
    before: Mapping[Cell, Array],
    away: set[Cell],
    drifting: set[Cell],
    further: Mapping[Cell, float],
) -> Record:
    key = (row["quantity"], cell["side"])
    series = before.get(key, np.empty(0))
    unit = row["unit"].partition(" ")[0]
    mean = number_text(float(series.mean()), unit) if series.size else ""
    sd = number_text(float(series.std(ddof=1)), unit, extra=1) if series.size >= FEWEST_REPEATS else ""
    more = further.get(key, math.nan)
    spread = f", SD {sd}" if sd else ""
    return cell | {
        "earlier": [float(value) for value in series],
        "earlier_text": f"{mean} ({_count(series.size)}{spread})" if series.size else "",
        "mean": mean,
        "sd": sd,
        "outlier": key in away,
        "settled": "drifting" if key in drifting else _word(series.size + 1),
        "further": int(more) if math.isfinite(more) else None,
        "further_text": _further_text(more, series.size + 1),
    }


def _word(count: int) -> str:
    return "settled" if count >= FEWEST_REPEATS else "too few"


def _settled(count: int, drifting: set[Cell]) -> Record:
    if drifting:
        return {"word": "drifting", "text": f"The last landings drift: {_named(drifting)}."}
    if count < FEWEST_REPEATS:
        return {"word": "too few", "text": f"{_count(count)}: {FEWEST_REPEATS} or more tell whether they settle."}
    return {"word": "settled", "text": f"{_count(count)} without a drift."}


def _outlier_text(away: set[Cell], before: Mapping[Cell, Array]) -> str:
    if not away:
        return ""
    count = max(before[key].size for key in away)
    return f"Unlike the {count} landings before it: {_named(away)}. Look whether something was done otherwise."


def _variation_text(rows: Sequence[Record], count: int) -> str:
    told = [
        f"{row['text']} {cell['side']} {cell['sd']} {row['unit']}".replace("  ", " ")
        for row in rows
        for cell in row["cells"]
        if cell["sd"]
    ]
    unknown = _unknown_spread(count) or "the own variation is not known from these landings"
    return f"Own variation (SD): {'; '.join(told)}." if told else f"{sentence_case(unknown)}."


def _further(further: Mapping[Cell, float], wanted: Sequence[Cell], smallest: Mapping[str, float]) -> Record:
    """Of the wanted numbers the one that needs most."""
    asked = [key for key in wanted if _margin(smallest, key) is not None]
    known = [key for key in asked if not math.isnan(further[key])]
    if not known:
        text = (
            "The own variation is not known yet." if asked else "study.toml names no smallest change of these numbers."
        )
        return {"landings": None, "quantity": "", "text": text}
    most = max(known, key=lambda key: further[key])
    number, name = further[most], _named([most])
    if math.isinf(number):
        return {
            "landings": None,
            "quantity": name,
            "text": f"{name}: no number of landings of one day shows the change.",
        }
    text = f"{_count(int(number), 'more')} of this condition make the smallest change that matters visible ({name})."
    return {
        "landings": int(number),
        "quantity": name,
        "text": text if number else "Enough landings to make the smallest change that matters visible.",
    }


def _further_text(more: float, count: int) -> str:
    if math.isnan(more):
        return _unknown_spread(count) if count < FEWEST_REPEATS else ""
    if math.isinf(more):
        return "not in a day"
    return _count(int(more), "more") if more else "enough"


def _unknown_spread(count: int) -> str:
    return f"the own variation is known from {FEWEST_REPEATS} landings on" if count < FEWEST_REPEATS else ""


def _named(keys: Iterable[Cell]) -> str:
    return ", ".join(f"{plain(quantity)} {side}".strip() for quantity, side in sorted(keys))


def _count(number: int, more: str = "") -> str:
    words = f"{number} {more} landing" if more else f"{number} landing"
    return words + "s" * (number != 1)

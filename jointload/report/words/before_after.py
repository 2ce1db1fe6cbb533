"""One rider's landings before and after, judged against that rider's own variation."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from jointload.analysis import Analysis
from jointload.errors import SettingError, expected_found
from jointload.landing.certainty import Key
from jointload.report.words.quantities import quantity, shown
from jointload.report.words.two_landings import UNCLEAR
from jointload.uncertainty.repeats import FEWEST_REPEATS, judge_change

if TYPE_CHECKING:
    import pandas

COLUMNS = (
    "quantity", "side", "unit", "landings_before", "landings_after", "before", "after", "change", "low", "high",
    "own_sd", "smallest", "note",
)  # fmt: skip
UNKNOWN = (float("nan"),) * 7


def before_after_table(before: Sequence[Analysis], after: Sequence[Analysis]) -> pandas.DataFrame:
    """One row a number in shown units, each landing by its own body weight: means before and after, their change with
    its 95 % interval, the rider's own standard deviation, and the smallest change that so many landings could show.

    FEWEST_REPEATS landings or more of one rider in each of the two; the markers stayed in place. Of 100 numbers that
    did not change about five are told apart by chance. SettingError when there are fewer landings or several riders.
    """
    import pandas as pd

    riders = sorted({analysis.session.rider.id for analysis in (*before, *after)})
    if len(riders) != 1 or min(len(before), len(after)) < FEWEST_REPEATS:
        expected = f"{FEWEST_REPEATS} landings or more of one rider before, and as many after"
        found = f"{len(before)} and {len(after)} of " + (" and ".join(riders) or "nobody")
        advice = "record more, or pair others"
        raise SettingError(expected_found("before and after", expected, found, "the analyses", advice))
    first, second = _shown_values(before), _shown_values(after)
    keys = [key for key in first if key in second]
    return pd.DataFrame([_row(key, first[key], second[key]) for key in keys], columns=list(COLUMNS))


def _row(key: Key, before: list[float], after: list[float]) -> tuple[object, ...]:
    head = (*key, quantity(key[0]).full_unit, len(before), len(after))
    if min(len(before), len(after)) < FEWEST_REPEATS:
        return (*head, *UNKNOWN, f"fewer than {FEWEST_REPEATS} landings give this number")
    one = judge_change(before, after)
    numbers = (one.before.mean, one.after.mean, one.change, one.low, one.high, one.sd, one.smallest)
    return (*head, *numbers, "" if one.distinguishable else UNCLEAR)


def _shown_values(analyses: Sequence[Analysis]) -> dict[Key, list[float]]:
    """(quantity, side) -> its known values in shown units; empty where no landing gives it."""
    found: dict[Key, list[float]] = {}
    for analysis in analyses:
        for measure in analysis.measures:
            if not measure.word:
                values = found.setdefault((measure.quantity, measure.side), [])
                if np.isfinite(measure.value):
                    values.append(shown(measure.value, quantity(measure.quantity), analysis.landing.weight))
    return found

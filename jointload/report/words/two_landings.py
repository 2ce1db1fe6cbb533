"""Two landings of one rider beside each other: what changed, and what cannot be told from no change."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointload.analysis import Analysis
from jointload.report.words.quantities import quantity, shown
from jointload.uncertainty.intervals import changes

if TYPE_CHECKING:
    import pandas

COLUMNS = ("quantity", "side", "unit", "before", "after", "change", "low", "high", "note")
UNCLEAR = "not distinguishable from no change"


def changes_table(before: Analysis, after: Analysis) -> pandas.DataFrame:
    """One row a number in shown units, each landing by its own body weight: before, after, change, its 95 % interval.

    Both analyses carry intervals drawn alike (`with_intervals`); what the two recordings share drops out of the change.
    """
    import pandas as pd

    weights = before.landing.weight, after.landing.weight
    rows = []
    for one in changes(before, after):
        what = quantity(one.quantity)
        first, second = shown(one.before, what, weights[0]), shown(one.after, what, weights[1])
        low, high = (second - first + shown(end - one.change, what, weights[1]) for end in (one.low, one.high))
        note = "not known" if np.isnan(low) else UNCLEAR if low <= 0.0 <= high else ""
        rows.append((one.quantity, one.side, what.full_unit, first, second, second - first, low, high, note))
    return pd.DataFrame(rows, columns=list(COLUMNS))

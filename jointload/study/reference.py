"""One rider against the others of the study: percentiles, with the number of riders they rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas

FEW = 20
"""With fewer riders a percentile is a coarse step and says so (choice)."""


def percentiles(numbers: pandas.DataFrame) -> pandas.DataFrame:
    """A row a rider and quantity: the rider's mean, its percentile among the other riders, their median, quartiles and
    number.

    numbers : columns rider, name, unit, value, a row a landing
    """
    import pandas as pd
    from scipy.stats import percentileofscore

    known = numbers[np.isfinite(numbers["value"])]
    rows = []
    for (name, unit), found in known.groupby(["name", "unit"], sort=True):
        means = found.groupby("rider")["value"].mean()
        for rider, value in means.items():
            others = means.drop(rider).to_numpy()
            if len(others):
                low, median, high = np.quantile(others, [0.25, 0.5, 0.75])
                share = percentileofscore(others, value, kind="mean")
                note = f"few riders: steps of {100 / len(others):.0f} %" if len(others) < FEW else ""
                rows.append((rider, name, unit, value, share, len(others), median, low, high, note))
    columns = [
        "rider",
        "quantity",
        "unit",
        "mean",
        "percentile",
        "reference_n",
        "median",
        "quartile_1",
        "quartile_3",
        "note",
    ]
    return pd.DataFrame(rows, columns=columns).sort_values(["rider", "quantity"], ignore_index=True)

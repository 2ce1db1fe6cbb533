"""How well the landings of a study repeat: reliability of every quantity under one level."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointload.intake.recording import Array
from jointload.uncertainty.repeats import reliability

if TYPE_CHECKING:
    import pandas

FEWEST = 2
"""Riders, and landings of each, below which nothing repeats."""


def reliabilities(numbers: pandas.DataFrame) -> pandas.DataFrame:
    """A row a quantity and foot: riders, landings of each, their mean, spread within a rider, SEM and MDC95 by
    ICC(3,1), all correlations with 95 % intervals; no row where fewer than two riders repeat.

    numbers : columns rider, name, quantity, foot, unit, value, a row a landing, in the order they were made
    """
    import pandas as pd

    known, rows = numbers[np.isfinite(numbers["value"])], []
    for name, found in known.groupby("name", sort=True):
        table = _most_repeated([group.to_numpy(float) for _, group in found.groupby("rider")["value"]])
        if table.size == 0 or np.ptp(table) == 0.0:
            continue
        told = reliability(table)
        row = {"name": name} | {column: found[column].iloc[0] for column in ("quantity", "foot", "unit")}
        row |= {"riders": told.riders, "landings_each": told.landings, "mean": float(table.mean())}
        row |= {"sd_within": told.within_sd, "sem": told.sem, "mdc95": told.mdc95}
        for form, icc in told.icc.items():
            column = form.lower().replace("(", "_").replace(",", "_").rstrip(")")
            row |= {column: icc.value, f"{column}_low": icc.low, f"{column}_high": icc.high}
        rows.append(row)
    return pd.DataFrame(rows)


def _most_repeated(riders: list[Array]) -> Array:
    """(n, k) the first k landings of every rider who has as many; k such that most landings are repeats, n (k - 1)."""
    counts = sorted({len(values) for values in riders if len(values) >= FEWEST})
    enough = {k: [values[:k] for values in riders if len(values) >= k] for k in counts}
    tables = [np.array(table) for table in enough.values() if len(table) >= FEWEST]
    return max(tables, key=lambda table: table.shape[0] * (table.shape[1] - 1), default=np.empty((0, 0)))

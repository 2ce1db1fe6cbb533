"""Every series of a landing over 0 to 100 % of it, so that landings of different length can be laid over each other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import Array, split_side
from jointload.landing.events import LandingEvents
from jointload.report.words.tables import landing_series

if TYPE_CHECKING:
    import pandas

POINTS = 101
"""0 to 100 % of the landing in steps of 1 % (common practice)."""
POINT_COLUMNS = tuple(f"p{k}" for k in range(POINTS))
CURVE_COLUMNS = ("quantity", "side", "unit", "start_ms", "duration_ms", *POINT_COLUMNS)
PLACES = ("centre_of_pressure_forward", "centre_of_pressure_across")
"""Series that depend on where in the laboratory the rider landed: no curve to compare."""


def curves_table(analysis: Analysis) -> pandas.DataFrame:
    """One row a series: quantity, side, unit, start and duration [ms], then its values in shown units at 0 to 100 %.

    A foot's series run from its own touch-down to its landing end, the body's from the first touch-down to the last
    end; empty where an end is not known.
    """
    import pandas as pd

    return pd.DataFrame(curve_rows(analysis), columns=list(CURVE_COLUMNS))


def curve_rows(analysis: Analysis) -> list[tuple[Any, ...]]:
    """The rows of `curves_table`."""
    time, rows = analysis.landing.recording.time, []
    for name, (unit, values) in landing_series(analysis.landing).items():
        foot, what = split_side(name)
        if what not in PLACES:
            begin, end = _span(analysis.landing.events, foot)
            grid = begin + (end - begin) * np.linspace(0.0, 1.0, POINTS)
            rows.append((what, foot, unit, 1000 * begin, 1000 * (end - begin), *_sampled(grid, time, values)))
    return rows


def _span(events: LandingEvents, side: str) -> tuple[float, float]:
    """Start and end [s] of the landing of one foot, of the whole body for ''."""
    if not side:
        return events.first_touchdown, events.last_end
    if side not in events.sides:
        return np.nan, np.nan
    return events.sides[side].touchdown, events.sides[side].landing_end


def _sampled(grid: Array, time: Array, values: Array) -> Array:
    """Linear between frames; NaN beside a missing frame and outside the recording."""
    return np.interp(grid, time, values, left=np.nan, right=np.nan) if np.isfinite(grid).all() else grid * np.nan

"""The loads of the regions of the soles as a table, in shown units."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointload.analysis import Analysis
from jointload.landing.sole_regions import sole_loads
from jointload.report.figures.soles import back_or_front

if TYPE_CHECKING:
    import pandas

COLUMNS = (
    "recording", "rider", "side", "place", "region", "peak_pressure_kPa", "peak_force_N", "impulse_Ns",
    "share_of_impulse_percent", "time_of_peak_pressure_ms", "sensors", "sensors_left_out", "note",
)  # fmt: skip


def regions_table(analysis: Analysis) -> pandas.DataFrame:
    """One row a region of each sole; unknown is empty with a note. place : back or front, by the rider's stance."""
    import pandas as pd

    trial, rider = analysis.session.trial.name, analysis.session.rider
    rows = [
        (
            trial, rider.id, row.side, back_or_front(row.side, rider.stance), row.region,
            1e-3 * row.peak_pressure, row.peak_force, row.impulse, 100.0 * row.share, 1e3 * row.peak_time,
            row.sensors, row.left_out, row.note,
        )
        for sole in sole_loads(analysis.landing)
        for row in sole.regions
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))

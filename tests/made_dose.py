"""Invented joined numbers and exposures of a dose, and its rows by name."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from jointload.study.exposures import Exposure
from jointload.study.strain_dose import Dose, tissues

HEAD = "rider,activity,from_m,to_m,landings_per_session,sessions_per_week,weeks_per_year,years\n"
COLUMNS = ["trial", "rider", "group", "task", "condition", "style", "side", "foot", "quantity", "value", "unit"]
WORKS = (("work", 0.2, 0.6, 30.0),)


def metrics(trials: list[tuple[str, str, str, float, float, float]], spread: float = 0.2) -> pd.DataFrame:
    """Joined numbers of trials (name, rider, condition, height [m], knee flexion [deg], load): every tissue load of
    both feet is `load`, known within `spread` of it."""
    rows = []
    for name, rider, condition, height, flexion, load in trials:
        head = (name, rider, "", "drop", condition, "")
        rows.append((*head, "", "", "drop_height", height, "m", "", "", ""))
        for side in ("right", "left"):
            rows.append((*head, side, "", "knee_flexion_peak", flexion, "deg", "", "", ""))
        for quantity in dict.fromkeys(name for t in tissues().values() for name in (t.impulse, t.peak)):
            for side, foot in (("", ""),) if quantity.startswith("l5s1") else (("right", "back"), ("left", "front")):
                ends = (load * (1 - spread), load * (1 + spread)) if spread else ("", "")
                rows.append((*head, side, foot, quantity, load, "BW s", *ends, ""))
    return pd.DataFrame(rows, columns=[*COLUMNS, "low", "high", "note"]).astype(str)


def exposures(rider: str = "a", works: tuple[tuple[str, float, float, float], ...] = WORKS) -> list[Exposure]:
    """Activities (name, from, to [m], landings a session), twice a week, 10 weeks a year, 5 years."""
    return [Exposure(rider, name, low, high, landings, 2.0, 10.0, 5.0) for name, low, high, landings in works]


def row(found: Dose, table: str, **wanted: object) -> Mapping[str, object]:
    """Of the right foot where none is named."""
    wanted = {"side": "right", **wanted}
    (one,) = [r for r in getattr(found, table) if all(r[key] == value for key, value in wanted.items())]
    return one


def knee(found: Dose, table: str, kind: str, **wanted: object) -> Mapping[str, object]:
    return row(found, table, tissue="knee_cartilage", kind=kind, **wanted)

"""How often and from how high riders land: the exposure table, its ranges, and landings that were counted."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jointload.errors import StudyError, expected_found, not_read
from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.modeldata import load_model

Range = tuple[float, float]
WORDS = ("rider", "activity")
HEIGHTS = ("from_m", "to_m")
TIMES = ("landings_per_session", "sessions_per_week", "weeks_per_year", "years")
MOST = {"weeks_per_year": 53, "sessions_per_week": 50, "years": 80}
COUNTED = "counted"
"""In place of the landings of a session: the table of counts tells them."""
DRAWS, SEED = 1000, 11
"""Of what was told or counted with a range (choice: one draw in each thousandth of every range)."""
INSIDE = 1.0 - np.sqrt(0.05)
"""Of half the base of a triangle: as far from its top lie the ends of 95 % of it."""


@dataclass(frozen=True)
class Exposure:
    """One row of the exposure table: landings from heights in [from_m, to_m) of one rider in one activity.

    ranges : least and most of a number that is not sure, by its name; the number itself is the likeliest
    counted_days : on which its landings were counted, 0 where they were told
    """

    rider: str
    activity: str
    from_m: float
    to_m: float
    landings_per_session: float
    sessions_per_week: float
    weeks_per_year: float
    years: float
    ranges: Mapping[str, Range] = field(default_factory=dict, hash=False)
    counted_days: int = 0

    @property
    def landings(self) -> float:
        return self.landings_per_session * self.sessions_per_week * self.weeks_per_year * self.years

    def drawn(self, name: str, places: Array) -> Array:
        """A number at places (D,) of its triangle from 0, its least, to 1, its most."""
        top = float(getattr(self, name))
        low, high = self.ranges.get(name, (top, top))
        if low == high:
            return np.full_like(places, top)
        share = (top - low) / (high - low)
        rising = low + np.sqrt(places * (high - low) * (top - low))
        falling = high - np.sqrt((1.0 - places) * (high - low) * (high - top))
        return np.where(places < share, rising, falling)


@dataclass(frozen=True, eq=False)
class DrawnExposures:
    """What the rows of one rider may have been, (D, K) each.

    landings : over the likeliest;  height : of the middle of a row's heights, over the likeliest
    """

    landings: Array
    height: Array


def drawn_exposures(rows: Sequence[Exposure]) -> DrawnExposures | None:
    """Draws of one rider's rows, None where every number is sure.

    One place in every range of a column: who remembers too much does so in each activity, and both ends of a row's
    heights move together.
    """
    if not any(row.ranges for row in rows):
        return None
    landings, height = np.ones((DRAWS, len(rows))), np.ones((DRAWS, len(rows)))
    places = {name: _places(rows[0].rider, name) for name in ("height", *TIMES)}
    for k, row in enumerate(rows):
        for name in TIMES:
            landings[:, k] *= row.drawn(name, places[name]) / getattr(row, name)
        ends = sum(row.drawn(name, places["height"]) for name in HEIGHTS)
        height[:, k] = ends / (row.from_m + row.to_m)
    return DrawnExposures(landings, height)


def _places(rider: str, name: str) -> Array:
    rng = np.random.default_rng([SEED, *rider.encode(), *name.encode()])
    return (rng.permutation(DRAWS) + 0.5) / DRAWS


# The exposure table -------------------------------------------------------------------------------------------------


def read_exposures(path: Path, riders: Iterable[str], counts: Path | None = None) -> tuple[Exposure, ...]:
    """The exposure table; StudyError holds every fault of it.  counts : table of counted landings"""
    known, faults = set(riders), list[str]()
    counted = _read_counts(counts, known) if counts else {}
    lines = _table("exposures", path, (*WORDS, *HEIGHTS, *TIMES))
    rows = [_exposure(row, f"{path} row {number}", known, counted, faults) for number, row in enumerate(lines, start=1)]
    if counts and not faults:
        faults += _unused(counted, [row for row in rows if row is not None], counts)
    if faults:
        raise StudyError(faults)
    return tuple(row for row in rows if row is not None)


def _table(what: str, path: Path, names: Sequence[str]) -> list[dict[str, Any]]:
    """Rows of a CSV file with at least these columns, one or more."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as problem:
        advice = "write it with the columns " + ", ".join(names)
        raise StudyError([not_read(what, "a readable CSV file", problem, path, advice)]) from None
    reader = csv.DictReader(line for line in lines if not line.startswith("#"))
    missing = [name for name in names if name not in (reader.fieldnames or [])]
    if missing:
        found = "no " + ", ".join(missing)
        raise StudyError([expected_found(what, ", ".join(names), found, str(path), "correct the first line")])
    rows = list(reader)
    if not rows:
        raise StudyError([expected_found(what, "one row or more", "none", str(path), "fill it in")])
    return rows


def _exposure(
    row: dict[str, Any], where: str, riders: set[str], counted: dict[tuple[str, str], _Counted], faults: list[str]
) -> Exposure | None:
    before = len(faults)
    words = _words(row, where, riders, faults)
    told: dict[str, tuple[float, float, float]] = {}
    days = 0
    for name in (*HEIGHTS, *TIMES):
        if name == TIMES[0] and str(row[name] or "").strip() == COUNTED:
            continue
        told[name] = _told(str(row[name] or "").strip())
        if not told[name][0] > 0 and not (name == "from_m" and told[name][0] == 0):
            expected = "a number above 0 or a range of two, least first, as 20 to 60"
            faults.append(expected_found(name, expected, repr(row[name]), where, "correct it or drop the row"))
        elif told[name][2] > MOST.get(name, np.inf):
            faults.append(expected_found(name, f"at most {MOST[name]}", f"{told[name][2]:g}", where, "correct it"))
    if len(faults) == before and not told["from_m"][1] < told["to_m"][1]:
        found = " and ".join(f"{name} {row[name]}" for name in HEIGHTS)
        faults.append(expected_found("heights", "from_m below to_m", found, where, "correct them"))
    if len(faults) == before and TIMES[0] not in told:
        counts = counted.get((words["rider"], words["activity"]))
        heights = told["from_m"][1], told["to_m"][1]
        mean = counts.per_session(*heights) if counts else "no counts of this rider and activity"
        if isinstance(mean, str):
            expected = "two days or more with counted landings from these heights"
            advice = "give a table with --counts, or write a number or a range"
            faults.append(expected_found(TIMES[0], expected, mean, where, advice))
        else:
            told[TIMES[0]] = mean
            days = len(set(counts.days)) if counts else 0
    if len(faults) > before:
        return None
    given: dict[str, Any] = words | {name: value for name, (_, value, _) in told.items()}
    ranges = {name: (low, high) for name, (low, _, high) in told.items() if low < high}
    return Exposure(**given, ranges=ranges, counted_days=days)


def _words(row: dict[str, Any], where: str, riders: set[str], faults: list[str]) -> dict[str, str]:
    words = {name: str(row[name] or "").strip() for name in WORDS}
    if words["rider"] not in riders:
        expected = "a rider of the study (" + ", ".join(sorted(riders)[:8]) + ")"
        faults.append(expected_found("rider", expected, repr(words["rider"]), where, "correct it"))
    return words


def _told(text: str) -> tuple[float, float, float]:
    """Least, likeliest and most of '40' or '20 to 60', the likeliest in the middle; NaN where it cannot be read."""
    parts = [_number(part) for part in text.split(" to ")]
    if len(parts) > 2 or not np.isfinite(parts).all() or parts != sorted(parts):
        return np.nan, np.nan, np.nan
    return parts[0], 0.5 * (parts[0] + parts[-1]), parts[-1]


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return np.nan


# Landings that were counted -----------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Counted:
    """Every counted landing of a rider in an activity: days (N,), a session each, and height [m] (N,)."""

    days: tuple[date, ...]
    height: Array

    def per_session(self, from_m: float, to_m: float) -> tuple[float, float, float] | str:
        """Least, likeliest and most of the landings of a session from these heights, or what is missing.

        Ends: such that 95 % of the triangle are the 95 % interval of the mean over days, its upper end with what a
        wearable misses.
        """
        from scipy.stats import t

        sessions = sorted(set(self.days))
        fitting = [day for day, ok in zip(self.days, self.within(from_m, to_m), strict=True) if ok]
        if len(sessions) < 2 or not fitting:
            return f"{len(sessions)} with {len(fitting)} landing{'s' * (len(fitting) != 1)} from these heights"
        counts = np.array([fitting.count(day) for day in sessions], dtype=float)
        error = counts.std(ddof=1) / np.sqrt(len(counts))
        half = float(t.ppf(0.975, len(counts) - 1) * error / INSIDE)
        mean, missed = float(counts.mean()), load_model("tissue", "dose").content["counted"]["missed"]
        return max(mean - half, 0.0), mean, (mean + half) * (1.0 + (missed - 1.0) / INSIDE)

    def within(self, from_m: float, to_m: float) -> NDArray[np.bool_]:
        return (self.height >= from_m) & (self.height < to_m)


def _read_counts(path: Path, riders: set[str]) -> dict[tuple[str, str], _Counted]:
    """Counted landings by rider and activity: a row each with its time and height, or its speed at touch-down."""
    rows = _table("counts", path, (*WORDS, "time"))
    told = [name for name in ("height_m", "speed_m_s") if name in rows[0]]
    if len(told) != 1:
        found = " and ".join(told) or "neither"
        raise StudyError([expected_found("counts", "height_m or speed_m_s", found, str(path), "keep one column")])
    faults: list[str] = []
    landed: dict[tuple[str, str], list[tuple[date, float]]] = {}
    for number, row in enumerate(rows, start=1):
        where, before = f"{path} row {number}", len(faults)
        words = _words(row, where, riders, faults)
        day, measured = _day(str(row["time"] or "").strip()), _number(str(row[told[0]] or ""))
        if day is None:
            expected = "a date or date and time as 2026-05-01T10:22"
            faults.append(expected_found("time", expected, repr(row["time"]), where, "correct it or drop the row"))
        if not 0 < measured < np.inf:
            advice = "correct it or drop the row"
            faults.append(expected_found(told[0], "a number above 0", repr(row[told[0]]), where, advice))
        if len(faults) == before and day is not None:
            height = measured if told[0] == "height_m" else measured**2 / (2 * G)
            landed.setdefault((words["rider"], words["activity"]), []).append((day, height))
    if faults:
        raise StudyError(faults)
    return {key: _Counted(tuple(d for d, _ in each), np.array([h for _, h in each])) for key, each in landed.items()}


def _day(text: str) -> date | None:
    try:
        return datetime.fromisoformat(text).date()
    except ValueError:
        return None


def _unused(counted: dict[tuple[str, str], _Counted], rows: Sequence[Exposure], path: Path) -> list[str]:
    """A fault for each rider and activity with counted landings that stand in no row of the exposure table."""
    out = []
    for (rider, activity), found in counted.items():
        own = [row for row in rows if (row.rider, row.activity) == (rider, activity)]
        used = np.any([found.within(row.from_m, row.to_m) for row in own], axis=0) if own else np.zeros(1, dtype=bool)
        lost = found.height[~used] if own else found.height
        if lost.size:
            told = f"{lost.size} of {found.height.size} from {lost.min():.3g} to {lost.max():.3g} m outside"
            expected = f"every counted landing of {rider}, {activity} in a row of the exposures"
            out.append(expected_found("counts", expected, told, str(path), "add a row for these heights"))
    return out

"""Pressure insoles: a plain table of sensors in time and a layout of where they lie, checked and in SI units.

Table: `time`, then one column a sensor; the second row names the units: `s`, then kPa, N or N/cm2 for all sensors.
Layout: `sensor,along_mm,outward_mm,area_mm2` and, where wanted, `region`: places from the back of the heel towards the
toes and from the foot's middle line outwards (towards the little toe), so that one layout serves both feet.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from jointload.errors import PressureError, expected_found, not_read
from jointload.intake.recording import Array, Finding, Side
from jointload.numerics.signals import runs

REGIONS = {
    "medial_heel": "medial heel",
    "lateral_heel": "lateral heel",
    "midfoot": "midfoot",
    "first_metatarsal_head": "first metatarsal head",
    "other_metatarsal_heads": "second to fifth metatarsal heads",
    "hallux": "hallux",
    "lesser_toes": "lesser toes",
}
"""Regions of the sole as anatomy names them."""
LAYOUT_COLUMNS = ("sensor", "along_mm", "outward_mm", "area_mm2")
UNITS = ("kPa", "N", "N/cm2")
LOWEST_PEAK, HIGHEST_PEAK = 20e3, 5e6
"""Between these [Pa] the highest pressure of a landing lies (choice; walking peaks at 200 to 300 kPa, from memory)."""
NEIGHBOURS, NEIGHBOUR_LOAD = 4, 50e3
"""A sensor that stands still while this many around it change by so much [Pa] does not measure (choice)."""
STUCK_SECONDS = 0.1
SATURATED_SAMPLES = 4
"""A sensor that stays at its highest reading for so many samples could give no more (choice)."""
GAP = 1.5
"""A step longer than this many usual steps misses rows."""
FEWEST_ROWS, FEWEST_SENSORS = 20, 6
PLACES = {"along_mm": (-10.0, 380.0), "outward_mm": (-90.0, 90.0), "area_mm2": (1.0, 5000.0)}


@dataclass(frozen=True, eq=False)
class SensorLayout:
    """Where the sensors of an insole lie, K of them.

    along, outward : (K,) [m] from the back of the heel, and from the middle line towards the little toe
    area : (K,) [m2];  region : a key of REGIONS a sensor, "" where the file does not say
    """

    name: str
    sensors: tuple[str, ...]
    along: Array
    outward: Array
    area: Array
    region: tuple[str, ...]

    @property
    def length(self) -> float:
        """[m] from the back of the heel to the foremost sensor's far edge."""
        foremost = int(np.argmax(self.along))
        return float(self.along[foremost] + 0.5 * np.sqrt(self.area[foremost]))

    def nearest(self, sensor: int) -> NDArray[np.intp]:
        """The NEIGHBOURS sensors around one."""
        distance = np.hypot(self.along - self.along[sensor], self.outward - self.outward[sensor])
        return np.argsort(distance, kind="stable")[1 : NEIGHBOURS + 1]


@dataclass(frozen=True, eq=False)
class PressureRecording:
    """What one insole measured.

    time : (N,) [s] on the insole's own clock;  pressure : (K, N) [Pa] in the order of the layout, NaN for a sensor that
    was left out and where the table has no number
    """

    name: str
    sha256: str
    side: Side
    layout: SensorLayout
    time: Array
    pressure: Array
    unit: str
    left_out: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def rate(self) -> float:
        """Usual rate [Hz]."""
        return float(1.0 / np.median(np.diff(self.time)))

    @property
    def force(self) -> Array:
        """(N,) [N] of all sensors that measure, NaN where none has a number."""
        known = np.isfinite(self.pressure).any(axis=0)
        return np.where(known, np.nansum(self.pressure * self.layout.area[:, None], axis=0), np.nan)


def read_layout(path: str | Path) -> SensorLayout:
    """Read a sensor layout; PressureError names the row at fault."""
    path = Path(path)
    head, *rows = _table(path, "sensor layout", "--pressure-layout")
    missing = [name for name in LAYOUT_COLUMNS if name not in head]
    if missing:
        raise _wrong("sensor layout", "the columns " + ", ".join(LAYOUT_COLUMNS), ", ".join(head), path, "name them so")
    numbers: dict[str, list[float]] = {name: [] for name in LAYOUT_COLUMNS[1:]}
    sensors, regions = [], []
    for number, row in enumerate(rows, start=2):
        cells = dict(zip(head, row, strict=False))
        where = f"row {number} of {path.name}"
        for name, (low, high) in PLACES.items():
            value = _number(cells.get(name, ""), name, where, path)
            if not low <= value <= high:
                found = f"{value:g} in {where}"
                raise _wrong(
                    f"layout {name}", f"{low:g} to {high:g}", found, path, "give millimetres, square ones for areas"
                )
            numbers[name].append(value)
        region = cells.get("region", "").strip()
        if region and region not in REGIONS:
            raise _wrong("layout region", "one of " + ", ".join(REGIONS), f"{region} in {where}", path, "correct it")
        sensors.append(cells["sensor"].strip())
        regions.append(region)
    if len(set(sensors)) < len(sensors) or len(sensors) < FEWEST_SENSORS:
        found = f"{len(sensors)}, {len(set(sensors))} of them different"
        raise _wrong(
            "sensor layout", f"{FEWEST_SENSORS} or more sensors, each once", found, path, "list every sensor once"
        )
    along, outward, area = (np.array(numbers[name]) for name in LAYOUT_COLUMNS[1:])
    return SensorLayout(path.name, tuple(sensors), 1e-3 * along, 1e-3 * outward, 1e-6 * area, tuple(regions))


def read_pressure(path: str | Path, side: Side, layout: SensorLayout) -> PressureRecording:
    """Read one insole's table; PressureError for what cannot be read, findings for what was mended or left out."""
    path = Path(path)
    head, units, *rows = _table(path, "pressure table", f"--pressure-{side}", fewest=FEWEST_ROWS)
    unit = _unit(head, units, path)
    unknown = [name for name in head[1:] if name not in layout.sensors]
    if unknown:
        expected = f"sensors of the layout {layout.name}"
        raise _wrong("pressure table", expected, ", ".join(unknown[:5]), path, "give the layout that belongs to it")
    values = np.full((len(rows), len(head)), np.nan)
    for k, row in enumerate(rows):
        where = f"row {k + 3} of {path.name}"
        if len(row) != len(head):
            raise _wrong("pressure table", f"{len(head)} columns", f"{len(row)} in {where}", path, "mend that row")
        for c, cell in enumerate(row):
            if cell.strip():
                values[k, c] = _number(cell, head[c], where, path)
    time = values[:, 0] * (1e-3 if units[0] == "ms" else 1.0)
    _require_forward(time, path)
    measured = np.full((len(layout.sensors), time.size), np.nan)
    measured[[layout.sensors.index(name) for name in head[1:]]] = values[:, 1:].T
    pressure = _in_pascal(measured, unit, layout)
    _require_plausible(pressure, unit, path)
    faults = _faulty(pressure, time, layout)
    findings = _findings(path.name, time, pressure, layout, faults, [n for n in layout.sensors if n not in head])
    pressure[list(faults)] = np.nan
    left_out = tuple(layout.sensors[k] for k in faults)
    sha = hashlib.sha256(path.read_bytes()).hexdigest()
    return PressureRecording(path.name, sha, side, layout, time, pressure, unit, left_out, findings)


def _table(path: Path, what: str, option: str, fewest: int = 1) -> list[list[str]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise PressureError(not_read(what, "a readable CSV file", problem, path, f"correct {option}")) from None
    except UnicodeDecodeError:
        raise _wrong(what, "text in UTF-8", "other bytes", path, "save it as CSV") from None
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    rows = [[cell.strip() for cell in row] for row in csv.reader(lines)]
    if len(rows) < fewest + 1:
        raise _wrong(what, f"a heading and {fewest} rows or more", f"{len(rows)} rows", path, "give the whole table")
    return rows


def _wrong(what: str, expected: object, found: object, path: Path, advice: str) -> PressureError:
    return PressureError(expected_found(what, expected, found, str(path), advice))


def _number(cell: str, name: str, where: str, path: Path) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise _wrong(name, "a number", f"{cell!r} in {where}", path, "mend that cell, or leave it empty")
    return value


def _unit(head: list[str], units: list[str], path: Path) -> str:
    if head[0] != "time" or len(head) < 2:
        raise _wrong("pressure table", "the columns time, then one a sensor", ", ".join(head[:4]), path, "name them so")
    if units[0] not in ("s", "ms") or len(set(units[1:])) != 1 or units[1] not in UNITS:
        expected = f"units in the second row: s or ms, then one of {', '.join(UNITS)} for all sensors"
        raise _wrong("pressure table", expected, ",".join(units[:4]), path, "name the units")
    return units[1]


def _require_forward(time: Array, path: Path) -> None:
    wrong = np.flatnonzero(~(np.diff(time) > 0))
    if wrong.size or not np.isfinite(time[0]):
        k = int(wrong[0]) if wrong.size else 0
        found = f"{time[k]:g} s followed by {time[k + 1]:g} s in row {k + 4}"
        raise _wrong("pressure time", "seconds that grow from row to row", found, path, "sort or cut the table")


def _in_pascal(values: Array, unit: str, layout: SensorLayout) -> Array:
    factor: dict[str, float | Array] = {"kPa": 1e3, "N/cm2": 1e4, "N": 1.0 / layout.area[:, None]}
    return np.asarray(values * factor[unit])


def _require_plausible(pressure: Array, unit: str, path: Path) -> None:
    peak = float(np.nanmax(pressure)) if np.isfinite(pressure).any() else 0.0
    if not LOWEST_PEAK <= peak <= HIGHEST_PEAK:
        expected = f"a highest pressure from {1e-3 * LOWEST_PEAK:g} to {1e-3 * HIGHEST_PEAK:g} kPa"
        advice = "correct the unit in its second row (kPa, N or N/cm2), or the areas of the layout"
        raise _wrong("pressure table", expected, f"{1e-3 * peak:.3g} kPa when read in {unit}", path, advice)


def _faulty(pressure: Array, time: Array, layout: SensorLayout) -> dict[int, str]:
    """Sensor -> why it is left out: it stands still while those around it do not."""
    out: dict[int, str] = {}
    span = np.nan_to_num(np.nanmax(pressure, axis=1, initial=-np.inf) - np.nanmin(pressure, axis=1, initial=np.inf))
    for k, series in enumerate(pressure):
        known = np.isfinite(series)
        if not known.any():
            continue
        around = layout.nearest(k)
        if span[k] == 0.0:
            if series[known][0] != 0.0:
                out[k] = "stuck"
            elif np.median(span[around]) > NEIGHBOUR_LOAD:
                out[k] = "dead"
            continue
        still = np.concatenate(([False], (np.diff(series) == 0.0) & (series[1:] > 0.02 * np.nanmax(pressure))))
        for start, stop in runs(still):
            moving = np.nan_to_num(np.ptp(pressure[around, start:stop], axis=1))
            if time[stop - 1] - time[start] > STUCK_SECONDS and np.median(moving) > NEIGHBOUR_LOAD:
                out[k] = "stuck"
    return out


def _findings(
    name: str, time: Array, pressure: Array, layout: SensorLayout, faults: dict[int, str], absent: list[str]
) -> tuple[Finding, ...]:
    out = [
        Finding(
            "pressure", "pass", name, f"{len(layout.sensors)} sensors at {1.0 / np.median(np.diff(time)):.0f} Hz", ""
        )
    ]
    for why in sorted(set(faults.values())):
        which = [k for k, reason in faults.items() if reason == why]
        area = 100.0 * layout.area[which].sum() / layout.area.sum()
        text = f"{_listed(layout.sensors[k] for k in which)} {why}, {area:.0f} % of the insole's area: left out"
        out.append(
            Finding("pressure_sensor", "warn", name, text, "replace the insole; forces of their regions are too small")
        )
    if absent:
        text = f"no column for {_listed(absent)}: left out"
        out.append(Finding("pressure_sensor", "warn", name, text, "forces of their regions are too small"))
    full = [k for k in range(len(layout.sensors)) if k not in faults and _saturated(pressure[k])]
    if full:
        level = 1e-3 * max(float(np.nanmax(pressure[k])) for k in full)
        text = f"{_listed(layout.sensors[k] for k in full)} stay at their highest reading, {level:.0f} kPa"
        out.append(
            Finding("pressure_saturated", "warn", name, text, "peak pressures there are cut: choose a larger range")
        )
    steps = np.diff(time)
    usual = float(np.median(steps))
    gaps = steps > GAP * usual
    if gaps.any():
        missing = int(np.sum(np.round(steps[gaps] / usual) - 1))
        text = f"{missing} rows missing in {int(gaps.sum())} places, the longest gap {1000 * steps.max():.0f} ms"
        out.append(
            Finding("pressure_rows", "warn", name, text, "nothing is filled in; numbers over these times are missing")
        )
    return tuple(out)


def _saturated(series: Array) -> bool:
    highest = np.nanmax(series, initial=0.0)
    at_top = series >= highest * (1.0 - 1e-6)
    return bool(highest > NEIGHBOUR_LOAD and max((b - a for a, b in runs(at_top)), default=0) >= SATURATED_SAMPLES)


def _listed(names: Iterable[str], most: int = 6) -> str:
    names = list(names)
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")

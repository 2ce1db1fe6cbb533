"""A compression or drop test of a material, read from CSV and fitted by the law of a layer."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from jointload.errors import SettingError, expected_found, known_names, not_read
from jointload.insole.shape.materials import KINDS, Material
from jointload.intake.recording import Array

LENGTH_UNITS = {"um": 1e-6, "mm": 1e-3, "cm": 1e-2, "m": 1.0}
AREA_UNITS = {"mm2": 1e-6, "cm2": 1e-4, "m2": 1.0}
FORCE_UNITS = {"N": 1.0, "kN": 1e3}
STRESS_UNITS = {"Pa": 1.0, "kPa": 1e3, "MPa": 1e6}
STRAIN_UNITS = {"1": 1.0, "percent": 0.01, "%": 0.01}
COLUMNS = {
    "compression": LENGTH_UNITS, "strain": STRAIN_UNITS, "force": FORCE_UNITS, "stress": STRESS_UNITS,
    "pressure": STRESS_UNITS,
}  # fmt: skip
"""Words a column's head may begin with, and the units that may follow after an underscore."""
HEADS = "compression_mm or strain_percent, and force_N or stress_kPa"
TIME_HEADS = {"time_s": 1.0, "time_ms": 1e-3}
FEWEST = 20
"""A loop of fewer rows is not fitted."""
PLAUSIBLE = {"foam": (0.02e6, 20e6), "gel": (0.01e6, 10e6), "elastomer": (0.1e6, 100e6), "shell": (50e6, 6e9)}
"""Moduli that such a material can have [Pa] (choice, wide: a unit mistaken by a hundred falls outside)."""
DEEPEST, SHALLOWEST, SHALLOW = 0.98, 0.01, 0.10
"""Largest strain of a test: more is no test, less is none either; below the last it is told."""
LEAST_CORRELATION = 0.6
"""Of stress and strain on the way in; below, the columns do not belong together."""
NEGATIVE_LOSS = -0.03
"""An energy loss below this is a loop run backwards, above it noise."""
RETURNED = 0.15
"""A loop is closed when its stress comes back to this share of the peak."""
POOR_FIT = 0.05
"""Residual as a share of the largest compression, from where on the law does not describe the material."""
LARGEST_E = 1.0
"""A layer cannot be pressed by more than its thickness."""


@dataclass(frozen=True, eq=False)
class CompressionTest:
    """strain and stress [Pa] of one loading and, where recorded, one unloading; thickness [m], area [m2] or NaN."""

    strain: Array
    stress: Array
    turn: int
    """Number of the deepest sample: loading ends and unloading begins there."""
    thickness: float
    area: float
    where: str
    notes: tuple[str, ...] = ()
    loading_time: float = math.nan
    """[s] from touch to the deepest sample, NaN where it was not recorded."""

    @property
    def loading(self) -> slice:
        return slice(0, self.turn + 1)

    @property
    def unloading(self) -> slice:
        return slice(self.turn, self.strain.size)


@dataclass(frozen=True, eq=False)
class LayerFit:
    """The material a test gave. rms is that of the compression [m]; bottoming_load [N] that of the tested area, NaN
    without an area."""

    material: Material
    test: CompressionTest
    rms: float
    rms_share: float
    bottoming_load: float
    notes: tuple[str, ...]


def parse_quantity(text: str, units: dict[str, float], what: str) -> float:
    """A positive number with its unit, such as '5mm' or '500 mm2', in SI units."""
    match = re.fullmatch(r"\s*([0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?)\s*([A-Za-z]+2?)\s*", text)
    if not match or match[2] not in units or float(match[1]) <= 0:
        example = f"5{next((unit for unit in units if unit.startswith('mm')), next(iter(units)))}"
        expected = f"a number with a unit ({', '.join(units)})"
        raise SettingError(expected_found(what, expected, repr(text), "the command", f"write it like {example}"))
    return float(match[1]) * units[match[2]]


# Reading ------------------------------------------------------------------------------------------------------------


def read_compression(path: str | Path, thickness: float | None = None, area: float | None = None) -> CompressionTest:
    """Read a test whose column heads carry their units, such as 'compression_mm,force_N'.

    thickness [m] turns compression into strain, area [m2] force into stress; both are needed only for such columns.
    Lines that begin with # are left out, other columns too; a column time_s tells how quickly it was pressed. Of
    several loops the last whole one is kept.
    """
    where = str(path)
    head, rows = read_table(Path(path))
    pressed, strained = _column(head, rows, ("compression", "strain"), where)
    loaded, forced = _column(head, rows, ("force", "stress", "pressure"), where)
    if pressed == "compression" and thickness is None:
        raise bad_test("thickness", "the sample's thickness", "none", where, "give --thickness, such as 5mm")
    if loaded == "force" and area is None:
        raise bad_test("area", "the pressed area", "none", where, "give --area, such as 500mm2")
    strain = strained / thickness if pressed == "compression" and thickness else strained
    stress = forced / area if loaded == "force" and area else forced
    strain, stress, notes = _upright(strain, stress, where)
    check_depth(float(strain.max()), where)
    part, more = _last_loop(strain)
    strain, stress = strain[part], stress[part]
    turn = _turn(strain, stress)
    time = time_of(head, rows)
    lasts = math.nan if time is None else float(time[part][turn] - time[part][0])
    _check_loading(strain[: turn + 1], stress[: turn + 1], where)
    if strain.max() < SHALLOW:
        more.append(f"pressed by {100 * strain.max():.0f} % only: check the thickness, and test deeper")
    return CompressionTest(
        strain, stress, turn, math.nan if thickness is None else thickness, math.nan if area is None else area, where,
        (*notes, *more), lasts if lasts > 0 else math.nan,
    )  # fmt: skip


def time_of(head: list[str], rows: Array) -> Array | None:
    """[s] of each row, None without a column time_s or time_ms."""
    return next((rows[:, k] * TIME_HEADS[name] for k, name in enumerate(head) if name in TIME_HEADS), None)


def bad_test(what: str, expected: str, found: str, where: str, advice: str) -> SettingError:
    return SettingError(expected_found(what, expected, found, where, advice))


def read_table(path: Path) -> tuple[list[str], Array]:
    """Column heads and numbers (rows, columns); comma, semicolon or tab between them."""
    try:
        lines = [line for line in path.read_text(encoding="utf-8-sig").splitlines() if line.strip()]
    except (OSError, UnicodeDecodeError) as problem:
        line = not_read("compression test", "a readable CSV file", problem, path, "correct the path")
        raise SettingError(line) from None
    lines = [line for line in lines if not line.startswith("#")]
    if len(lines) < FEWEST + 1:
        expected = f"a head and at least {FEWEST} rows"
        raise bad_test("compression test", expected, f"{len(lines)} lines", str(path), "export the whole loop")
    between = max(",;\t", key=lines[0].count)
    head, *rows = csv.reader(lines, delimiter=between)
    decimal = "," if between != "," and not any("." in cell for row in rows[:50] for cell in row) else "."
    try:
        numbers = np.array([[float(cell.replace(decimal, ".")) for cell in row] for row in rows])
    except ValueError as problem:
        found = str(problem).replace("could not convert string to float: ", "")[:60]
        advice = "write one row of numbers a sample, with a point for decimals"
        raise bad_test("compression test", "numbers under one head", found, str(path), advice) from None
    if numbers.ndim != 2 or numbers.shape[1] != len(head) or not np.isfinite(numbers).all():
        raise bad_test("compression test", "a number in every cell", "gaps", str(path), "fill or cut those rows")
    return [cell.strip() for cell in head], numbers


def _column(head: list[str], rows: Array, words: tuple[str, ...], where: str) -> tuple[str, Array]:
    """The one column whose head begins with one of the words, in SI units."""
    found = [(k, *name.partition("_")) for k, name in enumerate(head) if name.partition("_")[0] in words]
    if len(found) != 1:
        seen = ", ".join(head) if not found else "several: " + ", ".join(head[k] for k, *_ in found)
        raise bad_test("compression test head", HEADS, seen, where, "name one column of each")
    k, word, _, unit = found[0]
    if unit not in COLUMNS[word]:
        raise bad_test(f"unit of {word}", known_names(COLUMNS[word]), repr(unit), where, f"write {word}_ and its unit")
    return word, rows[:, k] * COLUMNS[word][unit]


def _upright(strain: Array, stress: Array, where: str) -> tuple[Array, Array, list[str]]:
    """Both positive in compression; both negative is a machine's habit and is turned, one of them a mistake."""
    negative = [abs(float(values.min())) > abs(float(values.max())) for values in (strain, stress)]
    if negative[0] != negative[1]:
        name = "compression" if negative[0] else "load"
        raise bad_test(
            "sign", "compression and load of one sign", f"a negative {name}", where, "turn that column's sign"
        )
    if negative[0]:
        return -strain, -stress, ["compression counted negative in the file; both columns were turned"]
    return strain, stress, []


def check_depth(deepest: float, where: str) -> None:
    """SettingError where the deepest strain of a test [1] can only be a wrong unit."""
    if deepest > DEEPEST:
        raise bad_test(
            "compression", "less than the thickness", f"{100 * deepest:.3g} % of it", where,
            "check the unit of the compression and the thickness",
        )  # fmt: skip
    if deepest < SHALLOWEST:
        raise bad_test(
            "compression", f"more than {100 * SHALLOWEST:g} % of the thickness", f"{100 * deepest:.2g} %", where,
            "check the unit of the compression and the thickness",
        )  # fmt: skip


def _last_loop(strain: Array) -> tuple[slice, list[str]]:
    """The last whole loop: from the lowest strain before it to the lowest after it."""
    low, high = strain.min() + np.ptp(strain) * np.array([0.25, 0.75])
    deep, loops, start = False, [], 0
    for k, value in enumerate(strain):
        if value > high:
            deep = True
        elif value < low and deep:
            loops.append((start, k))
            deep, start = False, k
    if len(loops) < 2:
        return slice(None), []
    first, back = loops[-1]
    stop = strain.size
    again = np.flatnonzero(strain[back:] > high)
    if again.size:
        stop = back + int(again[0])
    first += int(np.argmin(strain[first : first + int(np.argmax(strain[first:back]))])) if first else 0
    last = back + int(np.argmin(strain[back:stop]))
    return slice(first, last + 1), [f"{len(loops)} loops; the last whole one is used"]


def _turn(strain: Array, stress: Array) -> int:
    """The sample at which loading ends: strain and stress together are largest, smoothed against noise."""
    return int(np.argmax(_smoothed(strain) / strain.max() + _smoothed(stress) / max(float(stress.max()), 1e-9)))


def _smoothed(values: Array) -> Array:
    """Running mean over a hundredth of the samples, shorter towards both ends."""
    half = max(values.size // 200, 0)
    total = np.concatenate(([0.0], np.cumsum(values)))
    k = np.arange(values.size)
    reach = np.minimum(half, np.minimum(k, values.size - 1 - k))
    return np.asarray((total[k + reach + 1] - total[k - reach]) / (2 * reach + 1))


def _check_loading(strain: Array, stress: Array, where: str) -> None:
    """The way in must begin unloaded and stiffen the sample's answer."""
    if strain.size < FEWEST // 2 or strain[0] > 0.5 * strain[-1]:
        raise bad_test(
            "loop direction", "a loop that starts unloaded", "one that starts near its deepest place", where,
            "put the loading first; the rows may be in reversed order",
        )  # fmt: skip
    if stress.std() == 0 or np.corrcoef(strain, stress)[0, 1] < LEAST_CORRELATION:
        raise bad_test(
            "compression test", "a load that rises with compression", "one that does not", where,
            "the columns may be exchanged, or one has the wrong sign",
        )  # fmt: skip


# Fitting ------------------------------------------------------------------------------------------------------------


def energy_loss(test: CompressionTest) -> float:
    """Share of the loading's work that the unloading does not return, by the area of the loop; NaN without one.

    SettingError when the unloading returns more than was put in: the loop runs backwards.
    """
    after = test.unloading
    if test.strain.size - test.turn < FEWEST // 2 or _smoothed(test.stress)[-5:].mean() > RETURNED * test.stress.max():
        return math.nan
    work = [_work(_smoothed(test.strain[part]), _smoothed(test.stress[part])) for part in (test.loading, after)]
    loss = 1.0 + work[1] / work[0]
    if loss < NEGATIVE_LOSS:
        raise bad_test(
            "loop direction", "unloading below loading", f"{-100 * loss:.0f} % more work returned than put in",
            test.where, "the rows are in reversed order: turn them",
        )  # fmt: skip
    return min(max(loss, 0.0), 1.0)


def _work(strain: Array, stress: Array) -> float:
    return float(np.sum(0.5 * (stress[1:] + stress[:-1]) * np.diff(strain)))


def fit_layer(test: CompressionTest, name: str, kind: str = "foam", density: float = math.nan) -> LayerFit:
    """Fit s = p / (E + p / e) to the loading: modulus E [Pa] and stiffening strain e by least squares in strain.

    SettingError when the modulus is none that this kind of material can have, which is a unit mistake.
    """
    from scipy.optimize import least_squares

    if kind not in PLAUSIBLE:
        advice = "tissue cannot be cut" if kind in KINDS else "choose one"
        raise bad_test("material kind", known_names(PLAUSIBLE), repr(kind), "the command", advice)
    loss = energy_loss(test)
    strain, stress = test.strain[test.loading], np.maximum(test.stress[test.loading], 0.0)

    def law(parameters: Array) -> Array:
        modulus, limit = math.exp(parameters[0]), parameters[1]
        return stress / (modulus + stress / limit)

    secant = float(stress.max() / strain.max())
    start = (math.log(0.5 * secant), min(0.95, 1.3 * float(strain.max())))
    bounds = ((math.log(1e-4 * secant), 0.05), (math.log(100 * secant), LARGEST_E))
    found: Any = least_squares(
        lambda q: law(q) - strain, start, bounds=bounds, xtol=1e-12, ftol=1e-12, x_scale=(1, 0.1)
    )
    modulus, limit = math.exp(found.x[0]), float(found.x[1])
    _check_modulus(modulus, kind, test.where)
    rms = float(np.sqrt(np.mean((law(found.x) - strain) ** 2)))
    share = rms / float(strain.max())
    poor = f"; the law misses it by {100 * share:.0f} %" if share > POOR_FIT else ""
    source = f"fitted to {Path(test.where).name}{poor}"
    fitted = Material(
        name,
        kind,
        modulus,
        limit,
        loss,
        density,
        basis="measured",
        source=source,
        loading_time=test.loading_time,
        law_misfit=share,
    )
    return LayerFit(
        fitted, test, rms * test.thickness, share, fitted.bottoming_pressure * test.area,
        (*test.notes, *_fit_notes(fitted, share, test)),
    )  # fmt: skip


def _check_modulus(modulus: float, kind: str, where: str) -> None:
    low, high = PLAUSIBLE[kind]
    if not low <= modulus <= high:
        raise bad_test(
            f"modulus of this {kind}", f"{low / 1e6:g} to {high / 1e6:g} MPa", f"{modulus / 1e6:.3g} MPa", where,
            "check the units: N or kN, kPa or MPa, mm2 or cm2, and the thickness",
        )  # fmt: skip


def _fit_notes(fitted: Material, share: float, test: CompressionTest) -> list[str]:
    notes = []
    if share > POOR_FIT:
        notes.append(f"the law misses by {100 * share:.0f} % of the largest compression: do not use it beyond a look")
    if fitted.stiffening_strain > LARGEST_E - 1e-6:
        notes.append("stiffening was not reached: the stiffening strain is a bound, not a finding; test deeper")
    elif test.strain.max() < fitted.bottoming_strain:
        reached = f"{100 * test.strain.max():.0f} % of {100 * fitted.bottoming_strain:.0f} %"
        notes.append(f"the test ended before bottoming out ({reached} strain): that load is carried on beyond the data")
    if math.isnan(fitted.energy_loss):
        notes.append("no whole unloading was recorded: the energy loss is unknown")
    return notes

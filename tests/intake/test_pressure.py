"""Pressure tables and sensor layouts: what is read, left out, and refused in one line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from jointload.errors import PressureError
from jointload.intake.pressure import PressureRecording, SensorLayout, read_layout, read_pressure

RATE, ROWS = 200.0, 120
AREA = 200.0
"""[mm2]"""


def layout_file(folder: Path) -> Path:
    """Four rows of three sensors."""
    lines = ["sensor,along_mm,outward_mm,area_mm2"]
    lines += [f"S{r}{c},{20 + 60 * r},{20 * (c - 1)},{AREA:g}" for r in range(4) for c in range(3)]
    path = folder / "layout.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def layout(tmp_path: Path) -> SensorLayout:
    return read_layout(layout_file(tmp_path))


def loads(layout: SensorLayout) -> np.ndarray:
    """(K, N) kPa: one push of half a second, each sensor with its own height."""
    time = np.arange(ROWS) / RATE
    push = np.sin(np.pi * np.clip((time - 0.1) / 0.4, 0.0, 1.0)) ** 2
    return (150.0 + 20.0 * np.arange(len(layout.sensors)))[:, None] * push


def written(
    folder: Path,
    layout: SensorLayout,
    said: np.ndarray,
    unit: str = "kPa",
    mend: Callable[[list[str]], list[str]] = lambda lines: lines,
) -> Path:
    lines = ["time," + ",".join(layout.sensors), "s," + ",".join([unit] * len(layout.sensors))]
    for k, row in enumerate(said.T):
        lines.append(f"{k / RATE:.4f}," + ",".join(f"{value:.3f}" for value in row))
    path = folder / "pressure.csv"
    path.write_text("\n".join(mend(lines)) + "\n", encoding="utf-8")
    return path


def checks(insole: PressureRecording) -> dict[str, str]:
    return {finding.check: finding.evidence for finding in insole.findings if finding.severity != "pass"}


def test_force_is_pressure_times_area(tmp_path: Path, layout: SensorLayout) -> None:
    insole = read_pressure(written(tmp_path, layout, loads(layout)), "right", layout)
    expected = 1e3 * loads(layout).sum(axis=0) * AREA * 1e-6
    np.testing.assert_allclose(insole.force, expected, atol=1e-2)
    assert insole.rate == pytest.approx(RATE)
    assert not checks(insole)


@pytest.mark.parametrize(("unit", "factor"), [("kPa", 1.0), ("N/cm2", 0.1), ("N", AREA * 1e-3)])
def test_every_unit_says_the_same(tmp_path: Path, layout: SensorLayout, unit: str, factor: float) -> None:
    insole = read_pressure(written(tmp_path, layout, factor * loads(layout), unit), "left", layout)
    np.testing.assert_allclose(insole.pressure, 1e3 * loads(layout), atol=6.0)


def test_dead_and_stuck_sensors_are_left_out(tmp_path: Path, layout: SensorLayout) -> None:
    said = loads(layout)
    said[4] = 0.0
    said[7, 50:] = said[7, 50]
    insole = read_pressure(written(tmp_path, layout, said), "right", layout)
    assert insole.left_out == ("S11", "S21")
    assert np.isnan(insole.pressure[[4, 7]]).all()
    assert "dead" in " ".join(f.evidence for f in insole.findings)
    assert "stuck" in " ".join(f.evidence for f in insole.findings)
    assert np.isfinite(insole.force).all()


def test_a_sensor_under_a_hollow_arch_is_not_dead(tmp_path: Path, layout: SensorLayout) -> None:
    said = loads(layout)
    said[3:9] *= 0.02
    said[4] = 0.0
    assert not read_pressure(written(tmp_path, layout, said), "right", layout).left_out


def test_saturation_is_found(tmp_path: Path, layout: SensorLayout) -> None:
    insole = read_pressure(written(tmp_path, layout, np.minimum(loads(layout), 300.0)), "right", layout)
    assert "S31, S32" in checks(insole)["pressure_saturated"] or "S32" in checks(insole)["pressure_saturated"]
    assert "S00" not in checks(insole)["pressure_saturated"]


def test_missing_rows_are_counted(tmp_path: Path, layout: SensorLayout) -> None:
    path = written(tmp_path, layout, loads(layout), mend=lambda lines: lines[:30] + lines[40:])
    assert checks(read_pressure(path, "right", layout))["pressure_rows"].startswith("10 rows missing in 1 places")


def test_empty_cells_stay_unknown(tmp_path: Path, layout: SensorLayout) -> None:
    def emptied(lines: list[str]) -> list[str]:
        cells = lines[40].split(",")
        return [*lines[:40], ",".join([*cells[:5], "", *cells[6:]]), *lines[41:]]

    insole = read_pressure(written(tmp_path, layout, loads(layout), mend=emptied), "right", layout)
    assert np.argwhere(np.isnan(insole.pressure)).tolist() == [[4, 38]]


@pytest.mark.parametrize(
    ("unit", "factor", "mend", "words"),
    [
        ("N/cm2", 10.0, None, "correct the unit"),
        ("N", 1e-3, None, "correct the unit"),
        ("psi", 1.0, None, "one of kPa, N, N/cm2"),
        ("kPa", 1.0, lambda lines: [*lines[:50], lines[20], *lines[50:]], "seconds that grow from row to row"),
        ("kPa", 1.0, lambda lines: [*lines[:50], lines[50] + ",1", *lines[51:]], "13 columns, found 14 in row 51"),
        ("kPa", 1.0, lambda lines: [*lines[:50], lines[50].replace(",", ",x", 1), *lines[51:]], "in row 51"),
        ("kPa", 1.0, lambda lines: [lines[0].replace("S00", "Q00"), *lines[1:]], "Q00"),
        ("kPa", 1.0, lambda lines: lines[:8], "20 rows or more"),
        ("kPa", 1.0, lambda lines: ["t" + lines[0], *lines[1:]], "the columns time, then one a sensor"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(
    tmp_path: Path,
    layout: SensorLayout,
    unit: str,
    factor: float,
    mend: Callable[[list[str]], list[str]] | None,
    words: str,
) -> None:
    path = written(tmp_path, layout, factor * loads(layout), unit, mend or (lambda lines: lines))
    with pytest.raises(PressureError) as problem:
        read_pressure(path, "right", layout)
    assert words in str(problem.value)
    assert "pressure.csv" in str(problem.value)
    assert "\n" not in str(problem.value)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("area_mm2", "area", "the columns sensor, along_mm, outward_mm, area_mm2"),
        ("S00,20", "S00,2000", "along_mm: expected -10 to 380"),
        ("S01,", "S00,", "each once"),
        ("S00,20", "S00,far", "along_mm: expected a number"),
    ],
)
def test_a_wrong_layout_is_refused(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = layout_file(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PressureError) as problem:
        read_layout(path)
    assert words in str(problem.value)


def test_a_missing_file_names_its_option(tmp_path: Path, layout: SensorLayout) -> None:
    with pytest.raises(PressureError, match="--pressure-layout"):
        read_layout(tmp_path / "none.csv")
    with pytest.raises(PressureError, match="--pressure-left"):
        read_pressure(tmp_path / "none.csv", "left", layout)

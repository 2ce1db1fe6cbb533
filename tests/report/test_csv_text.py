"""Texts that a spreadsheet would run stay texts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from jointload.report.files.joined import write_joined
from jointload.report.words.csv_text import shielded, write_rows, write_table


@pytest.mark.parametrize("text", ["=HYPERLINK(1)", "@x", "+SUM(1)", "-1+2", "\t=1", " =1"])
def test_a_formula_is_shielded_and_stays_readable(text: str) -> None:
    assert shielded(text) == f"'{text}"
    assert shielded(shielded(text)) == shielded(text)


@pytest.mark.parametrize("cell", ["-12.5", "+3", "-1e-3", "R_knee", "", 4.0, None])
def test_numbers_and_words_stay_as_they_are(cell: object) -> None:
    assert shielded(cell) == cell


def test_a_table_keeps_its_numbers(tmp_path: Path) -> None:
    table = pd.DataFrame({"where": ["=1+1", "heel"], "value": [-1.23456789, np.nan]})
    write_table(table, tmp_path / "t.csv", "%.3f")
    assert (tmp_path / "t.csv").read_text(encoding="utf-8") == "where,value\n'=1+1,-1.235\nheel,\n"


@pytest.mark.parametrize("digits", [None, "%.3f"])
def test_rows_are_written_as_a_table_is_to_the_byte(tmp_path: Path, digits: str | None) -> None:
    columns = ("word", "number", "either", "count", "lacking")
    rows = [
        ("=1+1", -1.23456789, 0.1 + 0.2, 3, None),
        ('a "b", c\nd', np.nan, "a word", 4, "é −"),
        ("-2.5", np.float64(1e-9), np.float64(2.0) / 3.0, 0, ""),
        ("", np.inf, np.nan, -7, "x"),
    ]
    write_rows(columns, rows, tmp_path / "rows.csv", digits)
    write_table(pd.DataFrame(rows, columns=list(columns)), tmp_path / "table.csv", digits)
    assert (tmp_path / "rows.csv").read_bytes() == (tmp_path / "table.csv").read_bytes()


def test_the_joined_tables_of_a_study_hold_none(tmp_path: Path) -> None:
    trial = {"trial": "one", "rider": "@SUM(1)", "status": "refused", "reason": "=1+1"}
    write_joined(tmp_path, tmp_path, [trial], {}, "run.json", parquet=False)
    assert (tmp_path / "trials.csv").read_text(encoding="utf-8").splitlines()[1] == "one,'@SUM(1),refused,'=1+1"

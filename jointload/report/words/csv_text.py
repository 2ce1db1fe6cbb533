"""Tables as CSV that no spreadsheet takes for formulas."""

from __future__ import annotations

import csv
import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A cell that begins with one of these is run by common spreadsheets (OWASP, CSV Injection)."""
SHIELD = "'"
"""Stands before such a cell: a spreadsheet shows the text behind it, and so does an editor."""


def shielded(cell: Any) -> Any:
    """A cell with SHIELD before it where it begins like a formula and is no number."""
    if not isinstance(cell, str) or not cell.lstrip(" ").startswith(FORMULA_STARTS) or _is_number(cell):
        return cell
    return SHIELD + cell


def write_table(table: pandas.DataFrame, path: Path, digits: str | None = None) -> None:
    """Write a table whose texts are shielded; digits : format of its numbers."""
    texts = {name: table[name].map(shielded) for name in table.columns if not _is_numeric(table[name])}
    safe = table.assign(**texts) if texts else table
    safe.to_csv(path, index=False, float_format=digits)


def write_rows(columns: Sequence[str], rows: Sequence[Sequence[Any]], path: Path, digits: str | None = None) -> None:
    """`write_table` of rows, to the byte: who writes nothing else need not wait for a library of tables."""
    cells = [_texts([row[k] for row in rows], digits) for k in range(len(columns))]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator=os.linesep)
        writer.writerow(columns)
        writer.writerows(zip(*cells, strict=True))


def _texts(column: list[Any], digits: str | None) -> list[str]:
    """A column as it stands in a file: numbers in `digits` where all of it is numbers."""
    if column and all(isinstance(cell, (int, float)) for cell in column):
        return [
            "" if cell != cell else digits % cell if digits and isinstance(cell, float) else str(cell)
            for cell in column
        ]
    return ["" if cell is None or cell != cell else str(shielded(cell)) for cell in column]


def _is_numeric(column: Any) -> bool:
    from pandas.api.types import is_numeric_dtype

    return bool(is_numeric_dtype(column))


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True

"""The joined numbers of a study as one Parquet data set in parts, for tables that do not fit in memory."""

from __future__ import annotations

import csv
import itertools
import shutil
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

PARQUET = "metrics.parquet"
"""A folder of parts, which readers of Parquet take for one table."""
LANDINGS = 500
"""Of one part (choice: some ten megabytes, and a landing is never cut)."""
NUMBERS = ("value", "low", "high")
Row = Mapping[str, str]


def write_parts(out: Path, table: Path) -> None:
    """Write the rows of a joined table, `value` as a number and `word` beside it, in the place of an earlier set."""
    draft = out / f".{PARQUET}.draft"
    draft.mkdir()
    try:
        with table.open(encoding="utf-8", newline="") as file:
            rows = csv.DictReader(file)
            names = [*(rows.fieldnames or ()), "word"]
            for number, part in enumerate(_parts(rows)):
                _write(draft / f"part-{number:05d}.parquet", names, part)
        remove_parts(out)
        draft.replace(out / PARQUET)
    except OSError:
        shutil.rmtree(draft, ignore_errors=True)
        raise


def remove_parts(out: Path) -> None:
    """Of an earlier run."""
    if (out / PARQUET).is_dir():
        shutil.rmtree(out / PARQUET)
    else:
        (out / PARQUET).unlink(missing_ok=True)


def _parts(rows: Iterator[Row]) -> Iterator[Iterator[Row]]:
    """The rows of LANDINGS landings at a time; every part is to be read before the next."""
    numbered = _numbered(rows)
    for _, part in itertools.groupby(numbered, lambda pair: pair[0] // LANDINGS):
        yield (row for _, row in part)


def _numbered(rows: Iterator[Row]) -> Iterator[tuple[int, Row]]:
    """Each row with the number of its landing."""
    for number, (_, landing) in enumerate(itertools.groupby(rows, lambda row: row["trial"])):
        for row in landing:
            yield number, row


def _write(path: Path, names: Sequence[str], rows: Iterator[Row]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = pa.schema([(name, pa.float64() if name in NUMBERS else pa.string()) for name in names])
    columns: dict[str, list[Any]] = {name: [] for name in names}
    for row in rows:
        values: dict[str, Any] = dict(row) | {name: _number(row[name]) for name in NUMBERS}
        values["word"] = row["value"] if row["value"] and values["value"] is None else None
        for name in names:
            columns[name].append(values[name])
    pq.write_table(pa.table(columns, schema=schema), path)


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None

"""conditions.csv: which recording of a rider was made on which shape."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from jointload.errors import SettingError, expected_found, not_read
from jointload.insole.shape.asked import Given, Parts
from jointload.insole.shape.compression import LENGTH_UNITS, parse_quantity
from jointload.insole.shape.geometry import parse_wedge
from jointload.insole.shape.shape_file import read_shape

COLUMNS = ("file", "shape")
SHAPES = "flat, medial:4, lateral:6 full, lift:8mm or an insole.toml"


@dataclass(frozen=True)
class Row:
    """One recording, and the shape it was made on; None for the flat insole."""

    file: Path
    shape: Given | None


def read_conditions(path: str | Path, side: str) -> tuple[Row, ...]:
    """Read a table with the columns file and shape, one row a recording under the foot `side`; files are looked for
    beside the table. SettingError names the first line that cannot be used."""
    path = Path(path)
    try:
        lines = [line for line in path.read_text(encoding="utf-8-sig").splitlines() if not line.startswith("#")]
    except (OSError, UnicodeDecodeError) as problem:
        line = not_read("conditions", "a readable CSV file", problem, path, "correct the path")
        raise SettingError(line) from None
    table = csv.DictReader(lines, skipinitialspace=True)
    if tuple(table.fieldnames or ()) != COLUMNS:
        found = ",".join(table.fieldnames or ()) or "nothing"
        raise SettingError(
            expected_found("conditions", f"the columns {','.join(COLUMNS)}", found, str(path), "correct the first line")
        )
    rows = [_row(path, number, line, side) for number, line in enumerate(table, start=2)]
    if not rows:
        raise SettingError(expected_found("conditions", "one row a recording", "none", str(path), "add the recordings"))
    return tuple(rows)


def _row(path: Path, number: int, line: dict[str, str], side: str) -> Row:
    name, shape = (str(line.get(column) or "").strip() for column in COLUMNS)
    where = f"{path}, row {number}"
    file = path.parent / name
    if not name or not file.is_file():
        raise SettingError(expected_found("conditions", "a recording beside the table", repr(name), where, "mend it"))
    try:
        return Row(file, shape_of(path.parent, shape, side))
    except SettingError as problem:
        raise SettingError(f"{where}: {problem}") from None


def shape_of(folder: Path, text: str, side: str) -> Given | None:
    """The shape of one cell of the table, None for the flat insole; SettingError lists what may be named."""
    kind, _, amount = text.partition(":")
    if text == "flat":
        return None
    if kind in ("medial", "lateral"):
        size, _, length = amount.partition(" ")
        return parse_wedge(f"{kind}:{size}", side, length.strip() or "heel")
    if kind == "lift":
        return Parts(side, lift=parse_quantity(amount, LENGTH_UNITS, "heel lift"))
    if text.endswith(".toml"):
        return read_shape(folder / text, side)
    raise SettingError(expected_found("shape", SHAPES, repr(text), "the table", "name the shape"))

"""The tables of a recording day, as texts.

Recordings are never written; only trials.csv, plan.csv and the tables of a fitting are.
"""

from __future__ import annotations

import contextlib
import csv
import io
import shutil
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from jointload.errors import SettingError, expected_found, not_read
from jointload.study.manifest import TRIAL_COLUMNS

PLAN_FILE = "plan.csv"
PLAN_COLUMNS = ("rider", "condition", "landings")
FIRST_COLUMNS = ("file", "rider", "kind", "condition")
MOST_PLANNED = 99
Want = tuple[str, str, int]
"""Rider, condition, and how many usable landings are wanted of it."""


def clear_drafts(folder: Path, made: Path) -> None:
    """Remove what a killed write left beside a table, and beside what is made in the folder `made`."""
    for draft in (*folder.glob(".*.csv-*.draft"), *made.glob(".*.draft")):
        with contextlib.suppress(OSError):
            draft.unlink()
    for scratch in made.glob(".fit_*"):
        shutil.rmtree(scratch, ignore_errors=True)


# trials.csv ---------------------------------------------------------------------------------------------------------


def with_trial(text: str, cells: Mapping[str, str]) -> str:
    """trials.csv with the row of one landing of one file; its earlier row gets the new cells in its place, else the row
    is the last. A table without a head gets one.

    cells : column -> text, of file, rider, kind, condition and landing at least
    """
    head, rows, comma = _split(text)
    head = head or list(FIRST_COLUMNS)
    wanted = [name for name, value in cells.items() if name not in head and value and (name, value) != ("landing", "1")]
    head = head + wanted
    place = next((k for k, row in enumerate(rows) if _is_of(row, head, cells["file"], cells["landing"])), None)
    earlier = rows[place] if place is not None else []
    row = [*earlier, *[""] * (len(head) - len(earlier))]
    for k, name in enumerate(head):
        row[k] = cells.get(name, row[k])
    if place is None:
        rows.append(row)
    else:
        rows[place] = row
    return _joined(head, rows, comma)


def without_trial(text: str, file: str) -> str:
    """trials.csv without the rows of a file."""
    head, rows, comma = _split(text)
    return _joined(head, [row for row in rows if not _is_of(row, head, file)], comma) if head else text


def _is_of(row: Sequence[str], head: Sequence[str], file: str, landing: str = "") -> bool:
    cells = dict(zip(head, (cell.strip() for cell in row), strict=False))
    own = cells.get("landing", "") or "1"
    return cells.get("file", "").replace("\\", "/") == file and landing in ("", own)


def _split(text: str) -> tuple[list[str], list[list[str]], str]:
    """Head, rows and delimiter of a table as `study.manifest` reads it."""
    text = text.removeprefix("\ufeff")
    first = text.partition("\n")[0]
    comma = ";" if ";" in first and "," not in first else ","
    rows = [row for row in csv.reader(text.splitlines(), delimiter=comma) if row]
    if not rows:
        return [], [], comma
    head = [name.strip() for name in rows[0]]
    if not set(FIRST_COLUMNS) <= set(head) <= set(TRIAL_COLUMNS):
        found = ", ".join(head)
        raise SettingError(
            expected_found(
                "trials.csv", ", ".join(TRIAL_COLUMNS), found, "its first line", "correct it, nothing is lost"
            )
        )
    return head, rows[1:], comma


def _joined(head: Sequence[str], rows: Iterable[Sequence[str]], comma: str) -> str:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=comma, lineterminator="\n")
    writer.writerow(head)
    writer.writerows([*row, *[""] * (len(head) - len(row))] for row in rows)
    return out.getvalue()


# plan.csv -----------------------------------------------------------------------------------------------------------


def read_wants(path: Path) -> tuple[Want, ...]:
    """The rows of a plan.csv; SettingError names the first line that cannot be used."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        raise SettingError(not_read("plan", "a readable CSV file", problem, path, "correct the path")) from None
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    comma = ";" if lines and ";" in lines[0] and "," not in lines[0] else ","
    rows = [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=comma)]
    if not rows or tuple(rows[0]) != PLAN_COLUMNS:
        found = ",".join(rows[0]) if rows else "nothing"
        advice = "correct the first line"
        raise SettingError(expected_found("plan", f"the columns {','.join(PLAN_COLUMNS)}", found, str(path), advice))
    wants = [_want(row, f"{path}, row {number}") for number, row in enumerate(rows[1:], start=2)]
    twice = next((want[:2] for k, want in enumerate(wants) if want[:2] in [w[:2] for w in wants[:k]]), None)
    if twice is not None:
        found = f"{', '.join(twice)} twice"
        raise SettingError(expected_found("plan", "each rider and condition once", found, str(path), "join the rows"))
    return tuple(wants)


def _want(row: Sequence[str], where: str) -> Want:
    if len(row) != len(PLAN_COLUMNS) or not row[0] or not row[1]:
        raise SettingError(
            expected_found("plan", "a rider, a condition and a number", ",".join(row), where, "correct it")
        )
    if not row[2].isdigit() or not 1 <= int(row[2]) <= MOST_PLANNED:
        expected = f"a whole number of landings, 1 to {MOST_PLANNED}"
        raise SettingError(expected_found("plan", expected, repr(row[2]), where, "correct it"))
    return row[0], row[1], int(row[2])


def wants_text(wants: Iterable[Want]) -> str:
    """The same as plan.csv."""
    return _joined(PLAN_COLUMNS, [(rider, condition, str(count)) for rider, condition, count in wants], ",")


def conditions_text(rows: Iterable[tuple[str, str]]) -> str:
    """conditions.csv of (file, shape)."""
    return _joined(("file", "shape"), list(rows), ",")

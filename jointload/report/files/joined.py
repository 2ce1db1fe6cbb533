"""The joined tables of a study, copied row by row from the trials' result folders, so that memory stays flat."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from jointload.report.files.parquet_parts import remove_parts, write_parts
from jointload.report.files.sole_table import COLUMNS as REGION_COLUMNS
from jointload.report.words.csv_text import shielded
from jointload.report.words.whole_file import whole_file

METRICS, QUALITY, REGIONS, TRIALS_TABLE = "metrics.csv", "quality.csv", "regions.csv", "trials.csv"
OF_TRIAL = ("trial", "rider", "group", "task", "condition", "style")
"""Columns of a trial before each of its rows."""
METRIC_CELLS = ("side", "foot", "quantity", "value", "unit", "low", "high", "note")
Row = list[str]


def write_joined(
    out: Path,
    results: Path,
    trials: Sequence[Mapping[str, str]],
    record: Mapping[str, Any],
    record_name: str,
    parquet: bool,
) -> None:
    """Write trials.csv, metrics.csv, quality.csv, regions.csv where a trial has one, and the record, each whole or not
    at all, the record last.

    trials : a row each, in the order they are to stand in; those of status 'analysed' have a folder in `results`
    """
    done = [trial for trial in trials if trial["status"] == "analysed"]
    _write_table(out / TRIALS_TABLE, tuple(trials[0]), (list(trial.values()) for trial in trials))
    _write_table(out / METRICS, (*OF_TRIAL, *METRIC_CELLS), _joined(results, done, METRICS, _metric_cells))
    finding = ("check", "severity", "where", "evidence", "advice")
    _write_table(
        out / QUALITY, (*OF_TRIAL, *finding), _joined(results, done, QUALITY, lambda _, row: [row[c] for c in finding])
    )
    pressed = [trial for trial in done if (results / trial["trial"] / REGIONS).is_file()]
    if pressed:
        region = tuple(name for name in REGION_COLUMNS if name not in OF_TRIAL)
        cells = _joined(results, pressed, REGIONS, lambda _, row: [row[c] for c in region])
        _write_table(out / REGIONS, (*OF_TRIAL, *region), cells)
    else:
        (out / REGIONS).unlink(missing_ok=True)
    if parquet:
        write_parts(out, out / METRICS)
    else:
        remove_parts(out)
    text = json.dumps(record, indent=1, ensure_ascii=False) + "\n"
    with whole_file(out / record_name) as file:
        file.write(text)


def doubted(out: Path, check: str) -> dict[str, str]:
    """Trial -> evidence and advice of this check, where it is no pass, in the joined findings that were written."""
    with (out / QUALITY).open(encoding="utf-8", newline="") as rows:
        return {
            row["trial"]: f"{row['evidence']}; {row['advice']}"
            for row in csv.DictReader(rows)
            if row["check"] == check and row["severity"] != "pass"
        }


def foot_of(side: str, back_foot: str) -> str:
    """back or front where the rider's stance is known, '' for the body and where it is not."""
    if not side or not back_foot:
        return ""
    return "back" if side == back_foot else "front"


def _metric_cells(trial: Mapping[str, str], row: Mapping[str, str]) -> Row:
    foot = foot_of(row["side"], trial["back_foot"])
    return [foot if name == "foot" else row[name] for name in METRIC_CELLS]


def _joined(
    results: Path,
    trials: Sequence[Mapping[str, str]],
    file: str,
    cells: Callable[[Mapping[str, str], Mapping[str, str]], Row],
) -> Iterator[Row]:
    for trial in trials:
        own = [trial[name] for name in OF_TRIAL]
        with (results / trial["trial"] / file).open(encoding="utf-8", newline="") as rows:
            for row in csv.DictReader(rows):
                yield own + cells(trial, row)


def _write_table(path: Path, head: Sequence[str], rows: Iterator[Row]) -> None:
    with whole_file(path) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([shielded(name) for name in head])
        writer.writerows([shielded(cell) for cell in row] for row in rows)

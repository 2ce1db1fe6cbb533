"""The result folder of one landing, which appears whole or not at all."""

from __future__ import annotations

import contextlib
import json
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from jointload.analysis import Analysis
from jointload.errors import OutputError, expected_found
from jointload.report.derived_c3d import write_derived
from jointload.report.page import render_page
from jointload.report.tables import all_findings, change_table, metrics_table, quality_table, run_record, series_table

DIGITS = "%.7g"
"""Seven digits carry every measurement and hide rounding."""
RECORD = "run.json"
"""The file by which an earlier result is known."""


def write_report(
    analysis: Analysis,
    out: str | Path,
    whatif: Any = None,
    inputs: Mapping[str, Path] | None = None,
    now: str | None = None,
) -> Path:
    """Write report.html, metrics.csv, series.csv, quality.csv, derived.c3d, run.json, and whatif.csv when there is one.

    An earlier result in `out` is replaced; any other content is left alone: OutputError. Returns the folder.
    inputs : role -> file, for their SHA-256;  now : the time in UTC to write into run.json
    """
    out = Path(out).absolute()
    _check_replaceable(out)
    made = [folder for folder in out.parents if not folder.exists()]
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=f".{out.name}-", dir=out.parent) as scratch:
            draft = Path(scratch) / "new"
            draft.mkdir()
            _fill(draft, analysis, whatif, inputs, now)
            _put_in_place(draft, out, Path(scratch) / "old")
    except OSError as problem:
        raise _unwritable(out, problem) from None
    finally:
        _remove_empty(made)
    return out


def _fill(draft: Path, analysis: Analysis, whatif: Any, inputs: Mapping[str, Path] | None, now: str | None) -> None:
    metrics_table(analysis).to_csv(draft / "metrics.csv", index=False, float_format=DIGITS)
    series_table(analysis).to_csv(draft / "series.csv", index=False, float_format=DIGITS)
    quality_table(all_findings(analysis, whatif)).to_csv(draft / "quality.csv", index=False)
    if whatif is not None:
        change_table(analysis, whatif).to_csv(draft / "whatif.csv", index=False, float_format=DIGITS)
    write_derived(analysis, draft / "derived.c3d")
    (draft / "report.html").write_text(render_page(analysis, whatif), encoding="utf-8")
    record = run_record(analysis, inputs, now)
    if whatif is not None:
        record["whatif"] = {"shape": whatif.shape_text, "side": whatif.side, "draws": whatif.draws, "seed": whatif.seed}
    (draft / RECORD).write_text(json.dumps(record, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")


def _check_replaceable(out: Path) -> None:
    """OutputError when `out` is a file, or a folder that holds anything but an earlier result."""
    try:
        if out.is_dir():
            unknown = any(out.iterdir()) and not (out / RECORD).is_file()
            found = f"other files and no {RECORD}" if unknown else ""
        else:
            found = "a file" if out.exists() else ""
    except OSError as problem:
        raise _unwritable(out, problem) from None
    if found:
        expected = "an empty or new folder, or an earlier result"
        raise OutputError(expected_found("result folder", expected, found, str(out), "choose another --out"))


def _put_in_place(draft: Path, out: Path, aside: Path) -> None:
    """Rename the draft to `out`; an earlier result is set aside first and comes back if the rename fails."""
    if not out.exists():
        draft.replace(out)
        return
    out.replace(aside)
    try:
        draft.replace(out)
    except OSError:
        aside.replace(out)
        raise


def _remove_empty(folders: list[Path]) -> None:
    """Remove those folders that are empty, the deepest first."""
    for folder in folders:
        with contextlib.suppress(OSError):
            folder.rmdir()


def _unwritable(out: Path, problem: OSError) -> OutputError:
    where = problem.strerror or str(problem)
    return OutputError(
        expected_found("result folder", "a place that can be written", where, str(out), "choose another --out")
    )

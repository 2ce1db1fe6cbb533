"""Runs a study: every landing to its own result folder, and all of them to joined tables.

A run can be killed at any moment and started again: a result folder appears whole or not at all, a whole one is kept
while nothing it depends on has changed, and the joined tables are made anew from the folders in the order of their
names. The same study gives the same bytes, however often it was interrupted.
"""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import uuid4

from jointload.errors import InputError, OutputError, StudyError, expected_found
from jointload.intake.c3d import read_recording
from jointload.report.files.folder import RECORD
from jointload.report.files.joined import write_joined
from jointload.report.files.paper import write_methods
from jointload.report.study_pages.study_words import methods_paragraph, of_recordings
from jointload.study.beneath import BENEATH_COLUMNS, unreadable_tables
from jointload.study.manifest import Study, survey
from jointload.study_run.trial import Job, Outcome, program, settle

STUDY_RECORD = "study.json"
TRIALS = "trials"
LOCK = ".lock"
DRAFTS = ".drafts-"
CLEARINGS, CLEARING_SECONDS = 20, 0.1
"""A file that was being opened as its folder went can need a second clearing (choice)."""
Watch = Callable[[Iterator[Outcome], str, int], Iterable[Outcome]]
"""Shows progress: outcomes as they come, what is being done, how many there will be."""


@dataclass(frozen=True)
class StudyRun:
    """The result folder, how many trials were analysed or left as they were, why others were refused, whose standing
    trial looks like somebody else's, and the verdict on each recording."""

    out: Path
    analysed: int
    unchanged: int
    refused: dict[str, str]
    strangers: dict[str, str]
    verdicts: dict[str, str]


def checked_study(folder: str | Path) -> Study:
    """The study; StudyError with every fault of its tables, and of its recordings where there is any."""
    study, faults = survey(folder)
    if faults:
        raise StudyError(faults + _unreadable(study))
    return study


def _unreadable(study: Study) -> list[str]:
    """Recordings and pressure tables that cannot be read, told together with the faults of the tables."""
    faults = []
    for path in sorted({study.folder / trial.file for trial in study.trials}):
        if path.is_file():
            try:
                read_recording(path)
            except InputError as problem:
                faults.append(str(problem))
    return faults + unreadable_tables(study.folder, (trial.beneath for trial in study.trials))


def settled(outcomes: Iterable[Outcome], jobs: Iterable[Job]) -> Iterator[Outcome]:
    """The outcomes, each with its result in its place."""
    by_name = {job.name: job for job in jobs}
    for outcome in outcomes:
        settle(by_name[outcome.name], outcome)
        yield outcome


def every_outcome(outcomes: Iterable[Outcome]) -> dict[str, Outcome]:
    """Trial -> its outcome; OutputError where one says that no other can do better."""
    found = {}
    for outcome in outcomes:
        if outcome.status == "stop":
            raise OutputError(f"{outcome.reason}; what is done stays, run the same command again afterwards")
        found[outcome.name] = outcome
    return found


@contextmanager
def claimed(out: Path) -> Iterator[None]:
    """A folder of results that is ours, for this run alone; drafts of a killed run are cleared away."""
    known = {STUDY_RECORD, LOCK, TRIALS}
    try:
        if out.exists() and (not out.is_dir() or (any(out.iterdir()) and not known & {p.name for p in out.iterdir()})):
            expected = "an empty or new folder, or that of an earlier run"
            raise OutputError(
                expected_found("result folder", expected, "other files", str(out), "choose another --out")
            )
        (out / TRIALS).mkdir(parents=True, exist_ok=True)
        with (out / LOCK).open("w") as lock:
            _lock(lock, out)
            for draft in [*out.glob(".*.draft"), *(out / TRIALS).glob(".*"), *out.glob(f"{DRAFTS}*")]:
                _clear(draft) if draft.is_dir() else draft.unlink()
            yield
    except OSError as problem:
        found = problem.strerror or str(problem)
        advice = "make room or choose another --out; what is done stays"
        raise OutputError(
            expected_found("result folder", "a place that can be written", found, str(out), advice)
        ) from None


def verdicts_of(out: Path, names: Iterable[str]) -> dict[str, str]:
    """The verdict on the recording of each trial that was analysed, as its run.json has it."""
    records = {name: json.loads((out / TRIALS / name / RECORD).read_text(encoding="utf-8")) for name in names}
    return {name: record.get("verdict", {}).get("text", "not told") for name, record in records.items()}


@contextmanager
def drafted(out: Path) -> Iterator[Path]:
    """A folder in which the workers of this run write, gone with all that is in it before the run ends."""
    place = out / f"{DRAFTS}{uuid4().hex}"
    place.mkdir()
    try:
        yield place
    finally:
        _clear(place)


def _clear(folder: Path) -> None:
    """Remove a folder that a worker which was given up may still write in: under its new name it finds it no more."""
    aside = folder.with_name(f"{DRAFTS}cleared-{uuid4().hex}")
    try:
        folder.replace(aside)
    except OSError:  # some systems rename no folder with open files in it
        aside = folder
    for _ in range(CLEARINGS):
        shutil.rmtree(aside, ignore_errors=True)
        if not aside.exists():
            return
        time.sleep(CLEARING_SECONDS)


def _lock(lock: Any, out: Path) -> None:
    """Held by the system until this process ends, however it ends."""
    try:
        import fcntl
    except ImportError:
        return
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        advice = "wait for it, or choose another --out"
        raise OutputError(expected_found("result folder", "no other run", "one at work", str(out), advice)) from None


def drop_others(trials: Path, kept: set[str]) -> None:
    """Results of trials that are refused now, or no longer in trials.csv."""
    for folder in sorted(trials.iterdir()):
        if folder.name not in kept and (folder / RECORD).is_file():
            shutil.rmtree(folder)


def join(study: Study, out: Path, refused: dict[str, str], full: bool, parquet: bool) -> None:
    """Write the joined tables of a study and its record."""
    rows = []
    for trial in study.landings:
        entry = study.riders[trial.rider]
        rows.append(
            {
                "trial": trial.name,
                "file": trial.file,
                "rider": trial.rider,
                "group": entry.group,
                "task": trial.task,
                "condition": trial.condition,
                "style": trial.style,
                "back_foot": entry.rider.stance,
                **{role: trial.beneath.get(role, "") for role in BENEATH_COLUMNS},
                "status": "refused" if trial.name in refused else "analysed",
                "reason": refused.get(trial.name, ""),
            }
        )
    record = {
        "study": study.plan.name,
        "program": program(),
        "settings": study.plan.settings.as_dict(),
        "draws": study.plan.draws,
        "full": full,
        "riders": len(study.riders),
        "landings": len(rows),
        "refused": len(refused),
    }
    analysed = [out / TRIALS / str(row["trial"]) for row in rows if row["status"] == "analysed"]
    items = of_recordings(analysed)
    write_methods(out, methods_paragraph(items), items.items())
    write_joined(out, out / TRIALS, rows, record, STUDY_RECORD, parquet)


def require_parquet() -> None:
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        advice = "pip install 'jointload[parquet]', or leave out --parquet"
        raise StudyError([expected_found("--parquet", "the package pyarrow", "none", "this Python", advice)]) from None

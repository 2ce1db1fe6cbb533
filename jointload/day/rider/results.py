"""A trial's result folder, written by the very functions of a study run, and the intervals of its numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from jointload.analysis import Analysis
from jointload.day.rider.verdict import Record, numbers_of
from jointload.errors import InputError
from jointload.study_run.batch import claimed, drafted
from jointload.study_run.trial import Job, Outcome, analysis_of, limit_threads, run, settle
from jointload.uncertainty.intervals import with_intervals
from jointload.whole_study import run_study

DRAWS = 200
"""Draws of the intervals on the page where study.toml asks for none (choice: an interval's ends within a tenth)."""


@dataclass(frozen=True)
class Result:
    """A landing whose result is to be written, and the quantities whose intervals are told."""

    job: Job
    quantities: tuple[str, ...]


def written(asked: Result) -> Record:
    """Write the result folder as a study run would, unless it stands, and tell the numbers with their intervals.

    status : analysed, unchanged, refused, or stop where nothing can be written now, with the reason
    """
    seen: list[Analysis] = []
    out = Path(asked.job.out).parent
    try:
        with claimed(out), drafted(out) as drafts:
            job = replace(asked.job, drafts=str(drafts))
            outcome = run(job, seen.append)
            settle(job, outcome)
    except InputError as problem:
        outcome = Outcome(asked.job.name, "stop", str(problem))
    except OSError as problem:
        outcome = Outcome(asked.job.name, "stop", problem.strerror or str(problem))
    told: Record = {"status": outcome.status, "reason": outcome.reason, "numbers": []}
    if outcome.status in ("analysed", "unchanged"):
        analysis = seen[0] if seen else analysis_of(asked.job)
        whole = analysis if asked.job.draws else with_intervals(analysis, DRAWS, shares=False)
        told["numbers"] = numbers_of(whole, asked.quantities)
    return told


def whole_day(folder: str) -> dict[str, Any]:
    """The study run at the end of the day, in words; a fault of the study is told, line by line."""
    limit_threads()
    try:
        done = run_study(folder)
    except InputError as problem:
        return {"text": "", "faults": list(getattr(problem, "faults", (str(problem),)))}
    text = f"{done.analysed + done.unchanged} landings in {done.out.name}/, {len(done.refused)} refused"
    return {"text": text, "faults": [], "refused": done.refused, "strangers": done.strangers}

"""The work of a study whose trials are many names of few recordings: in each process a recording is read and analysed
once, with draws; of a further name its hashes, files, record and draft are made.

Stands beside many_landings.py, so that workers of a cluster can import it.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

from jointload.analysis import Analysis
from jointload.intake.session import Session
from jointload.report.files.folder import RECORD
from jointload.study_run import trial
from jointload.study_run.trial import Job, Outcome

ENDED = "ended"
"""Folder beside the study in which each process notes, in a file of its own, the trials it brought to an end."""
_sessions: dict[str, Session] = {}
_files: dict[tuple[str, str], dict[str, bytes]] = {}
_session_of, _analysis_of, _files_of = trial.session_of, trial.analysis_of, trial._files


def recording_of(name: str) -> str:
    """rider_a_2-00017.c3d is a further name of rider_a_2.c3d."""
    return f"{name.partition('-')[0]}.c3d"


def _session(job: Job) -> Session:
    own = recording_of(job.inputs["trial"])
    if own not in _sessions:
        _sessions[own] = _session_of(replace(job, inputs=job.inputs | {"trial": own}))
    return _sessions[own]


def _made(job: Job) -> bool:
    return (recording_of(job.inputs["trial"]), job.condition) in _files


def _fill(job: Job, analysis: Analysis) -> Callable[[Path], None]:
    key = (recording_of(job.inputs["trial"]), job.condition)
    if key not in _files:
        with tempfile.TemporaryDirectory() as scratch:
            _files_of(job, analysis)(Path(scratch))
            _files[key] = {path.name: path.read_bytes() for path in Path(scratch).iterdir()}
    record = json.loads(_files[key][RECORD]) | {"address": trial.address_of(job), "study": trial.portable(job)}
    files = _files[key] | {RECORD: (json.dumps(record, indent=1, ensure_ascii=False) + "\n").encode()}

    def fill(draft: Path) -> None:
        for name, content in files.items():
            (draft / name).write_bytes(content)

    return fill


@cache
def _once() -> None:
    """From now on in this process."""
    trial.session_of, trial._files = _session, _fill
    trial.analysis_of = lambda job: None if _made(job) else _analysis_of(job)


def inspect(job: Job) -> Outcome:
    _once()
    return trial.inspect(job)


def run(job: Job) -> Outcome:
    _once()
    outcome = trial.run(job)
    place = Path(job.folder).with_name(ENDED)
    place.mkdir(exist_ok=True)
    with (place / str(os.getpid())).open("a", encoding="utf-8") as notes:
        notes.write(f"{job.name} {outcome.status}\n")
    return outcome

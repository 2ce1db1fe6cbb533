"""Repeats one result of a study from its run.json and its inputs, and says whether every byte is the same."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jointload.errors import StudyError, expected_found, not_read
from jointload.report.files.folder import RECORD
from jointload.report.files.study_trial import hashes
from jointload.study.manifest import SETTINGS_FILE
from jointload.study_run.trial import Job, file_hash, limit_threads, program, write


@dataclass(frozen=True)
class Rerun:
    """The new result folder; differing: files whose bytes are not those of the record;  program: made then and now."""

    out: Path
    differing: tuple[str, ...]
    program_then: str
    program_now: str


def rerun(record: str | Path, out: str | Path, folder: str | Path | None = None) -> Rerun:
    """Analyse again what run.json describes, into a new folder.

    folder : the study folder; without it the one in whose subfolders run.json lies
    StudyError when run.json is none of a study's, or an input is no longer the same.
    """
    record, out = Path(record), Path(out)
    known = _read(record)
    place = Path(folder) if folder else _study_of(record)
    job = Job(**known["study"], folder=str(place.absolute()), out=str(out.absolute()), program=known["program"])
    _check_inputs(job, known, record)
    limit_threads()
    write(job, out)
    then = known["outputs"] | {RECORD: file_hash(record)}
    now = hashes(out) | {RECORD: file_hash(out / RECORD)}
    differing = sorted(name for name in then | now if then.get(name) != now.get(name))
    return Rerun(out, tuple(differing), known["program"], program())


def _read(record: Path) -> dict[str, Any]:
    advice = "give the run.json of a trial that `jointload study run` wrote"
    try:
        known = json.loads(record.read_text(encoding="utf-8"))
    except OSError as problem:
        raise StudyError([not_read("record", "a readable file", problem, record, advice)]) from None
    except ValueError as problem:
        raise StudyError([expected_found("record", "JSON", problem, str(record), advice)]) from None
    if not isinstance(known, dict) or not {"study", "program", "inputs", "outputs"} <= set(known):
        raise StudyError([expected_found("record", "a trial of a study", "another record", str(record), advice)])
    return known


def _study_of(record: Path) -> Path:
    for place in record.absolute().parents:
        if (place / SETTINGS_FILE).is_file():
            return place
    advice = "name the study folder with --study"
    raise StudyError([expected_found("study", "the study folder above run.json", "none", str(record), advice)])


def _check_inputs(job: Job, known: dict[str, Any], record: Path) -> None:
    faults = []
    for role, recorded in known["inputs"].items():
        path = job.path(role)
        found = file_hash(path) if path.is_file() else "no such file"
        if found != recorded["sha256"]:
            expected, advice = f"SHA-256 {recorded['sha256']}", f"bring back the file of which {record} was made"
            faults.append(expected_found(f"{role} {path.name}", expected, found, str(path), advice))
    if faults:
        raise StudyError(faults)

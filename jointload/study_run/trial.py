"""One trial of a study, from its files to its result folder; it is analysed again only when something it depends on has
changed.

A job is plain data that travels to any process or machine which sees the same folders.
"""

from __future__ import annotations

import hashlib
import json
import platform
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from importlib import metadata
from pathlib import Path
from typing import Any, Literal

from jointload.analysis import Analysis, analyse
from jointload.errors import InputError, OutputError, expected_found
from jointload.foot.bore import with_feet
from jointload.intake.rider import Rider
from jointload.intake.session import Session, read_session
from jointload.intake.shoe import Shoe
from jointload.landing.landed import Landing
from jointload.modeldata import shipped_folder
from jointload.report.files.folder import RECORD
from jointload.report.files.study_trial import hashes, trial_files
from jointload.report.words.tables import LIBRARIES
from jointload.report.words.whole_folder import check_replaceable, put_in_place, write_draft, write_whole
from jointload.settings import Settings
from jointload.study.manifest import Study, Trial
from jointload.uncertainty.intervals import with_intervals

Status = Literal["analysed", "unchanged", "readable", "refused", "stop"]
_ONE_AT_A_TIME = threading.Lock()
"""Figures and limits of threads belong to a process: a worker with several threads still takes one trial at a time."""


@dataclass(frozen=True)
class Job:
    """One landing and all it depends on; inputs: role -> path inside the study folder; program: who may run it;
    drafts: the folder of this run in which workers write."""

    name: str
    folder: str
    out: str
    inputs: dict[str, str]
    rider: dict[str, Any]
    settings: dict[str, Any]
    condition: str
    up: str | None
    forward: str | None
    full: bool
    draws: int
    program: str
    drafts: str = ""
    same_person: bool = False

    @property
    def result(self) -> Path:
        return Path(self.out) / self.name

    def path(self, role: str) -> Path:
        return Path(self.folder) / self.inputs[role]


@dataclass(frozen=True)
class Outcome:
    """What became of one job; 'stop' means that no other job can do better, such as on a full disk; draft: the name of
    the folder among the drafts that holds what was written."""

    name: str
    status: Status
    reason: str = ""
    draft: str = ""


def job_of(study: Study, trial: Trial, out: Path, drafts: Path, full: bool) -> Job:
    """The job of a landing; its result folder is out/<name of the trial>, workers write in `drafts`."""
    entry = study.riders[trial.rider]
    inputs = {"trial": trial.file, "labels": entry.labels} | trial.beneath
    standing = study.helper(trial, "static")
    for helper in (standing, study.helper(trial, "hip_movement")):
        if helper is not None:
            inputs[helper.kind] = helper.file
    return Job(
        name=trial.name,
        folder=str(study.folder.absolute()),
        out=str(out.absolute()),
        inputs=inputs,
        rider=asdict(entry.rider),
        settings=replace(study.plan.settings, landing=trial.landing).as_dict(),
        condition=trial.condition,
        up=study.plan.up,
        forward=study.plan.forward,
        full=full,
        draws=study.plan.draws,
        program=program(),
        drafts=str(drafts.absolute()),
        same_person=standing is not None and standing.same_person,
    )


def inspect(job: Job) -> Outcome:
    """'unchanged' when the result stands, 'readable' when the trial's files can be read, else why not."""
    return _outcome(job, "readable", _checked)


def run(job: Job, see: Callable[[Analysis], object] | None = None) -> Outcome:
    """Analyse the trial and write a draft of its result folder, unless the result stands.

    see : shown the analysis behind a new draft
    """

    def drafted(job: Job) -> str:
        analysis = analysis_of(job)
        draft = write_draft(Path(job.drafts), job.name, _files(job, analysis)).name
        if see is not None:
            see(analysis)
        return draft

    return _outcome(job, "analysed", drafted)


def settle(job: Job, outcome: Outcome) -> None:
    """Put the draft of an outcome in its place, whole. Only who runs the study does so, with the one outcome that
    counts: a worker that was given up and comes back changes nothing."""
    if outcome.draft:
        draft = Path(job.drafts) / outcome.draft
        check_replaceable(job.result, RECORD)
        put_in_place(draft, job.result, draft.with_name(f"{draft.name}-earlier"))


def write(job: Job, out: Path) -> None:
    """Analyse the trial and write its result folder at `out`."""
    write_whole(out, RECORD, _files(job, analysis_of(job)))


def analysis_of(job: Job) -> Analysis:
    """What a trial's result folder is made of."""
    plain = with_feet(analyse(session_of(job), Settings(**job.settings), variants=job.full))
    return with_intervals(plain, job.draws, shares=job.full)


def _files(job: Job, analysis: Analysis) -> Callable[[Path], None]:
    address = address_of(job)
    inputs = {role: job.path(role) for role in job.inputs if role not in ("trial", "static")}
    extra = {"address": address, "program": job.program, "study": portable(job)}
    return trial_files(analysis, job.condition, inputs, extra, job.full)


def landing_of(job: Job) -> tuple[Landing, Shoe | None]:
    """The landing of a trial, analysed anew, and the shoe it was landed in."""
    session = session_of(job)
    return analyse(session, Settings(**job.settings), variants=False).landing, session.shoe


def is_current(job: Job) -> bool:
    """Whether the result folder was made from these very inputs, settings and program, and is whole."""
    try:
        record = json.loads((job.result / RECORD).read_text(encoding="utf-8"))
        return bool(record["address"] == address_of(job) and record["outputs"] == hashes(job.result))
    except (OSError, ValueError, KeyError, TypeError):
        return False


def address_of(job: Job) -> str:
    """SHA-256 over the content of every input, the settings, the rider and the program: the same address, the same
    result."""
    content = {role: file_hash(job.path(role)) for role in sorted(job.inputs)}
    text = json.dumps({"files": content, "program": job.program} | portable(job), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def portable(job: Job) -> dict[str, Any]:
    """What a job says without the places of its folders, from which run.json can be repeated anywhere."""
    left_out = ("folder", "out", "program", "drafts")
    return {key: value for key, value in asdict(job).items() if key not in left_out}


@lru_cache(maxsize=1)
def program() -> str:
    """Version and SHA-256 of this package's code and data, and the versions of the libraries that make its numbers."""
    total = hashlib.sha256()
    package = Path(__file__).parents[1]
    for folder, pattern in ((package, "*.py"), (shipped_folder("models"), "*.*")):
        for path in sorted(folder.rglob(pattern)):
            total.update(path.relative_to(folder).as_posix().encode() + path.read_bytes())
    libraries = ", ".join(f"{name} {metadata.version(name)}" for name in LIBRARIES)
    version = f"jointload {metadata.version('jointload')} ({total.hexdigest()[:16]})"
    return f"{version}, Python {platform.python_version()}, {libraries}"


def session_of(job: Job) -> Session:
    """The recordings and tables of a job, read."""
    files: dict[str, Any] = {role: job.path(role) for role in job.inputs}
    return read_session(**files, rider=Rider(**job.rider), up=job.up, forward=job.forward, same_person=job.same_person)


def _checked(job: Job) -> str:
    session_of(job)
    return ""


def file_hash(path: Path) -> str:
    """SHA-256 of a file, read once for every size and time of change."""
    status = path.stat()
    return _hash_of(str(path), status.st_size, status.st_mtime_ns, status.st_ino)


@lru_cache(maxsize=256)
def _hash_of(path: str, *_: int) -> str:
    with Path(path).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _outcome(job: Job, done: Status, work: Callable[[Job], str]) -> Outcome:
    """Work on one trial at a time and on one thread; what goes wrong becomes the outcome. Out of memory is no fault of
    the trial alone and is raised."""
    with _ONE_AT_A_TIME:
        limit_threads()
        stop = _why_not_here(job)
        if stop:
            return Outcome(job.name, "stop", stop)
        try:
            if is_current(job):
                return Outcome(job.name, "unchanged")
            return Outcome(job.name, done, draft=work(job))
        except MemoryError:
            raise
        except OutputError as problem:
            return Outcome(job.name, "stop", str(problem))
        except InputError as problem:
            return Outcome(job.name, "refused", str(problem))
        except Exception as problem:  # one trial's fault must not cost the others
            return Outcome(job.name, "refused", f"unforeseen {type(problem).__name__}: {problem}")


def _why_not_here(job: Job) -> str:
    """Another program would mix two kinds of numbers; another file system has no recordings."""
    if job.program != program():
        advice = "install the same versions for the worker"
        return expected_found("worker", job.program, program(), "this worker's Python", advice)
    if not Path(job.folder).is_dir():
        advice = "mount it there on every machine"
        return expected_found("worker", "the study folder", "no such folder", job.folder, advice)
    return ""


@lru_cache(maxsize=1)
def limit_threads() -> Any:
    """Keep this process's linear algebra on one thread: the trials are what runs side by side."""
    from threadpoolctl import threadpool_limits

    return threadpool_limits(1)

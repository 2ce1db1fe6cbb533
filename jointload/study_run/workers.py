"""Where jobs run: in this process, in worker processes of this machine, or on a Dask cluster.

Each way takes a function and jobs and yields outcomes as they come; never more jobs are on their way than keep the
workers busy, so that memory stays flat in their number.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from jointload.errors import StudyError, expected_found
from jointload.study_run.cluster import Cluster, why_no_scheduler
from jointload.study_run.dispatch import SILENT_SECONDS, Dispatch, Silence, Tell, Work
from jointload.study_run.processes import Processes
from jointload.study_run.trial import Job, Outcome
from jointload.uncertainty.in_order import processors

Workers = Callable[[Work, Sequence[Job]], Iterator[Outcome]]
CONNECT_SECONDS = 10
NO_MEMORY = "memory ran out; nothing was written"


def usual_workers() -> int:
    """As many as the processors this process may use."""
    return processors()


def told_on_terminal(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


def in_this_process() -> Workers:
    """One trial after the other, here."""

    def done(work: Work, job: Job) -> Outcome:
        try:
            return work(job)
        except MemoryError:
            return Outcome(job.name, "refused", NO_MEMORY)

    return lambda work, jobs: (done(work, job) for job in jobs)


@contextmanager
def in_processes(
    count: int, silent_seconds: float = SILENT_SECONDS, tell: Tell = told_on_terminal
) -> Iterator[Workers]:
    """Worker processes of this machine. One that dies, or shows no sign of life for `silent_seconds`, is replaced."""
    crew, silence = Processes(count), Silence()
    try:
        yield lambda work, jobs: Dispatch(crew, silence, work, jobs, silent_seconds, tell).outcomes()
    finally:
        crew.dismiss()


@contextmanager
def on_cluster(
    address: str, silent_seconds: float = SILENT_SECONDS, tell: Tell = told_on_terminal
) -> Iterator[Workers]:
    """Workers of a Dask scheduler, as many as there are at the time. The jobs of one that is gone, or shows no sign of
    life for `silent_seconds`, are given to others."""
    advice = "start `dask scheduler` and `dask worker --nthreads 1`, and give the scheduler's address"
    if not re.fullmatch(r"(tcp|tls)://[^/]+:\d+", address):
        raise StudyError([expected_found("cluster", "tcp://HOST:PORT", repr(address), "--cluster", advice)])
    try:
        from distributed import Client
    except ImportError:
        advice = "pip install 'jointload[cluster]', or leave out --cluster"
        message = expected_found("cluster", "the package distributed", "none", "this Python", advice)
        raise StudyError([message]) from None
    why_not = why_no_scheduler(address, CONNECT_SECONDS)
    if why_not:
        raise StudyError([expected_found("cluster", "a running scheduler", why_not, address, advice)])
    with Client(address, timeout=CONNECT_SECONDS, set_as_default=False) as client:
        crew, silence = Cluster(client, address), Silence()
        yield lambda work, jobs: Dispatch(crew, silence, work, jobs, silent_seconds, tell).outcomes()

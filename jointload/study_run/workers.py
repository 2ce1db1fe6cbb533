"""Where jobs run: in this process, in worker processes of this machine, or on a Dask cluster.

Each way takes a function and jobs and yields outcomes as they come; never more jobs are on their way than keep the
workers busy, so that memory stays flat in their number.
"""

from __future__ import annotations

import itertools
import os
import re
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from jointload.errors import StudyError, expected_found
from jointload.study_run.trial import Job, Outcome

Work = Callable[[Job], Outcome]
Workers = Callable[[Work, Sequence[Job]], Iterator[Outcome]]
AHEAD = 3
"""Jobs on their way for each worker (choice): one at work, the others hide the journey."""
CONNECT_SECONDS = 10
DIED = "the worker process died, as when memory runs out; nothing was written"


def usual_workers() -> int:
    """As many as the processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def in_this_process() -> Workers:
    return lambda work, jobs: map(work, jobs)


@contextmanager
def in_processes(count: int) -> Iterator[Workers]:
    """Worker processes of this machine. Jobs on their way when one dies are tried once more, each by itself, so that
    only the guilty one is refused."""
    crew = _Crew(count)

    def run(work: Work, jobs: Sequence[Job]) -> Iterator[Outcome]:
        suspects: list[Job] = []
        remaining = list(jobs)
        while remaining:
            known, lost = set[str](), list[Job]()
            for outcome in crew.outcomes(work, remaining, count, lost):
                known.add(outcome.name)
                yield outcome
            suspects += lost
            known |= {job.name for job in lost}
            remaining = [job for job in remaining if job.name not in known]
        for job in suspects:
            lost = []
            yield from crew.outcomes(work, [job], 1, lost)
            if lost:
                yield Outcome(job.name, "refused", DIED)

    try:
        yield run
    finally:
        crew.dismiss()


class _Crew:
    """A pool of processes that is started when first needed and anew after one of them died."""

    def __init__(self, count: int) -> None:
        self.count = count
        self.pool: Any = None

    def outcomes(self, work: Work, jobs: Sequence[Job], at_once: int, lost: list[Job]) -> Iterator[Outcome]:
        """Outcomes until all are done or a worker dies; then `lost` holds the jobs that were on their way."""
        from concurrent.futures import FIRST_COMPLETED, wait
        from concurrent.futures.process import BrokenProcessPool

        waiting, under_way = iter(jobs), dict[Any, Job]()
        try:
            while True:
                for job in itertools.islice(waiting, (AHEAD if at_once > 1 else 1) * at_once - len(under_way)):
                    under_way[self._started().submit(work, job)] = job
                if not under_way:
                    return
                done, _ = wait(under_way, return_when=FIRST_COMPLETED)
                for future in done:
                    outcome = future.result()
                    del under_way[future]
                    yield outcome
        except BrokenProcessPool:
            lost += under_way.values()
            self.dismiss()

    def dismiss(self) -> None:
        if self.pool is not None:
            self.pool.shutdown(wait=True, cancel_futures=True)
            self.pool = None

    def _started(self) -> Any:
        import multiprocessing
        from concurrent.futures import ProcessPoolExecutor

        if self.pool is None:
            context = multiprocessing.get_context("spawn")
            self.pool = ProcessPoolExecutor(self.count, mp_context=context, initializer=_end_with_parent)
        return self.pool


def _end_with_parent() -> None:
    """A worker whose parent was killed ends itself: nobody else would."""
    import multiprocessing
    from multiprocessing.connection import wait

    parent = multiprocessing.parent_process()

    def watch() -> None:
        if parent is not None:
            wait([parent.sentinel])
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


@contextmanager
def on_cluster(address: str) -> Iterator[Workers]:
    """Workers of a Dask scheduler. A job whose worker dies is given to another by the scheduler."""
    advice = "start `dask scheduler` and `dask worker --nthreads 1`, and give the scheduler's address"
    if not re.fullmatch(r"(tcp|tls)://[^/]+:\d+", address):
        raise StudyError([expected_found("cluster", "tcp://HOST:PORT", repr(address), "--cluster", advice)])
    try:
        from distributed import Client
    except ImportError:
        advice = "pip install 'jointload[cluster]', or leave out --cluster"
        message = expected_found("cluster", "the package distributed", "none", "this Python", advice)
        raise StudyError([message]) from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError) as problem:
        found = " ".join(str(problem).split())
        raise StudyError([expected_found("cluster", "a running scheduler", found, address, advice)]) from None
    with client:
        yield lambda work, jobs: _submitted(client, address, work, jobs)


def _submitted(client: Any, address: str, work: Work, jobs: Sequence[Job]) -> Iterator[Outcome]:
    from distributed import as_completed
    from distributed.scheduler import KilledWorker

    waiting, named, done = iter(jobs), dict[str, str](), as_completed(loop=client.loop)

    def submit(number: int) -> None:
        for job in itertools.islice(waiting, number):
            future = client.submit(work, job, pure=False)
            named[future.key] = job.name
            done.add(future)

    submit(AHEAD * max(1, sum(client.nthreads().values())))
    for future in done:
        name = named.pop(future.key)
        if future.cancelled():
            advice = "start it and run the same command again: what is done stays"
            raise StudyError([expected_found("cluster", "a running scheduler", "it went away", address, advice)])
        problem = future.exception()
        if problem is None:
            yield future.result()
        elif isinstance(problem, KilledWorker):
            yield Outcome(name, "refused", DIED)
        else:
            raise problem
        submit(1)

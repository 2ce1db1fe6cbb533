"""Where jobs run: in this process, in worker processes of this machine, or on a Dask cluster.

Each way takes a function and jobs and yields outcomes as they come; never more jobs are on their way than keep the
workers busy, so that memory stays flat in their number.
"""

from __future__ import annotations

import itertools
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from jointload.errors import StudyError, expected_found
from jointload.study.trial import Job, Outcome

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


def in_processes(count: int) -> Workers:
    """Worker processes of this machine. Jobs on their way when one dies are tried once more, each by itself, so that
    only the guilty one is refused."""

    def run(work: Work, jobs: Sequence[Job]) -> Iterator[Outcome]:
        suspects: list[Job] = []
        remaining = list(jobs)
        while remaining:
            finished: set[str] = set()
            lost: list[Job] = []
            for outcome in _pool(work, remaining, count, lost):
                finished.add(outcome.name)
                yield outcome
            suspects += lost
            known = finished | {job.name for job in lost}
            remaining = [job for job in remaining if job.name not in known] if lost else []
        for job in suspects:
            lost = []
            yield from _pool(work, [job], 1, lost)
            if lost:
                yield Outcome(job.name, "refused", DIED)

    return run


def _pool(work: Work, jobs: Sequence[Job], count: int, lost: list[Job]) -> Iterator[Outcome]:
    """Outcomes until all are done or a worker dies; then `lost` holds the jobs that were on their way."""
    import multiprocessing
    from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
    from concurrent.futures.process import BrokenProcessPool

    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(min(count, len(jobs)), mp_context=context, initializer=_end_with_parent)
    waiting, under_way = iter(jobs), dict[Any, Job]()
    try:
        while True:
            for job in itertools.islice(waiting, AHEAD * count - len(under_way)):
                under_way[pool.submit(work, job)] = job
            if not under_way:
                return
            done, _ = wait(under_way, return_when=FIRST_COMPLETED)
            for future in done:
                outcome = future.result()
                del under_way[future]
                yield outcome
    except BrokenProcessPool:
        lost += under_way.values()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


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


def on_cluster(address: str) -> Workers:
    """Workers of a Dask scheduler. A job whose worker dies is given to another by the scheduler."""

    def run(work: Work, jobs: Sequence[Job]) -> Iterator[Outcome]:
        with _client(address) as client:
            yield from _submitted(client, address, work, jobs)

    return run


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        advice = "pip install 'jointload[cluster]', or leave out --cluster"
        raise StudyError(
            [expected_found("cluster", "the package distributed", "none", "this Python", advice)]
        ) from None
    try:
        return Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError, TypeError) as problem:
        advice = "start `dask scheduler` and `dask worker --nthreads 1`, and give the scheduler's address"
        found = " ".join(str(problem).split())
        raise StudyError([expected_found("cluster", "a running scheduler", found, address, advice)]) from None


def _submitted(client: Any, address: str, work: Work, jobs: Sequence[Job]) -> Iterator[Outcome]:
    from distributed import as_completed
    from distributed.scheduler import KilledWorker

    waiting, named, done = iter(jobs), dict[str, str](), as_completed()

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

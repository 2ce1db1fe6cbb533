"""Workers of a Dask scheduler, as many as there are at the time.

An outcome travels to the client as an event, on the worker's own stream to the scheduler: nothing is ever fetched from
a worker's memory, so that a worker which falls silent keeps nobody waiting. Each attempt is bound to one worker, so
that it is known who has what; dying, silence and new tries are the dispatch's.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import astuple
from functools import partial
from typing import Any
from uuid import uuid4

from jointload.errors import StudyError, expected_found
from jointload.study_run.dispatch import LOOK_SECONDS, Member, Work
from jointload.study_run.trial import Job, Outcome

AHEAD = 3
"""Jobs on their way for each thread of a worker (choice): one at work, the others hide the journey."""


class Cluster:
    """A crew of a scheduler's workers."""

    def __init__(self, client: Any, address: str) -> None:
        self.client, self.address = client, address
        self.topic = f"jointload-{uuid4().hex}"
        self.heard: queue.SimpleQueue[tuple[str, Outcome]] = queue.SimpleQueue()
        self.futures: dict[str, Any] = {}
        self.ended_before: set[str] = set()
        self.known: dict[str, Member] = {}
        self.looked = -LOOK_SECONDS
        client.subscribe_topic(self.topic, self._hear)

    def members(self, wanted: int) -> Mapping[str, Member]:
        if time.monotonic() - self.looked >= LOOK_SECONDS:
            try:
                found = self.client.run_on_scheduler(_roll_call())
            except (OSError, TimeoutError):
                raise self._went_away() from None
            self.known = {name: Member(AHEAD * threads, pulse) for name, (threads, pulse) in found.items()}
            self.looked = time.monotonic()
        return self.known

    def give(self, member: str, ticket: str, work: Work, job: Job) -> None:
        key = f"jointload-{ticket}"
        do = partial(_told, self.topic, ticket, work)
        self.futures[ticket] = self.client.submit(do, job, key=key, workers=[member], pure=False)

    def news(self, seconds: float) -> Iterator[tuple[str, Outcome | None]]:
        ended = {ticket for ticket, future in self.futures.items() if future.status != "pending"}
        heard = set()
        for ticket, outcome in self._heard(seconds):
            heard.add(ticket)
            self.take_back([ticket])
            yield ticket, outcome
        for ticket in (ended - heard) & self.futures.keys():
            if self._came_to_nothing(ticket):
                self.take_back([ticket])
                yield ticket, None
        self.ended_before = ended & self.futures.keys()

    def take_back(self, tickets: Iterable[str]) -> None:
        for ticket in tickets:
            future = self.futures.pop(ticket, None)
            if future is not None:
                future.release()

    def give_up(self, member: str) -> None:
        """Nothing: it is the scheduler's, and gets jobs again when it comes back."""

    def _hear(self, event: tuple[float, Any]) -> None:
        ticket, *parts = event[1]
        self.heard.put((ticket, Outcome(*parts)))

    def _heard(self, seconds: float) -> Iterator[tuple[str, Outcome]]:
        try:
            yield self.heard.get(timeout=seconds)
            while True:
                yield self.heard.get_nowait()
        except queue.Empty:
            return

    def _came_to_nothing(self, ticket: str) -> bool:
        """An attempt that ended without an outcome; one that has just ended may still be heard of."""
        from distributed.scheduler import KilledWorker

        future = self.futures[ticket]
        if future.status == "cancelled":
            raise self._went_away()
        if future.status == "error":
            problem = future.exception()
            if not isinstance(problem, KilledWorker | MemoryError):
                raise problem
            return True
        return ticket in self.ended_before

    def _went_away(self) -> StudyError:
        advice = "start it and run the same command again: what is done stays"
        message = expected_found("cluster", "a running scheduler", "it went away", self.address, advice)
        return StudyError([message])


def _told(topic: str, ticket: str, work: Work, job: Job) -> None:
    """Do the job on a worker and let the outcome travel at once."""
    from distributed import get_worker

    outcome = work(job)
    get_worker().log_event(topic, [ticket, *astuple(outcome)])


def why_no_scheduler(address: str, seconds: float) -> str:
    """Why no scheduler answers at an address, '' where one does. Asked before there is a client, because one that could
    not connect keeps trying and ends in tracebacks of its own."""
    import asyncio
    import logging

    from distributed import Security, rpc

    async def asked() -> None:
        security = Security().get_connection_args("client")
        async with rpc(address, timeout=2 * seconds, connection_args=security) as there:
            await there.identity()

    told = logging.getLogger("distributed")
    level = told.level
    told.setLevel(logging.CRITICAL)  # what it says of an address that is wrong is said here in one line
    try:
        asyncio.run(asyncio.wait_for(asked(), seconds))
    except TimeoutError:
        return f"nobody who answered within {seconds:g} s"
    except Exception as problem:  # whatever may listen there instead can answer anything
        return " ".join(f"{type(problem).__name__} {problem}".split())
    finally:
        told.setLevel(level)
    return ""


def _roll_call() -> Callable[..., dict[str, tuple[int, object]]]:
    """Runs on the scheduler, which needs no jointload: a function within a function travels whole."""

    def call(dask_scheduler: Any) -> dict[str, tuple[int, object]]:
        return {
            address: (worker.nthreads, worker.last_seen if worker.status.name == "running" else worker.status.name)
            for address, worker in dask_scheduler.workers.items()
        }

    return call

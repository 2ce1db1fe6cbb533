"""Hands jobs to workers that may die, fall silent, come back or be added while the jobs run.

A worker that is gone, or silent for too long, is given up and its jobs go to others. Whoever ends a job first counts:
the same job gives the same result, and only who asked for it puts it in its place.
"""

from __future__ import annotations

import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol
from uuid import uuid4

from jointload.study_run.trial import Job, Outcome

Work = Callable[[Job], Outcome]
Tell = Callable[[str], object]
"""Shows one line to whoever started the run."""
SILENT_SECONDS = 30.0
"""A worker that shows no sign of life for so long is given up (choice): long beside a swapping machine's pauses."""
START_SECONDS = 180.0
"""The same for one that is being started where the system tells nothing about it (choice)."""
LOOK_SECONDS = 0.5
"""How often the workers are looked at (choice)."""
DEATH, SILENCE, TOO_MUCH = 3, 1, 9
"""A job is refused after three deaths of workers or nine silences over it (choice): silence is seldom its fault."""
DIED = "one worker after the other died or fell silent over it, as when memory runs out; nothing was written"


@dataclass(frozen=True)
class Member:
    """A worker as it is now.

    room : jobs it may have on their way;  pulse : changes while it is well, None before it has come up
    """

    room: int
    pulse: object


class Crew(Protocol):
    """Workers of one kind. A ticket names one attempt at a job."""

    def members(self, wanted: int) -> Mapping[str, Member]:
        """Who is there now; `wanted`: more than so many would find nothing to do."""

    def give(self, member: str, ticket: str, work: Work, job: Job) -> None:
        """Start an attempt; a member that is gone meanwhile is no longer among the members."""

    def news(self, seconds: float) -> Iterable[tuple[str, Outcome | None]]:
        """What ended within so many seconds: tickets and outcomes, None where the attempt came to nothing."""

    def take_back(self, tickets: Iterable[str]) -> None:
        """Nobody waits for these attempts any more."""

    def give_up(self, member: str) -> None:
        """This member is taken for dead."""


class Silence:
    """How long each member of a crew has been silent [s], and who is given up. Time in which nobody looked, as when the
    whole machine slept or this process was stopped, does not count."""

    def __init__(self) -> None:
        self.pulses: dict[str, object] = {}
        self.seconds: dict[str, float] = {}
        self.given_up: set[str] = set()
        self.looked = time.monotonic()

    def look(self, members: Mapping[str, Member]) -> None:
        now = time.monotonic()
        passed = min(now - self.looked, 2 * LOOK_SECONDS)
        before, self.looked = self.seconds, now
        same = {name for name, member in members.items() if name in before and self.pulses[name] == member.pulse}
        self.seconds = {name: before[name] + passed if name in same else 0.0 for name in members}
        self.pulses = {name: member.pulse for name, member in members.items()}
        self.given_up &= same


class Dispatch:
    """One round of jobs for a crew; `silence` is what is known of it from the rounds before."""

    def __init__(
        self, crew: Crew, silence: Silence, work: Work, jobs: Sequence[Job], silent_seconds: float, tell: Tell
    ) -> None:
        self.crew, self.work, self.tell, self.silent_seconds = crew, work, tell, silent_seconds
        self.waiting = deque(jobs)
        self.unfinished = {job.name for job in jobs}
        self.jobs: dict[str, Job] = {}
        """Of every attempt whose outcome would still be taken, by its ticket."""
        self.held: dict[str, list[str]] = {}
        """Tickets of the attempts that are waited for, by the member who makes them, in the order they were given."""
        self.losses: Counter[str] = Counter()
        self.silence, self.forsaken = silence, False

    def outcomes(self) -> Iterator[Outcome]:
        """Each job's outcome as it comes; none waits for one worker."""
        try:
            while self.unfinished:
                yield from self._look()
                self._hand_out()
                for ticket, outcome in self.crew.news(LOOK_SECONDS):
                    yield from self._ended(ticket, outcome)
        finally:
            self.crew.take_back([ticket for tickets in self.held.values() for ticket in tickets])

    def _look(self) -> Iterator[Outcome]:
        self.members = self.crew.members(len(self.unfinished))
        self.silence.look(self.members)
        for name in self.held.keys() - self.members.keys():
            yield from self._lose(name, "a worker was lost", DEATH)
        for name, seconds in self.silence.seconds.items():
            starting = self.silence.pulses[name] is None
            limit = START_SECONDS if starting else self.silent_seconds
            if seconds >= limit and name not in self.silence.given_up:
                self.silence.given_up.add(name)
                yield from self._lose(name, f"a worker was silent for {limit:g} s and is given up", SILENCE)
                self.crew.give_up(name)
                self.members = self.crew.members(len(self.unfinished))
        forsaken = not self.members.keys() - self.silence.given_up
        if forsaken and not self.forsaken:
            self.tell("no worker is there; the study waits for one")
        self.forsaken = forsaken

    def _lose(self, member: str, words: str, blame: int) -> Iterator[Outcome]:
        """The member's jobs go to others, first in the row; one over which too many were lost is refused."""
        tickets = self.held.pop(member, [])
        self.crew.take_back(tickets)
        theirs = {1: "its trial is done by others"}.get(len(tickets), f"its {len(tickets)} trials are done by others")
        self.tell(f"{words}; {theirs}" if tickets else words)
        for ticket in reversed(tickets):
            yield from self._again(self.jobs[ticket], blame)

    def _again(self, job: Job, blame: int) -> Iterator[Outcome]:
        self.losses[job.name] += blame
        if self.losses[job.name] < TOO_MUCH:
            self.waiting.appendleft(job)
        else:
            self._close(job.name)
            yield Outcome(job.name, "refused", DIED)

    def _hand_out(self) -> None:
        """To whoever has most room. A job over which a worker was lost goes alone to one who has nothing else, so that
        it can harm no other job."""
        able = [name for name in self.members if name not in self.silence.given_up]
        while self.waiting:
            suspect = self.waiting[0].name in self.losses
            free = [name for name in able if self._room(name) >= (self.members[name].room if suspect else 1)]
            if not free:
                return
            self._give(max(free, key=self._room), self.waiting.popleft())
        self._even_out(able)

    def _even_out(self, able: Sequence[str]) -> None:
        """Towards the end: who has nothing takes over what another has not begun yet."""
        for name in able:
            busiest = max(self.held, key=lambda other: len(self.held[other]), default=name)
            if not self.held.get(name) and len(self.held.get(busiest, ())) > 1:
                ticket = self.held[busiest].pop()
                self.crew.take_back([ticket])
                self._give(name, self.jobs[ticket])

    def _room(self, member: str) -> int:
        held = self.held.get(member, [])
        if any(self.jobs[ticket].name in self.losses for ticket in held):
            return 0
        return self.members[member].room - len(held)

    def _give(self, member: str, job: Job) -> None:
        ticket = uuid4().hex
        self.jobs[ticket] = job
        self.held.setdefault(member, []).append(ticket)
        self.crew.give(member, ticket, self.work, job)

    def _ended(self, ticket: str, outcome: Outcome | None) -> Iterator[Outcome]:
        """Of one who was given up only what went well counts: its place may be what is wrong."""
        job = self.jobs.get(ticket)
        waited_for = any(ticket in tickets for tickets in self.held.values())
        if job is None or not (waited_for or (outcome and outcome.status not in ("refused", "stop"))):
            return
        if outcome is None:
            self._drop(ticket)
            yield from self._again(job, DEATH)
        else:
            self._close(job.name)
            yield outcome

    def _drop(self, ticket: str) -> None:
        for tickets in self.held.values():
            if ticket in tickets:
                tickets.remove(ticket)

    def _close(self, name: str) -> None:
        """The job is done: nobody waits for any attempt at it."""
        self.unfinished.discard(name)
        tickets = [ticket for ticket, job in self.jobs.items() if job.name == name]
        for ticket in tickets:
            self._drop(ticket)
            del self.jobs[ticket]
        self.crew.take_back(tickets)
        if name in self.losses:
            self.waiting = deque(job for job in self.waiting if job.name != name)

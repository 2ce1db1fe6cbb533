"""Worker processes that die, are stopped and come back; a made crew for what real ones do too seldom."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import pytest
from made_study import every_byte, ran_sample
from troubled import drawn, troubled, worker_processes

from jointload.errors import OutputError
from jointload.report.words.whole_folder import write_draft
from jointload.study_run.dispatch import DIED, Dispatch, Member, Silence, Work
from jointload.study_run.trial import Job, Outcome
from jointload.study_run.workers import in_processes
from jointload.whole_study import run_study

SILENT = 3.0


@pytest.mark.skipif(not Path("/proc/self/stat").is_file(), reason="processes are stopped as Linux does")
def test_processes_are_killed_and_stopped_at_drawn_moments_and_the_study_ends_the_same(tmp_path: Path) -> None:
    study, here = ran_sample(tmp_path, times=2)
    lines = list[str]()
    with in_processes(3, SILENT, lines.append) as workers:
        troubles = drawn(5, ("kill", "stop", "kill"), 2.0)
        with troubled(troubles, worker_processes, lambda: None, 5):
            done = run_study(study, tmp_path / "there", workers)
    assert done.analysed == 12 and not done.refused
    assert every_byte(tmp_path / "there") == every_byte(here)
    assert [path.name for path in (tmp_path / "there").glob(".*")] == [".lock"]


def stop_once(job: Job) -> Outcome:
    """The first to come to it is stopped for good, as if its cable were pulled."""
    mark = Path(job.folder) / "stopped"
    if job.name == "b" and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGSTOP)
    return Outcome(job.name, "analysed")


def run_out_of_memory(job: Job) -> Outcome:
    if job.name == "b":
        raise MemoryError
    return Outcome(job.name, "analysed")


@pytest.mark.skipif(not Path("/proc/self/stat").is_file(), reason="processes are stopped as Linux does")
def test_a_stopped_process_is_given_up_in_a_line(tmp_path: Path) -> None:
    lines = list[str]()
    with in_processes(2, SILENT, lines.append) as workers:
        found = sorted(outcome.name for outcome in workers(stop_once, made_jobs("abcd", str(tmp_path))))
    assert found == list("abcd")
    assert lines == ["a worker was silent for 3 s and is given up; its trial is done by others"]


def test_a_trial_without_memory_is_tried_again_and_then_refused() -> None:
    lines = list[str]()
    with in_processes(2, tell=lines.append) as workers:
        found = {outcome.name: outcome for outcome in workers(run_out_of_memory, made_jobs("abcd"))}
    assert found.pop("b") == Outcome("b", "refused", DIED)
    assert {outcome.status for outcome in found.values()} == {"analysed"}
    assert lines == 3 * ["a worker was lost; its trial is done by others"]


def made_jobs(names: str, folder: str = "") -> list[Job]:
    return [Job(name, folder, "", {}, {}, {}, "", None, None, False, 0, "") for name in names]


class Made:
    """A crew whose turns are written down: who is there, with how much room. Each ends one attempt a turn."""

    def __init__(self, turns: list[dict[str, int]]) -> None:
        self.turns = iter(turns)
        self.given: list[tuple[str, str]] = []
        self.tickets: dict[str, tuple[str, str]] = {}
        self.now: dict[str, Member] = {}

    def members(self, wanted: int) -> Mapping[str, Member]:
        rooms = next(self.turns, None)
        if rooms is not None:
            self.now = {name: Member(room, object()) for name, room in rooms.items()}
        return self.now

    def give(self, member: str, ticket: str, work: Work, job: Job) -> None:
        self.given.append((member, job.name))
        self.tickets[ticket] = (member, job.name)

    def news(self, seconds: float) -> Iterator[tuple[str, Outcome | None]]:
        first = {member: ticket for ticket, (member, _) in reversed(self.tickets.items()) if member in self.now}
        for member, ticket in first.items():
            _, name = self.tickets.pop(ticket)
            yield ticket, Outcome(name, "analysed", draft=member)

    def take_back(self, tickets: Iterable[str]) -> None:
        for ticket in tickets:
            self.tickets.pop(ticket, None)

    def give_up(self, member: str) -> None:
        """It may come back."""


def shown(crew: Made, names: str) -> tuple[list[Outcome], list[str]]:
    lines = list[str]()
    dispatch = Dispatch(
        crew, Silence(), lambda job: Outcome(job.name, "analysed"), made_jobs(names), 30.0, lines.append
    )
    return list(dispatch.outcomes()), lines


def test_a_member_that_is_added_gets_jobs() -> None:
    crew = Made([{"one": 1}, {"one": 1, "two": 2}])
    outcomes, lines = shown(crew, "abcd")
    assert sorted(outcome.name for outcome in outcomes) == list("abcd") and not lines
    assert [member for member, _ in crew.given].count("two") == 2


def test_jobs_of_a_lost_member_go_to_others_one_by_one() -> None:
    """What was on its way with a worker that died may have killed it: nothing else travels beside it."""
    crew = Made([{"one": 3}, {}, {"two": 3}])
    crew.news = lambda seconds: [] if "one" in crew.now else Made.news(crew, seconds)  # type: ignore[method-assign]
    outcomes, lines = shown(crew, "abcd")
    assert sorted(outcome.name for outcome in outcomes) == list("abcd")
    assert lines == [
        "a worker was lost; its 3 trials are done by others",
        "no worker is there; the study waits for one",
    ]
    assert crew.given[3:] == [("two", name) for name in "abcd"]


def test_an_idle_member_takes_over_what_another_has_not_begun() -> None:
    crew = Made([{"one": 3}, {"one": 3, "two": 3}])
    outcomes, _ = shown(crew, "abc")
    assert sorted((outcome.name, outcome.draft) for outcome in outcomes) == [("a", "one"), ("b", "one"), ("c", "two")]


def test_who_comes_too_late_leaves_no_trace(tmp_path: Path) -> None:
    place = tmp_path / "drafts"
    with pytest.raises(OutputError, match="No such file"):
        write_draft(place, "trial", lambda draft: None)
    place.mkdir()

    def cleared_meanwhile(draft: Path) -> None:
        draft.rmdir()
        place.rename(tmp_path / "aside")
        (draft / "metrics.csv").write_text("late", encoding="utf-8")

    with pytest.raises(OutputError, match="No such file"):
        write_draft(place, "trial", cleared_meanwhile)
    assert [path.name for path in tmp_path.rglob("*")] == ["aside"]

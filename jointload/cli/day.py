"""A recording day beside the plate: `jointload day`."""

from __future__ import annotations

import contextlib
import math
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jointload.cli.app import app
from jointload.cli.command import Command
from jointload.errors import SettingError

if TYPE_CHECKING:
    from jointload.day.engine import Day

SAMPLE = "sample_c3d"
REPLAYED = "{}_day"
"""Folder into which a study is played where none is named."""
LOCAL, PORT = "127.0.0.1", 8471
LOOK_SECONDS = 0.5
NOT_SETTLED = ("checking", "intervals")
"""What a recording that is being worked on is called."""
CALM_SECONDS = 3.0
"""All is done when nothing more has begun for so long (choice)."""
FAILED, STOPPED = 1, 130


@app.command(cls=Command)
def day(
    folder: Annotated[
        Path | None,
        typer.Argument(help="study folder, or where the cameras' computer saves its C3D files", show_default=False),
    ] = None,
    plan: Annotated[
        Path | None, typer.Option(help="CSV of rider, condition, landings; plan.csv in the folder without it")
    ] = None,
    replay: Annotated[
        Path | None, typer.Option(help="a study folder, such as sample_c3d, played as if it were recorded now")
    ] = None,
    speed: Annotated[float, typer.Option(min=0.1, max=1000, help="how many times quicker a replay is")] = 1.0,
    ask: Annotated[bool, typer.Option("--ask", help="a replay asks whose each recording is")] = False,
    until_done: Annotated[
        bool, typer.Option("--until-done", help="end by itself when the plan, or the replay, is complete")
    ] = False,
    host: Annotated[
        str | None,
        typer.Option(help="listen there, such as 0.0.0.0 for a tablet; this machine alone without it. Needs a key"),
    ] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="where the page listens; 0 for any free one")] = PORT,
    poll: Annotated[bool, typer.Option("--poll", help="look for files by the second, for network shares")] = False,
) -> None:
    """Stand beside a recording: a verdict on every file as it appears, the plan, a fitting, the protocol. Ctrl-C ends
    the day and writes results and protocol."""
    from jointload.day.engine import Day, DayOptions
    from jointload.day_page.guard import Guard, new_key
    from jointload.day_page.server import listening, require_packages, serving

    require_packages()
    replay = _known(replay)
    options = DayOptions(plan=plan, replay=replay, speed=speed, ask=ask, poll=poll)
    folder = _folder(folder, replay)
    with contextlib.closing(listening(host or LOCAL, port)) as door:
        guard = Guard(host or LOCAL, door.getsockname()[1], new_key() if host else "")
        with Day(folder, options) as started, serving(started, folder, guard, door):
            for address in guard.addresses():
                typer.echo(f"Open {address}")
            typer.echo("Ctrl-C ends the day and writes results and protocol.", err=True)
            with _stopped_politely():
                _follow(started, until_done)
            _end(started)


def _known(replay: Path | None) -> Path | None:
    """The sample that ships stands in for a sample_c3d that is not here."""
    from jointload.modeldata import shipped_folder

    if replay is not None and not replay.exists() and str(replay) == SAMPLE:
        return shipped_folder(SAMPLE)
    return replay


def _folder(folder: Path | None, replay: Path | None) -> Path:
    if folder is not None:
        return folder
    if replay is None:
        raise SettingError("day needs FOLDER (study folder, or where the recordings appear); see jointload day --help")
    return Path(REPLAYED.format(replay.name))


@contextlib.contextmanager
def _stopped_politely() -> Iterator[None]:
    """Ctrl-C and a system that ends the program end the day, not the program."""

    def stop(number: int, frame: Any) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    except KeyboardInterrupt:
        typer.echo("", err=True)
    finally:
        signal.signal(signal.SIGTERM, before)


def _follow(day: Day, until_done: bool) -> None:
    """A line a verdict, until the day is over."""
    told: dict[str, tuple[Any, ...]] = {}
    revision, done_since = 0, math.inf
    while time.monotonic() - done_since < CALM_SECONDS:
        now = day.wait_for_change(revision, LOOK_SECONDS)
        if now > revision:
            revision, state = now, day.state()
            _tell_verdicts(state, told)
            done = until_done and _is_done(state)
            done_since = min(done_since, time.monotonic()) if done else math.inf


def _tell_verdicts(state: dict[str, Any], told: dict[str, tuple[Any, ...]]) -> None:
    """A line each verdict that is new since `told`, which keeps them."""
    for trial in state["trials"]:
        verdict = (trial["version"], trial["word"], trial["reason"])
        if trial["word"] and told.get(trial["name"]) != verdict:
            told[trial["name"]] = verdict
            typer.echo(f"{trial['at']} {trial['file']}: {trial['word']}: {trial['reason']}")


def _is_done(state: dict[str, Any]) -> bool:
    """Whether all that was to come has come and is worked out."""
    fitting, replay = state["fitting"], state["replay"]
    judged = not any(trial["status"] in NOT_SETTLED for trial in state["trials"])
    if (fitting and fitting["working"]) or not judged or state["arriving"] or state["questions"]:
        return False
    if not replay:
        return bool(state["plan"]["complete"])
    come = {trial["file"] for trial in state["trials"]}
    return not replay["playing"] and len(come) >= replay["done"]


def _end(day: Day) -> None:
    """Results and protocol; a second Ctrl-C leaves them for the next start."""
    typer.echo("Writing results and protocol", err=True)
    day.finish()
    revision = 0
    try:
        while (end := day.state()["end"])["stage"] not in ("done", "failed"):
            revision = day.wait_for_change(revision, LOOK_SECONDS)
    except KeyboardInterrupt:
        typer.echo("jointload: stopped; what is recorded stays, start the day again for the protocol", err=True)
        raise typer.Exit(STOPPED) from None
    for fault in end["faults"]:
        typer.echo(fault, err=True)
    for each in end["files"]:
        typer.echo(f"Wrote {day.file(each['key'])}")
    typer.echo(end["text"])
    if end["stage"] == "failed":
        raise typer.Exit(FAILED)

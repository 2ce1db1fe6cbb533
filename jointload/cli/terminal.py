"""What a terminal shows while work goes on, and plain lines where there is none."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import typer

from jointload.errors import OutputError, expected_found

if TYPE_CHECKING:
    from jointload.analysis import Analysis
    from jointload.intake.recording import Finding

T = TypeVar("T")
DONE, WARNINGS, BAD_INPUT = 0, 1, 2
"""Exit codes."""


@contextmanager
def step(words: str) -> Iterator[None]:
    """A moving line on a terminal, a plain one elsewhere."""
    if sys.stderr.isatty():
        with console(stderr=True).status(words):
            yield
    else:
        typer.echo(words, err=True)
        yield


@contextmanager
def counted(words: str, total: int) -> Iterator[Callable[[int], None]]:
    """A progress bar on a terminal, a plain line elsewhere; the caller tells how many more of `total` are done."""
    if not sys.stderr.isatty():
        typer.echo(words, err=True)
        yield lambda done: None
        return
    from rich.progress import Progress

    with Progress(console=console(stderr=True), transient=True) as bar:
        task = bar.add_task(words, total=total)
        yield lambda done: bar.update(task, advance=done)


def watched(files: Sequence[T], words: str) -> Iterable[T]:
    """The files or other things, with a progress bar on a terminal and nothing elsewhere."""
    if not sys.stderr.isatty():
        return files
    from rich.progress import track

    return track(files, words, transient=True, console=console(stderr=True))


def console(stderr: bool = False) -> Any:
    """A console that leaves the breaking of lines to the terminal."""
    from rich.console import Console

    return Console(stderr=stderr, soft_wrap=True)


def print_findings(where: str, findings: tuple[Finding, ...]) -> None:
    """A table of findings, the worst first."""
    from rich.table import Table

    table = Table(title=where, title_justify="left")
    for column in ("severity", "check", "where", "evidence", "advice"):
        table.add_column(column, overflow="fold")
    for finding in sorted(findings, key=lambda f: ("refuse", "warn", "pass").index(f.severity)):
        table.add_row(finding.severity, finding.check, finding.where, finding.evidence, finding.advice)
    console().print(table)


def same_person(analysis: Analysis) -> bool:
    """Whether nothing says that the standing trial is somebody else's."""
    return not any(f.check == "same_person" and f.severity == "refuse" for f in analysis.findings)


def print_same_person(analysis: Analysis) -> None:
    """Say before all else that the standing trial looks like somebody else's."""
    for finding in analysis.findings:
        if finding.check == "same_person" and finding.severity != "pass":
            typer.echo(f"{finding.where}: {finding.evidence}; {finding.advice}", err=True)


def write_new(path: Path, text: str) -> None:
    """Write a file that must not exist yet."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as problem:
        advice = "choose a new name in a folder you may write to"
        raise OutputError(expected_found("output", "a new file", problem.strerror, str(path), advice)) from None

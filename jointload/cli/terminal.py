"""What a terminal shows while work goes on, and plain lines where there is none."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import typer

from jointload.errors import OutputError, expected_found, not_written
from jointload.sources import in_words

if TYPE_CHECKING:
    from jointload.analysis import Analysis
    from jointload.insole.fitting.fit import Fit
    from jointload.insole.fitting.whatif import WhatIf
    from jointload.intake.recording import Finding

T = TypeVar("T")
DONE, WARNINGS, BAD_INPUT = 0, 1, 2
"""Exit codes."""
SEVERITIES = {"refuse": "refused", "warn": "to look at", "pass": "passed"}
"""Of a finding, the worst first, and how many of them are counted."""


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
    """The files or other things, with a progress bar on a terminal, a plain line elsewhere where there are several."""
    if not sys.stderr.isatty():
        if len(files) > 1:
            typer.echo(words, err=True)
        return files
    from rich.progress import track

    return track(files, words, transient=True, console=console(stderr=True))


def console(stderr: bool = False) -> Any:
    """A console that leaves the breaking of lines to the terminal."""
    from rich.console import Console

    return Console(stderr=stderr, soft_wrap=True)


def print_findings(where: str, findings: tuple[Finding, ...], every: bool = False) -> None:
    """A line a finding that needs a look, the worst first; those that passed are counted, or told, too."""
    counts = {severity: sum(f.severity == severity for f in findings) for severity in SEVERITIES}
    told = [f"{counts[severity]} {words}" for severity, words in SEVERITIES.items() if counts[severity]]
    typer.echo(f"{where}: {', '.join(told) or 'nothing to check'}")
    shown = [f for f in findings if every or f.severity != "pass"]
    for finding in sorted(shown, key=lambda f: list(SEVERITIES).index(f.severity)):
        what = f"{finding.severity:6}  {finding.check.replace('_', ' ')}, {finding.where}: {in_words(finding.evidence)}"
        typer.echo(f"  {what}{'; ' * bool(finding.advice)}{finding.advice}")


def same_person(analysis: Analysis) -> bool:
    """Whether nothing says that the standing trial is somebody else's."""
    return not any(f.check == "same_person" and f.severity == "refuse" for f in analysis.findings)


def print_same_person(analysis: Analysis) -> None:
    """Say before all else that the standing trial looks like somebody else's."""
    for finding in analysis.findings:
        if finding.check == "same_person" and finding.severity != "pass":
            typer.echo(f"{finding.where}: {finding.evidence}; {finding.advice}", err=True)


def print_last_lines(analysis: Analysis, whatif: WhatIf | None = None, fit: Fit | None = None) -> None:
    """What a run ends with: the numbers that matter most and the verdict."""
    from jointload.report.words.last_lines import last_lines

    for line in last_lines(analysis, whatif, fit):
        typer.echo(line)


def check_new(out: Path, replace: bool, record: str) -> None:
    """Refuse before the work a folder that cannot be written, or is in use and holds no earlier result, known by its
    file `record`, that may be replaced."""
    from jointload.report.words.whole_folder import check_replaceable, check_writable

    if not replace and out.is_dir() and any(out.iterdir()):
        advice = "choose another --out, or add --replace to replace an earlier result"
        raise OutputError(expected_found("result folder", "a new or empty folder", "one in use", str(out), advice))
    check_replaceable(out.absolute(), record)
    check_writable(out.absolute())


def write_new(path: Path, text: str) -> None:
    """Write a file that must not exist yet."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as problem:
        advice = "choose a new name in a folder you may write to"
        raise OutputError(not_written(problem, path, advice)) from None

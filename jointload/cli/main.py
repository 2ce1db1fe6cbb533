"""Every command, and the one place where an error becomes a line and an exit code."""

from __future__ import annotations

import os
import sys

import typer

from jointload.cli import (  # noqa: F401  (each enters its commands)
    day,
    explain,
    fitting,
    guide,
    insoles,
    landings,
    layers,
    provenance,
    recordings,
    studies,
)
from jointload.cli.app import app
from jointload.cli.terminal import BAD_INPUT, DONE
from jointload.errors import InputError, StudyError

ONE_THREAD = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS", "OMP_NUM_THREADS")
"""Threads of libraries of linear algebra, told before they are imported: the program's own threads have the processors,
and theirs would only wait for them."""


def main() -> None:
    """Run the command line; every InputError and every wrong word is one line on stderr and exit code 2."""
    for library in ONE_THREAD:
        os.environ.setdefault(library, "1")
    if len(sys.argv) == 1:
        sys.argv.append("--help")
    try:
        sys.exit(app(prog_name="jointload", standalone_mode=False) or DONE)
    except StudyError as problem:
        for fault in problem.faults[:-1]:
            typer.echo(f"jointload: {fault}", err=True)
        _complain(problem.faults[-1])
    except InputError as problem:
        _complain(str(problem))
    except KeyboardInterrupt:
        _complain("stopped; nothing was written", 130)
    except Exception as problem:
        message = getattr(problem, "format_message", None)
        if message is None:
            raise
        asked = getattr(getattr(problem, "ctx", None), "command_path", "jointload")
        _complain(f"{message().rstrip('.')}; see {asked} --help")


def _complain(message: str, code: int = BAD_INPUT) -> None:
    typer.echo(f"jointload: {' '.join(message.split())}", err=True)
    sys.exit(code)

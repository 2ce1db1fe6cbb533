"""The command line in this process, for tests of what a command does; that it starts as a process is tested once."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from functools import cache
from pathlib import Path
from unittest import mock

import pytest
import typer.main

from jointload.cli.main import main

BUILT_ONCE = cache(typer.main.get_command)
"""A process of its own builds its commands once; many in one process would each for a tenth of a second."""


def jointload(*words: str, where: Path) -> subprocess.CompletedProcess[str]:
    """Exit code, output and errors of `jointload WORDS` in a folder, in a terminal 100 letters wide."""
    out, err = io.StringIO(), io.StringIO()
    with (
        mock.patch.object(sys, "argv", ["jointload", *words]),
        mock.patch("typer.main.get_command", BUILT_ONCE),
        mock.patch.dict(os.environ, COLUMNS="100"),
        contextlib.chdir(where),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        pytest.raises(SystemExit) as end,
    ):
        main()
    return subprocess.CompletedProcess(words, int(end.value.code or 0), out.getvalue(), err.getvalue())

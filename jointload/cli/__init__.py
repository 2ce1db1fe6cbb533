"""The command line: words to one call, errors to one line and an exit code."""

from jointload.cli.main import main

__all__ = ["main"]

"""The application that the commands enter themselves in."""

from __future__ import annotations

import typer

app = typer.Typer(
    name="jointload",
    help="Joint angles, joint moments and insole what-ifs from C3D recordings of hard landings. "
    "A research tool, not a medical device.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

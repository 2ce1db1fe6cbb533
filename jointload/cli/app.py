"""The application that the commands enter themselves in."""

from __future__ import annotations

from typing import Annotated

import typer

from jointload.cli.command import Group

app = typer.Typer(
    name="jointload",
    cls=Group,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 120},
)


def _show_version(asked: bool) -> None:
    if asked:
        from jointload import __version__

        typer.echo(f"jointload {__version__}")
        raise typer.Exit


@app.callback()
def _jointload(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    """Joint angles, joint moments and insole what-ifs from C3D recordings of hard landings. A research tool, not a
    medical device."""

"""What a number means."""

from __future__ import annotations

from typing import Annotated

import typer

from jointload.cli.app import app
from jointload.cli.command import Command


@app.command(cls=Command)
def explain(
    quantity: Annotated[
        list[str] | None, typer.Argument(help="name of a number, such as knee_flexion_peak; none lists all")
    ] = None,
) -> None:
    """Say what a number means: definition, unit, sign, source, typical range. Without a name, list all by group."""
    from jointload.report.page.explained import explanation, grouped_names

    if quantity:
        typer.echo(explanation(" ".join(quantity)))
        return
    for heading, names in grouped_names().items():
        typer.echo(heading)
        for name in names:
            typer.echo(f"    {name}")

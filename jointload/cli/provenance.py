"""What ships with jointload, and where its numbers come from."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Annotated

import typer

from jointload.cli.app import app
from jointload.cli.command import Command
from jointload.errors import SettingError, expected_found, some


@app.command(cls=Command)
def models(
    name: Annotated[str, typer.Argument(help="a file's name, for its full provenance; none lists all")] = "",
) -> None:
    """List the bodies, inertia tables, regressions and other data that ship, with their sources."""
    from jointload.modeldata import load_model, model_kinds, model_names
    from jointload.sources import every_source, in_words

    known = {(kind, file) for kind in model_kinds() for file in model_names(kind)}
    if name and name not in {file for _, file in known}:
        near = get_close_matches(name, {file for _, file in known})
        expected = f"one of {some(near or sorted(file for _, file in known))}"
        advice = "`jointload models` lists all names"
        raise SettingError(expected_found("model", expected, repr(name), "models/", advice))
    for kind in model_kinds():
        chosen = [file for file in model_names(kind) if name in ("", file)]
        for file in chosen:
            model = load_model(kind, file)
            provenance = model.provenance
            typer.echo(f"{kind}/{file}")
            for key in provenance if name else ("source",):
                typer.echo(f"    {key}: {in_words(provenance[key])}")
            for key in model.keys if name else ():
                typer.echo(f"    cites: {every_source()[key].whole}")

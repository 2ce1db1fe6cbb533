"""The guide in the terminal: one page an idea, the same Markdown that README links to."""

from __future__ import annotations

import re
import sys
from typing import Annotated

import typer

from jointload.cli.app import app
from jointload.cli.command import Command
from jointload.cli.terminal import console
from jointload.errors import SettingError, expected_found

PAGES = (
    "landing", "results", "accuracy", "impact", "certainty", "whatif", "fit", "calibration", "insole", "layers",
    "material", "board", "pressure", "feet", "study", "dose", "day", "python",
)  # fmt: skip
"""In the order in which one reads them."""


@app.command(cls=Command)
def guide(page: Annotated[str, typer.Argument(help="name of a page, such as landing; none lists all")] = "") -> None:
    """Show a page of the guide, such as one on your own first landing. Without a name, list all."""
    from jointload.sources import shipped_folder

    texts = {name: (shipped_folder("guide") / f"{name}.md").read_text(encoding="utf-8") for name in PAGES}
    if not page:
        for name, text in texts.items():
            typer.echo(f"jointload guide {name:<12} {text.splitlines()[0].removeprefix('# ')}")
    elif page not in texts:
        advice = "choose one, or list them with: jointload guide"
        raise SettingError(expected_found("guide", "a page: " + ", ".join(PAGES), repr(page), "the command", advice))
    else:
        _show(texts[page])


def _show(text: str) -> None:
    """Laid out on a terminal, plain elsewhere; a link to another page is the command that shows it."""
    text = re.sub(r"\[([^]]+)\]\((\w+)\.md\)", r"\1 [`jointload guide \2`]", text)
    if not sys.stdout.isatty():
        typer.echo(text, nl=False)
        return
    from rich.markdown import Markdown

    console().print(Markdown(text))

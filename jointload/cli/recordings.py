"""Commands of a recording before anyone analyses it: what is wrong with it, what its markers are called."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from jointload.cli.app import app
from jointload.cli.terminal import BAD_INPUT, DONE, WARNINGS, print_findings, watched, write_new
from jointload.errors import InputError, SettingError, expected_found


@app.command()
def check(
    files: Annotated[list[Path], typer.Argument(help="C3D files", show_default=False)],
    strip_names: Annotated[bool, typer.Option("--strip-names", help="write a copy without names of people")] = False,
    out: Annotated[Path | None, typer.Option(help="the new file for --strip-names", show_default=False)] = None,
) -> None:
    """Say what is wrong with recordings before anyone trusts them. Exit 0 all well, 1 warnings, 2 refused."""
    if strip_names or out is not None:
        _strip_names(files, strip_names, out)
        return

    from jointload.intake.c3d import read_recording
    from jointload.intake.quality import inspect_recording

    worst = DONE
    for path in watched(files, "Checking"):
        try:
            findings = inspect_recording(read_recording(path), None)
        except InputError as problem:
            typer.echo(f"{path}: refused: {problem}", err=True)
            worst = BAD_INPUT
            continue
        worst = max(worst, *({"pass": DONE, "warn": WARNINGS}.get(f.severity, BAD_INPUT) for f in findings))
        print_findings(str(path), findings)
    raise typer.Exit(worst)


def _strip_names(files: list[Path], strip_names: bool, out: Path | None) -> None:
    if len(files) != 1 or out is None or not strip_names:
        found = (
            f"{len(files)} files, {'no' if out is None else 'one'} --out, {'' if strip_names else 'no '}--strip-names"
        )
        advice = "write: jointload check --strip-names FILE --out NEW.c3d"
        raise SettingError(expected_found("check", "one file, --strip-names and --out", found, "the command", advice))
    from jointload.report.words.nameless import MOTION_REMAINS, write_nameless

    removed = write_nameless(files[0], out)
    typer.echo(f"Wrote {out}; removed:" if removed else f"Wrote {out}; there was nothing to remove.")
    for line in removed:
        typer.echo(f"  {line}")
    typer.echo("Marker labels, their descriptions and event labels stay: read them once more.")
    typer.echo(f"{MOTION_REMAINS[0].upper()}{MOTION_REMAINS[1:]}.")


@app.command()
def labels(
    file: Annotated[
        Path,
        typer.Argument(
            help="C3D file whose markers are to be named; or a labels.toml of an earlier form", show_default=False
        ),
    ],
    out: Annotated[Path | None, typer.Option(help="write the proposal here instead of printing it")] = None,
) -> None:
    """Propose a labels.toml from the words in a recording's marker labels; bring an earlier labels.toml up to date."""
    from jointload.intake.c3d import read_recording
    from jointload.intake.labels import propose_labels, renewed_labels

    proposal = renewed_labels(file) if file.suffix.lower() == ".toml" else propose_labels(read_recording(file))
    if out is None:
        typer.echo(proposal)
        return
    write_new(out, proposal)
    typer.echo(f"Wrote {out}. Check every line before you use it.")

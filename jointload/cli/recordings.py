"""Commands of a recording before anyone analyses it: what is wrong with it, what its markers are called."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointload.cli.app import app
from jointload.cli.command import Command
from jointload.cli.terminal import BAD_INPUT, DONE, WARNINGS, print_findings, watched, write_new
from jointload.errors import InputError, SettingError, expected_found

if TYPE_CHECKING:
    from jointload.intake.labels import LabelMap
    from jointload.intake.recording import Finding, Recording
    from jointload.intake.rider import Rider


@app.command(cls=Command)
def check(
    files: Annotated[list[Path], typer.Argument(help="C3D files", show_default=False)],
    labels: Annotated[
        Path | None, typer.Option(help="labels.toml: only the markers it names are judged", show_default=False)
    ] = None,
    rider: Annotated[
        Path | None, typer.Option(help="rider.toml, to compare the weight on the plates with", show_default=False)
    ] = None,
    up: Annotated[str | None, typer.Option(help="the files' upward axis, such as +z")] = None,
    forward: Annotated[str | None, typer.Option(help="the files' forward axis, such as +y")] = None,
    every: Annotated[bool, typer.Option("--all", help="what passed, too, a line each")] = False,
    strip_names: Annotated[bool, typer.Option("--strip-names", help="write a copy without names of people")] = False,
    out: Annotated[Path | None, typer.Option(help="the new file for --strip-names", show_default=False)] = None,
) -> None:
    """Say what is wrong with recordings before anyone trusts them; a standing trial and landings given together are
    compared. Exit 0 all well, 1 warnings, 2 refused."""
    if strip_names or out is not None:
        _strip_names(files, strip_names, out)
        return

    from jointload.intake.c3d import read_recording
    from jointload.intake.labels import read_labels
    from jointload.intake.quality import inspect_recording
    from jointload.intake.rider import read_rider
    from jointload.intake.standing import stands_still, weight_findings

    label_map = None if labels is None else read_labels(labels)
    person = None if rider is None else read_rider(rider)
    worst = DONE
    standing: list[Recording] = []
    moving: list[Recording] = []
    for path in watched(files, "Checking"):
        try:
            recording = read_recording(path, up, forward, named=label_map)
        except InputError as problem:
            typer.echo(f"{path}: refused: {problem}", err=True)
            worst = BAD_INPUT
            continue
        still = stands_still(recording)
        (standing if still else moving).append(recording)
        findings = inspect_recording(recording, label_map, complete=still)
        if person is not None:
            findings += tuple(weight_findings(recording, person.weight, label_map))
        worst = max(worst, _told(str(path), findings, every))
    if len(standing) == 1:
        for trial in moving:
            worst = max(worst, _compared(standing[0], trial, label_map, person, every))
    raise typer.Exit(worst)


def _told(where: str, findings: tuple[Finding, ...], every: bool) -> int:
    """Print findings; the exit code that they make."""
    print_findings(where, findings, every)
    return max({"pass": DONE, "warn": WARNINGS}.get(f.severity, BAD_INPUT) for f in findings)


def _compared(
    static: Recording, trial: Recording, label_map: LabelMap | None, person: Rider | None, every: bool
) -> int:
    """Hold a standing trial against a landing, by labels.toml or by the words in the labels."""
    from jointload.analysis import findings_of_both
    from jointload.intake.proposed_labels import proposed_labels

    both = f"{static.name} and {trial.name}"
    try:
        findings = findings_of_both(static, trial, label_map or proposed_labels(static), person)
    except InputError as problem:
        how = "give --labels" if label_map is None else "correct --labels"
        typer.echo(f"{both}: not compared: {problem}; {how}", err=True)
        return DONE if label_map is None else WARNINGS
    return _told(f"{both}, compared", findings, every)


def _strip_names(files: list[Path], strip_names: bool, out: Path | None) -> None:
    if len(files) != 1 or out is None or not strip_names:
        given = (f"{len(files)} files" * (len(files) != 1), "no --out" * (out is None))
        found = " and ".join(filter(None, (*given, "no --strip-names" * (not strip_names))))
        advice = "write: jointload check --strip-names FILE --out NEW.c3d"
        raise SettingError(expected_found("check", "one file, --strip-names and --out", found, "the command", advice))
    from jointload.report.words.nameless import MOTION_REMAINS, write_nameless

    removed = write_nameless(files[0], out)
    typer.echo(f"Wrote {out}; removed:" if removed else f"Wrote {out}; there was nothing to remove.")
    for line in removed:
        typer.echo(f"  {line}")
    typer.echo("Marker labels, their descriptions and event labels stay: read them once more.")
    typer.echo(f"{MOTION_REMAINS[0].upper()}{MOTION_REMAINS[1:]}.")


@app.command(cls=Command)
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
    from jointload.intake.labels import renewed_labels
    from jointload.intake.proposed_labels import propose_labels

    proposal = renewed_labels(file) if file.suffix.lower() == ".toml" else propose_labels(read_recording(file))
    if out is None:
        typer.echo(proposal)
        return
    write_new(out, proposal)
    typer.echo(f"Wrote {out}. Check every line before you use it.")

"""What a landing's command finds itself in the folder of the landing: labels.toml, rider.toml, the standing trial."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

from jointload.cli.command import NO_FILE, Command
from jointload.cli.terminal import watched
from jointload.errors import InputError, SettingError, expected_found, some

USUAL_NAMES = {"labels": "labels.toml", "rider": "rider.toml"}
ADVICE = {"labels": "`jointload labels` proposes one", "rider": "`jointload guide landing` shows one"}


class LandingCommand(Command):
    """A command on a landing, which needs no --labels and --rider where they lie beside the landing."""

    def lacking(self, given: dict[str, Any]) -> Iterator[str]:
        for role, name in USUAL_NAMES.items():
            if role not in given:
                trial = given.get("trial")
                if trial is None or not (Path(trial).parent / name).is_file():
                    where = f"none beside {Path(trial).name}; " if trial else ""
                    yield f"--{role} ({name}; {where}{ADVICE[role]})"


def with_those_beside(files: dict[str, Path]) -> dict[str, Path]:
    """The files of a landing by their role, with those that lie beside it and were not named; it is said which.

    SettingError where several standing trials lie beside it and none is named.
    """
    trial = files["trial"]
    found = {role: trial.parent / name for role, name in USUAL_NAMES.items() if role not in files}
    named = files.get("static")
    if named is None:
        found |= _standing_trial(trial, set(files.values()))
    if found:
        words = {role: "the standing trial " if role == "static" else "" for role in found}
        told = ", ".join(f"{words[role]}{path.name}" for role, path in found.items())
        typer.echo(f"Found beside {trial.name}: {told}", err=True)
    if named is not None and str(named) == NO_FILE:
        files = {role: path for role, path in files.items() if role != "static"}
    return files | found


def _standing_trial(trial: Path, named: set[Path]) -> dict[str, Path]:
    """The only recording beside a landing in which somebody stands still, if there is one."""
    others = [path for path in sorted(trial.parent.glob("*.[cC]3[dD]")) if path not in named]
    standing = [path for path in watched(others, "Looking for a standing trial") if _is_standing(path)]
    if len(standing) > 1:
        names = some(path.name for path in standing)
        advice = f"give one with --static, or --static {NO_FILE} for the landing's own quiet frames"
        raise SettingError(expected_found("standing trial", "one", names, f"the folder of {trial.name}", advice))
    return {"static": standing[0]} if standing else {}


def _is_standing(path: Path) -> bool:
    from jointload.intake.c3d import read_recording
    from jointload.intake.standing import stands_still

    try:
        return stands_still(read_recording(path))
    except InputError:
        return False

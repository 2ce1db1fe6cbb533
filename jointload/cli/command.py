"""How a command reads its words and lays out its help: options by group, everything that is missing in one line."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from typer.core import TyperCommand, TyperGroup

from jointload.errors import SettingError

GROUPS = {
    "Files": (
        "trial", "file", "files", "folder", "record", "labels", "rider", "static", "hip_movement", "board",
        "pressure_right", "pressure_left", "pressure_layout", "shoe", "conditions", "insole", "others", "materials",
        "more", "results", "exposures", "counts", "folder", "plan", "replay",
    ),
    "Question": (
        "heel_wedge", "side", "length", "heel_lift", "thickness", "layer", "heel_cup", "target", "stack", "posting",
        "lift", "inversion", "knee_rise", "pressure_rise", "no_cup", "by", "task", "condition", "baseline",
        "scale_heights", "quantity", "name", "page", "area", "kind", "density", "load", "hardness", "under", "height",
        "every_landing", "cup", "temperature", "worn",
    ),
    "Settings": (),
    "Output": ("out", "replace", "figures", "hide_names", "full", "parquet", "strip_names", "every"),
    "Help": ("help", "version"),
}  # fmt: skip
"""Groups in their order, and the options of each by name, the same in every command; any other option is a setting."""
SECTIONS = {
    "Start here": ("demo", "guide"),
    "One landing": ("labels", "check", "analyse"),
    "One insole": ("whatif", "fit", "layers", "shape", "material"),
    "Many landings": ("day", "study"),
    "What a number means": ("explain", "models"),
}
OF_A_STUDY = {"Many landings": ("run", "compare", "dose", "layers", "rerun")}
"""Commands in the order in which one needs them."""
TOLD_LATER = {"results", "folder", "replay"}
"""Folders whose absence the command itself explains better."""
NO_FILE = "none"
"""The word by which an option takes no file at all."""


class Command(TyperCommand):
    """A command whose help is grouped; a call tells at once every option and every file that is missing."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        for group in GROUPS:
            params = [param for param in self.get_params(ctx) if group_of(param) == group]
            records = [record for param in params if (record := param.get_help_record(ctx)) is not None]
            if records:
                with formatter.section(group):
                    formatter.write_dl(records)

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if not set(ctx.help_option_names) & set(args):
            self._check_complete(ctx, list(args))
        rest: list[str] = super().parse_args(ctx, args)
        return rest

    def lacking(self, given: dict[str, Any]) -> Iterator[str]:
        """What a call needs beside its required options and has not got."""
        yield from ()

    def _check_complete(self, ctx: Any, args: list[str]) -> None:
        """SettingError that names every file that does not exist and everything that was not given."""
        words, *_ = self.make_parser(ctx).parse_args(args=args)
        given = {name: value for name, value in words.items() if isinstance(value, str | list | tuple) and value}
        files = [given[p.name] for p in self.params if group_of(p) == "Files" and p.name in set(given) - TOLD_LATER]
        faults = [fault for words in files for fault in map(_not_there, [words] if isinstance(words, str) else words)]
        missing = [_asked_for(param) for param in self.params if param.required and param.name not in given]
        missing += self.lacking(given)
        faults += [f"{self.name} needs {', '.join(missing)}"] if missing else []
        if any(faults):
            raise SettingError(f"{'; '.join(filter(None, faults))}; see {ctx.command_path} --help")


class Group(TyperGroup):
    """Commands by what they are for, with the whole first sentence of each."""

    sections: Mapping[str, tuple[str, ...]] = SECTIONS

    def list_commands(self, ctx: Any) -> list[str]:
        known = super().list_commands(ctx)
        return [name for names in self.sections.values() for name in names if name in known]

    def format_options(self, ctx: Any, formatter: Any) -> None:
        for heading, names in self.sections.items():
            told = [(name, _first_sentence(self.commands[name].help)) for name in names if name in self.commands]
            if told:
                with formatter.section(heading):
                    formatter.write_dl(told)
        records = [param.get_help_record(ctx) for param in self.get_params(ctx)]
        with formatter.section("Help"):
            formatter.write_dl([record for record in records if record is not None])


class StudyGroup(Group):
    """The commands on a study."""

    sections = OF_A_STUDY


def group_of(param: Any) -> str:
    """The group of an option or argument."""
    return next((group for group, names in GROUPS.items() if param.name in names), "Settings")


def _asked_for(param: Any) -> str:
    """An option that was not given, with the first words of its help."""
    name = max(param.opts, key=len) if param.param_type_name == "option" else param.name.upper()
    return f"{name} ({param.help.split(';')[0].split(':')[0]})"


def _not_there(word: str) -> str:
    """That a file does not exist, with the closest one that does; empty where it does."""
    path = Path(word)
    if word == NO_FILE or path.exists() or path.is_symlink():
        return ""
    beside = [other.name for other in path.parent.iterdir()] if path.parent.is_dir() else []
    near = difflib.get_close_matches(path.name, beside, n=1)
    return f"{path} does not exist" + (f", closest is {path.with_name(near[0])}" if near else "")


def _first_sentence(words: str | None) -> str:
    return " ".join((words or "").split()).split(". ")[0].rstrip(".")

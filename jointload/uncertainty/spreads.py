"""The uncertain inputs of a landing and their published or chosen spreads, read from models/uncertainty."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from jointload.errors import ModelDataError, SettingError, expected_found, known_names
from jointload.modeldata import load_model

SOURCES = (
    "camera",
    "skin",
    "flesh",
    "placement",
    "joint_centre",
    "inertia",
    "plate_force",
    "pressure_centre",
    "cutoff",
    "time_offset",
)
"""Every uncertain input, as its file in models/uncertainty is called."""
SAME_FOR = ("recording", "static trial", "rider", "laboratory")


@dataclass(frozen=True)
class Source:
    """One uncertain input.

    cited : what its spread rests on, in few words
    same_for : what must be the same for two recordings to bear the same error of it
    repeatable : share [1] of its variance that is then the same; the rest is drawn anew for every recording
    """

    name: str
    title: str
    cited: str
    same_for: str
    repeatable: float
    content: dict[str, Any]


def load_source(name: str) -> Source:
    """One file of models/uncertainty; SettingError lists the known names, ModelDataError a line that is missing."""
    if name not in SOURCES:
        raise SettingError(f"uncertain input {name!r} is unknown; the known ones are {known_names(SOURCES)}")
    content = load_model("uncertainty", name).content
    same_for = content.get("same_for")
    if same_for not in SAME_FOR or not content.get("title") or not content.get("cited"):
        where = f"models/uncertainty/{name}.toml"
        expected = f"a title, what is cited, and same_for one of {', '.join(SAME_FOR)}"
        raise ModelDataError(expected_found("uncertain input", expected, f"same_for {same_for!r}", where, "add them"))
    repeatable = 0.0 if same_for == "recording" else float(content.get("repeatable", 1.0))
    return Source(name, content["title"], content["cited"], same_for, repeatable, content)


def load_sources(names: Iterable[str] = SOURCES) -> dict[str, Source]:
    """The named inputs, in the order of SOURCES."""
    wanted = [load_source(name).name for name in names]
    return {name: load_source(name) for name in SOURCES if name in wanted}

"""study.toml: the settings of every analysis of a study, and what is compared."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from jointload.errors import SettingError, expected_found, known_names
from jointload.intake.toml_file import read_toml
from jointload.modeldata import load_model
from jointload.settings import Settings

FEET = ("back", "front", "right", "left")
STUDY_KEYS = ("name", "task", "baseline", "primary", "curves", "up", "forward", "settings", "smallest_change", "draws")
USUAL_PRIMARY = ("vertical_force_peak", "knee_flexion_peak", "knee_flexion_moment_peak", "knee_adduction_moment_peak")
"""Compared first where study.toml names nothing else: how hard, how bent, what the knee bore in two planes (choice)."""
USUAL_CURVES = ("vertical_force", "knee_flexion_angle", "knee_flexion_moment", "knee_adduction_moment")
FEWEST_DRAWS = 50
"""Fewer give an interval by chance (choice)."""


@dataclass(frozen=True)
class Plan:
    """What study.toml says: the settings of every analysis and what is compared.

    baseline : the condition, style or group that the others are compared with; the first by name without it
    primary : quantities over which the error of the whole family is held;  curves : series compared as whole curves
    smallest_change : quantity -> change in shown units below which a difference does not matter
    draws : of the uncertain inputs of every landing, for the interval of each number; 0 for none
    """

    name: str
    task: str
    settings: Settings
    baseline: str = ""
    primary: tuple[str, ...] = USUAL_PRIMARY
    curves: tuple[str, ...] = USUAL_CURVES
    up: str | None = None
    forward: str | None = None
    smallest_change: dict[str, float] = field(default_factory=dict)
    draws: int = 0


def read_plan(path: Path, faults: list[str]) -> Plan:
    """The plan as far as it can be read; what is wrong is added to `faults`."""
    content = _toml(path, faults)
    unknown = sorted(set(content) - set(STUDY_KEYS))
    if unknown:
        faults.append(
            expected_found(
                "study", "the keys " + ", ".join(STUDY_KEYS), ", ".join(unknown), str(path), "correct the key"
            )
        )
    for key, kind, what in (
        ("primary", list, "a list of names"),
        ("curves", list, "a list of names"),
        ("settings", dict, "a table"),
        ("smallest_change", dict, "a table"),
    ):
        if key in content and not isinstance(content[key], kind):
            faults.append(expected_found(f"study {key}", what, repr(content.pop(key)), str(path), "correct it"))
    primary = tuple(str(name) for name in content.get("primary", USUAL_PRIMARY))
    smallest = content.get("smallest_change", {})
    _check_quantities(primary, smallest, path, faults)
    return Plan(
        name=str(content.get("name", path.parent.resolve().name)),
        task=str(content.get("task", "landing")),
        settings=_settings(content.get("settings", {}), path, faults),
        baseline=str(content.get("baseline", "")),
        primary=primary,
        curves=tuple(str(name) for name in content.get("curves", USUAL_CURVES)),
        up=content.get("up"),
        forward=content.get("forward"),
        smallest_change={str(k): float(v) for k, v in smallest.items() if _is_number(v)},
        draws=_draws(content.get("draws", 0), path, faults),
    )


def _toml(path: Path, faults: list[str]) -> dict[str, Any]:
    try:
        return read_toml(path, "study", "write it; `jointload guide study` says how", SettingError)
    except SettingError as problem:
        faults.append(str(problem))
        return {}


def _settings(given: dict[str, Any], path: Path, faults: list[str]) -> Settings:
    """Settings of the table [settings]; a cut-off of 0 means no filter, as on the command line."""
    usual = {f.name: f.default for f in fields(Settings)}
    chosen: dict[str, Any] = {}
    for name, value in given.items():
        if name not in usual:
            message = expected_found(
                "study settings", known_names(usual), repr(name), str(path), "correct the setting's name"
            )
            faults.append(message)
        elif not isinstance(value, type(usual[name])) and not (isinstance(usual[name], float) and _is_number(value)):
            kind = "a number" if isinstance(usual[name], int | float) else "a word"
            faults.append(expected_found(f"setting {name}", kind, repr(value), str(path), "correct it"))
        elif isinstance(usual[name], float):
            chosen[name] = None if name in ("cutoff", "impact_cutoff") and not value else float(value)
        else:
            chosen[name] = value
    if "cutoff" in chosen and chosen.get("smoothing", usual["smoothing"]) == "balanced":
        advice = 'add smoothing = "fixed", or leave the cut-off out'
        faults.append(
            expected_found("setting cutoff", "none with balanced smoothing", given["cutoff"], str(path), advice)
        )
        return Settings()
    try:
        return Settings(**chosen)
    except SettingError as problem:
        faults.append(f"{path}: {problem}")
    return Settings()


def _draws(given: Any, path: Path, faults: list[str]) -> int:
    if isinstance(given, int) and not isinstance(given, bool) and (given == 0 or given >= FEWEST_DRAWS):
        return given
    wanted = f"0, or a whole number from {FEWEST_DRAWS} on"
    faults.append(expected_found("study draws", wanted, repr(given), str(path), "choose 500, or 0 for no intervals"))
    return 0


def _check_quantities(primary: Iterable[str], smallest: dict[str, Any], path: Path, faults: list[str]) -> None:
    known = {row["name"] for row in load_model("glossary", "quantities").content}
    for where, names in (("primary", primary), ("smallest_change", smallest)):
        for name in names:
            if split_foot(name)[0] not in known:
                message = expected_found(
                    f"study {where}", "a quantity that metrics.csv gives", repr(name), str(path), "see the glossary"
                )
                faults.append(message)
    for name, value in smallest.items():
        if not _is_number(value) or not value > 0:
            faults.append(
                expected_found(f"smallest_change {name}", "a number above 0", repr(value), str(path), "correct it")
            )


def split_foot(name: str) -> tuple[str, str]:
    """back_knee_flexion_peak -> knee_flexion_peak, back; a name without a foot means every foot: ''."""
    foot, _, stem = name.partition("_")
    return (stem, foot) if foot in FEET and stem else (name, "")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)

"""day.toml: what the laboratory sets for a recording day. Without the file, common practice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from jointload.errors import SettingError, expected_found
from jointload.insole.fitting.aim import parse_target
from jointload.intake.recording import SIDES
from jointload.intake.toml_file import read_toml

DAY_FILE = "day.toml"


@dataclass(frozen=True)
class Limits:
    """What the laboratory allows one rider on one day; 0 means no limit.

    landings, hard : of one rider;  hard_above : largest vertical force of a foot [body weights] that counts as hard
    rest_after : landings after which a rest of rest_minutes is reminded of;  warm_up : whether one is reminded of
    Without numbers of the laboratory: rest and warm-up as common practice, no limit.
    """

    landings: int = 0
    hard: int = 0
    hard_above: float = 2.0
    rest_after: int = 10
    rest_minutes: float = 3.0
    warm_up: bool = True


@dataclass(frozen=True)
class Aim:
    """What a fitting is for: a rider's foot, and the target in the words of `jointload fit`."""

    rider: str
    side: str
    target: str = "knee_adduction_moment"


@dataclass(frozen=True)
class DaySettings:
    """shapes : condition -> shape in the words of conditions.csv;  fitting : None where none is asked for"""

    limits: Limits = field(default_factory=Limits)
    shapes: Mapping[str, str] = field(default_factory=dict)
    fitting: Aim | None = None


def read_day_settings(path: Path) -> DaySettings:
    """The laboratory's settings, or the usual ones where there is no file; SettingError in one line."""
    if not path.exists():
        return DaySettings()
    content = read_toml(path, "day", "mend it, or leave it out", SettingError)
    _known(content, ("limits", "shapes", "fitting"), "day", path)
    limits, shapes, asked = (content.get(name, {}) for name in ("limits", "shapes", "fitting"))
    for name, table in (("limits", limits), ("shapes", shapes), ("fitting", asked)):
        if not isinstance(table, dict):
            raise SettingError(expected_found(f"day {name}", "a table", repr(table), str(path), f"write [{name}]"))
    words = {str(key): str(value) for key, value in shapes.items()}
    return DaySettings(_limits(limits, path), words, checked_aim(asked, str(path)) if asked else None)


def _limits(given: Mapping[str, Any], path: Path) -> Limits:
    usual = asdict(Limits())
    _known(given, usual, "limits", path)
    for name, value in given.items():
        whole = isinstance(usual[name], bool)
        if isinstance(value, bool) != whole or not isinstance(value, int | float) or value < 0:
            expected = "true or false" if whole else "a number, 0 for none"
            raise SettingError(expected_found(f"limits {name}", expected, repr(value), str(path), "correct it"))
    return Limits(**{name: type(usual[name])(value) for name, value in given.items()})


def checked_aim(given: Mapping[str, Any], where: str) -> Aim:
    """A fitting's aim; SettingError where rider, side or target cannot be meant."""
    _known(given, ("rider", "side", "target"), "fitting", where)
    rider, side = (str(given.get(name, "")) for name in ("rider", "side"))
    if not rider or side not in SIDES:
        found = f"rider {rider!r}, side {side!r}"
        raise SettingError(expected_found("fitting", "a rider, and right or left", found, where, "say whom it is for"))
    aim = Aim(rider, side, str(given.get("target", Aim.target)))
    parse_target(aim.target)
    return aim


def _known(given: Mapping[str, Any], names: Any, what: str, where: object) -> None:
    unknown = sorted(set(given) - set(names))
    if unknown:
        expected = "the keys " + ", ".join(names)
        raise SettingError(expected_found(what, expected, ", ".join(unknown), str(where), "correct the key"))

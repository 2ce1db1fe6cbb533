"""The rider: what rider.toml says of the person in the recording."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from jointload.errors import RiderError, expected_found
from jointload.intake.recording import side_from
from jointload.intake.toml_file import read_toml

KEYS = ("id", "mass_kg", "height_m", "sex", "shoe", "stance", "measurements")
MASS_RANGE = (20.0, 250.0)
HEIGHT_RANGE = (1.0, 2.4)
G = 9.80665
"""Standard gravity [m/s2] (CGPM 1901)."""


@dataclass(frozen=True)
class Rider:
    """mass [kg], height [m]; sex chooses the column of an inertia table; stance: the back foot, 'right' or 'left'."""

    id: str
    mass: float
    height: float
    sex: Literal["f", "m"]
    shoe: str = ""
    stance: str = ""
    measurements: dict[str, float] = field(default_factory=dict)

    @property
    def weight(self) -> float:
        """Body weight [N]."""
        return self.mass * G


def read_rider(path: str | Path) -> Rider:
    """Read rider.toml; RiderError names what is missing or implausible."""
    path = Path(path)
    return rider_from(read_toml(path, "rider", "give --rider", RiderError), str(path))


def rider_from(content: dict[str, Any], where: str = "rider") -> Rider:
    """A checked Rider from the keys of rider.toml."""
    unknown = sorted(set(content) - set(KEYS))
    if unknown:
        raise RiderError(
            expected_found("rider", "the keys " + ", ".join(KEYS), ", ".join(unknown), where, "correct the key's name")
        )
    for key in ("id", "mass_kg", "height_m", "sex"):
        if key not in content:
            raise RiderError(expected_found("rider", f"the key {key}", "no such key", where, f"add {key}"))
    mass = _number(content, "mass_kg", MASS_RANGE, "kg", where)
    height = _number(content, "height_m", HEIGHT_RANGE, "m", where)
    sex = str(content["sex"]).lower()
    if sex not in ("f", "m"):
        raise RiderError(
            expected_found(
                "rider sex", '"f" or "m" (it chooses the inertia table)', repr(content["sex"]), where, "correct it"
            )
        )
    given = str(content.get("stance", ""))
    stance = side_from(given) or ""
    if given and not stance:
        raise RiderError(
            expected_found("rider stance", '"right" or "left" (the back foot)', repr(given), where, "correct it")
        )
    measurements = {str(name): float(value) for name, value in content.get("measurements", {}).items()}
    return Rider(
        str(content["id"]), mass, height, "f" if sex == "f" else "m", str(content.get("shoe", "")), stance, measurements
    )


def _number(content: dict[str, Any], key: str, limits: tuple[float, float], unit: str, where: str) -> float:
    value = content[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not limits[0] <= value <= limits[1]:
        raise RiderError(
            expected_found(
                f"rider {key}",
                f"a number from {limits[0]:g} to {limits[1]:g} {unit}",
                repr(value),
                where,
                f"correct {key}",
            )
        )
    return float(value)

"""The board under the feet: what board.toml says of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from jointload.errors import BoardError, expected_found
from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.intake.toml_file import read_toml

KEYS = (
    "name", "mass_kg", "length_mm", "width_mm", "deck_height_mm", "support_mm", "centre_of_mass_mm", "inertia_kgm2",
    "markers",
)  # fmt: skip
REQUIRED = ("mass_kg", "length_mm", "width_mm", "deck_height_mm")
LIMITS = {
    "mass_kg": (0.1, 25.0),
    "length_mm": (300.0, 2600.0),
    "width_mm": (80.0, 700.0),
    "deck_height_mm": (3.0, 400.0),
}
FARTHEST = 2000.0
"""No marker or centre of mass lies further than this [mm] from the middle of its board."""
INERTIA_LIMITS = (1e-4, 30.0)


@dataclass(frozen=True, eq=False)
class Board:
    """A rigid board. Its axes: x along its length to the nose, y up from the deck, z to the right of the nose; the
    origin lies on the ground below the middle of the deck.

    mass [kg];  length, width of the deck [m];  deck_height : from the ground to where the feet stand [m]
    support : length and width [m] of what it stands on: wheels, bindings, or the whole board
    centre : centre of mass (3,) [m];  inertia : principal moments (3,) [kg m2] about x, y and z through it
    markers : label to place (3,) [m]
    """

    name: str
    mass: float
    length: float
    width: float
    deck_height: float
    support: tuple[float, float]
    centre: Array
    inertia: Array
    markers: dict[str, Array] = field(default_factory=dict)

    @property
    def weight(self) -> float:
        """[N]"""
        return self.mass * G


def read_board(path: str | Path) -> Board:
    """Read board.toml; BoardError names what is missing or implausible."""
    path = Path(path)
    return board_from(read_toml(path, "board", "correct --board", BoardError), str(path), path.stem)


def board_from(content: Mapping[str, Any], where: str = "board", name: str = "board") -> Board:
    """A checked Board from the keys of board.toml.

    Without inertia_kgm2 the mass is spread evenly over the deck; without centre_of_mass_mm it lies under the deck's
    middle, at half the deck's height.
    """
    unknown = sorted(set(content) - set(KEYS))
    if unknown:
        expected = "the keys " + ", ".join(KEYS)
        raise BoardError(expected_found("board", expected, ", ".join(unknown), where, "correct the key's name"))
    for key in REQUIRED:
        if key not in content:
            raise BoardError(expected_found("board", f"the key {key}", "no such key", where, f"add {key}"))
    mass, length, width, height = (_number(content[key], key, LIMITS[key], where) for key in REQUIRED)
    centre = _numbers(content.get("centre_of_mass_mm", (0.0, 0.5 * height, 0.0)), "centre_of_mass_mm", 3, where)
    support = _numbers(content.get("support_mm", (length, width)), "support_mm", 2, where, least=10.0)
    spread = mass / 12.0 * 1e-6 * np.array([width**2, length**2 + width**2, length**2])
    inertia = content.get("inertia_kgm2", tuple(spread))
    markers = content.get("markers", {})
    if not isinstance(markers, Mapping):
        expected = 'a table: "label" = [along, up, right] in mm'
        raise BoardError(expected_found("board markers", expected, repr(markers), where, "write it as [markers]"))
    return Board(
        name=str(content.get("name", name)),
        mass=mass,
        length=1e-3 * length,
        width=1e-3 * width,
        deck_height=1e-3 * height,
        support=(1e-3 * support[0], 1e-3 * support[1]),
        centre=1e-3 * np.array(centre),
        inertia=np.array([_number(value, "inertia_kgm2", INERTIA_LIMITS, where) for value in _three(inertia, where)]),
        markers={
            str(label): 1e-3 * np.array(_numbers(place, f"marker {label}", 3, where))
            for label, place in markers.items()
        },
    )


def _three(value: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, list | tuple) or len(value) != 3:
        expected = "three numbers, about the length, the upward and the cross axis"
        raise BoardError(expected_found("board inertia_kgm2", expected, repr(value), where, "correct it"))
    return tuple(value)


def _number(value: Any, key: str, limits: tuple[float, float], where: str) -> float:
    low, high = limits
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        expected = f"a number from {low:g} to {high:g}"
        raise BoardError(expected_found(f"board {key}", expected, repr(value), where, f"correct {key}"))
    return float(value)


def _numbers(value: Any, key: str, count: int, where: str, least: float = -FARTHEST) -> tuple[float, ...]:
    if not isinstance(value, list | tuple) or len(value) != count:
        expected = f"{count} numbers in mm"
        raise BoardError(expected_found(f"board {key}", expected, repr(value), where, f"correct {key}"))
    return tuple(_number(entry, key, (least, FARTHEST), where) for entry in value)

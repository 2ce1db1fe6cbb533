"""The shoe on a foot: what shoe.toml says of its grip, lacing, room and sole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jointload.errors import ShoeError, expected_found
from jointload.intake.toml_file import read_toml

LIMITS = {
    "friction": (0.05, 2.0),
    "lacing_n": (0.0, 400.0),
    "toe_room_mm": (0.0, 40.0),
    "sole_mm": (0.0, 60.0),
    "sole_mpa": (0.1, 100.0),
}
"""Key of shoe.toml -> what it may be."""
SI = {"friction": 1.0, "lacing_n": 1.0, "toe_room_mm": 1e-3, "sole_mm": 1e-3, "sole_mpa": 1e6}
ALONE = 0.15
"""A number given alone may be off by this share to either side (choice)."""


@dataclass(frozen=True)
class Given:
    """A number of the shoe [SI]: its likeliest value and the ends between which it lies."""

    low: float
    value: float
    high: float


@dataclass(frozen=True)
class Shoe:
    """What is known of a shoe; None is unknown, which is a range and not zero.

    friction : between foot and insole, sock between them;  lacing : force along the foot that lacing and upper hold
    [N];  toe_room : way [m] before the longest toe touches the toe box
    sole, sole_modulus : thickness [m] and modulus [Pa] of all that lies under the heel
    barefoot : no shoe at all
    """

    name: str = ""
    barefoot: bool = False
    friction: Given | None = None
    lacing: Given | None = None
    toe_room: Given | None = None
    sole: Given | None = None
    sole_modulus: Given | None = None


FIELDS = {
    "friction": "friction",
    "lacing_n": "lacing",
    "toe_room_mm": "toe_room",
    "sole_mm": "sole",
    "sole_mpa": "sole_modulus",
}
"""Key of shoe.toml -> field of Shoe."""
KEYS = ("name", "barefoot", *LIMITS)


def read_shoe(path: str | Path) -> Shoe:
    """Read shoe.toml; ShoeError names what is unknown or implausible."""
    path = Path(path)
    return shoe_from(read_toml(path, "shoe", "correct --shoe", ShoeError), str(path), path.stem)


def shoe_from(content: Mapping[str, Any], where: str = "shoe", name: str = "") -> Shoe:
    """A checked Shoe from the keys of shoe.toml: each a number, [low, high] or [low, value, high]."""
    unknown = sorted(set(content) - set(KEYS))
    if unknown:
        expected = "the keys " + ", ".join(KEYS)
        raise ShoeError(expected_found("shoe", expected, ", ".join(unknown), where, "correct the key's name"))
    barefoot = content.get("barefoot", False)
    if not isinstance(barefoot, bool):
        raise ShoeError(expected_found("shoe barefoot", "true or false", repr(barefoot), where, "correct it"))
    named = [key for key in LIMITS if key in content]
    if barefoot and named:
        advice = "drop them, or set barefoot = false"
        raise ShoeError(expected_found("shoe", "no numbers of a shoe", ", ".join(named), where, advice))
    numbers = {FIELDS[key]: _given(content[key], key, where) for key in named}
    return Shoe(str(content.get("name", name)), barefoot, **numbers)


def _given(value: Any, key: str, where: str) -> Given:
    low, high = LIMITS[key]
    numbers = value if isinstance(value, list) else [value]
    numeric = all(isinstance(one, int | float) and not isinstance(one, bool) for one in numbers)
    if not numeric or len(numbers) not in (1, 2, 3) or not all(low <= one <= high for one in numbers):
        expected = f"a number from {low:g} to {high:g}, or [low, high], or [low, value, high]"
        raise ShoeError(expected_found(f"shoe {key}", expected, repr(value), where, f"correct {key}"))
    if numbers != sorted(numbers):
        raise ShoeError(expected_found(f"shoe {key}", "numbers that grow", repr(value), where, "put the lower first"))
    first, last = (float(numbers[end]) for end in (0, -1))
    if len(numbers) == 1:
        ends = (max(first * (1.0 - ALONE), low), first, min(first * (1.0 + ALONE), high))
    else:
        ends = (first, float(numbers[1]) if len(numbers) == 3 else 0.5 * (first + last), last)
    return Given(*(SI[key] * end for end in ends))

"""A body definition: which segments, frames and joints there are, read from models/bodies/*.toml with "*" expanded to
both sides."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from jointload.intake.recording import SIDES
from jointload.modeldata import load_model


@dataclass(frozen=True)
class AxisRule:
    """An axis ('x', 'y' or 'z') along the line between two points, or along the laboratory's vertical when `up` is
    set."""

    axis: str
    start: str = ""
    end: str = ""
    up: bool = False

    @property
    def needs(self) -> tuple[str, ...]:
        return () if self.up else (self.start, self.end)


@dataclass(frozen=True)
class FrameRule:
    """How an anatomical frame is built: the primary axis exactly, the secondary completing the plane."""

    segment: str
    origin: str
    primary: AxisRule
    secondary: AxisRule

    @property
    def needs(self) -> tuple[str, ...]:
        return (self.origin, *self.primary.needs, *self.secondary.needs)


@dataclass(frozen=True)
class Segment:
    """tracking: landmarks that move with it; support: joint centres carried by the neighbour; joint: the one at its
    proximal end."""

    name: str
    parent: str
    joint: str
    tracking: tuple[str, ...]
    support: tuple[str, ...]


@dataclass(frozen=True)
class Joint:
    """proximal and distal are frame names; signs (3) turn rotations about e1, e2, e3 into the named directions of
    this side."""

    name: str
    proximal: str
    distal: str
    centre: str
    rotations: tuple[str, str, str]
    signs: tuple[int, int, int]
    plausible: tuple[float, float]
    toward: int


@dataclass(frozen=True)
class MassLine:
    """A part of the body that only the whole-body centre of mass needs."""

    name: str
    table_segment: str
    start: str
    end: str


@dataclass(frozen=True)
class BodyDefinition:
    """Frozen view of one models/bodies file. frames maps a name to its alternatives, the preferred one first."""

    name: str
    points: dict[str, tuple[tuple[str, ...], ...]]
    frames: dict[str, tuple[FrameRule, ...]]
    segments: dict[str, Segment]
    joints: dict[str, Joint]
    mass_lines: dict[str, MassLine]


@lru_cache(maxsize=8)
def load_body(name: str = "lower_body") -> BodyDefinition:
    """The body definition models/bodies/<name>.toml; ModelDataError lists the known names."""
    content = load_model("bodies", name).content
    return BodyDefinition(
        name=name,
        points={
            key: tuple(tuple(_sided(n, side) for n in choice) for choice in rule)
            for key, side, rule in _expanded(content["points"])
        },
        frames={key: tuple(_frame(rule, side) for rule in rules) for key, side, rules in _expanded(content["frames"])},
        segments={key: _segment(key, rule, side) for key, side, rule in _in_load_order(content["segments"])},
        joints={key: _joint(key, rule, side) for key, side, rule in _in_load_order(content["joints"])},
        mass_lines={key: _mass_line(key, rule, side) for key, side, rule in _expanded(content["mass_lines"])},
    )


def _sided(name: str, side: str) -> str:
    return name.replace("*", side)


def _expanded(table: dict[str, Any]) -> Iterator[tuple[str, str, Any]]:
    for key, rule in table.items():
        for side in SIDES if "*" in key else ("",):
            yield _sided(key, side), side, rule


def _in_load_order(table: dict[str, Any]) -> list[tuple[str, str, Any]]:
    """Right leg, left leg, then what both share, each from distal to proximal."""
    return sorted(_expanded(table), key=lambda item: (*SIDES, "").index(item[1]))


def _axis(rule: dict[str, Any], side: str) -> AxisRule:
    if rule.get("direction") == "up":
        return AxisRule(rule["axis"], up=True)
    start, end = _sided(rule["from"], side), _sided(rule["to"], side)
    if rule.get("mirrored") and side == "left":
        start, end = end, start
    return AxisRule(rule["axis"], start, end)


def _frame(rule: dict[str, Any], side: str) -> FrameRule:
    return FrameRule(
        _sided(rule["segment"], side),
        _sided(rule["origin"], side),
        _axis(rule["primary"], side),
        _axis(rule["secondary"], side),
    )


def _segment(name: str, rule: dict[str, Any], side: str) -> Segment:
    return Segment(
        name,
        _sided(rule["parent"], side),
        _sided(rule["joint"], side),
        tuple(_sided(n, side) for n in rule["tracking"]),
        tuple(_sided(n, side) for n in rule["support"]),
    )


def _joint(name: str, rule: dict[str, Any], side: str) -> Joint:
    mirror = -1 if side == "left" else 1
    first, second, third = rule["signs"]
    return Joint(
        name,
        _sided(rule["proximal"], side),
        _sided(rule["distal"], side),
        _sided(rule["centre"], side),
        tuple(rule["names"]),
        (first, second * mirror, third * mirror),
        (rule["plausible"][0], rule["plausible"][1]),
        rule["toward"],
    )


def _mass_line(name: str, rule: dict[str, Any], side: str) -> MassLine:
    return MassLine(name, rule["table_segment"], _sided(rule["from"], side), _sided(rule["to"], side))

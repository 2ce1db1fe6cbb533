"""insole.toml written: the text that read_shape gives the same shape back from."""

from __future__ import annotations

import math

from jointload.insole.shape.parts import Posting
from jointload.insole.shape.shape import InsoleShape

SIX = 6
"""Decimals of millimetres and degrees."""


def toml_of(shape: InsoleShape, name: str = "insole", materials: str = "") -> str:
    """The text of insole.toml for one shape; without layers it has those that a file without layers gets.

    materials : name of the file of the user's own materials among them
    """
    lines = [f'name = "{name}"', f'side = "{shape.side}"']
    lines += [f'materials = "{materials}"'] if materials else []
    for key in ("length", "width", "base", "minimum"):
        lines.append(f"{key}_mm = {_number(1000 * getattr(shape, key))}")
    lines += _posting("rearfoot_posting", shape.rearfoot) + _posting("forefoot_posting", shape.forefoot)
    if shape.lift.height:
        lines += ["", "[heel_lift]", f"height_mm = {_number(1000 * shape.lift.height)}"]
        lines += [f"{key} = {_number(getattr(shape.lift, key))}" for key in ("ramp_start", "ramp_end")]
    if shape.cup.height:
        lines += ["", "[heel_cup]", f"height_mm = {_number(1000 * shape.cup.height)}"]
    for layer in shape.layers:
        lines += ["", "[[layers]]", f'material = "{layer.material.name}"']
        lines += [] if layer.thickness is None else [f"thickness_mm = {_number(1000 * layer.thickness)}"]
    for thin in shape.thin:
        lines += ["", "[[thin_layers]]", f'material = "{thin.material.name}"', f'under = "{thin.under}"']
        lines.append(f"thickness_mm = {_number(1000 * thin.height)}")
    return "\n".join(lines) + "\n"


def _posting(key: str, posting: Posting) -> list[str]:
    if not posting.angle:
        return []
    raised = "medial" if posting.angle > 0 else "lateral"
    lines = ["", f"[{key}]", f"degrees = {_number(abs(math.degrees(posting.angle)))}", f'raised = "{raised}"']
    return lines + [f"{name} = {_number(getattr(posting, name))}" for name in ("start", "end", "blend")]


def _number(value: float) -> str:
    return f"{round(value, SIX):g}" if abs(value) < 1e4 else repr(value)

"""insole.toml written: the text that read_shape gives the same shape back from."""

from __future__ import annotations

import math

from jointload.insole.shape.shape import InsoleShape, Posting

SIX = 6
"""Decimals of millimetres and degrees."""


def toml_of(shape: InsoleShape, name: str = "insole") -> str:
    """The text of insole.toml for one shape; its layers are those that a file without layers gets."""
    lines = [f'name = "{name}"', f'side = "{shape.side}"']
    for key in ("length", "width", "base", "minimum"):
        lines.append(f"{key}_mm = {_number(1000 * getattr(shape, key))}")
    lines += _posting("rearfoot_posting", shape.rearfoot) + _posting("forefoot_posting", shape.forefoot)
    if shape.lift.height:
        lines += ["", "[heel_lift]", f"height_mm = {_number(1000 * shape.lift.height)}"]
        lines += [f"{key} = {_number(getattr(shape.lift, key))}" for key in ("ramp_start", "ramp_end")]
    return "\n".join(lines) + "\n"


def _posting(key: str, posting: Posting) -> list[str]:
    if not posting.angle:
        return []
    raised = "medial" if posting.angle > 0 else "lateral"
    lines = ["", f"[{key}]", f"degrees = {_number(abs(math.degrees(posting.angle)))}", f'raised = "{raised}"']
    return lines + [f"{name} = {_number(getattr(posting, name))}" for name in ("start", "end", "blend")]


def _number(value: float) -> str:
    return f"{round(value, SIX):g}" if abs(value) < 1e4 else repr(value)

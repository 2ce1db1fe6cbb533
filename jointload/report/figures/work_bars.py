"""The energy that ankle, knee and hip absorbed in the landing, as bars."""

from __future__ import annotations

import numpy as np

from jointload.analysis import Analysis
from jointload.report.figures.axis import Axis, ticked
from jointload.report.figures.panel import Boxes, Panel, Shape, Words, one
from jointload.report.words.quantities import SIDE_WORDS, number_text, quantity, shown

JOINTS = ("ankle", "knee", "hip")
HALF, GAP = 0.4, 0.5
"""Half a bar's height, and between two joints, in bars."""
REACH = 1.65
"""Of the axis over the longest bar, so that its words have room."""


def absorbed_energy(analysis: Analysis) -> Panel:
    """One bar a joint and side [J/kg of body mass], named with its share of the side's sum."""
    sides = list(analysis.landing.events.sides)
    energy = {side: absorbed(analysis, side) for side in sides}

    largest = max((v for parts in energy.values() for v in parts.values() if np.isfinite(v)), default=1.0) or 1.0
    shapes: list[Shape] = []
    for row, (joint, side) in enumerate((joint, side) for joint in JOINTS for side in sides):
        place, part = row + GAP * (row // len(sides)), energy[side][joint]
        if np.isfinite(part):
            hollow = side == "left"
            look = ("", side, "/") if hollow else (side, side, "")
            shapes.append(Boxes(one(0.0), one(part), one(place - HALF), one(place + HALF), *look))
        reached = max(part, 0.0) if np.isfinite(part) else 0.0
        shapes.append(Words(_amount(energy[side], joint), reached, place, "ink", shift=(5, 0)))
    rows = [k * (len(sides) + GAP) + 0.5 * (len(sides) - 1) for k in range(len(JOINTS))]
    joints = Axis(rows[-1] + 0.5 * len(sides) + 0.3, -0.8, ticks=tuple(zip(rows, JOINTS, strict=True)), grid=False)
    told = ". ".join(
        f"{SIDE_WORDS[side].capitalize()}: "
        + ", ".join(f"{joint} {_amount(parts, joint)}" for joint in JOINTS)
        for side, parts in energy.items()
    )  # fmt: skip
    return Panel(
        "Energy absorbed", "J/kg and share of the side's sum", f"Energy absorbed [J/kg]. {told}.",
        ticked(0.0, REACH * largest, "J/kg of body mass", 4), joints, tuple(shapes), broad=True,
    )  # fmt: skip


def _amount(parts: dict[str, float], joint: str) -> str:
    total = sum(parts.values())
    if not np.isfinite(parts[joint]):
        return "not known"
    share = f", {100 * parts[joint] / total:.0f} %" if np.isfinite(total) and total > 0 else ""
    return number_text(parts[joint], "J/kg") + share


def absorbed(analysis: Analysis, side: str) -> dict[str, float]:
    """Joint -> absorbed energy [J/kg], positive."""
    out = {}
    for joint in JOINTS:
        name = f"{joint}_work_negative"
        value = next(m.value for m in analysis.measures if (m.quantity, m.side) == (name, side))
        out[joint] = -shown(value, quantity(name), analysis.landing.weight)
    return out

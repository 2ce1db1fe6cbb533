"""The energy that ankle, knee and hip absorbed in the landing, as bars."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointload.analysis import Analysis
from jointload.report.figures.sheet import INK, SIDE_STYLE, Panel
from jointload.report.words.quantities import SIDE_WORDS, number_text, quantity, shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

JOINTS = ("ankle", "knee", "hip")


def absorbed_energy(analysis: Analysis) -> Panel:
    """One bar a joint and side [J/kg of body mass], named with its share of the side's sum."""
    sides = list(analysis.landing.events.sides)
    energy = {side: absorbed(analysis, side) for side in sides}

    def draw(axes: Axes) -> None:
        largest = max((v for parts in energy.values() for v in parts.values() if np.isfinite(v)), default=1.0)
        for row, (joint, side) in enumerate((joint, side) for joint in JOINTS for side in sides):
            place = row + 0.5 * (row // len(sides))
            part, colour = energy[side][joint], SIDE_STYLE[side]["color"]
            hollow = {"facecolor": "white", "hatch": "////"} if side == "left" else {"facecolor": colour}
            if np.isfinite(part):
                axes.barh(place, part, height=0.8, edgecolor=colour, linewidth=1.0, **hollow)
            axes.text(max(part, 0.0) + 0.03 * largest if np.isfinite(part) else 0.0, place,
                      _amount(energy[side], joint), va="center", fontsize="small", color=INK)  # fmt: skip
        rows = np.arange(len(JOINTS)) * (len(sides) + 0.5) + 0.5 * (len(sides) - 1)
        axes.set_yticks(rows, list(JOINTS))
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(rows[-1] + 0.5 * len(sides) + 0.3, -0.8)
        axes.set_xlim(0.0, 1.65 * largest)
        axes.grid(axis="y", visible=False)
        axes.set_xlabel("J/kg of body mass")

    told = ". ".join(
        f"{SIDE_WORDS[side].capitalize()}: "
        + ", ".join(f"{joint} {_amount(parts, joint)}" for joint in JOINTS)
        for side, parts in energy.items()
    )  # fmt: skip
    return Panel("Energy absorbed", "J/kg and share of the side's sum", draw, f"Energy absorbed [J/kg]. {told}.")


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

"""Both feet from above at the largest force on each: where it went."""

from __future__ import annotations

import numpy as np

from jointload.analysis import Analysis
from jointload.foot.felt import MEASURED, FootBore, SoleMap
from jointload.landing.sole_regions import BALL_START, HEEL_END, TOE_START
from jointload.report.figures.axis import limits, ticked
from jointload.report.figures.panel import Boxes, Key, Panel, Shape, Sheet, Words
from jointload.report.figures.soles import BESIDE, CLASSES, LEAST_WIDTH, ROOM_FOR_WORDS, ROUND_TO, foot_name, sides_of

ROW_OF = {
    "heel": (0.0, HEEL_END),
    "midfoot": (HEEL_END, BALL_START),
    "ball": (BALL_START, TOE_START),
    "toes": (TOE_START, 2.0),
}
"""Part of the sole -> shares of the foot's length between which it lies."""


def feet_map(analysis: Analysis) -> Sheet | None:
    """Pressure under both feet on one scale, left on the left; None where the force's place is known under neither."""
    feet = {foot.side: foot for foot in analysis.feet if foot.map is not None}
    if not feet:
        return None
    highest = max(float(np.nanmax(foot.map.pressure)) for foot in feet.values() if foot.map is not None)
    top = ROUND_TO * np.ceil(1e-3 * highest / ROUND_TO)
    stance = analysis.session.rider.stance
    panels = tuple(_panel(feet[side], top, stance) for side in ("left", "right") if side in feet)
    step = top / len(CLASSES)
    keys = tuple(
        Key(f"{step * k:.0f}–{step * (k + 1):.0f}{' kPa' * (k == len(CLASSES) - 1)}", colour, width=0, hatch="")
        for k, colour in enumerate(CLASSES)
    )
    return Sheet(panels, keys, columns=2, least=LEAST_WIDTH)


def shares(told: SoleMap) -> dict[str, float]:
    """Part of the sole -> its share of the force."""
    force = np.nan_to_num(told.pressure) * told.area
    along = told.along / told.length
    whole = float(force.sum())
    return {
        part: float(force[(along >= first) & (along < last)].sum()) / whole for part, (first, last) in ROW_OF.items()
    }


def _panel(foot: FootBore, top: float, stance: str) -> Panel:
    told = foot.map
    assert told is not None
    name = foot_name(foot.side, stance).capitalize()
    parts = shares(told)
    sentence = f"{name}, {1e3 * told.time:.0f} ms after touch-down, force {foot.basis}: "
    sentence += ", ".join(f"{part} {100 * share:.0f} %" for part, share in parts.items()) + "."
    edge = 1e3 * float(np.abs(told.outward).max()) + BESIDE + ROOM_FOR_WORDS
    across = ticked(
        -edge, edge, "lateral ←  mm  → medial" if foot.side == "left" else "medial ←  mm  → lateral", grid=False
    )
    along = ticked(*limits([1e3 * told.along]), grid=False)
    shapes = (
        *_cells(told, foot.basis == MEASURED, _outward(foot.side), top),
        *_words(told, _outward(foot.side), parts),
    )
    beneath = f"at the largest force, {1e3 * told.time:.0f} ms after touch-down; mm from the heel"
    return Panel(name, beneath, sentence, across, along, shapes, equal=True)


def _outward(side: str) -> float:
    """1 where outwards is drawn to the right."""
    return 1.0 if side == "right" else -1.0


def _cells(told: SoleMap, sensors: bool, outward: float, top: float) -> list[Shape]:
    """sensors : whether they are those of an insole, in rows; the bed's cells are squares."""
    sides = sides_of(told.area, told.along) if sensors else (np.sqrt(told.area),) * 2
    long, wide = (500.0 * each for each in sides)
    x, y, pressure = 1e3 * outward * told.outward, 1e3 * told.along, 1e-3 * told.pressure
    known = np.isfinite(pressure)
    level = np.clip(len(CLASSES) * np.where(known, pressure, 0.0) / top, 0, len(CLASSES) - 1).astype(int)
    looks = [(known & (level == k), {"colour": colour}) for k, colour in enumerate(CLASSES)]
    looks.append((~known, {"edge": "soft", "hatch": "x"}))
    return [
        Boxes(x[own] - wide[own], x[own] + wide[own], y[own] - long[own], y[own] + long[own], **look)
        for own, look in looks
        if own.any()
    ]


def _words(told: SoleMap, outward: float, parts: dict[str, float]) -> list[Shape]:
    """Each part's share of the force beside it."""
    x = outward * (1e3 * float(np.abs(told.outward).max()) + BESIDE)
    out: list[Shape] = []
    for part, share in parts.items():
        first, last = ROW_OF[part]
        y = 1e3 * told.length * 0.5 * (first + min(last, 1.0))
        out.append(Words(f"{part}\n{100 * share:.0f} %", x, y, "ink", "start" if x > 0 else "end"))
    return out

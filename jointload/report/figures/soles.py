"""Pictures of the soles: the highest pressure of every sensor, and the path of the centre of pressure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.pressure import REGIONS
from jointload.intake.recording import Array
from jointload.landing.sole_regions import SoleLoad, region_of_sensors, sole_loads
from jointload.report.figures.sheet import INK, SOFT, Key, Panel, Sheet
from jointload.report.words.quantities import SIDE_WORDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CLASSES = ("#efece2", "#ecd08a", "#dd9238", "#b24a1c", "#6b1226")
"""From the least to the highest fifth of the pressure; the numbers beside the regions tell the same."""
NOT_KNOWN = "#ffffff"
PANEL_HEIGHT = 4.6
SENSOR_FILL = 0.92
"""A sensor is drawn with this share of its side, so that its neighbours stay apart."""
ROUND_TO = 50.0
"""The scale ends at a multiple of this [kPa]."""


def back_or_front(side: str, stance: str) -> str:
    """'back' or 'front' by the rider's stance, which names the back foot; '' where the stance is not told."""
    return "" if not stance else "back" if side == stance else "front"


def foot_name(side: str, stance: str) -> str:
    """Such as 'back foot (right)', or 'right foot' without a stance."""
    place, word = back_or_front(side, stance), SIDE_WORDS[side]
    return f"{place} foot ({word})" if place else f"{word} foot"


def sole_pressures(analysis: Analysis) -> Sheet:
    """Both soles from above, left on the left, on one scale of pressure."""
    soles = {sole.side: sole for sole in sole_loads(analysis.landing) if sole.regions}
    highest = max((float(np.nanmax(sole.peaks)) for sole in soles.values()), default=1e3)
    top = ROUND_TO * np.ceil(1e-3 * highest / ROUND_TO)
    stance = analysis.session.rider.stance
    panels = tuple(_panel(soles[side], top, stance) for side in ("left", "right") if side in soles)
    step = top / len(CLASSES)
    keys = [
        Key(
            f"{step * k:.0f}–{step * (k + 1):.0f}" + (" kPa" if k == len(CLASSES) - 1 else ""),
            colour,
            mark="s",
            width=0,
        )
        for k, colour in enumerate(CLASSES)
    ]
    keys += [
        Key("path", INK, width=1.4),
        Key("touch-down", INK, mark="o", hollow=True, width=0),
        Key("end", INK, mark="^", hollow=True, width=0),
    ]
    return Sheet(panels, tuple(keys), columns=2, height=PANEL_HEIGHT)


def _panel(sole: SoleLoad, top: float, stance: str) -> Panel:
    name = foot_name(sole.side, stance).capitalize()
    peaks = ", ".join(f"{REGIONS[r.region]} {_kilopascal(r.peak_pressure)}" for r in sole.regions)

    def draw(axes: Axes) -> None:
        _sensors(axes, sole, top)
        _region_numbers(axes, sole)
        _path(axes, sole)
        axes.set_aspect("equal")
        axes.set_xlabel("lateral ←  mm  → medial" if sole.side == "left" else "medial ←  mm  → lateral")
        axes.grid(False)

    told = f"{name}, highest pressures: {peaks}."
    return Panel(name, "highest pressure; mm from the heel", draw, told)


def _kilopascal(pascal: float) -> str:
    return f"{1e-3 * pascal:.0f} kPa" if np.isfinite(pascal) else "not known"


def _outward(sole: SoleLoad) -> float:
    """1 where outwards is drawn to the right."""
    return 1.0 if sole.side == "right" else -1.0


def _sensors(axes: Axes, sole: SoleLoad, top: float) -> None:
    from matplotlib.patches import Rectangle

    layout = sole.sole.recording.layout
    lengths, widths = _sides(layout.area, layout.along)
    for k, peak in enumerate(1e-3 * sole.peaks):
        known = np.isfinite(peak)
        level = min(int(len(CLASSES) * peak / top), len(CLASSES) - 1) if known else 0
        x, y = 1e3 * _outward(sole) * layout.outward[k], 1e3 * layout.along[k]
        length, width = 1e3 * SENSOR_FILL * lengths[k], 1e3 * SENSOR_FILL * widths[k]
        axes.add_patch(
            Rectangle(
                (x - 0.5 * width, y - 0.5 * length), width, length, edgecolor=SOFT, linewidth=0.4,
                facecolor=CLASSES[level] if known else NOT_KNOWN, hatch=None if known else "xxx",
            )
        )  # fmt: skip
    axes.autoscale_view()


def _sides(area: Array, along: Array) -> tuple[Array, Array]:
    """Length and width [m] that fill the sensor's area, in proportion to its distance from its neighbours."""
    rows = np.unique(np.round(along, 4))
    pitch = float(np.median(np.diff(rows))) if rows.size > 1 else float(np.sqrt(area.mean()))
    length = np.minimum(pitch, np.sqrt(area) * 1.5)
    return length, area / length


def _region_numbers(axes: Axes, sole: SoleLoad) -> None:
    """Each region's name and highest pressure beside the sole."""
    layout = sole.sole.recording.layout
    regions = np.array(region_of_sensors(layout, sole.foot_length))
    edge = 1e3 * float(np.abs(layout.outward).max()) + 12.0
    for row in sole.regions:
        mine = regions == row.region
        medial = row.region in ("medial_heel", "first_metatarsal_head", "hallux")
        outward = -1.0 if medial else 1.0
        x = _outward(sole) * outward * edge
        y = 1e3 * float(layout.along[mine].mean())
        text = f"{REGIONS[row.region].replace(' metatarsal', chr(10) + 'metatarsal')}\n{_kilopascal(row.peak_pressure)}"
        axes.text(x, y, text, ha="left" if x > 0 else "right", va="center", fontsize="small", color=INK)
    axes.set_xlim(-edge - 75.0, edge + 75.0)


def _path(axes: Axes, sole: SoleLoad) -> None:
    known = np.flatnonzero(np.isfinite(sole.path).all(axis=0))
    if not known.size:
        return
    x, y = 1e3 * _outward(sole) * sole.path[1], 1e3 * sole.path[0]
    axes.plot(x, y, color="white", linewidth=3.0)
    axes.plot(x, y, color=INK, linewidth=1.4)
    for k, mark in ((known[0], "o"), (known[-1], "^")):
        axes.plot(x[k], y[k], mark, color=INK, markerfacecolor="white", markersize=7)

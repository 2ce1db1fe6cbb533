"""Pictures of the soles: the highest pressure of every sensor, and the path of the centre of pressure."""

from __future__ import annotations

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.pressure import REGIONS
from jointload.intake.recording import Array
from jointload.landing.sole_regions import SoleLoad, region_of_sensors, sole_loads
from jointload.report.figures.axis import limits, ticked
from jointload.report.figures.panel import Boxes, Key, Line, Marks, Panel, Shape, Sheet, Words, one
from jointload.report.words.quantities import SIDE_WORDS

CLASSES = ("heat-1", "heat-2", "heat-3", "heat-4", "heat-5")
"""From the least to the highest fifth of the pressure; the numbers beside the regions tell the same."""
LEAST_WIDTH = 300.0
"""Of a sole's picture [px]; below it they stand one above the other."""
BESIDE, ROOM_FOR_WORDS = 8.0, 95.0
"""Between the sole and the words of a region, and for the words themselves [mm]."""
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
        Key(f"{step * k:.0f}–{step * (k + 1):.0f}{' kPa' * (k == len(CLASSES) - 1)}", colour, width=0, hatch="")
        for k, colour in enumerate(CLASSES)
    ]
    keys += [
        Key("path", "ink", width=1.6),
        Key("touch-down", "ink", mark="circle", hollow=True, width=0),
        Key("end", "ink", mark="triangle", hollow=True, width=0),
    ]
    return Sheet(panels, tuple(keys), columns=2, least=LEAST_WIDTH)


def _panel(sole: SoleLoad, top: float, stance: str) -> Panel:
    name = foot_name(sole.side, stance).capitalize()
    peaks = ", ".join(f"{REGIONS[r.region]} {_kilopascal(r.peak_pressure)}" for r in sole.regions)
    edge = 1e3 * float(np.abs(sole.sole.recording.layout.outward).max()) + BESIDE + ROOM_FOR_WORDS
    across = ticked(
        -edge, edge, "lateral ←  mm  → medial" if sole.side == "left" else "medial ←  mm  → lateral", grid=False
    )
    along = ticked(*limits([1e3 * sole.sole.recording.layout.along]), grid=False)
    shapes = (*_sensors(sole, top), *_region_numbers(sole), *_path(sole))
    told = f"{name}, highest pressures: {peaks}."
    return Panel(name, "highest pressure; mm from the heel", told, across, along, shapes, equal=True)


def _kilopascal(pascal: float) -> str:
    return f"{1e-3 * pascal:.0f} kPa" if np.isfinite(pascal) else "not known"


def _outward(sole: SoleLoad) -> float:
    """1 where outwards is drawn to the right."""
    return 1.0 if sole.side == "right" else -1.0


def _sensors(sole: SoleLoad, top: float) -> list[Shape]:
    layout = sole.sole.recording.layout
    lengths, widths = (1e3 * SENSOR_FILL * each for each in sides_of(layout.area, layout.along))
    x, y, peaks = 1e3 * _outward(sole) * layout.outward, 1e3 * layout.along, 1e-3 * sole.peaks
    known = np.isfinite(peaks)
    level = np.clip(len(CLASSES) * np.where(known, peaks, 0.0) / top, 0, len(CLASSES) - 1).astype(int)
    looks = [(known & (level == k), {"colour": colour, "edge": "soft"}) for k, colour in enumerate(CLASSES)]
    looks.append((~known, {"edge": "soft", "hatch": "x"}))
    half, long = 0.5 * widths, 0.5 * lengths
    return [
        Boxes(x[own] - half[own], x[own] + half[own], y[own] - long[own], y[own] + long[own], **look)
        for own, look in looks
        if own.any()
    ]


def sides_of(area: Array, along: Array) -> tuple[Array, Array]:
    """Length and width [m] that fill the sensor's area, in proportion to its distance from its neighbours."""
    rows = np.unique(np.round(along, 4))
    pitch = float(np.median(np.diff(rows))) if rows.size > 1 else float(np.sqrt(area.mean()))
    length = np.minimum(pitch, np.sqrt(area) * 1.5)
    return length, area / length


def _region_numbers(sole: SoleLoad) -> list[Shape]:
    """Each region's name and highest pressure beside the sole."""
    layout = sole.sole.recording.layout
    regions = np.array(region_of_sensors(layout, sole.foot_length))
    edge = 1e3 * float(np.abs(layout.outward).max()) + BESIDE
    out: list[Shape] = []
    for row in sole.regions:
        mine = regions == row.region
        medial = row.region in ("medial_heel", "first_metatarsal_head", "hallux")
        x = _outward(sole) * (-1.0 if medial else 1.0) * edge
        y = 1e3 * float(layout.along[mine].mean())
        text = f"{REGIONS[row.region].replace(' metatarsal', chr(10) + 'metatarsal')}\n{_kilopascal(row.peak_pressure)}"
        out.append(Words(text, x, y, "ink", "start" if x > 0 else "end"))
    return out


def _path(sole: SoleLoad) -> list[Shape]:
    """In ink on a pale seam, so that it is seen on every colour."""
    known = np.flatnonzero(np.isfinite(sole.path).all(axis=0))
    if not known.size:
        return []
    x, y = 1e3 * _outward(sole) * sole.path[1], 1e3 * sole.path[0]
    ends = zip((known[0], known[-1]), ("circle", "triangle"), strict=True)
    return [
        Line(x, y, "card", width=4.0),
        Line(x, y, "ink", width=1.6),
        *(Marks(one(x[k]), one(y[k]), shape, "ink", True, 5.0) for k, shape in ends),
    ]

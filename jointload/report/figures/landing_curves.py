"""Forces, angles, moments and powers over the landing as panels, with its phases marked."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.landing.certainty import LIKELY
from jointload.landing.landed import Landing
from jointload.numerics.rotations import rotate_back
from jointload.numerics.signals import runs
from jointload.report.figures.axis import Axis, limits, ticked
from jointload.report.figures.panel import (
    NARROW,
    SIDE_COLOURS,
    SIDE_MARKS,
    Band,
    Key,
    Marks,
    Panel,
    Rule,
    Shape,
    Sheet,
    Span,
    Words,
    one,
    side_key,
    side_line,
)
from jointload.report.figures.work_bars import JOINTS, absorbed_energy
from jointload.report.words.quantities import SIDE_WORDS, number_text
from jointload.report.words.tables import joint_moment, joint_power

ROTATIONS = {
    "side view": ("dorsiflexion", "flexion", "flexion"),
    "front view": ("inversion", "adduction", "adduction"),
}
"""The rotation of ankle, knee and hip that each view shows."""
LEANS = {
    "side view": ("trunk_lean_forward", "forward + / backward −"),
    "front view": ("trunk_lean", "right + / left −"),
}
OPPOSITE = {
    "dorsiflexion": "plantarflexion", "inversion": "eversion", "flexion": "extension", "adduction": "abduction",
    "extension": "flexion", "lateral_bend_right": "bend left",
}  # fmt: skip
HEADROOM = 0.1
"""Share of a panel's height that is kept free for the names of the phases."""
TABLE_STEPS = 10
"""Steps of the table behind the curves from first touch-down to the end of the landing."""
BAND_COLOUR = "line"
"""Of the band in the legend; each band is a pale shade of its curve."""
END_DOTS: tuple[tuple[float, ...], ...] = ((2.0, 6.0), (0.0, 4.0, 2.0, 2.0))
"""Dashes of the lines at the end of a landing [px]: where both sides end together, their dots take turns."""
BEFORE, AFTER = 0.10, 0.12
"""Shown before touch-down and after the end of the landing [s]."""
LEAST_ANGLE, LEAST_MOMENT = 10.0, 0.3
"""A panel spans at least this much [deg], [Nm/kg], so that small differences look small."""


def forces(analysis: Analysis) -> Sheet:
    """Vertical force and both horizontal forces of each foot [BW]."""
    landing = analysis.landing
    facing = landing.alignment.facing[..., None]
    ground = {s: rotate_back(facing, landing.impact_force(s)) / landing.weight for s in landing.events.sides}
    rate = landing.contact.fast_rate
    panels = [
        _panel(landing, title, f"BW, {up}", {s: force[axis] for s, force in ground.items()}, rate, peaks=axis == 1)
        for axis, title, up in (
            (1, "Vertical force", "upward + on the foot"),
            (0, "Force forward", "forward + / braking −"),
            (2, "Force across", "to the right + / left −"),
        )
    ]
    return _sheet(landing, panels)


def balance(analysis: Analysis) -> Sheet | None:
    """Force on the plates that weight and motion of the whole body leave over [BW], None where it was not balanced."""
    landing = analysis.landing
    if landing.balance is None:
        return None
    both = (("by the markers", landing.balance.force), ("with swinging flesh", landing.balance.left))
    ends = _common_limits(landing, [left[axis] / landing.weight for _, left in both for axis in (1, 0)])
    unit, rate = "BW, plates − motion and weight", landing.poses.rate
    panels = [
        _panel(landing, f"Left over {words}, {way}", unit, {"": left[axis] / landing.weight}, rate, ends=ends)
        for axis, way in ((1, "upward"), (0, "forward"))
        for words, left in both
    ]
    return _sheet(landing, panels, columns=4, body=True)


def angles(analysis: Analysis) -> Sheet:
    """Ankle, knee and hip angles and the lean of the trunk [deg], side view first, then front view."""
    landing = analysis.landing
    panels = []
    for view, rotations in ROTATIONS.items():
        for joint, rotation in zip(JOINTS, rotations, strict=True):
            series = {s: np.rad2deg(landing.angles.of(f"{s}_{joint}", rotation)) for s in landing.events.sides}
            title, up = f"{joint.capitalize()} angle, {view}", f"deg, {_signed(rotation)}"
            bands = _bands(analysis, "angle", joint, rotation)
            panels.append(_panel(landing, title, up, series, landing.poses.rate, LEAST_ANGLE, bands=bands))
        lean, up = LEANS[view]
        series = {"": np.rad2deg(getattr(landing.alignment, lean))}
        panels.append(_panel(landing, f"Trunk lean, {view}", f"deg, {up}", series, landing.poses.rate, LEAST_ANGLE))
    return _sheet(landing, panels, columns=4, body=True, banded=analysis.certainty is not None)


def moments(analysis: Analysis) -> Sheet:
    """Ankle, knee, hip and L5/S1 moments [Nm/kg], side view first, then front view."""
    landing = analysis.landing
    panels = []
    for view, rotations in ROTATIONS.items():
        for joint, rotation in zip(JOINTS, rotations, strict=True):
            found = {side: joint_moment(landing, f"{side}_{joint}", rotation) for side in landing.events.sides}
            series = {side: moment for side, (_, _, moment) in found.items()}
            kind = next(iter(found.values()))[1]
            title, up = f"{joint.capitalize()} moment, {view}", f"Nm/kg {kind}, {_signed(rotation)}"
            # The draws keep one split of a shared plate: their band would hide how much wider a leg's moments are.
            bands = _bands(analysis, "moment", joint, rotation) if landing.split is None else {}
            panels.append(_panel(landing, title, up, series, landing.poses.rate, LEAST_MOMENT, bands=bands))
        rotation = "flexion" if view == "side view" else "lateral_bend_right"
        name, kind, lumbar = joint_moment(landing, "l5s1", rotation)
        title, up = f"L5/S1 moment, {view}", f"Nm/kg {kind}, {_signed(name)}"
        bands = _bands(analysis, "moment", "", rotation)
        panels.append(_panel(landing, title, up, {"": lumbar}, landing.poses.rate, LEAST_MOMENT, bands=bands))
    return _sheet(landing, panels, columns=4, body=True, banded=analysis.certainty is not None)


def powers(analysis: Analysis) -> Sheet:
    """Joint powers on one scale [W/kg], then the energy that each joint absorbed [J/kg]."""
    landing = analysis.landing
    found = {j: {s: joint_power(landing, f"{s}_{j}") for s in landing.events.sides} for j in JOINTS}
    ends = _common_limits(landing, [values for series in found.values() for values in series.values()])
    panels = [
        _panel(landing, f"{joint.capitalize()} power", "W/kg, generates + / absorbs −", series, landing.poses.rate,
               ends=ends)
        for joint, series in found.items()
    ]  # fmt: skip
    return _sheet(landing, [*panels, absorbed_energy(analysis)], columns=4)


def shown_span(landing: Landing) -> tuple[float, float]:
    """Time that the curves show [ms from zero]."""
    ends = [
        (e.landing_end if np.isfinite(e.landing_end) else e.touchdown + 0.2) - zero_of(landing, side)
        for side, e in landing.events.sides.items()
    ]
    return -1000 * BEFORE, 1000 * (max(ends) + AFTER)


def zero_of(landing: Landing, side: str) -> float:
    """Time zero [s]: the first touch-down of a landing; each foot's own touch-down of a step."""
    landed = landing.events.kind == "landing" or not side
    return landing.events.first_touchdown if landed else landing.events.sides[side].touchdown


# Pieces -------------------------------------------------------------------------------------------------------------


def _sheet(landing: Landing, panels: list[Panel], columns: int = 3, body: bool = False, banded: bool = False) -> Sheet:
    keys = [side_key(side, SIDE_WORDS[side]) for side in landing.events.sides]
    keys += [side_key("", "whole body")] if body else []
    keys += [Key("95 % band", BAND_COLOUR, width=8)] if banded else []
    end = "end of the landing" if landing.events.kind == "landing" else "end of the contact"
    keys += [Key("touch-down", "soft", width=1.2), Key(end, "soft", (2, 3), width=1.2)]
    rows = tuple(f"{time:.0f}" for time in _table_times(landing))
    return Sheet(tuple(panels), tuple(keys), columns, narrow=NARROW, rows=rows)


def time_axis(landing: Landing) -> Axis:
    left, right = shown_span(landing)
    kind = "first" if landing.events.kind == "landing" else "own"
    return ticked(left, right, f"ms from {kind} touch-down")


def _panel(
    landing: Landing,
    title: str,
    subtitle: str,
    series: dict[str, Array],
    rate: float,
    least: float = 0.0,
    peaks: bool = False,
    ends: tuple[float, float] | None = None,
    bands: Mapping[str, Array] | None = None,
) -> Panel:
    """A curve a side; bands : half-width of each curve's 95 % band;  ends : of the vertical axis, its own if None."""
    shown = {side: _shown(landing, side, values, rate) for side, values in series.items()}
    reached = [values for _, values in shown.values()]
    edges: list[Shape] = []
    for side, half in (bands or {}).items():
        (time, low), (_, high) = (_shown(landing, side, series[side] + sign * half, rate) for sign in (-1, 1))
        edges.append(Band(time, low, high, SIDE_COLOURS[side]))
        reached += [low, high]
    bottom, top = limits([*reached, 0.0], least) if ends is None else ends
    unit = subtitle.split(",")[0]
    return Panel(
        title,
        subtitle,
        f"{title}, {subtitle}. {_told(landing, series, rate, unit)}",
        time_axis(landing),
        ticked(bottom, top + HEADROOM * (top - bottom)),
        (
            *_phases(landing),
            *edges,
            *(side_line(side, *curve) for side, curve in shown.items()),
            *_unknown(landing, series, rate),
            *(_peaks(landing, series) if peaks else ()),
        ),
        timed=True,
        behind={
            f"{title}, {SIDE_WORDS[side]} [{unit}]": _cells(landing, side, values, rate, unit)
            for side, values in series.items()
        },
    )


def _shown(landing: Landing, side: str, values: Array, rate: float) -> tuple[Array, Array]:
    """Times [ms] and values inside the shown time."""
    left, right = shown_span(landing)
    time = _times(landing, side, values.size, rate)
    seen = (time >= left) & (time <= right)
    return time[seen], values[seen]


def _bands(analysis: Analysis, of: str, joint: str, rotation: str) -> dict[str, Array]:
    """Side -> (F,) [deg] or [Nm/kg] from 'angle' or 'moment' to the edge of its 95 % band, empty without draws; the
    joint '' is L5/S1."""
    certainty, landing = analysis.certainty, analysis.landing
    if certainty is None:
        return {}
    names = {side: f"{side}_{joint}" for side in landing.events.sides} if joint else {"": "l5s1"}
    out = {}
    for side, name in names.items():
        j = landing.angles.joints.index(name)
        spread = getattr(certainty, of)[landing.angles.rotations[j].index(rotation), j]
        out[side] = LIKELY * (np.rad2deg(spread) if of == "angle" else spread * G / landing.weight)
    return out


def _times(landing: Landing, side: str, samples: int, rate: float) -> Array:
    """(N,) [ms] from this side's zero."""
    return 1000 * (np.arange(samples) / rate - zero_of(landing, side))


def _table_times(landing: Landing) -> Array:
    """Times [ms] of the table's rows."""
    _, right = shown_span(landing)
    return np.linspace(0.0, right - 1000 * AFTER, TABLE_STEPS + 1)


def _cells(landing: Landing, side: str, values: Array, rate: float, unit: str) -> list[str]:
    """The values nearest to the table's times."""
    samples = np.rint((_table_times(landing) / 1000 + zero_of(landing, side)) * rate).astype(int)
    return [
        number_text(float(values[k]) if k < values.size else float("nan"), unit.split(" ")[0], extra=1) for k in samples
    ]


def _told(landing: Landing, series: dict[str, Array], rate: float, unit: str) -> str:
    """The curves in a sentence: range and the time of the largest value, of each side."""
    left, right = shown_span(landing)
    texts = []
    for side, values in series.items():
        time = _times(landing, side, values.size, rate)
        seen = (time >= left) & (time <= right) & np.isfinite(values)
        name = SIDE_WORDS[side].capitalize()
        if not seen.any():
            texts.append(f"{name}: not known")
            continue
        low, high = (
            f"{number_text(float(values[seen][k]), unit.split(' ')[0])} at {time[seen][k]:.0f} ms"
            for k in (int(np.argmin(values[seen])), int(np.argmax(values[seen])))
        )
        gaps = "" if np.isfinite(values[(time >= left) & (time <= right)]).all() else ", with gaps"
        texts.append(f"{name}: lowest {low}, highest {high}{gaps}")
    return ". ".join(texts) + "."


def _common_limits(landing: Landing, curves: list[Array]) -> tuple[float, float]:
    left, right = shown_span(landing)
    rate, zero = landing.poses.rate, landing.events.first_touchdown
    window = slice(max(round((left / 1000 + zero) * rate), 0), round((right / 1000 + zero) * rate) + 1)
    return limits([*(curve[window] for curve in curves), -1.0, 1.0])


def _phases(landing: Landing) -> list[Shape]:
    """The landing as a band between flight and what follows; touch-down and end of each side as lines."""
    events, out = landing.events, list[Shape]()
    ends = [e.landing_end - zero_of(landing, s) for s, e in events.sides.items() if np.isfinite(e.landing_end)]
    if ends:
        last = 1000 * max(ends)
        out.append(Span(0.0, last))
        if events.kind == "landing":
            left, right = shown_span(landing)
            places = {"flight": 0.5 * left, "landing": 0.5 * last, "after": 0.5 * (last + right)}
            out += [
                Words(word, at, 1.0, anchor="middle", shift=(0, -8), shared=(False, True))
                for word, at in places.items()
            ]
    out.append(Rule(0.0))
    for k, (side, e) in enumerate(events.sides.items()):
        for time, dots in ((e.touchdown, ()), (e.landing_end, END_DOTS[k])):
            if np.isfinite(time):
                out.append(Rule(1000 * (time - zero_of(landing, side)), True, side, dots, 1.2))
    return out


def _unknown(landing: Landing, series: dict[str, Array], rate: float) -> list[Shape]:
    """A hatched strip at the foot of the panel where a side is not known."""
    left, right = shown_span(landing)
    out: list[Shape] = []
    for row, (side, values) in enumerate(series.items()):
        time, low = _times(landing, side, values.size, rate), 0.09 * row
        hidden = ~np.isfinite(values) & (time >= left) & (time <= right)
        for start, stop in runs(hidden):
            out.append(Span(time[start], time[stop - 1], SIDE_COLOURS[side], low, low + 0.07, hatch="/"))
        if hidden.any():
            words = f"{SIDE_WORDS[side]} not known"
            out.append(Words(words, 1.0, low + 0.035, SIDE_COLOURS[side], "end", (-4, 0), (True, True)))
    return out


def _peaks(landing: Landing, series: dict[str, Array]) -> list[Shape]:
    """A mark with its number at the largest vertical force of each side, the larger number on top."""
    found: dict[str, tuple[float, float]] = {}
    for side, vertical in series.items():
        window, rate = landing.fast_window(side), landing.contact.fast_rate
        if vertical[window].size and np.isfinite(vertical[window]).all():
            peak = window.start + int(np.argmax(vertical[window]))
            found[side] = float(_times(landing, side, vertical.size, rate)[peak]), float(vertical[peak])
    out: list[Shape] = []
    for row, (side, (x, y)) in enumerate(sorted(found.items(), key=lambda each: -each[1][1])):
        out.append(Marks(one(x), one(y), SIDE_MARKS[side], side, side == "left"))
        out.append(Words(number_text(y, "BW"), x, y, side, shift=(9, 6 - 14 * row)))
    return out


def _signed(rotation: str) -> str:
    """flexion + / extension −"""
    opposite = f" / {OPPOSITE[rotation]} −" if rotation in OPPOSITE else ""
    return f"{rotation.replace('_', ' ').replace('lateral bend', 'bend')} +{opposite}"

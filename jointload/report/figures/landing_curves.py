"""Forces, angles, moments and powers over the landing as panels, with its phases marked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.landing.certainty import LIKELY
from jointload.landing.landed import Landing
from jointload.numerics.rotations import rotate_back
from jointload.numerics.signals import runs
from jointload.report.figures.sheet import FAINT, INK, SIDE_STYLE, SOFT, Key, Panel, Sheet
from jointload.report.figures.work_bars import JOINTS, absorbed_energy
from jointload.report.words.quantities import SIDE_WORDS, number_text
from jointload.report.words.tables import joint_moment, joint_power

if TYPE_CHECKING:
    from matplotlib.axes import Axes

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
BODY_STYLE: dict[str, Any] = {"color": INK, "linestyle": "-."}
"""A curve of the whole body, which has no side."""
HEADROOM = 0.1
"""Share of a panel's height that is kept free for the names of the phases."""
TABLE_STEPS = 10
"""Steps of the table behind the curves from first touch-down to the end of the landing."""
BAND_COLOUR = "#d3d8dc"
"""Of the band in the legend; each band is a pale shade of its curve."""
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
    limits = _common_limits(landing, [left[axis] / landing.weight for _, left in both for axis in (1, 0)])
    unit, rate = "BW, plates − motion and weight", landing.poses.rate
    panels = [
        _panel(landing, f"Left over {words}, {way}", unit, {"": left[axis] / landing.weight}, rate, limits=limits)
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
    limits = _common_limits(landing, [values for series in found.values() for values in series.values()])
    panels = [
        _panel(landing, f"{joint.capitalize()} power", "W/kg, generates + / absorbs −", series, landing.poses.rate,
               limits=limits)
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
    keys = [legend_key(SIDE_WORDS[side], SIDE_STYLE[side]) for side in landing.events.sides]
    keys += [legend_key("whole body", BODY_STYLE)] if body else []
    keys += [Key("95 % band", BAND_COLOUR, width=7)] if banded else []
    end = "end of the landing" if landing.events.kind == "landing" else "end of the contact"
    keys += [Key("touch-down", SOFT, width=0.9), Key(end, SOFT, (1.5, 1.5), width=0.9)]
    rows = tuple(f"{time:.0f}" for time in _table_times(landing))
    return Sheet(tuple(panels), tuple(keys), columns, rows=rows)


def legend_key(label: str, style: Mapping[str, Any]) -> Key:
    dashes = {"-": (), "-.": (6, 2, 1, 2)}.get(style["linestyle"]) if isinstance(style["linestyle"], str) else None
    return Key(label, style["color"], style["linestyle"][1] if dashes is None else dashes)


def _panel(
    landing: Landing,
    title: str,
    subtitle: str,
    series: dict[str, Array],
    rate: float,
    least: float = 0.0,
    peaks: bool = False,
    limits: tuple[float, float] | None = None,
    bands: Mapping[str, Array] | None = None,
) -> Panel:
    """A curve a side; bands : half-width of each curve's 95 % band."""

    def draw(axes: Axes) -> None:
        _curves(axes, landing, series, rate, bands or {})
        _widen(axes, least)
        if limits is not None:
            axes.set_ylim(*limits)
        if peaks:
            for side, values in series.items():
                _mark_peak(axes, landing, side, values)
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + HEADROOM * (high - low))

    unit = subtitle.split(",")[0]
    told = f"{title}, {subtitle}. {_told(landing, series, rate, unit)}"
    behind = {
        f"{title}, {SIDE_WORDS[side]} [{unit}]": _cells(landing, side, values, rate, unit)
        for side, values in series.items()
    }
    return Panel(title, subtitle, draw, told, timed=True, behind=behind)


def _curves(axes: Axes, landing: Landing, series: dict[str, Array], rate: float, bands: Mapping[str, Array]) -> None:
    """One curve a side over the shown time in its band, with the phases marked and unknown stretches named."""
    left, right = shown_span(landing)
    _mark_phases(axes, landing)
    for side, values in series.items():
        time = _times(landing, side, values.size, rate)
        seen = (time >= left) & (time <= right)
        style = SIDE_STYLE[side] if side else BODY_STYLE
        axes.plot(time[seen], values[seen], **style)
        if side in bands:
            low, high = values - bands[side], values + bands[side]
            axes.fill_between(
                time[seen], low[seen], high[seen], color=style["color"], alpha=0.16, linewidth=0, zorder=1
            )
    _mark_unknown(axes, landing, series, rate)
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=1)
    axes.set_xlim(left, right)
    axes.set_xlabel("ms from first touch-down" if landing.events.kind == "landing" else "ms from own touch-down")


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
    seen = np.concatenate([curve[window] for curve in curves])
    seen = np.append(seen[np.isfinite(seen)], (-1.0, 1.0))
    room = 0.05 * np.ptp(seen)
    return float(seen.min() - room), float(seen.max() + room)


def _widen(axes: Axes, least: float) -> None:
    """Widen the vertical range about its middle to at least `least`."""
    low, high = axes.get_ylim()
    if high - low < least:
        middle = 0.5 * (low + high)
        axes.set_ylim(middle - 0.5 * least, middle + 0.5 * least)


def _mark_phases(axes: Axes, landing: Landing) -> None:
    """The landing as a band between flight and what follows; touch-down and end of each side as lines."""
    events = landing.events
    ends = [e.landing_end - zero_of(landing, s) for s, e in events.sides.items() if np.isfinite(e.landing_end)]
    if ends:
        last = 1000 * max(ends)
        axes.axvspan(0.0, last, color=FAINT, linewidth=0, zorder=0)
        if events.kind == "landing":
            left, right = shown_span(landing)
            for place, word in ((0.5 * left, "flight"), (0.5 * last, "landing"), (0.5 * (last + right), "after")):
                axes.text(place, 0.985, word, transform=axes.get_xaxis_transform(), ha="center", va="top",
                          fontsize="x-small", color=SOFT)  # fmt: skip
    for k, (side, e) in enumerate(events.sides.items()):
        ended: Any = (3.0 * k, (1.5, 4.5))
        for time, dots in ((e.touchdown, "-"), (e.landing_end, ended)):
            if np.isfinite(time):
                place = 1000 * (time - zero_of(landing, side))
                axes.axvline(place, color=SIDE_STYLE[side]["color"], linestyle=dots, linewidth=1.0, zorder=1.2)


def _mark_unknown(axes: Axes, landing: Landing, series: dict[str, Array], rate: float) -> None:
    """A hatched strip at the foot of the panel where a side is not known."""
    left, right = shown_span(landing)
    for row, (side, values) in enumerate(series.items()):
        time, low = _times(landing, side, values.size, rate), 0.06 * row
        colour = (SIDE_STYLE[side] if side else BODY_STYLE)["color"]
        hidden = ~np.isfinite(values) & (time >= left) & (time <= right)
        for start, stop in runs(hidden):
            axes.axvspan(
                time[start], time[stop - 1], ymin=low, ymax=low + 0.05, facecolor="none", edgecolor=colour,
                hatch="/////", linewidth=0.0,
            )  # fmt: skip
        if hidden.any():
            axes.text(
                0.98, low + 0.025, f"hatched: {SIDE_WORDS[side]} not known", transform=axes.transAxes, ha="right",
                va="center", fontsize=7, color=colour, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
            )  # fmt: skip


def _mark_peak(axes: Axes, landing: Landing, side: str, vertical: Array) -> None:
    window, rate = landing.fast_window(side), landing.contact.fast_rate
    if not vertical[window].size or not np.isfinite(vertical[window]).all():
        return
    peak = window.start + int(np.argmax(vertical[window]))
    place = (_times(landing, side, vertical.size, rate)[peak], vertical[peak])
    hollow: Any = {"markerfacecolor": "white"} if side == "left" else {}
    colour = SIDE_STYLE[side]["color"]
    axes.plot(*place, "s" if side == "left" else "o", color=colour, markersize=5, **hollow)
    axes.annotate(
        number_text(float(vertical[peak]), "BW"), place, xytext=(7, 1 if side == "right" else -5),
        textcoords="offset points", color=colour, fontsize="small",
        bbox={"facecolor": FAINT, "edgecolor": "none", "pad": 0.3},
    )  # fmt: skip


def _signed(rotation: str) -> str:
    """flexion + / extension −"""
    opposite = f" / {OPPOSITE[rotation]} −" if rotation in OPPOSITE else ""
    return f"{rotation.replace('_', ' ').replace('lateral bend', 'bend')} +{opposite}"

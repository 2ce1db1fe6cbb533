"""Curves, work and predicted changes as SVG: dash, shape and label carry meaning beside colour, never colour alone."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.landing.certainty import LIKELY
from jointload.landing.landed import Landing
from jointload.numerics.rotations import rotate_back
from jointload.numerics.signals import runs
from jointload.report.quantities import SIDE_WORDS, number_text, quantity, shown
from jointload.report.tables import distinguishable, joint_moment, joint_power, ordered_changes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, SOFT = "#1d2526", "#566365"
STYLE: Any = {
    "font.family": "DejaVu Sans", "font.size": 9, "axes.titlesize": 10, "axes.titleweight": "bold",
    "axes.titlelocation": "left", "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": SOFT,
    "axes.labelcolor": INK, "axes.grid": True, "grid.color": "#e4e7e3", "grid.linewidth": 0.7, "xtick.color": SOFT,
    "ytick.color": SOFT, "lines.linewidth": 1.7, "legend.frameon": False, "svg.fonttype": "path",
    "svg.hashsalt": "jointload", "figure.constrained_layout.use": True,
}  # fmt: skip
SIDE_STYLE: dict[str, dict[str, Any]] = {
    "r": {"color": "#0b3c6f", "linestyle": "-"},
    "l": {"color": "#c4621a", "linestyle": (0, (5, 1.6))},
}
JOINT_FILL = {"ankle": ("#7fb7be", "//"), "knee": ("#e8d5a3", ""), "hip": ("#b79ac8", "..")}
OPPOSITE = {
    "dorsiflexion": "plantarflexion", "inversion": "eversion", "flexion": "extension", "adduction": "abduction",
    "extension": "flexion",
}  # fmt: skip
GRID = tuple(zip(("ankle", "knee", "hip"), ("dorsiflexion", "flexion", "flexion"), strict=True)) + tuple(
    zip(("ankle", "knee", "hip"), ("inversion", "adduction", "adduction"), strict=True)
)
"""Joint and rotation of every panel: side view above, front view below."""
BEFORE, AFTER = 0.10, 0.12
"""Shown before touch-down and after the end of the landing [s]."""
LEAST_ANGLE, LEAST_MOMENT = 10.0, 0.3
"""A panel spans at least this much [deg], [Nm/kg], so that small differences look small."""


def drawn(draw: Callable[[Figure, Analysis], None], analysis: Analysis) -> bytes:
    """Draw in this package's style and return the SVG; the same analysis gives the same bytes."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with rc_context(STYLE):
        figure = Figure()
        FigureCanvasSVG(figure)
        draw(figure, analysis)
        out = io.BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def forces(analysis: Analysis) -> bytes:
    """Vertical force and both horizontal forces of each foot [BW]."""
    return drawn(_forces, analysis)


def angles(analysis: Analysis) -> bytes:
    """Ankle, knee and hip angles [deg], side view above, front view below."""
    return drawn(_angles, analysis)


def moments(analysis: Analysis) -> bytes:
    """Ankle, knee, hip and L5/S1 moments [Nm/kg], side view above, front view below."""
    return drawn(_moments, analysis)


def work(analysis: Analysis) -> bytes:
    """Joint powers [W/kg] above, absorbed energy per joint and side [J/kg] below."""
    return drawn(_work, analysis)


def changes(analysis: Analysis, whatif: Any) -> bytes:
    """Predicted changes with both 95 % intervals, one panel a unit."""
    return drawn(lambda figure, _: _changes(figure, analysis, whatif), analysis)


COMPARED = (
    "knee_adduction_moment_peak", "knee_flexion_moment_peak", "hip_adduction_moment_peak",
    "ankle_inversion_moment_peak", "rearfoot_roll", "pressure_centre_medial",
)  # fmt: skip
"""Quantities of the comparison of shapes: the knee in both planes, what it may cost elsewhere, and the foot."""


def comparison(analysis: Analysis, whatif: Any) -> bytes:
    """Predicted changes of several shapes beside each other with both 95 % intervals, one panel a quantity."""
    return drawn(lambda figure, _: _comparison(figure, analysis, whatif), analysis)


# Curves -------------------------------------------------------------------------------------------------------------


def _zero(landing: Landing, side: str) -> float:
    """Time zero [s]: the first touch-down of a landing; each foot's own touch-down of a step."""
    landed = landing.events.kind == "landing"
    return landing.events.first_touchdown if landed else landing.events.sides[side].touchdown


def _time_label(landing: Landing) -> str:
    return "ms from first touch-down" if landing.events.kind == "landing" else "ms from own touch-down"


def _times(landing: Landing, side: str, samples: int, rate: float) -> Array:
    """(N,) [ms] from this side's zero."""
    return 1000 * (np.arange(samples) / rate - _zero(landing, side))


def _span(landing: Landing) -> tuple[float, float]:
    """Shown time [ms]."""
    ends = [
        (e.landing_end if np.isfinite(e.landing_end) else e.touchdown + 0.2) - _zero(landing, side)
        for side, e in landing.events.sides.items()
    ]
    return -1000 * BEFORE, 1000 * (max(ends) + AFTER)


def _curves(
    axes: Axes,
    landing: Landing,
    series: dict[str, Array],
    rate: float,
    least: float = 0.0,
    bands: dict[str, Array] | None = None,
) -> None:
    """One curve a side over the shown time, with touch-down and landing end marked and unknown stretches named.

    bands : half-width of each curve's band
    """
    left, right = _span(landing)
    for side, values in series.items():
        time = _times(landing, side, values.size, rate)
        seen = (time >= left) & (time <= right)
        axes.plot(time[seen], values[seen], label=SIDE_WORDS[side], **SIDE_STYLE[side])
        if bands:
            _band(axes, time[seen], values[seen], bands[side][seen], SIDE_STYLE[side]["color"])
    _mark_events(axes, landing)
    _mark_unknown(axes, landing, series, rate)
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=1)
    axes.set_xlim(left, right)
    _widen(axes, least)


def _band(axes: Axes, time: Array, values: Array, half: Array, colour: str) -> None:
    axes.fill_between(time, values - half, values + half, color=colour, alpha=0.16, linewidth=0.0, zorder=1)


def _half_width(analysis: Analysis, of: str, joint: str, rotation: str) -> Array | None:
    """(F,) [deg] or [Nm/kg] from a joint's 'angle' or 'moment' to the edge of its 95 % band, None without draws."""
    if analysis.certainty is None:
        return None
    landing = analysis.landing
    j = landing.angles.joints.index(joint)
    spread = getattr(analysis.certainty, of)[landing.angles.rotations[j].index(rotation), j]
    return LIKELY * (np.rad2deg(spread) if of == "angle" else spread * G / landing.weight)


def _half_widths(analysis: Analysis, of: str, joint: str, rotation: str) -> dict[str, Array]:
    found = {side: _half_width(analysis, of, f"{joint}_{side}", rotation) for side in analysis.landing.events.sides}
    return {side: half for side, half in found.items() if half is not None}


def _widen(axes: Axes, least: float) -> None:
    """Widen the vertical range about its middle to at least `least`."""
    low, high = axes.get_ylim()
    if high - low < least:
        middle = 0.5 * (low + high)
        axes.set_ylim(middle - 0.5 * least, middle + 0.5 * least)


def _mark_events(axes: Axes, landing: Landing) -> None:
    for side, events in landing.events.sides.items():
        for time, dots in ((events.touchdown, "-"), (events.landing_end, ":")):
            if np.isfinite(time):
                place = 1000 * (time - _zero(landing, side))
                axes.axvline(place, color=SIDE_STYLE[side]["color"], linestyle=dots, linewidth=0.9, zorder=1)


def _mark_unknown(axes: Axes, landing: Landing, series: dict[str, Array], rate: float) -> None:
    """A hatched strip at the foot of the panel where a side is not known."""
    left, right = _span(landing)
    for row, (side, values) in enumerate(series.items()):
        time, colour, low = _times(landing, side, values.size, rate), SIDE_STYLE[side]["color"], 0.06 * row
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


def _side_legend(figure: Figure, axes: Axes, landing: Landing) -> None:
    from matplotlib.lines import Line2D

    handles, labels = axes.get_legend_handles_labels()
    handles += [Line2D([], [], color=INK, linewidth=0.9, linestyle=dots) for dots in ("-", ":")]
    end = "end of the landing" if landing.events.kind == "landing" else "end of the contact"
    figure.legend(handles, [*labels, "touch-down", end], loc="outside upper right", ncols=4)


def _signed(rotation: str, suffix: str) -> str:
    """flexion + / extension −, then the unit."""
    opposite = f" / {OPPOSITE[rotation]} −" if rotation in OPPOSITE else ""
    return f"{rotation.replace('_', ' ')} +{opposite}\n{suffix}"


def _forces(figure: Figure, analysis: Analysis) -> None:
    landing = analysis.landing
    figure.set_size_inches(10, 7)
    panels = figure.subplots(3, 1, sharex=True, height_ratios=(2.2, 1, 1))
    facing = landing.alignment.facing[..., None]
    ground = {s: rotate_back(facing, landing.impact_force(s)) / landing.weight for s in landing.events.sides}
    for axes, component, title, label in (
        (panels[0], 1, "Vertical force", "up +\n[BW]"),
        (panels[1], 0, "Horizontal force along the pelvis' forward direction at touch-down", "forward +\n[BW]"),
        (panels[2], 2, "Horizontal force across it", "to the right +\n[BW]"),
    ):
        _curves(axes, landing, {s: force[component] for s, force in ground.items()}, landing.contact.fast_rate)
        axes.set_title(title)
        axes.set_ylabel(label)
    for side, force in ground.items():
        _mark_peak(panels[0], landing, side, force[1])
    panels[-1].set_xlabel(_time_label(landing))
    _side_legend(figure, panels[0], landing)


def _mark_peak(axes: Axes, landing: Landing, side: str, vertical: Array) -> None:
    window, rate = landing.fast_window(side), landing.contact.fast_rate
    if not vertical[window].size or not np.isfinite(vertical[window]).all():
        return
    peak = window.start + int(np.argmax(vertical[window]))
    place = (_times(landing, side, vertical.size, rate)[peak], vertical[peak])
    axes.plot(*place, "v", color=SIDE_STYLE[side]["color"], markersize=6)
    offset, edge = ((-8, 3), "right") if side == "r" else ((8, 3), "left")
    axes.annotate(
        f"{SIDE_WORDS[side]} {number_text(float(vertical[peak]), 'BW')}", place, xytext=offset,
        textcoords="offset points", color=SIDE_STYLE[side]["color"], ha=edge,
    )  # fmt: skip


def _angles(figure: Figure, analysis: Analysis) -> None:
    landing = analysis.landing
    figure.set_size_inches(10, 5.8)
    panels = figure.subplots(2, 3, sharex=True).ravel()
    for k, (axes, (joint, rotation)) in enumerate(zip(panels, GRID, strict=True)):
        series = {s: np.rad2deg(landing.angles.of(f"{joint}_{s}", rotation)) for s in landing.events.sides}
        bands = _half_widths(analysis, "angle", joint, rotation)
        _curves(axes, landing, series, landing.poses.rate, LEAST_ANGLE, bands)
        axes.set_title(f"{joint.capitalize()}, {'side' if k < 3 else 'front'} view")
        axes.set_ylabel(_signed(rotation, "[deg]"))
    for axes in panels[3:]:
        axes.set_xlabel(_time_label(landing))
    _side_legend(figure, panels[0], landing)


def _moments(figure: Figure, analysis: Analysis) -> None:
    landing = analysis.landing
    figure.set_size_inches(11, 6.6)
    grid = figure.subplots(2, 4, sharex=True)
    for axes, (joint, rotation) in zip(grid[:, :3].ravel(), GRID, strict=True):
        found = {side: joint_moment(landing, f"{joint}_{side}", rotation) for side in landing.events.sides}
        series = {side: moment for side, (_, _, moment) in found.items()}
        bands = _half_widths(analysis, "moment", joint, rotation)
        _curves(axes, landing, series, landing.poses.rate, LEAST_MOMENT, bands)
        kind = next(iter(found.values()))[1]
        axes.set_title(f"{joint.capitalize()}, {kind}")
        axes.set_ylabel(_signed(rotation, "[Nm/kg]"))
    for axes, rotation in zip(grid[:, 3], ("flexion", "lateral_bend_right"), strict=True):
        _lumbar_moment(axes, landing, rotation, _half_width(analysis, "moment", "l5s1", rotation))
    for axes in grid[1]:
        axes.set_xlabel(_time_label(landing))
    _side_legend(figure, grid[0, 0], landing)


def _lumbar_moment(axes: Axes, landing: Landing, rotation: str, half: Array | None) -> None:
    """The lower back has no side; its time starts at the first touch-down."""
    name, kind, moment = joint_moment(landing, "l5s1", rotation)
    left, right = _span(landing)
    time = 1000 * (np.arange(moment.size) / landing.poses.rate - landing.events.first_touchdown)
    seen = (time >= left) & (time <= right)
    axes.plot(time[seen], moment[seen], color=INK, linestyle="-.")
    if half is not None:
        _band(axes, time[seen], moment[seen], half[seen], INK)
    if not np.isfinite(moment[seen]).all():
        text = "gaps: not known" if np.isfinite(moment[seen]).any() else "not known"
        axes.text(0.98, 0.03, text, transform=axes.transAxes, ha="right", fontsize=7, color=INK)
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=1)
    axes.set_title(f"L5/S1, {kind}")
    axes.set_ylabel(_signed(name, "[Nm/kg]"))
    _widen(axes, LEAST_MOMENT)


# Work ---------------------------------------------------------------------------------------------------------------


def _work(figure: Figure, analysis: Analysis) -> None:
    landing = analysis.landing
    figure.set_size_inches(10, 5.8)
    grid = figure.add_gridspec(2, 3, height_ratios=(1.5, 1))
    panels: Any = grid[0, :].subgridspec(1, 3).subplots(sharey=True)
    for axes, joint in zip(panels, JOINT_FILL, strict=True):
        series = {side: joint_power(landing, f"{joint}_{side}") for side in landing.events.sides}
        _curves(axes, landing, series, landing.poses.rate)
        axes.set_title(f"{joint.capitalize()} power")
        axes.set_xlabel(_time_label(landing))
    panels[0].set_ylabel("generates + / absorbs −\n[W/kg]")
    _work_bars(figure.add_subplot(grid[1, :]), analysis)
    _side_legend(figure, panels[0], landing)


def _work_bars(axes: Axes, analysis: Analysis) -> None:
    """Absorbed energy as a stacked bar a side, each part labelled with its share."""
    sides = list(analysis.landing.events.sides)
    for row, side in enumerate(sides):
        parts = _absorbed(analysis, side)
        total, start = sum(parts.values()), 0.0
        for joint, part in parts.items():
            if np.isfinite(part):
                colour, hatch = JOINT_FILL[joint]
                axes.barh(row, part, left=start, height=0.6, color=colour, hatch=hatch, edgecolor="white")
                if not np.isfinite(total) or part > 0.08 * total:
                    _name_part(axes, start + 0.5 * part, row, joint, part, total)
                start += part
        if not np.isfinite(total):
            axes.text(start, row, "  not all joints known", va="center", color=SOFT)
    axes.set_yticks(range(len(sides)), [SIDE_WORDS[side] for side in sides])
    axes.invert_yaxis()
    axes.grid(axis="y", visible=False)
    axes.set_title("Energy absorbed by ankle, knee and hip in the landing (negative work, drawn to the right)")
    axes.set_xlabel("J/kg of body mass")


def _absorbed(analysis: Analysis, side: str) -> dict[str, float]:
    """Joint -> absorbed energy [J/kg], positive."""
    out = {}
    for joint in JOINT_FILL:
        name = f"{joint}_work_negative"
        value = next(m.value for m in analysis.measures if (m.quantity, m.side) == (name, side))
        out[joint] = -shown(value, quantity(name), analysis.landing.weight)
    return out


def _name_part(axes: Axes, x: float, row: int, joint: str, part: float, total: float) -> None:
    share = f"\n{100 * part / total:.0f} %" if np.isfinite(total) else ""
    axes.text(
        x, row, f"{joint} {number_text(part, 'J/kg')}{share}", ha="center", va="center", fontsize=8,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.2},
    )  # fmt: skip


# Prediction ---------------------------------------------------------------------------------------------------------


def _changes(figure: Figure, analysis: Analysis, whatif: Any) -> None:
    units: dict[str, list[Any]] = {}
    for row in ordered_changes(whatif):
        units.setdefault(quantity(row.quantity).unit, []).append(row)
    figure.set_size_inches(10, 0.3 * len(whatif.rows) + 0.7 * len(units) + 0.3)
    heights = [len(rows) + 0.6 for rows in units.values()]
    panels = figure.subplots(len(units), 1, squeeze=False, height_ratios=heights)[:, 0]
    for axes, (unit, rows) in zip(panels, units.items(), strict=True):
        for place, row in enumerate(rows):
            what = quantity(row.quantity)
            low, middle, high, person_low, person_high = (
                shown(v, what, analysis.landing.weight)
                for v in (row.low, row.change, row.high, row.person_low, row.person_high)
            )
            marker, fill = ("D", INK) if distinguishable(row) else ("o", "white")
            axes.plot([person_low, person_high], [place, place], color=SOFT, linewidth=1.2, solid_capstyle="butt")
            axes.plot([low, high], [place, place], color=INK, linewidth=3.2, solid_capstyle="butt")
            axes.plot(middle, place, marker, color=INK, markerfacecolor=fill, markersize=7)
        axes.axvline(0.0, color=SOFT, linewidth=1.0)
        axes.set_yticks(range(len(rows)), [_change_label(row) for row in rows])
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.margins(x=0.08)
        axes.set_xlabel(f"predicted change [{unit}]")


def _comparison(figure: Figure, analysis: Analysis, whatif: Any) -> None:
    answers = (whatif, *whatif.others)
    figure.set_size_inches(10, 6)
    for axes, name in zip(figure.subplots(2, 3).flat, COMPARED, strict=True):
        what = quantity(name)
        for place, answer in enumerate(answers, start=1):
            row = next(row for row in answer.rows if row.quantity == name)
            low, middle, high, person_low, person_high = (
                shown(v, what, analysis.landing.weight)
                for v in (row.low, row.change, row.high, row.person_low, row.person_high)
            )
            marker, fill = ("D", INK) if distinguishable(row) else ("o", "white")
            axes.plot([place, place], [person_low, person_high], color=SOFT, linewidth=1.2, solid_capstyle="butt")
            axes.plot([place, place], [low, high], color=INK, linewidth=3.2, solid_capstyle="butt")
            axes.plot(place, middle, marker, color=INK, markerfacecolor=fill, markersize=7)
        axes.axhline(0.0, color=SOFT, linewidth=1.0)
        axes.set_xticks(range(1, len(answers) + 1))
        axes.set_xlim(0.5, len(answers) + 0.5)
        axes.set_xlabel("shape")
        axes.set_title(what.plain_name, fontsize=10)
        axes.set_ylabel(f"change [{what.full_unit}]")


def _change_label(row: Any) -> str:
    what = quantity(row.quantity)
    return f"{what.plain_name}, {SIDE_WORDS[row.side]}" + ("" if what.kind == "none" else f" ({what.kind})")

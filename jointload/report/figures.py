"""Pictures of a landing as SVG: shape, dash and label carry meaning beside colour, which the colour-blind can tell apart."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import SIDES, Array
from jointload.intake.rider import G
from jointload.landing.measures import Landing
from jointload.numerics.rotations import rotate_back
from jointload.numerics.signals import runs
from jointload.report.quantities import number_text, quantity, shown
from jointload.report.tables import distinguishable, foot_pressure_centre, joint_moment

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

STYLE = {
    "font.family": "DejaVu Sans", "font.size": 9, "axes.titlesize": 10, "axes.titleweight": "bold", "axes.titlelocation": "left",
    "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": "#566365", "axes.labelcolor": "#1d2526",
    "axes.grid": True, "grid.color": "#e4e7e3", "grid.linewidth": 0.7, "xtick.color": "#566365", "ytick.color": "#566365",
    "lines.linewidth": 1.7, "legend.frameon": False, "svg.fonttype": "path", "figure.constrained_layout.use": True,
}  # fmt: skip
SIDE_STYLE = {"r": {"color": "#0b3c6f", "linestyle": "-"}, "l": {"color": "#c4621a", "linestyle": (0, (5, 1.6))}}
SIDE_NAMES = {"r": "right", "l": "left"}
INK, SOFT = "#1d2526", "#566365"
JOINT_FILL = {"ankle": ("#7fb7be", "//"), "knee": ("#e8d5a3", ""), "hip": ("#b79ac8", "..")}
OPPOSITE = {
    "dorsiflexion": "plantarflexion", "inversion": "eversion", "flexion": "extension", "adduction": "abduction",
    "extension": "flexion", "lateral_bend_right": "to the left",
}  # fmt: skip
BEFORE, AFTER = 0.10, 0.12
"""Shown before the first touch-down and after the last landing end [s]."""
GRID = (
    ("ankle", "dorsiflexion"),
    ("knee", "flexion"),
    ("hip", "flexion"),
    ("ankle", "inversion"),
    ("knee", "adduction"),
    ("hip", "adduction"),
)
WORK_JOINTS = ("ankle", "knee", "hip")
ARROW_LENGTH, LONGEST_ARROW = 0.45, 0.9
"""Metres of arrow for one body weight, and for the largest force of a picture."""


def forces(analysis: Analysis) -> bytes:
    """Vertical force and both horizontal forces of each foot [BW]."""
    return _drawn(_forces, analysis)


def angles(analysis: Analysis) -> bytes:
    """Ankle, knee and hip angles [deg], sagittal above, frontal below."""
    return _drawn(_angles, analysis)


def moments(analysis: Analysis) -> bytes:
    """Ankle, knee, hip and L5/S1 moments [Nm/kg], sagittal above, frontal below."""
    return _drawn(_moments, analysis)


def work(analysis: Analysis) -> bytes:
    """Joint powers [W/kg] above, absorbed energy per joint and side [J/kg] below."""
    return _drawn(_work, analysis)


def body_views(analysis: Analysis) -> bytes:
    """Stick figures from the rider's right and from behind with ground force arrows."""
    return _drawn(_body_views, analysis)


def pressure_paths(analysis: Analysis) -> bytes:
    """Centre of pressure in each foot's own axes [mm], seen from above."""
    return _drawn(_pressure_paths, analysis)


def changes(analysis: Analysis, whatif: Any) -> bytes:
    """Predicted changes with 95 % intervals, one panel a unit."""
    return _drawn(lambda figure, landing: _changes(figure, landing, whatif), analysis)


def _drawn(draw: Callable[[Figure, Landing], None], analysis: Analysis) -> bytes:
    """Draw in this package's style and return the SVG; the same analysis gives the same bytes."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with rc_context({**STYLE, "svg.hashsalt": "jointload"}):
        figure = Figure()
        FigureCanvasSVG(figure)
        draw(figure, analysis.landing)
        out = io.BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


# Curves -------------------------------------------------------------------------------------------------------------


def _zero(landing: Landing, side: str) -> float:
    """Time zero [s]: the first touch-down of a landing; each foot's own touch-down of a step."""
    landed = landing.events.kind == "landing"
    return landing.events.first_touchdown if landed else landing.events.sides[side].touchdown


def _time_label(landing: Landing) -> str:
    return "ms from first touch-down" if landing.events.kind == "landing" else "ms from the foot's own touch-down"


def _span(landing: Landing) -> tuple[float, float]:
    """Shown time [ms] around zero."""
    ends = [
        (e.landing_end if np.isfinite(e.landing_end) else e.touchdown + 0.2) - _zero(landing, side)
        for side, e in landing.events.sides.items()
    ]
    return -1000 * BEFORE, 1000 * (max(ends) + AFTER)


def _curves(axes: Axes, landing: Landing, series: dict[str, Array], rate: float) -> None:
    """One curve a side over the shown time, with touch-down and landing end marked and unknown stretches named."""
    left, right = _span(landing)
    for side, values in series.items():
        time = 1000 * (np.arange(values.size) / rate - _zero(landing, side))
        seen = (time >= left) & (time <= right)
        axes.plot(time[seen], values[seen], label=SIDE_NAMES[side], **SIDE_STYLE[side])
    _mark_events(axes, landing, series)
    _mark_unknown(axes, landing, series, rate)
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=1)
    axes.set_xlim(left, right)


def _mark_events(axes: Axes, landing: Landing, series: dict[str, Array]) -> None:
    for side in series:
        events, zero = landing.events.sides[side], _zero(landing, side)
        for time, dots in ((events.touchdown, "-"), (events.landing_end, ":")):
            if np.isfinite(time):
                axes.axvline(
                    1000 * (time - zero), color=SIDE_STYLE[side]["color"], linestyle=dots, linewidth=0.9, zorder=1
                )


def _mark_unknown(axes: Axes, landing: Landing, series: dict[str, Array], rate: float) -> None:
    """A hatched strip at the foot of the panel where a side is not known."""
    for row, (side, values) in enumerate(series.items()):
        time = 1000 * (np.arange(values.size) / rate - _zero(landing, side))
        left, right = _span(landing)
        hidden = ~np.isfinite(values) & (time >= left) & (time <= right)
        for start, stop in runs(hidden):
            axes.axvspan(
                time[start], time[stop - 1], ymin=0.05 * row, ymax=0.05 * row + 0.045, facecolor="none",
                edgecolor=SIDE_STYLE[side]["color"], hatch="////", linewidth=0.0,
            )  # fmt: skip
        if hidden.any():
            axes.text(
                right, 0.05 * row + 0.02, f"{SIDE_NAMES[side]} unknown: hatched", transform=axes.get_xaxis_transform(),
                ha="right", va="center", fontsize=7, color=SIDE_STYLE[side]["color"], backgroundcolor="white",
            )  # fmt: skip


def _side_legend(figure: Figure, axes: Axes) -> None:
    from matplotlib.lines import Line2D

    handles, labels = axes.get_legend_handles_labels()
    handles += [Line2D([], [], color=INK, linewidth=0.9), Line2D([], [], color=INK, linewidth=0.9, linestyle=":")]
    figure.legend(handles, [*labels, "touch-down", "end of the landing"], loc="outside upper right", ncols=4)


def _signed(rotation: str, suffix: str) -> str:
    """flexion + / extension −, then the unit."""
    name, opposite = rotation.replace("_", " "), OPPOSITE.get(rotation, "")
    return f"{name} +" + (f" / {opposite} −" if opposite else "") + f"\n{suffix}"


def _forces(figure: Figure, landing: Landing) -> None:
    figure.set_size_inches(10, 6.6)
    panels = figure.subplots(3, 1, sharex=True, height_ratios=(2.2, 1, 1))
    facing = landing.alignment.facing
    sides = list(landing.events.sides)
    ground = {side: rotate_back(facing[..., None], landing.impact_force(side)) / landing.weight for side in sides}
    titles = ("Vertical force", "Force along the pelvis' forward direction", "Force across it")
    labels = ("up +\n[BW]", "forward + / braking −\n[BW]", "to the rider's right +\n[BW]")
    for axes, component, title, label in zip(panels, (1, 0, 2), titles, labels, strict=True):
        _curves(axes, landing, {side: ground[side][component] for side in sides}, landing.contact.fast_rate)
        axes.set_title(title)
        axes.set_ylabel(label)
    for side in sides:
        _mark_peak(panels[0], landing, side, ground[side][1])
    panels[-1].set_xlabel(_time_label(landing))
    _side_legend(figure, panels[0])


def _mark_peak(axes: Axes, landing: Landing, side: str, vertical: Array) -> None:
    window, rate = landing.fast_window(side), landing.contact.fast_rate
    if not np.isfinite(vertical[window]).all() or not vertical[window].size:
        return
    peak = window.start + int(np.argmax(vertical[window]))
    time = 1000 * (peak / rate - _zero(landing, side))
    axes.plot(time, vertical[peak], "v", color=SIDE_STYLE[side]["color"], markersize=6)
    axes.annotate(
        f"{SIDE_NAMES[side]} {number_text(float(vertical[peak]), 'BW')}", (time, vertical[peak]), xytext=(5, 5),
        textcoords="offset points", color=SIDE_STYLE[side]["color"], fontsize=8,
    )  # fmt: skip


def _angles(figure: Figure, landing: Landing) -> None:
    figure.set_size_inches(10, 5.4)
    panels = figure.subplots(2, 3, sharex=True).ravel()
    for axes, (joint, rotation) in zip(panels, GRID, strict=True):
        series = {s: np.rad2deg(landing.angles.of(f"{joint}_{s}", rotation)) for s in landing.events.sides}
        _curves(axes, landing, series, landing.poses.rate)
        axes.set_title(f"{joint.capitalize()}, {'side view' if axes in panels[:3] else 'front view'}")
        axes.set_ylabel(_signed(rotation, "[deg]"))
    for axes in panels[3:]:
        axes.set_xlabel(_time_label(landing))
    _side_legend(figure, panels[0])


def _moments(figure: Figure, landing: Landing) -> None:
    figure.set_size_inches(12, 5.6)
    grid = figure.subplots(2, 4, sharex=True)
    for axes, (joint, rotation) in zip(grid[:, :3].ravel(), GRID, strict=True):
        found = {side: joint_moment(landing, f"{joint}_{side}", rotation) for side in landing.events.sides}
        _curves(axes, landing, {side: moment for side, (_, _, moment) in found.items()}, landing.poses.rate)
        kind = next(iter(found.values()))[1]
        axes.set_title(joint.capitalize())
        axes.set_ylabel(_signed(rotation, f"{kind} [Nm/kg]"))
    for axes, rotation in zip(grid[:, 3], ("flexion", "lateral_bend_right"), strict=True):
        _lumbar_moment(axes, landing, rotation)
    for axes in grid[1]:
        axes.set_xlabel(_time_label(landing) if landing.events.kind == "landing" else "ms from touch-down")
    _side_legend(figure, grid[0, 0])


def _lumbar_moment(axes: Axes, landing: Landing, rotation: str) -> None:
    name, kind, moment = joint_moment(landing, "l5s1", rotation)
    left, right = _span(landing)
    time = 1000 * (np.arange(moment.size) / landing.poses.rate - landing.events.first_touchdown)
    seen = (time >= left) & (time <= right)
    axes.plot(time[seen], moment[seen], color=INK, linestyle="-.")
    if not np.isfinite(moment[seen]).any():
        axes.text(0.5, 0.5, "not known", transform=axes.transAxes, ha="center", color=SOFT)
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=1)
    axes.set_title("Lower back, L5/S1")
    axes.set_ylabel(_signed(name, f"{kind} [Nm/kg]"))


def _work(figure: Figure, landing: Landing) -> None:
    from jointload.landing.measures import measure_landing

    figure.set_size_inches(10, 5.6)
    grid = figure.add_gridspec(2, 3, height_ratios=(1.5, 1))
    per_kg = G / landing.weight
    top = None
    for column, joint in enumerate(WORK_JOINTS):
        axes = figure.add_subplot(grid[0, column], sharey=top)
        series = {
            s: per_kg * landing.loads.power[landing.loads.joints.index(f"{joint}_{s}")] for s in landing.events.sides
        }
        _curves(axes, landing, series, landing.poses.rate)
        axes.set_title(f"{joint.capitalize()} power")
        axes.set_xlabel(_time_label(landing))
        top = top or axes
    top.set_ylabel("generates + / absorbs −\n[W/kg]")
    values = {
        (m.quantity, m.side): m.value * per_kg for m in measure_landing(landing) if m.quantity.endswith("work_negative")
    }
    _work_bars(figure.add_subplot(grid[1, :]), landing, values)
    _side_legend(figure, top)


def _work_bars(axes: Axes, landing: Landing, values: dict[tuple[str, str], float]) -> None:
    """Absorbed energy as a stacked bar a side, each part labelled with its share."""
    sides = list(landing.events.sides)
    for row, side in enumerate(sides):
        parts = {joint: -values[f"{joint}_work_negative", side] for joint in WORK_JOINTS}
        total, start = sum(parts.values()), 0.0
        for joint, part in parts.items():
            if not np.isfinite(part):
                continue
            colour, hatch = JOINT_FILL[joint]
            axes.barh(row, part, left=start, height=0.6, color=colour, hatch=hatch, edgecolor="white", linewidth=0.8)
            share = f"\n{100 * part / total:.0f} %" if np.isfinite(total) and total > 0 else ""
            if part > 0.05 * max(total, 1e-9) or not np.isfinite(total):
                axes.text(
                    start + part / 2, row, f"{joint} {number_text(part, 'J/kg')}{share}", ha="center", va="center", fontsize=8,
                    bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.2},
                )  # fmt: skip
            start += part
        if not np.isfinite(total):
            axes.text(start, row, "  not all known", va="center", color=SOFT)
    axes.set_yticks(range(len(sides)), [SIDE_NAMES[side] for side in sides])
    axes.invert_yaxis()
    axes.grid(axis="y", visible=False)
    axes.set_title("Energy absorbed in the landing (negative work, shown positive)")
    axes.set_xlabel("J/kg of body mass")


# Pictures -----------------------------------------------------------------------------------------------------------


def _instants(landing: Landing) -> dict[str, int]:
    """Name -> marker frame of the pictures of the body."""
    rate, out = landing.poses.rate, {"Touch-down": landing.touchdown_frame()}
    total = np.nansum(landing.contact.force[1], axis=0)
    windows = [landing.window(side) for side in landing.events.sides]
    start, stop = min(w.start for w in windows), max(w.stop for w in windows)
    if stop > start:
        out["Largest force"] = start + int(np.argmax(total[start:stop]))
    if np.isfinite(landing.events.lowest_pelvis):
        out["Lowest pelvis"] = min(round(landing.events.lowest_pelvis * rate), landing.recording.frames - 1)
    return out


def _body_views(figure: Figure, landing: Landing) -> None:
    instants = _instants(landing)
    figure.set_size_inches(10, 8.4)
    grid = figure.subplots(2, len(instants), squeeze=False, sharey=True)
    top = max(
        float(np.nanmax(np.linalg.norm(landing.contact.force[:, :, f], axis=0), initial=0.0)) for f in instants.values()
    )
    metres = min(ARROW_LENGTH / landing.weight, LONGEST_ARROW / max(top, 1.0))
    for column, (name, frame) in enumerate(instants.items()):
        for row, (axis, view) in enumerate(((0, "from the right"), (2, "from behind"))):
            axes = grid[row, column]
            _stick_figure(axes, landing, frame, axis, metres)
            time = 1000 * (frame / landing.poses.rate - landing.events.first_touchdown)
            axes.set_title(f"{name}, {view}" if row else f"{name} ({time:.0f} ms), {view}")
            axes.set_aspect("equal", adjustable="box")
            axes.set_xlim(-0.75, 0.75)
            axes.set_xlabel("forward [m]" if axis == 0 else "to the rider's right [m]")
    grid[0, 0].set_ylabel("height over the plates [m]")
    grid[1, 0].set_ylabel("height over the plates [m]")
    handles = [_line_of(side) for side in SIDES]
    labels = [*SIDE_NAMES.values(), f"arrow: ground force, 1 BW = {metres * landing.weight:.2f} m"]
    figure.legend([*handles, _arrow_handle()], labels, loc="outside upper right", ncols=3)


def _line_of(side: str) -> Any:
    from matplotlib.lines import Line2D

    return Line2D([], [], **SIDE_STYLE[side])


def _arrow_handle() -> Any:
    from matplotlib.lines import Line2D

    return Line2D([], [], color=INK, marker=r"$\uparrow$", markersize=11, linestyle="none")


def _stick_figure(axes: Axes, landing: Landing, frame: int, axis: int, metres: float) -> None:
    """Legs, pelvis and trunk seen along one horizontal axis of the facing frame."""
    middle = _facing(landing, landing.poses.place(landing.body, "hip_mid")[:, frame])[axis]

    def seen(name: str) -> tuple[float, float]:
        place = _facing(landing, landing.poses.place(landing.body, name)[:, frame])
        return place[axis] - middle, place[1] - landing.contact.floor

    def chain(names: tuple[str, ...], **style: Any) -> None:
        x, y = zip(*(seen(name) for name in names), strict=True)
        axes.plot(x, y, marker="o", markersize=3.2, solid_capstyle="round", **style)

    trunk = next((name for name in ("shoulder_mid", "c7", "suprasternale") if name in landing.body.points), "l5s1")
    chain(("hip_mid", "l5s1", trunk), color=INK, linewidth=2.6)
    chain(("hip_centre_l", "hip_mid", "hip_centre_r"), color=INK, linewidth=2.0)
    if {"acromion_r", "acromion_l"} <= set(landing.body.points):
        chain(("acromion_l", "acromion_r"), color=INK, linewidth=2.0)
    for side in ("l", "r"):
        style = {**SIDE_STYLE[side], "linewidth": 2.4}
        chain(tuple(f"{name}_{side}" for name in ("hip_centre", "knee_centre", "ankle_centre")), **style)
        chain(tuple(f"{name}_{side}" for name in ("ankle_centre", "calcaneus", "toe_tip", "ankle_centre")), **style)
        _force_arrow(axes, landing, side, frame, axis, middle, metres)
    axes.axhline(0.0, color=SOFT, linewidth=1.2)


def _facing(landing: Landing, vector: Array) -> Array:
    return landing.alignment.facing.T @ vector


def _force_arrow(axes: Axes, landing: Landing, side: str, frame: int, axis: int, middle: float, metres: float) -> None:
    foot = _facing(landing, foot_pressure_centre(landing, side)[:, frame])
    force = metres * _facing(landing, landing.contact.force[:, SIDES.index(side), frame])
    if np.isfinite(foot + force).all():
        start = (foot[axis] - middle, foot[1] - landing.contact.floor)
        axes.annotate(
            "", (start[0] + force[axis], start[1] + force[1]), start,
            arrowprops={"arrowstyle": "-|>", "color": SIDE_STYLE[side]["color"], "linewidth": 1.6, "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip


def _pressure_paths(figure: Figure, landing: Landing) -> None:
    figure.set_size_inches(8, 5.4)
    panels = figure.subplots(1, 2, sharey=True)
    for axes, side in zip(panels, ("l", "r"), strict=True):
        medial_on_right = side == "l"
        axes.set_title(f"{SIDE_NAMES[side].capitalize()} foot from above")
        axes.set_xlabel("lateral ← mm → medial" if medial_on_right else "medial ← mm → lateral")
        axes.set_aspect("equal", adjustable="datalim")
        if f"foot_{side}" in landing.body.standing:
            _sole_points(axes, landing, side)
            _pressure_path(axes, landing, side)
    panels[0].set_ylabel("forward of the ankle [mm]")


def _sole_points(axes: Axes, landing: Landing, side: str) -> None:
    """Markers and points of the foot where they stood in the static trial."""
    for name, (segment, place) in landing.body.points.items():
        if segment == f"foot_{side}" and not name.startswith(("forefoot", "toe_tip")):
            x, y = 1000 * place[2], 1000 * place[0]
            axes.plot(x, y, "s", color="white", markeredgecolor=SOFT, markersize=6)
            axes.annotate(
                name[:-2].replace("_", " "), (x, y), xytext=(6, 4), textcoords="offset points", fontsize=7, color=SOFT
            )
    axes.plot(0, 0, "+", color=SOFT, markersize=9)
    axes.annotate("ankle centre", (0, 0), xytext=(6, 4), textcoords="offset points", fontsize=7, color=SOFT)


def _pressure_path(axes: Axes, landing: Landing, side: str) -> None:
    if side not in landing.events.sides:
        axes.text(0.5, 0.95, "no landing of this foot", transform=axes.transAxes, ha="center", color=SOFT)
        return
    window = landing.window(side)
    rotation, origin = landing.poses.of(f"foot_{side}")
    path = 1000 * rotate_back(rotation, foot_pressure_centre(landing, side) - origin)[:, window]
    load = landing.contact.force[1, SIDES.index(side), window] / landing.weight
    known = np.flatnonzero(np.isfinite(path[0]))
    if not known.size:
        axes.text(0.5, 0.95, "not known", transform=axes.transAxes, ha="center", color=SOFT)
        return
    style = SIDE_STYLE[side]
    axes.plot(path[2], path[0], linewidth=0.9, **style)
    axes.scatter(path[2, known], path[0, known], s=4 + 26 * load[known], color=style["color"], alpha=0.6, linewidths=0)
    first, last = known[0], known[-1]
    axes.plot(path[2, first], path[0, first], "o", markersize=10, markerfacecolor="none", color=style["color"])
    axes.plot(path[2, last], path[0, last], "s", markersize=9, markerfacecolor="none", color=style["color"])


# Prediction ---------------------------------------------------------------------------------------------------------


def _changes(figure: Figure, landing: Landing, whatif: Any) -> None:
    units: dict[str, list[Any]] = {}
    for row in whatif.rows:
        units.setdefault(quantity(row.quantity).unit, []).append(row)
    figure.set_size_inches(9, 0.42 * len(whatif.rows) + 0.75 * len(units) + 0.3)
    panels = figure.subplots(len(units), 1, squeeze=False, height_ratios=[len(rows) + 0.6 for rows in units.values()])[
        :, 0
    ]
    for axes, (unit, rows) in zip(panels, units.items(), strict=True):
        for place, row in enumerate(rows):
            what = quantity(row.quantity)
            low, middle, high = (shown(v, what, landing.weight) for v in (row.low, row.change, row.high))
            clear = distinguishable(row)
            axes.plot([low, high], [place, place], color=INK, linewidth=1.6, solid_capstyle="butt")
            axes.plot(
                middle, place, "D" if clear else "o", color=INK, markerfacecolor=INK if clear else "white", markersize=7
            )
        axes.axvline(0.0, color=SOFT, linewidth=1.0)
        axes.set_yticks(range(len(rows)), [_change_label(row) for row in rows])
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.margins(x=0.08)
        axes.set_xlabel(f"predicted change [{unit}]")


def _change_label(row: Any) -> str:
    what = quantity(row.quantity)
    return f"{what.plain_name}, {SIDE_NAMES[row.side]}" + ("" if what.kind == "none" else f" ({what.kind})")

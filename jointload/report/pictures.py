"""The body with its ground forces, and where the force acted under each foot, as SVG."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import SIDES, Array
from jointload.landing.landed import Landing
from jointload.numerics.rotations import rotate_back
from jointload.report.figures import INK, SIDE_STYLE, SOFT, drawn
from jointload.report.quantities import SIDE_WORDS
from jointload.report.tables import foot_pressure_centre

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

VIEWS = ((0, "from the rider's right", "forward [m]"), (2, "from behind", "to the rider's right [m]"))
"""Horizontal axis of the facing frame, name of the view, label of the axis."""
HALF_WIDTH = 0.75
"""Shown to either side of the hips [m]."""
ARROW_LENGTH, LONGEST_ARROW = 0.45, 0.9
"""Metres of arrow for one body weight, and for the largest force of a picture."""
ARROW_COLOUR = "#8c1f5c"
JOINT_DOTS = {
    "r": {"marker": "o", "markerfacecolor": SIDE_STYLE["r"]["color"]},
    "l": {"marker": "s", "markerfacecolor": "white"},
}


def body_views(analysis: Analysis) -> bytes:
    """Stick figures from the rider's right and from behind with ground force arrows."""
    return drawn(_body_views, analysis)


def pressure_paths(analysis: Analysis) -> bytes:
    """Centre of pressure in each foot's own axes [mm], seen from above."""
    return drawn(_pressure_paths, analysis)


def pressure_bed(analysis: Analysis, whatif: Any) -> bytes:
    """Added height [mm], and pressure before and after as a share of the largest before [%], seen from above."""
    return drawn(lambda figure, _: _pressure_bed(figure, whatif), analysis)


def _pressure_bed(figure: Figure, whatif: Any) -> None:
    bed = whatif.pressure
    figure.set_size_inches(10, 5)
    largest = float(bed.before.max())
    shares = [100 * part / largest for part in (bed.before, bed.after)]
    top = max(float(share.max()) for share in shares)
    panels = figure.subplots(1, 3, sharey=True)
    added = 1000 * bed.height_change
    span = max(float(np.abs(added).max()), 0.1)
    for axes, values, title, limits, colours, unit, point in (
        (panels[0], added, "Height added", (-span, span), "PuOr", "mm", None),
        (panels[1], shares[0], "Pressure before", (0.0, top), "viridis", "% of the largest before", bed.point_before),
        (panels[2], shares[1], "Pressure after", (0.0, top), "viridis", "% of the largest before", bed.point_after),
    ):
        image = _cells(axes, whatif, values, limits, colours)
        bar = figure.colorbar(image, ax=axes, label=unit, shrink=0.8)
        if bar.solids is not None:
            bar.solids.set_rasterized(False)
        axes.set_title(title)
        axes.set_aspect("equal")
        axes.set_xlabel("medial ←  mm  → lateral" if whatif.side == "r" else "lateral ←  mm  → medial")
        if point is not None:
            axes.plot(_rightwards(whatif.side) * 1000 * point[1], 1000 * point[0], "P", color="white", markersize=12,
                      markeredgecolor=INK)  # fmt: skip
    panels[0].set_ylabel("forward of the heel [mm]")


def _rightwards(side: str) -> float:
    """Sign that puts medial on the left of a right foot seen from above."""
    return -1.0 if side == "r" else 1.0


def _cells(axes: Axes, whatif: Any, values: Array, limits: tuple[float, float], colours: str) -> Any:
    """The cells of the sole as squares of their area, coloured."""
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    bed, sign = whatif.pressure, _rightwards(whatif.side)
    sizes = 1000 * np.sqrt(bed.area)
    corners = zip(sign * 1000 * bed.y - sizes / 2, 1000 * bed.x - sizes / 2, sizes, strict=True)
    squares = PatchCollection([Rectangle((x, y), size, size) for x, y, size in corners], cmap=colours, linewidths=0)
    squares.set_array(values)
    squares.set_clim(*limits)
    axes.add_collection(squares)
    axes.autoscale_view()
    return squares


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


def _body_views(figure: Figure, analysis: Analysis) -> None:
    landing = analysis.landing
    instants = _instants(landing)
    top, metres = _tallest(landing, instants), _metres_per_newton(landing, instants)
    figure.set_size_inches(10, 2 * 1.95 * (top + 0.2) + 1.6)
    grid = figure.subplots(2, len(instants), squeeze=False, sharex=True, sharey=True)
    for row, (axis, view, label) in enumerate(VIEWS):
        for axes, (name, frame) in zip(grid[row], instants.items(), strict=True):
            _stick_figure(axes, landing, frame, axis, metres)
            time = 1000 * (frame / landing.poses.rate - landing.events.first_touchdown)
            axes.set_title(name if name == "Touch-down" else f"{name}, {time:.0f} ms later")
            axes.set_aspect("equal")
            axes.set_xlim(-HALF_WIDTH, HALF_WIDTH)
            axes.set_ylim(-0.1, top + 0.1)
            axes.set_xlabel(label)
            axes.tick_params(labelbottom=True)
        grid[row, 0].set_ylabel(f"{view}\nheight over the plates [m]")
    _body_legend(figure, metres * landing.weight)


def _tallest(landing: Landing, instants: dict[str, int]) -> float:
    """Height [m] over the plates of the highest point that is drawn."""
    names = [name for name in ("hip_mid", "l5s1", _trunk_top(landing)) if name in landing.body.points]
    heights = [landing.poses.place(landing.body, name)[1, list(instants.values())] for name in names]
    highest = float(np.nanmax(heights, initial=0.5 + landing.contact.floor))
    return highest - landing.contact.floor


def _metres_per_newton(landing: Landing, instants: dict[str, int]) -> float:
    forces = np.linalg.norm(landing.contact.force[:, :, list(instants.values())], axis=0)
    largest = float(np.nanmax(forces, initial=1.0))
    return min(ARROW_LENGTH / landing.weight, LONGEST_ARROW / largest)


def _trunk_top(landing: Landing) -> str:
    return next((n for n in ("shoulder_mid", "c7", "suprasternale") if n in landing.body.points), "l5s1")


def _body_legend(figure: Figure, body_weight: float) -> None:
    """body_weight : length [m] of an arrow of one body weight."""
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], color=SIDE_STYLE[side]["color"], **JOINT_DOTS[side], linewidth=2.2) for side in SIDES]
    handles.append(Line2D([], [], color=ARROW_COLOUR, marker=r"$\uparrow$", markersize=11, linestyle="none"))
    labels = [f"{SIDE_WORDS[side]} leg" for side in SIDES]
    figure.legend(handles, [*labels, f"ground force, 1 BW = {body_weight:.2f} m"], loc="outside upper right", ncols=3)


def _stick_figure(axes: Axes, landing: Landing, frame: int, axis: int, metres: float) -> None:
    """Legs, pelvis and trunk seen along one horizontal axis of the facing frame; metres : arrow length per newton."""
    middle = _facing(landing, landing.poses.place(landing.body, "hip_mid")[:, frame])[axis]

    def on_paper(place: Array) -> tuple[float, float]:
        seen = _facing(landing, place)
        return float(seen[axis] - middle), float(seen[1] - landing.contact.floor)

    def chain(names: tuple[str, ...], **style: Any) -> None:
        x, y = zip(*(on_paper(landing.poses.place(landing.body, name)[:, frame]) for name in names), strict=True)
        axes.plot(x, y, **{"markersize": 4, "solid_capstyle": "round", "linewidth": 2.2, **style})

    axes.axhline(0.0, color=SOFT, linewidth=1.2)
    chain(("hip_mid", "l5s1", _trunk_top(landing)), color=INK, marker="o")
    chain(("hip_centre_l", "hip_mid", "hip_centre_r"), color=INK)
    if {"acromion_r", "acromion_l"} <= set(landing.body.points):
        chain(("acromion_l", "acromion_r"), color=INK)
    for side in ("l", "r"):
        style = {"color": SIDE_STYLE[side]["color"], **JOINT_DOTS[side]}
        chain(tuple(f"{name}_{side}" for name in ("hip_centre", "knee_centre", "ankle_centre")), **style)
        chain(tuple(f"{name}_{side}" for name in ("ankle_centre", "calcaneus", "toe_tip", "ankle_centre")), **style)
        force = landing.contact.force[:, SIDES.index(side), frame]
        foot = foot_pressure_centre(landing, side)[:, frame]
        if np.isfinite(foot + force).all():
            _arrow(axes, on_paper(foot), on_paper(foot + metres * force))


def _arrow(axes: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    style = {"arrowstyle": "-|>", "color": ARROW_COLOUR, "linewidth": 1.8, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", end, start, arrowprops=style)


def _facing(landing: Landing, vector: Array) -> Array:
    return rotate_back(landing.alignment.facing, vector)


def _pressure_paths(figure: Figure, analysis: Analysis) -> None:
    landing = analysis.landing
    figure.set_size_inches(10, 5)
    panels = figure.subplots(1, 2, sharey=True)
    for axes, side in zip(panels, ("l", "r"), strict=True):
        axes.set_title(f"{SIDE_WORDS[side].capitalize()} foot from above")
        axes.set_xlabel("lateral ←  mm  → medial" if side == "l" else "medial ←  mm  → lateral")
        axes.set_aspect("equal", adjustable="datalim")
        if f"foot_{side}" in landing.body.standing:
            _sole_points(axes, landing, side)
            _pressure_path(axes, landing, side)
        else:
            _say(axes, "the foot is not known")
    panels[0].set_ylabel("forward of the ankle [mm]")


def _sole_points(axes: Axes, landing: Landing, side: str) -> None:
    """Landmarks of the foot where they stood in the static trial."""
    places = {"ankle centre": (0.0, 0.0)}
    for name, (segment, place) in landing.body.points.items():
        if segment == f"foot_{side}" and not name.startswith(("forefoot", "toe_tip")):
            places[name[:-2].replace("_", " ")] = (1000 * place[2], 1000 * place[0])
    for name, (x, y) in places.items():
        axes.plot(x, y, "+" if name == "ankle centre" else "s", color=SOFT, markerfacecolor="white", markersize=7)
        axes.annotate(name, (x, y), xytext=(7, 4), textcoords="offset points", fontsize=8, color=SOFT)


def _pressure_path(axes: Axes, landing: Landing, side: str) -> None:
    """The path in the landing of one foot; dots grow with the vertical force."""
    if side not in landing.events.sides:
        _say(axes, "no landing of this foot on a plate")
        return
    window = landing.window(side)
    rotation, origin = landing.poses.of(f"foot_{side}")
    path = 1000 * rotate_back(rotation, foot_pressure_centre(landing, side) - origin)[:, window]
    load = landing.contact.force[1, SIDES.index(side), window] / landing.weight
    known = np.flatnonzero(np.isfinite(path[0]))
    if not known.size:
        _say(axes, "not known")
        return
    colour = SIDE_STYLE[side]["color"]
    axes.plot(path[2], path[0], linewidth=0.9, color=colour)
    axes.scatter(path[2, known], path[0, known], s=4 + 26 * load[known], color=colour, alpha=0.6, linewidths=0)
    for k, marker in ((known[0], "o"), (known[-1], "s")):
        axes.plot(path[2, k], path[0, k], marker, markersize=10, markerfacecolor="none", color=colour)


def _say(axes: Axes, text: str) -> None:
    axes.text(0.5, 0.95, text, transform=axes.transAxes, ha="center", color=SOFT)

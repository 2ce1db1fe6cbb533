"""The body with its ground forces, and where the force acted under each foot, as SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import SIDES, Array, split_side
from jointload.landing.landed import Landing
from jointload.numerics.rotations import rotate_back
from jointload.report.figures.sheet import INK, SIDE_STYLE, SOFT, Key, Panel, Sheet, drawn
from jointload.report.words.quantities import SIDE_WORDS, number_text
from jointload.report.words.tables import foot_pressure_centre

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class View:
    """Horizontal axis of the facing frame, name of the view, label of the axis."""

    axis: int
    words: str
    label: str


VIEWS = (
    View(0, "from the rider's right", "forward, height up [m]"),
    View(2, "from behind", "to the right, height up [m]"),
)
INSTANTS = ("Touch-down", "Largest force", "Lowest pelvis")
MOST_COLUMNS = 4
BODY_WIDTH, BODY_HEIGHT = 2.3, 3.0
"""Of a picture of the body [in]."""
PATH_HEIGHT = 3.4
"""Of a picture of a foot's centre of pressure [in]."""
HALF_WIDTH = 0.7
"""Shown to either side of the hips [m]."""
ARROW_LENGTH, LONGEST_ARROW = 0.45, 0.9
"""Metres of arrow for one body weight, and for the largest force of a picture."""
LIMB_WIDTH = 9
"""Of the pale body behind the lines [pt]."""
ARROW_COLOUR = "#8c1f5c"
JOINT_DOTS = {
    "right": {"marker": "o", "markerfacecolor": SIDE_STYLE["right"]["color"]},
    "left": {"marker": "s", "markerfacecolor": "white"},
}


def pressure_bed(analysis: Analysis, whatif: Any, form: str = "") -> bytes:
    """Added height [mm], and pressure before and after as a share of the largest before [%], seen from above."""
    return drawn(lambda figure, _: _pressure_bed(figure, whatif), analysis, form)


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
        axes.set_xlabel("medial ←  mm  → lateral" if whatif.side == "right" else "lateral ←  mm  → medial")
        if point is not None:
            axes.plot(_rightwards(whatif.side) * 1000 * point[1], 1000 * point[0], "P", color="white", markersize=12,
                      markeredgecolor=INK)  # fmt: skip
    panels[0].set_ylabel("forward of the heel [mm]")


def _rightwards(side: str) -> float:
    """Sign that puts medial on the left of a right foot seen from above."""
    return -1.0 if side == "right" else 1.0


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
    rate, out = landing.poses.rate, {INSTANTS[0]: landing.touchdown_frame()}
    total = np.nansum(landing.contact.force[1], axis=0)
    windows = [landing.window(side) for side in landing.events.sides]
    start, stop = min(w.start for w in windows), max(w.stop for w in windows)
    if stop > start:
        out[INSTANTS[1]] = start + int(np.argmax(total[start:stop]))
    if np.isfinite(landing.events.lowest_pelvis):
        out[INSTANTS[2]] = min(round(landing.events.lowest_pelvis * rate), landing.recording.frames - 1)
    return out


def body(analysis: Analysis, names: Sequence[str] = ()) -> Sheet:
    """Stick figures with ground force arrows: from the rider's right at every instant, then from behind; names : of
    INSTANTS, all when empty."""
    landing = analysis.landing
    instants = _instants(landing)
    top, metres = _tallest(landing, instants), metres_per_newton(landing, list(instants.values()))
    chosen = {name: frame for name, frame in instants.items() if name in (names or INSTANTS)}
    panels = [_body_panel(landing, name, frame, view, top, metres) for view in VIEWS for name, frame in chosen.items()]
    panels[0] = replace(panels[0], behind=_body_numbers(landing, list(chosen.values())))
    keys = [
        Key(f"{SIDE_WORDS[side]} leg", SIDE_STYLE[side]["color"], mark=JOINT_DOTS[side]["marker"], width=2.2,
            hollow=side == "left")
        for side in SIDES
    ]  # fmt: skip
    length = f"ground force, 1 BW is {100 * metres * landing.weight:.0f} cm"
    keys.append(Key(length, ARROW_COLOUR, mark=r"$\uparrow$", width=0))
    columns = len(panels) if len(panels) <= MOST_COLUMNS else len(chosen)
    return Sheet(tuple(panels), tuple(keys), columns, BODY_HEIGHT, BODY_WIDTH, tuple(chosen))


def _body_numbers(landing: Landing, frames: list[int]) -> dict[str, list[str]]:
    """Time, forces and the angles that make the posture, of every instant."""
    out = {"ms": [f"{1000 * (k / landing.poses.rate - landing.events.first_touchdown):.0f}" for k in frames]}
    for side in SIDES:
        force = np.linalg.norm(landing.contact.force[:, SIDES.index(side), frames], axis=0) / landing.weight
        out[f"Ground force, {SIDE_WORDS[side]} [BW]"] = [number_text(float(f), "BW") for f in force]
    for joint in ("ankle", "knee", "hip"):
        rotation = "dorsiflexion" if joint == "ankle" else "flexion"
        for side in SIDES:
            if f"{side}_{joint}" in landing.angles.joints:
                angle = np.rad2deg(landing.angles.of(f"{side}_{joint}", rotation)[frames])
                name = f"{joint.capitalize()} {rotation}, {SIDE_WORDS[side]} [deg]"
                out[name] = [number_text(float(a), "deg") for a in angle]
    lean = np.rad2deg(landing.alignment.trunk_lean_forward[frames])
    return {**out, "Trunk lean forward [deg]": [number_text(float(a), "deg") for a in lean]}


def _body_panel(landing: Landing, name: str, frame: int, view: View, top: float, metres: float) -> Panel:
    def draw(axes: Axes) -> None:
        _stick_figure(axes, landing, frame, view.axis, metres)
        axes.set_aspect("equal")
        axes.set_xlim(-HALF_WIDTH, HALF_WIDTH)
        axes.set_ylim(-0.12, top + 0.1)
        axes.set_xticks((-0.5, 0.0, 0.5))
        axes.set_xlabel(view.label)
        axes.grid(False)

    time = 1000 * (frame / landing.poses.rate - landing.events.first_touchdown)
    told = f"The body {view.words} at: {name.lower()}, {time:.0f} ms. {_forces_told(landing, frame)}"
    return Panel(name, f"{time:.0f} ms, {view.words}", draw, told)


def _forces_told(landing: Landing, frame: int) -> str:
    """The arrows in words."""
    texts = []
    for side in SIDES:
        force = landing.contact.force[:, SIDES.index(side), frame]
        size = number_text(float(np.linalg.norm(force)) / landing.weight, "BW")
        texts.append(f"{SIDE_WORDS[side]} {size} BW" if np.isfinite(force).all() else f"{SIDE_WORDS[side]} not known")
    return "Ground force: " + ", ".join(texts) + "."


def _tallest(landing: Landing, instants: dict[str, int]) -> float:
    """Height [m] over the plates of the highest point that is drawn."""
    names = [name for name in ("hip_mid", "l5s1", trunk_top(landing)) if name in landing.body.points]
    heights = [landing.poses.place(landing.body, name)[1, list(instants.values())] for name in names]
    highest = float(np.nanmax(heights, initial=0.5 + landing.contact.floor))
    return highest - landing.contact.floor


def metres_per_newton(landing: Landing, frames: Sequence[int]) -> float:
    """Length of an arrow that keeps the largest force of these frames on the picture."""
    forces = np.linalg.norm(landing.contact.force[:, :, list(frames)], axis=0)
    largest = float(np.nanmax(forces, initial=1.0))
    return min(ARROW_LENGTH / landing.weight, LONGEST_ARROW / largest)


def trunk_top(landing: Landing) -> str:
    return next((n for n in ("shoulder_mid", "c7", "suprasternale") if n in landing.body.points), "l5s1")


def _stick_figure(axes: Axes, landing: Landing, frame: int, axis: int, metres: float) -> None:
    """Legs, pelvis and trunk seen along one horizontal axis of the facing frame; metres : arrow length per newton."""
    middle = _facing(landing, landing.poses.place(landing.body, "hip_mid")[:, frame])[axis]

    def on_paper(place: Array) -> tuple[float, float]:
        seen = _facing(landing, place)
        return float(seen[axis] - middle), float(seen[1] - landing.contact.floor)

    def chain(names: tuple[str, ...], **style: Any) -> None:
        x, y = zip(*(on_paper(landing.poses.place(landing.body, name)[:, frame]) for name in names), strict=True)
        axes.plot(x, y, color=style["color"], linewidth=LIMB_WIDTH, alpha=0.15, solid_capstyle="round")
        axes.plot(x, y, **{"markersize": 4, "solid_capstyle": "round", "linewidth": 1.8, **style})

    axes.axhline(0.0, color=SOFT, linewidth=1.2)
    chain(("hip_mid", "l5s1", trunk_top(landing)), color=INK, marker="o")
    chain(("left_hip_centre", "hip_mid", "right_hip_centre"), color=INK)
    if {"right_acromion", "left_acromion"} <= set(landing.body.points):
        chain(("left_acromion", "right_acromion"), color=INK)
    for side in ("left", "right"):
        style = {"color": SIDE_STYLE[side]["color"], **JOINT_DOTS[side]}
        chain(tuple(f"{side}_{name}" for name in ("hip_centre", "knee_centre", "ankle_centre")), **style)
        chain(tuple(f"{side}_{name}" for name in ("ankle_centre", "calcaneus", "toe_tip", "ankle_centre")), **style)
        force = landing.contact.force[:, SIDES.index(side), frame]
        foot = foot_pressure_centre(landing, side)[:, frame]
        if np.isfinite(foot + force).all():
            _arrow(axes, on_paper(foot), on_paper(foot + metres * force))


def _arrow(axes: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    style = {"arrowstyle": "-|>", "color": ARROW_COLOUR, "linewidth": 1.8, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", end, start, arrowprops=style)


def _facing(landing: Landing, vector: Array) -> Array:
    return rotate_back(landing.alignment.facing, vector)


def pressure_paths(analysis: Analysis) -> Sheet:
    """Centre of pressure in each foot's own axes [mm], seen from above."""
    panels = tuple(_path_panel(analysis.landing, side) for side in ("left", "right"))
    keys = (
        Key("touch-down", SOFT, mark="o", hollow=True, width=0),
        Key("end of the landing", SOFT, mark="s", hollow=True, width=0),
    )
    return Sheet(panels, keys, columns=2, height=PATH_HEIGHT)


def _path_panel(landing: Landing, side: str) -> Panel:
    def draw(axes: Axes) -> None:
        axes.set_xlabel("lateral ←  mm  → medial" if side == "left" else "medial ←  mm  → lateral")
        axes.set_aspect("equal", adjustable="datalim")
        if f"{side}_foot" in landing.body.standing:
            _sole_points(axes, landing, side)
            _pressure_path(axes, landing, side)
        else:
            _say(axes, "the foot is not known")

    title = f"{SIDE_WORDS[side].capitalize()} foot from above"
    return Panel(title, "mm forward of the ankle", draw, f"{title}. Path of the centre of pressure in the landing.")


def _sole_points(axes: Axes, landing: Landing, side: str) -> None:
    """Landmarks of the foot where they stood in the static trial."""
    places = {"ankle centre": (0.0, 0.0)}
    for name, (segment, place) in landing.body.points.items():
        if segment == f"{side}_foot" and not split_side(name)[1].startswith(("forefoot", "toe_tip")):
            places[split_side(name)[1].replace("_", " ")] = (1000 * place[2], 1000 * place[0])
    for name, (x, y) in places.items():
        axes.plot(x, y, "+" if name == "ankle centre" else "s", color=SOFT, markerfacecolor="white", markersize=7)
        outward = 1 if x >= 0 else -1
        axes.annotate(
            name, (x, y), xytext=(7 * outward, 3), textcoords="offset points", fontsize="small", color=SOFT,
            ha="left" if outward > 0 else "right",
        )  # fmt: skip


def _pressure_path(axes: Axes, landing: Landing, side: str) -> None:
    """The path in the landing of one foot; dots grow with the vertical force."""
    if side not in landing.events.sides:
        _say(axes, "no landing of this foot on a plate")
        return
    window = landing.window(side)
    rotation, origin = landing.poses.of(f"{side}_foot")
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

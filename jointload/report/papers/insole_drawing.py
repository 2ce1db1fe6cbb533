"""A dimensioned drawing of an insole on one sheet of A4: plan, long section, cross sections of heel and forefoot."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.insole.shape.measured import Numbers, measure
from jointload.insole.shape.outline import BALL_SHARE, HEEL_SHARE
from jointload.insole.shape.parts import cover_thickness
from jointload.insole.shape.surface import Surface, sole_grid
from jointload.intake.recording import Array
from jointload.report.papers.insole_words import HEADING, angle_text, layer_text, parts_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAGE = 297.0, 210.0
"""A4 across [mm]; everything on the sheet is placed in millimetres of paper."""
INK, SOFT, FILL, HATCH = "#1d2526", "#566365", "#e9efee", "#9fb0b0"
STYLE: Any = {
    "font.family": "DejaVu Sans", "font.size": 7, "svg.fonttype": "path", "svg.hashsalt": "jointload",
    "hatch.linewidth": 0.35, "hatch.color": HATCH,
    "pdf.fonttype": 3,  # outlines, five times sooner than a subset of each font; drawing.svg is the one to be edited
}  # fmt: skip
UNDATED: Any = {"svg": {"Date": None, "Creator": None}, "pdf": {"CreationDate": None}}
"""The same insole gives the same bytes."""
PLAN_LEFT, PLAN_MIDDLE, LONG_LEVEL = 20.0, 137.0, 26.0
SECTION_MIDDLE, HEEL_LEVEL, BALL_LEVEL = 228.0, 152.0, 103.0
BLOCK = 172.0, 10.0, 115.0, 66.0
"""Left, bottom, width, height of the title block."""
STEPS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
"""Distances of height lines [mm]; the first that gives at most ten."""


@dataclass(frozen=True)
class View:
    """A view on the sheet: where its zero lies [mm of paper] and how many mm of paper a metre takes."""

    left: float
    level: float
    across: float
    up: float

    def at(self, x: Any, y: Any) -> tuple[Any, Any]:
        return self.left + self.across * np.asarray(x), self.level + self.up * np.asarray(y)


def draw_insole(surface: Surface, name: str, checksum: str = "") -> dict[str, bytes]:
    """The drawing as 'svg' and as 'pdf'; the same insole gives the same bytes."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with rc_context(STYLE):
        figure = Figure(figsize=(PAGE[0] / 25.4, PAGE[1] / 25.4))
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set(xlim=(0, PAGE[0]), ylim=(0, PAGE[1]), aspect="equal")
        axes.axis("off")
        _draw(axes, surface, measure(surface), name, checksum)
        return {form: _saved(figure, form) for form in UNDATED}


def _saved(figure: Figure, form: str) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format=form, metadata=UNDATED[form])
    return out.getvalue()


def _draw(axes: Axes, surface: Surface, numbers: Numbers, name: str, checksum: str) -> None:
    axes.add_patch(_box((7, 7, PAGE[0] - 14, PAGE[1] - 14), linewidth=0.9))
    scale = 500.0 if surface.length <= 0.30 else 400.0
    plan = View(PLAN_LEFT, PLAN_MIDDLE, scale, scale)
    _heading(axes, surface, name)
    _plan(axes, surface, plan)
    _parts(axes, surface, plan)
    _long_section(axes, surface, numbers, View(PLAN_LEFT, LONG_LEVEL, scale, 1000.0))
    for share, letter, words, level, tilt in (
        (HEEL_SHARE, "A", "heel", HEEL_LEVEL, numbers.heel_tilt),
        (BALL_SHARE, "B", "forefoot", BALL_LEVEL, numbers.forefoot_tilt),
    ):
        across = 1000.0 if surface.width <= 0.105 else 2000 / 3
        view = View(SECTION_MIDDLE, level, across, across)
        _cross_section(axes, surface, share, f"{letter}–{letter}  {words}", tilt, view)
    _title_block(axes, surface, numbers, name, checksum)


# Pieces -------------------------------------------------------------------------------------------------------------


def _box(place: tuple[float, float, float, float], **style: Any) -> Any:
    from matplotlib.patches import Rectangle

    look: Any = {"fill": False, "edgecolor": INK, "linewidth": 0.6} | style
    return Rectangle(place[:2], place[2], place[3], **look)


def _span(axes: Axes, a: tuple[float, float], b: tuple[float, float], text: str, aside: float = 0.0) -> None:
    """A dimension between two places of the paper, level or upright, drawn `aside` of them with extension lines."""
    level = abs(b[0] - a[0]) >= abs(b[1] - a[1])
    shift = np.array((0.0, aside) if level else (aside, 0.0))
    start, stop = np.array(a) + shift, np.array(b) + shift
    for foot, tip in ((a, start), (b, stop)):
        way = tip - np.array(foot)
        if np.hypot(*way) > 1:
            over = tip + 1.2 * way / np.hypot(*way)
            axes.plot((foot[0], over[0]), (foot[1], over[1]), color=SOFT, linewidth=0.35)
    room = float(np.hypot(*(stop - start)))
    heads: Any = {"arrowstyle": "<|-|>" if room > 4.5 else "-", "shrinkA": 0, "shrinkB": 0}
    heads |= {"color": INK, "linewidth": 0.5, "mutation_scale": 5}
    axes.annotate("", xy=tuple(stop), xytext=tuple(start), arrowprops=heads)
    middle = 0.5 * (start + stop)
    halo: Any = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
    if level:
        axes.text(middle[0], middle[1], text, ha="center", va="center", bbox=halo)
    elif room > 9:
        axes.text(middle[0], middle[1], text, ha="center", va="center", rotation=90, bbox=halo)
    else:
        axes.text(middle[0] + (1.2 if aside >= 0 else -1.2), middle[1], text, va="center",
                  ha="left" if aside >= 0 else "right")  # fmt: skip


def _heading(axes: Axes, surface: Surface, name: str) -> None:
    axes.text(12, 195, f"Insole {name}"[:60], fontsize=12, fontweight="bold", color=INK, va="center")
    axes.text(12, 188.5, HEADING, fontsize=8.5, color=SOFT, va="center")
    side = surface.side.upper()
    axes.text(
        PAGE[0] - 13, 192, side, fontsize=20, fontweight="bold", color="white", ha="right", va="center",
        bbox={"facecolor": INK, "edgecolor": INK, "boxstyle": "square,pad=0.28"},
    )  # fmt: skip


# Views --------------------------------------------------------------------------------------------------------------


def _left(surface: Surface, y: Array) -> Array:
    """y towards medial as y towards the left of the foot."""
    return y if surface.side == "right" else -y


def _plan(axes: Axes, surface: Surface, view: View) -> None:
    """Seen from above, heel to the left of the sheet: the outline, lines of equal height and the places of the
    sections."""
    x, y = sole_grid(surface, 241, 81)
    z = 1000 * surface.heights(x, y)
    px, py = view.at(x, _left(surface, y))
    _height_lines(axes, px, py, z)
    for edge in (0, -1):
        axes.plot(px[:, edge], py[:, edge], color=INK, linewidth=1.1, zorder=4)
    axes.plot(*view.at([-0.008, surface.length + 0.008], [0, 0]), color=SOFT, linewidth=0.5, dashes=(10, 3, 2, 3))
    top, bottom = float(py.max()), float(py.min())
    for share, letter in ((HEEL_SHARE, "A"), (BALL_SHARE, "B")):
        place = view.left + view.across * share * surface.length
        axes.plot((place, place), (bottom - 3, top + 3), color=INK, linewidth=0.6, dashes=(10, 3, 2, 3))
        for end in (top + 5, bottom - 5):
            axes.text(place, end, letter, ha="center", va="center", fontweight="bold", fontsize=8)
    right_end = float(px.max())
    _span(axes, (view.left, bottom), (right_end, bottom), f"{1000 * surface.length:.1f}", -11)
    _span(axes, (view.left, top), (view.left + view.across * HEEL_SHARE * surface.length, top),
          f"{1000 * HEEL_SHARE * surface.length:.1f}", 9)  # fmt: skip
    _span(axes, (view.left, top), (view.left + view.across * BALL_SHARE * surface.length, top),
          f"{1000 * BALL_SHARE * surface.length:.1f}", 14)  # fmt: skip
    widest = int(np.argmax(y[:, -1] - y[:, 0]))
    wide = sorted((py[widest, 0], py[widest, -1]))
    _span(axes, (right_end, wide[0]), (right_end, wide[1]), f"{1000 * surface.width:.1f}", 6)
    medial_up = surface.side == "right"
    for words, up in (("medial", medial_up), ("lateral", not medial_up)):
        axes.text(view.left + 0.42 * (right_end - view.left), top + 2.2 if up else bottom - 2.2, words,
                  ha="center", va="center", style="italic", color=SOFT)  # fmt: skip
    axes.text(view.left, bottom - 17, f"Plan from above, {_ratio(view.across)}; heights in mm", fontweight="bold",
              va="center")  # fmt: skip


def _height_lines(axes: Axes, px: Array, py: Array, z: Array) -> None:
    low, high = float(z.min()), float(z.max())
    step = next((s for s in STEPS if (high - low) / s <= 10), STEPS[-1])
    levels = np.arange(np.ceil((low + 0.05) / step) * step, high, step)
    if high - low < 0.2 or not levels.size:
        axes.fill(np.r_[px[:, 0], px[::-1, -1]], np.r_[py[:, 0], py[::-1, -1]], color=FILL)
        axes.text(float(px.mean()), float(py.mean()) + 4, f"flat, {low:.1f}", ha="center")
        return
    axes.contourf(px, py, z, levels=np.r_[low - 1, levels, high + 1], cmap="Blues", alpha=0.45, antialiased=True)
    lines = axes.contour(px, py, z, levels=levels, colors=SOFT, linewidths=0.5)
    axes.clabel(lines, fmt="%g", fontsize=6, colors=INK, inline_spacing=2)


def _parts(axes: Axes, surface: Surface, view: View) -> None:
    """How far each part reaches, as bars on the plan's scale."""
    level = PLAN_MIDDLE - 0.5 * view.up * surface.width - 29
    for part in parts_of(surface):
        start, end = (float(view.left + view.across * place) for place in (part.start, part.end))
        axes.add_patch(_box((start, level, end - start, 1.6), fill=True, facecolor=HATCH, linewidth=0.4))
        axes.text(view.left, level + 3.1, f"{part.name}: {part.text}", fontsize=6.3, va="center")
        level -= 6.2


def _long_section(axes: Axes, surface: Surface, numbers: Numbers, view: View) -> None:
    x = np.linspace(0, surface.length, 400)
    z = surface.heights(x, np.zeros_like(x))
    _cut(axes, surface, x, z, view)
    for share, stack in ((HEEL_SHARE, numbers.heel_stack), (BALL_SHARE, numbers.forefoot_stack)):
        foot, tip = (
            (float(view.left + view.across * share * surface.length), float(view.level + view.up * k))
            for k in (0.0, stack)
        )
        axes.plot((foot[0], foot[0]), (foot[1] - 1.5, tip[1] + 1.5), color=INK, linewidth=0.5)
        axes.text(tip[0], tip[1] + 3.4, f"{1000 * stack:.1f}", ha="center", va="center", fontweight="bold")
    words = f"Long section on the centre line; lengths {_ratio(view.across)}, heights 1:1"
    axes.text(view.left, view.level - 5, words, fontweight="bold", va="center")


def _cross_section(axes: Axes, surface: Surface, share: float, title: str, tilt: float, view: View) -> None:
    """Seen from behind: the foot's left is on the left of the sheet."""
    x = np.full(121, share * surface.length)
    low, high = float(surface.lateral_edge(x[:1])[0]), float(surface.medial_edge(x[:1])[0])
    y = np.linspace(low, high, x.size)
    z = surface.heights(x, y)
    aside = -_left(surface, y)
    order = np.argsort(aside)
    aside, z = aside[order], z[order]
    _cut(axes, surface, aside, z, view)
    ends = [(float(view.left + view.across * aside[k]), float(view.level + view.up * z[k])) for k in (0, -1)]
    for (place, height), value, out in zip(ends, (z[0], z[-1]), (-5.0, 5.0), strict=True):
        _span(axes, (place, view.level), (place, height), f"{1000 * value:.1f}", out)
    middle = float(surface.heights(x[:1], np.zeros(1))[0])
    axes.text(view.left, view.level + view.up * float(z.max()) + 3.5, f"{1000 * middle:.1f} at the centre line",
              ha="center", va="center")  # fmt: skip
    axes.plot((view.left, view.left), (view.level - 1.5, view.level + view.up * middle + 1.5), color=SOFT,
              linewidth=0.5, dashes=(10, 3, 2, 3))  # fmt: skip
    _span(axes, (ends[0][0], view.level), (ends[1][0], view.level), f"{1000 * (high - low):.1f}", -5)
    left_word, right_word = ("medial", "lateral") if surface.side == "right" else ("lateral", "medial")
    axes.text(ends[0][0], view.level - 9, left_word, ha="left", va="center", style="italic", color=SOFT)
    axes.text(ends[1][0], view.level - 9, right_word, ha="right", va="center", style="italic", color=SOFT)
    words = f"{title}, seen from behind, {_ratio(view.across)};  tilt: {angle_text(tilt)}"
    axes.text(view.left, view.level - 13.5, words, fontweight="bold", ha="center", va="center")


def _cut(axes: Axes, surface: Surface, along: Array, z: Array, view: View) -> None:
    """The cut body hatched, its covers as lines under the top."""
    px, top = view.at(along, z)
    _, under = view.at(along, z - cover_thickness(surface.layers))
    axes.fill_between(px, view.level, under, facecolor=FILL, hatch="////", edgecolor=HATCH, linewidth=0)
    axes.plot(np.r_[px, px[::-1], px[:1]], np.r_[np.full(px.size, view.level), top[::-1], view.level], color=INK,
              linewidth=0.9)  # fmt: skip
    depth = 0.0
    for layer in surface.layers:
        if layer.thickness is None:
            break
        depth += layer.thickness
        axes.plot(*view.at(along, z - depth), color=INK, linewidth=0.5)


def _ratio(across: float) -> str:
    return f"1:{1000 / across:.3g}"


# Title block --------------------------------------------------------------------------------------------------------


def _title_block(axes: Axes, surface: Surface, numbers: Numbers, name: str, checksum: str) -> None:
    left, bottom, width, height = BLOCK
    axes.add_patch(_box(BLOCK, linewidth=0.9))
    rows = _rows(surface, numbers, checksum)
    pitch = (height - 11) / len(rows)
    for k, (key, value) in enumerate(rows):
        level = bottom + height - (k + 0.5) * pitch
        axes.text(left + 2, level, key, color=SOFT, va="center", fontsize=6.6)
        axes.text(left + 33, level, value, color=INK, va="center", fontsize=6.6)
        axes.plot((left, left + width), (level - 0.5 * pitch,) * 2, color=SOFT, linewidth=0.3)
    axes.text(left + 2, bottom + 5.5, f"{HEADING}. Not a medical device; a licensed\npractitioner prescribes. All "
              "measures in mm; do not measure on the sheet.", fontsize=6.6, va="center")  # fmt: skip


def _rows(surface: Surface, numbers: Numbers, checksum: str) -> list[tuple[str, str]]:
    mass = "unknown" if np.isnan(numbers.mass) else f"{1000 * numbers.mass:.0f} g"
    layers = "; ".join(layer_text(layer) for layer in surface.layers) or "not named"
    shorten: Callable[[str], str] = lambda text: textwrap.shorten(text, 78, placeholder=" …")  # noqa: E731
    return [
        ("Side", f"{surface.side} foot"),
        ("Length x width", f"{1000 * surface.length:.1f} x {1000 * surface.width:.1f}"),
        ("Stack height", f"heel {1000 * numbers.heel_stack:.1f}, forefoot {1000 * numbers.forefoot_stack:.1f}"),
        ("Thickness", f"{1000 * numbers.thinnest:.1f} to {1000 * numbers.thickest:.1f}"),
        ("Steepest slope", f"{np.rad2deg(numbers.steepest):.1f}°"),
        ("Volume, mass", f"{1e6 * numbers.volume:.1f} cm³, {mass}"),
        ("Layers, foot down", shorten(layers)),
        ("SHA-256 of the STL", f"{checksum[:16]} …" if checksum else "not written"),
    ]

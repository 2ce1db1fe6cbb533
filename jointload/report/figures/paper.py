"""Panels as a figure file for a paper, drawn by matplotlib: one width and one size of letters for every sheet."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.report.figures import panel as shapes
from jointload.report.figures.panel import Key, Panel, Sheet
from jointload.report.words.colours import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FOLDER = "figures"
FORMS = ("svg", "png", "pdf")
PAPER_WIDTH, PAPER_FONT, PAPER_DOTS = 7.1, 7.0, 300
"""A figure file is two columns of a journal wide [in], with this size of letters [pt]; dots an inch of a PNG."""
LEAST_HEIGHT = 1.7
"""Of a row of panels [in]."""
POINTS = 0.58
"""Of paper for a pixel of the page, so that lines keep their weight beside the letters."""
AROUND, EQUAL_AROUND = 60.0, 1.0
"""For title and ticks above and below the axes [px]; where lengths are drawn alike [in]."""
LETTERS_A_ROW, LETTERS_OF_A_SWATCH = 120, 7
"""Of the legend of a sheet, which takes more rows when it is longer."""
LEGEND_BELOW, LEGEND_ROW, LEGEND_COLUMNS = 26.0, 0.15, 2
"""Of a panel's own legend: how far under its axes [pt], a row [in]."""
STYLE: Any = {
    "font.family": "DejaVu Sans", "font.size": PAPER_FONT, "axes.titlesize": "medium", "axes.titleweight": "bold",
    "axes.titlelocation": "left", "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": LIGHT["soft"],
    "axes.labelcolor": LIGHT["ink"], "axes.axisbelow": True, "grid.color": LIGHT["grid"], "grid.linewidth": 0.5,
    "xtick.color": LIGHT["soft"], "ytick.color": LIGHT["soft"], "legend.frameon": False, "svg.fonttype": "path",
    "svg.hashsalt": "jointload", "pdf.fonttype": 42, "figure.constrained_layout.use": True, "hatch.linewidth": 0.6,
}  # fmt: skip
MARKERS = {"circle": "o", "square": "s", "triangle": "^", "diamond": "D", "cross": "+", "arrow": r"$\uparrow$"}
HATCHES = {"/": "////", "\\": "\\\\\\\\", "x": "xxxx", "|": "||||", "": None}


def check_form(form: str) -> None:
    """SettingError unless figures can be written in this form."""
    if form not in FORMS:
        expected, advice = "one of " + ", ".join(FORMS), "leave --figures out for none"
        raise SettingError(expected_found("figures", expected, repr(form), "the command", advice))


def write_sheets(sheets: Mapping[str, Sheet | None], result: Path, form: str) -> None:
    """Write every sheet that is there as a file of its name into the figures of a result. form : one of FORMS"""
    check_form(form)
    folder = result / FOLDER
    folder.mkdir()
    for name, sheet in sheets.items():
        if sheet is not None:
            (folder / f"{name}.{form}").write_bytes(sheet_file(sheet, form))


def sheet_file(sheet: Sheet, form: str = "svg") -> bytes:
    """All panels of a sheet as one figure; the same sheet gives the same bytes. form : one of FORMS."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    out = io.BytesIO()
    with rc_context(STYLE):
        figure = Figure()
        if form == "svg":
            # The SVG canvas is asked itself, as savefig draws every figure twice.
            canvas = FigureCanvasSVG(figure)
            _composed(figure, sheet)
            canvas.print_svg(out, metadata={"Date": None, "Creator": None})
        else:
            FigureCanvasAgg(figure)
            _composed(figure, sheet)
            undated: Any = {"CreationDate": None} if form == "pdf" else {}
            figure.savefig(out, format=form, metadata=undated, dpi=PAPER_DOTS)
    return out.getvalue()


def _composed(figure: Figure, sheet: Sheet) -> None:
    columns = min(sheet.columns, len(sheet.panels))
    rows = -(-len(sheet.panels) // columns)
    heights = [
        max(_height(panel, sheet, columns) for panel in sheet.panels[k * columns : (k + 1) * columns])
        for k in range(rows)
    ]
    figure.set_size_inches(PAPER_WIDTH, sum(heights) + 0.3)
    grid = figure.subplots(rows, columns, squeeze=False, height_ratios=heights)
    for k, (axes, panel) in enumerate(zip(grid.flat, sheet.panels, strict=False)):
        _draw(axes, panel, columns > 3, rows > 1)
        if panel.timed and k < len(sheet.panels) - columns:
            axes.set_xlabel("")
    for axes in grid.flat[len(sheet.panels) :]:
        axes.axis("off")
    if sheet.keys:
        words = sum(len(key.label) + LETTERS_OF_A_SWATCH for key in sheet.keys)
        figure.legend(handles=[_handle(key) for key in sheet.keys], loc="outside upper right",
                      ncols=-(-len(sheet.keys) // -(-words // LETTERS_A_ROW)))  # fmt: skip


def _height(panel: Panel, sheet: Sheet, columns: int) -> float:
    """Of a row with this panel in it [in]."""
    keys = LEGEND_BELOW / 72 + LEGEND_ROW * -(-len(panel.keys) // LEGEND_COLUMNS) if panel.keys else 0.0
    if panel.equal:
        wide, high = abs(panel.x.high - panel.x.low), abs(panel.y.high - panel.y.low)
        return (PAPER_WIDTH / columns - 0.45) * high / wide + EQUAL_AROUND + keys
    height = ((panel.height or sheet.height) + AROUND) * POINTS / 72
    return (height if panel.height else max(height, LEAST_HEIGHT)) + keys


def _draw(axes: Axes, panel: Panel, narrow: bool, below_others: bool) -> None:
    """Axes, shapes from the lowest to the topmost, and the title; its subtitle takes two lines where it is narrow."""
    for across, axis in ((axes.xaxis, panel.x), (axes.yaxis, panel.y)):
        if axis.decades:
            (axes.set_xscale if across is axes.xaxis else axes.set_yscale)("log")
        across.set_ticks([value for value, _ in axis.ticks], [text for _, text in axis.ticks], minor=False)
        across.set_ticks([], minor=True)
        across.grid(axis.grid)
    axes.set_xlim(panel.x.low, panel.x.high)
    axes.set_ylim(panel.y.low, panel.y.high)
    axes.set_xlabel(panel.x.label)
    if panel.equal:
        axes.set_aspect("equal")
    for layer, shape in enumerate(panel.shapes):
        _DRAWN[type(shape)](axes, panel, shape, 2.0 + 0.01 * layer)
    if panel.keys:
        _own_legend(axes, panel)
    size = float(axes.title.get_fontsize())
    subtitle = panel.subtitle.replace(", ", ",\n", 1) if narrow else panel.subtitle
    lines = len(subtitle.splitlines())
    axes.set_title(panel.title, pad=size * (0.8 + 1.1 * lines)).set_in_layout(narrow or below_others)
    axes.annotate(
        subtitle, (0, 1), xytext=(0, 0.5 * size), xycoords="axes fraction", textcoords="offset points",
        fontsize=0.9 * size, color=LIGHT["soft"],
    ).set_in_layout(False)  # fmt: skip


def _own_legend(axes: Axes, panel: Panel) -> None:
    """Below the label of the horizontal axis."""
    from matplotlib.transforms import ScaledTranslation

    figure: Any = axes.figure
    below = axes.transAxes + ScaledTranslation(0.0, -LEGEND_BELOW / 72, figure.dpi_scale_trans)
    axes.legend(
        handles=[_handle(key) for key in panel.keys], fontsize="small", loc="upper center", bbox_to_anchor=(0.5, 0.0),
        bbox_transform=below, ncols=LEGEND_COLUMNS, borderpad=0.0,
    )  # fmt: skip


def _dashes(dashes: tuple[float, ...], width: float) -> Any:
    """matplotlib counts dashes in widths of the line."""
    return (0, tuple(d / width for d in dashes)) if dashes else "-"


def _line(axes: Axes, panel: Panel, line: shapes.Line, layer: float) -> None:
    axes.plot(line.x, line.y, color=LIGHT[line.colour], linewidth=POINTS * line.width, alpha=line.opacity, zorder=layer,
              linestyle=_dashes(line.dashes, line.width), solid_capstyle="round")  # fmt: skip


def _band(axes: Axes, panel: Panel, band: shapes.Band, layer: float) -> None:
    axes.fill_between(band.x, band.low, band.high, color=LIGHT[band.colour], alpha=band.opacity, linewidth=0,
                      zorder=layer)  # fmt: skip


def _rule(axes: Axes, panel: Panel, rule: shapes.Rule, layer: float) -> None:
    draw: Any = axes.axvline if rule.upright else axes.axhline
    draw(rule.at, color=LIGHT[rule.colour], linewidth=POINTS * rule.width, zorder=layer,
         linestyle=_dashes(rule.dashes, rule.width))  # fmt: skip


def _span(axes: Axes, panel: Panel, span: shapes.Span, layer: float) -> None:
    look: dict[str, Any] = {"facecolor": LIGHT[span.colour]}
    if span.hatch:
        look = {"facecolor": "none", "edgecolor": LIGHT[span.colour], "hatch": HATCHES[span.hatch]}
    axes.axvspan(span.first, span.last, ymin=span.bottom, ymax=span.top, linewidth=0, zorder=layer, **look)


def _boxes(axes: Axes, panel: Panel, boxes: shapes.Boxes, layer: float) -> None:
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    corners = np.broadcast_arrays(boxes.left, boxes.bottom, boxes.right, boxes.top)
    squares = [Rectangle((a, b), c - a, d - b) for a, b, c, d in zip(*corners, strict=True)]
    edge = boxes.edge or ("card" if boxes.hatch else "")
    axes.add_collection(
        PatchCollection(
            squares, facecolor=LIGHT[boxes.colour] if boxes.colour else "none", zorder=layer,
            edgecolor=LIGHT[edge] if edge else "none", linewidth=0.6 if edge else 0.0, hatch=HATCHES[boxes.hatch],
        ),
        autolim=False,
    )  # fmt: skip


def _marks(axes: Axes, panel: Panel, marks: shapes.Marks, layer: float) -> None:
    """Of one size they are a line's marks, which matplotlib makes in a third of the time."""
    colour, crossed = LIGHT[marks.colour], marks.shape == "cross"
    inside, width = LIGHT["card"] if marks.hollow else colour, 0.9 if marks.hollow or crossed else 0.0
    shared: Any = {"marker": MARKERS[marks.shape], "alpha": marks.opacity, "zorder": layer}
    if np.ndim(marks.size) == 0:
        axes.plot(marks.x, marks.y, linestyle="none", markersize=2 * POINTS * marks.size, markerfacecolor=inside,
                  markeredgecolor=colour, markeredgewidth=width, **shared)  # fmt: skip
        return
    look: Any = {"c": colour} if crossed else {"facecolors": inside, "edgecolors": colour}
    axes.scatter(marks.x, marks.y, s=(2 * POINTS * np.asarray(marks.size)) ** 2, linewidths=width, **shared, **look)


def _interval(axes: Axes, panel: Panel, found: shapes.Interval, layer: float) -> None:
    axis = panel.y if found.upright else panel.x
    if np.isnan([found.low, found.high]).any():
        return
    edges = min(axis.low, axis.high), max(axis.low, axis.high)
    ends = np.clip([found.low, found.high], *edges)
    places = np.full(2, found.place)
    look: Any = {"color": LIGHT[found.colour], "zorder": layer, "clip_on": False}
    axes.plot(*((places, ends) if found.upright else (ends, places)), linewidth=POINTS * found.width,
              solid_capstyle="butt", **look)  # fmt: skip
    for wanted, end in zip((found.low, found.high), ends.tolist(), strict=True):
        if wanted != end:
            outwards = (wanted > end) == (axis.high > axis.low)
            mark = ("^" if outwards else "v") if found.upright else (">" if outwards else "<")
            place = (found.place, end) if found.upright else (end, found.place)
            axes.plot(*place, marker=mark, markersize=4, linestyle="none", **look)


def _arrow(axes: Axes, panel: Panel, arrow: shapes.Arrow, layer: float) -> None:
    look: Any = {"arrowstyle": "-|>", "color": LIGHT[arrow.colour], "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", arrow.end, arrow.start, arrowprops=look, zorder=layer)


def _words(axes: Axes, panel: Panel, words: shapes.Words, layer: float) -> None:
    from matplotlib.transforms import blended_transform_factory

    across, up = (axes.transAxes if shared else axes.transData for shared in words.shared)
    axes.annotate(
        words.text, (words.x, words.y), xycoords=blended_transform_factory(across, up),
        xytext=(POINTS * words.shift[0], POINTS * words.shift[1]), textcoords="offset points", va="center",
        ha={"start": "left", "middle": "center", "end": "right"}[words.anchor], fontsize=0.88 * PAPER_FONT,
        color=LIGHT[words.colour], zorder=layer,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3, "alpha": 0.7},
    )  # fmt: skip


_DRAWN = shapes.drawn_by(_line, _band, _rule, _span, _boxes, _marks, _interval, _arrow, _words)


def _handle(key: Key) -> Any:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    colour = LIGHT[key.colour]
    if key.hatch is not None:
        return Patch(facecolor=colour, hatch=HATCHES[key.hatch], edgecolor="white", label=key.label)
    return Line2D(
        [], [], color=colour, linestyle=_dashes(key.dashes, key.width) if key.width else "none",
        linewidth=POINTS * key.width, marker=MARKERS.get(key.mark), markersize=4.5, markeredgewidth=0.8,
        markerfacecolor="white" if key.hollow else colour, label=key.label,
    )  # fmt: skip

"""How figures are drawn: one style, and sheets of panels that become one file for a paper or one picture a panel.

Dash, shape and label carry meaning beside colour, never colour alone.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

from jointload.analysis import Analysis

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMS = ("svg", "png", "pdf")
INK, SOFT, FAINT = "#1d2526", "#566365", "#eef2ef"
STYLE: Any = {
    "font.family": "DejaVu Sans", "font.size": 9, "axes.titlesize": "medium", "axes.titleweight": "bold",
    "axes.titlelocation": "left", "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": SOFT,
    "axes.labelcolor": INK, "axes.grid": True, "axes.axisbelow": True, "grid.color": "#e4e7e3", "grid.linewidth": 0.7,
    "xtick.color": SOFT, "ytick.color": SOFT, "lines.linewidth": 1.7, "legend.frameon": False, "svg.fonttype": "path",
    "svg.hashsalt": "jointload", "pdf.fonttype": 42, "figure.constrained_layout.use": True,
}  # fmt: skip
SIDE_STYLE: dict[str, dict[str, Any]] = {
    "right": {"color": "#0b3c6f", "linestyle": "-"},
    "left": {"color": "#b0501a", "linestyle": (0, (5, 1.6))},
}
PAPER_WIDTH, PAPER_FONT, PAPER_DOTS = 7.1, 7.0, 300
"""A figure file is two columns of a journal wide [in], with this size of letters [pt]; dots an inch of a PNG."""
LEAST_PAPER_HEIGHT = 1.7
"""Of a row of panels in a figure file [in]."""
PAPER_STYLE: Any = {**STYLE, "font.size": PAPER_FONT, "lines.linewidth": 1.2, "lines.markersize": 4}
PANEL_WIDTH, PANEL_HEIGHT = 3.5, 2.4
"""A panel of the page [in]; a telephone shows it at about this size."""
MARGINS = {"left": 0.50, "right": 0.10, "top": 0.44, "bottom": 0.42}
"""Round the axes of a panel of the page [in], the same for all, so that a time has the same place in each."""


@dataclass(frozen=True)
class Key:
    """One entry of a legend: a line with its dashes [pt], a mark, or both."""

    label: str
    colour: str
    dashes: tuple[float, ...] = ()
    mark: str = ""
    hollow: bool = False
    width: float = 1.7
    """Of the line [pt], 0 for a mark alone."""


@dataclass(frozen=True)
class Panel:
    """One set of axes: title, what its vertical axis shows, and how it is drawn.

    told : what it shows, in words, for those who do not see it;  timed : its horizontal axis is the landing's time
    behind : heading -> cells of the table behind it, one for each of the sheet's rows
    """

    title: str
    subtitle: str
    draw: Callable[[Axes], None]
    told: str
    timed: bool = False
    behind: Mapping[str, Sequence[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Sheet:
    """Panels that belong together, in reading order; height, width : of a panel of the page [in];  rows : of the table
    behind them."""

    panels: tuple[Panel, ...]
    keys: tuple[Key, ...] = ()
    columns: int = 3
    height: float = PANEL_HEIGHT
    width: float = PANEL_WIDTH
    rows: tuple[str, ...] = ()


def drawn(draw: Callable[[Figure, Analysis], None], analysis: Analysis, form: str = "") -> bytes:
    """A whole figure: the page's wide SVG where `form` is empty, else the file of that form for a paper.

    The same analysis gives the same bytes.
    """
    if not form:
        return _saved(lambda figure: draw(figure, analysis), "svg", STYLE)

    def narrowed(figure: Figure) -> None:
        draw(figure, analysis)
        width, height = figure.get_size_inches()
        figure.set_size_inches(PAPER_WIDTH, height * PAPER_WIDTH / width)

    return _saved(narrowed, form, PAPER_STYLE)


def drawn_alone(draw: Callable[[Figure], None]) -> bytes:
    """Draw a figure of anything in this package's style and return the SVG."""
    return _saved(draw, "svg", STYLE)


def sheet_file(sheet: Sheet, form: str = "svg") -> bytes:
    """All panels of a sheet as one figure for a paper: one width and one size of letters for every sheet."""
    return _saved(lambda figure: _composed(figure, sheet), form, PAPER_STYLE)


def panel_pictures(sheet: Sheet) -> list[bytes]:
    """Each panel of a sheet as an SVG of its own, for a page that lays them out by its width."""
    return [_saved(partial(_alone, panel=panel, sheet=sheet), "svg", STYLE) for panel in sheet.panels]


def panel_axes(sheet: Sheet) -> tuple[float, float, float, float]:
    """Left, top, width and height of the axes in a panel of the page, as shares of it, from its upper left corner."""
    return (
        MARGINS["left"] / sheet.width,
        MARGINS["top"] / sheet.height,
        1 - (MARGINS["left"] + MARGINS["right"]) / sheet.width,
        1 - (MARGINS["top"] + MARGINS["bottom"]) / sheet.height,
    )


def _saved(draw: Callable[[Figure], None], form: str, style: Any) -> bytes:
    """The figure's file; the SVG canvas is asked itself, as savefig draws every figure twice."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    out = io.BytesIO()
    with rc_context(style):
        figure = Figure()
        if form == "svg":
            canvas = FigureCanvasSVG(figure)
            draw(figure)
            canvas.print_svg(out, metadata={"Date": None, "Creator": None})
        else:
            FigureCanvasAgg(figure)
            draw(figure)
            undated: Any = {"CreationDate": None} if form == "pdf" else {}
            figure.savefig(out, format=form, metadata=undated, dpi=PAPER_DOTS)
    return out.getvalue()


def _alone(figure: Figure, panel: Panel, sheet: Sheet) -> None:
    figure.set_layout_engine("none")
    figure.set_size_inches(sheet.width, sheet.height)
    left, top, width, height = panel_axes(sheet)
    _titled(figure.add_axes((left, 1 - top - height, width, height)), panel)


def _composed(figure: Figure, sheet: Sheet) -> None:
    columns = min(sheet.columns, len(sheet.panels))
    rows = -(-len(sheet.panels) // columns)
    height = max(sheet.height * PAPER_WIDTH / columns / sheet.width, LEAST_PAPER_HEIGHT)
    figure.set_size_inches(PAPER_WIDTH, rows * height + 0.3)
    grid = figure.subplots(rows, columns, squeeze=False)
    for k, (axes, panel) in enumerate(zip(grid.flat, sheet.panels, strict=False)):
        _titled(axes, panel, narrow=columns > 3)
        if panel.timed and k < len(sheet.panels) - columns:
            axes.set_xlabel("")
    for axes in grid.flat[len(sheet.panels) :]:
        axes.axis("off")
    if sheet.keys:
        figure.legend(handles=[_handle(key) for key in sheet.keys], loc="outside upper right", ncols=len(sheet.keys))


def _titled(axes: Axes, panel: Panel, narrow: bool = False) -> None:
    """Draw a panel; its subtitle takes two lines where it is narrow."""
    panel.draw(axes)
    size = float(axes.title.get_fontsize())
    subtitle = panel.subtitle.replace(", ", ",\n", 1) if narrow else panel.subtitle
    axes.set_title(panel.title, pad=size * (0.8 + 1.1 * len(subtitle.splitlines()))).set_in_layout(narrow)
    axes.annotate(
        subtitle, (0, 1), xytext=(0, 0.5 * size), xycoords="axes fraction", textcoords="offset points",
        fontsize=0.9 * size, color=SOFT,
    ).set_in_layout(False)  # fmt: skip


def _handle(key: Key) -> Any:
    from matplotlib.lines import Line2D

    return Line2D(
        [], [], color=key.colour, linestyle=(0, key.dashes) if key.dashes else "-", linewidth=key.width,
        marker=key.mark or None, markerfacecolor="white" if key.hollow else key.colour, label=key.label,
    )  # fmt: skip

"""Figures of a comparison as SVG: whole curves, riders before and after, effects, and the map of styles."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.report.figures.sheet import INK, SOFT, STYLE
from jointload.report.study_pages.study_words import p_text, title_of
from jointload.report.words.tables import MAIN_QUANTITIES
from jointload.study.comparison import Comparison, CurveRow, Row
from jointload.study.styles import FEATURES, Styles

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FIRST: dict[str, Any] = {"color": "#0b3c6f", "linestyle": "-"}
SECOND: dict[str, Any] = {"color": "#c4621a", "linestyle": (0, (5, 1.6))}
SHADE = "#e8d5a3"
MARKERS = ("o", "s", "^", "D")
FILLS = ("#0b3c6f", "#c4621a", "#7fb7be", "#b79ac8")
COLUMNS = 2
MOST_NAMES = 30
"""Riders are named on the map up to this number."""


def curves_figure(curves: Sequence[CurveRow]) -> bytes:
    """Mean curves of baseline and level with one standard deviation between riders; stretches beyond the threshold."""
    return _drawn(lambda figure: _curves(figure, curves))


def riders_figure(found: Comparison) -> bytes:
    """Each rider's mean under each level for the primary quantities, joined by a line."""
    return _drawn(lambda figure: _riders(figure, found))


def forest_figure(found: Comparison) -> bytes:
    """Effect sizes with their intervals: the primary quantities, then a fixed list of others."""
    return _drawn(lambda figure: _forest(figure, forest_rows(found)))


def forest_rows(found: Comparison) -> list[Row]:
    """Rows whose effect size is known: primary ones, then those of the main quantities, none chosen by its result."""
    shown = [row for row in found.rows if row.primary or row.quantity in MAIN_QUANTITIES]
    return [row for row in shown if np.isfinite(row.size.value)]


def styles_figure(styles: Styles) -> bytes:
    """Riders on the plane of the first two principal components."""
    return _drawn(lambda figure: _styles(figure, styles))


def _drawn(draw: Callable[[Figure], None]) -> bytes:
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with rc_context(STYLE):
        figure = Figure()
        FigureCanvasSVG(figure)
        draw(figure)
        out = io.BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def _panels(figure: Figure, count: int, height: float, columns: int = COLUMNS) -> list[Axes]:
    rows = -(-count // columns)
    figure.set_size_inches(9.0, height * rows + 0.3)
    axes = figure.subplots(rows, columns, squeeze=False).ravel()
    for spare in axes[count:]:
        spare.set_axis_off()
    return list(axes[:count])


def _curves(figure: Figure, curves: Sequence[CurveRow]) -> None:
    percent = np.arange(101)
    for axes, curve in zip(_panels(figure, len(curves), 2.5), curves, strict=True):
        for values, style, name in ((curve.first, FIRST, curve.baseline), (curve.second, SECOND, curve.level)):
            mean = values.mean(axis=0)
            axes.plot(percent, mean, label=f"{name} ({len(values)} riders)", **style)
            if len(values) > 1:
                spread = values.std(axis=0, ddof=1)
                axes.fill_between(percent, mean - spread, mean + spread, color=style["color"], alpha=0.12, linewidth=0)
        for stretch in curve.test.stretches if curve.test else ():
            axes.axvspan(stretch.first - 0.5, stretch.last + 0.5, color=SHADE, alpha=0.6, zorder=0, linewidth=0)
            axes.text(
                0.5 * (stretch.first + stretch.last), 0.98, f"p {p_text(stretch.p)}",
                transform=axes.get_xaxis_transform(), ha="center", va="top", fontsize=7.5, color=INK,
            )  # fmt: skip
        axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=1)
        axes.set_title(title_of(curve.quantity, curve.foot))
        axes.set_ylabel(curve.unit)
        axes.set_xlim(0, 100)
        axes.set_xlabel("% of the landing")
        axes.legend(fontsize=7.5, loc="best")


def _riders(figure: Figure, found: Comparison) -> None:
    names = list(dict.fromkeys(row.name for row in found.rows if row.primary))
    for axes, name in zip(_panels(figure, len(names), 2.6, columns=3), names, strict=True):
        rows = [row for row in found.rows if row.name == name]
        means = (found.data[found.data["name"] == name].groupby(["rider", "level"])["value"].mean().unstack()).reindex(
            columns=list(found.levels)
        )
        places = np.arange(len(found.levels))
        for _, values in means.iterrows():
            axes.plot(places, values.to_numpy(), color=SOFT, linewidth=0.9, marker="o", markersize=4, alpha=0.75)
        joined = "-" if (means.notna().sum(axis=1) > 1).any() else ""
        axes.plot(places, means.mean(), color=FIRST["color"], linewidth=2.4, linestyle=joined, marker="D", markersize=6)
        axes.set_xticks(places, found.levels)
        axes.set_xlim(-0.4, len(places) - 0.6)
        axes.set_title(_wrapped(title_of(rows[0].quantity, rows[0].foot)), fontsize=9)
        axes.set_ylabel(rows[0].unit)


def _forest(figure: Figure, rows: Sequence[Row]) -> None:
    figure.set_size_inches(9.0, 0.27 * len(rows) + 1.1)
    axes = figure.subplots()
    reach = 1.15 * max([abs(row.size.value) for row in rows] + [1.0]) + 1.0
    for place, row in enumerate(rows):
        color = FIRST["color"] if row.primary else SOFT
        axes.plot([row.size.low, row.size.high], [place, place], color=color, linewidth=2.2 if row.primary else 1.3)
        axes.plot(
            row.size.value, place, marker="s" if row.primary else "o", color=color, markersize=6 if row.primary else 4
        )
    several = len({row.contrast.level for row in rows}) > 1
    labels = [title_of(row.quantity, row.foot) + (f" ({row.contrast.level})" if several else "") for row in rows]
    axes.set_yticks(range(len(rows)), labels, fontsize=8)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlim(-reach, reach)
    axes.axvline(0.0, color=INK, linewidth=0.9, zorder=1)
    kinds = " or ".join(sorted({row.size.kind for row in rows}))
    axes.set_xlabel(f"effect size ({kinds}) with 95 % interval; bold squares: primary")
    axes.grid(False, axis="y")


def _styles(figure: Figure, styles: Styles) -> None:
    figure.set_size_inches(7.0, 5.6)
    axes = figure.subplots()
    x, y = styles.scores[:, 0], styles.scores[:, 1]
    labels = np.zeros(len(x), dtype=int) if styles.labels is None else styles.labels
    for k in range(labels.max() + 1):
        mine = labels == k
        name = f"cluster {k + 1}" if styles.labels is not None else "rider"
        axes.scatter(
            x[mine], y[mine], s=42, marker=MARKERS[k], color=FILLS[k], edgecolor="white", linewidth=0.7, label=name
        )
    if len(x) <= MOST_NAMES:
        for rider, style, a, b in zip(styles.cells["rider"], styles.cells["style"], x, y, strict=True):
            words = f"{rider}, {style}" if style else str(rider)
            axes.annotate(words, (a, b), xytext=(5, 4), textcoords="offset points", fontsize=7.5, color=SOFT)
    axes.set_xlabel(_component_words(styles, 0), fontsize=8)
    axes.set_ylabel(_component_words(styles, 1), fontsize=8)
    axes.margins(0.15)
    axes.axhline(0.0, color=SOFT, linewidth=0.7, zorder=1)
    axes.axvline(0.0, color=SOFT, linewidth=0.7, zorder=1)
    if styles.labels is not None:
        axes.legend(fontsize=8)


def _component_words(styles: Styles, k: int) -> str:
    """Component, its share of variance, and what its far end means by its two strongest features."""
    words = {feature.name: feature for feature in FEATURES}
    strongest = np.argsort(-np.abs(styles.loadings[k]))[:2]
    ends = [words[styles.features.columns[i]] for i in strongest]
    far = [end.high if styles.loadings[k, i] > 0 else end.low for end, i in zip(ends, strongest, strict=True)]
    return f"component {k + 1} ({100 * styles.explained[k]:.0f} % of variance)\n→ {'; '.join(far)}"


def _wrapped(text: str) -> str:
    name, _, foot = text.partition(", ")
    return f"{name}\n{foot}" if foot else name

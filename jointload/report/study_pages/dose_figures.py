"""Figures of a dose as SVG: doses of riders, where they come from, and what a change would save."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.report.figures.sheet import INK, SOFT, drawn_alone
from jointload.study.strain_dose import Dose, Row, tissues

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

KIND_MARKS: dict[str, dict[str, Any]] = {
    "linear": {"marker": "o", "markerfacecolor": "white"},
    "squared": {"marker": "s", "markerfacecolor": "white"},
    "fourth": {"marker": "^", "markerfacecolor": "white"},
    "published": {"marker": "D", "markerfacecolor": INK},
    "highest": {"marker": "v", "markerfacecolor": INK},
}
KIND_WORDS = {
    "linear": "exponent 1", "squared": "exponent 2", "fourth": "exponent 4", "published": "own exponent",
    "highest": "highest of its own",
}  # fmt: skip
FILLS = (("#0b3c6f", ""), ("#e8d5a3", "//"), ("#7fb7be", ".."), ("#b79ac8", "xx"), ("#c4621a", "\\\\"))
COLUMNS = 3


def doses_figure(found: Dose) -> bytes:
    """Each rider's dose under every exponent with its interval, one panel a tissue, logarithmic."""
    rows = [row for row in found.doses if row["basis"] == "impulse"]
    return _by_tissue(lambda axes, name: _doses(axes, _of(rows, name)), 2.5)


def shares_figure(found: Dose) -> bytes:
    """Share of each rider's dose by activity, under the linear and the tissue's own exponent."""
    rows = [row for row in found.shares if row["by"] == "activity"]
    names = sorted({row["name"] for row in rows})
    return _by_tissue(lambda axes, name: _shares(axes, _of(rows, name), names), 2.6, names)


def savings_figure(found: Dose) -> bytes:
    """What each change would save, from the least to the most over the exponents, for every rider."""
    return _by_tissue(lambda axes, name: _savings(axes, _of(found.savings, name)), 3.4, columns=1)


def _of(rows: Sequence[Row], tissue: str) -> list[Row]:
    return [row for row in rows if row["tissue"] == tissue]


def _by_tissue(
    draw: Callable[[Axes, str], None], height: float, activities: list[str] | None = None, columns: int = COLUMNS
) -> bytes:
    def whole(figure: Figure) -> None:
        names = list(tissues())
        lines = -(-len(names) // columns)
        figure.set_size_inches(10, height * lines + 0.4)
        panels = figure.subplots(lines, columns, squeeze=False).ravel()
        for axes, name in zip(panels, names, strict=False):
            draw(axes, name)
            axes.set_title(tissues()[name].title)
        for axes in panels[len(names) :]:
            axes.axis("off")
        _legend(figure, activities)

    return drawn_alone(whole)


def _legend(figure: Figure, activities: list[str] | None) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any]
    if activities is None:
        handles = [Line2D([], [], color=INK, linestyle="none", label=KIND_WORDS[k], **m) for k, m in KIND_MARKS.items()]
    else:
        handles = [
            Patch(facecolor=colour, hatch=hatch, edgecolor="white", label=name)
            for name, (colour, hatch) in zip(activities, FILLS * (1 + len(activities) // len(FILLS)), strict=False)
        ]
    if handles:
        figure.legend(handles=handles, loc="outside upper right", ncols=len(handles))


def _doses(axes: Axes, rows: Sequence[Row]) -> None:
    riders = list(dict.fromkeys(row["rider"] for row in rows))
    known = [row for row in rows if row["dose"] > 0]
    for row in known:
        place = riders.index(row["rider"]) + 0.15 * (list(KIND_MARKS).index(row["kind"]) - 2)
        axes.plot(place, row["dose"], color=INK, markersize=5, linestyle="none", zorder=3, **KIND_MARKS[row["kind"]])
        if np.isfinite([row["low"], row["high"]]).all():
            axes.plot([place, place], [row["low"], row["high"]], color=SOFT, linewidth=1.4, zorder=2)
    if known:
        axes.set_yscale("log")
    else:
        axes.set_yticks([])
    for place, rider in enumerate(riders):
        if rider not in {row["rider"] for row in known}:
            axes.text(
                place, 0.5, "not known", transform=axes.get_xaxis_transform(), ha="center", color=SOFT, fontsize=7
            )
    axes.set_xticks(range(len(riders)), riders)
    axes.set_xlim(-0.5, len(riders) - 0.5)
    axes.set_ylabel("landings of the mean load")


def _shares(axes: Axes, rows: Sequence[Row], names: Sequence[str]) -> None:
    bars = [(rider, kind) for rider in dict.fromkeys(row["rider"] for row in rows) for kind in ("linear", "published")]
    found = {(row["rider"], row["kind"], row["name"]): row["share"] for row in rows}
    for place, (rider, kind) in enumerate(bars):
        start = 0.0
        for k, name in enumerate(names):
            share = 100 * found.get((rider, kind, name), 0.0)
            colour, hatch = FILLS[k % len(FILLS)]
            axes.barh(place, share, left=start, height=0.7, color=colour, hatch=hatch, edgecolor="white")
            start += share
    if not bars:
        axes.text(0.5, 0.5, "not known", transform=axes.transAxes, ha="center", color=SOFT)
    axes.set_yticks(range(len(bars)), [f"{rider}, {KIND_WORDS[kind]}" for rider, kind in bars], fontsize=7)
    axes.invert_yaxis()
    axes.set_xlim(0, 100)
    axes.set_xlabel("% of the known dose")


def _savings(axes: Axes, rows: Sequence[Row]) -> None:
    """One line a change and rider of which any saving is known."""
    lines: dict[str, list[Row]] = {}
    for row in sorted(rows, key=lambda row: row["change"]):
        if np.isfinite(row["saving"]):
            lines.setdefault(f"{row['change']}, {row['rider']}", []).append(row)
    for place, own in enumerate(lines.values()):
        savings = [100 * row["saving"] for row in own]
        axes.plot((min(savings), max(savings)), (place, place), color=SOFT, linewidth=1.4, zorder=2)
        for row, saving in zip(own, savings, strict=True):
            axes.plot(saving, place, color=INK, markersize=5, linestyle="none", zorder=3, **KIND_MARKS[row["kind"]])
    axes.axvline(0.0, color=SOFT, linewidth=0.8)
    axes.set_yticks(range(len(lines)), list(lines), fontsize=7)
    axes.set_ylim(len(lines) - 0.5, -0.5)
    axes.set_xlabel("% of the dose saved; negative is more dose")

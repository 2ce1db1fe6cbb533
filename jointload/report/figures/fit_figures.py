"""What stack height buys, as a figure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.report.figures.sheet import INK, SOFT, drawn
from jointload.report.words.fit_units import target_numbers

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def trade_off(analysis: Analysis, fit: Fit, form: str = "") -> bytes:
    """Change of the target over the stack heights, with one person's interval."""
    return drawn(lambda figure, _: _trade_off(figure, analysis, fit), analysis, form)


def _trade_off(figure: Figure, analysis: Analysis, fit: Fit) -> None:
    figure.set_size_inches(7, 3.4)
    axes = figure.subplots()
    heights = [1000 * point.stack for point in fit.trade_off]
    ends = [target_numbers(fit, analysis, (point.low, point.change, point.high))[0] for point in fit.trade_off]
    unit = target_numbers(fit, analysis, ())[1]
    low, middle, high = zip(*ends, strict=True)
    axes.vlines(heights, low, high, color=SOFT, linewidth=1.6)
    axes.plot(heights, middle, "o-", color=INK, label="middle of the drawn persons")
    axes.plot(heights, high, "^--", color=SOFT, markerfacecolor="white", label="worse end of the 95 % interval")
    axes.axhline(0.0, color=INK, linewidth=0.8)
    axes.set_xlabel("allowed stack height [mm]")
    axes.set_ylabel(f"change of the target [{unit}]")
    axes.set_title(f"{fit.target.text[:1].upper()}{fit.target.text[1:]}")
    figure.legend(loc="outside lower center", ncols=2)

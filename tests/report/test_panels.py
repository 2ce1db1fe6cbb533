"""A panel is described once: both who draw it put the same thing in the same place."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from jointload.report.figures import inline_svg, paper
from jointload.report.figures.axis import MOST_TICKS, ROUND, Axis, around, decades, named, round_ticks, ticked
from jointload.report.figures.panel import (
    MARKS,
    Arrow,
    Band,
    Boxes,
    Interval,
    Key,
    Line,
    Marks,
    Panel,
    Rule,
    Shape,
    Sheet,
    Span,
    Words,
    name_above,
    one,
)
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.words.colours import DARK, LIGHT

X = np.array([0.0, 1.0, 2.0, np.nan, 4.0, 4.5])
EVERY_SHAPE: tuple[Shape, ...] = (
    Span(1.0, 2.0), Span(0.5, 1.5, "right", 0.0, 0.1, "/"), Rule(0.5, dashes=(2, 3)), Rule(1.0, True),
    Band(X, X - 1, X + 1, "left"), Line(X, X, "right", (8, 3)),
    Boxes(one(1.0), one(2.0), one(0.0), one(3.0), "heat-3", "soft", "x"), Boxes(one(3.0), one(4.0), one(0.0), one(1.0)),
    *(Marks(X, X, shape, "left", hollow) for shape in MARKS for hollow in (True, False)),
    Interval(2.0, 1.0, 3.0), Interval(2.0, -np.inf, 30.0, upright=True), Interval(1.0, np.nan, 2.0),
    Arrow((1.0, 1.0), (2.0, 3.0)), Words("one\ntwo < three", 1.0, 1.0, "ink", "middle", (2, 3), (False, True)),
)  # fmt: skip
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def panel_of(*shapes: Shape, **about: Any) -> Panel:
    about = {"x": ticked(0.0, 5.0, "time"), "y": ticked(-1.0, 5.0), **about}
    return Panel("Title", "unit, up +", "What is shown, told in words.", shapes=shapes, **about)


def path_places(svg: str, look: str) -> np.ndarray[Any, Any]:
    """(N, 2) places of the inner SVG along the first path of that look, as shares from the lower left."""
    found = re.search(rf'class="{look}"[^>]* d="M([^"]+)"', svg)
    assert found is not None
    parts = [np.array(re.findall(r"-?\d+", part), dtype=float).reshape(-1, 2) for part in found[1].split("M")]
    places = np.concatenate([np.cumsum(part, axis=0) for part in parts])
    return np.stack([places[:, 0] / inline_svg.WIDE, 1 - places[:, 1] / inline_svg.HIGH], axis=1)


def drawn_axes(panel: Panel) -> Any:
    """The axes that matplotlib would draw."""
    from matplotlib.figure import Figure

    axes = Figure().subplots()
    paper._draw(axes, panel, False, False)
    return axes


def test_a_line_runs_through_its_points_and_breaks_where_one_is_not_known() -> None:
    y = np.array([0.0, 2.0, -1.0, 3.0, 5.0, 4.0])
    panel = panel_of(Line(X, y, "right"))
    svg = inline_svg.plot(panel)
    known = np.isfinite(X)
    wanted = np.stack([X[known] / 5.0, (y[known] + 1.0) / 6.0], axis=1)
    half_a_unit = 0.5 / inline_svg.HIGH
    assert path_places(svg, "l c-right") == pytest.approx(wanted, abs=1.01 * half_a_unit)
    assert re.search(r'class="l c-right"[^>]* d="([^"]+)"', svg)[1].count("M") == 2  # type: ignore[index]
    (line,) = drawn_axes(panel).lines
    assert line.get_xydata()[known] == pytest.approx(np.stack([X[known], y[known]], axis=1))


def test_steps_in_one_line_are_one_step() -> None:
    x = np.linspace(0.0, 5.0, 101)
    assert len(path_places(inline_svg.plot(panel_of(Line(x, 0.0 * x))), "l c-ink")) == 2


@pytest.mark.parametrize("upright", [False, True])
@pytest.mark.parametrize(("low", "high", "arrows"), [(1.0, 2.0, 0), (-9.0, 2.0, 1), (1.0, 9.0, 1), (-np.inf, 9.0, 2)])
def test_an_interval_that_leaves_the_axis_ends_in_an_arrow(upright: bool, low: float, high: float, arrows: int) -> None:
    panel = panel_of(Interval(2.0, low, high, upright=upright))
    svg = inline_svg.plot(panel)
    assert svg.count('<path class="f"') == arrows
    axis = panel.y if upright else panel.x
    ends = sorted(float(v) for v in re.findall(rf'{"y" if upright else "x"}[12]="([\d.]+)%"', svg))
    shares = sorted(float(np.clip(axis.share(v), 0, 1)) for v in (low, high))
    wanted = sorted(1 - s for s in shares) if upright else shares
    assert ends == pytest.approx([100 * s for s in wanted], abs=0.01)
    lines = drawn_axes(panel).lines
    assert sum(line.get_marker() in ("<", ">", "^", "v") for line in lines) == arrows


def test_every_shape_is_drawn_by_both() -> None:
    sheet = Sheet((panel_of(*EVERY_SHAPE, keys=(Key("own", "ink", hatch="/"),)),), (Key("line", "left", mark="arrow"),))
    page = sheet_figure(sheet, "A caption")
    for form, start in (("svg", b"<?xml"), ("pdf", b"%PDF")):
        assert paper.sheet_file(sheet, form).startswith(start)
    assert "two &lt; three" in page and "nan" not in page and "inf" not in page
    assert page.count("<svg") == page.count("</svg>")
    axes = drawn_axes(sheet.panels[0])
    kinds = {type(shape) for shape in EVERY_SHAPE}
    assert kinds == set(paper._DRAWN) == set(inline_svg._DRAWN)
    assert len(axes.lines) + len(axes.collections) + len(axes.patches) + len(axes.texts) >= len(EVERY_SHAPE) - 1


def test_a_gap_hides_nothing_else() -> None:
    gaps = np.full(6, np.nan)
    svg = inline_svg.plot(panel_of(Line(X, gaps), Band(X, gaps, gaps), Marks(X, gaps)))
    assert 'class="l ' not in svg and 'class="f ' not in svg


@pytest.mark.parametrize(("low", "high"), [(-100.0, 312.0), (0.0, 1.0), (-0.031, 0.044), (2.9, 3.1), (0.0, 75000.0)])
def test_ticks_are_round_and_say_what_they_are(low: float, high: float) -> None:
    ticks = round_ticks(low, high)
    values = np.array([value for value, _ in ticks])
    step = values[1] - values[0]
    mantissa = step / 10.0 ** np.floor(np.log10(step) + 1e-9)
    assert 3 <= len(ticks) <= MOST_TICKS
    assert min(abs(mantissa - each) for each in ROUND) < 1e-9
    assert np.diff(values) == pytest.approx(step) and low - 1e-9 <= values[0] and values[-1] <= high + 1e-9
    assert [float(text.replace("−", "-")) for _, text in ticks] == pytest.approx(values.tolist(), abs=1e-9 * step)


def test_ticks_agree_with_a_general_library() -> None:
    """matplotlib.ticker: every multiple of the step inside the axis, and no coarser step than its own choice."""
    from matplotlib.ticker import MaxNLocator, MultipleLocator

    rng = np.random.default_rng(1)
    for low, width in zip(rng.normal(0, 10, 50), 10 ** rng.uniform(-3, 4, 50), strict=True):
        ours = np.array([value for value, _ in round_ticks(low, low + width)])
        step = ours[1] - ours[0]
        multiples = MultipleLocator(step).tick_values(low, low + width)
        assert ours == pytest.approx(multiples[(multiples >= low) & (multiples <= low + width)], abs=1e-6 * step)
        theirs = MaxNLocator(nbins=MOST_TICKS, steps=list(ROUND)).tick_values(low, low + width)
        assert step <= theirs[1] - theirs[0] + 1e-9 * width


def test_axes_turn_round_and_count_decades() -> None:
    assert Axis(5.0, 0.0).share(np.array([5.0, 4.0, 0.0])) == pytest.approx([0.0, 0.2, 1.0])
    wide = decades([10.0, np.nan, 1e5, 0.0])
    assert float(wide.share(np.sqrt(wide.low * wide.high))) == pytest.approx(0.5)
    assert [text for _, text in wide.ticks] == ["10", "100", "1000", "10000", "100000"]
    assert around([np.array([1.0, np.nan]), 1.0], least=4.0).high == pytest.approx(3.0, abs=0.1)
    assert (around([np.array([np.nan])]).low, around([]).high) == pytest.approx((-1.1, 1.1))
    assert [text for _, text in named(["flat", "wedge"]).ticks] == ["flat", "wedge"]


def test_a_long_name_takes_two_lines() -> None:
    assert name_above("knee adduction, right", 0.0, 14.0).text == "knee adduction, right"
    assert name_above("peak ankle dorsiflexion moment, right (external)", 0.0, 14.0).text.splitlines() == [
        "peak ankle dorsiflexion moment, right", "(external)",
    ]  # fmt: skip


def contrast(first: str, second: str) -> float:
    """Of two colours, by WCAG 2.1 (relative luminance and contrast ratio, its definitions)."""

    def luminance(code: str) -> float:
        parts = np.array([int(code[k : k + 2], 16) for k in (1, 3, 5)]) / 255
        return float(LUMINANCE @ np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4))

    dark, light = sorted((luminance(first), luminance(second)))
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_that_of_its_published_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)  # the often cited lightest grey that passes


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_letters_and_curves_stand_out(scheme: dict[str, str]) -> None:
    """WCAG 2.1: 4.5 for text (1.4.3), 3 for what a picture needs (1.4.11)."""
    for name in ("ink", "soft", "right", "left", "force", "accent", "refuse", "warn"):
        for ground in ("card", "paper", "panel", "faint"):
            assert contrast(scheme[name], scheme[ground]) >= 4.5, (name, ground)
    for name in ("first", "second", "board", "insole"):
        assert contrast(scheme[name], scheme["card"]) >= 3.0, name
    assert contrast(scheme["on-accent"], scheme["accent"]) >= 4.5

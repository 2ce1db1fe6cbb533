"""Panels of a comparison: whole curves, riders before and after, effects, and the map of styles."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from jointload.other_choices import MAIN_QUANTITIES
from jointload.report.figures.axis import Axis, around, named, ticked
from jointload.report.figures.panel import (
    Band,
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
from jointload.report.study_pages.study_words import number, p_text, title_of
from jointload.study.comparison import Comparison, CurveRow, Row
from jointload.study.styles import FEATURES, Styles

FIRST, SECOND, SECOND_DASHES = "first", "second", (8.0, 3.0)
"""Colours of baseline and level, which are not those of right and left."""
MARGIN_DASHES = (3.0, 3.0)
SHAPES = ("circle", "square", "triangle", "diamond")
CLUSTERS = ("first", "second", "part-3", "part-5")
MOST_NAMES = 30
"""Riders are named on the map up to this number."""
ROW_HEIGHT, NAME_ABOVE = 38.0, 14.0
"""Of an effect with its name above it [px]."""
TABLE_STEP = 10
"""Between the rows of the table behind the curves [% of the landing]."""


def curves_sheet(found: Comparison, curves: Sequence[CurveRow]) -> Sheet:
    """Of each curve the means of baseline and level with one standard deviation between riders, and beside them, where
    the riders are the same, every rider's difference; stretches beyond the threshold."""
    rows = tuple(str(percent) for percent in range(0, 101, TABLE_STEP))
    panels = [
        panel
        for curve in curves
        for panel in (_curve(curve), *([_differences(curve, _margin_of(found, curve))] if curve.paired else []))
    ]
    return Sheet(tuple(panels), columns=2, rows=rows)


def _margin_of(found: Comparison, curve: CurveRow) -> float:
    """The smallest change of the curve's peak; NaN where none is known."""
    peak = f"{curve.quantity.removesuffix('_angle')}_peak"
    same = (
        row for row in found.rows if (row.quantity, row.foot, row.contrast.level) == (peak, curve.foot, curve.level)
    )
    return next((row.margin for row in same), float("nan"))


def _differences(curve: CurveRow, margin: float) -> Panel:
    """Each rider's difference as a thin line and their mean, with zero and the smallest change."""
    percent = np.arange(float(curve.first.shape[1]))
    apart = curve.second - curve.first
    mean = apart.mean(axis=0)
    shapes: list[Shape] = [*_stretches(curve)[0], Rule(0.0, colour="ink", width=1.4)]
    if np.isfinite(margin):
        shapes += [Rule(end, dashes=MARGIN_DASHES) for end in (-margin, margin)]
    shapes += [Line(percent, each, "soft", width=0.9, opacity=0.75) for each in apart]
    shapes.append(Line(percent, mean, SECOND, width=2.8))
    reached = [apart, 0.0, *((-margin, margin) if np.isfinite(margin) else ())]
    title = f"{title_of(curve.quantity, curve.foot)}: {curve.level} − {curve.baseline}"
    widest = int(np.argmax(np.abs(mean)))
    told = (
        f"{title} [{curve.unit}], difference of {len(apart)} riders: the mean goes furthest from zero at {widest} % of "
        f"the landing, {number(float(mean[widest]), curve.unit)}."
    )
    keys = [Key("one rider", "soft", width=0.9), Key("mean", SECOND, width=2.8)]
    keys += [Key(f"smallest change, {margin:.3g}", "soft", MARGIN_DASHES, width=1.0)] if np.isfinite(margin) else []
    return Panel(
        title, curve.unit, told, ticked(0.0, 100.0, "% of the landing", 6), around(reached, headroom=0.1),
        tuple(shapes), keys=tuple(keys),
        behind={f"{title} [{curve.unit}]": [number(v, curve.unit) for v in mean[::TABLE_STEP]]},
    )  # fmt: skip


def _stretches(curve: CurveRow) -> tuple[list[Shape], list[str]]:
    """The stretches beyond the threshold, shaded with their p, and in words."""
    shapes: list[Shape] = []
    texts = []
    for stretch in curve.test.stretches if curve.test else ():
        first, last, words = stretch.first, stretch.last, f"p {p_text(stretch.p)}"
        shapes.append(Span(first - 0.5, last + 0.5, "shade"))
        shapes.append(Words(words, 0.5 * (first + last), 1.0, "ink", "middle", (0, -8), (False, True)))
        texts.append(f"beyond the threshold from {first} to {last} %, {words}")
    return shapes, texts


def riders_sheet(found: Comparison) -> Sheet:
    """Each rider's mean under each level for the primary quantities, joined by a line."""
    names = list(dict.fromkeys(row.name for row in found.rows if row.primary))
    keys = (
        Key("one rider", "soft", mark="circle", width=1.2),
        Key("mean of the riders", FIRST, mark="diamond", width=2.8),
    )
    return Sheet(tuple(_riders(found, name) for name in names), keys, columns=3)


def forest_sheet(found: Comparison) -> Sheet:
    """Effect sizes with their intervals: the primary quantities, then a fixed list of others."""
    keys = (
        Key("primary", FIRST, mark="square", width=2.8),
        Key("exploratory", "soft", mark="circle", width=1.6),
    )
    return Sheet((_forest(forest_rows(found)),), keys, columns=1)


def forest_rows(found: Comparison) -> list[Row]:
    """Rows whose effect size is known: primary ones, then those of the main quantities, none chosen by its result."""
    shown = [row for row in found.rows if row.primary or row.quantity in MAIN_QUANTITIES]
    return [row for row in shown if np.isfinite(row.size.value)]


def _curve(curve: CurveRow) -> Panel:
    percent = np.arange(101.0)
    shapes, texts = _stretches(curve)
    shapes.append(Rule(0.0))
    keys, means, reached = [], {}, [np.zeros(1)]
    for values, colour, dashes, name in (
        (curve.first, FIRST, (), curve.baseline), (curve.second, SECOND, SECOND_DASHES, curve.level),
    ):  # fmt: skip
        mean = values.mean(axis=0)
        if len(values) > 1:
            spread = values.std(axis=0, ddof=1)
            shapes.append(Band(percent, mean - spread, mean + spread, colour, 0.12))
            reached += [mean - spread, mean + spread]
        shapes.append(Line(percent, mean, colour, dashes))
        reached.append(mean)
        keys.append(Key(f"{name} ({len(values)} riders)", colour, dashes))
        means[name] = mean
    title = title_of(curve.quantity, curve.foot)
    told = f"{title} [{curve.unit}], mean curves: " + ", ".join(key.label for key in keys)
    return Panel(
        title, curve.unit, "; ".join([told, *texts]) + ".", ticked(0.0, 100.0, "% of the landing", 6),
        around(reached, headroom=0.1), tuple(shapes), keys=tuple(keys),
        behind={
            f"{title}, {name} [{curve.unit}]": [number(v, curve.unit, 0) for v in mean[::TABLE_STEP]]
            for name, mean in means.items()
        },
    )  # fmt: skip


def _riders(found: Comparison, name: str) -> Panel:
    row = next(row for row in found.rows if row.name == name)
    means = (found.data[found.data["name"] == name].groupby(["rider", "level"])["value"].mean().unstack()).reindex(
        columns=list(found.levels)
    )
    places = np.arange(float(len(found.levels)))
    shapes: list[Shape] = []
    for values in means.to_numpy(dtype=float):
        shapes += [
            Line(places, values, "soft", width=1.2, opacity=0.7),
            Marks(places, values, "circle", "soft", size=3.2),
        ]
    middle = means.mean().to_numpy(dtype=float)
    if (means.notna().sum(axis=1) > 1).any():
        shapes.append(Line(places, middle, FIRST, width=2.8))
    shapes.append(Marks(places, middle, "diamond", FIRST, size=5.0))
    title = title_of(row.quantity, row.foot)
    told = ", ".join(f"{level} {number(v, row.unit, 0)}" for level, v in zip(found.levels, middle, strict=True))
    return Panel(
        title, row.unit, f"{title} [{row.unit}], means of the riders: {told}.", named(found.levels),
        around([means.to_numpy(dtype=float)]), tuple(shapes),
    )  # fmt: skip


def _forest(rows: Sequence[Row]) -> Panel:
    reach = 1.15 * max([abs(row.size.value) for row in rows] + [1.0]) + 1.0
    several = len({row.contrast.level for row in rows}) > 1
    shapes: list[Shape] = [Rule(0.0, True, "ink")]
    texts = []
    for place, row in enumerate(rows):
        size, colour = row.size, FIRST if row.primary else "soft"
        name = title_of(row.quantity, row.foot) + (f" ({row.contrast.level})" if several else "")
        shapes += [
            Interval(place, size.low, size.high, colour, 2.8 if row.primary else 1.6),
            Marks(
                one(size.value),
                one(place),
                "square" if row.primary else "circle",
                colour,
                size=4.5 if row.primary else 3.2,
            ),
            name_above(name, place, NAME_ABOVE),
        ]
        texts.append(f"{name}: {size.value:.2f} ({size.low:.2f} to {size.high:.2f})".replace("-", "−"))
    kinds = " or ".join(sorted({row.size.kind for row in rows}))
    return Panel(
        "Effect sizes", f"{kinds} with 95 % interval; bold squares: primary", f"Effect sizes. {'. '.join(texts)}.",
        ticked(-reach, reach, f"effect size ({kinds})", 7), Axis(len(rows) - 0.5, -1.0, grid=False), tuple(shapes),
        height=ROW_HEIGHT * (len(rows) + 0.5),
    )  # fmt: skip


def styles_sheet(styles: Styles) -> Sheet:
    """Riders on the plane of the first two principal components."""
    x, y = styles.scores[:, 0], styles.scores[:, 1]
    labels = np.zeros(len(x), dtype=int) if styles.labels is None else styles.labels
    shapes: list[Shape] = [Rule(0.0), Rule(0.0, upright=True)]
    keys = []
    for k in range(labels.max() + 1):
        mine, look = labels == k, (SHAPES[k % len(SHAPES)], CLUSTERS[k % len(CLUSTERS)])
        shapes.append(Marks(x[mine], y[mine], *look, size=5.0))
        if styles.labels is not None:
            keys.append(Key(f"cluster {k + 1}", look[1], mark=look[0], width=0))
    if len(x) <= MOST_NAMES:
        for rider, style, a, b in zip(styles.cells["rider"], styles.cells["style"], x, y, strict=True):
            words, far = f"{rider}, {style}" if style else str(rider), a > 0.5 * (x.min() + x.max())
            side, shift = ("end", (-8.0, 5.0)) if far else ("start", (8.0, 5.0))
            shapes.append(Words(words, float(a), float(b), anchor=side, shift=shift))
    panel = Panel(
        "Riders near each other land alike", _component_words(styles, 1),
        f"{len(x)} riders on two principal components; the numbers of each rider stand in the table below.",
        around([x], _component_words(styles, 0), room=0.15), around([y], room=0.15), tuple(shapes),
    )  # fmt: skip
    return Sheet((panel,), tuple(keys), columns=1, height=380.0)


def _component_words(styles: Styles, k: int) -> str:
    """Component, its share of variance, and what its far end means by its two strongest features."""
    words = {feature.name: feature for feature in FEATURES}
    strongest = np.argsort(-np.abs(styles.loadings[k]))[:2]
    ends = [words[styles.features.columns[i]] for i in strongest]
    far = [end.high if styles.loadings[k, i] > 0 else end.low for end, i in zip(ends, strongest, strict=True)]
    return f"component {k + 1} ({100 * styles.explained[k]:.0f} % of variance) → {'; '.join(far)}"

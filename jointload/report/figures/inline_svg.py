"""The axes of a panel as inline SVG that follows the width it gets: shapes stretch, letters, marks and dashes do not.

What stretches lies in an inner SVG of WIDE by HIGH units; everything else is placed by per cent. Colours are classes of
the page, so that a dark screen and paper each get their own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from html import escape

import numpy as np

from jointload.intake.recording import Array
from jointload.numerics.signals import runs
from jointload.report.figures import panel as shapes
from jointload.report.figures.panel import Key, Panel

WIDE, HIGH = 2000, 1000
FLAT = WIDE / HIGH
OWN_WIDTH = 1.9
"""Of a line whose style says none [px]; page.css holds the same."""
FAR = 10
"""A place further out than this many times the panel is drawn there: it is not seen anyway."""
HATCH_STEP = 64
"""Between the lines of a hatch, in units of the inner SVG."""
LINE_HEIGHT = 13.0
"""Of a text of several lines [px]."""
OUTLINES = {
    "square": "M-{r}-{r}H{r}V{r}H-{r}z", "triangle": "M0-{r}L{r} {r}H-{r}z",
    "diamond": "M0-{r}L{r} 0L0 {r}L-{r} 0z", "cross": "M-{r} 0H{r}M0-{r}V{r}",
}  # fmt: skip
CIRCLE = "M-{r} 0a{r} {r} 0 1 0 {d} 0a{r} {r} 0 1 0-{d} 0z"
LARGER = {"diamond": 1.25, "cross": 1.3, "triangle": 1.1}
"""Marks that need a larger radius to look as large as a circle."""


def plot(panel: Panel) -> str:
    """The SVG of the axes with ticks, grid and shapes."""
    inner: list[str] = [_grid(panel)]
    outer: list[str] = []
    layers: list[str] = []

    def close() -> None:
        """Keep the order of drawing where shapes that stretch come after others that do not."""
        if inner:
            layers.append(
                f'<svg viewBox="0 0 {WIDE} {HIGH}" preserveAspectRatio="none">{"".join(inner)}</svg>'
            )  # fmt: skip
            inner.clear()
        layers.extend(outer)
        outer.clear()

    for shape in panel.shapes:
        stretched = _DRAWN[type(shape)](panel, shape)
        if isinstance(shape, shapes.Line | shapes.Band | shapes.Rule | shapes.Span | shapes.Boxes):
            if outer:
                close()
            inner.append(stretched)
        else:
            outer.append(stretched)
    close()
    return f'<svg aria-hidden="true">{"".join(layers)}{_ticks(panel)}</svg>'


def swatch(key: Key) -> str:
    """The line, mark or box of a legend, drawn beside its words, which tell the same."""
    parts = []
    if key.hatch is not None:
        parts.append(f'<path class="f c-{key.colour}" d="M3 2H25V14H3z"/>')
        lines = _hatch_lines(3, 2, 25, 14, key.hatch, 5.0, 1.0)
        parts.append(f'<path class="l c-card" style="stroke-width:1.2" d="{lines}"/>' if lines else "")
    if key.width:
        parts.append(f'<path class="l c-{key.colour}"{_stroke(key.width, key.dashes)} d="M0 8H28"/>')
    if key.mark == "arrow":
        parts.append(f'<path class="l c-{key.colour}" d="M14 15V3M9 8L14 2L19 8"/>')
    elif key.mark:
        look = "l" if key.mark == "cross" else "h" if key.hollow else "f"
        parts.append(f'<path class="{look} c-{key.colour}" transform="translate(14 8)" d="{_outline(key.mark, 4.5)}"/>')
    return f'<svg width="28" height="16" viewBox="0 0 28 16" aria-hidden="true">{"".join(parts)}</svg>'


# Places -------------------------------------------------------------------------------------------------------------


def _units(panel: Panel, x: Array | float, y: Array | float) -> tuple[Array, Array]:
    """Places of the inner SVG."""
    across, up = panel.x.share(x), 1.0 - panel.y.share(y)
    return np.clip(WIDE * across, -FAR * WIDE, FAR * WIDE), np.clip(HIGH * up, -FAR * HIGH, FAR * HIGH)


def _per_cent(share: float) -> str:
    return f"{100 * share:.2f}".rstrip("0").rstrip(".") + "%"


def _place(panel: Panel, x: float, y: float) -> str:
    return f'x="{_per_cent(float(panel.x.share(x)))}" y="{_per_cent(1 - float(panel.y.share(y)))}"'


def _path(x: Array, y: Array) -> str:
    """A path through whole units, broken where a place is not known; steps in one line are one step."""
    known = np.isfinite(x) & np.isfinite(y)
    x, y = np.rint(np.where(known, x, 0.0)).astype(int), np.rint(np.where(known, y, 0.0)).astype(int)
    return "".join(_stretch(x[start:stop], y[start:stop]) for start, stop in runs(known))


def _stretch(x: Array, y: Array) -> str:
    steps = np.diff(np.stack([x, y], axis=1), axis=0)
    if len(steps) > 1:
        turns = np.append((np.diff(steps, axis=0) != 0).any(axis=1), True)
        x, y = (np.append(each[0], each[1:][turns]) for each in (x, y))
        steps = np.diff(np.stack([x, y], axis=1), axis=0)
    way = " ".join(map(str, steps.ravel().tolist())).replace(" -", "-") if len(steps) else "0 0"
    return f"M{x[0]} {y[0]}l{way}"


def _stroke(width: float, dashes: tuple[float, ...] = (), opacity: float = 1.0) -> str:
    """The style that differs from the page's own."""
    parts = [f"stroke-width:{width:g}"] if width != OWN_WIDTH else []
    if dashes:
        parts.append(f"stroke-dasharray:{' '.join(f'{d:g}' for d in dashes)};stroke-linecap:butt")
    if opacity != 1.0:
        parts.append(f"opacity:{opacity:g}")
    return f' style="{";".join(parts)}"' if parts else ""


# What stretches -----------------------------------------------------------------------------------------------------


def _grid(panel: Panel) -> str:
    parts = []
    if panel.x.grid:
        parts += [f"M{_units(panel, v, panel.y.low)[0]:.0f} 0V{HIGH}" for v, _ in panel.x.ticks]
    if panel.y.grid:
        parts += [f"M0 {_units(panel, panel.x.low, v)[1]:.0f}H{WIDE}" for v, _ in panel.y.ticks]
    return (f'<path class="g" d="{"".join(parts)}"/>' if parts else "") + f'<path class="a" d="M0 0V{HIGH}H{WIDE}"/>'


def _line(panel: Panel, line: shapes.Line) -> str:
    d = _path(*_units(panel, line.x, line.y))
    return f'<path class="l c-{line.colour}"{_stroke(line.width, line.dashes, line.opacity)} d="{d}"/>' if d else ""


def _band(panel: Panel, band: shapes.Band) -> str:
    (x, low), (_, high) = _units(panel, band.x, band.low), _units(panel, band.x, band.high)
    known = np.isfinite(x) & np.isfinite(low) & np.isfinite(high)
    d = "".join(
        _path(np.r_[x[a:b], x[a:b][::-1]], np.r_[high[a:b], low[a:b][::-1]]) + "z" for a, b in runs(known)
    )  # fmt: skip
    return f'<path class="f c-{band.colour}" style="opacity:{band.opacity:g}" d="{d}"/>' if d else ""


def _rule(panel: Panel, rule: shapes.Rule) -> str:
    x, y = _units(panel, rule.at if rule.upright else panel.x.low, panel.y.low if rule.upright else rule.at)
    d = f"M{x:.0f} 0V{HIGH}" if rule.upright else f"M0 {y:.0f}H{WIDE}"
    return f'<path class="l c-{rule.colour}"{_stroke(rule.width, rule.dashes)} d="{d}"/>'


def _span(panel: Panel, span: shapes.Span) -> str:
    (left, right), _ = _units(panel, np.array([span.first, span.last]), panel.y.low)
    bottom, top = HIGH * (1 - span.bottom), HIGH * (1 - span.top)
    if span.hatch:
        d = _hatch_lines(left, top, right, bottom, span.hatch)
        return f'<path class="l c-{span.colour}" style="stroke-width:1" d="{d}"/>'
    return f'<path class="f c-{span.colour}" d="M{left:.0f} {top:.0f}H{right:.0f}V{bottom:.0f}H{left:.0f}z"/>'


def _boxes(panel: Panel, boxes: shapes.Boxes) -> str:
    x0, y0 = _units(panel, boxes.left, boxes.bottom)
    x1, y1 = _units(panel, boxes.right, boxes.top)
    corners = np.rint(np.stack([x0, y0, x1, y1], axis=-1)).astype(int).tolist()
    d = "".join(f"M{a} {b}H{c}V{e}H{a}z" for a, b, c, e in corners)
    if not d:
        return ""
    out = f'<path class="f c-{boxes.colour}" d="{d}"/>' if boxes.colour else ""
    if boxes.hatch:
        lines = "".join(_hatch_lines(a, min(b, e), c, max(b, e), boxes.hatch) for a, b, c, e in corners)
        ink = boxes.edge or "card"
        out += f'<path class="l c-{ink}" style="stroke-width:1.1" d="{lines}"/>'
    edge = f'<path class="l c-{boxes.edge}" style="stroke-width:1" d="{d}"/>' if boxes.edge else ""
    return out + edge


def _hatch_lines(
    left: float, top: float, right: float, bottom: float, hatch: str, step: float = HATCH_STEP, flat: float = FLAT
) -> str:
    """Lines of a hatch, cut off at a box; flat : width over height of a square that is drawn as one."""
    wide, high = right - left, flat * (bottom - top)
    parts: list[str] = []
    for way in ("/", "\\") if hatch == "x" else (hatch,):
        reach = wide if way == "|" else wide + high
        for k in range(1, math.ceil(reach / step)) if way else ():
            c = k * step
            if way == "|":
                ends = ((c, 0.0), (c, high))
            else:
                ends = ((max(c - high, 0.0), min(c, high)), (min(c, wide), max(c - wide, 0.0)))
            if way == "\\":
                ends = tuple((wide - a, b) for a, b in ends)  # type: ignore[assignment]
            (a, b), (e, f) = ends
            parts.append(f"M{left + a:.4g} {top + b / flat:.4g}L{left + e:.4g} {top + f / flat:.4g}")
    return "".join(parts)


# What keeps its size ------------------------------------------------------------------------------------------------


def _outline(shape: str, radius: float) -> str:
    r = radius * LARGER.get(shape, 1.0)
    return OUTLINES.get(shape, CIRCLE).format(r=f"{r:.3g}", d=f"{2 * r:.3g}")


def _marks(panel: Panel, marks: shapes.Marks) -> str:
    known = np.isfinite(marks.x) & np.isfinite(marks.y)
    sizes = np.broadcast_to(marks.size, known.shape)
    look = ("l" if marks.shape == "cross" else "h" if marks.hollow else "f") + f" c-{marks.colour}"
    faded = "" if marks.opacity == 1.0 else f' style="opacity:{marks.opacity:g}"'
    across, up = panel.x.share(marks.x), 1 - panel.y.share(marks.y)
    if marks.shape == "circle":
        drawn = "".join(
            f'<circle cx="{_per_cent(across[k])}" cy="{_per_cent(up[k])}" r="{sizes[k]:.2g}"/>'
            for k in np.flatnonzero(known)
        )
    else:
        drawn = "".join(
            f'<svg x="{_per_cent(across[k])}" y="{_per_cent(up[k])}">'
            f'<path d="{_outline(marks.shape, sizes[k])}"/></svg>'
            for k in np.flatnonzero(known)
        )
    return f'<g class="{look}"{faded}>{drawn}</g>' if drawn else ""


def _interval(panel: Panel, found: shapes.Interval) -> str:
    """A thick line; where an end lies beyond the panel, an arrow at its edge."""
    axis, other = (panel.y, panel.x) if found.upright else (panel.x, panel.y)
    if np.isnan([found.low, found.high]).any():
        return ""
    ends = axis.share(np.array([found.low, found.high]))
    seen = np.clip(ends, 0.0, 1.0)
    across = float(other.share(found.place))
    names = ("y", "x") if found.upright else ("x", "y")
    shown = [_per_cent(1 - s if found.upright else s) for s in seen.tolist()]
    at = _per_cent(across if found.upright else 1 - across)
    style = f' style="stroke-width:{found.width:g}"'
    parts = [f'<line {names[0]}1="{shown[0]}" {names[0]}2="{shown[1]}" {names[1]}1="{at}" {names[1]}2="{at}"{style}/>']
    for share, end, text in zip(ends.tolist(), seen.tolist(), shown, strict=True):
        if share != end:
            turn = (-90 if share > 1 else 90) if found.upright else (0 if share > 1 else 180)
            parts.append(
                f'<svg {names[0]}="{text}" {names[1]}="{at}">'
                f'<path class="f" d="M1 0L-8-5V5z" transform="rotate({turn})"/></svg>'
            )
    return f'<g class="l b c-{found.colour}">{"".join(parts)}</g>'


def _arrow(panel: Panel, arrow: shapes.Arrow) -> str:
    """Its direction is that of panels with equal lengths along both axes."""
    (x0, y0), (x1, y1) = arrow.start, arrow.end
    turn = math.degrees(math.atan2(-(y1 - y0), x1 - x0))
    ends = [
        f'{name}{k}="{_per_cent(share)}"'
        for k, (x, y) in enumerate((arrow.start, arrow.end), start=1)
        for name, share in (("x", float(panel.x.share(x))), ("y", 1 - float(panel.y.share(y))))
    ]
    head = f'<svg {_place(panel, x1, y1)}><path class="f" d="M1 0L-9-4.5V4.5z" transform="rotate({turn:.0f})"/></svg>'
    return f'<g class="l c-{arrow.colour}"><line {" ".join(ends)}/>{head}</g>'


def _words(panel: Panel, words: shapes.Words) -> str:
    across = words.x if words.shared[0] else float(panel.x.share(words.x))
    up = words.y if words.shared[1] else float(panel.y.share(words.y))
    dx, dy = words.shift[0], -words.shift[1]
    colour = "" if words.colour == "soft" else f" c-{words.colour}"
    at = f'x="{_per_cent(across)}"'
    lines = words.text.split("\n")
    first = dy - 0.5 * LINE_HEIGHT * (len(lines) - 1)
    rows = escape(lines[0]) + "".join(
        f'<tspan {at} dx="{dx:g}" dy="{LINE_HEIGHT:g}">{escape(line)}</tspan>' for line in lines[1:]
    )
    anchor = "" if words.anchor == "start" else f' text-anchor="{words.anchor}"'
    return f'<text class="w{colour}" {at} y="{_per_cent(1 - up)}" dx="{dx:g}" dy="{first + 4:g}"{anchor}>{rows}</text>'


def _ticks(panel: Panel) -> str:
    """A tick at the right end stays inside the panel."""
    inwards = ' dx="8" text-anchor="end"'
    below = (
        f'<text x="{_per_cent(share)}" y="100%" dy="15"{inwards if share > 0.95 else ""}>{escape(text)}</text>'
        for share, text in ((float(panel.x.share(value)), text) for value, text in panel.x.ticks)
    )
    beside = (
        f'<text x="0" y="{_per_cent(1 - float(panel.y.share(value)))}" dx="-5" dy="4">{escape(text)}</text>'
        for value, text in panel.y.ticks
    )
    return f'<g text-anchor="middle">{"".join(below)}</g><g text-anchor="end">{"".join(beside)}</g>'


_DRAWN = shapes.drawn_by(_line, _band, _rule, _span, _boxes, _marks, _interval, _arrow, _words)


def letters(texts: Iterable[str]) -> int:
    """Of the longest text."""
    return max((len(text) for text in texts), default=0)

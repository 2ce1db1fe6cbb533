"""A panel described once, as frozen data, for whoever draws it: the page as inline SVG, or matplotlib for a paper.

Places are in the units of the panel's axes; sizes, dashes and shifts are in pixels of a screen. Colours are names of
words/colours.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, get_args

import numpy as np

from jointload.intake.recording import Array
from jointload.report.figures.axis import Axis

SIDE_DASHES: dict[str, tuple[float, ...]] = {"right": (), "left": (8, 3), "": (10, 3, 2, 3)}
SIDE_COLOURS = {"right": "right", "left": "left", "": "ink"}
"""Side -> colour; '' is the whole body, which has no side."""
SIDE_MARKS = {"right": "circle", "left": "square", "": "diamond"}
LONGEST_NAME = 38
"""Letters of a row's name that a narrow screen has room for."""
NARROW = 160.0
"""Width that a plain curve needs on a telephone, so that two stand beside each other [px]."""
MARKS = ("circle", "square", "triangle", "diamond", "cross")


@dataclass(frozen=True, eq=False)
class Line:
    """A curve (N,), broken where it is NaN."""

    x: Array
    y: Array
    colour: str = "ink"
    dashes: tuple[float, ...] = ()
    width: float = 1.9
    opacity: float = 1.0


@dataclass(frozen=True, eq=False)
class Band:
    """What lies between two curves (N,), pale."""

    x: Array
    low: Array
    high: Array
    colour: str = "ink"
    opacity: float = 0.16


@dataclass(frozen=True)
class Rule:
    """A straight line through the whole panel: level at y, or upright at x."""

    at: float
    upright: bool = False
    colour: str = "soft"
    dashes: tuple[float, ...] = ()
    width: float = 1.0


@dataclass(frozen=True)
class Span:
    """A strip from `first` to `last` along x, over the shares `bottom` to `top` of the panel's height."""

    first: float
    last: float
    colour: str = "faint"
    bottom: float = 0.0
    top: float = 1.0
    hatch: str = ""


@dataclass(frozen=True, eq=False)
class Boxes:
    """Rectangles (N,) of one look; colour : of what fills them, '' for nothing;  hatch : of '/', '\\', 'x', '|'."""

    left: Array
    right: Array
    bottom: Array
    top: Array
    colour: str = ""
    edge: str = ""
    hatch: str = ""


@dataclass(frozen=True, eq=False)
class Marks:
    """Points (N,); size : the radius, one for all or (N,)."""

    x: Array
    y: Array
    shape: str = "circle"
    colour: str = "ink"
    hollow: bool = False
    size: float | Array = 4.0
    opacity: float = 1.0


@dataclass(frozen=True)
class Interval:
    """From low to high at one place of the other axis; an end that leaves the panel becomes an arrow."""

    place: float
    low: float
    high: float
    colour: str = "soft"
    width: float = 1.5
    upright: bool = False


@dataclass(frozen=True)
class Arrow:
    start: tuple[float, float]
    end: tuple[float, float]
    colour: str = "force"


@dataclass(frozen=True)
class Words:
    """A text of one or more lines at a place; shared : x and y are shares of the panel, not places on its axes.

    anchor : 'start', 'middle' or 'end';  shift : right and up
    """

    text: str
    x: float
    y: float
    colour: str = "soft"
    anchor: str = "start"
    shift: tuple[float, float] = (0.0, 0.0)
    shared: tuple[bool, bool] = (False, False)


Shape = Line | Band | Rule | Span | Boxes | Marks | Interval | Arrow | Words


def drawn_by(*functions: Callable[..., Any]) -> dict[type[Shape], Callable[..., Any]]:
    """Each kind of shape with the function that draws it, given in the order of `Shape`; ValueError unless one each."""
    return dict(zip(get_args(Shape), functions, strict=True))


@dataclass(frozen=True)
class Key:
    """One entry of a legend: a line with its dashes, a mark, a filled box, or some of them."""

    label: str
    colour: str
    dashes: tuple[float, ...] = ()
    mark: str = ""
    hollow: bool = False
    width: float = 1.9
    """Of the line, 0 for a mark alone."""
    hatch: str | None = None
    """Of a filled box; None where there is no box."""


@dataclass(frozen=True, eq=False)
class Panel:
    """One set of axes: title, what its vertical axis shows, its shapes from the lowest to the topmost.

    told : what it shows, in words, for those who do not see it;  timed : its horizontal axis is the landing's time
    equal : a length is drawn alike along both axes;  keys : of a legend of this panel alone
    behind : heading -> cells of the table behind it, one for each of the sheet's rows
    """

    title: str
    subtitle: str
    told: str
    x: Axis
    y: Axis
    shapes: tuple[Shape, ...]
    timed: bool = False
    equal: bool = False
    keys: tuple[Key, ...] = ()
    behind: Mapping[str, Sequence[str]] = field(default_factory=dict)
    height: float = 0.0
    """Of its axes where it differs from the sheet's."""
    broad: bool = False
    """Whether its words need a row of their own on a telephone."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """Panels that belong together, in reading order.

    columns : at most, side by side;  least : width below which a panel gets a row with fewer;  height : of the axes
    narrow : that width on a telephone, 0 for the same;  rows : of the table behind them
    """

    panels: tuple[Panel, ...]
    keys: tuple[Key, ...] = ()
    columns: int = 3
    height: float = 180.0
    least: float = 250.0
    narrow: float = 0.0
    rows: tuple[str, ...] = ()


def side_line(side: str, x: Array, y: Array) -> Line:
    """A curve of one side, or of the whole body: ''."""
    return Line(x, y, SIDE_COLOURS[side], SIDE_DASHES[side])


def side_key(side: str, label: str) -> Key:
    return Key(label, SIDE_COLOURS[side], SIDE_DASHES[side])


def name_above(name: str, place: float, above: float) -> Words:
    """The name of a row, left above its marks; a long one breaks before its bracket, or after its comma."""
    if len(name) > LONGEST_NAME:
        at = max(name.find(" ("), name.rfind(", ") + 1)
        name = f"{name[:at]}\n{name[at + 1 :]}" if at > 0 else name
    return Words(name, 0.0, place, "ink", "start", (4.0, above + 6.5 * name.count("\n")), (True, False))


def one(value: float) -> Array:
    """(1,) for a mark that stands alone."""
    return np.array([value], dtype=float)

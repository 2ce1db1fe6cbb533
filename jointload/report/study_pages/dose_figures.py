"""Panels of a dose: doses of riders, where they come from, and what a change would save."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from jointload.report.figures.axis import Axis, around, decades, named, ticked
from jointload.report.figures.panel import (
    Boxes,
    Interval,
    Key,
    Marks,
    Panel,
    Rule,
    Shape,
    Sheet,
    Words,
    name_above,
    one,
)
from jointload.report.study_pages.dose_answers import Most, most_of, most_saving
from jointload.study.strain_dose import Dose, Row, tissues

KIND_MARKS = {
    "linear": ("circle", "ink", True), "squared": ("square", "ink", True), "fourth": ("triangle", "ink", True),
    "published": ("diamond", "ink", False), "highest": ("cross", "ink", False),
}  # fmt: skip
"""Exponent -> shape, colour, whether it is hollow."""
KIND_WORDS = {"linear": "exponent 1", "squared": "exponent 2", "fourth": "exponent 4", "published": "own exponent",
              "highest": "highest of its own"}  # fmt: skip
KINDS = tuple(Key(KIND_WORDS[kind], colour, mark=shape, hollow=hollow, width=0)
              for kind, (shape, colour, hollow) in KIND_MARKS.items())  # fmt: skip
FILLS = (("part-1", ""), ("part-2", "/"), ("part-3", "|"), ("part-4", "x"), ("part-5", "\\"))
WIDE_ROW = 56.0
"""Of a line whose name may take two lines [px]."""
ROW_HEIGHT, NAME_ABOVE = 36.0, 14.0
"""Of a bar or a line with its name above it [px]."""
BESIDE = 0.15
"""Between the marks of one rider, in riders."""


def matters_sheet(worse: Dose) -> Sheet:
    """The dose of the knee's cartilage, the share of the leading activity, and the saving of the best change, a row a
    rider."""
    knee = [row for row in worse.doses if (row["basis"], row["tissue"]) == ("impulse", "knee_cartilage")]
    return Sheet(
        (
            _doses("knee_cartilage", knee),
            _ranges("Share of the leading activity", "% of the dose, all tissues", most_of(worse, "activity"), "share"),
            _ranges("Saved by the best change", "% of the dose, all tissues", most_saving(worse), "saving"),
        ),
        KINDS, columns=3,
    )  # fmt: skip


def _ranges(title: str, label: str, found: Sequence[Most], column: str) -> Panel:
    """A line a rider from the least to the most over tissues and exponents; marks: the knee's cartilage by exponent."""
    shapes: list[Shape] = [Rule(0.0, upright=True)]
    texts, reached = [], [0.0]
    for place, most in enumerate(found):
        values = [100 * value for value in most.values(column)]
        shapes.append(Interval(place, min(values), max(values), "soft", 1.8))
        shapes += [
            Marks(one(100 * row[column]), one(place), *KIND_MARKS[row["kind"]], 4.0)
            for row in most.rows
            if row["tissue"] == "knee_cartilage"
        ]
        shapes.append(name_above(f"{most.rider}, {most.name}", float(place), NAME_ABOVE))
        texts.append(f"{most.rider}, {most.name}: {min(values):.0f} to {max(values):.0f} %".replace("-", "−"))
        reached += values
    return Panel(
        title, "marks: the knee's cartilage", f"{title}. {'; '.join(texts) or 'not known'}.", around(reached, label),
        Axis(max(len(found), 1) - 0.5, -1.2, grid=False), tuple(shapes), height=WIDE_ROW * (max(len(found), 1) + 0.7),
    )  # fmt: skip


def doses_sheet(found: Dose) -> Sheet:
    """Each rider's dose under every exponent with its interval, one panel a tissue, logarithmic."""
    rows = [row for row in found.doses if row["basis"] == "impulse"]
    return Sheet(tuple(_doses(name, _of(rows, name)) for name in tissues()), KINDS, columns=3)


def shares_sheet(found: Dose) -> Sheet:
    """Share of each rider's dose by activity, under the linear and the tissue's own exponent."""
    rows = [row for row in found.shares if row["by"] == "activity"]
    names = sorted({row["name"] for row in rows})
    keys = tuple(
        Key(name, colour, width=0, hatch=hatch)
        for name, (colour, hatch) in zip(names, FILLS * (1 + len(names) // len(FILLS)), strict=False)
    )
    return Sheet(tuple(_shares(name, _of(rows, name), names) for name in tissues()), keys, columns=3)


def savings_sheet(found: Dose) -> Sheet:
    """What each change would save, from the least to the most over the exponents, for every rider."""
    return Sheet(tuple(_savings(name, _of(found.savings, name)) for name in tissues()), KINDS, columns=2, least=300.0)


def _of(rows: Sequence[Row], tissue: str) -> list[Row]:
    return [row for row in rows if row["tissue"] == tissue]


def _doses(tissue: str, rows: Sequence[Row]) -> Panel:
    riders = list(dict.fromkeys(row["rider"] for row in rows))
    known = [row for row in rows if row["dose"] > 0]
    shapes: list[Shape] = []
    for row in known:
        place = riders.index(row["rider"]) + BESIDE * (list(KIND_MARKS).index(row["kind"]) - 2)
        if np.isfinite([row["low"], row["high"]]).all():
            shapes.append(Interval(place, row["low"], row["high"], "soft", 1.8, upright=True))
        shapes.append(Marks(one(place), one(row["dose"]), *KIND_MARKS[row["kind"]], 4.0))
    for place, rider in enumerate(riders):
        if rider not in {row["rider"] for row in known}:
            shapes.append(Words("not known", place, 0.5, anchor="middle", shared=(False, True)))
    reached = [v for row in known for v in (row["dose"], row["low"], row["high"])]
    title = tissues()[tissue].title
    told = "; ".join(f"{row['rider']} {KIND_WORDS[row['kind']]} {row['dose']:.3g}" for row in known) or "not known"
    return Panel(
        title, "landings of the mean load", f"{title}, dose in landings of the mean load: {told}.", named(riders),
        decades(reached) if known else Axis(0.0, 1.0), tuple(shapes),
    )  # fmt: skip


def _shares(tissue: str, rows: Sequence[Row], names: Sequence[str]) -> Panel:
    bars = [(rider, kind) for rider in dict.fromkeys(row["rider"] for row in rows) for kind in ("linear", "published")]
    found = {(row["rider"], row["kind"], row["name"]): row["share"] for row in rows}
    shapes: list[Shape] = []
    texts = []
    ends = np.zeros(len(bars))
    places = np.arange(float(len(bars)))
    for k, name in enumerate(names):
        share = np.array([100 * found.get((*bar, name), 0.0) for bar in bars])
        share = np.where(np.isfinite(share), share, 0.0)
        colour, hatch = FILLS[k % len(FILLS)]
        drawn = share > 0
        if drawn.any():
            shapes.append(
                Boxes(
                    ends[drawn], (ends + share)[drawn], places[drawn] - 0.1, places[drawn] + 0.38, colour, hatch=hatch
                )
            )
        ends = ends + share
        texts += [
            f"{rider}, {KIND_WORDS[kind]}, {name} {v:.0f} %" for (rider, kind), v in zip(bars, share, strict=True)
        ]
    for place, (rider, kind) in enumerate(bars):
        name = f"{rider}, {KIND_WORDS[kind]}"
        shapes.append(name_above(name, float(place), NAME_ABOVE - 3))
    if not bars:
        shapes.append(Words("not known", 0.5, 0.5, anchor="middle", shared=(True, True)))
    title = tissues()[tissue].title
    return Panel(
        title, "", f"{title}, shares of the dose: {'; '.join(texts) or 'not known'}.",
        ticked(0.0, 100.0, "% of the known dose"), Axis(max(len(bars), 1) - 0.5, -0.9, grid=False), tuple(shapes),
        height=ROW_HEIGHT * (max(len(bars), 1) + 0.4),
    )  # fmt: skip


def _savings(tissue: str, rows: Sequence[Row]) -> Panel:
    """One line a change and rider of which any saving is known."""
    lines: dict[str, list[Row]] = {}
    for row in sorted(rows, key=lambda row: row["change"]):
        if np.isfinite(row["saving"]):
            lines.setdefault(f"{row['change']}, {row['rider']}", []).append(row)
    shapes: list[Shape] = [Rule(0.0, upright=True)]
    texts = []
    for place, (name, own) in enumerate(lines.items()):
        savings = [100 * row["saving"] for row in own]
        shapes.append(Interval(place, min(savings), max(savings), "soft", 1.8))
        shapes += [
            Marks(one(saving), one(place), *KIND_MARKS[row["kind"]], 4.0)
            for row, saving in zip(own, savings, strict=True)
        ]
        shapes.append(name_above(name, float(place), NAME_ABOVE))
        texts.append(f"{name} {min(savings):.0f} to {max(savings):.0f} %".replace("-", "−"))
    reached = [100 * row["saving"] for own in lines.values() for row in own]
    title = tissues()[tissue].title
    return Panel(
        title, "", f"{title}, saved of the dose: {'; '.join(texts) or 'not known'}.",
        around([*reached, 0.0], "% of the dose saved; negative is more dose"),
        Axis(max(len(lines), 1) - 0.5, -1.0, grid=False), tuple(shapes),
        height=ROW_HEIGHT * (max(len(lines), 1) + 0.5),
    )  # fmt: skip

"""What an insole adds under the sole, and the pressure before and after, seen from above."""

from __future__ import annotations

import numpy as np

from jointload.insole.fitting.whatif import WhatIf
from jointload.intake.recording import Array
from jointload.report.figures.axis import limits, ticked
from jointload.report.figures.panel import Boxes, Key, Marks, Panel, Shape, Sheet, one

HEAT = ("heat-1", "heat-2", "heat-3", "heat-4", "heat-5")
BOTH_WAYS = ("low-2", "low-1", "none", "high-1", "high-2")
"""Where an insole takes height away somewhere, its colours go two ways from nothing."""
LEAST_SPAN = 0.1
"""Of the added height [mm], so that nothing looks like nothing."""


def pressure_bed(whatif: WhatIf) -> Sheet:
    """Added height [mm], and pressure before and after as a share of the largest before [%]."""
    bed = whatif.pressure
    largest = float(bed.before.max())
    before, after = (100 * pressure / largest for pressure in (bed.before, bed.after))
    shares = np.linspace(0.0, 100.0, len(HEAT) + 1)
    added = 1000 * bed.height_change
    edges, colours = _height_classes(added)
    panels = (
        _panel(whatif, "Height added", "mm", added, edges, colours, None),
        _panel(whatif, "Pressure before", "% of the largest before", before, shares, HEAT, bed.point_before),
        _panel(whatif, "Pressure after", "% of the largest before", after, shares, HEAT, bed.point_after),
    )
    keys = (Key("centre of pressure", "ink", mark="diamond", hollow=True, width=0),)
    return Sheet(panels, keys, columns=3, least=240.0, narrow=105.0)


def _height_classes(added: Array) -> tuple[Array, tuple[str, ...]]:
    """Edges of the classes [mm] and their colours."""
    span = max(float(np.abs(added).max()), LEAST_SPAN)
    if added.min() < -0.05 * span:
        return span * np.array([-1.0, -0.6, -0.2, 0.2, 0.6, 1.0]), BOTH_WAYS
    return np.linspace(0.0, span, len(HEAT) + 1), HEAT


def _panel(
    whatif: WhatIf, title: str, unit: str, values: Array, edges: Array, colours: tuple[str, ...],
    point: tuple[float, float] | None,
) -> Panel:  # fmt: skip
    bed, rightwards = whatif.pressure, _rightwards(whatif.side)
    half = 500 * np.sqrt(bed.area)
    x, y = 1000 * rightwards * bed.y, 1000 * bed.x
    level = np.clip(np.searchsorted(edges, values, side="right") - 1, 0, len(colours) - 1)
    shapes: list[Shape] = []
    keys = []
    for k, colour in enumerate(colours):
        own = level == k
        if own.any():
            shapes.append(Boxes(x[own] - half[own], x[own] + half[own], y[own] - half[own], y[own] + half[own], colour))
            keys.append(Key(_class_text(edges, k, unit, values), colour, width=0, hatch=""))
    told = f"{title} [{unit}] over the sole seen from above, from {values.min():.1f} to {values.max():.1f}."
    if point is not None:
        shapes.append(Marks(one(1000 * rightwards * point[1]), one(1000 * point[0]), "diamond", "ink", True, 6.0))
        told += f" The centre of pressure is {1000 * point[0]:.0f} mm forward of the heel."
    across = "medial ←  mm  → lateral" if whatif.side == "right" else "lateral ←  mm  → medial"
    return Panel(
        title, "forward of the heel [mm]", told.replace("-", "−"),
        ticked(*limits((x - half, x + half), room=0.12), across, 4, grid=False),
        ticked(*limits((y - half, y + half)), grid=False), tuple(shapes), equal=True, keys=tuple(keys),
    )  # fmt: skip


def _class_text(edges: Array, k: int, unit: str, values: Array) -> str:
    decimals = 0 if unit.startswith("%") else 1
    low, high = (f"{edge:.{decimals}f}".replace("-", "−") for edge in edges[k : k + 2])
    short = unit[:1] if unit.startswith("%") else unit
    if k == len(edges) - 2 and values.max() > edges[-1] * (1 + 1e-9):
        return f"{low} {short} and more"
    return f"{low} to {high} {short}"


def _rightwards(side: str) -> float:
    """Sign that puts medial on the left of a right foot seen from above."""
    return -1.0 if side == "right" else 1.0

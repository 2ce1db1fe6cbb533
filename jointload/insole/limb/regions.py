"""Pressure under the regions of the sole, before and after."""

from __future__ import annotations

import numpy as np

from jointload.insole.limb.change import Drawn, PressureMap
from jointload.insole.limb.standing import Settled, Standing
from jointload.intake.recording import Array

FAINT = 0.10
"""A region that bears less than this share of the sole's largest pressure gets no per-cent change (choice)."""
LEAST_PRESSURE = 1.0e3
"""A draw whose region bears less than this [Pa] is left out of its per-cent change (choice)."""
TOES = 0.84
"""The toes begin at this share of the length (choice)."""
HEEL_END, MIDFOOT_END = 0.35, 0.58
"""Ends of heel and midfoot as shares of the length (choice, a third each of the sole behind the toes)."""
HEEL_REGIONS, BALL_REGIONS = ("medial_heel", "lateral_heel"), ("first_metatarsal", "other_metatarsals")
FIRST_RAY = 0.33
"""The first metatarsal bears this medial share of the forefoot's width (choice)."""


def regions(standing: Standing) -> dict[str, Array]:
    """Name -> (n,) whether a cell belongs to it."""
    bed = standing.bed
    along = bed.x / bed.length
    heel, fore = along < HEEL_END, (along >= MIDFOOT_END) & (along < TOES)
    edge = bed.y[fore].max() - FIRST_RAY * np.ptp(bed.y[fore])
    return {
        "medial_heel": heel & (bed.y > 0),
        "lateral_heel": heel & (bed.y <= 0),
        "midfoot": (along >= HEEL_END) & (along < MIDFOOT_END),
        "first_metatarsal": fore & (bed.y > edge),
        "other_metatarsals": fore & (bed.y <= edge),
        "toes": along >= TOES,
    }


def pressures(standing: Standing, settled: Settled) -> tuple[PressureMap, list[Drawn]]:
    """The map at the reference instant, and the change of each region's largest pressure in per cent; a faint region
    has none."""
    use = settled.usable
    before, after = settled.flat.pressure[use], settled.changed.pressure[use]
    both = np.isfinite(before[..., 0]) & np.isfinite(after[..., 0])
    before, after = (np.where(both[..., None], part, 0.0) for part in (before, after))
    rows = []
    largest = float(np.median(before.max(axis=(1, 2))))
    for name, cells in (("", np.full(standing.bed.x.shape, True)), *regions(standing).items()):
        old, new = (part[..., cells].max(axis=(1, 2)) for part in (before, after))
        if np.median(old) < FAINT * largest:
            continue
        pressed = old > LEAST_PRESSURE
        change = 100.0 * (new[pressed] / old[pressed] - 1.0)
        quantity = f"peak_pressure_{name}".rstrip("_")
        rows.append(Drawn(quantity, standing.side, np.full_like(change, np.nan), change, change))
    k = standing.reference if both[:, standing.reference].any() else int(np.argmax(both.sum(axis=0)))
    points = [
        (float(np.nanmedian(pose.cop_x[:, k])), float(np.nanmedian(pose.cop_y[:, k])))
        for pose in (settled.flat, settled.changed)
    ]
    seen = both[:, k]
    middle = [np.median(part[seen, k], axis=0) for part in (before, after)]
    bed, height = standing.bed, settled.changed.height - settled.flat.height
    return PressureMap(bed.x, bed.y, bed.area, middle[0], middle[1], points[0], points[1], height), rows

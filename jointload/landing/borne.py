"""When each foot and the plates bear load and when the total force is steady: what the events need of the forces, found
for all draws in one pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.intake.recording import SIDES, Array, Side
from jointload.landing.filtered import FilteredForces
from jointload.loads.contact import Contact, loaded_spans_of_rows
from jointload.numerics.signals import runs_of_rows

STEADY_SHARE = 0.05
"""A total vertical force is steady within this share of body weight (common practice, definitions differ)."""
Span = tuple[int, int]
"""Samples [start, stop)."""


@dataclass(frozen=True, eq=False)
class Borne:
    """What events need of the forces.

    feet, total : samples in which each foot, and the plates together, bear load;  known : (N,) whether both feet are
    steady : samples in which the total force stays near body weight;  filtered : the forces with their low-passes
    """

    feet: dict[Side, list[Span]]
    total: list[Span]
    known: NDArray[np.bool_]
    steady: list[Span]
    filtered: FilteredForces


def forces_borne(contact: Contact, filtered: FilteredForces, weight: Array, threshold: float) -> list[Borne]:
    """Of every one of D draws, one pass for all. weight : (D,) body weights [N];  threshold : of contact [N]."""
    vertical, rate = contact.fast_force[1], contact.fast_rate
    known = np.isfinite(vertical).all(axis=0)
    feet = [loaded_spans_of_rows(foot, rate, threshold) for foot in vertical]
    total = loaded_spans_of_rows(contact.total, rate, threshold)
    steady = known & (np.abs(filtered.settling - weight[:, None]) < STEADY_SHARE * weight[:, None])
    return [
        Borne(dict(zip(SIDES, spans, strict=True)), total[d], known[d], settled, filtered.drawn(d))
        for d, (spans, settled) in enumerate(zip(zip(*feet, strict=True), runs_of_rows(steady), strict=True))
    ]

"""Could a body do this: moments and tissue loads against the most that people are known to produce or to bear.

Tests of strength are slow and willed; an impact stretches muscles that already pull, for a few hundredths of a second.
Each limit of models/strength/people.csv is therefore mean + 3 standard deviations of the tested people, times what
stretched muscle adds, or the highest value that was found. It asks for a second look, it is no limit for health.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from jointload.intake.recording import Finding
from jointload.intake.rider import G
from jointload.landing.landed import Landing, Measure
from jointload.modeldata import load_model

CHECK = "beyond_people"
SPREADS = 3.0
"""Standard deviations above the mean of those who were tested (choice: one person in 700 lies beyond)."""
SHOWN = {"Nm/kg": 2, "BW": 1, "N": 0}
"""Units of the table, with the decimals in which they are told."""


@dataclass(frozen=True)
class Limit:
    """The most that people are known to do of a quantity, in a unit of SHOWN; what : who or what bears it."""

    quantity: str
    what: str
    most: float
    unit: str
    people: str
    source: str


@lru_cache(maxsize=2)
def limits(sex: str) -> dict[str, Limit]:
    """Quantity -> the limit for a rider of this sex, 'f' or 'm'."""
    return {
        row["quantity"]: Limit(
            row["quantity"],
            row["what"],
            (float(row["mean"]) + SPREADS * float(row["sd"] or 0.0)) * float(row["factor"]),
            row["unit"],
            row["people"],
            row["source"],
        )
        for row in load_model("strength", "people").content
        if row["sex"] in (sex, "any")
    }


def strength_findings(measures: Iterable[Measure], landing: Landing) -> tuple[Finding, ...]:
    """What of the moments and tissue loads lies beyond people; where a number has an interval, by its lower end."""
    known = limits(landing.body.rider.sex)
    beyond, said = [], []
    for measure in measures:
        limit = known.get(measure.quantity)
        if limit is None or not np.isfinite(measure.value):
            continue
        divisor = {"Nm/kg": landing.weight / G, "BW": landing.weight, "N": 1.0}[limit.unit]
        low = measure.value if not np.isfinite(measure.low) else measure.low
        value, least = measure.value / divisor, low / divisor
        told = f"{value:.{SHOWN[limit.unit]}f} of {limit.most:.{SHOWN[limit.unit]}f} {limit.unit}"
        part = f"{measure.side} {limit.what}".strip()
        if least > limit.most:
            beyond.append(Finding(CHECK, "warn", part, f"{told}, {_basis(limit)}", ADVICE))
        else:
            said.append((value / limit.most, f"{part} {told}"))
    if beyond:
        return tuple(beyond)
    nearest = max(said, default=(0.0, "no moment to judge"))[1]
    evidence = f"within what people are known to produce; nearest to it {nearest}" if said else nearest
    return (Finding(CHECK, "pass", landing.recording.name, evidence, ""),)


def _basis(limit: Limit) -> str:
    return f"the most that is known ({limit.people}, {limit.source})"


ADVICE = (
    "beyond what people are known to produce: look for an error in mass, plate or markers before any number of this "
    "joint is used"
)

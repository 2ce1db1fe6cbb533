"""Fewer draws and heights than a user's, for tests in which how many there are is not what is tested."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

FEW = {
    "jointload.insole.fitting.fit.LEVELS": 2,
    "jointload.uncertainty.intervals.FEWEST_ALONE": 4,
    "jointload.uncertainty.pour.LEAST_CHUNKS": 2,
    "jointload.day.rider.results.DRAWS": 12,
    "jointload.day.rider.fitting.DRAWS": 12,
    "jointload.day.rider.fitting.PERSONS": 60,
}
"""Stack heights of a fit's trade-off; draws of an input alone for its share; chunks of draws, each with a cut-off of
its own; a day's numbers and fitting, which no option asks for."""


@contextmanager
def few_draws() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        for name, number in FEW.items():
            patch.setattr(name, number)
        yield

"""The numbers behind tissue loads that were read, remembered or chosen: each with its spread and its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from jointload.intake.recording import Array
from jointload.modeldata import load_model

FILES = ("knee", "achilles", "lumbar")


@dataclass(frozen=True)
class Spread:
    """A number with the range in which it may lie; value is the likeliest."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    basis: str
    source: str


Factors = Mapping[str, float | Array]
"""Spread's name -> its value, or drawn values (D, 1), which broadcast against frames (F,)."""


@lru_cache(maxsize=1)
def tissue_spreads() -> dict[str, Spread]:
    """Every spread of models/tissue, by name."""
    found = {}
    for file in FILES:
        for name, row in load_model("tissue", file).content["spread"].items():
            found[name] = Spread(name, **row)
    return found


def likeliest() -> dict[str, float | Array]:
    """The factors at the top of their spreads."""
    return {name: spread.value for name, spread in tissue_spreads().items()}


@lru_cache(maxsize=4)
def drawn(draws: int, seed: int) -> dict[str, float | Array]:
    """Every factor drawn from its triangle, (D, 1) each; a factor's draws depend on its own name and the seed alone."""
    out: dict[str, float | Array] = {}
    for name, spread in tissue_spreads().items():
        rng = np.random.default_rng([seed, *name.encode()])
        out[name] = rng.triangular(spread.low, spread.value, spread.high, (draws, 1))
    return out

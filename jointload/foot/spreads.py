"""The numbers of models/foot that were published, fitted or chosen: each with its range, and draws from it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from jointload.intake.recording import Array
from jointload.loads.tissue.spreads import Factors, Spread
from jointload.modeldata import load_model


@lru_cache(maxsize=8)
def foot_spreads(file: str) -> dict[str, Spread]:
    """Every spread of models/foot/<file>.toml, by name."""
    rows = load_model("foot", file).content["spread"]
    return {name: Spread(name, **row) for name, row in rows.items()}


def likeliest(file: str) -> dict[str, float | Array]:
    """The file's numbers at the top of their spreads."""
    return {name: spread.value for name, spread in foot_spreads(file).items()}


@lru_cache(maxsize=32)
def drawn(file: str, draws: int, seed: int) -> Factors:
    """Every number of a file drawn from its triangle, (D, 1) each, which broadcasts against frames (F,)."""
    return {
        name: triangular(spread.low, spread.value, spread.high, f"{file} {name}", draws, seed)
        for name, spread in foot_spreads(file).items()
    }


def triangular(low: float, top: float, high: float, name: str, draws: int, seed: int) -> Array:
    """(D, 1) from a triangle, in equal slices of probability; the draws depend on the name and the seed alone."""
    rng = np.random.default_rng([seed, *name.encode()])
    chance = (rng.permutation(draws) + rng.random(draws)) / draws
    rising = (top - low) / (high - low)
    up = low + np.sqrt(chance * (high - low) * (top - low))
    down = high - np.sqrt((1.0 - chance) * (high - low) * (high - top))
    return np.where(chance < rising, up, down)[:, None]

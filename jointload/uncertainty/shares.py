"""How much of the variance of each number one input makes: read from the draws of all inputs together, by regression on
what was drawn, or from draws of that input alone."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from jointload.intake.recording import Array
from jointload.landing.certainty import Key, variance_of

LEAST_KNOWN = 1.5
"""Known draws for each drawn number, below which no share is told (choice: a third of them is then left to tell the
rest's variance)."""


def regressed_variances(samples: Mapping[Key, Array], numbers: Mapping[str, Array]) -> dict[str, dict[Key, float]]:
    """Input -> (quantity, side) -> variance that it makes alone, NaN where too few draws give the number.

    samples : (D,) of every number, drawn with all inputs;  numbers : input -> (k, D) what was drawn of it

    y = sum_i X_i b_i + rest by least squares over the draws. Input i makes the variance of X_i b_i, less what chance
    alone would put there: (|X_i b_i|^2 - s^2 |H_i|^2) / (D - 1), with H_i = X_i P_i the part of the hat matrix that
    gives X_i b_i from y, |.| the Frobenius norm, s^2 the variance of the rest. Its error is about sqrt(2 k_i) / D of
    s^2 and 2 sqrt(s^2 v_i / (D - k)) for its own v_i. What several inputs make only together stays in the rest: a root
    mean square of what should be nothing (unexplained_force, l5s1_moment_disagreement) is told too small a part.
    Saltelli A et al (2008) Global Sensitivity Analysis, chapter 1: standardised regression coefficients (from memory).
    """
    out: dict[str, dict[Key, float]] = {name: {} for name in numbers}
    patterns: dict[bytes, list[Key]] = {}
    for key, values in samples.items():
        patterns.setdefault(np.isfinite(values).tobytes(), []).append(key)
    for pattern, keys in patterns.items():
        known = np.frombuffer(pattern, dtype=bool)
        found = _of_pattern(
            np.stack([samples[key][known] for key in keys]), {n: x[:, known] for n, x in numbers.items()}
        )
        for name, variances in found.items():
            out[name] |= dict(zip(keys, variances.tolist(), strict=True))
    return out


def _of_pattern(values: Array, numbers: Mapping[str, Array]) -> dict[str, Array]:
    """Input -> (Q,) variance it makes of numbers (Q, D) that every draw gives."""
    draws, count = values.shape[1], sum(rows.shape[0] for rows in numbers.values())
    if draws < LEAST_KNOWN * count:
        return {name: np.full(len(values), np.nan) for name in numbers}
    away = values - values.mean(axis=1, keepdims=True)
    drawn = {name: _standardised(rows) for name, rows in numbers.items()}
    together = np.concatenate(list(drawn.values()))
    inverse = np.linalg.pinv(together)
    slopes = away @ inverse
    rest = np.sum((away - slopes @ together) ** 2, axis=1) / (draws - 1 - count)
    varies = np.array([variance_of(row) > 0.0 for row in values])
    out, start = {}, 0
    for name, rows in drawn.items():
        own = slice(start, start + len(rows))
        made, chance = slopes[:, own] @ rows, inverse[:, own] @ rows
        variance = (np.sum(made**2, axis=1) - rest * np.sum(chance**2)) / (draws - 1)
        out[name] = np.where(varies, np.maximum(variance, 0.0), 0.0)
        start = own.stop
    return out


def _standardised(rows: Array) -> Array:
    """(k, D) with mean 0 and, where they vary, deviation 1."""
    away = rows - rows.mean(axis=1, keepdims=True)
    size = away.std(axis=1, keepdims=True)
    return away / np.where(size > 0.0, size, 1.0)

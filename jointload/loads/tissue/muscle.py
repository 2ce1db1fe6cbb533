"""A muscle that answers a moment, and the printed polynomials of its arm."""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import Array


def pulling(moment: Array, arm: float | Array) -> Array:
    """Force [N] of a muscle that answers the positive part of a moment [N m] at an arm [m]; it cannot push."""
    with np.errstate(invalid="ignore"):
        return np.where(moment > 0, moment / arm, np.where(np.isnan(moment), np.nan, 0.0))


def polynomial(coefficients: list[float], x: Array) -> Array:
    """Constant term first."""
    return np.asarray(np.polynomial.polynomial.polyval(x, coefficients), dtype=float)


def within(x: Array, low: float, high: float) -> Array:
    """x, NaN outside low to high."""
    return np.where((x >= low) & (x <= high), x, np.nan)

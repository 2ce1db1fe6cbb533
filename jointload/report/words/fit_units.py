"""The target of a fit in the unit that people read: its quantity's own, or per cent of the value before."""

from __future__ import annotations

from collections.abc import Iterable

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.report.words.quantities import number_text, quantity, shown


def target_numbers(fit: Fit, analysis: Analysis, values: Iterable[float]) -> tuple[list[float], str]:
    """Changes of the target in shown units, and the unit."""
    name = fit.target.quantities[0]
    if not fit.target.single or name.startswith("peak_pressure"):
        return [100.0 * value for value in values], "%"
    what = quantity(name)
    return [shown(value, what, analysis.landing.weight) for value in values], what.unit


def ends_text(fit: Fit, analysis: Analysis, low: float, change: float, high: float) -> str:
    """a change of -0.12 Nm/kg (-0.20 to -0.05)."""
    numbers, unit = target_numbers(fit, analysis, (change, low, high))
    middle, first, last = (number_text(value, unit, extra=1) for value in numbers)
    return f"a change of {middle} {unit} ({first} to {last})"

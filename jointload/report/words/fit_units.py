"""The target of a fit in the unit that people read: its quantity's own, or per cent of the value before."""

from __future__ import annotations

from collections.abc import Iterable

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.insole.fitting.ledger import main_cost, thinner
from jointload.insole.shape.asked import shape_text
from jointload.report.words.cells import sentence_case
from jointload.report.words.quantities import number_text, quantity, shown


def told(fit: Fit, analysis: Analysis) -> tuple[str, ...]:
    """The verdict in sentences, the same in the terminal and on the page: whether a shape is chosen and why not, which
    is best and what it changes, its main cost at once, and why a height falls."""
    if fit.answer is None:
        return (fit.verdict, "Every shape within the limits leaves it as it is.")
    shape, change = shape_text(fit.answer.shape), ends_text(fit, analysis, fit.low, fit.change, fit.high)
    told_of = sentence_case(change) if shape in fit.verdict else f"Best shape: {shape}; {change}"
    out = [fit.verdict, f"{told_of} of the {fit.target.text}, a prediction."]
    cost = main_cost(fit.answer, fit.target.quantities)
    if cost is None:
        out.append("No load rises by what matters, in the middle of the drawn persons.")
    else:
        share = 1.0 if cost.quantity.startswith("peak_pressure") else cost.percent / cost.change
        middle, low, high = (
            number_text(share * each, "%") for each in (cost.change, cost.person_low, cost.person_high)
        )
        out.append(f"Main cost: {quantity(cost.quantity).plain_name} +{middle} % ({low} to {high}).")
    lower = [f"{PLACES[row.quantity]} by {-1000 * row.change:.1f} mm" for row in thinner(fit.answer)]
    if lower:
        base = 1000 * fit.answer.shape.base
        out.append(
            f"The insole is lower under the {' and the '.join(lower)}: its base is thinner ({base:.1f} mm) than that "
            "of the flat insole, to leave room for what is added within the stack."
        )
    return tuple(out)


PLACES = {"heel_stack": "heel", "forefoot_stack": "ball"}


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

"""What measured repeats tell: a rider's own variation, reliability over riders, and a change judged against both.

Tables are (n, k): n riders, k landings of one condition each. SI units throughout.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from jointload.analysis import Analysis
from jointload.errors import SettingError, expected_found
from jointload.intake.recording import Array
from jointload.landing.certainty import LIKELY, Key

FEWEST_REPEATS = 3
"""Landings of one condition below which no variation is given (choice: two tell their difference, no spread)."""
TAIL = 0.025


@dataclass(frozen=True)
class OwnVariation:
    """One number in several landings of one rider in one condition: mean, standard deviation, and how many.

    low, high : 95 % interval of the mean, by Student's t
    """

    count: int
    mean: float
    sd: float
    low: float
    high: float


@dataclass(frozen=True)
class Judged:
    """A rider's change from one condition to another against that rider's own variation.

    sd : standard deviation within a condition, pooled over both;  low, high : 95 % interval of the change of the means
    smallest : change of the means [SI] from which on the interval leaves out zero
    """

    before: OwnVariation
    after: OwnVariation
    sd: float
    low: float
    high: float
    smallest: float

    @property
    def change(self) -> float:
        return self.after.mean - self.before.mean

    @property
    def distinguishable(self) -> bool:
        return bool(self.low > 0.0 or self.high < 0.0)


@dataclass(frozen=True)
class Icc:
    """An intraclass correlation, its model in words, and its 95 % interval."""

    form: str
    model: str
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Reliability:
    """Repeats of several riders: intraclass correlations by form, and what one landing can tell.

    within_sd : root mean square of the riders' own standard deviations;  total_sd : of all landings
    sem : standard error of measurement, total_sd sqrt(1 - ICC);  mdc95 : minimal detectable change, 1.96 sqrt(2) sem
    form : of the ICC that sem and mdc95 are from
    """

    riders: int
    landings: int
    within_sd: float
    total_sd: float
    icc: Mapping[str, Icc]
    form: str
    sem: float
    mdc95: float


MODELS = {
    "ICC(1,1)": "one-way random, single landing",
    "ICC(2,1)": "two-way random, absolute agreement, single landing",
    "ICC(3,1)": "two-way mixed, consistency, single landing",
    "ICC(1,k)": "one-way random, mean of k landings",
    "ICC(2,k)": "two-way random, absolute agreement, mean of k landings",
    "ICC(3,k)": "two-way mixed, consistency, mean of k landings",
}


def repeated_values(analyses: Iterable[Analysis]) -> dict[Key, Array]:
    """(quantity, side) -> its known values in the landings of one rider and condition, in the order given."""
    found: dict[Key, list[float]] = {}
    for analysis in analyses:
        for measure in analysis.measures:
            if not measure.word and np.isfinite(measure.value):
                found.setdefault((measure.quantity, measure.side), []).append(measure.value)
    return {key: np.array(values) for key, values in found.items()}


def own_variation(values: Sequence[float] | Array) -> OwnVariation:
    """Mean, standard deviation and interval of the mean; SettingError below FEWEST_REPEATS landings."""
    from scipy.special import stdtrit

    x = _known(values, "one condition")
    mean, sd = float(x.mean()), float(x.std(ddof=1))
    half = float(stdtrit(x.size - 1, 1.0 - TAIL)) * sd / np.sqrt(x.size)
    return OwnVariation(x.size, mean, sd, mean - half, mean + half)


def judge_change(before: Sequence[float] | Array, after: Sequence[float] | Array, remounted: float = 0.0) -> Judged:
    """One rider's landings before and after, by the two-sample t interval with pooled standard deviation.

    remounted : standard deviation [SI] of what putting the markers on anew makes of the difference, 0 when they stayed
    in place; it does not become smaller with more landings. The interval is then that of both, as if independent.
    """
    from scipy.special import stdtrit

    first, second = _known(before, "the condition before"), _known(after, "the condition after")
    freedom = first.size + second.size - 2
    pooled = float(np.sqrt((np.sum((first - first.mean()) ** 2) + np.sum((second - second.mean()) ** 2)) / freedom))
    own = float(stdtrit(freedom, 1.0 - TAIL)) * pooled * np.sqrt(1.0 / first.size + 1.0 / second.size)
    half = float(np.hypot(own, LIKELY * remounted))
    change = float(second.mean() - first.mean())
    return Judged(own_variation(first), own_variation(second), pooled, change - half, change + half, half)


def reliability(table: Sequence[Sequence[float]] | Array, form: str = "ICC(3,1)") -> Reliability:
    """Six intraclass correlations of an (n riders, k landings) table, and SEM and MDC95 by the `form` named.

    The landings are in their order, so that forms 2 and 3 can tell a trend (fatigue, learning) from the riders' own
    variation: form 2 counts it as error, form 3 does not. Shrout PE, Fleiss JL (1979) Psychol Bull 86:420-428 (from
    memory); SEM and MDC95 from memory, as in common use.
    """
    if form not in MODELS:
        raise SettingError(
            expected_found("reliability", "one of " + ", ".join(MODELS), repr(form), "form", "choose one")
        )
    x = np.asarray(table, dtype=float)
    if x.ndim != 2 or x.shape[0] < 2 or x.shape[1] < 2 or not np.isfinite(x).all():
        expected = "two riders and more with the same number of landings, two and more, all known"
        found = f"a table of shape {x.shape}" + ("" if np.isfinite(x).all() else " with unknown numbers")
        raise SettingError(expected_found("reliability", expected, found, "the table", "leave out what is incomplete"))
    n, k = x.shape
    total = float(x.std(ddof=1))
    icc = _correlations(x)
    sem = total * float(np.sqrt(max(1.0 - icc[form].value, 0.0)))
    within = float(np.sqrt(np.mean(x.var(axis=1, ddof=1))))
    return Reliability(n, k, within, total, icc, form, sem, minimal_detectable_change(sem))


def minimal_detectable_change(sem: float) -> float:
    """MDC95 = 1.96 sqrt(2) SEM: two single landings of one rider differ by less in 95 of 100 pairs."""
    return float(LIKELY * np.sqrt(2.0) * sem)


def _known(values: Sequence[float] | Array, where: str) -> Array:
    x = np.asarray(values, dtype=float)
    x = x[np.isfinite(x)]
    if x.size < FEWEST_REPEATS:
        expected = f"{FEWEST_REPEATS} landings or more that give this number"
        raise SettingError(expected_found("repeats", expected, x.size, where, "record more landings of it"))
    return x


def _correlations(x: Array) -> dict[str, Icc]:
    """Shrout and Fleiss's six forms from the mean squares: between riders B, within W, between landings J, error E."""
    from scipy.special import fdtri

    n, k = x.shape
    riders, landings, grand = x.mean(axis=1), x.mean(axis=0), x.mean()
    B = k * np.sum((riders - grand) ** 2) / (n - 1)
    J = n * np.sum((landings - grand) ** 2) / (k - 1)
    W = np.sum((x - riders[:, None]) ** 2) / (n * (k - 1))
    E = (n * (k - 1) * W - (k - 1) * J) / ((n - 1) * (k - 1))

    def quantile(first: float, second: float) -> float:
        return float(fdtri(first, second, 1.0 - TAIL))

    def from_ratio(ratio: float) -> float:
        return float((ratio - 1.0) / (ratio + k - 1.0))

    def of_mean(single: float) -> float:
        return float(k * single / (1.0 + (k - 1) * single))

    single = {}
    for form, error, freedom in (("ICC(1,1)", W, n * (k - 1)), ("ICC(3,1)", E, (n - 1) * (k - 1))):
        if error <= 0.0:
            single[form] = (1.0, 1.0, 1.0)
            continue
        F = B / error
        ends = (F / quantile(n - 1, freedom), F * quantile(freedom, n - 1))
        single[form] = (from_ratio(F), from_ratio(ends[0]), from_ratio(ends[1]))
    single["ICC(2,1)"] = _absolute_agreement(n, k, B, J, E, quantile)
    out = {}
    for form, model in MODELS.items():
        value, low, high = single[form.replace(",k)", ",1)")]
        if form.endswith(",k)"):
            value, low, high = (of_mean(v) for v in (value, low, high))
        out[form] = Icc(form, model, value, low, high)
    return out


def _absolute_agreement(
    n: int, k: int, B: float, J: float, E: float, quantile: Callable[[float, float], float]
) -> tuple[float, float, float]:
    """ICC(2,1) with its interval by Satterthwaite's degrees of freedom (Shrout and Fleiss 1979, from memory)."""
    rho = (B - E) / (B + (k - 1) * E + k * (J - E) / n)
    if E <= 0.0:
        return float(rho), float("nan"), float("nan")
    a = k * rho * J / E
    b = n * (1.0 + (k - 1) * rho) - k * rho
    freedom = (k - 1) * (n - 1) * (a + b) ** 2 / ((n - 1) * a**2 + b**2)
    above, below = quantile(n - 1, freedom), quantile(freedom, n - 1)
    rest = k * J + (k * n - k - n) * E
    low = n * (B - above * E) / (above * rest + n * B)
    high = n * (below * B - E) / (rest + n * below * B)
    return float(rho), float(low), float(high)

"""How large a difference is, whether it is smaller than what matters, and what many tests do to one p."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointload.study.mixed import CONFIDENCE, Contrast

if TYPE_CHECKING:
    import pandas

LEAST_RIDERS = 3
"""An effect size from fewer riders is left empty (choice)."""
POWER = 0.8
"""Of a study that is planned to decide (common practice)."""
MANY_LANDINGS = (5, 10)
"""Of each rider under each level, for which a study is told how many riders it would need (choice)."""
MOST_RIDERS = 2000
"""More riders than this are told as too many (choice)."""
MOST_LANDINGS = 60
"""More landings of one rider in one condition are told as too many (choice): nobody lands so often in a day."""
ASKED_AT_ONCE = 30
"""Counts whose power is worked out together."""


@dataclass(frozen=True)
class EffectSize:
    """A difference in standard deviations, with its 95 % interval; kind says of what."""

    kind: str
    value: float
    low: float
    high: float


UNKNOWN_SIZE = EffectSize("none", float("nan"), float("nan"), float("nan"))


def effect_size(data: pandas.DataFrame, baseline: str, level: str) -> EffectSize:
    """d_z of the riders who have both levels, else Hedges' g between the riders of each; from riders' means.

    data : columns rider, level, value, a row a landing
    """
    means = data.groupby(["rider", "level"])["value"].mean().unstack().reindex(columns=[baseline, level])
    both = means.dropna()
    if len(both) >= LEAST_RIDERS:
        return paired_size((both[level] - both[baseline]).to_numpy())
    first, second = means[baseline].dropna().to_numpy(), means[level].dropna().to_numpy()
    if both.empty and min(len(first), len(second)) >= LEAST_RIDERS:
        return hedges_g(first, second)
    return UNKNOWN_SIZE


def paired_size(differences: np.ndarray) -> EffectSize:
    """d_z: mean over standard deviation of the riders' differences, interval by the noncentral t distribution.

    Lakens D (2013) Front Psychol 4:863, eq. 6 (from memory); interval: Cumming and Finch (2001) Educ Psychol Meas
    61:532-574 (from memory).
    """
    n, spread = len(differences), float(np.std(differences, ddof=1))
    if not spread > 0:
        return UNKNOWN_SIZE
    t = float(differences.mean()) / (spread / np.sqrt(n))
    low, high = _noncentral(t, n - 1)
    return EffectSize("d_z within riders", t / np.sqrt(n), low / np.sqrt(n), high / np.sqrt(n))


def hedges_g(first: np.ndarray, second: np.ndarray) -> EffectSize:
    """Hedges' g of second against first: pooled standard deviation, corrected for small samples.

    Hedges LV (1981) J Educ Stat 6:107-128: J = 1 - 3 / (4 df - 1) (from memory).
    """
    n, m = len(first), len(second)
    df = n + m - 2
    pooled = np.sqrt(((n - 1) * np.var(first, ddof=1) + (m - 1) * np.var(second, ddof=1)) / df)
    if not pooled > 0:
        return UNKNOWN_SIZE
    scale = np.sqrt(1 / n + 1 / m)
    t = float(second.mean() - first.mean()) / (pooled * scale)
    low, high = _noncentral(t, df)
    correction = (1 - 3 / (4 * df - 1)) * scale
    return EffectSize("Hedges g between riders", t * correction, low * correction, high * correction)


def _noncentral(t: float, df: int) -> tuple[float, float]:
    """The noncentralities of which t is the upper and the lower end."""
    from scipy import optimize, stats

    tail = 0.5 * (1 - CONFIDENCE)
    reach = abs(t) + 10 * np.sqrt(1 + t * t / (2 * df)) + 10

    def share_below(delta: float) -> float:
        with np.errstate(all="ignore"):
            share = float(stats.nct.cdf(t, df, delta))
        return share if np.isfinite(share) else float(delta < t)  # far out in its tails scipy gives NaN

    def solve(share: float) -> float:
        return float(optimize.brentq(lambda delta: share_below(delta) - share, t - reach, t + reach))

    return solve(1 - tail), solve(tail)


def equivalence_p(contrast: Contrast, margin: float) -> float:
    """Two one-sided tests: the larger p of 'at or below -margin' and 'at or above margin'.

    A small p says that the difference lies within the margin (Schuirmann (1987) J Pharmacokinet Biopharm 15:657-680,
    from memory).  margin : in the unit of the contrast
    """
    from scipy import stats

    if not (np.isfinite(contrast.estimate) and margin > 0):
        return float("nan")
    above = stats.t.sf((contrast.estimate + margin) / contrast.error, contrast.df)
    below = stats.t.cdf((contrast.estimate - margin) / contrast.error, contrast.df)
    return float(max(above, below))


def riders_to_decide(contrast: Contrast, margin: float, landings: float | None = None, power: float = POWER) -> float:
    """Riders from which on a true difference of `margin` is found in `power` of all studies at 5 %, two-sided, if
    riders spread as those seen here: the error shrinks by the root of their number, degrees of freedom lack as
    many of it.

    landings : of each rider under each level, as many as seen without it
    By the noncentral t distribution, not adjusted for other quantities. NaN where error or margin is not known, or
    another number of landings is asked for and none was repeated; infinite beyond MOST_RIDERS.
    """
    error = contrast.error if landings is None else contrast.error * _error_ratio(contrast, landings)
    if not (np.isfinite(error) and error > 0 and margin > 0):
        return float("nan")
    riders = np.arange(2, MOST_RIDERS + 1)
    freedom = riders - (contrast.riders - contrast.df)
    riders, freedom = riders[freedom >= 1], freedom[freedom >= 1]
    return _first_to_decide(riders, freedom, margin / (error * np.sqrt(contrast.riders / riders)), power)


def landings_to_decide(sd: float, margin: float, power: float = POWER) -> float:
    """Landings in each of two conditions from which on a true difference of `margin` is found in `power` of all
    repetitions at 5 %, two-sided, in one rider whose landings of a condition spread by `sd`.

    The power of a two-sample t test with as many landings in both, by the noncentral t distribution. NaN where spread
    or margin is not known, infinite beyond MOST_LANDINGS.
    """
    if not (np.isfinite(sd) and sd > 0 and margin > 0):
        return float("nan")
    landings = np.arange(2, MOST_LANDINGS + 1)
    return _first_to_decide(landings, 2.0 * (landings - 1), margin / (sd * np.sqrt(2.0 / landings)), power)


def _first_to_decide(counts: np.ndarray, freedom: np.ndarray, away: np.ndarray, power: float) -> float:
    """The first count whose test has the power; away : noncentrality of each. Power grows with the count: the last one
    tells whether there is any, and few are asked where few are enough."""
    if not len(counts) or power_of(away[-1:], freedom[-1:])[0] < power:
        return float("inf")
    start, length = 0, ASKED_AT_ONCE
    while not (enough := power_of(away[start : start + length], freedom[start : start + length]) >= power).any():
        start, length = start + length, 2 * length
    return float(counts[start + int(enough.argmax())])


def power_of(away: np.ndarray, freedom: np.ndarray) -> np.ndarray:
    """Share of studies that find a true difference at 5 %, two-sided, on its own side: noncentral t distribution.

    away : the difference over its standard error;  freedom : degrees of freedom of that error
    """
    from scipy import stats

    critical = stats.t.ppf(0.5 + 0.5 * CONFIDENCE, freedom)
    with np.errstate(all="ignore"):
        found = stats.nct.sf(critical, freedom, away)
    return np.where(np.isfinite(found), found, (away > critical).astype(float))  # far out in its tails scipy gives NaN


def _error_ratio(contrast: Contrast, landings: float) -> float:
    """Error with so many landings of each rider under each level over that with those seen: their own spread shrinks,
    what riders differ by in their answers (or, of groups, at all) stays."""
    if not contrast.repeated:
        return float("nan")
    within = contrast.rider_by_level
    riders = contrast.between_riders if np.isnan(within) else within
    now, then = (riders**2 + contrast.residual**2 / count for count in (contrast.landings, landings))
    return float(np.sqrt(then / now))


def holm(p: Sequence[float]) -> list[float]:
    """p adjusted so that the chance of any false alarm in the family is held (Holm (1979) Scand J Stat 6:65-70)."""
    return _adjusted(p, "holm")


def benjamini_hochberg(p: Sequence[float]) -> list[float]:
    """p adjusted so that the share of false alarms among those called is held (Benjamini and Hochberg (1995) J R Stat
    Soc B 57:289-300)."""
    return _adjusted(p, "fdr_bh")


def _adjusted(p: Sequence[float], method: str) -> list[float]:
    from statsmodels.stats.multitest import multipletests

    values = np.array(p, dtype=float)
    known = np.isfinite(values)
    if known.any():
        values[known] = multipletests(values[known], method=method)[1]
    return [float(value) for value in values]

"""Differences between conditions, styles or groups, by a linear mixed model with riders as random effects.

A landing is one of several of a rider, and riders answer differently: the model has a random effect of the rider and,
where a rider has several landings under one condition, one of the rider under that condition. Tests and intervals use
Student's t with containment degrees of freedom, since the normal distribution is too narrow for a dozen riders; with
equally many landings everywhere they are those of the paired t-test on the riders' means. A variance that the model
puts at zero, the least it may be, would make the error too large for these degrees of freedom (of riders who answer
alike) or too small (of riders no more like themselves than like others): there the riders' means are tested.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.intake.recording import Array

if TYPE_CHECKING:
    import pandas

CONFIDENCE = 0.95
AT_ZERO = 1e-4
"""A variance below this share of that of landings is at zero (choice: what the search leaves of it is less)."""
AT_ZERO_WORDS = "a variance is zero"


@dataclass(frozen=True)
class Contrast:
    """One level against the baseline, in the unit of the values: estimate with its 95 % interval, degrees of freedom,
    two-sided p; the standard deviations of the model; NaN with a note where the data do not allow it.

    repeated : whether `residual` is that of landings repeated by one rider under one level
    landings : of a rider under a level, harmonic mean
    """

    level: str
    baseline: str
    estimate: float
    error: float
    df: int
    low: float
    high: float
    p: float
    baseline_mean: float
    between_riders: float
    rider_by_level: float
    residual: float
    riders: int
    trials: int
    model: str
    repeated: bool = False
    note: str = ""
    landings: float = float("nan")


def contrasts(data: pandas.DataFrame, levels: Sequence[str]) -> list[Contrast]:
    """Every other level against levels[0].

    data : columns rider, level, value, a row a landing; rows without a value are left out
    """
    data = data[np.isfinite(data["value"]) & data["level"].isin(levels)].reset_index(drop=True)
    why_not = _why_not(data, levels)
    if why_not:
        return [_unknown(level, levels[0], data, why_not) for level in levels[1:]]
    within = bool((data.groupby("rider")["level"].nunique() > 1).any())
    cells = data.groupby(["rider", "level"]).size()
    repeated = len(data) > (len(cells) if within else data["rider"].nunique())
    df = _containment(data, len(levels), within)
    if df < 1:
        return [_unknown(level, levels[0], data, "too few riders") for level in levels[1:]]
    placed = data.assign(level=data["level"].map({level: k for k, level in enumerate(levels)}))
    fit, words = _fitted(placed, within, repeated)
    means = _of_means(placed, within) if _at_zero(fit) else None
    found = [_contrast(fit, means, words, data, levels[0], level, k, df) for k, level in enumerate(levels[1:], 1)]
    landings = float(1.0 / np.mean(1.0 / cells))
    return [replace(one, repeated=repeated, landings=landings) for one in found]


def fit_mixed(
    values: Array, design: Array, riders: Array, random: Array | None = None, cells: Array | None = None
) -> Any:
    """A linear mixed model by restricted maximum likelihood (statsmodels MixedLM, told by matrices: a formula takes as
    long to read as a quarter of the fit).

    values : (N,);  design : (N, P) of what is the same for all;  riders : (N,) whose each is
    random : (N, R) of what varies by rider, a constant without it;  cells : (N, C) of one further variance by rider
    """
    from statsmodels.regression.mixed_linear_model import MixedLM
    from statsmodels.tools.sm_exceptions import ConvergenceWarning, HessianInversionWarning

    random = np.ones((len(values), 1)) if random is None else random
    model = MixedLM(values, design, riders, random, _parts(cells, riders))
    with warnings.catch_warnings():
        # a variance of zero, at the edge of what is allowed, is an answer here
        for kind in (ConvergenceWarning, HessianInversionWarning, UserWarning, RuntimeWarning):
            warnings.simplefilter("ignore", kind)
        for method in ("bfgs", "nm", "powell") if cells is None else ("nm", "powell"):
            fit = model.fit(reml=True, method=method)
            if fit.converged:
                break
    return fit


def _parts(cells: Array | None, riders: Array) -> Any:
    """A further variance, each rider's rows and those columns of `cells` that are not empty there."""
    from statsmodels.regression.mixed_linear_model import VCSpec

    if cells is None:
        return None
    own = [cells[riders == rider] for rider in sorted(set(riders.tolist()))]
    own = [part[:, part.any(axis=0)] for part in own]
    return VCSpec(["cell"], [[[str(k) for k in range(part.shape[1])] for part in own]], [own])


def _why_not(data: pandas.DataFrame, levels: Sequence[str]) -> str:
    absent = [level for level in levels if not (data["level"] == level).any()]
    if absent:
        return f"no value under {', '.join(absent)}"
    if data["rider"].nunique() < 2:
        return "one rider: nothing can be said about others"
    values = data["value"].to_numpy()
    if np.ptp(values) <= 1e-12 * max(1.0, float(np.abs(values).max())):
        return "all values are equal"
    return ""


def _containment(data: pandas.DataFrame, levels: int, within: bool) -> int:
    """Cells of rider and level beyond one a rider and the levels' own, where riders meet several levels; else riders
    beyond one a level."""
    riders = data["rider"].nunique()
    if not within:
        return int(riders - levels)
    return int(data.groupby(["rider", "level"]).ngroups - riders - (levels - 1))


def _fitted(data: pandas.DataFrame, within: bool, repeated: bool) -> tuple[Any, str]:
    """data : level is a number, 0 of the baseline"""
    values, riders, member = data["value"].to_numpy(float), data["rider"].to_numpy(object), _members(data)
    if not within and not repeated:
        from statsmodels.regression.linear_model import OLS

        return OLS(values, _against_first(member)).fit(), "ordinary least squares, one landing a rider"
    if within and repeated:
        fit = fit_mixed(values, _against_first(member), riders, cells=member)
        return fit, "mixed model, random: rider, and rider under each level"
    return fit_mixed(values, _against_first(member), riders), "mixed model, random: rider"


def _members(data: pandas.DataFrame) -> Array:
    """(N, levels) 1 where a landing is of a level, else 0."""
    level = data["level"].to_numpy(int)
    return np.eye(level.max() + 1)[level]


def _against_first(member: Array) -> Array:
    """Columns of a constant and of every further level."""
    return np.column_stack([np.ones(len(member)), member[:, 1:]])


def _at_zero(fit: Any) -> bool:
    """Whether a variance of riders lies at the least it may be."""
    if not hasattr(fit, "fe_params"):
        return False
    variances = [float(np.asarray(fit.cov_re)[0, 0]), *map(float, fit.vcomp)]
    return min(variances) < AT_ZERO * float(fit.scale)


def _of_means(data: pandas.DataFrame, within: bool) -> Any:
    """Levels compared by the riders' means, each counted as often as it has landings: with two levels and equally many
    landings the paired t-test, or that of two groups."""
    from statsmodels.regression.linear_model import WLS

    cells = data.groupby(["rider", "level"])["value"].agg(["mean", "size"]).reset_index()
    design = _against_first(_members(cells))
    if within:
        riders = cells["rider"].to_numpy(object)
        design = np.column_stack([design, riders[:, None] == sorted(set(riders.tolist()))[1:]])
    return WLS(cells["mean"].to_numpy(), design, weights=cells["size"].to_numpy()).fit()


def _contrast(
    fit: Any, means: Any, words: str, data: pandas.DataFrame, baseline: str, level: str, column: int, df: int
) -> Contrast:
    """means : riders' means compared, where a variance of the mixed `fit` lies at zero;  column : of the level"""
    from scipy import stats

    mixed = hasattr(fit, "fe_params")
    tested = fit if means is None else means
    estimates, errors = (tested.fe_params, tested.bse_fe) if tested is fit and mixed else (tested.params, tested.bse)
    estimate, error = float(estimates[column]), float(errors[column])
    if mixed and not fit.converged:
        return _unknown(level, baseline, data, "the model's variances could not be found")
    if not error > 0:
        return _unknown(level, baseline, data, "the riders differ by exactly the same amount")
    half = float(stats.t.isf(0.5 * (1 - CONFIDENCE), df)) * error
    return Contrast(
        level=level,
        baseline=baseline,
        estimate=estimate,
        error=error,
        df=df,
        low=estimate - half,
        high=estimate + half,
        p=float(2 * stats.t.sf(abs(estimate) / error, df)),
        baseline_mean=float((fit.fe_params if mixed else estimates)[0]),
        between_riders=float(np.sqrt(np.asarray(fit.cov_re)[0, 0])) if mixed else float("nan"),
        rider_by_level=float(np.sqrt(fit.vcomp[0])) if mixed and len(fit.vcomp) else float("nan"),
        residual=float(np.sqrt(fit.scale)),
        riders=int(data["rider"].nunique()),
        trials=len(data),
        model=words if means is None else f"{words}; riders' means tested, as {AT_ZERO_WORDS}",
    )


def _unknown(level: str, baseline: str, data: pandas.DataFrame, why: str) -> Contrast:
    nan = float("nan")
    riders = int(data["rider"].nunique())
    return Contrast(
        level, baseline, nan, nan, 0, nan, nan, nan, nan, nan, nan, nan, riders, len(data), "none", False, why
    )

"""Measured repeats against a printed example, a general statistics package and the laws of normal samples."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest

from jointload.analysis import Analysis
from jointload.errors import SettingError
from jointload.uncertainty.repeats import (
    MODELS,
    judge_change,
    minimal_detectable_change,
    own_variation,
    reliability,
    repeated_values,
)

SHROUT_FLEISS = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], dtype=float
)
"""Six persons rated by four judges: Shrout PE, Fleiss JL (1979) Psychol Bull 86:420-428, Table 2 (from memory)."""
PRINTED = {"ICC(1,1)": 0.17, "ICC(2,1)": 0.29, "ICC(3,1)": 0.71, "ICC(1,k)": 0.44, "ICC(2,k)": 0.62, "ICC(3,k)": 0.91}
"""Their Table 4 (from memory)."""
HALF_DIGIT = 0.005


@pytest.mark.parametrize("form", PRINTED)
def test_the_printed_example(form: str) -> None:
    found = reliability(SHROUT_FLEISS).icc[form]
    assert abs(found.value - PRINTED[form]) <= HALF_DIGIT
    assert found.low < found.value < found.high
    assert found.model == MODELS[form]


def test_a_general_statistics_package_agrees() -> None:
    """pingouin names the forms ICC1, ICC2, ICC3, ICC1k, ICC2k, ICC3k; its intervals are rounded to two digits."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pingouin = pytest.importorskip("pingouin", reason="pingouin is not installed: pip install '.[statistics]'")
    import pandas as pd

    rng = np.random.default_rng(5)
    for table in (SHROUT_FLEISS, rng.normal(size=(12, 1)) + 0.6 * rng.normal(size=(12, 5)) + 0.1 * np.arange(5)):
        n, k = table.shape
        frame = pd.DataFrame(
            {"rider": np.repeat(np.arange(n), k), "landing": np.tile(np.arange(k), n), "value": table.ravel()}
        )
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs = pingouin.intraclass_corr(frame, targets="rider", raters="landing", ratings="value")
        ours = reliability(table).icc
        interval = "CI95%" if "CI95%" in theirs.columns else "CI95"
        for row, form in zip(theirs.itertuples(index=False), PRINTED, strict=True):
            named = dict(zip(theirs.columns, row, strict=True))
            assert abs(named["ICC"] - ours[form].value) < 1e-6, form
            np.testing.assert_allclose(named[interval], (ours[form].low, ours[form].high), atol=0.0051, err_msg=form)


def test_one_way_analysis_of_variance_agrees() -> None:
    """scipy's F = B / W gives ICC(1,1) = (F - 1) / (F + k - 1)."""
    from scipy.stats import f_oneway

    ratio = f_oneway(*SHROUT_FLEISS).statistic
    assert reliability(SHROUT_FLEISS).icc["ICC(1,1)"].value == pytest.approx((ratio - 1.0) / (ratio + 3.0), rel=1e-12)


def test_known_components_are_found() -> None:
    """2000 riders with deviation 2 between and 1 within: ICC 0.8, SEM 1, MDC95 2.77."""
    rng = np.random.default_rng(1)
    table = 2.0 * rng.normal(size=(2000, 1)) + rng.normal(size=(2000, 4))
    found = reliability(table)
    for form in ("ICC(1,1)", "ICC(2,1)", "ICC(3,1)"):
        assert abs(found.icc[form].value - 0.8) < 0.015
    assert abs(found.within_sd - 1.0) < 0.02
    assert abs(found.sem - 1.0) < 0.04
    assert found.mdc95 == pytest.approx(1.96 * np.sqrt(2.0) * found.sem)


def test_a_trend_is_error_for_agreement_and_not_for_consistency() -> None:
    rng = np.random.default_rng(2)
    table = rng.normal(size=(40, 1)) + 0.2 * rng.normal(size=(40, 4)) + np.arange(4)
    found = reliability(table, "ICC(2,1)")
    assert found.icc["ICC(3,1)"].value > 0.9 > 0.6 > found.icc["ICC(2,1)"].value
    assert found.sem > 2.0 * reliability(table, "ICC(3,1)").sem


def test_intervals_of_the_correlation_hold_it() -> None:
    """1000 samples of ten riders: the 95 % intervals hold the true 0.8 in 93 to 97 of 100 (three standard errors)."""
    rng = np.random.default_rng(3)
    for form in ("ICC(1,1)", "ICC(2,1)", "ICC(3,1)"):
        held = []
        for _ in range(1000):
            one = reliability(2.0 * rng.normal(size=(10, 1)) + rng.normal(size=(10, 4))).icc[form]
            held.append(one.low <= 0.8 <= one.high)
        assert 0.93 <= np.mean(held) <= 0.97, form


def test_a_riders_own_variation() -> None:
    """Closed form: 1, 2, 3 have mean 2, deviation 1, and Student's t of two degrees of freedom is 4.303 (tables)."""
    found = own_variation([1.0, 2.0, np.nan, 3.0])
    assert (found.count, found.mean, found.sd) == (3, 2.0, 1.0)
    assert found.high - found.mean == pytest.approx(4.303 / np.sqrt(3.0), abs=1e-3)


def test_a_change_is_judged_against_the_riders_own_variation() -> None:
    """The same shift is seen in a steady rider and not in an unsteady one; scipy's t interval agrees."""
    from scipy.stats import ttest_ind

    before, after = np.array([1.0, 1.2, 0.9, 1.1]), np.array([1.6, 1.5, 1.8, 1.4, 1.7])
    found = judge_change(before, after)
    interval = ttest_ind(after, before).confidence_interval(0.95)
    np.testing.assert_allclose((found.low, found.high), (interval.low, interval.high))
    assert found.distinguishable
    unsteady = judge_change(before.mean() + 6 * (before - before.mean()), after.mean() + 6 * (after - after.mean()))
    assert unsteady.change == pytest.approx(found.change) and not unsteady.distinguishable
    assert judge_change(before, after, remounted=0.5).distinguishable is False


def test_false_alarms_are_rare() -> None:
    """Two conditions without a difference, four landings each: seen as different in 5 of 100 (3 to 7 by chance)."""
    rng = np.random.default_rng(4)
    seen = [judge_change(rng.normal(size=4), rng.normal(size=4)).distinguishable for _ in range(1000)]
    assert 0.03 < np.mean(seen) < 0.07


def test_minimal_detectable_change() -> None:
    assert minimal_detectable_change(1.0) == pytest.approx(2.7718585)


def test_too_few_landings_are_told() -> None:
    with pytest.raises(
        SettingError, match="expected 3 landings or more that give this number, found 2 in one condition"
    ):
        own_variation([1.0, 2.0, np.nan])
    with pytest.raises(SettingError, match="found 2 in the condition after"):
        judge_change([1.0, 2.0, 3.0], [1.0, 2.0])
    with pytest.raises(SettingError, match=r"found a table of shape \(1, 4\)"):
        reliability([[1.0, 2.0, 3.0, 4.0]])
    with pytest.raises(SettingError, match=r"expected one of ICC\(1,1\), .* found 'ICC'"):
        reliability(SHROUT_FLEISS, "ICC")


def test_values_are_collected_over_landings(flat: Analysis) -> None:
    unknown = tuple(replace(m, value=np.nan) if m.quantity == "knee_flexion_peak" else m for m in flat.measures)
    found = repeated_values([flat, replace(flat, measures=unknown), flat])
    assert found["knee_flexion_peak", "right"].size == 2
    assert found["vertical_force_peak", "left"].size == 3
    assert ("first_contact_zone", "right") not in found

"""Effect sizes, equivalence and many tests at once, against general statistics packages."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas
import pytest
from made_study import made_numbers as study
from scipy import stats
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from jointload.study.effects import (
    POWER,
    benjamini_hochberg,
    effect_size,
    equivalence_p,
    hedges_g,
    holm,
    paired_size,
    riders_to_decide,
)
from jointload.study.mixed import Contrast, contrasts

BH_1995 = (
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0
)  # fmt: skip
"""Benjamini and Hochberg (1995) J R Stat Soc B 57:289-300, the 15 comparisons of their example (from memory)."""


def test_the_example_of_benjamini_and_hochberg() -> None:
    """Four are rejected with the false discovery rate held, three with Holm (from memory)."""
    assert sum(p <= 0.05 for p in benjamini_hochberg(BH_1995)) == 4
    assert sum(p <= 0.05 for p in holm(BH_1995)) == 3


def test_a_p_that_is_not_known_stays_so_and_counts_for_nothing() -> None:
    assert holm([0.01, float("nan"), 0.04]) == pytest.approx([0.02, float("nan"), 0.04], nan_ok=True)
    assert np.isnan(holm([float("nan")])).all() and holm([]) == []


def test_equivalence_is_two_one_sided_tests() -> None:
    data = study(12, 2, effect=0.1)
    (found,) = contrasts(data, ["flat", "wedge"])
    means = data.groupby(["rider", "level"])["value"].mean().unstack()
    for margin in (0.3, 0.8, 2.0):
        wanted = ttost_paired(means["wedge"].to_numpy(), means["flat"].to_numpy(), -margin, margin)[0]
        assert equivalence_p(found, margin) == pytest.approx(wanted, rel=1e-3)
    assert np.isnan(equivalence_p(found, float("nan")))


def test_equivalence_between_groups() -> None:
    data = study(12, 1)
    data = data[(data["level"] == "flat") == (data["rider"].str[1:].astype(int) < 6)]
    (found,) = contrasts(data, ["flat", "wedge"])
    first, second = (data.loc[data["level"] == level, "value"].to_numpy() for level in ("flat", "wedge"))
    assert equivalence_p(found, 1.5) == pytest.approx(ttost_ind(second, first, -1.5, 1.5)[0])


def test_sizes_by_hand() -> None:
    """d_z of 1, 2, 3 is 2; Hedges' g of (0, 2) and (3, 5): difference 3 over root 2, times 1 - 3 / 7."""
    assert paired_size(np.array([1.0, 2.0, 3.0])).value == pytest.approx(2.0)
    assert hedges_g(np.array([0.0, 2.0]), np.array([3.0, 5.0])).value == pytest.approx(3 / np.sqrt(2) * (1 - 3 / 7))


def test_intervals_of_an_effect_size_hold_the_true_one() -> None:
    """400 seeded samples each; the binomial's 99 % range about 95 % of 400 is 368 to 391."""
    rng = np.random.default_rng(4)
    paired = [paired_size(0.7 + rng.standard_normal(10)) for _ in range(400)]
    grouped = [hedges_g(rng.standard_normal(9), 0.7 + rng.standard_normal(12)) for _ in range(400)]
    for sizes, true in ((paired, 0.7), (grouped, 0.7)):
        held = sum(size.low < true < size.high for size in sizes)
        assert stats.binomtest(held, 400, 0.95).pvalue > 0.01


def test_the_kind_of_size_follows_from_who_did_what() -> None:
    data = study(8, 2)
    assert effect_size(data, "flat", "wedge").kind == "d_z within riders"
    apart = data[(data["level"] == "flat") == (data["rider"] < "r4")]
    assert effect_size(apart, "flat", "wedge").kind == "Hedges g between riders"
    assert effect_size(study(2, 2), "flat", "wedge").kind == "none"
    same = pandas.DataFrame([(f"r{k}", level, 1.0) for k in range(4) for level in "ab"], columns=list(data))
    assert np.isnan(effect_size(same, "a", "b").value)


def test_a_far_out_effect_has_an_interval() -> None:
    size = paired_size(np.array([10.0, 10.1, 10.2]))
    assert np.isfinite([size.low, size.high]).all() and size.low < size.value < size.high


@pytest.mark.parametrize("size", [0.4, 0.8, 1.5])
def test_riders_that_would_decide_are_those_of_a_t_test(size: float) -> None:
    """Against a general statistics package, within the one rider that rounding up makes."""
    from statsmodels.stats.power import TTestIndPower, TTestPower

    seen, lacking = 12, 1
    error = 1.0 / np.sqrt(seen)
    paired = Contrast("b", "a", 0.1, error, seen - lacking, 0.0, 0.0, 0.5, 0.0, 0.0, 0.0, 0.0, seen, 24, "made")
    wanted = TTestPower().solve_power(effect_size=size, power=POWER, alpha=0.05)
    assert riders_to_decide(paired, size) == pytest.approx(np.ceil(wanted), abs=1)
    apart = Contrast("b", "a", 0.1, 2.0 * error, seen - 2, 0.0, 0.0, 0.5, 0.0, 0.0, 0.0, 0.0, seen, 12, "made")
    wanted = 2 * TTestIndPower().solve_power(effect_size=size, power=POWER, alpha=0.05)
    assert riders_to_decide(apart, size) == pytest.approx(np.ceil(wanted), abs=2)


@pytest.mark.parametrize("groups", [False, True])
def test_more_landings_need_fewer_riders_as_a_t_test_of_means_does(groups: bool) -> None:
    """Riders answer differently by 0.5 (between groups: differ by 0.5), landings by 0.6; 3 landings seen, 10 asked for:
    a rider's mean then spreads by the root of 0.25 + 0.36 / 10. Against a general statistics package."""
    from statsmodels.stats.power import TTestIndPower, TTestPower

    seen, one = 12, np.sqrt(0.25 + 0.36 / 3)
    error = one * (np.sqrt(2 / 6) if groups else np.sqrt(2 / seen))
    spreads = (0.5, float("nan"), 0.6) if groups else (1.0, 0.5, 0.6)
    lacking = 2 if groups else 1
    made = Contrast(
        "b",
        "a",
        0.1,
        error,
        seen - lacking,
        0.0,
        0.0,
        0.5,
        0.0,
        *spreads,
        seen,
        72,
        "made",
        repeated=True,
        landings=3.0,
    )
    size = 0.6 / np.sqrt(0.25 + 0.36 / 10)
    if groups:
        wanted = 2 * TTestIndPower().solve_power(effect_size=size, power=POWER, alpha=0.05)
    else:
        wanted = TTestPower().solve_power(effect_size=size / np.sqrt(2), power=POWER, alpha=0.05)
    assert riders_to_decide(made, 0.6, landings=10) == pytest.approx(np.ceil(wanted), abs=lacking)
    assert riders_to_decide(made, 0.6, landings=3) == riders_to_decide(made, 0.6) > riders_to_decide(made, 0.6, 10)
    assert np.isnan(riders_to_decide(replace(made, repeated=False), 0.6, landings=10))


def test_riders_that_would_decide_are_not_made_up() -> None:
    (found,) = contrasts(study(12, 2), ["flat", "wedge"])
    assert np.isnan(riders_to_decide(found, float("nan")))
    assert np.isinf(riders_to_decide(found, 1e-4 * found.error))

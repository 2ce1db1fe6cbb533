"""Permutation of curves against published exact counts, a general package, random-field theory and simulations."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import optimize, stats
from scipy.ndimage import gaussian_filter1d

from jointload.study.permutation import MOST_PERMUTATIONS, labels_between, labels_within, sign_flip

MAIZE = np.array([49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48], dtype=float)
"""Darwin's 15 pairs of maize, crossed minus self-fertilised [1/8 inch]: Fisher (1935) The Design of Experiments, 21
(from memory; the sum is 314)."""
POINTS = 101


def smooth(rng: np.random.Generator, curves: int, width: float = 20.0) -> np.ndarray:
    """Gaussian noise of unit variance whose full width at half maximum is `width` points."""
    sigma = width / np.sqrt(8 * np.log(2))
    margin = int(6 * sigma)
    noise = gaussian_filter1d(rng.standard_normal((curves, POINTS + 2 * margin)), sigma, axis=1, mode="constant")
    return noise[:, margin:-margin] * np.sqrt(2 * sigma * np.sqrt(np.pi))


def test_fishers_count_of_darwins_maize() -> None:
    """863 of 32768 labellings give a sum of 314 or more (Fisher 1935, from memory); both ends are 1726."""
    found = sign_flip(MAIZE[:, None])
    assert MAIZE.sum() == 314 and found.exact and found.permutations == 2**14
    assert round(found.p * 2**15) == 2 * 863
    assert found.t[0] == pytest.approx(2.148, abs=5e-4)


def test_one_point_is_scipys_permutation_test() -> None:
    rng = np.random.default_rng(2)
    differences, curves = rng.standard_normal(9) + 0.5, rng.standard_normal(11)
    second = np.arange(11) >= 6
    signs = stats.permutation_test((differences,), np.mean, permutation_type="samples", n_resamples=np.inf)
    assert sign_flip(differences[:, None]).p == pytest.approx(signs.pvalue)

    def t(x: np.ndarray, y: np.ndarray) -> float:
        return float(abs(stats.ttest_ind(y, x).statistic))

    labels = stats.permutation_test((curves[~second], curves[second]), t, alternative="greater", n_resamples=np.inf)
    assert labels_between(curves[:, None], second).p == pytest.approx(labels.pvalue)
    one_rider = labels_within(curves[:, None], np.zeros(11), second)
    assert one_rider.p == pytest.approx(labels.pvalue) and one_rider.exact


def test_labels_within_riders_by_going_through_all() -> None:
    """Two riders, three landings each: 9 labellings, each statistic computed the long way."""
    rng = np.random.default_rng(3)
    values, rider = rng.standard_normal(6), np.array([0, 0, 0, 1, 1, 1])
    second = np.array([True, False, False, True, True, False])

    def statistic(labels: np.ndarray) -> float:
        means, within, spread = [], 0.0, 0.0
        for r in (0, 1):
            a, b = values[(rider == r) & ~labels], values[(rider == r) & labels]
            means.append(b.mean() - a.mean())
            within += ((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()
            spread += (1 / len(a) + 1 / len(b)) / 4
        return float(np.mean(means) / np.sqrt(within / 2 * spread))

    every = []
    for one in itertools.combinations((0, 1, 2), 1):
        for two in itertools.combinations((3, 4, 5), 2):
            labels = np.isin(np.arange(6), one + two)
            every.append(abs(statistic(labels)))
    found = labels_within(values[:, None], rider, second)
    assert found.permutations == len(every) == 9
    assert found.t[0] == pytest.approx(statistic(second))
    assert found.p == pytest.approx(np.mean(np.array(every) >= abs(statistic(second)) - 1e-9))


def random_field_threshold(share: float, df: int, width: float, points: int = POINTS) -> float:
    """One-sided threshold of a smooth t curve: Worsley et al. (1996) Hum Brain Mapp 4:58-73, in one dimension."""

    def excess(t: float) -> float:
        ends = (points - 1) / width * np.sqrt(4 * np.log(2)) / (2 * np.pi) * (1 + t * t / df) ** (-(df - 1) / 2)
        return float(stats.t.sf(t, df) + ends - share)

    return float(optimize.brentq(excess, 1.0, 50.0))


def test_the_threshold_is_that_of_random_field_theory() -> None:
    """9 degrees of freedom, width 20: 3.438 one-sided (computed elsewhere; its own Monte Carlo quantile was 3.397, so
    the theory is 1 % safe). The mean over 40 data sets of 10 riders comes within 5 %."""
    assert random_field_threshold(0.05, 9, 20.0) == pytest.approx(3.438, abs=5e-4)
    rng = np.random.default_rng(5)
    found = np.mean([sign_flip(smooth(rng, 10)).threshold for _ in range(40)])
    assert found == pytest.approx(random_field_threshold(0.025, 9, 20.0), rel=0.05)


@pytest.mark.parametrize("scheme", ["sign_flip", "labels_between", "labels_within"])
def test_false_alarms_along_the_curve_are_as_many_as_promised(scheme: str) -> None:
    """3 to 7 % of 400 seeded studies without an effect; a test at each point by itself would give over 20 %."""
    rng = np.random.default_rng(6)
    alarms, single = 0, 0
    for _ in range(400):
        if scheme == "sign_flip":
            found, df = sign_flip(smooth(rng, 8)), 7
        elif scheme == "labels_between":
            found, df = labels_between(smooth(rng, 8), np.arange(8) >= 4), 6
        else:
            own = np.repeat(smooth(rng, 3), 4, axis=0)
            found, df = labels_within(own + smooth(rng, 12), np.arange(12) // 4, np.arange(12) % 4 >= 2), 6
        assert bool(found.stretches) == (found.p <= 0.05)
        alarms += bool(found.stretches)
        single += bool((np.abs(found.t) > stats.t.isf(0.025, df)).any())
    assert 0.03 <= alarms / 400 <= 0.07 and single / 400 > 0.1


def test_an_effect_is_found_where_it_is() -> None:
    rng = np.random.default_rng(7)
    bump = 2.5 * np.exp(-0.5 * ((np.arange(POINTS) - 60) / 6) ** 2)
    found = sign_flip(smooth(rng, 12) + bump)
    assert len(found.stretches) == 1
    assert 50 <= found.stretches[0].first <= found.stretches[0].peak <= found.stretches[0].last <= 72
    assert found.stretches[0].p == found.p < 0.01


def test_many_riders_are_drawn_with_a_seed() -> None:
    curves = smooth(np.random.default_rng(8), 20)
    first, again, other = sign_flip(curves), sign_flip(curves), sign_flip(curves, seed=2)
    assert not first.exact and first.permutations == MOST_PERMUTATIONS and first.smallest_p == 1 / MOST_PERMUTATIONS
    assert (first.p, first.threshold) == (again.p, again.threshold)
    assert first.threshold == pytest.approx(other.threshold, rel=0.03)
    for scheme in (
        labels_between(curves, np.arange(20) >= 9),
        labels_within(curves, np.arange(20) % 2, np.arange(20) >= 9),
    ):
        assert not scheme.exact and 1 / MOST_PERMUTATIONS <= scheme.p <= 1


def test_turning_the_sign_or_the_unit_changes_no_p() -> None:
    curves = smooth(np.random.default_rng(9), 10) + 0.7
    assert sign_flip(-180 * curves).p == sign_flip(curves).p
    shifted = labels_between(curves + 1e4, np.arange(10) >= 5)
    assert shifted.p == labels_between(curves, np.arange(10) >= 5).p


def test_few_riders_cannot_reach_five_percent_and_equal_curves_say_nothing() -> None:
    found = sign_flip(np.ones((3, POINTS)) + 0.01 * smooth(np.random.default_rng(1), 3))
    assert found.smallest_p == 0.25 and found.p == 0.25 and not found.stretches
    assert sign_flip(np.zeros((8, POINTS))).p == 1.0 and not sign_flip(np.zeros((8, POINTS))).stretches

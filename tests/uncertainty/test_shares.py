"""What each input makes of a variance: known where the answer is a sum, and the same as by drawing the input alone."""

from __future__ import annotations

import numpy as np
import pytest

from jointload.analysis import Analysis
from jointload.landing.certainty import variance_of
from jointload.uncertainty.draws import FEW, Streams
from jointload.uncertainty.intervals import FEWEST_REGRESSED
from jointload.uncertainty.pour import pour
from jointload.uncertainty.shares import regressed_variances
from jointload.uncertainty.spreads import load_sources

KEY = ("made up", "")
DRAWS, SEEDS = 400, 40
EVEN = ("unexplained_force", "l5s1_moment_disagreement")
"""Root mean squares of what should be nothing: numbers of one input act there by their products, which no sum has."""


def _sum_of(seed: int) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """y = 2 x1 + x2 + noise of size 2, and a third input of 50 numbers that does nothing: variances 4, 1, 0 of 9."""
    rng = np.random.default_rng(seed)
    numbers = {"first": rng.normal(size=(1, DRAWS)), "second": rng.normal(size=(4, DRAWS)) / 2.0}
    numbers["idle"] = rng.normal(size=(50, DRAWS))
    values = 2.0 * numbers["first"][0] + numbers["second"].sum(axis=0) + 2.0 * rng.normal(size=DRAWS)
    return values, numbers


def test_a_sum_is_taken_apart_without_bias() -> None:
    """The closed form of a sum: 40 samples of 400 draws, each mean within four of its own standard errors."""
    found: dict[str, list[float]] = {"first": [], "second": [], "idle": []}
    for seed in range(SEEDS):
        values, numbers = _sum_of(seed)
        for name, variance in regressed_variances({KEY: values}, numbers).items():
            found[name].append(variance[KEY])
    for name, true in (("first", 4.0), ("second", 1.0)):
        error = np.std(found[name]) / np.sqrt(SEEDS)
        assert abs(np.mean(found[name]) - true) < 4.0 * error
        assert error < 0.1 * true
    assert np.mean(found["idle"]) < 2.0 * np.sqrt(2.0 * 50) / DRAWS * 4.0


def test_what_is_exactly_one_input_is_wholly_its_own() -> None:
    _, numbers = _sum_of(0)
    found = regressed_variances({KEY: 3.0 * numbers["first"][0]}, numbers)
    assert found["first"][KEY] == pytest.approx(9.0 * np.var(numbers["first"], ddof=1), rel=1e-9)
    assert found["idle"][KEY] < 1e-12 and found["second"][KEY] < 1e-12


def test_draws_that_do_not_give_the_number_are_left_out_and_too_few_tell_nothing() -> None:
    values, numbers = _sum_of(1)
    some, few = values.copy(), values.copy()
    some[:40], few[: DRAWS - 60] = np.nan, np.nan
    cut = {name: rows[:, 40:] for name, rows in numbers.items()}
    found = regressed_variances({KEY: some, ("few", ""): few}, numbers)
    assert found["first"][KEY] == pytest.approx(regressed_variances({KEY: values[40:]}, cut)["first"][KEY])
    assert np.isnan(found["first"]["few", ""])
    assert regressed_variances({KEY: np.full(DRAWS, 7.0)}, numbers)["first"][KEY] == 0.0


def test_shares_agree_with_each_input_drawn_alone(flat: Analysis) -> None:
    """Over all numbers of a landing, and over those that an input makes most of. 400 draws together tell a share within
    0.05 or so (see `regressed_variances`), 60 draws of the input alone within a fifth of itself, and the numbers of one
    landing share these draws, so that their mean errs as each does."""
    sources, streams = load_sources(), Streams.of(flat.session, 0)
    poured = pour(flat.session, flat.landing, sources, streams, FEWEST_REGRESSED)
    samples = {
        key: values for key, values in poured.samples.items() if np.isfinite(values).all() and key[0] not in EVEN
    }
    total = {key: variance_of(values) for key, values in samples.items() if variance_of(values) > 0.0}
    found, large = regressed_variances(poured.samples, poured.numbers), []
    for name in FEW:
        alone = pour(flat.session, flat.landing, {name: sources[name]}, streams, 60).samples
        pairs = np.array([(found[name][key] / total[key], variance_of(alone[key]) / total[key]) for key in total])
        assert abs(np.subtract(*pairs.mean(axis=0))) < 0.05, name
        assert np.median(np.abs(np.subtract(*pairs.T))) < 0.06, name
        large.append(pairs[pairs.mean(axis=1) > 0.3])
    together, drawn_alone = np.concatenate(large).T
    assert together.size > 30
    assert np.median(np.abs(together / drawn_alone - 1.0)) < 0.25

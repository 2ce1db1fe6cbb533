"""How far a rider's landings differ goes into a dose: closed forms, and riders whose landings are known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from made_dose import exposures, knee, metrics

from jointload.report.study_pages.dose_page import render_dose
from jointload.report.study_pages.dose_words import dose_items
from jointload.study.scatter import Scatter, landing_scatter
from jointload.study.strain_dose import strain_dose

T_3, T_4 = 3.182446305284263, 2.7764451051977987
"""Student's t at 97.5 % for three and four degrees of freedom, from a printed table."""


def loads(rows: list[tuple[str, float, float]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["rider", "height", "value"])


def test_scatter_is_pooled_over_riders_and_classes_of_heights() -> None:
    """ln 1.1 to either side of a middle twice: squares 2 (ln 1.1)^2 each, a degree of freedom each. Heights are two
    classes, whose means differ twofold, and a landing from beyond them tells nothing."""
    works = (("low", 0.2, 0.4, 30.0), ("high", 0.4, 0.8, 10.0))
    pairs = [("a", 0.3, 1.0), ("a", 0.3, 1.21), ("a", 0.5, 2.0), ("a", 0.5, 2.42), ("b", 0.3, 5.0), ("b", 0.3, 6.05)]
    rows = [*exposures("a", works), *exposures("b", works)]
    found = landing_scatter(loads([*pairs, ("a", 1.5, 9.0), ("b", 0.5, 1.0), ("c", 0.3, 1.0)]), rows)
    assert found.freedom == 3
    assert found.sd == pytest.approx(np.log(1.1) * np.sqrt(2.0))


def test_a_landing_that_fits_two_rows_counts_once() -> None:
    works = (("one", 0.2, 0.6, 30.0), ("other", 0.2, 0.6, 10.0))
    assert landing_scatter(loads([("a", 0.3, 1.0), ("a", 0.4, 1.2)]), exposures("a", works)).freedom == 1


def test_the_half_interval_of_landings_that_count_alike_is_that_of_a_mean() -> None:
    assert Scatter(0.1, 3).half(np.full(4, 7.0)) == pytest.approx(T_3 * 0.1 / 2.0)
    assert Scatter(0.1, 3).half(np.array([5.0])) == pytest.approx(T_3 * 0.1)
    assert Scatter(0.1, 4).half(np.array([3.0, 1.0])) == pytest.approx(T_4 * 0.1 * np.sqrt(10.0) / 4.0)
    assert Scatter(0.0, 0).half(np.ones(1)) == 0.0


@pytest.mark.parametrize(("kind", "m"), [("linear", 1), ("fourth", 4), ("published", 8)])
def test_a_dose_holds_its_loads_interval_and_their_scatter_as_the_sides_of_a_right_angle(kind: str, m: int) -> None:
    """Two landings each of two riders, ln 1.1 to either side: s = ln 1.1 sqrt(2), two degrees of freedom, t 4.3027."""
    values = {"a": (1.0, 1.21), "b": (0.5, 0.605)}
    trials = [(f"{rider}{k}", rider, "flat", 0.4, 95, v) for rider, own in values.items() for k, v in enumerate(own)]
    found = strain_dose(metrics(trials), [*exposures("a"), *exposures("b")], "flat")
    got = knee(found, "doses", kind, rider="a", basis="impulse")
    powers = np.array(values["a"]) ** m
    half = m * 4.302652729911275 * np.log(1.1) * np.sqrt(2.0) * np.sqrt((powers**2).sum()) / powers.sum()
    for end, ratio in (("high", 1.2), ("low", 0.8)):
        away = np.hypot(m * np.log(ratio), half)
        told = np.log(float(str(got[end])) / float(str(got["dose"])))
        assert told == pytest.approx(away if end == "high" else -away)
        assert got[f"load_{end}"] == pytest.approx(got[end])
    assert found.repeated == 2 and got["exposure_low"] == got["exposure_high"] == got["dose"]


def test_landings_that_were_not_repeated_are_said() -> None:
    once = strain_dose(metrics([("x", "a", "flat", 0.4, 95, 1.0)]), exposures(), "flat")
    assert once.repeated == 0
    assert "how landings differ is not in these intervals" in render_dose("made up", once, dose_items(once, ()))[0]
    table = metrics([("x", "a", "flat", 0.4, 95, 1.0), ("y", "a", "flat", 0.4, 95, 1.1)])
    twice = strain_dose(table, exposures(), "flat")
    page = render_dose("made up", twice, dose_items(twice, ()))[0]
    assert "1 degree of freedom" in page and "not in these intervals; record several" not in page
    assert "Student's t" in dose_items(twice, ())["Intervals of the dose"]


@pytest.mark.parametrize("exponent", [1, 4, 8])
@pytest.mark.parametrize(("riders", "times"), [(1, 4), (6, 3), (20, 2)])
def test_intervals_hold_the_mean_of_all_landings(riders: int, times: int, exponent: int) -> None:
    """600 seeded riders whose landings scatter by 7 % about a mean of their own: their true sum of powers."""
    rng, held = np.random.default_rng([riders, times, exponent]), []
    rows = [row for rider in range(riders) for row in exposures(f"r{rider}")]
    for _ in range(600 // riders):
        level = np.exp(0.3 * rng.standard_normal(riders))
        values = level[:, None] * np.exp(0.07 * rng.standard_normal((riders, times)))
        table = loads([(f"r{rider}", 0.4, v) for rider in range(riders) for v in values[rider]])
        scatter = landing_scatter(table, rows)
        for rider in range(riders):
            powers = values[rider] ** exponent
            half = exponent * scatter.half(powers)
            true = exponent * np.log(level[rider]) + 0.5 * (exponent * 0.07) ** 2
            held.append(abs(np.log(powers.mean()) - true) <= half)
    assert 0.92 <= np.mean(held) <= 0.98, np.mean(held)

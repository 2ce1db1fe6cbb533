"""A landing beside the rider's earlier ones: alarms of riders who do not change, drifts that are there, and how many
landings make a change visible, against general statistics."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from jointload.day.rider.repeats import (
    ALARMS,
    beside_earlier,
    drifts,
    five_numbers,
    further_landings,
    is_outlier,
    wanted_cells,
)
from jointload.settings import Settings
from jointload.study.effects import landings_to_decide
from jointload.study.plan import Plan

NUMBERS = 10
STUDIES = 1500
SLACK = 3.5 * math.sqrt(ALARMS * (1 - ALARMS) / STUDIES)
"""Three and a half standard errors of a share of so many simulated riders."""


@pytest.mark.parametrize("landings", [3, 6, 12])
def test_a_rider_who_does_not_change_is_seldom_an_outlier(landings: int) -> None:
    rng = np.random.default_rng(landings)
    drawn = rng.standard_normal((STUDIES, NUMBERS, landings + 1))
    alarms = [any(is_outlier(one[-1], one[:-1], ALARMS / NUMBERS) for one in rider) for rider in drawn]
    assert abs(np.mean(alarms) - (1 - (1 - ALARMS / NUMBERS) ** NUMBERS)) < SLACK


@pytest.mark.parametrize("landings", [4, 6, 12])
def test_a_rider_who_does_not_change_seldom_drifts(landings: int) -> None:
    rng = np.random.default_rng(landings)
    drawn = rng.standard_normal((STUDIES, NUMBERS, landings))
    alarms = [any(drifts(one, ALARMS / NUMBERS) for one in rider) for rider in drawn]
    assert abs(np.mean(alarms) - (1 - (1 - ALARMS / NUMBERS) ** NUMBERS)) < SLACK


def test_a_drift_is_judged_as_a_regression_judges_it() -> None:
    from scipy.stats import linregress

    rng = np.random.default_rng(5)
    for _ in range(50):
        series = rng.standard_normal(6) + rng.uniform(-1, 1) * np.arange(6)
        p = linregress(np.arange(6), series).pvalue
        assert drifts(series, 0.02) == (p < 0.02)


def test_a_drift_is_seen_as_often_as_its_power_says() -> None:
    """Noncentral t of a slope b: noncentrality b sqrt(sum x^2) / sigma, by scipy."""
    from scipy.stats import nct, t

    slope, level = 1.5, ALARMS / NUMBERS
    power = float(nct.sf(t.isf(0.5 * level, 4), 4, slope * math.sqrt(17.5)))
    rng = np.random.default_rng(6)
    seen = [drifts(rng.standard_normal(6) + slope * np.arange(6), level) for _ in range(STUDIES)]
    assert power > 0.6 and abs(np.mean(seen) - power) < 3.5 * math.sqrt(power * (1 - power) / STUDIES)


def test_a_landing_far_away_is_an_outlier_from_three_landings_on() -> None:
    assert is_outlier(30.0, np.array([1.0, 2.0, 3.0]), ALARMS / NUMBERS)
    assert not is_outlier(30.0, np.array([1.0, 2.0]), ALARMS), "two landings tell no spread"


@pytest.mark.parametrize(("sd", "margin"), [(1.0, 1.0), (0.08, 0.1), (4.0, 5.0), (1.0, 3.0)])
def test_landings_to_decide_are_those_of_a_general_power_analysis(sd: float, margin: float) -> None:
    """Two samples of one size, two-sided 5 %, power 0.8: statsmodels' TTestIndPower."""
    from statsmodels.stats.power import TTestIndPower

    found = landings_to_decide(sd, margin)
    exact = TTestIndPower().solve_power(effect_size=margin / sd, alpha=0.05, power=0.8)
    assert found == max(2, math.ceil(exact - 1e-6))


def test_landings_to_decide_against_a_printed_table() -> None:
    """Cohen J (1992) Psychol Bull 112:155-159, table 2: two means, power 0.80, alpha 0.05, N a group 26 for d = 0.80
    (from memory)."""
    assert landings_to_decide(1.0, 0.8) == 26
    assert math.isinf(landings_to_decide(1.0, 0.2)), "393 in the table: nobody lands so often in a day"
    assert math.isnan(landings_to_decide(math.nan, 1.0)) and math.isnan(landings_to_decide(1.0, 0.0))


def test_what_lacks_is_what_is_needed_less_what_is_there() -> None:
    series = np.array([1.0, 2.0, 3.0, 2.0])
    need = landings_to_decide(float(series.std(ddof=1)), 1.0)
    assert further_landings(series, 1.0) == need - 4 > 0
    assert further_landings(series, 100.0) == 0.0
    assert math.isnan(further_landings(series, None)) and math.isnan(further_landings(series[:2], 1.0))


def landing(flexion: float | None, force: float = 2.5) -> list[dict[str, Any]]:
    def cell(number: float | None) -> dict[str, Any]:
        note = "" if number is not None else "the knee was hidden"
        return {"side": "right", "number": number, "value": f"{number}", "interval": "", "note": note}

    return [
        {"quantity": "knee_flexion_peak", "text": "peak knee flexion", "unit": "deg", "cells": [cell(flexion)]},
        {"quantity": "vertical_force_peak", "text": "peak vertical force", "unit": "BW", "cells": [cell(force)]},
    ]


WANTED = [("knee_flexion_peak", "right")]


def test_the_words_beside_a_landing() -> None:
    before = [landing(value) for value in (80.0, 82.0, 81.0, 80.5)]
    told = beside_earlier(landing(81.5), before, {"knee_flexion_peak": 5.0}, WANTED)
    cell = told["numbers"][0]["cells"][0]
    assert cell["earlier"] == [80.0, 82.0, 81.0, 80.5] and cell["earlier_text"] == "80.9 (4 landings, SD 0.85)"
    assert not told["outlier"]["is"] and told["settled"] == {"word": "settled", "text": "5 landings without a drift."}
    assert told["further"]["landings"] == 0
    far = beside_earlier(landing(120.0), before, {}, WANTED)
    assert far["outlier"]["is"] and "peak knee flexion right" in far["outlier"]["text"]
    assert far["further"] == {
        "landings": None,
        "quantity": "",
        "text": "study.toml names no smallest change of these numbers.",
    }


def test_an_unknown_number_is_left_out_and_never_zero() -> None:
    told = beside_earlier(
        landing(None), [landing(80.0), landing(None), landing(82.0)], {"knee_flexion_peak": 5.0}, WANTED
    )
    cell = told["numbers"][0]["cells"][0]
    assert cell["number"] is None and cell["note"] == "the knee was hidden" and not cell["outlier"]
    after = beside_earlier(landing(81.0), [landing(80.0), landing(None), landing(82.0)], {}, WANTED)
    assert after["numbers"][0]["cells"][0]["earlier"] == [80.0, 82.0]


def test_the_first_landing_of_a_condition_has_nothing_beside_it() -> None:
    told = beside_earlier(landing(81.0), [], {"knee_flexion_peak": 5.0}, WANTED)
    assert told["settled"]["text"] == "1 landing: 3 or more tell whether they settle."
    assert told["further"]["landings"] is None and told["variation"]["text"].startswith(
        "The own variation is known from 3"
    )


def test_five_numbers_are_the_studys_own_first() -> None:
    plan = Plan("a", "landing", Settings(), primary=("back_rearfoot_eversion_peak", "knee_over_ankle"))
    assert five_numbers(plan) == (
        "rearfoot_eversion_peak", "knee_over_ankle", "vertical_force_peak", "knee_adduction_moment_peak",
        "l5s1_extension_moment_peak",
    )  # fmt: skip
    assert wanted_cells(plan, "left") == (
        ("rearfoot_eversion_peak", "left"), ("knee_over_ankle", "right"), ("knee_over_ankle", "left"),
        ("knee_over_ankle", ""),
    )  # fmt: skip

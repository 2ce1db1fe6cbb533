"""Loads from heights that were not recorded: the mixed model against its own package, known riders, and in a dose."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from made_dose import exposures, knee, metrics
from scipy import stats

from jointload.study.heights import height_law
from jointload.study.strain_dose import strain_dose

Truth = dict[str, Callable[[float], float]]


def made_riders(seed: int, riders: int = 6, times: int = 3) -> tuple[pd.DataFrame, Truth]:
    """Landings from one to three of four heights each, and each rider's mean logarithm of the load: powers of height of
    their own, counted from a little above the ground, so that the law is not quite the model's. Rider 0: two low ones.
    """
    rng = np.random.default_rng(seed)
    rows, truth = [], Truth()
    for k in range(riders):
        level, power, above = rng.normal(0.0, 0.2), rng.normal(0.55, 0.15), rng.uniform(0.0, 0.1)
        truth[f"r{k}"] = lambda height, a=level, b=power, c=above: a + b * np.log(height + c)
        heights = rng.choice([0.2, 0.3, 0.45, 0.6], rng.integers(1, 4), replace=False) if k else (0.2, 0.3)
        for height in heights:
            rows += [(f"r{k}", height, np.exp(truth[f"r{k}"](height) + rng.normal(0, 0.08))) for _ in range(times)]
    return pd.DataFrame(rows, columns=["rider", "height", "value"]), truth


def test_a_rider_is_predicted_as_the_package_does_for_those_it_knows() -> None:
    """Fixed line and random effects of statsmodels' own fit by a formula, at each recorded height and beyond."""
    from statsmodels.formula.api import mixedlm

    data, _ = made_riders(2, riders=8)
    law = height_law(data)
    assert law is not None and law.slope > 0
    table = data.assign(x=np.log(data["height"]) - law.middle, y=np.log(data["value"]))
    model = mixedlm("y ~ x", table, groups="rider", re_formula="1", vc_formula={"cell": "0 + x"})
    fit = model.fit(reml=True, method="nm")
    for rider in ("r0", "r3"):
        level, slope = (float(each) for each in fit.random_effects[rider])
        for height in (0.2, 0.45, 0.9):
            x = np.log(height) - law.middle
            wanted = fit.fe_params["Intercept"] + level + (fit.fe_params["x"] + slope) * x
            assert law.predicted(rider, height)[0] == pytest.approx(wanted, abs=1e-6)


def test_intervals_hold_riders_whose_law_is_known() -> None:
    """14 studies of six riders, two riders at two heights each that they were not recorded from."""
    held = []
    for seed in range(14):
        data, truth = made_riders(seed)
        law = height_law(data)
        if law is not None:
            for rider in ("r0", "r1"):
                for height in (0.75, 0.9):
                    value, half = law.predicted(rider, height)
                    held.append(abs(value - truth[rider](height)) < half)
    assert len(held) > 40 and stats.binomtest(sum(held), len(held), 0.95).pvalue > 0.01


def test_more_of_a_riders_own_heights_narrow_the_prediction() -> None:
    data, _ = made_riders(4)
    own = data[data["rider"] == "r0"].assign(height=0.6, value=lambda d: 1.6 * d["value"])
    before, after = height_law(data), height_law(pd.concat([data, own]))
    assert before is not None and after is not None
    assert after.predicted("r0", 0.75)[1] < before.predicted("r0", 0.75)[1]


def test_too_few_riders_from_two_heights_give_no_law() -> None:
    data, _ = made_riders(4)
    assert height_law(data[data["rider"].isin(["r0", "r1"])]) is None
    assert height_law(data.groupby("rider").head(3)) is None, "one height each"
    law = height_law(data)
    assert law is not None and law.reaches(0.85) and not law.reaches(1.0)


def test_a_dose_takes_heights_that_were_not_recorded_from_the_law() -> None:
    """Riders whose load is the height's square root within 4 %: 60 landings at 0.85 m of rider a, recorded from 0.3 and
    0.5 m, are 60 times the load there within some per cent, with an interval that the load's own lies in."""
    rng = np.random.default_rng(3)
    trials = []
    for rider in "abcd":
        for height in (0.3, 0.5) if rider == "a" else (0.3, 0.6, 0.8):
            for k in range(2):
                load = np.sqrt(height) * np.exp(0.04 * rng.standard_normal())
                trials.append((f"{rider}{height}{k}", rider, "flat", height, 95.0, float(load)))
    table = metrics(trials, spread=0.05)
    mine = table["quantity"].isin(["tibiofemoral_medial_force_impulse", "knee_flexion_peak", "drop_height"])
    table = table[mine & (table["side"] != "left")]
    works = (("work", 0.8, 0.9, 30.0),)
    found = strain_dose(table, exposures("a", works), "flat")
    got = knee(found, "doses", "linear", basis="impulse")
    wanted = got["landings"] * np.sqrt(0.85) / got["reference"]
    assert got["known_landings"] == got["modelled_landings"] == 3000
    assert got["low"] < 0.95 * wanted < wanted < got["high"] and got["dose"] == pytest.approx(wanted, rel=0.1)
    assert "100 % of the landings are from heights not recorded" in str(got["note"])
    far = strain_dose(table, exposures("a", (("work", 1.4, 1.6, 30.0),)), "flat")
    assert np.isnan(knee(far, "doses", "linear", basis="impulse")["dose"])
    scaled = strain_dose(table, exposures("a", (("work", 1.4, 1.6, 30.0),)), "flat", scaled=True)
    assert "square root" in str(knee(scaled, "doses", "linear", basis="impulse")["note"])

"""Styles: found where there are some, denied where there are none, in words and with their numbers."""

from __future__ import annotations

import numpy as np
import pandas
import pytest
from scipy.stats import percentileofscore
from sklearn.metrics import silhouette_samples

from jointload.study.reference import percentiles
from jointload.study.styles import FEATURES, LEAST_CELLS, MAPPED, STABLE, feature_table, find_styles

TYPICAL = {
    "sole_angle_touchdown": (-10, 5), "knee_flexion_touchdown": (30, 5), "knee_flexion_peak": (85, 10),
    "time_to_peak": (60, 10), "trunk_lean_forward_touchdown": (10, 4), "trunk_lean_touchdown": (0, 3),
    "softness": (0.2, 0.25), "force_asymmetry_back_front": (0.1, 0.1), "hip_work_negative": (-1.0, 0.2),
    "knee_work_negative": (-1.5, 0.2), "ankle_work_negative": (-0.7, 0.1),
}  # fmt: skip
SOFT = ("knee_flexion_peak", "time_to_peak", "trunk_lean_forward_touchdown")


def landings(riders: int, apart: float, seed: int = 0, task: str = "drop") -> pandas.DataFrame:
    """One landing of each rider; every second one lands softer by `apart` standard deviations in three features."""
    rng = np.random.default_rng(seed)
    rows = []
    for rider in range(riders):
        for quantity, (middle, spread) in TYPICAL.items():
            shift = apart * (rider % 2) if quantity in SOFT else 0.0
            value = middle + spread * (rng.standard_normal() + shift)
            rows.append((f"r{rider:02d}", "", task, quantity, "back", value))
    return pandas.DataFrame(rows, columns=["rider", "style", "task", "quantity", "foot", "value"])


def test_two_made_styles_are_found_and_described() -> None:
    found = find_styles(landings(30, apart=5.0), "drop")
    assert found.labels is not None and found.fits is not None
    assert (found.labels == np.arange(30) % 2).sum() >= 28, "five standard deviations of three features of ten"
    assert found.null_p < 0.05 and min(found.stability) >= STABLE
    assert "late force peak" in found.words[1] and "deeper knee flexion" in found.words[1]
    assert "early force peak" in found.words[0] and "ms)" in found.words[0]
    assert (found.fits > 0).mean() > 0.9
    assert found.fits == pytest.approx(silhouette_samples(found.scores[:, :MAPPED], found.labels))


def test_one_cloud_holds_no_clusters_and_the_finding_says_so() -> None:
    found = find_styles(landings(30, apart=0.0, seed=3), "drop")
    assert found.labels is None and found.words == ()
    assert found.finding.startswith("these data hold no clusters") and "Riders differ by degrees" in found.finding
    assert found.scores.shape[0] == 30 and np.isfinite(found.cells["softness"]).all(), "continuous scores stand"


def test_the_same_data_give_the_same_styles() -> None:
    first, again = (find_styles(landings(12, apart=5.0), "drop") for _ in range(2))
    assert first.finding == again.finding and np.array_equal(first.scores, again.scores)


def test_components_are_those_of_the_standardised_features() -> None:
    """Scores are uncorrelated, their variances add up to that of the features, loadings are unit vectors."""
    found = find_styles(landings(LEAST_CELLS - 1, apart=1.0), "drop")
    standard = (found.features - found.features.mean()) / found.features.std(ddof=0)
    assert found.scores == pytest.approx(standard.to_numpy() @ found.loadings.T)
    covariance = np.cov(found.scores.T, ddof=0)
    assert covariance == pytest.approx(np.diag(np.diag(covariance)), abs=1e-9)
    assert np.trace(covariance) == pytest.approx(found.features.shape[1])
    assert found.labels is None and "too few to look for clusters" in found.finding


def test_a_style_stays_in_its_task() -> None:
    both = pandas.concat([landings(30, 5.0), landings(30, 0.0, seed=3, task="step")])
    assert find_styles(both, "drop").labels is not None
    assert find_styles(both, "step").labels is None


def test_work_is_compared_by_logarithms_of_ratios() -> None:
    """Doubling all work changes no share; doubling the hip's alone adds log 2 to hip over ankle."""
    numbers = landings(1, 0.0)
    double = numbers.assign(
        value=numbers["value"].where(~numbers["quantity"].str.contains("work"), 2 * numbers["value"])
    )
    hip = numbers.assign(value=numbers["value"].where(numbers["quantity"] != "hip_work_negative", 2 * numbers["value"]))
    base, doubled, hips = (feature_table(n).iloc[0] for n in (numbers, double, hip))
    shares = ["hip_to_ankle_work", "knee_to_others_work"]
    assert doubled[shares].to_numpy() == pytest.approx(base[shares].to_numpy())
    assert hips["hip_to_ankle_work"] - base["hip_to_ankle_work"] == pytest.approx(np.log(2))
    assert list(base.index) == [feature.name for feature in FEATURES]


def test_riders_without_features_are_left_out_not_guessed() -> None:
    numbers = landings(14, 1.0)
    numbers.loc[(numbers["rider"] == "r03") & (numbers["quantity"] == "time_to_peak"), "value"] = np.nan
    found = find_styles(numbers, "drop")
    assert "r03" not in set(found.cells["rider"]) and len(found.cells) == 13
    assert find_styles(numbers.iloc[:0], "drop").finding.startswith("too few riders")


def test_percentiles_are_among_the_others() -> None:
    values = [3.0, 1.0, 2.0, 5.0, 4.0]
    numbers = pandas.DataFrame(
        [(f"r{k}", "force", "N", v + d) for k, v in enumerate(values) for d in (-0.1, 0.1)],
        columns=["rider", "name", "unit", "value"],
    )
    table = percentiles(numbers).set_index("rider")
    assert table["percentile"].to_dict() == {"r0": 50.0, "r1": 0.0, "r2": 25.0, "r3": 100.0, "r4": 75.0}
    assert set(table["reference_n"]) == {4} and table.loc["r0", "median"] == 3.0
    assert table.loc["r4", "percentile"] == percentileofscore([3.0, 1.0, 2.0, 5.0], 4.0, kind="mean")
    assert "few riders: steps of 25 %" in table.loc["r0", "note"]

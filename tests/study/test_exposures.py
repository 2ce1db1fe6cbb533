"""Ranges of an exposure table and counted landings: triangles of a reference library, hand values, coverage, faults."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_dose import HEAD, knee, metrics
from scipy.stats import triang

from jointload.errors import StudyError
from jointload.report.study_pages.dose_answers import what_decides
from jointload.study.exposures import DRAWS, Exposure, drawn_exposures, read_exposures
from jointload.study.strain_dose import Dose, strain_dose

ONE_DRAW = 2.0 / DRAWS
"""Share of a range between neighbouring draws, doubled for both neighbours."""


def row(**ranges: tuple[float, float]) -> Exposure:
    """30 landings, twice a week, 10 weeks, 5 years: 3000, from 0.2 to 0.6 m; a range's number in its middle."""
    sure = Exposure("a", "work", 0.2, 0.6, 30.0, 2.0, 10.0, 5.0)
    return replace(sure, **{name: sum(ends) / 2 for name, ends in ranges.items()}, ranges=ranges)


def dose(*rows: Exposure, load: float = 1.0) -> Dose:
    return strain_dose(metrics([("x", "a", "flat", 0.4, 95, load)]), rows, "flat")


def ends_of(low: float, high: float) -> np.ndarray:
    """2.5 and 97.5 % of a triangle with its top in the middle, by a general reference library."""
    return np.asarray(triang(0.5, low, high - low).ppf([0.025, 0.975]))


# ranges


@pytest.mark.parametrize(("kind", "exponent"), [("linear", 1), ("published", 8)])
def test_a_range_of_landings_goes_into_the_interval_with_the_loads(kind: str, exponent: int) -> None:
    """20 to 60 landings a session: dose 4000, ends 100 times those of the triangle; loads within 0.8 and 1.2 beside."""
    got = knee(dose(row(landings_per_session=(20.0, 60.0))), "doses", kind, basis="impulse")
    ends = 100 * ends_of(20, 60)
    assert got["dose"] == pytest.approx(4000)
    np.testing.assert_allclose([got["exposure_low"], got["exposure_high"]], ends, rtol=40 * ONE_DRAW / 20)
    np.testing.assert_allclose([got["load_low"], got["load_high"]], [4000 * 0.8**exponent, 4000 * 1.2**exponent])
    np.testing.assert_allclose(
        [got["low"], got["high"]], ends * [0.8**exponent, 1.2**exponent], rtol=40 * ONE_DRAW / 20
    )


def test_years_and_weeks_that_are_unsure_multiply() -> None:
    """Two independent triangles against a million draws of the reference library."""
    got = knee(dose(row(years=(3.0, 7.0), weeks_per_year=(5.0, 15.0))), "doses", "linear", basis="impulse")
    rng = np.random.default_rng(3)
    draws = 60 * triang(0.5, 3, 4).rvs(10**6, random_state=rng) * triang(0.5, 5, 10).rvs(10**6, random_state=rng)
    np.testing.assert_allclose([got["low"], got["high"]], np.quantile(draws, (0.025, 0.975)) * [0.8, 1.2], rtol=0.05)


@pytest.mark.parametrize(("kind", "exponent"), [("linear", 1), ("fourth", 4)])
def test_a_height_moves_the_load_by_its_root(kind: str, exponent: int) -> None:
    """Force with the root of the height (Niu et al. 2014): the middle between 0.1 to 0.3 and 0.5 to 0.7 m, both ends
    moving together, is 0.3 to 0.5 m; to the power of m / 2."""
    got = knee(dose(row(from_m=(0.1, 0.3), to_m=(0.5, 0.7))), "doses", kind, basis="impulse")
    expected = 3000 * (ends_of(0.3, 0.5) / 0.4) ** (exponent / 2)
    np.testing.assert_allclose([got["exposure_low"], got["exposure_high"]], expected, rtol=0.01)


def test_activities_of_one_rider_err_together_and_their_shares_do_not() -> None:
    rows = [replace(row(landings_per_session=(20.0, 60.0)), activity=name) for name in ("one", "two")]
    found = dose(*rows)
    got = knee(found, "doses", "linear", basis="impulse")
    np.testing.assert_allclose([got["exposure_low"], got["exposure_high"]], 200 * ends_of(20, 60), rtol=0.01)
    share = knee(found, "shares", "linear", by="activity", name="one")
    assert share["low"] == pytest.approx(0.5) and share["high"] == pytest.approx(0.5)
    unlike = dose(rows[0], replace(row(), activity="two"))
    share = knee(unlike, "shares", "linear", by="activity", name="one")
    low, high = 100 * ends_of(20, 60)
    np.testing.assert_allclose([share["low"], share["high"]], [low / (low + 3000), high / (high + 3000)], rtol=0.01)


def test_without_a_range_nothing_is_drawn_and_with_a_narrow_one_hardly_anything_moves() -> None:
    assert drawn_exposures([row()]) is None
    sure, narrow = (dose(each).doses for each in (row(), row(years=(5.0 - 1e-9, 5.0 + 1e-9))))
    for before, after in zip(sure, narrow, strict=True):
        for name in ("dose", "low", "high"):
            assert after[name] == pytest.approx(before[name], rel=1e-8)


def test_what_matters_most_is_told_with_its_size() -> None:
    """Loads 1.5^2 = 2.2 times in the feet to 1.5^8 = 26 times in the knee, exposure 1.5 times by the reference library;
    all exponents alike at the mean load."""
    (told,) = what_decides(dose(row(landings_per_session=(30.0, 50.0))))
    low, high = ends_of(30, 50)
    assert told.startswith("a: the load of a landing matters most, for 11 of 11 tissues; ")
    assert f"the exposure {high / low:.2g} times" in told and "a landing 2.2 to 26 times" in told
    (told,) = what_decides(dose(row()))
    assert "its exposure is told without a range" in told and "the exposure 1" not in told
    (told,) = what_decides(strain_dose(metrics([("x", "a", "flat", 0.4, 95, 1.0)], 0.01), [row(years=(1, 9))], "flat"))
    assert told.startswith("a: the exposure matters most")


# the table


def written(folder: Path, text: str, counts: str = "") -> tuple[Exposure, ...]:
    (folder / "exposures.csv").write_text(HEAD + text)
    if counts:
        (folder / "counts.csv").write_text(counts)
    return read_exposures(folder / "exposures.csv", ["a", "b"], folder / "counts.csv" if counts else None)


def test_ranges_are_read_with_the_likeliest_in_their_middle(tmp_path: Path) -> None:
    (found,) = written(tmp_path, "a,work,0 to 0.2,0.6,20 to 60,2,30 to 40,5\n")
    assert (found.from_m, found.to_m, found.landings_per_session, found.weeks_per_year) == (0.1, 0.6, 40, 35)
    assert found.ranges == {"from_m": (0, 0.2), "landings_per_session": (20, 60), "weeks_per_year": (30, 40)}


@pytest.mark.parametrize("cell", ["60 to 20", "20-60", "20 to many", "1 to 2 to 3", "0 to 5", "nan to 4", "20 to", ""])
def test_a_range_that_cannot_be_is_refused_in_one_line(tmp_path: Path, cell: str) -> None:
    with pytest.raises(StudyError) as refused:
        written(tmp_path, f"a,work,0.2,0.6,{cell},2,30,5\n")
    (line,) = str(refused.value).splitlines()
    assert (
        "landings_per_session: expected a number above 0 or a range" in line and "row 1" in line and repr(cell) in line
    )


# counted landings

COUNTS = "rider,activity,time,height_m\n"
ROW = "a,work,0.2,0.6,counted,2,30,5\n"


def days(*counts: int, height: float = 0.4) -> str:
    return "".join(f"a,work,2026-05-{k + 1:02d}T10:{n:02d},{height}\n" for k, c in enumerate(counts) for n in range(c))


def test_counted_landings_give_their_mean_a_session(tmp_path: Path) -> None:
    """10, 20 and 30 on three days: 20, with an interval of t(2) = 4.303 times 10 / sqrt(3) = 24.8: from none on."""
    (found,) = written(tmp_path, ROW, COUNTS + days(10, 20, 30))
    low, high = found.ranges["landings_per_session"]
    assert (found.landings_per_session, found.counted_days, low) == (20, 3, 0)
    inside = 1 - np.sqrt(0.05)
    assert high == pytest.approx((20 + 24.84 / inside) * (1 + 0.23 / inside), rel=1e-3)


def test_a_speed_is_the_height_it_falls_from(tmp_path: Path) -> None:
    """2.8 m/s falls from 0.4 m, 1.9 m/s from 0.184 m: outside the row, and said so."""
    counts = "rider,activity,time,speed_m_s\n" + days(2, 3, 2, height=2.8)
    (found,) = written(tmp_path, ROW, counts)
    assert found.landings_per_session == pytest.approx(7 / 3)
    with pytest.raises(StudyError, match=r"1 of 8 from 0.184 to 0.184 m outside"):
        written(tmp_path, ROW, counts + "a,work,2026-05-09,1.9\n")


@pytest.mark.parametrize(
    ("text", "counts", "told"),
    [
        (ROW, "", "no counts of this rider and activity"),
        (ROW, COUNTS + days(5), "found 1 with 5 landings"),
        (ROW.replace("0.6", "0.3"), COUNTS + days(5, 5), "found 2 with 0 landings"),
        (ROW, COUNTS + days(5, 5) + "b,work,2026-05-01,0.4\n", "every counted landing of b, work in a row"),
        (ROW, COUNTS + "z,work,2026-05-01,0.4\n", "a rider of the study"),
        (ROW, COUNTS + "a,work,May,0.4\n", "a date or date and time"),
        (ROW, COUNTS + "a,work,2026-05-01,-1\n", "height_m: expected a number above 0"),
        (ROW, COUNTS, "one row or more"),
        (ROW, "rider,activity,time\na,work,2026-05-01\n", "height_m or speed_m_s, found neither"),
        (ROW, "rider,activity\na,work\n", "found no time"),
    ],
)
def test_a_faulty_count_is_refused_in_one_line(tmp_path: Path, text: str, counts: str, told: str) -> None:
    with pytest.raises(StudyError, match=told) as refused:
        written(tmp_path, text, counts)
    assert len(str(refused.value).splitlines()) == 1


def test_counted_doses_hold_the_truth(tmp_path: Path) -> None:
    """400 riders with landings that differ by 60 % from day to day, as in 12 players over 16 weeks (PMC11669427,
    abstract), counted on 12 days by a wearable that sees 81.4 to 99.3 % (Skazalski et al. 2018 Scand J Med Sci Sports,
    and juniors whose authors were not shown; abstracts). The interval of the landings, and so of a dose with sure
    loads, is to hold the true mean for 95 % of them; a day without a landing is no session."""
    rng, held = np.random.default_rng(5), 0
    for _ in range(400):
        daily = rng.poisson(rng.gamma(1 / 0.6**2, 40 * 0.6**2, 12))
        seen = rng.binomial(daily, rng.uniform(0.814, 0.993))
        (found,) = written(tmp_path, ROW, COUNTS + counted(seen))
        drawn = drawn_exposures([found])
        assert drawn is not None
        low, high = found.landings_per_session * np.quantile(drawn.landings, (0.025, 0.975))
        held += low <= 40 <= high
    assert 0.92 <= held / 400 <= 0.98


def counted(seen: np.ndarray) -> str:
    return "".join(f"a,work,2026-05-{k + 1:02d},0.4\n" * max(int(n), 1) for k, n in enumerate(seen))

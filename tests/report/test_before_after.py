"""A rider's change against that rider's own variation, as a table in the units of the report."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recorded import sample_session

from jointload.analysis import Analysis, analyse
from jointload.errors import SettingError
from jointload.report.words.before_after import COLUMNS, before_after_table
from jointload.report.words.two_landings import UNCLEAR


@pytest.fixture(scope="module")
def flat() -> Analysis:
    return analyse(sample_session(), variants=False)


def landings(flat: Analysis, degrees: list[float]) -> list[Analysis]:
    """The landing with another peak knee flexion, all else alike."""
    return [
        replace(
            flat,
            measures=tuple(
                replace(m, value=np.deg2rad(value)) if (m.quantity, m.side) == ("knee_flexion_peak", "right") else m
                for m in flat.measures
            ),
        )
        for value in degrees
    ]


def test_a_change_is_told_in_degrees_against_the_riders_own_variation(flat: Analysis) -> None:
    """scipy's t interval of two samples agrees; what repeats to the bit is not called a change."""
    from scipy.stats import ttest_ind

    before, after = [90.0, 92.0, 91.0, 93.0], [98.0, 97.0, 99.0]
    table = before_after_table(landings(flat, before), landings(flat, after)).set_index(["quantity", "side"])
    row = table.loc[("knee_flexion_peak", "right")]
    interval = ttest_ind(after, before).confidence_interval(0.95)
    np.testing.assert_allclose(row[["low", "high"]].astype(float), (interval.low, interval.high), rtol=1e-9)
    assert row["note"] == "" and row["change"] == pytest.approx(6.5) and row["unit"].startswith("deg")
    assert (row["landings_before"], row["landings_after"]) == (4, 3)
    rest = table.drop(("knee_flexion_peak", "right")).dropna(subset=["change"])
    assert (rest["note"] == UNCLEAR).all() and np.abs(rest["change"]).max() < 1e-9


def test_an_unsteady_rider_needs_a_larger_change(flat: Analysis) -> None:
    before, after = [80.0, 102.0, 91.0], [97.0, 86.0, 109.0]
    table = before_after_table(landings(flat, before), landings(flat, after)).set_index(["quantity", "side"])
    row = table.loc[("knee_flexion_peak", "right")]
    assert row["note"] == UNCLEAR and row["smallest"] > abs(row["change"])


def test_a_number_of_too_few_landings_says_so(flat: Analysis) -> None:
    before = landings(flat, [90.0, np.nan, 91.0])
    row = before_after_table(before, landings(flat, [91.0, 92.0, 93.0])).set_index(["quantity", "side"])
    row = row.loc[("knee_flexion_peak", "right")]
    assert np.isnan(row["change"]) and row["note"] == "fewer than 3 landings give this number"
    assert tuple(before_after_table(before, before).columns) == COLUMNS


def test_too_few_landings_and_two_riders_are_refused(flat: Analysis) -> None:
    with pytest.raises(SettingError, match=r"expected 3 landings or more of one rider before, .* found 2 and 3"):
        before_after_table([flat] * 2, [flat] * 3)
    stranger = replace(flat, session=replace(flat.session, rider=replace(flat.session.rider, id="U2")))
    with pytest.raises(SettingError, match="found 3 and 3 of U2 and rider_a"):
        before_after_table([flat] * 3, [stranger] * 3)

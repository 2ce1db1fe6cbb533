"""The table of changes says what is not distinguishable, in the units of the report."""

from __future__ import annotations

import numpy as np
import pytest
from recorded import sample_session

from jointload.analysis import Analysis, analyse
from jointload.report.words.two_landings import UNCLEAR, changes_table
from jointload.uncertainty.intervals import changes, with_intervals

DRAWS = 25
INPUTS = ("skin", "placement", "plate_force")


@pytest.fixture(scope="module")
def pair() -> tuple[Analysis, Analysis]:
    sessions = (sample_session(condition=condition) for condition in ("flat", "wedge"))
    first, second = (with_intervals(analyse(s, variants=False), DRAWS, inputs=INPUTS, shares=False) for s in sessions)
    return first, second


def test_every_change_has_an_interval_and_a_verdict(pair: tuple[Analysis, Analysis]) -> None:
    table = changes_table(*pair)
    known = table.dropna(subset=["change", "low"])
    assert len(known) > 80
    assert (known["low"] <= known["change"]).all() and (known["change"] <= known["high"]).all()
    unclear = (known["low"] <= 0) & (known["high"] >= 0)
    assert (known.loc[unclear, "note"] == UNCLEAR).all() and (known.loc[~unclear, "note"] == "").all()
    assert unclear.any() and not unclear.all()


def test_changes_are_in_shown_units(pair: tuple[Analysis, Analysis]) -> None:
    table = changes_table(*pair).set_index(["quantity", "side"])
    one = next(c for c in changes(*pair) if c.quantity == "knee_flexion_peak" and c.side == "right")
    row = table.loc[("knee_flexion_peak", "right")]
    np.testing.assert_allclose([row["change"], row["low"], row["high"]], np.rad2deg([one.change, one.low, one.high]))
    assert row["unit"] == "deg"

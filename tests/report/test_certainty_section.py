"""The section on certainty names what was not drawn, and never shows a smallest change as nothing."""

from __future__ import annotations

import pytest
from few import few_draws

from jointload.analysis import Analysis
from jointload.report.page.certainty_section import certainty_section
from jointload.report.words.section import Reported
from jointload.uncertainty.intervals import with_intervals
from jointload.uncertainty.spreads import SOURCES

EXACT = "Taken as exact, so that the intervals are too narrow: "


@pytest.mark.parametrize(("left_out", "told"), [(("skin",), EXACT + "skin motion."), ((), "")])
def test_inputs_taken_as_exact_are_named(analysis: Analysis, left_out: tuple[str, ...], told: str) -> None:
    inputs = tuple(name for name in SOURCES if name not in left_out)
    with few_draws():
        text = certainty_section(Reported(with_intervals(analysis, 20, inputs=inputs)))
    assert told in text and (EXACT in text) == bool(told)
    assert "the time from one force sample to the next" in text
    assert ">0.00</td>\n<td>BW" not in text and ">0.00</td><td>BW" not in text

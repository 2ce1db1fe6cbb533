"""One synthetic landing, analysed once, and a prediction made for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from in_browser import started
from landed import landed

from jointload.analysis import Analysis, analyse
from jointload.insole.fitting.whatif import WhatIf, what_if
from jointload.insole.shape.geometry import parse_wedge
from jointload.intake.recording import Recording
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.synthetic.measurement import as_recording
from jointload.synthetic.specification import LandingSpec
from jointload.synthetic.standing import label_map, static_recording

RIDER = Rider("S1", 70.0, 1.76, "m", shoe="plain shoe", stance="left")


def recorded(marker_rate: float) -> Recording:
    made = landed(LandingSpec(RIDER, settling=0.5, marker_rate=50.0))
    return as_recording(replace(made, spec=replace(made.spec, marker_rate=marker_rate)))


@pytest.fixture(scope="session")
def analysis() -> Analysis:
    return analyse(Session(recorded(250.0), static_recording(RIDER), label_map(), RIDER))


@pytest.fixture(scope="session")
def slow_analysis(analysis: Analysis) -> Analysis:
    """The same landing at 100 Hz: its motion is followed at 500 Hz."""
    return analyse(replace(analysis.session, trial=recorded(100.0)))


@pytest.fixture(scope="session")
def prediction(analysis: Analysis) -> WhatIf:
    return what_if(analysis, parse_wedge("medial:4", "right"), draws=50)


@pytest.fixture(scope="session")
def driver() -> Iterator[Any]:
    """One browser for all tests that need a real one."""
    yield from started()

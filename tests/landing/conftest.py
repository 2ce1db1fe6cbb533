"""One synthetic landing with typical noise, made once: tests seed their faults into its recordings."""

from __future__ import annotations

import pytest
from landed import USUAL, landed

from jointload.intake.session import Session
from jointload.synthetic.landing import SyntheticLanding
from jointload.synthetic.measurement import as_recording
from jointload.synthetic.standing import TYPICAL, label_map, static_recording


@pytest.fixture(scope="session")
def simulated() -> SyntheticLanding:
    """The landing itself, whose truth is known."""
    return landed(USUAL)


@pytest.fixture(scope="session")
def clean_session(simulated: SyntheticLanding) -> Session:
    """A landing and its static trial, both with camera, skin and plate noise."""
    rider = simulated.spec.rider
    return Session(as_recording(simulated), static_recording(rider, TYPICAL, 3), label_map(), rider)

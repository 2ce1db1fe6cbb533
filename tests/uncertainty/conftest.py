"""A sample landing, and the same landing under another name."""

from __future__ import annotations

from dataclasses import replace

import pytest
from recorded import sample_session

from jointload.analysis import Analysis, analyse


@pytest.fixture(scope="session")
def flat() -> Analysis:
    return analyse(sample_session(), variants=False)


@pytest.fixture(scope="session")
def again(flat: Analysis) -> Analysis:
    """The same recording under another name: what differs between two analyses is drawn, nothing else."""
    trial = replace(flat.session.trial, name="again")
    return replace(flat, session=replace(flat.session, trial=trial), landing=replace(flat.landing, recording=trial))

"""A sample landing, and the same landing under another name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from jointload.analysis import Analysis, analyse
from jointload.intake.session import read_session
from jointload.modeldata import shipped_folder


@pytest.fixture(scope="session")
def flat() -> Analysis:
    folder = shipped_folder("sample_c3d")
    files = {
        "labels": folder / "labels.toml",
        "rider": folder / "rider_a.toml",
        "static": folder / "rider_a_static.c3d",
    }
    return analyse(read_session(folder / "rider_a_landing_flat.c3d", **files), variants=False)


@pytest.fixture(scope="session")
def again(flat: Analysis) -> Analysis:
    """The same recording under another name: what differs between two analyses is drawn, nothing else."""
    trial = replace(flat.session.trial, name="again")
    return replace(flat, session=replace(flat.session, trial=trial), landing=replace(flat.landing, recording=trial))

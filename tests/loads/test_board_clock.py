"""How late cameras are against plates, told by a board's stop."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from boards import board_landing, session_of

from jointload.analysis import Analysis, analyse
from jointload.intake.recording import Recording
from jointload.intake.session import Session
from jointload.synthetic.board import BoardLanding, PlatesUnder
from jointload.synthetic.standing import SILENT

CAMERA = 3e-4
"""Noise of the markers [m], that of models/uncertainty."""
TOLD = 0.6e-3
"""How near [s] a lag is told with markers at 250 Hz: twice what landings of tests/benchmarks/impact.py miss it by."""


def seen_late(which: str, lag: float, plates: PlatesUnder) -> Session:
    """A landing whose plates are early by `lag` [s]: the cameras are late."""
    made = board_landing(which, plates)
    spec = replace(made.landing.spec, marker_rate=250.0, noise=replace(SILENT, camera=CAMERA))
    session = session_of(BoardLanding(replace(made.landing, spec=spec), plates=plates))
    return replace(session, trial=_earlier(session.trial, lag))


def _earlier(trial: Recording, lag: float) -> Recording:
    samples = round(lag * trial.force_rate)

    def earlier(series: np.ndarray) -> np.ndarray:
        return np.roll(series, -samples, axis=-1)

    plates = tuple(replace(p, force=earlier(p.force), moment=earlier(p.moment)) for p in trial.plates)
    return replace(trial, plates=plates)


def analysed(session: Session) -> Analysis:
    return analyse(session, variants=False)


@pytest.mark.parametrize("lag", [-0.0015, 0.0, 0.0015])
@pytest.mark.parametrize(("which", "plates"), [("equal", "one a foot"), ("back foot heavy", "one")])
def test_the_lag_of_the_cameras_is_told(which: str, plates: PlatesUnder, lag: float) -> None:
    analysis = analysed(seen_late(which, lag, plates))
    assert analysis.session.trial.cameras_late == pytest.approx(lag, abs=TOLD)
    (said,) = (f.evidence for f in analysis.findings if f.check == "clock")
    assert ("after" if analysis.session.trial.cameras_late > 0 else "before") in said


def test_a_lag_that_is_told_is_taken_out_of_the_numbers() -> None:
    """The vertical force when the cameras are 1.5 ms late is that of the same clock, within a tenth of what it would
    be off: the board's stop, 1.5 ms too late."""
    right, late = (analysed(seen_late("equal", lag, "one a foot")) for lag in (0.0, 0.0015))
    assert late.session.trial.cameras_late - right.session.trial.cameras_late == pytest.approx(0.0015, abs=1e-4)
    forces = [each.landing.contact.fast_force[0, 0] for each in (right, late)]
    np.testing.assert_allclose(forces[1], forces[0], rtol=0, atol=10.0)


def test_a_board_that_neither_slides_nor_turns_tells_nothing() -> None:
    """Lifted straight onto the plates it is felt by no horizontal force: the clock stays, and nothing is said."""
    session = seen_late("equal", 0.0015, "one a foot")
    trial, labels = session.trial, list(session.board.markers) if session.board else []
    rows = [trial.labels.index(label) for label in labels]
    markers = trial.markers.copy()
    at_rest = markers[:, rows][..., -1:]
    markers[0, rows], markers[2, rows] = at_rest[0], at_rest[2]
    analysis = analysed(replace(session, trial=replace(trial, markers=markers)))
    assert np.isnan(analysis.session.trial.cameras_late)
    assert not [finding for finding in analysis.findings if finding.check == "clock"]


def test_the_touch_is_the_boards_not_a_step_before_it() -> None:
    """Somebody touches a plate before the landing, while the board is in the air."""
    session = seen_late("equal", 0.0015, "one a foot")
    first, second = session.trial.plates
    force = first.force.copy()
    force[1, 40:120] += 60.0
    touched = replace(session.trial, plates=(replace(first, force=force), second))
    analysis = analysed(replace(session, trial=touched))
    assert analysis.session.trial.cameras_late == pytest.approx(0.0015, abs=TOLD)

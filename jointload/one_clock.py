"""A landing on a board with its plates on the cameras' clock, where the board tells how far they are apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jointload.body.board import track_board
from jointload.body.calibration import FittedBody
from jointload.intake.recording import Finding, Plate, Recording
from jointload.intake.session import Session
from jointload.loads.board_clock import camera_lag
from jointload.motion.following import follow
from jointload.numerics.signals import delayed
from jointload.settings import Settings


def on_one_clock(
    session: Session, body: FittedBody, settings: Settings, struck: tuple[int, ...]
) -> tuple[Session, tuple[Finding, ...]]:
    """The session, its plates moved in time where that is told, and what to say of it. struck : force samples in which
    the plates begin to bear load"""
    trial, board = session.trial, session.board
    if board is None or settings.smoothing != "balanced" or not struck:
        return session, ()
    followed = follow(trial, body, board, settings.longest_gap, struck).recording
    cutoff = settings.peak_cutoff(followed.point_rate)
    pose = track_board(followed, board, cutoff, settings.longest_gap)
    lag = float("nan") if pose is None else camera_lag(followed, pose, struck, cutoff)
    if not np.isfinite(lag):
        return session, ()
    way = "after" if lag > 0.0 else "before"
    evidence = f"by the board's stop the cameras see {abs(1e3 * lag):.1f} ms {way} the plates feel: taken out"
    return replace(session, trial=_later(trial, lag)), (Finding("clock", "pass", trial.name, evidence, ""),)


def _later(trial: Recording, lag: float) -> Recording:
    """With its plates later by `lag` [s]."""

    def later(plate: Plate) -> Plate:
        wrench = np.concatenate((plate.force, plate.moment))[:, None]
        moved = delayed(wrench, np.array([lag * trial.force_rate]))[:, 0]
        return replace(plate, force=moved[:3], moment=moved[3:])

    return replace(trial, plates=tuple(later(plate) for plate in trial.plates), cameras_late=lag)

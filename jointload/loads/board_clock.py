"""How late the cameras are against the plates, told by a board that stops on them.

A board is rigid, the feet on it are soft: what plates feel of its slide and turn, within some milliseconds of the
touch, is the board's, and begins and ends with its markers' stop. The lag is the one with which the plates' horizontal
force and turning about the vertical, less the board's, change least from sample to sample. The vertical force is left
out: the feet's own begins with the board's stop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.body.board import BoardPose
from jointload.intake.recording import Array, Recording
from jointload.loads.moved_board import half_offset, inertial_wrench
from jointload.numerics.rotations import cross
from jointload.numerics.signals import zero_lag_lowpass
from jointload.numerics.splines import CubicCurve

FURTHEST, STEP = 3e-3, 0.25e-3
"""Lags [s] up to which either way, and in steps of which, are tried (choice)."""
BEFORE, AFTER = 0.012, 0.060
"""The plates are looked at from the first time [s] before the board's touch until the second after it (choice)."""
ASIDE, LEAST_SHARP = 1e-3, 0.6
"""A lag is told where the changes grow by this share or more with lags so much [s] to either side of it (choice: of
tuning landings on boards, those below it at 100 Hz missed the lag by up to 1.6 ms)."""


def camera_lag(recording: Recording, pose: BoardPose, struck: tuple[int, ...], cutoff: float | None) -> float:
    """[s] from all plates together, NaN where none of the lags tried stands out.

    struck : force samples in which plates begin to bear load;  cutoff : low-pass [Hz] of the board's markers, put on
    the plates, too
    """
    felt = _felt(recording, pose, struck, cutoff)
    lags = np.arange(-FURTHEST, FURTHEST + 0.5 * STEP, STEP)
    changes = np.array([felt.change(lag) for lag in lags])
    best = int(np.argmin(changes))
    if best in (0, lags.size - 1):
        return float("nan")
    before, least, after = changes[best - 1 : best + 2]
    between = 0.5 * (before - after) / (before - 2.0 * least + after)
    aside = [felt.change(lags[best] + way * ASIDE) for way in (-1.0, 1.0)]
    sharp = np.mean(aside) > (1.0 + LEAST_SHARP) * least
    return float(lags[best] + between * STEP) if sharp else float("nan")


@dataclass(frozen=True, eq=False)
class _Felt:
    """plates : (3, T) at force samples `at`, in which the board is `borne`;  board : what moves it, between frames"""

    plates: Array
    board: CubicCurve
    at: Array
    borne: NDArray[np.bool_]
    rate: float
    step: int

    def change(self, lag: float) -> float:
        """Sum of squares from sample to sample of what is left, with markers late by `lag` [s]."""
        places = (self.at + lag * self.rate) / self.step
        board = self.board(np.clip(places, *self.board.places[[0, -1]])) * self.borne
        return float(np.sum(np.diff(self.plates - board) ** 2))


def _felt(recording: Recording, pose: BoardPose, struck: tuple[int, ...], cutoff: float | None) -> _Felt:
    rate, step, plates = recording.force_rate, recording.samples_per_frame, recording.plates
    whole = np.stack([sum(getattr(plate, key) for plate in plates) for key in ("force", "moment")])
    board = np.stack([wrench[:, 0] for wrench in inertial_wrench(pose, halves=False)])
    known = np.flatnonzero(np.isfinite(board).all(axis=(0, 1)))
    board, frames = board[..., known], known * step
    first = _touch(struck, frames, board[0], round(AFTER * rate))
    centre = pose.place(pose.board.centre[:, None])[:, 0, known[np.argmin(np.abs(frames - first))]]
    samples = np.arange(max(first - round(BEFORE * rate), 0), min(first + round(AFTER * rate), whole.shape[-1]))
    plates_felt = zero_lag_lowpass(whole, cutoff, rate)[..., samples]
    lever = half_offset(pose.board)
    curve = CubicCurve.through(known.astype(float), _sideways(board, centre, lever))
    return _Felt(_sideways(plates_felt, centre, lever), curve, samples, samples >= first, rate, step)


def _touch(struck: tuple[int, ...], frames: NDArray[np.intp], force: Array, reach: int) -> int:
    """The force sample in which the board comes down: the first of those, within `reach` samples of each other, after
    which the force (3, T) that moves it is largest."""
    largest = [float(np.max(np.abs(force[:, (frames >= s) & (frames < s + reach)]), initial=0.0)) for s in struck]
    hardest = struck[int(np.argmax(largest))]
    return min(sample for sample in struck if abs(sample - hardest) <= reach)


def _sideways(wrench: Array, centre: Array, lever: float) -> Array:
    """(3, N) [N] of a wrench (2, 3, N): along X, along Z, and its turning about the vertical through a place (3,), as a
    force with the lever [m]."""
    force, moment = wrench
    turning = moment - cross(centre[:, None], force)
    return np.stack((force[0], force[2], turning[1] / lever))

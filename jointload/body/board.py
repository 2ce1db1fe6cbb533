"""The board's way through a trial, from its markers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.intake.board import Board
from jointload.intake.recording import Array, Recording
from jointload.numerics.rigid_fit import fit_poses
from jointload.numerics.rotations import rotate
from jointload.numerics.signals import bridge_short_gaps, zero_lag_lowpass

DOWN_HEIGHT = 0.04
"""A board whose lowest support lies less than this [m] above a plate's surface may stand on it (choice: wheels and a
bent deck)."""


@dataclass(frozen=True, eq=False)
class BoardPose:
    """lab_from_board (3, 3, F), the place (3, F) [m] of the board's origin, and the root mean square distance (F,) [m]
    of its markers from the fit; NaN where fewer than three of them are seen. Draws stand before frames."""

    board: Board
    rotation: Array
    origin: Array
    residual: Array
    rate: float

    def place(self, local: Array) -> Array:
        """(3, P, F) [m] in the lab of points (3, P) [m] of the board."""
        return self.origin[:, None] + rotate(
            self.rotation[:, :, None], local.reshape(3, -1, *(1,) * (self.origin.ndim - 1))
        )

    @property
    def supports(self) -> Array:
        """(3, 4, F) [m] corners of what the board stands on."""
        return self.place(rectangle(*self.board.support, 0.0))

    @property
    def deck(self) -> Array:
        """(3, 4, F) [m] corners of the surface on which the feet stand."""
        return self.place(rectangle(self.board.length, self.board.width, self.board.deck_height))

    def low(self, surface: float) -> NDArray[np.bool_]:
        """(F,) whether the board may stand on a surface at this height [m]."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.supports[1].min(axis=0) - surface < DOWN_HEIGHT)


def rectangle(length: float, width: float, height: float) -> Array:
    """(3, 4) [m] corners in the board's axes."""
    x, z = 0.5 * length, 0.5 * width
    return np.array([[x, -x, -x, x], [height] * 4, [z, z, -z, -z]])


def track_board(recording: Recording, board: Board, cutoff: float | None, longest_gap: float) -> BoardPose | None:
    """Least-squares pose of the board from those of its markers that the recording holds; None with fewer than three.

    cutoff [Hz] : low-pass of the markers;  longest_gap [s] : that a spline bridges
    """
    labels = seen_labels(board, recording)
    if len(labels) < 3:
        return None
    markers = _bridged(recording, labels, longest_gap)
    pose = fitted_pose(board, labels, markers, cutoff, recording.point_rate)
    return pose if np.isfinite(pose.residual).any() else None


def seen_labels(board: Board, recording: Recording) -> list[str]:
    return [label for label in board.markers if label in recording.labels]


def with_board(
    recording: Recording, board: Board | None, longest_gap: float, labels: list[str], markers: Array
) -> tuple[list[str], Array]:
    """Labels and markers (3, M, F) [m] of a body, with those of a board that are none of these after them; gaps up to
    `longest_gap` [s] bridged."""
    ridden = [] if board is None else [label for label in seen_labels(board, recording) if label not in labels]
    if not ridden:
        return labels, markers
    return [*labels, *ridden], np.concatenate((markers, _bridged(recording, ridden, longest_gap)), axis=1)


def _bridged(recording: Recording, labels: list[str], longest_gap: float) -> Array:
    """(3, m, F) [m] of these labels, gaps up to `longest_gap` [s] bridged."""
    markers = recording.markers[:, [recording.labels.index(label) for label in labels]]
    return bridge_short_gaps(markers, int(longest_gap * recording.point_rate))[0]


def fitted_pose(board: Board, labels: list[str], markers: Array, cutoff: float | None, rate: float) -> BoardPose:
    """markers : (3, m, F) [m] of these labels, or (3, m, D, F) for D draws; their low-pass [Hz] and their rate [Hz]"""
    local = np.stack([board.markers[label] for label in labels], axis=1)
    if markers.ndim > 3:
        local = np.repeat(local[..., None], markers.shape[2], axis=2)
    rotation, origin, residual = fit_poses([local], [zero_lag_lowpass(markers, cutoff, rate)])
    return BoardPose(board, rotation[:, :, 0], origin[:, 0], residual[0], rate)

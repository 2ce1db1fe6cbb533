"""What moves a board under the feet: the wrench that gives it its weight and inertia, and what of it each foot's plate
bears."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jointload.body.board import BoardPose, fitted_pose
from jointload.intake.board import Board
from jointload.intake.recording import SIDES, Array
from jointload.loads.contact import BOTH, Contact, at_force_rate
from jointload.loads.moments import Chain, SegmentMotion, inverse_dynamics
from jointload.numerics.rotations import angular_motion, cross
from jointload.numerics.signals import of_fourth_order, second_derivative
from jointload.numerics.splines import CubicCurve

HALF_OFFSET = 0.75
"""A rod's halves lie sqrt(0.75 I / m) from its middle, a quarter of its length."""


@dataclass(frozen=True, eq=False)
class MovedBoard:
    """A board whose wrench was taken out of plates, as one or as two halves.

    labels : of its markers;  cutoff : low-pass [Hz] of these
    plates : which plate of those the feet press on bore each part;  borne : (F,) whether they bore it
    """

    board: Board
    labels: tuple[str, ...]
    cutoff: float | None
    plates: tuple[int, ...]
    borne: NDArray[np.bool_]

    def around(self, frames: slice) -> MovedBoard:
        """For some of the frames."""
        return replace(self, borne=self.borne[frames])

    def wrenches(self, markers: Array, rate: float, step: int, samples: int) -> Array:
        """(2, 3, parts, ..., N) force [N] and moment [N m] about the lab origin on every part while it is borne, at the
        force rate. markers : (3, m, ..., F) [m] at `rate` [Hz];  step : force samples a frame"""
        return self.wrenches_of(fitted_pose(self.board, list(self.labels), markers, self.cutoff, rate), step, samples)

    def wrenches_of(self, pose: BoardPose, step: int, samples: int) -> Array:
        frame = np.minimum(np.arange(samples) // step, self.borne.size - 1)
        wrench = np.stack(inertial_wrench(pose, len(self.plates) == 2))
        return _resampled(wrench, step, samples) * self.borne[frame]


def on_feet(moved: MovedBoard, wrenches: Array, contact: Contact, soles: Array, step: int) -> tuple[Array, Array]:
    """Force and moment (3, 2, ..., N) about the lab origin that each foot's plate bears of the board's parts; of a part
    on a plate that both feet bear, by their shares of the vertical force, through the middles of their soles.

    wrenches : (2, 3, parts, ..., N);  soles : outlines (2, 2, V, F) [m];  step : force samples a frame
    """
    samples = wrenches.shape[-1]
    frame = np.minimum(np.arange(samples) // step, soles.shape[-1] - 1)
    x, z = np.nan_to_num(soles.mean(axis=2))[..., frame]
    place = np.stack((x, np.full_like(x, contact.floor), z))
    pressed = np.maximum(np.nan_to_num(contact.fast_force[1]), 1e-9)
    owners = at_force_rate(contact.owner, samples, step)
    out = np.zeros((2, 3, len(SIDES), *wrenches.shape[3:]))
    for part, plate in enumerate(moved.plates):
        force, moment = wrenches[:, :, part]
        alone = owners[plate] == np.arange(len(SIDES))[:, None]
        shares = np.where(owners[plate] == BOTH, pressed / pressed.sum(axis=0), alone)
        middle = np.sum(shares * place, axis=1)
        for side, share in enumerate(shares):
            arm = (place[:, side] - middle).reshape(3, *(1,) * (force.ndim - 2), samples)
            out[0, :, side] += share * force
            out[1, :, side] += share * (moment + cross(arm, force))
    return out[0], out[1]


def half_offset(board: Board) -> float:
    return float(np.sqrt(HALF_OFFSET * board.inertia[1:].min() / board.mass))


def inertial_wrench(pose: BoardPose, halves: bool) -> tuple[Array, Array]:
    """Force and moment about the lab origin, (3, parts, ..., F) [N], [N m], that the ground and the feet together must
    exert on the board, or on each of its halves, to move it as it moves. The halves have the board's mass and inertia
    together."""
    board = pose.board
    offset = half_offset(board) if halves else 0.0
    along = np.array([offset, -offset] if halves else [0.0])
    parts, draws = along.size, (1,) * (pose.origin.ndim - 2)
    centre = pose.place(board.centre[:, None] + np.stack((along, 0 * along, 0 * along)))
    own = (board.inertia - board.mass * np.array([0.0, offset**2, offset**2])) / parts
    velocity, acceleration = angular_motion(pose.rotation, 1.0 / pose.rate)
    motion = SegmentMotion(
        rotation=np.repeat(pose.rotation[:, :, None], parts, axis=2),
        centre=centre,
        acceleration=of_fourth_order(second_derivative(centre, 1.0 / pose.rate)),
        angular_velocity=np.repeat(velocity[:, None], parts, axis=1),
        angular_acceleration=np.repeat(of_fourth_order(acceleration)[:, None], parts, axis=1),
    )
    tensor = np.repeat(np.diag(own)[..., None], parts, axis=2).reshape(3, 3, parts, *draws)
    chain = Chain(np.full((parts, *draws), board.mass / parts), tensor, (-1,) * parts)
    nothing = np.zeros((3, 0, *centre.shape[2:]))
    return inverse_dynamics(motion, chain, np.zeros_like(centre), nothing, nothing, ())


def _resampled(series: Array, step: int, samples: int) -> Array:
    """(..., N) at the force rate of (..., F) by a cubic spline through the frames in which all rows are known, held at
    their ends; 0 where none is known."""
    known = np.flatnonzero(np.isfinite(series).all(axis=tuple(range(series.ndim - 1))))
    if known.size < 2:
        return np.zeros((*series.shape[:-1], samples))
    frame = np.clip(np.arange(samples) / step, known[0], known[-1])
    return CubicCurve.through(known.astype(float), series[..., known])(frame)

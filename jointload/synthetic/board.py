"""A synthetic landing on a board: a rigid board under the feet, and what one plate, or one under each foot, then feels.

The board falls with the feet, levels and stops as the foot that lands first stops. The plates feel both feet and what
gives the board its motion; everything is raised by the height of the deck.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from jointload.intake.board import Board, board_from
from jointload.intake.recording import Array, Plate, Recording
from jointload.intake.rider import G
from jointload.numerics.rotations import about_axis, compose, cross, inverse, rotate, rotate_back
from jointload.synthetic.landing import SyntheticLanding
from jointload.synthetic.measurement import as_recording
from jointload.synthetic.model import CENTRAL, OFFSETS, TIME_DELTA
from jointload.synthetic.profiles import FootFall, step
from jointload.synthetic.standing import plate_corners, recording

LYING = np.array([[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]])
"""lab_from_board at rest: the nose to the rider's right, the deck up."""
ONE_PLATE = np.array([[0.35, -0.35, -0.35, 0.35], [0.0] * 4, [0.6, 0.6, -0.6, -0.6]])
"""Corners (3, 4) [m] of the one plate under the whole board."""
TILT, YAW = np.deg2rad(1.0), np.deg2rad(6.0)
"""The nose comes down this much higher than the tail, which gives way by 7 mm, and the board rolled by half of it; it
slides round by the second angle while it stops."""
INVENTED = board_from(
    {
        "name": "deck_a",
        "mass_kg": 2.8,
        "length_mm": 840,
        "width_mm": 215,
        "deck_height_mm": 110,
        "markers": {
            "board_nose": [400, 112, 0],
            "board_tail": [-400, 112, 0],
            "board_left": [120, 112, -95],
            "board_right": [-120, 112, 95],
        },
    }
)
PlatesUnder = Literal["one", "one a foot"]


@dataclass(frozen=True, eq=False)
class BoardLanding:
    """A landing, the board under it, and how the plates lie; time runs at the force rate."""

    landing: SyntheticLanding
    board: Board = field(default_factory=lambda: INVENTED)
    plates: PlatesUnder = "one"
    shift: tuple[float, float] = (0.0, 0.0)
    """Place [m] of the plate's middle along lab X and Z."""

    def recorded(self) -> Recording:
        """Markers of rider and board, and plates, disturbed as the landing's specification says."""
        spec = self.landing.spec
        trial, rng = as_recording(self.landing), np.random.default_rng(spec.seed + 1000)
        raised = np.array([0.0, self.board.deck_height, 0.0])[:, None, None]
        time = np.arange(trial.frames) / spec.marker_rate
        rotation, origin = self.pose(time)
        places = np.stack(list(self.board.markers.values()), axis=1)
        seen = origin[:, None] + rotate(rotation[:, :, None], places[..., None])
        seen = seen + spec.noise.camera * rng.standard_normal(seen.shape)
        markers = np.concatenate((trial.markers + raised, seen), axis=1)
        labels = (*trial.labels, *self.board.markers)
        plates = tuple(self._noisy(plate, rng) for plate in self.exact_plates())
        whole = recording(
            spec.name, dict(zip(labels, markers.swapaxes(0, 1), strict=True)), spec.marker_rate, plates, spec.force_rate
        )
        return replace(whole, events=trial.events)

    def _noisy(self, plate: Plate, rng: np.random.Generator) -> Plate:
        size = self.landing.spec.noise.plate
        return replace(
            plate,
            force=plate.force + size * rng.standard_normal(plate.force.shape),
            moment=plate.moment + 0.1 * size * rng.standard_normal(plate.moment.shape),
        )

    def feet(self) -> tuple[Array, Array]:
        """The true force and moment about the lab origin on right and left foot, (3, 2, N), on the raised deck."""
        force = self.landing.force
        raised = np.array([0.0, self.board.deck_height, 0.0])[:, None, None] + np.zeros_like(force)
        return force, self.landing.moment + cross(raised, force)

    def exact_plates(self) -> tuple[Plate, ...]:
        force, moment = self.feet()
        if self.plates == "one":
            own_force, own_moment = self.board_wrench()
            corners = ONE_PLATE + np.array([[self.shift[0]], [0.0], [self.shift[1]]])
            whole = (force.sum(axis=1) + own_force, moment.sum(axis=1) + own_moment)
            return (Plate(1, 2, corners, *whole, "none: synthetic"),)
        quarter = 0.25 * self.board.length
        out = []
        for k, corners in enumerate(plate_corners()):
            own_force, own_moment = self.board_wrench(quarter if k == 0 else -quarter)
            out.append(Plate(k + 1, 2, corners, force[:, k] + own_force, moment[:, k] + own_moment, "none: synthetic"))
        return tuple(out)

    def pose(self, time: Array) -> tuple[Array, Array]:
        """lab_from_board (3, 3, N) and origin (3, N) [m] at times (N,) [s]."""
        landing, stop = self.landing, self.landing.spec.held.ball_stop
        since = time - min(landing.contact.values())
        fall = FootFall(float(np.sqrt(2 * G * landing.spec.drop)), landing.spec.approach, stop)
        left = TILT * (1.0 - step(since / stop))
        turn = compose(about_axis("y", YAW / TILT * left), compose(about_axis("x", -left), about_axis("z", 0.5 * left)))
        origin = np.stack((-fall.behind(since), fall.height(since), np.zeros_like(since)))
        return compose(turn, LYING[..., None]), origin

    def board_wrench(self, half: float = 0.0) -> tuple[Array, Array]:
        """Force and moment (3, N) about the lab origin that move the board, or that one of its halves whose middle lies
        `half` [m] along it: two even boxes of half the length."""
        time, board = self.landing.time, self.board
        spread = board.inertia if half == 0.0 else 0.5 * (board.inertia - board.mass * half**2 * np.array([0, 1, 1]))
        mass = board.mass if half == 0.0 else 0.5 * board.mass
        place = board.centre + np.array([half, 0.0, 0.0])
        velocity = [self._velocity(time + offset * TIME_DELTA, place) for offset in OFFSETS]
        acceleration, spin_rate = (
            np.einsum("o,oin->in", CENTRAL / TIME_DELTA, [pair[k] for pair in velocity]) for k in range(2)
        )
        rotation, origin = self.pose(time)
        centre = origin + rotate(rotation, place[:, None])
        spin = rotate_back(rotation, self._velocity(time, place)[1])
        inertia = spread[:, None]
        turning = inertia * rotate_back(rotation, spin_rate) + cross(spin, inertia * spin)
        force = mass * (acceleration + np.array([[0.0], [G], [0.0]]))
        return force, cross(centre, force) + rotate(rotation, turning)

    def _velocity(self, time: Array, place: Array) -> tuple[Array, Array]:
        """Velocity of a point of the board and its angular velocity, (3, N) each, in the lab."""
        poses = [self.pose(time + offset * TIME_DELTA) for offset in OFFSETS]
        points = [origin + rotate(rotation, place[:, None]) for rotation, origin in poses]
        weights = CENTRAL / TIME_DELTA
        slope = np.einsum("o,oijn->ijn", weights, [rotation for rotation, _ in poses])
        turning = compose(slope, inverse(self.pose(time)[0]))
        spin = 0.5 * np.stack(
            (turning[2, 1] - turning[1, 2], turning[0, 2] - turning[2, 0], turning[1, 0] - turning[0, 1])
        )
        return np.einsum("o,oin->in", weights, points), spin

"""How one foot answers a changed insole through its landing: the bed solved at chosen instants, and the limb above it.

Axes of the foot: x forward from the back of the heel, y medial, z up; roll is inversion positive, pitch heel up
positive. Arrays of the response are (D, F): draws of one person, frames.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jointload.insole.bed.person import OWN, OWN_PARTS
from jointload.insole.limb.standing import Settled, Standing
from jointload.intake.recording import Array

SET_TIME = 0.15
"""Time [s] in which a foot leaves what it was set to before contact (choice, of the order of late reflexes)."""
OWN_ANGLE = np.deg2rad(5.0)
"""Wedge [rad] at which one person's own answer has its printed size."""
OWN_DROP = 0.018
"""Heel-to-toe drop [m] added by a shape, at which one person's own answer to a lift has its printed size."""
SERIES = (
    "roll", "pitch", "rise", "medial", "forward", "tibial_rotation", "knee_plane", "swing", "knee_twist",
    "pelvis_shift", "pelvis_tilt",
)  # fmt: skip
"""Fields of a FootResponse that run through the landing."""


@dataclass(frozen=True, eq=False)
class FootResponse:
    """What a changed shape does through the landing of one foot, (D, F) in the frames of its window.

    roll, pitch : [rad] of the rearfoot;  rise : [m] of the ankle over that of the other foot
    medial, forward : [m] shift of the centre of pressure
    tibial_rotation : [rad] of the shank about its long axis, internal positive;  knee_plane : [rad] the part of it that
    turns the plane of hip, knee and ankle;  swing : [rad] of that plane with the shank, knee outwards positive
    knee_twist : [rad] by which the shank turns outwards more than the thigh as the leg swings
    pelvis_shift : [m] of this side's hip, outwards;  pelvis_tilt : [rad] forward
    ankle_height : [m];  force_following : (D,)
    own : name in models/insole_response/own_answers.csv -> (D,) [SI], what one person answers beside the mechanics
    """

    roll: Array
    pitch: Array
    rise: Array
    medial: Array
    forward: Array
    tibial_rotation: Array
    knee_plane: Array
    swing: Array
    knee_twist: Array
    pelvis_shift: Array
    pelvis_tilt: Array
    ankle_height: float
    force_following: Array
    own: Mapping[str, Array]

    @classmethod
    def none(cls, draws: int, frames: int) -> FootResponse:
        """No change at all."""
        zero = np.zeros((draws, frames))
        return cls(**dict.fromkeys(SERIES, zero), ankle_height=0.0, force_following=np.ones(draws), own={})

    @property
    def draws(self) -> int:
        return self.force_following.size

    def with_none_first(self) -> FootResponse:
        """With a draw in front that answers nothing: the measured landing itself."""

        def first_zero(draws: Array) -> Array:
            return np.concatenate((np.zeros_like(draws[:1]), draws))

        changed: dict[str, Any] = {name: first_zero(getattr(self, name)) for name in (*SERIES, "force_following")}
        return replace(self, **changed, own={name: first_zero(values) for name, values in self.own.items()})

    def middle(self) -> FootResponse:
        """The middle of the draws as one answer whose series are (F,), without one person's own answers."""
        changed: dict[str, Any] = {name: np.median(getattr(self, name), axis=0) for name in SERIES}
        return replace(self, **changed, force_following=np.median(self.force_following, keepdims=True), own={})

    @property
    def shank_turn(self) -> Array:
        """(D, F) [rad] of the shank on the foot about its long axis, internal positive: with the rearfoot, and with the
        leg's swing."""
        return self.tibial_rotation - self.swing - self.knee_twist

    def own_answer(self, name: str) -> Array:
        """(D,) of one name; zeros where nothing is known of it."""
        return self.own.get(name, np.zeros(self.draws))


def respond(standing: Standing, settled: Settled, window: slice) -> FootResponse:
    """Changes of the foot over the frames of its landing, between the instants by straight lines, and what the limb
    makes of them.

    tibial rotation = -C roll with C = tan(inclination) / cos(deviation) T: eversion turns the tibia inwards
    Own answers are drawn once for the person and go with slopes and drop of the shape (own_features).
    """
    use, flat_pose, changed = settled.usable, settled.flat, settled.changed
    values = {name: draws[use] for name, draws in standing.person.values.items()}
    spread = between(standing.frames, window)
    stable = (flat_pose.stable & changed.stable)[use]

    def change(name: str) -> Array:
        return spread(mended(getattr(changed, name)[use] - getattr(flat_pose, name)[use], stable))

    return FootResponse(
        pitch=change("pitch"),
        medial=change("cop_y"),
        forward=change("cop_x"),
        rise=np.full((int(use.sum()), window.stop - window.start), settled.rise),
        **leg_answer(standing, values, change("roll"), window),
        ankle_height=standing.bed.ankle_height,
        force_following=values["force_following"],
        own=own_answers(values, own_features(np.array(settled.slopes), np.array(settled.drop))),
    )


def leg_answer(standing: Standing, values: Mapping[str, Array], roll: Array, window: slice) -> dict[str, Array]:
    """What foot, leg and pelvis make of a bed on which the foot would roll (D, F), linear in it; names as in
    FootResponse.

    A foot is set before it lands: at touch-down its roll is by the share held_at_contact the mean over the contact,
    weighted by the force, and with SET_TIME it becomes what the bed asks for.
    values : (D,) of the draws that roll is of
    """
    force = between(standing.frames, window)(standing.load.force[None])[0]
    held = values["held_at_contact"][:, None] * np.exp(-np.arange(force.size) / (standing.rate * SET_TIME))
    joints = replace(standing.person.joints, roll=values["roll_stiffness"], swing=values["swing_stiffness"])
    per_roll = between(standing.frames, window)(joints.swing_per_roll(standing.load))
    sine = between(standing.frames, window)(standing.load.shank_sine[None])
    swing, roll = per_roll * roll, roll + held * ((roll @ force / force.sum())[:, None] - roll)
    rotation = -tibial_coupling(values)[:, None] * (roll - sine * swing)
    ways = {"roll": roll, "tibial_rotation": rotation, "swing": swing}
    return ways | followers(standing, values, ways)


def followers(standing: Standing, values: Mapping[str, Array], ways: Mapping[str, Array]) -> dict[str, Array]:
    """What goes with the ways (D, F) in which a foot moves its leg, frame by frame; names as in FootResponse."""
    return {
        "knee_plane": values["knee_plane_share"][:, None] * ways["tibial_rotation"],
        "knee_twist": values["knee_twist_share"][:, None] * ways["swing"],
        "pelvis_shift": values["pelvis_share"][:, None] * standing.bed.ankle_height * ways["roll"],
        "pelvis_tilt": values["pelvis_tilt_share"][:, None] * ways["tibial_rotation"],
    }


def tibial_coupling(values: Mapping[str, Array]) -> Array:
    """C (D,) = tan(inclination) / cos(deviation) T: rotation of the tibia per eversion of the rearfoot."""
    inclination, deviation = (np.deg2rad(values[f"axis_{name}"]) for name in ("inclination", "deviation"))
    return np.asarray(values["tibial_transfer"] * np.tan(inclination) / np.cos(deviation))


def own_features(slopes: Array, drop: Array) -> Array:
    """(..., 4) how much of each of OWN_PARTS a shape calls up, from its slopes across rearfoot and forefoot (..., 2)
    and its heel-to-toe drop (...) [m].

    In proportion to the angles, by tanh(|w| / 5 deg) of the larger one, and in proportion to the drop; 1 each on 5 deg
    of full length and on OWN_DROP, 0 without.
    """
    angles = np.arctan(slopes) / OWN_ANGLE
    unsigned = np.tanh(np.abs(angles).max(axis=-1, keepdims=True)) / np.tanh(1.0)
    return np.concatenate((angles, unsigned, drop[..., None] / OWN_DROP), axis=-1)


def own_answers(values: Mapping[str, Array], features: Array) -> dict[str, Array]:
    """Name -> (D,) [SI] of what drawn persons answer beside the mechanics to a shape with these own_features (4,)."""
    size = dict(zip(OWN_PARTS, features, strict=True))
    out: dict[str, Array] = {}
    for key, drawn in values.items():
        if key.startswith(OWN):
            name, _, part = key.removeprefix(OWN).rpartition("_")
            out[name] = out.get(name, np.zeros(())) + size[part] * drawn
    return out


def between(frames: NDArray[np.intp], window: slice) -> Callable[[Array], Array]:
    """(D, T) at the instants to (D, F) in the window by straight lines, held beyond the first and last instant."""
    at = np.arange(window.start, window.stop)
    weights = np.stack([np.interp(at, frames, row) for row in np.eye(frames.size)])
    return lambda values: values @ weights


def mended(values: Array, stable: NDArray[np.bool_]) -> Array:
    """(D, T) with instants that have no stable pose bridged from the stable ones."""
    out, at = values.copy(), np.arange(values.shape[1])
    for d in np.flatnonzero(~stable.all(axis=1)):
        out[d] = np.interp(at, at[stable[d]], values[d, stable[d]])
    return out

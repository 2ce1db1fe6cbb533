"""The mechanics of a synthetic landing: prescribed posture, two-link legs, momentum, and a law for the ground forces.

Eight rigid segments and a lump of trunk, head and arms. Both feet, the pelvis' orientation and the planes of the legs
are given in time. The six unknowns, pelvis place and trunk orientation, follow from Newton and Euler for the whole
body: A(q, t) q' + b(q, t) = momentum, momentum' = wrenches on the feet and weight.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from jointload.body.calibration import FittedBody
from jointload.intake.recording import SIDES, Array
from jointload.intake.rider import G
from jointload.numerics.rotations import (
    about_axis,
    compose,
    cross,
    dot,
    from_vector,
    inverse,
    rotate,
    rotate_back,
    unit,
)
from jointload.synthetic.flesh import Flesh, Hanging
from jointload.synthetic.profiles import FootFall, ForceProfile, bump, force_profile, soft_clip, step
from jointload.synthetic.specification import WEDGE_LAW, LandingSpec
from jointload.synthetic.standing import fitted_body, upper_body

TOE_OUT = np.deg2rad(12.0)
CROUCH_TIME, RECOVERY = 0.22, 0.5
"""Time [s] to the deepest lean; share of it that is undone while rising."""
SOLE_HALF = 0.085
"""The centre of pressure stays this near [m] to the middle of the sole, fore and aft."""
FRICTION = 0.5
"""Largest shear per vertical force."""
LEANING = 0.6
"""How far the force on each foot leans from the vertical towards the centre of mass."""
PLACE_STIFFNESS, PLACE_DAMPING = 8.0, 4.0
"""Control of the centre of mass over the feet [1/s2, 1/s], at body weight."""
LEAN_STIFFNESS, LEAN_DAMPING, LEAN_INERTIA = 25.0, 8.0, 0.125
"""Control of the trunk [1/s2, 1/s]; inertia of the upper body about the hips per its mass [m2]."""
LEAD_TIME = 0.17
"""At touch-down the mass centre is this time [s] of the approach behind the loaded place."""
CENTRAL = np.array([-1 / 60, 3 / 20, -3 / 4, 3 / 4, -3 / 20, 1 / 60])
OFFSETS = np.array([-3, -2, -1, 1, 2, 3])
"""Sixth-order central difference."""
MIRROR = np.array([[1.0], [-1.0]])
"""Of right and left."""
PLACE_DELTA, TIME_DELTA = 1e-3, 1e-4
"""Steps of the differences in coordinates [m, rad] and in time [s]; the error of a velocity is below 1e-9 of it."""


@dataclass(frozen=True, eq=False)
class Wrenches:
    """On right and left foot: force, moment about the lab origin, centre of pressure, (3, 2, N) [N], [N m], [m]."""

    force: Array
    moment: Array
    point: Array


@dataclass(frozen=True, eq=False)
class Rates:
    """First order of the motion, all in the lab.

    coordinate : rates of the coordinates (6, N);  rotation : lab_from_segment (3, 3, S, N);  origin : (3, S, N) [m]
    centre, velocity : of the centres of mass (3, S, N) [m], [m/s];  spin : angular velocity (3, S, N) [rad/s]
    """

    coordinate: Array
    rotation: Array
    origin: Array
    centre: Array
    velocity: Array
    spin: Array


@dataclass(frozen=True, eq=False)
class _Feet:
    """The prescribed way of right and left foot to the ground.

    touchdown : (2, 1) [s];  fall : of ball and heel (2, 2, 1);  resting : lab_from_foot (3, 3, 2, 1) when they stand
    rest : (3, 2, 1) [m] where the balls come to rest, on the floor;  ball : the balls' sole points in the feet's frames
    middle : of the soles when they stand;  forward, outward : the feet's directions
    """

    touchdown: Array
    fall: FootFall
    resting: Array
    rest: Array
    ball: Array
    middle: Array
    forward: Array
    outward: Array

    def pose(self, time: Array) -> tuple[Array, Array]:
        """lab_from_foot (3, 3, 2, B) and the ankle centres (3, 2, B)."""
        since = time - self.touchdown
        height, heel = self.fall.height(since)
        rotation = compose(self.resting, about_axis("z", -np.arcsin((heel - height) / self.ball[0])))
        ball = self.rest + np.stack((-self.fall.behind(since)[0], height, np.zeros_like(since)))
        return rotation, ball - rotate(rotation, self.ball)


class Model:
    """One rider and one specification: places, momenta and ground forces at coordinates q (6, B) and times (B,).

    q : pelvis origin [m] and rotation vector [rad] of the trunk from its standing orientation
    A state holds q, momentum and, where there is flesh on K bones, its places and velocities: (12 + 6 K, B).
    """

    def __init__(
        self, spec: LandingSpec, body: FittedBody | None = None, flesh: Mapping[str, Flesh] | None = None
    ) -> None:
        self.spec, self.body = spec, body or fitted_body(spec.rider)
        self.posture = spec.held
        self.lump = upper_body(self.body)
        self.segments = self.body.segments
        inertia = {**self.body.inertia, "trunk": self.lump}
        self.mass = np.array([inertia[name].mass for name in self.segments])
        self.com = np.stack([inertia[name].com for name in self.segments], axis=1)
        self.tensor = np.stack([inertia[name].tensor for name in self.segments], axis=2)
        self.flesh = Hanging.on(flesh or {}, self.segments, self.mass)
        self.bone_mass = self.mass.copy()
        self.bone_mass[list(self.flesh.where)] -= self.flesh.mass
        self.back = spec.rider.stance or "right"
        self.sideways = -1.0 if self.back == "left" else 1.0
        self.speed = float(np.sqrt(2 * G * spec.drop))
        self.first_contact = min(spec.flight, self.speed / G)
        self.share = np.array([spec.back_share if side == self.back else 1.0 - spec.back_share for side in SIDES])
        self.profile = self._profile()
        self.feet = self._feet()
        self.target = self.feet.middle[..., 0] @ self.share
        self.hips, knees, ankles = (self._points(name) for name in ("hip_centre", "knee_centre", "ankle_centre"))
        self.lengths = np.linalg.norm([knees, ankles], axis=1)
        turned = about_axis("y", self.sideways * np.deg2rad(4.0)) @ self.body.standing["pelvis"][0]
        self.standing_pelvis, self.standing_trunk = turned[..., None], self.body.standing["trunk"][0][..., None]
        in_trunk = self.body.standing_points["l5s1"] - self.body.standing["trunk"][1]
        self.l5s1_in_trunk = (self.body.standing["trunk"][0].T @ in_trunk)[:, None]

    def _late(self, side: str) -> float:
        return 0.0 if side == self.back else self.spec.delay

    def _profile(self) -> ForceProfile:
        waiting = float(self.share @ [self._late(side) for side in SIDES])
        held = self.posture
        return force_profile(self.speed / G + waiting, self.spec.peak, held.first_share, held.first_length, held.rise)

    def _points(self, name: str) -> Array:
        """(3, 2, 1) [m] of right and left, each in its own segment's frame."""
        return np.stack([self.body.points[f"{side}_{name}"][1] for side in SIDES], axis=1)[..., None]

    def _feet(self) -> _Feet:
        turn = np.stack([about_axis("y", -mirror * TOE_OUT) for mirror in MIRROR[:, 0]], axis=2)[..., None]
        roll = np.stack([about_axis("x", mirror * WEDGE_LAW.roll * self.spec.wedge) for mirror in MIRROR[:, 0]], axis=2)
        stands = [self.body.standing[f"{side}_foot"] for side in SIDES]
        standing = np.stack([rotation for rotation, _ in stands], axis=2)[..., None]
        ball, heel = self._points("forefoot"), self._points("calcaneus")
        ankle, nothing = np.array([origin[1] for _, origin in stands])[:, None], np.zeros((2, 1))
        middle = np.stack((0.5 * (ball[0] + heel[0]), -ankle, nothing))
        ball = np.stack((ball[0], -ankle, nothing))
        stance = np.stack((nothing, nothing, 0.5 * MIRROR * self.spec.stance))
        late = np.array([[self._late(side)] for side in SIDES])
        stop = np.array([self.posture.ball_stop, self.posture.ankle_stop])[:, None, None]
        return _Feet(
            touchdown=self.first_contact + late,
            fall=FootFall(self.speed + G * late, self.spec.approach, stop),
            resting=compose(compose(turn, standing), roll[..., None]),
            rest=stance + rotate(turn, ball - middle),
            ball=ball,
            middle=stance,
            forward=turn[:, 0],
            outward=MIRROR * turn[:, 2],
        )

    def place(self, q: Array, time: Array) -> tuple[Array, Array]:
        """lab_from_segment (3, 3, S, B) and origins (3, S, B)."""
        rotation, origin = np.empty((3, 3, len(self.segments), time.size)), np.empty((3, len(self.segments), time.size))
        pelvis = self._pelvis(time)
        trunk = compose(from_vector(q[3:]), self.standing_trunk)
        l5s1 = q[:3] + rotate(pelvis, self.body.points["l5s1"][1][:, None])
        poses = {"pelvis": (pelvis, q[:3]), "trunk": (trunk, l5s1 - rotate(trunk, self.l5s1_in_trunk))}
        hip = q[:3, None] + rotate(pelvis[:, :, None], self.hips)
        foot, ankle = self.feet.pose(time)
        thigh, shank, knee = self._legs(hip, ankle, time)
        for name, turned, start in (("foot", foot, ankle), ("thigh", thigh, hip), ("shank", shank, knee)):
            for k, side in enumerate(SIDES):
                poses[f"{side}_{name}"] = turned[:, :, k], start[:, k]
        for s, name in enumerate(self.segments):
            rotation[:, :, s], origin[:, s] = poses[name]
        return rotation, origin

    def _since(self, time: Array) -> Array:
        return time - self.first_contact

    def _crouch(self, time: Array) -> Array:
        """0 at touch-down, 1 in the crouch, 1 - RECOVERY at the end."""
        since = self._since(time)
        down, up = step(np.stack((since / CROUCH_TIME, (since - CROUCH_TIME) / 0.5)))
        return np.asarray(down - RECOVERY * up)

    def _pelvis(self, time: Array) -> Array:
        """lab_from_pelvis (3, 3, B)."""
        tilt = self.posture.tilt + self.posture.tilt_change * self._crouch(time)
        drop = self.sideways * np.deg2rad(3.0) * bump(self._since(time) / 0.5)
        return compose(about_axis("z", -tilt), compose(about_axis("x", drop), self.standing_pelvis))

    def _legs(self, hip: Array, ankle: Array, time: Array) -> tuple[Array, Array, Array]:
        """lab_from_thigh, lab_from_shank (3, 3, 2, B) and knees (3, 2, B) of right and left leg between the centres of
        hip and ankle (3, 2, B): two links, the knee in its heading's plane."""
        thigh_length, shank_length = self.lengths
        inward = bump(self._since(time) / 0.4)
        heading = TOE_OUT - self.spec.knee_dip * inward
        ahead = np.broadcast_to(np.cos(heading), (2, time.size))
        direction = np.stack((ahead, np.zeros_like(ahead), MIRROR * np.sin(heading)))
        line = ankle - hip
        distance = np.sqrt(dot(line, line))
        right = unit(cross(direction, -line))
        along = 0.5 * (thigh_length**2 - shank_length**2 + distance**2) / distance
        knee = hip + along / distance * line + np.sqrt(thigh_length**2 - along**2) * cross(right, line / distance)
        thigh = _two_axes((hip - knee) / thigh_length, right, -MIRROR * np.deg2rad(2.0) * inward)
        inward_turn = np.deg2rad(3.0) + np.deg2rad(5.0) * inward - WEDGE_LAW.turn * self.spec.wedge
        return thigh, _two_axes((knee - ankle) / shank_length, right, MIRROR * inward_turn), knee

    def mean(self, x: Array) -> Array:
        """(3, N) mean of (3, S, N), weighted by mass."""
        return np.einsum("s,isn->in", self.mass / self.mass.sum(), x)

    def momentum(self, rotation: Array, centre: Array, velocity: Array, spin: Array) -> Array:
        """(6, ..., N) linear and angular momentum of the bones about the lab origin from (3, S, ..., N)."""
        linear = velocity * self.bone_mass.reshape(-1, *(1,) * (velocity.ndim - 2))
        tensor = self.tensor.reshape(*self.tensor.shape, *(1,) * (velocity.ndim - 2))
        angular = cross(centre, linear) + rotate(rotation, rotate(tensor, rotate_back(rotation, spin)))
        return np.concatenate((linear.sum(axis=1), angular.sum(axis=1)))

    def flesh_of(self, state: Array) -> tuple[Array, Array]:
        """Places and velocities (3, K, N) of the flesh in a state."""
        place, velocity = state[12:].reshape(2, 3, len(self.flesh.where), *state.shape[1:])
        return place, velocity

    def rates_of(self, state: Array, time: Array) -> Rates:
        """First order of the motion in a state."""
        return self.rates(state[:6], state[6:12] - self.flesh.momentum(*self.flesh_of(state)), time)

    def rates(self, q: Array, momentum: Array, time: Array) -> Rates:
        """First order of the motion from coordinates (6, N) and momentum of the bones (6, N) at times (N,)."""
        samples, segments = time.size, len(self.segments)
        delta = np.zeros((7, 7))
        delta[np.arange(7), np.arange(7)] = [PLACE_DELTA] * 6 + [TIME_DELTA]
        now = np.concatenate((q, time[None]))
        moved = now[:, None, None] + (delta[:, :, None] * OFFSETS)[..., None]
        every = np.concatenate((moved.reshape(7, -1), now), axis=1)
        rotation, origin = self.place(every[:6], every[6])
        centre = origin + rotate(rotation, self.com[..., None])
        weights = CENTRAL / np.diag(delta)[:, None]
        shape = (segments, 7, 6, samples)
        rotation_slope, centre_slope = (
            np.einsum("...kon,ko->...kn", x[..., :-samples].reshape(*x.shape[:-2], *shape), weights)
            for x in (rotation, centre)
        )
        rotation, origin, centre = (x[..., -samples:] for x in (rotation, origin, centre))
        turning = compose(rotation_slope, inverse(rotation)[:, :, :, None])
        spin_slope = 0.5 * np.stack(
            (turning[2, 1] - turning[1, 2], turning[0, 2] - turning[2, 0], turning[1, 0] - turning[0, 1])
        )
        columns = self.momentum(rotation[:, :, :, None], centre[:, :, None], centre_slope, spin_slope)
        right_side = (momentum - columns[:, 6]).T[..., None]
        coordinate = np.linalg.solve(columns[:, :6].transpose(2, 0, 1), right_side)[..., 0].T
        full = np.concatenate((coordinate, np.ones((1, samples))))
        velocity, spin = (np.einsum("iskn,kn->isn", slope, full) for slope in (centre_slope, spin_slope))
        return Rates(coordinate.astype(float), rotation, origin, centre, velocity, spin)

    def wrenches(self, q: Array, rates: Rates, time: Array) -> Wrenches:
        """Ground force on each foot: time gives the vertical, balance gives shear, pressure point and free moment."""
        weight = self.spec.rider.weight
        centre, velocity = self.mean(rates.centre), self.mean(rates.velocity)
        pull = (-PLACE_STIFFNESS * (centre - self.target[:, None]) - PLACE_DAMPING * velocity) / G
        shear_x, shear_z = soft_clip(pull[0], FRICTION), soft_clip(pull[2], FRICTION)
        lean = self.posture.lean + self.posture.lean_change * self._crouch(time)
        error = q[3:] - np.stack((np.zeros_like(time), np.zeros_like(time), -lean))
        lever = -LEAN_INERTIA * self.lump.mass / weight * (LEAN_STIFFNESS * error + LEAN_DAMPING * rates.coordinate[3:])
        lever = soft_clip(lever, 0.1)
        wanted_x = centre[0] - centre[1] * shear_x + lever[2]
        wanted_z = centre[2] - centre[1] * shear_z - lever[0]
        vertical = self._vertical(time, wanted_z)
        point = self._pressure_points(wanted_x, time)
        total = vertical.sum(axis=0)
        middle = np.einsum("kn,ikn->in", vertical, point) / np.where(total > 0, total, 1.0)
        apart = LEANING * (middle[:, None] - point) / centre[1]
        force = np.stack((vertical * (shear_x + apart[0]), vertical, vertical * (shear_z + apart[2])))
        moment = cross(point, force)
        moment[1] += vertical * soft_clip(lever[1], 0.03)
        return Wrenches(force, moment, point)

    def _vertical(self, time: Array, wanted_z: Array) -> Array:
        """(2, N) [N] vertical force of each foot; the balance shifts part of it from one foot to the other."""
        each = self.profile(time - self.feet.touchdown)
        both = each.sum(axis=0)
        common = each[0] * each[1] / np.where(both > 0, both, 1.0)
        width = self.spec.stance
        shift = soft_clip(2.0 * (wanted_z - self.target[2]) / width, 0.5) * common
        return self.spec.rider.weight * (self.share[:, None] * each + np.stack((shift, -shift)))

    def _pressure_points(self, wanted_x: Array, time: Array) -> Array:
        """(3, 2, N) [m] on the floor: from the forefoot at touch-down to where the balance wants it."""
        feet = self.feet
        settled = step((time - feet.touchdown) / (1.2 * self.posture.ankle_stop))
        along = self.posture.toward_toes * (1.0 - settled) + soft_clip(wanted_x - self.target[0], SOLE_HALF) * settled
        return feet.middle + feet.forward * along - feet.outward * (WEDGE_LAW.shift * self.spec.wedge)

    def slope(self, time: float, state: Array) -> Array:
        """Time derivative of a state (12 + 6 K,)."""
        now, state = np.array([time]), state[:, None]
        rates = self.rates_of(state, now)
        ground = self.wrenches(state[:6], rates, now)
        place, velocity = self.flesh_of(state)
        hangs = list(self.flesh.where)
        pulled = self.flesh.pulled(place - rates.centre[:, hangs], velocity - rates.velocity[:, hangs])
        down = np.array([0.0, -G, 0.0])[:, None, None]
        weight, hanging = down * self.bone_mass[:, None], down * self.flesh.mass[:, None]
        force = ground.force.sum(axis=1) + weight.sum(axis=1) + hanging.sum(axis=1)
        moment = ground.moment.sum(axis=1) + cross(rates.centre, weight).sum(axis=1) + cross(place, hanging).sum(axis=1)
        return np.concatenate((rates.coordinate[:, 0], force[:, 0], moment[:, 0], velocity.ravel(), pulled.ravel()))

    def start(self) -> Array:
        """(12 + 6 K,) state at time 0: rigid flight to the touch-down, in the posture held there."""
        flight, lean = self.first_contact, np.array([0.0, 0.0, -self.posture.lean])
        travelled = np.array([self.spec.approach * flight, -self.speed * flight + 0.5 * G * flight**2, 0.0])
        q, time = np.concatenate((self._touchdown_place(lean) - travelled, lean))[:, None], np.zeros(1)
        rotation, origin = self.place(q, time)
        centre = origin + rotate(rotation, self.com[..., None])
        speed = np.array([self.spec.approach, -self.speed + G * flight, 0.0])[:, None, None] + np.zeros_like(centre)
        hangs = list(self.flesh.where)
        place, velocity = centre[:, hangs] + self.flesh.floating()[..., None], speed[:, hangs]
        momentum = self.momentum(rotation, centre, speed, np.zeros_like(centre))
        momentum += self.flesh.momentum(place, velocity)
        return np.concatenate((q[:, 0], momentum[:, 0], place.ravel(), velocity.ravel()))

    def _touchdown_place(self, lean: Array) -> Array:
        """(3,) [m] pelvis origin at touch-down: the back leg at its length, the mass centre behind the loaded place."""
        from scipy.optimize import fsolve

        leg = [self.segments.index(f"{self.back}_{name}") for name in ("thigh", "foot")]
        reach = self.posture.leg * float(self.lengths[:, SIDES.index(self.back)].sum())
        wanted = self.target - [LEAD_TIME * self.spec.approach, 0.0, 0.0]

        def miss(place: Array) -> Array:
            rotation, origin = self.place(np.concatenate((place, lean))[:, None], np.array([self.first_contact]))
            off = (self.mean(origin + rotate(rotation, self.com[..., None]))[:, 0] - wanted)[[0, 2]]
            hip, ankle = origin[:, leg, 0].T
            return np.array([*off, np.linalg.norm(hip - ankle) - reach])

        crouched = wanted + [0.0, 0.5 * self.spec.rider.height, 0.0]
        return np.asarray(fsolve(miss, crouched, xtol=1e-12))


def _two_axes(up: Array, right: Array, turn: Array) -> Array:
    """Rotation (3, 3, ...) with Y along `up`, Z along its normal `right`, then turned about Y by `turn` [rad]."""
    return compose(np.stack((cross(up, right), up, right), axis=1), about_axis("y", turn))

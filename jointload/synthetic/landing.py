"""A landing whose truth is known: the ground forces are exactly those that the Newton-Euler equations demand."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from jointload.body.angles import JointAngles, joint_angles
from jointload.body.calibration import FittedBody
from jointload.body.inertia import SegmentInertia
from jointload.body.pose import SegmentPoses
from jointload.errors import SettingError, expected_found
from jointload.intake.recording import SIDES, Array
from jointload.intake.rider import G
from jointload.loads.moments import JointLoads, SegmentMotion, joint_loads, loaded_segments
from jointload.synthetic.flesh import Flesh, of_whole_segments
from jointload.synthetic.model import CENTRAL, OFFSETS, TIME_DELTA, Model, Rates
from jointload.synthetic.specification import LandingSpec

CONTACT_FORCE = 20.0
"""Vertical force [N] that makes a touch-down: the true force begins too softly for its first instant to be one."""
LONGEST_STEP = 0.02
"""Of the integration [s]: none of the flight reaches past the impact."""


@dataclass(frozen=True, eq=False)
class SyntheticLanding:
    """The whole truth of a landing, N samples at the force rate.

    poses, motion, angles, loads : as the analysis has them, from exact derivatives
    force, moment : (3, 2, N) [N], [N m] on right and left foot about the lab origin
    point : (3, 2, N) [m] centre of pressure, on the floor
    centre, velocity : (3, N) [m], [m/s] of the whole body's centre of mass
    trunk : the lump above the pelvis;  trunk_motion : its motion
    contact : side to the time [s] at which its force begins;  touchdown : at which it passes CONTACT_FORCE
    swing : segment to the place (3, N) [m] of its flesh beside where it hangs in standing, where it has any
    """

    spec: LandingSpec
    body: FittedBody
    trunk: SegmentInertia
    time: Array
    poses: SegmentPoses
    motion: SegmentMotion
    trunk_motion: SegmentMotion
    angles: JointAngles
    loads: JointLoads
    force: Array
    moment: Array
    point: Array
    centre: Array
    velocity: Array
    contact: dict[str, float]
    touchdown: dict[str, float]
    swing: Mapping[str, Array] = field(default_factory=dict)

    def speed_at(self, time: float) -> float:
        """Downward speed [m/s] that free fall would have reached at a time [s]."""
        return float(np.sqrt(2 * G * self.spec.drop) + G * (time - min(self.contact.values())))


def simulate_landing(
    spec: LandingSpec, body: FittedBody | None = None, flesh: Mapping[str, Flesh] | None = None
) -> SyntheticLanding:
    """Integrate one landing and evaluate its whole truth at the force rate.

    body : the rider's true body where it is not the one that the formulas make of the rider;  flesh : of its segments
    """
    from scipy.integrate import solve_ivp

    model = Model(spec, body, flesh)
    duration = model.first_contact + spec.settling
    frames = int(duration * spec.marker_rate)
    time = np.arange(frames * round(spec.force_rate / spec.marker_rate)) / spec.force_rate
    margin = OFFSETS[-1] * TIME_DELTA
    span, accuracy = (0.0, duration + margin), {"rtol": 1e-9, "atol": 1e-10, "max_step": LONGEST_STEP}
    with np.errstate(invalid="ignore"):
        run = solve_ivp(model.slope, span, model.start(), "DOP853", dense_output=True, **accuracy)
    if not run.success or not np.isfinite(run.y).all():
        what = expected_found(
            "landing", "a motion the legs can make", "none", spec.name, "choose a lower drop or approach"
        )
        raise SettingError(what)
    return _evaluate(model, run.sol, time)


def _evaluate(model: Model, states: Callable[[Array], Array], time: Array) -> SyntheticLanding:
    """The truth at times (N,) from the continuous solution; accelerations are differences of exact velocities."""
    rates = [_rates_at(model, states, time + offset * TIME_DELTA) for offset in OFFSETS]
    acceleration, spin_rate = (
        np.einsum("o,oisn->isn", CENTRAL / TIME_DELTA, [getattr(r, key) for r in rates]) for key in ("velocity", "spin")
    )
    now = _rates_at(model, states, time)
    state = states(time)
    ground = model.wrenches(state[:6], now, time)
    body, spec = model.body, model.spec
    poses = SegmentPoses(model.segments, now.rotation, now.origin, np.zeros(now.origin.shape[1:]), spec.force_rate)

    bones = SegmentMotion(now.rotation, now.centre, acceleration, now.spin, spin_rate)
    whole, beside = _with_flesh(model, bones, state, now)

    def motion(names: tuple[str, ...]) -> SegmentMotion:
        s = [model.segments.index(name) for name in names]
        return SegmentMotion(
            whole.rotation[:, :, s],
            whole.centre[:, s],
            whole.acceleration[:, s],
            whole.angular_velocity[:, s],
            whole.angular_acceleration[:, s],
        )

    angles, moving = joint_angles(poses, body), motion(loaded_segments(body))
    return SyntheticLanding(
        spec=spec,
        body=body,
        trunk=model.lump,
        time=time,
        poses=poses,
        motion=moving,
        trunk_motion=motion(("trunk",)),
        angles=angles,
        loads=joint_loads(poses, body, angles, ground.force, ground.moment, moving),
        force=ground.force,
        moment=ground.moment,
        point=ground.point,
        centre=model.mean(whole.centre),
        velocity=_mean_velocity(model, state, now),
        contact=dict(zip(SIDES, model.feet.touchdown[:, 0].tolist(), strict=True)),
        touchdown={side: _passing(ground.force[1, k], time) for k, side in enumerate(SIDES)},
        swing={model.segments[s]: beside[:, k] for k, s in enumerate(model.flesh.where)},
    )


def _passing(vertical: Array, time: Array) -> float:
    """Time [s] at which a vertical force (N,) [N] first passes CONTACT_FORCE, between samples by a straight line."""
    k = int(np.argmax(vertical > CONTACT_FORCE))
    return float(np.interp(CONTACT_FORCE, vertical[k - 1 : k + 1], time[k - 1 : k + 1]))


def _rates_at(model: Model, states: Callable[[Array], Array], time: Array) -> Rates:
    return model.rates_of(states(time), time)


def _with_flesh(model: Model, bones: SegmentMotion, state: Array, now: Rates) -> tuple[SegmentMotion, Array]:
    """Motion of the segments with their flesh; where it is (3, K, N) [m] beside where it hangs."""
    flesh = model.flesh
    if not flesh.where:
        return bones, np.zeros((3, 0, state.shape[1]))
    hangs = list(flesh.where)
    place, velocity = model.flesh_of(state)
    share, beside, pulled = np.zeros(model.mass.size), np.zeros_like(now.centre), bones.acceleration.copy()
    share[hangs] = flesh.mass / model.mass[hangs]
    beside[:, hangs] = place - now.centre[:, hangs]
    pulled[:, hangs] = flesh.pulled(beside[:, hangs], velocity - now.velocity[:, hangs])
    return of_whole_segments(bones, model.mass, model.tensor, share, beside, pulled), beside[:, hangs]


def _mean_velocity(model: Model, state: Array, now: Rates) -> Array:
    """(3, N) [m/s] of the whole body's centre of mass."""
    if not model.flesh.where:
        return model.mean(now.velocity)
    return np.asarray(state[6:9] / model.mass.sum())

"""Newton-Euler against an independent engine, closed forms and laws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from jointload.loads.moments import GRAVITY, Chain, SegmentMotion, inverse_dynamics
from jointload.numerics.rotations import about_axis, angular_motion, cross, rotate
from jointload.numerics.signals import second_derivative
from jointload.numerics.together import TOGETHER

ROUNDING = 1e-8
"""[N], [N m]: two engines in double precision on forces of some thousand newtons."""
FRAMES = 40


class Tree:
    """Two legs of three segments on a pelvis that moves freely; every joint a ball joint.

    Coordinates are the pelvis' place and every body's ZXY rotation relative to its parent, each a polynomial of third
    degree in time.
    """

    names = ("right_foot", "right_shank", "right_thigh", "left_foot", "left_shank", "left_thigh", "pelvis")
    above = (1, 2, 6, 4, 5, 6, -1)

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        n = len(self.names)
        self.mass = rng.uniform(0.5, 12.0, n)
        self.com = rng.normal(scale=0.1, size=(3, n))
        self.tensor = np.stack([self._tensor(rng) for _ in range(n)], axis=2)
        self.offset = rng.normal(scale=0.3, size=(3, n))
        """The proximal joint of every segment in its parent's frame; the segment's origin is its joint."""
        self.angle = rng.normal(scale=1.0, size=(n, 3, 4))
        self.place = rng.normal(scale=1.0, size=(3, 4))
        self.time = np.linspace(0.0, 1.0, FRAMES)
        self.foot_force = rng.normal(scale=800.0, size=(3, 2, FRAMES))
        self.foot_moment = rng.normal(scale=200.0, size=(3, 2, FRAMES))

    @staticmethod
    def _tensor(rng: np.random.Generator) -> np.ndarray:
        axes = Rotation.random(random_state=int(rng.integers(1 << 30))).as_matrix()
        a, b = rng.uniform(0.01, 0.2, 2)
        return axes @ np.diag([a, b, rng.uniform(abs(a - b), a + b)]) @ axes.T


def pinocchio_joint_loads(tree: Tree) -> tuple[np.ndarray, np.ndarray, SegmentMotion, np.ndarray]:
    """Force and moment on every segment at its joint, lab axes, and the motion itself, from Pinocchio's own
    recursion."""
    pin = pytest.importorskip("pinocchio", reason="pinocchio (PyPI pin) is not installed")
    model = pin.Model()
    model.gravity = pin.Motion(GRAVITY, np.zeros(3))
    ids: dict[int, int] = {}
    for s in reversed(range(len(tree.names))):
        parent = ids[tree.above[s]] if tree.above[s] >= 0 else 0
        placement = pin.SE3(np.eye(3), tree.offset[:, s] if parent else np.zeros(3))
        joint = pin.JointModelFreeFlyer() if not parent else pin.JointModelSpherical()
        ids[s] = model.addJoint(parent, joint, placement, tree.names[s])
        model.appendBodyToJoint(
            ids[s], pin.Inertia(tree.mass[s], tree.com[:, s], tree.tensor[:, :, s]), pin.SE3.Identity()
        )
    data = model.createData()
    shape = (3, len(tree.names), FRAMES)
    out = {k: np.empty(shape) for k in ("force", "moment", "centre", "acceleration", "velocity", "turning", "joint")}
    rotation = np.empty((3, *shape))
    powers = np.arange(4)
    for f, t in enumerate(tree.time):
        q, v, a = np.zeros(model.nq), np.zeros(model.nv), np.zeros(model.nv)
        basis = (
            t**powers,
            powers * t ** np.maximum(powers - 1, 0),
            powers * (powers - 1) * t ** np.maximum(powers - 2, 0),
        )
        for s, j in ids.items():
            iq, iv = model.joints[j].idx_q, model.joints[j].idx_v
            quaternion, rate, change = _spherical(tree.angle[s], basis)
            if tree.above[s] < 0:
                turned = Rotation.from_quat(quaternion).as_matrix()
                place, speed, pull = (tree.place @ b for b in basis)
                q[iq : iq + 3] = place
                q[iq + 3 : iq + 7] = quaternion
                v[iv : iv + 3], v[iv + 3 : iv + 6] = turned.T @ speed, rate
                a[iv : iv + 3], a[iv + 3 : iv + 6] = turned.T @ pull - np.cross(rate, turned.T @ speed), change
            else:
                q[iq : iq + 4], v[iv : iv + 3], a[iv : iv + 3] = quaternion, rate, change
        pin.forwardKinematics(model, data, q, v, a)
        external = pin.StdVec_Force()
        for _ in range(model.njoints):
            external.append(pin.Force.Zero())
        for c, s in enumerate((0, 3)):
            wrench = pin.Force(tree.foot_force[:, c, f], tree.foot_moment[:, c, f])
            external[ids[s]] = data.oMi[ids[s]].actInv(wrench)
        pin.rnea(model, data, q, v, a, external)
        for s, j in ids.items():
            turned = data.oMi[j].rotation
            rotation[:, :, s, f] = turned
            out["force"][:, s, f] = turned @ data.f[j].linear
            out["moment"][:, s, f] = turned @ data.f[j].angular
            out["joint"][:, s, f] = data.oMi[j].translation
            velocity, acceleration = data.v[j], data.a[j]
            com = tree.com[:, s]
            out["centre"][:, s, f] = data.oMi[j].act(com)
            classical = acceleration.linear + np.cross(velocity.angular, velocity.linear)
            spin = np.cross(acceleration.angular, com) + np.cross(velocity.angular, np.cross(velocity.angular, com))
            out["acceleration"][:, s, f] = turned @ (classical + spin)
            out["velocity"][:, s, f] = turned @ velocity.angular
            out["turning"][:, s, f] = turned @ acceleration.angular
    motion = SegmentMotion(rotation, out["centre"], out["acceleration"], out["velocity"], out["turning"])
    return out["force"], out["moment"], motion, out["joint"]


def _spherical(coefficients: np.ndarray, basis: tuple[np.ndarray, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Quaternion (x y z w), and angular velocity and acceleration in the body, of Rz(a) Rx(b) Ry(c) with polynomial
    angles."""
    (a, b, c), (da, db, dc), (dda, ddb, ddc) = (coefficients @ p for p in basis)
    quaternion = Rotation.from_euler("ZXY", [a, b, c]).as_quat()
    sb, cb, sc, cc = np.sin(b), np.cos(b), np.sin(c), np.cos(c)
    carried = np.array([[-cb * sc, cc, 0.0], [sb, 0.0, 1.0], [cb * cc, sc, 0.0]])
    change = np.array(
        [
            [sb * sc * db - cb * cc * dc, -sc * dc, 0.0],
            [cb * db, 0.0, 0.0],
            [-sb * cc * db - cb * sc * dc, cc * dc, 0.0],
        ]
    )
    rates = np.array([da, db, dc])
    return quaternion, carried @ rates, carried @ np.array([dda, ddb, ddc]) + change @ rates


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_every_joint_force_and_moment_equals_pinocchio(seed: int) -> None:
    """Pinocchio (PyPI `pin`), a general rigid-body library: recursive Newton-Euler with analytic derivatives."""
    tree = Tree(seed)
    force, moment, motion, joint = pinocchio_joint_loads(tree)
    chain = Chain(tree.mass, tree.tensor, tree.above)
    ours = inverse_dynamics(motion, chain, joint, tree.foot_force, tree.foot_moment, (0, 3))
    assert np.abs(force).max() > 100, "a trivial motion would prove nothing"
    assert np.abs(ours[0] - force).max() < ROUNDING
    assert np.abs(ours[1] - moment).max() < ROUNDING


def one_segment(rotation: np.ndarray, centre: np.ndarray, dt: float) -> SegmentMotion:
    velocity, acceleration = angular_motion(rotation[:, :, None], dt)
    return SegmentMotion(
        rotation[:, :, None], centre[:, None], second_derivative(centre, dt)[:, None], velocity, acceleration
    )


def test_a_resting_block_carries_its_weight() -> None:
    rotation = np.repeat(np.eye(3)[..., None], 5, axis=2)
    centre = np.repeat(np.array([0.2, 0.5, -0.1])[:, None], 5, axis=1)
    chain = Chain(np.array([3.0]), np.eye(3)[..., None] * 0.1, (-1,))
    nothing = np.zeros((3, 1, 5))
    force, moment = inverse_dynamics(one_segment(rotation, centre, 0.01), chain, nothing, nothing, nothing, (0,))
    np.testing.assert_allclose(force[:, 0, 2], [0.0, 3.0 * 9.80665, 0.0], atol=1e-12)
    np.testing.assert_allclose(moment[:, 0, 2], np.cross([0.2, 0.5, -0.1], [0.0, 3.0 * 9.80665, 0.0]), atol=1e-12)


def test_a_free_pendulum_needs_no_moment_at_its_pivot() -> None:
    """A rod that swings from rest at small steps of an exact integration: the pivot moment stays zero."""
    from scipy.integrate import solve_ivp

    length, mass = 0.8, 2.0
    about_pivot = mass * length**2 / 3
    pull = mass * 9.80665 * length / 2 / about_pivot
    dt = 1e-3
    time = np.arange(0.0, 1.0, dt)
    angle = solve_ivp(
        lambda t, y: (y[1], -pull * np.sin(y[0])), (0, 1), (1.2, 0.0), t_eval=time, rtol=1e-11, atol=1e-12
    ).y[0]
    rotation = about_axis("z", angle)
    centre = rotate(rotation, np.array([0.0, -length / 2, 0.0])[:, None])
    bar = mass * length**2 / 12
    chain = Chain(np.array([mass]), np.diag([bar, 0.0, bar])[..., None], (-1,))
    nothing = np.zeros((3, 1, time.size))
    _, moment = inverse_dynamics(one_segment(rotation, centre, dt), chain, nothing, nothing, nothing, (0,))
    largest_gravity_moment = mass * 9.80665 * length / 2
    assert np.nanmax(np.abs(moment[:, 0])) < 1e-5 * largest_gravity_moment, "second-order differences at 1 ms"


def test_a_free_fall_loads_no_joint() -> None:
    dt = 0.002
    time = np.arange(50) * dt
    drop = np.stack([0.3 * time, 2.0 - 0.5 * 9.80665 * time**2, 0 * time])
    rotation = np.repeat(Rotation.random(random_state=4).as_matrix()[..., None], 50, axis=2)
    chain = Chain(np.array([5.0]), np.diag([0.1, 0.2, 0.15])[..., None], (-1,))
    nothing = np.zeros((3, 1, 50))
    force, _ = inverse_dynamics(one_segment(rotation, drop, dt), chain, drop[:, None], nothing, nothing, (0,))
    assert np.nanmax(np.abs(force)) < 1e-6, "rounding of positions of a metre over dt squared"


@pytest.fixture(scope="module")
def random_case() -> tuple[SegmentMotion, Chain, np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(7)
    rotation = Rotation.random(3 * 20, random_state=8).as_matrix().reshape(3, 20, 3, 3).transpose(2, 3, 0, 1)
    motion = SegmentMotion(rotation, *(rng.normal(size=(3, 3, 20)) for _ in range(4)))
    tensor = np.stack([np.diag(rng.uniform(0.1, 0.2, 3)) for _ in range(3)], axis=2)
    return motion, Chain(rng.uniform(1, 5, 3), tensor, (1, 2, -1)), *(rng.normal(size=(3, n, 20)) for n in (3, 1, 1))


def test_doubling_masses_and_forces_doubles_moments(random_case: tuple) -> None:
    motion, chain, joint, force, moment = random_case
    once = inverse_dynamics(motion, chain, joint, force, moment, (0,))
    twice = inverse_dynamics(
        motion, Chain(2 * chain.mass, 2 * chain.tensor, chain.above), joint, 2 * force, 2 * moment, (0,)
    )
    np.testing.assert_allclose(twice[1], 2 * once[1], rtol=1e-12, atol=1e-12)


def test_turning_the_laboratory_turns_the_answer(random_case: tuple) -> None:
    motion, chain, joint, force, moment = random_case
    turn = Rotation.random(random_state=3).as_matrix()

    def turned(vector: np.ndarray) -> np.ndarray:
        return np.einsum("ij,j...->i...", turn, vector)

    once = inverse_dynamics(motion, chain, joint, force, moment, (0,))
    spun = SegmentMotion(
        *(
            turned(getattr(motion, n))
            for n in ("rotation", "centre", "acceleration", "angular_velocity", "angular_acceleration")
        )
    )
    again = inverse_dynamics(spun, chain, turned(joint), turned(force), turned(moment), (0,), turn @ GRAVITY)
    np.testing.assert_allclose(again[1], turned(once[1]), atol=1e-11)


def test_moving_the_lab_origin_changes_nothing(random_case: tuple) -> None:
    motion, chain, joint, force, moment = random_case
    shift = np.array([3.0, -1.0, 2.0])[:, None, None]
    moved = SegmentMotion(
        motion.rotation,
        motion.centre + shift,
        motion.acceleration,
        motion.angular_velocity,
        motion.angular_acceleration,
    )
    once = inverse_dynamics(motion, chain, joint, force, moment, (0,))
    again = inverse_dynamics(
        moved, chain, joint + shift, force, moment + cross(np.broadcast_to(shift, force.shape), force), (0,)
    )
    np.testing.assert_allclose(again[1], once[1], atol=1e-11)


def test_an_unknown_wrench_reaches_the_joints_above_and_no_other() -> None:
    tree_above = (1, 2, 4, 4, -1)
    rng = np.random.default_rng(2)
    rotation = np.repeat(np.eye(3)[..., None, None], 5, axis=2).repeat(4, axis=3)
    motion = SegmentMotion(rotation, *(rng.normal(size=(3, 5, 4)) for _ in range(4)))
    chain = Chain(np.ones(5), np.eye(3)[..., None].repeat(5, axis=2), tree_above)
    force = np.zeros((3, 2, 4))
    force[:, 0] = np.nan
    moment = inverse_dynamics(motion, chain, rng.normal(size=(3, 5, 4)), force, force.copy(), (0, 3))[1]
    assert np.isnan(moment[:, [0, 1, 2, 4]]).all()
    assert np.isfinite(moment[:, 3]).all()


def test_a_long_recording_is_the_sum_of_its_parts() -> None:
    frames, segments = 2 * TOGETHER + 300, 3
    rng = np.random.default_rng(0)
    turns = Rotation.random(segments * frames, random_state=1).as_matrix().reshape(segments, frames, 3, 3)
    motion = SegmentMotion(turns.transpose(2, 3, 0, 1), *(rng.normal(size=(3, segments, frames)) for _ in range(4)))
    chain = Chain(np.ones(segments), np.stack([np.diag([0.1, 0.2, 0.25])] * segments, axis=2), (1, 2, -1))
    centre, contact = rng.normal(size=(3, segments, frames)), rng.normal(size=(3, 1, frames))
    whole = inverse_dynamics(motion, chain, centre, contact, contact, (0,))
    for start in range(0, frames, 7000):
        some = slice(start, start + 7000)
        motion_then = motion.part(slice(None), some)
        part = inverse_dynamics(motion_then, chain, centre[..., some], contact[..., some], contact[..., some], (0,))
        assert all(np.array_equal(one[..., some], other) for one, other in zip(whole, part, strict=True))

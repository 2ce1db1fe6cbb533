"""The synthetic landing against laws of mechanics, an independent engine, the file format and the whole pipeline."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from landed import landed

from jointload.body.angles import joint_angles
from jointload.body.calibration import calibrate, quiet_frames
from jointload.body.pose import smooth_markers, track_segments
from jointload.errors import OutputError, SettingError
from jointload.intake.c3d import read_recording
from jointload.intake.recording import Recording
from jointload.intake.rider import G, Rider
from jointload.loads.contact import foot_contact
from jointload.loads.moments import joint_loads, loaded_segments
from jointload.synthetic.c3d_file import write_c3d
from jointload.synthetic.landing import SyntheticLanding, simulate_landing
from jointload.synthetic.measurement import as_recording, exact_markers
from jointload.synthetic.profiles import FootFall, bump, force_profile, step
from jointload.synthetic.sample import WEDGE
from jointload.synthetic.specification import WEDGE_LAW, LandingSpec
from jointload.synthetic.standing import SILENT, TYPICAL, label_map, static_recording
from jointload.synthetic.truth import truth_table

RIDER = Rider("rider_t", 72.0, 1.76, "m", stance="right")
SPEC = LandingSpec(RIDER, knee_dip=0.1, marker_rate=1000.0, noise=SILENT, settling=0.6)
RESIDUAL = 1e-6
"""Share of the peak that Newton and Euler may leave: the accelerations are sixth-order differences over 0.1 ms."""
ANGLE = np.deg2rad(0.1)
MOMENT = 0.01
"""Share of a joint's peak moment; 1000 Hz central differences of an impact of 25 ms leave up to 0.7 %."""
STILL = 1e-8
"""Angle [rad] that the integration's tolerance of 1e-9 may leave in rigid flight."""
FLOAT32 = 2.0**-23
"""Relative spacing of the numbers in the file."""


@pytest.fixture(scope="module")
def landing() -> SyntheticLanding:
    return landed(SPEC)


@pytest.fixture(scope="module")
def trial(landing: SyntheticLanding) -> Recording:
    return as_recording(landing)


def whole_body(landing: SyntheticLanding) -> dict[str, np.ndarray]:
    """All segments, the trunk last: mass (S,), tensor (3, 3, S), and their motion."""
    parts = [landing.body.inertia[name] for name in loaded_segments(landing.body)] + [landing.trunk]
    out = {"mass": np.array([p.mass for p in parts]), "tensor": np.stack([p.tensor for p in parts], axis=2)}
    for key, axis in (
        ("rotation", 2), ("centre", 1), ("acceleration", 1), ("angular_velocity", 1), ("angular_acceleration", 1)
    ):  # fmt: skip
        out[key] = np.concatenate((getattr(landing.motion, key), getattr(landing.trunk_motion, key)), axis=axis)
    return out


def test_newton_and_euler_hold_for_the_whole_body(landing: SyntheticLanding) -> None:
    body = whole_body(landing)
    weightless = body["acceleration"] + np.array([0.0, G, 0.0])[:, None, None]
    needed = np.einsum("s,isn->in", body["mass"], weightless)
    ground = landing.force.sum(axis=1)
    assert np.abs(needed - ground).max() < RESIDUAL * np.abs(ground).max()
    tensor = np.einsum("ijsn,jks,lksn->ilsn", body["rotation"], body["tensor"], body["rotation"])
    spin = np.einsum("ijsn,jsn->isn", tensor, body["angular_velocity"])
    turning = np.einsum("ijsn,jsn->isn", tensor, body["angular_acceleration"])
    turning += np.cross(body["angular_velocity"], spin, axis=0)
    arm = np.cross(body["centre"], body["mass"][:, None] * weightless, axis=0)
    moment = landing.moment.sum(axis=1)
    assert np.abs((arm + turning).sum(axis=1) - moment).max() < RESIDUAL * np.abs(moment).max()


def test_accelerations_are_those_of_the_sampled_motion(landing: SyntheticLanding) -> None:
    """Second differences of the sampled mass centres, which know nothing of the equations, give the same."""
    dt = 1.0 / landing.spec.force_rate
    centre = landing.motion.centre
    w = np.array([1 / 90, -3 / 20, 3 / 2, -49 / 18, 3 / 2, -3 / 20, 1 / 90]) / dt**2
    second = sum(w[k] * centre[..., k : centre.shape[2] - 6 + k] for k in range(7))
    largest = np.abs(landing.motion.acceleration).max()
    assert np.abs(second - landing.motion.acceleration[..., 3:-3]).max() < 1e-4 * largest


def test_the_body_falls_freely_until_the_first_contact(landing: SyntheticLanding) -> None:
    flight = landing.time < min(landing.contact.values())
    t, height = landing.time[flight], landing.centre[1, flight]
    assert np.abs(landing.force[:, :, flight]).max() == 0.0
    assert -2 * np.polyfit(t, height, 2)[0] == pytest.approx(G, rel=1e-9)
    assert -landing.velocity[1, flight][-1] == pytest.approx(landing.speed_at(t[-1]), rel=1e-9)
    assert landing.speed_at(min(landing.contact.values())) ** 2 / (2 * G) == pytest.approx(landing.spec.drop)
    assert np.ptp(landing.angles.angle[..., flight], axis=2).max() < STILL


def test_the_landing_is_as_specified(landing: SyntheticLanding) -> None:
    total = landing.force[1].sum(axis=0) / RIDER.weight
    assert total.max() == pytest.approx(SPEC.peak, rel=0.05)
    after = (landing.time > landing.contact["right"] + 0.2) & (landing.time < landing.contact["right"] + 0.3)
    assert np.abs(landing.velocity[1, after]).max() < 0.1, "the fall has been stopped"
    share = landing.force[1, 0].max() / landing.force[1].max(axis=1).sum()
    assert share == pytest.approx(SPEC.back_share, abs=0.05)
    assert landing.contact["left"] - landing.contact["right"] == pytest.approx(SPEC.delay)
    loaded = landing.force[1] > 20.0
    friction = np.hypot(landing.force[0], landing.force[2])[loaded] / landing.force[1][loaded]
    assert friction.max() < 0.7


def test_joint_loads_against_an_independent_engine(landing: SyntheticLanding) -> None:
    pytest.importorskip("pinocchio", reason="the rigid-body library pin is not installed")
    import pinocchio

    names = (
        "pelvis",
        "trunk",
        *(f"{side}_{part}" for side in ("right", "left") for part in ("thigh", "shank", "foot")),
    )
    parents = {"trunk": "pelvis", **{f"{s}_thigh": "pelvis" for s in ("right", "left")}}
    parents |= {f"{s}_shank": f"{s}_thigh" for s in ("right", "left")} | {
        f"{s}_foot": f"{s}_shank" for s in ("right", "left")
    }
    body, order = landing.body, [*loaded_segments(landing.body), "trunk"]
    whole, inertia = whole_body(landing), {**landing.body.inertia, "trunk": landing.trunk}
    joint_of = {name: body.definition.segments[name].joint for name in names if name not in ("pelvis", "trunk")}
    model, number = pinocchio.Model(), {}
    model.gravity.linear = np.array([0.0, -G, 0.0])
    lumbar = body.standing["trunk"][0].T @ (body.standing_points["l5s1"] - body.standing["trunk"][1])
    at = {name: body.points[body.definition.joints[joint].centre][1] for name, joint in joint_of.items()}
    at["trunk"] = body.points["l5s1"][1]
    shift = {name: lumbar if name == "trunk" else np.zeros(3) for name in names}
    for name in names:
        kind = pinocchio.JointModelFreeFlyer() if name == "pelvis" else pinocchio.JointModelSpherical()
        place = pinocchio.SE3(np.eye(3), at.get(name, np.zeros(3)))
        number[name] = model.addJoint(number[parents[name]] if name in parents else 0, kind, place, name)
        own = inertia[name]
        model.appendBodyToJoint(
            number[name], pinocchio.Inertia(own.mass, own.com - shift[name], own.tensor), pinocchio.SE3.Identity()
        )
    data = model.createData()
    for n in range(250, landing.time.size, 17):
        q, v, a = pinocchio.neutral(model), np.zeros(model.nv), np.zeros(model.nv)
        rotation = {name: whole["rotation"][:, :, s, n] for s, name in enumerate(order)}
        spin = {name: whole["angular_velocity"][:, s, n] for s, name in enumerate(order)}
        spin_rate = {name: whole["angular_acceleration"][:, s, n] for s, name in enumerate(order)}
        for name in names:
            joint, turn = model.joints[number[name]], rotation[name]
            parent = parents.get(name)
            relative = turn if parent is None else rotation[parent].T @ turn
            w = spin[name] - (0.0 if parent is None else spin[parent])
            dw = spin_rate[name] - (0.0 if parent is None else spin_rate[parent])
            local_w, local_dw = turn.T @ w, turn.T @ (dw - np.cross(spin[name], w))
            quaternion = pinocchio.Quaternion(relative).coeffs()
            if parent is None:
                s, arm = order.index(name), -turn @ inertia[name].com
                origin, speed, acceleration = origin_motion(landing, n, s, arm, spin[name], spin_rate[name])
                q[joint.idx_q : joint.idx_q + 7] = [*origin, *quaternion]
                v[joint.idx_v : joint.idx_v + 6] = [*(turn.T @ speed), *local_w]
                a[joint.idx_v : joint.idx_v + 6] = [*(turn.T @ (acceleration - np.cross(w, speed))), *local_dw]
            else:
                q[joint.idx_q : joint.idx_q + 4] = quaternion
                v[joint.idx_v : joint.idx_v + 3], a[joint.idx_v : joint.idx_v + 3] = local_w, local_dw
        pinocchio.forwardKinematics(model, data, q, v, a)
        outside = pinocchio.StdVec_Force()
        outside.extend([pinocchio.Force.Zero()] * model.njoints)
        for k, side in enumerate(("right", "left")):
            wrench = pinocchio.Force(landing.force[:, k, n], landing.moment[:, k, n])
            outside[number[f"{side}_foot"]] = data.oMi[number[f"{side}_foot"]].actInv(wrench)
        torque = pinocchio.rnea(model, data, q, v, a, outside)
        root = model.joints[number["pelvis"]].idx_v
        assert np.abs(torque[root : root + 6]).max() < RESIDUAL * 5 * RIDER.weight, "the root needs no outside help"
        for name, joint_name in joint_of.items():
            i = model.joints[number[name]].idx_v
            ours = landing.loads.moment[:, landing.loads.joints.index(joint_name), n]
            assert rotation[name] @ torque[i : i + 3] == pytest.approx(ours, abs=1e-6)


def origin_motion(
    landing: SyntheticLanding, n: int, s: int, arm: np.ndarray, spin: np.ndarray, spin_rate: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Place, velocity and acceleration of a point of segment s that lies at `arm` from its mass centre.

    The velocity of the mass centre does not enter the dynamics, so zero stands for it.
    """
    speed = np.cross(spin, arm)
    acceleration = landing.motion.acceleration[:, s, n] + np.cross(spin_rate, arm) + np.cross(spin, speed)
    return landing.motion.centre[:, s, n] + arm, speed, acceleration


def test_the_pipeline_recovers_angles_and_moments(landing: SyntheticLanding, trial: Recording) -> None:
    body = calibrate(static_recording(RIDER), label_map(), RIDER)
    markers, _ = smooth_markers(trial, body, None, 0.1)
    poses, _ = track_segments(markers, body, trial.point_rate)
    angles = joint_angles(poses, body)
    contact = foot_contact(trial, poses, body, None, 20.0)
    loads = joint_loads(poses, body, angles, contact.force, contact.moment)
    assert np.abs(angles.angle - landing.angles.angle).max() < ANGLE
    assert contact.force == pytest.approx(landing.force, abs=1e-9)
    error = np.nanmax(np.abs(loads.components - landing.loads.components), axis=(0, 2))
    peak = np.abs(landing.loads.components).max(axis=(0, 2))
    assert (error < MOMENT * peak).all(), dict(zip(angles.joints, error / peak, strict=True))
    assert np.isfinite(loads.components[..., 1:-1]).all()


def test_what_is_written_is_read_again(trial: Recording, tmp_path: Path) -> None:
    hidden = trial.markers.copy()
    hidden[:, 3, 100:120] = np.nan
    written = replace(trial, markers=hidden)
    write_c3d(written, tmp_path / "landing.c3d")
    read = read_recording(tmp_path / "landing.c3d")
    assert read.labels == written.labels
    assert np.array_equal(np.isnan(read.markers), np.isnan(hidden))
    assert np.nanmax(np.abs(read.markers - hidden)) < FLOAT32 * np.nanmax(np.abs(hidden))
    assert (read.point_rate, read.force_rate) == (written.point_rate, written.force_rate)
    for got, want in zip(read.plates, written.plates, strict=True):
        assert got.corners == pytest.approx(want.corners, abs=1e-6)
        assert got.force == pytest.approx(want.force, abs=2 * FLOAT32 * np.abs(want.force).max())
        assert got.moment == pytest.approx(want.moment, abs=4 * FLOAT32 * np.abs(want.force).max())
    for event, true in zip(read.events, written.events, strict=True):
        assert (event.label, event.side) == (true.label, true.side)
        assert event.time == pytest.approx(true.time, abs=1e-6)
    assert not [finding for finding in read.findings if finding.severity != "pass"]


def test_a_file_that_cannot_be_written_is_one_line(trial: Recording, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="choose another folder"):
        write_c3d(trial, tmp_path / "missing" / "landing.c3d")


def test_noise_has_the_stated_size_and_a_seed(landing: SyntheticLanding) -> None:
    camera = replace(landing, spec=replace(SPEC, noise=replace(SILENT, camera=0.3e-3)))
    exact = np.stack(list(exact_markers(landing).values()), axis=1)
    by_label = [list(exact_markers(landing)).index(label) for label in as_recording(camera).labels]
    assert (as_recording(camera).markers - exact[:, by_label]).std() == pytest.approx(0.3e-3, rel=0.02)
    noisy = replace(landing, spec=replace(SPEC, noise=TYPICAL))
    again = as_recording(noisy).markers
    assert np.array_equal(as_recording(noisy).markers, again)
    thigh = as_recording(noisy).labels.index("R_thigh_1")
    moved = np.linalg.norm(again[:, thigh] - exact[:, by_label][:, thigh], axis=0)
    assert 3e-3 < moved.max() < 30e-3
    assert not np.array_equal(as_recording(replace(noisy, spec=replace(noisy.spec, seed=1))).markers, again)


def test_camera_noise_does_not_hide_a_quiet_stance() -> None:
    static = static_recording(RIDER, TYPICAL, seed=3)
    window = quiet_frames(static, label_map())
    assert (window.stop - window.start) / static.point_rate == pytest.approx(0.25, abs=0.01)
    assert sum(plate.force[1].mean() for plate in static.plates) == pytest.approx(RIDER.weight, rel=1e-3)


def test_a_medial_wedge_does_what_its_law_says(landing: SyntheticLanding) -> None:
    wedged = simulate_landing(replace(SPEC, wedge=WEDGE, settling=0.1))
    shared = slice(0, wedged.time.size)
    for k, (side, medial) in enumerate((("right", -1.0), ("left", 1.0))):
        turned = wedged.poses.of(f"{side}_foot")[0][:, :, -1].T @ landing.poses.of(f"{side}_foot")[0][:, :, -1]
        assert np.arccos((np.trace(turned) - 1) / 2) == pytest.approx(WEDGE_LAW.roll * WEDGE, rel=0.02)
        change = (
            wedged.angles.of(f"{side}_ankle", "inversion") - landing.angles.of(f"{side}_ankle", "inversion")[shared]
        )
        assert (change[:200] > 0).all()
        shift = medial * (wedged.point[2, k] - landing.point[2, k, shared])[:200]
        assert (shift > 0).all()


def test_the_truth_table_holds_the_drop_and_the_peaks(landing: SyntheticLanding) -> None:
    rows = {(row.quantity, row.side): row for row in truth_table(landing)}
    assert rows["body_weight_plate", ""].value == pytest.approx(RIDER.mass * G)
    assert rows["drop_height", ""].value == pytest.approx(SPEC.drop, rel=0.06)
    for k, side in enumerate(("right", "left")):
        assert rows["vertical_force_peak", side].value == pytest.approx(landing.force[1, k].max())
        assert rows["knee_flexion_peak", side].value > rows["knee_flexion_touchdown", side].value
        assert rows["knee_work_negative", side].value < 0
    legs = [row.value for (name, _), row in rows.items() if name.endswith("_work_negative")]
    fall = (
        RIDER.weight * (landing.centre[1, 0] - landing.centre[1].min()) + 0.5 * RIDER.mass * landing.velocity[1, 0] ** 2
    )
    assert 0.5 * fall < -sum(legs) < 1.5 * fall


@pytest.mark.parametrize(("change", "said"), [({"drop": 3.0}, "landing drop"), ({"force_rate": 1001.0}, "force rate")])
def test_a_specification_out_of_range_is_refused(change: dict[str, float], said: str) -> None:
    with pytest.raises(SettingError, match=said):
        replace(SPEC, **change)


def test_a_landing_that_legs_cannot_make_is_refused() -> None:
    with pytest.raises(SettingError, match="legs can make"):
        simulate_landing(replace(SPEC, drop=1.5, peak=2.5, stance=0.8, settling=0.3))


def test_profiles_reach_their_ends() -> None:
    assert step(np.array([-1.0, 0.0, 0.5, 1.0, 2.0])) == pytest.approx([0, 0, 0.5, 1, 1])
    assert bump(np.array([-1.0, 0.0, 5 / 17, 1.0])) == pytest.approx([0, 0, 1, 0], abs=1e-12)
    fall = FootFall(speed=3.0, forward=0.5, stop=0.03)
    t = np.array([-0.1, -1e-6, 0.0, 1e-6, 0.03, 0.1])
    assert fall.height(t)[0] - fall.height(t)[2] == pytest.approx(0.3 - 0.5 * G * 0.01)
    assert (fall.height(t)[1] - fall.height(t)[3]) / 2e-6 == pytest.approx(3.0, rel=1e-4)
    assert fall.height(t)[4:] == pytest.approx([0, 0], abs=1e-12)
    time = np.arange(0.0, 3.0, 1e-4)
    force = force_profile(impulse=0.3, peak=5.0, first_share=0.5, first_length=0.085, rise=0.1)(time)
    assert force.max() == pytest.approx(5.0, abs=1e-3)
    assert np.sum(force - 1.0) * 1e-4 == pytest.approx(0.3, abs=1e-3)

"""A loaded plate of known wrench, stored with every order of corners and every sign of origin: read right, or told."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jointload.intake.c3d import read_recording
from jointload.intake.plates.plates import plate_frame
from jointload.intake.plates.readings import CLEAR, ORDERS, TURNS
from jointload.intake.recording import Finding, Recording

FRAMES, PER_FRAME = 50, 4
SAMPLES = FRAMES * PER_FRAME
CORNERS = np.array([[900.0, 100, 0], [400, 100, 0], [400, 700, 0], [900, 700, 0]]).T
"""(3, 4) [mm] file axes, z up, in the standard's order: plate z down."""
ORIGIN = np.array([4.0, -3.0, -45.0])
"""[mm] plate axes, types 2 and 4."""
SENSORS = np.array([120.0, 200.0, -45.0])
"""[mm] type 3: half distances and depth."""
LAB_FROM_FILE = np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]])
TOLERANCE = 2e-3
"""[N, N m] channels are stored in single precision."""
SIGNS = list(product((1.0, -1.0), repeat=3))
DOUBTS = {"plate reading", "plate origin", "plate corners", "centre of pressure"}

Read = Callable[..., Recording]


def profile() -> np.ndarray:
    """(N,) 0 unloaded, 1 loaded."""
    out = np.zeros(SAMPLES)
    out[SAMPLES // 4 : -SAMPLES // 4] = 1.0
    return out


def known_load() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Force (3, N) [N] on the body, centre of pressure (3, N) [mm] and free moment (N,) [N mm], file axes."""
    time = np.linspace(0, 1, SAMPLES)
    force = np.stack([60 + 40 * np.sin(9 * time), -50 - 20 * time, 800 + 100 * np.cos(12 * time)]) * profile()
    point = np.stack([610 + 60 * time, 500 - 40 * time, 0 * time])
    return force, point, 3000 * np.sin(5 * time) * profile()


def channels_of(kind: int, action: bool = False) -> np.ndarray:
    """(N, C) channels of the known load in the axes of the true plate; action for the force ON the plate."""
    rotation, centre = plate_frame(CORNERS)
    force, point, free = known_load()
    force, free = (-force, -free) if action else (force, free)
    force, local = rotation.T @ force, rotation.T @ (point - centre[:, None])
    surface = np.cross(local, force, axis=0) + rotation.T @ np.stack([0 * free, 0 * free, free])
    if kind == 1:
        about_point = surface[2] - (local[0] * force[1] - local[1] * force[0])
        return np.stack([*force, local[0], local[1], about_point]).T
    if kind == 3:
        a, b, depth = SENSORS
        mx, my, mz = surface + np.stack([-force[1] * depth, force[0] * depth, 0 * free])
        each = [sx * mx / b + sy * my / a for sx, sy in ((1, -1), (1, 1), (-1, 1), (-1, -1))]
        fx12, fy14 = force[0] / 2 - mz / (4 * b), force[1] / 2 + mz / (4 * a)
        return np.stack([fx12, force[0] - fx12, fy14, force[1] - fy14, *((force[2] + e) / 4 for e in each)]).T
    return np.concatenate([force, surface - np.cross(force, ORIGIN, axis=0)]).T


def body() -> np.ndarray:
    """(F, 10, 3) [mm] markers from the floor to the head around a middle that the force passes at 40 mm."""
    force, point, _ = known_load()
    force, point = force[:, ::PER_FRAME], point[:, ::PER_FRAME]
    heights = np.linspace(50, 1750, 10)
    slope = np.divide(force[:2], force[2], out=np.zeros((2, FRAMES)), where=force[2] > 0)
    middle = point[:2] + slope * heights.mean() + np.array([[40.0], [0.0]])
    markers = np.empty((FRAMES, 10, 3))
    markers[:, :, :2] = middle.T[:, None] + 80 * np.random.default_rng(4).uniform(-1, 1, (10, 2)) @ np.eye(2)
    markers[:, :, :2] -= markers[:, :, :2].mean(axis=1, keepdims=True) - middle.T[:, None]
    markers[:, :, 2] = heights
    return markers


@pytest.fixture
def read_plate(tmp_path: Path, write_c3d: Callable[..., bytes]) -> Read:
    def read(
        kind: int,
        order: tuple[int, ...] = ORDERS[0],
        signs: tuple[float, ...] = SIGNS[0],
        with_body: bool = True,
        action: bool = False,
        **setup: Any,
    ) -> Recording:
        """order : which true corner is stored as corner 1 to 4;  signs : of the stored ORIGIN against the true one"""
        stored = channels_of(kind, action)
        origin = (SENSORS if kind == 3 else ORIGIN) * signs
        plate = {
            "USED": 1,
            "TYPE": np.array([kind]),
            "ZERO": np.array([1, 10]),
            "CORNERS": CORNERS[:, list(order), None],
            "ORIGIN": origin[:, None],
            "CHANNEL": np.arange(1, stored.shape[1] + 1)[:, None],
            **({"CAL_MATRIX": np.eye(6)[:, :, None]} if kind == 4 else {}),
            **setup,
        }
        parameters = {"POINT": {"X_SCREEN": "+X", "Y_SCREEN": "+Z"}, "FORCE_PLATFORM": plate}
        points = body() if with_body else np.full((FRAMES, 1, 3), 500.0)
        path = tmp_path / "plate.c3d"
        path.write_bytes(write_c3d(points, analog=stored, samples_per_frame=PER_FRAME, parameters=parameters))
        recording = read_recording(path)
        np.testing.assert_array_equal(recording.lab_from_file, LAB_FROM_FILE)
        return recording

    return read


def is_right(recording: Recording) -> bool:
    force, point, free = known_load()
    moment = (np.cross(point, force, axis=0) + np.stack([0 * free, 0 * free, free])) * 1e-3
    (plate,) = recording.plates
    return all(
        np.abs(ours - LAB_FROM_FILE @ theirs).max() < TOLERANCE
        for ours, theirs in ((plate.force, force), (plate.moment, moment))
    )


def doubts(recording: Recording) -> list[Finding]:
    return [f for f in recording.findings if f.check in DOUBTS and f.severity == "warn"]


@pytest.mark.parametrize("kind", [1, 2, 3, 4])
@pytest.mark.parametrize("with_body", [True, False])
@pytest.mark.parametrize("action", [False, True])
def test_no_order_and_no_sign_is_silently_wrong(read_plate: Read, kind: int, with_body: bool, action: bool) -> None:
    outcomes = []
    for order, signs in product(ORDERS, SIGNS):
        recording = read_plate(kind, order, signs, with_body, action)
        right, told = is_right(recording), doubts(recording)
        assert right or told, f"order {order}, signs {signs}: silently wrong"
        outcomes.append(right)
    assert any(outcomes)
    if with_body and kind in (1, 3):
        assert all(outcomes), "with a body nothing but ORIGIN's x and y of types 2 and 4 stays in doubt"
    if with_body and kind in (2, 4):
        assert sum(outcomes) == 2 * len(ORDERS), "the true vector and the one of opposite sign, in every order"


@pytest.mark.parametrize("kind", [1, 2, 3, 4])
@pytest.mark.parametrize("order", ORDERS[1:])
def test_a_body_tells_the_order_of_the_corners(read_plate: Read, kind: int, order: tuple[int, ...]) -> None:
    recording = read_plate(kind, order)
    assert is_right(recording)
    (finding, *_) = [f for f in doubts(recording) if f.check == "plate reading"]
    assert "as stored at (" in finding.evidence and "CORNERS in the order" in finding.evidence
    standard = recording.lab_from_file @ CORNERS * 1e-3
    np.testing.assert_allclose(recording.plates[0].corners, standard, atol=1e-6)


@pytest.mark.parametrize("kind", [1, 3])
def test_a_plate_by_the_standard_with_a_body_has_no_doubt(read_plate: Read, kind: int) -> None:
    recording = read_plate(kind)
    assert is_right(recording) and not doubts(recording)
    (vouched,) = [f for f in recording.findings if f.check == "plate reading"]
    own, other = (float(word) for word in vouched.evidence.split() if word[:2] in ("0.", "1."))
    assert own == pytest.approx(0.04, abs=0.01) and other > CLEAR * own


@pytest.mark.parametrize("kind", [2, 4])
def test_an_origin_under_the_middle_of_the_plate_leaves_no_doubt(read_plate: Read, kind: int) -> None:
    recording = read_plate(kind, ORIGIN=np.array([[0.0], [0.0], [-45.0]]))
    assert not doubts(recording)


def test_an_origin_that_would_move_the_pressure_off_the_plate_is_no_doubt(
    read_plate: Read, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A treadmill's origin stands at its corner: turned, it is half a metre off."""
    far = np.array([-243.0, 300.0, -15.0])
    monkeypatch.setitem(channels_of.__globals__, "ORIGIN", far)
    recording = read_plate(2)
    assert is_right(recording) and not doubts(recording)
    turned = read_plate(2, signs=(-1.0, -1.0, 1.0))
    assert is_right(turned), "only the true sign puts the pressure on the plate and the force through the body"
    assert "ORIGIN's x and y of the other sign" in doubts(turned)[0].evidence


def test_without_a_body_both_readings_are_given(read_plate: Read) -> None:
    (finding, *_) = [f for f in doubts(read_plate(1, with_body=False)) if f.check == "plate reading"]
    assert finding.evidence.count("centre of pressure") == 1 and finding.evidence.count(") m") == 2
    assert "CORNERS in the order" in finding.evidence


def test_the_sign_of_the_origin_is_told_with_both_centres_of_pressure(read_plate: Read) -> None:
    (finding,) = [f for f in doubts(read_plate(2, signs=(-1.0, -1.0, -1.0))) if f.check == "plate origin"]
    assert "ORIGIN (-4, 3, 45) is not of the standard's sign" in finding.evidence
    assert finding.evidence.count(") m") == 2


def test_a_plate_whose_z_points_up_is_read_as_it_is(read_plate: Read, monkeypatch: pytest.MonkeyPatch) -> None:
    """Unusual but sound: everything is measured and stored with z up."""
    upside = CORNERS[:, list(ORDERS[4])]
    monkeypatch.setitem(channels_of.__globals__, "CORNERS", upside)
    monkeypatch.setitem(channels_of.__globals__, "ORIGIN", np.array([0.0, 0.0, 45.0]))
    recording = read_plate(2)
    assert is_right(recording)
    assert not doubts(recording)


def test_the_turns_are_those_of_the_frames() -> None:
    stored = plate_frame(CORNERS)[0]
    for order, turn in zip(ORDERS, TURNS, strict=True):
        turned = plate_frame(CORNERS[:, list(order)])[0]
        np.testing.assert_allclose(stored.T @ turned[:, :2], np.vstack([turn, [0, 0]]), atol=1e-12)


def test_moments_of_a_wrong_unit_are_told(read_plate: Read) -> None:
    parameters = {"UNITS": ["N", "Nmm"]}
    assert is_right(read_plate(2, **parameters)), "FORCE_PLATFORM:UNITS says newton millimetres"
    assert [f.check for f in doubts(read_plate(2, UNITS=["N", "Nm"]))][-1] == "centre of pressure"

"""Plates of types 1 to 4: against hand calculations by the standard's formulas, published peaks, known wrenches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jointload.intake.c3d import analog_channels, decode, read_recording
from jointload.intake.c3d_bytes.guard import OpenedRecording
from jointload.intake.c3d_bytes.layout import read_layout
from jointload.intake.plates.plates import (
    Timing,
    centre_of_pressure,
    find_baseline,
    healed_origin,
    plate_frame,
    plate_settings,
    plate_wrench,
)
from jointload.intake.recording import Finding, Plate, Recording

G = 9.80665
HALF_DIGIT = 0.05
"""[N] published peaks are printed to 0.1 N."""
SINGLE_PRECISION = 2e-6
"""Relative: the other reader scales in single precision."""
LOADED = 50.0
"""[N] the hand calculation divides by the vertical force."""

Write = Callable[..., bytes]


def where(recording: Recording, check: str) -> list[Finding]:
    return [finding for finding in recording.findings if finding.check == check]


# --- hand calculation, plate by plate and sample by sample, from the standard's pages ---


def hand_calculation(path: Path) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """For each plate: force and moment about the file's origin (3, N) [N, N m], file axes, and where it is loaded."""
    ezc3d = pytest.importorskip("ezc3d")
    file = ezc3d.c3d(str(path))
    setup = {name: entry["value"] for name, entry in file["parameters"]["FORCE_PLATFORM"].items() if "value" in entry}
    analogs = file["data"]["analogs"][0]
    per_frame = round(file["header"]["analogs"]["frame_rate"] / file["header"]["points"]["frame_rate"])
    first, last = (int(k) for k in setup["ZERO"])
    results = []
    for plate in range(int(setup["USED"][0])):
        kind = int(setup["TYPE"][plate])
        channels = analogs[setup["CHANNEL"][: 8 if kind == 3 else 6, plate].astype(int) - 1]
        channels = channels - channels[:, (first - 1) * per_frame : last * per_frame].mean(axis=1, keepdims=True)
        corners, origin = setup["CORNERS"][:, :, plate], setup["ORIGIN"][:, plate]
        columns = setup["CAL_MATRIX"][:, :, plate] if kind == 4 else None
        results.append(by_hand(kind, channels, corners, origin, columns))
    return results


def by_hand(kind: int, channels: np.ndarray, corners: np.ndarray, origin: np.ndarray, calibration: Any) -> Any:
    a, b, az0 = abs(origin[0]), abs(origin[1]), -abs(origin[2])
    if kind != 3 and origin[2] > 0:
        origin = -origin
    # measured corners are no perfect rectangle: both edges along x and both along y are averaged
    x_axis = ((corners[:, 0] - corners[:, 1]) + (corners[:, 3] - corners[:, 2])) / 2
    y_axis = ((corners[:, 0] - corners[:, 3]) + (corners[:, 1] - corners[:, 2])) / 2
    x_axis /= np.linalg.norm(x_axis)
    z_axis = np.cross(x_axis, y_axis)
    z_axis /= np.linalg.norm(z_axis)
    rotation = np.column_stack([x_axis, np.cross(z_axis, x_axis), z_axis])
    forces, moments, loaded = [], [], []
    for sample in channels.T:
        if kind == 3:
            fx12, fx34, fy14, fy23, fz1, fz2, fz3, fz4 = sample
            fx, fy, fz = fx12 + fx34, fy14 + fy23, fz1 + fz2 + fz3 + fz4
            msx = b * (fz1 + fz2 - fz3 - fz4) + fy * az0
            msy = a * (-fz1 + fz2 + fz3 - fz4) - fx * az0
            msz = b * (-fx12 + fx34) + a * (fy14 - fy23)
        else:
            wrench = calibration @ sample if kind == 4 else sample
            fx, fy, fz = wrench[:3]
            msx, msy, msz = wrench[3:] + np.cross(wrench[:3], origin)
        divisor = fz if abs(fz) > LOADED else np.nan
        x, y = -msy / divisor, msx / divisor
        free = msz - (x * fy - y * fx)
        force = rotation @ [fx, fy, fz]
        point = rotation @ [x, y, 0] + corners.mean(axis=1)
        forces.append(force)
        moments.append((np.cross(point, force) + rotation @ [0, 0, free]) * 1e-3)
        loaded.append(abs(fz) > LOADED)
    return np.array(forces).T, np.array(moments).T, np.array(loaded)


@pytest.mark.parametrize(
    "name",
    [
        "conformance/plate_types/TYPE-2.C3D",
        "conformance/plate_types/TYPE-2a.c3d",
        "conformance/plate_types/TYPE-3.c3d",
        "conformance/plate_types/TYPE-4.C3D",
        "conformance/plate_types/TYPE-4a.c3d",
        "conformance/same_trial_six_formats/Eb015vr.c3d",
        "walking/walk_1.c3d",
        "walking/walk_two_plates_type4.c3d",
    ],
)
def test_plates_equal_the_hand_calculation(shared_c3d: Path, name: str) -> None:
    recording = read_recording(shared_c3d / name)
    by_hand_plates = hand_calculation(shared_c3d / name)
    assert len(recording.plates) == len(by_hand_plates)
    for plate, (force, moment, loaded) in zip(recording.plates, by_hand_plates, strict=True):
        sign = np.sign((recording.lab_from_file @ force)[1][loaded].mean())
        assert loaded.any()
        for ours, theirs in ((plate.force, force), (plate.moment, moment)):
            expected = sign * (recording.lab_from_file @ theirs)[:, loaded]
            tolerance = SINGLE_PRECISION * np.abs(expected).max()
            # baseline means of the other reader's single-precision samples differ by a little more
            np.testing.assert_allclose(ours[:, loaded], expected, rtol=0, atol=20 * tolerance)


# --- published recordings ---


def test_published_peaks_of_the_type_4_walk(shared_c3d: Path) -> None:
    recording = read_recording(shared_c3d / "walking" / "walk_two_plates_type4.c3d")
    peaks = [plate.force[1].max() for plate in recording.plates]
    np.testing.assert_allclose(peaks, [798.5, 871.4], atol=HALF_DIGIT)
    assert all("ZERO frames (1, 10)" in plate.baseline for plate in recording.plates)
    assert len(where(recording, "plate scale")) == 2


def test_a_transposed_calibration_matrix_would_be_seen(shared_c3d: Path) -> None:
    """The trap: read row by row, the same file gives 892.7 N downward."""
    with OpenedRecording(shared_c3d / "walking" / "walk_two_plates_type4.c3d") as opened:
        structure = opened.structure()
        layout = read_layout(structure)
        data = decode(opened.section(layout.start, layout.stop)[0], layout, structure)
    settings, _ = plate_settings(structure, layout.channels, 1e-3)
    extremes = []
    for setting in settings:
        turned = replace(setting, calibration=setting.calibration.T)
        channels = analog_channels(data, layout, structure, setting.channels)
        channels = channels - channels[:, :100].mean(axis=1, keepdims=True)
        extremes.append(plate_wrench(turned, channels, np.eye(3))[2].min())
    assert min(extremes) == pytest.approx(-892.7, abs=HALF_DIGIT)


@pytest.mark.parametrize(
    "name",
    [
        "landing/vertical_jump_two_plates.c3d",
        "running/treadmill_3.5ms.c3d",
        "walking/walk_1.c3d",
        "walking/walk_2.c3d",
        "walking/walk_3.c3d",
        "walking/walk_two_plates_type4.c3d",
    ],
)
def test_the_centre_of_pressure_is_inside_the_corners(shared_c3d: Path, name: str) -> None:
    plates = read_recording(shared_c3d / name).plates
    assert plates
    for plate in plates:
        point = centre_of_pressure(plate.force, plate.moment, float(plate.corners[1].mean()), 100.0)
        seen = ~np.isnan(point[0])
        assert seen.any()
        low, high = plate.corners.min(axis=1) - 0.03, plate.corners.max(axis=1) + 0.03
        inside = (point[[0, 2]].T[seen] > low[[0, 2]]) & (point[[0, 2]].T[seen] < high[[0, 2]])
        assert inside.all()


@pytest.mark.parametrize(("plate", "heel", "front"), [(0, "R_HEEL", "R_MT_5"), (1, "L_HEEL", "L_MT_5")])
def test_the_type_3_centre_of_pressure_runs_along_the_foot(shared_c3d: Path, plate: int, heel: str, front: str) -> None:
    """A half distance or a depth of the wrong sign mirrors it out of the foot."""
    recording = read_recording(shared_c3d / "walking" / "walk_1.c3d")
    chosen = recording.plates[plate]
    point = centre_of_pressure(chosen.force, chosen.moment, float(chosen.corners[1].mean()), 200.0)
    loaded = np.flatnonzero(~np.isnan(point[0]))
    flat = loaded[len(loaded) // 4 : 3 * len(loaded) // 4]
    back, ahead = recording.marker(heel)[:, flat], recording.marker(front)[:, flat]
    seen = ~np.isnan(back[0] + ahead[0])
    path = point[:, flat][:, seen]
    assert seen.any()
    assert (path[0] > back[0, seen] - 0.05).all() and (path[0] < ahead[0, seen] + 0.15).all()
    assert np.abs(path[2] - back[2, seen]).max() < 0.08
    assert point[0, loaded[-5]] > point[0, loaded[5]] + 0.1, "from the heel to the toes"


def test_the_jump(shared_c3d: Path) -> None:
    """Flight is free of force, and the mass is 62.5 to 63.5 kg from the impulse of the push-off."""
    recording = read_recording(shared_c3d / "landing" / "vertical_jump_two_plates.c3d")
    total = sum(plate.force[1] for plate in recording.plates)
    flight = np.flatnonzero(total < 20)
    assert abs(total[flight[20:-20]].mean()) < 0.5, "about 25 N before the offset was taken off"
    rate = recording.force_rate
    take_off, airborne = flight[0] / rate, (flight[-1] - flight[0] + 1) / rate
    sacrum = recording.marker("V.Sacral")[1]
    start_speed = (sacrum[2] - sacrum[0]) * recording.point_rate / 2
    impulse = total[: flight[0]].sum() / rate
    mass = impulse / (G * take_off + G * airborne / 2 - start_speed)
    assert 62.5 < mass < 63.5
    assert any("+19" in finding.evidence and finding.severity == "warn" for finding in where(recording, "baseline"))


def test_the_runner(shared_c3d: Path) -> None:
    recording = read_recording(shared_c3d / "running" / "treadmill_3.5ms.c3d")
    weight = 62 * G
    vertical = recording.plates[0].force[1]
    steps = vertical[: vertical.size // 100 * 100].reshape(-1, 100).max(axis=1)
    assert 2.0 < np.median(steps) / weight < 3.0
    assert vertical.mean() / weight == pytest.approx(1.0, abs=0.04), "over many steps the mean force is the weight"
    assert any("no newtons until CAL_MATRIX" in finding.evidence for finding in where(recording, "plate units"))


def test_a_stance_of_walking_carries_the_weight_for_one_step(shared_c3d: Path) -> None:
    masses = []
    for name in ("walk_1", "walk_2", "walk_3"):
        recording = read_recording(shared_c3d / "walking" / f"{name}.c3d")
        loaded = [np.flatnonzero(plate.force[1] > 20) for plate in recording.plates]
        step = (abs(loaded[0][0] - loaded[1][0]) + abs(loaded[0][-1] - loaded[1][-1])) / 2
        masses += [plate.force[1].sum() / step / G for plate in recording.plates]
        assert len(where(recording, "plate units")) == 2, "ANALOG:UNITS say V"
    assert np.mean(masses) == pytest.approx(83, abs=1)
    assert np.std(masses) < 3


def test_a_static_trial_without_analog_tells_that_its_plate_gives_no_force(shared_c3d: Path) -> None:
    recording = read_recording(shared_c3d / "running" / "static.c3d")
    assert recording.plates == ()
    assert [finding.evidence for finding in where(recording, "plate")] == ["the file holds no analog channels"]


# --- written plates with a known wrench ---

CORNERS = np.array([[900.0, 100, 0], [400, 100, 0], [400, 700, 0], [900, 700, 0]]).T
"""(3, 4) [mm] file axes, z up, plate x along file x, plate y against file y, plate z down."""
SAMPLES = 200
FORCE = np.array([30.0, -40.0, 800.0])
"""[N] on the body, file axes."""
POINT = np.array([610.0, 450.0, 0.0])
"""[mm] centre of pressure, file axes."""
FREE = 3.0
"""[N m] about file z."""
LAB_FROM_FILE = np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]])
ORIGIN = np.array([4.0, -3.0, -45.0])
FORCE_LAB = LAB_FROM_FILE @ FORCE
MOMENT_LAB = LAB_FROM_FILE @ (np.cross(POINT * 1e-3, FORCE) + [0, 0, FREE])
ROUNDING = 1e-3
"""[N, N m] channels are stored in single precision."""


def load_profile() -> np.ndarray:
    """(N,) 0 unloaded, 1 loaded: free for the first and last quarter."""
    profile = np.zeros(SAMPLES)
    profile[50:150] = 1.0
    return profile


def plate_channels(kind: int, sign: float = 1.0, moment_unit: float = 1e-3) -> np.ndarray:
    """(C,) channel values of the known wrench; sign -1 for the force on the plate. Moments in moment_unit [N m]."""
    rotation, centre = plate_frame(CORNERS)
    force = sign * rotation.T @ FORCE
    local = rotation.T @ (POINT - centre)
    about_surface = np.cross(local, force) + sign * rotation.T @ [0, 0, FREE] * 1e3
    about_origin = (about_surface - np.cross(force, ORIGIN)) * 1e-3 / moment_unit
    if kind == 1:
        free = about_surface[2] - (local[0] * force[1] - local[1] * force[0])
        return np.array([*force, local[0], local[1], free * 1e-3 / moment_unit])
    if kind == 3:
        return type3_channels(force, about_surface)
    return np.concatenate([force, about_origin])


def type3_channels(force: np.ndarray, about_surface: np.ndarray) -> np.ndarray:
    """Eight sensor sums that give this force and moment, half distances 120 and 200 mm, surface 45 mm above them."""
    a, b, az0 = 120.0, 200.0, -45.0
    mx, my, mz = about_surface + np.array([-force[1] * az0, force[0] * az0, 0.0])
    fz = force[2] / 4 + np.array([mx / b - my / a, mx / b + my / a, -mx / b + my / a, -mx / b - my / a]) / 4
    fx12, fy14 = force[0] / 2 - mz / (4 * b), force[1] / 2 + mz / (4 * a)
    return np.array([fx12, force[0] - fx12, fy14, force[1] - fy14, *fz])


@pytest.fixture
def read_plate(tmp_path: Path, write_c3d: Write) -> Callable[..., Recording]:
    def read(channels: np.ndarray, kind: int = 2, analog: dict[str, Any] | None = None, **setup: Any) -> Recording:
        """channels : (N, C); the other arguments replace entries of FORCE_PLATFORM, analog those of ANALOG."""
        count = channels.shape[1]
        parameters = {
            "POINT": {"X_SCREEN": "+X", "Y_SCREEN": "+Z"},
            "ANALOG": analog or {},
            "FORCE_PLATFORM": {
                "USED": 1,
                "TYPE": np.array([kind]),
                "ZERO": np.array([1, 10]),
                "CORNERS": CORNERS[:, :, None],
                "ORIGIN": ORIGIN[:, None] if kind != 3 else np.array([[120.0], [200.0], [-45.0]]),
                "CHANNEL": np.arange(1, count + 1)[:, None],
                **setup,
            },
        }
        path = tmp_path / "plate.c3d"
        points = np.ones((SAMPLES // 4, 1, 3)) * 500
        path.write_bytes(write_c3d(points, analog=channels, samples_per_frame=4, parameters=parameters))
        return read_recording(path)

    return read


def check_known_wrench(plate: Plate) -> None:
    loaded = load_profile() > 0
    np.testing.assert_allclose(plate.force[:, loaded].mean(axis=1), FORCE_LAB, atol=ROUNDING)
    np.testing.assert_allclose(plate.moment[:, loaded].mean(axis=1), MOMENT_LAB, atol=ROUNDING)
    np.testing.assert_allclose(plate.force[:, ~loaded], 0, atol=ROUNDING)


@pytest.mark.parametrize("kind", [1, 2, 3, 4])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_known_wrench_comes_back(read_plate: Callable[..., Recording], kind: int, sign: float) -> None:
    channels = np.outer(load_profile(), plate_channels(kind, sign))
    extra = {"CAL_MATRIX": np.eye(6)[:, :, None]} if kind == 4 else {}
    recording = read_plate(channels, kind, **extra)
    check_known_wrench(recording.plates[0])
    assert (len(where(recording, "force sign")) == 1) == (sign < 0)
    assert [finding.severity for finding in where(recording, "centre of pressure")] == ["pass"]


def test_the_calibration_matrix_is_read_column_by_column(read_plate: Callable[..., Recording]) -> None:
    calibration = np.eye(6) * 5 + np.random.default_rng(3).normal(0, 1, (6, 6))
    channels = np.outer(load_profile(), np.linalg.solve(calibration, plate_channels(4)))
    recording = read_plate(channels, 4, CAL_MATRIX=calibration[:, :, None])
    check_known_wrench(recording.plates[0])


@pytest.mark.parametrize("unit", ["Nm", "N*m", "N.m"])
def test_moments_may_be_in_newton_metres(read_plate: Callable[..., Recording], unit: str) -> None:
    channels = np.outer(load_profile(), plate_channels(2, moment_unit=1.0))
    recording = read_plate(channels, analog={"UNITS": ["N"] * 3 + [unit] * 3})
    check_known_wrench(recording.plates[0])


@pytest.mark.parametrize("units", [["N", "N", "N", "Nmm", "Nmm", "Nmm"], ["V"] * 6, []])
def test_moments_are_in_newton_millimetres_otherwise(read_plate: Callable[..., Recording], units: list[str]) -> None:
    channels = np.outer(load_profile(), plate_channels(2))
    recording = read_plate(channels, analog={"UNITS": units})
    check_known_wrench(recording.plates[0])
    assert bool(where(recording, "plate units")) == (units[:1] == ["V"])


@pytest.mark.parametrize(
    ("kind", "stored"),
    [(2, [-4.0, 3.0, 45.0]), (2, [0.004, -0.003, -0.045]), (3, [120.0, 200.0, 45.0]), (3, [-120.0, -200.0, 45.0])],
)
def test_an_origin_of_wrong_sign_or_unit_is_healed_and_told(
    read_plate: Callable[..., Recording], kind: int, stored: list[float]
) -> None:
    channels = np.outer(load_profile(), plate_channels(kind))
    recording = read_plate(channels, kind, ORIGIN=np.array(stored)[:, None])
    check_known_wrench(recording.plates[0])
    assert [finding.severity for finding in where(recording, "plate origin")] == ["warn"]


def test_healed_origins() -> None:
    np.testing.assert_array_equal(healed_origin(np.array([1.0, 2.0, 3.0]), 2), [-1, -2, -3])
    np.testing.assert_array_equal(healed_origin(np.array([1.0, 2.0, -3.0]), 4), [1, 2, -3])
    np.testing.assert_array_equal(healed_origin(np.array([120.0, 200.0, 48.0]), 3), [120, 200, -48])
    np.testing.assert_array_equal(healed_origin(np.array([1.0, 2.0, -3.0]), 1), [0, 0, 0])


def test_corners_in_the_wrong_order_are_told(read_plate: Callable[..., Recording]) -> None:
    channels = np.outer(load_profile(), plate_channels(2))
    assert where(read_plate(channels), "plate corners") == []
    recording = read_plate(channels, CORNERS=CORNERS[:, [1, 0, 3, 2], None])
    assert [finding.severity for finding in where(recording, "plate corners")] == ["warn"]


def test_a_wrong_moment_unit_is_seen_by_the_centre_of_pressure(read_plate: Callable[..., Recording]) -> None:
    channels = np.outer(load_profile(), plate_channels(2))
    recording = read_plate(channels, analog={"UNITS": ["N", "N", "N", "Nm", "Nm", "Nm"]})
    assert [finding.severity for finding in where(recording, "centre of pressure")] == ["warn"]


@pytest.mark.parametrize("kind", [5, 6, 7, 11, 21, 0])
def test_an_unknown_type_gives_no_force_but_keeps_the_markers(read_plate: Callable[..., Recording], kind: int) -> None:
    recording = read_plate(np.zeros((SAMPLES, 8)), kind)
    assert recording.plates == () and recording.labels == ("M1",)
    assert [finding.severity for finding in where(recording, "plate")] == ["refuse"]
    assert f"type {kind}," in where(recording, "plate")[0].evidence


@pytest.mark.parametrize(
    ("setup", "words"),
    [
        ({"CHANNEL": np.array([[1], [2], [3], [4], [5], [99]])}, "needs 6 of the 6 analog channels"),
        ({"CHANNEL": np.array([[1], [2], [3]])}, "needs 6 of the 6 analog channels"),
        ({"CORNERS": np.zeros((3, 4, 1))}, "CORNERS do not span a surface"),
        ({"CORNERS": CORNERS[:, :3, None]}, "CORNERS has no 12 finite numbers"),
        ({"ORIGIN": np.array([np.nan, 0.0, -40.0])}, "ORIGIN has no 3 finite numbers"),
        ({"TYPE": np.array([4]), "CAL_MATRIX": np.zeros((6, 6, 1))}, "CAL_MATRIX is all zero"),
        ({"TYPE": np.array([4]), "CAL_MATRIX": np.ones((3, 3, 1))}, "CAL_MATRIX is not 6 by 6"),
        ({"TYPE": np.array([4])}, "CAL_MATRIX is not 6 by 6"),
    ],
)
def test_an_unusable_plate_is_told(read_plate: Callable[..., Recording], setup: dict[str, Any], words: str) -> None:
    recording = read_plate(np.outer(load_profile(), plate_channels(2)), 2, **setup)
    assert recording.plates == ()
    assert any(words in finding.evidence for finding in where(recording, "plate"))


# --- baseline ---


def with_offset(offset: float) -> np.ndarray:
    channels = np.outer(load_profile(), plate_channels(2))
    channels[:, 2] -= offset
    return channels


@pytest.mark.parametrize("offset", [25.0, -25.0, 300.0])
def test_zero_takes_the_offset_off(read_plate: Callable[..., Recording], offset: float) -> None:
    recording = read_plate(with_offset(offset))
    assert "FORCE_PLATFORM:ZERO frames (1, 10)" in recording.plates[0].baseline
    check_known_wrench(recording.plates[0])


@pytest.mark.parametrize("zero", [[0, 0], [1, 0]])
def test_without_zero_the_unloaded_frames_are_found(read_plate: Callable[..., Recording], zero: list[int]) -> None:
    recording = read_plate(with_offset(25.0), ZERO=np.array(zero))
    assert "found unloaded in the data, +25.0 N removed" in recording.plates[0].baseline
    check_known_wrench(recording.plates[0])


@pytest.mark.parametrize(("zero", "words"), [([20, 30], "the plate was loaded"), ([45, 60], "outside the trial's 50")])
def test_a_zero_range_that_cannot_be_is_refused_and_told(
    read_plate: Callable[..., Recording], zero: list[int], words: str
) -> None:
    recording = read_plate(with_offset(25.0), ZERO=np.array(zero))
    assert "found unloaded in the data" in recording.plates[0].baseline
    check_known_wrench(recording.plates[0])
    told = where(recording, "baseline")
    assert told[0].severity == "warn" and words in told[0].evidence


def with_blank_start(rest: float = 21.0, blank: int = 48) -> np.ndarray:
    """Channels whose first samples are exactly zero, while the plate later rests at `rest` [N] with its own noise."""
    channels = with_offset(0.0) + np.random.default_rng(7).normal(0, 0.5, (SAMPLES, 6))
    channels[:, 2] -= rest
    channels[:blank] = 0.0
    return channels


def test_a_blank_zero_range_is_not_the_level(read_plate: Callable[..., Recording]) -> None:
    recording = read_plate(with_blank_start())
    told = where(recording, "baseline")
    assert "are blank, 0.0 N in every sample, while the plate rests at +20.9 N" in told[0].evidence
    assert all(finding.severity == "warn" for finding in told)
    assert abs(recording.plates[0].force[1, 155:].mean()) < 0.5
    assert recording.plates[0].force[1, 60:140].mean() == pytest.approx(800.0, abs=0.5)


@pytest.mark.parametrize("zero", [[0, 0], [1, 10]])
def test_samples_that_were_not_recorded_do_not_pull_the_level(
    read_plate: Callable[..., Recording], zero: list[int]
) -> None:
    """Neither told as a range nor found in the data; a plate without any noise keeps its level."""
    recording = read_plate(with_blank_start(), ZERO=np.array(zero))
    assert "found unloaded in the data" in recording.plates[0].baseline
    assert abs(recording.plates[0].force[1, 155:].mean()) < 0.5
    silent = read_plate(with_offset(0.0), ZERO=np.array(zero))
    assert [finding.severity for finding in where(silent, "baseline")] == ["pass"]
    check_known_wrench(silent.plates[0])


@pytest.mark.parametrize("zero", [[0, 0], [1, 10]])
def test_a_plate_loaded_all_the_time_has_no_baseline(read_plate: Callable[..., Recording], zero: list[int]) -> None:
    channels = np.outer(1.0 + 0.01 * np.sin(np.arange(SAMPLES) / 20), plate_channels(2))
    recording = read_plate(channels, ZERO=np.array(zero))
    assert recording.plates[0].baseline.startswith("none")
    assert where(recording, "baseline")[-1].severity == "warn"
    assert recording.plates[0].force[1].mean() == pytest.approx(800, rel=0.02)


def test_a_plate_never_loaded_is_told_and_has_the_sign_of_the_others(tmp_path: Path, write_c3d: Write) -> None:
    noise = np.random.default_rng(0).normal(0, 1, (SAMPLES, 6))
    channels = np.concatenate([np.outer(load_profile(), plate_channels(2, sign=-1)), noise], axis=1)
    parameters = {
        "POINT": {"Y_SCREEN": "+Z", "X_SCREEN": "+X"},
        "FORCE_PLATFORM": {
            "USED": 2,
            "TYPE": np.array([2, 2]),
            "ZERO": np.array([1, 10]),
            "CORNERS": np.stack([CORNERS, CORNERS + [[600.0], [0], [0]]], axis=2),
            "ORIGIN": np.stack([ORIGIN, ORIGIN], axis=1),
            "CHANNEL": np.arange(1, 13).reshape(2, 6).T,
        },
    }
    path = tmp_path / "two.c3d"
    points = np.ones((SAMPLES // 4, 1, 3)) * 500
    path.write_bytes(write_c3d(points, analog=channels, samples_per_frame=4, parameters=parameters))
    recording = read_recording(path)
    check_known_wrench(recording.plates[0])
    assert [finding.where for finding in where(recording, "plate load")] == ["plate 2"]
    unloaded = noise[:, 2] - noise[:40, 2].mean()
    np.testing.assert_allclose(recording.plates[1].force[1], unloaded, atol=1e-4)


def test_a_short_flight_in_a_long_noisy_trial_is_found() -> None:
    """A treadmill: unloaded for 80 ms in each step, its force ringing by 10 N at touch-down and undershooting."""
    timing = Timing(frames=2000, first_frame=1, point_rate=200.0, samples_per_frame=5)
    time = np.arange(10000) / 1000
    phase = time % 0.36
    stance = phase < 0.28
    vertical = np.where(stance, 1700 * np.sin(np.pi * phase / 0.28), 0.0)
    vertical += np.where(stance, 0.0, -60 * np.exp(-(phase - 0.28) / 0.006))
    vertical += 12.0 + np.random.default_rng(2).normal(0, 3, vertical.size)
    samples, text, _ = find_baseline(vertical, np.zeros(2), timing, 1)
    assert samples is not None
    assert vertical[samples].mean() == pytest.approx(12.0, abs=2.0), text


# --- laws ---


def test_the_centre_of_pressure_is_where_the_force_was_applied() -> None:
    random = np.random.default_rng(5)
    points = random.normal(0, 0.3, (3, 50))
    points[1] = 0.02
    force = np.stack([random.normal(0, 80, 50), random.uniform(100, 900, 50), random.normal(0, 80, 50)])
    moment = np.cross(points, force, axis=0)
    moment[1] += random.normal(0, 5, 50)
    np.testing.assert_allclose(centre_of_pressure(force, moment, 0.02, 20.0), points, atol=1e-12)


def test_the_centre_of_pressure_is_blank_below_the_threshold() -> None:
    force = np.array([[0.0, 0, 0], [10.0, 0.0, 500.0], [0.0, 0, 0]])
    point = centre_of_pressure(force, np.zeros((3, 3)), 0.0, 20.0)
    assert np.isnan(point[:, :2]).all() and np.isfinite(point[:, 2]).all()
    assert np.isnan(centre_of_pressure(np.zeros((3, 1)), np.zeros((3, 1)), 0.0, 0.0)).all()

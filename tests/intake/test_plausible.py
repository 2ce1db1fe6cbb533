"""Numbers that no plate has, each on a plate that is sound but for it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jointload.intake.c3d import read_recording
from jointload.intake.plates.plates import check_free_moment
from jointload.intake.plates.plausible import calibration_doubts, gain_doubts, scale_doubts, shape_doubts
from jointload.intake.recording import Plate

HALVES = np.array([0.3, 0.2])
CORNERS = np.array([[0.3, -0.3, -0.3, 0.3], [0.2, 0.2, -0.2, -0.2], [0.0, 0.0, 0.0, 0.0]])
"""(3, 4) [m] a plate of 0.6 by 0.4 m."""


@pytest.mark.parametrize(
    "gain",
    [
        1.0,
        0.5,
        -1.0,
        0.000488,
        10 / 2**12,
        20 / 2**16,
        2.5 / 2**12,
        20 / 4095,
        10.24 / 2**16,
        float(np.float32(0.0048828)),
    ],
)
def test_gains_that_people_write(gain: float) -> None:
    """1, 0.5 and 0.000488 stand in published files; the others are steps of common converters."""
    assert gain_doubts(gain) == []


@pytest.mark.parametrize("gain", [1.0625, 1.00098, 1.86719, 1.01 * 10 / 2**11, 1.00024])
def test_gains_that_nobody_writes(gain: float) -> None:
    assert [doubt[0] for doubt in gain_doubts(gain)] == ["plate scale"]


@pytest.mark.parametrize("row", range(6))
def test_a_calibration_row_that_gives_nothing(row: int) -> None:
    """As of a published plate: crosstalk of a thousandth."""
    sound = np.diag([3.0, 3.0, 11.6, 2200.0, 2000.0, 970.0]) + 0.003
    assert calibration_doubts(sound) == []
    for value in (0.0, 1e-38, np.nan, sound[row, row] / 2000):
        broken = sound.copy()
        broken[row, row] = value
        assert [doubt[0] for doubt in calibration_doubts(broken)] == ["plate calibration"], value


def test_crosstalk_as_large_as_the_signal() -> None:
    sound = np.eye(6)
    sound[5, 2] = 2.0
    assert [doubt[0] for doubt in calibration_doubts(sound)] == ["plate calibration"]


def test_channels_in_another_order_are_no_doubt() -> None:
    assert calibration_doubts(np.eye(6)[[1, 0, 2, 3, 4, 5]]) == []


@pytest.mark.parametrize(
    ("place", "value", "doubted"),
    [(0, 0.0, True), (4, 4.6e-41, True), (5, 1e-12, True), (4, 0.01, True), (5, 0.0086, False), (4, 4.0, False)],
)
def test_scales_that_leave_nothing(place: int, value: float, doubted: bool) -> None:
    scales = np.array([0.001, 0.001, 0.0287, 4.3, 2.6, 0.0086])
    scales[place] = value
    assert bool(scale_doubts(scales, 2)) == doubted


@pytest.mark.parametrize(("share", "doubted"), [(0.0, True), (0.1, True), (0.6, False), (1.0, False), (1.5, True)])
def test_sensors_lie_between_middle_and_edge(share: float, doubted: bool) -> None:
    origin = np.array([share * HALVES[0], 0.7 * HALVES[1], 0.045])
    assert bool(shape_doubts(CORNERS, origin, 3)) == doubted
    assert not shape_doubts(CORNERS, origin, 2), "only of type 3 is ORIGIN the place of the sensors"


@pytest.mark.parametrize(("arm", "doubted"), [(0.03, False), (0.1, False), (0.3, True)])
def test_a_free_moment_beyond_friction(arm: float, doubted: bool) -> None:
    force = np.zeros((3, 100))
    force[1] = 800.0
    moment = np.zeros_like(force)
    moment[1] = arm * force[1]
    plate = Plate(1, 2, CORNERS[[0, 2, 1]], force, moment, "none")
    assert bool(check_free_moment(plate)) == doubted


WRENCH = (0.0, 0.0, -1.0, -90.0, 60.0, 0.0)
"""Fx Fy Fz [N] Mx My Mz [N mm] for each newton of load: a pressure 90 and 60 mm off the middle lines."""
ROW_LOST = np.diag([1.0, 1.0, 1.0, 1.0, 1.0, 0.0])


def doubted(
    path: Path,
    write_c3d: Callable[..., bytes],
    wrench: Sequence[float],
    analog: dict[str, Any],
    calibration: Any = None,
) -> set[str]:
    """Checks of the plate that warn on a file with this load and these parameters."""
    frames, per_frame = 40, 5
    load = np.full(frames * per_frame, 800.0)
    load[: load.size // 4] = 0.0
    plate = {
        "USED": 1, "TYPE": np.array([2 if calibration is None else 4]), "ZERO": np.array([1, 8]),
        "CORNERS": 1000 * CORNERS[:, [0, 3, 2, 1], None], "ORIGIN": np.array([[0.0], [0.0], [-45.0]]),
        "CHANNEL": np.arange(1, 7)[:, None],
    }  # fmt: skip
    plate |= {} if calibration is None else {"CAL_MATRIX": calibration[:, :, None]}
    units = {"UNITS": ["N"] * 3 + ["Nmm"] * 3, "LABELS": [f"C{k}" for k in range(6)]}
    path.write_bytes(
        write_c3d(
            np.ones((frames, 1, 3)), analog=load[:, None] * wrench, rate=200.0, samples_per_frame=per_frame,
            parameters={"FORCE_PLATFORM": plate, "ANALOG": units | analog},
        )
    )  # fmt: skip
    return {f.check for f in read_recording(path).findings if f.where == "plate 1" and f.severity != "pass"}


@pytest.mark.parametrize(
    ("wrench", "analog", "calibration", "check"),
    [
        ((0.0, 0.0, -1.0, 0.0, 60.0, 0.0), {}, None, "centre of pressure"),
        ((0.0, 0.0, -1.0, -90.0, 0.0, 0.0), {}, None, "centre of pressure"),
        ((0.0, 0.0, -1.0, -90.0, 60.0, 300.0), {}, None, "free moment"),
        (WRENCH, {"SCALE": np.array([1.0, 1, 1, 1, 1, 0])}, None, "plate scale"),
        (WRENCH, {"GEN_SCALE": 1.0625}, None, "plate scale"),
        (WRENCH, {}, ROW_LOST, "plate calibration"),
    ],
)
def test_a_file_with_such_a_plate_is_told(
    tmp_path: Path, write_c3d: Callable[..., bytes], wrench: Any, analog: Any, calibration: Any, check: str
) -> None:
    """Against the same file without the fault, whose reading alone is doubted, as it holds no body."""
    sound = doubted(tmp_path / "sound.c3d", write_c3d, WRENCH, {}, None if calibration is None else np.eye(6))
    assert doubted(tmp_path / "trial.c3d", write_c3d, wrench, analog, calibration) - sound == {check}


def test_an_event_without_a_time_is_told(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    for time, told in ((0.25, 0), (0.0, 1)):
        event = {"USED": 1, "LABELS": ["Landing"], "CONTEXTS": ["Left"], "TIMES": np.array([[0.0], [time]])}
        path = tmp_path / "trial.c3d"
        path.write_bytes(write_c3d(np.ones((100, 1, 3)), parameters={"EVENT": event}))
        found = [f for f in read_recording(path).findings if "are zero, as if none had been stored" in f.evidence]
        assert len(found) == told

"""Findings: those of the published recordings' known oddities, and each check on a recording made for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from jointload.intake.c3d import read_recording
from jointload.intake.labels import LabelMap
from jointload.intake.quality import CHECKS, between_sights, inspect_recording, longest_run
from jointload.intake.recording import Finding, Plate, Recording


def still(frames: int = 100, rate: float = 200.0) -> Recording:
    return Recording(
        name="trial.c3d",
        sha256="",
        labels=("A", "B"),
        markers=np.zeros((3, 2, frames)),
        point_rate=rate,
        plates=(),
        force_rate=rate,
        events=(),
        lab_from_file=np.eye(3),
        axes_evidence="up +y from the standing body",
    )


def with_gap(start: int, stop: int) -> Recording:
    recording = still()
    markers = recording.markers.copy()
    markers[:, 1, start:stop] = np.nan
    return replace(recording, markers=markers)


def found(recording: Recording, check: str, label_map: LabelMap | None = None) -> list[Finding]:
    return [finding for finding in inspect_recording(recording, label_map) if finding.check == check]


@pytest.mark.parametrize(
    ("name", "check", "severity", "words"),
    [
        ("landing/vertical_jump_two_plates", "labels", "warn", "duplicates and cut to 4 characters"),
        ("landing/vertical_jump_two_plates", "events", "pass", "the names are empty"),
        ("landing/vertical_jump_two_plates", "baseline", "warn", "+19.3 N removed; FORCE_PLATFORM:ZERO frames (0, 0)"),
        ("landing/vertical_jump_two_plates", "rates", "warn", "600 Hz, advised for impacts 1000 Hz"),
        ("running/static", "analog", "pass", "no analog channels"),
        ("running/treadmill_3.5ms", "plate units", "pass", "labelled N are no newtons until CAL_MATRIX"),
        ("running/treadmill_3.5ms", "gaps", "pass", "31 of 32 markers have no gap"),
        ("walking/walk_1", "plate units", "warn", "ANALOG:UNITS say V"),
        ("walking/walk_1", "screen axes", "pass", "no X_SCREEN and no Y_SCREEN"),
        ("walking/walk_1", "gaps", "warn", "14.3 % of the frames missing"),
        ("walking/walk_1", "plate origin", "warn", "ORIGIN (120, 200, 48) is not of the standard's sign"),
        ("walking/static", "screen axes", "pass", "no X_SCREEN"),
        ("walking/walk_two_plates_type4", "labels", "warn", "duplicates"),
        ("walking/walk_two_plates_type4", "plate scale", "pass", "ANALOG:SCALE is negative for 6"),
        ("walking/walk_two_plates_type4", "gaps", "warn", "60.2 % of the frames missing"),
    ],
)
def test_the_known_oddities_of_published_files_are_told(
    shared_c3d: Path, name: str, check: str, severity: str, words: str
) -> None:
    findings = found(read_recording(shared_c3d / f"{name}.c3d"), check)
    assert any(finding.severity == severity and words in finding.evidence for finding in findings)


def test_the_findings_made_while_reading_come_first() -> None:
    early = Finding("units", "warn", "markers", "none", "")
    recording = replace(still(), findings=(early,))
    findings = inspect_recording(recording)
    assert findings[0] is early
    assert {"axes", "rates", "plates", "gaps"} <= {finding.check for finding in findings}


def test_every_check_tells_something_of_a_mapped_recording() -> None:
    label_map = LabelMap({"asis_r": "A"})
    assert all(check(still(), label_map) for check in CHECKS.values())


def test_the_choice_of_axes_is_told() -> None:
    assert found(still(), "axes")[0].evidence == "up +y from the standing body"


@pytest.mark.parametrize(
    ("start", "stop", "severity", "words"),
    [
        (40, 44, "pass", "4.0 % of the frames missing, longest 0.02 s; between first and last sight 4.0 %"),
        (40, 60, "warn", "20.0 % of the frames missing, longest 0.10 s; between first and last sight 20.0 %"),
        (0, 30, "warn", "30.0 % of the frames missing, longest 0.15 s; between first and last sight 0.0 %"),
        (0, 100, "warn", "100.0 % of the frames missing, longest 0.50 s; between first and last sight 0.0 %"),
    ],
)
def test_gaps(start: int, stop: int, severity: str, words: str) -> None:
    summary, *each = found(with_gap(start, stop), "gaps")
    assert summary.evidence == "1 of 2 markers have no gap"
    assert [(finding.where, finding.severity, finding.evidence) for finding in each] == [("B", severity, words)]


def test_only_mapped_markers_are_judged() -> None:
    findings = found(with_gap(0, 30), "gaps", LabelMap({"asis_r": "A"}))
    assert [finding.evidence for finding in findings] == ["1 of 1 markers have no gap"]


@pytest.mark.parametrize(("rate", "severity"), [(199.0, "warn"), (200.0, "pass")])
def test_the_marker_rate(rate: float, severity: str) -> None:
    assert [finding.severity for finding in found(still(rate=rate), "rates")] == [severity]


@pytest.mark.parametrize(("rate", "severity"), [(600.0, "warn"), (1000.0, "pass")])
def test_the_force_rate(rate: float, severity: str) -> None:
    plate = Plate(1, 2, np.zeros((3, 4)), np.zeros((3, 500)), np.zeros((3, 500)), "none")
    recording = replace(still(), plates=(plate,), force_rate=rate)
    assert found(recording, "rates")[1].severity == severity
    assert found(recording, "plates")[0].severity == "pass"


def test_a_recording_without_force_is_told() -> None:
    assert found(still(), "plates")[0].severity == "warn"


def test_mapped_markers_that_are_absent_are_told() -> None:
    findings = found(still(), "labels", LabelMap({"asis_r": "A", "asis_l": "Z"}))
    assert [finding.evidence for finding in findings] == ["not in the recording: Z"]


@pytest.mark.parametrize(
    ("flags", "run", "inside"),
    [([], 0, 0), ([0, 0], 0, 0), ([1, 1], 2, 0), ([0, 1, 1, 0, 1], 2, 2), ([1, 1, 1, 0, 1, 0], 3, 1)],
)
def test_runs(flags: list[int], run: int, inside: int) -> None:
    missing = np.array(flags, dtype=bool)
    assert longest_run(missing) == run
    assert between_sights(missing).sum() == inside


def test_a_plate_never_loaded_is_told(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    corners = np.array([[500.0, 0, 0], [0, 0, 0], [0, 400, 0], [500, 400, 0]]).T[:, :, None]
    setup = {
        "USED": 1,
        "TYPE": np.array([2]),
        "ZERO": np.array([1, 0]),
        "CORNERS": corners,
        "ORIGIN": np.array([[0.0], [0.0], [-40.0]]),
        "CHANNEL": np.arange(1, 7)[:, None],
    }
    path = tmp_path / "trial.c3d"
    content = write_c3d(
        np.ones((40, 1, 3)), analog=np.zeros((80, 6)), samples_per_frame=2, parameters={"FORCE_PLATFORM": setup}
    )
    path.write_bytes(content)
    assert found(read_recording(path), "plate load")[0].evidence == "its vertical force stays below 50 N"


def test_a_marker_under_the_plates_is_named() -> None:
    corners = np.array([[0.5, 0.5, 0.0, 0.0], [0.0, 0.0, 0.0, 0.0], [0.5, 0.0, 0.0, 0.5]])
    plate = Plate(1, 2, corners, np.zeros((3, 5)), np.zeros((3, 5)), "none")
    sunk = replace(still(), plates=(plate,), markers=np.full((3, len(still().labels), 5), -0.03))
    (finding,) = [f for f in inspect_recording(sunk, None) if f.check == "markers below the floor"]
    assert finding.severity == "warn"
    assert "30 mm" in finding.where

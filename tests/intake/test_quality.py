"""Findings: those of the published recordings' known oddities, and each check on a recording made for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from jointload.intake.c3d import read_recording
from jointload.intake.labels import LabelMap
from jointload.intake.paths import between_sights, longest_run
from jointload.intake.quality import CHECKS, inspect_recording
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
        ("running/treadmill_3.5ms", "gaps", "pass", "31 of 32 markers have no gap; 1 with short gaps of up to 0.01 s"),
        ("walking/walk_1", "plate units", "warn", "ANALOG:UNITS say V"),
        ("walking/walk_1", "screen axes", "pass", "no X_SCREEN and no Y_SCREEN"),
        ("walking/walk_1", "gaps", "warn", "10.7 % of the frames missing between its first and last sight"),
        ("walking/walk_1", "gaps", "warn", "R_SHANK_3 the longest: 40.8 % of the frames missing there"),
        ("walking/walk_1", "marker jumps", "warn", "31 mm: L_SHANK_4 in frame 493"),
        ("walking/walk_1", "plate origin", "warn", "ORIGIN (120, 200, 48) is not of the standard's sign"),
        ("walking/static", "screen axes", "pass", "no X_SCREEN"),
        ("walking/walk_two_plates_type4", "labels", "warn", "duplicates"),
        ("walking/walk_two_plates_type4", "plate scale", "pass", "ANALOG:SCALE is negative for 6"),
        ("walking/walk_two_plates_type4", "gaps", "warn", "33 markers not seen at the start or at the end"),
        ("landing/vertical_jump_two_plates", "computed markers", "warn", "vary by less than 0.05 mm"),
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
    label_map = LabelMap({"right_asis": "A"})
    assert all(check(still(), label_map) for check in CHECKS.values())


def test_the_choice_of_axes_is_told() -> None:
    assert found(still(), "axes")[0].evidence == "up +y from the standing body"


@pytest.mark.parametrize(
    ("start", "stop", "where", "severity", "words"),
    [
        (40, 60, "B", "warn", "20.0 % of the frames missing between its first and last sight, longest 0.10 s"),
        (0, 30, "start and end", "warn", "1 marker not seen at the start or at the end, B the longest: 30.0 %"),
        (97, 100, "start and end", "pass", "1 marker not seen at the start or at the end, B the longest: 3.0 %"),
        (0, 100, "B", "warn", "100.0 % of the frames missing"),
    ],
)
def test_gaps(start: int, stop: int, where: str, severity: str, words: str) -> None:
    summary, told = found(with_gap(start, stop), "gaps")
    assert summary.evidence == "1 of 2 markers have no gap"
    assert (told.where, told.severity) == (where, severity)
    assert words in told.evidence


def test_short_gaps_take_no_row_of_their_own() -> None:
    (summary,) = found(with_gap(40, 44), "gaps")
    assert summary.severity == "pass"
    assert summary.evidence == "1 of 2 markers have no gap; 1 with short gaps of up to 0.02 s"


def test_only_mapped_markers_are_judged() -> None:
    findings = found(with_gap(0, 30), "gaps", LabelMap({"right_asis": "A"}))
    assert [finding.evidence for finding in findings] == ["1 of 1 markers have no gap"]


def test_a_trial_need_not_hold_every_mapped_marker() -> None:
    label_map = LabelMap({"right_asis": "A", "left_asis": "Z"})
    assert "labels" not in {f.check for f in inspect_recording(still(), label_map, complete=False)}
    assert "labels" in {f.check for f in inspect_recording(still(), label_map)}


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
    findings = found(still(), "labels", LabelMap({"right_asis": "A", "left_asis": "Z"}))
    assert [finding.evidence for finding in findings] == ["not in the recording: Z"]


@pytest.mark.parametrize(
    ("flags", "run", "inside"),
    [([], 0, 0), ([0, 0], 0, 0), ([1, 1], 2, 0), ([0, 1, 1, 0, 1], 2, 2), ([1, 1, 1, 0, 1, 0], 3, 1)],
)
def test_runs(flags: list[int], run: int, inside: int) -> None:
    missing = np.array(flags, dtype=bool)
    assert longest_run(missing) == run
    assert between_sights(missing).sum() == inside


# Paths of markers


def walking(rate: float = 200.0, noise: float = 0.3e-3) -> Recording:
    """Two markers 60 mm apart that travel two metres and swing, as cameras see them."""
    time = np.arange(200) / rate
    path = np.stack([2.0 * time, 1.0 + 0.1 * np.sin(12 * time), 0.05 * np.cos(9 * time)])
    other = path + np.stack([0.06 * np.cos(3 * time), 0.06 * np.sin(3 * time), 0.0 * time])
    markers = np.stack([path, other], axis=1)
    markers += noise * np.random.default_rng(1).standard_normal(markers.shape)
    return replace(still(), markers=markers, point_rate=rate)


def test_markers_that_move_as_bodies_do_are_left_alone() -> None:
    for check in ("marker jumps", "computed markers"):
        (finding,) = found(walking(), check)
        assert finding.severity == "pass", check


@pytest.mark.parametrize(("size", "severity"), [(0.020, "pass"), (0.040, "warn")])
def test_a_step_in_a_path(size: float, severity: str) -> None:
    """At 200 Hz a change of velocity by 6 m/s is 30 mm a frame."""
    recording = walking()
    recording.markers[1, 0, 120:] += size
    (finding,) = found(recording, "marker jumps")
    assert finding.severity == severity
    if severity == "warn":
        assert finding.where == "A"
        assert finding.evidence.startswith("1 jump off the path")
        assert finding.evidence.endswith("A in frame 121")


def test_an_impact_is_no_jump() -> None:
    """A foot that falls with 5 m/s and stands still within one frame turns its path, but not back."""
    recording = walking()
    time = np.arange(200) / 200.0
    recording.markers[1, 0] = np.maximum(0.5 - time, 0.0) * 5.0
    assert [f.severity for f in found(recording, "marker jumps")] == ["pass"]


@pytest.mark.parametrize(
    ("start", "stop", "frames"), [(50, 90, "51-90"), (50, 200, "1-200"), (0, 60, "1-200")], ids=str
)
def test_two_markers_that_exchange_places(start: int, stop: int, frames: str) -> None:
    """When one end is not seen, nobody can tell which part has the right labels."""
    recording = walking()
    recording.markers[:, :, start:stop] = recording.markers[:, ::-1, start:stop].copy()
    exchange, jumps = (f for f in inspect_recording(recording) if f.check in ("markers exchanged", "marker jumps"))
    assert (exchange.severity, exchange.where) == ("refuse", "A and B")
    assert exchange.evidence == f"change places in frames {frames}"
    assert jumps.severity == "pass"


def test_labels_without_paths_end_in_time() -> None:
    markers = np.random.default_rng(0).standard_normal((3, 40, 2000))
    noise = replace(still(), labels=tuple(f"m{k}" for k in range(40)), markers=markers)
    (finding,) = found(noise, "marker jumps")
    assert finding.severity == "warn"
    assert finding.where.endswith(" more")


def test_a_computed_marker_is_named_with_its_partner() -> None:
    recording = walking()
    recording.markers[:, 1] = recording.markers[:, 0] + np.array([[0.0], [0.06], [0.0]])
    (finding,) = found(recording, "computed markers")
    assert (finding.severity, finding.where) == ("warn", "A, B")


def test_markers_that_stand_still_say_nothing_of_being_computed() -> None:
    assert found(still(), "computed markers")[0].severity == "pass"


# Plates


def landing_plate(change: Callable[[np.ndarray], np.ndarray] = lambda force: force, rate: float = 1000.0) -> Recording:
    """0.3 s of flight, a peak of 3000 N, standing on 350 N, and 0.3 s without load; 1 N of noise."""
    time = np.arange(0.0, 1.2, 1.0 / rate)
    bump = np.where(np.abs(time - 0.34) < 0.04, 3000.0 * np.cos((time - 0.34) / 0.04 * np.pi / 2), 0.0)
    standing = np.where((time > 0.37) & (time < 0.9), 350.0, 0.0)
    force = np.zeros((3, time.size))
    force[1] = np.maximum(bump, standing) + np.random.default_rng(2).standard_normal(time.size)
    force[1] = change(force[1])
    corners = np.array([[0.5, 0.5, 0.0, 0.0], [0.0, 0.0, 0.0, 0.0], [0.5, 0.0, 0.0, 0.5]])
    return replace(still(), plates=(Plate(4, 2, corners, force, np.zeros_like(force), "none"),), force_rate=rate)


def test_a_good_plate_has_no_doubts() -> None:
    for check in ("plate saturation", "baseline drift"):
        (finding,) = found(landing_plate(), check)
        assert finding.severity == "pass", check


@pytest.mark.parametrize("level", [2000.0, 2850.0])
def test_a_force_cut_at_its_extreme(level: float) -> None:
    (finding,) = found(landing_plate(lambda force: np.minimum(force, level)), "plate saturation")
    assert (finding.severity, finding.where) == ("refuse", "plate 4")
    assert finding.evidence.startswith(f"vertical force stands at {level:.0f} N for ")


@pytest.mark.parametrize("step", [2.4, 10.0])
def test_the_steps_of_a_coarse_converter_are_no_saturation(step: float) -> None:
    (finding,) = found(landing_plate(lambda force: step * np.round(force / step)), "plate saturation")
    assert finding.severity == "pass"


def test_a_quiet_stance_is_no_saturation() -> None:
    stance = landing_plate(lambda force: np.full_like(force, 350.0))
    assert found(stance, "plate saturation")[0].severity == "pass"


@pytest.mark.parametrize(("slope", "severity"), [(5.0, "pass"), (15.0, "warn"), (-15.0, "warn")])
def test_the_unloaded_level_before_and_after(slope: float, severity: str) -> None:
    """[N/s]: over the 1.2 s of the trial they are 6 and 18 N."""
    recording = landing_plate(lambda force: force + slope * np.arange(force.size) / 1000.0)
    (finding,) = found(recording, "baseline drift")
    assert (finding.severity, finding.where) == (severity, "plate 4")


@pytest.mark.parametrize("level", [21.0, -9.0])
def test_a_plate_that_rests_at_another_level_than_zero_is_never_a_pass(level: float) -> None:
    (finding,) = found(landing_plate(lambda force: force + level), "baseline drift")
    assert finding.severity == "warn"
    assert "does not rest at zero" in finding.advice and f"{level:+.0f}" in finding.evidence


def test_a_plate_that_is_never_free_says_so() -> None:
    loaded = landing_plate(lambda force: force + 400.0)
    assert "not unloaded" in found(loaded, "baseline drift")[0].evidence


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
    assert finding.evidence == "2 markers below the plates at some time"


def two_plates(apart: float) -> Recording:
    """Two plates of half a metre side by side, their middles so far apart [m]."""
    (plate,) = landing_plate().plates
    way = np.array([[0.0], [0.0], [apart]])
    return replace(landing_plate(), plates=(plate, replace(plate, number=5, corners=plate.corners + way)))


@pytest.mark.parametrize(("apart", "severity"), [(0.51, "pass"), (0.495, "pass"), (0.45, "warn")])
def test_two_plates_that_overlap(apart: float, severity: str) -> None:
    (finding,) = found(two_plates(apart), "plate overlap")
    assert finding.severity == severity
    if severity == "warn":
        assert (finding.where, finding.evidence) == ("plates 4 and 5", "their outlines overlap by 50 mm")


def test_noise_against_the_contact_threshold() -> None:
    """9 N of belt noise: half of 20 N is passed all the time; 75 N is what clears it."""
    noise = np.random.default_rng(5).normal(0.0, 9.0, 1200)
    (finding,) = found(landing_plate(lambda force: force + noise), "plate noise")
    assert finding.severity == "warn"
    assert finding.evidence.startswith("8.5 N") and "20 N does not clear it" in finding.evidence
    assert finding.advice.startswith("take --threshold 75, touch-down moves by ")
    assert found(landing_plate(), "plate noise")[0].severity == "pass"


def test_the_noise_of_the_published_belt_is_told(shared_c3d: Path) -> None:
    (finding,) = found(read_recording(shared_c3d / "running" / "treadmill_3.5ms.c3d"), "plate noise")
    assert finding.severity == "warn"


@pytest.mark.parametrize(("name", "told"), [("jane_doe_drop1", True), ("JaneDoe", True), ("jane_drop1", False)])
def test_a_file_name_that_holds_a_subjects_name(
    tmp_path: Path, write_c3d: Callable[..., bytes], name: str, told: bool
) -> None:
    """Only what SUBJECTS gives is taken for a person's name."""
    path = tmp_path / f"{name}.c3d"
    path.write_bytes(write_c3d(np.ones((40, 1, 3)), parameters={"SUBJECTS": {"NAMES": ["Jane Doe"]}}))
    assert [f.severity for f in found(read_recording(path), "names")] == ["warn"] * told


CONFORMANCE = {"gaps", "plate reading", "rates"}
TOLD = {
    "conformance/parameter_block_moved/*": CONFORMANCE,
    "conformance/same_trial_six_formats/*": CONFORMANCE,
    "conformance/plate_types/TYPE-2.C3D": CONFORMANCE | {"parameters", "plate origin"},
    "conformance/plate_types/TYPE-4.C3D": CONFORMANCE | {"parameters", "plate origin"},
    "conformance/plate_types/TYPE-3.c3d": CONFORMANCE | {"plate origin"},
    "conformance/plate_types/TYPE-?a.c3d": {"axes", "gaps", "labels", "rates"},
    "landing/*": {"baseline", "computed markers", "labels", "markers below the floor", "rates"},
    "running/static.c3d": set(),
    "running/treadmill*": {"plate noise", "rates"},
    "walking/static.c3d": set(),
    "walking/walk_[12].c3d": {"gaps", "marker jumps", "plate origin", "plate units", "rates"},
    "walking/walk_3.c3d": {"gaps", "plate origin", "plate units", "rates"},
    "walking/walk_two_plates_type4.c3d": {"axes", "gaps", "labels", "rates"},
}
"""Checks that warn on each published recording. Their README tells of labels, levels, units, gaps and axes; rates are
below those advised for impacts; the belt shakes by 9 N; a screen axis is not where the walker faces; a plate's reading
is one of several that fit a slow or nameless trial."""


def test_every_published_recording_is_asked_once(shared_c3d: Path) -> None:
    found = [path for pattern in TOLD for path in shared_c3d.glob(pattern)]
    every = {path for path in shared_c3d.rglob("*.[cC]3[dD]") if path.parent.name != "damaged"}
    assert sorted(found) == sorted(every)


@pytest.mark.parametrize("pattern", TOLD)
def test_the_published_files_have_these_doubts_and_no_others(shared_c3d: Path, pattern: str) -> None:
    files = sorted(shared_c3d.glob(pattern))
    assert files
    for path in files:
        doubts = {f.check for f in inspect_recording(read_recording(path)) if f.severity != "pass"}
        assert doubts == TOLD[pattern], path.name

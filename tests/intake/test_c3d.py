"""Reading healthy files: against two other readers, against one another, and against what was written."""

from __future__ import annotations

import hashlib
import math
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jointload.errors import RecordingError, SettingError
from jointload.intake.c3d import analog_channels, decode, read_recording
from jointload.intake.c3d_bytes.guard import OpenedRecording, Structure
from jointload.intake.c3d_bytes.layout import Layout, read_layout
from jointload.intake.recording import Recording

METRES_PER_MM = 1e-3
SINGLE_PRECISION = 1e-6
"""Relative: the other readers scale in single precision."""
FOUR_DIGITS = 1e-6
"""[m] a float32 coordinate of about 1 m in mm is exact to 6e-8 m."""
FORMATS = ("Eb015pi", "Eb015pr", "Eb015si", "Eb015sr", "Eb015vi", "Eb015vr")
MOVED = ("EB015PI", "TESTAPI", "TESTBPI", "TESTCPI", "TESTDPI")
INTEL = (
    "landing/vertical_jump_two_plates.c3d",
    "running/static.c3d",
    "running/treadmill_3.5ms.c3d",
    "walking/static.c3d",
    "walking/walk_1.c3d",
    "conformance/same_trial_six_formats/Eb015pi.c3d",
    "conformance/same_trial_six_formats/Eb015pr.c3d",
    "conformance/plate_types/TYPE-2.C3D",
)

Write = Callable[..., bytes]


def in_file_axes(recording: Recording) -> np.ndarray:
    """(3, M, F) [m] markers turned back to the file's own axes."""
    return np.einsum("ij,imf->jmf", recording.lab_from_file, recording.markers)


def raw(path: Path) -> tuple[np.ndarray, Layout, Structure]:
    with OpenedRecording(path) as opened:
        structure = opened.structure()
        layout = read_layout(structure)
        return decode(opened.section(layout.start, layout.stop)[0], layout, structure), layout, structure


def all_analogs(path: Path) -> np.ndarray:
    data, layout, structure = raw(path)
    if not layout.channels:
        return np.empty((0, 0))
    return analog_channels(data, layout, structure, range(layout.channels))


@pytest.fixture
def read(tmp_path: Path, write_c3d: Write) -> Callable[..., Recording]:
    """Write a file with these arguments and read it; the reader's own arguments go in `options`."""

    def written_and_read(*args: Any, options: dict[str, str] | None = None, **kwargs: Any) -> Recording:
        path = tmp_path / "trial.c3d"
        path.write_bytes(write_c3d(*args, **kwargs))
        return read_recording(path, **(options or {}))

    return written_and_read


def checks(recording: Recording) -> list[str]:
    return [finding.check for finding in recording.findings]


# --- published files ---


@pytest.mark.parametrize("name", INTEL)
def test_markers_and_analogs_equal_ezc3d(shared_c3d: Path, name: str) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    other = ezc3d.c3d(str(shared_c3d / name))["data"]
    recording = read_recording(shared_c3d / name)
    theirs = other["points"][:3] * METRES_PER_MM
    theirs[:, (theirs == 0).all(axis=0)] = np.nan
    np.testing.assert_allclose(in_file_axes(recording), theirs, atol=FOUR_DIGITS, rtol=0)
    ours = all_analogs(shared_c3d / name)
    assert ours.size == other["analogs"].size
    if ours.size:
        atol = 1e-6 * np.abs(ours).max()
        np.testing.assert_allclose(ours, other["analogs"][0], rtol=SINGLE_PRECISION, atol=atol)


@pytest.mark.parametrize("name", INTEL)
def test_markers_and_analogs_equal_the_c3d_package(shared_c3d: Path, name: str) -> None:
    c3d = pytest.importorskip("c3d")
    with warnings.catch_warnings(), (shared_c3d / name).open("rb") as stream:
        warnings.simplefilter("ignore")
        frames = list(c3d.Reader(stream).read_frames(copy=True))
    points = np.stack([frame[1] for frame in frames]).transpose(2, 1, 0)
    theirs = np.where((points[3] < 0) | (points[:3] == 0).all(axis=0), np.nan, points[:3]) * METRES_PER_MM
    recording = read_recording(shared_c3d / name)
    np.testing.assert_allclose(in_file_axes(recording), theirs, atol=FOUR_DIGITS, rtol=0)
    ours = all_analogs(shared_c3d / name)
    if ours.size:
        analog = np.concatenate([frame[2] for frame in frames], axis=1)
        np.testing.assert_allclose(ours, analog, rtol=SINGLE_PRECISION, atol=1e-6 * np.abs(ours).max())


def test_six_encodings_hold_the_same_trial(shared_c3d: Path) -> None:
    """All are exact but the integer formats' rounding to one count of 1/12 mm."""
    folder = shared_c3d / "conformance" / "same_trial_six_formats"
    count = METRES_PER_MM / 12
    first = read_recording(folder / "Eb015pi.c3d")
    for name in FORMATS:
        other = read_recording(folder / f"{name}.c3d")
        assert (other.labels, other.events, other.point_rate) == (first.labels, first.events, first.point_rate)
        same_kind = name.endswith("i")
        np.testing.assert_allclose(other.markers, first.markers, rtol=0, atol=1e-12 if same_kind else 0.51 * count)
        for ours, theirs in zip(other.plates, first.plates, strict=True):
            np.testing.assert_allclose(ours.force, theirs.force, rtol=0, atol=1e-9 if same_kind else 1e-3)
            np.testing.assert_allclose(ours.moment, theirs.moment, rtol=0, atol=1e-9 if same_kind else 1e-3)


def test_blocks_may_stand_anywhere(shared_c3d: Path) -> None:
    folder = shared_c3d / "conformance" / "parameter_block_moved"
    first = read_recording(folder / "EB015PI.c3d")
    for name in MOVED:
        other = read_recording(folder / f"{name}.c3d")
        assert other.labels == first.labels
        np.testing.assert_array_equal(other.markers, first.markers)
        for ours, theirs in zip(other.plates, first.plates, strict=True):
            np.testing.assert_array_equal(ours.force, theirs.force)
            np.testing.assert_array_equal(ours.moment, theirs.moment)


@pytest.mark.parametrize(
    ("name", "up", "forward"),
    [
        ("landing/vertical_jump_two_plates.c3d", "+z", "+y"),
        ("running/static.c3d", "+y", "+x"),
        ("running/treadmill_3.5ms.c3d", "+y", "+x"),
        ("walking/static.c3d", "+z", "+x"),
        ("walking/walk_1.c3d", "+z", "+x"),
        ("walking/walk_two_plates_type4.c3d", "+z", "-x"),
    ],
)
def test_axes_found_in_published_files(shared_c3d: Path, name: str, up: str, forward: str) -> None:
    recording = read_recording(shared_c3d / name)
    assert f"up {up}" in recording.axes_evidence
    assert f"forward {forward}" in recording.axes_evidence
    assert np.linalg.det(recording.lab_from_file) == 1
    right, left = (next(k for k in recording.labels if k.endswith("ASIS") and k[0] == side) for side in "RL")
    across = np.nanmean(recording.marker(right)[2] - recording.marker(left)[2])
    assert across > 0.15, "the right side of the pelvis must be at larger z"


def test_walkers_go_where_forward_points(shared_c3d: Path) -> None:
    for name, label in (("walk_1", "SACRUM"), ("walk_two_plates_type4", "V.Sacral")):
        x = read_recording(shared_c3d / "walking" / f"{name}.c3d").marker(label)[0]
        seen = x[~np.isnan(x)]
        assert seen[-1] - seen[0] > 1.0


def test_labels_cut_to_four_characters_are_healed_from_the_descriptions(shared_c3d: Path) -> None:
    recording = read_recording(shared_c3d / "landing" / "vertical_jump_two_plates.c3d")
    assert len(set(recording.labels)) == 51
    assert {"R.Knee", "R.Knee.Medial", "Top.Head"} <= set(recording.labels)
    assert any(finding.check == "labels" and "cut to 4" in finding.evidence for finding in recording.findings)


def test_event_names_are_taken_from_the_contexts_when_the_labels_are_empty(shared_c3d: Path) -> None:
    recording = read_recording(shared_c3d / "landing" / "vertical_jump_two_plates.c3d")
    assert [event.label for event in recording.events] == ["Start", "Take-Off", "Landing", "End"]
    np.testing.assert_allclose(
        [event.time for event in recording.events], [2 / 120, 83 / 120, 142 / 120, 214 / 120], atol=1e-6
    )
    assert "events" in checks(recording)


def test_nobodys_name_is_copied(shared_c3d: Path) -> None:
    """This file names its subject in SUBJECT:NAME."""
    recording = read_recording(shared_c3d / "conformance" / "same_trial_six_formats" / "Eb015pi.c3d")
    assert "baumgartner" not in repr(recording).lower()


def test_residuals_written_as_unsigned_words_mean_missing(shared_c3d: Path) -> None:
    """The walks store 65535.0 for -1, so their gaps need no finding about zeros."""
    recording = read_recording(shared_c3d / "walking" / "walk_1.c3d")
    assert np.isnan(recording.markers).any()
    assert "marker values" not in checks(recording)


# --- written files ---


def some_points(frames: int = 6, markers: int = 3) -> np.ndarray:
    return np.random.default_rng(7).uniform(-900, 900, (frames, markers, 3)).round(0)


@pytest.mark.parametrize("processor", ["Intel", "DEC", "MIPS"])
@pytest.mark.parametrize("scale", [-0.1, 0.5])
def test_points_come_back(read: Callable[..., Recording], processor: str, scale: float) -> None:
    points = some_points()
    recording = read(points, scale=scale, processor=processor, options={"up": "+y", "forward": "+x"})
    expected = points * (1.0 if scale < 0 else scale) * METRES_PER_MM
    np.testing.assert_allclose(recording.markers, expected.transpose(2, 1, 0), rtol=1e-12)
    assert recording.markers.flags.c_contiguous
    assert recording.labels == ("M1", "M2", "M3")


@pytest.mark.parametrize(("unit", "metres"), [("mm", 1e-3), ("cm", 1e-2), ("m", 1.0), ("in", 0.0254), ("Meters", 1.0)])
def test_units_of_length(read: Callable[..., Recording], unit: str, metres: float) -> None:
    points = some_points()
    recording = read(points, parameters={"POINT": {"UNITS": unit}}, options={"up": "+y", "forward": "+x"})
    np.testing.assert_allclose(recording.markers, points.transpose(2, 1, 0) * metres, rtol=1e-6)


def test_a_missing_unit_is_told(read: Callable[..., Recording]) -> None:
    assert "units" in checks(read(some_points(), without=("POINT:UNITS",)))


def test_missing_markers_are_nan(read: Callable[..., Recording]) -> None:
    points, residuals = some_points(), np.zeros((6, 3))
    residuals[1, 0], residuals[2, 0] = -1, 65535
    points[3, 1] = 0
    points[4, 2, 1] = np.nan
    recording = read(points, residuals=residuals)
    missing = np.isnan(recording.markers).all(axis=0)
    assert np.argwhere(missing.T).tolist() == [[1, 0], [2, 0], [3, 1], [4, 2]]
    assert missing.sum() * 3 == np.isnan(recording.markers).sum()
    told = [finding for finding in recording.findings if finding.check == "marker values"]
    assert [(finding.where, finding.evidence.split(" but")[0]) for finding in told] == [
        ("M3", "1 positions not finite"),
        ("M2", "1 positions exactly (0, 0, 0)"),
    ]


@pytest.mark.parametrize("stored", [np.inf, -np.inf, np.nan, 1e38])
def test_numbers_out_of_all_measure_do_no_harm(read: Callable[..., Recording], stored: float) -> None:
    points = some_points()
    points[0, 0, 0] = stored
    recording = read(points, options={"up": "+y", "forward": "+x"})
    assert np.isfinite(recording.markers[:, 1:]).all()


def test_signalling_nans_are_missing_too(tmp_path: Path, write_c3d: Write) -> None:
    path = tmp_path / "trial.c3d"
    points = some_points()
    points[2, 1, 0] = 12345.0
    value, signalling = np.float32(12345.0).tobytes(), bytes.fromhex("0100a07f")
    content = write_c3d(points)
    assert content.count(value) == 1
    path.write_bytes(content.replace(value, signalling))
    assert np.argwhere(np.isnan(read_recording(path).markers[0])).tolist() == [[1, 2]]


def test_the_words_of_a_long_trial_are_counted_elsewhere(read: Callable[..., Recording]) -> None:
    frames = 66000
    points = np.ones((frames, 1, 3))
    start, end = np.array([1, 0]), np.array([frames % 65536, frames // 65536])
    for parameters in (
        {"POINT": {"FRAMES": -1, "LONG_FRAMES": float(frames)}},
        {"POINT": {"FRAMES": -1}, "TRIAL": {"ACTUAL_START_FIELD": start, "ACTUAL_END_FIELD": end}},
    ):
        assert read(points, scale=0.1, parameters=parameters).frames == frames
    contradiction = {
        "POINT": {"FRAMES": -1, "LONG_FRAMES": 65900.0},
        "TRIAL": {"ACTUAL_START_FIELD": start, "ACTUAL_END_FIELD": end},
    }
    with pytest.raises(RecordingError, match="LONG_FRAMES and TRIAL"):
        read(points, scale=0.1, parameters=contradiction)


def test_more_than_32767_frames_overflow_into_the_sign(read: Callable[..., Recording]) -> None:
    assert read(np.ones((40000, 1, 3)), scale=0.1).frames == 40000


@pytest.mark.parametrize("frames_kind", [float, int])
def test_frames_may_be_a_real_number(read: Callable[..., Recording], frames_kind: type) -> None:
    assert read(some_points(), parameters={"POINT": {"FRAMES": frames_kind(6)}}).frames == 6


def analog_file(tmp_path: Path, write_c3d: Write, samples: np.ndarray, **analog: Any) -> Path:
    path = tmp_path / "analog.c3d"
    frames = samples.shape[0] // 2
    content = write_c3d(
        some_points(frames), analog=samples, samples_per_frame=2, scale=0.1, parameters={"ANALOG": analog}
    )
    path.write_bytes(content)
    return path


def test_analog_scaling(tmp_path: Path, write_c3d: Write) -> None:
    samples = np.arange(24).reshape(12, 2) - 10
    path = analog_file(
        tmp_path, write_c3d, samples, SCALE=np.array([2.0, -0.5]), OFFSET=np.array([5, -5]), GEN_SCALE=0.25
    )
    expected = (samples - [5, -5]) * np.array([2.0, -0.5]) * 0.25
    np.testing.assert_allclose(all_analogs(path), expected.T, rtol=1e-12)


def test_unsigned_analog_samples_and_offsets(tmp_path: Path, write_c3d: Write) -> None:
    samples = np.array([[0, 65535], [40000, 1], [32768, 32767], [1, 2]])
    offsets = np.array([32768, 40000])
    as_stored = (offsets + 32768) % 65536 - 32768
    path = analog_file(tmp_path, write_c3d, samples, OFFSET=as_stored, SCALE=np.array([1.0, 2.0]), FORMAT="UNSIGNED")
    np.testing.assert_allclose(all_analogs(path), ((samples - offsets) * [1.0, 2.0]).T)


def test_a_contradicting_analog_rate_is_told(read: Callable[..., Recording]) -> None:
    analog = np.zeros((12, 1))
    recording = read(some_points(), analog=analog, samples_per_frame=2, parameters={"ANALOG": {"RATE": 300.0}})
    assert recording.force_rate == 200.0
    assert "rates" in checks(recording)


def test_events_count_from_the_first_stored_frame(read: Callable[..., Recording]) -> None:
    times = np.array([[0.0, 1.0, 1.0], [59.5, 0.25, 0.75]])
    events = {
        "USED": 3,
        "LABELS": ["Foot Strike", "Foot Off", ""],
        "CONTEXTS": ["Left", "Right", "General"],
        "TIMES": times,
    }
    recording = read(some_points(200), first_frame=5901, header_events=[("ON", 0.5)], parameters={"EVENT": events})
    found = [(event.label, event.side, round(event.time, 4)) for event in recording.events]
    assert found == [("Foot Strike", "left", 0.5), ("ON", "", 0.5), ("Foot Off", "right", 1.25), ("General", "", 1.75)]
    assert recording.first_frame == 5901


def test_events_that_only_fit_when_counted_from_the_stored_frames_are_told(read: Callable[..., Recording]) -> None:
    events = {"USED": 1, "LABELS": ["Landing"], "CONTEXTS": ["Left"], "TIMES": np.array([[0.0], [0.5]])}
    recording = read(some_points(200), first_frame=5901, parameters={"EVENT": events})
    assert [event.time for event in recording.events] == [0.5]
    assert "events" in checks(recording)


def test_an_event_in_header_and_group_is_one(read: Callable[..., Recording]) -> None:
    events = {"USED": 1, "LABELS": ["ON"], "CONTEXTS": ["Left"], "TIMES": np.array([[0.0], [0.5]])}
    recording = read(some_points(200), header_events=[("ON", 0.5)], parameters={"EVENT": events})
    assert [(event.label, event.side) for event in recording.events] == [("ON", "left")]


def test_derived_trajectories_are_kept_out(read: Callable[..., Recording]) -> None:
    parameters = {"POINT": {"LABELS": ["A:Knee", "A:KneeAngle", "A:Hip"], "ANGLES": ["KneeAngle"]}}
    points = some_points()
    recording = read(points, parameters=parameters, options={"up": "+y", "forward": "+x"})
    assert recording.labels == ("Knee", "Hip")
    np.testing.assert_allclose(recording.markers, points[:, [0, 2]].transpose(2, 1, 0) * METRES_PER_MM)


def test_subject_prefixes_are_cut_off(read: Callable[..., Recording]) -> None:
    parameters = {
        "POINT": {"LABELS": ["Jane_Doe_Knee", "Jane_Doe_Hip", "Jane_Doe_Toe"]},
        "SUBJECTS": {"LABEL_PREFIXES": ["Jane_Doe_"], "NAMES": ["Jane Doe"]},
    }
    assert read(some_points(), parameters=parameters).labels == ("Knee", "Hip", "Toe")


@pytest.mark.parametrize(
    ("labels", "descriptions", "expected"),
    [
        (["KNEE", "KNEE", "HIP "], ["Knee outside", "Knee inside", "Hip"], ("Knee outside", "Knee inside", "Hip")),
        (["KNEE", "KNEE", "HIP"], ["", "", ""], ("KNEE", "KNEE_2", "HIP")),
        (["KNEE", "KNEE", "KNEE_2"], ["same", "same", "other"], ("KNEE", "KNEE_2", "KNEE_2_2")),
        (["KNEE", "", "HIP"], ["", "", ""], ("KNEE", "unnamed2", "HIP")),
        (["KNEE", "HIP"], ["", "", ""], ("KNEE", "HIP", "unnamed3")),
    ],
)
def test_doubled_labels_are_made_unique_and_told(
    read: Callable[..., Recording], labels: list[str], descriptions: list[str], expected: tuple[str, ...]
) -> None:
    recording = read(some_points(), parameters={"POINT": {"LABELS": labels, "DESCRIPTIONS": descriptions}})
    assert recording.labels == expected
    assert "labels" in checks(recording)


def test_unique_labels_are_left_alone(read: Callable[..., Recording]) -> None:
    parameters = {"POINT": {"LABELS": ["A", "B", "C"], "DESCRIPTIONS": ["Right knee", "Left knee", "Hip"]}}
    recording = read(some_points(), parameters=parameters)
    assert recording.labels == ("A", "B", "C")
    assert "labels" not in checks(recording)


# --- axes ---

BODY = ["HEAD", "R_ASIS", "L_ASIS", "SACRUM", "R_HEEL", "L_HEEL"]
BODY_PLACES = np.array([[0, 1.7, 0], [0.1, 1, 0.12], [0.1, 1, -0.12], [-0.1, 1, 0], [0, 0.05, 0.1], [0, 0.05, -0.1]])
"""(6, 3) [m] a standing body in lab axes."""
ALL_AXES = [(up, forward) for up in ("+x", "-y", "+z") for forward in ("+y", "-z", "-x", "+x") if up[1] != forward[1]]


def standing(up: str, forward: str) -> np.ndarray:
    """(5, 6, 3) [mm] the body standing in a file with these axes, a little away from its origin."""
    axis = {letter: np.eye(3)[k] for k, letter in enumerate("xyz")}
    vectors = [(-1 if name[0] == "-" else 1) * axis[name[1]] for name in (forward, up)]
    lab_from_file = np.array([*vectors, np.cross(*vectors)])
    return np.repeat((1000 * BODY_PLACES @ lab_from_file + [3, 5, 7])[None], 5, axis=0)


@pytest.mark.parametrize(("up", "forward"), ALL_AXES)
def test_a_standing_body_tells_the_axes(read: Callable[..., Recording], up: str, forward: str) -> None:
    recording = read(standing(up, forward), parameters={"POINT": {"LABELS": BODY}})
    assert recording.axes_evidence.startswith(
        f"up {up} from the standing body; forward {forward} where the pelvis faces"
    )
    places = recording.markers[:, :, 0] - recording.markers[:, [3], 0]
    np.testing.assert_allclose(places, (BODY_PLACES - BODY_PLACES[3]).T, atol=1e-4)


def test_a_contradicting_screen_is_told(read: Callable[..., Recording]) -> None:
    recording = read(standing("+z", "+x"), parameters={"POINT": {"LABELS": BODY, "Y_SCREEN": "+Y"}})
    assert "up +z" in recording.axes_evidence
    told = [finding for finding in recording.findings if finding.check == "axes"]
    assert [finding.severity for finding in told] == ["warn"]
    assert "POINT:Y_SCREEN says +y" in told[0].evidence


def test_told_axes_overrule_the_evidence(read: Callable[..., Recording]) -> None:
    options = {"up": "+z", "forward": "-y"}
    recording = read(standing("+y", "+x"), parameters={"POINT": {"LABELS": BODY}}, options=options)
    np.testing.assert_array_equal(recording.lab_from_file, [[0, -1, 0], [0, 0, 1], [-1, 0, 0]])
    assert "as told" in recording.axes_evidence


def test_axes_without_evidence_are_told(read: Callable[..., Recording]) -> None:
    recording = read(some_points())
    assert [finding.severity for finding in recording.findings if finding.check == "axes"] == ["warn", "warn"]


def test_screen_axes_serve_when_the_labels_say_nothing(read: Callable[..., Recording]) -> None:
    recording = read(some_points(), parameters={"POINT": {"X_SCREEN": "-Y", "Y_SCREEN": "+Z"}})
    np.testing.assert_array_equal(recording.lab_from_file, [[0, -1, 0], [0, 0, 1], [-1, 0, 0]])


def test_a_rider_who_turns_round_does_not_name_the_forward_axis(read: Callable[..., Recording]) -> None:
    there, back = standing("+z", "+x"), standing("+z", "-x")
    recording = read(np.concatenate([there, back]), parameters={"POINT": {"LABELS": BODY, "X_SCREEN": "+Y"}})
    assert "forward +y from POINT:X_SCREEN" in recording.axes_evidence


@pytest.mark.parametrize("options", [{"up": "z+"}, {"up": "+w"}, {"forward": ""}, {"up": "+z", "forward": "-z"}])
def test_an_unknown_axis_is_refused(read: Callable[..., Recording], options: dict[str, str]) -> None:
    with pytest.raises(SettingError):
        read(some_points(), options=options)


# --- the recording itself ---


def test_the_fingerprint_is_that_of_the_file(tmp_path: Path, write_c3d: Write) -> None:
    path = tmp_path / "trial.c3d"
    path.write_bytes(write_c3d(some_points()))
    recording = read_recording(path)
    assert recording.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert recording.name == "trial.c3d"


def test_a_file_without_plates_is_kinematics_only(read: Callable[..., Recording]) -> None:
    recording = read(some_points())
    assert recording.plates == () and recording.samples_per_frame == 1
    assert math.isclose(recording.time[-1], 0.05)

"""Oddities of C3D files, one test each, from files made byte by byte: read right, or refused in one line."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jointload.errors import RecordingError
from jointload.intake.c3d import analog_channels, decode, read_recording
from jointload.intake.c3d_bytes.guard import OpenedRecording
from jointload.intake.c3d_bytes.layout import read_layout
from jointload.intake.c3d_bytes.parameters import Limits
from jointload.intake.recording import Finding, Recording

AXES = {"up": "+y", "forward": "+x"}
MM = 1e-3
ENCODINGS = [(processor, scale) for processor in ("Intel", "DEC", "MIPS") for scale in (-0.5, 0.5)]

Write = Callable[..., bytes]
Read = Callable[..., Recording]


@pytest.fixture
def read(tmp_path: Path, write_c3d: Write) -> Read:
    def written_and_read(*args: Any, limits: Limits | None = None, **kwargs: Any) -> Recording:
        path = tmp_path / "trial.c3d"
        path.write_bytes(write_c3d(*args, **kwargs))
        return read_recording(path, **AXES) if limits is None else read_recording(path, **AXES, limits=limits)

    return written_and_read


def points(frames: int = 6, markers: int = 3) -> np.ndarray:
    return np.random.default_rng(11).integers(-900, 900, (frames, markers, 3)).astype(float)


def told(recording: Recording, check: str) -> list[Finding]:
    return [finding for finding in recording.findings if finding.check == check and finding.severity == "warn"]


def analogs(path: Path) -> np.ndarray:
    """(C, N) all scaled samples."""
    with OpenedRecording(path) as opened:
        structure = opened.structure()
        layout = read_layout(structure)
        data = decode(opened.section(layout.start, layout.stop)[0], layout, structure)
    return analog_channels(data, layout, structure, range(layout.channels))


# --- encodings ---


@pytest.mark.parametrize(("processor", "scale"), ENCODINGS)
@pytest.mark.parametrize(("gaps", "data_first"), [((0, 0), False), ((3, 2), False), ((3, 1), True)])
def test_sections_may_stand_anywhere_in_every_encoding(
    tmp_path: Path, write_c3d: Write, processor: str, scale: float, gaps: tuple[int, int], data_first: bool
) -> None:
    stored, samples = points(30), np.arange(120).reshape(60, 2) - 50
    analog = {"SCALE": np.array([0.5, -2.0]), "OFFSET": np.array([3, -4]), "GEN_SCALE": 0.25}
    content = write_c3d(
        stored,
        analog=samples,
        samples_per_frame=2,
        scale=scale,
        processor=processor,
        gaps=gaps,
        data_first=data_first,
        parameters={"ANALOG": analog},
    )
    path = tmp_path / "trial.c3d"
    path.write_bytes(content)
    recording = read_recording(path, **AXES)
    expected = stored.transpose(2, 1, 0) * MM * (1.0 if scale < 0 else scale)
    np.testing.assert_allclose(recording.markers, expected, rtol=1e-12)
    np.testing.assert_allclose(analogs(path), ((samples - [3, -4]) * [0.125, -0.5]).T, rtol=1e-12)
    doubts = [finding.evidence for finding in recording.findings if finding.severity != "pass"]
    assert doubts == ["no plate is described"]


def test_data_over_the_parameters_are_refused(tmp_path: Path, write_c3d: Write) -> None:
    content = bytearray(write_c3d(points(), parameters={"POINT": {"DATA_START": 2}}, header={9: 2}))
    at = content.index(b"DATA_START") + len(b"DATA_START") + 2 + 2
    content[at : at + 2] = b"\x02\x00"
    path = tmp_path / "trial.c3d"
    path.write_bytes(content)
    with pytest.raises(RecordingError, match="a place outside the parameters"):
        read_recording(path)


def test_a_rotation_group_is_not_read(read: Read) -> None:
    rotation = {"USED": 1, "RATIO": 200, "DATA_START": 30000, "RATE": 100.0}
    recording = read(points(), parameters={"ROTATION": rotation})
    np.testing.assert_allclose(recording.markers, points().transpose(2, 1, 0) * MM)
    assert [finding.severity for finding in recording.findings if finding.check == "rotations"] == ["pass"]


# --- rates ---


def test_a_rate_of_zero_falls_back_to_the_header(read: Read) -> None:
    recording = read(points(), rate=125.0, parameters={"POINT": {"RATE": 0.0}})
    assert recording.point_rate == 125.0
    assert [finding.evidence for finding in told(recording, "rates")] == ["POINT:RATE is 0"]


def test_a_missing_rate_falls_back_to_the_header(read: Read) -> None:
    recording = read(points(), rate=125.0, without=("POINT:RATE",))
    assert recording.point_rate == 125.0
    assert [finding.evidence for finding in told(recording, "rates")] == ["POINT:RATE is missing"]


@pytest.mark.parametrize("rate", [0.0, -5.0, float("nan"), 1e30])
def test_a_rate_that_no_place_tells_is_refused(read: Read, rate: float) -> None:
    with pytest.raises(RecordingError, match=r"POINT:RATE: expected a rate .* found 0, and .* Hz in the header"):
        read(points(), parameters={"POINT": {"RATE": 0.0}}, header={11: rate})


def test_two_rates_are_told(read: Read) -> None:
    recording = read(points(), rate=100.0, header={11: 50.0})
    assert recording.point_rate == 100.0
    assert [finding.advice for finding in told(recording, "rates")] == ["POINT:RATE was followed"]


# --- counts ---


@pytest.mark.parametrize("word", [2, 3])
def test_counts_that_the_header_does_not_share_are_refused(read: Read, word: int) -> None:
    """Another reader follows one of the two and shifts every later sample."""
    with pytest.raises(RecordingError, match="expected the same in parameters and header"):
        read(points(), analog=np.ones((6, 2)), samples_per_frame=1, header={word: 4})


@pytest.mark.parametrize("used", [2, 4])
def test_point_used_that_the_header_does_not_share_is_refused(read: Read, used: int) -> None:
    with pytest.raises(RecordingError, match=f"marker count: .* found {used} and 3"):
        read(points(), parameters={"POINT": {"USED": used}})


def test_a_frame_count_that_the_header_does_not_share_is_told(read: Read) -> None:
    recording = read(points(6), header={5: 9})
    assert recording.frames == 6
    assert "frames 1 to 9 are not POINT:FRAMES, 6" in told(recording, "frame count")[0].evidence


def test_frames_left_unread_are_told(read: Read) -> None:
    recording = read(points(100), parameters={"POINT": {"FRAMES": 60}}, header={5: 60})
    assert recording.frames == 60
    assert "bytes follow the last frame" in told(recording, "unread bytes")[0].evidence
    assert not told(read(points(100)), "unread bytes")


def test_another_scale_in_the_header_is_told(read: Read) -> None:
    recording = read(points(), scale=0.5, header={7: 0.25})
    np.testing.assert_allclose(recording.markers, points().transpose(2, 1, 0) * 0.5 * MM)
    assert [finding.where for finding in told(recording, "scale")] == ["header"]


LONG = 70_000
START = 66_000


def long_fields(start: int, end: int) -> dict[str, np.ndarray]:
    words = {"ACTUAL_START_FIELD": start, "ACTUAL_END_FIELD": end}
    return {name: np.array([number % 65536, number // 65536]) for name, number in words.items()}


def test_long_trials_hold_their_last_frame(read: Read) -> None:
    """Every frame is its own, so that padding or a dropped frame would be seen."""
    stored = np.zeros((LONG, 1, 3))
    stored[:, 0] = np.stack([np.arange(LONG) % 30000 + 1, np.arange(LONG) // 30000, np.ones(LONG)], axis=1)
    trial = long_fields(1, LONG)
    for point in ({"FRAMES": -1, "LONG_FRAMES": float(LONG)}, {"FRAMES": -1}):
        recording = read(stored, scale=1.0, parameters={"POINT": point, "TRIAL": trial})
        np.testing.assert_array_equal(recording.markers, stored.transpose(2, 1, 0) * MM)
        assert not [finding for finding in recording.findings if finding.severity != "pass"]
    wrong = {"POINT": {"FRAMES": -1, "LONG_FRAMES": LONG - 1.0}, "TRIAL": trial}
    with pytest.raises(RecordingError, match="found 69999 and 70000"):
        read(stored, scale=1.0, parameters=wrong)


def test_exactly_65535_frames_need_no_other_count(read: Read) -> None:
    assert read(np.ones((65535, 1, 3)), scale=1.0, parameters={"POINT": {"FRAMES": -1}}).frames == 65535


def test_a_trial_may_start_beyond_frame_65535(read: Read) -> None:
    events = {"USED": 1, "LABELS": ["On"], "CONTEXTS": ["Left"], "TIMES": np.array([[11.0], [0.5]])}
    trial = long_fields(START, START + 199)
    recording = read(
        points(200),
        first_frame=START % 65536,
        parameters={"TRIAL": trial, "EVENT": events},
        header={5: START % 65536 + 199},
    )
    assert recording.first_frame == START
    assert recording.events[0].time == pytest.approx(660.5 - (START - 1) / 100)
    assert not told(recording, "frame count")


def test_a_first_frame_that_the_header_does_not_share_is_told(read: Read) -> None:
    recording = read(points(200), parameters={"TRIAL": long_fields(11, 210)})
    assert recording.first_frame == 11
    assert [finding.where for finding in told(recording, "frame count")] == ["TRIAL"]


# --- analog samples ---


@pytest.mark.parametrize("processor", ["Intel", "DEC", "MIPS"])
def test_unsigned_samples_and_offsets(tmp_path: Path, write_c3d: Write, processor: str) -> None:
    samples = np.array([[0, 65535], [40000, 1], [32768, 32767], [1, 2]])
    offsets = np.array([32768, 40000])
    analog = {"OFFSET": offsets - 65536, "SCALE": np.array([1.0, 2.0]), "FORMAT": "UNSIGNED"}
    path = tmp_path / "trial.c3d"
    path.write_bytes(
        write_c3d(
            points(2),
            analog=samples,
            samples_per_frame=2,
            scale=0.1,
            processor=processor,
            parameters={"ANALOG": analog},
        )
    )
    np.testing.assert_allclose(analogs(path), ((samples - offsets) * [1.0, 2.0]).T)


def test_negative_offsets_are_negative(tmp_path: Path, write_c3d: Write) -> None:
    samples = np.array([[5, -7], [0, 0], [-32768, 32767], [1, 2]])
    path = tmp_path / "trial.c3d"
    analog = {"OFFSET": np.array([-2048, -1]), "SCALE": np.array([1.0, 1.0])}
    path.write_bytes(
        write_c3d(points(2), analog=samples, samples_per_frame=2, scale=0.1, parameters={"ANALOG": analog})
    )
    np.testing.assert_allclose(analogs(path), (samples + [2048, 1]).T)


def test_an_unknown_sample_format_is_told(read: Read) -> None:
    recording = read(
        points(2), analog=np.ones((4, 2)), samples_per_frame=2, parameters={"ANALOG": {"FORMAT": "SIGNET"}}
    )
    assert "'SIGNET'" in told(recording, "number format")[0].evidence


def test_many_channels_continue_under_numbered_names(tmp_path: Path, write_c3d: Write) -> None:
    count = 300
    scales, offsets = np.arange(1.0, count + 1), np.arange(count) - 150
    lists = {
        "SCALE": scales[:255],
        "SCALE2": scales[255:],
        "OFFSET": offsets[:255],
        "OFFSET2": offsets[255:],
        "LABELS": [f"C{k}" for k in range(255)],
        "LABELS2": [f"C{k}" for k in range(255, count)],
    }
    samples = np.random.default_rng(3).integers(-99, 99, (4, count))
    path = tmp_path / "trial.c3d"
    path.write_bytes(write_c3d(points(4), analog=samples, samples_per_frame=1, parameters={"ANALOG": lists}))
    np.testing.assert_allclose(analogs(path), ((samples - offsets) * scales).T)


def test_labels_and_descriptions_continue_twice(read: Read) -> None:
    count = 600
    labels, texts = [f"P{k}" for k in range(count)], [f"place {k}" for k in range(count)]
    lists = {
        f"{name}{suffix}": values[start : start + 255]
        for name, values in (("LABELS", labels), ("DESCRIPTIONS", texts))
        for suffix, start in (("", 0), ("2", 255), ("3", 510))
    }
    recording = read(np.ones((2, count, 3)), parameters={"POINT": lists})
    assert recording.labels == tuple(labels)
    assert recording.descriptions == tuple(texts)


# --- people ---


@pytest.mark.parametrize("spelled", ["Jane Doe_", "Jane_Doe-", "JaneDoe.", "Jane Doe:"])
def test_a_persons_name_before_a_label_is_cut_off(read: Read, spelled: str) -> None:
    parameters = {
        "POINT": {
            "LABELS": [f"{spelled}{k}" for k in ("Knee", "Hip", "Toe")],
            "DESCRIPTIONS": [f"{spelled}outer knee"],
        },
        "SUBJECTS": {"NAMES": ["Jane Doe"]},
    }
    recording = read(points(), parameters=parameters)
    assert recording.labels == ("Knee", "Hip", "Toe")
    assert recording.descriptions == ("outer knee", "", "")
    assert "doe" not in repr(recording).lower()


def test_a_person_called_right_does_not_take_the_side_off(read: Read) -> None:
    parameters = {"POINT": {"LABELS": ["Right_Knee", "Right_Hip", "Toe"]}, "SUBJECTS": {"NAMES": ["Right"]}}
    assert read(points(), parameters=parameters).labels == ("Right_Knee", "Right_Hip", "Toe")


# --- sizes ---


def test_limits_are_the_callers_choice(read: Read) -> None:
    needed = 100 * 3 * 16
    with pytest.raises(RecordingError, match=rf"at most {needed - 1} bytes, found {needed}.*raise Limits.data_bytes"):
        read(points(100), limits=Limits(data_bytes=needed - 1))
    assert read(points(100), limits=Limits(data_bytes=needed)).frames == 100


def test_only_the_data_section_is_kept_in_memory(tmp_path: Path, write_c3d: Write) -> None:
    """A sparse tail of 256 MB is hashed in passing."""
    path = tmp_path / "trial.c3d"
    path.write_bytes(write_c3d(points(100)))
    with path.open("r+b") as stream:
        stream.truncate(256 * 1024**2)
    tracemalloc.start()
    recording = read_recording(path, **AXES)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 10e6
    assert told(recording, "unread bytes")


# --- damage that leaves a file readable ---


def damaged(tmp_path: Path, content: bytes) -> Recording:
    path = tmp_path / "trial.c3d"
    path.write_bytes(content)
    return read_recording(path, **AXES)


EVENTS = {"USED": 1, "LABELS": ["On"], "CONTEXTS": ["Left"], "TIMES": np.array([[0.0], [0.02]])}


@pytest.mark.parametrize(
    ("change", "where", "words"),
    [
        (lambda raw: raw.replace(b"\x05\xfdEVENT", b"\x05\xfdEVENU"), "EVENT", "no group EVENT, but EVENU"),
        (lambda raw: raw.replace(b"\x05\xfdEVENT", b"\0\xfdEVENT"), "parameter section", "one more seems to follow"),
        (
            lambda raw: raw.replace(b"\x05\xfdEVENT", bytes(7)),
            "parameter section",
            "the name CONTEXTS stands in unread",
        ),
        (lambda raw: raw.replace(b"\x05\xfdEVENT", b"\x05\xf0EVENT"), "#3", "belong to a group that has no name"),
        (lambda raw: raw.replace(b"\x05\x03TIMES", b"\x05\x03USEDX"), "EVENT", "USED is 1, there are 0 times"),
    ],
)
def test_damaged_parameters_that_can_still_be_walked_are_told(
    tmp_path: Path, write_c3d: Write, change: Callable[[bytes], bytes], where: str, words: str
) -> None:
    whole = write_c3d(points(), parameters={"EVENT": EVENTS})
    assert not [f for f in damaged(tmp_path, whole).findings if f.check in ("events", "parameters")]
    assert change(whole) != whole
    findings = [f for f in damaged(tmp_path, change(whole)).findings if f.severity == "warn"]
    assert any(finding.where == where and words in finding.evidence for finding in findings), findings


def test_a_parameter_that_is_there_twice_is_told(tmp_path: Path, write_c3d: Write) -> None:
    content = write_c3d(points(), parameters={"MY": {"FIRST": 1, "OTHER": 2}}).replace(b"OTHER", b"FIRST")
    (finding,) = [f for f in damaged(tmp_path, content).findings if f.check == "parameters"]
    assert finding.where == "MY:FIRST" and "twice" in finding.evidence


def test_two_pointers_out_of_the_section_are_refused(tmp_path: Path, write_c3d: Write) -> None:
    content = bytearray(write_c3d(points()))
    for name in (b"POINT", b"ANALOG"):
        at = content.index(name) + len(name)
        content[at : at + 2] = b"\xff\x7f"
    with pytest.raises(RecordingError, match="a next record within"):
        damaged(tmp_path, content)


def test_events_outside_the_trial_are_told(read: Read) -> None:
    events = EVENTS | {"TIMES": np.array([[0.0], [9.0]])}
    recording = read(points(100), parameters={"EVENT": events})
    assert "outside the trial's 1.00 s, such as one at 9.00 s" in told(recording, "events")[0].evidence


@pytest.mark.parametrize("word", [150, 151])
def test_header_events_without_key_or_count_are_told(read: Read, word: int) -> None:
    recording = read(points(100), header_events=[("ON", 0.5)], header={word: 0})
    assert recording.events == ()
    assert [finding.where for finding in told(recording, "events")] == ["header"]

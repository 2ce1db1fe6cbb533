"""Damaged, hostile and unusual files: one clear line or a correct read, quickly and in little memory."""

from __future__ import annotations

import os
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jointload.errors import RecordingError
from jointload.intake.c3d import read_recording
from jointload.intake.c3d_bytes.guard import read_structure
from jointload.intake.c3d_bytes.layout import read_layout
from jointload.intake.c3d_bytes.parameters import Limits, vax_to_ieee

DAMAGED = Path(__file__).parent / "damaged"
SECONDS = 1.0
BYTES = 200e6
MUTATION_SECONDS = 2.0
MUTATIONS = 600


def read_within_limits(path: Path) -> RecordingError | None:
    """Read a file, check time and memory, and hand back the refusal if there was one."""
    tracemalloc.start()
    start = time.process_time()
    problem = None
    try:
        read_recording(path)
    except RecordingError as refusal:
        problem = refusal
    seconds = time.process_time() - start
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert seconds < SECONDS
    assert peak < BYTES
    return problem


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("w00_sigsegv", "USED: expected at most 7 dimensions, found 255"),
        ("w01_sigsegv", "POINT:USED: expected a finite number, found no such number"),
        ("w02_sigsegv", "ANALOG:SCALE: expected 6 numbers"),
        ("w03_sigsegv", "parameter name: expected printable ASCII"),
        ("w04_sigsegv", "expected a number of its own, found that of POINT"),
        ("w05_hang", "768 bytes, fewer than the two blocks"),
        ("w06_hang", "VERSION: expected at most 7 dimensions, found 127"),
        ("w07_memory", "ROTATION:RATIO: expected a count, found -1"),
        ("w08_bad_alloc", "LABELS: expected 2040 bytes"),
        ("w09_silent", "expected 20 frames ending at byte 17408, found 4620 bytes, 3 whole frames"),
    ],
)
def test_a_damaged_file_is_refused_in_one_line(name: str, words: str) -> None:
    path = DAMAGED / f"{name}.c3d"
    problem = read_within_limits(path)
    assert problem is not None
    assert words in str(problem)
    assert str(path) in str(problem)
    assert "\n" not in str(problem)


@pytest.mark.parametrize(
    "content", [b"", b"one line of text\n" * 100, b"\x02", b"\x02\x50" + b"\0" * 2000, b"\xff" * 5000]
)
def test_what_is_no_recording_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "file.c3d"
    path.write_bytes(content)
    problem = read_within_limits(path)
    assert problem is not None and "\n" not in str(problem)


def test_64_megabytes_of_zeros_are_refused_without_reading_them(tmp_path: Path) -> None:
    path = tmp_path / "zeros.c3d"
    with path.open("wb") as stream:
        stream.truncate(64 * 1024**2)
    assert "0x50" in str(read_within_limits(path))


def test_a_directory_is_refused(tmp_path: Path) -> None:
    assert "a directory" in str(read_within_limits(tmp_path))


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    assert "does not exist" in str(read_within_limits(tmp_path / "absent.c3d"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_and_a_device_are_refused(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.c3d"
    os.mkfifo(pipe)
    assert "no regular file" in str(read_within_limits(pipe))
    assert "no regular file" in str(read_within_limits(Path(os.devnull)))


def test_a_loop_of_links_is_refused(tmp_path: Path) -> None:
    first, second = tmp_path / "a.c3d", tmp_path / "b.c3d"
    first.symlink_to(second)
    second.symlink_to(first)
    assert read_within_limits(first) is not None


def test_a_file_above_the_limit_is_refused(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    path = tmp_path / "trial.c3d"
    path.write_bytes(write_c3d(np.ones((5, 2, 3))))
    with pytest.raises(RecordingError, match="more than the limit of 1500"):
        read_structure(path, Limits(file_bytes=1500))
    with pytest.raises(RecordingError, match="at most 1 markers"):
        read_layout(read_structure(path), Limits(points=1))


@pytest.mark.parametrize("processor", ["Intel", "DEC", "MIPS"])
def test_parameters_are_the_same_in_every_byte_order(
    tmp_path: Path, write_c3d: Callable[..., bytes], processor: str
) -> None:
    path = tmp_path / "trial.c3d"
    matrix = np.arange(6).reshape(2, 3)
    numbers = np.array([1.5, -0.1, 3e30, -2e-30, 0.0])
    content = write_c3d(
        np.ones((5, 2, 3)),
        processor=processor,
        header_events=[("ON", 0.25)],
        parameters={"MY": {"MATRIX": matrix, "REALS": numbers, "TEXTS": ["one", "two words"]}},
    )
    path.write_bytes(content)
    structure = read_structure(path)
    assert structure.processor == processor
    found = structure.find("MY", "MATRIX")
    assert found is not None and found.dims == (2, 3)
    np.testing.assert_array_equal(found.numbers, matrix.ravel(order="F"))
    np.testing.assert_array_equal(structure.numbers("MY", "REALS"), numbers.astype(np.float32))
    assert structure.texts("MY", "TEXTS") == ("one", "two words")
    assert structure.header.events == (("ON", 0.25),)


def test_known_dec_numbers() -> None:
    """F_floating bit patterns worked out from the definition: value = 0.1m (binary) x 2^(exponent - 128)."""
    words = np.array([[0x4080, 0], [0xC080, 0], [0x4149, 0x0FDB], [0x0000, 0], [0x8000, 0]], dtype="<u2")
    values = vax_to_ieee(words)
    np.testing.assert_array_equal(values[:4], np.array([1.0, -1.0, np.pi, 0.0], dtype=np.float32))
    assert np.isnan(values[4])


def test_lists_continue_under_numbered_names(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    path = tmp_path / "trial.c3d"
    first, second = [f"P{k}" for k in range(255)], [f"P{k}" for k in range(255, 300)]
    content = write_c3d(np.ones((2, 300, 3)), parameters={"POINT": {"LABELS": first, "LABELS2": second}})
    path.write_bytes(content)
    assert read_recording(path).labels == tuple(f"P{k}" for k in range(300))


def test_counts_that_contradict_each_other_are_refused(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    path = tmp_path / "trial.c3d"
    for parameters, words in (
        ({"POINT": {"USED": 3}}, "marker count: expected the same in parameters and header, found 3 and 2"),
        ({"POINT": {"RATE": -100.0}}, "POINT:RATE: expected a rate from 0 to 1e.06 Hz, found -100"),
        ({"POINT": {"SCALE": 0.0}}, "POINT:SCALE"),
        ({"POINT": {"FRAMES": 0}}, "frame count: expected at least 1, found 0"),
        ({"ANALOG": {"USED": 2}}, "analog values a frame: expected the same in parameters and header, found 2 and 1"),
        ({"POINT": {"UNITS": "parsec"}}, "POINT:UNITS: expected mm, cm, m or in, found 'parsec'"),
    ):
        content = write_c3d(np.ones((5, 2, 3)), analog=np.ones((5, 1)), samples_per_frame=1, parameters=parameters)
        path.write_bytes(content)
        with pytest.raises(RecordingError, match=words):
            read_recording(path)


@pytest.mark.parametrize("kept", [0.3, 0.6, 0.99])
def test_a_file_cut_short_is_refused_with_both_numbers(
    tmp_path: Path, write_c3d: Callable[..., bytes], kept: float
) -> None:
    path = tmp_path / "trial.c3d"
    content = write_c3d(np.ones((400, 4, 3)))
    path.write_bytes(content[: round(kept * len(content))])
    with pytest.raises(RecordingError, match=r"expected 400 frames .* found \d+ bytes, \d+ whole frames"):
        read_recording(path)


def test_mutated_files_are_read_or_refused_quickly(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    """Seeded mutations of one small valid file: bytes flipped, blocks overwritten, ends cut off."""
    path = tmp_path / "mutant.c3d"
    original = _plate_trial(write_c3d)
    path.write_bytes(original)
    read_recording(path)
    random = np.random.default_rng(20240501)
    refused = 0
    for _ in range(MUTATIONS):
        path.write_bytes(_mutated(original, random))
        start = time.process_time()
        try:
            read_recording(path)
        except RecordingError as problem:
            refused += 1
            assert "\n" not in str(problem)
        assert time.process_time() - start < MUTATION_SECONDS
    assert 0 < refused < MUTATIONS


def _plate_trial(write_c3d: Callable[..., bytes]) -> bytes:
    analog = np.zeros((60, 6))
    analog[20:40, 2] = -700.0
    corners = np.array([[500.0, 0, 0], [0, 0, 0], [0, 400, 0], [500, 400, 0]]).T[:, :, None]
    return write_c3d(
        np.random.default_rng(1).normal(500, 100, (30, 4, 3)),
        analog=analog,
        samples_per_frame=2,
        header_events=[("ON", 0.1)],
        parameters={
            "POINT": {"LABELS": ["R_ASIS", "SACRUM", "R_HEEL", "HEAD"], "X_SCREEN": "+X", "Y_SCREEN": "+Z"},
            "ANALOG": {"UNITS": ["N", "N", "N", "Nmm", "Nmm", "Nmm"], "FORMAT": "SIGNED"},
            "FORCE_PLATFORM": {
                "USED": 1,
                "TYPE": np.array([4]),
                "ZERO": np.array([1, 5]),
                "CORNERS": corners,
                "ORIGIN": np.array([[0.0], [0.0], [-40.0]]),
                "CHANNEL": np.arange(1, 7)[:, None],
                "CAL_MATRIX": np.eye(6)[:, :, None],
            },
            "EVENT": {
                "USED": 1,
                "LABELS": ["Landing"],
                "CONTEXTS": ["Left"],
                "TIMES": np.array([[0.0], [0.2]]),
            },
        },
    )


def _mutated(original: bytes, random: np.random.Generator) -> bytes:
    content = bytearray(original)
    kind = random.integers(5)
    if kind == 0:
        return bytes(content[: random.integers(len(content))])
    if kind == 1:
        at = random.integers(len(content) - 8)
        content[at : at + 8] = bytes([random.choice([0, 0x7F, 0x80, 0xFF])]) * 8
        return bytes(content)
    first, last = (0, 512) if kind == 2 else (512, 2048) if kind == 3 else (0, len(content))
    for at in random.integers(first, last, size=random.integers(1, 6)):
        content[at] = random.integers(256)
    return bytes(content)


# What general readers open --------------------------------------------------------------------------------------------


def sound(write_c3d: Callable[..., bytes], path: Path, **more: Any) -> tuple[bytearray, Any]:
    """A small file of every kind of record, and what it holds."""
    points = np.random.default_rng(3).normal(500.0, 100.0, (30, 4, 3))
    content = bytearray(write_c3d(points, analog=np.ones((60, 2)), samples_per_frame=2, **more))
    path.write_bytes(content)
    return content, read_recording(path)


def pointer_of(path: Path, name: str) -> int:
    """The byte of a parameter's next-record pointer."""
    return next(record.title[1] for record in read_structure(path).records if record.name == name)


@pytest.mark.parametrize("processor", ["Intel", "MIPS"])
@pytest.mark.parametrize("damage", ["swapped", "short", "long", "far"])
@pytest.mark.parametrize("name", ["FRAMES", "LABELS", "SCALE"])
def test_one_damaged_pointer_is_replaced_by_the_records_own_length(
    tmp_path: Path, write_c3d: Callable[..., bytes], processor: str, damage: str, name: str
) -> None:
    path = tmp_path / "trial.c3d"
    content, before = sound(write_c3d, path, processor=processor)
    at = pointer_of(path, name)
    order = "big" if processor == "MIPS" else "little"
    step = int.from_bytes(content[at : at + 2], order)
    new = {
        "swapped": int.from_bytes(content[at : at + 2][::-1], order),
        "short": step - 3,
        "long": step + 5,
        "far": 40000,
    }
    content[at : at + 2] = new[damage].to_bytes(2, order)
    path.write_bytes(content)
    after = read_recording(path)
    np.testing.assert_array_equal(after.markers, before.markers)
    (told,) = [f for f in after.findings if f.check == "parameters"]
    assert told.severity == "warn" and told.where == name
    assert f"its own length {step} was followed" in told.evidence
    assert ("its two bytes exchanged" in told.evidence) == (damage == "swapped")


def test_two_damaged_pointers_are_refused(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    path = tmp_path / "trial.c3d"
    content, _ = sound(write_c3d, path)
    for name in ("FRAMES", "RATE"):
        content[pointer_of(path, name)] ^= 0x40
    path.write_bytes(content)
    with pytest.raises(RecordingError):
        read_recording(path)


@pytest.mark.parametrize("damaged", ["header", "parameters"])
def test_the_data_start_with_which_the_data_end_where_the_file_does_is_followed(
    tmp_path: Path, write_c3d: Callable[..., bytes], damaged: str
) -> None:
    path = tmp_path / "trial.c3d"
    content, before = sound(write_c3d, path)
    at = 16 if damaged == "header" else pointer_of(path, "DATA_START") + 4
    assert content[at] == read_structure(path).header.data_block
    content[at] += 1
    path.write_bytes(content)
    after = read_recording(path)
    np.testing.assert_array_equal(after.markers, before.markers)
    (told,) = [f for f in after.findings if f.check == "data start"]
    assert told.severity == "warn" and "with it the data end where the file does" in told.advice


def test_two_data_starts_that_both_fit_are_refused(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    path = tmp_path / "trial.c3d"
    content, _ = sound(write_c3d, path)
    content[16] += 1
    path.write_bytes(content + bytes(512))
    with pytest.raises(RecordingError, match="data start"):
        read_recording(path)

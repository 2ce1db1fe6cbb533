"""Opens a C3D file with care: every count and pointer is checked against the file's length before it is followed.

Format: C3D User Guide, c3d.org (header section, parameter section, processor types, floating-point formats).
"""

from __future__ import annotations

import math
import os
import stat
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray

from jointload.errors import RecordingError, expected_found

BLOCK = 512
MAGIC = 0x50
HEADER_EVENT_KEY = 12345
HEADER_EVENTS_MAX = 18
LONG_COUNT = 65535
"""POINT:FRAMES of this value says that the true count stands elsewhere."""

Processor = Literal["Intel", "DEC", "MIPS"]
PROCESSORS: dict[int, Processor] = {84: "Intel", 85: "DEC", 86: "MIPS"}
Kind = Literal["text", "byte", "integer", "real"]
KINDS: dict[int, tuple[Kind, int]] = {-1: ("text", 1), 1: ("byte", 1), 2: ("integer", 2), 4: ("real", 4)}


@dataclass(frozen=True)
class Limits:
    """Bounds beyond which a file is refused rather than read."""

    file_bytes: int = 4 * 1024**3
    parameter_records: int = 4096
    dimensions: int = 7
    points: int = 4096
    channels: int = 4096
    rate: float = 1e6


LIMITS = Limits()


def refusal(
    where: str, what: str, expected: object, found: object, advice: str = "export the trial again"
) -> RecordingError:
    """The error of a file that cannot be read, in one line."""
    return RecordingError(expected_found(what, expected, found, where, advice))


@dataclass(frozen=True)
class Header:
    """The words of the 512-byte header block. Counts are per frame; times [s] count from the first stored frame."""

    points: int
    analog_per_frame: int
    first_frame: int
    last_frame: int
    scale: float
    data_block: int
    samples_per_frame: int
    rate: float
    events: tuple[tuple[str, float], ...]


@dataclass(frozen=True, eq=False)
class Parameter:
    """One parameter: its kind, its dimensions, and its values in stored order (first index runs fastest)."""

    kind: Kind
    dims: tuple[int, ...]
    texts: tuple[str, ...] = ()
    numbers: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))


@dataclass(frozen=True, eq=False)
class Structure:
    """What the header and the parameter section of one file say."""

    where: str
    size: int
    processor: Processor
    header: Header
    groups: dict[str, dict[str, Parameter]]
    parameter_block: int

    def find(self, group: str, name: str) -> Parameter | None:
        return self.groups.get(group, {}).get(name)

    def numbers(self, group: str, name: str) -> NDArray[np.float64]:
        """All numbers of a parameter and of its continuations NAME2, NAME3...; empty when absent or text."""
        parts = [part.numbers for part in self._continued(group, name)]
        return parts[0] if len(parts) == 1 else np.concatenate(parts) if parts else np.empty(0)

    def texts(self, group: str, name: str) -> tuple[str, ...]:
        """All texts of a parameter and of its continuations, stripped; empty when absent or numeric."""
        return tuple(text for part in self._continued(group, name) for text in part.texts)

    def text(self, group: str, name: str) -> str:
        return next(iter(self.texts(group, name)), "")

    def number(self, group: str, name: str) -> float:
        """The first number of a required parameter; RecordingError when it is missing or not finite."""
        values = self.numbers(group, name)
        if not values.size or not math.isfinite(values[0]):
            found = "no such number" if not values.size else f"{values[0]}"
            raise self.error(f"{group}:{name}", "a finite number", found)
        return float(values[0])

    def unsigned(self, group: str, name: str) -> int:
        """The first number of a required parameter as an unsigned 16-bit word (the sign of a count is an overflow)."""
        value = round(self.number(group, name))
        return value + 65536 if -32768 <= value < 0 else value

    def error(self, what: str, expected: object, found: object) -> RecordingError:
        return refusal(self.where, what, expected, found)

    def _continued(self, group: str, name: str) -> list[Parameter]:
        parameters = self.groups.get(group, {})
        parts = []
        suffix = 1
        while (part := parameters.get(name if suffix == 1 else f"{name}{suffix}")) is not None:
            parts.append(part)
            suffix += 1
        return parts


class OpenedRecording:
    """A regular file of bearable size, opened for reading; use it in a `with` statement."""

    def __init__(self, path: str | Path, limits: Limits = LIMITS) -> None:
        self.where = str(path)
        self.limits = limits
        self.stream, self.size = _open_regular(Path(path), limits)

    def __enter__(self) -> OpenedRecording:
        return self

    def __exit__(self, *_: object) -> None:
        self.stream.close()

    def structure(self) -> Structure:
        """The checked header and parameters."""
        return _read_structure(self.stream, self.size, self.where, self.limits)

    def content(self) -> bytes:
        """All bytes of the file."""
        self.stream.seek(0)
        content = self.stream.read(self.size)
        if len(content) < self.size:
            raise refusal(self.where, "file length", self.size, len(content), "wait until the file is complete")
        return content


def read_structure(path: str | Path, limits: Limits = LIMITS) -> Structure:
    """The checked header and parameters of a C3D file; RecordingError says what is wrong with it."""
    with OpenedRecording(path, limits) as opened:
        return opened.structure()


def _open_regular(path: Path, limits: Limits) -> tuple[BinaryIO, int]:
    fault = ""
    try:
        if stat.S_ISREG(path.stat().st_mode):
            stream = path.open("rb")
        else:
            fault = "a directory" if path.is_dir() else "no regular file"
    except (OSError, ValueError) as problem:
        fault = getattr(problem, "strerror", None) or str(problem)
    if fault:
        raise refusal(str(path), "recording", "a C3D file", fault, "give the path of a C3D file")
    status = os.fstat(stream.fileno())
    if not stat.S_ISREG(status.st_mode):
        fault = "no regular file"
    elif status.st_size < 2 * BLOCK:
        fault = f"{status.st_size} bytes, fewer than the two blocks of {BLOCK} every C3D file has"
    elif status.st_size > limits.file_bytes:
        fault = f"{status.st_size} bytes, more than the limit of {limits.file_bytes}"
    if fault:
        stream.close()
        raise refusal(str(path), "recording", "a C3D file", fault, "check the export")
    return stream, status.st_size


def _read_structure(stream: BinaryIO, size: int, where: str, limits: Limits) -> Structure:
    head = stream.read(BLOCK)
    if len(head) < BLOCK or head[1] != MAGIC:
        raise refusal(where, "header", "the C3D key 0x50 in byte 2", f"0x{head[1:2].hex()}", "give a C3D file")
    parameter_block = head[0]
    start = (parameter_block - 1) * BLOCK
    if parameter_block < 2 or start + 4 > size:
        inside = f"a start within the file's {size} bytes"
        raise refusal(where, "parameter section", inside, f"block {parameter_block}")
    stream.seek(start)
    prologue = stream.read(4)
    if prologue[3] not in PROCESSORS:
        raise refusal(where, "processor type", "84 (Intel), 85 (DEC) or 86 (MIPS)", prologue[3])
    processor = PROCESSORS[prologue[3]]
    header = _parse_header(head, processor)
    end = _section_end(parameter_block, prologue[2], header.data_block, size)
    section = prologue + stream.read(max(0, end - start - 4))
    groups = _Section(section, processor, where, limits).groups()
    return Structure(where, size, processor, header, groups, parameter_block)


def _section_end(parameter_block: int, blocks: int, data_block: int, size: int) -> int:
    """Where the parameter section ends at the latest; more than 255 blocks are told by the data's start alone."""
    end = (parameter_block - 1 + blocks) * BLOCK if blocks else size
    if data_block > parameter_block + blocks:
        end = (data_block - 1) * BLOCK
    return min(end, size, (parameter_block - 1 + 65535) * BLOCK)


def vax_to_ieee(words: NDArray[np.uint16]) -> NDArray[np.float32]:
    """DEC F_floating numbers, given as (..., 2) little-endian words, as IEEE single precision.

    A DEC number has the sign, 8 exponent bits (bias 128, mantissa 0.1...) and the high mantissa bits in its FIRST word:
    its value is a quarter of the IEEE number of the same bits. Exponent 0 means zero, or invalid when the sign is set.
    """
    bits = (words[..., 0].astype(np.uint32) << 16) | words[..., 1]
    exponent = (bits >> 23) & 0xFF
    ieee = np.where(exponent > 2, bits - np.uint32(2 << 23), bits & np.uint32(0x80000000)).astype(np.uint32)
    return np.where((exponent == 0) & (bits >> 31 == 1), np.float32(np.nan), ieee.view(np.float32))


def reals(raw: bytes | memoryview, processor: Processor) -> NDArray[np.float32]:
    """Single-precision numbers from bytes in the processor's own format."""
    if processor == "DEC":
        return vax_to_ieee(np.frombuffer(raw, "<u2").reshape(-1, 2))
    return np.frombuffer(raw, ">f4" if processor == "MIPS" else "<f4")


def integers(
    raw: bytes | memoryview, processor: Processor, signed: bool = True
) -> NDArray[np.int16] | NDArray[np.uint16]:
    """16-bit words from bytes in the processor's own byte order."""
    return np.frombuffer(raw, (">" if processor == "MIPS" else "<") + ("i2" if signed else "u2"))


def _parse_header(head: bytes, processor: Processor) -> Header:
    words = integers(head, processor, signed=False)

    def real(word: int, count: int = 1) -> list[float]:
        return [float(value) for value in reals(head[2 * word - 2 : 2 * word - 2 + 4 * count], processor)]

    events: tuple[tuple[str, float], ...] = ()
    if words[149] == HEADER_EVENT_KEY:
        count = min(int(words[150]), HEADER_EVENTS_MAX)
        labels = [_clean(head[396 + 4 * k : 400 + 4 * k]) for k in range(count)]
        events = tuple(
            (label, time) for label, time in zip(labels, real(153, count), strict=True) if label and math.isfinite(time)
        )
    return Header(
        points=int(words[1]),
        analog_per_frame=int(words[2]),
        first_frame=int(words[3]),
        last_frame=int(words[4]),
        scale=real(7)[0],
        data_block=int(words[8]),
        samples_per_frame=int(words[9]),
        rate=real(11)[0],
        events=events,
    )


def _clean(raw: bytes) -> str:
    """Text without padding and control characters; bytes that are no UTF-8 are read as Latin-1."""
    raw = raw.strip(b" \0\t\r\n")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return text if text.isprintable() else "".join(c for c in text if c.isprintable()).strip()


class _Section:
    """Walks the linked records of a parameter section."""

    def __init__(self, raw: bytes, processor: Processor, where: str, limits: Limits) -> None:
        self.raw = raw
        self.processor: Processor = processor
        self.where = where
        self.limits = limits
        self.word_order: Literal["big", "little"] = "big" if processor == "MIPS" else "little"

    def groups(self) -> dict[str, dict[str, Parameter]]:
        names: dict[int, str] = {}
        found: list[tuple[int, str, Parameter]] = []
        at = 4
        for _ in range(self.limits.parameter_records):
            if at + 2 > len(self.raw) or self.raw[at] == 0:
                break
            number, name, after_name = self._name(at)
            step = int.from_bytes(self._take(after_name, 2, name), self.word_order)
            if number < 0:
                if -number in names:
                    raise self._error(f"parameter group {name}", "a number of its own", f"that of {names[-number]}")
                names[-number] = name
                end = self._skip_description(after_name + 2, name)
            else:
                parameter, end = self._parameter(after_name + 2, name)
                found.append((number, name, parameter))
            if step == 0:
                break
            if after_name + step < end:
                raise self._error(f"parameter {name}", f"a next record at least {end - after_name} bytes on", step)
            at = after_name + step
        else:
            raise self._error("parameter section", f"at most {self.limits.parameter_records} records", "more")
        return self._grouped(names, found)

    def _grouped(
        self, names: dict[int, str], found: list[tuple[int, str, Parameter]]
    ) -> dict[str, dict[str, Parameter]]:
        groups: dict[str, dict[str, Parameter]] = {name: {} for name in names.values()}
        for number, name, parameter in found:
            groups.setdefault(names.get(number, f"#{number}"), {}).setdefault(name, parameter)
        return groups

    def _name(self, at: int) -> tuple[int, str, int]:
        length = int.from_bytes(self.raw[at : at + 1], signed=True)
        number = int.from_bytes(self.raw[at + 1 : at + 2], signed=True)
        raw = self._take(at + 2, abs(length), "name")
        if number == 0 or not raw.isascii() or not raw.decode("ascii").isprintable():
            raise self._error("parameter name", "printable ASCII", repr(raw[:16]))
        return number, raw.decode("ascii").strip().upper(), at + 2 + abs(length)

    def _parameter(self, at: int, name: str) -> tuple[Parameter, int]:
        code = int.from_bytes(self._take(at, 1, name), signed=True)
        if code not in KINDS:
            raise self._error(f"parameter {name}", "type -1, 1, 2 or 4", code)
        kind, width = KINDS[code]
        count = self._take(at + 1, 1, name)[0]
        if count > self.limits.dimensions:
            raise self._error(f"parameter {name}", f"at most {self.limits.dimensions} dimensions", count)
        dims = tuple(self._take(at + 2, count, name))
        start = at + 2 + count
        raw = self._take(start, math.prod(dims) * width, name)
        return self._value(kind, dims, raw), self._skip_description(start + len(raw), name)

    def _value(self, kind: Kind, dims: tuple[int, ...], raw: bytes) -> Parameter:
        if kind == "text":
            length = dims[0] if dims else 1
            pieces = [raw[k : k + length] for k in range(0, len(raw), length)] if length else []
            return Parameter(kind, dims, texts=tuple(map(_clean, pieces)))
        decoders: dict[Kind, Callable[[bytes, Processor], NDArray[Any]]] = {"integer": integers, "real": reals}
        values = np.frombuffer(raw, np.int8) if kind == "byte" else decoders[kind](raw, self.processor)
        with np.errstate(invalid="ignore"):
            return Parameter(kind, dims, numbers=values.astype(np.float64))

    def _skip_description(self, at: int, name: str) -> int:
        return at + 1 + self._take(at, 1, name)[0]

    def _take(self, at: int, count: int, name: str) -> bytes:
        piece = self.raw[at : at + count]
        if len(piece) < count:
            raise self._error(
                f"parameter {name}",
                f"{count} bytes at byte {at} of the parameter section",
                f"{len(piece)} before its end",
            )
        return piece

    def _error(self, what: str, expected: object, found: object) -> RecordingError:
        return refusal(self.where, what, expected, found, "the file is damaged: export the trial again")


@dataclass(frozen=True)
class Layout:
    """Where the data of a checked file stand: counts per frame, frames, rates [Hz], scale, first byte."""

    frames: int
    first_frame: int
    points: int
    channels: int
    samples_per_frame: int
    rate: float
    scale: float
    start: int

    @property
    def is_real(self) -> bool:
        """A negative POINT:SCALE says that the data are real numbers."""
        return self.scale < 0

    @property
    def words_per_frame(self) -> int:
        return 4 * self.points + self.channels * self.samples_per_frame

    @property
    def stop(self) -> int:
        return self.start + self.frames * self.words_per_frame * (4 if self.is_real else 2)


def read_layout(structure: Structure, limits: Limits = LIMITS) -> Layout:
    """Counts and places of the data section; RecordingError when they contradict one another or the file's length."""
    header = structure.header
    points = structure.unsigned("POINT", "USED")
    channels = structure.unsigned("ANALOG", "USED") if structure.numbers("ANALOG", "USED").size else 0
    if not header.samples_per_frame:
        channels = 0
    samples = header.samples_per_frame if channels else 0
    block = structure.unsigned("POINT", "DATA_START")
    rate, scale = structure.number("POINT", "RATE"), structure.number("POINT", "SCALE")
    for what, told, other in (
        ("marker count", points, header.points),
        ("analog values a frame", channels * samples, header.analog_per_frame),
        ("data start", block, header.data_block),
    ):
        if told != other:
            raise structure.error(what, "the same in parameters and header", f"{told} and {other}")
    if points > limits.points or channels > limits.channels:
        most = f"at most {limits.points} markers and {limits.channels} channels"
        raise structure.error("counts", most, f"{points} and {channels}")
    if not 0 < rate <= limits.rate:
        raise structure.error("POINT:RATE", f"a rate from 0 to {limits.rate:g} Hz", f"{rate:g}")
    if scale == 0:
        raise structure.error("POINT:SCALE", "a scale that is not zero", "0")
    start = (block - 1) * BLOCK
    layout = Layout(_frame_count(structure), header.first_frame, points, channels, samples, rate, scale, start)
    _check_length(structure, layout)
    if channels:
        _check_channel_lists(structure, channels)
    return layout


def _frame_count(structure: Structure) -> int:
    count = structure.unsigned("POINT", "FRAMES")
    if count == LONG_COUNT:
        long = structure.numbers("POINT", "LONG_FRAMES")
        first, last = (structure.numbers("TRIAL", f"ACTUAL_{name}_FIELD") % 65536 for name in ("START", "END"))
        told = []
        if long.size and math.isfinite(long[0]):
            told.append(round(long[0]))
        if first.size >= 2 and last.size >= 2:
            told.append(round((last[0] + 65536 * last[1]) - (first[0] + 65536 * first[1]) + 1))
        if len(set(told)) > 1:
            same = "the same in POINT:LONG_FRAMES and TRIAL:ACTUAL_START/END_FIELD"
            raise structure.error("frame count", same, f"{told[0]} and {told[1]}")
        count = told[0] if told else count
    if count < 1:
        raise structure.error("frame count", "at least 1", count)
    return count


def _check_length(structure: Structure, layout: Layout) -> None:
    if layout.start < BLOCK:
        raise structure.error("data start", "a block after the header", f"byte {layout.start}")
    if layout.words_per_frame == 0:
        raise structure.error("content", "markers or analog channels", "neither")
    if layout.stop > structure.size:
        present = max(0, (structure.size - layout.start) * layout.frames // (layout.stop - layout.start))
        expected = f"{layout.frames} frames ending at byte {layout.stop}"
        found = f"{structure.size} bytes, {present} whole frames"
        raise refusal(structure.where, "data section", expected, found, "it was cut short: copy or export it again")


def _check_channel_lists(structure: Structure, channels: int) -> None:
    structure.number("ANALOG", "GEN_SCALE")
    for name in ("SCALE", "OFFSET"):
        count = structure.numbers("ANALOG", name).size
        if count < channels:
            raise structure.error(f"ANALOG:{name}", f"{channels} numbers, one a channel", count)

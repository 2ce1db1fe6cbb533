"""Opens a C3D file with care: every count and pointer is checked against the file's length before it is followed.

Format: C3D User Guide, c3d.org (header section, parameter section, counting of frames).
"""

from __future__ import annotations

import hashlib
import math
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from jointload.errors import RecordingError, not_read
from jointload.intake.c3d_bytes.parameters import (
    LIMITS,
    PROCESSORS,
    Limits,
    Parameter,
    Processor,
    Record,
    Section,
    clean,
    integers,
    reals,
    refusal,
)

BLOCK = 512
CHUNK = 1 << 20
"""[bytes] read at a time where the content is only hashed."""
MAGIC = 0x50
HEADER_EVENT_KEY = 12345
HEADER_EVENTS_MAX = 18


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
    lost_events: int
    """Event names that stand in the header without the key, the count or the time that they need."""


@dataclass(frozen=True, eq=False)
class Structure:
    """What the header and the parameter section of one file say."""

    where: str
    size: int
    processor: Processor
    header: Header
    groups: dict[str, dict[str, Parameter]]
    records: tuple[Record, ...]
    parameter_block: int
    doubts: tuple[tuple[str, str], ...]
    """Where, and what is odd about the parameters there."""

    @property
    def parameter_start(self) -> int:
        """The first byte of the parameter section."""
        return (self.parameter_block - 1) * BLOCK

    @property
    def parameter_end(self) -> int:
        """The byte after its last record."""
        return max((record.stop for record in self.records), default=self.parameter_start + 4)

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

    def section(self, start: int, stop: int) -> tuple[bytes, str]:
        """The bytes from start to stop, and the SHA-256 of the whole file; only the former are kept in memory."""
        digest = hashlib.sha256()
        for piece in self.pieces(0, start):
            digest.update(piece)
        data = self._read(stop - start)
        digest.update(data)
        for piece in self.pieces(stop, self.size):
            digest.update(piece)
        return data, digest.hexdigest()

    def pieces(self, start: int, stop: int) -> Iterator[bytes]:
        """The bytes from start to stop in pieces that fit into memory."""
        self.stream.seek(start)
        for at in range(start, stop, CHUNK):
            yield self._read(min(CHUNK, stop - at))

    def _read(self, count: int) -> bytes:
        piece = self.stream.read(count)
        if len(piece) < count:
            raise refusal(self.where, "file length", f"{self.size} bytes", "fewer", "wait until the file is complete")
        return piece


def read_structure(path: str | Path, limits: Limits = LIMITS) -> Structure:
    """The checked header and parameters of a C3D file; RecordingError says what is wrong with it."""
    with OpenedRecording(path, limits) as opened:
        return opened.structure()


def _open_regular(path: Path, limits: Limits) -> tuple[BinaryIO, int]:
    fault, advice = "", "give the path of a C3D file"
    try:
        if stat.S_ISREG(path.stat().st_mode):
            stream = path.open("rb")
        else:
            fault = "a directory" if path.is_dir() else "no regular file"
    except (OSError, ValueError) as problem:
        raise RecordingError(not_read("recording", "a C3D file", problem, path, advice)) from None
    if fault:
        raise refusal(str(path), "recording", "a C3D file", fault, advice)
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
    records = Section(section, processor, where, limits, start)
    groups, places = records.walk()
    return Structure(where, size, processor, header, groups, places, parameter_block, tuple(records.doubts))


def _section_end(parameter_block: int, blocks: int, data_block: int, size: int) -> int:
    """Where the parameter section ends at the latest; more than 255 blocks are told by the data's start alone."""
    end = (parameter_block - 1 + blocks) * BLOCK if blocks else size
    if data_block > parameter_block + blocks:
        end = (data_block - 1) * BLOCK
    return min(end, size, (parameter_block - 1 + 65535) * BLOCK)


def _parse_header(head: bytes, processor: Processor) -> Header:
    words = integers(head, processor, signed=False)

    def real(word: int, count: int = 1) -> list[float]:
        return [float(value) for value in reals(head[2 * word - 2 : 2 * word - 2 + 4 * count], processor)]

    keyed = words[149] == HEADER_EVENT_KEY
    count = int(words[150]) if keyed and words[150] <= HEADER_EVENTS_MAX else 0
    labels = [clean(head[396 + 4 * k : 400 + 4 * k]) for k in range(HEADER_EVENTS_MAX)]
    times = [time if math.isfinite(time) else None for time in real(153, HEADER_EVENTS_MAX)]
    pairs = list(zip(labels, times, strict=True))
    events = tuple((label, time) for label, time in pairs[:count] if label and time is not None)
    lost = sum(bool(label) and head[396 + 4 * k] > 0 for k, label in enumerate(labels)) - len(events)
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
        lost_events=max(0, lost),
    )

"""The records of a C3D file's parameter section, walked with care: no count and no pointer is followed unchecked.

Format: C3D User Guide, c3d.org (parameter section, processor types, floating-point formats).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from jointload.errors import RecordingError, expected_found

LONGEST_NAME = 40
"""[bytes] of a name that is taken for one where the records seem to go on behind their end."""

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
    data_bytes: int = 1024**3
    """Half an hour at 300 Hz of 30 markers and 12 channels at 1200 Hz takes a third of it; reading needs about three
    times the data in memory."""
    rate: float = 1e6
    """[Hz]"""


LIMITS = Limits()


def refusal(
    where: str, what: str, expected: object, found: object, advice: str = "export the trial again"
) -> RecordingError:
    """The error of a file that cannot be read, in one line."""
    return RecordingError(expected_found(what, expected, found, where, advice))


class Record(NamedTuple):
    """Where one group or parameter stands. Places are byte ranges (start, stop) of the FILE.

    values : of a parameter; empty for a group, whose parameter name is ""
    text_length : bytes of one text in values, 0 when they are numbers
    """

    group: str
    name: str
    kind: Kind | None
    start: int
    title: tuple[int, int]
    values: tuple[int, int]
    text_length: int
    description: tuple[int, int]

    @property
    def stop(self) -> int:
        return self.description[1]


@dataclass(frozen=True, eq=False)
class Parameter:
    """One parameter: its kind, its dimensions, and its values in stored order (first index runs fastest)."""

    kind: Kind
    dims: tuple[int, ...]
    texts: tuple[str, ...] = ()
    numbers: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))


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


def clean(raw: bytes) -> str:
    """Text without padding and control characters; bytes that are no UTF-8 are read as Latin-1."""
    raw = raw.strip(b" \0\t\r\n")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return text if text.isprintable() else "".join(c for c in text if c.isprintable()).strip()


class Section:
    """Walks the linked records of a parameter section that starts at byte `origin` of the file."""

    def __init__(self, raw: bytes, processor: Processor, where: str, limits: Limits, origin: int = 0) -> None:
        self.raw = raw
        self.processor: Processor = processor
        self.where = where
        self.limits = limits
        self.origin = origin
        self.doubts: list[tuple[str, str]] = []
        """Where, and what is odd there."""
        self.word_order: Literal["big", "little"] = "big" if processor == "MIPS" else "little"

    def walk(self) -> tuple[dict[str, dict[str, Parameter]], tuple[Record, ...]]:
        """Group name to parameter name to parameter, and the place of every record in stored order.

        What is odd about the records without making them unreadable is left in `doubts`.
        """
        names: dict[int, str] = {}
        found: list[tuple[int, Parameter | None, Record]] = []
        at = 4
        for _ in range(self.limits.parameter_records):
            if at + 2 > len(self.raw) or self.raw[at] == 0:
                break
            number, name, after_name = self._name(at)
            step = int.from_bytes(self._take(after_name, 2, name), self.word_order)
            if number < 0 and -number in names:
                raise self._error(f"parameter group {name}", "a number of its own", f"that of {names[-number]}")
            if number < 0:
                names[-number] = name
            parameter, record = self._record(at, number, name, after_name)
            found.append((abs(number), parameter, record))
            end = record.stop - self.origin
            if step == 0:
                break
            if after_name + step != end and self._sound_from(end, set(names)):
                self._tell_mended(name, step, end - after_name)
                step = end - after_name
            if after_name + step < end:
                raise self._error(f"parameter {name}", f"a next record at least {end - after_name} bytes on", step)
            at = after_name + step
            if at > len(self.raw):
                raise self._error(f"parameter {name}", f"a next record within {len(self.raw)} bytes", f"byte {at}")
            if at > end:
                self.doubts.append((name, f"{at - end} bytes are skipped behind it"))
        else:
            raise self._error("parameter section", f"at most {self.limits.parameter_records} records", "more")
        known = {text for _, _, record in found for text in (record.group, record.name)}
        self._look_behind(found[-1][2].stop - self.origin if found else 4, known)
        return self._grouped(names, found)

    def _sound_from(self, at: int, known: set[int]) -> bool:
        """Whether the records from byte `at` on are whole: every pointer is its record's own length, every group is
        known or follows, the last record ends the section as the format has it, and there is one at least; so that no
        second pointer can be replaced."""
        used: set[int] = set()
        numbers, count = set(known), 0
        try:
            for _ in range(self.limits.parameter_records):
                if at + 2 > len(self.raw) or self.raw[at] == 0:
                    break
                number, name, after_name = self._name(at)
                step = int.from_bytes(self._take(after_name, 2, name), self.word_order)
                end = self._record(at, number, name, after_name)[1].stop - self.origin
                if step not in (0, end - after_name) or not name.replace("_", "").isalnum():
                    return False
                (numbers if number < 0 else used).add(abs(number))
                at, count = end, count + 1
                if step == 0:
                    break
        except RecordingError:
            return False
        return count > 0 and used <= numbers

    def _tell_mended(self, name: str, found: int, own: int) -> None:
        """Leave the doubt about a pointer that was replaced by its record's own length."""
        swapped = int.from_bytes(found.to_bytes(2, "little"), "big") == own
        text = f"its next-record pointer is {found}{', its two bytes exchanged' if swapped else ''}"
        self.doubts.append((name, f"{text}; its own length {own} was followed, every record behind it is whole"))

    def _look_behind(self, at: int, known: set[str]) -> None:
        """Doubt the end of the records where more seem to follow; remains of records that are known are common."""
        if re.match(rb"[A-Z][A-Z0-9_]", self.raw[at + 2 : at + 4]):
            self.doubts.append(("parameter section", f"after the last record, at byte {at}, one more seems to follow"))
            return
        for found in re.finditer(rb"[A-Z][A-Z0-9_]{2,}", self.raw[at + 2 :]):
            start = at + 2 + found.start()
            name = self.raw[start : start + min(self.raw[start - 2], LONGEST_NAME)]
            whole = 0 <= len(found[0]) - len(name) <= 2 and found[0].startswith(name)
            if whole and len(name) > 2 and name.decode("ascii") not in known:
                text = f"after the last record the name {name.decode('ascii')} stands in unread bytes"
                self.doubts.append(("parameter section", text))
                return

    def _record(self, at: int, number: int, name: str, after_name: int) -> tuple[Parameter | None, Record]:
        title = self._place(at + 2, after_name)
        if number < 0:
            start = after_name + 2
            description = self._description(start, name)
            values = self._place(start, start)
            return None, Record(name, "", None, self.origin + at, title, values, 0, description)
        parameter, values = self._parameter(after_name + 2, name)
        description = self._description(values[1] - self.origin, name)
        length = (parameter.dims[0] if parameter.dims else 1) if parameter.kind == "text" else 0
        return parameter, Record("", name, parameter.kind, self.origin + at, title, values, length, description)

    def _name(self, at: int) -> tuple[int, str, int]:
        length = int.from_bytes(self.raw[at : at + 1], signed=True)
        number = int.from_bytes(self.raw[at + 1 : at + 2], signed=True)
        raw = self._take(at + 2, abs(length), "name")
        if number == 0 or not raw.isascii() or not raw.decode("ascii").isprintable():
            raise self._error("parameter name", "printable ASCII", repr(raw[:16]))
        return number, raw.decode("ascii").strip().upper(), at + 2 + abs(length)

    def _parameter(self, at: int, name: str) -> tuple[Parameter, tuple[int, int]]:
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
        return self._value(kind, dims, raw), self._place(start, start + len(raw))

    def _value(self, kind: Kind, dims: tuple[int, ...], raw: bytes) -> Parameter:
        if kind == "text":
            length = dims[0] if dims else 1
            pieces = [raw[k : k + length] for k in range(0, len(raw), length)] if length else []
            return Parameter(kind, dims, texts=tuple(map(clean, pieces)))
        decoders: dict[Kind, Callable[[bytes, Processor], NDArray[Any]]] = {"integer": integers, "real": reals}
        values = np.frombuffer(raw, np.int8) if kind == "byte" else decoders[kind](raw, self.processor)
        with np.errstate(invalid="ignore"):
            return Parameter(kind, dims, numbers=values.astype(np.float64))

    def _description(self, at: int, name: str) -> tuple[int, int]:
        stop = at + 1 + self._take(at, 1, name)[0]
        return self._place(at + 1, stop)

    def _place(self, start: int, stop: int) -> tuple[int, int]:
        return self.origin + start, self.origin + stop

    def _take(self, at: int, count: int, name: str) -> bytes:
        piece = self.raw[at : at + count]
        if len(piece) < count:
            where = f"{count} bytes at byte {at} of the parameter section"
            raise self._error(f"parameter {name}", where, f"{len(piece)} before its end")
        return piece

    def _error(self, what: str, expected: object, found: object) -> RecordingError:
        return refusal(self.where, what, expected, found, "the file is damaged: export the trial again")

    def _grouped(
        self, names: dict[int, str], found: list[tuple[int, Parameter | None, Record]]
    ) -> tuple[dict[str, dict[str, Parameter]], tuple[Record, ...]]:
        """Parameters by their group's name, which may stand after them; the first of one name counts."""
        groups: dict[str, dict[str, Parameter]] = {name: {} for name in names.values()}
        records = []
        for number, parameter, record in found:
            group = names.get(number, f"#{number}")
            if parameter is not None:
                known = groups.setdefault(group, {})
                if record.name in known:
                    self.doubts.append((f"{group}:{record.name}", "it is there twice, the first was read"))
                known.setdefault(record.name, parameter)
            records.append(record._replace(group=group))
        for group in groups.keys() - names.values():
            text = f"{', '.join(groups[group])} belong to a group that has no name"
            self.doubts.append((group, text))
        return groups, tuple(records)

"""Writes a copy of a C3D file without the names of people; markers, forces and labels stay bit for bit.

Names hide anywhere in a C3D file, so the copy holds only what is known to be needed: the used words of the header, the
numbers, the data, and the texts in KEPT_TEXTS. Every other text is overwritten with spaces and every unused byte with
zero, in place, so that nothing moves. In the texts that are kept the names found elsewhere in the file are overwritten
too.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import BinaryIO

from jointload.errors import OutputError, not_written
from jointload.intake.c3d import without_subject
from jointload.intake.c3d_bytes.guard import BLOCK, OpenedRecording, Structure
from jointload.intake.c3d_bytes.layout import Layout, read_layout
from jointload.intake.c3d_bytes.parameters import Record
from jointload.intake.label_words import is_anatomical

MOTION_REMAINS = "motion itself can identify a person: the copy is pseudonymous, not anonymous"
_POINT_LISTS = {"LABELS", "ANGLES", "FORCES", "MOMENTS", "POWERS", "SCALARS"}
_UNITS = {"UNITS", "ANGLE_UNITS", "FORCE_UNITS", "MOMENT_UNITS", "POWER_UNITS", "SCALAR_UNITS"}
_TECHNICAL = _UNITS | {"X_SCREEN", "Y_SCREEN", "TYPE_GROUPS", "FORMAT"}
KEPT_TEXTS = {
    "POINT": _POINT_LISTS | _TECHNICAL | {"DESCRIPTIONS"},
    "ANALOG": {"LABELS", "UNITS", "FORMAT"},
    "FORCE_PLATFORM": {"UNITS"},
    "EVENT": {"LABELS", "CONTEXTS"},
    "EVENT_CONTEXT": {"LABELS"},
    "MANUFACTURER": {"COMPANY", "SOFTWARE", "VERSION", "VERSION_LABEL"},
}
"""Group to the text parameters (and their continuations LABELS2...) that stay; a reader needs them, or they name the
maker."""
PERSON = re.compile("SUBJECT|PATIENT|PERSON|PEOPLE|ATHLETE|PARTICIPANT|CLIENT|RIDER|OPERATOR|EXAMINER|USER|AUTHOR")
"""In the name of a group or parameter: its texts are about a person."""
NAMING = re.compile("NAME|PREFIX")
MOMENT = re.compile("(^|_)(DATE|TIME|BIRTH|BIRTHDAY|BIRTHDATE|DOB|AGE)($|_|[0-9])")
"""In the name of a parameter: its numbers tell when somebody was recorded or born."""
HEADER_USED = ((0, 24), (298, 2 * 234))
"""[bytes] words 1 to 12, and 150 to 234 with the events."""
ENCODINGS = ("utf-8", "latin-1", "cp1252", "cp1250", "utf-16-le", "utf-16-be")
LEAST_WORD, LEAST_PART = 3, 4
"""Letters of a name that is overwritten where it stands alone, and where it is part of another word."""


def write_nameless(path: str | Path, out: str | Path) -> tuple[str, ...]:
    """Write the copy to a new file and return what was removed, one line each.

    RecordingError when the file is no sound recording, OutputError when `out` exists or cannot be written.
    """
    with OpenedRecording(path) as opened:
        structure = opened.structure()
        layout = read_layout(structure)
        cleaner = _Cleaner(opened, structure, layout)
        _write_new(Path(out), cleaner.write)
    return tuple(cleaner.removed)


def _write_new(out: Path, write: Callable[[BinaryIO], None]) -> None:
    """Write a file that was not there; nothing half is left behind."""
    try:
        with out.open("xb") as stream:
            try:
                write(stream)
            except BaseException:
                out.unlink(missing_ok=True)
                raise
    except OSError as problem:
        raise OutputError(not_written(problem, out, "choose a new name with --out")) from None


@dataclass(frozen=True)
class _Names:
    """The names of a file's people, ready to be overwritten wherever they stand in a text."""

    prefixes: tuple[str, ...]
    pattern: re.Pattern[bytes] | None

    def overwritten(self, raw: bytes) -> bytes:
        """The bytes of a text with every name in it turned to x."""
        return raw if self.pattern is None else self.pattern.sub(lambda found: b"x" * len(found[0]), raw)


class _Cleaner:
    def __init__(self, opened: OpenedRecording, structure: Structure, layout: Layout) -> None:
        self.opened, self.structure, self.layout = opened, structure, layout
        self.names = _names(structure)
        self.removed: list[str] = []
        self.descriptions = 0

    def write(self, stream: BinaryIO) -> None:
        """The file without names: zeros, and on them the header, the records and the data."""
        structure, layout = self.structure, self.layout
        stream.truncate(structure.size)
        stream.write(self._header())
        start = structure.parameter_start
        _put(stream, start, self._bytes(start, start + 4))
        for record in structure.records:
            _put(stream, record.start, self._record(record))
        stream.seek(layout.start)
        for piece in self.opened.pieces(layout.start, layout.stop):
            stream.write(piece)
        if self.descriptions:
            self.removed.append(f"the descriptions of {self.descriptions} parameters and groups")
        if self._unused():
            self.removed.append(f"{self._unused()} bytes that belong to nothing")

    def _bytes(self, start: int, stop: int) -> bytes:
        return b"".join(self.opened.pieces(start, stop))

    def _header(self) -> bytes:
        head = self._bytes(0, BLOCK)
        kept = bytearray(BLOCK)
        for start, stop in HEADER_USED:
            kept[start:stop] = head[start:stop]
        labels = kept[396:468]
        kept[396:468] = self.names.overwritten(bytes(labels))
        if kept[396:468] != labels:
            self.removed.append("a name in the events of the header")
        if any(head[stop:start].strip(b"\0") for (_, stop), (start, _) in pairwise((*HEADER_USED, (BLOCK, BLOCK)))):
            self.removed.append("reserved words of the header")
        return bytes(kept)

    def _record(self, record: Record) -> bytes:
        """The bytes of a group or parameter, the same number as before."""
        raw = bytearray(self._bytes(record.start, record.stop))

        def replace(place: tuple[int, int], new: bytes) -> bool:
            span = slice(place[0] - record.start, place[1] - record.start)
            changed = raw[span] != new
            raw[span] = new
            return changed

        def stored(place: tuple[int, int]) -> bytes:
            return bytes(raw[place[0] - record.start : place[1] - record.start])

        full_name = f"{record.group}:{record.name}" if record.name else f"group {record.group}"
        values, what = self._values(record, stored(record.values))
        if replace(record.values, values):
            self.removed.append(f"{full_name}: {what}")
        if replace(record.title, self.names.overwritten(stored(record.title))):
            self.removed.append("a name in the name of a parameter or group")
        text = stored(record.description)
        if text.strip(b"\0 ") and replace(record.description, b" " * len(text)):
            self.descriptions += 1
        return bytes(raw)

    def _values(self, record: Record, raw: bytes) -> tuple[bytes, str]:
        """The values as they may stay, and in words what was taken away."""
        if record.kind == "text":
            if _base(record.name) not in KEPT_TEXTS.get(record.group, ()):
                return (b" " * len(raw) if raw.strip(b"\0 ") else raw), "text"
            return self._kept_text(record, raw), "names and prefixes of people"
        if record.group in KEPT_TEXTS and record.group != "MANUFACTURER":
            return raw, ""
        if MOMENT.search(record.name):
            return bytes(len(raw)), "date, time or age"
        is_text = record.kind == "byte" and len(raw) > 2 and bytes(raw).strip(b"\0").isascii() and _printable(raw)
        return (bytes(len(raw)) if is_text else raw), "text stored as bytes"

    def _kept_text(self, record: Record, raw: bytes) -> bytes:
        length = record.text_length
        if not length or _base(record.name) in _TECHNICAL:
            return raw
        pieces = [raw[k : k + length] for k in range(0, len(raw), length)]
        is_label = record.group == "POINT" and _base(record.name) in _POINT_LISTS
        return b"".join(self.names.overwritten(self._without_prefix(piece, is_label)) for piece in pieces)

    def _without_prefix(self, piece: bytes, is_label: bool) -> bytes:
        text, encoding = _decoded(piece.rstrip(b"\0 "))
        bare = without_subject(text, self.names.prefixes) if is_label else _without_prefixes(text, self.names.prefixes)
        return piece if bare == text.strip() else bare.encode(encoding).ljust(len(piece))

    def _unused(self) -> int:
        """Bytes that are not zero and lie in none of the sections."""
        structure = self.structure
        records = [(record.start, record.stop) for record in structure.records]
        head = (structure.parameter_start, structure.parameter_start + 4)
        known = sorted([(0, BLOCK), head, *records, (self.layout.start, self.layout.stop), (structure.size, 0)])
        count, at = 0, 0
        for start, stop in known:
            count += sum(len(piece) - piece.count(0) for piece in self.opened.pieces(at, start))
            at = max(at, stop)
        return count


def _put(stream: BinaryIO, at: int, content: bytes) -> None:
    stream.seek(at)
    stream.write(content)


def _base(name: str) -> str:
    """LABELS of LABELS2."""
    return name.rstrip("0123456789")


def _printable(raw: bytes) -> bool:
    return raw.strip(b"\0").decode("ascii").isprintable() and bool(raw.strip(b"\0"))


def _decoded(raw: bytes) -> tuple[str, str]:
    try:
        return raw.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return raw.decode("latin-1"), "latin-1"


def _without_prefixes(text: str, prefixes: Iterable[str]) -> str:
    for prefix in prefixes:
        if len(prefix) < len(text) and text.startswith(prefix):
            return text[len(prefix) :].strip()
    return text.strip()


def _names(structure: Structure) -> _Names:
    """The names of people that the file tells: in parameters about persons, and before the colon of a label."""
    told = [
        text
        for group, parameters in structure.groups.items()
        for name, parameter in parameters.items()
        for text in parameter.texts
        if PERSON.search(name) or (PERSON.search(group) and NAMING.search(name)) or MOMENT.search(name)
    ]
    labels = [text for name in _POINT_LISTS for text in structure.texts("POINT", name)]
    before_colon = {text.rpartition(":")[0] + ":" for text in labels if ":" in text}
    given = {text for name in ("LABEL_PREFIXES",) for text in structure.texts("SUBJECTS", name) if text}
    names = {text.strip(" _:-.") for text in (*told, *before_colon, *given)} - {""}
    spelled = {text for name in names for text in (name, name.replace(" ", "_"), name.replace(" ", ""))}
    long_enough = {name for name in spelled if len(name) >= LEAST_WORD and not is_anatomical(name)}
    prefixes = {*before_colon, *given, *(name + mark for name in long_enough for mark in "_-. ")}
    return _Names(tuple(sorted(prefixes, key=len, reverse=True)), _pattern(long_enough))


def _pattern(names: set[str]) -> re.Pattern[bytes] | None:
    """Finds the names and their parts in any case and in the encodings that C3D files are written in."""
    parts = {part for name in names for part in re.findall(r"[^\W\d_]+", name) if not is_anatomical(part)}
    wanted = {name: True for name in names if len(name) >= LEAST_WORD}
    wanted |= {part: len(part) >= LEAST_PART for part in parts if len(part) >= LEAST_WORD}
    spelled: set[bytes] = set()
    for text, within_words in wanted.items():
        for variant in {text, text.lower(), text.upper(), text.title(), text.casefold()}:
            for raw in map(re.escape, _encoded(variant)):
                spelled.add(raw if within_words else rb"(?<![A-Za-z])" + raw + rb"(?![A-Za-z])")
    longest_first = sorted(spelled, key=len, reverse=True)
    return re.compile(b"|".join(longest_first), re.IGNORECASE) if longest_first else None


def _encoded(text: str) -> set[bytes]:
    """A text in every encoding that can hold it."""
    out = set()
    for encoding in ENCODINGS:
        with contextlib.suppress(UnicodeEncodeError):
            out.add(text.encode(encoding))
    return out

"""What happened on a recording day, in order of arrival, one JSON line each, on the disk before anybody is told.

A line that a kill cut short is left out when the day is opened again. Where the disk is full lines wait in memory.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FOLDER, FILE = "day", "journal.jsonl"


class Journal:
    """The journal of a study folder. `waiting` holds lines that are not on the disk yet."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / FOLDER / FILE
        self.waiting: list[str] = []
        self._whole = False

    def entries(self) -> Iterator[dict[str, Any]]:
        """Every whole line; nothing where there is no journal."""
        try:
            lines = self.path.read_bytes().split(b"\n")
        except FileNotFoundError:
            return
        for line in lines:
            try:
                entry = json.loads(line)
            except ValueError:
                continue
            if isinstance(entry, dict):
                yield entry

    def add(self, what: str, **told: Any) -> None:
        """Add a line, which waits for `flush`."""
        self.waiting.append(json.dumps({"what": what} | told, ensure_ascii=False))

    def flush(self) -> None:
        """Write what waits, after whole lines alone; OSError where it cannot be written now: nothing of it is left."""
        if not self.waiting:
            return
        self.path.parent.mkdir(exist_ok=True)
        with self.path.open("ab", buffering=0) as file:
            end = file.tell()
            start = "\n" if end and not self._whole and not self._ends_whole() else ""
            rest = (start + "".join(f"{line}\n" for line in self.waiting)).encode()
            try:
                while rest:
                    rest = rest[file.write(rest) :]
                os.fsync(file.fileno())
            except OSError:
                self._whole = False
                with contextlib.suppress(OSError):
                    os.truncate(self.path, end)
                raise
        self._whole, self.waiting = True, []

    def _ends_whole(self) -> bool:
        with self.path.open("rb") as file:
            file.seek(-1, os.SEEK_END)
            return file.read(1) == b"\n"

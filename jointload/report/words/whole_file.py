"""A file that appears whole or not at all, whenever a kill, a full disk or a lost folder comes."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO
from uuid import uuid4


@contextmanager
def whole_file(path: Path) -> Iterator[TextIO]:
    """A draft beside `path` to write into; it goes down to the disk and takes the place of `path` at the end, or is
    gone where writing fails."""
    draft = path.with_name(f".{path.name}-{uuid4().hex}.draft")
    try:
        with draft.open("w", encoding="utf-8", newline="") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    finally:
        with contextlib.suppress(OSError):
            draft.unlink()
    _settle_folder(path.parent)


def _settle_folder(folder: Path) -> None:
    """The new name down to the disk, too, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

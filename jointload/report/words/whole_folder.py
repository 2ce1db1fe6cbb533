"""A result folder that appears whole or not at all."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from uuid import uuid4

from jointload.errors import OutputError, expected_found


def write_whole(out: str | Path, record: str, fill: Callable[[Path], None]) -> Path:
    """Let `fill` write into a draft beside `out`, then put it in place; nothing is left where `fill` fails.

    record : the file by which an earlier result is known and replaced; a folder of other things is left alone.
    Returns the folder. OutputError when it cannot be written.
    """
    out = Path(out).absolute()
    check_replaceable(out, record)
    with _scratch_beside(out) as scratch:
        draft = scratch / "new"
        draft.mkdir()
        fill(draft)
        put_in_place(draft, out, scratch / "old")
    return out


def check_writable(out: Path) -> None:
    """OutputError when nothing can be written beside `out`, found by trying; to be asked before long work."""
    with _scratch_beside(out):
        pass


@contextlib.contextmanager
def _scratch_beside(out: Path) -> Iterator[Path]:
    """A folder beside `out`, gone at the end; folders above it that were made for it go, too, where they stay empty."""
    made = [folder for folder in out.parents if not folder.exists()]
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=f".{out.name}-", dir=out.parent) as scratch:
            yield Path(scratch)
    except OSError as problem:
        raise _unwritable(out, problem) from None
    finally:
        for folder in made:
            with contextlib.suppress(OSError):
                folder.rmdir()


def write_draft(place: Path, name: str, fill: Callable[[Path], None]) -> Path:
    """Let `fill` write into a new folder within `place`; nothing is left where it fails.

    `place` must stand and is never made: who comes too late, after it was cleared away, leaves no trace.
    Returns the folder, whose name begins with `name`. OutputError when it cannot be written.
    """
    done, draft = False, place / f"{name}-{uuid4().hex}"
    try:
        draft.mkdir()
        fill(draft)
        done = True
    except OSError as problem:
        raise _unwritable(place, problem) from None
    finally:
        if not done:
            shutil.rmtree(draft, ignore_errors=True)
    return draft


def check_replaceable(out: Path, record: str) -> None:
    """OutputError when `out` holds something else than an earlier result, known by its file `record`."""
    try:
        if out.is_dir():
            found = f"other files and no {record}" if any(out.iterdir()) and not (out / record).is_file() else ""
        else:
            found = "a file" if out.exists() else ""
    except OSError as problem:
        raise _unwritable(out, problem) from None
    if found:
        expected = "an empty or new folder, or an earlier result"
        raise OutputError(expected_found("result folder", expected, found, str(out), "choose another --out"))


def put_in_place(draft: Path, out: Path, aside: Path) -> None:
    """Rename the draft to `out`; an earlier result is set aside first and comes back if the rename fails."""
    if not out.exists():
        draft.replace(out)
        return
    out.replace(aside)
    try:
        draft.replace(out)
    except OSError:
        aside.replace(out)
        raise


def _unwritable(out: Path, problem: OSError) -> OutputError:
    blocked = isinstance(problem, FileExistsError | NotADirectoryError)
    found = "a file in the way" if blocked else problem.strerror or str(problem)
    return OutputError(
        expected_found("result folder", "a place that can be written", found, str(out), "choose another --out")
    )

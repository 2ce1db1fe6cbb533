"""Which recordings of a folder are new and at rest: looked for again and again, by a clock that nobody can set back.

Looking is by name, size and time of change, so that it serves any file system; a watcher of the system only shortens
the wait until the next look. Whether a file at rest is whole, its reader says.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

REST_SECONDS = 0.6
"""A file whose size and time of change stay so long may be whole (choice: a slow copy writes more often)."""
RETRY_SECONDS = (1.0, 2.0, 4.0)
"""Pauses after which a file that was read and is not whole is read again (choice)."""
PATIENCE_SECONDS = 8.0
"""A file at rest for so long that is still not whole is damaged (choice: a network that stutters is back by then)."""
LOOK_SECONDS, LOOK_SHARE = 0.15, 4.0
"""Pause between two looks, and how many times a look's own length it is at least: a slow share is not flooded."""
SUFFIX = ".c3d"
LEFT_OUT = ("results", "day")
"""Folders of ours."""
Stamp = tuple[int, int, int]
"""Size, time of change [ns] and file number: another one, another content."""


@dataclass
class _Seen:
    """One file as it was last looked at; since, read_at [s]: monotonic."""

    stamp: Stamp
    since: float
    reads: int = 0
    read_at: float = 0.0
    settled: bool = False


@dataclass(frozen=True)
class Ready:
    """A file at rest that should be read; last : its reader's word is final, for it had rested long enough."""

    file: str
    stamp: Stamp
    last: bool


@dataclass(frozen=True)
class Look:
    """One look: what to read, what is not taken yet (file, bytes, why), and whether the folder is there."""

    there: bool
    ready: tuple[Ready, ...] = ()
    arriving: tuple[tuple[str, int, str], ...] = ()


class Arrivals:
    """The recordings of a folder as they come. tables : of which one at least is there while the folder is: a share
    that is gone may leave an empty folder behind.  clock : seconds that only grow"""

    def __init__(self, folder: Path, tables: Iterable[str], clock: Callable[[], float] = time.monotonic) -> None:
        self.folder, self.tables, self.clock = folder, tuple(tables), clock
        self.seen: dict[str, _Seen] = {}
        self.reading: set[str] = set()
        self.first: set[str] | None = None
        """What was there before the day began; None before the first look."""

    def there(self) -> bool:
        return any((self.folder / name).exists() for name in self.tables)

    def look(self) -> Look:
        """What has come to rest since the last look, oldest first."""
        if not self.there():
            return Look(False)
        try:
            found = dict(_recordings(self.folder))
        except OSError:
            return Look(False)
        now = self.clock()
        self.first = set(found) if self.first is None else self.first
        for file in set(self.seen) - set(found):
            del self.seen[file]
        for file, stamp in found.items():
            if file not in self.seen or self.seen[file].stamp != stamp:
                self.seen[file] = _Seen(stamp, now)
        ready = [Ready(file, one.stamp, now - one.since >= PATIENCE_SECONDS) for file, one in self._due(now)]
        self.reading |= {one.file for one in ready}
        arriving = tuple(
            (file, one.stamp[0], "being read" if file in self.reading else "still being written")
            for file, one in sorted(self.seen.items())
            if not one.settled
        )
        return Look(True, tuple(sorted(ready, key=lambda one: (one.stamp[1], one.file))), arriving)

    def _due(self, now: float) -> Iterator[tuple[str, _Seen]]:
        for file, one in self.seen.items():
            pause = RETRY_SECONDS[min(one.reads, len(RETRY_SECONDS)) - 1] if one.reads else 0.0
            rested = now - one.since >= REST_SECONDS and now - one.read_at >= pause
            if not one.settled and file not in self.reading and rested:
                one.reads, one.read_at = one.reads + 1, now
                yield file, one

    def read(self, ready: Ready, whole: bool) -> bool:
        """Told by who has read a file. True when what was read counts: it is whole, or will not become so, and has not
        changed meanwhile; else the file is handed out again in time."""
        self.reading.discard(ready.file)
        one = self.seen.get(ready.file)
        if one is None or one.stamp != ready.stamp:
            return False
        one.settled = whole or ready.last
        return one.settled


def stamp_of(path: Path) -> Stamp:
    status = path.stat()
    return status.st_size, status.st_mtime_ns, status.st_ino


def stamps_of(files: Iterable[Path]) -> dict[Path, Stamp | None]:
    """The stamp of each file, None of one that is not there."""
    out: dict[Path, Stamp | None] = {}
    for file in files:
        try:
            out[file] = stamp_of(file)
        except OSError:
            out[file] = None
    return out


def _recordings(folder: Path, within: str = "") -> Iterator[tuple[str, Stamp]]:
    """(path inside the folder, stamp) of every recording; what begins with a dot is somebody's draft."""
    with os.scandir(folder / within if within else folder) as entries:
        for entry in entries:
            name = f"{within}/{entry.name}" if within else entry.name
            if entry.name.startswith(".") or (not within and entry.name in LEFT_OUT):
                continue
            try:
                if entry.is_dir(follow_symlinks=False):
                    yield from _recordings(folder, name)
                elif entry.name.lower().endswith(SUFFIX) and entry.is_file():
                    status = entry.stat()
                    yield name, (status.st_size, status.st_mtime_ns, status.st_ino)
            except FileNotFoundError:
                continue


class Waker:
    """Waits for the next look: until something in the folder changes where the package watchfiles is there and the
    file system tells, else for a pause alone."""

    def __init__(self, folder: Path, poll: bool = False) -> None:
        import threading

        self.changed = threading.Event()
        self.stopped = threading.Event()
        if not poll:
            threading.Thread(target=self._watch, args=(folder,), daemon=True).start()

    def wait(self, seconds: float) -> None:
        self.changed.wait(seconds)
        self.changed.clear()

    def wake(self) -> None:
        self.changed.set()

    def stop(self) -> None:
        self.stopped.set()
        self.changed.set()

    def _watch(self, folder: Path) -> None:
        try:
            from watchfiles import watch
        except ImportError:
            return
        while not self.stopped.is_set():
            try:
                for _ in watch(folder, stop_event=self.stopped, step=50, debounce=100, rust_timeout=1000):
                    self.changed.set()
            except (OSError, RuntimeError):  # the folder is gone: looked for by polling, watched again when it is back
                self.stopped.wait(1.0)

"""What a recording day writes while it is under way: trials.csv, plan.csv and its journal. Where the disk is full or
the folder gone, what could not be written waits and is tried again."""

from __future__ import annotations

import errno
from collections.abc import Callable
from pathlib import Path
from typing import Any

from jointload.day.book import RESULTS, Book
from jointload.day.folder.journal import Journal
from jointload.day.state import DAY
from jointload.errors import SettingError, expected_found
from jointload.report.words.whole_file import whole_file
from jointload.study.manifest import TRIALS_FILE

AGAIN_SECONDS = 3.0
"""Pause before something that could not be written is tried again (choice)."""


class Disk:
    """What could not be written yet: `edits` of trials.csv, lines of the journal, and `files` by name; `text` says so.

    there : whether the folder is there;  changed : to be told of every change of `text`;  reread : to be called when
    trials.csv was written;  clock : [s]
    """

    def __init__(
        self,
        book: Book,
        there: Callable[[], bool],
        changed: Callable[[], None],
        reread: Callable[[], None],
        clock: Callable[[], float],
    ) -> None:
        self.book, self.folder, self.journal = book, book.folder, Journal(book.folder)
        self.edits: list[Callable[[str], str]] = []
        self.files: set[str] = set()
        self.text = ""
        self._again = 0.0
        self._there, self._changed, self._reread, self._clock = there, changed, reread, clock

    def require_there(self) -> None:
        """OSError where the folder is gone: a share may leave an empty one behind, which is none to write to."""
        if not self._there():
            raise OSError(errno.ENOENT, "the folder is gone")

    def trials_text(self) -> str:
        """The text of trials.csv, empty where there is none; SettingError where it cannot be read."""
        try:
            return (self.folder / TRIALS_FILE).read_text(encoding="utf-8-sig")
        except FileNotFoundError:
            return ""
        except (OSError, UnicodeDecodeError) as problem:
            raise SettingError(
                expected_found(
                    "trials.csv", "a text that can be read", str(problem), str(self.folder), "close it elsewhere"
                )
            ) from None

    def edit(self, edit: Callable[[str], str]) -> None:
        """Change trials.csv; where it cannot be written now, the change waits for it."""
        self.edits.append(edit)
        self._flush_edits()

    def learn(self, what: str, **told: Any) -> None:
        """The book takes something, and the journal keeps it."""
        self.book.take(what, told)
        self.journal.add(what, **told)
        self._flush_journal()

    def write(self, path: Path, text: str) -> None:
        """A table that a person asked for: SettingError where it cannot be written."""
        try:
            self.require_there()
            with whole_file(path) as file:
                file.write(text)
        except OSError as problem:
            found, advice = problem.strerror or str(problem), "make room, and say it again"
            raise SettingError(expected_found(path.name, "a place to write", found, str(path.parent), advice)) from None

    def retried(self) -> bool:
        """Whether it was time to try again, and what waits was."""
        if (not self.files and not self.journal.waiting) or self._clock() < self._again:
            return False
        self._flush_edits()
        self._flush_journal()
        self.files.discard(RESULTS)
        self._written(RESULTS)
        return True

    def cannot_write(self, what: str, problem: Exception) -> None:
        """Something cannot be written now."""
        why = getattr(problem, "strerror", None) or str(problem)
        self.files.add(what)
        self.text = f"{what} cannot be written: {why}. Nothing is lost while this program runs; it is tried again."
        self._again = self._clock() + AGAIN_SECONDS
        self._changed()

    def _flush_edits(self) -> None:
        if not self.edits:
            return
        try:
            self.require_there()
            text = self.trials_text()
            for edit in self.edits:
                text = edit(text)
            with whole_file(self.folder / TRIALS_FILE) as file:
                file.write(text)
        except (OSError, SettingError) as problem:
            self.cannot_write(TRIALS_FILE, problem)
            return
        self.edits.clear()
        self._written(TRIALS_FILE)
        self._reread()

    def _flush_journal(self) -> None:
        try:
            self.require_there()
            self.journal.flush()
            self._written(DAY)
        except OSError as problem:
            self.cannot_write(DAY, problem)

    def _written(self, what: str) -> None:
        self.files.discard(what)
        if not self.files and self.text:
            self.text = ""
            self._changed()

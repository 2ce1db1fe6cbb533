"""Plays a study folder into a fresh one as if it were recorded now: tables first, then one recording after the other,
each copied as slowly as a camera's computer saves it."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable
from pathlib import Path

from jointload.day.folder.settings import DAY_FILE
from jointload.day.folder.tables import PLAN_FILE
from jointload.errors import SettingError, StudyError, expected_found
from jointload.study.manifest import LABELS_FILE, RIDERS_FILE, SETTINGS_FILE, TRIALS_FILE, Study, survey

PAUSE_SECONDS = 30.0
"""Between two recordings of a rider at speed 1 (choice)."""
COPY_SECONDS, CHUNKS = 2.0, 8
"""How long a recording takes to be saved at speed 1, and in how many pieces (choice)."""


class Replay:
    """A study folder that is played into another one.

    ask : trials.csv is left out, so that every recording is asked for;  tell : called with a line at every change
    """

    def __init__(self, source: Path, folder: Path, speed: float = 1.0, ask: bool = False) -> None:
        if not speed > 0:
            raise SettingError(
                expected_found("speed", "a number above 0", f"{speed:g}", "the replay", "choose 1 or more")
            )
        study, faults = survey(source)
        if faults:
            raise StudyError(faults)
        self.source, self.folder, self.speed, self.ask = source, folder, speed, ask
        self.files = list(dict.fromkeys(trial.file for trial in study.trials))
        self.done, self.text, self.playing = 0, "", False
        self._stop = threading.Event()
        self._prepare(study)

    def _prepare(self, study: Study) -> None:
        """Make the folder and copy what is there before the first recording; what is there already stays."""
        self.folder.mkdir(parents=True, exist_ok=True)
        others = [
            path.name for path in self.folder.iterdir() if path.suffix.lower() == ".c3d" and path.name not in self.files
        ]
        if others or self.folder.resolve() == self.source.resolve():
            found = ", ".join(sorted(others)[:3]) or "the study itself"
            expected = "a new folder, or that of an earlier replay"
            raise SettingError(expected_found("replay", expected, found, str(self.folder), "choose another folder"))
        names = [SETTINGS_FILE, RIDERS_FILE, LABELS_FILE, PLAN_FILE, DAY_FILE, *([] if self.ask else [TRIALS_FILE])]
        names += sorted({rider.labels for rider in study.riders.values()})
        names += sorted({file for trial in study.trials for file in trial.beneath.values()})
        for name in dict.fromkeys(names):
            if (self.source / name).is_file() and not (self.folder / name).exists():
                (self.folder / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(self.source / name, self.folder / name)

    def told(self) -> dict[str, object]:
        return {"playing": self.playing, "done": self.done, "of": len(self.files), "text": self.text}

    def start(self, tell: Callable[[], object]) -> None:
        self.playing = True
        threading.Thread(target=self._play, args=(tell,), daemon=True).start()

    def stop(self) -> None:
        self._stop.set()

    def _play(self, tell: Callable[[], object]) -> None:
        for number, file in enumerate(self.files):
            if (self.folder / file).exists() and self._same(file):
                self.done = number + 1
                continue
            if number and self._stop.wait(PAUSE_SECONDS / self.speed):
                break
            self.text = f"{file} is being written"
            tell()
            try:
                self._copy(file)
            except OSError as problem:
                self.text = f"{file} cannot be written: {problem.strerror or problem}"
                break
            self.done = number + 1
            tell()
        else:
            self.text = "Every recording is played."
        self.playing = False
        tell()

    def _same(self, file: str) -> bool:
        return (self.folder / file).stat().st_size == (self.source / file).stat().st_size

    def _copy(self, file: str) -> None:
        """In pieces, with pauses between them; a stop ends it with the whole file."""
        content = (self.source / file).read_bytes()
        step = -(-len(content) // CHUNKS)
        target = self.folder / file
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("wb") as out:
            for start in range(0, len(content), step):
                out.write(content[start : start + step])
                out.flush()
                self._stop.wait(COPY_SECONDS / CHUNKS / self.speed)

"""The tables that people edit while a day runs: read anew when they change, and for as long as one cannot be read what
was known before stands."""

from __future__ import annotations

from pathlib import Path

from jointload.day.book import Book
from jointload.day.folder.arrivals import Stamp, stamps_of
from jointload.day.folder.settings import DAY_FILE, read_day_settings
from jointload.day.folder.tables import PLAN_FILE, Want, read_wants
from jointload.errors import InputError, StudyError
from jointload.study.manifest import LABELS_FILE, RIDERS_FILE, SETTINGS_FILE, TRIALS_FILE, Study, survey
from jointload.study.plan import read_plan

TABLES = (SETTINGS_FILE, RIDERS_FILE, LABELS_FILE, TRIALS_FILE, PLAN_FILE, DAY_FILE)


class TablesByHand:
    """The tables of a study folder and the book that is opened from them.

    plan : plan.csv in place of the folder's
    StudyError lists what is wrong with study.toml, riders.csv and labels.toml; SettingError is one line on plan.csv or
    day.toml. Once the day is open such faults stand in the book.
    """

    def __init__(self, folder: Path, plan: Path | None, today: str) -> None:
        study, faults = survey(folder, unfinished=True)
        if (faults and not study.riders) or not (folder / SETTINGS_FILE).is_file():
            raise StudyError(faults)
        settings = read_day_settings(folder / DAY_FILE)
        self.folder, self.plan, self._must_plan = folder, plan or folder / PLAN_FILE, plan is not None
        self.book = Book(folder, study, settings, today, self._wants(), faults)
        self.book.aim = settings.fitting
        self._stamps = self._stamps_now()

    def edited(self) -> bool:
        """Whether a table is another one than at the last reading."""
        return self._stamps_now() != self._stamps

    def reread(self) -> None:
        self._stamps, book = self._stamps_now(), self.book
        study, faults = survey(self.folder, unfinished=True)
        book.take_study(self._readable(study, faults))
        for read in (self._read_settings, self._read_wants):
            try:
                read()
            except InputError as problem:
                faults.append(str(problem))
        book.faults = faults

    def _stamps_now(self) -> dict[Path, Stamp | None]:
        study = self.book.study
        names = {*TABLES, *(rider.labels for rider in study.riders.values())}
        names |= {file for trial in study.trials for file in trial.beneath.values()}
        return stamps_of([*(self.folder / name for name in sorted(names)), self.plan])

    def _wants(self) -> tuple[Want, ...] | None:
        return read_wants(self.plan) if self._must_plan or self.plan.exists() else None

    def _readable(self, new: Study, faults: list[str]) -> Study:
        """Settings, riders and trials of before stand in for those that cannot be read."""
        old, of_plan = self.book.study, list[str]()
        read_plan(self.folder / SETTINGS_FILE, of_plan)
        return Study(
            folder=new.folder,
            plan=old.plan if of_plan else new.plan,
            riders=new.riders or old.riders,
            trials=old.trials if faults and not new.trials else new.trials,
        )

    def _read_settings(self) -> None:
        before, self.book.settings = self.book.settings, read_day_settings(self.folder / DAY_FILE)
        if before.fitting != self.book.settings.fitting:
            self.book.aim = self.book.settings.fitting

    def _read_wants(self) -> None:
        self.book.wants = self._wants()

"""The book of a recording day: what was recorded, answered, judged and written, and what follows from it. No threads
and no files of its own: the engine fills it, the page reads it."""

from __future__ import annotations

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jointload.day.folder.settings import Aim, DaySettings
from jointload.day.folder.tables import Want
from jointload.day.rider.fitting import FLAT, Stage, shape_words
from jointload.day.rider.plan import USABLE, Counted, planned
from jointload.day.rider.repeats import beside_earlier, five_numbers, wanted_cells
from jointload.day.rider.strain import Landed, limit_reached, strained
from jointload.day.rider.verdict import KINDS, damaged
from jointload.errors import SettingError, expected_found
from jointload.study.manifest import Study, Trial
from jointload.study_run.batch import TRIALS
from jointload.study_run.trial import Job, file_hash, job_of, portable, program
from jointload.uncertainty.repeats import FEWEST_REPEATS

Record = dict[str, Any]
RESULTS = "results"


@dataclass
class Recorded:
    """One recording in its newest version. order : of arrival;  seconds : of arrival on a clock that nobody sets back,
    None where an earlier program saw it;  whole : False where it is damaged, `problem` says how"""

    file: str
    order: int
    at: str
    date: str
    version: int
    sha256: str
    kind: str
    sure: bool
    whole: bool
    problem: str = ""
    seconds: float | None = None
    versions: list[Record] = field(default_factory=list)


@dataclass(frozen=True)
class Kept:
    """What a worker told of a trial, and the key of all it was told of."""

    key: str
    told: Record


@dataclass(frozen=True)
class LeftOut:
    """Why the rows of a file were taken from trials.csv, and whose they were."""

    reason: str
    rider: str = ""
    kind: str = ""
    condition: str = ""


@dataclass
class Book:
    """Everything that is known of the day."""

    folder: Path
    study: Study
    settings: DaySettings
    today: str
    wants: tuple[Want, ...] | None = None
    faults: list[str] = field(default_factory=list)
    recorded: dict[str, Recorded] = field(default_factory=dict)
    verdicts: dict[str, Kept] = field(default_factory=dict)
    results: dict[str, Kept] = field(default_factory=dict)
    left_out: dict[str, LeftOut] = field(default_factory=dict)
    aim: Aim | None = None
    fits: dict[Aim, Kept] = field(default_factory=dict)
    _beside: dict[str, tuple[Any, Record]] = field(default_factory=dict)
    _memo: dict[str, Any] = field(default_factory=dict)
    _jobs: dict[str, tuple[Any, Job | str, str]] = field(default_factory=dict)

    def touched(self) -> None:
        """To be called after every change of what the book holds."""
        self._memo.clear()

    # What is told and answered -----------------------------------------------------------------------------------

    def take(self, what: str, told: Record) -> None:
        """A line of the journal, just made or read again. KeyError or TypeError where it is of another version of this
        program; a word that is not known is left alone."""
        take: dict[str, Callable[[Record], None]] = {
            "arrived": self._take_arrived, "verdict": self._take_verdict, "left_out": self._take_left_out,
            "result": self._take_result, "answered": self._take_answered, "aim": self._take_aim,
            "fitted": self._take_fitted,
        }  # fmt: skip
        if what in take:
            take[what](told)

    def _take_arrived(self, told: Record) -> None:
        known = self.recorded.get(told["file"])
        versions = known.versions if known is not None else []
        versions.append({"version": told["version"], "at": told["at"], "word": "", "reason": ""})
        self.recorded[told["file"]] = Recorded(**told, versions=versions)

    def _take_verdict(self, told: Record) -> None:
        self.verdicts[told["name"]] = Kept(told["key"], told["told"])
        self.mark(told["file"], told["told"])

    def _take_result(self, told: Record) -> None:
        self.results[told["name"]] = Kept(told["key"], told["told"])

    def _take_answered(self, told: Record) -> None:
        self.left_out.pop(told["file"], None)

    def _take_left_out(self, told: Record) -> None:
        self.left_out[told["file"]] = LeftOut(**{key: value for key, value in told.items() if key != "file"})

    def _take_aim(self, told: Record) -> None:
        self.aim = Aim(**told) if told else None

    def _take_fitted(self, told: Record) -> None:
        self.fits[Aim(**told["aim"])] = Kept(told["key"], told["told"])

    def mark(self, file: str, told: Record) -> None:
        """Write a verdict beside the version that it is of."""
        recorded = self.recorded.get(file)
        if recorded is not None:
            recorded.versions[-1] |= {"word": told["word"], "reason": told["reason"]}

    def checked_answer(self, file: str, rider: str, kind: str, condition: str, landing: int) -> str:
        """The condition in the spelling that is used already."""
        faults = [
            ("recording", "one of this day", repr(file), file in self.recorded),
            ("rider", ", ".join(self.study.riders), repr(rider), rider in self.study.riders),
            ("kind", ", ".join(KINDS), repr(kind), kind in KINDS),
            ("condition", "a word, such as flat", "none", bool(condition) or kind != "landing"),
            ("landing", "a number from 1 to 99", repr(landing), isinstance(landing, int) and 1 <= landing <= 99),
        ]
        for what, expected, found, good in faults:
            if not good:
                raise SettingError(expected_found(what, expected, found, file, "choose one"))
        known = {" ".join(trial.condition.casefold().split()): trial.condition for trial in self.study.trials}
        known |= {" ".join(name.casefold().split()): name for _, name, _ in self.wants or ()}
        return known.get(" ".join(condition.casefold().split()), " ".join(condition.split()))

    def earlier_helper(self, file: str, rider: str, kind: str, condition: str) -> str:
        """The rider's other standing trial or hip movement of the condition; of a landing there may be many."""
        if kind == "landing":
            return ""
        others = (trial for trial in self.study.trials if (trial.rider, trial.kind) == (rider, kind))
        return next((one.file for one in others if one.condition == condition and one.file != file), "")

    # Trials and their jobs ---------------------------------------------------------------------------------------

    @property
    def quantities(self) -> tuple[str, ...]:
        return five_numbers(self.study.plan)

    def rows(self, file: str) -> list[Trial]:
        """The rows of trials.csv that are of a file."""
        if "rows" not in self._memo:
            self._memo["rows"] = by_file = defaultdict(list)
            for trial in self.study.trials:
                by_file[trial.file].append(trial)
        return list(self._memo["rows"].get(file, ()))

    def trials(self) -> Iterator[tuple[Recorded, Trial]]:
        """Every recorded trial that trials.csv lists, in order of arrival."""
        for recorded in self.recorded.values():
            for trial in self.rows(recorded.file):
                yield recorded, trial

    def unanswered(self) -> list[Recorded]:
        """Whole recordings that trials.csv does not list and nobody left out."""
        listed = {trial.file for trial in self.study.trials} | set(self.left_out)
        return [one for one in self.recorded.values() if one.whole and one.file not in listed]

    def take_study(self, study: Study) -> None:
        """The tables have changed."""
        self.study = study
        self._jobs.clear()
        self.touched()

    def job(self, trial: Trial) -> Job | str:
        """The job of a trial, or what it waits for, in a sentence."""
        return self._job_and_key(trial)[0]

    def key(self, trial: Trial) -> str:
        """The same key, the same verdict and the same result: the content of every input, settings, rider, program;
        '' while the trial waits."""
        return self._job_and_key(trial)[1]

    def _job_and_key(self, trial: Trial) -> tuple[Job | str, str]:
        """Made once for the versions of the recordings that it needs: there are many landings, and few change."""
        helpers = (self.study.helper(trial, "static"), self.study.helper(trial, "hip_movement"))
        needed = [trial.file, *(helper.file for helper in helpers if helper is not None)]
        recorded = [self.recorded.get(file) for file in needed]
        versions = tuple(one.version if one is not None and one.whole else 0 for one in recorded)
        known = self._jobs.get(trial.name)
        if known is None or known[0] != (trial, versions):
            job = self._new_job(trial)
            known = self._jobs[trial.name] = (trial, versions), job, "" if isinstance(job, str) else self._new_key(job)
        return known[1:]

    def _new_job(self, trial: Trial) -> Job | str:
        if trial.rider not in self.study.riders:
            return f"{trial.rider} is not in riders.csv yet."
        job = job_of(self.study, trial, self.folder / RESULTS / TRIALS, Path(), full=False)
        if trial.kind != "landing":
            inputs = {role: job.inputs[role] for role in ("trial", "labels")}
            return Job(**{**job.__dict__, "inputs": inputs})
        if "static" not in job.inputs:
            return f"Record the standing trial of {trial.rider}: without it no landing of {trial.rider} can be read."
        for role in ("static", "hip_movement"):
            file = job.inputs.get(role)
            if file is not None and not (file in self.recorded and self.recorded[file].whole):
                return f"Waits for {file}, the {role.replace('_', ' ')} trial of {trial.rider}."
        needed = (job.inputs["labels"], *trial.beneath.values())
        missing = next((name for name in needed if not (self.folder / name).is_file()), None)
        return f"Waits for {missing}." if missing else job

    def _new_key(self, job: Job) -> str:
        content = {
            role: self.recorded[file].sha256 if file in self.recorded else file_hash(self.folder / file)
            for role, file in job.inputs.items()
        }
        told = [content, portable(job), list(self.quantities), program()]
        return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()

    def verdict(self, recorded: Recorded, trial: Trial) -> Record:
        """The verdict on a trial, empty while it is not known; a damaged file has one at once."""
        if not recorded.whole:
            return damaged(recorded.file, recorded.problem)
        kept = self.verdicts.get(trial.name)
        return kept.told if kept is not None else {}

    # Landings ----------------------------------------------------------------------------------------------------

    def landings(self) -> list[tuple[Recorded, Trial, Record]]:
        """Every landing that trials.csv lists, with its verdict, in order of arrival."""
        if "landings" not in self._memo:
            self._memo["landings"] = [
                (recorded, trial, self.verdict(recorded, trial))
                for recorded, trial in self.trials()
                if trial.kind == "landing"
            ]
        return list(self._memo["landings"])

    def usable(self, rider: str, condition: str) -> list[tuple[Trial, Record]]:
        """The usable landings of a rider and condition, in order of arrival."""
        if "usable" not in self._memo:
            self._memo["usable"] = groups = defaultdict(list)
            for _, trial, told in self.landings():
                if told.get("word") in USABLE:
                    groups[trial.rider, trial.condition].append((trial, told))
        return list(self._memo["usable"].get((rider, condition), ()))

    def counted(self) -> list[Counted]:
        return [Counted(trial.rider, trial.condition, told.get("word", "")) for _, trial, told in self.landings()]

    def beside(self, trial: Trial) -> Record:
        """The numbers of a landing beside those of the rider's earlier ones of the condition."""
        usable = self.usable(trial.rider, trial.condition)
        names = [other.name for other, _ in usable]
        before = usable[: names.index(trial.name)] if trial.name in names else usable
        result, smallest = self.results.get(trial.name), self.study.plan.smallest_change
        key = (
            self.verdicts[trial.name].key,
            result.key if result is not None else "",
            tuple(self.verdicts[other.name].key for other, _ in before),
            tuple(smallest.items()),
        )
        known = self._beside.get(trial.name)
        if known is None or known[0] != key:
            told = result.told if result is not None and result.told["numbers"] else self.verdicts[trial.name].told
            wanted = wanted_cells(self.study.plan, self.study.riders[trial.rider].rider.stance)
            earlier = [record["numbers"] for _, record in before]
            known = self._beside[trial.name] = key, beside_earlier(told["numbers"], earlier, smallest, wanted)
        return known[1]

    # Plan, strain and fitting ------------------------------------------------------------------------------------

    def landed_today(self, rider: str) -> list[Landed]:
        """Every landing of a rider today, those left out among them: they were landed all the same."""
        own = [
            (recorded.order, Landed(told.get("force_bw") if told else 0.0, recorded.seconds))
            for recorded, trial, told in self.landings()
            if trial.rider == rider and recorded.date == self.today
        ]
        for file, left in self.left_out.items():
            if (left.rider, left.kind) == (rider, "landing") and self._left_out_today(file):
                own.append((self.recorded[file].order, Landed(None, self.recorded[file].seconds)))
        return [landed for _, landed in sorted(own, key=lambda one: one[0])]

    def _left_out_today(self, file: str) -> bool:
        """Not where trials.csv lists it yet, or again."""
        return file in self.recorded and self.recorded[file].date == self.today and not self.rows(file)

    def session(self, now: float) -> list[Record]:
        """Warm-up, rest and hard landings of each rider who was recorded today."""
        seen = {trial.rider for recorded, trial in self.trials() if recorded.date == self.today}
        seen |= {left.rider for file, left in self.left_out.items() if self._left_out_today(file)}
        limits = self.settings.limits
        return [strained(rider, self.landed_today(rider), limits, now) for rider in self.study.riders if rider in seen]

    def plan(self) -> Record:
        limits = self.settings.limits
        stopped = {}
        for rider in self.study.riders:
            landed = self.landed_today(rider)
            hard = sum(one.force is None or one.force >= limits.hard_above for one in landed)
            reached = limit_reached(len(landed), hard, limits)
            if reached:
                stopped[rider] = reached
        fitting = self.stage(False).wants if self.aim is not None else ()
        told = planned(self.wants, fitting, self.counted(), list(self.study.riders), stopped)
        for row in told["rows"]:
            row["shape"] = self.shape(row["condition"])
        return told

    def wanted(self, rider: str, condition: str, landings: int) -> list[Want]:
        """The plan with so many landings of a rider and condition, 0 for none."""
        shown = [(row["rider"], row["condition"], row["needed"]) for row in self.plan()["rows"]]
        rows: list[Want] = list(self.wants if self.wants is not None else shown)
        own = (rider, condition)
        if own not in [row[:2] for row in rows]:
            rows.append((*own, landings))
        return [(*own, landings) if row[:2] == own else row for row in rows if row[:2] != own or landings]

    def shape(self, condition: str) -> str:
        """A condition's shape in the words of conditions.csv, '' where it is unknown."""
        return shape_words(condition, self.settings.shapes, self.folder)

    def stage(self, working: bool) -> Stage:
        """Where the fitting stands; only with an aim."""
        assert self.aim is not None
        have = Counter(
            trial.condition
            for _, trial, told in self.landings()
            if trial.rider == self.aim.rider and told.get("word") in USABLE
        )
        flat = next((name for name in have if self.shape(name) == FLAT), FLAT)
        asked = {(rider, condition): count for rider, condition, count in self.wants or ()}
        need = asked.get((self.aim.rider, flat), FEWEST_REPEATS)
        kept = self.fits.get(self.aim)
        return Stage(self.aim, flat, need, have, kept.told if kept is not None else None, working)

    def fit_jobs(self, stage: Stage) -> tuple[list[tuple[str, Job]], list[str]]:
        """(shape, job) of every usable landing of the fitting's rider on a known shape, flat ones among them, and the
        keys of all."""
        jobs, keys = [], []
        for condition in stage.have:
            shape = self.shape(condition)
            for trial, _ in self.usable(stage.aim.rider, condition) if shape else ():
                job = self.job(trial)
                if isinstance(job, Job):
                    jobs.append((shape, job))
                    keys.append(self.key(trial))
        return jobs, keys

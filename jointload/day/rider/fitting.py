"""A fitting in one day: baseline, the two shapes that would tell most, the fitted shape, and when to stop.

The search, the calibration and the files are those of `jointload fit`; here is what surrounds them on the day.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from jointload.analysis import Analysis, analyse
from jointload.day.folder.settings import Aim
from jointload.day.folder.tables import Want
from jointload.day.rider.results import DRAWS
from jointload.day.rider.stop_rule import LEAST_CHANCE, chance_of_change, normal_of_ends
from jointload.errors import InputError
from jointload.foot.bore import with_feet
from jointload.insole.calibration.knowledge import known_of, recording_least, rider_least
from jointload.insole.calibration.personal import LEAST_CONDITIONS, Known
from jointload.insole.fitting.fit import Fit, fit
from jointload.insole.fitting.next_trials import NextTrials
from jointload.insole.shape.asked import shape_text
from jointload.insole.shape.conditions import shape_of
from jointload.insole.shape.geometry import Wedge
from jointload.report.files.fit_folder import INSOLE
from jointload.report.files.folder import write_report
from jointload.report.page.fit_section import CAUTION, HARDLY
from jointload.report.words.fit_units import ends_text, told
from jointload.settings import Settings
from jointload.study_run.trial import Job, session_of
from jointload.uncertainty.intervals import with_intervals
from jointload.uncertainty.repeats import FEWEST_REPEATS

Record = dict[str, Any]
FLAT = "flat"
PERSONS, SEED = 200, 1
"""Drawn persons of a search, and its seed: those of `jointload fit`."""


@dataclass(frozen=True)
class Fitting:
    """What a fit is made of: landings on the flat insole, the first of which is fitted to, and on known shapes.

    shaped : (shape in the words of conditions.csv, job) of every other landing;  out : folder of the report
    """

    aim: Aim
    flat: tuple[Job, ...]
    shaped: tuple[tuple[str, Job], ...]
    out: str


def fitted(asked: Fitting) -> Record:
    """Search the shape, write its report, solid and sheet, and tell it in plain data; `problem` where it cannot be."""
    try:
        return _fitted(asked)
    except InputError as problem:
        return {"problem": str(problem)}


def _fitted(asked: Fitting) -> Record:
    aim, base = asked.aim, asked.flat[0]
    plain = with_feet(analyse(session_of(base), Settings(**base.settings)))
    analysis = with_intervals(plain, DRAWS, shares=False)
    found = fit(analysis, aim.side, aim.target, draws=PERSONS, seed=SEED, known=_known(asked, analysis))
    inputs = {role: base.path(role) for role in base.inputs}
    inputs |= {f"condition_{k}": job.path("trial") for k, (_, job) in enumerate(asked.shaped, start=1)}
    written = write_report(analysis, asked.out, inputs=inputs, fit=found)
    return {
        "problem": "",
        "answer": _answer(found, analysis, len(asked.flat) + len(asked.shaped)),
        "trials": _trials(found.trials[0]) if found.trials else None,
        "had": dict(Counter(shape for shape, _ in asked.shaped)),
        "files": _files(written),
    } | _certainty(found)


def _known(asked: Fitting, analysis: Analysis) -> Known:
    """What this rider's own landings tell: all of it with two shapes beside the flat insole, else their scatter."""
    folder = Path(asked.flat[0].folder)
    flat = [_quick(job) for job in asked.flat[1:]]
    if len({shape for shape, _ in asked.shaped}) < LEAST_CONDITIONS:
        return Known(recording_least=recording_least(analysis), rider_least=rider_least([analysis, *flat]))
    others = [(shape_of(folder, shape, asked.aim.side), _quick(job)) for shape, job in asked.shaped]
    return known_of(analysis, asked.aim.side, [*((None, one) for one in flat), *others], SEED)


def _quick(job: Job) -> Analysis:
    return analyse(session_of(job), Settings(**job.settings), variants=False)


def _answer(found: Fit, analysis: Analysis, landings: int) -> Record:
    personal = found.known.personal
    return {
        "verdict": found.verdict,
        "sentences": list(told(found, analysis)),
        "helps": found.shape is not None,
        "shape": "" if found.answer is None else shape_text(found.answer.shape),
        "change": "" if found.answer is None else ends_text(found, analysis, found.low, found.change, found.high),
        "calibrated": personal is not None,
        "measured": [] if personal is None else list(personal.conditions),
        "landings": landings,
    }


def _trials(pair: NextTrials) -> Record:
    """The two shapes to record next, by the names that they bear as conditions."""
    shapes = [{"condition": condition_of(wedge), "text": str(wedge)} for wedge in pair.wedges]
    return {"shapes": shapes, "landings": pair.landings, "share_left": pair.share_left}


def condition_of(wedge: Wedge) -> str:
    """A wedge in the words of conditions.csv: medial:6 full."""
    length = " full" if wedge.length == "full" else ""
    return f"{wedge.raised_side}:{abs(np.rad2deg(wedge.angle)):g}{length}"


def _certainty(found: Fit) -> Record:
    """How likely a further trial would change the answer, and whether to stop.

    One goes on while the rider's own shapes would narrow the answer by what is worth the day, and where they have been
    measured, while the decision may yet turn.
    """
    if not found.trials:
        return {"chance": 0.0, "stop": True, "certainty": "Every shape within the limits leaves the target as it is."}
    left = found.trials[0].share_left
    chance = chance_of_change(*normal_of_ends(found.low, found.high), left, found.least)
    own = found.known.personal is not None
    text = (
        f"One more trial would turn the answer in {100 * chance:.0f} of 100 such riders, and leave {100 * left:.0f} % "
        "of the spread of this rider's answer."
    )
    return {"chance": chance, "stop": chance < LEAST_CHANCE and (own or left > HARDLY), "certainty": text}


def _files(folder: Path) -> list[Record]:
    """What the maker and the rider's file get, by their paths inside the folder."""
    insole = folder / INSOLE
    sheet = [("sheet.html", "Sheet for the maker", "html")] if (insole / "sheet.html").is_file() else []
    solids = [(path.name, "Solid (STL, mm)", "stl") for path in sorted(insole.glob("*.stl"))]
    told = [(f"{INSOLE}/{name}", text, kind) for name, text, kind in [*sheet, *solids]]
    told.append(("report.html", "Report of the fit", "html"))
    return [{"path": name, "text": text, "kind": kind} for name, text, kind in told]


# The stages of the day ----------------------------------------------------------------------------------------------


def shape_words(condition: str, shapes: Mapping[str, str], folder: Path) -> str:
    """The shape of a condition in the words of conditions.csv: day.toml's, else the condition's own name where it is
    one; '' where it is unknown."""
    words = shapes.get(condition, condition)
    try:
        shape_of(folder, words, "right")
    except InputError:
        return ""
    return words


@dataclass(frozen=True)
class Stage:
    """Where a fitting stands.

    flat : name of the condition of the flat insole;  need : its wanted landings
    have : condition -> usable landings of the rider;  found : what `fitted` told last, None before
    """

    aim: Aim
    flat: str
    need: int
    have: Mapping[str, int]
    found: Record | None
    working: bool

    @property
    def baseline(self) -> bool:
        return self.have.get(self.flat, 0) >= self.need

    @property
    def stop(self) -> bool:
        return self.found is not None and not self.found["problem"] and bool(self.found["stop"])

    @property
    def next_shapes(self) -> list[Record]:
        """The shapes that are asked for, with what each has and lacks; nothing where one may stop."""
        trials = (self.found or {}).get("trials")
        if not trials or self.stop:
            return []
        need, had = trials["landings"], (self.found or {})["had"]
        return [
            shape | {"landings": need, "have": min(have, need), "left": max(0, need - have)}
            for shape in trials["shapes"]
            for have in [self.have.get(shape["condition"], 0) - had.get(shape["condition"], 0)]
        ]

    @property
    def shapes_done(self) -> bool:
        asked = self.next_shapes
        return bool(asked) and not any(shape["left"] for shape in asked)

    @property
    def wants(self) -> tuple[Want, ...]:
        """What the fitting adds to the plan."""
        rider, had = self.aim.rider, (self.found or {}).get("had", {})
        asked = [(shape["condition"], int(shape["landings"])) for shape in (self.next_shapes if self.baseline else ())]
        return (
            (rider, self.flat, self.need),
            *((rider, condition, had.get(condition, 0) + landings) for condition, landings in asked),
        )

    @property
    def key(self) -> str:
        if not self.baseline:
            return "baseline"
        if self.stop:
            return "answered"
        return "shapes" if self.next_shapes and not self.shapes_done else "fitted"


def told_stage(stage: Stage, left: int = 0) -> Record:
    """A fitting as the page shows it, but for the keys of its files; left : landings that the rider's plan lacks."""
    found = stage.found or {}
    asked, flat = stage.next_shapes, min(stage.have.get(stage.flat, 0), stage.need)
    answer = found.get("answer")
    own = bool(answer and answer["calibrated"])
    have, need = sum(shape["have"] for shape in asked), sum(shape["landings"] for shape in asked)
    trials = found.get("trials")
    share = trials["share_left"] if trials else None
    return {
        "rider": stage.aim.rider,
        "side": stage.aim.side,
        "target": stage.aim.target,
        "stage": stage.key,
        "stages": [
            {"key": "baseline", "text": "Flat insole", "have": flat, "need": stage.need, "done": stage.baseline},
            {"key": "shapes", "text": "Two shapes", "have": have, "need": need, "done": own or stage.stop},
            {"key": "fitted", "text": "Fitted shape", "have": int(stage.stop), "need": 1, "done": stage.stop},
        ],
        "working": stage.working,
        "text": _sentence(stage, left),
        "next": asked,
        "narrows": ""
        if share is None or not asked
        else f"They are expected to leave {100 * share:.0f} % of the spread of this rider's answer.",
        "answer": answer,
        "certainty": None
        if answer is None
        else {"text": found["certainty"], "chance_of_change": round(found["chance"], 4)},
        "stop": {"now": stage.stop, "text": _stopped(stage, left) if stage.stop else ""},
        "problem": found.get("problem", ""),
        "caution": CAUTION,
    }


def _stopped(stage: Stage, left: int) -> str:
    told = "One more trial would no longer change the answer"
    if left:
        return f"{told}; {left} landings of {stage.aim.rider} are left in the plan."
    return f"{told}: {stage.aim.rider} may go home."


def _sentence(stage: Stage, left: int) -> str:
    if not stage.baseline:
        more = stage.need - stage.have.get(stage.flat, 0)
        return f"Record {more} more on the flat insole."
    if stage.working:
        return "The shape is being searched."
    if stage.found and stage.found["problem"]:
        return f"No shape could be searched: {stage.found['problem']}"
    if stage.stop:
        return _stopped(stage, left)
    lacking = [f"{shape['left']} on {shape['condition']}" for shape in stage.next_shapes if shape["left"]]
    return f"Record {' and '.join(lacking)}." if lacking else "The shape is searched next."


def enough_shapes(have: Mapping[str, int], shapes: Sequence[str]) -> bool:
    """Whether so many shapes beside the flat insole have landings enough that the rider's own answer can be told."""
    return sum(have.get(shape, 0) >= FEWEST_REPEATS for shape in shapes) >= LEAST_CONDITIONS

"""What a worker says of a recording at once: whole or not, what it is, and whether it can be used; no draws yet.

Requests and answers are plain data that travel between processes; numbers stand in the units people read.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from jointload.analysis import Analysis, analyse, fit_body, weigh
from jointload.errors import InputError, expected_found
from jointload.intake.c3d import read_recording
from jointload.intake.labels import LabelMap, check_labels, read_labels
from jointload.intake.quality import inspect_recording
from jointload.intake.recording import Finding, Recording
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.intake.standing import stands_still
from jointload.landing.events import may_follow_flights
from jointload.landing.landed import Measure
from jointload.report.words.cells import is_unknown, sentence_case, shown_value, told_measure
from jointload.report.words.quantities import quantity
from jointload.report.words.trust import doubts_of, trust_in
from jointload.settings import Settings
from jointload.study_run.trial import Job, session_of

Record = dict[str, Any]
WORDS = {"pass": "fine", "warn": "usable", "refuse": "again"}
"""Severity of the verdict -> the one word on the page."""
TITLES = {"fine": "Fine", "usable": "Usable", "again": "Record again"}
NOTHING_AGAINST = "Nothing speaks against this {kind}."
KINDS = {"landing": "landing", "static": "standing trial", "hip_movement": "hip movement"}
EMPTY_END = 1024
"""Bytes: a file whose last ones are all zero was made at its full size and is not filled yet (C3D pads with less)."""
LEVEL = 0.5
"""Share of its median by which the plates' force may vary in a hip movement: one stands on them (choice)."""
UNWRITTEN = "its end is not written yet"
FORCE = "vertical_force_peak"


@dataclass(frozen=True)
class FirstLook:
    """A file to be recognised, by the markers of a labels.toml where it can be read."""

    path: str
    labels: str
    up: str | None
    forward: str | None


def recognised(look: FirstLook) -> Record:
    """SHA-256 of the bytes that were read, whether they are a whole recording, and of what kind; `sure` is False where
    a person should say. `problem` tells why a recording is not whole."""
    path = Path(look.path)
    try:
        named = read_labels(look.labels)
    except InputError:
        named = None
    try:
        recording = read_recording(path, look.up, look.forward, named=named)
        problem = UNWRITTEN if _ends_empty(path) else ""
    except InputError as trouble:
        return {"whole": False, "problem": _without(str(trouble), path.parent), "sha256": "", "kind": "", "sure": False}
    kind, sure = kind_of(recording)
    return {"whole": not problem, "problem": problem, "sha256": recording.sha256, "kind": kind, "sure": sure}


def _ends_empty(path: Path) -> bool:
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - EMPTY_END))
        return not any(file.read())


def kind_of(recording: Recording) -> tuple[str, bool]:
    """static, landing or hip_movement, and whether that is without doubt: a board that lies on the plates hides a
    flight, and a thigh may swing off the plates."""
    if stands_still(recording):
        return "static", True
    if not recording.plates:
        return "landing", False
    force = np.sum([plate.force[1] for plate in recording.plates], axis=0)
    if may_follow_flights(force, recording.force_rate, Settings().contact_threshold):
        return "landing", True
    middle = float(np.median(force))
    level = middle > 0 and bool(np.abs(force - middle).max() < LEVEL * middle)
    return ("hip_movement" if level else "landing"), False


# Verdicts -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Asked:
    """A trial to be judged; job : of a landing, and of the rider's other trials with the file as its `trial`.

    quantities : those whose numbers are told
    """

    kind: str
    job: Job
    quantities: tuple[str, ...]


def judged(asked: Asked) -> Record:
    """The verdict on a trial. What cannot be used becomes one, too: record again, and why."""
    began = time.perf_counter()
    try:
        found = _landing(asked) if asked.kind == "landing" else _other(asked)
    except InputError as problem:
        found = refusal(_without(str(problem), Path(asked.job.folder)))
    except MemoryError:
        raise
    except Exception as problem:  # one recording must not end the day
        found = refusal(f"unforeseen {type(problem).__name__}: {problem}")
    return found | {"seconds": round(time.perf_counter() - began, 2)}


def refusal(why: str) -> Record:
    """The verdict on a recording that cannot be analysed; why : one line."""
    said, _, advice = why.rpartition("; ")
    text = sentence_case(said or why)
    found = {"check": "analysis", "severity": "refuse", "where": "recording", "evidence": said or why, "advice": advice}
    return {
        "word": "again", "title": f"{TITLES['again']}: it cannot be analysed", "reason": _ended(text),
        "advice": advice if said else "", "checks": [found], "numbers": [], "force_bw": None,
    }  # fmt: skip


def _landing(asked: Asked) -> Record:
    analysis = analyse(session_of(asked.job), Settings(**asked.job.settings), variants=False)
    numbers = numbers_of(analysis, asked.quantities)
    unknown = [
        f"{row['text']} {cell['side']}".strip() for row in numbers for cell in row["cells"] if cell["number"] is None
    ]
    findings = list(analysis.findings)
    if analysis.landing.events.kind != "landing":
        text = f"no flight before the contact ({analysis.landing.events.no_takeoff}): read as a step"
        findings.append(Finding("no flight", "warn", "landing", text, "keep it only where a step was meant"))
    if unknown:
        text = f"not known: {', '.join(unknown)}"
        findings.append(Finding("numbers", "warn", "landing", text, "record again where these numbers are wanted"))
    forces = [shown_value(m, analysis) for m in analysis.measures if m.quantity == FORCE and not is_unknown(m)]
    told = _told(findings, "landing", trust_in(analysis).recording.text)
    return told | {"numbers": numbers, "force_bw": max(forces, default=None)}


def _other(asked: Asked) -> Record:
    job = asked.job
    named, rider = read_labels(job.path("labels")), Rider(**job.rider)
    recording = read_recording(job.path("trial"), job.up, job.forward, named=named)
    whole = asked.kind == "static"
    findings = list(inspect_recording(recording, named, complete=whole))
    if whole:
        findings += _standing(recording, named, rider, Settings(**job.settings))
    told = _told(findings, asked.kind, doubts_of(findings).text)
    return told | {"numbers": [], "force_bw": None}


def _standing(recording: Recording, named: LabelMap, rider: Rider, settings: Settings) -> list[Finding]:
    """What only the body that is fitted to a standing trial tells."""
    check_labels(named, recording)
    session = Session(recording, recording, named, rider)
    weighed, _, of_weight = weigh(session)
    found = [*of_weight, *fit_body(session, weighed, settings).findings]
    if not stands_still(recording):
        text, advice = "the body moves", "stand quietly for a second"
        found.append(Finding("standing trial", "warn", "markers", text, advice))
    return found


def _told(findings: Sequence[Finding], kind: str, trust: str) -> Record:
    """The word, and the gravest finding as a sentence."""
    word = WORDS[doubts_of(findings).severity]
    doubted = sorted((f for f in findings if f.severity != "pass"), key=lambda f: f.severity != "refuse")
    checks = [
        {name: getattr(f, name) for name in ("check", "severity", "where", "evidence", "advice")} for f in doubted
    ]
    if not doubted:
        reason, advice = NOTHING_AGAINST.format(kind=KINDS[kind]), ""
    else:
        first = doubted[0]
        reason, advice = (
            _ended(f"{sentence_case(plain(first.check))}, {plain(first.where)}: {first.evidence}"),
            first.advice,
        )
    counted = doubts_of(findings).text
    title = TITLES[word] if word == "fine" else f"{TITLES[word]}: {counted}"
    return {
        "word": word, "title": title, "trust": trust, "reason": reason, "advice": advice, "checks": checks,
    }  # fmt: skip


def plain(name: str) -> str:
    return name.replace("_", " ")


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _without(text: str, folder: Path) -> str:
    """A message without the long way to the folder."""
    return text.replace(f"{folder}{'/'}", "").replace(str(folder), "the folder")


# Numbers ------------------------------------------------------------------------------------------------------------


def numbers_of(analysis: Analysis, names: Iterable[str]) -> list[Record]:
    """Quantities in shown units; an unknown number is None with the reason beside it."""
    out = []
    for name in names:
        what = quantity(name)
        cells = [_cell(m, analysis) for m in analysis.measures if m.quantity == name and not m.word]
        out.append({"quantity": name, "text": what.plain_name, "unit": what.full_unit, "cells": cells})
    return out


def _cell(measure: Measure, analysis: Analysis) -> Record:
    told = told_measure(measure, analysis)
    known = not is_unknown(measure)
    return {
        "side": measure.side,
        "number": _rounded(shown_value(measure, analysis)) if known else None,
        "value": told.value if known else "",
        "interval": told.interval if known else "",
        "note": measure.note if known else measure.note or "not known from this recording",
    }


def _rounded(value: float) -> float:
    """Seven digits, as in the tables of results."""
    return float(f"{value:.7g}") if math.isfinite(value) else value


def damaged(file: str, problem: str) -> Record:
    """The verdict on a file that has rested and is no whole recording."""
    return refusal(problem or expected_found("recording", "a C3D file", "none", file, "copy or export it again")) | {
        "title": f"{TITLES['again']}: the file is damaged", "seconds": 0.0,
    }  # fmt: skip

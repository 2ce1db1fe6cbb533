"""A day that nobody recorded: what its engine would tell, with the acts that the page asked of it kept."""

from __future__ import annotations

import copy
import threading
from pathlib import Path
from typing import Any

from jointload.errors import SettingError

QUANTITIES = (
    ("vertical_force_peak", "peak vertical force", "BW", (2.47, 2.31)),
    ("vertical_loading_rate", "loading rate", "BW/s", (88.0, 81.0)),
    ("knee_flexion_peak", "peak knee flexion", "deg", (84.6, 82.1)),
    ("knee_adduction_moment_peak", "peak knee adduction moment", "Nm/kg", (0.52, 0.44)),
    ("l5s1_extension_moment_peak", "peak L5/S1 extension moment", "Nm/kg", (8.1,)),
)
REASONS = {
    "fine": "Nothing speaks against this landing.",
    "usable": "The right heel's marker is hidden for 0.06 s around touch-down.",
    "again": "The left foot landed beside its plate: its force is not known.",
}
HOME = "One more trial would no longer change the answer: rider_a may go home."
WORDS = {"fine": "Fine", "usable": "Usable: 1 caution", "again": "Record again"}


def trial(order: int, word: str = "fine", **more: Any) -> dict[str, Any]:
    """The whole of one landing."""
    check = {"check": "marker_gap", "severity": "warn", "where": "RHEE", "evidence": "hidden for 0.06 s", "advice": ""}
    name = f"take_{order:04}"
    return (
        {
            "name": name,
            "file": f"{name}.c3d",
            "order": order,
            "at": f"14:{order % 60:02}:07",
            "seconds": 1.4,
            "rider": "rider_a",
            "kind": "landing",
            "condition": "flat",
            "landing": 1,
            "version": 1,
            "status": "done",
            "word": word,
            "title": WORDS[word],
            "reason": REASONS[word],
            "advice": "",
            "outlier": False,
            "checks": [check] if word == "usable" else [],
            "numbers": [_quantity(*each) for each in QUANTITIES],
            "versions": [{"version": 1, "at": "14:31:07", "word": word, "reason": REASONS[word]}],
            "settled": {"word": "settled", "text": "3 landings: they are settled."},
            "variation": {"text": "From landing to landing the peak vertical force varies by 0.12 BW."},
            "further": {
                "landings": 2,
                "quantity": "knee_adduction_moment_peak",
                "text": "2 more landings make a change of 0.1 Nm/kg visible.",
            },
            "files": [{"key": f"trial/{name}/metrics.csv", "text": "numbers", "kind": "csv"}],
        }
        | {"outlier": {"is": False, "text": ""}}
        | more
    )


def _quantity(name: str, text: str, unit: str, values: tuple[float, ...]) -> dict[str, Any]:
    sides = ("right", "left") if len(values) > 1 else ("",)
    cells = [
        {
            "side": side,
            "value": f"{value:.3g}",
            "interval": f"{0.97 * value:.3g} to {1.03 * value:.3g}",
            "number": value,
            "note": "",
            "earlier": [0.95 * value, 1.02 * value, 1.04 * value],
            "earlier_text": f"{value:.3g} (3 landings)",
            "mean": f"{value:.3g}",
            "sd": "0.1",
            "outlier": False,
            "settled": "settled",
            "further": 0,
            "further_text": "",
        }
        for side, value in zip(sides, values, strict=True)
    ]
    return {"quantity": name, "text": text, "unit": unit, "cells": cells}


def short(whole: dict[str, Any]) -> dict[str, Any]:
    """A row of the list of trials."""
    kept = (
        "name",
        "file",
        "order",
        "at",
        "rider",
        "kind",
        "condition",
        "landing",
        "version",
        "status",
        "word",
        "reason",
    )
    return {key: whole[key] for key in kept} | {"outlier": whole["outlier"]["is"]}


def question(file: str = "take_0009.c3d", **more: Any) -> dict[str, Any]:
    return {
        "file": file,
        "at": "14:31:07",
        "kind": "landing",
        "kind_sure": True,
        "rider": "",
        "condition": "",
        "why": "not in trials.csv",
        "earlier": "",
    } | more


def state(landings: int = 4, word: str = "fine", **more: Any) -> dict[str, Any]:
    """Of the middle of a day with so many landings."""
    trials = [trial(k + 1) for k in range(landings - 1)] + [trial(landings, word)] * bool(landings)
    return {
        "format": 1,
        "revision": 1,
        "study": {"name": "the Loft", "folder": "/data/loft", "date": "2026-11-29", "started": "14:02"},
        "connection": {"folder": "there", "since": "14:02", "text": ""},
        "disk": {"full": False, "waiting": 0, "text": ""},
        "faults": [],
        "riders": [_rider("rider_a", "rider_a_static.c3d"), _rider("rider_b", "")],
        "conditions": ["flat", "wedge"],
        "kinds": ["landing", "static", "hip_movement"],
        "targets": ["knee_adduction_moment", "peak_pressure"],
        "plan": {
            "source": "plan.csv",
            "rows": [
                _planned("rider_a", "flat", 2, 1),
                _planned("rider_a", "wedge", 0, 0),
                _planned("rider_b", "flat", 3, 0),
            ],
            "next": {"rider": "rider_a", "condition": "flat", "text": "rider_a, flat: landing 3 of 3"},
            "complete": False,
            "text": "4 of 9 landings left",
        },
        "questions": [],
        "arriving": [],
        "trials": [short(each) for each in trials],
        "latest": trials[-1] if trials else None,
        "fitting": None,
        "session": [
            {
                "rider": "rider_a",
                "landings": landings,
                "hard": landings,
                "hard_above_bw": 2.0,
                "limit": 0,
                "hard_limit": 20,
                "stopped": "",
                "reminder": "Rest for 2 minutes after 5 landings.",
                "kind": "rest",
                "since_last_s": 40,
            }
        ],
        "cautions": ["Landings tire and can hurt. Rest between them."],
        "end": {"stage": "open", "text": "", "files": [], "faults": []},
        "replay": None,
    } | more


def _rider(name: str, static: str) -> dict[str, Any]:
    return {"id": name, "mass_kg": 61.0, "height_m": 1.67, "stance": "right", "static": static, "static_word": "fine"}


def _planned(rider: str, condition: str, usable: int, again: int) -> dict[str, Any]:
    return {
        "rider": rider,
        "condition": condition,
        "shape": condition,
        "needed": 3,
        "usable": usable,
        "again": again,
        "waiting": 0,
        "left": 3 - usable,
        "complete": usable == 3,
        "stopped": "",
        "because": "plan",
    }


def fitting(home: bool = False) -> dict[str, Any]:
    """A fitting that has an answer."""
    return {
        "rider": "rider_a",
        "side": "right",
        "target": "knee_adduction_moment",
        "stage": "shapes",
        "stages": [
            {"key": "baseline", "text": "Flat insole", "have": 3, "need": 3, "done": True},
            {"key": "shapes", "text": "Two shapes", "have": 1, "need": 6, "done": False},
            {"key": "fitted", "text": "Fitted shape", "have": 0, "need": 3, "done": False},
        ],
        "working": not home,
        "text": "Record 3 landings on medial:6 full and 3 on lateral:3.",
        "next": [
            {
                "condition": "medial:6 full",
                "text": "wedge of 6 deg, medial, full length",
                "landings": 3,
                "have": 1,
                "left": 2,
            }
        ],
        "narrows": "They are expected to leave 46 % of the spread of this rider's answer.",
        "answer": {
            "verdict": "A shape within your limits lowers the knee adduction moment.",
            "sentences": ["A change of -0.12 Nm/kg (-0.20 to -0.05), a prediction."],
            "helps": True,
            "shape": "lateral 4 deg, full length",
            "condition": "fit_rider_a_right.toml",
            "change": "a change of -0.12 Nm/kg (-0.20 to -0.05)",
            "calibrated": True,
            "measured": ["lateral:3"],
            "landings": 9,
        },
        "certainty": {
            "text": "One more landing would change the shape with a chance of 3 %.",
            "chance_of_change": 0.03,
        },
        "stop": {"now": home, "text": HOME if home else ""},
        "files": [
            {"key": "fit/insole/sheet.html", "text": "Sheet for the maker", "kind": "html"},
            {"key": "fit/insole/insole_right.stl", "text": "Solid (STL, mm)", "kind": "stl"},
        ],
        "problem": "",
        "caution": "A design study for a qualified prescriber, never a prescription.",
    }


class InventedDay:
    """Tells a state that a test sets, and keeps what was asked of it."""

    def __init__(self, **more: Any) -> None:
        self.told = state(**more)
        self.asked: list[tuple[Any, ...]] = []
        self.paths: dict[str, Path] = {}
        self.revision = 1
        self._changed = threading.Condition()

    def tell(self, **more: Any) -> None:
        """The state from now on differs in these."""
        with self._changed:
            self.revision += 1
            self.told = self.told | more | {"revision": self.revision}
            self._changed.notify_all()

    def wait_for_change(self, after: int, timeout: float) -> int:
        with self._changed:
            self._changed.wait_for(lambda: self.revision > after, timeout)
            return self.revision

    def state(self) -> dict[str, Any]:
        return copy.deepcopy(self.told)

    def trial(self, name: str) -> dict[str, Any]:
        return {each["name"]: trial(each["order"], each["word"]) for each in self.told["trials"]}[name]

    def answer(
        self,
        file: str,
        rider: str,
        kind: str = "landing",
        condition: str = "",
        landing: int = 1,
        replaces: bool = False,
    ) -> None:
        if rider not in {each["id"] for each in self.told["riders"]}:
            raise SettingError(f"riders.csv: expected a known rider, found {rider!r}")
        self.asked.append(("answer", file, rider, kind, condition, replaces))
        self.tell(questions=[each for each in self.told["questions"] if each["file"] != file])

    def leave_out(self, file: str, reason: str) -> None:
        self.asked.append(("leave_out", file, reason))
        self.tell(questions=[each for each in self.told["questions"] if each["file"] != file])

    def want(self, rider: str, condition: str, landings: int) -> None:
        self.asked.append(("want", rider, condition, landings))

    def fit(self, rider: str, side: str, target: str = "knee_adduction_moment") -> None:
        self.asked.append(("fit", rider, side, target))
        self.tell(fitting=fitting())

    def stop_fitting(self) -> None:
        self.asked.append(("stop_fitting",))
        self.tell(fitting=None)

    def finish(self) -> None:
        self.asked.append(("finish",))

    def file(self, key: str) -> Path:
        return self.paths[key]

"""Study folders made from the sample's recordings, and their tables as lists of rows."""

from __future__ import annotations

import contextlib
import csv
import hashlib
import os
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import landed
import numpy as np
import pandas

from jointload.modeldata import shipped_folder
from jointload.whole_study import run_study


def write_csv(path: Path, rows: Sequence[Sequence[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)


def read_csv(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def change(path: Path, edit: Callable[[list[list[str]]], object]) -> None:
    """Edit a table in place; the first row is its head."""
    rows = read_csv(path)
    edit(rows)
    write_csv(path, rows)


def sample_study(folder: Path, times: int = 1) -> Path:
    """A copy of the sample study, each of its six landings `times` times under names of their own."""
    shutil.copytree(shipped_folder("sample_c3d"), folder)
    head, *rows = read_csv(folder / "trials.csv")
    more = [head]
    for file, *rest in rows:
        names = [file] if rest[1] == "static" or times == 1 else [f"{Path(file).stem}_{k}.c3d" for k in range(times)]
        for name in names:
            if name != file:
                os.link(folder / file, folder / name)
            more.append([name, *rest])
    write_csv(folder / "trials.csv", more)
    return folder


def with_draws(study: Path, draws: int = 50) -> None:
    """The study asks for this many draws, of which it takes no fewer."""
    plan = study / "study.toml"
    plan.write_text(f"draws = {draws}\n{plan.read_text(encoding='utf-8')}", encoding="utf-8")


def of_rider_a(study: Path) -> Path:
    """The sample study with the two landings of its first rider alone."""
    change(study / "trials.csv", lambda rows: rows.__delitem__(slice(4, None)))
    change(study / "riders.csv", lambda rows: rows.__delitem__(slice(2, None)))
    return study


def ran_sample(folder: Path, times: int = 1) -> tuple[Path, Path]:
    """A copy of `sample_study` and its results, run in one process once for all tests of a run."""
    place = Path(os.environ[landed.MADE], f"sample_{times}")
    if not place.exists():
        half = place.with_suffix(f".{os.getpid()}")
        assert run_study(sample_study(half / "study", times), half / "out").analysed == 6 * times
        with contextlib.suppress(OSError):  # another process was quicker
            half.rename(place)
    study, out = (Path(shutil.copytree(place / name, folder / name)) for name in ("study", "out"))
    return study, out


def every_byte(folder: Path) -> dict[str, str]:
    """SHA-256 of every file under a folder, by its path."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def made_numbers(riders: int, times: int, effect: float = 0.0, seed: int = 1, answers: float = 1.0) -> pandas.DataFrame:
    """Landings flat and with a wedge: riders differ by 1, in their answers by `answers`, landings by 0.6."""
    rng = np.random.default_rng(seed)
    rows = []
    for rider in range(riders):
        own = rng.standard_normal()
        for level, shift in (("flat", 0.0), ("wedge", effect)):
            answer = answers * rng.standard_normal()
            rows += [(f"r{rider}", level, own + answer + shift + 0.6 * rng.standard_normal()) for _ in range(times)]
    return pandas.DataFrame(rows, columns=["rider", "level", "value"])


def made_results(folder: Path, riders: int = 14, times: int = 3, effect: float = 0.0, seed: int = 1) -> Path:
    """A study whose run is made up: `riders` riders with `times` landings flat and with a wedge, no recordings.

    effect : of the wedge on knee_flexion_peak and on the middle of the knee_flexion_angle curve, in standard deviations
    of a landing.  Returns the study folder; its results stand in `results`
    """
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True)
    (folder / "labels.toml").write_text(LABELS, encoding="utf-8")
    (folder / "study.toml").write_text(PLAN, encoding="utf-8")
    ids = [f"r{k:02d}" for k in range(riders)]
    groups = ["guest" if k % 2 else "home" for k in range(riders)]
    mass = [["id", "mass_kg", "height_m", "sex", "stance", "group"]]
    write_csv(
        folder / "riders.csv", mass + [[i, "70", "1.7", "f", "right", g] for i, g in zip(ids, groups, strict=True)]
    )
    trials, metrics, of_run = [["file", "rider", "kind", "condition"]], [METRICS_HEAD], [TRIALS_HEAD]
    for rider, group in zip(ids, groups, strict=True):
        trials.append([f"{rider}.c3d", rider, "static", ""])
        (folder / f"{rider}.c3d").touch()
        own = {quantity: rng.standard_normal(2) for quantity in MADE}
        shape = rng.standard_normal()
        for condition in ("flat", "wedge"):
            answer = {quantity: 0.4 * rng.standard_normal(2) for quantity in MADE}
            for k in range(times):
                trial = f"{rider}_{condition}_{k}"
                (folder / f"{trial}.c3d").touch()
                trials.append([f"{trial}.c3d", rider, "landing", condition])
                of_trial = [trial, rider, group, "drop", condition, ""]
                of_run.append([trial, f"{trial}.c3d", *of_trial[1:], "right", "analysed", ""])
                shift = effect if condition == "wedge" else 0.0
                for quantity, (middle, unit, spread) in MADE.items():
                    feet = (
                        (("right", "back"), ("left", "front")) if quantity.startswith("knee") else (("right", "back"),)
                    )
                    for s, (side, foot) in enumerate(feet):
                        z = own[quantity][s] + answer[quantity][s] + rng.standard_normal()
                        z += shift if quantity == "knee_flexion_peak" else 0.0
                        metrics.append(
                            [*of_trial, side, foot, quantity, f"{middle + spread * z:.7g}", unit, "", "", ""]
                        )
                place = folder / "results" / "trials" / trial
                place.mkdir(parents=True)
                waves = 2 * np.pi * np.outer(np.arange(1, 4), np.arange(101)) / 101
                noise = (rng.standard_normal(3) @ np.cos(waves) + rng.standard_normal(3) @ np.sin(waves)) / np.sqrt(3)
                bump = np.exp(-0.5 * ((np.arange(101) - 50) / 12) ** 2)
                curve = 60 * np.sin(np.linspace(0.3, 2.0, 101)) + 5 * (shape + noise + 2 * shift * bump)
                points = [f"p{k}" for k in range(101)]
                row = ["knee_flexion_angle", "right", "deg", "286", "190", *(f"{v:.5g}" for v in curve)]
                write_csv(place / "curves.csv", [["quantity", "side", "unit", "start_ms", "duration_ms", *points], row])
                (place / "run.json").write_text('{"methods": {"Filter": "none, the numbers are made up"}}', "utf-8")
    write_csv(folder / "trials.csv", trials)
    write_csv(folder / "results" / "metrics.csv", metrics)
    write_csv(folder / "results" / "trials.csv", of_run)
    return folder


MADE = {
    "knee_flexion_peak": (85.0, "deg", 6.0), "knee_flexion_touchdown": (30.0, "deg", 4.0),
    "vertical_force_peak": (2.8, "BW", 0.3), "knee_adduction_moment_peak": (0.5, "Nm/kg external", 0.15),
    "time_to_peak": (60.0, "ms", 8.0), "hip_work_negative": (-1.0, "J/kg", 0.1),
    "knee_work_negative": (-1.5, "J/kg", 0.15), "ankle_work_negative": (-0.7, "J/kg", 0.07),
}  # fmt: skip
METRICS_HEAD = [
    "trial", "rider", "group", "task", "condition", "style", "side", "foot", "quantity", "value", "unit", "low", "high",
    "note",
]  # fmt: skip
TRIALS_HEAD = [
    "trial", "file", "rider", "group", "task", "condition", "style", "back_foot", "status", "reason"
]  # fmt: skip
LABELS = '[landmarks]\nright_asis = "a"\n'
PLAN = """\
name = "made up"
task = "drop"
baseline = "flat"
primary = ["back_knee_flexion_peak", "back_vertical_force_peak", "back_knee_adduction_moment_peak"]
curves = ["knee_flexion_angle"]
[smallest_change]
vertical_force_peak = 0.4
"""

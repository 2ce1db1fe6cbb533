"""The folder of `layers`: page, table of every layer, and the record."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from jointload.foot.layer_choice import LayerChoice, choose, told
from jointload.foot.thin_layers import LayerTrial
from jointload.report.papers.layer_page import render_layers
from jointload.report.papers.layer_words import sentence, speed_of
from jointload.report.words.csv_text import shielded
from jointload.report.words.whole_folder import write_whole

RECORD, TABLE, PAGE = "layers.json", "layers.csv", "layers.html"
NUMBERS = {
    "heel_pressure_change_percent": ("heel_change", 100.0), "ball_pressure_change_percent": ("ball_change", 100.0),
    "heel_pressure_kPa": ("heel_pressure", 1e-3), "pad_strain_percent": ("pad_strain", 100.0),
    "pad_way_used_percent": ("pad_way", 100.0), "height_left_mm": ("left", 1000.0),
    "energy_taken_J": ("taken", 1.0), "energy_kept_J": ("kept", 1.0), "force_to_ball_N": ("ball_force", 1.0),
    "toe_push_change_N": ("toe_push", 1.0),
}  # fmt: skip
"""Column -> field of Spared, its unit in one SI unit."""


def write_layers(
    trials: Sequence[tuple[str, LayerTrial]],
    choices: Sequence[LayerChoice],
    out: str | Path,
    record: dict[str, Any],
    whole: tuple[str, LayerTrial] | None = None,
) -> Path:
    """trials : name of the landing and its trial, the hardest first;  whole : what the page is of, in words, and its
    trial, the hardest without it;  choices : of that one"""

    def fill(draft: Path) -> None:
        name, trial = whole or trials[0]
        asked = choices[0]
        each = [(one, its, choose(its, asked.place, asked.height, asked.limit)) for one, its in trials]
        rows = trials if whole is None else [whole, *trials]
        (draft / TABLE).write_text(layer_table(rows), encoding="utf-8")
        (draft / PAGE).write_text(render_layers(trial, choices, name, each), encoding="utf-8")
        content = record | {"sentence": sentence(trial, choices[0]), "choices": [_plain(c) for c in choices]}
        (draft / RECORD).write_text(json.dumps(content, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")

    return write_whole(out, RECORD, fill)


def _plain(choice: LayerChoice) -> dict[str, Any]:
    def known(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: known(each) for key, each in value.items()}
        return None if isinstance(value, float) and math.isnan(value) else value

    return {key: known(value) for key, value in asdict(choice).items()}


def layer_table(trials: Sequence[tuple[str, LayerTrial]]) -> str:
    """One row a landing, place, material and height; each number with the ends of its 95 % interval."""
    head = ["landing", "side", "place", "material", "height_mm"]
    for name in (*NUMBERS, "stiffer_in_landing"):
        head += [name, f"{name}_low", f"{name}_high"]
    head += ["bottomed_share", "law_basis", "law_speed", "note"]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    for name, trial in trials:
        for row in _rows(name, trial):
            writer.writerow([shielded(cell) for cell in row])
    return out.getvalue()


def _rows(name: str, trial: LayerTrial) -> list[list[str]]:
    rows = []
    for place, spared in trial.spared.items():
        for k, material in enumerate(trial.materials):
            for h, height in enumerate(trial.heights):
                cells = [name, trial.bearing.side, place, material.name, f"{1000 * height:g}"]
                for field, factor in NUMBERS.values():
                    cells += _cells(getattr(spared, field)[k, h], factor)
                cells += _cells(trial.stiffer[k], 1.0)
                cells.append(f"{spared.bottomed[k, h].mean():.3g}")
                notes = [trial.bearing.no_toes, "" if material.energy_loss == material.energy_loss else "loss unknown"]
                rows.append([*cells, material.basis, speed_of(material, trial), "; ".join(filter(None, notes))])
    return rows


def _cells(draws: np.ndarray[Any, np.dtype[np.float64]], factor: float) -> list[str]:
    value = told(draws)
    return ["" if math.isnan(v) else f"{factor * v:.4g}" for v in (value.middle, value.low, value.high)]

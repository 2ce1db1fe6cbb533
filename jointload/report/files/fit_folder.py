"""Files of a fit in the result folder: the insole for its maker, the trade-off, and its record."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.insole.shape.asked import shape_text
from jointload.insole.shape.materials import cushions, material
from jointload.insole.shape.parts import Layer
from jointload.insole.shape.shape import InsoleShape
from jointload.insole.shape.shape_text import toml_of
from jointload.report.papers.material_folder import material_table
from jointload.report.papers.shape_folder import write_shape
from jointload.report.words.csv_text import write_table
from jointload.report.words.fit_units import target_numbers
from jointload.report.words.tables import change_table

if TYPE_CHECKING:
    import pandas

INSOLE, OWN, BODY = "insole", "material.csv", "insole_foam"


def write_fit(analysis: Analysis, fit: Fit, draft: Path, digits: str) -> None:
    """fit.csv and trade_off.csv into a draft, and the folder insole/ where a shape helps."""
    write_table(trade_off_table(analysis, fit), draft / "trade_off.csv", digits)
    if fit.answer is not None:
        write_table(change_table(analysis, fit.answer), draft / "fit.csv", digits)
    if fit.shape is not None:
        name, shape = f"fit for {fit.target.text}", _as_cut(fit.shape)
        write_shape([shape], draft / INSOLE, name=name)
        own = {one.material.name: one.material for one in shape.thin if one.material not in cushions().values()}
        if own:
            (draft / INSOLE / OWN).write_text(material_table(own.values()), encoding="utf-8")
        text = toml_of(shape, name, OWN if own else "")
        (draft / INSOLE / "insole.toml").write_text(text, encoding="utf-8")


def _as_cut(shape: InsoleShape) -> InsoleShape:
    """With the foam that the bed takes the insole to be of, so that layers upon it can be written apart."""
    return replace(shape, layers=(Layer(material(BODY)),)) if shape.thin else shape


def trade_off_table(analysis: Analysis, fit: Fit) -> pandas.DataFrame:
    """One row a stack height: the best shape within it and the change of the target, with one person's interval."""
    import pandas as pd

    rows = []
    for point in fit.trade_off:
        shape = point.shape
        numbers, unit = target_numbers(fit, analysis, (point.change, point.low, point.high))
        angles = [np.rad2deg(posting.angle) for posting in (shape.rearfoot, shape.forefoot)]
        rows.append(
            (1000 * point.stack, *angles, 1000 * shape.lift.height, 1000 * shape.base, *_upon(shape), *numbers, unit)
        )
    columns = [
        "stack_mm", "rearfoot_posting_deg", "forefoot_posting_deg", "heel_lift_mm", "base_mm",
        "thin_layers", "heel_cup_mm", "change", "person_low",
        "person_high", "unit",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def _upon(shape: InsoleShape) -> tuple[str, float]:
    """Thin layers in words, and the cup's height [mm]."""
    return "; ".join(map(str, shape.thin)), 1000 * shape.cup.height


def fit_record(fit: Fit) -> dict[str, Any]:
    """What was asked and what was found, for run.json; SI units."""
    return {
        "target": fit.target.text,
        "side": fit.side,
        "limits": {name: getattr(fit.limits, name) for name in fit.limits.__dataclass_fields__},
        "draws": fit.draws,
        "seed": fit.seed,
        "verdict": fit.verdict,
        "shape": None if fit.shape is None else shape_text(fit.shape),
        "limited_by": list(fit.limited_by),
        "measured_shapes": [] if fit.known.personal is None else list(fit.known.personal.conditions),
    }

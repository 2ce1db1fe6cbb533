"""Every figure of a report that can be a file for papers."""

from __future__ import annotations

from collections.abc import Callable

from jointload.analysis import Analysis
from jointload.landing.landed import Landing
from jointload.landing.sole_regions import sole_loads
from jointload.report.figures import change_figures, fit_figures, landing_curves, pictures
from jointload.report.figures.feet_map import feet_map
from jointload.report.figures.heel_forces import heel_forces
from jointload.report.figures.panel import Sheet
from jointload.report.figures.pressure_bed import pressure_bed
from jointload.report.figures.soles import sole_pressures
from jointload.report.figures.tissue_figure import tissue_loads
from jointload.report.page.board_section import split_curves
from jointload.report.words.section import Reported

Drawn = Callable[[Reported], Sheet | None]


def _of(sheet: Callable[[Analysis], Sheet | None]) -> Drawn:
    return lambda reported: sheet(reported.analysis)


def _of_landing(sheet: Callable[[Analysis], Sheet], told: Callable[[Landing], bool]) -> Drawn:
    """None for a landing that has no such figure."""
    return lambda reported: sheet(reported.analysis) if told(reported.analysis.landing) else None


def _changes(reported: Reported) -> Sheet | None:
    return None if reported.whatif is None else change_figures.changes(reported.analysis, reported.whatif)


def _compared(reported: Reported) -> Sheet | None:
    several = reported.whatif is not None and reported.whatif.others
    return change_figures.comparison(reported.analysis, reported.whatif) if reported.whatif and several else None


def _predicted_pressure(reported: Reported) -> Sheet | None:
    return None if reported.whatif is None else pressure_bed(reported.whatif)


def _trade_off(reported: Reported) -> Sheet | None:
    fit = reported.fit
    return None if fit is None or fit.answer is None else fit_figures.trade_off(reported.analysis, fit)


def _fit_pressure(reported: Reported) -> Sheet | None:
    fit = reported.fit
    return None if fit is None or fit.answer is None else pressure_bed(fit.answer)


FIGURES: dict[str, Drawn] = {
    "body": _of(pictures.body),
    "forces": _of(landing_curves.forces),
    "balance": _of(landing_curves.balance),
    "angles": _of(landing_curves.angles),
    "moments": _of(landing_curves.moments),
    "powers": _of(landing_curves.powers),
    "tissue_loads": _of(tissue_loads),
    "pressure_paths": _of(pictures.pressure_paths),
    "feet": _of(feet_map),
    "heel_forces": _of(heel_forces),
    "plate_split": _of_landing(split_curves, lambda landing: landing.split is not None),
    "sole_pressures": _of_landing(sole_pressures, lambda landing: any(s.regions for s in sole_loads(landing))),
    "predicted_changes": _changes,
    "shapes_compared": _compared,
    "predicted_pressure": _predicted_pressure,
    "fit_trade_off": _trade_off,
    "fit_pressure": _fit_pressure,
}
"""File name and what it shows; None where the report has no such figure."""


def every_figure(reported: Reported) -> dict[str, Sheet | None]:
    """FIGURES of one report."""
    return {name: draw(reported) for name, draw in FIGURES.items()}

"""Every figure of a report as a file for papers, in one width and one size of letters."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from jointload.errors import SettingError, expected_found
from jointload.landing.landed import Landing
from jointload.landing.sole_regions import sole_loads
from jointload.report.figures import change_figures, fit_figures, landing_curves, pictures
from jointload.report.figures.sheet import FORMS, Sheet, sheet_file
from jointload.report.figures.soles import sole_pressures
from jointload.report.figures.tissue_figure import tissue_loads
from jointload.report.page.board_section import split_curves
from jointload.report.words.section import Reported

FOLDER = "figures"

Draw = Callable[[Reported, str], bytes | None]


def _of(sheet: Callable[..., Sheet]) -> Draw:
    return lambda reported, form: sheet_file(sheet(reported.analysis), form)


def _of_landing(sheet: Callable[..., Sheet], told: Callable[[Landing], bool]) -> Draw:
    """None for a landing that has no such figure."""
    return lambda reported, form: _of(sheet)(reported, form) if told(reported.analysis.landing) else None


def _of_prediction(draw: Callable[..., bytes], several: bool = False) -> Draw:
    """None without a prediction, or without several shapes to compare."""

    def predicted(reported: Reported, form: str) -> bytes | None:
        whatif = reported.whatif
        if whatif is None or (several and not whatif.others):
            return None
        return draw(reported.analysis, whatif, form)

    return predicted


def _of_fit(draw: Callable[..., bytes], of_answer: bool = False) -> Draw:
    """None without a fit whose shape changes anything."""

    def fitted(reported: Reported, form: str) -> bytes | None:
        fit = reported.fit
        if fit is None or fit.answer is None:
            return None
        return draw(reported.analysis, fit.answer if of_answer else fit, form)

    return fitted


FIGURES: dict[str, Draw] = {
    "body": _of(pictures.body),
    "forces": _of(landing_curves.forces),
    "angles": _of(landing_curves.angles),
    "moments": _of(landing_curves.moments),
    "powers": _of(landing_curves.powers),
    "tissue_loads": _of(tissue_loads),
    "pressure_paths": _of(pictures.pressure_paths),
    "plate_split": _of_landing(split_curves, lambda landing: landing.split is not None),
    "sole_pressures": _of_landing(sole_pressures, lambda landing: any(s.regions for s in sole_loads(landing))),
    "predicted_changes": _of_prediction(change_figures.changes),
    "shapes_compared": _of_prediction(change_figures.comparison, several=True),
    "predicted_pressure": _of_prediction(pictures.pressure_bed),
    "fit_trade_off": _of_fit(fit_figures.trade_off),
    "fit_pressure": _of_fit(pictures.pressure_bed, of_answer=True),
}
"""File name and how it is drawn in the form asked for; None where the report has no such figure."""


def check_form(form: str) -> None:
    """SettingError unless figures can be written in this form."""
    if form not in FORMS:
        expected, advice = "one of " + ", ".join(FORMS), "leave --figures out for none"
        raise SettingError(expected_found("figures", expected, repr(form), "the command", advice))


def write_figures(reported: Reported, folder: Path, form: str) -> None:
    """Write FIGURES into a new folder."""
    check_form(form)
    folder.mkdir()
    for name, draw in FIGURES.items():
        drawn = draw(reported, form)
        if drawn is not None:
            (folder / f"{name}.{form}").write_bytes(drawn)

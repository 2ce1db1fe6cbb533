"""Where on the foot the load was: pressure insoles by region."""

from __future__ import annotations

from html import escape

import numpy as np

from jointload.intake.pressure import REGIONS
from jointload.landing.sole_regions import RegionLoad, SoleLoad, board_pattern, sole_loads
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.figures.soles import foot_name, sole_pressures
from jointload.report.words import html
from jointload.report.words.section import Reported

HEAD = (
    "Region", "Highest pressure [kPa]", "at [ms]", "Largest force [N]", "Impulse [Ns]", "Share of the impulse [%]",
    "Sensors", "Note",
)  # fmt: skip
PATTERN = (
    "The back foot peaks at the medial heel and the first metatarsal head, the front foot at the heel: the pattern "
    "that common practice knows of landings on a board (trade knowledge, no published source)."
)


def pressure_section(reported: Reported) -> str:
    """Nothing without insoles."""
    analysis = reported.analysis
    pressed, soles = analysis.landing.pressed, sole_loads(analysis.landing)
    if pressed is None:
        return ""
    if not soles:
        return html.paragraph("The pressure insoles are not used; the reason stands with what limits trust.")
    stance = analysis.session.rider.stance
    told = [sole for sole in soles if sole.regions]
    return (
        html.paragraph(
            f"The insoles' clock was found from the load around touch-down, to {1000 * pressed.lag_spread:.1f} ms, and "
            f"their scale from the plates' vertical impulse ({_factors(soles, stance)}). Insoles err by a third to a "
            "half in their total, so forces come from the plates; where on the foot the load was comes from here."
        )
        + "".join(html.paragraph(_sentence(sole, stance)) for sole in soles)
        + (html.paragraph(PATTERN) if board_pattern(soles, stance) else "")
        + (
            sheet_figure(
                sole_pressures(analysis),
                "The highest pressure of every sensor in the landing, on one scale for both feet, and the path of the "
                "centre of pressure. Crossed sensors do not measure and were left out.",
            )
            if told
            else ""
        )
        + "".join(html.numbers(f"The regions of the {foot_name(s.side, stance)}", _table(s)) for s in told)
    )


def _factors(soles: tuple[SoleLoad, ...], stance: str) -> str:
    return ", ".join(f"{foot_name(sole.side, stance)} times {sole.sole.factor:.2f}" for sole in soles)


def _sentence(sole: SoleLoad, stance: str) -> str:
    name = foot_name(sole.side, stance).capitalize()
    if not sole.regions:
        return f"{name}: {sole.reason}."
    by_key = {row.region: row for row in sole.regions}
    first, second = (by_key[key] for key in sole.peak_regions(2))
    return (
        f"{name}: highest at the {REGIONS[first.region]} ({_text(1e-3 * first.peak_pressure)} kPa), then at the "
        f"{REGIONS[second.region]} ({_text(1e-3 * second.peak_pressure)} kPa)."
    )


def _table(sole: SoleLoad) -> str:
    rows = [_cells(row) for row in sole.regions]
    note = f"Regions by place along a foot of {1000 * sole.foot_length:.0f} mm, from {sole.length_from}."
    return html.table(HEAD, rows, numeric=range(1, 7)) + html.paragraph(note)


def _cells(row: RegionLoad) -> tuple[str, ...]:
    return (
        escape(REGIONS[row.region].capitalize()),
        _text(1e-3 * row.peak_pressure),
        _text(1e3 * row.peak_time),
        _text(row.peak_force),
        _text(row.impulse, 1),
        _text(100.0 * row.share),
        str(row.sensors),
        escape(row.note),
    )


def _text(value: float, decimals: int = 0) -> str:
    return f"{value:.{decimals}f}" if np.isfinite(value) else "–"

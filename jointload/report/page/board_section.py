"""What stood under the feet: a board, and two feet on one plate with what that leaves open."""

from __future__ import annotations

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.landing.landed import Landing
from jointload.loads.split_interval import SplitInterval
from jointload.report.figures.axis import Axis, around, ticked
from jointload.report.figures.panel import Band, Panel, Rule, Sheet, side_key, side_line
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.words import html
from jointload.report.words.cells import measure_table
from jointload.report.words.quantities import SIDE_WORDS
from jointload.report.words.section import Reported

OPEN_QUANTITIES = (
    "vertical_force_peak", "knee_adduction_moment_peak", "knee_flexion_moment_peak", "hip_adduction_moment_peak",
    "ankle_inversion_moment_peak",
)  # fmt: skip
BEFORE, AFTER = 0.02, 0.05
"""Shown before the first touch-down and after the end of the landing [s]."""


def board_section(reported: Reported) -> str:
    """Nothing where each foot stood on a plate of its own and there was no board."""
    analysis = reported.analysis
    board, split = analysis.session.board, analysis.landing.split
    if board is None and split is None:
        return ""
    said = [f.evidence for f in analysis.findings if f.check in ("board", "board_markers", "clock")]
    text = f"Board {board.name}, {board.mass:g} kg: {'; '.join(said)}." if board is not None else ""
    return (html.paragraph(text) if text else "") + (_shared(analysis, split) if split is not None else "")


def _shared(analysis: Analysis, split: SplitInterval) -> str:
    wide = [f for f in analysis.findings if f.check == "split_interval" and f.severity == "warn"]
    verdict = (
        " The interval of the knee adduction moment is too wide to compare conditions: land with one foot on one plate."
        if wide
        else ""
    )
    return (
        html.paragraph(
            "Two feet stood on one plate, which feels their sum: six numbers for twelve. The share of each foot comes "
            f"from {split.split.basis}. Values are the likeliest split; low and high are the lowest and highest of "
            "every split in which both pressure points stay under their soles, the forces lean from not at all to "
            "towards the hips, and friction holds. The sum of both feet, and with it the lower back, is as certain as "
            "with two plates." + verdict
        )
        + sheet_figure(
            split_curves(analysis),
            "Shaded: every split that fits the plate. The line is the likeliest one.",
        )
        + measure_table(analysis, OPEN_QUANTITIES)
    )


def split_curves(analysis: Analysis) -> Sheet:
    """The right foot's share of the load, and each knee's adduction moment, with what the plate leaves open."""
    landing, split = analysis.landing, analysis.landing.split
    assert split is not None
    keys = tuple(side_key(s, SIDE_WORDS[s]) for s in ("left", "right"))
    return Sheet(
        (_share_panel(landing, split), *(_knee_panel(landing, split, s) for s in ("left", "right"))), keys, columns=3
    )


def _times(landing: Landing) -> tuple[Array, slice]:
    """(F,) [ms] from the first touch-down, and the frames shown."""
    first, rate, frames = landing.events.first_touchdown, landing.poses.rate, landing.recording.frames
    end = landing.events.last_end if np.isfinite(landing.events.last_end) else first + 0.3
    shown = slice(max(0, round((first - BEFORE) * rate)), min(frames, round((end + AFTER) * rate)))
    return 1000.0 * (np.arange(frames) / rate - first), shown


def _share_panel(landing: Landing, split: SplitInterval) -> Panel:
    time, shown = _times(landing)
    apart = split.split
    known = np.where(apart.frames, 100.0, np.nan)
    shapes = (
        Band(time[shown], (known * apart.share_low)[shown], (known * apart.share_high)[shown], "right"),
        Rule(50.0),
        side_line("right", time[shown], (known * apart.share)[shown]),
    )
    low, high = (100.0 * float(np.median(s[apart.frames])) for s in (apart.share_low, apart.share_high))
    told = f"The right foot's share of the load is typically between {low:.0f} and {high:.0f} per cent."
    return Panel(
        "Right foot's share", "% of the vertical force", told, _time_axis(time[shown]), ticked(0.0, 100.0), shapes
    )


def _knee_panel(landing: Landing, split: SplitInterval, side: str) -> Panel:
    time, shown = _times(landing)
    per_kg = G / landing.weight
    value, first, second = (
        per_kg * loads.of(f"{side}_knee", "adduction") for loads in (landing.loads, split.low, split.high)
    )
    low, high = np.minimum(first, second), np.maximum(first, second)
    shapes = (
        Band(time[shown], low[shown], high[shown], side), Rule(0.0), side_line(side, time[shown], value[shown]),
    )  # fmt: skip
    told = f"Knee adduction moment of the {SIDE_WORDS[side]} side with the lowest and highest that the plate allows."
    up = around((low[shown], high[shown], 0.0))
    subtitle = "Nm/kg external, adduction + / abduction −"
    return Panel(f"Knee moment, {SIDE_WORDS[side]}", subtitle, told, _time_axis(time[shown]), up, shapes)


def _time_axis(time: Array) -> Axis:
    return ticked(float(time[0]), float(time[-1]), "ms after the first touch-down")

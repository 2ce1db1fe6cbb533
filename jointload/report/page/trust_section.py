"""What limits trust: findings, mechanics that must hold, frames that are not known."""

from __future__ import annotations

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import Array, split_side
from jointload.intake.rider import G
from jointload.report.figures import landing_curves
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.words import html
from jointload.report.words.cells import findings_table, is_unknown, measure_table, sentence_case, severity_counts
from jointload.report.words.quantities import SIDE_WORDS
from jointload.report.words.section import Reported
from jointload.report.words.tables import worst_first

QUANTITIES = ("fall_acceleration", "unexplained_force", "body_weight_plate", "body_weight_rider")


def trust_section(reported: Reported) -> str:
    analysis = reported.analysis
    findings, counts = worst_first(analysis.findings), severity_counts(analysis)
    doubts = findings_table(f for f in findings if f.severity != "pass")
    passed = findings_table(f for f in findings if f.severity == "pass")
    words = f"{counts['refuse']} refused, {counts['warn']} to look at, {counts['pass']} passed. The worst stand first."
    return (
        html.paragraph(words)
        + doubts
        + (html.folded(f"{counts['pass']} checks passed", passed) if passed else "")
        + html.folded("Does it obey mechanics", _mechanics(analysis))
        + html.folded("Frames of the landing that are not known", _unknown_frames(analysis))
    )


def _mechanics(analysis: Analysis) -> str:
    sheet = landing_curves.balance(analysis)
    left_over = "" if sheet is None else sheet_figure(sheet, LEFT_OVER)
    return html.paragraph(_fall_text(analysis)) + measure_table(analysis, QUANTITIES) + left_over


LEFT_OVER = (
    "What the plates feel beside weight and motion of the whole body, frame by frame: by the markers alone, and with "
    "flesh that swings beside them. What is left is noise, misplaced mass, and arms nobody saw."
)


def _fall_text(analysis: Analysis) -> str:
    measure = next(m for m in analysis.measures if m.quantity == "fall_acceleration")
    if is_unknown(measure):
        return f"The fall of the model's centre of mass in flight could not be checked: {measure.note}."
    off = 100.0 * abs(measure.value / G - 1.0)
    note = f" ({measure.note})" if measure.note else ""
    return f"In flight the model's centre of mass fell at {measure.value:.2f} m/s², {off:.1f} % from {G:.2f}{note}."


def _unknown_frames(analysis: Analysis) -> str:
    """Per joint: frames of the landing window whose angle or moment is NaN."""
    landing = analysis.landing
    rows = []
    for j, joint in enumerate(landing.angles.joints):
        side, stem = split_side(joint)
        sides = [side] if side else list(landing.events.sides)
        if set(sides) <= set(landing.events.sides):
            windows = [landing.window(s) for s in sides]
            window = slice(min(w.start for w in windows), max(w.stop for w in windows))
            series = (landing.angles.angle[:, j, window], landing.loads.components[:, j, window])
            name = f"{sentence_case(SIDE_WORDS[side])} {stem}" if side else "Lower back, L5/S1"
            rows.append((name, *(f"{_missing(values)} of {values.shape[1]}" for values in series)))
    return html.table(("Joint", "Angle unknown", "Moment unknown"), rows, numeric=(1, 2))


def _missing(series: Array) -> int:
    return int(np.sum(~np.isfinite(series).all(axis=0)))

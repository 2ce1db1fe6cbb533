"""Which joints absorbed the landing: powers and work."""

from __future__ import annotations

from jointload.report import html, landing_curves
from jointload.report.answers import work_answer
from jointload.report.cells import measure_table
from jointload.report.section import Reported
from jointload.report.sheet_html import sheet_figure

QUANTITIES = (
    "ankle_work_negative", "knee_work_negative", "hip_work_negative", "ankle_power_absorbed_peak",
    "knee_power_absorbed_peak", "hip_power_absorbed_peak", "ankle_work_share", "knee_work_share", "hip_work_share",
    "softness", "force_asymmetry_right_left", "force_asymmetry_back_front", "work_asymmetry_right_left",
    "work_asymmetry_back_front",
)  # fmt: skip


def work_section(reported: Reported) -> str:
    analysis = reported.analysis
    return (
        html.answer(work_answer(analysis))
        + sheet_figure(
            landing_curves.powers(analysis),
            "Power of each joint, and the energy that ankle, knee and hip absorbed with their shares.",
        )
        + measure_table(analysis, QUANTITIES)
    )

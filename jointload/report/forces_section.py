"""How hard the landing was: ground forces and times."""

from __future__ import annotations

from jointload.report import html, landing_curves
from jointload.report.answers import forces_answer
from jointload.report.cells import measure_table
from jointload.report.section import Reported
from jointload.report.sheet_html import sheet_figure

QUANTITIES = (
    "touchdown_speed", "drop_height", "flight_time", "pelvis_drop", "time_to_stabilisation",
    "vertical_force_total_peak", "vertical_force_peak",
    "vertical_force_first_peak", "vertical_force_second_peak", "vertical_loading_rate", "vertical_impulse_100ms",
    "time_to_peak", "braking_force_peak", "time_to_braking_peak", "friction_use_peak", "first_contact_zone",
    "sole_angle_touchdown",
)  # fmt: skip


def forces_section(reported: Reported) -> str:
    analysis = reported.analysis
    return (
        html.answer(forces_answer(analysis))
        + sheet_figure(
            landing_curves.forces(analysis),
            "Ground force on each foot in body weights, low-pass filtered for peaks, along the pelvis' forward "
            "direction at touch-down and across it. Marks stand at the largest vertical force of each foot.",
        )
        + measure_table(analysis, QUANTITIES)
    )

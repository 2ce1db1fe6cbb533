"""How the body was aligned: pictures, joint angles, the frontal plane."""

from __future__ import annotations

from jointload.report import html, landing_curves
from jointload.report.answers import alignment_answer
from jointload.report.cells import measure_table
from jointload.report.section import Reported
from jointload.report.sheet_html import sheet_figure

QUANTITIES = (
    "ankle_dorsiflexion_touchdown", "knee_flexion_touchdown", "hip_flexion_touchdown", "knee_adduction_touchdown",
    "ankle_dorsiflexion_peak", "knee_flexion_peak", "hip_flexion_peak", "rearfoot_eversion_peak",
    "knee_adduction_peak", "knee_internal_rotation_peak", "hip_adduction_peak", "knee_over_ankle",
    "tibia_inclination_frontal", "pelvis_obliquity_touchdown", "hip_pelvis_angle_touchdown",
    "pelvis_tilt_touchdown", "trunk_lean_touchdown", "trunk_lean_forward_touchdown",
    "trunk_lean_forward_peak", "trunk_flexion_peak",
)  # fmt: skip


def alignment_section(reported: Reported) -> str:
    analysis = reported.analysis
    return (
        html.answer(alignment_answer(analysis))
        + sheet_figure(
            landing_curves.angles(analysis),
            "Joint angles and the lean of the trunk, with 95 % bands where intervals were drawn. A break in a line is "
            "data that is not known.",
        )
        + measure_table(analysis, QUANTITIES)
    )

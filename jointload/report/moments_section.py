"""What ankle, knee, hip and lower back bore: joint moments and net joint forces."""

from __future__ import annotations

from jointload.report import figures, html, pictures
from jointload.report.cells import measure_table
from jointload.report.section import Reported

QUANTITIES = (
    "ankle_dorsiflexion_moment_peak", "ankle_inversion_moment_peak", "ankle_eversion_moment_peak",
    "knee_flexion_moment_peak", "knee_flexion_impulse", "knee_adduction_moment_peak", "knee_adduction_impulse",
    "knee_abduction_moment_peak", "knee_abduction_impulse", "hip_flexion_moment_peak",
    "hip_adduction_moment_peak", "hip_adduction_impulse",
    "knee_compression_peak", "l5s1_extension_moment_peak", "l5s1_lateral_bend_moment_peak", "l5s1_compression_peak",
)  # fmt: skip


def moments_section(reported: Reported) -> str:
    analysis = reported.analysis
    return (
        html.picture(
            figures.moments(analysis),
            "Curves of joint moments of both legs and of the lower back",
            "Joint moments per kilogram of body mass. External is the load on the joint, internal the body's answer. "
            "Above the side view, below the front view; with 95 % bands where intervals were drawn.",
        )
        + html.picture(
            pictures.pressure_paths(analysis),
            "Path of the centre of pressure under each foot, seen from above",
            "Where the force acted under each foot from touch-down (ring) to the end of the landing (square), against "
            "the foot's landmarks in quiet standing. Larger dots are larger forces.",
        )
        + measure_table(analysis, QUANTITIES)
    )

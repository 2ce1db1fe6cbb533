"""What ankle, knee, hip and lower back bore: joint moments and net joint forces."""

from __future__ import annotations

from jointload.report import html, landing_curves, pictures
from jointload.report.answers import moments_answer
from jointload.report.cells import measure_table
from jointload.report.section import Reported
from jointload.report.sheet_html import sheet_figure

QUANTITIES = (
    "ankle_dorsiflexion_moment_peak", "ankle_inversion_moment_peak", "ankle_eversion_moment_peak",
    "knee_flexion_moment_peak", "knee_flexion_impulse", "knee_adduction_moment_peak", "knee_adduction_impulse",
    "knee_abduction_moment_peak", "knee_abduction_impulse", "hip_flexion_moment_peak",
    "hip_adduction_moment_peak", "hip_adduction_impulse",
    "knee_compression_peak", "l5s1_extension_moment_peak", "l5s1_lateral_bend_moment_peak", "l5s1_compression_peak",
)  # fmt: skip

_BANDS = "Shaded: 95 % bands, where intervals were drawn."
_BANDS_OF_A_SHARED_PLATE = (
    "Two feet stood on one plate: the legs' curves are the likeliest split, without a band; how far they may lie from "
    "it stands under 'What stood under the feet'. Shaded for the lower back: its 95 % band, where drawn."
)


def moments_section(reported: Reported) -> str:
    analysis = reported.analysis
    return (
        html.answer(moments_answer(analysis))
        + sheet_figure(
            landing_curves.moments(analysis),
            "Joint moments per kilogram of body mass. External is the load on the joint, internal the body's answer. "
            + (_BANDS if analysis.landing.split is None else _BANDS_OF_A_SHARED_PLATE),
        )
        + measure_table(analysis, QUANTITIES)
        + sheet_figure(
            pictures.pressure_paths(analysis),
            "Where the force acted under each foot from touch-down (ring) to the end of the landing (square), against "
            "the foot's landmarks in quiet standing. Larger dots are larger forces.",
        )
    )

"""What the landing itself was: how hard, how aligned, what the joints bore, which of them absorbed it."""

from __future__ import annotations

from jointload.report.figures import landing_curves, pictures
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.page.answers import alignment_answer, forces_answer, moments_answer, work_answer
from jointload.report.words import html
from jointload.report.words.cells import measure_table
from jointload.report.words.section import Reported

FORCES = (
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
        + _left_over(reported)
        + measure_table(analysis, FORCES)
    )


def _left_over(reported: Reported) -> str:
    sheet = landing_curves.balance(reported.analysis)
    if sheet is None:
        return ""
    return sheet_figure(
        sheet,
        "What the plates feel beside weight and motion of the whole body, frame by frame: by the markers alone, and "
        "with flesh that swings beside them. What is left is noise, misplaced mass, and arms nobody saw.",
    )


ALIGNMENT = (
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
        + measure_table(analysis, ALIGNMENT)
    )


LOADS = (
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
        + measure_table(analysis, LOADS)
        + sheet_figure(
            pictures.pressure_paths(analysis),
            "Where the force acted under each foot from touch-down (ring) to the end of the landing (square), against "
            "the foot's landmarks in quiet standing. Larger dots are larger forces.",
        )
    )


WORK = (
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
        + measure_table(analysis, WORK)
    )

"""What the landing itself was: how hard, how aligned, what the joints bore, which of them absorbed it."""

from __future__ import annotations

from collections.abc import Callable

from jointload.analysis import Analysis
from jointload.report.figures import landing_curves, pictures
from jointload.report.figures.panel import Sheet
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.page.answers import alignment_answer, forces_answer, moments_answer, work_answer
from jointload.report.words import html
from jointload.report.words.cells import measure_numbers
from jointload.report.words.section import Reported

Answered = Callable[[Analysis], str]
Captioned = tuple[Callable[[Analysis], Sheet], str]
"""What draws a figure, and its caption."""


def told_section(analysis: Analysis, answer: Answered, figures: tuple[Captioned, ...], names: tuple[str, ...]) -> str:
    """The shape that these sections share: the answer in words, the figures, every number."""
    drawn = "".join(sheet_figure(draw(analysis), caption) for draw, caption in figures)
    return html.answer(answer(analysis)) + drawn + measure_numbers(analysis, names)


FORCES = (
    "touchdown_speed", "drop_height", "flight_time", "pelvis_drop", "time_to_stabilisation",
    "vertical_force_total_peak", "vertical_force_peak",
    "vertical_force_first_peak", "vertical_force_second_peak", "vertical_loading_rate", "vertical_impulse_100ms",
    "time_to_peak", "braking_force_peak", "time_to_braking_peak", "friction_use_peak", "first_contact_zone",
    "sole_angle_touchdown",
)  # fmt: skip
_FORCE_FIGURES = (
    (
        landing_curves.forces,
        "Ground force on each foot in body weights, low-pass filtered for peaks, along the pelvis' forward direction "
        "at touch-down and across it. Marks stand at the largest vertical force of each foot.",
    ),
)


def forces_section(reported: Reported) -> str:
    return told_section(reported.analysis, forces_answer, _FORCE_FIGURES, FORCES)


ALIGNMENT = (
    "ankle_dorsiflexion_touchdown", "knee_flexion_touchdown", "hip_flexion_touchdown", "knee_adduction_touchdown",
    "ankle_dorsiflexion_peak", "knee_flexion_peak", "hip_flexion_peak", "rearfoot_eversion_peak",
    "knee_adduction_peak", "knee_internal_rotation_peak", "hip_adduction_peak", "knee_over_ankle",
    "tibia_inclination_frontal", "pelvis_obliquity_touchdown", "hip_pelvis_angle_touchdown",
    "pelvis_tilt_touchdown", "trunk_lean_touchdown", "trunk_lean_forward_touchdown",
    "trunk_lean_forward_peak", "trunk_flexion_peak",
)  # fmt: skip
_ANGLE_FIGURES = (
    (
        landing_curves.angles,
        "Joint angles and the lean of the trunk, with 95 % bands where intervals were drawn. A break in a line is data "
        "that is not known.",
    ),
)


def alignment_section(reported: Reported) -> str:
    return told_section(reported.analysis, alignment_answer, _ANGLE_FIGURES, ALIGNMENT)


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
_PATHS = (
    pictures.pressure_paths,
    "Where the force acted under each foot from touch-down (ring) to the end of the landing (square), against the "
    "foot's landmarks in quiet standing. Larger dots are larger forces.",
)


def moments_section(reported: Reported) -> str:
    analysis = reported.analysis
    caption = (
        "Joint moments per kilogram of body mass. External is the load on the joint, internal the body's answer. "
        + (_BANDS if analysis.landing.split is None else _BANDS_OF_A_SHARED_PLATE)
    )
    draw, of_paths = _PATHS
    paths = html.numbers("Where the force acted under each foot", sheet_figure(draw(analysis), of_paths))
    return told_section(analysis, moments_answer, ((landing_curves.moments, caption),), LOADS) + paths


WORK = (
    "ankle_work_negative", "knee_work_negative", "hip_work_negative", "ankle_power_absorbed_peak",
    "knee_power_absorbed_peak", "hip_power_absorbed_peak", "ankle_work_share", "knee_work_share", "hip_work_share",
    "softness", "force_asymmetry_right_left", "force_asymmetry_back_front", "work_asymmetry_right_left",
    "work_asymmetry_back_front",
)  # fmt: skip
_POWER_FIGURES = (
    (landing_curves.powers, "Power of each joint, and the energy that ankle, knee and hip absorbed with their shares."),
)


def work_section(reported: Reported) -> str:
    return told_section(reported.analysis, work_answer, _POWER_FIGURES, WORK)

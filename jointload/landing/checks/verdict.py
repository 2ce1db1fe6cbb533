"""The verdict on a landing: what of body, contact and motion does not fit together, and which moments that stops.

A finding that refuses stops moments, never angles or ground forces.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from jointload.intake.recording import SIDES, Finding
from jointload.landing.checks.force_checks import (
    check_fall,
    check_filter,
    check_on_plate,
    check_peak,
    check_pressure,
    check_saturated,
    check_silent,
    check_step,
    check_unexplained,
)
from jointload.landing.checks.judgement import Judgement
from jointload.landing.checks.marker_checks import (
    check_angles,
    check_clusters,
    check_exchanged,
    check_joints,
    check_sides,
    check_standing,
)
from jointload.landing.checks.person import check_person
from jointload.landing.checks.step_weight import check_step_weight
from jointload.landing.landed import Landing, Measure
from jointload.loads.contact import Lost
from jointload.loads.moments import joint_loads, smooth_loads


@dataclass(frozen=True)
class Verdict:
    """What was found, and for each side the frames in which it has no moments, with the reason."""

    findings: tuple[Finding, ...]
    stopped: tuple[Lost, ...]


def judge(landing: Landing) -> Verdict:
    """Every check on a landing, once."""
    done = [check(landing) for check in CHECKS.values()]
    for check in LAST.values():
        cause = next((one.findings[0].check for one in done if one.explains), "")
        done.append(check(landing, cause))
    return Verdict(
        tuple(finding for one in done for finding in one.findings),
        tuple(gone for one in done for gone in one.stopped),
    )


def with_void_notes(measures: tuple[Measure, ...], findings: tuple[Finding, ...]) -> tuple[Measure, ...]:
    """The measures with a note beside every angle, work and power of a joint that a finding refuses."""
    void = {f.where: f.check.replace("_", " ") for f in findings if f.severity == "refuse" and f.check in VOIDS}
    if not void:
        return measures

    def noted(measure: Measure) -> Measure:
        joint = OF_JOINT.get(measure.quantity.split("_")[0], "")
        cause = void.get(f"{measure.side}_{joint}")
        if cause is None or not np.isfinite(measure.value):
            return measure
        return replace(measure, note="; ".join(filter(None, (f"not to be used: {cause}", measure.note))))

    return tuple(map(noted, measures))


def stop_moments(landing: Landing, stopped: tuple[Lost, ...]) -> Landing:
    """The landing without the joint loads that a verdict stops, and with the reasons; ground forces stay as
    measured."""
    if not stopped:
        return landing
    contact, settings = landing.contact, landing.settings
    force, moment = contact.force.copy(), contact.moment.copy()
    for gone in stopped:
        side = SIDES.index(gone.side)
        force[:, side, gone.start : gone.stop] = moment[:, side, gone.start : gone.stop] = np.nan
    loads = joint_loads(landing.poses, landing.body, landing.angles, force, moment, landing.motion)
    if settings.smoothing == "after":
        loads, _ = smooth_loads(loads, landing.angles, settings.cutoff, landing.poses.rate)
    throughout = {gone.side for gone in stopped if gone.start == 0 and gone.stop >= landing.recording.frames}
    upper = None if throughout == set(SIDES) else landing.upper
    return replace(landing, contact=replace(contact, lost=(*contact.lost, *stopped)), loads=loads, upper=upper)


VOIDS = ("impossible_angle", "joint_apart")
"""Checks whose refusal is of one joint, which they name as the place."""
OF_JOINT = {"ankle": "ankle", "rearfoot": "ankle", "knee": "knee", "hip": "hip"}
"""First word of a quantity to its joint."""
CHECKS: dict[str, Callable[[Landing], Judgement]] = {
    "same_person": check_person,
    "landmark_sides": check_sides,
    "static_posture": check_standing,
    "markers exchanged": check_exchanged,
    "cluster_shape": check_clusters,
    "joint_apart": check_joints,
    "impossible_angle": check_angles,
    "plate saturation": check_saturated,
    "foot_off_plate": check_on_plate,
    "pressure_off_foot": check_pressure,
    "plate_silent": check_silent,
    "implausible_peak": check_peak,
    "free_fall": check_fall,
    "step weight": check_step_weight,
    "filter": check_filter,
}
LAST: dict[str, Callable[[Landing, str], Judgement]] = {
    "out_of_step": check_step,
    "unexplained_force": check_unexplained,
}
"""Checks that read force against motion: what is wrong with either has been found by then."""

"""The lower back: its moments and net force, how far two ways to them disagree, and its curve."""

from __future__ import annotations

import numpy as np

from jointload.body.angles import joint_angles
from jointload.landing.landed import Landing, Result, Unsided, whole_window
from jointload.landing.measures.lower_back import lower_back, not_from_above
from jointload.landing.span import picked
from jointload.numerics.rotations import cardan_zxy, dot


def l5s1_extension_impulse(landing: Landing) -> Result:
    back = lower_back(landing)
    return landing.span().integral(np.maximum(-back.components[0], 0.0), 1.0 / landing.poses.rate), back.note


def l5s1_extension_moment_peak(landing: Landing) -> Result:
    back = lower_back(landing)
    return landing.span().peak(-back.components[0]), back.note


def l5s1_lateral_bend_moment_peak(landing: Landing) -> Result:
    back, span = lower_back(landing), landing.span()
    moment = back.components[1]
    above, below = span.peak(moment), span.peak(-moment)
    return np.where(above >= below, above, -below), back.note


def l5s1_compression_peak(landing: Landing) -> Result:
    back = lower_back(landing)
    up_pelvis = landing.poses.of("pelvis")[0][:, 1, ..., whole_window(landing)]
    return landing.span().peak(dot(back.force, up_pelvis)), back.note


def l5s1_moment_disagreement(landing: Landing) -> Result:
    """Root mean square difference of the extension moment from the feet up and from the head down."""
    back = lower_back(landing)
    value = landing.span().root_mean_square(back.apart)
    if landing.drawn is not None or np.isfinite(value):
        return value
    return value, not_from_above(landing) or back.note or "one of the two ways has gaps"


def lordosis_standing(landing: Landing) -> Result:
    if not {"trunk", "pelvis"} <= set(landing.body.standing):
        return float("nan"), "the trunk has no frame"
    return cardan_zxy(landing.body.standing_rotation("l5s1"))[0]


def lordosis_at(moment: str) -> Unsided:
    """At 'touchdown', or at the 'force_peak' of all plates together."""

    def value(landing: Landing) -> Result:
        angles, span = landing.angles, landing.span()
        total = span.cut(landing.contact.total[..., :: landing.recording.samples_per_frame])
        if angles.zero != "anatomical":
            angles = joint_angles(landing.poses, landing.body, "anatomical")
        flexion = angles.of("l5s1", "flexion")
        if moment == "touchdown":
            return -picked(flexion, landing.touchdown_frames())
        known = span.known(total)
        found = np.where(known, -picked(flexion, span.place_of_largest(total)), np.nan)
        return found, "" if np.all(known) else "the total force is not known throughout"

    return value

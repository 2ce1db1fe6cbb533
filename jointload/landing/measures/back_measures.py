"""The lower back: its moments and net force, how far two ways to them disagree, and its curve."""

from __future__ import annotations

import numpy as np

from jointload.body.angles import joint_angles
from jointload.landing.landed import Landing, Result, Unsided, largest, whole_window
from jointload.landing.measures.lower_back import lower_back, not_from_above
from jointload.numerics.rotations import cardan_zxy, dot
from jointload.numerics.signals import integral


def l5s1_extension_impulse(landing: Landing) -> Result:
    back = lower_back(landing)
    return float(integral(np.maximum(-back.components[0], 0.0), 1.0 / landing.poses.rate)), back.note


def l5s1_extension_moment_peak(landing: Landing) -> Result:
    back = lower_back(landing)
    return largest(-back.components[0]), back.note


def l5s1_lateral_bend_moment_peak(landing: Landing) -> Result:
    back = lower_back(landing)
    moment = back.components[1]
    known = moment.size > 0 and np.isfinite(moment).all()
    return float(moment[np.argmax(np.abs(moment))]) if known else float("nan"), back.note


def l5s1_compression_peak(landing: Landing) -> Result:
    back = lower_back(landing)
    up_pelvis = landing.poses.of("pelvis")[0][:, 1, whole_window(landing)]
    return largest(dot(back.force, up_pelvis)), back.note


def l5s1_moment_disagreement(landing: Landing) -> Result:
    """Root mean square difference of the extension moment from the feet up and from the head down."""
    back = lower_back(landing)
    if back.apart.size and np.isfinite(back.apart).all():
        return float(np.sqrt(np.mean(back.apart**2)))
    return float("nan"), not_from_above(landing) or back.note or "one of the two ways has gaps"


def lordosis_standing(landing: Landing) -> Result:
    if not {"trunk", "pelvis"} <= set(landing.body.standing):
        return float("nan"), "the trunk has no frame"
    return float(cardan_zxy(landing.body.standing_rotation("l5s1"))[0])


def lordosis_at(moment: str) -> Unsided:
    """At 'touchdown', or at the 'force_peak' of all plates together."""

    def value(landing: Landing) -> Result:
        frame = landing.touchdown_frame() if moment == "touchdown" else _frame_of_largest_force(landing)
        if frame is None:
            return float("nan"), "the total force is not known throughout"
        angles = landing.angles
        if angles.zero != "anatomical":
            angles = joint_angles(landing.poses, landing.body, "anatomical")
        return -float(angles.of("l5s1", "flexion")[frame])

    return value


def _frame_of_largest_force(landing: Landing) -> int | None:
    window = whole_window(landing)
    total = landing.contact.total[:: landing.recording.samples_per_frame][window]
    return window.start + int(np.argmax(total)) if total.size and np.isfinite(total).all() else None

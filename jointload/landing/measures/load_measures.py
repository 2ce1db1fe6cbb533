"""What the joints bore: moment peaks and impulses, work, power, net joint forces."""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import Array
from jointload.landing.landed import Landing, Result, Sided
from jointload.numerics.rotations import dot

MOMENT_PEAKS = {
    "ankle_dorsiflexion_moment_peak": ("ankle", "dorsiflexion", "external", 1.0),
    "ankle_inversion_moment_peak": ("ankle", "inversion", "internal", 1.0),
    "ankle_eversion_moment_peak": ("ankle", "inversion", "internal", -1.0),
    "knee_flexion_moment_peak": ("knee", "flexion", "external", 1.0),
    "knee_adduction_moment_peak": ("knee", "adduction", "external", 1.0),
    "knee_abduction_moment_peak": ("knee", "adduction", "external", -1.0),
    "hip_flexion_moment_peak": ("hip", "flexion", "external", 1.0),
    "hip_adduction_moment_peak": ("hip", "adduction", "external", 1.0),
}
"""Quantity -> joint, named rotation, whether the load or the body's answer to it is meant, and 1 or -1 for its sign."""


def moment_peak(joint: str, rotation: str, kind: str, sign: float) -> Sided:
    """Largest joint moment [N m] over the landing, of the side that `sign` turns upwards."""

    def value(landing: Landing, side: str) -> Result:
        span = landing.span(side)
        return span.peak(sign * span.cut(landing.loads.of(f"{side}_{joint}", rotation, kind)))

    return value


def impulse(joint: str, rotation: str, sign: float = 1.0) -> Sided:
    """Integral [N m s] of one side of a joint moment over the landing."""

    def value(landing: Landing, side: str) -> Result:
        span = landing.span(side)
        moment = sign * span.cut(landing.loads.of(f"{side}_{joint}", rotation))
        return span.integral(np.maximum(moment, 0.0), 1.0 / landing.poses.rate)

    return value


def _power(landing: Landing, joint: str, side: str) -> Array:
    """(W,) [W] over the landing of one foot."""
    return landing.span(side).cut(landing.loads.power[landing.loads.joints.index(f"{side}_{joint}")])


def work_negative(joint: str) -> Sided:
    """Work [J] that a joint takes up over the landing, below zero."""

    def value(landing: Landing, side: str) -> Result:
        power = _power(landing, joint, side)
        return landing.span(side).integral(np.minimum(power, 0.0), 1.0 / landing.poses.rate)

    return value


def power_absorbed_peak(joint: str) -> Sided:
    """Largest power [W] that a joint takes up, below zero."""
    return lambda landing, side: -landing.span(side).peak(-_power(landing, joint, side))


def along(landing: Landing, joint: str, segment: str) -> Array:
    """(F,) [N] component of a joint's net force along a segment's long axis."""
    return dot(landing.loads.force[:, landing.loads.joints.index(joint)], landing.poses.of(segment)[0][:, 1])


def knee_compression_peak(landing: Landing, side: str) -> Result:
    span = landing.span(side)
    return span.peak(-span.cut(along(landing, f"{side}_knee", f"{side}_shank")))

"""Achilles tendon force from the ankle's moment and an arm that changes with the ankle's angle."""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import Array
from jointload.loads.tissue.muscle import polynomial, pulling, within
from jointload.modeldata import load_model

CM = 0.01


def achilles_arm(dorsiflexion: Array) -> Array:
    """Arm [m] of the Achilles tendon about the ankle; NaN beyond 50 degrees of plantar- and 40 of dorsiflexion.

    r = -0.5910 + 0.08297 t - 0.0002606 t^2  [cm],  t = 90 - dorsiflexion  [deg]:  longer in plantarflexion

    dorsiflexion : any shape [rad], from a right angle between sole and shank
    Reference: Self and Paine (2001) Med Sci Sports Exerc 33:1338-1344, FROM MEMORY (models/tissue/achilles.toml).
    """
    arm = load_model("tissue", "achilles").content["arm"]
    angle = within(np.rad2deg(dorsiflexion), arm["dorsiflexion_low"], arm["dorsiflexion_high"])
    return CM * polynomial(arm["polynomial_cm"], 90.0 - angle)


def achilles_force(dorsiflexion_moment: Array, dorsiflexion: Array, arm_scale: float | Array = 1.0) -> Array:
    """Force [N] in the Achilles tendon: F = M / (scale r), where it alone answers the external dorsiflexion moment.

    dorsiflexion_moment : external (..., F) [N m];  dorsiflexion : (..., F) [rad];  arm_scale : share of the arm
    Zero where the moment is a plantarflexion moment. Other plantarflexors carry a part, and muscles in front of the
    shin add to the tendon's load: neither is in it. NaN where the arm is.
    """
    return pulling(dorsiflexion_moment, achilles_arm(dorsiflexion) * arm_scale)

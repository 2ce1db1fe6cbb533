"""Achilles tendon force from the ankle's moment and an arm that changes with the ankle's angle."""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import Array
from jointload.loads.tissue.muscle import pulling, within
from jointload.loads.tissue.spreads import Factors, tissue_spreads
from jointload.modeldata import load_model

CM = 0.01


def achilles_arm(dorsiflexion: Array, growth: float | Array | None = None) -> Array:
    """Arm [m] of the Achilles tendon about the ankle; NaN beyond 50 degrees of plantar- and 40 of dorsiflexion.

    r = 4.54 (1 - g x)  [cm],  x = dorsiflexion  [deg]:  longer in plantarflexion

    dorsiflexion : any shape [rad], from a right angle between sole and shank
    growth : g [1/deg], its likeliest value where None
    Reference: between Manal et al. (2013) Physiol Rep 1:e00139 and Maganaris et al. (2000) Eur J Appl Physiol 83:363,
    under load (models/tissue/achilles.toml).
    """
    arm = load_model("tissue", "achilles").content["arm"]
    angle = within(np.rad2deg(dorsiflexion), arm["dorsiflexion_low"], arm["dorsiflexion_high"])
    growth = tissue_spreads()["achilles_growth"].value if growth is None else growth
    return np.asarray(CM * arm["right_angle_cm"] * (1.0 - growth * angle))


def achilles_force(dorsiflexion_moment: Array, dorsiflexion: Array, factors: Factors) -> Array:
    """Force [N] in the Achilles tendon: F = M / (s r), where it alone answers the external dorsiflexion moment.

    dorsiflexion_moment : external (..., F) [N m];  dorsiflexion : (..., F) [rad]
    factors : values or draws (D, 1) of models/tissue, of which achilles_arm is s and achilles_growth the arm's g
    Zero where the moment is a plantarflexion moment. Other plantarflexors carry a part, and muscles in front of the
    shin add to the tendon's load: neither is in it. NaN where the arm is.
    """
    arm = achilles_arm(dorsiflexion, factors["achilles_growth"]) * factors["achilles_arm"]
    return pulling(dorsiflexion_moment, arm)

"""What a measured landing tells of a foot on its insole, and what the mechanics predicts of the same numbers.

Every number is the mean over the landing weighted by the vertical force, so that no single frame decides.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from jointload.insole.limb.pouring import pour_again
from jointload.insole.limb.response import FootPlace, Settled, Standing, pressure_centre, respond
from jointload.intake.recording import SIDES, Array
from jointload.intake.rider import G
from jointload.landing.landed import Landing
from jointload.modeldata import load_model

OBSERVED = (
    "rearfoot_roll", "pressure_centre_medial", "tibial_rotation", "knee_adduction_moment", "hip_adduction_moment",
)  # fmt: skip
"""In the order of every array with an axis of five [rad, m, rad, N m, N m]."""


def force_weights(landing: Landing, side: str) -> Array:
    """(W,) weights that add up to one: the vertical force above the contact threshold."""
    vertical = landing.contact.force[1, SIDES.index(side), landing.window(side)]
    vertical = np.where(vertical > landing.settings.contact_threshold, vertical, 0.0)
    return np.asarray(vertical / vertical.sum())


def observe(landing: Landing, side: str, place: FootPlace) -> Array:
    """(5,) OBSERVED of one measured landing: roll of the foot over the floor, centre of pressure in the foot's axes,
    shank against foot, external moments."""
    window, weights = landing.window(side), force_weights(landing, side)
    frames = np.arange(window.start, window.stop)
    medial_sign = -1.0 if side == "right" else 1.0
    right = landing.poses.of(f"{side}_foot")[0][:, 2]
    series = (
        medial_sign * np.arcsin(np.clip(right[1, window], -1.0, 1.0)),
        pressure_centre(landing, side, place, frames)[1],
        -landing.angles.of(f"{side}_ankle", "internal_rotation")[window],
        landing.loads.of(f"{side}_knee", "adduction")[window],
        landing.loads.of(f"{side}_hip", "adduction")[window],
    )
    return np.array([np.where(weights > 0, one, 0.0) @ weights for one in series])


def predicted(landing: Landing, standing: Standing, settled: Settled) -> Array:
    """(D, 5) change of OBSERVED that the mechanics expects of the drawn persons, their own answer among it."""
    side, weights = standing.side, force_weights(landing, standing.side)
    response = respond(standing, settled, landing.window(side))
    poured = pour_again(landing, side, response.with_none_first())
    shank = -poured.angles.of(f"{side}_ankle", "internal_rotation")
    knee, hip = (poured.person.of(f"{side}_{joint}", "adduction") for joint in ("knee", "hip"))
    rows = [response.roll, response.medial, *(series[1:] - series[:1] for series in (shank, knee, hip))]
    return np.stack([one @ weights for one in rows], axis=1)


def scatter(repeats: Sequence[Array], mass: float) -> Array:
    """(5,) standard deviation between landings of one condition: the rider's own, pooled over conditions (n, 5) each,
    and the printed one for as many degrees of freedom as models/insole_response/trials.toml gives it."""
    model = load_model("insole_response", "trials").content
    units = {"deg": np.deg2rad(1.0), "mm": 1e-3, "Nm/kg": mass}
    usual = np.array([model["scatter"][name] * units[model["scatter"][f"{name}_unit"]] for name in OBSERVED])
    squares, freedom = model["prior"]["landings"] * usual**2, float(model["prior"]["landings"])
    for rows in repeats:
        squares = squares + np.sum((rows - rows.mean(axis=0)) ** 2, axis=0)
        freedom += len(rows) - 1
    return np.asarray(np.sqrt(squares / freedom))


def mass_of(landing: Landing) -> float:
    return landing.weight / G

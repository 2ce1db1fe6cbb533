"""Loads on the knee's surfaces from its net moments and force: behind the kneecap, and between thigh and shank.

One muscle group answers the flexion moment; co-contraction is absent, so every force is a lower bound.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from jointload.intake.recording import Array
from jointload.loads.tissue.muscle import polynomial, pulling, within
from jointload.loads.tissue.spreads import Factors
from jointload.modeldata import load_model

MM2 = 1e-6


@dataclass(frozen=True, eq=False)
class KneeTissue:
    """Tissue loads of one knee, each (..., F).

    quadriceps, patellofemoral : force [N];  patellofemoral_stress [Pa]
    compression, medial, lateral : of the tibial plateau [N]; lateral (medial) is 0 where it lifts off and a ligament
    or muscle on that side holds the rest
    """

    quadriceps: Array
    patellofemoral: Array
    patellofemoral_stress: Array
    compression: Array
    medial: Array
    lateral: Array


def knee_tissue(
    flexion_moment: Array, adduction_moment: Array, flexion: Array, net_compression: Array, factors: Factors
) -> KneeTissue:
    """Every tissue load of a knee.

    flexion_moment, adduction_moment : external (F,) [N m];  flexion : (F,) [rad];  net_compression : (F,) [N]
    factors : values or draws (D, 1) of models/tissue; results are then (F,) or (D, F)
    """
    quadriceps = pulling(flexion_moment, quadriceps_arm(flexion) * factors["quadriceps_arm"])
    behind = patellofemoral_force(quadriceps, flexion, factors["patellofemoral_ratio"])
    pressed = net_compression + pulling(flexion_moment, factors["patellar_tendon_arm"])
    medial, lateral = compartments(pressed, adduction_moment, factors["contact_distance"])
    return KneeTissue(
        quadriceps=quadriceps,
        patellofemoral=behind,
        patellofemoral_stress=patellofemoral_stress(behind, flexion, factors["patellofemoral_area"]),
        compression=pressed,
        medial=medial,
        lateral=lateral,
    )


def quadriceps_arm(flexion: Array) -> Array:
    """Effective arm [m] of the quadriceps: knee extension moment per quadriceps force.

    r = 0.046 + 2.8e-4 x - 1.3e-5 x^2 + 8.0e-8 x^3  [m],  x [deg]

    flexion : any shape [rad], 0 to 90 degrees, NaN outside
    Often printed with 0.046 (m) beside coefficients for mm; here all are in metres. 15 % above imaging at 50 degrees.
    Reference: fit to van Eijden et al. (1986) J Biomech 19:219-229, FROM MEMORY (models/tissue/knee.toml).
    """
    rule = load_model("tissue", "knee").content["quadriceps_arm"]
    return polynomial(rule["polynomial_m"], _degrees(flexion, rule))


def patellofemoral_ratio(flexion: Array) -> Array:
    """Force on the back of the kneecap per quadriceps force.

    k = (0.462 + 1.47e-3 x - 3.84e-5 x^2) / (1 - 1.62e-2 x + 1.55e-4 x^2 - 6.98e-7 x^3),  x [deg]

    flexion : any shape [rad], 0 to 90 degrees, NaN outside
    Reference: fit to van Eijden et al. (1986) J Biomech 19:219-229, FROM MEMORY (models/tissue/knee.toml).
    """
    rule = load_model("tissue", "knee").content["patellofemoral_ratio"]
    x = _degrees(flexion, rule)
    return polynomial(rule["numerator"], x) / polynomial(rule["denominator"], x)


def patellofemoral_force(quadriceps: Array, flexion: Array, scale: float | Array = 1.0) -> Array:
    """F = k(flexion) F_quadriceps [N]; zero without quadriceps force, whatever the angle."""
    ratio = patellofemoral_ratio(flexion) * scale
    return np.where(quadriceps == 0.0, 0.0, ratio * quadriceps)


def contact_area(flexion: Array) -> Array:
    """Contact area [m2] behind the kneecap, straight lines between printed values; NaN outside 0 to 90 degrees.

    Reference: Powers, Lilley and Lee (1998) Clin Biomech 13:616-624, FROM MEMORY (models/tissue/knee.toml).
    """
    table = load_model("tissue", "knee").content["patellofemoral_area"]
    x = within(np.rad2deg(flexion), table["flexion"][0], table["flexion"][-1])
    return MM2 * np.interp(x, table["flexion"], table["area_mm2"])


def patellofemoral_stress(force: Array, flexion: Array, area_scale: float | Array = 1.0) -> Array:
    """Mean stress [Pa] behind the kneecap: force over contact area."""
    return np.where(force == 0.0, 0.0, force / (contact_area(flexion) * area_scale))


def compartments(compression: Array, adduction_moment: Array, contact_distance: float | Array) -> tuple[Array, Array]:
    """Medial and lateral part [N] of a compression: F/2 + M/d and F/2 - M/d.

    adduction_moment : external (..., F) [N m];  contact_distance : between the two contacts [m]
    Where one part would pull, that side lifts off: it is 0, and the pull is a ligament's or muscle's at the same
    distance, so that the other part keeps its formula and is more than the whole compression.
    Reference: balance of a beam on two supports, as in models/tissue/knee.toml.
    """
    half, turned = 0.5 * compression, adduction_moment / contact_distance
    return np.maximum(half + turned, 0.0), np.maximum(half - turned, 0.0)


def _degrees(flexion: Array, rule: dict[str, Any]) -> Array:
    return within(np.rad2deg(flexion), rule["flexion_low"], rule["flexion_high"])

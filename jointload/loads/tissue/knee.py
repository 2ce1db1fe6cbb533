"""Loads on the knee's surfaces from its net moments and force: behind the kneecap, and between thigh and shank.

One muscle group answers the flexion moment; co-contraction is absent, so every force is a lower bound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.intake.recording import Array
from jointload.loads.tissue.muscle import pulling, within
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
    quadriceps = pulling(flexion_moment, quadriceps_arm(flexion, factors["quadriceps_arm"]))
    behind = patellofemoral_force(quadriceps, flexion, factors["patellofemoral_ratio"])
    pressed = net_compression + pulling(flexion_moment, patellar_tendon_arm(flexion, factors["patellar_tendon_arm"]))
    medial, lateral = compartments(pressed, adduction_moment, factors["contact_distance"])
    return KneeTissue(
        quadriceps=quadriceps,
        patellofemoral=behind,
        patellofemoral_stress=patellofemoral_stress(behind, flexion, factors["patellofemoral_area"]),
        compression=pressed,
        medial=medial,
        lateral=lateral,
    )


def quadriceps_arm(flexion: Array, place: float | Array = 1.0) -> Array:
    """Effective arm [m] of the quadriceps: knee extension moment per quadriceps force.

    flexion : any shape [rad], 0 to 140 degrees, NaN outside; beyond `measured_flexion` low and high are a bound
    place : 0 at the table's low, 1 at its value, 2 at its high
    Reference: judged from Im et al. (2015) J Biomech, by imaging from 10 to 50 degrees, and others that
    models/tissue/knee.toml names.
    """
    return _between("quadriceps_arm", flexion, place)


def patellar_tendon_arm(flexion: Array, place: float | Array = 1.0) -> Array:
    """Arm [m] of the patellar tendon about the knee, shorter in a bent one.

    flexion, place : as for the quadriceps; beyond 0 to 140 degrees the arm at that end is held, as it changes little
    Reference: imaging at rest to 60 degrees (Arch Bone Jt Surg 2020, PMC7547162), low and high from moving and cadaver
    knees that models/tissue/knee.toml names.
    """
    return _between("patellar_tendon_arm", flexion, place, held=True)


def patellofemoral_ratio(flexion: Array, place: float | Array = 1.0) -> Array:
    """Force on the back of the kneecap per quadriceps force.

    flexion, place : as for the arm
    Reference: from the ratio of tendon forces in Buff et al. (1988) J Biomech 21:17; beyond 90 degrees without the part
    that the quadriceps tendon bears, a third at 120 (Huberti and Hayes 1984, PMID 6725318; models/tissue/knee.toml).
    """
    return _between("patellofemoral_ratio", flexion, place)


def patellofemoral_force(quadriceps: Array, flexion: Array, place: float | Array = 1.0) -> Array:
    """F = k(flexion) F_quadriceps [N]; zero without quadriceps force, whatever the angle."""
    return np.where(quadriceps == 0.0, 0.0, patellofemoral_ratio(flexion, place) * quadriceps)


def contact_area(flexion: Array, place: float | Array = 1.0) -> Array:
    """Contact area [m2] behind the kneecap.

    flexion, place : as for the arm
    Reference: Besier et al. (2005) J Orthop Res 23:345, to 60 degrees (models/tissue/knee.toml).
    """
    return MM2 * _between("patellofemoral_area", flexion, place)


def patellofemoral_stress(force: Array, flexion: Array, place: float | Array = 1.0) -> Array:
    """Mean stress [Pa] behind the kneecap: force over contact area.  place : that of the area"""
    return np.where(force == 0.0, 0.0, force / contact_area(flexion, place))


def compartments(compression: Array, adduction_moment: Array, contact_distance: float | Array) -> tuple[Array, Array]:
    """Medial and lateral part [N] of a compression: F/2 + M/d and F/2 - M/d.

    adduction_moment : external (..., F) [N m];  contact_distance : between the two contacts [m]
    Where one part would pull, that side lifts off: it is 0, and the pull is a ligament's or muscle's at the same
    distance, so that the other part keeps its formula and is more than the whole compression.
    Reference: balance of a beam on two supports, as in models/tissue/knee.toml.
    """
    half, turned = 0.5 * compression, adduction_moment / contact_distance
    return np.maximum(half + turned, 0.0), np.maximum(half - turned, 0.0)


def known_flexion() -> tuple[float, float]:
    """First and last angle [deg] of the tables behind the kneecap."""
    angles = load_model("tissue", "knee").content["quadriceps_arm"]["flexion"]
    return angles[0], angles[-1]


def measured_flexion() -> float:
    """Angle [deg] beyond which the tables bound a load from both sides."""
    return float(load_model("tissue", "knee").content["beyond"]["flexion"])


def _between(table: str, flexion: Array, place: float | Array, held: bool = False) -> Array:
    """A table's entry at each flexion, straight lines between its angles, at a place between its low and high; NaN
    beyond its angles, or the entry at that end where they are held."""
    rows = load_model("tissue", "knee").content[table]
    angle = np.rad2deg(flexion)
    x = angle if held else within(angle, rows["flexion"][0], rows["flexion"][-1])
    low, value, high = (np.interp(x, rows["flexion"], rows[end]) for end in ("low", "value", "high"))
    beside = np.asarray(place) - 1.0
    return np.asarray(value + np.minimum(beside, 0.0) * (value - low) + np.maximum(beside, 0.0) * (high - value))

"""Which two wedge trials would narrow a prediction most, by the calibration's own model."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from jointload.insole.calibration.observation import ANSWERED, force_weights, scatter
from jointload.insole.calibration.traits import given_the_others
from jointload.insole.fitting.parameters import BASE, PARAMETERS
from jointload.insole.fitting.slopes import Slopes
from jointload.insole.limb.response import own_answers
from jointload.insole.shape.asked import USUAL_BASE
from jointload.insole.shape.geometry import Wedge
from jointload.intake.recording import Array
from jointload.landing.landed import Landing
from jointload.modeldata import load_model

DEGREES = (3.0, 6.0)
"""Sizes of the wedges that may be proposed (choice; studies use 3 to 9 deg)."""
SERIES = tuple(f"{name}_peak" for name in ANSWERED[3:])
"""Readings whose series an observation needs."""


@dataclass(frozen=True)
class NextTrials:
    """Two shapes to record beside the flat insole, and what share of the prediction's standard deviation is expected
    to be left."""

    wedges: tuple[Wedge, Wedge]
    landings: int
    share_left: float


def next_trials(landing: Landing, slopes: Slopes, target: Array, most: float, mass: float) -> tuple[NextTrials, ...]:
    """Pairs from a small named set, the most telling first.

    target : (D,) the change to be known;  most : steepest wedge [rad];  mass : [kg]
    Nothing is drawn: a Gaussian's variance after a trial does not depend on what the trial will show.
    """
    side = slopes.standing.side
    wedges = [
        Wedge(np.deg2rad(sign * degrees), side, length)
        for length in ("full", "heel")
        for degrees in DEGREES
        for sign in (-1.0, 1.0)
        if np.deg2rad(degrees) <= most + 1e-9
    ]
    landings = int(load_model("insole_response", "trials").content["next_trials"]["landings"])
    shared = (np.eye(2) + 1.0) / landings
    noise = np.kron(shared, np.diag(scatter([], mass)[: len(ANSWERED)] ** 2))
    seen = [_observed(landing, slopes, wedge) for wedge in wedges]
    out = []
    for one, other in combinations(range(len(wedges)), 2):
        covariance = np.cov(np.column_stack([target, seen[one], seen[other]]).T)
        covariance[1:, 1:] += noise
        hidden = np.arange(len(covariance)) == 0
        _, left = given_the_others(np.zeros(len(covariance)), covariance, np.zeros(len(covariance)), hidden)
        share = float(np.sqrt(max(left[0, 0], 0.0) / covariance[0, 0]))
        out.append(NextTrials((wedges[one], wedges[other]), landings, share))
    return tuple(sorted(out, key=lambda pair: pair.share_left))


def _observed(landing: Landing, slopes: Slopes, wedge: Wedge) -> Array:
    """(D, Q) change of ANSWERED on a wedge, to first order."""
    values = np.zeros((1, len(PARAMETERS)))
    values[0, :2] = wedge.angle, wedge.angle if wedge.length == "full" else 0.0
    values[0, BASE] = USUAL_BASE
    amounts = slopes.parts.amounts(values)
    weights = force_weights(landing, slopes.standing.side)
    features = slopes.parts.own_features(amounts)[0]
    answers = own_answers(slopes.persons, features)
    ways = {"rearfoot_roll": "roll", "pressure_centre_medial": "medial", "tibial_rotation": "tibial_rotation"}
    rows = [
        np.tensordot(amounts[0], slopes.foot[way], axes=1) + answers[name][:, None] for name, way in ways.items()
    ]  # fmt: skip
    for name in SERIES:
        _, slope, own = slopes.series[name]
        rows.append(np.tensordot(amounts[0], slope, axes=1) + np.tensordot(features, own, axes=1))
    return np.stack([row @ weights for row in rows], axis=1)

"""Which two wedge trials would narrow a prediction most, by the calibration's own model."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from jointload.insole.calibration.observation import force_weights, scatter
from jointload.insole.calibration.traits import given_the_others
from jointload.insole.fitting.parameters import BASE, PARAMETERS
from jointload.insole.fitting.slopes import Slopes
from jointload.insole.limb.response import personal_size
from jointload.insole.shape.asked import USUAL_BASE
from jointload.insole.shape.geometry import Wedge
from jointload.intake.recording import Array
from jointload.landing.landed import Landing
from jointload.modeldata import load_model

DEGREES = (3.0, 6.0)
"""Sizes of the wedges that may be proposed (choice; studies use 3 to 9 deg)."""
SERIES = ("knee_adduction_moment_peak", "hip_adduction_moment_peak")
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
    noise = np.kron(shared, np.diag(scatter([], mass) ** 2))
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
    """(D, 5) change of OBSERVED on a wedge, to first order."""
    values = np.zeros((1, len(PARAMETERS)))
    values[0, :2] = wedge.angle, wedge.angle if wedge.length == "full" else 0.0
    values[0, BASE] = USUAL_BASE
    amounts = slopes.parts.amounts(values)
    weights = force_weights(landing, slopes.standing.side)
    size = float(personal_size(float(slopes.parts.wedges(amounts)[0])))
    foot = [np.tensordot(amounts[0], slopes.foot[name], axes=1) for name in ("roll", "medial", "tibial_rotation")]
    loads = []
    for name in SERIES:
        _, slope, arm = slopes.series[name]
        loads.append(np.tensordot(amounts[0], slope, axes=1) + size * arm)
    return np.stack([rows @ weights for rows in (*foot, *loads)], axis=1)

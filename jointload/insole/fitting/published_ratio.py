"""Published wedge ratios, the check on the mechanics."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from jointload.errors import ModelDataError, known_names
from jointload.insole.shape.geometry import Wedge
from jointload.intake.recording import Array
from jointload.modeldata import load_model


@dataclass(frozen=True, eq=False)
class PublishedResponse:
    """Draws (D,) of what published wedge studies saw while the foot bore load.

    roll : [rad] of the rearfoot, inversion positive;  shift : [m] of the centre of pressure, medial positive
    tibial_rotation : [rad] of the shank about its long axis, internal positive
    """

    roll: Array
    shift: Array
    tibial_rotation: Array


def published_response(wedge: Wedge, task: str, draws: int, seed: int) -> PublishedResponse:
    """Draw the response to a wedge from published ratios alone.

    task : 'landing', 'running' or 'walking', which chooses the published rearfoot ratio. Source:
    models/insole_response/wedge_ratio.toml.
    """
    model = load_model("insole_response", "wedge_ratio").content
    if task not in model["rearfoot_roll"]:
        raise ModelDataError(
            f"no rearfoot ratio for {task!r}; the known tasks are {known_names(model['rearfoot_roll'])}"
        )
    part = "heel_only" if wedge.length == "heel" else "full_length"
    rows = (model["rearfoot_roll"][task], model["centre_of_pressure_shift"][part], model["tibial_rotation"])
    chance = np.random.default_rng(seed).random((3, draws))
    ratio, shift, coupling = (_quantile(row, u) for row, u in zip(rows, chance, strict=True))
    roll = ratio * wedge.angle
    return PublishedResponse(roll=roll, shift=shift * 1e-3 * np.rad2deg(wedge.angle), tibial_rotation=-coupling * roll)


def _quantile(row: dict[str, Any], chance: Array) -> Array:
    """Values of a row's distribution, cut off at its low and high, at uniform chances in (0, 1)."""
    from scipy.special import ndtr, ndtri

    mean, sd, ends = row["mean"], row["sd"], np.array([row["low"], row["high"]], dtype=float)
    logs = row["distribution"] == "log_normal"
    if logs:
        sd = np.sqrt(np.log1p((sd / mean) ** 2))
        mean = np.log(mean) - sd**2 / 2
        with np.errstate(divide="ignore"):
            ends = np.log(ends)
    low, high = ndtr((ends - mean) / sd)
    value = mean + sd * ndtri(low + chance * (high - low))
    return np.asarray(np.exp(value) if logs else value)

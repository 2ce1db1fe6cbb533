"""A material as a sheet in a landing: its modulus by speed, cold and wear, its batch, and the doubt of its law.

Arrays are (M, H, D): materials, heights, draws.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.foot.heel_pad import StiffeningColumn
from jointload.insole.shape.compression import POOR_FIT
from jointload.insole.shape.materials import BOTTOMED_STIFFNESS, Material
from jointload.intake.recording import Array
from jointload.loads.tissue.spreads import Factors
from jointload.modeldata import load_model

UNKNOWN_SPREAD = 0.4
"""Spread of a modulus whose row gives none (choice, that of an insole's foam)."""
UNKNOWN_LOSS = 0.4
"""Energy loss of a material whose row gives none (choice), for its stiffness in a quick landing alone."""


@dataclass(frozen=True)
class Circumstances:
    """temperature : of the layer [deg C], NaN for that of a room;  worn : walked and landed upon [km]
    cup : a close cup or counter holds the heel's pad together
    """

    temperature: float = math.nan
    worn: float = 0.0
    cup: bool = False

    def __post_init__(self) -> None:
        known = load_model("foot", "layer").content["circumstances"]
        low, high = known["lowest_temperature"], known["highest_temperature"]
        for what, value, ends, unit in (
            ("temperature of the layer", self.temperature, (low, high), "deg C"),
            ("way a layer was worn", self.worn, (0.0, known["most_km"]), "km"),
        ):
            if not (math.isnan(value) or ends[0] <= value <= ends[1]):
                expected, found = f"{ends[0]:g} to {ends[1]:g} {unit}", f"{value:g} {unit}"
                raise SettingError(expected_found(what, expected, found, "the command", "nothing was published beyond"))


def stiffening_in(
    material: Material, quickness: Array, circumstances: Circumstances, unknown: Factors, seed: int
) -> Array:
    """(D, 1) factor of a material's modulus in a landing over that of its test: speed, cold and wear.

    speed : (t_test / t_landing)^m, m measured at two speeds, else a share of  2/pi tan(delta)  with the loss share L of
    a loop from zero giving  L = (pi/2) tan(delta) / (1 + (pi/4) tan(delta));  both relations from memory
    quickness : (D, 1) [s] from touch to the largest force
    """
    tested = 10.0 ** unknown["slow_time"] if math.isnan(material.loading_time) else material.loading_time
    exponent = unknown["rate_share"] * most_exponent(material.energy_loss)
    if not math.isnan(material.rate_exponent):
        spread = 0.0 if math.isnan(material.rate_sd) else material.rate_sd
        exponent = material.rate_exponent + spread * _normal(f"rate {material.name}", quickness.size, seed)
    known = load_model("foot", "layer").content["circumstances"]
    cold = 0.0 if math.isnan(circumstances.temperature) else known["room_temperature"] - circumstances.temperature
    chill = np.maximum(1.0 + unknown["cold"] * cold / known["cold_span"], 0.5)
    worn = 1.0 + unknown["worn"] * circumstances.worn / known["worn_km"]
    return np.asarray((tested / quickness) ** exponent * chill * worn)


def most_exponent(energy_loss: float) -> float:
    """Exponent of speed, were all of a material's loss of the kind that depends on it."""
    loss = UNKNOWN_LOSS if math.isnan(energy_loss) else energy_loss
    tangent = loss / (0.5 * math.pi - 0.25 * math.pi * loss)
    return 2.0 / math.pi * tangent


def layer_columns(
    materials: Sequence[Material], heights: Sequence[float], stiffer: Array, unknown: Factors, seed: int
) -> StiffeningColumn:
    """(M, H, D, 1) layers; each material's batch is drawn from its spread, log-normal, by its own name.

    stiffer : (M, D, 1) of each material, by `stiffening_in`
    """
    modulus = np.stack([m.modulus * _batch(m, stiffer.shape[1], seed) for m in materials]) * stiffer
    strain = np.array([m.stiffening_strain for m in materials])[:, None, None, None] * unknown["stiffening"]
    height = np.asarray(heights, dtype=float)[None, :, None, None]
    return StiffeningColumn(height, modulus[:, None], np.minimum(strain, 1.0))


def _batch(material: Material, draws: int, seed: int) -> Array:
    spread = UNKNOWN_SPREAD if math.isnan(material.modulus_cv) else material.modulus_cv
    sigma = math.sqrt(math.log1p(spread**2))
    return np.asarray(np.exp(sigma * _normal(f"batch{material.name}", draws, seed) - 0.5 * sigma**2))


def _normal(name: str, draws: int, seed: int) -> Array:
    """(D, 1) standard normal, in equal slices of probability."""
    from scipy.special import ndtri

    rng = np.random.default_rng([seed, *name.encode()])
    chance = (rng.permutation(draws) + rng.random(draws)) / draws
    return np.asarray(ndtri(chance))[:, None]


def law_form(material: Material, unknown: Factors) -> Array:
    """(D, 1) factor of what a layer spares: for the law of the pad, and that of a foam which the law of two numbers
    misses, or may miss."""
    known = material.kind != "foam" or material.law_misfit <= POOR_FIT
    return np.asarray(unknown["pad_form"] * (1.0 if known else unknown["law_form"]))


def bottomed(pressure: Array, layer: StiffeningColumn) -> Array:
    """1 where a layer is BOTTOMED_STIFFNESS times as stiff under a pressure [Pa] as unloaded, else 0."""
    bound = layer.modulus * layer.stiffening_strain * (math.sqrt(BOTTOMED_STIFFNESS) - 1.0)
    return np.asarray((pressure > bound).astype(float))

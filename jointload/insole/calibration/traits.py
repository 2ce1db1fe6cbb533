"""Traits of a person that trials can tell, stiffnesses and own answers, and the linear-Gaussian learning of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.insole.bed.bed import Mask, Person
from jointload.insole.bed.person import TILT_PARTS, own_key
from jointload.insole.limb.response import tibial_coupling
from jointload.intake.recording import Array

LEARNED = ("roll_stiffness", "twist_stiffness", "swing_stiffness")
"""Stiffnesses that trials tell, by their logarithms [log Nm/rad]."""
BED = ("tissue_pressure", "insole_modulus", "midsole_modulus")
"""What the bed is made of, by the logarithms [log Pa]; told by measured pressures, and a little by the rest."""
OWN_LEARNED = (
    "rearfoot_roll", "pressure_centre_medial", "tibial_rotation", "force_line", "knee_line", "hip_line",
    "knee_adduction", "hip_adduction",
)  # fmt: skip
OWN_TRAITS = tuple((name, part) for name in OWN_LEARNED for part in TILT_PARTS)
"""One person's own answers that trials tell, part by part [rad or m at 5 deg]."""
MECHANICAL = (*(f"log {name}" for name in (*LEARNED, *BED)), "force following", "log tibial coupling")
TRAITS = (*MECHANICAL, *(f"own {name}, {part}" for name, part in OWN_TRAITS))
"""In the order of every array with an axis of traits, K."""


def traits_of(person: Person) -> Array:
    """(D, K) of the drawn persons."""
    values = person.values
    columns = [np.log(values[name]) for name in (*LEARNED, *BED)]
    columns += [values["force_following"], np.log(tibial_coupling(values))]
    return np.stack([*columns, *(values[own_key(name, part)] for name, part in OWN_TRAITS)], axis=1)


def with_traits(person: Person, traits: Array) -> Person:
    """The drawn persons with other traits (D, K), all else kept."""
    old = person.values
    found = dict(zip(TRAITS, traits.T, strict=True))
    turned = np.exp(found["log tibial coupling"]) / tibial_coupling(old)
    values = old | {name: np.exp(found[f"log {name}"]) for name in (*LEARNED, *BED)}
    values |= {"force_following": found["force following"], "tibial_transfer": old["tibial_transfer"] * turned}
    values |= {own_key(name, part): found[f"own {name}, {part}"] for name, part in OWN_TRAITS}
    joints = replace(
        person.joints, roll=values["roll_stiffness"], twist=values["twist_stiffness"], swing=values["swing_stiffness"]
    )
    materials = replace(person.materials, **{name: values[name] for name in BED})
    return Person(materials, joints, values)


def moved_to(person: Person, mean: Array, covariance: Array) -> Person:
    """The drawn persons moved so that their traits have exactly this mean (K,) and covariance (K, K), each person
    keeping its place among them."""
    traits = traits_of(person)
    centred = traits - traits.mean(axis=0)
    own = np.linalg.cholesky(np.cov(traits.T))
    new = np.linalg.cholesky(covariance)
    return with_traits(person, mean + centred @ np.linalg.inv(own).T @ new.T)


@dataclass(frozen=True, eq=False)
class LinearModel:
    """y = offset + slope traits + what the traits do not tell; offset (m,), slope (m, K), scatter (m, m)."""

    offset: Array
    slope: Array
    scatter: Array

    @classmethod
    def over(cls, traits: Array, values: Array) -> LinearModel:
        """By least squares over drawn persons: traits (D, K), values (D, m), D well above m.

        The scatter's inverse is what learning uses; of few persons it would come out too sure, so the scatter is raised
        by n / (n - m - 1) with n degrees of freedom (Hartlap, Simon and Schneider 2007 Astron Astrophys 464:399).
        """
        design = np.column_stack([np.ones(len(traits)), traits])
        solution, *_ = np.linalg.lstsq(design, values, rcond=None)
        left = values - design @ solution
        freedom = len(traits) - design.shape[1]
        scatter = np.asarray(left.T @ left) / (freedom - values.shape[1] - 1)
        return cls(np.asarray(solution[0]), np.asarray(solution[1:].T), scatter)

    def of(self, rows: Mask) -> LinearModel:
        """Of some of the numbers, rows (m,)."""
        return LinearModel(self.offset[rows], self.slope[rows], self.scatter[np.ix_(rows, rows)])

    def mean(self, traits: Array) -> Array:
        return np.asarray(self.offset + self.slope @ traits)

    def covariance(self, traits: Array) -> Array:
        """Of y for traits of this covariance (K, K)."""
        return np.asarray(self.slope @ traits @ self.slope.T + self.scatter)


def learned(model: LinearModel, mean: Array, covariance: Array, seen: Array, noise: Array) -> tuple[Array, Array]:
    """Mean and covariance of the traits after y = seen (m,) with noise (m, m): the linear-Gaussian update."""
    gain = np.linalg.solve(model.covariance(covariance) + noise, model.slope @ covariance).T
    left = np.eye(len(mean)) - gain @ model.slope
    spread = left @ covariance @ left.T + gain @ (model.scatter + noise) @ gain.T
    return mean + gain @ (seen - model.mean(mean)), 0.5 * (spread + spread.T)


def given_the_others(mean: Array, covariance: Array, seen: Array, hidden: Mask) -> tuple[Array, Array]:
    """Mean and covariance of the hidden part of a Gaussian (m,) when all else of it is `seen`; hidden : (m,)."""
    known = ~hidden
    weights = np.linalg.solve(covariance[np.ix_(known, known)], covariance[np.ix_(known, hidden)]).T
    expected = mean[hidden] + weights @ (seen - mean)[known]
    spread = covariance[np.ix_(hidden, hidden)] - weights @ covariance[np.ix_(known, hidden)]
    return expected, spread

"""Five traits of a person that wedge trials can tell, and the linear-Gaussian learning of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.insole.bed.bed import Mask, Person
from jointload.insole.limb.response import tibial_coupling
from jointload.intake.recording import Array

TRAITS = ("log roll stiffness", "log twist stiffness", "force following", "log tibial coupling", "personal arm")
"""In the order of every array with an axis of five traits [log Nm/rad, log Nm/rad, 1, log 1, m at 5 deg]."""
ARM = TRAITS.index("personal arm")


def traits_of(person: Person) -> Array:
    """(D, 5) of the drawn persons."""
    values = person.values
    return np.stack(
        [
            np.log(values["roll_stiffness"]),
            np.log(values["twist_stiffness"]),
            values["force_following"],
            np.log(tibial_coupling(values)),
            values["personal_answer"] * values["personal_lever_arm"],
        ],
        axis=1,
    )


def with_traits(person: Person, traits: Array) -> Person:
    """The drawn persons with other traits (D, 5), all else kept."""
    old = person.values
    turned = np.exp(traits[:, 3]) / tibial_coupling(old)
    values = old | {
        "roll_stiffness": np.exp(traits[:, 0]),
        "twist_stiffness": np.exp(traits[:, 1]),
        "force_following": traits[:, 2],
        "tibial_transfer": old["tibial_transfer"] * turned,
        "personal_answer": traits[:, ARM] / old["personal_lever_arm"],
    }
    joints = replace(person.joints, roll=values["roll_stiffness"], twist=values["twist_stiffness"])
    return replace(person, joints=joints, values=values)


def moved_to(person: Person, mean: Array, covariance: Array) -> Person:
    """The drawn persons moved so that their traits have exactly this mean (5,) and covariance (5, 5), each person
    keeping its place among them."""
    traits = traits_of(person)
    centred = traits - traits.mean(axis=0)
    own = np.linalg.cholesky(np.cov(traits.T))
    new = np.linalg.cholesky(covariance)
    return with_traits(person, mean + centred @ np.linalg.inv(own).T @ new.T)


@dataclass(frozen=True, eq=False)
class LinearModel:
    """y = offset + slope traits + what the traits do not tell; offset (m,), slope (m, 5), scatter (m, m)."""

    offset: Array
    slope: Array
    scatter: Array

    @classmethod
    def over(cls, traits: Array, values: Array) -> LinearModel:
        """By least squares over drawn persons: traits (D, 5), values (D, m), D well above m.

        The scatter's inverse is what learning uses; of few persons it would come out too sure, so the scatter is raised
        by n / (n - m - 1) with n degrees of freedom (Hartlap, Simon and Schneider 2007 Astron Astrophys 464:399).
        """
        design = np.column_stack([np.ones(len(traits)), traits])
        solution, *_ = np.linalg.lstsq(design, values, rcond=None)
        left = values - design @ solution
        freedom = len(traits) - design.shape[1]
        scatter = np.asarray(left.T @ left) / (freedom - values.shape[1] - 1)
        return cls(np.asarray(solution[0]), np.asarray(solution[1:].T), scatter)

    def mean(self, traits: Array) -> Array:
        return np.asarray(self.offset + self.slope @ traits)

    def covariance(self, traits: Array) -> Array:
        """Of y for traits of this covariance (5, 5)."""
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

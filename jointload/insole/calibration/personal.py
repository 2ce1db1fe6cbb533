"""Calibration to one rider from landings on known shapes: learned traits, and how well they foretell a condition left
out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.insole.bed.bed import Person
from jointload.insole.calibration.observation import OBSERVED, mass_of, observe, predicted, scatter
from jointload.insole.calibration.traits import ARM, LinearModel, given_the_others, learned, moved_to, traits_of
from jointload.insole.limb.change import Least
from jointload.insole.limb.response import Standing, settle, settle_flat, stand, tilt
from jointload.insole.shape.asked import Given, case_of, shape_text
from jointload.intake.recording import Array, Finding
from jointload.landing.landed import Landing

ROUNDS = 2
"""Linearisations, each over the population's spread, the second about what the first has learned (INSOLE.md)."""
MISS = 2.0
"""Standard units of the knee adduction moment beyond which a condition left out is missed (INSOLE.md)."""
FAR_MISS = 3.0
"""The same for all other numbers, of which there are many (choice)."""
KNEE = "knee_adduction_moment"
LEAST_CONDITIONS = 2
"""Shapes beside the flat insole from which on a claim about one person is made."""
CALIBRATION_DRAWS, DRAWS_A_NUMBER = 100, 5
"""Persons over whom the mechanics is linearised, at least, and for every measured number (choice, for speed)."""


@dataclass(frozen=True, eq=False)
class Condition:
    """Landings of one rider on one shape; landings : observed numbers (n, 5), the order of OBSERVED."""

    shape: Given
    landings: Array


@dataclass(frozen=True, eq=False)
class Trials:
    """All measured conditions of one foot: landings on the flat insole (n, 5), and on every other shape."""

    side: str
    flat: Array
    conditions: tuple[Condition, ...]


@dataclass(frozen=True)
class LeftOut:
    """One number of a condition that was left out, foretold from the others: change against flat, in SI units, and the
    miss in standard units."""

    condition: str
    quantity: str
    foretold: float
    measured: float
    spread: float

    @property
    def miss(self) -> float:
        return abs(self.measured - self.foretold) / self.spread


@dataclass(frozen=True, eq=False)
class Personal:
    """One rider's traits (5,) with their covariance, before (population) and after the trials.

    left_out : the check;  widened : factor by which the spread of the personal arm was raised because of a miss
    tested : lowest and highest wedge [rad] that was measured, the flat insole among them
    """

    side: str
    conditions: tuple[str, ...]
    landings: int
    mean: Array
    covariance: Array
    prior_mean: Array
    prior_covariance: Array
    left_out: tuple[LeftOut, ...]
    widened: float
    tested: tuple[float, float]

    def covers(self, wedge: float) -> bool:
        """Whether a wedge [rad] lies between the measured ones; beyond, nothing personal is claimed."""
        slack = np.deg2rad(0.1)
        return self.tested[0] - slack <= wedge <= self.tested[1] + slack

    def of(self, person: Person) -> Person:
        """Population draws turned into draws of this rider."""
        return moved_to(person, self.mean, self.covariance)

    @property
    def missed(self) -> tuple[LeftOut, ...]:
        """What the check could not foretell."""
        return tuple(row for row in self.left_out if row.miss > (MISS if row.quantity == KNEE else FAR_MISS))

    @property
    def findings(self) -> tuple[Finding, ...]:
        foot = f"{self.side} foot"
        told = f"{len(self.conditions)} shapes and the flat insole, {self.landings} landings"
        if not self.missed:
            evidence = f"{told}; every shape left out was foretold from the others"
            return (Finding("personal_calibration", "pass", foot, evidence, "nothing beyond them is claimed"),)
        worst = max(self.missed, key=lambda row: row.miss)
        number = worst.quantity.replace("_", " ")
        evidence = f"{told}; left out, {worst.condition} was missed by {worst.miss:.1f} standard units ({number})"
        wider = f"the spread of the personal arm was raised {self.widened:.1f} times; " if self.widened > 1 else ""
        advice = f"{wider}repeat that shape, or read the personal interval with doubt"
        return (Finding("personal_calibration", "warn", foot, evidence, advice),)


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of a rider beside one landing: a calibration, and the smallest changes that the recording, and the
    rider's own landings, can show."""

    personal: Personal | None = None
    recording_least: Least = field(default_factory=dict)
    rider_least: Least = field(default_factory=dict)

    def claim(self, side: str, wedge: float) -> Personal | None:
        """The calibration, where it may speak of a wedge [rad] under this foot."""
        fits = self.personal is not None and self.personal.side == side and self.personal.covers(wedge)
        return self.personal if fits else None


def measured(landings: Sequence[tuple[Given | None, Landing]], side: str, base: Landing) -> Trials:
    """Landings by the shape they were made on, None for the flat insole; `base` is a flat one, too.

    Feet and axes are those of `base`, whose standing trial serves all.
    """
    place = stand(base, side, 1, 1).place
    flat = [observe(base, side, place)]
    by_shape: dict[str, tuple[Given, list[Array]]] = {}
    for shape, landing in landings:
        if side not in landing.events.sides or not np.isfinite(seen := observe(landing, side, place)).all():
            raise SettingError(
                expected_found(
                    "measured condition", f"a landing with moments of side {side!r}", "none", landing.recording.name,
                    "take it off the table of conditions",
                )
            )  # fmt: skip
        if shape is None:
            flat.append(seen)
        else:
            by_shape.setdefault(shape_text(shape), (shape, []))[1].append(seen)
    conditions = tuple(Condition(shape, np.stack(rows)) for shape, rows in by_shape.values())
    return Trials(side, np.stack(flat), conditions)


def calibrate(base: Landing, trials: Trials, seed: int = 1) -> Personal:
    """Learn one rider's traits. SettingError for fewer than two shapes beside the flat insole: one condition alone
    never makes a personal claim."""
    if len(trials.conditions) < LEAST_CONDITIONS:
        raise SettingError(
            expected_found(
                "measured conditions", "landings on two shapes or more beside the flat insole",
                f"{len(trials.conditions)}", "the table of conditions",
                "one condition alone never makes a personal claim; record another shape, or leave the table out",
            )
        )  # fmt: skip
    draws = max(CALIBRATION_DRAWS, DRAWS_A_NUMBER * len(OBSERVED) * len(trials.conditions))
    population = stand(base, trials.side, draws, seed)
    prior = traits_of(population.person)
    mean, covariance = prior.mean(axis=0), np.cov(prior.T)
    seen, noise = _changes(trials, mass_of(base))
    standing, learned_mean, learned_covariance = population, mean, covariance
    for _ in range(ROUNDS):
        model = _model(base, standing, trials)
        learned_mean, learned_covariance = learned(model, mean, covariance, seen, noise)
        standing = replace(population, person=moved_to(population.person, learned_mean, covariance))
    left_out = _left_out(model, mean, model.covariance(covariance) + noise, seen, trials)
    widened = max(1.0, *(row.miss / MISS for row in left_out if row.quantity == KNEE))
    wider = np.where(np.arange(len(mean)) == ARM, widened, 1.0)
    wedges = [tilt(population.bed, case_of(c.shape, population.place.length).after) for c in trials.conditions]
    return Personal(
        side=trials.side,
        conditions=tuple(shape_text(condition.shape) for condition in trials.conditions),
        landings=len(trials.flat) + sum(len(condition.landings) for condition in trials.conditions),
        mean=learned_mean,
        covariance=learned_covariance * np.outer(wider, wider),
        prior_mean=mean,
        prior_covariance=covariance,
        left_out=left_out,
        widened=float(widened),
        tested=(min(0.0, *wedges), max(0.0, *wedges)),
    )


def _changes(trials: Trials, mass: float) -> tuple[Array, Array]:
    """Mean changes against flat (m,) of all conditions, and their covariance (m, m): they share the flat landings."""
    spread = scatter([trials.flat, *(condition.landings for condition in trials.conditions)], mass) ** 2
    flat = trials.flat.mean(axis=0)
    changes = np.concatenate([condition.landings.mean(axis=0) - flat for condition in trials.conditions])
    counts = np.array([len(condition.landings) for condition in trials.conditions])
    shared = np.diag(1.0 / counts) + 1.0 / len(trials.flat)
    return np.asarray(changes), np.asarray(np.kron(shared, np.diag(spread)))


def _model(base: Landing, standing: Standing, trials: Trials) -> LinearModel:
    """All conditions' changes over the drawn persons' traits."""
    columns, usable = [], np.full(len(standing.person.joints.roll), True)
    for condition in trials.conditions:
        case = case_of(condition.shape, standing.place.length)
        settled = settle(standing, case.after, settle_flat(standing, case.before))
        values = np.full((usable.size, len(OBSERVED)), np.nan)
        values[settled.usable] = predicted(base, standing, settled)
        columns.append(values)
        usable &= settled.usable
    return LinearModel.over(traits_of(standing.person)[usable], np.hstack(columns)[usable])


def _left_out(model: LinearModel, mean: Array, covariance: Array, seen: Array, trials: Trials) -> tuple[LeftOut, ...]:
    """Every condition foretold from the others."""
    out, every = [], np.arange(len(seen)) // len(OBSERVED)
    for c, condition in enumerate(trials.conditions):
        hidden = every == c
        expected, spread = given_the_others(model.mean(mean), covariance, seen, hidden)
        rows = zip(OBSERVED, expected, seen[hidden], np.sqrt(np.diag(spread)), strict=True)
        text = shape_text(condition.shape)
        out += [LeftOut(text, name, float(e), float(s), float(sd)) for name, e, s, sd in rows]
    return tuple(out)

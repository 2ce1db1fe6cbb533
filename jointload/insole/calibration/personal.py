"""Calibration to one rider from landings on known shapes: learned traits, and how well they foretell a condition left
out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.insole.bed.bed import Person
from jointload.insole.bed.person import OWN_PARTS, own_key, own_spreads
from jointload.insole.calibration.observation import (
    ANSWERED,
    OBSERVED,
    mass_of,
    observe,
    own_effects,
    predicted,
    scatter,
)
from jointload.insole.calibration.traits import (
    MECHANICAL,
    OWN_TRAITS,
    TRAITS,
    LinearModel,
    given_the_others,
    learned,
    moved_to,
    traits_of,
)
from jointload.insole.limb.change import Least
from jointload.insole.limb.response import own_features
from jointload.insole.limb.standing import Standing, settle, settle_flat, stand, tilt
from jointload.insole.shape.asked import Given, case_of, shape_text
from jointload.intake.recording import Array, Finding
from jointload.landing.landed import Landing
from jointload.modeldata import load_model

ROUNDS = 2
"""Linearisations, each over the population's spread, the second about what the first has learned."""
MISS = 2.0
"""Standard units of the knee adduction moment beyond which a condition left out is missed."""
FAR_MISS = 3.0
"""The same for all other numbers, of which there are many (choice)."""
KNEE = "knee_adduction_moment"
TRUSTED = 4.0
"""As many left-out shapes as are taken to have been foretold with misses of chance, beside those at hand (choice)."""
SAID = 1.5
"""A spread that was raised by less is not told (choice): some number is raised by more in one of six riders who answer
by the model's own law, and in two of three who answer by none."""
LEFTOVER_STREAM = 77
LEAST_CONDITIONS = 2
"""Shapes beside the flat insole from which on a claim about one person is made."""
CALIBRATION_DRAWS, DRAWS_A_NUMBER = 100, 3
"""Persons over whom the mechanics is linearised, at least, and for every measured number (choice, for speed)."""


@dataclass(frozen=True, eq=False)
class Condition:
    """Landings of one rider on one shape; landings : observed numbers (n, Q), the order of OBSERVED."""

    shape: Given
    landings: Array


@dataclass(frozen=True, eq=False)
class Trials:
    """All measured conditions of one foot: landings on the flat insole (n, Q), and on every other shape."""

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
    """One rider's traits (K,) with their covariance, after the trials.

    left_out : the check;  widened : observed number -> factor by which the spread of its own answers was raised because
    of misses;  beside : every measured number against the mechanics alone
    tested : lowest and highest wedge [rad] that was measured, the flat insole among them
    """

    side: str
    conditions: tuple[str, ...]
    landings: int
    mean: Array
    covariance: Array
    left_out: tuple[LeftOut, ...]
    widened: Mapping[str, float]
    beside: tuple[LeftOut, ...]
    tested: tuple[float, float]
    seed: int = 1

    def covers(self, wedge: float) -> bool:
        """Whether a wedge [rad] lies between the measured ones; beyond, nothing personal is claimed."""
        slack = np.deg2rad(0.1)
        return self.tested[0] - slack <= wedge <= self.tested[1] + slack

    def of(self, person: Person) -> Person:
        """Population draws turned into draws of this rider, with what one more shape may lie off its own law."""
        moved = moved_to(person, self.mean, self.covariance)
        share, values = load_model("insole_response", "trials").content["leftover"]["share"], dict(moved.values)
        random = np.random.default_rng([self.seed, LEFTOVER_STREAM])
        for name, spread in own_spreads().items():
            wider = self.widened.get(_quantity_of(name), 1.0)
            key = own_key(name, "unsigned")
            values[key] = values[key] + wider * share * spread * random.standard_normal(values[key].size)
        return replace(moved, values=values)

    @property
    def missed(self) -> tuple[LeftOut, ...]:
        """What the check could not foretell."""
        return tuple(row for row in self.left_out if row.miss > (MISS if row.quantity == KNEE else FAR_MISS))

    @property
    def findings(self) -> tuple[Finding, ...]:
        foot = f"{self.side} foot"
        told = f"{len(self.conditions)} shapes and the flat insole, {self.landings} landings"
        return (self._checked(foot, told), *self._against_mechanics(foot))

    def _checked(self, foot: str, told: str) -> Finding:
        """Whether shapes left out were foretold from the others."""
        if not self.missed:
            evidence = f"{told}; every shape left out was foretold from the others"
            return Finding("personal_calibration", "pass", foot, evidence, "nothing beyond them is claimed")
        worst = max(self.missed, key=lambda row: row.miss)
        number = worst.quantity.replace("_", " ")
        evidence = f"{told}; left out, {worst.condition} was missed by {worst.miss:.1f} standard units ({number})"
        raised = [f"{name.replace('_', ' ')} {k:.1f} times" for name, k in self.widened.items() if k > SAID]
        wider = f"intervals were widened ({', '.join(raised)}); " if raised else ""
        return Finding("personal_calibration", "warn", foot, evidence, f"{wider}repeat that shape, or read with doubt")

    def _against_mechanics(self, foot: str) -> tuple[Finding, ...]:
        """That this rider answers otherwise than the mechanics, where its landings say so."""
        against = {row.quantity: row for row in sorted(self.beside, key=lambda row: row.miss) if row.miss > FAR_MISS}
        if not against:
            return ()
        told = [
            f"{row.quantity.replace('_', ' ')} on {row.condition} {row.miss:.1f} standard units off"
            for row in against.values()
        ]
        evidence = f"this rider answers otherwise than the mechanics alone: {'; '.join(told)}"
        advice = "the rider's own answer is what is told; the interval of the mechanics is not this rider's"
        return (Finding("beside_mechanics", "pass", foot, evidence, advice),)


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
        if (
            side not in landing.events.sides
            or not np.isfinite((seen := observe(landing, side, place))[: len(ANSWERED)]).all()
        ):
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
    mean, covariance = prior_of(prior)
    seen, noise = changes_of(trials, mass_of(base))
    told = np.isfinite(seen)
    shapes = [condition.shape for condition in trials.conditions]
    standing, learned_mean, learned_covariance = population, mean, covariance
    for _ in range(ROUNDS):
        model = model_of(base, standing, shapes)
        learned_mean, learned_covariance = learned(
            model.of(told), mean, covariance, seen[told], noise[np.ix_(told, told)]
        )
        standing = replace(population, person=moved_to(population.person, learned_mean, covariance))
    left_out = left_out_of(model, (mean, covariance), (seen, noise), shapes)
    widened = widening(left_out)
    wedges = [tilt(population.bed, case_of(c.shape, population.place.length).after) for c in trials.conditions]
    return Personal(
        side=trials.side,
        conditions=tuple(shape_text(condition.shape) for condition in trials.conditions),
        landings=len(trials.flat) + sum(len(condition.landings) for condition in trials.conditions),
        mean=learned_mean,
        covariance=wider_covariance(learned_covariance, widened),
        left_out=left_out,
        widened=widened,
        beside=beside_mechanics(model, (mean, covariance), (seen, noise), shapes),
        tested=(min(0.0, *wedges), max(0.0, *wedges)),
        seed=seed,
    )


def prior_of(traits: Array) -> tuple[Array, Array]:
    """Mean (K,) and covariance (K, K) of drawn traits (D, K), which are drawn apart from each other."""
    return traits.mean(axis=0), np.diag(traits.var(axis=0, ddof=1))


def _own_of(traits: Sequence[str]) -> list[str]:
    """The own answer that each trait is a part of, empty for stiffnesses and the like."""
    own = {f"own {name}, {part}": name for name, part in OWN_TRAITS}
    return [own.get(trait, "") for trait in traits]


def _quantity_of(own: str) -> str:
    """The observed number by which an own answer is widened."""
    return {"force_line": KNEE, "knee_line": KNEE, "hip_line": "hip_adduction_moment"}.get(own, own)


def widening(left_out: Sequence[LeftOut]) -> dict[str, float]:
    """Observed number -> factor above 1 by which its own answers' spread is raised: the root of the mean square of the
    misses of shapes left out, TRUSTED further ones of chance among them."""
    out = {}
    for name in dict.fromkeys(row.quantity for row in left_out):
        squares = [row.miss**2 for row in left_out if row.quantity == name]
        factor = float(np.sqrt((TRUSTED + sum(squares)) / (TRUSTED + len(squares))))
        if factor > 1.0:
            out[name] = factor
    return out


def wider_covariance(covariance: Array, widened: Mapping[str, float]) -> Array:
    """(K, K) of the traits with the spread of missed numbers' own answers raised."""
    wider = np.array([widened.get(_quantity_of(name), 1.0) for name in _own_of(TRAITS)])
    return covariance * np.outer(wider, wider)


def changes_of(trials: Trials, mass: float) -> tuple[Array, Array]:
    """Mean changes against flat (m,) of all conditions, and their covariance (m, m): they share the flat landings."""
    spread = scatter([trials.flat, *(condition.landings for condition in trials.conditions)], mass) ** 2
    flat = trials.flat.mean(axis=0)
    changes = np.concatenate([condition.landings.mean(axis=0) - flat for condition in trials.conditions])
    counts = np.array([len(condition.landings) for condition in trials.conditions])
    shared = np.diag(1.0 / counts) + 1.0 / len(trials.flat)
    return np.asarray(changes), np.asarray(np.kron(shared, np.diag(spread)))


def model_of(base: Landing, standing: Standing, shapes: Sequence[Given]) -> LinearModel:
    """All shapes' changes over the drawn persons' traits: of the mechanics by least squares, of the own answers as
    they are defined, with what one shape may lie off a rider's own law."""
    columns, usable = [], np.full(len(standing.person.joints.roll), True)
    effects, features = own_effects(base, standing), []
    for shape in shapes:
        case = case_of(shape, standing.place.length)
        settled = settle(standing, case.after, settle_flat(standing, case.before))
        values = np.full((usable.size, len(OBSERVED)), np.nan)
        values[settled.usable] = predicted(base, standing, settled)[0]
        columns.append(values)
        features.append(own_features(np.array(settled.slopes), np.array(settled.drop)))
        usable &= settled.usable
    traits, mechanical = traits_of(standing.person), len(MECHANICAL)
    told = LinearModel.over(traits[usable, :mechanical], np.hstack(columns)[usable])
    own = np.concatenate([_own_design(effects, one) for one in features])
    left = np.concatenate([_leftover(effects, one) for one in features])
    return LinearModel(told.offset, np.hstack((told.slope, own)), told.scatter + np.diag(left**2))


def _own_design(effects: dict[str, dict[str, float]], features: Array) -> Array:
    """(Q, k) change of every observed number per unit of OWN_TRAITS, for a shape with these own_features (4,)."""
    size = dict(zip(OWN_PARTS, features, strict=True))
    return np.array(
        [[effects.get(number, {}).get(name, 0.0) * size[part] for name, part in OWN_TRAITS] for number in OBSERVED]
    )


def _leftover(effects: dict[str, dict[str, float]], features: Array) -> Array:
    """(Q,) SD of what a shape's answer may lie off a rider's own law."""
    share = load_model("insole_response", "trials").content["leftover"]["share"]
    spreads, size = own_spreads(), float(features[OWN_PARTS.index("unsigned")])
    whole = (
        np.sqrt(sum((spreads[name] * effect) ** 2 for name, effect in effects.get(number, {}).items()))
        for number in OBSERVED
    )
    return share * size * np.array([float(one) for one in whole])


def left_out_of(
    model: LinearModel, traits: tuple[Array, Array], seen_and_noise: tuple[Array, Array], shapes: Sequence[Given]
) -> tuple[LeftOut, ...]:
    """Every condition foretold from the others."""
    (mean, covariance), (seen, noise) = traits, seen_and_noise
    out, every, told = [], np.arange(len(seen)) // len(OBSERVED), np.isfinite(seen)
    expected_all, whole = model.mean(mean)[told], (model.covariance(covariance) + noise)[np.ix_(told, told)]
    for c, shape in enumerate(shapes):
        hidden = (every == c)[told]
        expected, spread = given_the_others(expected_all, whole, seen[told], hidden)
        names = [OBSERVED[k % len(OBSERVED)] for k in np.flatnonzero((every == c) & told)]
        rows = zip(names, expected, seen[told][hidden], np.sqrt(np.diag(spread)), strict=True)
        text = shape_text(shape)
        out += [LeftOut(text, name, float(e), float(s), float(sd)) for name, e, s, sd in rows]
    return tuple(out)


def beside_mechanics(
    model: LinearModel, traits: tuple[Array, Array], seen_and_noise: tuple[Array, Array], shapes: Sequence[Given]
) -> tuple[LeftOut, ...]:
    """Every measured number against what the mechanics alone foretells of the population."""
    (mean, covariance), (seen, noise) = traits, seen_and_noise
    mechanics = covariance * (np.arange(len(mean)) < len(MECHANICAL))
    spread = np.sqrt(np.diag(model.covariance(mechanics) + noise))
    return tuple(
        LeftOut(shape_text(shapes[int(k) // len(OBSERVED)]), OBSERVED[k % len(OBSERVED)],
                float(model.mean(mean)[k]), float(seen[k]), float(spread[k]))
        for k in np.flatnonzero(np.isfinite(seen))
    )  # fmt: skip

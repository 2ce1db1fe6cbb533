"""The search for the shape whose worst answer is best: all shapes by one product each, limits as they stand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from jointload.foot.on_insole import ON_INSOLE
from jointload.insole.fitting.aim import BALL, KNEE, Limits, Rise, Target, rises, scale_of
from jointload.insole.fitting.laid import FeetSlopes, Laid, options
from jointload.insole.fitting.parameters import BASE, PARAMETERS, SLACK
from jointload.insole.fitting.slopes import Slopes
from jointload.insole.limb.change import INTERVAL
from jointload.insole.shape.asked import USUAL_BASE
from jointload.insole.shape.materials import Material
from jointload.insole.shape.parts import NO_CUP
from jointload.intake.recording import Array

UPPER, MIDDLE = INTERVAL[1], 0.5
"""Quantiles of the change over the drawn persons that a search may lower."""
ACTS = 0.02
"""A parameter acts when one of its ends changes the target by this share of the strongest one's change (choice)."""
PENALTY = 20.0
"""Cost of a limit exceeded by its own size, where a target is worth its value before (choice, far above any gain)."""
POPULATION, GENERATIONS, GENERATIONS_NEAR = 10, 45, 15
"""Size per parameter and length of the search (choice; longer ones find the same shapes), and of one that starts near
an answer."""
SIMPLER = 0.05
"""A part is left out when the target loses less than this share of its gain (choice)."""
STEP_ANGLE, STEP_HEIGHT = np.deg2rad(0.1), 1e-4
"""What a maker can cut [rad], [m] (choice)."""
EXCESS = 1e-9


@dataclass(frozen=True, eq=False)
class Problem:
    """One target under limits over the first-order answer of one foot.

    allowances : by what a rise is tightened, quantity -> amount in its own unit, after a full answer overran it
    posting : (lowest, highest) [rad], narrower than the limit where nothing personal is known beyond
    feet, laid : heel, ball and toes where they are aimed at, and the thin layers and the cup upon the insole
    """

    slopes: Slopes
    target: Target
    limits: Limits
    mass: float
    posting: tuple[float, float]
    allowances: Mapping[str, float]
    feet: FeetSlopes | None = None
    laid: Laid | None = None

    @property
    def low_high(self) -> tuple[Array, Array]:
        """(K,) ends of the parameters."""
        low, high = self.posting
        ends = [(low, high), (low, high), (0.0, self.limits.lift)]
        ends += [(self.slopes.parts.plain.minimum, self.limits.stack)]
        return tuple(np.array(end) for end in zip(*ends, strict=True))  # type: ignore[return-value]

    @property
    def flat(self) -> Array:
        """(K,) the flat insole of usual base, or as thick as the stack allows."""
        out = np.zeros(len(PARAMETERS))
        out[BASE] = min(USUAL_BASE, self.limits.stack)
        return out

    def flat_within(self, stack: float) -> Array:
        """(K,) the same, no thicker than thin layers leave room for within a stack [m]."""
        out = self.flat
        upon = 0.0 if self.laid is None else float(self.laid.heights.max())
        room = stack if not upon else np.floor((stack - upon - SLACK) / STEP_HEIGHT) * STEP_HEIGHT
        out[BASE] = max(min(out[BASE], room), self.slopes.parts.plain.minimum)
        return out

    @property
    def rises(self) -> tuple[Rise, ...]:
        before = {name: self.slopes.before(name) for name in KNEE}
        before |= {} if self.feet is None else {BALL: self.feet.before(BALL)}
        return rises(self.limits, self.target, before, self.mass)

    def target_changes(self, values: Array) -> Array:
        """(S, D) weighted change of the target, in its own unit where it is one quantity, else in shares."""
        amounts = self.slopes.parts.amounts(values)
        out = np.zeros((len(values), 1))
        for name, weight in self.target.weights:
            scale = 1.0 if self.target.single else scale_of(name, self.before(name), self.mass)
            out = out + weight * self.changes(name, amounts) / scale
        return np.asarray(out)

    def changes(self, quantity: str, amounts: Array) -> Array:
        """(S, D) change of one quantity on the shapes, as Slopes has it."""
        if quantity in ON_INSOLE:
            assert self.feet is not None
            return self.feet.changes(quantity, amounts, self.laid or self.feet.laid((), NO_CUP))
        return self.slopes.changes(quantity, amounts)

    def before(self, quantity: str) -> float:
        """The value before [SI]; 1 for a pressure whose changes are shares."""
        if quantity in ON_INSOLE:
            assert self.feet is not None
            return self.feet.before(quantity)
        return self.slopes.before(quantity)

    @property
    def worth(self) -> float:
        """What one unit of the target is worth in the search: its value before."""
        if not self.target.single:
            return 1.0
        (name,) = self.target.quantities
        return scale_of(name, self.before(name), self.mass)

    def overrun(self, values: Array, stack: float) -> Array:
        """(S, M) by how much every limit is exceeded, as a share of it; negative is room."""
        amounts = self.slopes.parts.amounts(values)
        upon = 0.0 if self.laid is None else self.laid.heights
        out = [*((self.slopes.parts.stack_heights(amounts) + upon) / stack - 1.0).T]
        for rise in self.rises:
            upper = _quantile(self.changes(rise.quantity, amounts), UPPER)
            most = max(rise.most, 1e-12)
            out.append((upper + self.allowances.get(rise.quantity, 0.0)) / most - 1.0)
        return np.stack(out, axis=1)

    @property
    def limit_words(self) -> tuple[str, ...]:
        stack = f"{1000 * self.limits.stack:g} mm"
        heights = (f"greatest height under the {place}, at most {stack}" for place in ("heel", "ball"))
        return (*heights, *(f"rise of the {rise.words}" for rise in self.rises))


def _quantile(changes: Array, share: float) -> Array:
    """(S,) np.quantile of (S, D), to the bit; its own checks take longer than so few numbers."""
    last = changes.shape[1] - 1
    below = int(share * last)
    part = share * last - below
    ranked = np.partition(changes, (below, min(below + 1, last), last), axis=1)
    low, high = ranked[:, below], ranked[:, min(below + 1, last)]
    between = low + (high - low) * part if part < 0.5 else high - (high - low) * (1.0 - part)
    return np.where(np.isnan(ranked[:, -1]), np.nan, between)


def acting(problem: Problem) -> tuple[int, ...]:
    """Parameters that act on the target; the base always, as posting stands on it."""
    low, high = problem.low_high
    ends = np.tile(problem.flat, (2 * len(low), 1))
    for k in range(len(low)):
        ends[2 * k, k], ends[2 * k + 1, k] = low[k], high[k]
    effect = np.abs(np.median(problem.target_changes(ends), axis=1)).reshape(-1, 2).max(axis=1)
    strong = effect > ACTS * effect.max()
    return tuple(k for k in range(len(low)) if (strong[k] and high[k] > low[k]) or k == BASE)


def with_layers(problem: Problem, materials: Sequence[Material], quantile: float, stack: float) -> Problem:
    """The problem with the thin layers and the cup that lower the target's part at heel, ball and toes most, first on
    the flat insole, thinned to what a stack leaves room for; the same where none of these is aimed at.

    Of several that serve alike the lowest, and a second layer or a cup only where it adds more than SIMPLER.
    """
    feet = problem.feet
    if feet is None:
        return problem
    lowest = problem.slopes.parts.plain.minimum

    def judged(laid: Laid) -> float:
        tried = replace(problem, laid=laid)
        values = tried.flat_within(stack)[None]
        over = np.maximum(tried.overrun(values, stack), 0.0).sum()
        return float(np.quantile(tried.target_changes(values), quantile) / problem.worth + PENALTY * over)

    best, gain = feet.laid((), NO_CUP), 0.0
    while True:
        found = [(judged(laid), laid) for laid in options(feet, materials, stack - lowest, problem.limits.cup, best)]
        most = min((each for each, _ in found), default=0.0)
        if most >= gain * (1.0 + SIMPLER) - 1e-12:
            return replace(problem, laid=best)
        alike = [(each, laid) for each, laid in found if each <= most * (1.0 - SIMPLER)]
        gain, best = min(alike, key=lambda one: (float(one[1].heights.sum()), one[0]))


def search(
    problem: Problem, quantile: float, stack: float, seed: int, free: tuple[int, ...], near: Array | None = None
) -> Array:
    """Parameters (K,) whose quantile of the target's change is lowest within the limits; the flat insole where no
    shape is better. near : parameters of a like problem, from which a shorter search starts"""
    low, high = (ends[list(free)] for ends in problem.low_high)
    flat = problem.flat_within(stack)
    high = np.where(np.array(free) == BASE, np.minimum(high, stack), high)
    start = (flat if near is None else near)[list(free)]
    generations = GENERATIONS if near is None else GENERATIONS_NEAR

    def whole(some: Array) -> Array:
        values = np.tile(flat, (some.shape[1], 1))
        values[:, list(free)] = some.T
        return values

    def cost(some: Array) -> Array:
        values = whole(some.reshape(len(free), -1))
        gain = _quantile(problem.target_changes(values), quantile) / problem.worth
        return gain + PENALTY * np.maximum(problem.overrun(values, stack), 0.0).sum(axis=1)

    best = _lowest(cost, low, high, start, generations, seed)
    return simplified(problem, cut(problem, whole(best[:, None])[0], stack, flat), quantile, stack, flat)


def _lowest(
    cost: Callable[[Array], Array], low: Array, high: Array, start: Array, generations: int, seed: int
) -> Array:
    """Where a cost of many places at once (N, S) -> (S,) is lowest between low and high (N,): a search of the whole,
    then downhill."""
    from scipy.optimize import differential_evolution, minimize

    width = high - low
    inside = np.clip(start, low + 1e-9 * width, high - 1e-9 * width)
    found = differential_evolution(
        cost, list(zip(low, high, strict=True)), popsize=POPULATION, maxiter=generations, tol=1e-4, polish=False,
        vectorized=True, updating="deferred", seed=np.random.default_rng(seed), x0=inside,
    )  # fmt: skip
    downhill = minimize(
        lambda share: float(cost((low + np.clip(share, 0.0, 1.0) * width)[:, None])[0]),
        (found.x - low) / width, method="Nelder-Mead",
        options={"maxfev": 60 * len(low), "xatol": 1e-3, "fatol": 1e-6},
    )  # fmt: skip
    return np.asarray(low + np.clip(downhill.x, 0.0, 1.0) * width if downhill.fun < found.fun else found.x)


def simplified(problem: Problem, values: Array, quantile: float, stack: float, flat: Array) -> Array:
    """Without the parts that hardly add to the target, the weakest first; `values` keep the limits."""

    def judged(one: Array) -> float:
        fits = problem.overrun(one[None], stack).max() <= EXCESS
        return float(np.quantile(problem.target_changes(one[None]), quantile)) if fits else np.inf

    best = judged(values)
    while added := [k for k in range(len(flat)) if values[k] != flat[k]]:
        without = [np.where(np.arange(len(flat)) == k, flat, values) for k in added]
        answers = [judged(one) for one in without]
        if min(answers) > best + SIMPLER * abs(best):
            break
        values = without[int(np.argmin(answers))]
    return values


def cut(problem: Problem, values: Array, stack: float, flat: Array) -> Array:
    """To what a maker can cut: the nearest step, or towards the flat insole until the limits are kept."""
    step, (low, high) = np.array([STEP_ANGLE, STEP_ANGLE, STEP_HEIGHT, STEP_HEIGHT]), problem.low_high
    for share in np.linspace(1.0, 0.0, 51):
        steps = np.round(share * (values - flat) / step) if share == 1.0 else np.fix(share * (values - flat) / step)
        out = np.clip(flat + steps * step, low, high)
        if problem.overrun(out[None], stack).max() <= EXCESS:
            return out
    return flat

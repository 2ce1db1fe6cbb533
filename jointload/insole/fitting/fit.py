"""The shape that serves one rider: searched to first order, confirmed by the full answer, judged at the worse end of
the interval."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from jointload.analysis import Analysis
from jointload.foot.on_insole import ON_INSOLE
from jointload.insole.calibration.knowledge import known_of
from jointload.insole.calibration.personal import Known
from jointload.insole.fitting.aim import ANGLE_SCALE, INVERSION, KNEE, Limits, Target, parse_target, scale_of
from jointload.insole.fitting.laid import FeetSlopes, Laid
from jointload.insole.fitting.next_trials import SERIES, NextTrials, next_trials
from jointload.insole.fitting.parameters import ANGLES, BASE, PARAMETERS, HeightParts
from jointload.insole.fitting.shape_search import (
    MIDDLE,
    STEP_ANGLE,
    STEP_HEIGHT,
    UPPER,
    Problem,
    acting,
    search,
    with_layers,
)
from jointload.insole.fitting.slopes import Slopes, slopes_of
from jointload.insole.fitting.whatif import AnswerDraws, answer_draws, answer_of, require_moments
from jointload.insole.limb.change import INTERVAL, Drawn, WhatIf
from jointload.insole.limb.feet import Borne
from jointload.insole.limb.standing import place_foot, settle, stand
from jointload.insole.shape.asked import Case, shape_text
from jointload.insole.shape.materials import Material, cushions
from jointload.insole.shape.shape import InsoleShape
from jointload.intake.recording import Array
from jointload.intake.rider import G

LEAST_GAIN = 0.02
"""Share of a value by which it must fall at the worse end of the interval to be called help (choice; thickness alone
gives about 1 % here, and no study saw it act)."""
LEAST_ANGLE = np.deg2rad(0.5)
"""The same for an angle [rad] (choice)."""
LEVELS = 5
"""Stack heights of the trade-off curve (choice)."""
SIZE = "even the best one changes it by too little to matter"
CERTAINTY = "the best one lowers it enough in the middle of the drawn persons, but not surely in one person"
CONFIRMATIONS = 4
"""Times that the search is repeated with tighter limits when the full answer overruns one."""
TOLERATED = 0.01
"""Share by which the full answer may overrun a limit."""
NEARLY = 0.03
"""A limit is named when this share of it or less is left."""


@dataclass(frozen=True)
class TradeOff:
    """The best shape within one stack height [m], to first order: change of the target (median, ends of one person's
    interval), in SI units, or in shares for a weighted set and for pressures."""

    stack: float
    shape: InsoleShape
    change: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Fit:
    """What a search within limits found under one foot.

    answer : the full answer of the shape, or of the one that is likeliest to help where none helps; None where every
    shape leaves the target alone
    helps : whether the target falls by enough at the worse end of the interval
    low, change, high : full answer of the target, as in TradeOff;  first_order : the same, by which it was found
    least : by what the target must fall to be called help, in the same unit
    limited_by : limits that are used up, in words;  left_out : parameters that hardly act on the target
    """

    target: Target
    limits: Limits
    side: str
    helps: bool
    verdict: str
    answer: WhatIf | None
    low: float
    change: float
    high: float
    least: float
    first_order: tuple[float, float, float]
    limited_by: tuple[str, ...]
    left_out: tuple[str, ...]
    trade_off: tuple[TradeOff, ...]
    trials: tuple[NextTrials, ...]
    known: Known
    draws: int
    seed: int

    @property
    def shape(self) -> InsoleShape | None:
        """The shape that helps, None where none does or where this rider's own landings differ by more."""
        if not self.helps or self.answer is None or _targets(self.answer, self.target, "below_rider"):
            return None
        return self.answer.shape


def fit(
    analysis: Analysis,
    side: str,
    target: Target | str,
    limits: Limits | None = None,
    draws: int = 200,
    seed: int = 1,
    known: Known | None = None,
    materials: Sequence[Material] | None = None,
) -> Fit:
    """Search the shape under one foot that lowers a target most at the upper end of one person's 95 % interval, within
    limits, against a flat insole of USUAL_BASE.

    materials : of thin layers, which serve heel, ball and toes; the shipped cushions without any
    The same seed gives the same answer. SettingError when this side has no moments, or not the number that is aimed at.
    """
    target = parse_target(target) if isinstance(target, str) else target
    limits, known = limits or Limits(), known or known_of(analysis)
    require_moments(analysis.landing, side)
    chosen = tuple(cushions().values() if materials is None else materials)
    task = _Task.of(analysis, side, target, limits, draws, seed, known, chosen)
    quantile = UPPER
    values, answer = task.confirmed(UPPER)
    least = task.least_gain
    if not answer.ends[2] <= -least:
        quantile = MIDDLE
        values, answer = task.confirmed(MIDDLE)
    helps = bool(answer.ends[2] <= -least)
    moves = bool(np.any(values != task.problem.flat))
    moves = moves or answer.case.after != task.slopes.parts.shape(task.problem.flat)
    first = _ends(task.laid(quantile).target_changes(values[None])[0])
    whole = answer.as_what_if()
    low, change, high = answer.ends
    return Fit(
        target=target,
        limits=limits,
        side=side,
        helps=helps,
        verdict=_verdict(helps, whole, target, limits_of_help(change, least)),
        answer=whole if moves else None,
        low=low,
        change=change,
        high=high,
        least=least,
        first_order=first,
        limited_by=task.used_up(task.laid(quantile), values, answer),
        left_out=tuple(PARAMETERS[k].replace("_", " ") for k in range(len(PARAMETERS)) if k not in task.free),
        trade_off=task.trade_off(quantile, values) if moves else (),
        trials=task.next_trials(values) if moves else (),
        known=known,
        draws=draws,
        seed=seed,
    )


@dataclass(frozen=True, eq=False)
class _Full:
    """The full answer of one shape: its draws, and what the target and the limited rises come to."""

    task: _Task
    case: Case
    drawn: AnswerDraws
    settled: object
    ends: tuple[float, float, float]

    def upper(self, quantity: str) -> float:
        """Upper end of one person's interval of a rise, in SI units, of a pressure as a share."""
        return float(np.quantile(_person(self.drawn.extremes, quantity), INTERVAL[1]))

    def as_what_if(self) -> WhatIf:
        task = self.task
        standing, known = task.slopes.standing, task.known
        numbers = (task.draws, task.seed)
        return answer_of(
            task.analysis.landing, standing, self.settled, self.case, self.drawn, numbers, known,  # type: ignore[arg-type]
            known.personal if task.personal else None,
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Task:
    """One fit: the problem, and the ways to its full answers."""

    analysis: Analysis
    problem: Problem
    slopes: Slopes
    free: tuple[int, ...]
    known: Known
    personal: bool
    draws: int
    seed: int
    borne: Borne
    materials: tuple[Material, ...]
    _laid: dict[tuple[float, float], Problem] = field(default_factory=dict)

    @classmethod
    def of(
        cls, analysis: Analysis, side: str, target: Target, limits: Limits, draws: int, seed: int, known: Known,
        materials: tuple[Material, ...],
    ) -> _Task:  # fmt: skip
        landing, personal = analysis.landing, known.personal
        own = personal is not None and personal.side == side
        standing = stand(landing, side, draws, seed, personal.of if personal is not None and own else None)
        parts = HeightParts.of(standing.bed, side, place_foot(landing, side).length)
        wanted = {*(set(target.quantities) - set(ON_INSOLE)), INVERSION, *KNEE, *SERIES}
        slopes = slopes_of(landing, standing, parts, sorted(wanted))
        low, high = -limits.posting, limits.posting
        if personal is not None and own:
            lowest, highest = np.round(np.array(personal.tested) / STEP_ANGLE) * STEP_ANGLE
            low, high = max(low, float(lowest)), min(high, float(highest))
        borne = Borne.of(analysis, side, draws)
        feet = FeetSlopes.of(borne, slopes, target.quantities)
        problem = Problem(slopes, target, limits, landing.weight / G, (low, high), {}, feet)
        return cls(analysis, problem, slopes, acting(problem), known, own, draws, seed, borne, materials)

    def laid(self, quantile: float, stack: float | None = None) -> Problem:
        """The problem with the thin layers and the cup that serve within a stack [m]."""
        asked = quantile, self.problem.limits.stack if stack is None else stack
        if asked not in self._laid:
            self._laid[asked] = with_layers(self.problem, self.materials, *asked)
        return self._laid[asked]

    @property
    def least_gain(self) -> float:
        """What counts as help, in the target's unit."""
        angle = self.problem.target.single and self.problem.worth == ANGLE_SCALE
        return float(LEAST_ANGLE if angle else LEAST_GAIN * self.problem.worth)

    def confirmed(self, quantile: float) -> tuple[Array, _Full]:
        """The best shape whose full answer keeps the limits: the search is repeated with tighter ones where it does
        not; the flat insole always keeps them."""
        problem = self.laid(quantile)
        for _ in range(CONFIRMATIONS):
            values = search(problem, quantile, problem.limits.stack, self.seed, self.free)
            full = self.full(values, problem.laid)
            over = {rise.quantity: full.upper(rise.quantity) - rise.most for rise in problem.rises}
            worst = {
                rise.quantity: over[rise.quantity]
                for rise in problem.rises
                if over[rise.quantity] > TOLERATED * rise.most
            }
            if not worst:
                return values, full
            tighter = {name: problem.allowances.get(name, 0.0) + 1.1 * amount for name, amount in worst.items()}
            problem = replace(problem, allowances={**problem.allowances, **tighter})
        return problem.flat, self.full(problem.flat)

    def full(self, values: Array, laid: Laid | None = None) -> _Full:
        landing, standing, plain = self.analysis.landing, self.slopes.standing, self.slopes.parts.plain
        shape = self.shape(values, laid)
        case = Case(shape, plain, shape)
        settled = settle(standing, shape, self.slopes.flat)
        settled = replace(settled, rise=settled.rise - (shape.base - plain.base))
        drawn = answer_draws(landing, standing, settled, case, self.borne)
        target = np.zeros(1)
        for name, weight in self.problem.target.weights:
            single = self.problem.target.single
            scale = 1.0 if single else scale_of(name, self.problem.before(name), self.problem.mass)
            target = target + weight * _person(drawn.extremes, name) / scale
        return _Full(self, case, drawn, settled, _ends(target))

    def shape(self, values: Array, laid: Laid | None) -> InsoleShape:
        shape = self.slopes.parts.shape(values)
        return shape if laid is None else replace(shape, thin=laid.thin, cup=laid.cup)

    def used_up(self, problem: Problem, values: Array, full: _Full) -> tuple[str, ...]:
        """Limits of which hardly anything is left, in words."""
        limits = self.problem.limits
        left = -problem.overrun(values[None], limits.stack)[0]
        for k, rise in enumerate(problem.rises):
            left[k + 2] = min(left[k + 2], 1.0 - full.upper(rise.quantity) / max(rise.most, 1e-12))
        out = [words for words, share in zip(problem.limit_words, left, strict=True) if share <= NEARLY]
        low, high = problem.low_high
        for k, name in enumerate(PARAMETERS):
            if k in self.free and k != BASE:
                step = STEP_ANGLE if k in ANGLES else STEP_HEIGHT
                at_end = values[k] >= high[k] - step > step or values[k] <= low[k] + step < -step
                shown = f"{abs(np.rad2deg(values[k])):g} deg" if k in ANGLES else f"{1000 * values[k]:g} mm"
                out += [f"{name.replace('_', ' ')}, at its limit of {shown}"] if at_end else []
        return tuple(out)

    def trade_off(self, quantile: float, found: Array) -> tuple[TradeOff, ...]:
        """The best shape within every stack height up to the limit."""
        lowest = max(self.slopes.parts.plain.minimum * 2, 0.5 * self.problem.limits.stack)
        stacks = np.linspace(lowest, self.problem.limits.stack, LEVELS)
        problems = [self.laid(quantile, float(stack)) for stack in stacks]
        shapes = [found]
        for stack, problem in zip(stacks[-2::-1], problems[-2::-1], strict=True):
            shapes.append(search(problem, quantile, float(stack), self.seed, self.free, shapes[-1]))
        out = []
        for stack, problem, values in zip(stacks, problems, reversed(shapes), strict=True):
            low, change, high = _ends(problem.target_changes(values[None])[0])
            out.append(TradeOff(float(stack), self.shape(values, problem.laid), change, low, high))
        return tuple(out)

    def next_trials(self, values: Array) -> tuple[NextTrials, ...]:
        target = self.problem.target_changes(values[None])[0]
        return next_trials(self.analysis.landing, self.slopes, target, self.problem.limits.posting, self.problem.mass)[
            :3
        ]


def _ends(changes: Array) -> tuple[float, float, float]:
    low, middle, high = np.quantile(changes, (INTERVAL[0], 0.5, INTERVAL[1]))
    return float(low), float(middle), float(high)


def _person(drawn: Iterable[Drawn], quantity: str) -> Array:
    """(D,) changes of one person, of a pressure as shares."""
    one = next(d for d in drawn if d.quantity == quantity)
    return one.person / 100.0 if quantity.startswith("peak_pressure") else one.person


def limits_of_help(change: float, least: float) -> str:
    """Why a best shape that does not help is not chosen: SIZE where even the middle person gains too little, CERTAINTY
    where the middle one gains enough, but one person's interval does not leave out that it gains less."""
    return CERTAINTY if change <= -least else SIZE


def _verdict(helps: bool, answer: WhatIf, target: Target, why_not: str) -> str:
    """In a sentence; a change below what this rider's own landings differ by is no recommendation."""
    if not helps:
        return f"No shape within your limits is chosen for the {target.text}: {why_not}."
    if _targets(answer, target, "below_rider"):
        return "No recommendation: below this rider's detectable change."
    text = f"A shape within your limits lowers the {target.text}: {shape_text(answer.shape)}."
    unseen = " By less than a second recording like this one could show."
    return text + (unseen if _targets(answer, target, "below_recording") else "")


def _targets(answer: WhatIf, target: Target, what: str) -> bool:
    """Whether one of the target's changes is below_rider or below_recording."""
    return any(getattr(row, what) for row in answer.rows if row.quantity in target.quantities)

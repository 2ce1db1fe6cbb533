"""A changed shape, the foot's answer on its bed, and the same moments poured again: before, after and change with two
intervals, that of the mechanics and that of one person."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from jointload.analysis import Analysis
from jointload.errors import SettingError, expected_found
from jointload.foot.on_insole import FeetOn
from jointload.insole.bed.bed import REASONS, BedPose
from jointload.insole.calibration.knowledge import known_of
from jointload.insole.calibration.observation import mass_of
from jointload.insole.calibration.personal import Known, Personal
from jointload.insole.fitting.doubts import assumptions, doubts_of, layer_findings, task_of
from jointload.insole.limb.change import Change, Drawn, PressureMap, WhatIf
from jointload.insole.limb.feet import Borne, feet_of, feet_rows
from jointload.insole.limb.limb import middle_leg
from jointload.insole.limb.pouring import Poured, pour_again
from jointload.insole.limb.readings import drawn_at_instants, drawn_loads, foot_series, readings
from jointload.insole.limb.regions import pressures, regions
from jointload.insole.limb.response import FootResponse, respond
from jointload.insole.limb.standing import (
    Settled,
    Standing,
    place_foot,
    settle,
    settle_flat,
    shape_tilt,
    stable_reasons,
    stand,
)
from jointload.insole.shape.asked import USUAL_BASE, Case, Given, Parts, case_of, shape_text
from jointload.insole.shape.measured import measure
from jointload.insole.shape.shape import InsoleShape
from jointload.intake.recording import Array
from jointload.landing.landed import Landing
from jointload.landing.measures.force_measures import vertical_force_first_peak, vertical_loading_rate

__all__ = [
    "USUAL_BASE", "Change", "Given", "Parts", "Poured", "PressureMap", "WhatIf", "compare", "pour_again", "regions",
    "shape_text", "task_of", "what_if", "what_ifs",
]  # fmt: skip


def what_if(analysis: Analysis, shape: Given, draws: int = 200, seed: int = 1, known: Known | None = None) -> WhatIf:
    """Predict what a shape under one foot would shift in an analysed landing, against a flat insole of equal base, or
    of USUAL_BASE where the thickness is part of the question.

    known : what is known of this rider beside the landing
    The answer is quasi-static: the measured force stays, the foot settles anew on its bed, pelvis and leg follow
    it, and inertia is that of the measured motion. In the first 30 ms of an impact it is an upper bound. A lumbar
    change is not predicted. SettingError when this side has no moments.
    """
    return what_ifs(analysis, [shape], draws, seed, known)[0]


def what_ifs(
    analysis: Analysis, shapes: Iterable[Given], draws: int = 200, seed: int = 1, known: Known | None = None
) -> tuple[WhatIf, ...]:
    """Several shapes with the same draws of the same person, so that their differences are the shapes'."""
    known = known or known_of(analysis)
    standings: dict[tuple[str, bool], Standing] = {}
    borne: dict[str, Borne] = {}
    flats: dict[tuple[str, bool, InsoleShape], BedPose] = {}
    out = []
    for given in shapes:
        side = given.side
        require_moments(analysis.landing, side)
        case = case_of(given, place_foot(analysis.landing, side).length)
        personal = known.claim(side, shape_tilt(analysis.landing, case.after))
        who = (side, personal is not None)
        if who not in standings:
            standings[who] = stand(analysis.landing, side, draws, seed, None if personal is None else personal.of)
        if (*who, case.before) not in flats:
            flats[*who, case.before] = settle_flat(standings[who], case.before)
        settled = settle(standings[who], case.after, flats[*who, case.before])
        if side not in borne:
            borne[side] = Borne.of(analysis, side, draws)
        drawn = answer_draws(analysis.landing, standings[who], settled, case, borne[side])
        out.append(answer_of(analysis.landing, standings[who], settled, case, drawn, (draws, seed), known, personal))
    return tuple(out)


def compare(
    analysis: Analysis, shapes: Iterable[Given], draws: int = 200, seed: int = 1, known: Known | None = None
) -> WhatIf:
    """what_ifs of several shapes under one foot as one answer: the first, with the others beside it."""
    first, *others = what_ifs(analysis, shapes, draws, seed, known)
    if any(other.side != first.side for other in others):
        raise SettingError(
            expected_found("shapes", "one foot", "both feet", "the comparison", "ask for one foot at a time")
        )
    return replace(first, others=tuple(others))


def require_moments(landing: Landing, side: str) -> None:
    """SettingError that says why where a side has no moments to shift."""
    if side in landing.events.sides and _has_moments(landing, side):
        return
    reasons = dict.fromkeys(gone.reason for gone in landing.contact.lost if gone.side == side)
    found = f"none ({', '.join(reasons)})" if reasons else "none"
    advice = "see quality.csv of `jointload analyse`, or choose the other side"
    if not landing.recording.plates:
        advice = "record the landing on force plates: a shape acts through the force under the foot"
    expected = f"a landing with moments of side {side!r}"
    raise SettingError(expected_found("insole", expected, found, landing.recording.name, advice))


@dataclass(frozen=True, eq=False)
class AnswerDraws:
    """Every quantity of every drawn person: at the landing's extremes, and at named instants; the pressure map; the leg
    of the middle person, as in WhatIf."""

    extremes: tuple[Drawn, ...]
    instants: tuple[Drawn, ...]
    pressure: PressureMap
    leg: Array
    feet: FeetOn


def answer_draws(landing: Landing, standing: Standing, settled: Settled, case: Case, borne: Borne) -> AnswerDraws:
    """What the drawn persons answer to one case whose foot has settled;  borne : by that foot."""
    side = standing.side
    if not settled.usable.any():
        expected, found = "a foot that stands on it", f"{REASONS[stable_reasons(settled)[0]]}"
        raise SettingError(expected_found("what-if", expected, found, case.text, "choose a lower shape"))
    response = respond(standing, settled, landing.window(side))
    poured = pour_again(landing, side, response.with_none_first())
    persons = {name: values[settled.usable] for name, values in standing.person.values.items()}
    maps, by_region = pressures(standing, settled)
    loads = [drawn_loads(reading, poured, side) for reading in readings(landing, side, persons).values()]
    feet = feet_of(standing, settled, case.before, case.after, borne)
    extremes = (
        *_foot_at_reference(landing, standing, response), *loads, *feet_rows(side, feet), *by_region,
        *_unchanged(landing, case), *_stacks(case),
    )  # fmt: skip
    at_instants = drawn_at_instants(landing, standing, response, poured, persons)
    return AnswerDraws(extremes, at_instants, maps, middle_leg(landing, side, response), feet)


def answer_of(
    landing: Landing,
    standing: Standing,
    settled: Settled,
    case: Case,
    drawn: AnswerDraws,
    draws_and_seed: tuple[int, int],
    known: Known,
    personal: Personal | None,
) -> WhatIf:
    """The draws of one case as an answer; personal : the calibration by which they are draws of this rider."""
    task = task_of(landing, standing.side)
    draws, seed = draws_and_seed
    return WhatIf(
        shape=case.after,
        shape_text=case.text,
        side=standing.side,
        task=task,
        draws=draws,
        seed=seed,
        rows=tuple(one.row(mass_of(landing), personal is not None) for one in drawn.extremes),
        at_instants=tuple(one.row(mass_of(landing), personal is not None) for one in drawn.instants),
        response_text=assumptions(standing, case),
        findings=(
            *doubts_of(landing, standing, settled, case, task, known, personal),
            *layer_findings(case.after, drawn.feet.bottomed),
        ),
        pressure=drawn.pressure,
        baseline_pressure=standing.baseline_text,
        leg=drawn.leg,
    ).with_least(known.recording_least, known.rider_least)


def _has_moments(landing: Landing, side: str) -> bool:
    moment = landing.loads.of(f"{side}_knee", "adduction")[landing.window(side)]
    return moment.size > 0 and bool(np.isfinite(moment).all())


def _foot_at_reference(landing: Landing, standing: Standing, response: FootResponse) -> list[Drawn]:
    """What the foot does at the reference instant."""
    instant = standing.reference
    at = int(standing.frames[instant]) - landing.window(standing.side).start
    before = {"pressure_centre_medial": standing.load.y[instant], "pressure_centre_forward": standing.load.x[instant]}
    return [
        Drawn(
            name, standing.side, np.full(response.draws, before.get(name, np.nan)),
            values[:, at], values[:, at] + response.own_answer(name),
        )
        for name, values in foot_series(response).items()
    ]  # fmt: skip


IMPACT = {"vertical_force_first_peak": vertical_force_first_peak, "vertical_loading_rate": vertical_loading_rate}
UNCHANGED = {
    "vertical_force_first_peak": "predicted unchanged by the shape: wedges of 5 deg left the force as it was in "
    "running (Sinclair 2017), arch pads in landing (Li 2025)",
    "vertical_loading_rate": "predicted unchanged by the shape, as the force; of cushioning studies contradict each "
    "other: softer is lower (O'Leary 2008) or higher (Baltich 2015)",
}
UNCHANGED_BY_LAYERS = (
    "predicted unchanged by a thin layer: midsoles of 0, 2, 4, 8 and 16 mm changed neither the ground's vertical peak "
    "nor its loading rate in running (Chambon 2014)"
)
"""Quantity -> why no shape changes it here; why no thin layer does."""


def _unchanged(landing: Landing, case: Case) -> list[Drawn]:
    """Forces of the impact as they were measured: no draw moves them."""
    out, side = [], case.after.side
    for name, reason in UNCHANGED.items():
        found = IMPACT[name](landing, side)
        value = found[0] if isinstance(found, tuple) else found
        why = UNCHANGED_BY_LAYERS if case.after.thin else reason
        out.append(Drawn(name, side, np.array([value]), np.zeros(1), np.zeros(1), reason=why))
    return out


def _stacks(case: Case) -> list[Drawn]:
    """Heights under heel and ball: no draw moves them."""
    old, new = measure(case.before), measure(case.after)
    out = []
    for name in ("heel_stack", "forefoot_stack"):
        before, after = (np.array([getattr(numbers, name)]) for numbers in (old, new))
        out.append(Drawn(name, case.after.side, before, after - before, after - before, geometry=True))
    return out

"""A changed shape, the foot's answer on its bed, and the same moments poured again: before, after and change with two
intervals, that of the mechanics and that of one person."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from jointload.analysis import Analysis
from jointload.errors import SettingError, expected_found
from jointload.insole.asked import USUAL_BASE, Case, Given, Parts, case_of, shape_text
from jointload.insole.bed import REASONS, BedPose
from jointload.insole.change import Change, Drawn, PressureMap, WhatIf
from jointload.insole.doubts import assumptions, doubts_of, task_of
from jointload.insole.pouring import Poured, pour_again
from jointload.insole.readings import drawn_at_instants, drawn_loads, foot_series, readings
from jointload.insole.regions import pressures, regions
from jointload.insole.response import (
    FootResponse,
    Settled,
    Standing,
    respond,
    settle,
    settle_flat,
    stable_reasons,
    stand,
)
from jointload.insole.shape import InsoleShape, measure
from jointload.landing.landed import Landing

__all__ = [
    "USUAL_BASE", "Change", "Given", "Parts", "Poured", "PressureMap", "WhatIf", "compare", "pour_again", "regions",
    "shape_text", "task_of", "what_if", "what_ifs",
]  # fmt: skip


def what_if(analysis: Analysis, shape: Given, draws: int = 200, seed: int = 1) -> WhatIf:
    """Predict what a shape under one foot would shift in an analysed landing, against a flat insole of equal base, or
    of USUAL_BASE where the thickness is part of the question.

    The answer is quasi-static: the measured force stays, the foot settles anew on its bed, the pelvis stays where it
    was, and inertia is that of the measured motion. In the first 30 ms of an impact it is an upper bound. A lumbar
    change is not predicted. SettingError when this side has no moments.
    """
    return what_ifs(analysis, [shape], draws, seed)[0]


def what_ifs(analysis: Analysis, shapes: Iterable[Given], draws: int = 200, seed: int = 1) -> tuple[WhatIf, ...]:
    """Several shapes with the same draws of the same person, so that their differences are the shapes'."""
    standings: dict[str, Standing] = {}
    flats: dict[tuple[str, InsoleShape], BedPose] = {}
    out = []
    for given in shapes:
        side = given.side
        if side not in standings:
            _require_moments(analysis.landing, side)
            standings[side] = stand(analysis.landing, side, draws, seed)
        standing = standings[side]
        case = case_of(given, standing.place.length)
        key = (side, case.before)
        if key not in flats:
            flats[key] = settle_flat(standing, case.before)
        out.append(answer_case(analysis.landing, standing, settle(standing, case.after, flats[key]), case, draws, seed))
    return tuple(out)


def compare(analysis: Analysis, shapes: Iterable[Given], draws: int = 200, seed: int = 1) -> WhatIf:
    """what_ifs of several shapes under one foot as one answer: the first, with the others beside it."""
    first, *others = what_ifs(analysis, shapes, draws, seed)
    if any(other.side != first.side for other in others):
        raise SettingError(
            expected_found("shapes", "one foot", "both feet", "the comparison", "ask for one foot at a time")
        )
    return replace(first, others=tuple(others))


def _require_moments(landing: Landing, side: str) -> None:
    if side not in landing.events.sides or not _has_moments(landing, side):
        raise SettingError(
            expected_found(
                "what-if",
                f"a landing with moments of side {side!r}",
                "none",
                landing.recording.name,
                "see quality.csv for the reason, or choose the other side",
            )
        )


def answer_case(landing: Landing, standing: Standing, settled: Settled, case: Case, draws: int, seed: int) -> WhatIf:
    """The whole answer to one case whose foot has settled."""
    side, text = standing.side, case.text
    if not settled.usable.any():
        expected, found = "a foot that stands on it", f"{REASONS[stable_reasons(settled)[0]]}"
        raise SettingError(expected_found("what-if", expected, found, text, "choose a lower shape"))
    response = respond(standing, settled, landing.window(side))
    poured = pour_again(landing, side, response.with_none_first())
    persons = {name: values[settled.usable] for name, values in standing.person.values.items()}
    maps, by_region = pressures(standing, settled)
    loads = [drawn_loads(reading, poured, side) for reading in readings(landing, side, persons).values()]
    extremes = [*_foot_at_reference(landing, standing, response), *loads, *by_region, *_stacks(case)]
    instants = drawn_at_instants(landing, standing, response, poured, persons)
    task = task_of(landing, side)
    return WhatIf(
        shape=case.after,
        shape_text=text,
        side=side,
        task=task,
        draws=draws,
        seed=seed,
        rows=tuple(drawn.row() for drawn in extremes),
        at_instants=tuple(drawn.row() for drawn in instants),
        response_text=assumptions(standing, case),
        findings=doubts_of(landing, standing, settled, case, task),
        pressure=maps,
    )


def _has_moments(landing: Landing, side: str) -> bool:
    moment = landing.loads.of(f"knee_{side}", "adduction")[landing.window(side)]
    return moment.size > 0 and bool(np.isfinite(moment).all())


def _foot_at_reference(landing: Landing, standing: Standing, response: FootResponse) -> list[Drawn]:
    """What the foot does at the reference instant."""
    instant = standing.reference
    at = int(standing.frames[instant]) - landing.window(standing.side).start
    before = {"pressure_centre_medial": standing.load.y[instant], "pressure_centre_forward": standing.load.x[instant]}
    return [
        Drawn(name, standing.side, np.full(response.draws, before.get(name, np.nan)), values[:, at], values[:, at])
        for name, values in foot_series(response).items()
    ]


def _stacks(case: Case) -> list[Drawn]:
    """Heights under heel and ball: no draw moves them."""
    old, new = measure(case.before), measure(case.after)
    out = []
    for name in ("heel_stack", "forefoot_stack"):
        before, after = (np.array([getattr(numbers, name)]) for numbers in (old, new))
        out.append(Drawn(name, case.after.side, before, after - before, after - before))
    return out

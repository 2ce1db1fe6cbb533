"""Whether the standing trial is of the person who lands: signs that are harmless alone and grave together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from jointload.intake.recording import SIDES, Finding
from jointload.landing.checks.judgement import Judgement, always, no_moments, passed
from jointload.landing.landed import Landing

MISFIT = 0.010
"""[m] typical residual with which a cluster no longer is the one of the standing trial (choice: up to 5 mm in the
published recordings at hand; markers put on another person miss by 15 to 20 mm)."""
SEVERAL = 3
"""So many clusters that misfit are a sign of another person even where the weight is not known (choice)."""
WEIGHT_OFF = 0.10
"""Share by which the weight on the plates may miss that of rider.toml (choice)."""
ASKED_FOR = "--same-person"
OF_A_STUDY = "same_person in a study's trials.csv"


def signs_of_another(misfits: Mapping[str, float], weight: float, expected: float) -> str:
    """What speaks against one person, in words; empty where it is not enough.

    misfits : segment -> typical residual [m] of its markers;  weight, expected : [N] on the plates of the standing
    trial and by rider.toml, NaN where unknown
    """
    off = weight / expected - 1.0
    heavy = bool(np.isfinite(off) and abs(off) > WEIGHT_OFF)
    large = {name: residual for name, residual in misfits.items() if residual > MISFIT}
    if len(large) < (1 if heavy else SEVERAL):
        return ""
    worst = max(large.values())
    text = f"the markers of {', '.join(large)} miss its clusters by up to {1000 * worst:.0f} mm"
    return f"{text}, and the weight on its plates is {100 * off:+.0f} % off" if heavy else text


def person_finding(signs: str, trial: str, insisted: bool) -> Finding:
    """The one finding that these signs make."""
    text = f"this standing trial looks like somebody else's: {signs}"
    if insisted:
        return Finding("same_person", "warn", trial, text, "it is insisted on: angles and moments are doubtful")
    advice = f"give the standing trial of this rider; {no_moments(*SIDES)} unless {ASKED_FOR}, or {OF_A_STUDY}, insists"
    return Finding("same_person", "refuse", trial, text, advice)


def check_person(landing: Landing) -> Judgement:
    """Whether weight and clusters of the standing trial are those of the landing."""
    name = landing.recording.name
    if not landing.has_static:
        return passed("same_person", name, "the body is fitted to the landing itself")
    signs = signs_of_another(landing.misfits, landing.weight_on_plates, landing.weight_of_rider)
    if not signs:
        return passed("same_person", name, "weight and clusters are those of the standing trial")
    finding = person_finding(signs, name, landing.same_person)
    if landing.same_person:
        return Judgement((finding,), (), True)
    reason = "the standing trial looks like somebody else's"
    return Judgement((finding,), always(landing, SIDES, reason), True)

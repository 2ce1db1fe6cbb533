"""What one check on a landing says: findings, and the moments that they stop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.intake.recording import Finding, Severity
from jointload.landing.landed import Landing
from jointload.loads.contact import Lost

FILTER_REACH = 1.0
"""Periods of the cut-off by which a wrong stretch spreads to its neighbours."""


@dataclass(frozen=True)
class Judgement:
    """The findings of one check and the moments that they stop; `explains` whether they leave the force unexplained."""

    findings: tuple[Finding, ...] = ()
    stopped: tuple[Lost, ...] = ()
    explains: bool = False


def standing_words(landing: Landing) -> str:
    """What the body is fitted to: a static trial, or the landing's own frames where there is none."""
    return "the static trial" if landing.has_static else "the frames the body was fitted to"


def always(landing: Landing, sides: tuple[str, ...], reason: str) -> tuple[Lost, ...]:
    return tuple(Lost(side, 0, landing.recording.frames, reason) for side in sides)


def no_moments(*sides: str) -> str:
    which = "either side" if len(sides) > 1 else f"the {sides[0]} side"
    return f"no moments of {which} and of L5/S1"


def passed(check: str, where: str, evidence: str) -> Judgement:
    return Judgement((Finding(check, "pass", where, evidence, ""),))


def explained(check: str, where: str, evidence: str, cause: str) -> Judgement:
    """A pass, with the check that explains what else would be a doubt."""
    return Judgement((Finding(check, "pass", where, evidence, f"see {cause.replace('_', ' ')}" if cause else ""),))


def graded(value: float, warn: float, refuse: float) -> Severity:
    return "refuse" if value > refuse else "warn" if value > warn else "pass"


def filter_reach(landing: Landing) -> int:
    """Frames by which the filter spreads a fault."""
    cutoff = landing.settings.cutoff
    return 2 if cutoff is None else int(np.ceil(FILTER_REACH * landing.poses.rate / cutoff))

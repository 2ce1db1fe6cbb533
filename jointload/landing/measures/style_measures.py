"""How a rider lands: which joint takes the work, how stiff, which leg more, and how far the trunk leans."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from jointload.intake.recording import SIDES
from jointload.landing.landed import Landing, Result, Sided, Unsided, Value, reasons_of_all
from jointload.landing.measures.force_measures import vertical_impulse_100ms
from jointload.landing.measures.load_measures import work_negative

JOINTS = ("ankle", "knee", "hip")
STIFF_FLEXION, SOFT_FLEXION = np.deg2rad(77.0), np.deg2rad(117.0)
"""Mean peak knee flexion of stiff and soft landings from 0.59 m (DeVita & Skelly 1992 Med Sci Sports Exerc 24:108;
read as flexion from the straight knee)."""

OfSide = Callable[[Landing, str], Value]


def work_share(joint: str) -> Sided:
    """Part of the negative work of ankle, knee and hip of a leg that one joint takes."""

    def value(landing: Landing, side: str) -> Result:
        work = _value(work_negative(joint), landing, side)
        whole = leg_work(landing, side)
        return np.where(np.less(whole, 0), work / np.where(np.less(whole, 0), whole, -1.0), np.nan)

    return value


def softness(landing: Landing, side: str) -> Result:
    """(peak knee flexion - 77 deg) / (117 deg - 77 deg)."""
    span = landing.span(side)
    flexion = span.peak(span.cut(landing.angles.of(f"{side}_knee", "flexion")))
    note = "from the standing pose, as the angles are" if landing.angles.zero == "standing" else ""
    return (flexion - STIFF_FLEXION) / (SOFT_FLEXION - STIFF_FLEXION), note


@lru_cache(maxsize=4)
def leg_work(landing: Landing, side: str) -> Value:
    """Negative work [J] of ankle, knee and hip of one leg."""
    return sum(_value(work_negative(joint), landing, side) for joint in JOINTS)


def leg_impulse(landing: Landing, side: str) -> Value:
    return _value(vertical_impulse_100ms, landing, side)


def right_left(of_side: OfSide) -> Unsided:
    """(right - left) / (right + left)."""
    return lambda landing: _asymmetry(landing, of_side, "right")


def back_front(of_side: OfSide) -> Unsided:
    """(back - front) / (back + front); NaN where rider.toml names no back foot."""

    def value(landing: Landing) -> Result:
        back = landing.body.rider.stance
        if back not in SIDES:
            return float("nan"), "rider.toml does not say which foot is at the back"
        return _asymmetry(landing, of_side, back)

    return value


def trunk_lean_forward_peak(landing: Landing) -> Result:
    span = landing.span()
    return span.peak(span.cut(landing.alignment.trunk_lean_forward))


def _asymmetry(landing: Landing, of_side: OfSide, first: str) -> Result:
    if set(landing.events.sides) != set(SIDES):
        return float("nan"), "one foot alone lands on a plate"
    one, other = of_side(landing, first), of_side(landing, "left" if first == "right" else "right")
    whole = one + other
    known = np.not_equal(whole, 0)
    value = np.where(known, (one - other) / np.where(known, whole, 1.0), np.nan)
    return value, reasons_of_all(landing) if np.any(np.isnan(whole)) else ""


def _value(sided: Sided, landing: Landing, side: str) -> Value:
    result = sided(landing, side)
    return result[0] if isinstance(result, tuple) else result

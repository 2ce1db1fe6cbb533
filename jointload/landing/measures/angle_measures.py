"""Joint angles and alignment at touch-down, at their peaks, and at the deepest knee."""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import SIDES
from jointload.landing.landed import Landing, Measure, Result, Sided, Unsided
from jointload.landing.span import picked

HEEL_FIRST, TOE_FIRST = np.deg2rad(8.0), np.deg2rad(-1.6)
"""Sole angle at touch-down of a heel or forefoot contact (Altman & Davis 2012 Gait Posture 35:298, running; from
memory)."""


def angle_at_touchdown(joint: str, rotation: str) -> Sided:
    return lambda landing, side: picked(landing.angles.of(f"{side}_{joint}", rotation), landing.touchdown_frames(side))


def angle_peak(joint: str, rotation: str, sign: float = 1.0) -> Sided:
    def value(landing: Landing, side: str) -> Result:
        span = landing.span(side)
        return span.peak(sign * span.cut(landing.angles.of(f"{side}_{joint}", rotation)))

    return value


def series_at_touchdown(name: str) -> Sided:
    return lambda landing, side: picked(
        getattr(landing.alignment, name)[SIDES.index(side)], landing.touchdown_frames(side)
    )


def series_at_peak_knee_flexion(name: str) -> Sided:
    """An alignment where the knee of the side is most bent."""

    def value(landing: Landing, side: str) -> Result:
        span = landing.span(side)
        flexion = span.cut(landing.angles.of(f"{side}_knee", "flexion"))
        found = picked(getattr(landing.alignment, name)[SIDES.index(side)], span.place_of_largest(flexion))
        return np.where(span.known(flexion), found, np.nan)

    return value


def pelvis_obliquity_touchdown(landing: Landing, side: str) -> Result:
    right_up = picked(landing.alignment.pelvis_obliquity, landing.touchdown_frames(side))
    return right_up if side == "right" else -right_up


def body_at_touchdown(name: str) -> Unsided:
    return lambda landing: picked(getattr(landing.alignment, name), landing.touchdown_frames())


def trunk_flexion_peak(landing: Landing) -> Result:
    span = landing.span()
    return span.peak(span.cut(landing.angles.of("l5s1", "flexion")))


def first_contact_zone(landing: Landing, side: str) -> Measure:
    angle = float(landing.alignment.sole_angle[SIDES.index(side), landing.touchdown_frame(side)])
    if not np.isfinite(angle):
        return Measure("first_contact_zone", side, float("nan"), note="the foot is not seen at touch-down")
    word = "heel" if angle > HEEL_FIRST else "forefoot" if angle < TOE_FIRST else "midfoot"
    return Measure("first_contact_zone", side, float("nan"), word=word)

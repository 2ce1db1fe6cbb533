"""Joint angles and alignment at touch-down, at their peaks, and at the deepest knee."""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import SIDES
from jointload.landing.landed import Landing, Measure, Result, Sided, Unsided, largest, whole_window

HEEL_FIRST, TOE_FIRST = np.deg2rad(8.0), np.deg2rad(-1.6)
"""Sole angle at touch-down of a heel or forefoot contact (Altman & Davis 2012 Gait Posture 35:298, running; from
memory)."""


def angle_at_touchdown(joint: str, rotation: str) -> Sided:
    return lambda landing, side: float(landing.angles.of(f"{side}_{joint}", rotation)[landing.touchdown_frame(side)])


def angle_peak(joint: str, rotation: str, sign: float = 1.0) -> Sided:
    return lambda landing, side: largest(sign * landing.angles.of(f"{side}_{joint}", rotation)[landing.window(side)])


def series_at_touchdown(name: str) -> Sided:
    return lambda landing, side: float(
        getattr(landing.alignment, name)[SIDES.index(side), landing.touchdown_frame(side)]
    )


def series_at_peak_knee_flexion(name: str) -> Sided:
    def value(landing: Landing, side: str) -> Result:
        window = landing.window(side)
        flexion = landing.angles.of(f"{side}_knee", "flexion")[window]
        if not flexion.size or not np.isfinite(flexion).all():
            return float("nan")
        return float(getattr(landing.alignment, name)[SIDES.index(side), window][np.argmax(flexion)])

    return value


def pelvis_obliquity_touchdown(landing: Landing, side: str) -> Result:
    right_up = float(landing.alignment.pelvis_obliquity[landing.touchdown_frame(side)])
    return right_up if side == "right" else -right_up


def body_at_touchdown(name: str) -> Unsided:
    return lambda landing: float(getattr(landing.alignment, name)[landing.touchdown_frame()])


def trunk_flexion_peak(landing: Landing) -> Result:
    return largest(landing.angles.of("l5s1", "flexion")[whole_window(landing)])


def first_contact_zone(landing: Landing, side: str) -> Measure:
    angle = float(landing.alignment.sole_angle[SIDES.index(side), landing.touchdown_frame(side)])
    if not np.isfinite(angle):
        return Measure("first_contact_zone", side, float("nan"), note="the foot is not seen at touch-down")
    word = "heel" if angle > HEEL_FIRST else "forefoot" if angle < TOE_FIRST else "midfoot"
    return Measure("first_contact_zone", side, float("nan"), word=word)

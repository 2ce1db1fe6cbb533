"""Heel, ball and toes among the changes of a prediction."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.analysis import Analysis
from jointload.foot.on_insole import ON_INSOLE, Feet, FeetOn, Shifted, bears, feet_on
from jointload.insole.bed.bed import BedPose, Mask
from jointload.insole.limb.change import Drawn
from jointload.insole.limb.regions import BALL_REGIONS, HEEL_REGIONS, LEAST_PRESSURE, regions
from jointload.insole.limb.standing import Settled, Standing, settle
from jointload.insole.shape.parts import NO_CUP
from jointload.insole.shape.shape import InsoleShape
from jointload.intake.recording import Array

LEAST = {"heel_pad_strain_peak": 0.01, "heel_pressure_peak": 1.0e4, "ball_pressure_peak": 1.0e4}
"""Quantity -> no per-cent change below this; of a force LEAST_FORCE (choice)."""
LEAST_FORCE = 10.0


@dataclass(frozen=True, eq=False)
class Borne:
    """What one foot bears in its landing, None with the reason where it is not known."""

    feet: Feet | None
    reason: str

    @classmethod
    def of(cls, analysis: Analysis, side: str, draws: int) -> Borne:
        bearing, reason = bears(analysis.landing, side, analysis.session.shoe, draws)
        return cls(None if bearing is None else Feet(bearing), reason)


def feet_of(standing: Standing, settled: Settled, before: InsoleShape, after: InsoleShape, borne: Borne) -> FeetOn:
    """Heel, ball and toes of the usable draws."""
    if borne.feet is None:
        return FeetOn({}, dict.fromkeys(ON_INSOLE, borne.reason))
    shifted = None
    plain = replace(after, thin=(), cup=NO_CUP)
    if plain != before:
        on_plain = settled if plain == after else settle(standing, plain, settled.flat)
        shifted = _shifted(standing, settled.flat, on_plain.changed, settled.usable)
    return feet_on(borne.feet, before, after, shifted, settled.usable)


def feet_rows(side: str, found: FeetOn) -> list[Drawn]:
    """Each number of heel, ball and toes, or why it is not known; no group's interval: none was published."""
    lost = np.full(1, np.nan)
    out = []
    for name in ON_INSOLE:
        before, change = found.numbers.get(name, (lost, lost))
        least, reason = LEAST.get(name, LEAST_FORCE), found.reasons.get(name, "")
        if name.startswith("toe_push") and not before.any() and not change.any():
            reason = "the toes do not push in this landing"
        out.append(Drawn(name, side, before, change, change, least, reason=reason, grouped=False))
    return out


def _shifted(standing: Standing, flat: BedPose, changed: BedPose, usable: Mask) -> Shifted:
    """By the bed, at the instants that both poses have."""
    before, after = (pose.pressure[usable] for pose in (flat, changed))
    both = np.isfinite(before[..., 0]) & np.isfinite(after[..., 0])
    before, after = (np.where(both[..., None], part, 0.0) for part in (before, after))
    found = regions(standing)
    heel, ball = (np.any([found[name] for name in names], axis=0) for names in (HEEL_REGIONS, BALL_REGIONS))
    area = standing.bed.area

    def force(part: Array) -> Array:
        return np.asarray((part[..., heel] @ area[heel]).max(axis=1))

    def peak(part: Array, cells: Mask) -> Array:
        return np.asarray(part[..., cells].max(axis=(1, 2)))

    return Shifted(
        _ratio(peak(after, heel), peak(before, heel), LEAST_PRESSURE),
        _ratio(force(after), force(before), LEAST_FORCE),
        _ratio(peak(after, ball), peak(before, ball), LEAST_PRESSURE),
    )


def _ratio(after: Array, before: Array, least: float) -> Array:
    """1 where hardly anything is borne."""
    return np.divide(after, before, out=np.ones_like(after), where=before > least)

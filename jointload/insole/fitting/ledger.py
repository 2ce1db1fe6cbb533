"""One table for one rider: the gain at the target, and what it costs at every other joint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.insole.fitting.aim import REGIONS
from jointload.insole.limb.change import Change, WhatIf

JOINTS = {
    "knee": (
        "knee_adduction_moment_peak", "knee_flexion_moment_peak", "knee_abduction_moment_peak",
        "knee_adduction_impulse", "knee_over_ankle", "knee_adduction_peak", "knee_internal_rotation_peak",
    ),
    "ankle": (
        "rearfoot_eversion_peak", "rearfoot_inversion_peak", "ankle_inversion_moment_peak",
        "ankle_eversion_moment_peak", "ankle_dorsiflexion_moment_peak", "achilles_force_peak",
    ),
    "hip": ("hip_adduction_moment_peak", "hip_flexion_moment_peak", "hip_adduction_peak"),
    "foot": ("rearfoot_roll", "foot_pitch", "pressure_centre_medial", "pressure_centre_forward", "tibial_rotation"),
    "sole": ("peak_pressure", *(f"peak_pressure_{region}" for region in REGIONS)),
    "shoe": ("heel_stack", "forefoot_stack"),
}  # fmt: skip
"""Joint -> its quantities; the knee's moments stand together, as a change that lowers one may raise another."""
LOADS = ("moment", "impulse", "force", "pressure")
"""A quantity with one of these words is a load: its fall is a gain, its rise a cost."""
SPRAIN = "rearfoot_inversion_peak"


@dataclass(frozen=True)
class Entry:
    """One row of the table; aimed_at : whether it is the target."""

    joint: str
    row: Change
    aimed_at: bool

    @property
    def reading(self) -> str:
        """What the change amounts to for this rider, in words."""
        return reading_of(self.row)


def ledger(answer: WhatIf, targets: tuple[str, ...] = ()) -> tuple[Entry, ...]:
    """Every change of an answer, the targets first, then joint by joint."""
    rows = {row.quantity: row for row in answer.rows}
    joints = {name: joint for joint, names in JOINTS.items() for name in names}
    order = [*targets, *(name for name in joints if name not in targets)]
    known = [name for name in order if name in rows]
    rest = [name for name in rows if name not in known]
    return tuple(Entry(joints.get(name, "other"), rows[name], name in targets) for name in [*known, *rest])


def reading_of(row: Change) -> str:
    """A change that cannot be told from none, or is below what this rider or this recording can show, says so."""
    if not np.isfinite(row.change):
        return row.note or "not known from this recording"
    if row.person_low == row.person_high != 0.0:
        return "the same for every person"
    if not row.distinguishable:
        return "not distinguishable from no change"
    if row.below_rider:
        return "no recommendation: below this rider's detectable change"
    share = row.share_lower if row.change < 0 else 1.0 - row.share_lower
    text = f"{'falls' if row.change < 0 else 'rises'} in {100 * share:.0f} % of the drawn persons"
    load = any(word in row.quantity for word in LOADS) or row.quantity == SPRAIN
    text = f"{'gain' if row.change < 0 else 'cost'}: {text}" if load else text
    return f"{text}; below what this recording can show" if row.below_recording else text

"""One table for one rider: the gain at the target, and what it costs at every other joint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.foot.on_insole import ON_INSOLE
from jointload.insole.fitting.aim import REGIONS
from jointload.insole.limb.change import Change, WhatIf

JOINTS = {
    "knee": (
        "knee_adduction_moment_peak", "knee_flexion_moment_peak", "knee_abduction_moment_peak",
        "knee_adduction_impulse", "tibiofemoral_medial_force_peak", "tibiofemoral_lateral_force_peak",
        "patellofemoral_force_peak", "knee_over_ankle", "knee_adduction_peak", "knee_flexion_peak",
        "knee_internal_rotation_peak",
    ),
    "ankle": (
        "rearfoot_eversion_peak", "rearfoot_inversion_peak", "ankle_inversion_moment_peak",
        "ankle_eversion_moment_peak", "ankle_dorsiflexion_moment_peak", "achilles_force_peak",
        "ankle_dorsiflexion_peak",
    ),
    "hip": ("hip_adduction_moment_peak", "hip_flexion_moment_peak", "hip_adduction_peak", "hip_flexion_peak"),
    "pelvis": ("pelvic_drop_peak", "pelvis_tilt_peak", "pelvis_shift"),
    "foot": ("rearfoot_roll", "foot_pitch", "pressure_centre_medial", "pressure_centre_forward", "tibial_rotation"),
    "heel, ball and toes": ON_INSOLE,
    "sole": ("peak_pressure", *(f"peak_pressure_{region}" for region in REGIONS)),
    "impact": ("vertical_force_first_peak", "vertical_loading_rate"),
    "shoe": ("heel_stack", "forefoot_stack"),
}  # fmt: skip
"""Joint -> its quantities; the knee's moments stand together, as a change that lowers one may raise another."""
TOGETHER = ("knee_adduction_moment_peak", "knee_flexion_moment_peak")
LOADS = ("moment", "impulse", "force", "pressure")
"""A quantity with one of these words is a load: its fall is a gain, its rise a cost."""
SPRAIN = "rearfoot_inversion_peak"
EVEN = 1e-4
"""A height that changes by less [m] stays."""
GEOMETRY = "height of the insole itself"
SURE = 0.99
"""Above this share of persons no figure is given (choice: draws are few, and the spread is not known that well)."""


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
    """Every change of an answer, the targets first, then joint by joint; within a joint by size against what the
    recording can show, the knee's two moments before all else, as they are read together."""
    rows = {row.quantity: row for row in answer.rows}
    joints = {name: joint for joint, names in JOINTS.items() for name in names}
    order = [*targets]
    for names in JOINTS.values():
        first = [name for name in names if name in TOGETHER]
        order += first + sorted((n for n in names if n in rows and n not in first), key=lambda n: -size_of(rows[n]))
    known = [name for name in dict.fromkeys(order) if name in rows]
    rest = [name for name in rows if name not in known]
    return tuple(Entry(joints.get(name, "other"), rows[name], name in targets) for name in [*known, *rest])


def size_of(row: Change) -> float:
    """Size of a change in units of what matters, -1 where none is known."""
    size = row.against_recording
    return float(size) if np.isfinite(size) else -1.0


def main_cost(answer: WhatIf, targets: tuple[str, ...]) -> Change | None:
    """The load that rises most as a share of its value, beside the targets; None where none rises by what matters."""
    costs = [
        row
        for row in answer.rows
        if row.quantity not in targets and any(word in row.quantity for word in LOADS)
        and row.change > 0 and not row.negligible and np.isfinite(_share(row))
    ]  # fmt: skip
    return max(costs, key=_share, default=None)


def _share(row: Change) -> float:
    """Change in per cent of the value before; of a pressure the change itself."""
    return row.change if row.quantity.startswith("peak_pressure") else row.percent


def thinner(answer: WhatIf) -> tuple[Change, ...]:
    """Heights of the insole that fall: a thinner base makes room for what is added elsewhere."""
    return tuple(row for row in answer.rows if row.geometry and row.change < -EVEN)


def reading_of(row: Change) -> str:
    """What a change amounts to, in words. What is the insole's own geometry has no verdict; what is too small to matter
    is negligible, however sure; what cannot be told from none, or is below what this rider or this recording can show,
    says so."""
    if row.geometry:
        return GEOMETRY
    if not np.isfinite(row.change):
        return row.note or "not known from this recording"
    if row.note and row.change == 0.0:
        return row.note
    if row.negligible:
        beyond = max(abs(row.person_low), abs(row.person_high)) > row.floor
        return "negligible" + ("; one person's may not be" if beyond else "")
    if not row.distinguishable:
        return "not distinguishable from no change for one person"
    if row.below_rider:
        return "no recommendation: below this rider's detectable change"
    load = any(word in row.quantity for word in LOADS) or row.quantity == SPRAIN
    text = f"{'falls' if row.change < 0 else 'rises'} in {_share_text(row)} of persons"
    text = f"{'gain' if row.change < 0 else 'cost'}: {text}" if load else text
    return f"{text}; below what this recording can show" if row.below_recording else text


def _share_text(row: Change) -> str:
    """Share of persons whose value goes the way of the change, with its interval where there is one."""
    ends = [row.share_lower, row.share_lower_low, row.share_lower_high]
    middle, *others = ends if row.change < 0 else [1.0 - end for end in ends]
    if not np.isfinite(others).all():
        return _per_cent(middle)
    return f"{_per_cent(middle)} ({_per_cent(min(others))} to {_per_cent(max(others))})"


def _per_cent(share: float) -> str:
    """Never all or none: draws are few."""
    return f"{100 * share:.0f} %" if share < SURE else f"over {100 * SURE:.0f} %"

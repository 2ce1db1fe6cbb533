"""The answer that each section of the page begins with: one or two sentences made of its own numbers."""

from __future__ import annotations

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.fitting.whatif import WhatIf
from jointload.insole.limb.change import Change
from jointload.landing.landed import Measure
from jointload.report.figures.work_bars import JOINTS, absorbed
from jointload.report.words.cells import is_unknown, told_change, told_measure
from jointload.report.words.quantities import SIDE_WORDS, number_text, quantity

TOLD_CHANGES = (
    "rearfoot_roll", "pressure_centre_medial", "rearfoot_eversion_peak", "knee_over_ankle",
    "knee_adduction_moment_peak", "knee_flexion_moment_peak", "ankle_inversion_moment_peak",
    "ankle_eversion_moment_peak", "hip_adduction_moment_peak",
)  # fmt: skip
"""Where a shape acts, and every joint above it: no target without what it may cost elsewhere."""
MOMENTS_TOLD = tuple(name for name in TOLD_CHANGES if "moment" in name)


def forces_answer(analysis: Analysis) -> str:
    return _sentences(
        _pushed(analysis),
        _sided(analysis, "The force rose by ", "{0} body weights a second on the {side}", "vertical_loading_rate"),
    )  # fmt: skip


def hard_words(analysis: Analysis) -> str:
    """How hard, in one sentence."""
    return _sentences(_pushed(analysis))


def _pushed(analysis: Analysis) -> str:
    clause = "the {side} foot with up to {0} body weights {1} ms after it touched"
    return _sided(analysis, "The ground pushed ", clause, "vertical_force_peak", "time_to_peak")


def alignment_answer(analysis: Analysis) -> str:
    return _sentences(
        _sided(analysis, "From touch-down to the deepest, ", "the {side} knee bent from {0}° to {1}°",
               "knee_flexion_touchdown", "knee_flexion_peak"),
        _knees(analysis),
    )  # fmt: skip


def aligned_words(analysis: Analysis) -> str:
    """Where the knees stood, in one sentence."""
    return _sentences(_knees(analysis))


def _knees(analysis: Analysis) -> str:
    """Where each knee stood beside its line from ankle to hip; straight where the interval does not tell."""
    away, straight = [], []
    for side in analysis.landing.events.sides:
        measure = _measure(analysis, "knee_over_ankle", side)
        if measure is None:
            continue
        if measure.low <= 0.0 <= measure.high:
            straight.append(SIDE_WORDS[side])
        else:
            told = told_measure(measure, analysis)
            way = "inwards" if measure.value > 0 else "outwards"
            away.append(f"the {SIDE_WORDS[side]} knee stood {told.value.lstrip('−')}° {way}")
    line = f"At the deepest flexion, seen from the front, {' and '.join(away)} of the line from ankle to hip"
    start = "at the deepest flexion, seen from the front, " if not away else ""
    open_ = f"{start}{' and '.join(f'the {side}' for side in straight)} knee cannot be told from straight"
    texts = ([line] if away else []) + ([open_] if straight else [])
    words = "; ".join(texts)
    return words[:1].upper() + words[1:]


def moments_answer(analysis: Analysis) -> str:
    lumbar = _measure(analysis, "l5s1_extension_moment_peak", "")
    back = "" if lumbar is None else told_measure(lumbar, analysis).value
    return _sentences(
        _sided(analysis, "At most, in Nm/kg, ", "{0} bent the {side} knee, {1} pushed it outwards, {2} inwards",
               "knee_flexion_moment_peak", "knee_adduction_moment_peak", "knee_abduction_moment_peak", between="; "),
        f"The lower back answered with {back} Nm/kg of extension" if back else "",
    )  # fmt: skip


def work_answer(analysis: Analysis) -> str:
    texts = []
    for side in analysis.landing.events.sides:
        parts = absorbed(analysis, side)
        total = sum(parts.values())
        if np.isfinite(total) and total > 0:
            shares = ", ".join(f"{joint} {100 * parts[joint] / total:.0f}\u00a0%" for joint in JOINTS)
            texts.append(f"The {SIDE_WORDS[side]} leg absorbed {number_text(total, 'J/kg')} J/kg: {shares}")
    return _sentences(*texts)


def change_answer(analysis: Analysis, whatif: WhatIf) -> str:
    """What moves whoever the rider is, then which of the moments might not move at all, then what is too small."""
    rows = [row for row in whatif.rows if row.quantity in TOLD_CHANGES and np.isfinite(row.change)]
    small = [row for row in rows if row.negligible]
    moved = [row for row in rows if row not in small and row.distinguishable]
    left_open = [row for row in rows if row not in small and not row.distinguishable]
    return _sentences(
        *(
            f"{words}: {', '.join(_change_text(row, analysis) for row in some)}" if some else ""
            for words, some in (
                ("Predicted for one person, with the interval clear of zero", moved),
                ("Not distinguishable from no change", left_open),
                ("Negligible", small),
            )
        )
    )


def _change_text(row: Change, analysis: Analysis) -> str:
    what = quantity(row.quantity)
    return f"{what.plain_name} {'+' if row.change > 0 else ''}{told_change(row, analysis).value} {what.unit}"


def _sided(analysis: Analysis, start: str, clause: str, *names: str, between: str = " and ") -> str:
    """`start`, then the clause for each side whose numbers are all known; empty when there is none."""
    clauses = []
    for side in analysis.landing.events.sides:
        found = [_measure(analysis, name, side) for name in names]
        numbers = [told_measure(measure, analysis).value for measure in found if measure is not None]
        if len(numbers) == len(names):
            clauses.append(clause.format(*numbers, side=SIDE_WORDS[side]))
    return start + between.join(clauses) if clauses else ""


def _measure(analysis: Analysis, name: str, side: str) -> Measure | None:
    """The measure where it is known."""
    found = [m for m in analysis.measures if (m.quantity, m.side) == (name, side) and not is_unknown(m)]
    return found[0] if found else None


def _sentences(*texts: str) -> str:
    known = [text for text in texts if text]
    return ". ".join(known) + "." if known else ""

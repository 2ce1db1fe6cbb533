"""True values of the quantities of a report, read from the exact motion, and how far an analysis is from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.analysis import analyse
from jointload.intake.recording import SIDES, Array, Recording
from jointload.intake.rider import G
from jointload.intake.session import Session
from jointload.landing.alignment import alignment
from jointload.landing.measures.force_measures import TRAVEL_SPEED, travel
from jointload.numerics.signals import integral
from jointload.settings import Settings
from jointload.synthetic.landing import SyntheticLanding
from jointload.synthetic.standing import label_map

SEARCH_TIME = 1.0
"""The pelvis is lowest within this time [s] of touch-down, as in the analysis."""
IMPULSE_TIME = 0.1
WINDOW_EDGE = 1e-9


@dataclass(frozen=True)
class TruthRow:
    """One true value in SI units; side is 'right', 'left' or ''."""

    quantity: str
    side: str
    value: float
    unit: str


def truth_table(landing: SyntheticLanding) -> list[TruthRow]:
    """True values from a foot's touch-down to the lowest pelvis, without any filter."""
    rows = [TruthRow(name, "", value, unit) for name, value, unit in _body_values(landing)]
    for side in SIDES:
        rows += [TruthRow(name, side, value, unit) for name, value, unit in _side_values(landing, side)]
    return rows


def _body_values(landing: SyntheticLanding) -> list[tuple[str, float, str]]:
    first = min(landing.touchdown.values())
    speed = landing.speed_at(first)
    span = landing_span(landing)
    lumbar = landing.loads.of("l5s1", "flexion")[span]
    return [
        ("body_weight_plate", landing.spec.rider.weight, "N"),
        ("touchdown_speed", speed, "m/s"),
        ("drop_height", speed**2 / (2 * G), "m"),
        ("fall_acceleration", G, "m/s2"),
        ("l5s1_extension_moment_peak", float(lumbar.max()), "N m"),
    ]


def landing_span(landing: SyntheticLanding, side: str = "") -> NDArray[np.bool_]:
    """(N,) samples from a foot's touch-down, or the first foot's, to the lowest pelvis."""
    start = landing.touchdown.get(side, min(landing.touchdown.values()))
    return np.asarray((landing.time >= start - WINDOW_EDGE) & (landing.time <= _lowest(landing) + WINDOW_EDGE))


def _lowest(landing: SyntheticLanding) -> float:
    """Time [s] of the lowest pelvis, at the middle of the hips."""
    first = min(landing.touchdown.values())
    after = (landing.time >= first) & (landing.time <= first + SEARCH_TIME)
    height = landing.poses.place(landing.body, "hip_mid")[1]
    return float(landing.time[after][np.argmin(height[after])])


def _side_values(landing: SyntheticLanding, side: str) -> list[tuple[str, float, str]]:
    start, time = landing.touchdown[side], landing.time
    span = landing_span(landing, side)
    force, dt = landing.force[:, SIDES.index(side)], 1.0 / landing.spec.force_rate

    def angle(joint: str, rotation: str) -> Array:
        return landing.angles.of(f"{side}_{joint}", rotation)

    def moment(joint: str, rotation: str) -> Array:
        return landing.loads.of(f"{side}_{joint}", rotation)[span]

    adduction = moment("knee", "adduction")
    values = [
        ("vertical_force_peak", force[1, span].max(), "N"),
        ("time_to_peak", time[span][np.argmax(force[1, span])] - start, "s"),
        ("vertical_impulse_100ms", _impulse(force[1], time, start), "N s"),
        ("braking_force_peak", np.max(-(_forward(landing) @ force[[0, 2]])[span]), "N"),
        ("knee_flexion_touchdown", np.interp(start, time, angle("knee", "flexion")), "rad"),
        ("ankle_dorsiflexion_touchdown", np.interp(start, time, angle("ankle", "dorsiflexion")), "rad"),
        ("ankle_dorsiflexion_peak", angle("ankle", "dorsiflexion")[span].max(), "rad"),
        ("rearfoot_eversion_peak", -angle("ankle", "inversion")[span].min(), "rad"),
        ("knee_flexion_peak", angle("knee", "flexion")[span].max(), "rad"),
        ("knee_internal_rotation_peak", angle("knee", "internal_rotation")[span].max(), "rad"),
        ("hip_flexion_peak", angle("hip", "flexion")[span].max(), "rad"),
        ("ankle_dorsiflexion_moment_peak", moment("ankle", "dorsiflexion").max(), "N m"),
        ("ankle_inversion_moment_peak", -moment("ankle", "inversion").min(), "N m"),
        ("knee_flexion_moment_peak", moment("knee", "flexion").max(), "N m"),
        ("knee_adduction_moment_peak", adduction.max(), "N m"),
        ("knee_adduction_impulse", integral(np.maximum(adduction, 0.0), dt), "N m s"),
        ("hip_flexion_moment_peak", moment("hip", "flexion").max(), "N m"),
        ("hip_adduction_moment_peak", moment("hip", "adduction").max(), "N m"),
    ]
    for joint in ("ankle", "knee", "hip"):
        power = landing.loads.power[landing.loads.joints.index(f"{side}_{joint}"), span]
        values.append((f"{joint}_work_negative", integral(np.minimum(power, 0.0), dt), "J"))
    return [(name, float(value), unit) for name, value, unit in values]


def _forward(landing: SyntheticLanding) -> Array:
    """(2,) X and Z of the direction that braking is against: of travel, or where the pelvis faces."""
    rate, first = landing.spec.force_rate, min(landing.touchdown.values())
    hips = landing.poses.place(landing.body, "hip_mid")[[0, 2]]
    velocity = travel(hips, rate, np.array(round(first * rate)))
    speed = float(np.hypot(*velocity))
    if speed > TRAVEL_SPEED:
        return np.asarray(velocity / speed)
    return alignment(landing.poses, landing.body, round(first * rate)).facing[[0, 2], 0]


def _impulse(force: Array, time: Array, start: float) -> float:
    """[N s] of a force (N,) [N] over IMPULSE_TIME from `start`, which need not fall on a sample."""
    grown = np.concatenate(([0.0], np.cumsum(0.5 * (force[1:] + force[:-1]) * np.diff(time))))
    return float(np.interp(start + IMPULSE_TIME, time, grown) - np.interp(start, time, grown))


DISPLAY = {"rad": ("deg", 180.0 / np.pi), "s": ("ms", 1000.0)}
"""Units in which the error table reads better, with their factor."""
NOTHING = 1e-6
"""An error below this share of the true size is shown as 0."""
UNFILTERED = Settings(smoothing="fixed", cutoff=None, impact_cutoff=None)


@dataclass(frozen=True, eq=False)
class Trial:
    """A simulated landing with the recordings a laboratory would have: both disturbed, and both as they truly were."""

    landing: SyntheticLanding
    static: Recording
    recorded: Recording
    exact_static: Recording
    exact: Recording

    def errors(self, settings: Settings, noise: bool) -> dict[tuple[str, str], float]:
        """Analysed minus true value of every (quantity, side), SI units."""
        static, trial = (self.static, self.recorded) if noise else (self.exact_static, self.exact)
        analysis = analyse(Session(trial, static, label_map(), self.landing.spec.rider), settings, variants=False)
        found = {(measure.quantity, measure.side): measure.value for measure in analysis.measures}
        return {(r.quantity, r.side): found[r.quantity, r.side] - r.value for r in truth_table(self.landing)}


def error_table(trials: Sequence[Trial]) -> str:
    """Markdown: mean true size and mean absolute error of each quantity over all trials and sides.

    Without noise and filter what is left is sampling at the marker rate; default settings without noise add what the
    balance makes of that; the next column adds camera, skin and plates, the last one filters these at 20 Hz.
    """
    fixed = Settings(smoothing="fixed", cutoff=20.0)
    columns = [(UNFILTERED, False), (Settings(), False), (Settings(), True), (fixed, True)]
    errors = [[trial.errors(*column) for trial in trials] for column in columns]
    truths = [truth_table(trial.landing) for trial in trials]
    head = "| quantity | unit | true size | no noise, no filter | no noise, default | noise, default | noise, 20 Hz |"
    lines = [head, "|---|---|---:|---:|---:|---:|---:|"]
    for name, si_unit in {row.quantity: row.unit for row in truths[0]}.items():
        unit, factor = DISPLAY.get(si_unit, (si_unit, 1.0))
        true = np.mean([abs(row.value) for rows in truths for row in rows if row.quantity == name])
        means = [np.mean([abs(e) for one in each for key, e in one.items() if key[0] == name]) for each in errors]
        shown = [f"{factor * value:.3g}" if value > NOTHING * true else "0" for value in (true, *means)]
        lines.append(" | ".join((f"| {name}", unit, *shown)) + " |")
    return "\n".join(lines)

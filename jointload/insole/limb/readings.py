"""What is read from a poured landing: series of angles, moments and tendon force, their peaks, and named instants."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jointload.insole.bed.person import TISSUE
from jointload.insole.limb.change import Drawn
from jointload.insole.limb.pouring import Leg, Poured
from jointload.insole.limb.response import FootResponse
from jointload.insole.limb.standing import Standing, pressure_centre
from jointload.intake.recording import SIDES, Array
from jointload.intake.rider import G
from jointload.landing.landed import Landing
from jointload.landing.measures.load_measures import MOMENT_PEAKS
from jointload.loads.tissue.achilles import achilles_force
from jointload.loads.tissue.knee import knee_tissue
from jointload.loads.tissue.spreads import tissue_spreads
from jointload.numerics.rotations import rotate_back
from jointload.numerics.signals import integral, peak

NEAR_ZERO = 0.10
"""No per-cent change of a moment below this [Nm/kg], of an impulse below a tenth of it [Nm s/kg] (choice)."""
NEAR_ZERO_FORCE = 1.0
"""No per-cent change of a tendon's force below this [N/kg] (choice)."""

Series = Callable[[Leg, Any], Array]
"""A leg (D', W) and the rows (D,) of it that the drawn persons stand in, to (D, W)."""
SAGITTAL = ("hip_flexion", "knee_flexion", "ankle_dorsiflexion")
PELVIS = ("pelvic_drop", "pelvis_tilt")
KNEE_FORCES = ("tibiofemoral_medial_force", "tibiofemoral_lateral_force", "patellofemoral_force")


@dataclass(frozen=True)
class Reading:
    """A series through the landing and the number it comes down to; near_zero as in Drawn."""

    quantity: str
    series: Series
    to_number: Callable[[Array], Array]
    near_zero: float = np.inf
    reason: str = ""
    """Told where the reading is not known."""


def readings(landing: Landing, side: str, persons: Mapping[str, Array]) -> dict[str, Reading]:
    """Quantity -> how it is read for the drawn persons, knee adduction and flexion together.

    persons : values (D,) as a Person has them
    """
    mass, flexed = landing.weight / G, _flexed_frame(landing, side)
    series = series_of(landing, side, persons)
    out = [
        Reading(f"{name}_peak", series[name], peak)
        for name in (
            "rearfoot_eversion",
            "rearfoot_inversion",
            "knee_adduction",
            "knee_internal_rotation",
            "hip_adduction",
            *SAGITTAL,
            *PELVIS,
        )
    ]
    out.append(Reading("knee_over_ankle", _knee_over_ankle(landing, side), lambda rows: rows[:, flexed]))
    out += [Reading(name, series[name.removesuffix("_peak")], peak, NEAR_ZERO * mass) for name in MOMENT_PEAKS]
    out.append(
        Reading(
            "knee_adduction_impulse",
            series["knee_adduction_moment"],
            lambda rows: integral(np.maximum(rows, 0.0), 1.0 / landing.poses.rate),
            0.1 * NEAR_ZERO * mass,
        )
    )
    beyond = "the ankle leaves the range of the tendon's arm"
    out.append(Reading("achilles_force_peak", series["achilles_force"], peak, NEAR_ZERO_FORCE * mass, beyond))
    beyond = "the knee bends beyond the angles at which the force behind the kneecap is known"
    out += [Reading(f"{name}_peak", series[name], peak, NEAR_ZERO_FORCE * mass, beyond) for name in KNEE_FORCES]
    return {reading.quantity: reading for reading in out}


def series_of(landing: Landing, side: str, persons: Mapping[str, Array]) -> dict[str, Series]:
    """Name -> series (D, W), the names of the peaks without their last word."""
    out = {
        "rearfoot_eversion": _angle(f"{side}_ankle", "inversion", -1.0),
        "rearfoot_inversion": _angle(f"{side}_ankle", "inversion"),
        "knee_adduction": _angle(f"{side}_knee", "adduction"),
        "knee_internal_rotation": _angle(f"{side}_knee", "internal_rotation"),
        "hip_adduction": _angle(f"{side}_hip", "adduction"),
        **{name: _angle(f"{side}_{name.split('_')[0]}", name.split("_")[1]) for name in SAGITTAL},
        **{name: _pelvis(name) for name in PELVIS},
        **{name: _knee_force(name, side, persons) for name in KNEE_FORCES},
    }
    for name, (joint, rotation, kind, sign) in MOMENT_PEAKS.items():
        out[name.removesuffix("_peak")] = _moment(f"{side}_{joint}", rotation, kind, sign)
    out["achilles_force"] = _achilles(side, persons)
    return out


def drawn_loads(reading: Reading, poured: Poured, side: str) -> Drawn:
    """One quantity of every person, from a pour whose first row answers nothing."""
    after = np.arange(1, poured.rows)
    before, mechanics, person = (reading.to_number(rows) for rows in _three(reading.series, poured, after))
    return Drawn(
        reading.quantity, side, before, mechanics - before, person - before, reading.near_zero, reason=reading.reason
    )


def _three(series: Series, poured: Poured, after: NDArray[np.intp]) -> tuple[Array, Array, Array]:
    """A series (D, W) before, after by the mechanics and after with one person's own answers."""
    nothing = np.zeros_like(after)
    return series(poured.mechanics, nothing), series(poured.mechanics, after), series(poured.own, after)


def _angle(joint: str, rotation: str, sign: float = 1.0) -> Series:
    return lambda leg, rows: sign * leg.angles.of(joint, rotation)[rows]


def _moment(joint: str, rotation: str, kind: str, sign: float) -> Series:
    return lambda leg, rows: sign * leg.loads.of(joint, rotation, kind)[rows]


def _pelvis(name: str) -> Series:
    return lambda leg, rows: np.asarray(getattr(leg, name)[rows])


def _flexed_frame(landing: Landing, side: str) -> int:
    """Frame of the window at the measured landing's largest knee flexion."""
    return int(np.argmax(landing.angles.of(f"{side}_knee", "flexion")[landing.window(side)]))


def _knee_over_ankle(landing: Landing, side: str) -> Series:
    """The alignment's angle: at the ankle, from the line to the hip to the line to the knee, in the facing frame."""
    facing, medial = landing.alignment.facing[..., None], -1.0 if side == "right" else 1.0

    def series(leg: Leg, rows: Any) -> Array:
        places, joints = leg.loads.centre, leg.loads.joints
        hip, knee, ankle = (
            rotate_back(facing, places[:, joints.index(f"{side}_{joint}")][:, rows].reshape(3, -1))
            for joint in ("hip", "knee", "ankle")
        )
        lean = [np.arctan2(medial * (top - ankle)[2], (top - ankle)[1]) for top in (knee, hip)]
        return np.asarray((lean[0] - lean[1]).reshape(len(rows), -1) + leg.knee_aside[rows])

    return series


def _achilles(side: str, persons: Mapping[str, Array]) -> Series:
    factors = {name: persons[name][:, None] for name in ("achilles_arm", "achilles_growth")}

    def series(leg: Leg, rows: Any) -> Array:
        moment, angle = (part.of(f"{side}_ankle", "dorsiflexion")[rows] for part in (leg.loads, leg.angles))
        return achilles_force(moment, angle, factors)

    return series


def _knee_force(name: str, side: str, persons: Mapping[str, Array]) -> Series:
    factors = {key: persons[f"{TISSUE}{key}"][:, None] for key in tissue_spreads()}
    part = name.removeprefix("tibiofemoral_").removesuffix("_force")

    def series(leg: Leg, rows: Any) -> Array:
        flexion, adduction = (leg.loads.of(f"{side}_knee", rotation)[rows] for rotation in ("flexion", "adduction"))
        angle, press = leg.angles.of(f"{side}_knee", "flexion")[rows], leg.knee_press[rows]
        return np.asarray(getattr(knee_tissue(flexion, adduction, angle, press, factors), part))

    return series


# Named instants


def named_instants(landing: Landing, side: str) -> dict[str, int]:
    """Name -> frame of one foot's window; the lowest pelvis only where it lies in the window."""
    window, rate = landing.window(side), landing.poses.rate
    vertical = landing.contact.force[1, SIDES.index(side), window]
    adduction, flexion = (landing.loads.of(f"{side}_knee", name)[window] for name in ("adduction", "flexion"))
    out = {
        "touch-down": 0,
        "largest vertical force": int(np.argmax(vertical)),
        "largest knee adduction moment": int(np.argmax(adduction)),
        "largest knee flexion moment": int(np.argmax(flexion)),
    }
    lowest = landing.events.lowest_pelvis
    if np.isfinite(lowest) and 0 <= round(lowest * rate) - window.start < vertical.size:
        out["lowest pelvis"] = round(lowest * rate) - window.start
    return out


def drawn_at_instants(
    landing: Landing, standing: Standing, response: FootResponse, poured: Poured, persons: Mapping[str, Array]
) -> tuple[Drawn, ...]:
    """Every series at every named instant."""
    side, mass = standing.side, landing.weight / G
    out: list[Drawn] = []
    instants = named_instants(landing, side)
    frames = landing.window(side).start + np.array(list(instants.values()))
    forward, medial = pressure_centre(landing, side, standing.place, frames)
    measured = {"pressure_centre_medial": medial, "pressure_centre_forward": forward}
    for name, values in foot_series(response).items():
        before, own = measured.get(name, np.full(frames.size, np.nan)), response.own_answer(name)
        out += [
            Drawn(name, side, np.full(response.draws, old), values[:, k], values[:, k] + own, instant=word)
            for old, (word, k) in zip(before, instants.items(), strict=True)
        ]
    after = np.arange(1, poured.rows)
    for name, series in series_of(landing, side, persons).items():
        near_zero = NEAR_ZERO * mass if name.endswith("moment") else np.inf
        near_zero = NEAR_ZERO_FORCE * mass if name.endswith("force") else near_zero
        before, mechanics, person = _three(series, poured, after)
        out += [
            Drawn(name, side, before[:, k], (mechanics - before)[:, k], (person - before)[:, k], near_zero, word)
            for word, k in instants.items()
        ]
    return tuple(out)


def foot_series(response: FootResponse) -> dict[str, Array]:
    """Quantity -> (D, F) change of what the foot does."""
    return {
        "rearfoot_roll": response.roll,
        "foot_pitch": response.pitch,
        "pressure_centre_medial": response.medial,
        "pressure_centre_forward": response.forward,
        "tibial_rotation": response.shank_turn,
        "pelvis_shift": response.pelvis_shift,
    }

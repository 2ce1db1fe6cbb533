"""What a fitted shape is to lower, and what it may not exceed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.foot.on_insole import ON_INSOLE
from jointload.insole.limb.feet import LEAST, LEAST_FORCE
from jointload.insole.limb.readings import NEAR_ZERO, NEAR_ZERO_FORCE

REGIONS = ("medial_heel", "lateral_heel", "midfoot", "first_metatarsal", "other_metatarsals", "toes")
TARGETS = {
    "knee_adduction_moment": "knee_adduction_moment_peak",
    "knee_adduction_impulse": "knee_adduction_impulse",
    "rearfoot_eversion": "rearfoot_eversion_peak",
    "knee_over_ankle": "knee_over_ankle",
    "hip_adduction": "hip_adduction_peak",
    "pelvic_drop": "pelvic_drop_peak",
    "achilles_load": "achilles_force_peak",
    "peak_pressure": "peak_pressure",
    "heel_pressure": "heel_pressure_peak",
    "pad_strain": "heel_pad_strain_peak",
    "heel_force": "heel_force_peak",
    "ball_pressure": "ball_pressure_peak",
    "toe_push": "toe_push_force_peak",
    **{f"peak_pressure_{region}": f"peak_pressure_{region}" for region in REGIONS},
}
"""What a user may ask to lower -> the quantity of a prediction."""
ANGLES = ("rearfoot_eversion_peak", "knee_over_ankle", "hip_adduction_peak", "pelvic_drop_peak")
ANGLE_SCALE = np.deg2rad(5.0)
"""In a weighted set an angle counts in units of this [rad], all else by its share of the value before (choice)."""


@dataclass(frozen=True)
class Target:
    """Quantities of a prediction to be lowered, with weights that add up to one."""

    weights: tuple[tuple[str, float], ...]
    text: str

    @property
    def quantities(self) -> tuple[str, ...]:
        return tuple(name for name, _ in self.weights)

    @property
    def of_feet(self) -> bool:
        """Whether heel, ball or toes are to be spared."""
        return any(name in ON_INSOLE for name in self.quantities)

    @property
    def single(self) -> bool:
        return len(self.weights) == 1


def parse_target(text: str) -> Target:
    """A target from 'knee_adduction_moment', or from a weighted set 'knee_adduction_moment:2,achilles_load:1'."""
    found: dict[str, float] = {}
    for part in text.split(","):
        name, _, weight = part.strip().partition(":")
        if name not in TARGETS:
            raise SettingError(
                expected_found("target", "one of " + ", ".join(TARGETS), repr(name), "the command", "choose one")
            )
        found[name] = _weight(weight or "1", name) + found.get(name, 0.0)
    total = sum(found.values())
    words = [f"{_plain(name)} ({100 * weight / total:.0f} %)" for name, weight in found.items()]
    plain = _plain(next(iter(found))) if len(found) == 1 else " and ".join(words)
    return Target(tuple((TARGETS[name], weight / total) for name, weight in found.items()), plain)


def _plain(name: str) -> str:
    return name.replace("_", " ").replace("achilles", "Achilles")


def _weight(text: str, name: str) -> float:
    try:
        weight = float(text)
    except ValueError:
        weight = math.nan
    if not 0 < weight < math.inf:
        raise SettingError(
            expected_found("target's weight", "a number above 0", repr(text), name, f"write {name}:2 or {name} alone")
        )
    return weight


@dataclass(frozen=True)
class Limits:
    """What a fitted shape may not exceed; a rise is judged at the upper end of one person's 95 % interval.

    stack, lift : [m] greatest height anywhere under heel and ball, heel lift;  posting : [rad]
    inversion : [rad] that the ankle's largest inversion may rise by
    knee_rise, pressure_rise : share of the other knee moment, and of the largest pressure, that these may rise by
    cup : whether a close heel cup may be used
    """

    stack: float = 0.008
    posting: float = math.radians(8.0)
    lift: float = 0.010
    inversion: float = math.radians(3.0)
    knee_rise: float = 0.10
    pressure_rise: float = 0.10
    cup: bool = True

    def __post_init__(self) -> None:
        for what, value, low, high, factor, unit in (
            ("stack height", self.stack, 0.003, 0.025, 1000, "mm"),
            ("posting", self.posting, 0.0, math.radians(10.0), 180 / math.pi, "deg"),
            ("heel lift", self.lift, 0.0, 0.020, 1000, "mm"),
            ("rise of inversion", self.inversion, 0.0, math.radians(15.0), 180 / math.pi, "deg"),
            ("rise of the other knee moment", self.knee_rise, 0.0, 1.0, 100, "%"),
            ("rise of the largest pressure", self.pressure_rise, 0.0, 1.0, 100, "%"),
        ):
            if not low <= value <= high * (1 + 1e-9):
                raise SettingError(
                    expected_found(
                        f"limit of the {what}", f"{factor * low:g} to {factor * high:g} {unit}",
                        f"{factor * value:g} {unit}", "the fit", "choose one inside",
                    )
                )  # fmt: skip


@dataclass(frozen=True)
class Rise:
    """A quantity whose rise is limited: the most it may rise by, in SI units, of a pressure as a share."""

    quantity: str
    most: float
    words: str


INVERSION, BALL = "rearfoot_inversion_peak", "ball_pressure_peak"
KNEE = {
    "knee_adduction_moment_peak": ("knee_adduction_moment_peak", "knee_adduction_impulse"),
    "knee_flexion_moment_peak": (),
}
"""A knee moment -> the targets that speak of it."""


def rises(limits: Limits, target: Target, before: dict[str, float], mass: float) -> tuple[Rise, ...]:
    """The limited rises; before : quantity -> value before of the knee moments [N m], and of the ball's
    pressure [Pa] where heel, ball or toes are aimed at;  mass : [kg]."""
    out = [Rise(INVERSION, limits.inversion, f"inversion of the ankle, at most {math.degrees(limits.inversion):g} deg")]
    for name, spoken in KNEE.items():
        if not set(target.quantities) & {name, *spoken}:
            most = limits.knee_rise * max(before[name], NEAR_ZERO * mass)
            words = name.removesuffix("_peak").replace("_", " ")
            out.append(Rise(name, most, f"{words}, at most {100 * limits.knee_rise:g} % more"))
    if not any(name == "peak_pressure" for name in target.quantities):
        words = f"largest pressure under the foot, at most {100 * limits.pressure_rise:g} % more"
        out.append(Rise("peak_pressure", limits.pressure_rise, words))
    if BALL in before and not any(name == BALL for name in target.quantities):
        words = f"largest pressure under the ball, at most {100 * limits.pressure_rise:g} % more"
        out.append(Rise(BALL, limits.pressure_rise * before[BALL], words))
    return tuple(out)


def scale_of(quantity: str, before: float, mass: float) -> float:
    """What a change of a quantity counts in, in a weighted set [SI]; a pressure's changes are shares already."""
    if quantity.startswith("peak_pressure"):
        return 1.0
    if quantity in ANGLES:
        return float(ANGLE_SCALE)
    if quantity in ON_INSOLE:
        return max(before, LEAST.get(quantity, LEAST_FORCE))
    least = NEAR_ZERO_FORCE if quantity.startswith("achilles") else NEAR_ZERO
    least *= 0.1 if quantity.endswith("impulse") else 1.0
    return max(before, least * mass)

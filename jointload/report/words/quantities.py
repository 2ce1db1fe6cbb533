"""What every number of a report means, and its way from SI units to the units people read.

Degrees, milliseconds, body weights and per-kilogram values exist only in this package.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from jointload.errors import ModelDataError, known_names
from jointload.intake.rider import G
from jointload.modeldata import load_model

UNIT_FACTORS = {
    ("rad", "deg"): 180.0 / math.pi, ("s", "ms"): 1000.0, ("m", "mm"): 1000.0, ("Pa", "MPa"): 1e-6, ("Pa", "kPa"): 1e-3,
    ("Pa s", "kPa s"): 1e-3, ("ratio", "%"): 100.0,
}  # fmt: skip
"""Shown units in one SI unit; every other pair differs by its normaliser alone."""
DECIMALS = {
    "deg": 1, "ms": 0, "N": 0, "BW": 2, "BW/s": 1, "BW s": 3, "m": 3, "m/s": 2, "m/s2": 2, "s": 3, "ratio": 2,
    "Nm/kg": 2, "Nm s/kg": 3, "J/kg": 2, "W/kg": 1, "mm": 1, "%": 0, "MPa": 1,
    "kPa": 0, "kPa s": 1, "J": 1,
}  # fmt: skip
"""Decimals that a reader can use of a number without an interval; CSV files keep every digit beside."""
MOST_MORE = 2
UNKNOWN = "–"
DIVISOR_WORDS = {"BW": "body weight", "body_mass": "body mass", "none": "nothing"}
SIDE_WORDS = {"right": "right", "left": "left", "": "body"}


PLAIN_NAMES = {
    "vertical_force_total_peak": "peak vertical force, both feet",
    "vertical_force_first_peak": "first peak of the vertical force",
    "vertical_force_second_peak": "second peak of the vertical force",
    "vertical_impulse_100ms": "vertical impulse, first 100 ms",
    "time_to_peak": "time to the peak force",
    "time_to_braking_peak": "time to the peak braking force",
    "friction_use_peak": "peak use of friction",
    "body_weight_plate": "body weight on the plates",
    "body_weight_rider": "body weight from rider.toml",
    "touchdown_speed": "touch-down speed",
    "drop_height": "height of the drop",
    "l5s1_moment_disagreement": "L5/S1 moment, from above against from below",
    "lordosis_standing": "lordosis in standing",
    "lordosis_force_peak": "lordosis at the peak force",
    "force_asymmetry_right_left": "asymmetry of force, right to left",
    "force_asymmetry_back_front": "asymmetry of force, back to front foot",
    "work_asymmetry_right_left": "asymmetry of work, right to left",
    "work_asymmetry_back_front": "asymmetry of work, back to front foot",
    "hip_pelvis_angle_touchdown": "angle of thigh and pelvis at touch-down",
    "tibiofemoral_medial_share": "medial share of the tibiofemoral force",
    "peak_pressure_medial_heel": "peak pressure, medial heel",
    "peak_pressure_lateral_heel": "peak pressure, lateral heel",
    "peak_pressure_midfoot": "peak pressure, midfoot",
    "peak_pressure_first_metatarsal": "peak pressure, first metatarsal head",
    "peak_pressure_other_metatarsals": "peak pressure, other metatarsal heads",
    "peak_pressure_toes": "peak pressure, toes",
    "heel_pressure_of_walking": "heel pressure, times brisk barefoot walking",
    "heel_pad_way_used": "way of the heel's pad used up",
    "heel_pad_energy": "work taken by the heel's pad",
    "heel_energy_of_drop_test": "work of the heel's pad, times a drop test",
    "heel_force_of_bone": "heel force, of what broke bare heel bones",
    "first_metatarsal_pressure_time": "pressure and time, first metatarsal head",
    "other_metatarsals_pressure_time": "pressure and time, other metatarsal heads",
    "ball_pressure_of_walking": "ball pressure, times brisk barefoot walking",
    "toe_push_force_peak": "peak push of the toes",
    "toe_push_force_impulse": "push of the toes and time",
    "toe_push_time": "time that the toes push",
    "toe_slide": "foot slides in the shoe",
    "friction_needed": "friction needed inside the shoe",
    "toe_bend_peak": "peak bending of the first toe joint",
}
"""Where the rules of `plain` would not give what people say."""


def plain(name: str) -> str:
    """A quantity's name as people say it: knee_flexion_peak is peak knee flexion."""
    if name in PLAIN_NAMES:
        return PLAIN_NAMES[name]
    words = name.replace("l5s1", "L5/S1")
    for ending, before, after in _ENDINGS:
        if words.endswith(ending):
            words = f"{before}{words.removesuffix(ending)}{after}"
            break
    return words.replace("_", " ")


_ENDINGS = (
    ("_absorbed_peak", "peak ", " absorbed"),
    ("_peak", "peak ", ""),
    ("_touchdown", "", " at touch-down"),
    ("_work_negative", "work absorbed by the ", ""),
    ("_work_share", "share of the work, ", ""),
)


@dataclass(frozen=True)
class Quantity:
    """One row of the glossary: unit is what is shown, si_unit what the code holds."""

    name: str
    unit: str
    si_unit: str
    normaliser: str
    definition: str
    positive: str
    frame: str
    kind: str
    source: str

    @property
    def full_unit(self) -> str:
        """The unit with 'external' or 'internal' behind it where that matters: Nm/kg external."""
        return self.unit if self.kind == "none" else f"{self.unit} {self.kind}"

    @property
    def plain_name(self) -> str:
        """The name as people say it: peak knee flexion, knee flexion at touch-down."""
        return plain(self.name)


@dataclass(frozen=True)
class Band:
    """A published magnitude in shown units; `inside` says whether the value asked about lies in it."""

    low: float
    high: float
    unit: str
    inside: bool
    source: str


def of_joint(joint: str, what: str) -> str:
    """The side stands first: right_knee, flexion_angle -> right_knee_flexion_angle; l5s1, power -> l5s1_power."""
    return f"{joint}_{what}"


@lru_cache(maxsize=1)
def glossary() -> dict[str, Quantity]:
    """Every quantity by name: measures from models/glossary/quantities.csv, what else a prediction names from
    predictions.csv."""
    rows = [row for file in ("quantities", "predictions") for row in load_model("glossary", file).content]
    return {row["name"]: Quantity(**row) for row in rows}


def quantity(name: str) -> Quantity:
    """One quantity; ModelDataError lists the known names when it is not in the glossary."""
    known = glossary()
    if name not in known:
        raise ModelDataError(f"quantity {name!r} is not in models/glossary; the known ones are {known_names(known)}")
    return known[name]


def shown(value: float, what: Quantity, weight: float) -> float:
    """A value in SI units as it is shown; weight : body weight [N]."""
    divisor = {"BW": weight, "body_mass": weight / G, "none": 1.0}[what.normaliser]
    return value * UNIT_FACTORS.get((what.si_unit, what.unit), 1.0) / divisor


def number_text(value: float, unit: str, extra: int = 0) -> str:
    """A shown value with the decimals of its unit and `extra` more; an en dash when it is unknown."""
    return decimal_text(value, DECIMALS.get(unit, 3) + extra)


def decimal_text(value: float, decimals: int) -> str:
    """An en dash when it is unknown; zero has no sign."""
    if not math.isfinite(value):
        return UNKNOWN
    text = f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def two_figures(value: float) -> str:
    """A ratio as 0.20, 2.0, 17 or 170: what an interval a third wide supports, never with an exponent."""
    rounded = float(f"{value:.2g}")
    return f"{rounded:.0f}" if abs(rounded) >= 10.0 else f"{rounded:#.2g}"


def range_text(low: float, high: float, text: Callable[[float], str] = two_figures) -> str:
    """Such as '2.0 to 170', once where both ends read alike; empty where either is unknown."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return ""
    first, last = text(low), text(high)
    return first if first == last else f"{first} to {last}"


@dataclass(frozen=True)
class Told:
    """A number in the digits that its interval supports: value, low and high as texts, the ends empty where unknown."""

    value: str
    low: str
    high: str
    decimals: int

    @property
    def interval(self) -> str:
        """Such as '0.14 to 0.69'; empty where it is unknown."""
        return ends_text(self.low, self.high, self.decimals) if self.low else ""


def told_number(value: float, low: float, high: float, unit: str, extra: int = 0) -> Told:
    """A shown value and its 95 % interval, all in the decimals that the interval supports, `extra` more than those of
    the unit at most."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return Told(number_text(value, unit, extra), "", "", DECIMALS.get(unit, 3) + extra)
    decimals = supported_decimals(low, high, DECIMALS.get(unit, 3) + extra)
    middle, first, last = (decimal_text(each, decimals) for each in (value, low, high))
    return Told(middle, first, last, decimals)


def interval_text(low: float, high: float, decimals: int) -> str:
    """Such as '0.14 to 0.69'; an en dash where either end is unknown."""
    known = math.isfinite(low) and math.isfinite(high)
    return ends_text(decimal_text(low, decimals), decimal_text(high, decimals), decimals) if known else UNKNOWN


def ends_text(low: str, high: str, decimals: int) -> str:
    """Ends that would read alike are told by how near they lie."""
    return f"{low} to {high}" if low != high else f"within {10.0**-decimals:.{decimals}f} of {low}"


def supported_decimals(low: float, high: float, most: int) -> int:
    """Decimals that show one digit of half an interval, two where it begins with 1 or 2 (common practice), and `most`
    of them; more, MOST_MORE at most, where an end that is not zero would read as zero, or both ends alike."""
    half = 0.5 * abs(high - low)
    if not half > 0.0:
        return most
    place = math.floor(math.log10(half))
    two = half / 10.0**place < 3.0
    decimals = min(max(0, int(two) - place), most)
    while decimals < most + MOST_MORE and _hides(low, high, decimals):
        decimals += 1
    return decimals


def _hides(low: float, high: float, decimals: int) -> bool:
    """Whether so few decimals take off what an interval says."""
    ends = [f"{end:.{decimals}f}" for end in (low, high)]
    return ends[0] == ends[1] or any(end and not float(text) for end, text in zip((low, high), ends, strict=True))


def sanity(name: str, task: str, value: float) -> Band | None:
    """The published band of a quantity for a task, None when there is none.

    task : landing, running or walking;  value : in shown units
    """
    for row in load_model("sanity", "landings").content:
        if (row["quantity"], row["task"]) == (name, task):
            low, high = float(row["low"]), float(row["high"])
            return Band(low, high, row["unit"], low <= value <= high, f"{row['source']} ({row['read']}): {row['note']}")
    return None

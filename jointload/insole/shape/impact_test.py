"""Impact tests of a cushion as laboratories make them: a mass is dropped on it, force or acceleration is recorded."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from jointload.insole.shape.compression import (
    FORCE_UNITS,
    LARGEST_E,
    CompressionTest,
    LayerFit,
    bad_test,
    check_depth,
    fit_layer,
    read_table,
    time_of,
)
from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.numerics.signals import zero_lag_lowpass

SIGNALS = {
    **{f"force_{unit}": ("force", factor) for unit, factor in FORCE_UNITS.items()},
    "acceleration_g": ("acceleration", G), "acceleration_ms2": ("acceleration", 1.0),
}  # fmt: skip
"""Head of the recorded column -> what it is, and its factor to SI."""
HEADS = "time_s or time_ms, and one of " + ", ".join(SIGNALS)
CUTOFF = 1000.0
"""Low-pass of a recorded impact [Hz] (choice; it lasts 10 to 30 ms)."""
OVERSAMPLED = 4.0
"""A recording is filtered where it was sampled so many times as often as the cut-off."""
TOUCH = 0.02
"""Contact lasts while the force is above this share of its peak (choice)."""
RISING = 0.08
"""Up to this share of the peak a cushion's force is taken to rise evenly from the touch (choice)."""
UNEVEN = 0.02
"""Share by which steps of time may differ."""
LEFT_IN = 0.35
"""Share of the largest compression that a foam may still have when it lets the mass go (choice)."""
HEIGHT_DOUBT, HEIGHT_WRONG = 0.15, 0.5
"""Share by which the height may differ from what the impact itself tells before it is told, and before it is refused
(choice)."""
REPEATS = 0.05
"""Share by which the stiffness of two tests of one cushion differs (choice), for the doubt of its exponent of speed."""
LARGEST_DOUBT = 0.12
"""Standard deviation of an exponent above which the tests were too alike in speed to tell it (choice)."""
F1976 = {"mass": 8.5, "low": 0.030, "high": 0.070}
"""Mass [kg] and drop heights [m] of ASTM F1976, as its scope says."""


@dataclass(frozen=True)
class Dropped:
    """What was dropped: mass [kg], speed at touch [m/s]."""

    mass: float
    speed: float

    @property
    def height(self) -> float:
        return self.speed**2 / (2.0 * G)


@dataclass(frozen=True, eq=False)
class ImpactTest:
    """One impact, from touch to release.

    loop : its strain and stress;  peak_force [N];  energy : taken up to the deepest place [J]
    rebound : speed of the mass afterwards [m/s];  implied : lowest and highest drop height [m] that the impact itself
    tells;  cutoff [Hz], NaN where it was not filtered
    """

    loop: CompressionTest
    dropped: Dropped
    peak_force: float
    energy: float
    rebound: float
    implied: tuple[float, float]
    cutoff: float

    @property
    def peak_g(self) -> float:
        return self.peak_force / (self.dropped.mass * G)

    @property
    def energy_over_force(self) -> float:
        """[m]: what the cushion takes for each newton it lets through."""
        return self.energy / self.peak_force

    @property
    def returned(self) -> float:
        """Share of the drop's energy that the mass has afterwards."""
        return (self.rebound / self.dropped.speed) ** 2


@dataclass(frozen=True, eq=False)
class CushionFit:
    """The material that one or more tests gave; exponent_sd : of its exponent of speed, NaN where it is not told."""

    fit: LayerFit
    tests: tuple[CompressionTest | ImpactTest, ...]
    exponent_sd: float


def is_impact(path: str | Path) -> bool:
    """Whether a file is of an impact: a column of time, and a force or an acceleration without a compression."""
    head, rows = read_table(Path(path))
    pressed = any(name.partition("_")[0] in ("compression", "strain") for name in head)
    return time_of(head, rows) is not None and not pressed


def dropped_from(mass: float, height: float | None, energy: float | None, where: str) -> Dropped:
    """From a mass [kg] and either the height [m] or the energy [J]; SettingError where both or neither is given."""
    if (height is None) == (energy is None):
        found = "neither" if height is None else "both"
        raise bad_test("drop", "its height or its energy", found, where, "give --drop-height or --energy")
    speed = math.sqrt(2.0 * G * height) if height is not None else math.sqrt(2.0 * (energy or 0.0) / mass)
    return Dropped(mass, speed)


def read_impact(
    path: str | Path, dropped: Dropped, thickness: float, area: float, cutoff: float | None = CUTOFF
) -> ImpactTest:
    """Integrate a recorded impact twice: m a = m g - F from the speed at touch on.

    thickness [m] of the sample;  area [m2] of a flat tup;  an acceleration is what an accelerometer reads, none in the
    fall. SettingError where time steps are uneven, the mass is never stopped, or the drop height cannot be this one.
    """
    where = str(path)
    time, force = _recorded(Path(path), dropped, where)
    rate = 1.0 / float(np.median(np.diff(time)))
    filtered = cutoff is not None and rate >= OVERSAMPLED * cutoff
    force = zero_lag_lowpass(force, cutoff if filtered else None, rate)
    first, last = _contact(force)
    rest = float(np.median(force[:first])) if first >= 10 else 0.0
    time, force = _from_touch(time[first : last + 1], force[first : last + 1] - rest)
    speed, way = _integrated(time, force, dropped)
    if speed.min() > 0:
        found = f"a mass that still sinks with {speed.min():.2g} m/s"
        advice = "check mass, height, the unit of the column, and that the whole impact is recorded"
        raise bad_test("impact", "a mass that is stopped", found, where, advice)
    turn = int(np.argmax(way))
    implied = _implied_heights(time, force, dropped)
    notes = _height_notes(dropped.height, implied, where)
    check_depth(float(way.max()) / thickness, where)
    loop = CompressionTest(
        way / thickness, force / area, turn, thickness, area, where, tuple(notes), float(time[turn])
    )  # fmt: skip
    taken = float(np.sum(0.5 * (force[1 : turn + 1] + force[:turn]) * np.diff(way[: turn + 1])))
    rebound = max(-float(speed[-1]), 0.0)
    return ImpactTest(
        loop, dropped, float(force.max()), taken, rebound, implied, cutoff if filtered and cutoff else math.nan
    )


def _recorded(path: Path, dropped: Dropped, where: str) -> tuple[Array, Array]:
    """Even times [s] and the force on the mass [N], upward positive."""
    head, rows = read_table(path)
    time = time_of(head, rows)
    found = [(k, *SIGNALS[name]) for k, name in enumerate(head) if name in SIGNALS]
    if time is None or len(found) != 1:
        raise bad_test("impact test head", HEADS, ", ".join(head), where, "name one column of each")
    steps = np.diff(time)
    if not (steps > 0).all() or np.ptp(steps) > UNEVEN * float(np.median(steps)) + 1.5e-6:
        raise bad_test(
            "impact test time", "even steps", f"{steps.min():.3g} to {steps.max():.3g} s", where, "export it whole"
        )
    k, kind, factor = found[0]
    force = rows[:, k] * factor * (dropped.mass if kind == "acceleration" else 1.0)
    return time, force if abs(float(force.max())) >= abs(float(force.min())) else -force


def _contact(force: Array) -> tuple[int, int]:
    """First and last sample of the contact round the largest force."""
    peak = int(np.argmax(force))
    light = force <= TOUCH * force[peak]
    before, after = np.flatnonzero(light[:peak]), np.flatnonzero(light[peak:])
    return (int(before[-1]) if before.size else 0), (peak + int(after[0]) if after.size else force.size - 1)


def _from_touch(time: Array, force: Array) -> tuple[Array, Array]:
    """Both from the touch itself, at no force: what rises from TOUCH to RISING of the peak is carried back by a line,
    because a soft cushion is pressed by a tenth of its height before its force stands out of the noise."""
    peak = int(np.argmax(force))
    light = np.flatnonzero(force[1 : peak + 1] <= RISING * force[peak]) + 1
    rising = light if light.size >= 3 else np.arange(1, min(3, peak) + 1)
    slope, level = np.polyfit(time[rising], force[rising], 1)
    touch = min(float(-level / slope), float(time[1])) if slope > 0 else float(time[0])
    return np.append(touch, time[1:]) - touch, np.append(0.0, force[1:])


def _summed(values: Array, time: Array) -> Array:
    """Integral from the first time on by the trapezium rule."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(time))))


def _integrated(time: Array, force: Array, dropped: Dropped) -> tuple[Array, Array]:
    """Speed downwards [m/s] and way [m] since touch."""
    speed = dropped.speed + _summed(G - force / dropped.mass, time)
    return speed, _summed(speed, time)


def _implied_heights(time: Array, force: Array, dropped: Dropped) -> tuple[float, float]:
    """Drop heights [m] with which the cushion has come back wholly, or all but LEFT_IN, when it lets go: the way is
    linear in the speed at touch, and a speed that is too large leaves the cushion pressed for ever."""
    slowed = _summed(_summed(G - force / dropped.mass, time), time)
    heights = []
    for left in (0.0, LEFT_IN):
        low, high = 0.0, 20.0
        for _ in range(60):
            speed = 0.5 * (low + high)
            way = speed * time + slowed
            short = way[-1] < left * way.max()
            low, high = (speed, high) if short else (low, speed)
        heights.append(high**2 / (2.0 * G))
    return heights[0], heights[1]


def _height_notes(height: float, implied: tuple[float, float], where: str) -> list[str]:
    low, high = implied
    told = f"{1000 * low:.0f} to {1000 * high:.0f} mm"
    off = max(low / height - 1.0, height / high - 1.0)
    if off > HEIGHT_WRONG:
        advice = "check mass, height or energy, and the unit of the column"
        raise bad_test("drop height", f"{told}, as the impact itself tells", f"{1000 * height:.0f} mm", where, advice)
    doubt = ": look at mass, height and units" if off > HEIGHT_DOUBT else ""
    return [f"drop height {1000 * height:.0f} mm; the impact integrated twice tells {told}{doubt}"]


def standard_of(test: ImpactTest) -> str:
    """The standard whose mass and heights these are; empty for any other."""
    mass, height = test.dropped.mass, test.dropped.height
    same = abs(mass / F1976["mass"] - 1.0) < 0.02 and F1976["low"] <= height <= F1976["high"]
    return "mass and drop height as in ASTM F1976" if same else ""


# several tests --------------------------------------------------------------------------------------------------------


def loop_of(test: CompressionTest | ImpactTest) -> CompressionTest:
    return test.loop if isinstance(test, ImpactTest) else test


def fit_cushion(
    tests: Sequence[CompressionTest | ImpactTest], name: str, kind: str = "foam", density: float = math.nan
) -> CushionFit:
    """One law for all tests of one material: p = E (r / r_0)^m s / (1 - s / e) by least squares in strain, r the mean
    rate of strain of each loading, r_0 that of the quickest. The exponent is told where the speeds differ enough.

    SettingError as of fit_layer, and where several tests do not say how quick they were.
    """
    loops = [loop_of(test) for test in tests]
    quickest = min(loops, key=lambda loop: _slowness(loop))
    first = fit_layer(quickest, name, kind, density)
    if len(loops) == 1:
        return CushionFit(first, tuple(tests), math.nan)
    unknown = next((loop for loop in loops if math.isnan(loop.loading_time)), None)
    if unknown is not None:
        raise bad_test(
            "several tests", "a column time_s in each", "none", unknown.where, "add it, or fit this one alone"
        )
    logs = np.array([math.log(_slowness(quickest) / _slowness(loop)) for loop in loops])
    spread = float(np.sqrt(np.sum((logs - logs.mean()) ** 2)))
    doubt = REPEATS / spread if spread > 0 else math.inf
    if doubt > LARGEST_DOUBT:
        note = f"the tests differ too little in speed to tell an exponent (it would be within {2 * doubt:.2g})"
        return CushionFit(replace(first, notes=(*first.notes, note)), tuple(tests), math.nan)
    modulus, limit, exponent, missed = _common_law(loops, logs, first)
    doubt = math.hypot(REPEATS, missed) / spread
    files = ", ".join(Path(loop.where).name for loop in loops)
    fitted = replace(
        first.material, modulus=modulus, stiffening_strain=limit, rate_exponent=exponent, rate_sd=doubt,
        law_misfit=missed,
        source=f"fitted to {files}",
    )  # fmt: skip
    note = f"exponent of speed {exponent:.3f} +- {doubt:.3f} from {len(loops)} tests"
    return CushionFit(replace(first, material=fitted, notes=(*first.notes, note)), tuple(tests), doubt)


def _slowness(loop: CompressionTest) -> float:
    """[s] in which the sample would be pressed by all of its thickness; without end where it is not known."""
    return math.inf if math.isnan(loop.loading_time) else loop.loading_time / float(loop.strain.max())


def _common_law(loops: Sequence[CompressionTest], logs: Array, first: LayerFit) -> tuple[float, float, float, float]:
    """E [Pa], e, exponent, and the share of the largest compression by which the law misses all tests."""
    from scipy.optimize import least_squares

    parts = [(loop.strain[loop.loading], np.maximum(loop.stress[loop.loading], 0.0)) for loop in loops]

    def misses(q: Array) -> Array:
        rows = [
            (stress / (math.exp(q[0] + q[2] * log) + stress / q[1]) - strain) / math.sqrt(strain.size)
            for (strain, stress), log in zip(parts, logs, strict=True)
        ]
        return np.concatenate(rows)

    start = (math.log(first.material.modulus), min(first.material.stiffening_strain, 0.99 * LARGEST_E), 0.05)
    found: Any = least_squares(
        misses, start, bounds=((-5.0, 0.05, -0.2), (30.0, LARGEST_E, 1.0)), x_scale=(1, 0.1, 0.1)
    )
    deepest = max(float(strain.max()) for strain, _ in parts)
    missed = math.sqrt(2.0 * float(found.cost) / len(parts)) / deepest
    return math.exp(found.x[0]), float(found.x[1]), float(found.x[2]), missed

"""What no plate has: numbers of FORCE_PLATFORM and ANALOG that contradict each other or any laboratory.

Each function returns what it doubts as (check, severity, evidence, advice); the plate is named by who asks.
"""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import Array, Severity

Doubts = list[tuple[str, Severity, str, str]]

RECTANGLE, SLANT = 0.015, 0.02
"""Share of the longer side, and sine of the angle, by which measured corners may miss a rectangle (choice: twice the
worst of the published files, 0.7 % and 0.6 degrees)."""
SIDES = (0.1, 5.0)
"""[m] sides of a plate, treadmills included."""
DEEPEST = 0.5
"""[m] from the surface down to the origin of a plate."""
SENSORS = (0.3, 1.05)
"""The sensors of a type-3 plate lie so far from its middle, as shares of half a side (choice: 0.6 and 0.7 in the
published files)."""
ALIKE = 100.0
"""Largest by smallest scale, or calibration, of the channels of one kind on one plate."""
VANISHING = 1e-6
"""Share of the largest scale of its kind below which a channel gives nothing."""
LEADS = 0.8
"""Share of a row of CAL_MATRIX, as its length, that one number holds: crosstalk is some per cent (choice: 0.999 in the
published files)."""
CONVERTER_BITS, CONVERTER_RANGES = range(8, 25), (1.0, 1.024, 1.25, 2.0, 2.048, 2.5, 4.0, 4.096, 5.0, 5.12, 8.0)
"""An analog converter divides a range of so many volts, times a power of ten, into two to the power of so many steps,
or one fewer."""
LARGEST_STEP = 0.1
"""[V] 20 V in eight bits and more."""
SAME_SCALE = 5e-5
"""Relative: a number printed with five digits is the one it stands for."""


def shape_doubts(corners: Array, origin: Array, kind: int) -> Doubts:
    """Corners (3, 4) [m] that are no rectangle, a size or an origin (3,) [m] out of all measure."""
    found: Doubts = []
    along, across = corners[:, 0] - corners[:, 1], corners[:, 0] - corners[:, 3]
    sides = np.linalg.norm([along, across], axis=1)
    gap = np.linalg.norm(corners[:, 0] + corners[:, 2] - corners[:, 1] - corners[:, 3])
    slant = abs(along @ across) / sides.prod()
    if gap > RECTANGLE * sides.max() or slant > SLANT:
        text = f"its corners miss a rectangle by {1000 * gap:.0f} mm and {np.degrees(np.arcsin(slant)):.1f} degrees"
        found.append(("plate corners", "warn", text, "check FORCE_PLATFORM:CORNERS"))
    if not SIDES[0] <= sides.min() <= sides.max() <= SIDES[1]:
        text = f"its sides are {sides[0]:.3g} m and {sides[1]:.3g} m"
        found.append(("plate corners", "warn", text, "check FORCE_PLATFORM:CORNERS and POINT:UNITS"))
    too_far = abs(origin[2]) > DEEPEST or (np.abs(origin[:2]) > sides).any()
    if kind != 1 and too_far:
        text = f"ORIGIN {in_brackets(origin)} m is far from the plate"
        found.append(("plate origin", "warn", text, "check FORCE_PLATFORM:ORIGIN"))
    shares = np.abs(origin[:2]) / (sides / 2)
    if kind == 3 and not too_far and not ((shares >= SENSORS[0]) & (shares <= SENSORS[1])).all():
        text = (
            f"by ORIGIN {in_brackets(origin)} m its sensors lie {100 * shares[0]:.0f} and {100 * shares[1]:.0f} % of "
        )
        text += "the way from its middle to its edges"
        found.append(("plate origin", "warn", text, "check FORCE_PLATFORM:ORIGIN: every moment hangs on it"))
    return found


def scale_doubts(scales: Array, kind: int) -> Doubts:
    """ANALOG:SCALE (C,) of the channels of one plate that no amplifier has side by side, or that leave nothing."""
    groups = {"force": scales} if kind == 3 else {"force": scales[:3], "moment": scales[3:]}
    found: Doubts = []
    for name, group in groups.items():
        size = np.abs(group)
        alike = size[:2] if name == "moment" else size
        if np.isfinite(size).all() and alike.min() * ALIKE >= alike.max() and size.min() > VANISHING * size.max():
            continue
        text = f"ANALOG:SCALE of its {name} channels are {in_brackets(group)}"
        found.append(("plate scale", "warn", text, "they should be alike: check ANALOG:SCALE"))
    return found


def calibration_doubts(matrix: Array) -> Doubts:
    """CAL_MATRIX (6, 6) whose rows are not each led by a channel of its own, or give next to nothing."""
    size = np.abs(matrix)
    with np.errstate(over="ignore", invalid="ignore"):
        lengths = np.sqrt(np.sum(size**2, axis=1))
    leads, leaders = size.max(axis=1), size.argmax(axis=1)
    led = np.isfinite(lengths) & (leads > 0.0) & (leads >= LEADS * lengths)
    text = ""
    if not led.all():
        text = f"row {int(np.argmin(led)) + 1} of CAL_MATRIX is led by no channel"
    elif len(set(leaders)) < 6:
        text = "two rows of CAL_MATRIX are led by one channel"
    elif any(rows.min() * ALIKE < rows.max() for rows in (leads[:3], leads[3:])):
        text = f"the rows of CAL_MATRIX are led by {in_brackets(leads)}"
    advice = "they should be alike, each on its diagonal: check CAL_MATRIX against the plate's certificate"
    return [("plate calibration", "warn", text, advice)] if text else []


def gain_doubts(gain: float) -> Doubts:
    """An ANALOG:GEN_SCALE that nobody would have written: neither a converter's step nor a number of few digits."""
    if _few_digits(gain) or _converter_step(gain):
        return []
    text = f"ANALOG:GEN_SCALE is {gain:.7g}, neither a number of three digits nor a step of a converter"
    return [("plate scale", "warn", text, "every force is multiplied by it: compare with the body weight")]


def _few_digits(value: float) -> bool:
    return bool(np.isclose(float(f"{value:.3g}"), value, rtol=SAME_SCALE / 5, atol=0.0))


def _converter_step(value: float) -> bool:
    if abs(value) > LARGEST_STEP:
        return False
    steps = 2.0 ** np.array(CONVERTER_BITS)
    ranges = abs(value) * np.concatenate([steps, steps - 1.0])
    ranges = ranges / 10.0 ** np.floor(np.log10(ranges) + 1e-9)
    return bool(np.isclose(ranges[:, None], CONVERTER_RANGES, rtol=SAME_SCALE, atol=0.0).any())


def in_brackets(values: Array) -> str:
    return "(" + ", ".join(f"{value:g}" for value in values) + ")"

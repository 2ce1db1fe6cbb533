"""What FORCE_PLATFORM says of each plate: type, channels, corners, origin, calibration and units.

References: C3D User Guide, c3d.org, pages forceplatformcorners, forceplatformorigin, type14, type24, type31, calmatrix.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from jointload.intake.c3d_bytes.guard import Structure
from jointload.intake.plates.plausible import (
    Doubts,
    calibration_doubts,
    gain_doubts,
    in_brackets,
    scale_doubts,
    shape_doubts,
)
from jointload.intake.recording import Array, Finding

CHANNELS = {1: 6, 2: 6, 3: 8, 4: 6}
"""Analog channels of each plate type that is read."""
LEAST_AREA = 1e-4
"""[m2] a plate smaller than a square centimetre has wrong corners."""
MOMENT_UNITS = {
    **dict.fromkeys(("nm", "newtonmeter", "newtonmeters", "newtonmetre", "newtonmetres"), 1.0),
    **dict.fromkeys(
        ("nmm", "ntmm", "newtonmillimeter", "newtonmillimeters", "newtonmillimetre", "newtonmillimetres"), 1e-3
    ),
}
"""[N m] by the letters of a unit's name."""


@dataclass(frozen=True, eq=False)
class PlateSetting:
    """What FORCE_PLATFORM says of one plate, as stored.

    corners : (3, 4) [m], file axes;  origin : (3,) [m], plate axes;  channels count from 0
    """

    number: int
    kind: int
    corners: Array
    origin: Array
    channels: tuple[int, ...]
    calibration: Array
    metres: float
    """[m] in one POINT:UNITS."""
    moment_unit: float
    """[N m] in one unit of a moment channel."""


def plate_settings(
    structure: Structure, analog_channels: int, metres: float
) -> tuple[list[PlateSetting], list[Finding]]:
    """The usable plates of a file with so many analog channels, and findings on all; metres is one POINT:UNITS [m]."""
    settings: list[PlateSetting] = []
    findings: list[Finding] = []
    for index in range(_count(structure, analog_channels, findings)):
        where = f"plate {index + 1}"
        try:
            setting, found = _setting(structure, index, analog_channels, metres)
        except _UnknownType as problem:
            advice = "no force and no moments from this plate, markers are still read: have it exported as type 2"
            findings.append(Finding("plate", "refuse", where, str(problem), advice))
        except _Unusable as problem:
            findings.append(Finding("plate", "warn", where, str(problem), "it gives no force, markers are still read"))
        else:
            settings.append(setting)
            findings += [Finding(check, severity, where, text, advice) for check, severity, text, advice in found]
    return settings, findings


def _count(structure: Structure, analog_channels: int, findings: list[Finding]) -> int:
    """FORCE_PLATFORM:USED, doubted where the other parameters know another number of plates."""
    used = structure.numbers("FORCE_PLATFORM", "USED")
    count = round(used[0]) if used.size and 0 < used[0] < 256 else 0
    types = structure.numbers("FORCE_PLATFORM", "TYPE").size
    corners = structure.numbers("FORCE_PLATFORM", "CORNERS").size // 12
    told = f"{used[0]:g}" if used.size else "missing"
    if {count, types, corners} != {count} or (used.size and count != used[0]):
        text = f"USED is {told}, TYPE tells {types} plates, CORNERS tell {corners}"
        findings.append(Finding("plate", "warn", "FORCE_PLATFORM", text, "USED was followed"))
    elif not count and analog_channels:
        text = "no plate is described"
        findings.append(Finding("plate", "warn", "FORCE_PLATFORM", text, "the analog channels give no force"))
    return count


class _Unusable(Exception):
    """A plate whose parameters cannot be used; the message says why."""


class _UnknownType(_Unusable):
    """A plate of a type that makers define differently."""


def _setting(structure: Structure, index: int, analog_channels: int, metres: float) -> tuple[PlateSetting, Doubts]:
    kinds = structure.numbers("FORCE_PLATFORM", "TYPE")
    kind = round(kinds[index]) if index < kinds.size and np.isfinite(kinds[index]) else 0
    if kind not in CHANNELS:
        raise _UnknownType(f"type {kind}, only types 1 to 4 are read")
    channels = _channels(structure, index, kind, analog_channels)
    corners = _part(structure, "CORNERS", index, 12).reshape(4, 3).T * metres
    _require_surface(corners)
    origin, found = _origin(structure, index, metres)
    found += shape_doubts(corners, origin, kind) + _channel_findings(structure, channels, kind)
    found += gain_doubts(structure.number("ANALOG", "GEN_SCALE"))
    calibration = _calibration(structure, index) if kind == 4 else np.eye(6)
    found += calibration_doubts(calibration)
    units = [unit.strip().lower() for unit in structure.texts("ANALOG", "UNITS")]
    units += [""] * (max(channels) + 1 - len(units))
    found += _unit_findings(structure, channels, kind, units, calibration)
    moment_unit, of_moments = _moment_unit(structure, units[channels[5 if kind == 1 else 3]], metres)
    found += of_moments
    return PlateSetting(index + 1, kind, corners, origin, channels, calibration, metres, moment_unit), found


def _channel_findings(structure: Structure, channels: tuple[int, ...], kind: int) -> Doubts:
    """Channels named twice, and scales that no amplifier of one plate has side by side."""
    found = scale_doubts(structure.numbers("ANALOG", "SCALE")[list(channels)], kind)
    if len(set(channels)) < len(channels):
        numbers = in_brackets(np.array(channels, dtype=float) + 1)
        found.append(("plate channels", "warn", f"its channels {numbers} are not all different", "check CHANNEL"))
    return found


def _unit_findings(
    structure: Structure, channels: tuple[int, ...], kind: int, units: list[str], calibration: Array
) -> Doubts:
    found: Doubts = []
    if kind == 4 and units[channels[0]] == "n" and not np.allclose(np.diag(calibration)[:3], 1.0):
        text = "channels labelled N are no newtons until CAL_MATRIX is applied"
        found.append(("plate units", "pass", text, "CAL_MATRIX was applied, column by column"))
    if kind != 4 and units[channels[0]] in ("v", "mv"):
        text = f"ANALOG:UNITS say {units[channels[0]].upper()} for a type-{kind} plate"
        found.append(
            ("plate units", "warn", text, "the scaled values were taken for newtons: compare with the body weight")
        )
    scales = structure.numbers("ANALOG", "SCALE")[list(channels)]
    if (scales < 0).any():
        text = f"ANALOG:SCALE is negative for {(scales < 0).sum()} of its channels"
        found.append(("plate scale", "pass", text, "the sign of the force was decided from the loaded plate"))
    return found


def _part(structure: Structure, name: str, index: int, size: int) -> Array:
    values = structure.numbers("FORCE_PLATFORM", name)[index * size : (index + 1) * size]
    if values.size < size or not np.isfinite(values).all():
        raise _Unusable(f"FORCE_PLATFORM:{name} has no {size} finite numbers for it")
    return values


def _channels(structure: Structure, index: int, kind: int, limit: int) -> tuple[int, ...]:
    parameter = structure.find("FORCE_PLATFORM", "CHANNEL")
    stride = parameter.dims[0] if parameter is not None and parameter.dims else 0
    needed = CHANNELS[kind]
    numbers = structure.numbers("FORCE_PLATFORM", "CHANNEL")[index * stride : index * stride + needed]
    if not limit:
        raise _Unusable("the file holds no analog channels")
    if stride < needed or numbers.size < needed or not ((numbers >= 1) & (numbers <= limit)).all():
        named = f"FORCE_PLATFORM:CHANNEL names {in_brackets(numbers)}"
        raise _Unusable(f"{named}, a type-{kind} plate needs {needed} of the {limit} analog channels")
    return tuple(int(number) - 1 for number in numbers)


def _calibration(structure: Structure, index: int) -> Array:
    """CAL_MATRIX of one plate; stored column by column: element (row i, column j) is number 6 j + i."""
    parameter = structure.find("FORCE_PLATFORM", "CAL_MATRIX")
    if parameter is None or parameter.dims[:2] != (6, 6):
        raise _Unusable("FORCE_PLATFORM:CAL_MATRIX is not 6 by 6")
    matrix = _part(structure, "CAL_MATRIX", index, 36).reshape(6, 6).T
    if not matrix.any():
        raise _Unusable("FORCE_PLATFORM:CAL_MATRIX is all zero")
    return matrix


def _require_surface(corners: Array) -> None:
    area = np.cross(corners[:, 0] - corners[:, 1], corners[:, 0] - corners[:, 3])
    if np.linalg.norm(area) < LEAST_AREA:
        raise _Unusable("its CORNERS do not span a surface")


def _origin(structure: Structure, index: int, metres: float) -> tuple[Array, Doubts]:
    """ORIGIN [m] as stored, and whether its unit was doubted."""
    stored = _part(structure, "ORIGIN", index, 3)
    if metres < 0.1 and 0 < np.abs(stored).max() < 1.0:
        text = f"ORIGIN {in_brackets(stored)} is too small for POINT:UNITS"
        return stored, [("plate origin", "warn", text, "it was read as metres")]
    return stored * metres, []


def healed_origin(origin: Array, kind: int, z_up: bool = False) -> Array:
    """ORIGIN (3,) as the standard wants it: from the sensors up to the surface, so z is negative where plate z is down.

    Type 2 and 4: a vector of the wrong sign is turned as a whole. Type 3: the first two numbers are half distances
    between the sensors, positive by nature, so each number has its own sign. Type 1 measures at the surface: zero.
    """
    upward = 1.0 if z_up else -1.0
    if kind == 1:
        return np.zeros(3)
    if kind == 3:
        return np.abs(origin) * np.array([1.0, 1.0, upward])
    return 0.0 - origin if origin[2] * upward < 0 else origin


def _moment_unit(structure: Structure, channel_unit: str, metres: float) -> tuple[float, Doubts]:
    """Newton metres in one unit of the moments.

    Told by the channel's ANALOG:UNITS, else by FORCE_PLATFORM:UNITS, else newtons times POINT:UNITS.
    """
    plate_units = [_newton_metres(unit) for unit in structure.texts("FORCE_PLATFORM", "UNITS")]
    told = {unit for unit in plate_units if unit is not None}
    of_channel = _newton_metres(channel_unit)
    if of_channel is None:
        return (told.pop() if len(told) == 1 else metres), []
    if told and told != {of_channel}:
        text = f"ANALOG:UNITS of its moments are {channel_unit}, FORCE_PLATFORM:UNITS say otherwise"
        return of_channel, [("plate units", "warn", text, "ANALOG:UNITS were followed")]
    return of_channel, []


def _newton_metres(unit: str) -> float | None:
    return MOMENT_UNITS.get(re.sub(r"[^a-z]", "", unit.lower()))

"""Force plates of types 1 to 4: from scaled analog channels to the wrench of the ground on the body in the lab.

Everything a plate does between its channels and the lab is linear (except type 1), so it is ONE matrix per plate:
wrench_lab = lab_from_plate @ plate_from_channels @ channels, then a baseline is taken off and the sign is decided.

References: C3D User Guide, c3d.org, pages forceplatformcorners, forceplatformorigin, type14, type24, type31, calmatrix.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.intake.c3d_guard import Structure
from jointload.intake.recording import Array, Finding, Plate, Severity

CHANNELS = {1: 6, 2: 6, 3: 8, 4: 6}
QUIET_BLOCK = 0.02
"""[s] length of the blocks whose means are compared to find the unloaded level."""
QUIET_RANGE = 15.0
"""[N] a block whose vertical force stays within this range is quiet (or three times the trial's own noise, if more)."""
SAME_LEVEL = 15.0
"""[N] blocks this close to the lowest quiet level count as the same level."""
OFFSET_LIMIT = 40.0
"""[N] a lowest level up to this size is taken for an offset of the unloaded plate, not for a load."""
OFFSET_SHARE = 0.1
"""A lowest level up to this share of the peak is also taken for an offset."""
LOADED = 50.0
"""[N] vertical force above which a plate counts as loaded."""
UNLOADED_TIME = 0.04
"""[s] least total time at the unloaded level for a baseline found in the data."""
LEAST_AREA = 1e-4
"""[m2] a plate smaller than a square centimetre has wrong corners."""
INSIDE_MARGIN = 0.03
"""[m] a centre of pressure this far outside the corners is still inside (shoe edge, corner measurement)."""
INSIDE_SHARE = 0.9
"""Share of the loaded samples whose centre of pressure must lie inside the corners."""

Samples = NDArray[np.intp]
"""Numbers of analog samples, from 0."""

NEWTON_METRES = {"nm", "newtonmeter", "newtonmeters", "newtonmetre", "newtonmetres"}
NEWTON_MILLIMETRES = {"nmm", "ntmm", "newtonmillimeter", "newtonmillimeters", "newtonmillimetre", "newtonmillimetres"}


@dataclass(frozen=True, eq=False)
class PlateSetting:
    """What FORCE_PLATFORM says of one plate: corners (3, 4) and origin (3,) [m], file axes; channels count from 0."""

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


@dataclass(frozen=True)
class Timing:
    """Frames of the trial, their numbering and the analog samples per frame."""

    frames: int
    first_frame: int
    point_rate: float
    samples_per_frame: int

    @property
    def force_rate(self) -> float:
        return self.point_rate * self.samples_per_frame


def plate_settings(
    structure: Structure, analog_channels: int, metres: float
) -> tuple[list[PlateSetting], list[Finding]]:
    """The usable plates of a file with so many analog channels, and findings on all; metres is one POINT:UNITS [m]."""
    settings: list[PlateSetting] = []
    findings: list[Finding] = []
    used = structure.numbers("FORCE_PLATFORM", "USED")
    for index in range(round(used[0]) if used.size and 0 < used[0] < 256 else 0):
        where = f"plate {index + 1}"
        try:
            setting, found = _setting(structure, index, analog_channels, metres)
        except _Unusable as problem:
            findings.append(Finding("plate", "warn", where, str(problem), "it gives no force, markers are still read"))
        else:
            settings.append(setting)
            findings += [Finding(check, severity, where, text, advice) for check, severity, text, advice in found]
    return settings, findings


class _Unusable(Exception):
    """A plate whose parameters cannot be used; the message says why."""


_Found = list[tuple[str, Severity, str, str]]


def _setting(structure: Structure, index: int, analog_channels: int, metres: float) -> tuple[PlateSetting, _Found]:
    kinds = structure.numbers("FORCE_PLATFORM", "TYPE")
    kind = round(kinds[index]) if index < kinds.size and np.isfinite(kinds[index]) else 0
    if kind not in CHANNELS:
        raise _Unusable(f"type {kind}, only types 1 to 4 are read")
    channels = _channels(structure, index, kind, analog_channels)
    corners = _part(structure, "CORNERS", index, 12).reshape(4, 3).T * metres
    _require_surface(corners)
    origin, found = _origin(structure, index, kind, metres)
    calibration = _calibration(structure, index) if kind == 4 else np.eye(6)
    units = [unit.strip().lower() for unit in structure.texts("ANALOG", "UNITS")]
    units += [""] * (max(channels) + 1 - len(units))
    found += _unit_findings(structure, channels, kind, units, calibration)
    moment_unit = _moment_unit(units[channels[5 if kind == 1 else 3]], metres)
    return PlateSetting(index + 1, kind, corners, origin, channels, calibration, metres, moment_unit), found


def _unit_findings(
    structure: Structure, channels: tuple[int, ...], kind: int, units: list[str], calibration: Array
) -> _Found:
    found: _Found = []
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
        named = f"FORCE_PLATFORM:CHANNEL names {_vector(numbers)}"
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
    area = skew(corners[:, 0] - corners[:, 1]) @ (corners[:, 0] - corners[:, 3])
    if np.linalg.norm(area) < LEAST_AREA:
        raise _Unusable("its CORNERS do not span a surface")


def _origin(structure: Structure, index: int, kind: int, metres: float) -> tuple[Array, _Found]:
    """ORIGIN [m] with its sign as the standard wants it, and what was changed."""
    stored = _part(structure, "ORIGIN", index, 3)
    found: _Found = []
    if metres < 0.1 and 0 < np.abs(stored).max() < 1.0:
        found.append(
            ("plate origin", "warn", f"ORIGIN {_vector(stored)} is too small for POINT:UNITS", "read as metres")
        )
        metres = 1.0
    healed = healed_origin(stored, kind)
    if not np.array_equal(healed, stored) and kind != 1:
        text = f"ORIGIN {_vector(stored)} is not of the standard's sign"
        found.append(("plate origin", "warn", text, f"{_vector(healed)} was used; check the plate's data sheet"))
    return healed * metres, found


def healed_origin(origin: Array, kind: int) -> Array:
    """ORIGIN (3,) as the standard wants it: the vector to the surface centre, z negative because plate z is down.

    Type 2 and 4: a vector of the wrong sign is turned as a whole. Type 3: the first two numbers are half distances
    between the sensors, positive by nature, so each number has its own sign. Type 1 measures at the surface: zero.
    """
    if kind == 1:
        return np.zeros(3)
    if kind == 3:
        return np.abs(origin) * np.array([1.0, 1.0, -1.0])
    return 0.0 - origin if origin[2] > 0 else origin


def _moment_unit(unit: str, metres: float) -> float:
    """Newton metres in one unit of the moments: told by their ANALOG:UNITS, else newtons times POINT:UNITS."""
    letters = re.sub(r"[^a-z]", "", unit)
    if letters in NEWTON_METRES:
        return 1.0
    return 1e-3 if letters in NEWTON_MILLIMETRES else metres


def _vector(values: Array) -> str:
    return "(" + ", ".join(f"{value:g}" for value in values) + ")"


def skew(vector: Array) -> Array:
    """(3, 3) matrix of the cross product: skew(a) @ b = a x b."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def plate_frame(corners: Array) -> tuple[Array, Array]:
    """Rotation (3, 3) whose columns are the plate's axes, and the surface centre (3,), from (3, 4) corners.

    Corners 1 to 4 are the plate's quadrants (+x +y), (-x +y), (-x -y), (+x -y); z points down for a floor plate.
    Measured corners are no perfect rectangle, so x and y are the means of the two edges along them.
    """
    x = corners[:, 0] + corners[:, 3] - corners[:, 1] - corners[:, 2]
    y = corners[:, 0] + corners[:, 1] - corners[:, 2] - corners[:, 3]
    x = x / np.linalg.norm(x)
    z = skew(x) @ y
    z = z / np.linalg.norm(z)
    return np.array([x, skew(z) @ x, z]).T, corners.mean(axis=1)


def plate_from_channels(setting: PlateSetting) -> Array:
    """(6, C) matrix from scaled channels to force [N] and moment [N m] about the plate's own origin, types 2 to 4."""
    if setting.kind == 3:
        a, b, _ = setting.origin
        return np.array(
            [
                # Fx12  Fx34  Fy14  Fy23  Fz1  Fz2  Fz3  Fz4
                [1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                [0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0],
                [0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0],
                [0.0, 0.0, 0.0, 0.0, b, b, -b, -b],
                [0.0, 0.0, 0.0, 0.0, -a, a, a, -a],
                [-b, b, a, -a, 0.0, 0.0, 0.0, 0.0],
            ]
        )
    in_newton_metres = np.repeat([1.0, setting.moment_unit], 3)
    return in_newton_metres[:, None] * setting.calibration


def lab_from_plate(setting: PlateSetting, lab_from_file: Array) -> Array:
    """(6, 6) matrix from a wrench about the plate's own origin, plate axes, to one about the lab origin, lab axes.

    About the surface centre the moment is M + F x ORIGIN; for type 3 only the depth az0 of ORIGIN is such a distance.
    """
    file_from_plate, centre = plate_frame(setting.corners)
    rotation = lab_from_file @ file_from_plate
    offset = setting.origin if setting.kind != 3 else np.array([0.0, 0.0, setting.origin[2]])
    matrix = np.zeros((6, 6))
    matrix[:3, :3] = matrix[3:, 3:] = rotation
    matrix[3:, :3] = skew(lab_from_file @ centre) @ rotation - rotation @ skew(offset)
    return matrix


def plate_wrench(setting: PlateSetting, channels: Array, lab_from_file: Array) -> Array:
    """(6, N) force [N] and moment [N m] about the lab origin as the channels (C, N) have them: no baseline, no sign."""
    if setting.kind != 1:
        return lab_from_plate(setting, lab_from_file) @ plate_from_channels(setting) @ channels
    return lab_from_plate(setting, lab_from_file) @ _type1_wrench(setting, channels)


def _type1_wrench(setting: PlateSetting, channels: Array) -> Array:
    """Type 1, channels Fx Fy Fz Px Py Mz: force and moment about the surface centre from the centre of pressure."""
    force, (px, py), free = channels[:3], channels[3:5] * setting.metres, channels[5] * setting.moment_unit
    return np.concatenate([force, np.stack([py * force[2], -px * force[2], px * force[1] - py * force[0] + free])])


def read_plates(
    structure: Structure, settings: list[PlateSetting], channels: list[Array], lab_from_file: Array, timing: Timing
) -> tuple[tuple[Plate, ...], list[Finding]]:
    """Every plate as the wrench of the ground on the body.

    channels : for each plate its scaled analog channels (C, N), in the order of the setting
    lab_from_file : (3, 3) rotation
    """
    zero = structure.numbers("FORCE_PLATFORM", "ZERO")
    pairs = zip(settings, channels, strict=True)
    drafts = [_draft(setting, own_channels, zero, lab_from_file, timing) for setting, own_channels in pairs]
    signs = [draft.sign for draft in drafts]
    common = -1 if signs.count(-1) > signs.count(1) else 1
    plates = tuple(draft.plate(draft.sign or common, lab_from_file) for draft in drafts)
    findings = [finding for draft in drafts for finding in draft.findings()]
    for plate in plates:
        findings += _check_corners_order(plate) + _check_centre_of_pressure(plate)
    return plates, findings


@dataclass(frozen=True, eq=False)
class _Draft:
    """A plate before its sign is settled; sign is 1 or -1 for a load that points up or down, 0 without a load."""

    setting: PlateSetting
    wrench: Array
    baseline: str
    sign: int
    found: list[Finding]

    def plate(self, sign: int, lab_from_file: Array) -> Plate:
        force, moment = sign * self.wrench[:3], sign * self.wrench[3:]
        corners = lab_from_file @ self.setting.corners
        return Plate(self.setting.number, self.setting.kind, corners, force, moment, self.baseline)

    def findings(self) -> list[Finding]:
        where = f"plate {self.setting.number}"
        if self.sign == 0:
            text = f"its vertical force stays below {LOADED:g} N"
            return [*self.found, Finding("plate load", "warn", where, text, "this plate was never loaded")]
        if self.sign < 0:
            text = "the vertical force of the loaded plate pointed down"
            return [*self.found, Finding("force sign", "pass", where, text, "force and moment were turned")]
        return self.found


def _draft(setting: PlateSetting, channels: Array, zero: Array, lab_from_file: Array, timing: Timing) -> _Draft:
    wrench = plate_wrench(setting, channels, lab_from_file)
    samples, baseline, found = find_baseline(wrench[1], zero, timing, setting.number)
    if samples is not None:
        wrench = _without_baseline(setting, wrench, channels, samples, lab_from_file)
    return _Draft(setting, wrench, baseline, _upward_sign(wrench[1], timing), found)


def _without_baseline(
    setting: PlateSetting, wrench: Array, channels: Array, samples: Samples, lab_from_file: Array
) -> Array:
    if setting.kind != 1:
        return wrench - wrench[:, samples].mean(axis=1, keepdims=True)
    forces = channels[:3] - channels[:3, samples].mean(axis=1, keepdims=True)
    return plate_wrench(setting, np.concatenate([forces, channels[3:]]), lab_from_file)


def block_levels(vertical: Array, samples_per_block: int) -> tuple[Array, Array]:
    """Mean and range (both (B,)) of consecutive blocks of a series; a rest at the end is left out."""
    blocks = vertical[: vertical.size // samples_per_block * samples_per_block].reshape(-1, samples_per_block)
    return blocks.mean(axis=1), np.ptp(blocks, axis=1)


def _samples_per_block(timing: Timing) -> int:
    return max(2, round(QUIET_BLOCK * timing.force_rate))


def _upward_sign(vertical: Array, timing: Timing) -> int:
    """1 when the loaded vertical force points up, -1 when down, 0 when the plate was not loaded."""
    levels, _ = block_levels(vertical, min(_samples_per_block(timing), vertical.size))
    peak = levels[np.argmax(np.abs(levels))] if levels.size else 0.0
    return int(np.sign(peak)) if abs(peak) >= LOADED else 0


def find_baseline(
    vertical: Array, zero: Array, timing: Timing, number: int
) -> tuple[Samples | None, str, list[Finding]]:
    """The samples whose mean is the unloaded level, how they were found, and what to know about it.

    vertical : (N,) [N] vertical force of one plate, of either sign
    zero : the two frame numbers of FORCE_PLATFORM:ZERO, from 1, inclusive; (0, 0) and (1, 0) mean none
    """
    where = f"plate {number}"
    findings: list[Finding] = []
    if not np.isfinite(vertical).all():
        text = "none: force samples are missing"
        return None, text, [Finding("baseline", "warn", where, text, "export the trial again")]
    quiet, level, peak = _lowest_quiet_level(vertical, timing)
    told = f"FORCE_PLATFORM:ZERO frames {_vector(zero)}"
    if zero.size >= 2 and np.isfinite(zero).all() and 0 < zero[0] <= zero[1]:
        samples = _zero_samples(zero, timing)
        problem = _zero_problem(vertical, samples, level, peak, timing)
        if not problem:
            text = f"mean of {told}, {vertical[samples].mean():+.1f} N removed"
            return samples, text, [Finding("baseline", "pass", where, text, "")]
        findings.append(Finding("baseline", "warn", where, f"{told} {problem}", "the data were searched instead"))
    else:
        told += " name no range"
    if quiet.size >= UNLOADED_TIME * timing.force_rate and abs(level) <= max(OFFSET_LIMIT, OFFSET_SHARE * abs(peak)):
        found = f"mean of {quiet.size / timing.force_rate:.2f} s found unloaded in the data"
        text = f"{found}, {vertical[quiet].mean():+.1f} N removed; {told}"
        if abs(level) > SAME_LEVEL:
            findings.append(Finding("baseline", "warn", where, text, "zero the plate before the trial"))
        else:
            findings.append(Finding("baseline", "pass", where, text, ""))
        return quiet, text, findings
    text = f"none: no unloaded stretch, lowest steady level {level:.0f} N; {told}"
    findings.append(Finding("baseline", "warn", where, text, "record a moment with the plate free, or zero it before"))
    return None, text, findings


def _zero_samples(zero: Array, timing: Timing) -> Samples:
    """Samples of a ZERO range; file frames count from the first frame, or from 1 when that lies outside the trial."""
    start, stop = round(zero[0]) - timing.first_frame, round(zero[1]) - timing.first_frame + 1
    if start < 0 or stop > timing.frames:
        start, stop = round(zero[0]) - 1, round(zero[1])
    if start < 0 or stop > timing.frames:
        return np.empty(0, dtype=int)
    return np.arange(start * timing.samples_per_frame, stop * timing.samples_per_frame)


def _zero_problem(vertical: Array, samples: Samples, level: float, peak: float, timing: Timing) -> str:
    """Why a ZERO range cannot be the unloaded level, in words; empty when it can."""
    if not samples.size:
        return f"lie outside the trial's {timing.frames} frames"
    mean = float(vertical[samples].mean())
    away = abs(mean - level)
    if away > SAME_LEVEL and abs(mean) > SAME_LEVEL:
        return f"hold {mean:.0f} N while the lowest steady level of the trial is {level:.0f} N: the plate was loaded"
    if abs(mean) > OFFSET_LIMIT and abs(peak - mean) < LOADED:
        return f"hold {mean:.0f} N as does the whole trial: load and offset cannot be told apart"
    return ""


def _lowest_quiet_level(vertical: Array, timing: Timing) -> tuple[Samples, float, float]:
    """Samples at the lowest steady level, that level [N] and the level farthest from it [N]."""
    length = min(_samples_per_block(timing), vertical.size)
    means, ranges = block_levels(vertical, length)
    if not means.size:
        return np.empty(0, dtype=int), 0.0, 0.0
    toward_load = -1.0 if abs(means.min()) > abs(means.max()) else 1.0
    quiet = ranges <= max(QUIET_RANGE, 3.0 * float(np.percentile(ranges, 10)))
    loads = means * toward_load
    lowest = float(loads[quiet].min()) if quiet.any() else float(loads.min())
    chosen = quiet & (loads <= lowest + SAME_LEVEL)
    samples = (np.flatnonzero(chosen)[:, None] * length + np.arange(length)).ravel()
    level = float(np.median(means[chosen])) if chosen.any() else lowest * toward_load
    return samples, level, float(loads.max()) * toward_load


def _check_corners_order(plate: Plate) -> list[Finding]:
    """A finding when plate z, which points down for corners in the standard's order, points up."""
    if plate_frame(plate.corners)[0][1, 2] <= 0.5:
        return []
    text = "by its CORNERS the plate's z axis points up, by the standard's order of corners it points down"
    where = f"plate {plate.number}"
    return [Finding("plate corners", "warn", where, text, "compare the centre of pressure with the foot markers")]


def _check_centre_of_pressure(plate: Plate) -> list[Finding]:
    """A finding when the loaded plate's centre of pressure lies outside its corners: wrong origin, corners or units."""
    loaded = plate.force[1] > LOADED
    if not loaded.any():
        return []
    points = centre_of_pressure(plate.force[:, loaded], plate.moment[:, loaded], float(plate.corners[1].mean()), LOADED)
    rotation, centre = plate_frame(plate.corners)
    local = np.abs(rotation.T[:2] @ (points - centre[:, None]))
    half = np.abs(rotation.T[:2] @ (plate.corners - centre[:, None])).max(axis=1)
    share = float((local <= half[:, None] + INSIDE_MARGIN).all(axis=0).mean())
    text = f"{100 * share:.0f} % of the loaded samples have their centre of pressure inside the corners"
    where = f"plate {plate.number}"
    if share >= INSIDE_SHARE:
        return [Finding("centre of pressure", "pass", where, text, "")]
    return [Finding("centre of pressure", "warn", where, text, "check CORNERS, ORIGIN, CAL_MATRIX and moment units")]


def centre_of_pressure(force: Array, moment: Array, height: float, threshold: float) -> Array:
    """Centre of pressure on the horizontal plane y = height, for display.

    force, moment : (3, N) [N], [N m] about the lab origin, lab axes, ground on body
    height : [m]; threshold : [N], below this vertical force the point is NaN
    returns (3, N) [m], lab axes: the point where the horizontal moment of the force vanishes
    """
    fx, fy, fz = force
    vertical = np.where(fy >= max(threshold, np.finfo(float).tiny), fy, np.nan)
    x = (moment[2] + height * fx) / vertical
    z = (height * fz - moment[0]) / vertical
    return np.stack([x, np.where(np.isnan(vertical), np.nan, height), z])

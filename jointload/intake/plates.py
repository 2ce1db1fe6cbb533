"""Force plates of types 1 to 4: from scaled analog channels to the wrench of the ground on the body in the lab.

Everything a plate does between its channels and the lab is linear (except type 1), so it is ONE matrix per plate:
wrench_lab = lab_from_plate @ plate_from_channels @ channels, then a baseline is taken off and the sign is decided.

References: C3D User Guide, c3d.org, pages forceplatformcorners, forceplatformorigin, type14, type24, type31, calmatrix.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from jointload.intake.c3d_guard import Structure
from jointload.intake.recording import Array, Finding, Plate

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
INSIDE_MARGIN = 0.03
"""[m] a centre of pressure this far outside the corners is still inside (shoe edge, corner measurement)."""
INSIDE_SHARE = 0.9
"""Share of the loaded samples whose centre of pressure must lie inside the corners."""

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


def plate_settings(structure: Structure, metres: float) -> tuple[list[PlateSetting], list[Finding]]:
    """The usable plates of the file. metres is the size of one POINT:UNITS [m]; unusable plates are told as findings."""
    settings: list[PlateSetting] = []
    findings: list[Finding] = []
    used = structure.numbers("FORCE_PLATFORM", "USED")
    kinds = structure.numbers("FORCE_PLATFORM", "TYPE")
    for index in range(round(used[0]) if used.size and 0 < used[0] < 256 else 0):
        where = f"plate {index + 1}"
        kind = round(kinds[index]) if index < kinds.size and np.isfinite(kinds[index]) else 0
        if kind not in CHANNELS:
            findings.append(
                Finding(
                    "plate type",
                    "warn",
                    where,
                    f"type {kind}",
                    "only types 1 to 4 are read: this plate gives no force, markers are still read",
                )
            )
            continue
        try:
            settings.append(_setting(structure, index, kind, metres, findings))
        except _Unusable as problem:
            findings.append(
                Finding("plate setup", "warn", where, str(problem), "this plate gives no force; export the trial again")
            )
    return settings, findings


class _Unusable(Exception):
    """A plate whose parameters cannot be used; the message says why."""


def _setting(structure: Structure, index: int, kind: int, metres: float, findings: list[Finding]) -> PlateSetting:
    where = f"plate {index + 1}"
    channels = _channels(structure, index, kind)
    corners = _part(structure, "CORNERS", index, 12).reshape(4, 3).T * metres
    _check_corners(corners)
    origin = _part(structure, "ORIGIN", index, 3)
    if metres < 0.1 and 0 < np.abs(origin).max() < 1.0:
        findings.append(
            Finding(
                "plate origin",
                "warn",
                where,
                f"ORIGIN {_vector(origin)} in {structure.text('POINT', 'UNITS')}",
                "read as metres",
            )
        )
    else:
        origin = origin * metres
    origin, changed = _healed_origin(origin, kind)
    if changed:
        findings.append(
            Finding("plate origin", "warn", where, changed, "the sign was turned; check the plate's data sheet")
        )
    calibration = _calibration(structure, index) if kind == 4 else np.eye(6)
    return PlateSetting(
        index + 1, kind, corners, origin, channels, calibration, metres, _moment_unit(structure, channels, kind, metres)
    )


def _part(structure: Structure, name: str, index: int, size: int) -> Array:
    values = structure.numbers("FORCE_PLATFORM", name)[index * size : (index + 1) * size]
    if values.size < size or not np.isfinite(values).all():
        raise _Unusable(f"FORCE_PLATFORM:{name} has no {size} finite numbers for it")
    return values


def _channels(structure: Structure, index: int, kind: int) -> tuple[int, ...]:
    parameter = structure.find("FORCE_PLATFORM", "CHANNEL")
    stride = parameter.dims[0] if parameter is not None and parameter.dims else 0
    needed = CHANNELS[kind]
    numbers = structure.numbers("FORCE_PLATFORM", "CHANNEL")[index * stride : index * stride + needed]
    available = structure.numbers("ANALOG", "USED")
    limit = available[0] if available.size else 0
    if not limit:
        raise _Unusable("the file holds no analog channels")
    if stride < needed or numbers.size < needed or not ((numbers >= 1) & (numbers <= limit)).all():
        raise _Unusable(
            f"FORCE_PLATFORM:CHANNEL names {_vector(numbers)}, a type-{kind} plate needs {needed} of the {limit:g} analog channels"
        )
    return tuple(int(number) - 1 for number in numbers)


def _calibration(structure: Structure, index: int) -> Array:
    """CAL_MATRIX of one plate; stored column by column: element (row i, column j) is number 6 j + i."""
    matrix = _part(structure, "CAL_MATRIX", index, 36).reshape(6, 6).T
    if not matrix.any():
        raise _Unusable("FORCE_PLATFORM:CAL_MATRIX is all zero")
    return matrix


def _check_corners(corners: Array) -> None:
    axes = np.stack([corners[:, 0] - corners[:, 1], corners[:, 0] - corners[:, 3]])
    if np.linalg.norm(np.cross(axes[0], axes[1])) < 1e-4:
        raise _Unusable("its CORNERS do not span a surface")


def _healed_origin(origin: Array, kind: int) -> tuple[Array, str]:
    """ORIGIN with its sign as the standard wants it: the vector to the surface centre, z negative (plate z is down).

    For type 3 the first two numbers are half distances between the sensors, positive by nature: each sign is its own.
    """
    if kind == 1:
        return np.zeros(3), ""
    if kind == 3:
        healed = np.array([abs(origin[0]), abs(origin[1]), -abs(origin[2])])
    else:
        healed = -origin if origin[2] > 0 else origin
    changed = (
        "" if np.array_equal(healed, origin) else f"ORIGIN {_vector(origin * 1000)} mm was not of the standard's sign"
    )
    return healed, changed


def _moment_unit(structure: Structure, channels: tuple[int, ...], kind: int, metres: float) -> float:
    """Newton metres in one unit of the moments: told by ANALOG:UNITS of the moment channels, else POINT:UNITS."""
    units = structure.texts("ANALOG", "UNITS")
    moment_channel = channels[5] if kind == 1 else channels[3]
    text = re.sub(r"[^a-z]", "", units[moment_channel].lower()) if moment_channel < len(units) else ""
    if text in NEWTON_METRES:
        return 1.0
    return 1e-3 if text in NEWTON_MILLIMETRES else metres


def _vector(values: Array) -> str:
    return "(" + ", ".join(f"{value:g}" for value in values) + ")"


def skew(vector: Array) -> Array:
    """(3, 3) matrix of the cross product: skew(a) @ b = a x b."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def plate_frame(corners: Array) -> tuple[Array, Array]:
    """Rotation (3, 3) whose columns are the plate's axes, and the surface centre (3,), from (3, 4) corners.

    Corners 1 to 4 are the plate's quadrants (+x +y), (-x +y), (-x -y), (+x -y); z points down for a floor plate.
    """
    x = corners[:, 0] + corners[:, 3] - corners[:, 1] - corners[:, 2]
    y = corners[:, 0] + corners[:, 1] - corners[:, 2] - corners[:, 3]
    x = x / np.linalg.norm(x)
    z = np.cross(x, y)
    z = z / np.linalg.norm(z)
    return np.stack([x, np.cross(z, x), z], axis=1), corners.mean(axis=1)


def plate_from_channels(setting: PlateSetting) -> Array:
    """(6, C) matrix from scaled channels to force [N] and moment [N m] about the plate's own origin, types 2 to 4."""
    if setting.kind == 3:
        a, b, _ = setting.origin
        matrix = np.array(
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
        return matrix
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
    """(6, N) force [N] and moment [N m] about the lab origin, as the channels (C, N) have them: no baseline, no sign."""
    if setting.kind != 1:
        return lab_from_plate(setting, lab_from_file) @ plate_from_channels(setting) @ channels
    return lab_from_plate(setting, lab_from_file) @ _type1_wrench(setting, channels)


def _type1_wrench(setting: PlateSetting, channels: Array) -> Array:
    """Channels Fx Fy Fz Px Py Mz of type 1: centre of pressure and free moment to force and moment at the surface centre."""
    force, (px, py), free = channels[:3], channels[3:5] * setting.metres, channels[5] * setting.moment_unit
    return np.concatenate([force, np.stack([py * force[2], -px * force[2], px * force[1] - py * force[0] + free])])


def read_plates(
    structure: Structure, settings: list[PlateSetting], channels: dict[int, Array], lab_from_file: Array, timing: Timing
) -> tuple[tuple[Plate, ...], list[Finding]]:
    """Every plate as the wrench of the ground on the body.

    channels : scaled analog channels (N,) by number, counted from 0
    lab_from_file : (3, 3) rotation
    """
    findings: list[Finding] = []
    zero = structure.numbers("FORCE_PLATFORM", "ZERO")
    plates = []
    signs: list[int] = []
    for setting in settings:
        stacked = np.stack([channels[number] for number in setting.channels])
        wrench = plate_wrench(setting, stacked, lab_from_file)
        samples, baseline, found = find_baseline(wrench[1], zero, timing, setting.number)
        findings += found
        if samples is not None:
            wrench = _without_baseline(setting, wrench, stacked, samples, lab_from_file)
        sign = _upward_sign(wrench[1], timing)
        signs.append(sign)
        plates.append((setting, wrench, baseline, sign))
    common = -1 if signs.count(-1) > signs.count(1) else 1
    result = []
    for setting, wrench, baseline, sign in plates:
        if sign == 0:
            findings.append(
                Finding(
                    "plate load",
                    "warn",
                    f"plate {setting.number}",
                    f"vertical force stays below {LOADED:g} N",
                    "this plate was never loaded",
                )
            )
        if (sign or common) < 0:
            wrench = -wrench
            if sign:
                findings.append(
                    Finding(
                        "force sign",
                        "pass",
                        f"plate {setting.number}",
                        "the loaded vertical force pointed down",
                        "force and moment were turned: now the ground's action on the body",
                    )
                )
        plate = Plate(setting.number, setting.kind, lab_from_file @ setting.corners, wrench[:3], wrench[3:], baseline)
        findings += _check_centre_of_pressure(plate)
        result.append(plate)
    return tuple(result), findings


def _without_baseline(
    setting: PlateSetting, wrench: Array, channels: Array, samples: Array, lab_from_file: Array
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


def find_baseline(vertical: Array, zero: Array, timing: Timing, number: int) -> tuple[Array | None, str, list[Finding]]:
    """The samples whose mean is the unloaded level, how they were found, and what to know about it.

    vertical : (N,) [N] vertical force of one plate, of either sign
    zero : the two frame numbers of FORCE_PLATFORM:ZERO, from 1, inclusive; (0, 0) and (1, 0) mean none
    """
    where = f"plate {number}"
    if not np.isfinite(vertical).all():
        return (
            None,
            "none: the force has gaps",
            [Finding("baseline", "warn", where, "force samples are missing", "export the trial again")],
        )
    quiet, level, peak = _lowest_quiet_level(vertical, timing)
    findings: list[Finding] = []
    if zero.size >= 2 and np.isfinite(zero[:2]).all() and zero[1] >= zero[0] and zero[1] > 0:
        told = f"FORCE_PLATFORM:ZERO frames {zero[0]:g} to {zero[1]:g}"
        samples = _zero_samples(zero, timing)
        problem = _zero_problem(vertical, samples, level, peak, timing)
        if not problem:
            text = f"mean of {told}, {vertical[samples].mean():+.1f} N removed"
            return samples, text, [Finding("baseline", "pass", where, text, "")]
        findings.append(
            Finding(
                "baseline", "warn", where, f"{told} {problem}", "the unloaded level was looked for in the data instead"
            )
        )
    enough = quiet.size >= UNLOADED_TIME * timing.force_rate
    if enough and abs(level) <= max(OFFSET_LIMIT, OFFSET_SHARE * abs(peak)):
        seconds = quiet.size / timing.force_rate
        text = f"mean of {seconds:.2f} s found unloaded in the data, {vertical[quiet].mean():+.1f} N removed"
        severity = "warn" if abs(level) > SAME_LEVEL else "pass"
        findings.append(
            Finding("baseline", severity, where, text, "zero the plate before the trial" if severity == "warn" else "")
        )  # type: ignore[arg-type]
        return quiet, text, findings
    text = f"none: no unloaded stretch, lowest steady level {level:.0f} N"
    findings.append(
        Finding("baseline", "warn", where, text, "record a moment with the plate free, or zero it before the trial")
    )
    return None, text, findings


def _zero_samples(zero: Array, timing: Timing) -> Array:
    """Samples of a ZERO range; file frames count from the first frame, or from 1 when that lies outside the trial."""
    start, stop = round(zero[0]) - timing.first_frame, round(zero[1]) - timing.first_frame + 1
    if start < 0 or stop > timing.frames:
        start, stop = round(zero[0]) - 1, round(zero[1])
    if start < 0 or stop > timing.frames:
        return np.empty(0, dtype=int)  # type: ignore[return-value]
    return np.arange(start * timing.samples_per_frame, stop * timing.samples_per_frame)  # type: ignore[return-value]


def _zero_problem(vertical: Array, samples: Array, level: float, peak: float, timing: Timing) -> str:
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


def _lowest_quiet_level(vertical: Array, timing: Timing) -> tuple[Array, float, float]:
    """Samples at the lowest steady level, that level [N] and the level farthest from it [N]."""
    length = min(_samples_per_block(timing), vertical.size)
    means, ranges = block_levels(vertical, length)
    if not means.size:
        return np.empty(0, dtype=int), 0.0, 0.0  # type: ignore[return-value]
    toward_load = -1.0 if abs(means.min()) > abs(means.max()) else 1.0
    quiet = ranges <= max(QUIET_RANGE, 3.0 * float(np.percentile(ranges, 10)))
    loads = means * toward_load
    lowest = float(loads[quiet].min()) if quiet.any() else float(loads.min())
    chosen = quiet & (loads <= lowest + SAME_LEVEL)
    samples = (np.flatnonzero(chosen)[:, None] * length + np.arange(length)).ravel()
    level = float(np.median(means[chosen])) if chosen.any() else lowest * toward_load
    return samples, level, float(loads.max()) * toward_load  # type: ignore[return-value]


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
    return [
        Finding(
            "centre of pressure", "warn", where, text, "check CORNERS, ORIGIN, CAL_MATRIX and the units of the moments"
        )
    ]


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

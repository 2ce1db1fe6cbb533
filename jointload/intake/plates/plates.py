"""Force plates of types 1 to 4: from scaled analog channels to the wrench of the ground on the body in the lab.

The unloaded level is found and taken off, the sign is decided by the load, the order of the corners by what the data
bear out; every doubt is a finding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.intake.c3d_bytes.guard import Structure
from jointload.intake.plates.baseline import (
    LOADED,
    OFFSET_LIMIT,
    QUIET_BLOCK,
    QUIET_RANGE,
    Samples,
    Timing,
    block_levels,
    find_baseline,
    samples_per_block,
)
from jointload.intake.plates.mechanics import centre_of_pressure, plate_frame, plate_wrench
from jointload.intake.plates.readings import INSIDE_MARGIN, INSIDE_SHARE, as_stored, choose_reading
from jointload.intake.plates.settings import PlateSetting, healed_origin, plate_settings
from jointload.intake.recording import Array, Finding, Plate

__all__ = [
    "LOADED",
    "OFFSET_LIMIT",
    "QUIET_BLOCK",
    "QUIET_RANGE",
    "PlateSetting",
    "Timing",
    "block_levels",
    "centre_of_pressure",
    "find_baseline",
    "healed_origin",
    "plate_frame",
    "plate_settings",
    "plate_wrench",
    "read_plates",
]

STILL = 1e-3
"""[m] a centre of pressure that never leaves one of the plate's middle lines by more has a moment of a wrong unit, or
none."""
FREE_ARM = 0.15
"""[m] free moment by vertical force: friction under half a foot gives a third of it (choice: 0.01 in the median of the
published files)."""
FREE_SHARE = 0.25
"""Share of the peak force above which the free moment is looked at."""


def read_plates(
    structure: Structure,
    settings: list[PlateSetting],
    channels: list[Array],
    markers: Array,
    lab_from_file: Array,
    timing: Timing,
) -> tuple[tuple[Plate, ...], list[Finding]]:
    """Every plate as the wrench of the ground on the body.

    channels : for each plate its scaled analog channels (C, N), in the order of the setting
    markers : (3, M, F) [m], lab axes
    lab_from_file : (3, 3) rotation
    """
    zero = structure.numbers("FORCE_PLATFORM", "ZERO")
    pairs = zip(settings, channels, strict=True)
    drafts = [_draft(setting, own_channels, zero, lab_from_file, timing) for setting, own_channels in pairs]
    signs = [draft.sign for draft in drafts]
    common = -1 if signs.count(-1) > signs.count(1) else 1
    plates: list[Plate] = []
    findings: list[Finding] = []
    for draft in drafts:
        plate, doubts = _settled(draft, common, markers, lab_from_file, timing)
        plates.append(plate)
        findings += draft.findings() + doubts
    for plate in plates:
        findings += _check_corners_order(plate, findings) + _check_centre_of_pressure(plate) + check_free_moment(plate)
    return tuple(plates), findings


@dataclass(frozen=True, eq=False)
class _Draft:
    """A plate by the file's own order of corners, its sign unsettled.

    sign is 1 or -1 for a load that points up or down, 0 without a load; unloaded are the samples of the baseline.
    """

    setting: PlateSetting
    plain: PlateSetting
    channels: Array
    wrench: Array
    unloaded: Samples | None
    baseline: str
    sign: int
    found: list[Finding]

    def plate(self, wrench: Array, corners: Array) -> Plate:
        return Plate(self.setting.number, self.setting.kind, corners, wrench[:3], wrench[3:], self.baseline)

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
    plain = as_stored(setting, lab_from_file)
    wrench = plate_wrench(plain, channels, lab_from_file)
    samples, baseline, found = find_baseline(wrench[1], zero, timing, setting.number)
    wrench = _without_baseline(plain, wrench, channels, samples, lab_from_file)
    return _Draft(setting, plain, channels, wrench, samples, baseline, _upward_sign(wrench[1], timing), found)


def _settled(
    draft: _Draft, common: int, markers: Array, lab_from_file: Array, timing: Timing
) -> tuple[Plate, list[Finding]]:
    """The plate by the reading that its data bear out, upward where it is loaded."""
    wrench = (draft.sign or common) * draft.wrench
    choice = choose_reading(draft.setting, draft.plain, wrench[:3], wrench[3:], markers, lab_from_file, timing)
    read = choice.setting
    if read is not draft.plain:
        other = plate_wrench(read, draft.channels, lab_from_file)
        other = _without_baseline(read, other, draft.channels, draft.unloaded, lab_from_file)
        wrench = (_upward_sign(other[1], timing) or common) * other
    return draft.plate(wrench, lab_from_file @ read.corners), choice.findings


def _without_baseline(
    setting: PlateSetting, wrench: Array, channels: Array, samples: Samples | None, lab_from_file: Array
) -> Array:
    if samples is None:
        return wrench
    if setting.kind != 1:
        return wrench - wrench[:, samples].mean(axis=1, keepdims=True)
    forces = channels[:3] - channels[:3, samples].mean(axis=1, keepdims=True)
    return plate_wrench(setting, np.concatenate([forces, channels[3:]]), lab_from_file)


def _upward_sign(vertical: Array, timing: Timing) -> int:
    """1 when the loaded vertical force points up, -1 when down, 0 when the plate was not loaded."""
    levels, _ = block_levels(vertical, min(samples_per_block(timing), vertical.size))
    peak = levels[np.argmax(np.abs(levels))] if levels.size else 0.0
    return int(np.sign(peak)) if abs(peak) >= LOADED else 0


def _check_corners_order(plate: Plate, known: list[Finding]) -> list[Finding]:
    """A finding when plate z, which points down for corners in the standard's order, points up.

    It is a warning unless the data vouch for this reading.
    """
    if plate_frame(plate.corners)[0][1, 2] <= 0.5:
        return []
    text = "by its CORNERS the plate's z axis points up, by the standard's order of corners it points down"
    where = f"plate {plate.number}"
    vouched = any(f.check == "plate reading" and f.where == where and f.severity == "pass" for f in known)
    advice = "compare the centre of pressure with the foot markers"
    return [Finding("plate corners", "pass" if vouched else "warn", where, text, advice)]


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
    where, advice = f"plate {plate.number}", "check CORNERS, ORIGIN, CAL_MATRIX and moment units"
    if (local.max(axis=1) < STILL).any():
        text = (
            f"it never leaves a middle line of the plate by more than {1000 * STILL:g} mm: its moment seems too small"
        )
    elif share >= INSIDE_SHARE:
        return [Finding("centre of pressure", "pass", where, text, "")]
    return [Finding("centre of pressure", "warn", where, text, advice)]


def check_free_moment(plate: Plate) -> list[Finding]:
    """A finding when the free moment about the vertical is more than friction under a foot could give."""
    force, moment = plate.force, plate.moment
    loaded = force[1] > max(LOADED, FREE_SHARE * float(np.max(force[1], initial=0.0)))
    if not loaded.any():
        return []
    force, moment = force[:, loaded], moment[:, loaded]
    point = centre_of_pressure(force, moment, float(plate.corners[1].mean()), LOADED)
    free = moment[1] - (point[2] * force[0] - point[0] * force[2])
    arm = float(np.median(np.abs(free) / force[1]))
    if arm <= FREE_ARM:
        return []
    text = f"its free moment is {arm:.2g} m times its vertical force, more than friction under a foot could give"
    advice = "check ANALOG:SCALE and CAL_MATRIX of the moment about the vertical"
    return [Finding("free moment", "warn", f"plate {plate.number}", text, advice)]

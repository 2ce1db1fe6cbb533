"""Writes a recording as a C3D file: millimetres, Z up, type-2 plates, events, and a maker that is plainly invented."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from jointload.errors import OutputError
from jointload.intake.c3d_bytes.makers_contact import blank_contact
from jointload.intake.plates.plates import plate_frame
from jointload.intake.recording import Array, Recording

FILE_FROM_LAB = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
"""File axes: X forward, Y to the left, Z up."""
DEPTH = 0.045
"""[m] from the surface down to a plate's own origin."""
CHANNELS = ("Fx", "Fy", "Fz", "Mx", "My", "Mz")
MM = 1000.0


def write_c3d(recording: Recording, path: str | Path) -> None:
    """Write markers, plates and events of a recording in lab axes; OutputError when the file cannot be written."""
    import ezc3d

    file = ezc3d.c3d()
    _add_points(file, recording)
    if recording.plates:
        _add_plates(file, recording)
    _add_events(file, recording)
    for key, value in (("COMPANY", "invented laboratory"), ("SOFTWARE", "jointload.synthetic"), ("VERSION", "1")):
        file.add_parameter("MANUFACTURER", key, [value])
    try:
        Path(path).touch()
        file.write(str(path))
        blank_contact(path)
    except OSError as problem:
        raise OutputError(
            f"C3D file: expected a writable place, found {problem} at {path}; choose another folder"
        ) from None


def _add_points(file: Any, recording: Recording) -> None:
    points = np.ones((4, len(recording.labels), recording.frames))
    points[:3] = MM * np.einsum("ij,jmf->imf", FILE_FROM_LAB, recording.markers)
    seen = np.isfinite(points[0])
    points[:3, ~seen] = np.nan
    group = file["parameters"]["POINT"]
    group["RATE"]["value"] = [recording.point_rate]
    group["LABELS"]["value"] = list(recording.labels)
    group["DESCRIPTIONS"]["value"] = [""] * len(recording.labels)
    group["UNITS"]["value"] = ["mm"]
    file.add_parameter("POINT", "X_SCREEN", ["+X"])
    file.add_parameter("POINT", "Y_SCREEN", ["+Z"])
    file["data"]["points"] = points
    file["data"]["meta_points"]["residuals"] = np.where(seen, 0.0, -1.0)[None]


def _add_plates(file: Any, recording: Recording) -> None:
    plates = recording.plates
    names = [f"{name}{plate.number}" for plate in plates for name in CHANNELS]
    group = file["parameters"]["ANALOG"]
    group["RATE"]["value"] = [recording.force_rate]
    group["LABELS"]["value"] = names
    group["UNITS"]["value"] = (["N"] * 3 + ["Nmm"] * 3) * len(plates)
    group["SCALE"]["value"], group["OFFSET"]["value"] = [1.0] * len(names), [0] * len(names)
    group["GEN_SCALE"]["value"] = [1.0]
    file["data"]["analogs"] = np.concatenate([_channels(plate.corners, plate.force, plate.moment) for plate in plates])[
        None
    ]
    corners = np.stack([MM * FILE_FROM_LAB @ plate.corners for plate in plates], axis=2)
    for name, value in (
        ("USED", [len(plates)]), ("TYPE", [2] * len(plates)), ("ZERO", _unloaded(recording)), ("CORNERS", corners),
        ("ORIGIN", np.repeat([[0.0], [0.0], [-MM * DEPTH]], len(plates), axis=1)),
        ("CHANNEL", np.arange(1, 6 * len(plates) + 1).reshape(len(plates), 6).T),
    ):  # fmt: skip
        file["parameters"]["FORCE_PLATFORM"][name]["value"] = value


def _channels(corners: Array, force: Array, moment: Array) -> Array:
    """(6, N) [N], [N mm] about the plate's own origin, plate axes (z down).

    corners : (3, 4) [m];  force, moment : (3, N) about the lab origin, lab axes
    """
    lab_from_plate, centre = plate_frame(corners)
    origin = centre + DEPTH * lab_from_plate[:, 2]
    about_origin = moment - np.cross(origin, force, axis=0)
    return np.concatenate((lab_from_plate.T @ force, MM * lab_from_plate.T @ about_origin))


def _unloaded(recording: Recording) -> list[int]:
    """First and last frame, from 1, of a tenth of a second before any load; (0, 0) when the trial begins loaded."""
    last = round(0.1 * recording.point_rate)
    early = [plate.force[1, : last * recording.samples_per_frame] for plate in recording.plates]
    return [1, last] if all(np.abs(vertical).max() < 20.0 for vertical in early) else [0, 0]


def _add_events(file: Any, recording: Recording) -> None:
    events = recording.events
    file.add_parameter("EVENT", "USED", [len(events)])
    if events:
        file.add_parameter("EVENT", "LABELS", [event.label for event in events])
        file.add_parameter("EVENT", "CONTEXTS", [event.side.capitalize() or "General" for event in events])
        file.add_parameter(
            "EVENT", "TIMES", np.array([[event.time // 60 for event in events], [event.time % 60 for event in events]])
        )

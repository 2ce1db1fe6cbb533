"""The trial's markers with joint angles, moments, powers and joint centres, in the open format that laboratories read.

C3D User Guide, c3d.org; POINT:ANGLES, MOMENTS and POWERS are the lists by which readers keep such trajectories apart
from markers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.c3d_bytes.makers_contact import blank_contact
from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.landing.landed import Landing
from jointload.report.words.quantities import of_joint
from jointload.report.words.tables import joint_moment

MILLIMETRES = 1000.0
MOST_LABELS = 255
"""An array of a C3D parameter has at most this many rows; markers beyond it are left out of the file (choice)."""
EVENT_SIDES = {"right": "Right", "left": "Left", "": "General"}


@dataclass(frozen=True, eq=False)
class Trajectory:
    """One stored point: values (3, F) in the file's units; group is the list it is declared in, '' for a position."""

    label: str
    description: str
    values: Array
    group: str = ""


def write_derived(analysis: Analysis, path: Path) -> None:
    """Write the file; positions in mm, lab axes X forward, Y up, Z right; missing values have the residual -1.

    Its frames are the recording's own, also where the motion was followed at a finer rate.
    """
    import ezc3d

    trial = analysis.session.trial
    parts = analysis.landing.recording.parts
    derived = [replace(one, values=one.values[:, ::parts]) for one in derived_trajectories(analysis.landing)]
    room = MOST_LABELS - len(derived)
    markers = [
        Trajectory(label, "marker", MILLIMETRES * trial.markers[:, m]) for m, label in enumerate(trial.labels[:room])
    ]
    points = _with_unique_labels(markers + derived)
    values = np.stack([point.values for point in points], axis=1)
    known = np.isfinite(values).all(axis=0)
    file = ezc3d.c3d()
    file["header"]["points"]["first_frame"] = trial.first_frame - 1
    _describe_points(file, points, trial.point_rate)
    _describe_events(file, analysis.landing, (trial.first_frame - 1) / trial.point_rate)
    file["data"]["points"] = np.concatenate((values, np.ones((1, *known.shape))))
    file["data"]["meta_points"]["residuals"] = np.where(known, 0.0, -1.0)[None]
    file["data"]["meta_points"]["camera_masks"] = np.zeros((7, *known.shape), dtype=bool)
    file.write(str(path))
    blank_contact(path)


def derived_trajectories(landing: Landing) -> list[Trajectory]:
    """Rotations [deg], moments [N mm], powers [W] and centres [mm] of every joint, each named as in series.csv and in
    the same direction; a rotation, a moment and a power stand in X alone."""
    out = []
    newtons_mm = MILLIMETRES * landing.weight / G
    for j, joint in enumerate(landing.angles.joints):
        for rotation in landing.angles.rotations[j]:
            name, kind, moment = joint_moment(landing, joint, rotation)
            angle = np.rad2deg(landing.angles.of(joint, rotation))
            out += [
                Trajectory(of_joint(joint, f"{rotation}_angle"), "deg, in X", _in_x(angle), "ANGLES"),
                Trajectory(
                    of_joint(joint, f"{name}_moment"), f"Nmm, {kind}, in X", _in_x(newtons_mm * moment), "MOMENTS"
                ),
            ]
        power, centre = landing.loads.power[j], MILLIMETRES * landing.loads.centre[:, j]
        out += [
            Trajectory(of_joint(joint, "power"), "W, in X; generated is positive", _in_x(power), "POWERS"),
            Trajectory(of_joint(joint, "centre"), "joint centre", centre),
        ]
    return out


def _in_x(values: Array) -> Array:
    """(F,) as the first of three coordinates; unknown where it is unknown."""
    nothing = np.where(np.isfinite(values), 0.0, np.nan)
    return np.stack((values, nothing, nothing))


def _with_unique_labels(points: list[Trajectory]) -> list[Trajectory]:
    """A derived label that a marker already has gets a trailing mark."""
    used: set[str] = set()
    out = []
    for point in points:
        label = point.label
        while label in used:
            label += "_x"
        used.add(label)
        out.append(Trajectory(label, point.description, point.values, point.group))
    return out


def _describe_points(file: Any, points: list[Trajectory], rate: float) -> None:
    point = file["parameters"]["POINT"]
    point["RATE"]["value"] = [rate]
    point["UNITS"]["value"] = ["mm"]
    point["LABELS"]["value"] = [p.label for p in points]
    point["DESCRIPTIONS"]["value"] = [p.description for p in points]
    texts = {
        "X_SCREEN": ["+X"],
        "Y_SCREEN": ["+Y"],
        "ANGLE_UNITS": ["deg"],
        "MOMENT_UNITS": ["Nmm"],
        "POWER_UNITS": ["W"],
    }
    for group in ("ANGLES", "MOMENTS", "POWERS"):
        texts[group] = [p.label for p in points if p.group == group]
    for name, value in texts.items():
        file.add_parameter("POINT", name, value)


def _describe_events(file: Any, landing: Landing, start: float) -> None:
    """Touch-down and landing end of each foot; start [s] is the time of the first stored frame."""
    events = [(side, "touch-down", e.touchdown) for side, e in landing.events.sides.items()]
    events += [(side, "landing end", e.landing_end) for side, e in landing.events.sides.items()]
    events = [(side, label, start + time) for side, label, time in events if np.isfinite(time)]
    minutes = np.array([time // 60 for _, _, time in events])
    seconds = np.array([time % 60 for _, _, time in events])
    for name, value in {
        "USED": [len(events)],
        "CONTEXTS": [EVENT_SIDES[side] for side, _, _ in events],
        "LABELS": [label for _, label, _ in events],
        "TIMES": np.stack((minutes, seconds)),
    }.items():
        file.add_parameter("EVENT", name, value)

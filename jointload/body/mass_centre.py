"""The whole body's centre of mass, for checks: its fall in flight, and the force it demands on the ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import Array
from jointload.numerics.rotations import rotate

NEEDED_SHARE = 0.8
"""Without at least this share of the body's mass there is no whole-body centre (choice)."""


@dataclass(frozen=True, eq=False)
class MassCentre:
    """position (3, F) [m] of the centre of the parts that are seen; share of the body's mass they hold; the missing
    parts."""

    position: Array
    share: float
    missing: tuple[str, ...]


def mass_centre(poses: SegmentPoses, markers: dict[str, Array], body: FittedBody) -> MassCentre:
    """Legs from their poses; trunk with pelvis, head and arms as points on lines between landmarks (de Leva 1996).

    NaN throughout when the seen parts hold less than NEEDED_SHARE of the mass.
    """
    shape = (3, *poses.origin.shape[2:])
    weighted, mass, missing = np.zeros(shape), np.zeros(()), []
    for name in body.segments:
        if name in body.inertia and name != "pelvis":
            rotation, origin = poses.of(name)
            part = np.asarray(body.inertia[name].mass)[..., None]
            weighted += part * (origin + rotate(rotation, body.inertia[name].com[..., None]))
            mass = mass + part
    for name, line in body.definition.mass_lines.items():
        start, end = (line_point(point, poses, markers, body) for point in (line.start, line.end))
        if start is None or end is None:
            missing.append(name)
            continue
        line_mass, fraction = body.line_masses[name]
        weighted += line_mass * (start + fraction * (end - start))
        mass = mass + line_mass
    share = float(np.mean(mass)) / body.rider.mass
    position = weighted / mass if share >= NEEDED_SHARE else np.full(shape, np.nan)
    return MassCentre(position, share, tuple(missing))


def line_point(point: str, poses: SegmentPoses, markers: dict[str, Array], body: FittedBody) -> Array | None:
    """(3, F) [m] of a point of a mass line: seen markers first, a carried point otherwise; None where there is
    neither."""
    for choice in body.definition.points.get(point, ((point,),)):
        labels = [body.landmark_labels.get(name, "") for name in choice]
        if all(label in markers for label in labels):
            first, *others = (markers[label] for label in labels)
            return sum(others, first) / len(labels)
    return poses.place(body, point) if point in body.points else None

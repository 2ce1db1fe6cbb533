"""From a plate's scaled analog channels to the wrench in the lab, types 1 to 4.

Everything a plate does between its channels and the lab is linear (except type 1), so it is ONE matrix per plate:
wrench_lab = lab_from_plate @ plate_from_channels @ channels.

References: C3D User Guide, c3d.org, pages forceplatformcorners, forceplatformorigin, type14, type24, type31, calmatrix.
"""

from __future__ import annotations

import numpy as np

from jointload.intake.plates.settings import PlateSetting
from jointload.intake.recording import Array


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

"""Rotations as matrices with the frame last, (3, 3, ..., F), and vectors as (3, ..., F).

A name reads as dominoes: lab_from_shank @ shank_from_foot. Components come first because every operation here is then a
handful of multiplications of long contiguous rows.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GIMBAL_LIMIT = np.deg2rad(80.0)
"""Beyond this second rotation the first and third are hard to tell apart (common practice, no source)."""


def compose(a: Array, b: Array) -> Array:
    """Matrix product a @ b of (3, 3, ...) arrays, trailing axes broadcast."""
    return _summed((a[:, k, None], b[None, k]) for k in range(3))


def inverse(rotation: Array) -> Array:
    """(3, 3, ...) transpose, a view."""
    return rotation.swapaxes(0, 1)


def inverse_of_any(matrix: Array) -> Array:
    """(3, 3, ...) of matrices that need not be rotations: vector products of their rows by their determinant."""
    columns = np.stack([cross(matrix[i], matrix[j]) for i, j in ((1, 2), (2, 0), (0, 1))], axis=1)
    return columns / dot(matrix[0], columns[:, 0])


def rotate(rotation: Array, vector: Array, out: Array | None = None) -> Array:
    """rotation @ vector: (3, 3, ...) and (3, ...) give (3, ...), in `out` where that is told."""
    return _summed(((rotation[:, k], vector[k]) for k in range(3)), out)


def rotate_back(rotation: Array, vector: Array) -> Array:
    """rotation.T @ vector: (3, 3, ...) and (3, ...) give (3, ...)."""
    return _summed((rotation[k], vector[k]) for k in range(3))


def _summed(pairs: Iterator[tuple[Array, Array]], out: Array | None = None) -> Array:
    """Sum of three products, in as little memory as may be: what is read again is then still in the cache."""
    (a, b), (c, d), (e, f) = pairs
    out, part = np.multiply(a, b, out=out), c * d
    out += part
    out += np.multiply(e, f, out=part)
    return out


def cross(a: Array, b: Array) -> Array:
    """Vector product of (3, ...) arrays, trailing axes broadcast."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.multiply(a[j], b[k], out=out[i, ...])
        out[i] -= a[k] * b[j]
    return out


def add_cross(out: Array, a: Array, b: Array) -> None:
    """Vector product of (3, ...) arrays, added to `out`."""
    part = np.empty(out.shape[1:])
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[i] += np.multiply(a[j], b[k], out=part)
        out[i] -= np.multiply(a[k], b[j], out=part)


def dot(a: Array, b: Array) -> Array:
    """Scalar product of (3, ...) arrays: (...)."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def unit(vector: Array) -> Array:
    """(3, ...) scaled to length one; NaN where the length is zero."""
    length = np.sqrt(dot(vector, vector))
    return vector / np.where(length > 0, length, np.nan)


def from_axes(primary: Array, secondary: Array, primary_axis: str, secondary_axis: str) -> Array:
    """Right-handed rotation whose `primary_axis` ('x', 'y', 'z') is along primary and whose `secondary_axis` lies
    nearest secondary.

    primary, secondary : (3, ...); result : (3, 3, ...) with the axes as columns.
    """
    first, second = "xyz".index(primary_axis), "xyz".index(secondary_axis)
    third = 3 - first - second
    handed = 1.0 if (second - first) % 3 == 1 else -1.0
    axes = np.empty((3, *np.broadcast_shapes(primary.shape, secondary.shape)))
    axes[first] = unit(primary)
    axes[third] = handed * unit(cross(primary, secondary))
    axes[second] = handed * cross(axes[third], axes[first])
    return axes.swapaxes(0, 1)


def about_axis(axis: str, angle: Array | float) -> Array:
    """Rotation by angle [rad] about 'x', 'y' or 'z': (3, 3, ...)."""
    i = "xyz".index(axis)
    j, k = (i + 1) % 3, (i + 2) % 3
    angle = np.asarray(angle, dtype=float)
    out = np.zeros((3, 3, *angle.shape))
    out[i, i] = 1.0
    out[j, j] = out[k, k] = np.cos(angle)
    out[k, j] = np.sin(angle)
    out[j, k] = -out[k, j]
    return out


def from_vector(vector: Array) -> Array:
    """Rotation of a rotation vector (3, ...) [rad]: Rodrigues' formula, exact at zero."""
    square = dot(vector, vector)
    angle = np.sqrt(np.maximum(square, np.finfo(float).tiny))
    sine = np.sin(angle) / angle
    versine = 2.0 * (np.sin(0.5 * angle) / angle) ** 2
    x, y, z = vector
    out = (versine * vector)[:, None] * vector[None, :]
    cosine = 1.0 - versine * square
    for i in range(3):
        out[i, i] += cosine
    out[0, 1] -= sine * z
    out[1, 0] += sine * z
    out[0, 2] += sine * y
    out[2, 0] -= sine * y
    out[1, 2] -= sine * x
    out[2, 1] += sine * x
    return out


def to_vector(rotation: Array) -> Array:
    """Rotation vector (3, ...) [rad] of rotations by less than pi."""
    sine_axis = 0.5 * np.stack(
        (rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1])
    )
    sine = np.sqrt(dot(sine_axis, sine_axis))
    angle = np.arctan2(sine, 0.5 * (rotation[0, 0] + rotation[1, 1] + rotation[2, 2] - 1.0))
    return sine_axis * np.where(sine > 0, angle / np.where(sine > 0, sine, 1.0), 1.0)


def cardan_zxy(rotation: Array) -> Array:
    """Angles (3, ...) [rad] about Z, then X', then Y'' of proximal_from_distal rotations (3, 3, ...).

    These are the joint coordinate system's rotations about e1 (proximal Z), the floating axis e2 and e3 (distal Y):
    Grood ES, Suntay WJ (1983) J Biomech Eng 105:136-144 in ISB axis letters (Wu G et al (2002) J Biomech 35:543-548).
    """
    first = np.arctan2(-rotation[0, 1], rotation[1, 1])
    second = np.arcsin(np.clip(rotation[2, 1], -1.0, 1.0))
    third = np.arctan2(-rotation[2, 0], rotation[2, 2])
    return np.stack((first, second, third))


def joint_axes(lab_from_proximal: Array, lab_from_distal: Array) -> Array:
    """Axes of the joint coordinate system in the lab, (3 components, 3 axes e1 e2 e3, ...), each of length one.

    e1 is the proximal Z, e3 the distal Y, e2 = e3 x e1 (Grood and Suntay 1983; signs as Wu 2002).
    """
    e1, e3 = lab_from_proximal[:, 2], lab_from_distal[:, 1]
    return np.stack((e1, unit(cross(e3, e1)), e3), axis=1)


def unwrap(angle: Array) -> Array:
    """Remove jumps of 2 pi along the last axis; NaN stays and does not spoil what follows."""
    out = angle.copy()
    rows = out.reshape(-1, out.shape[-1])
    with np.errstate(invalid="ignore"):
        smooth = np.all(np.abs(np.diff(rows)) <= np.pi, axis=1)
    for row in (rows[k] for k in np.flatnonzero(~smooth)):
        seen = np.flatnonzero(np.isfinite(row))
        if np.any(np.abs(np.diff(row[seen])) > np.pi):
            row[seen] = np.unwrap(row[seen])
            row[seen] -= 2 * np.pi * np.round(np.median(row[seen]) / (2 * np.pi))
    return out


def angular_motion(lab_from_segment: Array, dt: float) -> tuple[Array, Array]:
    """Angular velocity [rad/s] and acceleration [rad/s2] in lab axes, (3, ..., F) each, of (3, 3, ..., F) rotations.

    The rotation vector from frame to frame is the mean velocity between them; its central mean and central difference
    belong to the frame. This is the second difference of an orientation: nothing is differentiated twice. NaN at both
    ends.
    """
    step = to_vector(compose(lab_from_segment[..., 1:], inverse(lab_from_segment[..., :-1])))
    velocity = np.full((3, *lab_from_segment.shape[2:]), np.nan)
    acceleration = np.full_like(velocity, np.nan)
    velocity[..., 1:-1] = (step[..., 1:] + step[..., :-1]) * (0.5 / dt)
    acceleration[..., 1:-1] = (step[..., 1:] - step[..., :-1]) * (1.0 / dt**2)
    return velocity, acceleration

"""What a surface measures: volume, mass, stack heights, tilts and the steepest slope, by its heights alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from jointload.insole.shape.outline import BALL_SHARE, HEEL_SHARE
from jointload.insole.shape.parts import cover_thickness
from jointload.insole.shape.shape import InsoleShape
from jointload.insole.shape.surface import FINE, Surface, sole_grid
from jointload.intake.recording import Array


@dataclass(frozen=True)
class Numbers:
    """volume [m3], mass [kg] (NaN without densities), heights [m] and the steepest slope [rad] of one surface."""

    volume: float
    mass: float
    thinnest: float
    thickest: float
    heel_stack: float
    forefoot_stack: float
    steepest: float
    heel_tilt: float
    """Mean tilt across the heel [rad], positive when the medial side is higher."""
    forefoot_tilt: float


def measure(surface: Surface) -> Numbers:
    """Numbers of a surface by its heights alone."""
    x, y = sole_grid(surface, *FINE)
    z = surface.heights(x, y)
    volume, area = _integrals(x, y, z)
    return Numbers(
        volume=volume,
        mass=_mass(surface, x, y, volume, area),
        thinnest=float(z.min()),
        thickest=float(z.max()),
        heel_stack=_height_at(surface, HEEL_SHARE),
        forefoot_stack=_height_at(surface, BALL_SHARE),
        steepest=_steepest(surface),
        heel_tilt=_tilt(surface, HEEL_SHARE),
        forefoot_tilt=_tilt(surface, BALL_SHARE),
    )


def _integrals(x: Array, y: Array, z: Array) -> tuple[float, float]:
    """Volume [m3] and area [m2] by the trapezoid rule, across first."""
    along = x[:, 0]
    section = np.sum(0.5 * (z[:, 1:] + z[:, :-1]) * np.diff(y, axis=1), axis=1)
    breadth = y[:, -1] - y[:, 0]
    steps = np.diff(along)
    return float(np.sum(0.5 * (section[1:] + section[:-1]) * steps)), float(
        np.sum(0.5 * (breadth[1:] + breadth[:-1]) * steps)
    )


def _mass(surface: Surface, x: Array, y: Array, volume: float, area: float) -> float:
    """Mass [kg]: covers by area and thickness, thin layers by their own volume, the shaped layer by what is left; NaN
    without layers or densities."""
    layers = surface.layers
    if not layers:
        return math.nan
    thin = surface.thin if isinstance(surface, InsoleShape) else ()
    sheets = [_integrals(x, y, one.height * one.share(x / surface.length))[0] for one in thin]
    body = volume - area * cover_thickness(layers) - sum(sheets)
    return sum(
        layer.material.density * (body if layer.thickness is None else area * layer.thickness) for layer in layers
    ) + sum(one.material.density * sheet for one, sheet in zip(thin, sheets, strict=True))


def _height_at(surface: Surface, share: float) -> float:
    return float(surface.heights(np.array([share * surface.length]), np.array([0.0]))[0])


def _tilt(surface: Surface, share: float) -> float:
    """Slope of the straight line through a cross section [rad]."""
    x = np.full(61, share * surface.length)
    y = np.linspace(float(surface.lateral_edge(x[:1])[0]), float(surface.medial_edge(x[:1])[0]), 61)
    return math.atan(float(np.polyfit(y, surface.heights(x, y), 1)[0]))


def _steepest(surface: Surface) -> float:
    """Steepest slope [rad] of the top on the sole, by differences over half a millimetre inwards of the edge."""
    x, y = sole_grid(surface, *FINE)
    x, y, step = x[1:-1, 1:-1], y[1:-1, 1:-1], 0.00025
    slope = [
        (surface.heights(x + dx, y + dy) - surface.heights(x - dx, y - dy)) / (2 * step)
        for dx, dy in ((step, 0.0), (0.0, step))
    ]
    return math.atan(float(np.hypot(*slope).max()))

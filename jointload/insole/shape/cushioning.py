"""What a layer does under a heel: peak pressure, height left and energy, by thickness. A comparison of materials."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from jointload.insole.shape.materials import Material
from jointload.intake.recording import Array

TISSUE_A, TISSUE_B, TISSUE_THICKNESS = 15e3, 8.0, 0.016
"""Heel pad: p = a (exp(b s) - 1) [Pa], which gives a strain of 0.39 at about 320 kPa (Gefen 2001, second hand), and its
thickness [m] (12.5 to 24.5 mm; Naemi 2016)."""
HEEL_CURVE, HEEL_RADIUS = 0.080, 0.028
"""Radius of curvature and of the outline of the heel's bone and pad [m]: a choice. Without a layer 700 N give 0.75 MPa;
barefoot walking gave 762 +- 220 kPa (medial heel, n = 47, PMC8275713)."""
PRESSURES = np.geomspace(1e2, 5e7, 6000)
"""Pressures the laws are tabulated at [Pa]."""


@dataclass(frozen=True)
class HeelRest:
    """peak pressure [Pa] under the heel, height [m] left of the layer there, work [J] the layer took and the share of
    it [J] that it keeps (NaN where the loss is unknown), and whether it has bottomed out."""

    peak_pressure: float
    height_left: float
    work: float
    energy_lost: float
    bottomed_out: bool


def rest_heel(material: Material, thickness: float, load: float) -> HeelRest:
    """A round heel with its pad pressed onto a layer on a hard floor, slowly.

    Every place is a spring of pad and layer in series; the heel is a paraboloid of HEEL_CURVE R, cut off at
    HEEL_RADIUS r. Depth d at the centre and c at any ring are bound by 2 pi r dr = 2 pi R dc, so that
    load = 2 pi R (W(d) - W(d - r^2 / 2R)) with W the integral of p over c.
    thickness : [m];  load : [N]
    """
    p = PRESSURES
    layer = material.compression(p, thickness)
    depth = layer + TISSUE_THICKNESS / TISSUE_B * np.log1p(p / TISSUE_A)
    work = _running(p, depth)
    rim = np.maximum(depth - HEEL_RADIUS**2 / (2 * HEEL_CURVE), 0.0)
    forces = 2 * math.pi * HEEL_CURVE * (work - np.interp(rim, depth, work))
    deepest = float(np.interp(load, forces, depth))
    peak = float(np.interp(deepest, depth, p))
    taken = _running(_running(p, layer), depth)
    shallowest = max(deepest - HEEL_RADIUS**2 / (2 * HEEL_CURVE), 0.0)
    energy = 2 * math.pi * HEEL_CURVE * float(np.diff(np.interp([shallowest, deepest], depth, taken))[0])
    left = thickness - float(material.compression(peak, thickness))
    return HeelRest(peak, left, energy, energy * material.energy_loss, peak > material.bottoming_pressure)


def _running(values: Array, over: Array) -> Array:
    """Integral of values over `over` from zero on; the first piece is a triangle."""
    first = 0.5 * values[0] * over[0]
    return first + np.concatenate(([0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(over))))

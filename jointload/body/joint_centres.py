"""Hip and lumbosacral joint centres from the pelvis, by published regressions, and the hip by a movement trial.

Every centre is (3,) [m] in the ISB pelvis frame with its origin midway between the ASIS: x anterior, y cranial, z
right. The regressions work in millimetres, as printed; their coefficients stand in models/hip_centres.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from jointload.errors import CalibrationError, expected_found
from jointload.intake.recording import Array, Side
from jointload.modeldata import load_model
from jointload.numerics.rigid_fit import fit_poses
from jointload.numerics.rotations import to_vector

MM = 0.001


@dataclass(frozen=True)
class PelvisSize:
    """What the regressions measure, all in [m].

    Each may hold D draws, (D,); a centre is then (3, D).

    width : distance between the ASIS
    depth : distance from mid-ASIS to mid-PSIS
    leg_length : ASIS to medial malleolus, of one side or the mean of both; NaN when unknown
    marker_radius : of the ASIS markers; only davis_1991 takes it into account
    """

    width: float | Array
    depth: float | Array
    leg_length: float | Array = math.nan
    marker_radius: float = 0.0


def harrington_2007(pelvis: PelvisSize, side: Side, sex: str) -> Array:
    """Hip centre from pelvis width and depth: x = -0.24 PD - 9.9, y = -0.30 PW - 10.9, z = 0.33 PW + 7.3 (mm).

    Reference: Harrington et al. (2007) J Biomech 40:595-602, single-variable equations; adults and children.
    """
    c = _coefficients("harrington_2007")
    PW, PD = pelvis.width / MM, pelvis.depth / MM
    return _centre(c["x_PD"] * PD + c["x_mm"], c["y_PW"] * PW + c["y_mm"], c["z_PW"] * PW + c["z_mm"], side)


def harrington_2007_stepwise(pelvis: PelvisSize, side: Side, sex: str) -> Array:
    """Hip centre: x = -0.24 PD - 9.9, y = -0.16 PW - 0.04 LL - 7.1, z = 0.28 PD + 0.16 PW + 7.9 (mm).

    Reference: Harrington et al. (2007) J Biomech 40:595-602, stepwise equations; adults and children.
    """
    c = _coefficients("harrington_2007_stepwise")
    PW, PD, LL = pelvis.width / MM, pelvis.depth / MM, _leg_length(pelvis, "harrington_2007_stepwise") / MM
    x = c["x_PD"] * PD + c["x_mm"]
    y = c["y_PW"] * PW + c["y_LL"] * LL + c["y_mm"]
    z = c["z_PD"] * PD + c["z_PW"] * PW + c["z_mm"]
    return _centre(x, y, z, side)


def bell_1989(pelvis: PelvisSize, side: Side, sex: str) -> Array:
    """Hip centre from pelvis width: x = -0.22 PW, y = -0.30 PW, z = 0.36 PW.

    Reference: Bell et al. (1989) Hum Mov Sci 8:3-16.
    """
    c = _coefficients("bell_1989")
    PW = pelvis.width / MM
    return _centre(c["x_PW"] * PW, c["y_PW"] * PW, c["z_PW"] * PW, side)


def bell_1990(pelvis: PelvisSize, side: Side, sex: str) -> Array:
    """Hip centre from pelvis width: x = -0.19 PW, y = -0.30 PW, z = 0.36 PW.

    Reference: Bell et al. (1990) J Biomech 23:617-621.
    """
    c = _coefficients("bell_1990")
    PW = pelvis.width / MM
    return _centre(c["x_PW"] * PW, c["y_PW"] * PW, c["z_PW"] * PW, side)


def davis_1991(pelvis: PelvisSize, side: Side, sex: str) -> Array:
    """Hip centre from leg length LL, pelvis width PW and marker radius r.

    Printed in axes X anterior, Y to the left, Z up, with S = 1 right and -1 left; returned in ISB axes (X, Z, -Y).
    C = 0.115 LL - 15.3, xdis = 0.1288 LL - 48.56 (mm), theta = 28.4 deg, beta = 18 deg:
    X = (-xdis - r) cos(beta) + C cos(theta) sin(beta)
    Y = S (C sin(theta) - PW / 2)
    Z = (-xdis - r) sin(beta) - C cos(theta) cos(beta)
    Reference: Davis et al. (1991) Hum Mov Sci 10:575-587. xdis, which may be measured, is always taken from leg length.
    """
    c = _coefficients("davis_1991")
    PW, LL, r = pelvis.width / MM, _leg_length(pelvis, "davis_1991") / MM, pelvis.marker_radius / MM
    C, xdis = c["C_LL"] * LL + c["C_mm"], c["xdis_LL"] * LL + c["xdis_mm"]
    theta, beta = math.radians(c["theta_deg"]), math.radians(c["beta_deg"])
    X = (-xdis - r) * math.cos(beta) + C * math.cos(theta) * math.sin(beta)
    Y_right = C * math.sin(theta) - PW / 2
    Z = (-xdis - r) * math.sin(beta) - C * math.cos(theta) * math.cos(beta)
    return _centre(X, Z, -Y_right, side)


def leardini_1999(pelvis: PelvisSize, side: Side, sex: str) -> Array:
    """Hip centre: x = -0.31 PD, y = -0.096 LL, z = 0.38 PW.

    Reference: Leardini et al. (1999) J Biomech 32:99-103; adult men.
    """
    c = _coefficients("leardini_1999")
    PW, PD, LL = pelvis.width / MM, pelvis.depth / MM, _leg_length(pelvis, "leardini_1999") / MM
    return _centre(c["x_PD"] * PD, c["y_LL"] * LL, c["z_PW"] * PW, side)


def hara_2016(pelvis: PelvisSize, side: Side, sex: str) -> Array:
    """Hip centre from leg length: x = 11 - 0.063 LL, y = -9 - 0.078 LL, z = 8 + 0.086 LL (mm).

    Reference: Hara et al. (2016) Sci Rep 6:37707; children and adults.
    """
    c = _coefficients("hara_2016")
    LL = _leg_length(pelvis, "hara_2016") / MM
    return _centre(c["x_mm"] + c["x_LL"] * LL, c["y_mm"] + c["y_LL"] * LL, c["z_mm"] + c["z_LL"] * LL, side)


def reed_1999(pelvis: PelvisSize, side: Side, sex: str) -> Array:
    """Hip centre as fractions of pelvis width, one set for each sex.

    Reference: Reed et al. (1999), as restated by Dumas et al. (2007) J Biomech 40:543-553, Table 1.
    """
    return np.multiply.outer(_reed_fractions("right_hip" if side == "right" else "left_hip", sex), pelvis.width)


HIP_CENTRES: dict[str, Callable[[PelvisSize, Side, str], Array]] = {
    "harrington_2007": harrington_2007,
    "harrington_2007_stepwise": harrington_2007_stepwise,
    "bell_1989": bell_1989,
    "bell_1990": bell_1990,
    "davis_1991": davis_1991,
    "leardini_1999": leardini_1999,
    "hara_2016": hara_2016,
    "reed_1999": reed_1999,
}


def hip_centre_error(name: str) -> tuple[float, float]:
    """Distance [m] of the estimate from the true hip centre, mean and SD; the data file says which is published."""
    error = load_model("hip_centres", name).content["error"]
    return error["mean_mm"] * MM, error["sd_mm"] * MM


def centre_spreads(method: str) -> dict[str, list[float]]:
    """Standard deviations [mm] along three axes of every kind of joint centre; method : of the hip, or 'functional'."""
    spread = dict(load_model("uncertainty", "joint_centre").content["spread_mm"])
    spread["hip_centre"] = spread.pop("functional_hip")
    if method != "functional":
        spread["hip_centre"] = [math.hypot(*hip_centre_error(method)) / math.sqrt(3.0) / MM] * 3
    return spread


def l5s1_centre(pelvis_width: float | Array, sex: str) -> Array:
    """Centre of the joint between fifth lumbar vertebra and sacrum, as fractions of pelvis width [m] for each sex.

    Reference: Reed et al. (1999), as restated by Dumas et al. (2007) J Biomech 40:543-553, Table 1.
    """
    return np.multiply.outer(_reed_fractions("lumbar_L5S1", sex), pelvis_width)


MIN_HIP_RANGE = math.radians(15.0)
"""Least half-range [rad] of the thigh about a second axis (choice); about 30 degrees to all sides is advised."""
MIN_HIP_FRAMES = 20
MAX_BIAS_STEPS = 100
BIAS_TOLERANCE = 1e-6
"""[m], far below marker noise."""


def functional_hip_centre(thigh_points: Array) -> tuple[Array, float]:
    """Common centre of the spheres on which thigh markers move about the hip, and the root mean square residual [m].

    thigh_points : (3, M, F) [m], in the pelvis frame; frames in which any point is missing (NaN) are left out
    Least squares of |v - m|^2 - r^2 over all points v (linear in m), then the bias that marker noise of variance s2
    puts into it is removed: A m = b - 2 s2 sum_p(mean v_p - m), with s2 from the residuals, until m stands still.
    CalibrationError where the thigh swung too little to all sides; a hinge leaves the centre open along its axis.
    Reference: Gamage and Lasenby (2002) J Biomech 35:87-93; Halvorsen (2003) J Biomech 36:999-1008. FROM MEMORY,
    rederived.
    """
    v = thigh_points[:, :, np.isfinite(thigh_points).all(axis=(0, 1))]
    if v.shape[1] < 3 or v.shape[2] < MIN_HIP_FRAMES:
        found = f"{v.shape[1]} markers in {v.shape[2]} frames"
        raise _bad_movement(f"at least 3 thigh markers seen together in {MIN_HIP_FRAMES} frames", found)
    half_range = _second_half_range(v)
    if math.isnan(half_range):
        raise _bad_movement("thigh markers that span a plane", "markers on one line")
    if half_range < MIN_HIP_RANGE:
        found = f"{math.degrees(half_range):.0f} deg about a second axis"
        raise _bad_movement("the thigh swung by about 30 deg forward, back and sideways", found)
    mean = v.mean(axis=2, keepdims=True)
    square = np.sum(v**2, axis=0)
    centred = v - mean
    A = 2 * np.einsum("ipf,jpf->ij", centred, centred) / v.shape[2]
    b = np.einsum("ipf,pf->i", centred, square) / v.shape[2]
    m = np.linalg.solve(A, b)
    for _ in range(MAX_BIAS_STEPS):
        before = m
        correction = 2 * _noise_variance(v, m) * np.sum(mean[:, :, 0] - m[:, None], axis=1)
        m = np.linalg.solve(A, b - correction)
        if np.linalg.norm(m - before) < BIAS_TOLERANCE:
            break
    return m, math.sqrt(_noise_variance(v, m))


def _noise_variance(v: Array, m: Array) -> float:
    """Variance [m2] of the distances from the centre m about each marker's mean: noise along the radius."""
    return float(np.mean(np.var(np.linalg.norm(v - m[:, None, None], axis=0), axis=1)))


def _second_half_range(v: Array) -> float:
    """Half-range [rad] about the second axis of the movement, 0 for a hinge; NaN where the markers lie on one line.

    From the covariance of the rotation vectors: sine swings of half-range a about two axes in turn give each a^2 / 4.
    """
    rotation, _, _ = fit_poses([v[:, :, v.shape[2] // 2]], [v])
    vectors = to_vector(rotation[:, :, 0])
    if not np.isfinite(vectors).all():
        return math.nan
    return 2 * math.sqrt(max(0.0, float(np.linalg.eigvalsh(np.cov(vectors))[1])))


def _bad_movement(expected: str, found: str) -> CalibrationError:
    return CalibrationError(
        expected_found("hip movement trial", expected, found, "the thigh markers", "repeat it or use a regression")
    )


def _coefficients(name: str) -> dict[str, float]:
    coefficients: dict[str, float] = load_model("hip_centres", name).content["coefficients"]
    return coefficients


def _centre(x_mm: float | Array, y_mm: float | Array, z_mm: float | Array, side: Side) -> Array:
    """(3,) [m] from millimetres, z counted outward on either side."""
    return MM * np.stack(np.broadcast_arrays(x_mm, y_mm, z_mm if side == "right" else -z_mm))


def _leg_length(pelvis: PelvisSize, formula: str) -> float | Array:
    if not np.isfinite(pelvis.leg_length).all():
        advice = "add measurements.leg_length_m or use harrington_2007"
        raise CalibrationError(expected_found(f"hip centre {formula}", "a leg length", "none", "rider.toml", advice))
    return pelvis.leg_length


def _reed_fractions(joint: str, sex: str) -> Array:
    """(3,) [1] of pelvis width, in the pelvis frame."""
    rows = {(row["joint"], row["sex"].lower()): row for row in load_model("joint_centres", "reed_1999").content}
    return np.array([float(rows[joint, sex][axis]) for axis in ("x_PW", "y_PW", "z_PW")])

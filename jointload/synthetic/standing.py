"""An invented standing rider: where the markers sit, what the laboratory calls them, and the static trial they give."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from jointload.body.calibration import FittedBody, calibrate
from jointload.body.inertia import SegmentInertia
from jointload.intake.labels import LabelMap
from jointload.intake.recording import SIDES, Array, Plate, Recording
from jointload.intake.rider import Rider

REFERENCE_HEIGHT = 1.75
"""Height [m] of the person whose landmarks are listed; another rider is scaled by height."""

RIGHT = {
    "asis": ("R_spine_front", (0.065, 1.000, 0.125)),
    "psis": ("R_spine_rear", (-0.085, 1.020, 0.045)),
    "iliac_crest": ("R_crest", (0.005, 1.075, 0.140)),
    "femur_epicondyle_lateral": ("R_knee_lateral", (0.010, 0.497, 0.152)),
    "femur_epicondyle_medial": ("R_knee_medial", (0.014, 0.500, 0.054)),
    "malleolus_lateral": ("R_ankle_lateral", (-0.005, 0.082, 0.147)),
    "malleolus_medial": ("R_ankle_medial", (0.010, 0.092, 0.075)),
    "calcaneus": ("R_heel", (-0.068, 0.048, 0.112)),
    "calcaneus_lateral": ("R_heel_lateral", (-0.035, 0.045, 0.148)),
    "metatarsal1": ("R_foot_medial", (0.150, 0.050, 0.070)),
    "metatarsal5": ("R_foot_lateral", (0.115, 0.042, 0.165)),
    "toe": ("R_toe", (0.205, 0.046, 0.112)),
    "acromion": ("R_shoulder", (-0.005, 1.455, 0.190)),
    "elbow": ("R_elbow", (0.080, 1.190, 0.225)),
    "wrist": ("R_wrist", (0.190, 1.330, 0.030)),
}
"""Landmark: (marker label, (x forward, y up, z right) [m]) of the right side; arms folded, soles on the floor."""
CENTRE = {
    "c7": ("neck_base", (-0.065, 1.500, 0.0)),
    "t8": ("back_mid", (-0.095, 1.280, 0.0)),
    "suprasternale": ("breastbone_top", (0.050, 1.430, 0.0)),
    "xiphoid": ("breastbone_tip", (0.100, 1.270, 0.0)),
    "head_front": ("brow", (0.095, 1.655, 0.0)),
    "head_rear": ("nape", (-0.095, 1.650, 0.0)),
}
TRACKING = {
    "thigh": ((0.075, 0.800, 0.160), (-0.020, 0.770, 0.185), (0.070, 0.640, 0.155), (-0.015, 0.610, 0.172)),
    "shank": ((0.055, 0.385, 0.125), (0.000, 0.360, 0.158), (0.050, 0.235, 0.120), (-0.005, 0.215, 0.150)),
}
"""Right-side markers on the skin of thigh and shank that only track [m]."""
MEDIAL = ("femur_epicondyle_medial", "malleolus_medial")
"""Landmarks that carry a marker in the static trial only."""
PLATE_LENGTH, PLATE_WIDTH, PLATE_GAP = 0.70, 0.50, 0.01
"""Two plates side by side [m]: along X, along Z, and between them."""
LUMP_RADII = (0.105, 0.065, 0.102)
"""Radii of gyration of head, arms and upper trunk in one, about the trunk's X, Y, Z, per body height (choice)."""


@dataclass(frozen=True)
class Noise:
    """What disturbs a recording: standard deviations of cameras [m] and plates [N]; skin motion, 1 is typical."""

    camera: float = 0.3e-3
    plate: float = 1.0
    skin: float = 1.0


TYPICAL, SILENT = Noise(), Noise(0.0, 0.0, 0.0)


def label_map() -> LabelMap:
    """The laboratory's labels: every landmark, clusters on thighs and shanks."""
    landmarks = {name: label for name, (label, _) in CENTRE.items()}
    for side in SIDES:
        landmarks |= {f"{side}_{name}": _on_side(label, side) for name, (label, _) in RIGHT.items()}
    clusters = {
        f"{side}_{part}": tuple(f"{side[0].upper()}_{part}_{k + 1}" for k in range(len(places)))
        for side in SIDES
        for part, places in TRACKING.items()
    }
    return LabelMap(landmarks, clusters)


def _on_side(label: str, side: str) -> str:
    return label.replace("R_", "L_", 1) if side == "left" else label


def standing_markers(height: float) -> dict[str, Array]:
    """Label to place (3,) [m], lab axes, of every marker of a rider of this height [m]."""
    labels = label_map()
    scale = height / REFERENCE_HEIGHT
    out = {label: scale * np.array(place) for label, place in CENTRE.values()}
    for side, mirror in zip(SIDES, (1.0, -1.0), strict=True):
        turn = scale * np.array([1.0, 1.0, mirror])
        out |= {_on_side(label, side): turn * place for label, place in RIGHT.values()}
        for part, places in TRACKING.items():
            out |= {label: turn * p for label, p in zip(labels.clusters[f"{side}_{part}"], places, strict=True)}
    return out


def medial_labels() -> set[str]:
    """Labels of the markers that are taken off before the landings."""
    return {_on_side(RIGHT[name][0], side) for name in MEDIAL for side in SIDES}


def plate_corners() -> tuple[Array, Array]:
    """Corners (3, 4) [m] of the right and the left plate, lab axes, in the order of the C3D quadrants with z down.

    The plate's own x runs forward, its own y to the right.
    """
    x, near, far = 0.5 * PLATE_LENGTH, 0.5 * PLATE_GAP, 0.5 * PLATE_GAP + PLATE_WIDTH
    right = np.array([[x, -x, -x, x], [0.0, 0.0, 0.0, 0.0], [far, far, near, near]])
    left = right - np.array([[0.0], [0.0], [near + far]])
    return right, left


def plates(force: Array, moment: Array) -> tuple[Plate, Plate]:
    """Plate 1 under the right foot, plate 2 under the left; force, moment : (3, 2, N) about the lab origin."""
    corners = plate_corners()
    first, second = (
        Plate(
            k + 1,
            2,
            corners[k],
            np.ascontiguousarray(force[:, k]),
            np.ascontiguousarray(moment[:, k]),
            "none: synthetic",
        )
        for k in range(2)
    )
    return first, second


def recording(
    name: str, markers: dict[str, Array], rate: float, pair: tuple[Plate, ...], force_rate: float
) -> Recording:
    """A recording of markers label to (3, F) [m] and plates, in lab axes."""
    return Recording(
        name=name,
        sha256="",
        labels=tuple(markers),
        markers=np.stack(list(markers.values()), axis=1),
        point_rate=rate,
        plates=pair,
        force_rate=force_rate,
        events=(),
        lab_from_file=np.eye(3),
        axes_evidence="synthetic, in lab axes",
    )


def static_recording(
    rider: Rider,
    noise: Noise = SILENT,
    seed: int = 0,
    seconds: float = 1.0,
    rate: float = 250.0,
    force_rate: float = 1000.0,
) -> Recording:
    """A quiet stance, one foot on each plate; with noise the rider also sways by a few millimetres."""
    rng = np.random.default_rng(seed)
    time, force_time = np.arange(0.0, seconds, 1.0 / rate), np.arange(0.0, seconds, 1.0 / force_rate)
    sway, size = rng.uniform(0, 2 * np.pi, 2), 0.0015 if noise.camera else 0.0
    markers = {}
    for label, place in standing_markers(rider.height).items():
        path = np.repeat(place[:, None], time.size, axis=1)
        path[[0, 2]] += place[1] * size * np.sin(2 * np.pi * 0.4 * time + sway[:, None])
        markers[label] = path + noise.camera * rng.standard_normal(path.shape)
    force, moment = _standing_wrenches(rider, size * np.sin(2 * np.pi * 0.4 * force_time + sway[:, None]))
    force += noise.plate * rng.standard_normal(force.shape)
    moment += 0.1 * noise.plate * rng.standard_normal(moment.shape)
    return recording(f"{rider.id}_static", markers, rate, plates(force, moment), force_rate)


def _standing_wrenches(rider: Rider, sway: Array) -> tuple[Array, Array]:
    """(3, 2, N) force and moment about the lab origin: half the weight under each foot, below the body's middle."""
    force, moment = np.zeros((2, 3, 2, sway.shape[1]))
    force[1] = 0.5 * rider.weight
    for k, mirror in enumerate((1.0, -1.0)):
        x = 0.035 * rider.height / REFERENCE_HEIGHT + sway[0]
        z = mirror * 0.112 * rider.height / REFERENCE_HEIGHT + sway[1]
        moment[0, k], moment[2, k] = -z * force[1, k], x * force[1, k]
    return force, moment


@lru_cache(maxsize=16)
def _fitted(rider_id: str, mass: float, height: float, sex: str) -> FittedBody:
    rider = Rider(rider_id, mass, height, "f" if sex == "f" else "m")
    return calibrate(static_recording(rider), label_map(), rider)


def fitted_body(rider: Rider) -> FittedBody:
    """The rider's true body: the project's own calibration of a stance without noise."""
    return _fitted(rider.id, rider.mass, rider.height, rider.sex)


def upper_body(body: FittedBody) -> SegmentInertia:
    """Head, folded arms and trunk above the pelvis as one rigid body in the trunk frame.

    Its mass is what legs and pelvis leave of the rider; its centre of mass is that of the body definition's mass lines
    in the static trial, without the pelvis; its tensor is diagonal with LUMP_RADII.
    """
    rotation, origin = body.standing["trunk"]
    total, moment = 0.0, np.zeros(3)
    for name, (mass, share) in body.line_masses.items():
        line = body.definition.mass_lines[name]
        start, end = body.standing_points[line.start], body.standing_points[line.end]
        total, moment = total + mass, moment + mass * (start + share * (end - start))
    pelvis = body.inertia["pelvis"]
    pelvis_rotation, pelvis_origin = body.standing["pelvis"]
    moment -= pelvis.mass * (pelvis_origin + pelvis_rotation @ pelvis.com)
    mass = body.rider.mass - sum(float(segment.mass) for segment in body.inertia.values())
    com = rotation.T @ (moment / (total - pelvis.mass) - origin)
    return SegmentInertia(mass, com, mass * np.diag(np.square(LUMP_RADII)) * body.rider.height**2)

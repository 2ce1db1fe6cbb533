"""A rider made up of landmarks, standing square: what tests of several rooms start from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jointload.intake.labels import LabelMap
from jointload.intake.recording import SIDES, Plate, Recording, split_side
from jointload.intake.rider import Rider

RIDER = Rider("invented", 70.0, 1.75, "m")
RATE = 100.0
LANDMARKS = {
    "asis": (0.10, 0.98, 0.12),
    "psis": (-0.07, 1.00, 0.05),
    "trochanter": (0.02, 0.90, 0.17),
    "femur_epicondyle_lateral": (0.01, 0.50, 0.14),
    "femur_epicondyle_medial": (0.01, 0.50, 0.04),
    "fibula_head": (-0.01, 0.46, 0.14),
    "tibia_tuberosity": (0.05, 0.44, 0.09),
    "malleolus_lateral": (-0.01, 0.08, 0.125),
    "malleolus_medial": (0.01, 0.09, 0.055),
    "calcaneus": (-0.05, 0.03, 0.09),
    "metatarsal1": (0.13, 0.03, 0.06),
    "metatarsal5": (0.10, 0.02, 0.13),
    "acromion": (0.0, 1.45, 0.18),
}
LABELS = LabelMap({f"{side}_{name}": f"{side} {name}" for name in LANDMARKS for side in SIDES} | {"c7": "c7"})


def standing_positions() -> dict[str, np.ndarray]:
    out = {"c7": np.array([-0.08, 1.50, 0.0])}
    for name, place in LANDMARKS.items():
        for side, sign in (("right", 1.0), ("left", -1.0)):
            out[f"{side} {name}"] = np.array(place) * np.array([1.0, 1.0, sign])
    return out


def recording(
    positions: dict[str, np.ndarray], frames: int = 60, name: str = "standing", plates: tuple[Plate, ...] = ()
) -> Recording:
    """A trial of positions (3,) or (3, F) at RATE, plates at the same rate."""
    stack = [np.broadcast_to(p[:, None] if p.ndim == 1 else p, (3, frames)) for p in positions.values()]
    markers = np.stack(stack, axis=1).copy()
    return Recording(name, "", tuple(positions), markers, RATE, plates, RATE, (), np.eye(3), "made up")


def mirrored_recording(recording: Recording) -> Recording:
    """Z turned round; a moment is a pseudo-vector and turns its other two components."""
    flip = np.array([1.0, 1.0, -1.0])[:, None]
    plates = tuple(
        replace(p, force=p.force * flip, moment=-p.moment * flip, corners=p.corners * flip) for p in recording.plates
    )
    return replace(recording, markers=recording.markers * flip[..., None], plates=plates)


def exchanged_sides(table: dict) -> dict:
    other = {"right": "left_", "left": "right_", "": ""}
    return {other[side] + name: value for (side, name), value in ((split_side(k), v) for k, v in table.items())}

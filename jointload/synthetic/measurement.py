"""What cameras and plates would have seen of a synthetic landing: markers on moving skin, camera noise, plate noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jointload.intake.recording import SIDES, Array, Event, Recording, split_side
from jointload.numerics.rotations import rotate
from jointload.synthetic.landing import SyntheticLanding
from jointload.synthetic.profiles import step
from jointload.synthetic.standing import label_map, medial_labels, plates, recording, standing_markers

SKIN = {"foot": 0.5e-3, "shank": 1.5e-3, "thigh": 3.5e-3, "pelvis": 2.5e-3, "trunk": 2.0e-3}
"""Typical skin motion [m]: standard deviation of its slow part (choice)."""
SLOW_TIME = 0.08
"""Correlation time [s] of the slow part."""
SWING_FREQUENCY, SWING_DECAY = (8.0, 15.0), 0.07
"""Damped oscillation of soft tissue after touch-down: range of frequency [Hz] and time constant [s]."""
SWING_PEAK = 12.5
"""Vertical force peak [body weights] at which the swing along the segment is as large as the slow part."""
SHARED = 0.7
"""Share of the swing that all markers of a segment make together."""


def exact_markers(landing: SyntheticLanding) -> dict[str, Array]:
    """Label to (3, F) [m] of every landing marker fixed to its segment, at the marker rate."""
    every = round(landing.spec.force_rate / landing.spec.marker_rate)
    out = {}
    for label, (segment, local) in placed_markers(landing).items():
        rotation, origin = landing.poses.of(segment)
        out[label] = origin[:, ::every] + rotate(rotation[:, :, ::every], local[:, None])
    return out


def placed_markers(landing: SyntheticLanding) -> dict[str, tuple[str, Array]]:
    """Label to (segment, place (3,) [m] in it) of the landing markers."""
    body, labels = landing.body, label_map()
    carrier = {label: segment for segment, cluster in labels.clusters.items() for label in cluster}
    for name, label in labels.landmarks.items():
        carrier[label] = body.points[name][0] if name in body.points else "trunk"
    out = {}
    for label, place in standing_markers(landing.spec.rider.height).items():
        if label not in medial_labels():
            rotation, origin = body.standing[carrier[label]]
            out[label] = (carrier[label], rotation.T @ (place - origin))
    return out


def as_recording(landing: SyntheticLanding) -> Recording:
    """The landing as a laboratory would have it in memory, disturbed as its specification says."""
    spec = landing.spec
    rng = np.random.default_rng(spec.seed)
    markers = exact_markers(landing)
    carried = placed_markers(landing)
    time = np.arange(next(iter(markers.values())).shape[1]) / spec.marker_rate
    every = round(spec.force_rate / spec.marker_rate)
    for segment in landing.poses.segments:
        mine = [label for label in markers if carried[label][0] == segment]
        touchdown = landing.touchdown.get(split_side(segment)[0], min(landing.touchdown.values()))
        local = spec.noise.skin * _skin_motion(segment, len(mine), time - touchdown, spec.peak, rng)
        rotation = landing.poses.of(segment)[0][:, :, ::every]
        for k, label in enumerate(mine):
            markers[label] = (
                markers[label] + rotate(rotation, local[:, k]) + spec.noise.camera * rng.standard_normal((3, time.size))
            )
    force = landing.force + spec.noise.plate * rng.standard_normal(landing.force.shape)
    moment = landing.moment + 0.1 * spec.noise.plate * rng.standard_normal(landing.moment.shape)
    trial = recording(spec.name, markers, spec.marker_rate, plates(force, moment), spec.force_rate)
    events = tuple(Event("touch-down", side, landing.touchdown[side]) for side in SIDES)
    return replace(trial, events=tuple(sorted(events, key=lambda event: event.time)))


def _skin_motion(segment: str, markers: int, since: Array, peak: float, rng: np.random.Generator) -> Array:
    """(3, markers, F) [m] in the segment's axes: a slow wander that grows after touch-down, and a damped swing.

    since : (F,) [s] from touch-down;  peak : vertical force peak [body weights], to which the swing is in proportion
    """
    from scipy.ndimage import gaussian_filter1d

    size = SKIN[split_side(segment)[1]]
    white = rng.standard_normal((3, markers, since.size))
    width = SLOW_TIME * (since.size - 1) / (since[-1] - since[0])
    slow = gaussian_filter1d(white, width, axis=2, mode="reflect") * np.sqrt(2.0 * width * np.sqrt(np.pi))
    after = np.maximum(since, 0.0)
    shared, own = rng.standard_normal((3, 1, 1)), rng.standard_normal((3, markers, 1))
    along = np.array([0.5, 1.0, 0.5])[:, None, None]
    swing = np.sin(2 * np.pi * rng.uniform(*SWING_FREQUENCY) * after) * np.exp(-after / SWING_DECAY)
    activity = 0.3 + 0.7 * step(since / 0.15)
    swing *= peak / SWING_PEAK * step(after / 0.02)
    return size * (activity * slow + along * (SHARED * shared + (1.0 - SHARED) * own) * swing)

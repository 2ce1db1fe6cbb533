"""A synthetic landing as recorded by a laboratory whose errors have the published spreads, and the rider's true body.

Every error of models/uncertainty is made where it arises: markers are stuck beside their landmarks and ride on moving
skin, plates are off in gain, place and time, and the rider's joint centres and inertia are not what the formulas say.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.body.calibration import BodyErrors
from jointload.body.joint_centres import hip_centre_error
from jointload.intake.recording import SIDES, Array, Recording, split_side
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.numerics.rotations import rotate
from jointload.numerics.signals import delayed
from jointload.settings import Settings
from jointload.synthetic.flesh import followed
from jointload.synthetic.landing import SyntheticLanding
from jointload.synthetic.measurement import placed_markers
from jointload.synthetic.standing import fitted_body, label_map, medial_labels, plates, recording, static_recording
from jointload.uncertainty.draws import MM, SEGMENT_ENDS, Streams
from jointload.uncertainty.skin import draw_skin
from jointload.uncertainty.spreads import load_source

USUAL = Settings()


@dataclass(frozen=True, eq=False)
class Disturbed:
    """session : what is recorded;  settings : with the cut-off this laboratory chose
    exact : the same recordings without any error;  truth : what the rider's body is beside the formulas' body"""

    session: Session
    settings: Settings
    exact: Session
    truth: BodyErrors


def disturbed(landing: SyntheticLanding, seed: int, size: float = 1.0, motion: float | None = None) -> Disturbed:
    """One laboratory's recording of a landing; size : factor on every spread;  motion : on those of cameras and skin,
    where another."""
    motion = size if motion is None else motion
    rng = np.random.default_rng([seed, 11])
    spec = landing.spec
    static = static_recording(spec.rider)
    moved = _misplaced(rng, size)
    errors = _plate_errors(rng, size)
    noise = motion * MM * load_source("camera").content["spread"]["noise_mm"]
    offset = _delay(rng, size)
    name = f"{spec.name}_{seed}"
    trial = recording(
        name,
        _seen_markers(landing, moved, offset, noise, seed, motion, rng),
        spec.marker_rate,
        plates(*seen_wrenches(landing.force, landing.moment, errors)),
        spec.force_rate,
    )
    labels = label_map()
    rider = replace(spec.rider, id=name)
    low, high = np.log(load_source("cutoff").content["spread"]["factor"])
    factor = float(np.exp(size * (low + (high - low) * rng.uniform())))
    exact = recording(
        name, _seen_markers(landing, {}, 0.0, 0.0, seed, 0.0, rng), spec.marker_rate,
        plates(landing.force, landing.moment), spec.force_rate,
    )  # fmt: skip
    return Disturbed(
        session=Session(trial, _seen_static(static, moved, noise, errors, rng), labels, rider),
        settings=_chosen(factor),
        exact=Session(exact, static, labels, rider),
        truth=true_body(spec.rider, rng, size),
    )


def _chosen(factor: float) -> Settings:
    """The usual settings with the cut-offs that this laboratory takes for the right ones."""
    impact = factor * (USUAL.impact_cutoff or 0.0)
    if USUAL.smoothing == "balanced":
        return replace(USUAL, impact_cutoff=impact)
    return replace(USUAL, cutoff=factor * (USUAL.cutoff or 0.0), impact_cutoff=impact)


def _misplaced(rng: np.random.Generator, size: float) -> dict[str, Array]:
    """Label -> (3,) [m] from its landmark, in the axes of the standing rider, which are those of the laboratory."""
    spread = load_source("placement").content["spread_mm"]
    return {
        label: size * MM * np.array(spread.get(split_side(name)[1], spread["other"]))
        * rng.standard_normal(3)
        for name, label in label_map().landmarks.items()
    }  # fmt: skip


def _plate_errors(rng: np.random.Generator, size: float) -> tuple[Array, Array]:
    """Gain (2,) and place (3, 2) [m] of the plates under right and left foot."""
    gain = 1.0 + size * load_source("plate_force").content["spread"]["gain"] * rng.standard_normal(2)
    place = np.zeros((3, 2))
    x, z = load_source("pressure_centre").content["spread_mm"]["place"]
    place[[0, 2]] = size * MM * np.array([[x], [z]]) * rng.standard_normal((2, 2))
    return gain, place


def _delay(rng: np.random.Generator, size: float) -> float:
    return size * float(load_source("time_offset").content["spread"]["offset_s"] * rng.uniform(-1.0, 1.0))


def laboratory_errors(seed: int, size: float = 1.0) -> tuple[tuple[Array, Array], float]:
    """Of one laboratory: gain (2,) and place (3, 2) [m] of its plates, and the time [s] by which its cameras are
    late."""
    rng = np.random.default_rng([seed, 11])
    _misplaced(rng, size)
    return _plate_errors(rng, size), _delay(rng, size)


def seen_wrenches(force: Array, moment: Array, errors: tuple[Array, Array]) -> tuple[Array, Array]:
    """Forces and moments (3, 2, N) as plates with errors in gain and place measure them."""
    gain, place = errors
    seen = gain[:, None] * force
    return seen, gain[:, None] * moment + np.cross(place[..., None], seen, axis=0)


def _seen_static(
    static: Recording,
    moved: dict[str, Array],
    noise: float,
    errors: tuple[Array, Array],
    rng: np.random.Generator,
) -> Recording:
    markers = static.markers + noise * rng.standard_normal(static.markers.shape)
    for label, shift in moved.items():
        markers[:, static.labels.index(label)] += shift[:, None]
    force, moment = (np.stack([getattr(p, key) for p in static.plates], axis=1) for key in ("force", "moment"))
    return replace(static, markers=markers, plates=plates(*seen_wrenches(force, moment, errors)))


def _seen_markers(
    landing: SyntheticLanding,
    moved: dict[str, Array],
    offset: float,
    noise: float,
    seed: int,
    size: float,
    rng: np.random.Generator,
) -> dict[str, Array]:
    """Label -> (3, F) [m] at the marker rate, late by `offset` [s]."""
    spec, body = landing.spec, landing.body
    every = round(spec.force_rate / spec.marker_rate)
    first = min(landing.touchdown.values())
    peak = float(landing.force[1].sum(axis=0).max()) / spec.rider.weight
    carried = placed_markers(landing)
    groups = {s: [label for label, (segment, _) in carried.items() if segment == s] for s in landing.poses.segments}
    groups = {segment: labels for segment, labels in groups.items() if labels}
    keys = {key: f"{key} of laboratory {seed}" for key in ("recording", "static trial", "rider", "laboratory")}
    skin = draw_skin(load_source("skin"), Streams(0, keys), 1, {s: len(labels) for s, labels in groups.items()})
    if landing.swing:
        skin = replace(skin, swing={segment: np.zeros_like(drawn) for segment, drawn in skin.swing.items()})
    follow, clustered = np.random.default_rng([seed, 13]), label_map().clusters
    out = {}
    for segment, labels in groups.items():
        rotation, origin = landing.poses.of(segment)
        standing = body.standing[segment][0]
        local = np.stack([carried[n][1] + standing.T @ moved.get(n, np.zeros(3)) for n in labels], axis=1)
        arms = local - local.mean(axis=1, keepdims=True)
        slide = size * skin.displacement(segment, arms, landing.time - first, peak, slice(0, 1))[:, :, 0]
        for k, label in enumerate(labels):
            path = origin + rotate(rotation, local[:, k, None] + slide[:, k])
            if size and segment in landing.swing:
                path += followed(label in clustered.get(segment, ()), follow) * landing.swing[segment]
            late = delayed(path[:, None], np.array([offset * spec.force_rate]))[:, 0] if offset else path
            seen = late[:, ::every]
            out[label] = seen + noise * rng.standard_normal(seen.shape)
    assert not medial_labels() & set(out)
    return out


def true_body(rider: Rider, rng: np.random.Generator, size: float = 1.0) -> BodyErrors:
    """What a rider's joint centres and segments are beside what formulas and table say of the true landmarks."""
    body = fitted_body(rider)
    spread = load_source("joint_centre").content["spread_mm"]
    mean, sd = hip_centre_error(USUAL.hip_centre)
    sizes = {"hip_centre": np.full(3, np.hypot(mean, sd) / np.sqrt(3.0) / MM)}
    sizes |= {name: np.array(spread[name]) for name in ("knee_centre", "ankle_centre")}
    places = {
        f"{side}_{name}": size * MM * each[:, None] * rng.standard_normal((3, 1))
        for name, each in sizes.items()
        for side in SIDES
    } | {"l5s1": size * MM * np.array(spread["l5s1"])[:, None] * rng.standard_normal((3, 1))}
    inertia = {}
    rows = load_source("inertia").content["segments"]
    drawn = {part: size * rng.standard_normal(4) for part in SEGMENT_ENDS}
    for name in body.inertia:
        side, part = split_side(name)
        start, end = (body.standing_points[p.replace("*", side)] for p in SEGMENT_ENDS[part])
        row, (mass, x, y, radius) = rows[part], drawn[part]
        shift = np.linalg.norm(end - start) * row["centre"] * np.array([[x], [y], [0.0]])
        inertia[name] = (np.array([1 + row["mass"] * mass]), shift, np.array([1 + row["radius"] * radius]))
    return BodyErrors(1, places, inertia)

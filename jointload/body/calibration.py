"""A standing trial and its landmarks become one rider's body: frames, joint centres, marker clusters and segment
inertia."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from jointload.body.definitions import AxisRule, BodyDefinition, FrameRule, load_body
from jointload.body.inertia import SegmentInertia, line_masses, segment_inertias
from jointload.body.joint_centres import HIP_CENTRES, PelvisSize, l5s1_centre
from jointload.errors import CalibrationError, SettingError, expected_found, known_names
from jointload.intake.labels import LabelMap
from jointload.intake.recording import SIDES, Array, Finding, Recording, Which, split_side
from jointload.intake.rider import Rider
from jointload.numerics.rotations import compose, from_axes, inverse, rotate, rotate_back
from jointload.numerics.signals import first_derivative

QUIET_SECONDS = 0.25
"""Length of the stillest stretch that is averaged (choice)."""
QUIET_SPREAD = 0.004
"""Mean standard deviation of the markers' places [m] above which a stretch is no quiet stance (choice: sway stays
below, any step is well above, camera noise is a tenth of it)."""
STRETCHES_APART = 0.05
"""[s] between two stretches that are compared (choice)."""
FOOT_LANDMARKS = ("calcaneus", "metatarsal", "toe")
RESTING_FOOT_SPEED = 0.25
"""Foot markers slower than this [m/s] rest on the ground (choice)."""
HEEL_DOWN = 0.015
"""A heel marker within this [m] of its lowest is down (choice)."""
UP = np.array([0.0, 1.0, 0.0])


@dataclass(frozen=True, eq=False)
class Cluster:
    """Markers that move with one segment: their labels and their places (3, n) [m] in its frame."""

    labels: tuple[str, ...]
    local: Array


@dataclass(frozen=True, eq=False)
class BodyErrors:
    """D ways in which a body may be wrong: errors of places and of inertia, drawn together.

    places : landmark or joint centre -> (3, D) [m] added to it in the static trial, lab axes; markers stay where they
    are
    inertia : segment -> factor of its mass (D,), shift of its centre of mass (3, D) [m] in its frame, factor of its
    radii of gyration (D,)
    """

    draws: int
    places: Mapping[str, Array]
    inertia: Mapping[str, tuple[Array, Array, Array]]

    def moved(self, places: Mapping[str, Array]) -> dict[str, Array]:
        """Places (3,) or (3, D) with their errors, (3, D)."""
        nothing = np.zeros((3, self.draws))
        return {name: place.reshape(3, -1) + self.places.get(name, nothing) for name, place in places.items()}

    def disturbed(self, segment: str, inertia: SegmentInertia) -> SegmentInertia:
        if segment not in self.inertia:
            return inertia
        mass, shift, radii = self.inertia[segment]
        return SegmentInertia(inertia.mass * mass, inertia.com + shift, inertia.tensor * (mass * radii**2))


@dataclass(frozen=True, eq=False)
class FittedBody:
    """One rider's body; where it stands for D draws of that body every array has them as last axis.

    standing : segment -> (lab_from_segment (3, 3), origin (3,) [m]) in the static trial
    offsets : frame -> (segment, segment_from_frame (3, 3))
    points : landmark or joint centre -> (segment it is carried by, (3,) [m] in that segment's frame)
    lost : what cannot be computed -> the reason
    """

    definition: BodyDefinition
    rider: Rider
    standing: dict[str, tuple[Array, Array]]
    standing_points: dict[str, Array]
    offsets: dict[str, tuple[str, Array]]
    points: dict[str, tuple[str, Array]]
    clusters: dict[str, Cluster]
    landmark_labels: dict[str, str]
    inertia: dict[str, SegmentInertia]
    line_masses: dict[str, tuple[float, float]]
    calibrated_from: str
    hip_centre_method: str
    inertia_table: str
    lost: dict[str, str] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    left_out: dict[str, tuple[str, float]] = field(default_factory=dict)
    """Segment -> a marker that its pose leaves out, as it moved so far [m] against the others since."""

    @property
    def segments(self) -> tuple[str, ...]:
        return tuple(self.definition.segments)

    def drawn(self, which: Which) -> FittedBody:
        """One draw of a body of many, or some of them."""
        return replace(
            self,
            standing={name: (r[..., which], o[..., which]) for name, (r, o) in self.standing.items()},
            standing_points={name: place[..., which] for name, place in self.standing_points.items()},
            offsets={name: (segment, turn[..., which]) for name, (segment, turn) in self.offsets.items()},
            points={name: (segment, place[..., which]) for name, (segment, place) in self.points.items()},
            clusters={name: replace(c, local=c.local[..., which]) for name, c in self.clusters.items()},
            inertia={name: _drawn_inertia(inertia, which) for name, inertia in self.inertia.items()},
        )

    def standing_rotation(self, joint: str) -> Array:
        """proximal_from_distal (3, 3) of a joint in the static trial."""
        rule = self.definition.joints[joint]
        return compose(inverse(self._standing_frame(rule.proximal)), self._standing_frame(rule.distal))

    def _standing_frame(self, frame: str) -> Array:
        segment, segment_from_frame = self.offsets[frame]
        return compose(self.standing[segment][0], segment_from_frame)


def _drawn_inertia(inertia: SegmentInertia, which: Which) -> SegmentInertia:
    mass = np.asarray(inertia.mass)
    return SegmentInertia(mass[which] if mass.ndim else mass, inertia.com[..., which], inertia.tensor[..., which])


def calibrate(
    static: Recording,
    labels: LabelMap,
    rider: Rider,
    body: str = "lower_body",
    hip_centre: str = "harrington_2007",
    inertia: str = "de_leva_1996",
    hip_centres: dict[str, Array] | None = None,
    errors: BodyErrors | None = None,
    window: slice | None = None,
) -> FittedBody:
    """Fit the body definition to the stillest stretch of a static trial, or to another one that is told by `window`.

    hip_centres : functional hip centres per side in the pelvis frame (3,) [m], in place of the regression `hip_centre`.
    errors : makes D bodies at once, each wrong in its own way.
    CalibrationError when the pelvis cannot be built or the trial holds no quiet stance; any other missing landmark
    costs only the segments and joints that need it, named in `lost`.
    """
    definition = load_body(body)
    window = window or quiet_frames(static, labels)
    moved = errors.moved if errors else dict
    places = _mean_places(static, window)
    landmarks = moved({name: places[label] for name, label in labels.landmarks.items() if label in places})
    points = {**landmarks, **moved(_virtual_points(definition, landmarks))}
    lost: dict[str, str] = {}
    _add_pelvis_points(definition, points, rider, hip_centre, hip_centres, static.name, moved)
    frames = _build_frames(definition, points, lost, static.name)
    standing = {name: frames[name] for name in definition.segments if name in frames}
    offsets = {
        name: (segment, compose(inverse(standing[segment][0]), frames[name][0]))
        for name, segment in ((n, rules[0].segment) for n, rules in definition.frames.items())
        if name in frames and segment in standing
    }
    for segment in definition.segments:
        if segment not in standing:
            lost[segment] = lost.get(segment, "no frame")
    inertias = segment_inertias(inertia, rider, points, standing)
    return FittedBody(
        definition=definition,
        rider=rider,
        standing=standing,
        standing_points=points,
        offsets=offsets,
        points=_carried_points(definition, points, standing),
        clusters=_clusters(definition, places, labels, standing),
        landmark_labels=dict(labels.landmarks),
        inertia={name: errors.disturbed(name, each) for name, each in inertias.items()} if errors else inertias,
        line_masses=line_masses(rider),
        calibrated_from=f"{static.name}, frames {static.numbers.span(window.start, window.stop, ' to ')}",
        hip_centre_method="functional" if hip_centres else hip_centre,
        inertia_table=inertia,
        lost=lost,
        findings=() if errors else _findings(static, definition, window, points, lost),
    )


def quiet_frames(recording: Recording, labels: LabelMap) -> slice:
    """The stillest stretch of QUIET_SECONDS of the labelled markers.

    A recording in which the body never stands still but both feet rest flat gives its three stillest such frames:
    every segment is rigid in each of them, only the averaging is lost. CalibrationError when the feet do not rest
    either.
    """
    used = tuple(
        (name, recording.labels.index(label))
        for name, label in sorted(labels.landmarks.items())
        if label in recording.labels
    )
    if not used:
        raise CalibrationError(
            expected_found(
                "static trial", "markers named in labels.toml", "none of them", recording.name, "correct labels.toml"
            )
        )
    return _quiet(recording, used)


@lru_cache(maxsize=2)
def _quiet(recording: Recording, used: tuple[tuple[str, int], ...]) -> slice:
    """`quiet_frames` by landmarks and their rows; remembered, because body and weight are taken from the same."""
    positions = recording.markers[:, [index for _, index in used]]
    start, spread, length = _stillest(positions, round(QUIET_SECONDS * recording.point_rate))
    if spread <= QUIET_SPREAD:
        return slice(start, start + length)
    flat = _feet_flat(positions, [name for name, _ in used], recording.point_rate)
    if not flat.any():
        raise CalibrationError(
            expected_found(
                "static trial",
                "a stretch in which both feet rest flat on the ground",
                "none",
                recording.name,
                "give a standing trial with --static",
            )
        )
    start, _, length = _stillest(np.where(flat, positions, np.nan), 3)
    return slice(start, start + length)


def other_quiet_stretches(recording: Recording, labels: LabelMap, most: int = 3) -> list[slice]:
    """Up to `most` further stretches that would do as well as `quiet_frames`, the stillest first, none overlapping."""
    first = quiet_frames(recording, labels)
    apart = round(STRETCHES_APART * recording.point_rate)
    taken = [first]
    out: list[slice] = []
    used = [recording.labels.index(label) for label in labels.landmarks.values() if label in recording.labels]
    names = [name for name, label in labels.landmarks.items() if label in recording.labels]
    positions = recording.markers[:, used].copy()
    if (first.stop - first.start) / recording.point_rate < 0.5 * QUIET_SECONDS:
        positions = np.where(_feet_flat(positions, names, recording.point_rate), positions, np.nan)
    while len(out) < most:
        for span in taken:
            positions[..., max(0, span.start - apart) : span.stop + apart] = np.nan
        seen = positions[:, np.isfinite(positions[0]).any(axis=1)]
        if not seen.size:
            return out
        start, spread, length = _stillest(seen, first.stop - first.start)
        if not spread <= QUIET_SPREAD:
            return out
        taken.append(slice(start, start + length))
        out.append(taken[-1])
    return out


def _feet_flat(positions: Array, names: list[str], rate: float) -> NDArray[np.bool_]:
    """(F,) frames in which the foot markers rest and the heels are down."""
    feet = positions[:, [k for k, name in enumerate(names) if split_side(name)[1].startswith(FOOT_LANDMARKS)]]
    heels = positions[1, [k for k, name in enumerate(names) if split_side(name)[1].startswith("calcaneus")]]
    if not feet.shape[1] or not np.isfinite(feet).any():
        return np.zeros(positions.shape[2], dtype=bool)
    speed = np.linalg.norm(first_derivative(feet, 1.0 / rate), axis=0)
    with np.errstate(invalid="ignore"):
        down = heels <= np.nanquantile(heels, 0.05, axis=1, keepdims=True) + HEEL_DOWN
        return np.all(speed < RESTING_FOOT_SPEED, axis=0) & np.all(down, axis=0)


def _stillest(positions: Array, length: int) -> tuple[int, float, int]:
    """First frame, mean standard deviation [m] and length of the stretch of (3, M, F) markers in which they move least.

    Only stretches in which most of the markers are seen compete.
    """
    length = max(1, min(positions.shape[2], length))
    seen = np.isfinite(positions[0])
    middle = np.nanmean(np.where(seen, positions, np.nan), axis=2, keepdims=True) if seen.any() else 0.0
    centred = np.nan_to_num(np.where(seen, positions - middle, 0.0))
    count = _running_sum(seen.astype(float), length)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = _running_sum(centred, length) / count
        variance = np.maximum(_running_sum(centred**2, length) / count - mean**2, 0.0).sum(axis=0)
    spread = np.where(count == length, np.sqrt(np.nan_to_num(variance)), 0.0)
    whole = (count == length).sum(axis=0)
    score = np.where(whole >= max(1, whole.max() - 1), spread.sum(axis=0) / np.maximum(whole, 1), np.inf)
    start = int(np.argmin(score))
    return start, float(score[start]), length


def _running_sum(x: Array, length: int) -> Array:
    """Sums of `length` neighbours along the last axis."""
    total = np.cumsum(x, axis=-1)
    return total[..., length - 1 :] - np.concatenate((np.zeros_like(total[..., :1]), total[..., :-length]), axis=-1)


def _mean_places(static: Recording, window: slice) -> dict[str, Array]:
    """Label -> (3,) [m] mean over the frames of a window in which the marker is seen; only of those that are."""
    positions = static.markers[:, :, window].transpose(2, 0, 1).copy()
    seen = np.isfinite(positions[:, :1])
    count = np.count_nonzero(seen, axis=(0, 1))
    means = np.where(seen, positions, 0.0).sum(axis=0) / np.maximum(count, 1)
    return {label: place for label, place, times in zip(static.labels, means.T, count, strict=True) if times}


def _virtual_points(definition: BodyDefinition, landmarks: dict[str, Array]) -> dict[str, Array]:
    out: dict[str, Array] = {}
    for name, choices in definition.points.items():
        choice = next((c for c in choices if all(n in landmarks for n in c)), None)
        if choice is not None:
            out[name] = np.mean([landmarks[n] for n in choice], axis=0)
    return out


def _add_pelvis_points(
    definition: BodyDefinition,
    points: dict[str, Array],
    rider: Rider,
    method: str,
    functional: dict[str, Array] | None,
    where: str,
    moved: Callable[[dict[str, Array]], dict[str, Array]],
) -> None:
    """Add both hip centres, hip_mid and l5s1, which are placed in the pelvis, `moved` by their errors."""
    missing = [name for name in ("right_asis", "left_asis", "psis_mid") if name not in points]
    if missing:
        raise CalibrationError(
            expected_found(
                "pelvis",
                "landmarks right_asis, left_asis and right_psis with left_psis (or sacrum)",
                "no "
                + " and no ".join(name.replace("psis_mid", "right_psis, left_psis or sacrum") for name in missing),
                where,
                "name their markers in labels.toml",
            )
        )
    if method not in HIP_CENTRES:
        raise SettingError(f"hip centre {method!r} is unknown; the known ones are {known_names(HIP_CENTRES)}")
    lab_from_pelvis, origin = _frame(definition.frames["pelvis"][0], points)
    size = PelvisSize(
        width=np.linalg.norm(points["right_asis"] - points["left_asis"], axis=0),
        depth=np.linalg.norm(points["asis_mid"] - points["psis_mid"], axis=0),
        leg_length=_leg_length(points, rider),
        marker_radius=rider.measurements.get("marker_radius_m", 0.0),
    )
    local = {
        f"{side}_hip_centre": functional[side] if functional else HIP_CENTRES[method](size, side, rider.sex)
        for side in SIDES
    } | {"l5s1": l5s1_centre(size.width, rider.sex)}
    points |= moved({name: origin + rotate(lab_from_pelvis, place) for name, place in local.items()})
    points["hip_mid"] = 0.5 * (points["right_hip_centre"] + points["left_hip_centre"])


def _leg_length(points: dict[str, Array], rider: Rider) -> float | Array:
    """Measured leg length [m], else the path ASIS - knee - medial malleolus, the mean of both sides; NaN when
    unknown."""
    if "leg_length_m" in rider.measurements:
        return rider.measurements["leg_length_m"]
    paths = [
        np.linalg.norm(points[f"{s}_asis"] - points[f"{s}_knee_centre"], axis=0)
        + np.linalg.norm(points[f"{s}_knee_centre"] - points[f"{s}_malleolus_medial"], axis=0)
        for s in SIDES
        if {f"{s}_asis", f"{s}_knee_centre", f"{s}_malleolus_medial"} <= set(points)
    ]
    return np.mean(paths, axis=0) if paths else float("nan")


def _build_frames(
    definition: BodyDefinition, points: dict[str, Array], lost: dict[str, str], trial: str
) -> dict[str, tuple[Array, Array]]:
    frames = {}
    for name, rules in definition.frames.items():
        rule = next((r for r in rules if all(p in points for p in r.needs)), None)
        if rule is None:
            missing = sorted({n for p in rules[-1].needs if p not in points for n in _missing(definition, p, points)})
            lost[name] = "no " + ", no ".join(missing) + f" in {trial}"
        else:
            frames[name] = _frame(rule, points)
    return frames


def _missing(definition: BodyDefinition, point: str, points: dict[str, Array]) -> list[str]:
    """The landmarks that a point lacks, by the list that lacks the fewest."""
    choices = [[n for n in choice if n not in points] for choice in definition.points.get(point, ((point,),))]
    return min(choices, key=len)


def _frame(rule: FrameRule, points: dict[str, Array]) -> tuple[Array, Array]:
    rotation = from_axes(
        _direction(rule.primary, points), _direction(rule.secondary, points), rule.primary.axis, rule.secondary.axis
    )
    return rotation, points[rule.origin]


def _direction(rule: AxisRule, points: dict[str, Array]) -> Array:
    if rule.up:
        return UP.reshape(3, *(1,) * (next(iter(points.values())).ndim - 1))
    return points[rule.end] - points[rule.start]


def _carried_points(
    definition: BodyDefinition, points: dict[str, Array], standing: dict[str, tuple[Array, Array]]
) -> dict[str, tuple[str, Array]]:
    """Landmarks belong to the segment that tracks them, joint centres to the segment above the joint."""
    carrier = {landmark: segment.name for segment in definition.segments.values() for landmark in segment.tracking}
    for side in SIDES:
        for name in (f"{side}_forefoot", f"{side}_toe_tip"):
            carrier[name] = f"{side}_foot"
    carrier |= {"hip_mid": "pelvis", "asis_mid": "pelvis", "psis_mid": "pelvis", "shoulder_mid": "trunk"}
    for joint in definition.joints.values():
        carrier[joint.centre] = definition.frames[joint.proximal][0].segment
    out = {}
    for name, segment in carrier.items():
        if name in points and segment in standing:
            rotation, origin = standing[segment]
            out[name] = (segment, rotate_back(rotation, points[name] - origin))
    return out


def _clusters(
    definition: BodyDefinition,
    places: dict[str, Array],
    labels: LabelMap,
    standing: dict[str, tuple[Array, Array]],
) -> dict[str, Cluster]:
    out = {}
    for name, segment in definition.segments.items():
        if name not in standing:
            continue
        chosen = labels.clusters.get(name) or tuple(
            labels.landmarks[n] for n in segment.tracking if n in labels.landmarks
        )
        rotation, origin = standing[name]
        seen = tuple(label for label in dict.fromkeys(chosen) if label in places)
        lab = np.array([places[label] for label in seen]).reshape(len(seen), 3).T
        away = lab.reshape(3, -1, *(1,) * (origin.ndim - 1)) - origin[:, None]
        out[name] = Cluster(seen, rotate_back(rotation[:, :, None], away))
    return out


def _joints_without(definition: BodyDefinition, frame: str) -> str:
    """What is lost with one frame: its joints' angles, and the moments of its segment's joint and of all above."""
    angles = [name for name, joint in definition.joints.items() if frame in (joint.proximal, joint.distal)]
    moments, segment = [], definition.frames[frame][0].segment
    while segment and definition.segments[segment].joint:
        moments.append(definition.segments[segment].joint)
        segment = definition.segments[segment].parent
    return f"angles of {', '.join(angles) or 'no joint'}, moments of {', '.join(moments) or 'no joint'}"


def _findings(
    static: Recording, definition: BodyDefinition, window: slice, points: dict[str, Array], lost: dict[str, str]
) -> tuple[Finding, ...]:
    out = [
        Finding(
            "missing_landmark", "warn", name, reason, f"not given: {_joints_without(definition, name)}; add markers"
        )
        for name, reason in lost.items()
        if name in definition.frames
    ]
    if (window.stop - window.start) / static.point_rate < 0.5 * QUIET_SECONDS:
        out.append(
            Finding(
                "no_quiet_stance",
                "warn",
                f"{static.name}, frames {static.numbers.span(window.start, window.stop)}",
                "the body never stands still",
                "calibrated from the stillest frames with resting feet; a standing trial is safer",
            )
        )
    for side in SIDES:
        heel, toe = points.get(f"{side}_calcaneus"), points.get(f"{side}_forefoot")
        if heel is not None and toe is not None:
            slope = np.rad2deg(np.arctan2(toe[1] - heel[1], np.linalg.norm((toe - heel)[[0, 2]])))
            if abs(slope) > 30:
                out.append(
                    Finding(
                        "standing_foot",
                        "warn",
                        f"{side}_foot, {static.name}",
                        f"heel-to-toe line slopes by {slope:.0f} deg",
                        "the foot frame is levelled on the floor: stand with the whole sole down",
                    )
                )
    return tuple(out)

"""Which foot stands on which plate, and the wrench on each foot.

A plate's force belongs to the foot that is over it and near its surface while it is loaded. When both feet are, but
one moves past the other, it belongs to the foot nearer to the centre of pressure (on a moving belt the standing foot
moves, too). A plate under two feet, or a foot on two plates, gives no moments for the feet concerned in those frames,
with the reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.body.sole import Sole, rests, sole_of
from jointload.intake.plates.plates import centre_of_pressure
from jointload.intake.recording import SIDES, Array, Finding, Plate, Recording, Which
from jointload.numerics.signals import runs, runs_of_rows, zero_lag_lowpass

EDGE_MARGIN = 0.03
"""A sole point may lie this far [m] outside a plate's corners and still press on it (choice: markers sit on the
shoe's outside)."""
PASSING_SPEED = 0.6
"""Two feet that move faster than this [m/s] past each other do not both stand (choice: a swinging foot moves at 2 to 4
m/s). Falling is not passing: of two feet that land together one may still come down."""
DOWN_HEIGHT = 0.05
"""A foot whose lowest point is less than this [m] above its standing height may rest on the ground (choice)."""
REST_SECONDS = 0.05
"""A foot that rests so long [s] without load on a plate stands on the floor beside the plates (choice)."""
STANDING_SECONDS = 0.2
"""Body weight is read from at least this long a quiet stance [s] (choice)."""
SHORTEST_CONTACT = 0.03
"""Loading shorter than this [s] is a disturbance, not a contact (choice)."""
SHORTEST_SINGLE = 0.05
"""Of two feet that share a plate one does not lift and come back within this time [s] (choice)."""
NOBODY, BOTH = -1, 2
TWO_FEET = "two feet on one plate"


@dataclass(frozen=True)
class Lost:
    """Frames [start, stop) in which the wrench on a foot is unknown."""

    side: str
    start: int
    stop: int
    reason: str


@dataclass(frozen=True, eq=False)
class Contact:
    """The wrench on each foot, right then left, about the lab origin.

    force, moment : (3, 2, F) [N], [N m] at the marker rate, filtered for inverse dynamics; NaN in the frames of `lost`
    fast_force, fast_moment : (3, 2, N) at the force rate, baseline removed, not filtered; NaN likewise
    total : (N,) [N] vertical force of all plates together, known even where its feet are not
    floor : height [m] of the plates' surface
    owner : (P, F) who bears each plate: 0 the right foot, 1 the left, BOTH, NOBODY
    """

    force: Array
    moment: Array
    fast_force: Array
    fast_moment: Array
    total: Array
    fast_rate: float
    floor: float
    lost: tuple[Lost, ...]
    findings: tuple[Finding, ...] = ()
    owner: NDArray[np.int_] = field(default_factory=lambda: np.zeros((0, 0), dtype=int))

    @property
    def shared(self) -> NDArray[np.bool_]:
        """(P, F) whether two feet bear each plate together."""
        return self.owner == BOTH

    def drawn(self, which: Which) -> Contact:
        """One draw of many, or some of them."""
        series = {n: getattr(self, n)[:, :, which] for n in ("force", "moment", "fast_force", "fast_moment")}
        return replace(self, **series, total=self.total[which])


def foot_contact(
    recording: Recording,
    poses: SegmentPoses,
    body: FittedBody,
    cutoff: float | None,
    threshold: float,
    unmeasured: tuple[Lost, ...] = (),
) -> Contact:
    """Assign every plate's wrench to the foot that bears it; a recording without plates gives NaN throughout.

    unmeasured : frames in which the plates do not tell what presses on a foot
    """
    frames = poses.origin.shape[2]
    if not recording.plates:
        nothing = np.full((3, 2, frames), np.nan)
        lost = tuple(Lost(side, 0, frames, "no force plate in the recording") for side in SIDES)
        return Contact(nothing, nothing, nothing, nothing, nothing[0, 0], recording.point_rate, 0.0, lost)
    floor = float(np.mean([plate.corners[1].mean() for plate in recording.plates]))
    loaded = np.array([_loaded_frames(plate, recording, frames, threshold) for plate in recording.plates])
    feet = _foot_paths(poses, body, np.any(loaded, axis=0))
    owner = np.array(
        [
            _owners(_bearing(feet, plate, recording, threshold), loaded[p], recording.point_rate)
            for p, plate in enumerate(recording.plates)
        ]
    )
    lost = (*unmeasured, *_lost_spans(owner, loaded, feet, recording.point_rate))
    step = recording.samples_per_frame
    wrenches = np.stack([np.stack((plate.force, plate.moment)) for plate in recording.plates])
    slow = zero_lag_lowpass(wrenches, cutoff, recording.force_rate)[..., ::step][..., :frames]
    force, moment = _share(slow, owner)
    fast_force, fast_moment = _share(wrenches, at_force_rate(owner, wrenches.shape[-1], step))
    for gone in lost:
        side = SIDES.index(gone.side)
        force[:, side, gone.start : gone.stop] = moment[:, side, gone.start : gone.stop] = np.nan
        fast_force[:, side, gone.start * step : gone.stop * step] = np.nan
        fast_moment[:, side, gone.start * step : gone.stop * step] = np.nan
    return Contact(
        force,
        moment,
        fast_force,
        fast_moment,
        wrenches[:, 0, 1].sum(axis=0),
        recording.force_rate,
        floor,
        lost,
        contact_findings(lost, recording),
        owner,
    )


@dataclass(frozen=True, eq=False)
class _FootPath:
    """Where the sole of one foot is: points (3, P, F) [m], velocity (3, F) [m/s] of its slowest point, low (F,)
    whether it may press, resting (F,) whether it stands."""

    points: Array
    velocity: Array
    low: NDArray[np.bool_]
    resting: NDArray[np.bool_]

    @classmethod
    def of(cls, sole: Sole, ground: float, rate: float) -> _FootPath:
        """ground : height [m] of what bears the sole above the floor of the static trial"""
        velocities = sole.velocities.copy()
        velocities[..., [0, -1]] = velocities[..., [1, -2]]
        speeds = np.nan_to_num(np.linalg.norm(velocities, axis=0), nan=np.inf)
        velocity = np.take_along_axis(velocities, np.argmin(speeds, axis=0)[None, None], axis=1)[:, 0]
        height = sole.heights.min(axis=0) - ground
        still = rests(height, speeds.min(axis=0))
        with np.errstate(invalid="ignore"):
            low = height < DOWN_HEIGHT
        resting = np.zeros_like(still)
        for start, stop in runs(still):
            resting[start:stop] = (stop - start) / rate >= REST_SECONDS
        return cls(sole.points, velocity, low, resting)

    def distance(self, place: Array) -> Array:
        """(F,) [m] horizontal distance of places (3, F) from the line between heel and forefoot."""
        heel, along = self.points[[0, 2], 0], self.points[[0, 2], -1] - self.points[[0, 2], 0]
        there = place[[0, 2]] - heel
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.clip(np.sum(there * along, axis=0) / np.sum(along**2, axis=0), 0.0, 1.0)
        return np.linalg.norm(there - np.nan_to_num(share) * along, axis=0)

    def over(self, plate: Plate) -> NDArray[np.bool_]:
        """(F,) whether any sole point lies over the plate."""
        return np.any(outside(plate.corners, self.points) < EDGE_MARGIN, axis=0)


def _foot_paths(poses: SegmentPoses, body: FittedBody, loaded: NDArray[np.bool_]) -> list[_FootPath]:
    """Both feet, their heights counted from where the bearing foot stands while a plate is loaded.

    The plates may stand higher than the floor of the static trial, which nothing else tells; lower does no harm.
    """
    soles = [sole_of(poses, body, side) for side in SIDES]
    heights = [sole.heights.min(axis=0) for sole in soles]
    pressing = [height[loaded & np.isfinite(height)] for height in heights]
    ground = max(0.0, min((float(np.median(height)) for height in pressing if height.size), default=0.0))
    return [_FootPath.of(sole, ground, poses.rate) for sole in soles]


def _bearing(feet: list[_FootPath], plate: Plate, recording: Recording, threshold: float) -> NDArray[np.bool_]:
    """(2, F) which feet may bear one plate's load; neither where one passes the other and the load is too small for a
    centre of pressure, so that the nearest told frame of the same loading decides."""
    bears = np.stack([foot.low & foot.over(plate) for foot in feet])
    with np.errstate(invalid="ignore"):
        passing = bears.all(axis=0) & (np.hypot(*(feet[0].velocity - feet[1].velocity)[[0, 2]]) > PASSING_SPEED)
    if not passing.any():
        return bears
    step, frames = recording.samples_per_frame, bears.shape[1]
    force, moment = plate.force[:, ::step][:, :frames], plate.moment[:, ::step][:, :frames]
    pressed = centre_of_pressure(force, moment, float(plate.corners[1].mean()), threshold)
    right, left = (foot.distance(_padded(pressed, frames)) for foot in feet)
    told = np.isfinite(right + left)
    passing &= ~_coming_down(bears.all(axis=0) & ~passing, passing, round(SHORTEST_SINGLE * recording.point_rate))
    bears[0, passing & (~told | (right > left))] = False
    bears[1, passing & (~told | (right <= left))] = False
    return bears


def _coming_down(standing: NDArray[np.bool_], passing: NDArray[np.bool_], most: int) -> NDArray[np.bool_]:
    """Up to `most` frames in which a foot still passes the other right before both stand: it bears load already."""
    out = np.zeros_like(passing)
    for start, _ in runs(standing):
        moving = np.flatnonzero(~passing[max(0, start - most) : start])
        out[max(0, start - most) + (moving[-1] + 1 if moving.size else 0) : start] = True
    return out


def _padded(series: Array, frames: int) -> Array:
    return np.pad(series, ((0, 0), (0, frames - series.shape[1])), constant_values=np.nan)


def outside(corners: Array, places: Array) -> Array:
    """(P, F) [m] by which places (3, P, F) lie outside the convex quadrilateral of (3, 4) corners, seen from above;
    negative inside; NaN where a plate stands on its edge."""
    outline = corners[[0, 2]]
    edges = np.roll(outline, -1, axis=1) - outline
    with np.errstate(invalid="ignore"):
        normals = np.stack((edges[1], -edges[0])) / np.linalg.norm(edges, axis=0)
    normals *= np.sign(np.sum(normals * (outline - outline.mean(axis=1, keepdims=True)), axis=0))
    (x, z), (across, along) = outline[..., None, None], normals[..., None, None]
    return np.asarray((across * (places[0] - x) + along * (places[2] - z)).max(axis=0))


def loaded_spans(vertical: Array, rate: float, threshold: float) -> list[tuple[int, int]]:
    """Samples [start, stop) in which a vertical force (N,) [N] bears load.

    A contact is an unbroken stretch above half the threshold that reaches the threshold (hysteresis) and lasts
    SHORTEST_CONTACT; it starts where the threshold itself is first passed.
    """
    return loaded_spans_of_rows(vertical[None], rate, threshold)[0]


def loaded_spans_of_rows(vertical: Array, rate: float, threshold: float) -> list[list[tuple[int, int]]]:
    """`loaded_spans` of every one of (D, N) vertical forces."""
    with np.errstate(invalid="ignore"):
        above, strong = vertical > 0.5 * threshold, vertical > threshold
    out: list[list[tuple[int, int]]] = []
    for passed, stretches in zip(strong, runs_of_rows(above), strict=True):
        begun = [(start + int(passed[start:stop].argmax()), stop) for start, stop in stretches]
        out.append([(a, b) for a, b in begun if passed[a] and (b - a) / rate >= SHORTEST_CONTACT])
    return out


def _loaded_frames(plate: Plate, recording: Recording, frames: int, threshold: float) -> NDArray[np.bool_]:
    out, step = np.zeros(frames, dtype=bool), recording.samples_per_frame
    for start, stop in loaded_spans(plate.force[1], recording.force_rate, threshold):
        out[start // step : -(-stop // step)] = True
    return out


def _owners(bears: NDArray[np.bool_], loaded: NDArray[np.bool_], rate: float) -> NDArray[np.int_]:
    """Who bears one plate in every frame; rate : of the frames [Hz].

    One foot alone for less than SHORTEST_SINGLE between both is a foot that still comes down.
    Loaded frames in which nobody can be told go to the nearest told frame of the same loading; unloaded frames go to
    the nearest frame of all, so that the tail of a filtered force stays with its foot.
    """
    right, left = bears[0] & loaded, bears[1] & loaded
    owner = np.where(right & left, BOTH, np.where(right, 0, np.where(left, 1, NOBODY)))
    shortest = max(1, round(SHORTEST_SINGLE * rate))
    for start, stop in runs(owner != BOTH):
        between = start > 0 and stop < owner.size and loaded[start - 1 : stop + 1].all()
        if between and stop - start < shortest:
            owner[start:stop] = BOTH
    for start, stop in runs(loaded):
        owner[start:stop] = _nearest_told(owner[start:stop])
    return np.where(loaded, owner, _nearest_told(owner))


def _nearest_told(owner: NDArray[np.int_]) -> NDArray[np.int_]:
    told = np.flatnonzero(owner != NOBODY)
    if not told.size:
        return owner
    frame = np.arange(owner.size)
    after = told[np.searchsorted(told, frame).clip(max=told.size - 1)]
    before = told[(np.searchsorted(told, frame, side="right") - 1).clip(min=0)]
    return owner[np.where(np.abs(frame - before) <= np.abs(after - frame), before, after)]


def at_force_rate(owner: NDArray[np.int_], samples: int, step: int) -> NDArray[np.int_]:
    """(P, N) owners of force samples from those (P, F) of frames."""
    frame = np.minimum((np.arange(samples) + step // 2) // step, owner.shape[1] - 1)
    return owner[:, frame]


def _share(wrenches: Array, owner: NDArray[np.int_]) -> tuple[Array, Array]:
    """Force and moment (3, 2, N) of each foot from wrenches (plate, force or moment, 3, N) and the plates' owners
    (plate, N)."""
    out = np.zeros((2, 3, len(SIDES), owner.shape[1]))
    samples = min(wrenches.shape[-1], owner.shape[1])
    for wrench, who in zip(wrenches, owner, strict=True):
        for side in range(len(SIDES)):
            out[:, :, side, :samples] += wrench[..., :samples] * (who[:samples] == side)
    return out[0], out[1]


def _lost_spans(
    owner: NDArray[np.int_], loaded: NDArray[np.bool_], feet: list[_FootPath], rate: float
) -> tuple[Lost, ...]:
    shared = np.any((owner == BOTH) & loaded, axis=0)
    unknown = np.any((owner == NOBODY) & loaded, axis=0)
    out = []
    for side, name in enumerate(SIDES):
        plates_borne = np.sum((owner == side) & loaded, axis=0)
        reasons = (
            (shared, TWO_FEET),
            (plates_borne > 1, "the foot stands on two plates"),
            (feet[side].resting & (plates_borne == 0) & ~shared, "the foot stands on the floor beside the plates"),
            (unknown & (plates_borne == 0), "a loaded plate on which no foot is seen"),
            (~np.isfinite(feet[side].points[0, 0]) & (plates_borne == 0), "the foot's markers are not seen"),
        )
        masks = np.array([mask for mask, _ in reasons])
        taken = np.logical_or.accumulate(masks, axis=0)
        masks[1:] &= ~taken[:-1]
        for (_, reason), stretches in zip(reasons, runs_of_rows(masks), strict=True):
            out += [Lost(name, start, stop, reason) for start, stop in stretches]
    return tuple(sorted(out, key=lambda gone: (gone.side, gone.start)))


def contact_findings(lost: tuple[Lost, ...], recording: Recording) -> tuple[Finding, ...]:
    """One finding a foot and reason, with its frames."""
    out = []
    for side in SIDES:
        for reason in dict.fromkeys(gone.reason for gone in lost if gone.side == side):
            spans = [gone for gone in lost if gone.side == side and gone.reason == reason]
            seconds = sum(gone.stop - gone.start for gone in spans) / recording.point_rate
            frames = ", ".join(recording.numbers.span(g.start, g.stop) for g in spans[:4])
            out.append(
                Finding(
                    "foot_on_plate",
                    "warn",
                    f"{side} foot, frames {frames}",
                    f"{reason} for {seconds:.2f} s",
                    "no moments of this side in these frames; land with one foot on one plate",
                )
            )
    return tuple(out)


def standing_weight(recording: Recording, window: slice, expected: float, alone: bool = False) -> float:
    """Mean vertical force [N] on all plates in a quiet window when the rider stands on them, else NaN.

    Standing means steady within 5 % and between half and one and a half times the expected weight [N].
    alone : both feet are seen on the plates and nothing else is, so that any steady force is the rider's weight
    """
    if not recording.plates:
        return float("nan")
    if (window.stop - window.start) / recording.point_rate < STANDING_SECONDS:
        return float("nan")
    step = recording.samples_per_frame
    total = sum(plate.force[1, window.start * step : window.stop * step] for plate in recording.plates)
    mean = float(np.mean(total))
    steady = float(np.std(total)) < 0.05 * abs(mean)
    return mean if steady and (alone or 0.5 * expected < mean < 1.5 * expected) else float("nan")

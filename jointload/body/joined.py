"""Bones meet in their joints: skin that slides and centres that were misplaced pull them apart, and are told by it.

A segment's pose is wrong by a shift and a turn about the middle of its markers, a joint's centre by a vector that goes
with both bones; beyond that the bones of a joint truly part a little. All have a spread in models/uncertainty. The gaps
at hips, knees and ankles are shared out as a Gaussian estimate has it, x = S H' (H S H' + R)^-1 gap: first among the
centres, which stay the same throughout, then among the poses of every frame. Without gaps nothing is moved.
Lu TW, O'Connor JJ (1999) J Biomech 32:129 joined segments without gaps and without spreads (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jointload.body.calibration import FittedBody
from jointload.body.joint_centres import centre_spreads
from jointload.body.pose import SegmentPoses, standing_local
from jointload.intake.recording import SIDES, Array, split_side
from jointload.modeldata import load_model
from jointload.numerics.rotations import compose, cross, from_vector, inverse, inverse_of_any, rotate
from jointload.numerics.signals import known_median
from jointload.numerics.together import together

MM = 1e-3
FEWEST_MARKERS = 3
"""Of a segment whose pose is its own."""
MOST_KNOWN = 10.0
"""A recording holds no more independent glances at a joint than this, however long it is (choice: two seconds)."""
FURTHEST = 0.05
"""A joint whose segments put its centre further apart [m], in half of the frames, is not brought together: that is no
skin but a cluster that moved or a wrong calibration (choice: that of the check of the joints)."""
TOGETHER = 4096
"""Frames whose shares are held in memory at once."""


@dataclass(frozen=True)
class Meeting:
    """A joint's centre and the two segments that meet there."""

    centre: str
    proximal: str
    distal: str


def apart(poses: SegmentPoses, body: FittedBody) -> dict[str, Array]:
    """Centre of hip, knee and ankle -> (F,) [m] how far apart its two segments put it."""
    gaps = _gaps(poses, body, meetings := _meetings(body, poses.segments))
    return dict(zip((each.centre for each in meetings), np.linalg.norm(gaps, axis=0), strict=True))


@dataclass(frozen=True, eq=False)
class Joining:
    """How every gap is shared out along F frames.

    centres : (3, 3, J, F) of the gap at each joint to its centre, in the standing rider's axes, a sum over frames
    beside : (3, J) [m] what other frames have moved the centres by
    poses : (F, 6 S, 3 J) of all gaps to shift and turn of each of `segments`
    """

    meetings: tuple[Meeting, ...]
    segments: tuple[str, ...]
    centres: Array
    beside: Array
    poses: Array

    @classmethod
    def along(cls, poses: SegmentPoses, body: FittedBody, moved: FittedBody) -> Joining:
        """For poses (3, 3, S, F) and others near them; moved : the body as all frames of the recording have it."""
        doubt = _Doubt.of(poses, body)
        meetings = _joinable(apart(poses, body), body, doubt.segments)
        shares = _centre_shares(poses, body, meetings, doubt)
        ways = [moved.standing_points[each.centre] - body.standing_points[each.centre] for each in meetings]
        here = _moves(shares, _gaps(poses, body, meetings))
        beside = np.reshape(ways, (-1, 3)).T - here
        return cls(meetings, doubt.segments, shares, beside, _pose_shares(poses, moved, meetings, doubt))

    def joined(
        self, poses: SegmentPoses, body: FittedBody, partings: Mapping[str, Array]
    ) -> tuple[SegmentPoses, FittedBody]:
        """Poses and body, draws before frames where there are any, brought together; partings : joint centre ->
        (3, ...) [m] by which its bones truly part."""
        if not self.meetings:
            return poses, body
        moves = _moves(self.centres, _gaps(poses, body, self.meetings))
        beside = self.beside.reshape(*self.beside.shape, *(1,) * (moves.ndim - 2))
        body = _with_centres(body, self.meetings, moves + beside)
        gaps = _gaps(poses, body, self.meetings)
        for j, each in enumerate(self.meetings):
            gaps[:, j] += np.asarray(partings.get(each.centre, 0.0))[..., None]
        columns = _as_columns(gaps)
        errors = self.poses @ columns.reshape(*columns.shape[:2], -1)
        errors = np.moveaxis(errors.reshape(-1, len(self.segments), 6, *columns.shape[2:]), (0, 2), (-1, 0)).copy()
        return _less(poses, body, self.segments, errors), body


def joined(
    poses: SegmentPoses, body: FittedBody, distance: Mapping[str, Array] | None = None
) -> tuple[SegmentPoses, FittedBody]:
    """Poses (3, 3, S, F) and body with the bones of every joint brought together; what is not known stays NaN.

    distance : what `apart` gives of them, where it is known already
    """
    doubt = _Doubt.of(poses, body)
    meetings = _joinable(apart(poses, body) if distance is None else distance, body, doubt.segments)
    if not meetings:
        return poses, body
    shares = _centre_shares(poses, body, meetings, doubt)
    body = _with_centres(body, meetings, _moves(shares, _gaps(poses, body, meetings)))
    rotation, origin = np.empty_like(poses.rotation), np.empty_like(poses.origin)
    for start in range(0, origin.shape[-1], TOGETHER):
        frames = slice(start, start + TOGETHER)
        part = replace(poses, rotation=poses.rotation[..., frames], origin=poses.origin[..., frames])
        seen = _seen(part, body, meetings)
        chain = _Chain.of(seen, meetings, doubt.around(frames))
        columns = _as_columns(seen[:, 0] - seen[:, 1])
        pulls = np.linalg.solve(chain.spread_of_gaps(), columns[..., None])[..., 0]
        part = _less(part, body, doubt.segments, chain.errors(np.asarray(pulls, dtype=float)))
        rotation[..., frames], origin[..., frames] = part.rotation, part.origin
    return replace(poses, rotation=rotation, origin=origin), body


@dataclass(frozen=True, eq=False)
class _Doubt:
    """How uncertain the poses of S segments are, by shift and turn about the middle of their markers.

    shift : (S,) [m2] along each axis;  turn : (3, 3, S, F) [rad2] lab axes;  middle : (3, S, F) [m]
    """

    segments: tuple[str, ...]
    shift: Array
    turn: Array
    middle: Array

    @classmethod
    def of(cls, poses: SegmentPoses, body: FittedBody) -> _Doubt:
        sizes = load_model("uncertainty", "skin").content["segments"]
        clusters = body.clusters
        names = [s for s in poses.segments if s in clusters and clusters[s].local.shape[1] >= FEWEST_MARKERS]
        size = [sizes[split_side(name)[1]] for name in names]
        own, slide = (np.square([MM * each[kind] for each in size]) for kind in ("deformation_mm", "translation_mm"))
        turned = np.square(np.deg2rad([each["rotation_deg"] for each in size]))
        spread, markers = np.zeros((len(names), 3, 3)), np.ones(len(names))
        for k, name in enumerate(names):
            arms = clusters[name].local - clusters[name].local.mean(axis=1, keepdims=True)
            spread[k], markers[k] = np.sum(arms**2) * np.eye(3) - arms @ arms.T, arms.shape[1]
        turn = turned[:, None, None] * np.eye(3) + own[:, None, None] * np.linalg.pinv(spread)
        rotation = poses.rotation[:, :, [poses.index(name) for name in names]]
        in_lab = compose(compose(rotation, np.moveaxis(turn, 0, -1)[..., None]), inverse(rotation))
        return cls(tuple(names), slide + own / markers, in_lab, _middles(poses, body, tuple(names)))

    def around(self, frames: slice) -> _Doubt:
        return replace(self, turn=self.turn[..., frames], middle=self.middle[..., frames])


def _meetings(body: FittedBody, segments: tuple[str, ...]) -> tuple[Meeting, ...]:
    """Hips, knees and ankles between segments that are tracked."""
    kinds = load_model("uncertainty", "joint_centre").content["meeting_mm"]
    found = (
        Meeting(joint.centre, *(body.definition.frames[frame][0].segment for frame in (joint.proximal, joint.distal)))
        for joint in body.definition.joints.values()
        if split_side(joint.centre)[1] in kinds
    )
    return tuple(
        each
        for each in found
        if each.centre in body.standing_points and each.proximal in segments and each.distal in segments
    )


def _joinable(distance: Mapping[str, Array], body: FittedBody, segments: tuple[str, ...]) -> tuple[Meeting, ...]:
    """Those of the meetings whose two segments are near enough; distance : what `apart` gives."""
    near = {name for name, each in distance.items() if known_median(each) <= FURTHEST}
    return tuple(each for each in _meetings(body, segments) if each.centre in near)


def _middles(poses: SegmentPoses, body: FittedBody, segments: tuple[str, ...]) -> Array:
    """(3, S, ..., F) [m] middles of the segments' markers."""
    out = np.zeros((3, len(segments), *poses.origin.shape[2:]))
    for some in together(len(segments), poses.origin[0, 0].size):
        where = [poses.index(name) for name in segments[some]]
        local = np.stack([body.clusters[name].local.mean(axis=1) for name in segments[some]], axis=1)
        out[:, some] = poses.origin[:, where] + rotate(poses.rotation[:, :, where], local[..., None])
    return out


def _seen(poses: SegmentPoses, body: FittedBody, meetings: tuple[Meeting, ...]) -> Array:
    """(3, 2, J, ..., F) [m] lab places of every joint's centre as its proximal and its distal segment carry it."""
    names, centres = _pairs(meetings), [each.centre for each in meetings] * 2
    local = np.stack([standing_local(body, *each) for each in zip(names, centres, strict=True)], axis=1)
    where = [poses.index(name) for name in names]
    seen = poses.origin[:, where] + rotate(poses.rotation[:, :, where], local[..., None])
    return seen.reshape(3, 2, len(meetings), *seen.shape[2:])


def _pairs(meetings: tuple[Meeting, ...]) -> list[str]:
    """The proximal segments of joints, then the distal ones."""
    return [each.proximal for each in meetings] + [each.distal for each in meetings]


def _gaps(poses: SegmentPoses, body: FittedBody, meetings: tuple[Meeting, ...]) -> Array:
    """(3, J, ..., F) [m] from the distal to the proximal bone's image of every joint's centre."""
    out = np.zeros((3, len(meetings), *poses.origin.shape[2:]))
    for some in together(len(meetings), 2 * poses.origin[0, 0].size):
        seen = _seen(poses, body, meetings[some])
        out[:, some] = seen[:, 0] - seen[:, 1]
    return out


def _partings(meetings: tuple[Meeting, ...]) -> Array:
    """(J,) variance [m2] along each axis of how far the bones of each joint truly part."""
    sizes = load_model("uncertainty", "joint_centre").content["meeting_mm"]
    return np.square([MM * sizes[split_side(each.centre)[1]] for each in meetings])


def _ends(meetings: tuple[Meeting, ...], segments: tuple[str, ...]) -> NDArray[np.intp]:
    """(2, J) place of the proximal and of the distal segment of every joint among some segments."""
    return np.array([segments.index(name) for name in _pairs(meetings)]).reshape(2, -1)


def _crossed(arm: Array) -> Array:
    """(3, 3, ...) matrices of turn -> turn x arm for arms (3, ...)."""
    out = np.zeros((3, *arm.shape))
    out[0, 1], out[1, 2], out[2, 0] = arm[2], arm[0], arm[1]
    return out - inverse(out)


@dataclass(frozen=True, eq=False)
class _Chain:
    """What shifts and turns of S segments do to the gaps of J joints; a joint that is not known in a frame takes no
    part in it.

    meetings : of the joints;  ends : (2, J) the segment above and the one below each, by its place in the doubt
    arms : (3, 2, J, F) [m] from the middle of each one's markers to the joint's centre;  known : (J, F)
    """

    meetings: tuple[Meeting, ...]
    doubt: _Doubt
    ends: NDArray[np.intp]
    arms: Array
    known: NDArray[np.bool_]

    @classmethod
    def of(cls, seen: Array, meetings: tuple[Meeting, ...], doubt: _Doubt) -> _Chain:
        """seen : (3, 2, J, F) [m] joint centres as both segments carry them"""
        ends = _ends(meetings, doubt.segments)
        arms = seen - doubt.middle[:, ends]
        known = np.asarray(np.isfinite(arms).all(axis=(0, 1)))
        return cls(meetings, doubt, ends, np.where(known, arms, 0.0), known)

    def spread_of_gaps(self) -> Array:
        """(F, 3 J, 3 J) [m2] H S H' + R."""
        crossed = _crossed(self.arms)
        turn = np.nan_to_num(self.doubt.turn)
        carried = compose(turn[:, :, self.ends], inverse(crossed))
        joints = np.arange(len(self.meetings))
        shared = (self.ends[..., None, None] == self.ends) & (joints[:, None, None] <= joints)
        e, j, f, k = np.nonzero(shared)
        parts = compose(crossed[:, :, e, j], carried[:, :, f, k])
        parts[range(3), range(3)] += self.doubt.shift[self.ends[e, j], None]
        parts *= np.where(e == f, 1.0, -1.0)[:, None] * (self.known[j] & self.known[k])
        out = np.zeros((joints.size, 3, joints.size, 3, self.known.shape[1]))
        for axis in range(3):
            out[joints, axis, joints, axis] = _partings(self.meetings)[:, None]
        for one, other, part in zip(j.tolist(), k.tolist(), np.moveaxis(parts, 2, 0), strict=True):
            out[one, :, other] += part
            if one < other:
                out[other, :, one] += part.swapaxes(0, 1)
        return np.moveaxis(out.reshape(3 * joints.size, 3 * joints.size, -1), -1, 0)

    def errors(self, pulls: Array) -> Array:
        """(6, S, ..., F) shifts [m] and turns [rad] of the segments, S H' of pulls (F, 3 J, ...) at the joints."""
        pulls = np.moveaxis(pulls.reshape(-1, len(self.meetings), 3, *pulls.shape[2:]), (0, 2), (-1, 0)).copy()
        draws = (1,) * (pulls.ndim - 3)
        frames = self.known.shape[1]
        shifts, turns = (np.zeros((3, len(self.doubt.segments), *pulls.shape[2:])) for _ in range(2))
        pulls *= self.known.reshape(-1, *draws, frames)
        for ends, sign, arms in zip(self.ends, (1.0, -1.0), self.arms.swapaxes(0, 1), strict=True):
            pushed, turned = sign * pulls, cross(arms.reshape(3, -1, *draws, frames), sign * pulls)
            for j, s in enumerate(ends):
                shifts[:, s] += self.doubt.shift[s] * pushed[:, j]
                turns[:, s] += turned[:, j]
        spread = np.nan_to_num(self.doubt.turn)
        return np.concatenate((shifts, rotate(spread.reshape(*spread.shape[:3], *draws, frames), turns)))


def _centre_shares(poses: SegmentPoses, body: FittedBody, meetings: tuple[Meeting, ...], doubt: _Doubt) -> Array:
    """(3, 3, J, F): gap = A e + skin, A the parting of both bones since standing; e from all frames that know it, of
    which those within the skin's correlation time count once."""
    if not meetings:
        return np.zeros((3, 3, 0, poses.origin.shape[-1]))
    alike = load_model("uncertainty", "skin").content["time"]["correlation_s"] * np.sqrt(2.0 * np.pi) * poses.rate
    ends = _ends(meetings, doubt.segments)
    arm = _crossed(_seen(poses, body, meetings) - doubt.middle[:, ends])
    noise = compose(compose(arm, doubt.turn[:, :, ends]), inverse(arm)).sum(axis=2)
    noise[range(3), range(3)] += (_partings(meetings) + doubt.shift[ends].sum(axis=0))[:, None]
    names = _pairs(meetings)
    standing = np.stack([body.standing[name][0].T for name in names], axis=2)
    turned = compose(poses.rotation[:, :, [poses.index(name) for name in names]], standing[..., None])
    known = np.isfinite(noise).all(axis=(0, 1))
    parted = np.where(known, turned[:, :, len(meetings) :] - turned[:, :, : len(meetings)], 0.0)
    weight = np.where(known, inverse_of_any(noise), 0.0) / np.maximum(alike, known.sum(axis=1) / MOST_KNOWN)[:, None]
    weighted = compose(inverse(parted), weight)
    prior = np.stack([np.diag(_centre_spread(body, each.centre) ** -2.0) for each in meetings], axis=2)
    told = inverse_of_any(compose(weighted, parted).sum(axis=-1) + prior)
    return compose(told[..., None], weighted)


def _centre_spread(body: FittedBody, centre: str) -> Array:
    """(3,) [m] how far a joint's centre may be from where it was put, along the standing rider's axes."""
    own = np.square(centre_spreads(body.hip_centre_method)[split_side(centre)[1]])
    placed = load_model("uncertainty", "placement").content["spread_mm"]
    landmarks = next(
        (n for n in body.definition.points.get(centre, ()) if all(x in body.standing_points for x in n)), ()
    )
    for name in landmarks:
        own = own + np.square(placed.get(split_side(name)[1], placed["other"])) / len(landmarks) ** 2
    return np.asarray(MM * np.sqrt(own))


def _moves(shares: Array, gaps: Array) -> Array:
    """(3, J, ...) [m] by which the joint centres are moved."""
    return np.einsum("ikjf,kj...f->ij...", shares, np.nan_to_num(gaps))


def _with_centres(body: FittedBody, meetings: tuple[Meeting, ...], moves: Array) -> FittedBody:
    """The body with its joint centres moved; its frames stay as they were built."""
    places = dict(body.standing_points)
    for j, each in enumerate(meetings):
        places[each.centre] = places[each.centre] + moves[:, j]
    hips = [places.get(f"{side}_hip_centre") for side in SIDES]
    if hips[0] is not None and hips[1] is not None:
        places["hip_mid"] = 0.5 * (hips[0] + hips[1])
    moved = replace(body, standing_points=places)
    changed = {"hip_mid", *(each.centre for each in meetings)}
    points = {
        name: (segment, standing_local(moved, segment, name) if name in changed else place)
        for name, (segment, place) in body.points.items()
    }
    return replace(moved, points=points)


def _pose_shares(poses: SegmentPoses, body: FittedBody, meetings: tuple[Meeting, ...], doubt: _Doubt) -> Array:
    """(F, 6 S, 3 J) of S H' (H S H' + R)^-1."""
    frames, wide = poses.origin.shape[-1], 6 * len(doubt.segments)
    if not meetings:
        return np.zeros((frames, wide, 0))
    chain = _Chain.of(_seen(poses, body, meetings), meetings, doubt)
    errors = chain.errors(np.asarray(np.linalg.inv(chain.spread_of_gaps()), dtype=float))
    return np.moveaxis(errors, (-1, 1, 0), (0, 1, 2)).reshape(frames, wide, -1)


def _as_columns(gaps: Array) -> Array:
    """(F, 3 J, ...) of gaps (3, J, ..., F); what is not known is no gap."""
    gaps = np.nan_to_num(gaps).swapaxes(0, 1)
    return np.moveaxis(gaps.reshape(-1, *gaps.shape[2:]), -1, 0)


def _less(poses: SegmentPoses, body: FittedBody, segments: tuple[str, ...], errors: Array) -> SegmentPoses:
    """The poses less shifts and turns (6, S, ..., F) of their segments."""
    where = [poses.index(name) for name in segments]
    middle = _middles(poses, body, segments)
    rotation, origin = poses.rotation.copy(), poses.origin.copy()
    for some in together(len(where), poses.origin[0, 0].size):
        own = some if segments == poses.segments else where[some]
        back, centre = from_vector(-errors[3:, some]), middle[:, some]
        rotation[:, :, own] = compose(back, rotation[:, :, own])
        origin[:, own] = centre + rotate(back, origin[:, own] - centre) - errors[:3, some]
    return replace(poses, rotation=rotation, origin=origin)

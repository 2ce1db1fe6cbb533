"""The interval of every joint load over all feasible splits of a shared plate.

For a given motion every moment, force and power is affine in the wrench on a foot, so its extremes over the feasible
set lie in the set's corners.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.body.angles import JointAngles
from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import SIDES, Array, split_side
from jointload.loads.contact import Contact
from jointload.loads.moments import JointLoads, joint_loads, segment_motion, smooth_loads
from jointload.loads.shared_plate import Split
from jointload.numerics.rotations import dot
from jointload.settings import Settings


@dataclass(frozen=True, eq=False)
class SplitInterval:
    """Joint loads and vertical forces at the lower and at the upper end, frame by frame.

    low, high : components, power, and the force along the shank at the knees; equal to the loads where nothing is split
    vertical_low, vertical_high : (2, N) [N] on each foot at the force rate
    """

    split: Split
    low: JointLoads
    high: JointLoads
    vertical_low: Array
    vertical_high: Array


def split_interval(
    split: Split | None,
    contact: Contact,
    poses: SegmentPoses,
    body: FittedBody,
    angles: JointAngles,
    loads: JointLoads,
    settings: Settings,
) -> SplitInterval | None:
    """The loads' interval over a split, None without one.

    contact, loads : of the likely split, loads before any smoothing of their own
    """
    if split is None:
        return None
    slopes = _slopes(contact, poses, body, angles)
    corner = np.concatenate((split.force, split.moment))
    away = np.nan_to_num(corner - np.concatenate((contact.force[:, :1], contact.moment[:, :1])))
    components, power, force = ([getattr(loads, key).copy() for _ in range(2)] for key in KEYS)
    for j, joint in enumerate(loads.joints):
        for pair, slope in ((components, slopes.components[:, :, j]), (power, slopes.power[:, j])):
            shift = np.einsum("i...f,ikf->k...f", slope, away)
            pair[0][..., j, :] += np.minimum(shift.min(axis=0), 0.0)
            pair[1][..., j, :] += np.maximum(shift.max(axis=0), 0.0)
        if split_side(joint)[1] == "knee":
            axis = poses.of(f"{split_side(joint)[0]}_shank")[0][:, 1]
            shift = np.einsum("if,ikf->kf", dot(slopes.force[:, :, j].swapaxes(0, 1), axis[:, None]), away)
            force[0][:, j] += np.minimum(shift.min(axis=0), 0.0) * axis
            force[1][:, j] += np.maximum(shift.max(axis=0), 0.0) * axis
    low, high = (replace(loads, components=components[end], power=power[end], force=force[end]) for end in range(2))
    if settings.smoothing == "after":
        low, high = (smooth_loads(one, angles, settings.cutoff, poses.rate)[0] for one in (low, high))
    return SplitInterval(split, low, high, *_vertical(split, contact))


KEYS = ("components", "power", "force")


@dataclass(frozen=True, eq=False)
class _Slopes:
    """What each of the six components of the right foot's wrench, taken from the left foot's, does to the loads:
    components (6, 3, J, F), power (6, J, F), force (6, 3, J, F)."""

    components: Array
    power: Array
    force: Array


def _slopes(contact: Contact, poses: SegmentPoses, body: FittedBody, angles: JointAngles) -> _Slopes:
    motion = segment_motion(poses, body)
    shape = (6, 3, len(SIDES), contact.force.shape[2])
    wrenches = np.zeros((2, *shape))
    for i in range(6):
        wrenches[i // 3, i, i % 3, 0] = 1.0
        wrenches[i // 3, i, i % 3, 1] = -1.0
    nothing = joint_loads(poses, body, angles, np.zeros(shape[1:]), np.zeros(shape[1:]), motion)
    each = [joint_loads(poses, body, angles, force, moment, motion) for force, moment in wrenches.swapaxes(0, 1)]
    return _Slopes(*(np.stack([getattr(one, key) - getattr(nothing, key) for one in each]) for key in KEYS))


def _vertical(split: Split, contact: Contact) -> tuple[Array, Array]:
    """(2, N) [N] lowest and highest vertical force on each foot at the force rate."""
    samples, count = contact.fast_force.shape[2], split.share.size
    at = np.arange(samples) * count / samples
    low, high, share = (np.interp(at, np.arange(count), s) for s in (split.share_low, split.share_high, split.share))
    here = split.frames[np.minimum(at.astype(int), count - 1)]
    total = np.where(here, contact.fast_force[1].sum(axis=0), 0.0)
    down, up = np.minimum((low - share) * total, 0.0), np.maximum((high - share) * total, 0.0)
    right, left = contact.fast_force[1]
    return np.stack((right + down, left - up)), np.stack((right + up, left - down))

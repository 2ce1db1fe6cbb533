"""Two feet on one plate: each foot's wrench, and the set of all splits that fit what is known.

The plate feels six numbers, the feet have twelve. The share of the vertical force comes from pressure insoles where
there are any (their share only, never their own total: it is off by a third to a half), else from where the plate's
pressure point lies between the soles, by the lever rule. Pressure points stay under their soles. Shear follows the
vertical share; beyond it the feet may push apart along the line between their pressure points, which no plate feels:
from not at all (parallel forces) to forces that meet at the height of the hips, within friction. The free moment
follows the share, and each foot may twist against the other by as much as it can hold.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import SIDES, Array, Finding, Recording
from jointload.loads.contact import TWO_FEET, Contact, Lost, contact_findings
from jointload.loads.feasible_splits import constraint_rows, nearest_inside, split_corners
from jointload.loads.pressed_soles import PressedSoles
from jointload.loads.soles import sole_outlines
from jointload.numerics.rotations import cross
from jointload.numerics.signals import runs, zero_lag_lowpass

SOLE_MARGIN, WIDEST_MARGIN = 0.005, 0.025
"""The soles are widened by the first [m], and where nothing fits by the second: markers, plate, a board that bends
(choice)."""
INSOLE_SHARE = 0.08
"""The insoles' share of the load may be off by this much (choice: the gains of two insoles a third apart)."""
LIKELY_SPREAD = np.array([0.05, 0.02, 0.02])
"""How much share, and first moment per force [m] along lab X and Z, the likely split is moved alike to fit (choice)."""
LEAST_LOAD, DOUBTED_LOAD = 0.05, 0.2
"""Below the first share of body weight the plate's pressure point is noise and the split is held; below the second it
is held where the point lies under neither sole (choice)."""
SHORT_DOUBT = 0.02
"""So long [s] the split is held through an impact that throws the pressure point off the soles (choice: a board that
strikes with one end first)."""
FRICTION = 1.0
"""Largest shear per vertical force between foot and ground (choice: a shoe on a gritted deck)."""
LIKELY_LEAN = 0.5
"""The value given leans half as far as forces that meet at the hips (choice, the middle of what is allowed; feet push
outwards with 5 to 10 % of the vertical force in two-legged landings, from memory)."""
TWIST = 0.01
"""Free moment per vertical force [m] by which the feet may twist against each other (choice: a third of what one
foot's sole can hold)."""
HIP_SHARE = 0.5
"""Height of the hips over body height where the pelvis is not seen (choice)."""
NEITHER_SOLE = "two feet on one plate, whose pressure lies under neither"
UNSEEN_SOLE = "two feet on one plate, and one is not seen"


@dataclass(frozen=True, eq=False)
class Split:
    """How the feet share a plate in the frames (F,) where they do.

    share : (F,) the right foot's share of the vertical force;  share_low, share_high : (F,) over all feasible splits
    force, moment : (3, K, F) [N], [N m] wrench about the lab origin on the RIGHT foot in the K corners of the feasible
    set; what is left of the plate is the left foot's. Outside the frames they repeat the value.
    basis : what the share was taken from, in words
    """

    frames: NDArray[np.bool_]
    share: Array
    share_low: Array
    share_high: Array
    force: Array
    moment: Array
    basis: str


@dataclass(frozen=True, eq=False)
class _Way:
    """One way to split: the right foot's share (..., F), both pressure points (2, ..., F) [m], how far the forces lean
    towards each other per pressure point's distance (..., F) [1/m], and the twist (..., F) [m] per vertical force."""

    share: Array
    right: Array
    left: Array
    lean: Array
    twist: Array

    def on_right(self, force: Array, moment: Array, deck: float) -> tuple[Array, Array]:
        """Wrench (3, ..., F) on the right foot from the plate's wrench (3, F); the left foot has the rest."""
        many = (3, *[1] * (self.share.ndim - 1), force.shape[-1])
        whole, turning = force.reshape(many), moment.reshape(many)
        mine = self.share * whole
        apart = self.lean * self.share * (1.0 - self.share) * whole[1]
        mine[0] += apart * (self.left[0] - self.right[0])
        mine[2] += apart * (self.left[1] - self.right[1])
        here, there = (np.stack((p[0], np.full_like(p[0], deck), p[1])) for p in (self.right, self.left))
        own = cross(here, mine)
        out = own + self.share * (turning - own - cross(there, whole - mine))
        out[1] += self.twist * whole[1]
        return mine, out

    def at(self, frame: Array) -> _Way:
        """The same between frames, at (N,) places counted in frames."""
        known = np.arange(self.share.size)

        def resampled(series: Array) -> Array:
            rows = series.reshape(-1, series.shape[-1])
            return np.stack([np.interp(frame, known, row) for row in rows]).reshape(*series.shape[:-1], frame.size)

        return _Way(*(resampled(s) for s in (self.share, self.right, self.left, self.lean, self.twist)))


def share_plates(
    contact: Contact,
    recording: Recording,
    poses: SegmentPoses,
    body: FittedBody,
    cutoff: float | None,
    pressed: PressedSoles | None = None,
) -> tuple[Contact, Split | None]:
    """The contact with a wrench on each foot where two feet bear plates together, and the set of feasible splits; the
    contact itself and None where they do not.

    recording : whose plates the feet press on;  pressed : insoles, whose share of the load is used where they have one
    """
    frames = _frames_to_split(contact, recording)
    if not frames.any():
        return contact, None
    step, count = recording.samples_per_frame, contact.force.shape[2]
    held = np.minimum(np.arange(contact.fast_force.shape[2]) // step, count - 1)
    together = np.stack([np.stack((plate.force, plate.moment)) for plate in recording.plates])
    fast = np.einsum("pwin,pn->win", together, contact.shared[:, held].astype(float))
    slow = np.einsum(
        "pwif,pf->wif",
        zero_lag_lowpass(together, cutoff, recording.force_rate)[..., ::step][..., :count],
        contact.shared.astype(float),
    )
    outline = sole_outlines(poses, body)
    problem = _Problem(slow[0], slow[1], contact.floor, outline, _hip_height(poses, body, contact.floor))
    least = max(LEAST_LOAD * body.rider.weight, 1.0)
    way, corners, solved, used = problem.solve(
        frames & (slow[0, 1] > least), None if pressed is None else pressed.share
    )
    told = _held(way, solved, outline, frames)
    doubted = frames & (slow[0, 1] > DOUBTED_LOAD * body.rider.weight) & ~solved
    failed = _lasting(doubted, round(SHORT_DOUBT * recording.point_rate))
    if told is None:
        return _unsplit(contact, recording, failed, outline), None
    known = frames & ~failed & np.isfinite(told.right).all(axis=0) & np.isfinite(told.left).all(axis=0)
    mine = np.stack(told.on_right(slow[0], slow[1], contact.floor))
    fast_mine = np.stack(told.at(np.arange(held.size) / step).on_right(fast[0], fast[1], contact.floor))
    filled = _filled(contact, recording, known, failed, outline, (slow, mine), (fast, fast_mine, held))
    spread = np.stack(corners.on_right(slow[0], slow[1], contact.floor))
    inside = (solved & known)[None, None, None]
    value = np.where(known, mine, np.stack((filled.force[:, 0], filled.moment[:, 0])))
    spread = np.where(inside, spread, value[:, :, None])
    low, high = (np.where(solved & known, pick(corners.share, axis=0), told.share) for pick in (np.min, np.max))
    split = Split(known & (slow[0, 1] > least), told.share, low, high, spread[0], spread[1], used)
    return replace(filled, findings=(*filled.findings, _finding(split, recording))), split


def _frames_to_split(contact: Contact, recording: Recording) -> NDArray[np.bool_]:
    """Frames in which two feet bear plates and no foot is lost for another reason, nor on another plate."""
    frames: NDArray[np.bool_] = np.zeros(contact.force.shape[2], dtype=bool)
    for shared in contact.shared:
        frames |= shared
    for gone in contact.lost:
        if gone.reason != TWO_FEET:
            frames[gone.start : gone.stop] = False
    step = recording.samples_per_frame
    for plate, shared in zip(recording.plates, contact.shared, strict=True):
        load = plate.force[1, ::step][: frames.size]
        frames[: load.size] &= shared[: load.size] | (load < LEAST_LOAD * np.max(contact.total))
    return frames


def _hip_height(poses: SegmentPoses, body: FittedBody, deck: float) -> Array:
    """(F,) [m] of the hips above the deck."""
    height = poses.place(body, "hip_mid")[1] - deck
    return np.where(np.isfinite(height) & (height > 0.1), height, HIP_SHARE * body.rider.height)


@dataclass(frozen=True, eq=False)
class _Problem:
    """The wrench (3, F) on a plate, the height [m] of its surface, soles (2, 2, V, F), hips above it (F,) [m]."""

    force: Array
    moment: Array
    deck: float
    outline: Array
    hips: Array

    def solve(self, frames: NDArray[np.bool_], insole_share: Array | None) -> tuple[_Way, _Way, NDArray[np.bool_], str]:
        """The likely way, the corners of all ways, the frames that have any, and what the shares came from.

        Where the insoles' share does not fit the soles, the plate's pressure point decides alone; where nothing fits,
        wider soles are tried.
        """
        count = frames.size
        likely, solved = np.full((3, count), np.nan), np.zeros(count, dtype=bool)
        parts: list[tuple[NDArray[np.intp], Array]] = []
        free = np.array([[0.0], [1.0]]) + np.zeros(count)
        tries = [(free, SOLE_MARGIN), (free, WIDEST_MARGIN)]
        told = np.zeros(count, dtype=bool)
        if insole_share is not None:
            told = np.isfinite(insole_share)
            near = np.clip(insole_share + np.array([[-INSOLE_SHARE], [INSOLE_SHARE]]), 0.0, 1.0)
            tries = [(np.where(told, near, free), SOLE_MARGIN), *tries]
        seen = np.isfinite(self.outline).all(axis=(0, 1, 2))
        by_insole = 0
        for attempt, (share, margin) in enumerate(tries):
            at = np.flatnonzero(frames & seen & ~solved)
            if not at.size:
                break
            rows, limits = constraint_rows(self.outline[..., at], self.pressed[:, at], share[:, at], margin)
            corners, found = split_corners(rows, limits)
            rows, limits, corners, at = rows[..., found], limits[:, found], corners[..., found], at[found]
            start = self._lever_rule(at, insole_share)
            likely[:, at] = nearest_inside(start, rows, limits, LIKELY_SPREAD)
            solved[at] = True
            parts.append((at, corners))
            by_insole += int(np.sum(told[at])) if attempt == 0 and insole_share is not None else 0
        lean = self._lean(likely)
        way = self._way(likely, LIKELY_LEAN * lean, np.zeros(count))
        return way, self._corner_ways(parts, likely, lean), solved, _basis(by_insole, int(solved.sum()))

    @property
    def pressed(self) -> Array:
        """(2, F) [m] the plate's pressure point on the deck, along lab X and Z."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.stack(
                (
                    (self.moment[2] + self.deck * self.force[0]) / self.force[1],
                    (self.deck * self.force[2] - self.moment[0]) / self.force[1],
                )
            )

    def _lever_rule(self, at: NDArray[np.intp], insole_share: Array | None) -> Array:
        """(3, T) the split in which both pressure points lie equally far, the same way, from the middle of their sole;
        its share is the insoles' where they tell it, else what brings the points nearest to the middles."""
        right, left = self.outline[:, 0].mean(axis=1)[:, at], self.outline[:, 1].mean(axis=1)[:, at]
        pressed, apart = self.pressed[:, at], right - left
        mine = np.clip(np.sum((pressed - left) * apart, axis=0) / np.sum(apart**2, axis=0), 0.0, 1.0)
        if insole_share is not None:
            mine = np.where(np.isfinite(insole_share[at]), insole_share[at], mine)
        off = pressed - mine * right - (1.0 - mine) * left
        return np.concatenate((mine[None], mine * (right + off)))

    def _lean(self, likely: Array) -> Array:
        """(F,) [1/m] the most that forces may lean per distance of the pressure points: forces that meet at the hips,
        or as far as friction allows in the likely split."""
        way = self._way(likely, np.zeros(likely.shape[1]), np.zeros(likely.shape[1]))
        with np.errstate(invalid="ignore", divide="ignore"):
            slope = np.hypot(self.force[0], self.force[2]) / self.force[1]
            distance = np.hypot(*(way.right - way.left))
            larger = np.maximum(way.share, 1.0 - way.share)
            grip = np.maximum(FRICTION - slope, 0.0) / (distance * larger)
        return np.minimum(1.0 / self.hips, np.nan_to_num(grip, nan=np.inf))

    def _way(self, point: Array, lean: Array, twist: Array) -> _Way:
        """(s, u) as shares and pressure points; a foot that bears nothing presses in the middle of its sole."""
        share = np.clip(point[0], 0.0, 1.0)
        moments, pressed = point[1:], self.pressed
        middles = self.outline.mean(axis=2)
        between = (2, *[1] * (point.ndim - 2), pressed.shape[1])
        with np.errstate(invalid="ignore", divide="ignore"):
            right = np.where(share > 1e-6, moments / share, middles[:, 0].reshape(between))
            rest = pressed.reshape(between) - moments
            left = np.where(share < 1 - 1e-6, rest / (1.0 - share), middles[:, 1].reshape(between))
        return _Way(share, right, left, lean + 0 * share, twist + 0 * share)

    def _corner_ways(self, parts: list[tuple[NDArray[np.intp], Array]], likely: Array, lean: Array) -> _Way:
        """Every corner with no lean and the most, and with the most twist either way."""
        most = max((corners.shape[1] for _, corners in parts), default=1)
        every = np.repeat(likely[:, None], most, axis=1)
        for at, corners in parts:
            every[:, : corners.shape[1], at] = corners
            every[:, corners.shape[1] :, at] = corners[:, :1]
        tiled = np.concatenate([every] * 4, axis=1)
        leaning = np.repeat(np.array([0.0, 0.0, 1.0, 1.0]), most)[:, None] * lean
        sign = np.repeat(np.array([-1.0, 1.0, -1.0, 1.0]), most)[:, None]
        return self._way(tiled, leaning, sign * TWIST * np.minimum(tiled[0], 1.0 - tiled[0]))


def _basis(by_insole: int, solved: int) -> str:
    plate = "the plate's centre of pressure between the soles"
    if not by_insole:
        return plate
    if by_insole == solved:
        return "the pressure insoles' share of the load"
    return f"the pressure insoles' share of the load in {100 * by_insole / solved:.0f} % of the frames, else {plate}"


def _lasting(mask: NDArray[np.bool_], shortest: int) -> NDArray[np.bool_]:
    """The mask without runs of up to `shortest` frames."""
    out = mask.copy()
    for start, stop in runs(mask):
        out[start:stop] = stop - start > shortest
    return out


def _held(way: _Way, solved: NDArray[np.bool_], outline: Array, frames: NDArray[np.bool_]) -> _Way | None:
    """The way of the nearest solved frame where the load is too small to tell, pressing in the middle of the soles."""
    told = np.flatnonzero(solved)
    if not told.size:
        return None
    every = np.arange(solved.size)
    nearest = told[np.argmin(np.abs(every[:, None] - told), axis=1)]
    middles = outline.mean(axis=2)
    return _Way(
        way.share[nearest],
        np.where(solved, way.right, middles[:, 0]),
        np.where(solved, way.left, middles[:, 1]),
        np.where(frames, way.lean[nearest], 0.0),
        np.zeros(solved.size),
    )


def _filled(
    contact: Contact,
    recording: Recording,
    known: NDArray[np.bool_],
    failed: NDArray[np.bool_],
    outline: Array,
    slow: tuple[Array, Array],
    fast: tuple[Array, Array, NDArray[np.intp]],
) -> Contact:
    """The contact with the split in the known frames and the reasons for the others."""
    whole, mine = slow
    fast_whole, fast_mine, held = fast
    here = known[held]
    per_foot = np.stack((mine, whole - mine), axis=2)
    fast_per_foot = np.stack((fast_mine, fast_whole - fast_mine), axis=2)
    lost = [*_other_losses(contact, known, failed), *_losses(failed, outline)]
    return replace(
        contact,
        force=np.where(known, per_foot[0], contact.force),
        moment=np.where(known, per_foot[1], contact.moment),
        fast_force=np.where(here, fast_per_foot[0], contact.fast_force),
        fast_moment=np.where(here, fast_per_foot[1], contact.fast_moment),
        lost=tuple(sorted(lost, key=lambda gone: (gone.side, gone.start))),
        findings=contact_findings(tuple(lost), recording),
    )


def _unsplit(contact: Contact, recording: Recording, failed: NDArray[np.bool_], outline: Array) -> Contact:
    lost = (*_other_losses(contact, np.zeros_like(failed), failed), *_losses(failed, outline))
    return replace(contact, lost=lost, findings=contact_findings(lost, recording))


def _other_losses(contact: Contact, known: NDArray[np.bool_], failed: NDArray[np.bool_]) -> list[Lost]:
    """What stays lost: every other reason, and two feet in frames that were not tried."""
    out = []
    for gone in contact.lost:
        if gone.reason != TWO_FEET:
            out.append(gone)
            continue
        rest = np.zeros(known.size, dtype=bool)
        rest[gone.start : gone.stop] = True
        out += [Lost(gone.side, start, stop, TWO_FEET) for start, stop in runs(rest & ~known & ~failed)]
    return out


def _losses(failed: NDArray[np.bool_], outline: Array) -> list[Lost]:
    seen = np.isfinite(outline).all(axis=(0, 1, 2))
    reasons = ((failed & seen, NEITHER_SOLE), (failed & ~seen, UNSEEN_SOLE))
    return [Lost(side, start, stop, why) for side in SIDES for mask, why in reasons for start, stop in runs(mask)]


def _finding(split: Split, recording: Recording) -> Finding:
    seconds = split.frames.sum() / recording.point_rate
    spans = ", ".join(recording.numbers.span(*run) for run in runs(split.frames)[:4])
    low, high = (100 * float(np.median(series[split.frames])) for series in (split.share_low, split.share_high))
    evidence = f"two feet on one plate for {seconds:.2f} s, split by {split.basis}: the right foot bears typically "
    evidence += f"{low:.0f} to {high:.0f} % of the load"
    advice = "moments carry the interval over every split that fits; land with one foot on one plate for exact ones"
    return Finding("shared_plate", "warn", f"both feet, frames {spans}", evidence, advice)

"""A landing cut to the part of its recording that its numbers are read from, so that draws cost what the landing costs
and not what the recording does."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jointload.body.pose import SegmentPoses
from jointload.intake.recording import Recording
from jointload.landing.ends import SEARCH_SECONDS
from jointload.landing.events import STEADY_SECONDS, LandingEvents, find_events
from jointload.landing.landed import Landing
from jointload.landing.measures.body_measures import FALL_SECONDS
from jointload.loads.contact import Contact, Lost
from jointload.numerics.signals import PADDING_PERIODS, PADDING_SECONDS

SETTLES_LATER = 1.0
"""A drawn landing may settle so much later [s] than the analysed one and still be seen to (choice)."""

TRIED = 64
"""Frames among which a start is looked for."""


@dataclass(frozen=True, eq=False)
class NearLanding:
    """frames : of the recording that are kept;  landing : of these frames alone, its times counted from the first.

    Body, weights and settings are whole; alignment, loads and centre of mass are still those of the recording.
    """

    frames: slice
    landing: Landing


def around_landing(landing: Landing, lowest_cutoff: float | None) -> NearLanding:
    """The landing with the flight before it, its settling, and on both sides what the filters need.

    lowest_cutoff : lowest low-pass [Hz] that will be used on it, None without filter
    """
    begin, end = _read(landing.events)
    reach = PADDING_SECONDS if lowest_cutoff is None else min(PADDING_SECONDS, PADDING_PERIODS / lowest_cutoff)
    rate, last = landing.poses.rate, landing.recording.frames
    start = _rounding_alike(max(int(np.floor((begin - reach) * rate)), 0), landing)
    frames = slice(start, min(int(np.ceil((end + reach) * rate)) + 1, last))
    poses, contact = _poses(landing.poses, frames), _contact(landing.contact, frames, landing.recording)
    angles = replace(landing.angles, angle=landing.angles.angle[..., frames], axes=landing.angles.axes[..., frames])
    cut = replace(
        landing,
        recording=_recording(landing.recording, frames),
        poses=poses,
        angles=angles,
        contact=contact,
        split=None,
        pressed=None,
        smoother=None if landing.smoother is None else landing.smoother.around(frames),
        moved_board=None if landing.moved_board is None else landing.moved_board.around(frames),
        motion=None,
        balance=None,
        _filtered=[],
    )
    return NearLanding(frames, _with_events(cut, landing.events.first_touchdown - start / rate))


def _read(events: LandingEvents) -> tuple[float, float]:
    """Time [s] from and until which the numbers of a landing are read, before any filter."""
    touchdowns = [side.touchdown for side in events.sides.values()]
    begin = np.nanmin([events.first_touchdown - FALL_SECONDS, events.flight_start])
    after = [time + SEARCH_SECONDS for time in (*touchdowns, events.flight_end)]
    after += [events.stabilised + STEADY_SECONDS + SETTLES_LATER, events.lowest_pelvis]
    for side in events.sides.values():
        after += [side.first_peak, side.second_peak, side.impact_end, side.landing_end]
        after += [side.takeoff] if events.kind == "step" else []
    return float(begin), float(np.nanmax(after))


def _rounding_alike(start: int, landing: Landing) -> int:
    """The last frame up to `start` from which instants fall to the same marker frames as in the recording: an instant
    midway between two frames goes to the even one."""
    rate, fast = landing.poses.rate, landing.contact.fast_rate
    sides = landing.events.sides.values()
    instants = [t for side in sides for t in (side.touchdown, side.landing_end) if np.isfinite(t)]

    def alike(first: int) -> bool:
        cut = (round((t - first / rate) * fast) / fast for t in instants)
        return all(round(c * rate) + first == round(t * rate) for c, t in zip(cut, instants, strict=True))

    return next((first for first in range(start, max(start - TRIED, 0), -1) if alike(first)), start)


def _with_events(cut: Landing, touchdown: float) -> Landing:
    """The cut landing with its events; flights that were cut off no longer count, so that its number is another one."""
    parts = (cut.contact, cut.poses, cut.body, cut.angles, cut.weight)
    for number in range(1, cut.settings.landing + 1):
        settings = replace(cut.settings, landing=number)
        events = find_events(*parts, settings, cut.recording.name)
        if abs(events.first_touchdown - touchdown) < 0.5 / cut.contact.fast_rate:
            break
    return replace(cut, settings=settings, events=events)


def _poses(poses: SegmentPoses, frames: slice) -> SegmentPoses:
    return replace(
        poses,
        rotation=poses.rotation[..., frames],
        origin=poses.origin[..., frames],
        residual=poses.residual[..., frames],
    )


def _samples(frames: slice, recording: Recording) -> slice:
    """Force samples of marker frames; the last frame takes what follows it."""
    step = recording.samples_per_frame
    return slice(frames.start * step, None if frames.stop == recording.frames else frames.stop * step)


def _contact(contact: Contact, frames: slice, recording: Recording) -> Contact:
    fast, length = _samples(frames, recording), frames.stop - frames.start
    shifted = (
        Lost(gone.side, max(gone.start - frames.start, 0), min(gone.stop - frames.start, length), gone.reason)
        for gone in contact.lost
    )
    return replace(
        contact,
        force=contact.force[..., frames],
        moment=contact.moment[..., frames],
        fast_force=contact.fast_force[..., fast],
        fast_moment=contact.fast_moment[..., fast],
        total=contact.total[fast],
        lost=tuple(gone for gone in shifted if gone.start < gone.stop),
        owner=contact.owner[..., frames],
    )


def _recording(recording: Recording, frames: slice) -> Recording:
    fast = _samples(frames, recording)
    return replace(
        recording,
        markers=recording.markers[..., frames],
        plates=tuple(
            replace(plate, force=plate.force[:, fast], moment=plate.moment[:, fast]) for plate in recording.plates
        ),
        first_frame=recording.first_frame + frames.start,
    )

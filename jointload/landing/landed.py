"""One landing as the measures read it, one number of the report, and why a number may be unknown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from jointload.body.angles import JointAngles
from jointload.body.calibration import FittedBody
from jointload.body.mass_centre import MassCentre
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import SIDES, Array, Recording, split_side
from jointload.landing.alignment import Alignment
from jointload.landing.events import LandingEvents
from jointload.landing.filtered import FilteredForces, filtered_forces
from jointload.landing.span import Indices, Span, nearest
from jointload.loads.balance import Balance
from jointload.loads.contact import Contact
from jointload.loads.from_above import UpperLoads
from jointload.loads.moments import JointLoads, SegmentMotion
from jointload.loads.moved_board import MovedBoard
from jointload.loads.pressed_soles import PressedSoles
from jointload.loads.split_interval import SplitInterval
from jointload.motion.following import Smoother
from jointload.settings import Settings


@dataclass(frozen=True)
class Measure:
    """One number of the report: value, low and high in SI units, NaN when unknown; `word` where the answer is no
    number."""

    quantity: str
    side: str
    value: float
    low: float = float("nan")
    high: float = float("nan")
    note: str = ""
    word: str = ""

    def widened(self, low: float, high: float) -> Measure:
        """With another cause of doubt, whose interval is low to high [SI]: the interval reaches as far beyond the value
        as both reach together, and beyond zero only where one of them does."""
        if not np.isfinite(self.low + self.high):
            return replace(self, low=low, high=high)
        return self._reaching(low, high, self.low + low - self.value, self.high + high - self.value)

    def doubted(self, low: float, high: float) -> Measure:
        """With another cause of doubt by chance, whose 95 % interval is low to high [SI] and owes nothing to the first:
        the interval reaches as far as the root of the sum of both squares."""
        if not np.isfinite(self.low + self.high):
            return replace(self, low=low, high=high)
        down = float(np.hypot(self.value - self.low, self.value - low))
        up = float(np.hypot(self.high - self.value, high - self.value))
        return self._reaching(low, high, self.value - down, self.value + up)

    def _reaching(self, low: float, high: float, lowest: float, highest: float) -> Measure:
        """Lowest to highest, beyond zero only where this interval or the one from low to high is."""
        if min(self.low, low) >= 0.0:
            lowest = max(lowest, 0.0)
        if max(self.high, high) <= 0.0:
            highest = min(highest, 0.0)
        return replace(self, low=lowest, high=highest)


@dataclass(frozen=True, eq=False)
class DrawnEvents:
    """What every one of D draws of a landing has of its own beside its series; all are of one kind, with the same feet.

    weight, weight_on_plates : (D,) [N]
    """

    events: tuple[LandingEvents, ...]
    weight: Array
    weight_on_plates: Array


@dataclass(frozen=True, eq=False)
class Landing:
    """All that the measures read: one landing, or with `drawn` many at once, whose series have draws before frames."""

    recording: Recording
    body: FittedBody
    poses: SegmentPoses
    angles: JointAngles
    alignment: Alignment
    contact: Contact
    loads: JointLoads
    events: LandingEvents
    centre: MassCentre
    weight: float
    weight_of_rider: float
    weight_on_plates: float
    settings: Settings
    split: SplitInterval | None = None
    """Loads over every way in which two feet may share a plate, None where they do not."""
    upper: UpperLoads | None = None
    """L5/S1 from trunk, head and arms, where it was computed."""
    pressed: PressedSoles | None = None
    """What pressure insoles measured, None without them."""
    apart: dict[str, Array] = field(default_factory=dict)
    """Joint centre -> (F,) [m] how far apart its segments' markers put it, before bones were brought together."""
    misfits: dict[str, float] = field(default_factory=dict)
    """Segment -> typical residual [m] of all its markers, before any was left out."""
    same_person: bool = False
    """Whether the standing trial is insisted to be this rider's."""
    has_static: bool = True
    """Whether the body is fitted to a standing trial of its own, not to the landing's own frames."""
    moved_board: MovedBoard | None = None
    """A board whose wrench was taken out of the plates, None without one."""
    smoother: Smoother | None = None
    """How the markers were followed, None where they were filtered."""
    motion: SegmentMotion | None = None
    """Of the segments that carry mass, where it is not the differences of their poses."""
    balance: Balance | None = None
    """The whole body against the plates, where it was balanced."""
    drawn: DrawnEvents | None = None
    """Of every draw, where the series have draws; `events` are then those of one of them."""
    _filtered: list[FilteredForces] = field(default_factory=list, compare=False)
    _times: dict[tuple[str, str], Array] = field(default_factory=dict, init=False, compare=False)
    _spans: dict[tuple[str, float], Span] = field(default_factory=dict, init=False, compare=False)

    def window(self, side: str) -> slice:
        """Marker frames of one foot's landing, none when its end is not known."""
        return self.span(side).hull

    def fast_window(self, side: str) -> slice:
        """Force samples of one foot's landing, none when its end is not known."""
        return self.fast_span(side).hull

    def span(self, side: str = "") -> Span:
        """Marker frames of one foot's landing, or from the first touch-down to the last end."""
        return self._span(side, self.poses.rate)

    def fast_span(self, side: str = "") -> Span:
        """The same at the force rate."""
        return self._span(side, self.contact.fast_rate)

    def _span(self, side: str, rate: float) -> Span:
        if (side, rate) not in self._spans:
            begin, end = ("touchdown", "landing_end") if side else ("first_touchdown", "last_end")
            self._spans[side, rate] = Span.of(self.time(begin, side), self.time(end, side), rate)
        return self._spans[side, rate]

    def time(self, name: str, side: str = "") -> Array:
        """() or (D,) [s] one of the times of LandingEvents, or of a foot's SideEvents."""
        if (name, side) not in self._times:
            every = (self.events,) if self.drawn is None else self.drawn.events
            times = np.array([getattr(each.sides[side] if side else each, name) for each in every], dtype=float)
            self._times[name, side] = times[0, ...] if self.drawn is None else times
        return self._times[name, side]

    @property
    def borne(self) -> Array:
        """() or (D,) [N] body weight."""
        return np.asarray(self.weight) if self.drawn is None else self.drawn.weight

    @property
    def centre_height(self) -> Array:
        """(F,) [m] of the whole body's centre; of the pelvis where that is not known."""
        centre = self.centre.position[1]
        return centre if np.isfinite(centre).any() else self.poses.place(self.body, "hip_mid")[1]

    def touchdown_frame(self, side: str = "") -> int:
        return int(self.touchdown_frames(side))

    def touchdown_frames(self, side: str = "") -> Indices:
        """() or (D,) marker frame of a foot's touch-down, or of the first."""
        time = self.time("touchdown", side) if side else self.time("first_touchdown")
        return np.minimum(nearest(time, self.poses.rate), self.recording.frames - 1)

    def impact_force(self, side: str) -> Array:
        """(3, N) [N] force on one foot with the impact cut-off."""
        return self.filtered.force[:, SIDES.index(side)]

    @property
    def filtered(self) -> FilteredForces:
        if not self._filtered:
            self._filtered.append(filtered_forces(self.contact, self.settings))
        return self._filtered[0]


Value = float | Array
"""Of one landing, or (D,) of its draws."""
Result = Value | tuple[Value, str]
"""The value and why it may be unknown, or what else is to be said of it."""
Sided = Callable[[Landing, str], Result]
Unsided = Callable[[Landing], Result]


def unless(known: Value, reason: str) -> str:
    """The reason where anything is not known."""
    return "" if np.all(np.isfinite(known)) else reason


def whole_window(landing: Landing) -> slice:
    """Frames from the first touch-down to the last end, none when an end is not known."""
    return landing.span().hull


def reason_of_side(landing: Landing, side: str) -> str:
    """Why numbers of one side may be unknown: its end, its wrench, its segments."""
    window = landing.window(side)
    until = max(window.stop, window.start + 1)
    lost = [g.reason for g in landing.contact.lost if g.side == side and g.start < until and g.stop > window.start]
    missing = [reason for name, reason in landing.body.lost.items() if split_side(name)[0] == side]
    unseen = [
        f"the {split_side(name)[1]} is not seen throughout"
        for name in landing.poses.segments
        if split_side(name)[0] == side
        and name not in landing.body.lost
        and not np.isfinite(landing.poses.of(name)[1][0, window.start : until]).all()
    ]
    reasons = [landing.events.sides[side].reason, *lost, *missing, *unseen]
    return "; ".join(dict.fromkeys(r for r in reasons if r))


def both_sides_note(landing: Landing) -> str:
    missing = [f"no contact of the {s} foot" for s in SIDES if s not in landing.events.sides]
    return "; ".join(dict.fromkeys(r for r in [reasons_of_all(landing), *missing] if r))


def reasons_of_all(landing: Landing) -> str:
    """Why numbers of the whole body may be unknown: an end, or a wrench lost while either foot lands."""
    events = landing.events
    end = events.last_end if np.isfinite(events.last_end) else events.first_touchdown
    start, stop = (round(t * landing.poses.rate) for t in (events.first_touchdown, end))
    lost = [gone.reason for gone in landing.contact.lost if gone.start <= stop and gone.stop > start]
    return "; ".join(dict.fromkeys(r for r in [*(side.reason for side in events.sides.values()), *lost] if r))

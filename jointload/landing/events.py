"""The instants of a landing: touch-down of each foot, end of the impact phase, lowest pelvis, stabilisation."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isnan

import numpy as np
from numpy.typing import NDArray

from jointload.body.angles import JointAngles
from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.errors import RecordingError, SettingError, expected_found
from jointload.intake.recording import SIDES, Array, Finding, Side
from jointload.intake.rider import G
from jointload.landing.borne import Borne, Span, forces_borne
from jointload.landing.ends import IMPACT_SECONDS, Ends, Instant, Seen, lowest_pelvis_of
from jointload.landing.filtered import FilteredForces, filtered_forces
from jointload.loads.contact import Contact, loaded_spans
from jointload.numerics.signals import first_derivative, peaks, runs
from jointload.settings import Settings

SHORTEST_FLIGHT = 0.15
"""Time [s] without load on either foot that makes a landing of what follows (choice: the flight of a run is
shorter)."""
SLOWEST_FALL = 0.4
"""Share of gravity with which most markers gain speed downwards in a flight, whatever the limbs do (choice: 0.94 to 1
before recorded and invented landings, -0.15 to 0.06 where people walk onto plates)."""
FALLING_SPEED = 0.5
"""[m/s] a foot that falls no faster does not land (choice: a fall of 13 mm)."""
LONGEST_FLIGHT = 1.2
"""A longer time [s] without load is standing on something, not flying: it would be a jump of 1.8 m (choice)."""
LANDING_SECONDS = 0.5
"""The second foot of a landing comes down within this time [s] of the first (choice)."""
WHOLE_SHARE = 0.3
"""A contact bears at least this share of body weight (choice)."""
PEAK_PROMINENCE = 0.05
"""A force peak stands out from its neighbourhood by this share of body weight (choice)."""
STEADY_SECONDS = 0.5
"""Stabilised: the total vertical force is steady for so long (common practice, definitions differ)."""
BALLISTIC_SECONDS, CLEAR_SECONDS = 0.12, 0.02
"""The pelvis is followed over 0.12 s of flight that end 0.02 s before touch-down, out of the filter's reach
(choice)."""


@dataclass(frozen=True)
class SideEvents:
    """Times [s] of one foot from the first frame, NaN when they were not seen; reason: why landing_end is not known."""

    touchdown: float
    takeoff: float
    first_peak: float
    second_peak: float
    impact_end: float
    landing_end: float
    reason: str = ""


@dataclass(frozen=True)
class LandingEvents:
    """kind 'landing' follows a flight, 'step' does not; flight [s] start (NaN when it was not seen) and end."""

    kind: str
    sides: dict[str, SideEvents]
    flight_start: float
    flight_end: float
    lowest_pelvis: float
    stabilised: float
    threshold: float
    landing_end: str
    findings: tuple[Finding, ...] = ()
    no_takeoff: str = ""
    """Why the flight's start is not known; without a flight, what there was in its place."""

    @property
    def first_touchdown(self) -> float:
        return min(side.touchdown for side in self.sides.values() if not isnan(side.touchdown))

    @property
    def last_end(self) -> float:
        """End [s] of the landing of the foot that ends last, NaN when any end is unknown."""
        return float(np.max([events.landing_end for events in self.sides.values()]))


def find_events(
    contact: Contact,
    poses: SegmentPoses,
    body: FittedBody,
    angles: JointAngles,
    weight: float,
    settings: Settings,
    name: str,
    filtered: FilteredForces | None = None,
) -> LandingEvents:
    """Events of the landing that follows a flight (the first one, or settings.landing), else of each foot's first step.

    filtered : the contact's forces, where they are filtered already;  weight : body weight [N]. A foot whose own force
    is unknown in the landing takes its touch-down from the plates' total force.
    RecordingError when nothing touches down, SettingError when there are fewer landings than asked for.
    """
    seen = Seen(poses.place(body, "hip_mid")[1], angles, poses.rate)
    if not np.isfinite(contact.total).any():
        return _events_of_motion(poses, body, seen, settings, name)
    filtered = filtered or filtered_forces(contact, settings)
    one = replace(contact, fast_force=contact.fast_force[:, :, None], total=contact.total[None])
    alone = FilteredForces(filtered.force[:, :, None], filtered.total[None], filtered.settling[None])
    (borne,) = forces_borne(one, alone, np.array([weight]), settings.contact_threshold)
    return events_seen(contact, borne, seen, weight, settings, name)


def events_seen(
    contact: Contact, borne: Borne, seen: Seen, weight: float, settings: Settings, name: str
) -> LandingEvents:
    """`find_events` from the little of forces and motion that it needs."""
    rate, threshold, spans, total = contact.fast_rate, settings.contact_threshold, borne.feet, borne.total
    flights = _flights(contact, borne.known, total)
    flight = _chosen_flight(flights, settings.landing, name)
    chosen = {side: _chosen_contact(spans[side], contact, k, flight, weight) for k, side in enumerate(SIDES)}
    unknown = _unknown_feet(contact, chosen, flight)
    if not unknown and all(span is None for span in chosen.values()):
        raise _no_landing(contact, settings, name)
    last = max([span[0] for span in chosen.values() if span is not None] + ([flight[1]] if flight else [])) / rate
    lowest = lowest_pelvis_of(seen, last, _takeoff_of_all(chosen, contact))
    ends = Ends(settings.landing_end, lowest, seen)
    sides: dict[str, SideEvents] = {}
    for k, side in enumerate(SIDES):
        span = chosen[side]
        if span is not None:
            sides[side] = _side_events(span, borne.filtered.force[1, k], contact, k, weight, flight, ends, side)
        elif flight and side in unknown:
            sides[side] = _events_without_force(flight[1] / rate, unknown[side], ends, side)
    first = min(events.touchdown for events in sides.values())
    takeoff, no_takeoff = _takeoff(flight, contact, [stop for _, stop in total], first)
    return LandingEvents(
        kind="landing" if flight else "step",
        sides=sides,
        flight_start=takeoff,
        flight_end=flight[1] / rate if flight else float("nan"),
        lowest_pelvis=lowest.time,
        stabilised=_stabilised(borne.steady, rate, first),
        threshold=threshold,
        landing_end=settings.landing_end if flight else "end of the contact",
        findings=_findings(flights, flight, spans, sides, contact, name),
        no_takeoff=no_takeoff,
    )


def _events_of_motion(
    poses: SegmentPoses, body: FittedBody, seen: Seen, settings: Settings, name: str
) -> LandingEvents:
    """Events without any force: each foot touches down where it stops falling, at the start where it never falls."""
    nan, no_forces = float("nan"), "no plate gives a force"
    stops = {side: _fall_end(poses, body, side) for side in SIDES}
    lowest = lowest_pelvis_of(seen, max(stops.values()), np.inf)
    ends = Ends(settings.landing_end, lowest, seen)
    sides: dict[str, SideEvents] = {
        side: _events_without_force(stop, no_forces, ends, side) for side, stop in stops.items()
    }
    told = " and ".join(f"{side} foot {stop:.3f} s" for side, stop in stops.items())
    evidence = f"no plate gives a force: angles alone, from where each foot stops falling ({told})"
    advice = "no forces, moments, powers or work; touch-down is no better known than some frames"
    return LandingEvents(
        kind="step",
        sides=sides,
        flight_start=nan,
        flight_end=nan,
        lowest_pelvis=lowest.time,
        stabilised=nan,
        threshold=settings.contact_threshold,
        landing_end=settings.landing_end,
        findings=(Finding("no_forces", "warn", name, evidence, advice),),
        no_takeoff=no_forces,
    )


def _fall_end(poses: SegmentPoses, body: FittedBody, side: str) -> float:
    """Time [s] at which the lowest point of a foot stops falling after its fastest fall; 0 where it never falls."""
    points = [poses.place(body, f"{side}_{name}")[1] for name in ("calcaneus", "forefoot")]
    speed = first_derivative(np.min(points, axis=0), 1.0 / poses.rate)
    if not (np.isfinite(speed) & (speed < -FALLING_SPEED)).any():
        return 0.0
    fastest = int(np.nanargmin(speed))
    stopped = np.flatnonzero(speed[fastest:] > 0.5 * speed[fastest])
    return float((fastest + stopped[0]) / poses.rate) if stopped.size else 0.0


def touchdown_samples(force: Array, rate: float, threshold: float) -> tuple[int, ...]:
    """Samples in which a vertical plate force (N,) [N] begins to bear load, before feet are known."""
    return tuple(start for start, _ in loaded_spans(force, rate, threshold) if start > 0)


def may_follow_flights(force: Array, rate: float, threshold: float) -> list[float]:
    """Times [s] at which a landing may begin in the vertical force (N,) [N] of all plates together, before feet are
    known: unloaded for a while, and then loaded. There is none at other times."""
    free = np.ones(force.size, dtype=bool)
    for start, stop in loaded_spans(force, rate, threshold):
        free[start:stop] = False
    ends = [stop for start, stop in runs(free) if (stop - start) / rate >= SHORTEST_FLIGHT]
    return [stop / rate for stop in ends if stop < force.size]


def may_have_fallen(markers: Array, rate: float, until: float) -> bool:
    """Whether the body may have been in the air before a time [s]: most of the markers (3, M, F) [m] that were seen
    throughout the shortest flight fell faster and faster. Who walks onto the plates did not; False is sure."""
    last, half = min(int(until * rate), markers.shape[2] - 1), round(0.5 * SHORTEST_FLIGHT * rate)
    first = last - 2 * half
    if half < 1 or first < 0:
        return True
    before, middle, end = (markers[1, :, frame] for frame in (first, first + half, last))
    falling = -(end - 2.0 * middle + before) * (rate / half) ** 2
    seen = falling[np.isfinite(falling)]
    return not seen.size or float(np.median(seen)) > SLOWEST_FALL * G


def _flights(contact: Contact, known: NDArray[np.bool_], total: list[Span]) -> list[Span]:
    """Samples [start, stop) in which the plates are unloaded, both feet are known to be free, and a contact follows.

    A wrench that is unknown is so by whole marker frames, which begin a little before the contact.
    """
    free = known.copy()
    for start, stop in total:
        free[start:stop] = False
    frame = -(-contact.fast_force.shape[2] // max(contact.force.shape[2], 1))
    followed = ((a, next((s for s, _ in total if b <= s <= b + frame), -1)) for a, b in runs(free))
    return [(a, b) for a, b in followed if b >= 0 and (b - a) / contact.fast_rate >= SHORTEST_FLIGHT]


def _chosen_flight(flights: list[Span], number: int, name: str) -> Span | None:
    if number > max(len(flights), 1):
        found = f"{len(flights)} that follow a flight"
        raise SettingError(
            expected_found("landing", f"{number} landings or more", found, name, "choose a lower --landing")
        )
    return flights[number - 1] if flights else None


def _takeoff(flight: Span | None, contact: Contact, ends: list[int], first: float) -> tuple[float, str]:
    """Take-off [s] from a plate, else NaN and why it is not known. ends : samples at which the plates are left;
    first : touch-down [s]

    A wrench that is unknown is so by whole marker frames: the flight may seem to begin up to one after the take-off.
    """
    rate, nan = contact.fast_rate, float("nan")
    if flight is None:
        before = max((stop for stop in ends if stop < round(first * rate)), default=None)
        brief = 0.0 if before is None else first - before / rate
        if not 1.5 / rate < brief < SHORTEST_FLIGHT:
            return nan, "no flight before this contact"
        return nan, f"{brief:.2f} s without load before this contact: a flight is taken from {SHORTEST_FLIGHT:g} s on"
    if (flight[1] - flight[0]) / rate > LONGEST_FLIGHT:
        seconds = (flight[1] - flight[0]) / rate
        return nan, f"{seconds:.1f} s without load before the landing: the rider came from beside the plates"
    if flight[0] == 0:
        return nan, "the recording begins in flight"
    frame = -(-contact.fast_force.shape[2] // max(contact.force.shape[2], 1))
    left = max((stop for stop in ends if flight[0] - frame <= stop <= flight[0]), default=None)
    return (nan, "the take-off is not on a plate") if left is None else (left / rate, "")


def _chosen_contact(spans: list[Span], contact: Contact, foot: int, flight: Span | None, weight: float) -> Span | None:
    """The contact that starts the landing of one foot, or its first whole contact when there is no flight."""
    force, rate = contact.fast_force[1, foot], contact.fast_rate
    whole = [
        (a, b) for a, b in spans if a > 0 and np.isfinite(force[a - 1]) and np.max(force[a:b]) > WHOLE_SHARE * weight
    ]
    if flight:
        whole = [(a, b) for a, b in whole if flight[0] < a < flight[1] + LANDING_SECONDS * rate]
    return whole[0] if whole else None


def _unknown_feet(contact: Contact, chosen: dict[Side, Span | None], flight: Span | None) -> dict[Side, str]:
    """Feet without a known contact whose wrench is unknown in the landing, and why."""
    if flight is None:
        return {}
    step = contact.fast_force.shape[2] / contact.force.shape[2]
    begin, end = flight[1] / step, (flight[1] + LANDING_SECONDS * contact.fast_rate) / step
    out: dict[Side, str] = {}
    for side in SIDES:
        reasons = [g.reason for g in contact.lost if g.side == side and g.start < end and g.stop > begin]
        if chosen[side] is None and reasons:
            out[side] = "; ".join(dict.fromkeys(reasons))
    return out


def _no_landing(contact: Contact, settings: Settings, name: str) -> RecordingError:
    reasons = "; ".join(dict.fromkeys(gone.reason for gone in contact.lost))
    found = "no such contact" + (f" ({reasons})" if reasons else "")
    expected = f"a foot that touches down on a plate with more than {settings.contact_threshold:g} N"
    advice = "give a trial that holds the landing, with one foot on one plate"
    return RecordingError(expected_found("landing", expected, found, name, advice))


def _takeoff_of_all(chosen: dict[Side, Span | None], contact: Contact) -> float:
    """Time [s] when the last foot of the landing has lifted again, infinite while any does not lift or is not known."""
    ends = [_lift(span, contact, k) if span else np.inf for k, span in enumerate(chosen.values())]
    return max(ends)


def _lift(span: Span, contact: Contact, foot: int) -> float:
    """Time [s] of take-off, infinite when the recording or the knowledge of the wrench ends before."""
    force, stop = contact.fast_force[1, foot], span[1]
    return stop / contact.fast_rate if stop < force.size and np.isfinite(force[stop]) else np.inf


def _side_events(
    span: Span,
    vertical: Array,
    contact: Contact,
    foot: int,
    weight: float,
    flight: Span | None,
    ends: Ends,
    side: str,
) -> SideEvents:
    """The instants of one contact; a step without a flight before it is followed to its end."""
    (start, stop), rate = span, contact.fast_rate
    lifted = _lift(span, contact, foot)
    tops = [start + p for p in _force_peaks(vertical[start:stop], weight, bool(np.isfinite(lifted)))]
    first, second = ([p / rate for p in tops] + [float("nan")] * 2)[:2]
    takeoff = lifted if np.isfinite(lifted) else float("nan")
    if flight is None:
        end = Instant(takeoff, "" if np.isfinite(lifted) else "not seen until the foot lifts")
    else:
        end = ends.of(side, start / rate, lifted, Instant((start + int(np.argmax(vertical[start:stop]))) / rate))
    if end.time < start / rate:
        end = Instant(float("nan"), "this foot lands after the end of the landing")
    return SideEvents(
        touchdown=start / rate,
        takeoff=takeoff,
        first_peak=first,
        second_peak=second,
        impact_end=_impact_end(vertical, start, stop, tops, rate),
        landing_end=float(min(end.time, lifted)) if np.isfinite(end.time) else float("nan"),
        reason=end.reason,
    )


def _events_without_force(touchdown: float, reason: str, ends: Ends, side: str) -> SideEvents:
    """The instants of a foot whose own force is not known: touch-down is that of the plates' total force."""
    nan = float("nan")
    end = ends.of(side, touchdown, np.inf, Instant(nan, reason))
    return SideEvents(touchdown, nan, nan, nan, touchdown + IMPACT_SECONDS, end.time, end.reason)


def _force_peaks(vertical: Array, weight: float, lifts: bool) -> list[int]:
    """Samples of the first two peaks of the vertical force that stand out; an unseen end of the contact is no peak."""
    padded = np.concatenate(([0.0], vertical, [0.0] if lifts else []))
    return [int(p) - 1 for p in peaks(padded, PEAK_PROMINENCE * weight)[:2]]


def _impact_end(vertical: Array, start: int, stop: int, tops: list[int], rate: float) -> float:
    """The lowest force between first and second peak, at most IMPACT_SECONDS after touch-down."""
    latest = start + round(IMPACT_SECONDS * rate)
    if len(tops) > 1:
        latest = min(latest, tops[0] + int(np.argmin(vertical[tops[0] : tops[1] + 1])))
    return min(latest, stop) / rate


def _stabilised(steady: list[Span], rate: float, first: float) -> float:
    """Start [s] of the first stretch of the total vertical force after touch-down that is steady for long enough, NaN
    when there is none."""
    since = ((max(start, round(first * rate)), stop) for start, stop in steady)
    return next((a / rate for a, b in since if (b - a) / rate >= STEADY_SECONDS), float("nan"))


def _findings(
    flights: list[Span],
    flight: Span | None,
    spans: dict[Side, list[Span]],
    sides: dict[str, SideEvents],
    contact: Contact,
    name: str,
) -> tuple[Finding, ...]:
    out = []
    if flight and len(flights) > 1:
        evidence = f"{len(flights)} landings; the numbers are of the one at {flight[1] / contact.fast_rate:.3f} s"
        out.append(Finding("several_landings", "warn", name, evidence, "choose another with --landing"))
    for side in SIDES:
        where = f"{side} foot, {name}"
        if side not in sides:
            evidence = "no whole contact of this foot on a plate"
            out.append(Finding("no_touchdown", "warn", where, evidence, "no landing numbers of this side"))
        elif sides[side].reason:
            evidence = f"end of the landing: {sides[side].reason}"
            out.append(Finding("no_landing_end", "warn", where, evidence, "no numbers over the landing of this side"))
        if not flight and side in sides and len(spans[side]) > 1:
            evidence = (
                f"{len(spans[side]) - 1} more contacts; the numbers are of the one at {sides[side].touchdown:.3f} s"
            )
            out.append(Finding("several_contacts", "pass", where, evidence, "cut the trial to choose another"))
    return tuple(out)

"""The instants of a landing: touch-down of each foot, end of the impact phase, lowest pelvis, stabilisation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.body.angles import JointAngles
from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.errors import RecordingError, expected_found
from jointload.intake.recording import SIDES, Array, Finding
from jointload.intake.rider import G
from jointload.loads.contact import Contact, loaded_spans
from jointload.numerics.signals import runs, zero_lag_lowpass
from jointload.settings import Settings

SHORTEST_FLIGHT = 0.15
"""Time [s] without load on either foot that makes a landing of what follows (choice: the flight of a run is
shorter)."""
IMPACT_SECONDS = 0.1
"""Longest impact phase, and the phase when there is no second force peak (James et al. 2007 J Sports Sci Med 6:126
use 100 ms)."""
SEARCH_SECONDS = 1.0
"""The pelvis is lowest within this time [s] of touch-down (choice)."""
PEAK_PROMINENCE = 0.05
"""A force peak stands out from its neighbourhood by this share of body weight (choice)."""
STEADY_SHARE, STEADY_SECONDS = 0.05, 0.5
"""Stabilised: the total vertical force stays within 5 % of body weight for 0.5 s (common practice, definitions
differ)."""
BALLISTIC_SECONDS, CLEAR_SECONDS = 0.12, 0.02
"""The pelvis is followed over 0.12 s of flight that end 0.02 s before touch-down, out of the filter's reach
(choice)."""


@dataclass(frozen=True)
class SideEvents:
    """Times [s] of one foot from the first frame, NaN when they were not seen."""

    touchdown: float
    takeoff: float
    first_peak: float
    second_peak: float
    impact_end: float
    landing_end: float


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

    @property
    def first_touchdown(self) -> float:
        return float(np.nanmin([events.touchdown for events in self.sides.values()]))


def find_events(
    contact: Contact,
    poses: SegmentPoses,
    body: FittedBody,
    angles: JointAngles,
    weight: float,
    settings: Settings,
    name: str,
) -> LandingEvents:
    """Events of the landing that follows the longest flight, else of each foot's first whole contact.

    weight : body weight [N]. RecordingError when no foot touches down while it is measured.
    """
    spans: dict[str, list[tuple[int, int]]] = {
        side: _spans(contact, side, settings.contact_threshold) for side in SIDES
    }
    flight = _longest_flight(contact, spans)
    chosen: dict[str, tuple[int, int] | None] = {
        side: _chosen_contact(spans[side], contact, side, flight, weight) for side in SIDES
    }
    if all(span is None for span in chosen.values()):
        raise RecordingError(
            expected_found(
                "landing",
                f"a foot that touches down on a plate with more than {settings.contact_threshold:g} N",
                "no such contact"
                if contact.fast_force.size and np.isfinite(contact.fast_force).any()
                else "no measured foot wrench",
                name,
                "give a trial that holds the landing, with one foot on one plate",
            )
        )
    vertical: dict[str, Array] = {side: _impact_force(contact, side, settings.impact_cutoff) for side in SIDES}
    first = min(span[0] for span in chosen.values() if span is not None) / contact.fast_rate
    lowest = _lowest_pelvis(poses, body, first, chosen, contact.fast_rate)
    sides: dict[str, SideEvents] = {
        side: _side_events(
            span,
            vertical[side],
            contact.fast_rate,
            weight,
            lowest,
            angles,
            poses.rate,
            side,
            flight is not None,
            settings,
        )
        for side, span in chosen.items()
        if span is not None
    }
    return LandingEvents(
        kind="landing" if flight else "step",
        sides=sides,
        flight_start=flight[0] / contact.fast_rate if flight and flight[0] > 0 else float("nan"),
        flight_end=flight[1] / contact.fast_rate if flight else float("nan"),
        lowest_pelvis=lowest,
        stabilised=_stabilised(contact, first, weight),
        threshold=settings.contact_threshold,
        landing_end=settings.landing_end if flight else "end of the contact",
        findings=_findings(spans, chosen, contact, name),
    )


def touchdown_frames(force: Array, rate: float, threshold: float, samples_per_frame: int) -> tuple[int, ...]:
    """Frames in which a vertical plate force (N,) [N] begins to bear load, before feet are known."""
    return tuple(start // samples_per_frame for start, _ in loaded_spans(force, rate, threshold) if start > 0)


def _spans(contact: Contact, side: str, threshold: float) -> list[tuple[int, int]]:
    return loaded_spans(contact.fast_force[1, SIDES.index(side)], contact.fast_rate, threshold)


def _longest_flight(contact: Contact, spans: dict[str, list[tuple[int, int]]]) -> tuple[int, int] | None:
    """Samples [start, stop) of the longest time in which both feet are known to be unloaded and a contact follows."""
    samples = contact.fast_force.shape[2]
    free = np.isfinite(contact.fast_force[1]).all(axis=0)
    for side in SIDES:
        for start, stop in spans[side]:
            free[start:stop] = False
    flights = [(a, b) for a, b in runs(free) if b < samples and (b - a) / contact.fast_rate >= SHORTEST_FLIGHT]
    followed = [(a, b) for a, b in flights if any(start == b for side in SIDES for start, _ in spans[side])]
    return max(followed, key=lambda flight: flight[1] - flight[0], default=None)


def _chosen_contact(
    spans: list[tuple[int, int]], contact: Contact, side: str, flight: tuple[int, int] | None, weight: float
) -> tuple[int, int] | None:
    """The contact that starts the landing of one foot, or its first whole contact when there is no flight."""
    force, rate = contact.fast_force[1, SIDES.index(side)], contact.fast_rate
    whole = [(a, b) for a, b in spans if a > 0 and np.isfinite(force[a - 1]) and np.nanmax(force[a:b]) > 0.3 * weight]
    if flight:
        whole = [(a, b) for a, b in whole if flight[1] <= a < flight[1] + 0.5 * rate]
    return whole[0] if whole else None


def _impact_force(contact: Contact, side: str, cutoff: float | None) -> Array:
    limit = None if cutoff is None else min(cutoff, 0.45 * contact.fast_rate)
    return zero_lag_lowpass(contact.fast_force[1, SIDES.index(side)], limit, contact.fast_rate)


def _lowest_pelvis(
    poses: SegmentPoses, body: FittedBody, first: float, chosen: dict[str, tuple[int, int] | None], rate: float
) -> float:
    height = poses.place(body, "hip_mid")[1]
    last = max(span[1] for span in chosen.values() if span is not None) / rate
    start, stop = round(first * poses.rate), round(min(last, first + SEARCH_SECONDS) * poses.rate) + 1
    window = height[start:stop]
    return float((start + np.nanargmin(window)) / poses.rate) if np.isfinite(window).any() else float("nan")


def _side_events(
    span: tuple[int, int],
    vertical: Array,
    rate: float,
    weight: float,
    lowest: float,
    angles: JointAngles,
    marker_rate: float,
    side: str,
    landed: bool,
    settings: Settings,
) -> SideEvents:
    """The instants of one contact; a step without a flight before it is followed to its end."""
    start, stop = span
    peaks = _force_peaks(vertical[start:stop], weight)
    first = float(start + peaks[0]) / rate
    second = float(start + peaks[1]) / rate if len(peaks) > 1 else float("nan")
    takeoff = stop / rate if stop < vertical.size else float("nan")
    touchdown = start / rate
    if not landed:
        return SideEvents(
            touchdown, takeoff, first, second, _impact_end(vertical, start, stop, peaks, rate), stop / rate
        )
    impact_end = _impact_end(vertical, start, stop, peaks, rate)
    end = {
        "lowest_pelvis": lowest,
        "peak_force": (start + float(np.nanargmax(vertical[start:stop]))) / rate,
        "fixed_100ms": touchdown + IMPACT_SECONDS,
        "peak_knee_flexion": _peak_knee_flexion(
            angles, side, touchdown, min(stop / rate, touchdown + SEARCH_SECONDS), marker_rate
        ),
    }[settings.landing_end]
    return SideEvents(touchdown, takeoff, first, second, impact_end, min(end, stop / rate) if np.isfinite(end) else end)


def _force_peaks(vertical: Array, weight: float) -> list[int]:
    """Samples of the first two peaks of the vertical force that stand out; the highest sample when none does."""
    from scipy.signal import find_peaks

    filled = np.concatenate(([0.0], np.nan_to_num(vertical), [0.0]))
    peaks, _ = find_peaks(filled, prominence=PEAK_PROMINENCE * weight)
    return [int(p) - 1 for p in peaks[:2]] or [int(np.argmax(filled)) - 1]


def _impact_end(vertical: Array, start: int, stop: int, peaks: list[int], rate: float) -> float:
    """The lowest force between first and second peak, at most IMPACT_SECONDS after touch-down."""
    latest = start + round(IMPACT_SECONDS * rate)
    if len(peaks) > 1:
        valley = start + peaks[0] + int(np.argmin(vertical[start + peaks[0] : start + peaks[1] + 1]))
        latest = min(latest, valley)
    return min(latest, stop) / rate


def _peak_knee_flexion(angles: JointAngles, side: str, touchdown: float, end: float, rate: float) -> float:
    start, stop = round(touchdown * rate), round(end * rate) + 1
    window = angles.of(f"knee_{side}", "flexion")[start:stop]
    return (start + int(np.nanargmax(window))) / rate if np.isfinite(window).any() else float("nan")


def _stabilised(contact: Contact, first: float, weight: float) -> float:
    """Start [s] of the first steady stretch of the total vertical force after touch-down, NaN when there is none."""
    total = contact.fast_force[1].sum(axis=0)
    with np.errstate(invalid="ignore"):
        steady = np.abs(zero_lag_lowpass(total, 20.0, contact.fast_rate) - weight) < STEADY_SHARE * weight
    steady[: round(first * contact.fast_rate)] = False
    long_enough = [a for a, b in runs(steady) if (b - a) / contact.fast_rate >= STEADY_SECONDS]
    return long_enough[0] / contact.fast_rate if long_enough else float("nan")


def touchdown_speed(poses: SegmentPoses, body: FittedBody, events: LandingEvents) -> tuple[float, str]:
    """Downward speed [m/s] of the pelvis at touch-down from a ballistic fit to the last part of the flight, and a note.

    y(t) = y0 + v t - g t^2 / 2 with g fixed, least squares for y0 and v; NaN when there was no flight.
    """
    if events.kind != "landing":
        return float("nan"), "no flight before this contact"
    height, rate, end = poses.place(body, "hip_mid")[1], poses.rate, events.first_touchdown
    begin = end - CLEAR_SECONDS - BALLISTIC_SECONDS
    if np.isfinite(events.flight_start):
        begin = max(begin, events.flight_start + CLEAR_SECONDS)
    frames = np.arange(max(0, int(np.ceil(begin * rate))), int((end - CLEAR_SECONDS) * rate) + 1)
    frames = frames[np.isfinite(height[frames])]
    if frames.size < 4:
        return float("nan"), "fewer than four frames of the pelvis in flight"
    t = frames / rate - end
    _, slope = np.linalg.lstsq(np.column_stack((np.ones_like(t), t)), height[frames] + 0.5 * G * t**2, rcond=None)[0]
    return float(-slope), ""


def _findings(
    spans: dict[str, list[tuple[int, int]]], chosen: dict[str, tuple[int, int] | None], contact: Contact, name: str
) -> tuple[Finding, ...]:
    out = []
    for side in SIDES:
        word = "right" if side == "r" else "left"
        if chosen[side] is None:
            out.append(
                Finding(
                    "no_touchdown",
                    "warn",
                    f"{word} foot, {name}",
                    "no whole contact of this foot on a plate",
                    "no landing numbers of this side",
                )
            )
        others = len(spans[side]) - 1
        if chosen[side] is not None and others > 0:
            start = chosen[side][0] / contact.fast_rate  # type: ignore[index]
            out.append(
                Finding(
                    "several_contacts",
                    "pass",
                    f"{word} foot, {name}",
                    f"{others} more contacts; the numbers are of the one at {start:.3f} s",
                    "cut the trial to choose another",
                )
            )
    return tuple(out)

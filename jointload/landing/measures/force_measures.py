"""Ground force under one foot: peaks, rates, impulse, braking, friction."""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import SIDES, Array
from jointload.landing.landed import Landing, Result, unless
from jointload.landing.span import Indices, Span, nearest, picked

BEARING_SHARE = 0.2
"""Friction is read while a foot bears more than this share of body weight (choice: below it the ratio is noise)."""
TRAVEL_SPEED = 0.7
"""Above this horizontal speed [m/s] of the pelvis at touch-down, braking is against the direction of travel
(choice)."""
TRAVEL_BEFORE, TRAVEL_SECONDS = 0.02, 0.15
"""The travel is read until so long before touch-down [s], over so long (choice: over two frames moving skin turns it by
several degrees)."""
IMPULSE_SECONDS = 0.1


def vertical_force_peak(landing: Landing, side: str) -> Result:
    span = landing.fast_span(side)
    return span.largest(span.cut(landing.impact_force(side)[1]))


def _force_at(landing: Landing, side: str, time: Array) -> Array:
    """() or (D,) [N] vertical force at a time [s], NaN where that is unknown."""
    force = picked(landing.impact_force(side)[1], nearest(time, landing.contact.fast_rate))
    return np.where(np.isfinite(time), force, np.nan)


def vertical_force_first_peak(landing: Landing, side: str) -> Result:
    time = landing.time("first_peak", side)
    return _force_at(landing, side, time), unless(time, "no peak stands out")


def vertical_force_second_peak(landing: Landing, side: str) -> Result:
    time = landing.time("second_peak", side)
    return _force_at(landing, side, time), unless(time, "one peak only")


def vertical_loading_rate(landing: Landing, side: str) -> Result:
    touchdown, peak = landing.time("touchdown", side), landing.time("first_peak", side)
    rise, duration = _force_at(landing, side, peak) - _force_at(landing, side, touchdown), peak - touchdown
    return np.where(duration > 0, rise / np.where(duration > 0, duration, 1.0), np.nan)


def touched(landing: Landing, side: str) -> Array:
    """() or (D,) [s] when the force on a foot passed the threshold, between two samples."""
    return landing.time("touchdown", side) - _passed_before(landing, side) / landing.contact.fast_rate


def time_to_peak(landing: Landing, side: str) -> Result:
    return _time_of_largest(landing.impact_force(side)[1], landing, side)


def _time_of_largest(series: Array, landing: Landing, side: str) -> Array:
    span = landing.fast_span(side)
    window = span.cut(series)
    after = span.place_of_largest(window) - span.start + _passed_before(landing, side)
    return np.where(span.known(window), after / landing.contact.fast_rate, np.nan)


def _passed_before(landing: Landing, side: str) -> Array:
    """() or (D,) share of a sample by which the force passed the threshold before the first sample above it: a landing
    begins between two samples, and the force grows by a tenth of its peak from one to the next."""
    vertical, start = landing.contact.fast_force[1, SIDES.index(side)], landing.fast_span(side).start
    above, below = picked(vertical, start), picked(vertical, np.maximum(start - 1, 0))
    with np.errstate(invalid="ignore", divide="ignore"):
        passed = (above - landing.settings.contact_threshold) / (above - below)
    return np.where((passed > 0.0) & (passed < 1.0), passed, 0.0)


def vertical_impulse_100ms(landing: Landing, side: str) -> Result:
    """From where the force passes the threshold, between two samples, for 100 ms."""
    rate, start = landing.contact.fast_rate, landing.fast_span(side).start
    vertical, last = landing.contact.fast_force[1, SIDES.index(side)], start + round(IMPULSE_SECONDS * rate)
    whole, last = last < vertical.shape[-1], np.minimum(last, vertical.shape[-1] - 1)
    span, early = Span(start, last + 1), _passed_before(landing, side)
    first, before, end = (picked(vertical, sample) for sample in (start, last - 1, last))
    begun = 0.5 * early * (landing.settings.contact_threshold + first)
    ended = early * (end - 0.5 * early * (end - before))
    value = np.where(whole, span.integral(span.cut(vertical), 1.0 / rate) + (begun - ended) / rate, np.nan)
    return value, "" if np.all(whole) else "the recording ends within 100 ms"


def travel(pelvis: Array, rate: float, touchdown: Indices) -> Array:
    """(2,) or (2, D) [m/s] of the pelvis (2, F) or (2, D, F) [m] before a frame of touch-down, over what there is where
    the recording begins later."""
    last = np.clip(touchdown - round(TRAVEL_BEFORE * rate), 1, pelvis.shape[-1] - 1)
    first = np.clip(last - round(TRAVEL_SECONDS * rate), 0, last - 1)
    return (picked(pelvis, last) - picked(pelvis, first)) * (rate / (last - first))


def _braking(landing: Landing, side: str) -> tuple[Array, str]:
    """(N,) [N] horizontal force against the travel, and which direction was used."""
    pelvis = landing.poses.place(landing.body, "hip_mid")[[0, 2]]
    velocity = travel(pelvis, landing.poses.rate, landing.touchdown_frames())
    speed = np.hypot(*velocity)
    travels = speed > TRAVEL_SPEED
    forward = np.where(travels, velocity / np.where(travels, speed, 1.0), landing.alignment.facing[[0, 2], 0])
    note = f"against the travel at {np.max(speed):.1f} m/s"
    force = landing.impact_force(side)
    braking = -(forward[0, ..., None] * force[0] + forward[1, ..., None] * force[2])
    return braking, note if np.all(travels) else "against the pelvis' forward direction"


def braking_force_peak(landing: Landing, side: str) -> Result:
    force, note = _braking(landing, side)
    span = landing.fast_span(side)
    return span.largest(span.cut(force)), note


def time_to_braking_peak(landing: Landing, side: str) -> Result:
    return _time_of_largest(_braking(landing, side)[0], landing, side)


def friction_use_peak(landing: Landing, side: str) -> Result:
    """Largest horizontal over vertical force [1] while the foot bears a fifth of body weight."""
    span = landing.fast_span(side)
    force = span.cut(landing.impact_force(side))
    known = span.known(force).all(axis=0)
    with np.errstate(invalid="ignore"):
        bearing = force[1] > BEARING_SHARE * landing.borne[..., None]
    friction = np.where(bearing, np.hypot(force[0], force[2]) / np.where(bearing, force[1], 1.0), -1.0)
    largest = span.largest(friction)
    value = np.where(known & (largest >= 0.0), largest, np.nan)
    return value, "" if np.any(~known) else unless(value, "the foot bears less than a fifth of body weight")

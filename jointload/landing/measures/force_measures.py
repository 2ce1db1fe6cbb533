"""Ground force under one foot: peaks, rates, impulse, braking, friction."""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import SIDES, Array
from jointload.landing.landed import Landing, Result, largest
from jointload.numerics.signals import derivatives, integral

BEARING_SHARE = 0.2
"""Friction is read while a foot bears more than this share of body weight (choice: below it the ratio is noise)."""
TRAVEL_SPEED = 0.7
"""Above this horizontal speed [m/s] of the pelvis at touch-down, braking is against the direction of travel
(choice)."""
IMPULSE_SECONDS = 0.1


def vertical_force_peak(landing: Landing, side: str) -> Result:
    return largest(landing.impact_force(side)[1, landing.fast_window(side)])


def _force_at(landing: Landing, side: str, time: float) -> float:
    return (
        float(landing.impact_force(side)[1, round(time * landing.contact.fast_rate)])
        if np.isfinite(time)
        else float("nan")
    )


def vertical_force_first_peak(landing: Landing, side: str) -> Result:
    time = landing.events.sides[side].first_peak
    return _force_at(landing, side, time), "" if np.isfinite(time) else "no peak stands out"


def vertical_force_second_peak(landing: Landing, side: str) -> Result:
    return _force_at(landing, side, landing.events.sides[side].second_peak), "" if np.isfinite(
        landing.events.sides[side].second_peak
    ) else "one peak only"


def vertical_loading_rate(landing: Landing, side: str) -> Result:
    events = landing.events.sides[side]
    rise = _force_at(landing, side, events.first_peak) - _force_at(landing, side, events.touchdown)
    duration = events.first_peak - events.touchdown
    return rise / duration if duration > 0 else float("nan")


def time_to_peak(landing: Landing, side: str) -> Result:
    return _time_of_largest(landing.impact_force(side)[1], landing, side)


def _time_of_largest(series: Array, landing: Landing, side: str) -> float:
    window = series[landing.fast_window(side)]
    return (
        float(np.argmax(window) / landing.contact.fast_rate)
        if window.size and np.isfinite(window).all()
        else float("nan")
    )


def vertical_impulse_100ms(landing: Landing, side: str) -> Result:
    start = landing.fast_window(side).start
    rate = landing.contact.fast_rate
    samples = round(IMPULSE_SECONDS * rate) + 1
    window = landing.contact.fast_force[1, SIDES.index(side), start : start + samples]
    if window.size < samples:
        return float("nan"), "the recording ends within 100 ms"
    return float(integral(window, 1.0 / rate))


def _braking(landing: Landing, side: str) -> tuple[Array, str]:
    """(N,) [N] horizontal force against the travel, and which direction was used."""
    pelvis = landing.poses.place(landing.body, "hip_mid")
    frame = max(landing.touchdown_frame() - round(0.02 * landing.poses.rate), 1)
    velocity = derivatives(pelvis, 1.0 / landing.poses.rate)[0][[0, 2], min(frame, pelvis.shape[1] - 2)]
    speed = float(np.hypot(*velocity))
    forward, note = landing.alignment.facing[[0, 2], 0], "against the pelvis' forward direction"
    if speed > TRAVEL_SPEED:
        forward, note = velocity / speed, f"against the travel at {speed:.1f} m/s"
    force = landing.impact_force(side)
    return -(forward[0] * force[0] + forward[1] * force[2]), note


def braking_force_peak(landing: Landing, side: str) -> Result:
    force, note = _braking(landing, side)
    return largest(force[landing.fast_window(side)]), note


def time_to_braking_peak(landing: Landing, side: str) -> Result:
    return _time_of_largest(_braking(landing, side)[0], landing, side)


def friction_use_peak(landing: Landing, side: str) -> Result:
    force = landing.impact_force(side)[:, landing.fast_window(side)]
    if not force.size or not np.isfinite(force).all():
        return float("nan")
    bearing = force[1] > BEARING_SHARE * landing.weight
    if not bearing.any():
        return float("nan"), "the foot bears less than a fifth of body weight"
    return float(np.max(np.hypot(force[0, bearing], force[2, bearing]) / force[1, bearing]))

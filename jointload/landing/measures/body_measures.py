"""The whole body: weight, fall, flight, settling, and whether it obeys mechanics."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from jointload.intake.recording import Array
from jointload.intake.rider import G
from jointload.landing.events import BALLISTIC_SECONDS, CLEAR_SECONDS
from jointload.landing.landed import Landing, Result, reasons_of_all, unless
from jointload.landing.measures.force_measures import touched
from jointload.landing.span import Span, nearest, picked
from jointload.numerics.signals import second_derivative, zero_lag_lowpass

FALL_SECONDS = 0.35
"""The fall of the centre of mass is read from at most this last part of the flight [s] (choice: before it a rider may
stand on a ledge)."""


def body_weight_plate(landing: Landing) -> Result:
    weight = landing.weight_on_plates if landing.drawn is None else landing.drawn.weight_on_plates
    where = "the static trial" if landing.has_static else "this recording"
    return weight, unless(weight, f"no quiet stance on the plates in {where}")


def body_weight_rider(landing: Landing) -> Result:
    return landing.weight_of_rider


def vertical_force_total_peak(landing: Landing) -> Result:
    """Largest vertical force [N] of all plates together, known even where two feet share a plate."""
    span, known = landing.fast_span(), np.isfinite(landing.time("last_end"))
    return span.largest(span.cut(landing.filtered.total)), "" if np.all(known) else reasons_of_all(landing)


def touchdown_speed_of(landing: Landing) -> Result:
    return _touchdown_speed(landing)


def drop_height(landing: Landing) -> Result:
    speed, note = _touchdown_speed(landing)
    return speed * np.abs(speed) / (2 * G), note


@lru_cache(maxsize=2)
def _touchdown_speed(landing: Landing) -> tuple[Array, str]:
    if landing.events.kind != "landing":
        return np.full(landing.borne.shape, np.nan), landing.events.no_takeoff
    height = landing.poses.place(landing.body, "hip_mid")[1]
    end = np.fmin.reduce([touched(landing, side) for side in landing.events.sides])
    speed = fall_speed(height, landing.poses.rate, end, landing.time("flight_start"))
    return speed, unless(speed, "fewer than four frames of the pelvis in flight")


def fall_speed(height: Array, rate: float, end: Array, takeoff: Array) -> Array:
    """() or (D,) downward speed [m/s] of the pelvis at touch-down from a ballistic fit to the last part of the flight.

    y(t) = y0 + v t - g t^2 / 2 with g fixed, least squares for y0 and v; NaN with fewer than four known frames.

    height : (F,) or (D, F) [m];  end : touch-down [s];  takeoff : [s], NaN where it was not seen
    """
    begin = np.fmax(end - CLEAR_SECONDS - BALLISTIC_SECONDS, takeoff + CLEAR_SECONDS)
    frames = _frames_between(begin, end - CLEAR_SECONDS, rate)
    cut = frames.cut(height)
    t = (frames.hull.start + np.arange(cut.shape[-1])) / rate - end[..., None]
    slope = _polynomial(frames, t, cut + 0.5 * G * t**2, 1, least=4)
    return -slope


def _frames_between(begin: Array, end: Array, rate: float) -> Span:
    """Frames from one time to another [s], both in it."""
    first = np.maximum(np.ceil(begin * rate), 0).astype(np.intp)
    return Span(first, np.maximum((end * rate).astype(np.intp) + 1, first))


def _polynomial(span: Span, t: Array, y: Array, degree: int, least: int) -> Array:
    """() or (D,) highest coefficient of the least-squares polynomial through the known of the span's samples (..., W),
    NaN with fewer than `least` of them."""
    known = np.isfinite(y) & span.inside(y.shape[-1])
    count = np.count_nonzero(known, axis=-1)
    enough = count >= least
    weight = known / np.maximum(count, 1)[..., None]
    middle = np.sum(weight * t, axis=-1, keepdims=True)
    size = np.sqrt(np.sum(weight * (t - middle) ** 2, axis=-1, keepdims=True))
    size = np.where(enough[..., None], size, 1.0)
    powers = np.stack([((t - middle) / size) ** k for k in range(degree + 1)], axis=-1) * known[..., None]
    normal = np.where(enough[..., None, None], powers.swapaxes(-1, -2) @ powers, np.eye(degree + 1))
    right = powers.swapaxes(-1, -2) @ np.where(known, y, 0.0)[..., None]
    highest = np.linalg.solve(normal, right)[..., degree, 0] / size[..., 0] ** degree
    return np.where(enough, highest, np.nan)


def flight_time(landing: Landing) -> Result:
    start = landing.time("flight_start")
    return landing.time("flight_end") - start, landing.events.no_takeoff


def time_to_stabilisation(landing: Landing) -> Result:
    time = landing.time("stabilised") - landing.time("first_touchdown")
    settles = "the total force does not settle within the recording"
    return time, unless(time, settles if landing.recording.plates else "no plate gives a force")


def pelvis_drop(landing: Landing) -> Result:
    height, lowest = landing.poses.place(landing.body, "hip_mid")[1], landing.time("lowest_pelvis")
    drop = picked(height, landing.touchdown_frames()) - picked(height, nearest(lowest, landing.poses.rate))
    return np.where(np.isfinite(lowest), drop, np.nan), unless(lowest, "the pelvis is not seen")


def fall_acceleration(landing: Landing) -> Result:
    """Downward acceleration [m/s2] of the whole body's centre in flight, least squares parabola; 9.81 when all is
    well."""
    if landing.events.kind != "landing":
        return np.full(landing.borne.shape, np.nan), landing.events.no_takeoff
    rate, end = landing.poses.rate, landing.time("flight_end")
    begin = np.fmax(end - FALL_SECONDS, landing.time("flight_start"))
    frames = _frames_between(begin + 0.03, end - 0.03, rate)
    height = frames.cut(landing.centre.position[1])
    t = (frames.hull.start + np.arange(height.shape[-1])) / rate
    value = -2.0 * _polynomial(frames, t, height, 2, least=6)
    if not np.isfinite(value).any():
        return (
            value,
            "the whole body's centre is not known in flight" if landing.centre.share < 1 else "flight too short",
        )
    return value, f"without {', '.join(landing.centre.missing)}" if landing.centre.missing else ""


def unexplained_force(landing: Landing) -> Result:
    """Root mean square vertical force [N] that mass times acceleration of the whole body leaves unexplained."""
    acceleration = second_derivative(landing.centre.position[1], 1.0 / landing.poses.rate)
    leftover = landing.contact.force[1].sum(axis=0) - landing.borne[..., None] / G * (acceleration + G)
    if landing.settings.smoothing != "fixed":
        leftover = zero_lag_lowpass(leftover, landing.settings.cutoff, landing.poses.rate)
    span = landing.span()
    value = span.root_mean_square(span.cut(leftover))
    return value, unless(value, "needs trunk markers and both feet on plates throughout the landing")

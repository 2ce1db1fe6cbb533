"""The whole body: weight, fall, flight, settling, and whether it obeys mechanics."""

from __future__ import annotations

import numpy as np

from jointload.intake.rider import G
from jointload.landing.events import touchdown_speed
from jointload.landing.landed import Landing, Result, largest, reasons_of_all, whole_window
from jointload.numerics.signals import derivatives, zero_lag_lowpass

FALL_SECONDS = 0.35
"""The fall of the centre of mass is read from at most this last part of the flight [s] (choice: before it a rider may
stand on a ledge)."""


def body_weight_plate(landing: Landing) -> Result:
    note = f"no quiet stance on the plates in {'the static trial' if landing.has_static else 'this recording'}"
    return landing.weight_on_plates, "" if np.isfinite(landing.weight_on_plates) else note


def body_weight_rider(landing: Landing) -> Result:
    return landing.weight_of_rider


def vertical_force_total_peak(landing: Landing) -> Result:
    """Largest vertical force [N] of all plates together, known even where two feet share a plate."""
    rate, end = landing.contact.fast_rate, landing.events.last_end
    if not np.isfinite(end):
        return float("nan"), reasons_of_all(landing)
    return largest(landing.filtered.total[round(landing.events.first_touchdown * rate) : round(end * rate) + 1])


def touchdown_speed_of(landing: Landing) -> Result:
    return touchdown_speed(landing.poses, landing.body, landing.events)


def drop_height(landing: Landing) -> Result:
    speed, note = touchdown_speed(landing.poses, landing.body, landing.events)
    return speed * abs(speed) / (2 * G), note


def flight_time(landing: Landing) -> Result:
    return landing.events.flight_end - landing.events.flight_start, landing.events.no_takeoff


def time_to_stabilisation(landing: Landing) -> Result:
    time = landing.events.stabilised - landing.events.first_touchdown
    if not landing.recording.plates:
        return time, "no plate gives a force"
    return time, "" if np.isfinite(time) else "the total force does not settle within the recording"


def pelvis_drop(landing: Landing) -> Result:
    height = landing.poses.place(landing.body, "hip_mid")[1]
    if not np.isfinite(landing.events.lowest_pelvis):
        return float("nan"), "the pelvis is not seen"
    return float(height[landing.touchdown_frame()] - height[round(landing.events.lowest_pelvis * landing.poses.rate)])


def fall_acceleration(landing: Landing) -> Result:
    """Downward acceleration [m/s2] of the whole body's centre in flight, least squares parabola; 9.81 when all is
    well."""
    if landing.events.kind != "landing":
        return float("nan"), landing.events.no_takeoff
    rate, height, end = landing.poses.rate, landing.centre.position[1], landing.events.flight_end
    begin = end - FALL_SECONDS if not np.isfinite(landing.events.flight_start) else landing.events.flight_start
    begin = max(begin, end - FALL_SECONDS)
    frames = np.arange(max(0, int(np.ceil((begin + 0.03) * rate))), int((end - 0.03) * rate) + 1)
    frames = frames[np.isfinite(height[frames])]
    if frames.size < 6:
        return float(
            "nan"
        ), "the whole body's centre is not known in flight" if landing.centre.share < 1 else "flight too short"
    note = f"without {', '.join(landing.centre.missing)}" if landing.centre.missing else ""
    return float(-2.0 * np.polyfit(frames / rate, height[frames], 2)[0]), note


def unexplained_force(landing: Landing) -> Result:
    """Root mean square vertical force [N] that mass times acceleration of the whole body leaves unexplained."""
    acceleration = derivatives(landing.centre.position[1], 1.0 / landing.poses.rate)[1]
    leftover = landing.contact.force[1].sum(axis=0) - landing.weight / G * (acceleration + G)
    if landing.settings.smoothing != "fixed":
        leftover = zero_lag_lowpass(leftover, landing.settings.cutoff, landing.poses.rate)
    window = leftover[whole_window(landing)]
    if not window.size or not np.isfinite(window).all():
        return float("nan"), "needs trunk markers and both feet on plates throughout the landing"
    return float(np.sqrt(np.mean(window**2)))

"""Where on the sole the load was: pressure and force of each region of the foot, and the path of their centre."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.intake.pressure import REGIONS, SensorLayout
from jointload.intake.recording import SIDES, Array
from jointload.intake.rider import Rider
from jointload.landing.landed import Landing
from jointload.loads.pressed_soles import PressedSole, at_times
from jointload.numerics.signals import over_time

HEEL_END, BALL_START, TOE_START = 0.30, 0.58, 0.79
"""Shares of the foot's length at which the heel ends, the metatarsal heads begin and the toes begin (choice, after
common practice; the layout's own `region` column overrules them)."""
INNER_SHARE = 0.36
"""Share of the width, from the medial edge, of the first metatarsal head and of the hallux (choice)."""
LEAST_PATH_LOAD = 0.05
"""The centre of pressure is blank below this share of body weight (choice)."""
FOOT_LENGTHS = (0.15, 0.36)


@dataclass(frozen=True)
class RegionLoad:
    """One region of one sole over its landing.

    peak_pressure [Pa], peak_force [N], impulse [N s];  share : of the sole's impulse;  peak_time : of the peak pressure
    [s] after touch-down;  sensors, left_out : how many measure, and do not
    """

    side: str
    region: str
    peak_pressure: float
    peak_force: float
    share: float
    impulse: float
    peak_time: float
    sensors: int
    left_out: int
    note: str = ""


@dataclass(frozen=True, eq=False)
class SoleLoad:
    """One sole over its landing: the highest pressure of every sensor (K,) [Pa], regions, and the path of the centre of
    pressure (2, T) [m] from the back of the heel and outwards at times (T,) [s] after touch-down."""

    side: str
    sole: PressedSole
    foot_length: float
    length_from: str
    peaks: Array
    regions: tuple[RegionLoad, ...]
    path: Array
    path_time: Array
    reason: str = ""

    def peak_regions(self, count: int) -> list[str]:
        """Keys of the regions with the highest peak pressures, the highest first."""
        known = [region for region in self.regions if np.isfinite(region.peak_pressure)]
        return [region.region for region in sorted(known, key=lambda r: -r.peak_pressure)[:count]]


def region_of_sensors(layout: SensorLayout, foot_length: float) -> tuple[str, ...]:
    """A key of REGIONS for every sensor: what the layout says, else by its place on the foot."""
    share = layout.along / foot_length
    out = []
    for k, given in enumerate(layout.region):
        across = _across(layout, share, k)
        if given:
            out.append(given)
        elif share[k] < HEEL_END:
            out.append("medial_heel" if layout.outward[k] < _heel_middle(layout, share) else "lateral_heel")
        elif share[k] < BALL_START:
            out.append("midfoot")
        elif share[k] < TOE_START:
            out.append("first_metatarsal_head" if across < INNER_SHARE else "other_metatarsal_heads")
        else:
            out.append("hallux" if across < INNER_SHARE else "lesser_toes")
    return tuple(out)


def _heel_middle(layout: SensorLayout, share: Array) -> float:
    heel = layout.outward[share < HEEL_END]
    return float(0.5 * (heel.min() + heel.max()))


def _across(layout: SensorLayout, share: Array, k: int) -> float:
    """Place of a sensor between the medial (0) and the lateral edge (1) of the sensors beside it."""
    beside = layout.outward[np.abs(share - share[k]) < 0.5 * (TOE_START - BALL_START)]
    width = float(np.ptp(beside))
    return float((layout.outward[k] - beside.min()) / width) if width > 0 else 0.5


def foot_length_of(rider: Rider, layout: SensorLayout) -> tuple[float, str]:
    """[m] from rider.toml (measurements.foot_length_m), else from the layout itself, and which."""
    low, high = FOOT_LENGTHS
    given = rider.measurements.get("foot_length_m", 0.0)
    return (given, "rider.toml") if low <= given <= high else (layout.length, "the sensor layout")


def sole_loads(landing: Landing) -> tuple[SoleLoad, ...]:
    """Every matched insole over the landing of its foot, right before left; none without insoles."""
    if landing.pressed is None:
        return ()
    return tuple(_sole_load(landing, landing.pressed.soles[side]) for side in SIDES if side in landing.pressed.soles)


def _sole_load(landing: Landing, sole: PressedSole) -> SoleLoad:
    side, layout = sole.recording.side, sole.recording.layout
    length, source = foot_length_of(landing.body.rider, layout)
    events = landing.events.sides.get(side)
    if events is None or not np.isfinite(events.landing_end):
        reason = "this foot's landing is not seen" if events is None else events.reason
        nothing = np.full((2, 0), np.nan)
        return SoleLoad(
            side, sole, length, source, np.full(len(layout.sensors), np.nan), (), nothing, nothing[0], reason
        )
    inside = (sole.time >= events.touchdown) & (sole.time <= events.landing_end)
    time, pressure = sole.time[inside] - events.touchdown, sole.pressure[:, inside]
    regions = region_of_sensors(layout, length)
    force = pressure * layout.area[:, None]
    whole = float(over_time(np.nansum(force, axis=0), time))
    rows = tuple(
        _region(side, name, regions, sole, time, pressure, force, whole) for name in REGIONS if name in regions
    )
    peaks = np.array([np.nanmax(row) if np.isfinite(row).any() else np.nan for row in pressure])
    return SoleLoad(side, sole, length, source, peaks, rows, pressure_centre(layout, pressure, landing.weight), time)


def _region(
    side: str,
    name: str,
    regions: tuple[str, ...],
    sole: PressedSole,
    time: Array,
    pressure: Array,
    force: Array,
    whole: float,
) -> RegionLoad:
    mine = np.array([region == name for region in regions])
    measures = mine & np.isfinite(pressure).any(axis=1)
    left_out = int(mine.sum() - measures.sum())
    nan = float("nan")
    if not measures.any() or time.size < 2:
        note = "no sensor of it measures" if time.size > 1 else "no pressure during the landing"
        return RegionLoad(side, name, nan, nan, nan, nan, nan, 0, left_out, note)
    highest = np.nanmax(np.nan_to_num(pressure[measures]), axis=0)
    together = np.nansum(force[measures], axis=0)
    impulse = float(over_time(together, time))
    note = f"without {left_out} of its {int(mine.sum())} sensors" if left_out else ""
    return RegionLoad(
        side,
        name,
        float(highest.max()),
        float(together.max()),
        impulse / whole if whole > 0 else nan,
        impulse,
        float(time[np.argmax(highest)]),
        int(measures.sum()),
        left_out,
        note,
    )


def pressure_centre(layout: SensorLayout, pressure: Array, weight: float) -> Array:
    """(2, N) [m] from the back of the heel and outwards, NaN where the sole bears less than LEAST_PATH_LOAD of a body
    weight [N]."""
    force = np.nan_to_num(pressure) * layout.area[:, None]
    total = force.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        place = np.stack((layout.along @ force, layout.outward @ force)) / total
    return np.where(total > LEAST_PATH_LOAD * weight, place, np.nan)


def pressure_at(sole: PressedSole, time: float) -> Array:
    """(K,) [Pa] of every sensor at a time [s] of the recording, scaled to the plates; NaN for sensors left out.

    The sensors' places and areas stand in sole.recording.layout: along from the back of the heel, outward from the
    middle line, on either foot.
    """
    return at_times(sole.pressure, sole.time, np.array([time]))[:, 0]


def board_pattern(soles: tuple[SoleLoad, ...], back: str) -> bool:
    """Whether the back foot peaks at the medial heel and the first metatarsal head and the front foot at the heel, as
    common practice has it of landings on a board; back : the back foot, 'right' or 'left'."""
    by_side = {sole.side: sole for sole in soles if sole.regions}
    if back not in by_side or len(by_side) < len(SIDES):
        return False
    front = by_side["left" if back == "right" else "right"]
    behind = set(by_side[back].peak_regions(2)) == {"medial_heel", "first_metatarsal_head"}
    return behind and front.peak_regions(1)[0] in ("medial_heel", "lateral_heel")

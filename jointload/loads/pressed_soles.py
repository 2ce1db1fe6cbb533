"""Pressure insoles brought onto the plates' clock and scale.

The insoles' clock is found by the cross-correlation of total loads around touch-down, their scale from the vertical
impulse of the landing. Their own total is never used for a force.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.intake.pressure import PressureRecording
from jointload.intake.recording import SIDES, Array, Finding
from jointload.loads.contact import Contact, loaded_spans
from jointload.numerics.signals import zero_lag_lowpass

BEFORE, AFTER, FROM_END = 0.2, 0.4, 0.05
"""Time [s] before and after touch-down that is compared, and that it ends before the plates do (choice)."""
SMOOTHING = 40.0
"""Low-pass [Hz] of both loads before they are compared, or 0.4 of the insoles' rate where that is less (choice)."""
ALIKE, RIVAL = 0.9, 0.05
"""Correlation that plates and insoles reach at least, and by which the next best place stays behind (choice)."""
APART = 0.1
"""Places further than this [s] from each other are different ones."""
SUREST = 0.010
"""Uncertainty of the lag [s] beyond which the insoles are not used (choice)."""
SCALES = (0.5, 3.0)
"""Plausible plates' force over the insoles': published insoles are off by 30 to 50 % (n = 39; PMC6453056), one with
fewer sensors by more (choice)."""
GAP = 0.03
"""The insoles are not read across longer gaps [s] (choice)."""
LEAST_SHARE_LOAD = 0.1
"""The share is read while the insoles feel this much of their largest load (choice)."""


@dataclass(frozen=True, eq=False)
class PressedSole:
    """One insole on the plates' clock: time (N,) [s] from the recording's first frame, pressure (K, N) [Pa] scaled to
    the plates by `factor`."""

    recording: PressureRecording
    time: Array
    pressure: Array
    factor: float


@dataclass(frozen=True, eq=False)
class PressedSoles:
    """Both insoles, or one; soles is empty where they could not be matched.

    lag : [s] of the insoles' clock behind the plates';  lag_spread : its 95 % uncertainty [s]
    share : (F,) the right foot's share of the insoles' load at the marker frames, NaN where it is not known
    """

    soles: dict[str, PressedSole]
    lag: float
    lag_spread: float
    share: Array
    findings: tuple[Finding, ...]


def match_insoles(
    insoles: tuple[PressureRecording, ...], contact: Contact, frame_time: Array, cutoff: float | None
) -> PressedSoles | None:
    """Insoles on the plates' clock and scale, None without insoles.

    contact : of the feet, the board taken out;  frame_time : (F,) [s] of the marker frames;  cutoff : low-pass [Hz] of
    the wrenches that the share is for. Both tables are taken to run on one clock.
    """
    if not insoles:
        return None
    read = tuple(finding for insole in insoles for finding in insole.findings)
    names = " and ".join(insole.name for insole in insoles)
    unknown = np.full(frame_time.size, np.nan)
    touchdown = _touchdown(contact)
    if touchdown is None:
        evidence = "no touch-down on the plates to find the insoles' clock by"
        refusal = Finding("pressure_clock", "refuse", names, evidence, "the insoles are not used")
        return PressedSoles({}, float("nan"), float("nan"), unknown, (*read, refusal))
    clock = _Clock.between(insoles, contact, touchdown)
    if clock.refusal:
        evidence = f"{clock.refusal}: the insoles are not used"
        advice = "record both over the same landing, or trim the table to it"
        refusal = Finding("pressure_clock", "refuse", names, evidence, advice)
        return PressedSoles({}, clock.lag, clock.spread, unknown, (*read, refusal))
    evidence = f"{1000 * clock.lag:+.0f} ms to the plates, known to {1000 * clock.spread:.1f} ms"
    evidence += f", correlation {clock.alike:.3f}"
    said = [*read, Finding("pressure_clock", "pass", names, evidence, "")]
    soles: dict[str, PressedSole] = {}
    for insole, (factor, source) in zip(insoles, _factors(insoles, contact, touchdown, clock.lag), strict=True):
        low, high = SCALES
        evidence = f"times {factor:.2f} to meet {source} over the landing"
        if not low <= factor <= high:
            advice = f"not used: is its unit {insole.unit}, and are the layout's areas in mm2?"
            said.append(Finding("pressure_scale", "refuse", insole.name, evidence, advice))
            continue
        said.append(Finding("pressure_scale", "pass", insole.name, evidence, "its own total is not used as a force"))
        soles[insole.side] = PressedSole(insole, insole.time + clock.lag, factor * insole.pressure, factor)
    share = _share(soles, frame_time, cutoff) if len(soles) == len(SIDES) else unknown
    return PressedSoles(soles, clock.lag, clock.spread, share, tuple(said))


def _touchdown(contact: Contact) -> float | None:
    """Time [s] at which load follows the longest stretch without any, None where the plates are loaded throughout."""
    spans = loaded_spans(contact.total, contact.fast_rate, 0.05 * float(np.nanmax(contact.total, initial=0.0)) + 10.0)
    if not spans:
        return None
    ends = [0, *(stop for _, stop in spans)]
    before = [start - end for (start, _), end in zip(spans, ends, strict=False)]
    longest = int(np.argmax(before))
    return spans[longest][0] / contact.fast_rate if before[longest] > 0 else None


def at_times(series: Array, time: Array, wanted: Array) -> Array:
    """(..., W) of a series (..., N) at wanted times [s] by straight lines, NaN outside and across gaps of GAP."""
    after = np.clip(np.searchsorted(time, wanted), 1, time.size - 1)
    width = time[after] - time[after - 1]
    weight = (wanted - time[after - 1]) / width
    out = (1.0 - weight) * series[..., after - 1] + weight * series[..., after]
    known = (wanted >= time[0]) & (wanted <= time[-1]) & (width < GAP)
    return np.where(known, out, np.nan)


@dataclass(frozen=True)
class _Clock:
    """lag : [s] to add to the insoles' time;  spread : its 95 % uncertainty [s];  alike : correlation there."""

    lag: float
    spread: float
    alike: float
    refusal: str = ""

    @classmethod
    def between(cls, insoles: tuple[PressureRecording, ...], contact: Contact, touchdown: float) -> _Clock:
        rate = contact.fast_rate
        cutoff = min(SMOOTHING, 0.4 * min(insole.rate for insole in insoles), 0.4 * rate)
        start = max(insole.time[0] for insole in insoles)
        end = min(insole.time[-1] for insole in insoles)
        grid = np.arange(start, end, 1.0 / rate)
        first = max(0, round((touchdown - BEFORE) * rate))
        last = min(round((touchdown + AFTER) * rate), contact.total.size - round(FROM_END * rate))
        wanted = zero_lag_lowpass(contact.total, cutoff, rate)[first:last]
        if grid.size < wanted.size:
            found = f"{end - start:.2f} s of pressure against {wanted.size / rate:.2f} s of landing"
            return cls(float("nan"), float("nan"), float("nan"), found)
        load = np.sum([np.nan_to_num(at_times(insole.force, insole.time, grid)) for insole in insoles], axis=0)
        load = zero_lag_lowpass(load, cutoff, rate)
        alike = _correlations(load, wanted)
        best = int(np.argmax(alike))
        place = best + _vertex(alike[max(best - 1, 0) : best + 2])
        lag = first / rate - (start + place / rate)
        far = np.abs(np.arange(alike.size) - best) > APART * rate
        rival = float(np.max(alike[far], initial=-1.0))
        spread = _spread(load[best : best + wanted.size], wanted, rate, cutoff)
        spread = float(np.hypot(spread, 0.25 / min(insole.rate for insole in insoles)))
        refusal = _refusal(float(alike[best]), rival, spread)
        if not refusal and best in (0, alike.size - 1):
            refusal = "the table begins or ends within the landing"
        return cls(float(lag), spread, float(alike[best]), refusal)


def _refusal(alike: float, rival: float, spread: float) -> str:
    if alike < ALIKE:
        return f"plates and insoles are alike by {alike:.2f} at best, {ALIKE:g} is needed"
    if rival > alike - RIVAL:
        return f"two places fit the plates' load almost alike, {alike:.3f} and {rival:.3f}"
    if spread > SUREST:
        return f"their clock is known to {1000 * spread:.0f} ms only"
    return ""


def _correlations(load: Array, wanted: Array) -> Array:
    """Pearson correlation of `wanted` (W,) with every stretch of `load` (N,) of its length: (N - W + 1,)."""
    size = wanted.size
    away = wanted - wanted.mean()
    shared = np.correlate(load, away, mode="valid")
    sums = np.cumsum(np.concatenate(([0.0], load)))
    squares = np.cumsum(np.concatenate(([0.0], load**2)))
    spread = squares[size:] - squares[:-size] - (sums[size:] - sums[:-size]) ** 2 / size
    floor = 1e-9 * float(spread.max()) + 1e-12
    scale = np.sqrt(np.maximum(spread, floor)) * float(np.linalg.norm(away))
    return np.asarray(shared / scale)


def _vertex(three: Array) -> float:
    """Place of the top of a parabola through three neighbours, from the middle one."""
    if three.size < 3:
        return 0.0
    bend = three[0] - 2.0 * three[1] + three[2]
    return float(0.5 * (three[0] - three[2]) / bend) if bend < 0 else 0.0


def _spread(load: Array, wanted: Array, rate: float, cutoff: float) -> float:
    """95 % uncertainty [s] of the lag: what is left between the curves over how steep they are, the left-over taken to
    hold one value per half period of the cut-off."""
    scale = float(load @ wanted) / max(float(load @ load), 1e-12)
    left = wanted - scale * load
    steepness = float(np.sum((np.diff(wanted) * rate) ** 2))
    together = max(rate / (2.0 * cutoff), 1.0)
    return float(1.96 * np.sqrt(np.mean((left - left.mean()) ** 2) * together / max(steepness, 1e-12)))


def _factors(
    insoles: tuple[PressureRecording, ...], contact: Contact, touchdown: float, lag: float
) -> list[tuple[float, str]]:
    """For every insole the plates' vertical impulse over its own, and whose force that was: the foot's own where it is
    known throughout, else both feet's together."""
    rate = contact.fast_rate
    samples: NDArray[np.intp] = np.arange(
        round(touchdown * rate), min(round((touchdown + AFTER) * rate), contact.total.size)
    )
    felt = [at_times(insole.force, insole.time + lag, samples / rate) for insole in insoles]
    own = [contact.fast_force[1, SIDES.index(insole.side), samples] for insole in insoles]
    if all(np.isfinite(force).all() and force.sum() > 0.0 for force in own):
        return [(_ratio(force, load), "the foot's own plate") for force, load in zip(own, felt, strict=True)]
    if len(insoles) < len(SIDES):
        return [(float("nan"), "a plate that bears two feet, with one insole")]
    together = _ratio(contact.total[samples], np.sum(felt, axis=0))
    return [(together, "the plates with both feet together")] * len(insoles)


def _ratio(force: Array, load: Array) -> float:
    known = np.isfinite(force) & np.isfinite(load)
    total = float(np.sum(load[known]))
    return float(np.sum(force[known])) / total if total > 0 else float("nan")


def _share(soles: dict[str, PressedSole], frame_time: Array, cutoff: float | None) -> Array:
    """(F,) right foot's share of the insoles' own load, as they say it, smoothed like the wrench it divides."""
    right, left = (_smoothed(soles[side], frame_time, cutoff) for side in SIDES)
    total = right + left
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(total > LEAST_SHARE_LOAD * np.nanmax(total, initial=0.0), right / total, np.nan)


def _smoothed(sole: PressedSole, frame_time: Array, cutoff: float | None) -> Array:
    rate = sole.recording.rate
    highest = None if cutoff is None or cutoff >= 0.45 * rate else cutoff
    return at_times(zero_lag_lowpass(sole.recording.force, highest, rate), sole.time, frame_time)

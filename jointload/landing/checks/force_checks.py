"""Checks of plates, pressure and force against the motion: do forces and body belong together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.body.sole import REST_HEIGHT, Sole, rests, sole_of
from jointload.intake.plates.behaviour import flat_tops
from jointload.intake.plates.plates import centre_of_pressure
from jointload.intake.recording import SIDES, Array, Finding, Plate
from jointload.intake.rider import G
from jointload.landing.checks.judgement import (
    Judgement,
    always,
    explained,
    filter_reach,
    graded,
    no_moments,
    passed,
)
from jointload.landing.landed import Landing, Result
from jointload.landing.measures.body_measures import fall_acceleration, unexplained_force
from jointload.landing.measures.force_measures import BEARING_SHARE
from jointload.loads.contact import Lost, outside
from jointload.numerics.signals import bridge_short_gaps, runs, second_derivative, zero_lag_lowpass

STEP_WARN, STEP_REFUSE = 0.005, 0.012
"""[s] by which markers and force may be out of step (choice: on the sample's stiff landing 4 ms shift the hip's moment
peaks by up to a fifth, 12 ms by up to a half; the lag itself is found to a millisecond)."""
PELVIS_SLACK = 0.012
"""[s] the pelvis alone follows the force: by up to 8 ms in the landings, walking and running at hand."""
STEP_SEARCH, STEP_BEFORE, STEP_AFTER = 0.06, 0.1, 0.3
"""[s] lags that are tried, and the time around touch-down that is compared (choice)."""
STEP_ALIKE = 0.8
LOST_FRAMES = 2
"""So many frames of an unknown force are bridged where it is compared with the motion."""
COMPARED = 20.0
"""Low-pass [Hz] under which a balanced motion and its force are compared in time (choice)."""
"""Correlation below which force and motion are too unlike to be brought into step (choice)."""
FALL_WARN, FALL_REFUSE = 0.05, 0.20
"""Share by which the fall may differ from gravity (choice: a wrong frame rate or scale; missing body parts and skin
motion stay below 1 % on the recordings at hand)."""
FALL_SECONDS = 0.1
"""[s] a fall seen for less is not judged: half a millimetre in its middle makes 4 % of gravity there."""
RESIDUAL_WARN, RESIDUAL_REFUSE = 0.10, 0.30
"""Root mean square force that the body's motion does not explain, as a share of the peak force on both feet (choice:
2 to 4 % on synthetic landings, 7 % on the published jump)."""
IMPLAUSIBLE_PEAK = 20.0
"""[body weights] no landing on one foot without injury is known to reach this (choice)."""
OFF_PLATE, OFF_SHARE = 0.015, 0.2
"""[m] a sole marker sits this far outside the sole at most; share of the loaded time in which it is further off the
plate that matters (choice)."""
PRESSURE_OFF = 0.04
"""[m] from the line between heel and toe: half the width of a shoe (choice)."""
PRESSURE_WARN, PRESSURE_REFUSE = 0.25, 0.5
"""Share of the loaded time in which the pressure is further off (choice; up to 0.17 in the published recordings)."""
SILENT_SECONDS, SILENT_MARGIN = 0.1, 0.02
"""A foot that rests this long [s], this far [m] inside an unloaded plate, stands on a plate that does not measure
(choice)."""
FILTER_WARN = 0.25
"""Cut-off as a share of the marker rate above which the second derivative is mostly noise (choice; half the rate is
the most that a sampled signal holds)."""
SOLE = ("calcaneus", "metatarsal1", "metatarsal5", "forefoot", "toe_tip")


def check_saturated(landing: Landing) -> Judgement:
    """Stops moments while a plate's force stands at its extreme; the recording's own check has told of it. A plate that
    is no foot's own, as it bears two or a board, stops both."""
    recording, contact, reach = landing.recording, landing.contact, filter_reach(landing)
    stopped, step = [], recording.samples_per_frame
    for top in flat_tops(recording):
        measured = recording.plates[top.plate].force[1, top.start : top.stop]
        own = [
            side
            for k, side in enumerate(SIDES)
            if np.array_equal(contact.fast_force[1, k, top.start : top.stop], measured)
        ]
        for side in own or SIDES:
            start, stop = max(0, top.start // step - reach), -(-top.stop // step) + reach
            stopped.append(Lost(side, start, stop, "the plate is saturated"))
    return Judgement((), tuple(stopped))


@dataclass(frozen=True, eq=False)
class _Sole:
    """One foot in its landing: places (3, P, W) [m] of the sole's landmarks, heights (P, W) [m] over their standing
    heights, force (3, W) [N], moment (3, W) [N m], and bearing (W,) whether it carries BEARING_SHARE of body weight."""

    places: Array
    heights: Array
    force: Array
    moment: Array
    bearing: NDArray[np.bool_]

    @classmethod
    def of(cls, landing: Landing, side: str) -> _Sole | None:
        names = [f"{side}_{name}" for name in SOLE if f"{side}_{name}" in landing.body.points]
        if side not in landing.events.sides or f"{side}_calcaneus" not in names or f"{side}_toe_tip" not in names:
            return None
        window, k = landing.window(side), SIDES.index(side)
        places = np.stack([landing.poses.place(landing.body, name)[:, window] for name in names], axis=1)
        standing = np.array([landing.body.standing_points[name][1] for name in names])
        force, moment = landing.contact.force[:, k, window], landing.contact.moment[:, k, window]
        bearing = np.isfinite(places).all(axis=(0, 1)) & (np.nan_to_num(force[1]) > BEARING_SHARE * landing.weight)
        return cls(places, places[1] - standing[:, None], force, moment, bearing)


def check_on_plate(landing: Landing) -> Judgement:
    """Whether the sole that presses lies on the plates."""
    soles = {side: sole for side in SIDES if (sole := _Sole.of(landing, side)) is not None and sole.bearing.any()}
    findings = []
    for side, sole in soles.items():
        off = np.min([outside(plate.corners, sole.places) for plate in landing.recording.plates], axis=0)
        off = np.where(sole.heights < REST_HEIGHT, off, 0.0)[:, sole.bearing].max(axis=0)
        share = float(np.mean(off > OFF_PLATE))
        if share > OFF_SHARE:
            text = f"the sole reaches {1000 * off.max():.0f} mm over the plate's edge, "
            text += f"further than {1000 * OFF_PLATE:.0f} mm in {100 * share:.0f} % of the loaded time"
            advice = f"force beside the plate is not measured: moments of the {side} side may be too small"
            findings.append(Finding("foot_off_plate", "warn", f"{side} foot", text, advice))
    if findings:
        return Judgement(tuple(findings))
    return passed("foot_off_plate", landing.recording.name, f"{len(soles)} feet press on plates with the whole sole")


def check_pressure(landing: Landing) -> Judgement:
    """Whether the centre of pressure lies under the foot that presses.

    It does not where a plate is misplaced in the laboratory: the commonest cause of absurd moments. A plate that is
    misplaced along the foot, by less than the pressure's way to heel or toe, is not seen.
    """
    findings: list[Finding] = []
    stopped: list[Lost] = []
    said: list[str] = []
    for side in SIDES:
        sole = _Sole.of(landing, side)
        if sole is None or not sole.bearing.any():
            continue
        off, way = _beside(sole, landing)
        share = float(np.mean(off > PRESSURE_OFF))
        typical = 1000 * float(np.median(off))
        severity = graded(share, PRESSURE_WARN, PRESSURE_REFUSE)
        said.append(f"{side} {typical:.0f} mm")
        if severity == "pass":
            continue
        text = f"{typical:.0f} mm from the line between heel and toe, {_direction(way, side, landing)}; "
        text += f"beyond {1000 * PRESSURE_OFF:.0f} mm in {100 * share:.0f} % of the loaded time"
        harm = no_moments(side) if severity == "refuse" else f"moments of the {side} side are less certain"
        advice = f"a plate is misplaced: compare its CORNERS and ORIGIN with the laboratory; {harm}"
        findings.append(Finding("pressure_off_foot", severity, f"{side} foot", text, advice))
        if severity == "refuse":
            stopped += always(landing, (side,), f"the centre of pressure lies {typical:.0f} mm beside the foot")
    if findings:
        return Judgement(tuple(findings), tuple(stopped))
    text = f"typically {' and '.join(said)} from the line between heel and toe" if said else "no foot to judge"
    return passed("pressure_off_foot", landing.recording.name, text)


def _beside(sole: _Sole, landing: Landing) -> tuple[Array, Array]:
    """Distance (W,) [m] of the centre of pressure from the line between heel and toe while the foot bears load, and
    the typical way (2,) [m] from the line to it along lab X and Z."""
    floor, least = landing.contact.floor, 0.5 * BEARING_SHARE * landing.weight
    pressed = centre_of_pressure(sole.force, sole.moment, floor, least)[[0, 2]][:, sole.bearing]
    heel, toe = sole.places[[0, 2], 0][:, sole.bearing], sole.places[[0, 2], -1][:, sole.bearing]
    along = toe - heel
    share = np.clip(np.sum((pressed - heel) * along, axis=0) / np.sum(along**2, axis=0), 0.0, 1.0)
    way = pressed - heel - share * along
    return np.linalg.norm(way, axis=0), np.median(way, axis=1)


def _direction(way: Array, side: str, landing: Landing) -> str:
    """A way (2,) along lab X and Z in words of the laboratory."""
    parts = [(way[0], "forward", "backward"), (way[1], "to the right", "to the left")]
    told = [f"{1000 * abs(v):.0f} mm {plus if v > 0 else minus}" for v, plus, minus in parts if abs(v) > 0.005]
    return " and ".join(told or ["to no one side"]) + " in the laboratory"


def check_silent(landing: Landing) -> Judgement:
    """Plates that stay unloaded while a foot rests on them."""
    findings: list[Finding] = []
    stopped: list[Lost] = []
    soles = {side: sole_of(landing.poses, landing.body, side) for side in SIDES}
    for plate in landing.recording.plates:
        for side, sole in soles.items():
            seconds = _rest_unloaded(landing, plate, sole)
            if seconds < SILENT_SECONDS:
                continue
            text = f"below {landing.settings.contact_threshold:g} N for {seconds:.2f} s "
            text += f"while the {side} foot rests on it"
            advice = f"the plate or its channels do not measure: check its connection; {no_moments(side)}"
            findings.append(Finding("plate_silent", "refuse", f"plate {plate.number}", text, advice))
            stopped += always(landing, (side,), f"plate {plate.number} does not measure")
    if findings:
        return Judgement(tuple(findings), tuple(stopped), True)
    return passed("plate_silent", landing.recording.name, "no foot rests on a plate that stays unloaded")


def _rest_unloaded(landing: Landing, plate: Plate, sole: Sole) -> float:
    """Longest time [s] in which a foot rests well inside a plate that bears nothing."""
    rate, step = landing.poses.rate, landing.recording.samples_per_frame
    frames = min(sole.points.shape[2], plate.force.shape[1] // step)
    with np.errstate(invalid="ignore"):
        still = rests(sole.heights.max(axis=0), sole.speeds.max(axis=0))
        still &= (outside(plate.corners, sole.points) < -SILENT_MARGIN).all(axis=0)
        load = plate.force[1, : frames * step].reshape(frames, step).max(axis=1)
        unloaded = load < landing.settings.contact_threshold
    return max((stop - start for start, stop in runs(still[:frames] & unloaded)), default=0) / rate


def check_peak(landing: Landing) -> Judgement:
    """Whether a force is more than a body bears."""
    findings, said, sides = [], [], []
    for k, side in enumerate(SIDES):
        vertical = landing.contact.fast_force[1, k]
        peak = float(np.nanmax(vertical)) / landing.weight if np.isfinite(vertical).any() else 0.0
        said.append(f"{peak:.1f}")
        if peak > IMPLAUSIBLE_PEAK:
            text = f"vertical force of {peak:.0f} body weights"
            advice = f"check the plates' scale and units, and the rider's mass; {no_moments(side)}"
            findings.append(Finding("implausible_peak", "refuse", f"{side} foot", text, advice))
            sides.append(side)
    if findings:
        reason = f"the force exceeds {IMPLAUSIBLE_PEAK:g} body weights"
        return Judgement(tuple(findings), always(landing, tuple(sides), reason), True)
    return passed("implausible_peak", landing.recording.name, f"vertical force up to {' and '.join(said)} body weights")


def check_step(landing: Landing, cause: str = "") -> Judgement:
    """Whether markers and force tell of the same instant; a check that has found the force wrong is named as the cause.

    The vertical force in body weights and the vertical acceleration of the body in g, plus one, are the same curve; the
    lag that makes them most alike is the time between the two clocks. Without a whole body the pelvis stands for it.
    """
    whole = bool(np.isfinite(landing.centre.position).any())
    slack = 0.0 if whole else PELVIS_SLACK
    lag, alike = force_lag(landing)
    if not alike > STEP_ALIKE:
        return passed("out_of_step", landing.recording.name, "force and motion cannot be compared in this trial")
    severity = graded(abs(lag) - slack, STEP_WARN, STEP_REFUSE)
    text = f"the force is {1000 * abs(lag):.0f} ms {'behind' if lag > 0 else 'ahead of'} the motion of "
    text += "the whole body" if whole else f"the pelvis, which follows by up to {1000 * slack:.0f} ms"
    if severity == "pass" or cause:
        return explained("out_of_step", landing.recording.name, text, cause)
    advice = "check the synchronisation and the rates of cameras and plates; "
    advice += no_moments(*SIDES) if severity == "refuse" else "moments, powers and touch-down angles shift with it"
    stopped = always(landing, SIDES, "markers and force are out of step") if severity == "refuse" else ()
    return Judgement((Finding("out_of_step", severity, landing.recording.name, text, advice),), stopped, True)


def force_lag(landing: Landing) -> tuple[float, float]:
    """Time [s] by which the ground force comes after the body's motion, and their correlation at that lag; NaN when
    there is too little to compare, or when a landing foot's force is not measured throughout."""
    rate, height = landing.poses.rate, landing.centre_height
    demanded = 1.0 + second_derivative(height, 1.0 / rate) / G
    most, start = round(STEP_SEARCH * rate), landing.touchdown_frame()
    first, last = (
        max(most, start - round(STEP_BEFORE * rate)),
        min(height.size - most, start + round(STEP_AFTER * rate)),
    )
    if last - first < 4 * most // 3:
        return float("nan"), float("nan")
    force = landing.contact.force[1].sum(axis=0)
    if landing.settings.smoothing == "balanced":
        force, _ = bridge_short_gaps(np.tile(force, (3, 1, 1)), LOST_FRAMES)
        demanded, force = (zero_lag_lowpass(each, COMPARED, rate) for each in (demanded, force[0, 0]))
    measured = force[first:last] / landing.weight
    shifted = np.lib.stride_tricks.sliding_window_view(demanded[first - most : last + most], last - first)[::-1]
    known = np.isfinite(measured) & np.isfinite(shifted).all(axis=0)
    if known.sum() < most or (landing.events.kind == "landing" and not known.all()):
        return float("nan"), float("nan")
    alike = _correlations(shifted[:, known], measured[known])
    best = int(np.argmax(alike))
    if best in (0, alike.size - 1):
        return float("nan"), float("nan")
    before, at, after = alike[best - 1 : best + 2]
    return (best - most + 0.5 * (before - after) / (before - 2 * at + after)) / rate, float(at)


def _correlations(rows: Array, series: Array) -> Array:
    """(L,) correlation of every row of (L, N) with a series (N,)."""
    rows, series = rows - rows.mean(axis=1, keepdims=True), series - series.mean()
    size = np.linalg.norm(rows, axis=1) * np.linalg.norm(series)
    return rows @ series / np.where(size > 0, size, np.inf)


def check_fall(landing: Landing) -> Judgement:
    """Whether the body falls as everything falls."""
    events = landing.events
    fall, note = _result(fall_acceleration(landing))
    begin = events.flight_start if np.isfinite(events.flight_start) else events.flight_end - 0.2
    if not np.isfinite(fall) or events.flight_end - begin - 0.06 < FALL_SECONDS:
        return passed("free_fall", landing.recording.name, note or "the flight is too short to tell")
    text = f"the body falls with {fall:.2f} m/s2 instead of {G:.2f} ({100 * (fall / G - 1):+.1f} %)"
    severity = graded(abs(fall / G - 1.0), FALL_WARN, FALL_REFUSE)
    if severity == "pass":
        return passed("free_fall", landing.recording.name, text)
    advice = "check the marker rate, the scale of the markers and the axes: "
    advice += no_moments(*SIDES) if severity == "refuse" else "speeds, inertial forces and moments shift with it"
    stopped = always(landing, SIDES, "the body does not fall freely in flight") if severity == "refuse" else ()
    return Judgement((Finding("free_fall", severity, landing.recording.name, text, advice),), stopped)


def check_unexplained(landing: Landing, cause: str = "") -> Judgement:
    """Whether mass times acceleration of the whole body gives the force on the ground; a check that has found why not
    is named as the cause."""
    check, name = "unexplained_force", landing.recording.name
    left, note = _result(unexplained_force(landing))
    windows = [landing.window(side) for side in landing.events.sides]
    lost = [g for g in landing.contact.lost if any(g.start < w.stop and g.stop > w.start for w in windows)]
    if not np.isfinite(left) or lost:
        return passed(check, name, note or f"not known: {lost[0].reason}")
    peak = float(np.nanmax(landing.contact.force[1].sum(axis=0)))
    share = left / peak
    text = (
        f"{left:.0f} N of the vertical force ({100 * share:.0f} % of its peak) are not explained by the body's motion"
    )
    severity = graded(share, RESIDUAL_WARN, RESIDUAL_REFUSE)
    if severity == "pass" or cause:
        return explained(check, name, text, cause)
    advice = "check the plates' scale, the rider's mass, and that both feet are on plates; "
    advice += no_moments(*SIDES) if severity == "refuse" else "moments at hip and L5/S1 are less certain"
    stopped = always(landing, SIDES, "force and motion do not belong together") if severity == "refuse" else ()
    return Judgement((Finding(check, severity, name, text, advice),), stopped)


def _result(found: Result) -> tuple[float, str]:
    """A measure's value and its note."""
    value, note = found if isinstance(found, tuple) else (found, "")
    return float(value), note


def check_filter(landing: Landing) -> Judgement:
    """Whether the cut-off suits the marker rate; markers and forces share it by construction."""
    cutoff, rate = landing.settings.cutoff, landing.poses.rate
    if landing.settings.smoothing == "balanced":
        return passed("filter", "settings", "markers smoothed by their own noise and the plates' force")
    if cutoff is None:
        return passed("filter", "settings", "no filter on markers and forces")
    share = cutoff / rate
    text = (
        f"{cutoff:g} Hz on markers and forces alike, {100 * share:.0f} % of the {rate:g} Hz at which markers are seen"
    )
    if share <= FILTER_WARN:
        return passed("filter", "settings", text)
    advice = "choose a lower cut-off: accelerations, and the moments they make, are mostly noise"
    return Judgement((Finding("filter", "warn", "settings", text, advice),))

"""Whether a recording is of somebody who stands still, and what such a recording need not have."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from jointload.intake.labels import CLUSTER_HELPERS, LabelMap
from jointload.intake.recording import SIDES, Array, Finding, Plate, Recording
from jointload.numerics.signals import known_median, runs

STILL = 0.03
"""[m] a marker of somebody who stands stays this near to its middle place (choice: sway is a third of it)."""
STILL_SHARE = 0.9
"""Share of the markers that must stay so near (choice: an arm may move)."""
LEAST_SECONDS, LEAST_MARKERS = 0.2, 4
FOOT_HEIGHT = 0.15
"""[m] over a plate below which a marker sits on a foot (choice)."""
STEADY = 0.1
"""Share by which the whole vertical force may vary while somebody stands (choice)."""
LOADED = 50.0
"""[N] whole vertical force below which nobody stands on the plates."""


def stands_still(recording: Recording) -> bool:
    """Whether the markers hardly move and the plates, where they are loaded at all, are loaded throughout alike."""
    if recording.frames / recording.point_rate < LEAST_SECONDS:
        return False
    if not _markers_still(recording):
        return False
    if not recording.plates:
        return True
    total = np.sum([plate.force[1] for plate in recording.plates], axis=0)
    step = recording.samples_per_frame
    frames = total[: total.size // step * step].reshape(-1, step).mean(axis=1)
    middle = float(np.median(frames))
    return bool(np.abs(frames).max() < LOADED or np.abs(frames - middle).max() < STEADY * middle)


@lru_cache(maxsize=4)
def _markers_still(recording: Recording) -> bool:
    """Whether enough markers are seen and hardly any of them moves; remembered, because several checks ask."""
    seen = np.isfinite(recording.markers[0]).any(axis=1)
    if seen.sum() < LEAST_MARKERS:
        return False
    return _hardly_move(recording.markers[:, seen])


def _hardly_move(markers: Array) -> bool:
    """Whether nearly all of some markers (3, M, F) [m] stay where they are. What a marker's extent leaves open is told
    by its middle place, which takes longer to find."""
    extent = np.nanmax(markers, axis=2) - np.nanmin(markers, axis=2)
    stays = np.linalg.norm(extent, axis=0) < STILL
    open_ = ~stays & (extent.max(axis=0) < 2.0 * STILL)
    if open_.any():
        stays[open_] = _reach(markers[:, open_]) < STILL
    return float(np.mean(stays)) >= STILL_SHARE


def _reach(markers: Array) -> Array:
    """(M,) [m] farthest place of every marker from its middle one, gaps left out."""
    away = np.linalg.norm(markers - known_median(markers)[..., None], axis=0)
    return np.asarray(np.nanmax(away, axis=1))


def _stands_on(recording: Recording, where: str) -> bool:
    """Whether low markers are over the plate that a finding names: somebody stands on it."""
    places = known_median(recording.markers[:, np.isfinite(recording.markers[0]).any(axis=1)])
    return any(_over(plate, places).any() for plate in recording.plates if where == f"plate {plate.number}")


def _over(plate: Plate, places: Array) -> NDArray[np.bool_]:
    """(N,) which places (3, N) [m] are low over a plate."""
    low, high = plate.corners.min(axis=1, keepdims=True), plate.corners.max(axis=1, keepdims=True)
    over = (places[[0, 2]] > low[[0, 2]]) & (places[[0, 2]] < high[[0, 2]])
    return np.asarray(over.all(axis=0) & (places[1] < high[1] + FOOT_HEIGHT))


def stands_on_plates(recording: Recording, labels: LabelMap, window: slice) -> bool:
    """Whether through a window of frames the body stands still with both feet wholly on plates, none of which bears
    anything but them: their force is then the body's weight, whatever its size.

    Two markers of each foot or more must be seen. What has no marker, as a load in the arms, is not told.
    """
    step = recording.samples_per_frame
    force = slice(window.start * step, window.stop * step)
    loaded = [plate for plate in recording.plates if float(np.mean(plate.force[1, force])) > LOADED]
    markers = recording.markers[:, :, window]
    seen = np.isfinite(markers[0]).any(axis=1)
    if not loaded or not seen.any() or not _hardly_move(markers[:, seen]):
        return False
    on_feet = [_of_foot(labels, side) for side in SIDES]
    feet = [[row for row, label in enumerate(recording.labels) if seen[row] and label in own] for own in on_feet]
    if min(map(len, feet)) < 2:
        return False
    places = known_median(markers[:, feet[0] + feet[1]])
    over = np.array([_over(plate, places) for plate in loaded])
    return bool(over.any(axis=0).all() and over.any(axis=1).all())


def _of_foot(labels: LabelMap, side: str) -> set[str]:
    """Labels of the markers on a foot."""
    landmarks = (labels.landmarks.get(f"{side}_{name}") for name in CLUSTER_HELPERS["foot"])
    return {*filter(None, landmarks), *labels.clusters.get(f"{side}_foot", ())}


def of_a_standing_trial(finding: Finding, recording: Recording) -> Finding:
    """The finding, without doubts that are none of a standing trial: slow rates, no free plate, no force at all unless
    somebody stands on the plate."""
    if finding.severity != "warn":
        return finding
    no_rest = finding.check == "baseline" and finding.evidence.startswith("none: no unloaded stretch")
    beside = finding.check == "plate load" and not _stands_on(recording, finding.where)
    no_force = (
        beside
        or finding.check == "plates"
        or (finding.check == "plate" and finding.evidence == "the file holds no analog channels")
    )
    slow = finding.check == "rates" and "advised for impacts" in finding.evidence
    if no_rest:
        return replace(finding, severity="pass", advice="somebody stands on it throughout: compare the body weight")
    if no_force:
        return replace(finding, severity="pass", advice="a standing trial needs no force; a weight cannot be compared")
    if slow:
        return replace(finding, severity="pass", advice="enough for somebody who stands still")
    return finding


TILT = 0.08
"""Share of the vertical force that is level while a body stands still (choice: sway stays below a third of it)."""


def check_tilt(recording: Recording) -> list[Finding]:
    """Whether the plates' whole force stands upright while the body stands still, as it must."""
    check, nothing = "force tilt", "no body stands still on the plates"
    if not recording.plates:
        return [Finding(check, "pass", "plates", nothing, "")]
    force = np.sum([plate.force for plate in recording.plates], axis=0)
    loaded = force[1] > max(4 * LOADED, 0.5 * float(np.max(force[1], initial=0.0)))
    if not _markers_still(recording) or loaded.sum() < LEAST_SECONDS / 2 * recording.force_rate:
        return [Finding(check, "pass", "plates", nothing, "")]
    forward, up, right = force[:, loaded].mean(axis=1)
    share = float(np.hypot(forward, right) / up)
    text = f"the force leans by {100 * share:.0f} % of its size while the body stands still"
    if share <= TILT:
        return [Finding(check, "pass", "plates", text, "")]
    return [Finding(check, "warn", "plates", text, "check ANALOG:SCALE and CAL_MATRIX of the level channels")]


WEIGHT_STRETCH, WEIGHT_STEADY = 0.4, 0.05
"""[s] and share: a stance of this length whose force varies by no more shows the body weight (choice)."""
WEIGHT_RANGE = (0.6, 1.5)
"""Shares of the expected weight outside which a steady force is no stance of this rider, unless both feet are seen on
the plates and nothing else is (choice)."""
STANCES = 20
"""So many of the steadiest stretches outside that range are looked at for both feet (choice)."""
OF_BOTH_FEET = "check the mass in rider.toml and the plates' scale"
WEIGHT_OFF = 0.05
"""Share of the expected weight by which a stance after a landing may miss it (choice: it sways yet)."""
FLIGHT_STRETCH, FLIGHT_LEVEL = 0.1, 0.02
"""[s] a flight lasts at least; share of body weight that the plates may show in it (choice)."""


def weight_findings(recording: Recording, expected: float, labels: LabelMap | None = None) -> list[Finding]:
    """What the plates show in flight and in standing, against the weight [N] that rider and board should have.

    labels : which markers are the feet's; without them a stance outside WEIGHT_RANGE is taken for something else
    """
    if not recording.plates:
        return []
    total = np.sum([plate.force[1] for plate in recording.plates], axis=0)
    rate, check = recording.force_rate, "body_weight"
    found = []
    stance = _stance(recording, total, expected, labels)
    if stance is not None:
        begin, weight, alone = stance
        text = f"{weight:.0f} N on the plates in the stance from {begin / rate:.2f} s on, {expected:.0f} N expected "
        text += f"({100 * (weight / expected - 1):+.1f} %)"
        if abs(weight / expected - 1.0) <= WEIGHT_OFF:
            found.append(Finding(check, "pass", "standing", text, ""))
        else:
            advice = OF_BOTH_FEET if alone else f"{OF_BOTH_FEET}, and whether both feet stand on plates"
            found.append(Finding(check, "warn", "standing", text, advice))
    flights = [(a, b) for a, b in runs(np.abs(total) < LOADED) if b - a >= FLIGHT_STRETCH * rate]
    if flights:
        start, stop = max(flights, key=lambda span: span[1] - span[0])
        edge = (stop - start) // 4
        level = float(total[start + edge : stop - edge].mean())
        text = f"the plates show {level:+.1f} N while nobody is on them, from {start / rate:.2f} to {stop / rate:.2f} s"
        off = abs(level) > FLIGHT_LEVEL * expected
        advice = "zero the plates: every force is off by as much" if off else ""
        found.append(Finding("empty_plates", "warn" if off else "pass", "flight", text, advice))
    return found


def _stance(
    recording: Recording, total: Array, expected: float, labels: LabelMap | None
) -> tuple[int, float, bool] | None:
    """First sample and mean [N] of the steadiest stretch that may be a stance of the expected weight, or else of one
    that surely is the body's, whatever it weighs; whether it is such a one."""
    length = round(WEIGHT_STRETCH * recording.force_rate)
    block, mean, spread = _steady(total, length)
    if not mean.size:
        return None
    low, high = (share * expected for share in WEIGHT_RANGE)
    fit = (spread < WEIGHT_STEADY * np.abs(mean)) & (mean > LOADED)
    likely = fit & (mean > low) & (mean < high)
    if likely.any():
        best = int(np.argmin(np.where(likely, spread, np.inf)))
        return best * block, float(mean[best]), False
    if labels is None:
        return None
    step, looked_at = recording.samples_per_frame, min(STANCES, int(fit.sum()))
    for best in np.argsort(np.where(fit, spread, np.inf), kind="stable")[:looked_at].tolist():
        window = slice(best * block // step, -(-(best + 8) * block // step))
        if stands_on_plates(recording, labels, window):
            return best * block, float(mean[best]), True
    return None


def _steady(total: Array, length: int) -> tuple[int, Array, Array]:
    """Samples of a block, and mean and spread [N] of the force over every eight blocks one after the other."""
    block = max(1, length // 8)
    means = total[: total.size // block * block].reshape(-1, block).mean(axis=1)
    if means.size < 8 or not np.isfinite(means).all():
        return block, np.empty(0), np.empty(0)
    windows = np.lib.stride_tricks.sliding_window_view(means, 8)
    return block, windows.mean(axis=1), np.ptp(windows, axis=1)

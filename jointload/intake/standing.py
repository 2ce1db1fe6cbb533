"""Whether a recording is of somebody who stands still, and what such a recording need not have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jointload.intake.recording import Array, Finding, Recording
from jointload.numerics.signals import runs

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
    seen = np.isfinite(recording.markers[0]).any(axis=1)
    if seen.sum() < LEAST_MARKERS:
        return False
    if float(np.mean(_reach(recording.markers[:, seen]) < STILL)) < STILL_SHARE:
        return False
    if not recording.plates:
        return True
    total = np.sum([plate.force[1] for plate in recording.plates], axis=0)
    step = recording.samples_per_frame
    frames = total[: total.size // step * step].reshape(-1, step).mean(axis=1)
    middle = float(np.median(frames))
    return bool(np.abs(frames).max() < LOADED or np.abs(frames - middle).max() < STEADY * middle)


def _reach(markers: Array) -> Array:
    """(M,) [m] farthest place of every marker from its middle one, gaps left out."""
    median = np.median if np.isfinite(markers).all() else np.nanmedian
    away = np.linalg.norm(markers - median(markers, axis=2, keepdims=True), axis=0)
    return np.asarray(np.nanmax(away, axis=1))


def _stands_on(recording: Recording, where: str) -> bool:
    """Whether low markers are over the plate that a finding names: somebody stands on it."""
    for plate in recording.plates:
        if where != f"plate {plate.number}":
            continue
        places = np.nanmedian(recording.markers[:, np.isfinite(recording.markers[0]).any(axis=1)], axis=2)
        low, high = plate.corners.min(axis=1, keepdims=True), plate.corners.max(axis=1, keepdims=True)
        over = (places[[0, 2]] > low[[0, 2]]) & (places[[0, 2]] < high[[0, 2]])
        return bool((over.all(axis=0) & (places[1] < high[1] + FOOT_HEIGHT)).any())
    return False


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
    seen = np.isfinite(recording.markers[0]).any(axis=1)
    if not recording.plates or seen.sum() < LEAST_MARKERS:
        return [Finding(check, "pass", "plates", nothing, "")]
    force = np.sum([plate.force for plate in recording.plates], axis=0)
    loaded = force[1] > max(4 * LOADED, 0.5 * float(np.max(force[1], initial=0.0)))
    still = float(np.mean(_reach(recording.markers[:, seen]) < STILL)) >= STILL_SHARE
    if not still or loaded.sum() < LEAST_SECONDS / 2 * recording.force_rate:
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
"""Shares of the expected weight outside which a steady force is no stance of this rider on both feet (choice)."""
WEIGHT_OFF = 0.05
"""Share of the expected weight by which a stance after a landing may miss it (choice: it sways yet)."""
FLIGHT_STRETCH, FLIGHT_LEVEL = 0.1, 0.02
"""[s] a flight lasts at least; share of body weight that the plates may show in it (choice)."""


def weight_findings(recording: Recording, expected: float) -> list[Finding]:
    """What the plates show in flight and in standing, against the weight [N] that rider and board should have."""
    if not recording.plates:
        return []
    total = np.sum([plate.force[1] for plate in recording.plates], axis=0)
    rate, check = recording.force_rate, "body weight"
    found = []
    stance = _steadiest(total, round(WEIGHT_STRETCH * rate), expected)
    if stance is not None:
        begin, weight = stance
        text = f"{weight:.0f} N on the plates in the stance from {begin / rate:.2f} s on, {expected:.0f} N expected "
        text += f"({100 * (weight / expected - 1):+.1f} %)"
        if abs(weight / expected - 1.0) <= WEIGHT_OFF:
            found.append(Finding(check, "pass", "standing", text, ""))
        else:
            advice = "check the mass in rider.toml, the plates' scale, and that both feet stand on plates"
            found.append(Finding(check, "warn", "standing", text, advice))
    flights = [(a, b) for a, b in runs(np.abs(total) < LOADED) if b - a >= FLIGHT_STRETCH * rate]
    if flights:
        start, stop = max(flights, key=lambda span: span[1] - span[0])
        edge = (stop - start) // 4
        level = float(total[start + edge : stop - edge].mean())
        text = f"the plates show {level:+.1f} N while nobody is on them, from {start / rate:.2f} to {stop / rate:.2f} s"
        if abs(level) <= FLIGHT_LEVEL * expected:
            found.append(Finding(check, "pass", "flight", text, ""))
        else:
            found.append(Finding(check, "warn", "flight", text, "zero the plates: every force is off by as much"))
    return found


def _steadiest(total: Array, length: int, expected: float) -> tuple[int, float] | None:
    """First sample and mean [N] of the steadiest stretch that may be a stance of the expected weight."""
    block = max(1, length // 8)
    means = total[: total.size // block * block].reshape(-1, block).mean(axis=1)
    if means.size < 8 or not np.isfinite(means).all():
        return None
    windows = np.lib.stride_tricks.sliding_window_view(means, 8)
    mean, spread = windows.mean(axis=1), np.ptp(windows, axis=1)
    low, high = WEIGHT_RANGE
    fit = (spread < WEIGHT_STEADY * np.abs(mean)) & (mean > low * expected) & (mean < high * expected)
    if not fit.any():
        return None
    best = int(np.argmin(np.where(fit, spread, np.inf)))
    return best * block, float(mean[best])

"""Which reading of CORNERS and ORIGIN the data of a loaded plate bear out.

Files store the corners of a plate in another order than the standard's, and its origin with another sign. Eight orders
of four corners make a frame (four turns, and four mirrored ones whose z points the other way), and ORIGIN's x and y may
each be turned. A reading is borne out when its centre of pressure stays inside the corners and when the line of the
force passes near the middle of the body: turned round, the same force points away from it. What these two cannot tell
apart is told as a warning with both readings. A frame whose z points up is no rival of one whose z points down, as the
standard has it: it would take an unusual plate AND a wrong order.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jointload.intake.plates.baseline import LOADED, Timing
from jointload.intake.plates.mechanics import centre_of_pressure, plate_frame
from jointload.intake.plates.plausible import in_brackets
from jointload.intake.plates.settings import PlateSetting, healed_origin
from jointload.intake.recording import Array, Finding, Severity

INSIDE_MARGIN = 0.03
"""[m] a centre of pressure this far outside the corners is still inside (shoe edge, corner measurement)."""
INSIDE_SHARE = 0.9
"""Share of the loaded samples whose centre of pressure must lie inside the corners."""
CLEAR = 1.25
"""A reading is told from another when the force passes the body at least so many times farther off by the other
(choice: in 59 loaded plates of published and invented trials the nearest other turn of the corners is at worst 1.31
times as far off, in the median 2.5 times)."""
OVERRULED = 0.05
"""[m] by which the stored reading must also be the worse one before another is used: the mean of the markers is this
near to the middle of the body, and on a plate under its middle every reading passes near it (choice)."""
SAME_POINT = 0.005
"""[m] two readings whose forces pass this near to each other, at the plate and a metre above it, count as one."""
LOOKED_AT = 64
"""Frames that are looked at."""
STRONG_SHARE = 0.25
"""Share of the peak force above which a frame is looked at."""
BODY_MARKERS = 8
BODY_HEIGHT = 0.8
"""[m] so many markers over such a height are a body, and their mean is its middle (choice)."""

ORDERS = (
    (0, 1, 2, 3), (1, 2, 3, 0), (2, 3, 0, 1), (3, 0, 1, 2),
    (1, 0, 3, 2), (0, 3, 2, 1), (3, 2, 1, 0), (2, 1, 0, 3),
)  # fmt: skip
"""Which stored corners are taken for the standard's corners 1 to 4; the first is the file's own order."""
_SQUARE = np.array([[1.0, -1.0, -1.0, 1.0], [1.0, 1.0, -1.0, -1.0]])
TURNS = np.stack([_SQUARE[:, order] @ _SQUARE.T / 4 for order in ORDERS])
"""(8, 2, 2) plate x and y axes of each order as columns, in the plate axes of the stored order."""
MIRRORS = np.linalg.det(TURNS).round()
"""(8,) -1 where the plate's z points the other way."""
FLIPS = np.array([(1.0, 1.0, 1.0), (-1.0, -1.0, 1.0), (-1.0, 1.0, 1.0), (1.0, -1.0, 1.0)])
"""Signs of ORIGIN's x and y to be tried; its z is known: the surface lies over the sensors."""


@dataclass(frozen=True, eq=False)
class Choice:
    """The setting as it is to be read, corners in the standard's order, origin of the standard's sign."""

    setting: PlateSetting
    findings: list[Finding]


@dataclass(frozen=True, eq=False)
class _Evidence:
    """Loaded frames in the plate axes of the stored order, about the centre of the surface.

    point, slope : (2, N) centre of pressure [m]; horizontal force by force along plate z
    middle : (2, N) [m], height (N,) [m] of the body's middle; empty without a body
    half : (2,) [m] half of the plate's lengths
    """

    point: Array
    slope: Array
    middle: Array
    height: Array
    half: Array
    z_up: bool


@dataclass(frozen=True, eq=False)
class _Readings:
    """All readings of a plate, the stored one first.

    order, flip : (R,) which of ORDERS and FLIPS;  z_up : (R,) whether the plate's z points up;  origin : (R, 3) [m]
    low, high : (R, 2, N) [m] where the force passes at the plate and a metre above it, axes as stored
    miss : (R,) [m] how far from the body's middle the force passes (rms), 0 without a body, inf where the centre of
        pressure leaves the plate
    """

    order: NDArray[np.intp]
    flip: NDArray[np.intp]
    z_up: NDArray[np.bool_]
    origin: Array
    low: Array
    high: Array
    miss: Array

    def same_as(self, chosen: int) -> NDArray[np.bool_]:
        """(R,) whose forces are those of the chosen reading."""
        apart = [np.hypot(*(at - at[chosen]).transpose(1, 0, 2)).mean(axis=1) for at in (self.low, self.high)]
        return np.maximum(*apart) < SAME_POINT

    def told_from(self, chosen: int) -> NDArray[np.bool_]:
        """(R,) which are clearly worse than the chosen reading."""
        return (self.miss >= CLEAR * self.miss[chosen]) & (self.miss > 0.0)


def as_stored(setting: PlateSetting, lab_from_file: Array) -> PlateSetting:
    """The setting in the file's own order of corners, its origin turned upwards."""
    z_up = bool((lab_from_file @ plate_frame(setting.corners)[0])[1, 2] > 0)
    return replace(setting, origin=healed_origin(setting.origin, setting.kind, z_up))


def choose_reading(
    setting: PlateSetting,
    plain: PlateSetting,
    force: Array,
    moment: Array,
    markers: Array,
    lab_from_file: Array,
    timing: Timing,
) -> Choice:
    """The reading that the data bear out, and what was doubted.

    setting, plain : as the file has it, and by `as_stored`
    force, moment : (3, N) [N], [N m] about the lab origin, lab axes, by `plain`; upward where the plate is loaded
    markers : (3, M, F) [m], lab axes
    """
    evidence = _evidence(plain, force, moment, markers, lab_from_file, timing)
    words = _Words(setting, lab_from_file)
    of_origin = _origin_findings(setting, plain, evidence, words)
    if evidence is None:
        return Choice(plain, of_origin)
    readings = _readings(setting, plain, evidence)
    chosen = _best(readings)
    findings = [*_order_findings(chosen, readings, bool(evidence.height.size), words), *of_origin]
    if chosen == 0:
        return Choice(plain, findings)
    corners = setting.corners[:, list(ORDERS[readings.order[chosen]])]
    return Choice(replace(setting, corners=corners, origin=readings.origin[chosen]), findings)


def _evidence(
    plain: PlateSetting, force: Array, moment: Array, markers: Array, lab_from_file: Array, timing: Timing
) -> _Evidence | None:
    """What the loaded frames say; None where the plate is not loaded in any of them."""
    vertical = force[1, :: timing.samples_per_frame]
    strong = np.flatnonzero(vertical > max(LOADED, STRONG_SHARE * np.nanmax(vertical, initial=0.0)))
    frames = strong[:: max(1, -(-strong.size // LOOKED_AT))]
    if not frames.size:
        return None
    samples = frames * timing.samples_per_frame
    corners = lab_from_file @ plain.corners
    rotation, centre = plate_frame(corners)
    points = centre_of_pressure(force[:, samples], moment[:, samples], float(centre[1]), LOADED)
    local = rotation.T @ force[:, samples]
    middle, tall = _body(markers[:, :, frames])
    seen = rotation.T @ (middle - centre[:, None])
    return _Evidence(
        point=(rotation.T @ (points - centre[:, None]))[:2],
        slope=local[:2] / local[2],
        middle=seen[:2] if tall else np.empty((2, 0)),
        height=middle[1] - centre[1] if tall else np.empty(0),
        half=np.abs(rotation.T[:2] @ (corners - centre[:, None])).max(axis=1),
        z_up=bool(rotation[1, 2] > 0),
    )


def _body(markers: Array) -> tuple[Array, bool]:
    """(3, N) mean of the markers, and whether they are enough for a body in every frame."""
    seen = ~np.isnan(markers[0])
    count = seen.sum(axis=0)
    middle = np.where(seen, markers, 0.0).sum(axis=1) / np.maximum(count, 1)
    heights = np.where(seen, markers[1], np.inf).min(axis=0), np.where(seen, markers[1], -np.inf).max(axis=0)
    return middle, bool(((count >= BODY_MARKERS) & (heights[1] - heights[0] >= BODY_HEIGHT)).all())


def _readings(setting: PlateSetting, plain: PlateSetting, evidence: _Evidence) -> _Readings:
    """Every order of the corners; signs of ORIGIN only where they would move the centre of pressure."""
    flips = [0]
    if setting.kind in (2, 4):
        matters = np.abs(setting.origin[:2]) > SAME_POINT / 2
        flips += [k for k in range(1, len(FLIPS)) if matters[FLIPS[k, :2] < 0].all()]
    order, flip = np.tile(np.arange(len(ORDERS)), len(flips)), np.repeat(flips, len(ORDERS))
    turn, mirror = TURNS[order], MIRRORS[order]
    z_up = (mirror > 0) == evidence.z_up
    healed = np.stack([healed_origin(setting.origin, setting.kind, up) for up in (False, True)])
    origin = FLIPS[flip] * healed[z_up.astype(int)]
    shift = origin - plain.origin
    across = shift[:, :2, None] if setting.kind in (2, 4) else 0.0
    low = turn @ (evidence.point - across + evidence.slope * shift[:, 2:, None])
    rise = (mirror if evidence.z_up else -mirror)[:, None, None] * (turn @ evidence.slope)
    inside = (np.abs(low) <= evidence.half[:, None] + INSIDE_MARGIN).all(axis=1).mean(axis=1) >= INSIDE_SHARE
    miss = np.zeros(order.size)
    if evidence.height.size:
        off = low + rise * evidence.height - evidence.middle
        miss = np.sqrt((off**2).sum(axis=1).mean(axis=1))
    return _Readings(order, flip, z_up, origin, low, low + rise, np.where(inside, miss, np.inf))


def _best(readings: _Readings) -> int:
    """The stored reading, unless another is borne out clearly better."""
    best = int(readings.miss.argmin())
    if not np.isfinite(readings.miss[best]) or readings.same_as(best)[0]:
        return 0
    plainest = int((readings.order == readings.order[best]).argmax())
    if not readings.told_from(best)[plainest]:
        best = plainest
    if readings.miss[best] == 0.0:
        alone = readings.same_as(best)[np.isfinite(readings.miss)].all()
        return best if alone else 0
    overruled = readings.told_from(best)[0] and readings.miss[0] > readings.miss[best] + OVERRULED
    return best if overruled else 0


@dataclass(frozen=True, eq=False)
class _Words:
    """Puts readings of one plate into words."""

    setting: PlateSetting
    lab_from_file: Array

    @property
    def plate(self) -> str:
        return f"plate {self.setting.number}"

    def point(self, low: Array) -> str:
        """The mean centre of pressure in the lab, X and Z [m]."""
        rotation, centre = plate_frame(self.lab_from_file @ self.setting.corners)
        mean = centre + rotation[:, :2] @ low.mean(axis=1)
        return f"({mean[0]:.3f}, {mean[2]:.3f}) m"

    def reading(self, order: int, flip: int) -> str:
        numbers = " ".join(str(k + 1) for k in ORDERS[order])
        text = f"CORNERS in the order {numbers}" if order else "CORNERS as stored"
        turned = [axis for axis, sign in zip("xy", FLIPS[flip], strict=False) if sign < 0]
        return text + (f" and ORIGIN's {' and '.join(turned)} of the other sign" if turned else "")

    def finding(self, check: str, severity: Severity, text: str, advice: str) -> Finding:
        return Finding(check, severity, self.plate, text, advice)


def _order_findings(chosen: int, readings: _Readings, body: bool, words: _Words) -> list[Finding]:
    check, miss = "plate reading", readings.miss
    others = np.isfinite(miss) & ~readings.same_as(chosen) & (readings.z_up <= readings.z_up[chosen])
    rivals = np.flatnonzero(others & ~readings.told_from(chosen))
    named = [words.reading(order, flip) for order, flip in zip(readings.order, readings.flip, strict=True)]
    findings = []
    if chosen:
        text = f"with {named[chosen]} the centre of pressure is at {words.point(readings.low[chosen])}"
        text += f"{_off(miss[chosen], body)}, as stored at {words.point(readings.low[0])}{_off(miss[0], body)}"
        findings.append(words.finding(check, "warn", text, "the former was used: correct FORCE_PLATFORM in the file"))
    if rivals.size:
        near = rivals[miss[rivals].argmin()]
        text = f"with {named[chosen]} the centre of pressure is at {words.point(readings.low[chosen])}, "
        text += f"with {named[near]} at {words.point(readings.low[near])}: the data fit both"
        text += f" and {rivals.size - 1} readings more" if rivals.size > 1 else ""
        advice = "the former was used: compare it with the foot that presses, or with the plate's data sheet"
        findings.append(words.finding(check, "warn", text, advice))
    elif not chosen and body and np.isfinite(miss[0]):
        text = f"the force passes the middle of the body {miss[0]:.2f} m off"
        if others.any():
            text += f", by any other reading of CORNERS and ORIGIN {miss[others].min():.2f} m or more"
        findings.append(words.finding(check, "pass", text, ""))
    return findings


def _off(miss: float, body: bool) -> str:
    if not np.isfinite(miss):
        return ", outside the plate"
    return f" and the force passes the middle of the body {miss:.2f} m off" if body else ""


def _origin_findings(
    setting: PlateSetting, plain: PlateSetting, evidence: _Evidence | None, words: _Words
) -> list[Finding]:
    """A finding when the origin in the file points down from the sensors, with both centres of pressure."""
    if setting.kind == 1 or np.array_equal(plain.origin, setting.origin):
        return []
    stored, used = (in_brackets(origin / setting.metres) for origin in (setting.origin, plain.origin))
    text = f"ORIGIN {stored} is not of the standard's sign"
    if evidence is not None:
        shift = setting.origin - plain.origin
        across = shift[:2] if setting.kind in (2, 4) else np.zeros(2)
        in_file = evidence.point - across[:, None] + evidence.slope * shift[2]
        text += f"; by {used} the centre of pressure is at {words.point(evidence.point)}"
        text += f", as stored at {words.point(in_file)}"
    advice = f"{used} was used; check the plate's data sheet"
    return [words.finding("plate origin", "warn", text, advice)]

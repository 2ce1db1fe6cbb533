"""Finds which file axes are forward and up, so that a recording can be turned into ISB lab axes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.intake.c3d_bytes.guard import Structure
from jointload.intake.label_words import place_of, side_of
from jointload.intake.labels import LabelMap
from jointload.intake.plates.plates import PlateSetting, plate_frame
from jointload.intake.recording import Array, Finding

UPPER_PLACES = {"head", "acromion", "suprasternale", "xiphoid", "asis", "psis", "sacrum", "crest", "trochanter"}
LOWER_PLACES = {"ankle", "heel", "toe", "metatarsal", "foot"}
FRONT_PLACES = {"asis"}
BACK_PLACES = {"psis", "sacrum"}
SAMPLED_FRAMES = 64
"""Frames looked at when the axes are searched for."""
FOOT_FRONTS = {"toe", "metatarsal"}
STEADY_FACING = 0.5
"""Least length of the mean facing direction (1 = never turns) for it to name the forward axis."""
TRAVELLED = 1.0
"""[m] a body that gets this far between the first and the last tenth of a trial walks forward (choice)."""
UPRIGHT = 0.7
"""Least cosine between an axis and the evidence for it."""


@dataclass(frozen=True)
class Axes:
    """Which signed file axes are forward and up, and why."""

    lab_from_file: Array
    evidence: str
    findings: tuple[Finding, ...]


def signed_axis(text: str, what: str) -> Array:
    """The unit vector a signed axis such as "+z" names; SettingError otherwise."""
    sign, letter = (text[:1], text[1:]) if text[:1] in "+-" else ("+", text)
    if letter.lower() not in ("x", "y", "z"):
        raise SettingError(
            expected_found(f"{what} axis", "one of +x, -x, +y, -y, +z, -z", repr(text), f"--{what}", "correct it")
        )
    vector = np.zeros(3)
    vector["xyz".index(letter.lower())] = -1.0 if sign == "-" else 1.0
    return vector


def axis_name(vector: Array) -> str:
    """A unit vector along a file axis in words: "+z"."""
    index = int(np.abs(vector).argmax())
    return ("-" if vector[index] < 0 else "+") + "xyz"[index]


def find_axes(
    structure: Structure,
    labels: tuple[str, ...],
    markers: Array,
    settings: list[PlateSetting],
    up: str | None,
    forward: str | None,
    named: LabelMap | None = None,
) -> Axes:
    """Lab axes from the evidence in a file.

    markers : (3, M, F) [m], file axes;  named : which label is which landmark, where that is told
    Up comes from the plates' surfaces, the body, and the screen axes, in this order; forward from where the pelvis
    faces, from right and left, from the feet, from the way that is walked, else from the screen. A contradiction is
    told as a finding.
    """
    findings: list[Finding] = []
    sample = markers[:, :, :: max(1, markers.shape[2] // SAMPLED_FRAMES)]
    landmarks = {} if named is None else {label: landmark for landmark, label in named.landmarks.items()}
    words = [landmarks.get(label, label) for label in labels]
    places = [place_of(word) for word in words]
    up_axis, up_text = (
        _up(structure, places, sample, settings, findings)
        if up is None
        else (signed_axis(up, "up"), f"up {up} as told")
    )
    if forward is None:
        forward_axis, forward_text = _forward(
            structure, places, [side_of(word) for word in words], sample, up_axis, findings
        )
    else:
        forward_axis, forward_text = signed_axis(forward, "forward"), f"forward {forward} as told"
    if abs(forward_axis @ up_axis) > 0.5:
        told = f"forward {axis_name(forward_axis)}, up {axis_name(up_axis)}"
        across = "a forward axis across the up axis"
        raise SettingError(expected_found("lab axes", across, told, structure.where, "correct --up or --forward"))
    rotation = np.stack([forward_axis, up_axis, np.cross(forward_axis, up_axis)]) + 0.0
    return Axes(rotation, f"{up_text}; {forward_text}", tuple(findings))


def _along(vector: Array) -> Array:
    """The signed file axis nearest to a vector."""
    index = int(np.abs(vector).argmax())
    axis = np.zeros(3)
    axis[index] = np.sign(vector[index]) or 1.0
    return axis


def _screen(structure: Structure, name: str) -> Array | None:
    text = structure.text("POINT", name).lower()
    return signed_axis(text, "screen") if text.lstrip("+-") in ("x", "y", "z") else None


def _mean_places(places: list[str], wanted: set[str], markers: Array) -> Array | None:
    """(3, F) mean of the markers at some places, NaN in frames where none is seen; None without such markers."""
    chosen = [k for k, place in enumerate(places) if place in wanted]
    if not chosen:
        return None
    picked = markers[:, chosen]
    seen = ~np.isnan(picked[0])
    count = seen.sum(axis=0)
    total = np.where(seen, picked, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _mean_direction(start: Array | None, end: Array | None, across: Array | None = None) -> Array | None:
    """Mean over the frames of the unit vectors from start to end, optionally without their part along one axis."""
    if start is None or end is None:
        return None
    arrows = end - start
    if across is not None:
        arrows = arrows - across[:, None] * (across @ arrows)
    lengths = np.linalg.norm(arrows, axis=0)
    usable = lengths > 1e-6
    return (arrows[:, usable] / lengths[usable]).mean(axis=1) if usable.any() else None


def _up(
    structure: Structure, places: list[str], markers: Array, settings: list[PlateSetting], findings: list[Finding]
) -> tuple[Array, str]:
    screen = _screen(structure, "Y_SCREEN")
    body = _mean_direction(_mean_places(places, LOWER_PLACES, markers), _mean_places(places, UPPER_PLACES, markers))
    body_axis = _along(body) if body is not None and np.abs(body).max() >= UPRIGHT else None
    plate_axis = _plate_axis(settings)
    sources = ((plate_axis, "the plates' surfaces"), (body_axis, "the standing body"), (screen, "POINT:Y_SCREEN"))
    known = [(axis, text) for axis, text in sources if axis is not None]
    if not known:
        text = "no plates, no screen axes, no labels that tell top from bottom"
        findings.append(Finding("axes", "warn", "up", text, "+z was assumed; tell it with --up"))
        return signed_axis("+z", "up"), "up +z assumed, no evidence"
    axis, reason = known[0]
    if plate_axis is not None:
        axis, side = _signed_by(axis, body_axis, screen, markers, settings)
        reason += f" and {side}"
    agreeing = [text for other, text in known[1:] if np.array_equal(other, axis) and text not in reason]
    evidence = f"up {axis_name(axis)} from {reason}" + (f", agreed by {' and '.join(agreeing)}" if agreeing else "")
    against = [f"{text} says {axis_name(other)}" for other, text in known[1:] if not np.array_equal(other, axis)]
    if against:
        text = f"{evidence}, but {' and '.join(against)}"
        findings.append(Finding("axes", "warn", "up", text, "check it, and overrule it with --up"))
    return axis, evidence


def _plate_axis(settings: list[PlateSetting]) -> Array | None:
    """The file axis (positive) all plate surfaces stand across, None when there is none."""
    if not settings:
        return None
    normals = np.abs(np.stack([plate_frame(setting.corners)[0][:, 2] for setting in settings]))
    axis = _along(normals.mean(axis=0))
    return axis if (normals @ axis > 0.9).all() else None


def _signed_by(
    axis: Array, body: Array | None, screen: Array | None, markers: Array, settings: list[PlateSetting]
) -> tuple[Array, str]:
    """The direction along an axis that is up: toward the body's top, else toward the markers, else the screen's."""
    if body is not None and abs(body @ axis) > 0.5:
        return body, "the standing body"
    heights = np.tensordot(axis, markers, axes=1) - np.mean([axis @ setting.corners for setting in settings])
    seen = heights[~np.isnan(heights)]
    if seen.size and abs(np.median(seen)) > 0.05:
        return axis * np.sign(np.median(seen)), "the side the markers are on"
    if screen is not None and abs(screen @ axis) > 0.5:
        return screen, "POINT:Y_SCREEN"
    return axis, "the positive direction"


def _forward(
    structure: Structure, places: list[str], sides: list[str], markers: Array, up: Array, findings: list[Finding]
) -> tuple[Array, str]:
    screen = _screen(structure, "X_SCREEN")
    told = next(_forward_witnesses(places, sides, markers, up), None)
    if told is not None:
        direction, text = told
        axis = _along(direction)
        angle = math.degrees(math.acos(min(1.0, float(direction @ axis / np.linalg.norm(direction)))))
        evidence = f"forward {axis_name(axis)} {text}, {angle:.0f} degrees off"
        if screen is not None and abs(screen @ axis) < 0.5:
            against = f"{evidence}, but POINT:X_SCREEN says {axis_name(screen)}"
            findings.append(Finding("axes", "warn", "forward", against, "check it, and overrule it with --forward"))
        return axis, evidence
    if screen is not None and abs(screen @ up) < 0.5:
        text = f"POINT:X_SCREEN alone says {axis_name(screen)}, no body and no way that is walked"
        findings.append(Finding("axes", "warn", "forward", text, "it was taken; tell it with --forward"))
        return screen, f"forward {axis_name(screen)} from POINT:X_SCREEN"
    axis = np.roll(np.abs(up), 1) if abs(up[0]) > 0.5 else signed_axis("+x", "forward")
    text = "no body, no way that is walked and no screen axis tell where forward is"
    findings.append(Finding("axes", "warn", "forward", text, f"{axis_name(axis)} was taken; tell it with --forward"))
    return axis, f"forward {axis_name(axis)} assumed, no evidence"


def _forward_witnesses(places: list[str], sides: list[str], markers: Array, up: Array) -> Iterator[tuple[Array, str]]:
    """Horizontal directions that tell where forward is and what tells them, the surest first; each is worked out when
    it is asked for."""

    def between(back: set[str], front: set[str]) -> Array | None:
        return _mean_direction(_mean_places(places, back, markers), _mean_places(places, front, markers), up)

    body: tuple[tuple[Callable[[], Array | None], str], ...] = (
        (lambda: between(BACK_PLACES, FRONT_PLACES), "where the pelvis faces"),
        (lambda: _across_sides(places, sides, markers, up), "by right and left"),
        (lambda: between({"heel"}, FOOT_FRONTS), "where the feet point"),
    )
    for witness, text in body:
        direction = witness()
        if direction is not None and np.linalg.norm(direction) >= STEADY_FACING:
            yield direction, text
    way = _way_walked(markers, up)
    if np.linalg.norm(way) > TRAVELLED:
        yield way, "where the body walks"


def _across_sides(places: list[str], sides: list[str], markers: Array, up: Array) -> Array | None:
    """Mean over pairs of right and left markers of one place, and over the frames, of the direction forward."""
    ways = []
    for place in dict.fromkeys(filter(None, places)):
        pair = [
            _mean_places(
                [p if (p, s) == (place, side) else "" for p, s in zip(places, sides, strict=True)], {place}, markers
            )
            for side in ("left", "right")
        ]
        right = _mean_direction(pair[0], pair[1], up)
        if right is not None:
            ways.append(np.cross(up, right))
    return np.mean(ways, axis=0) if ways else None


def _way_walked(markers: Array, up: Array) -> Array:
    """(3,) [m] horizontal way of the markers' middle from the first tenth of the trial to the last."""
    frames = max(1, markers.shape[2] // 10)
    seen = ~np.isnan(markers[0])
    both = seen[:, :frames].any(axis=1) & seen[:, -frames:].any(axis=1)
    if not both.any():
        return np.zeros(3)
    ends = [
        np.where(seen, markers, 0.0)[:, both, part].sum(axis=2) / seen[both, part].sum(axis=1)
        for part in (slice(None, frames), slice(-frames, None))
    ]
    way = (ends[1] - ends[0]).mean(axis=1)
    return np.asarray(way - up * (up @ way))

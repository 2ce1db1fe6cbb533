"""The landing in three dimensions, frame by frame: what the page's script draws, and the section around it."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np

from jointload.analysis import Analysis
from jointload.body.board import track_board
from jointload.insole.fitting.whatif import WhatIf
from jointload.insole.limb.standing import place_foot
from jointload.insole.shape.outline import BREADTH_SHARE, Outline
from jointload.intake.recording import SIDES, Array
from jointload.landing.landed import Landing
from jointload.numerics.rotations import rotate, rotate_back
from jointload.report.figures import landing_curves
from jointload.report.figures.panel import SIDE_MARKS, Key
from jointload.report.figures.pictures import metres_per_newton, trunk_top
from jointload.report.figures.sheet_html import legend
from jointload.report.words import html
from jointload.report.words.quantities import SIDE_WORDS
from jointload.report.words.section import Reported
from jointload.report.words.tables import foot_pressure_centre

MOST_FRAMES = 240
"""Of more frames than this every second one, every third one ... is played (choice)."""
MILLIMETRES = 1000
"""Places are whole millimetres, less than a marker's own noise; forces are hundredths of body weight."""
FOLLOWED = ("Vertical force", "Knee angle, side view", "Knee moment, side view")
"""Curves that the script lays beside the stage, too, by their titles."""
GHOST_DASHES = (5.0, 4.0)


def replay_section(reported: Reported) -> str:
    """Stage, legend and controls; the script lays copies of the curves that its time follows beside the stage. Empty
    when fewer than two frames can be shown."""
    analysis = reported.analysis
    fitted = None if reported.fit is None else reported.fit.answer
    data = replay_data(analysis, reported.whatif or fitted, reported.beside)
    if len(data["times"]) < 2:
        return ""
    controls, script = html.shipped_text("replay", "replay.html"), html.shipped_text("replay", "replay.js")
    told = json.dumps(data, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
    return (
        controls.replace("LEGEND", legend(_keys(data)))
        + f'<script type="application/json" id="replay-data">{told}</script>'
        + f"<script>\n{script}</script>"
    )


def _keys(data: dict[str, Any]) -> tuple[Key, ...]:
    """One entry a kind of line that is drawn."""
    drawn = {line["name"]: line for line in data["lines"]}
    out = []
    for side in SIDES:
        word, mark = SIDE_WORDS[side], SIDE_MARKS[side]
        out.append(Key(f"{word} leg and sole", side, mark=mark, hollow=mark == "square"))
    if any(line["ghost"] for line in drawn.values()):
        out.append(Key(data["ghost"], "soft", GHOST_DASHES))
    if "insole" in drawn:
        out.append(Key("the shape under the foot", "insole"))
    if "board" in drawn:
        out.append(Key("board", "board"))
    out.append(Key("ground force on each foot, and where it acted", "force", mark="arrow", width=0))
    return tuple(out)


def replay_data(analysis: Analysis, whatif: WhatIf | None = None, beside: Analysis | None = None) -> dict[str, Any]:
    """Times [ms], lines and forces of every shown frame; axes: to the rider's right, forward, up, from the plates'
    surface under the rider's hips at touch-down [mm]; null where unknown.

    whatif : its insole, and the leg on it as a ghost;  beside : another landing, the ghost in place of that leg, laid
    touch-down on touch-down
    """
    landing = analysis.landing
    frames = shown_frames(landing)
    zero = landing.events.first_touchdown
    lines = [
        *_body_lines(landing, frames),
        *_sole_lines(landing, frames),
        *_board_lines(analysis, frames),
        *_insole_lines(landing, whatif, frames),
    ]
    if beside is not None:
        words, ghosts = "the other landing", _other_lines(landing, beside.landing, frames)
    else:
        words, ghosts = "the leg on the shape, predicted", _predicted_lines(landing, whatif, frames)
    return {
        "times": [round(float(1000 * (k / landing.poses.rate - zero)), 1) for k in frames],
        "span": [round(float(t), 1) for t in landing_curves.shown_span(landing)],
        "zeros": [round(1000 * (landing_curves.zero_of(landing, s) - zero), 1) for s in landing.events.sides],
        "followed": list(FOLLOWED),
        "ghost": words,
        "lines": [*({"ghost": False, **line} for line in lines), *({"ghost": True, **line} for line in ghosts)],
        "forces": [_force(landing, side, frames) for side in SIDES],
        "grounds": [_ground(landing, plate.corners, f"plate {plate.number}") for plate in landing.recording.plates],
        "perBodyWeight": round(MILLIMETRES * metres_per_newton(landing, frames) * landing.weight),
    }


def shown_frames(landing: Landing) -> list[int]:
    """Marker frames of the time that the curves of both sides show, thinned to MOST_FRAMES."""
    rate, (left, right) = landing.poses.rate, landing_curves.shown_span(landing)
    zeros = [landing_curves.zero_of(landing, side) for side in landing.events.sides]
    first = max(math.ceil((left / 1000 + min(zeros)) * rate), 0)
    last = min(math.floor((right / 1000 + max(zeros)) * rate), landing.recording.frames - 1)
    return list(range(first, last + 1, max(1, -(-(last + 1 - first) // MOST_FRAMES))))


# Lines --------------------------------------------------------------------------------------------------------------


def _body_lines(landing: Landing, frames: list[int]) -> list[dict[str, Any]]:
    """Trunk, pelvis and shoulders; then each leg with its foot. A gap in a line is a null."""
    body: list[tuple[str, ...]] = [
        ("hip_mid", "l5s1", trunk_top(landing)),
        ("left_hip_centre", "hip_mid", "right_hip_centre"),
    ]
    if {"right_acromion", "left_acromion"} <= set(landing.body.points):
        body.append(("left_acromion", "right_acromion"))
    lines = [{"name": "trunk", "colour": "ink", "symbol": "circle", **_chains(landing, body, frames)}]
    for side in SIDES:
        chains = (
            ("hip_centre", "knee_centre", "ankle_centre"),
            ("ankle_centre", "calcaneus", "toe_tip", "ankle_centre"),
        )
        leg = [tuple(f"{side}_{name}" for name in chain) for chain in chains]
        lines.append(
            {
                "name": f"{SIDE_WORDS[side]} leg",
                "colour": side,
                "symbol": SIDE_MARKS[side],
                **_chains(landing, leg, frames),
            }
        )
    return lines


def _other_lines(landing: Landing, other: Landing, frames: list[int]) -> list[dict[str, Any]]:
    """The body of another landing at the same times from its own touch-down, without marks; gone where it was not
    recorded."""
    late = other.events.first_touchdown - landing.events.first_touchdown
    wanted = [round((k / landing.poses.rate + late) * other.poses.rate) for k in frames]
    seen = np.array([0 <= k < other.recording.frames for k in wanted])
    lines = _body_lines(other, list(np.clip(wanted, 0, other.recording.frames - 1)))
    for line in lines:
        line["symbol"] = ""
        line["places"] = [
            places if known else [[None] * len(axis) for axis in places]
            for places, known in zip(line["places"], seen, strict=True)
        ]
    return lines


def _predicted_lines(landing: Landing, whatif: WhatIf | None, frames: list[int]) -> list[dict[str, Any]]:
    """The leg on a predicted shape while its foot lands."""
    if whatif is None or whatif.leg is None:
        return []
    window = landing.window(whatif.side)
    lab = np.full((*whatif.leg.shape[:2], landing.recording.frames), np.nan)
    lab[..., window] = whatif.leg
    name = f"{SIDE_WORDS[whatif.side]} leg, predicted"
    return [{"name": name, "colour": whatif.side, "symbol": "", "places": _seen(landing, lab[..., frames])}]


def _chains(landing: Landing, chains: list[tuple[str, ...]], frames: list[int]) -> dict[str, Any]:
    """Places of the chains' points behind each other, a break after each chain."""
    parts: list[Array] = []
    for chain in chains:
        parts += [landing.poses.place(landing.body, name)[:, frames] for name in chain]
        parts.append(np.full((3, len(frames)), np.nan))
    return {"places": _seen(landing, np.stack(parts[:-1], axis=1))}


def _board_lines(analysis: Analysis, frames: list[int]) -> list[dict[str, Any]]:
    """Edges of the deck and of what the board stands on."""
    board, settings, landing = analysis.session.board, analysis.settings, analysis.landing
    pose = None if board is None else track_board(landing.recording, board, settings.cutoff, settings.longest_gap)
    if pose is None:
        return []
    apart = np.full((3, 1, pose.deck.shape[-1]), np.nan)
    edges = np.concatenate([pose.deck, pose.deck[:, :1], apart, pose.supports, pose.supports[:, :1]], axis=1)
    line = {"name": "board", "colour": "board", "symbol": ""}
    return [{**line, "places": _seen(landing, edges[..., frames])}]


def _sole_lines(landing: Landing, frames: list[int]) -> list[dict[str, Any]]:
    """The outline of both soles, of plain width for each foot's length."""
    out = []
    for side in SIDES:
        if f"{side}_calcaneus" in landing.body.points and f"{side}_foot" in landing.body.standing:
            length = place_foot(landing, side).length
            places = _under_foot(landing, side, Outline(length, BREADTH_SHARE * length), frames)
            out.append({"name": f"{SIDE_WORDS[side]} sole", "colour": side, "symbol": "", "places": places})
    return out


def _insole_lines(landing: Landing, whatif: WhatIf | None, frames: list[int]) -> list[dict[str, Any]]:
    """The outline of a predicted insole under its foot."""
    if whatif is None:
        return []
    places = _under_foot(landing, whatif.side, whatif.shape.outline, frames)
    return [{"name": "insole", "colour": "insole", "symbol": "", "places": places}]


def _under_foot(landing: Landing, side: str, outline: Outline, frames: list[int]) -> list[list[list[int | None]]]:
    """An outline that lies where the foot stands in the static trial, and goes with it."""
    place = place_foot(landing, side)
    x = 0.5 * outline.length * (1.0 - np.cos(np.linspace(0.0, np.pi, 15)))
    x, inward = np.r_[x, x[::-1]], np.r_[outline.medial_edge(x), outline.lateral_edge(x)[::-1]]
    right = place.line + inward * (-1.0 if side == "right" else 1.0)
    rotation, origin = landing.poses.of(f"{side}_foot")
    level = landing.contact.floor - landing.body.standing[f"{side}_foot"][1][1]
    local = np.stack([place.heel + x, np.full_like(x, level), right])
    return _seen(landing, origin[:, None, frames] + rotate(rotation[:, :, None, frames], local[..., None]))


def _force(landing: Landing, side: str, frames: list[int]) -> dict[str, Any]:
    """Where the force acts [mm] and the force in hundredths of body weight, of one foot."""
    force = landing.contact.force[:, SIDES.index(side)][:, frames]
    point = foot_pressure_centre(landing, side)[:, frames]
    known = np.isfinite(point + force).all(axis=0)
    force = np.where(known, rotate_back(landing.alignment.facing[..., None], force) / landing.weight, np.nan)
    return {
        "name": SIDE_WORDS[side],
        "point": [_whole(row) for row in _placed(landing, point)],
        "force": [_whole(100 * force[axis]) for axis in (2, 0, 1)],
    }


def _ground(landing: Landing, corners: Array, name: str) -> dict[str, Any]:
    """Four corners that do not move."""
    return {"name": name, "corners": [_whole(row) for row in _placed(landing, corners)]}


# Places -------------------------------------------------------------------------------------------------------------


def _placed(landing: Landing, lab: Array) -> Array:
    """(3, ...) [mm] to the right, forward and up, of places (3, ...) [m] in the lab."""
    start = landing.poses.place(landing.body, "hip_mid")[:, landing.touchdown_frame()].copy()
    start = np.where(np.isfinite(start), start, 0.0)
    start[1] = landing.contact.floor
    shape = (3,) + (1,) * (lab.ndim - 1)
    seen = rotate_back(landing.alignment.facing.reshape(3, 3, *shape[1:]), lab - start.reshape(shape))
    return MILLIMETRES * seen[[2, 0, 1]]


def _seen(landing: Landing, lab: Array) -> list[list[list[int | None]]]:
    """Frame, axis, point."""
    return [[_whole(row) for row in frame] for frame in np.moveaxis(_placed(landing, lab), -1, 0)]


def _whole(values: Array) -> list[int | None]:
    return [round(float(v)) if np.isfinite(v) else None for v in values]

"""The body with its ground forces, and where the force acted under each foot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import SIDES, Array, split_side
from jointload.landing.landed import Landing
from jointload.numerics.rotations import rotate_back
from jointload.report.figures.axis import Axis, limits, ticked
from jointload.report.figures.panel import (
    SIDE_MARKS,
    Arrow,
    Key,
    Line,
    Marks,
    Panel,
    Rule,
    Shape,
    Sheet,
    Words,
    one,
)
from jointload.report.words.quantities import SIDE_WORDS, decimal_text, number_text
from jointload.report.words.tables import foot_pressure_centre


@dataclass(frozen=True)
class View:
    """Horizontal axis of the facing frame, name of the view, label of the axis."""

    axis: int
    words: str
    label: str


VIEWS = (
    View(0, "from the rider's right", "forward, height up [m]"),
    View(2, "from behind", "to the right, height up [m]"),
)
INSTANTS = ("Touch-down", "Largest force", "Lowest pelvis")
MOST_COLUMNS = 4
BODY_LEAST, PATH_LEAST = 165.0, 270.0
"""Width of a picture of the body, and of a foot's centre of pressure, below which fewer stand in a row [px]."""
ROOM_FOR_NAMES = 80.0
"""Beside the landmarks of a foot [mm]."""
HALF_WIDTH = 0.7
"""Shown to either side of the hips [m]."""
ARROW_LENGTH, LONGEST_ARROW = 0.45, 0.9
"""Metres of arrow for one body weight, and for the largest force of a picture."""
LIMB_WIDTH, LIMB_OPACITY = 12.0, 0.15
"""Of the pale body behind the lines [px]."""


def _instants(landing: Landing) -> dict[str, int]:
    """Name -> marker frame of the pictures of the body."""
    rate, out = landing.poses.rate, {INSTANTS[0]: landing.touchdown_frame()}
    total = np.nansum(landing.contact.force[1], axis=0)
    windows = [landing.window(side) for side in landing.events.sides]
    start, stop = min(w.start for w in windows), max(w.stop for w in windows)
    if stop > start:
        out[INSTANTS[1]] = start + int(np.argmax(total[start:stop]))
    if np.isfinite(landing.events.lowest_pelvis):
        out[INSTANTS[2]] = min(round(landing.events.lowest_pelvis * rate), landing.recording.frames - 1)
    return out


def body(analysis: Analysis, names: Sequence[str] = ()) -> Sheet:
    """Stick figures with ground force arrows: from the rider's right at every instant, then from behind; names : of
    INSTANTS, all when empty."""
    landing = analysis.landing
    instants = _instants(landing)
    top, metres = _tallest(landing, instants), metres_per_newton(landing, list(instants.values()))
    chosen = {name: frame for name, frame in instants.items() if name in (names or INSTANTS)}
    panels = [_body_panel(landing, name, frame, view, top, metres) for view in VIEWS for name, frame in chosen.items()]
    panels[0] = replace(panels[0], behind=_body_numbers(landing, list(chosen.values())))
    keys = [Key(f"{SIDE_WORDS[side]} leg", side, mark=SIDE_MARKS[side], hollow=side == "left") for side in SIDES]
    length = f"ground force, 1 BW is {100 * metres * landing.weight:.0f} cm"
    keys.append(Key(length, "force", mark="arrow", width=0))
    columns = len(panels) if len(panels) <= MOST_COLUMNS else len(chosen)
    return Sheet(tuple(panels), tuple(keys), columns, least=BODY_LEAST, rows=tuple(chosen))


def _body_numbers(landing: Landing, frames: list[int]) -> dict[str, list[str]]:
    """Time, forces and the angles that make the posture, of every instant."""
    out = {"ms": [_milliseconds(landing, k) for k in frames]}
    for side in SIDES:
        force = np.linalg.norm(landing.contact.force[:, SIDES.index(side), frames], axis=0) / landing.weight
        out[f"Ground force, {SIDE_WORDS[side]} [BW]"] = [number_text(float(f), "BW") for f in force]
    for joint in ("ankle", "knee", "hip"):
        rotation = "dorsiflexion" if joint == "ankle" else "flexion"
        for side in SIDES:
            if f"{side}_{joint}" in landing.angles.joints:
                angle = np.rad2deg(landing.angles.of(f"{side}_{joint}", rotation)[frames])
                name = f"{joint.capitalize()} {rotation}, {SIDE_WORDS[side]} [deg]"
                out[name] = [number_text(float(a), "deg") for a in angle]
    lean = np.rad2deg(landing.alignment.trunk_lean_forward[frames])
    return {**out, "Trunk lean forward [deg]": [number_text(float(a), "deg") for a in lean]}


def _milliseconds(landing: Landing, frame: int) -> str:
    """From the first touch-down to a frame."""
    return decimal_text(1000 * (frame / landing.poses.rate - landing.events.first_touchdown), 0)


def _body_panel(landing: Landing, name: str, frame: int, view: View, top: float, metres: float) -> Panel:
    time = _milliseconds(landing, frame)
    told = f"The body {view.words} at: {name.lower()}, {time} ms. {_forces_told(landing, frame)}"
    across = Axis(
        -HALF_WIDTH,
        HALF_WIDTH,
        view.label,
        tuple((v, f"{v:g}".replace("-", "−")) for v in (-0.5, 0.0, 0.5)),
        grid=False,
    )
    return Panel(
        name, f"{time} ms, {view.words}", told, across, ticked(-0.12, top + 0.1, grid=False),
        tuple(_stick_figure(landing, frame, view.axis, metres)), equal=True,
    )  # fmt: skip


def _forces_told(landing: Landing, frame: int) -> str:
    """The arrows in words."""
    texts = []
    for side in SIDES:
        force = landing.contact.force[:, SIDES.index(side), frame]
        size = number_text(float(np.linalg.norm(force)) / landing.weight, "BW")
        texts.append(f"{SIDE_WORDS[side]} {size} BW" if np.isfinite(force).all() else f"{SIDE_WORDS[side]} not known")
    return "Ground force: " + ", ".join(texts) + "."


def _tallest(landing: Landing, instants: dict[str, int]) -> float:
    """Height [m] over the plates of the highest point that is drawn."""
    names = [name for name in ("hip_mid", "l5s1", trunk_top(landing)) if name in landing.body.points]
    heights = [landing.poses.place(landing.body, name)[1, list(instants.values())] for name in names]
    highest = float(np.nanmax(heights, initial=0.5 + landing.contact.floor))
    return highest - landing.contact.floor


def metres_per_newton(landing: Landing, frames: Sequence[int]) -> float:
    """Length of an arrow that keeps the largest force of these frames on the picture."""
    forces = np.linalg.norm(landing.contact.force[:, :, list(frames)], axis=0)
    largest = float(np.nanmax(forces, initial=1.0))
    return min(ARROW_LENGTH / landing.weight, LONGEST_ARROW / largest)


def trunk_top(landing: Landing) -> str:
    return next((n for n in ("shoulder_mid", "c7", "suprasternale") if n in landing.body.points), "l5s1")


def _stick_figure(landing: Landing, frame: int, axis: int, metres: float) -> list[Shape]:
    """Legs, pelvis and trunk seen along one horizontal axis of the facing frame; metres : arrow length per newton."""
    middle = _facing(landing, landing.poses.place(landing.body, "hip_mid")[:, frame])[axis]

    def on_paper(place: Array) -> tuple[float, float]:
        seen = _facing(landing, place)
        return float(seen[axis] - middle), float(seen[1] - landing.contact.floor)

    def chain(names: Sequence[str], side: str = "", dots: bool = True) -> list[Shape]:
        places = [on_paper(landing.poses.place(landing.body, name)[:, frame]) for name in names]
        x, y = np.array(places).T
        colour = side or "ink"
        limb = Line(x, y, colour, width=LIMB_WIDTH, opacity=LIMB_OPACITY)
        line = Line(x, y, colour, width=2.2)
        return [limb, line, *([Marks(x, y, SIDE_MARKS[side or "right"], colour, side == "left", 3.2)] if dots else [])]

    shapes: list[Shape] = [Rule(0.0, width=1.5), *chain(("hip_mid", "l5s1", trunk_top(landing)))]
    shapes += chain(("left_hip_centre", "hip_mid", "right_hip_centre"), dots=False)
    if {"right_acromion", "left_acromion"} <= set(landing.body.points):
        shapes += chain(("left_acromion", "right_acromion"), dots=False)
    for side in ("left", "right"):
        for names in (
            ("hip_centre", "knee_centre", "ankle_centre"),
            ("ankle_centre", "calcaneus", "toe_tip", "ankle_centre"),
        ):
            shapes += chain([f"{side}_{name}" for name in names], side)
    for side in ("left", "right"):
        force = landing.contact.force[:, SIDES.index(side), frame]
        foot = foot_pressure_centre(landing, side)[:, frame]
        if np.isfinite(foot + force).all():
            shapes.append(Arrow(on_paper(foot), on_paper(foot + metres * force)))
    return shapes


def _facing(landing: Landing, vector: Array) -> Array:
    return rotate_back(landing.alignment.facing, vector)


def pressure_paths(analysis: Analysis) -> Sheet:
    """Centre of pressure in each foot's own axes [mm], seen from above."""
    panels = tuple(_path_panel(analysis.landing, side) for side in ("left", "right"))
    keys = (
        Key("touch-down", "soft", mark="circle", hollow=True, width=0),
        Key("end of the landing", "soft", mark="square", hollow=True, width=0),
    )
    return Sheet(panels, keys, columns=2, least=PATH_LEAST)


def _path_panel(landing: Landing, side: str) -> Panel:
    title = f"{SIDE_WORDS[side].capitalize()} foot from above"
    told = f"{title}. Path of the centre of pressure in the landing."
    known = f"{side}_foot" in landing.body.standing
    landmarks = _landmarks(landing, side) if known else {"": (0.0, 0.0)}
    x, y = np.array(list(landmarks.values())).T
    shapes = [*_sole_points(landmarks), *_pressure_path(landing, side)] if known else [_say("the foot is not known")]
    path = [(shape.x, shape.y) for shape in shapes if isinstance(shape, Line)]
    left, right = limits([x, *(each for each, _ in path)], 60.0)
    across = ticked(
        left - ROOM_FOR_NAMES, right + ROOM_FOR_NAMES,
        "lateral ←  mm  → medial" if side == "left" else "medial ←  mm  → lateral",
    )  # fmt: skip
    along = ticked(*limits([y, *(each for _, each in path)], 200.0, room=0.08))
    return Panel(title, "mm forward of the ankle", told, across, along, tuple(shapes), equal=True)


def _landmarks(landing: Landing, side: str) -> dict[str, tuple[float, float]]:
    """Name -> place to the right and forward of the ankle [mm] in the static trial."""
    places = {"ankle centre": (0.0, 0.0)}
    for name, (segment, place) in landing.body.points.items():
        if segment == f"{side}_foot" and not split_side(name)[1].startswith(("forefoot", "toe_tip")):
            places[split_side(name)[1].replace("_", " ")] = (1000 * place[2], 1000 * place[0])
    return places


def _sole_points(landmarks: dict[str, tuple[float, float]]) -> list[Shape]:
    out: list[Shape] = []
    for name, (x, y) in landmarks.items():
        out.append(Marks(one(x), one(y), "cross" if name == "ankle centre" else "square", "soft", True))
        outward = 1 if x >= 0 else -1
        out.append(
            Words(name.replace(" ", "\n"), x, y, anchor="start" if outward > 0 else "end", shift=(9.0 * outward, 0))
        )
    return out


def _pressure_path(landing: Landing, side: str) -> list[Shape]:
    """The path in the landing of one foot; dots grow with the vertical force."""
    if side not in landing.events.sides:
        return [_say("no landing of this foot on a plate")]
    window = landing.window(side)
    rotation, origin = landing.poses.of(f"{side}_foot")
    path = 1000 * rotate_back(rotation, foot_pressure_centre(landing, side) - origin)[:, window]
    load = landing.contact.force[1, SIDES.index(side), window] / landing.weight
    known = np.flatnonzero(np.isfinite(path[0]))
    if not known.size:
        return [_say("not known")]
    right, forward = path[2], path[0]
    ends = zip((known[0], known[-1]), ("circle", "square"), strict=True)
    return [
        Line(right, forward, side, width=1.2),
        Marks(right[known], forward[known], "circle", side, size=np.sqrt(1.8 + 11.6 * load[known]), opacity=0.6),
        *(Marks(one(right[k]), one(forward[k]), shape, side, True, 6.0) for k, shape in ends),
    ]


def _say(text: str) -> Words:
    return Words(text, 0.5, 0.95, anchor="middle", shared=(True, True))

"""The verdict on a landing: what of body, contact and motion does not fit together, and which moments that stops.

A finding that refuses stops moments, never angles or ground forces.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jointload.body.pose import smooth_markers
from jointload.intake.plates import centre_of_pressure
from jointload.intake.quality import exchanged_markers, flat_tops, marker_jumps
from jointload.intake.recording import SIDES, Array, Finding, Plate, Severity
from jointload.intake.rider import G
from jointload.landing.measures import BEARING_SHARE, Landing, Result, fall_acceleration, residual_force
from jointload.loads.contact import REST_HEIGHT, REST_SPEED, Lost
from jointload.loads.moments import joint_loads, loaded_segments, smooth_loads
from jointload.numerics.rigid_fit import fit_poses
from jointload.numerics.rotations import rotate_back
from jointload.numerics.signals import derivatives, runs

BACKWARDS = 0.0
"""[m] a right landmark this far to the left of its left twin, or a toe this far behind its heel, is mislabelled."""
BENT_KNEE = np.deg2rad(30.0)
"""A static trial with a knee bent further is no standing: skin slides and the foot frame is levelled in a pose that is
not neutral (choice)."""
TILTED_PELVIS, TILTED_TRUNK = np.deg2rad(40.0), np.deg2rad(30.0)
"""From the vertical, in the static trial (choice: the line from rear to front spines falls by 10 to 20 degrees in
standing, up to 26 in the published recordings at hand)."""
UNLEVEL_FEET = 0.04
"""[m] difference of the two heels' heights in the static trial (choice: a board or a step under one foot)."""
SLIPPED = 0.015
"""[m] a marker this far from where the rest of its cluster puts it has slipped (choice; skin motion, averaged over a
trial, reaches 13 mm in the published recordings at hand)."""
SLIP_SCREEN = 0.0025
"""[m] a cluster whose typical fit is better than this holds no such marker: a slip leaves a sixth of itself or more,
typically a third, in the fit of four to six markers; three do not see a slip across the line of the other two."""
SLIP_FRAMES = 40
"""Frames, spread over those in which most markers are seen, on which slipped markers are looked for."""
APART_WARN = 0.05
"""[m] a joint centre as the segment above carries it, from where the segment below does (choice: skin motion gives up
to 40 mm at knee and ankle in the published recordings at hand)."""
APART_REFUSE = {"ankle": 0.10, "knee": 0.10, "hip": 0.20}
"""[m] a label or a whole cluster is wrong (choice; the thigh's markers are far from the hip: a turn of the skin by
ten degrees moves it by 50 to 80 mm)."""
STEP_WARN, STEP_REFUSE = 0.005, 0.012
"""[s] by which markers and force may be out of step (choice: on the sample's stiff landing 4 ms shift the hip's moment
peaks by up to a fifth, 12 ms by up to a half; the lag itself is found to a millisecond)."""
PELVIS_SLACK = 0.012
"""[s] the pelvis alone follows the force: by up to 8 ms in the landings, walking and running at hand."""
STEP_SEARCH, STEP_BEFORE, STEP_AFTER = 0.06, 0.1, 0.3
"""[s] lags that are tried, and the time around touch-down that is compared (choice)."""
STEP_ALIKE = 0.8
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
FILTER_REACH = 1.0
"""Periods of the cut-off by which a wrong stretch spreads to its neighbours."""
SOLE = ("calcaneus", "metatarsal1", "metatarsal5", "forefoot", "toe_tip")
INNER_OUTER = (
    ("femur_epicondyle_medial", "femur_epicondyle_lateral"),
    ("malleolus_medial", "malleolus_lateral"),
    ("metatarsal1", "metatarsal5"),
)
SIDE_WORDS = {"r": "right", "l": "left"}

_Wrong = list[tuple[str, tuple[str, ...]]]
"""What is exchanged, and the sides that it concerns."""


@dataclass(frozen=True)
class Verdict:
    """What was found, and for each side the frames in which it has no moments, with the reason."""

    findings: tuple[Finding, ...]
    stopped: tuple[Lost, ...]


@dataclass(frozen=True)
class Judgement:
    """The findings of one check and the moments that they stop; `explains` whether they leave the force unexplained."""

    findings: tuple[Finding, ...] = ()
    stopped: tuple[Lost, ...] = ()
    explains: bool = False


def judge(landing: Landing) -> Verdict:
    """Every check on a landing, once."""
    done = [check(landing) for check in CHECKS.values()]
    for check in LAST.values():
        cause = next((one.findings[0].check for one in done if one.explains), "")
        done.append(check(landing, cause))
    return Verdict(
        tuple(finding for one in done for finding in one.findings),
        tuple(gone for one in done for gone in one.stopped),
    )


def stop_moments(landing: Landing, stopped: tuple[Lost, ...]) -> Landing:
    """The landing without the joint loads that a verdict stops, and with the reasons; ground forces stay as
    measured."""
    if not stopped:
        return landing
    contact, settings = landing.contact, landing.settings
    force, moment = contact.force.copy(), contact.moment.copy()
    for gone in stopped:
        side = SIDES.index(gone.side)
        force[:, side, gone.start : gone.stop] = moment[:, side, gone.start : gone.stop] = np.nan
    loads = joint_loads(landing.poses, landing.body, landing.angles, force, moment)
    if settings.smoothing == "after":
        loads, _ = smooth_loads(loads, landing.angles, settings.cutoff, landing.poses.rate)
    return replace(landing, contact=replace(contact, lost=(*contact.lost, *stopped)), loads=loads)


def _always(landing: Landing, sides: tuple[str, ...], reason: str) -> tuple[Lost, ...]:
    return tuple(Lost(side, 0, landing.recording.frames, reason) for side in sides)


def _no_moments(*sides: str) -> str:
    which = "either side" if len(sides) > 1 else f"the {SIDE_WORDS[sides[0]]} side"
    return f"no moments of {which} and of L5/S1"


def _passed(check: str, where: str, evidence: str) -> Judgement:
    return Judgement((Finding(check, "pass", where, evidence, ""),))


def _explained(check: str, where: str, evidence: str, cause: str) -> Judgement:
    """A pass, with the check that explains what else would be a doubt."""
    return Judgement((Finding(check, "pass", where, evidence, f"see {cause.replace('_', ' ')}" if cause else ""),))


def _graded(value: float, warn: float, refuse: float) -> Severity:
    return "refuse" if value > refuse else "warn" if value > warn else "pass"


# Labels and the static trial ----------------------------------------------------------------------------------------


def check_sides(landing: Landing) -> Judgement:
    """Right against left, front against rear and inner against outer landmarks of the static trial.

    The pelvis faces from its rear to its front spines; both feet together overrule it.
    """
    body, points = landing.body, landing.body.standing_points
    forward = (points["asis_mid"] - points["psis_mid"]) * [1.0, 0.0, 1.0]
    feet = {s: _ahead(points, s, forward) for s in SIDES if f"calcaneus_{s}" in points and f"forefoot_{s}" in points}
    behind = [side for side, ahead in feet.items() if ahead < BACKWARDS]
    wrong: _Wrong = [(f"heel and toe of the {SIDE_WORDS[side]} foot", (side,)) for side in behind]
    if len(behind) == len(SIDES):
        wrong, forward = [("front and rear of the pelvis", SIDES)], -forward
    right = np.cross(forward, [0.0, 1.0, 0.0])
    pairs = [name[:-2] for name in body.landmark_labels if name.endswith("_r") and f"{name[:-2]}_l" in points]
    turned = [p for p in pairs if f"{p}_r" in points and (points[f"{p}_r"] - points[f"{p}_l"]) @ right < BACKWARDS]
    if turned:
        names = ", ".join(name.replace("_", " ") for name in turned)
        wrong.append((f"right and left: {'all landmarks' if len(turned) == len(pairs) else names}", SIDES))
    else:
        wrong += [
            (f"{inner.replace('_', ' ')} and {outer.replace('_', ' ')}, {SIDE_WORDS[side]}", (side,))
            for side, sign in zip(SIDES, (1.0, -1.0), strict=True)
            for inner, outer in INNER_OUTER
            if f"{inner}_{side}" in points
            and f"{outer}_{side}" in points
            and sign * (points[f"{outer}_{side}"] - points[f"{inner}_{side}"]) @ right < BACKWARDS
        ]
    if not wrong:
        return _passed("landmark_sides", body.calibrated_from, "right, left, front and rear are where they belong")
    return _mislabelled(landing, wrong)


def _ahead(points: dict[str, Array], side: str, forward: Array) -> float:
    return float((points[f"forefoot_{side}"] - points[f"calcaneus_{side}"]) @ forward)


def _mislabelled(landing: Landing, wrong: _Wrong) -> Judgement:
    findings = tuple(
        Finding(
            "landmark_sides",
            "refuse",
            landing.body.calibrated_from,
            f"exchanged by the direction in which pelvis and feet point: {what}",
            f"correct labels.toml or the recording; {_no_moments(*sides)}, do not use the angles",
        )
        for what, sides in wrong
    )
    sides = tuple(side for side in SIDES if any(side in of for _, of in wrong))
    return Judgement(findings, _always(landing, sides, "landmarks are exchanged in the static trial"), True)


def check_standing(landing: Landing) -> Judgement:
    """Whether the static trial is an upright stance with both feet level."""
    body = landing.body
    limits = {"pelvis": TILTED_PELVIS, "trunk": TILTED_TRUNK}
    tilts = {
        name: _between(body.standing[name][0][:, 1], np.array([0.0, 1.0, 0.0]))
        for name in limits
        if name in body.standing
    }
    bends = {
        side: _between(body.standing[f"thigh_{side}"][0][:, 1], body.standing[f"shank_{side}"][0][:, 1])
        for side in SIDES
        if f"thigh_{side}" in body.standing and f"shank_{side}" in body.standing
    }
    heels = [body.standing_points[f"calcaneus_{s}"][1] for s in SIDES if f"calcaneus_{s}" in body.standing_points]
    said = [f"{SIDE_WORDS[s]} knee bent by {np.rad2deg(bend):.0f} deg" for s, bend in bends.items() if bend > BENT_KNEE]
    said += [f"{n} {np.rad2deg(tilt):.0f} deg from upright" for n, tilt in tilts.items() if tilt > limits[n]]
    if np.ptp(heels or [0.0]) > UNLEVEL_FEET:
        said.append(f"one heel {1000 * np.ptp(heels):.0f} mm over the other")
    if said:
        advice = (
            "record the static trial standing upright with both soles down: angles of these joints are less certain"
        )
        return Judgement((Finding("static_posture", "warn", body.calibrated_from, ", ".join(said), advice),))
    most = np.rad2deg(max(bends.values(), default=0.0))
    return _passed("static_posture", body.calibrated_from, f"upright, knees bent by {most:.0f} deg at most")


def _between(one: Array, other: Array) -> float:
    """Angle [rad] between two unit vectors."""
    return float(np.arccos(np.clip(one @ other, -1.0, 1.0)))


# Markers ------------------------------------------------------------------------------------------------------------


def check_exchanged(landing: Landing) -> Judgement:
    """Stops moments while two markers of a leg or the pelvis carry each other's label; the recording's own check has
    told of it."""
    recording, body = landing.recording, landing.body
    carried = {label: name for name in loaded_segments(body) for label in body.clusters[name].labels}
    exchanges = exchanged_markers(recording, marker_jumps(recording, [n for n in recording.labels if n in carried]))
    reach = _filter_reach(landing)
    stopped = [
        Lost(side, max(0, one.start - reach), one.stop + reach, f"{' and '.join(one.labels)} are exchanged")
        for one in exchanges
        for side in SIDES
        if any(carried[label] == "pelvis" or carried[label].endswith(f"_{side}") for label in one.labels)
    ]
    return Judgement((), tuple(stopped))


def _filter_reach(landing: Landing) -> int:
    """Frames by which the filter spreads a fault."""
    cutoff = landing.settings.cutoff
    return 2 if cutoff is None else int(np.ceil(FILTER_REACH * landing.poses.rate / cutoff))


def check_clusters(landing: Landing) -> Judgement:
    """Markers that have moved against the rest of their cluster since the static trial."""
    typical = _typical_residuals(landing)
    suspects = [name for name, residual in typical.items() if residual > SLIP_SCREEN]
    slipped = [found for name, of in _cluster_shapes(landing, suspects).items() if (found := _slip(name, *of))]
    if not slipped:
        worst = max(typical.values(), default=float("nan"))
        text = f"no marker further than {1000 * SLIPPED:.0f} mm from its place; worst typical fit {1000 * worst:.1f} mm"
        return _passed("cluster_shape", landing.recording.name, text)
    advice = (
        "it slipped or was fixed anew after the static trial: record another; angles and moments of {} are less certain"
    )
    return Judgement(
        tuple(
            Finding("cluster_shape", "warn", f"{segment}, {landing.recording.name}", text, advice.format(segment))
            for segment, text in slipped
        )
    )


def _typical_residuals(landing: Landing) -> dict[str, float]:
    """Segment to the median [m] of its rigid fit's residual."""
    out = {}
    for s, name in enumerate(landing.poses.segments):
        known = landing.poses.residual[s][np.isfinite(landing.poses.residual[s])]
        if known.size and len(landing.body.clusters[name].labels) >= 3:
            out[name] = float(np.median(known))
    return out


def _cluster_shapes(landing: Landing, segments: list[str]) -> dict[str, tuple[tuple[str, ...], Array, Array]]:
    """Segment to labels, places in the segment (3, n) and positions in the lab (3, n, SLIP_FRAMES) [m]."""
    if not segments:
        return {}
    body, trial = landing.body, landing.recording
    wanted = [trial.labels.index(label) for n in segments for label in body.clusters[n].labels if label in trial.labels]
    often = np.argsort(-np.isfinite(trial.markers[0, wanted]).sum(axis=0), kind="stable")
    frames = np.sort(often[: max(SLIP_FRAMES, np.count_nonzero(np.isfinite(trial.markers[0, wanted]).all(axis=0)))])
    frames = frames[np.unique(np.linspace(0, frames.size - 1, SLIP_FRAMES).astype(int))]
    few = replace(trial, markers=trial.markers[..., frames])
    part = replace(body, clusters={name: body.clusters[name] for name in segments})
    markers, _ = smooth_markers(few, part, None, 0.0)
    out = {}
    for name in segments:
        cluster = body.clusters[name]
        here = [k for k, label in enumerate(cluster.labels) if label in markers]
        labels = tuple(cluster.labels[k] for k in here)
        out[name] = (labels, cluster.local[:, here], np.stack([markers[label] for label in labels], axis=1))
    return out


def _slip(segment: str, labels: tuple[str, ...], local: Array, seen: Array) -> tuple[str, str] | None:
    """The segment and what to say of the marker of a cluster that lies furthest from its place, if it slipped."""
    moved, named = _against_others(local, seen) if len(labels) > 3 else _against_distances(local, seen)
    if not moved > SLIPPED:
        return None
    return segment, f"{labels[named]} is {1000 * moved:.0f} mm from where the other markers of its cluster put it"


def _against_others(local: Array, seen: Array) -> tuple[float, int]:
    """Distance [m] of the marker without which the others fit best from where they put it, and which it is."""
    count = local.shape[1]
    others = [np.delete(np.arange(count), k) for k in range(count)]
    rotation, origin, residual = fit_poses([local[:, k] for k in others], [seen[:, k] for k in others])
    known = np.isfinite(residual) & np.isfinite(seen[0])
    quality = [np.median(residual[k, known[k]]) if known[k].any() else np.inf for k in range(count)]
    odd = int(np.argmin(quality))
    there = rotate_back(rotation[:, :, odd], seen[:, odd] - origin[:, odd])[:, known[odd]] - local[:, odd, None]
    return (float(np.linalg.norm(np.median(there, axis=1))) if there.size else 0.0), odd


def _against_distances(local: Array, seen: Array) -> tuple[float, int]:
    """Of three markers the largest change of a distance [m], and the marker opposite to the distance that changed
    least."""
    ends = np.array([[1, 2], [2, 0], [0, 1]])
    before = np.linalg.norm(local[:, ends[:, 0]] - local[:, ends[:, 1]], axis=0)
    apart = np.linalg.norm(seen[:, ends[:, 0]] - seen[:, ends[:, 1]], axis=0)
    known = np.isfinite(apart).all(axis=0)
    if not known.any():
        return 0.0, 0
    change = np.abs(np.median(apart[:, known], axis=1) - before)
    return float(change.max()), int(np.argmin(change))


def check_joints(landing: Landing) -> Judgement:
    """Whether the two segments of a joint agree where its centre is, in the landing of each foot."""
    body, worst = landing.body, 0.0
    findings: list[Finding] = []
    stopped: list[Lost] = []
    for side in SIDES:
        window = landing.window(side) if side in landing.events.sides else slice(None)
        for joint, below in (("ankle", "foot"), ("knee", "shank"), ("hip", "thigh")):
            apart = landing.poses.place(body, f"{joint}_centre_{side}") - landing.poses.of(f"{below}_{side}")[1]
            distance = np.linalg.norm(apart[:, window], axis=0)
            distance = distance[np.isfinite(distance)]
            typical = float(np.median(distance)) if distance.size else 0.0
            worst, severity = max(worst, typical), _graded(typical, APART_WARN, APART_REFUSE[joint])
            if severity == "pass":
                continue
            text = f"its two segments put its centre {1000 * typical:.0f} mm apart"
            cause = "a cluster moved as a whole since the static trial, or its labels are another segment's"
            harm = _no_moments(side) if severity == "refuse" else "angles and moments of this joint are less certain"
            findings.append(Finding("joint_apart", severity, f"{joint}_{side}", text, f"{cause}: {harm}"))
            if severity == "refuse":
                stopped += _always(landing, (side,), f"the {joint}'s two segments do not meet")
    if not findings:
        text = f"the two segments of a joint agree on its centre within {1000 * worst:.0f} mm"
        return _passed("joint_apart", landing.recording.name, text)
    return Judgement(tuple(findings), tuple(stopped), bool(stopped))


# Plates and feet ----------------------------------------------------------------------------------------------------


def check_saturated(landing: Landing) -> Judgement:
    """Stops moments while a plate's force stands at its extreme; the recording's own check has told of it."""
    recording, contact, reach = landing.recording, landing.contact, _filter_reach(landing)
    stopped, step = [], recording.samples_per_frame
    for top in flat_tops(recording):
        measured = recording.plates[top.plate].force[1, top.start : top.stop]
        for k, side in enumerate(SIDES):
            if np.array_equal(contact.fast_force[1, k, top.start : top.stop], measured):
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
        names = [f"{name}_{side}" for name in SOLE if f"{name}_{side}" in landing.body.points]
        if side not in landing.events.sides or f"calcaneus_{side}" not in names or f"toe_tip_{side}" not in names:
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
        off = np.min([_outside(plate, sole.places) for plate in landing.recording.plates], axis=0)
        off = np.where(sole.heights < REST_HEIGHT, off, 0.0)[:, sole.bearing].max(axis=0)
        share = float(np.mean(off > OFF_PLATE))
        if share > OFF_SHARE:
            text = f"the sole reaches {1000 * off.max():.0f} mm over the plate's edge, "
            text += f"further than {1000 * OFF_PLATE:.0f} mm in {100 * share:.0f} % of the loaded time"
            advice = f"force beside the plate is not measured: moments of the {SIDE_WORDS[side]} side may be too small"
            findings.append(Finding("foot_off_plate", "warn", f"{SIDE_WORDS[side]} foot", text, advice))
    if findings:
        return Judgement(tuple(findings))
    return _passed("foot_off_plate", landing.recording.name, f"{len(soles)} feet press on plates with the whole sole")


def _outside(plate: Plate, places: Array) -> Array:
    """(P, W) [m] by which places (3, P, W) lie outside a plate seen from above; negative inside."""
    outline = plate.corners[[0, 2]]
    middle, out = outline.mean(axis=1), np.full(places.shape[1:], -np.inf)
    for k in range(4):
        edge = outline[:, (k + 1) % 4] - outline[:, k]
        normal = np.array([edge[1], -edge[0]]) / np.linalg.norm(edge)
        normal *= np.sign(normal @ (outline[:, k] - middle))
        distance = normal[0] * (places[0] - outline[0, k]) + normal[1] * (places[2] - outline[1, k])
        out = np.maximum(out, distance)
    return out


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
        severity = _graded(share, PRESSURE_WARN, PRESSURE_REFUSE)
        said.append(f"{SIDE_WORDS[side]} {typical:.0f} mm")
        if severity == "pass":
            continue
        text = f"{typical:.0f} mm from the line between heel and toe, {_direction(way, side, landing)}; "
        text += f"beyond {1000 * PRESSURE_OFF:.0f} mm in {100 * share:.0f} % of the loaded time"
        harm = _no_moments(side) if severity == "refuse" else f"moments of the {SIDE_WORDS[side]} side are less certain"
        advice = f"a plate is misplaced: compare its CORNERS and ORIGIN with the laboratory; {harm}"
        findings.append(Finding("pressure_off_foot", severity, f"{SIDE_WORDS[side]} foot", text, advice))
        if severity == "refuse":
            stopped += _always(landing, (side,), f"the centre of pressure lies {typical:.0f} mm beside the foot")
    if findings:
        return Judgement(tuple(findings), tuple(stopped))
    text = f"typically {' and '.join(said)} from the line between heel and toe" if said else "no foot to judge"
    return _passed("pressure_off_foot", landing.recording.name, text)


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
    for plate in landing.recording.plates:
        for side in SIDES:
            seconds = _rest_unloaded(landing, plate, side)
            if seconds < SILENT_SECONDS:
                continue
            text = f"below {landing.settings.contact_threshold:g} N for {seconds:.2f} s "
            text += f"while the {SIDE_WORDS[side]} foot rests on it"
            advice = f"the plate or its channels do not measure: check its connection; {_no_moments(side)}"
            findings.append(Finding("plate_silent", "refuse", f"plate {plate.number}", text, advice))
            stopped += _always(landing, (side,), f"plate {plate.number} does not measure")
    if findings:
        return Judgement(tuple(findings), tuple(stopped), True)
    return _passed("plate_silent", landing.recording.name, "no foot rests on a plate that stays unloaded")


def _rest_unloaded(landing: Landing, plate: Plate, side: str) -> float:
    """Longest time [s] in which a foot rests well inside a plate that bears nothing."""
    body, rate, step = landing.body, landing.poses.rate, landing.recording.samples_per_frame
    names = [f"{name}_{side}" for name in ("calcaneus", "forefoot") if f"{name}_{side}" in body.points]
    if not names:
        return 0.0
    places = np.stack([landing.poses.place(body, name) for name in names], axis=1)
    height = (places[1] - np.array([body.standing_points[name][1] for name in names])[:, None]).max(axis=0)
    frames = min(places.shape[2], plate.force.shape[1] // step)
    speed = np.linalg.norm(derivatives(places, 1.0 / rate)[0], axis=0).max(axis=0)
    with np.errstate(invalid="ignore"):
        rests = (speed < REST_SPEED) & (height < REST_HEIGHT) & (_outside(plate, places) < -SILENT_MARGIN).all(axis=0)
        load = plate.force[1, : frames * step].reshape(frames, step).max(axis=1)
        unloaded = load < landing.settings.contact_threshold
    return max((stop - start for start, stop in runs(rests[:frames] & unloaded)), default=0) / rate


# Force and motion ---------------------------------------------------------------------------------------------------


def check_peak(landing: Landing) -> Judgement:
    """Whether a force is more than a body bears."""
    findings, said, sides = [], [], []
    for k, side in enumerate(SIDES):
        vertical = landing.contact.fast_force[1, k]
        peak = float(np.nanmax(vertical)) / landing.weight if np.isfinite(vertical).any() else 0.0
        said.append(f"{peak:.1f}")
        if peak > IMPLAUSIBLE_PEAK:
            text = f"vertical force of {peak:.0f} body weights"
            advice = f"check the plates' scale and units, and the rider's mass; {_no_moments(side)}"
            findings.append(Finding("implausible_peak", "refuse", f"{SIDE_WORDS[side]} foot", text, advice))
            sides.append(side)
    if findings:
        reason = f"the force exceeds {IMPLAUSIBLE_PEAK:g} body weights"
        return Judgement(tuple(findings), _always(landing, tuple(sides), reason), True)
    return _passed(
        "implausible_peak", landing.recording.name, f"vertical force up to {' and '.join(said)} body weights"
    )


def check_step(landing: Landing, cause: str = "") -> Judgement:
    """Whether markers and force tell of the same instant; a check that has found the force wrong is named as the cause.

    The vertical force in body weights and the vertical acceleration of the body in g, plus one, are the same curve; the
    lag that makes them most alike is the time between the two clocks. Without a whole body the pelvis stands for it.
    """
    whole = bool(np.isfinite(landing.centre.position).any())
    slack = 0.0 if whole else PELVIS_SLACK
    lag, alike = force_lag(landing)
    if not alike > STEP_ALIKE:
        return _passed("out_of_step", landing.recording.name, "force and motion cannot be compared in this trial")
    severity = _graded(abs(lag) - slack, STEP_WARN, STEP_REFUSE)
    text = f"the force is {1000 * abs(lag):.0f} ms {'behind' if lag > 0 else 'ahead of'} the motion of "
    text += "the whole body" if whole else f"the pelvis, which follows by up to {1000 * slack:.0f} ms"
    if severity == "pass" or cause:
        return _explained("out_of_step", landing.recording.name, text, cause)
    advice = "check the synchronisation and the rates of cameras and plates; "
    advice += _no_moments(*SIDES) if severity == "refuse" else "moments, powers and touch-down angles shift with it"
    stopped = _always(landing, SIDES, "markers and force are out of step") if severity == "refuse" else ()
    return Judgement((Finding("out_of_step", severity, landing.recording.name, text, advice),), stopped, True)


def force_lag(landing: Landing) -> tuple[float, float]:
    """Time [s] by which the ground force comes after the body's motion, and their correlation at that lag; NaN when
    there is too little to compare, or when a landing foot's force is not measured throughout."""
    rate, centre = landing.poses.rate, landing.centre.position[1]
    height = centre if np.isfinite(centre).any() else landing.poses.place(landing.body, "hip_mid")[1]
    demanded = 1.0 + derivatives(height, 1.0 / rate)[1] / G
    most, start = round(STEP_SEARCH * rate), landing.touchdown_frame()
    first, last = (
        max(most, start - round(STEP_BEFORE * rate)),
        min(height.size - most, start + round(STEP_AFTER * rate)),
    )
    if last - first < 4 * most // 3:
        return float("nan"), float("nan")
    measured = landing.contact.force[1].sum(axis=0)[first:last] / landing.weight
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
        return _passed("free_fall", landing.recording.name, note or "the flight is too short to tell")
    text = f"the body falls with {fall:.2f} m/s2 instead of {G:.2f} ({100 * (fall / G - 1):+.1f} %)"
    severity = _graded(abs(fall / G - 1.0), FALL_WARN, FALL_REFUSE)
    if severity == "pass":
        return _passed("free_fall", landing.recording.name, text)
    advice = "check the marker rate, the scale of the markers and the axes: "
    advice += _no_moments(*SIDES) if severity == "refuse" else "speeds, inertial forces and moments shift with it"
    stopped = _always(landing, SIDES, "the body does not fall freely in flight") if severity == "refuse" else ()
    return Judgement((Finding("free_fall", severity, landing.recording.name, text, advice),), stopped)


def check_residual(landing: Landing, cause: str = "") -> Judgement:
    """Whether mass times acceleration of the whole body gives the force on the ground; a check that has found why not
    is named as the cause."""
    check, name = "residual_force", landing.recording.name
    left, note = _result(residual_force(landing))
    windows = [landing.window(side) for side in landing.events.sides]
    lost = [g for g in landing.contact.lost if any(g.start < w.stop and g.stop > w.start for w in windows)]
    if not np.isfinite(left) or lost:
        return _passed(check, name, note or f"not known: {lost[0].reason}")
    peak = float(np.nanmax(landing.contact.force[1].sum(axis=0)))
    share = left / peak
    text = (
        f"{left:.0f} N of the vertical force ({100 * share:.0f} % of its peak) are not explained by the body's motion"
    )
    severity = _graded(share, RESIDUAL_WARN, RESIDUAL_REFUSE)
    if severity == "pass" or cause:
        return _explained(check, name, text, cause)
    advice = "check the plates' scale, the rider's mass, and that both feet are on plates; "
    advice += _no_moments(*SIDES) if severity == "refuse" else "moments at hip and L5/S1 are less certain"
    stopped = _always(landing, SIDES, "force and motion do not belong together") if severity == "refuse" else ()
    return Judgement((Finding(check, severity, name, text, advice),), stopped)


def _result(found: Result) -> tuple[float, str]:
    """A measure's value and its note."""
    return found if isinstance(found, tuple) else (found, "")


def check_filter(landing: Landing) -> Judgement:
    """Whether the cut-off suits the marker rate; markers and forces share it by construction."""
    cutoff, rate = landing.settings.cutoff, landing.poses.rate
    if cutoff is None:
        return _passed("filter", "settings", "no filter on markers and forces")
    share = cutoff / rate
    text = (
        f"{cutoff:g} Hz on markers and forces alike, {100 * share:.0f} % of the {rate:g} Hz at which markers are seen"
    )
    if share <= FILTER_WARN:
        return _passed("filter", "settings", text)
    advice = "choose a lower cut-off: accelerations, and the moments they make, are mostly noise"
    return Judgement((Finding("filter", "warn", "settings", text, advice),))


CHECKS: dict[str, Callable[[Landing], Judgement]] = {
    "landmark_sides": check_sides,
    "static_posture": check_standing,
    "markers exchanged": check_exchanged,
    "cluster_shape": check_clusters,
    "joint_apart": check_joints,
    "plate saturation": check_saturated,
    "foot_off_plate": check_on_plate,
    "pressure_off_foot": check_pressure,
    "plate_silent": check_silent,
    "implausible_peak": check_peak,
    "free_fall": check_fall,
    "filter": check_filter,
}
LAST: dict[str, Callable[[Landing, str], Judgement]] = {"out_of_step": check_step, "residual_force": check_residual}
"""Checks that read force against motion: what is wrong with either has been found by then."""

"""Checks of labels, the static trial, clusters and joints: does the body hold together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jointload.body.pose import smooth_markers
from jointload.intake.quality import exchanged_markers, marker_jumps
from jointload.intake.recording import SIDES, Array, Finding, Severity, split_side
from jointload.landing.checks.judgement import Judgement, always, filter_reach, graded, no_moments, passed
from jointload.landing.landed import Landing
from jointload.loads.contact import Lost
from jointload.loads.moments import loaded_segments
from jointload.numerics.rigid_fit import fit_poses
from jointload.numerics.rotations import rotate_back

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
INNER_OUTER = (
    ("femur_epicondyle_medial", "femur_epicondyle_lateral"),
    ("malleolus_medial", "malleolus_lateral"),
    ("metatarsal1", "metatarsal5"),
)

_Wrong = list[tuple[str, tuple[str, ...]]]
"""What is exchanged, and the sides that it concerns."""


def check_sides(landing: Landing) -> Judgement:
    """Right against left, front against rear and inner against outer landmarks of the static trial.

    The pelvis faces from its rear to its front spines; both feet together overrule it.
    """
    body, points = landing.body, landing.body.standing_points
    forward = (points["asis_mid"] - points["psis_mid"]) * [1.0, 0.0, 1.0]
    feet = {s: _ahead(points, s, forward) for s in SIDES if f"{s}_calcaneus" in points and f"{s}_forefoot" in points}
    behind = [side for side, ahead in feet.items() if ahead < BACKWARDS]
    wrong: _Wrong = [(f"heel and toe of the {side} foot", (side,)) for side in behind]
    if len(behind) == len(SIDES):
        wrong, forward = [("front and rear of the pelvis", SIDES)], -forward
    right = np.cross(forward, [0.0, 1.0, 0.0])
    sided = [split_side(name) for name in body.landmark_labels]
    pairs = [name for side, name in sided if side == "right" and f"left_{name}" in points]
    known = [p for p in pairs if f"right_{p}" in points]
    turned = [p for p in known if (points[f"right_{p}"] - points[f"left_{p}"]) @ right < BACKWARDS]
    if turned:
        names = ", ".join(name.replace("_", " ") for name in turned)
        wrong.append((f"right and left: {'all landmarks' if len(turned) == len(pairs) else names}", SIDES))
    else:
        wrong += [
            (f"{inner.replace('_', ' ')} and {outer.replace('_', ' ')}, {side}", (side,))
            for side, sign in zip(SIDES, (1.0, -1.0), strict=True)
            for inner, outer in INNER_OUTER
            if f"{side}_{inner}" in points
            and f"{side}_{outer}" in points
            and sign * (points[f"{side}_{outer}"] - points[f"{side}_{inner}"]) @ right < BACKWARDS
        ]
    if not wrong:
        return passed("landmark_sides", body.calibrated_from, "right, left, front and rear are where they belong")
    return _mislabelled(landing, wrong)


def _ahead(points: dict[str, Array], side: str, forward: Array) -> float:
    return float((points[f"{side}_forefoot"] - points[f"{side}_calcaneus"]) @ forward)


def _mislabelled(landing: Landing, wrong: _Wrong) -> Judgement:
    findings = tuple(
        Finding(
            "landmark_sides",
            "refuse",
            landing.body.calibrated_from,
            f"exchanged by the direction in which pelvis and feet point: {what}",
            f"correct labels.toml or the recording; {no_moments(*sides)}, do not use the angles",
        )
        for what, sides in wrong
    )
    sides = tuple(side for side in SIDES if any(side in of for _, of in wrong))
    return Judgement(findings, always(landing, sides, "landmarks are exchanged in the static trial"), True)


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
        side: _between(body.standing[f"{side}_thigh"][0][:, 1], body.standing[f"{side}_shank"][0][:, 1])
        for side in SIDES
        if f"{side}_thigh" in body.standing and f"{side}_shank" in body.standing
    }
    heels = [body.standing_points[f"{s}_calcaneus"][1] for s in SIDES if f"{s}_calcaneus" in body.standing_points]
    said = [f"{s} knee bent by {np.rad2deg(bend):.0f} deg" for s, bend in bends.items() if bend > BENT_KNEE]
    said += [f"{n} {np.rad2deg(tilt):.0f} deg from upright" for n, tilt in tilts.items() if tilt > limits[n]]
    if np.ptp(heels or [0.0]) > UNLEVEL_FEET:
        said.append(f"one heel {1000 * np.ptp(heels):.0f} mm over the other")
    if said:
        advice = (
            "record the static trial standing upright with both soles down: angles of these joints are less certain"
        )
        return Judgement((Finding("static_posture", "warn", body.calibrated_from, ", ".join(said), advice),))
    most = np.rad2deg(max(bends.values(), default=0.0))
    return passed("static_posture", body.calibrated_from, f"upright, knees bent by {most:.0f} deg at most")


def _between(one: Array, other: Array) -> float:
    """Angle [rad] between two unit vectors."""
    return float(np.arccos(np.clip(one @ other, -1.0, 1.0)))


def check_exchanged(landing: Landing) -> Judgement:
    """Stops moments while two markers of a leg or the pelvis carry each other's label; the recording's own check has
    told of it."""
    recording, body = landing.recording, landing.body
    carried = {label: name for name in loaded_segments(body) for label in body.clusters[name].labels}
    exchanges = exchanged_markers(recording, marker_jumps(recording, [n for n in recording.labels if n in carried]))
    reach = filter_reach(landing)
    stopped = [
        Lost(side, max(0, one.start - reach), one.stop + reach, f"{' and '.join(one.labels)} are exchanged")
        for one in exchanges
        for side in SIDES
        if any(carried[label] == "pelvis" or split_side(carried[label])[0] == side for label in one.labels)
    ]
    return Judgement((), tuple(stopped))


def check_clusters(landing: Landing) -> Judgement:
    """Markers that have moved against the rest of their cluster since the static trial."""
    typical = _typical_residuals(landing)
    suspects = [name for name, residual in typical.items() if residual > SLIP_SCREEN]
    slipped = [found for name, of in _cluster_shapes(landing, suspects).items() if (found := _slip(name, *of))]
    if not slipped:
        worst = max(typical.values(), default=float("nan"))
        text = f"no marker further than {1000 * SLIPPED:.0f} mm from its place; worst typical fit {1000 * worst:.1f} mm"
        return passed("cluster_shape", landing.recording.name, text)
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
            apart = landing.poses.place(body, f"{side}_{joint}_centre") - landing.poses.of(f"{side}_{below}")[1]
            distance = np.linalg.norm(apart[:, window], axis=0)
            distance = distance[np.isfinite(distance)]
            typical = float(np.median(distance)) if distance.size else 0.0
            worst, severity = max(worst, typical), graded(typical, APART_WARN, APART_REFUSE[joint])
            if severity == "pass":
                continue
            text = f"its two segments put its centre {1000 * typical:.0f} mm apart"
            cause = "a cluster moved as a whole since the static trial, or its labels are another segment's"
            harm = no_moments(side) if severity == "refuse" else "angles and moments of this joint are less certain"
            findings.append(Finding("joint_apart", severity, f"{side}_{joint}", text, f"{cause}: {harm}"))
            if severity == "refuse":
                stopped += always(landing, (side,), f"the {joint}'s two segments do not meet")
    if not findings:
        text = f"the two segments of a joint agree on its centre within {1000 * worst:.0f} mm"
        return passed("joint_apart", landing.recording.name, text)
    return Judgement(tuple(findings), tuple(stopped), bool(stopped))


def check_angles(landing: Landing) -> Judgement:
    """Whether every joint's first rotation stays within what a joint can do; beyond it in the landing, no moments."""
    findings: list[Finding] = []
    stopped: list[Lost] = []
    for name, joint in landing.body.definition.joints.items():
        angle = np.rad2deg(landing.angles.angle[0, landing.angles.joints.index(name)])
        low, high = joint.plausible
        with np.errstate(invalid="ignore"):
            beyond = (angle < low) | (angle > high)
        if not beyond.any():
            continue
        sides = [side for side in SIDES if split_side(name)[0] == side] or list(SIDES)
        landing_sides = tuple(s for s in sides if s in landing.events.sides and beyond[landing.window(s)].any())
        evidence = f"{joint.rotations[0]} from {np.nanmin(angle):.0f} to {np.nanmax(angle):.0f} deg"
        harm = no_moments(*landing_sides) if landing_sides else "outside the landing"
        advice = f"a joint stays between {low:g} and {high:g}: check labels and the static trial; {harm}"
        severity: Severity = "refuse" if landing_sides else "warn"
        findings.append(Finding("impossible_angle", severity, name, evidence, advice))
        stopped += always(landing, landing_sides, f"an impossible angle of {name}")
    if not findings:
        return passed("impossible_angle", landing.recording.name, "every joint stays within what a joint can do")
    return Judgement(tuple(findings), tuple(stopped), bool(stopped))

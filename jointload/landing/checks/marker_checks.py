"""Checks of labels, the static trial, clusters and joints: does the body hold together."""

from __future__ import annotations

import numpy as np

from jointload.body.bent import SLIPPED, slipped_markers, slipped_words, typical_residuals
from jointload.intake.paths import exchanged_markers, marker_jumps
from jointload.intake.recording import SIDES, Array, Finding, Severity, split_side
from jointload.landing.checks.judgement import (
    Judgement,
    always,
    filter_reach,
    graded,
    no_moments,
    passed,
    standing_words,
)
from jointload.landing.landed import Landing
from jointload.loads.contact import Lost
from jointload.loads.moments import loaded_segments

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
    return Judgement(findings, always(landing, sides, f"landmarks are exchanged in {standing_words(landing)}"), True)


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
        advice = "record a static trial standing upright with both soles down: angles of these joints are less certain"
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
    body, said = landing.body, standing_words(landing)
    where = landing.recording.name
    findings = [
        Finding(
            "cluster_shape",
            "warn",
            f"{segment}, {where}",
            slipped_words(label, moved),
            f"it slipped or was fixed anew since {said}; the pose of {segment} leaves it out: fix it, record another",
        )
        for segment, (label, moved) in body.left_out.items()
    ]
    typical = typical_residuals(landing.poses, body)
    slipped = slipped_markers(landing.recording, body, typical)
    findings += [
        Finding(
            "cluster_shape",
            "warn",
            f"{segment}, {where}",
            slipped_words(label, moved),
            f"it slipped or was fixed anew since {said}: record another; angles and moments of {segment} are less "
            "certain",
        )
        for segment, (label, moved) in slipped.items()
    ]
    if findings:
        return Judgement(tuple(findings))
    worst = max(typical.values(), default=float("nan"))
    text = f"no marker further than {1000 * SLIPPED:.0f} mm from its place; worst typical fit {1000 * worst:.1f} mm"
    return passed("cluster_shape", where, text)


def check_joints(landing: Landing) -> Judgement:
    """Whether the markers of a joint's two segments agree where its centre is, in the landing of each foot."""
    worst = 0.0
    findings: list[Finding] = []
    stopped: list[Lost] = []
    for side in SIDES:
        window = landing.window(side) if side in landing.events.sides else slice(None)
        for joint in ("ankle", "knee", "hip"):
            distance = landing.apart.get(f"{side}_{joint}_centre", np.zeros(0))[window]
            distance = distance[np.isfinite(distance)]
            typical = float(np.median(distance)) if distance.size else 0.0
            worst, severity = max(worst, typical), graded(typical, APART_WARN, APART_REFUSE[joint])
            if severity == "pass":
                continue
            text = f"its two segments put its centre {1000 * typical:.0f} mm apart"
            cause = f"a cluster moved as a whole since {standing_words(landing)}, or its labels are another segment's"
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
        advice = f"a joint stays between {low:g} and {high:g}: check labels and {standing_words(landing)}; {harm}"
        severity: Severity = "refuse" if landing_sides else "warn"
        findings.append(Finding("impossible_angle", severity, name, evidence, advice))
        stopped += always(landing, landing_sides, f"an impossible angle of {name}")
    if not findings:
        return passed("impossible_angle", landing.recording.name, "every joint stays within what a joint can do")
    return Judgement(tuple(findings), tuple(stopped), bool(stopped))

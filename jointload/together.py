"""A standing trial and a landing held against each other before anyone analyses them."""

from __future__ import annotations

import numpy as np

from jointload.body.bent import slipped_markers, slipped_words, typical_residuals
from jointload.body.calibration import calibrate
from jointload.body.pose import complete_markers, track_segments
from jointload.intake.axes import axis_name
from jointload.intake.labels import LabelMap
from jointload.intake.recording import Finding, Recording
from jointload.intake.rider import Rider
from jointload.landing.checks.person import person_finding, signs_of_another

ANYBODY = Rider("anybody", 70.0, 1.75, "m")
"""Stands for a rider who is not told: clusters do not depend on mass and height."""
UNKNOWN = float("nan")


def fit_findings(static: Recording, trial: Recording, labels: LabelMap) -> tuple[Finding, ...]:
    """Whether axes, rates and labels of a standing trial and a landing fit together."""
    both = f"{static.name} and {trial.name}"
    return (_axes(static, trial, both), _rates(static, trial, both), *_labels(static, trial, labels, both))


def compare_trials(static: Recording, trial: Recording, labels: LabelMap) -> tuple[Finding, ...]:
    """What does not fit together of a standing trial and a landing of a rider who is not told: axes, labels, clusters,
    the person. With a rider the analysis says all of it, and more.

    CalibrationError or LabelError where no body can be fitted to the standing trial.
    """
    body = calibrate(static, labels, ANYBODY)
    found = fit_findings(static, trial, labels)
    used, markers, told, _ = complete_markers(trial, body, 0.0)
    exchanged = [finding for finding in told if finding.check == "labels_exchanged"]
    poses, _ = track_segments(dict(zip(used, markers.swapaxes(0, 1), strict=True)), body, trial.point_rate)
    typical = typical_residuals(poses, body)
    signs = signs_of_another(typical, UNKNOWN, UNKNOWN)
    if signs:
        return (person_finding(signs, trial.name, False), *found, *exchanged)
    advice = "it slipped or was fixed anew since the standing trial: fix it, record another"
    bent = [
        Finding("cluster_shape", "warn", f"{segment}, {trial.name}", slipped_words(label, moved), advice)
        for segment, (label, moved) in slipped_markers(trial, body, typical).items()
    ]
    if not bent and not exchanged:
        worst = max(typical.values(), default=float("nan"))
        text = f"every cluster is that of {static.name}; worst typical fit {1000 * worst:.1f} mm"
        bent.append(Finding("cluster_shape", "pass", trial.name, text, ""))
    return (*found, *exchanged, *bent)


def _axes(static: Recording, trial: Recording, both: str) -> Finding:
    """Which file axes became the laboratory's in either; a standing rider may face another way, but not lie."""
    ways = [[axis_name(r.lab_from_file[row]) for r in (static, trial)] for row in (0, 1)]
    text = f"forward {' and '.join(ways[0])}, up {' and '.join(ways[1])}"
    if ways[1][0] != ways[1][1]:
        return Finding("axes", "warn", both, text, "tell one of them with --up: the foot is levelled on the floor")
    if ways[0][0] != ways[0][1]:
        return Finding("axes", "pass", both, text, "the rider stands facing another way")
    return Finding("axes", "pass", both, text, "")


def _rates(static: Recording, trial: Recording, both: str) -> Finding:
    text = f"markers at {static.point_rate:g} and {trial.point_rate:g} Hz"
    return Finding("rates", "pass", both, text, "" if np.isclose(static.point_rate, trial.point_rate) else "no harm")


def _labels(static: Recording, trial: Recording, labels: LabelMap, both: str) -> list[Finding]:
    """Labels that the standing trial has and the landing lacks; a landmark alone may be missing there."""
    tracked = {label for cluster in labels.clusters.values() for label in cluster}
    lost = sorted(label for label in tracked if label in static.labels and label not in trial.labels)
    if lost:
        text = f"{', '.join(lost)} of the standing trial's clusters are not in {trial.name}"
        return [Finding("labels", "warn", both, text, "label them there, or leave them out of [clusters]")]
    return [Finding("labels", "pass", both, "the landing has the markers of every cluster", "")]

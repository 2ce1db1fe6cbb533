"""A standing trial is told by what it is, and its weight and that of a flight are compared with the rider's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made import LABELS, RIDER, recording, standing_positions

from jointload.intake.quality import inspect_recording
from jointload.intake.recording import Finding, Plate, Recording
from jointload.intake.standing import STILL, _hardly_move, stands_on_plates, stands_still, weight_findings

FRAMES = 120
NOISE = np.random.default_rng(4).normal(0, 1, (2, FRAMES))


def plate(number: int, vertical: np.ndarray) -> Plate:
    corners = np.array([[0.5, 0.5, -0.5, -0.5], [0.0] * 4, [0.01, 0.5, 0.5, 0.01]]) * [[1], [1], [3.0 - 2 * number]]
    force = np.stack([0 * vertical, vertical, 0 * vertical])
    return Plate(number, 2, corners, force, 0 * force, "made up")


def standing(first: np.ndarray | float = 350.0, second: np.ndarray | float = 336.5) -> Recording:
    plates = tuple(plate(k + 1, force + NOISE[k]) for k, force in enumerate((first, second)))
    unloaded = Finding("baseline", "warn", "plate 1", "none: no unloaded stretch, lowest steady level 349 N", "zero it")
    return replace(recording(standing_positions(), FRAMES, "standing", plates), findings=(unloaded,))


def doubts(trial: Recording) -> set[str]:
    return {finding.check for finding in inspect_recording(trial) if finding.severity != "pass"}


def test_a_clean_standing_trial_has_no_doubts() -> None:
    """No stretch of it is unloaded, and 100 Hz are enough."""
    assert stands_still(standing())
    assert doubts(standing()) == set()
    assert "standing trial" in {finding.check for finding in inspect_recording(standing())}


def test_a_standing_trial_without_plates_has_no_doubts() -> None:
    assert doubts(recording(standing_positions(), FRAMES)) == set()


@pytest.mark.parametrize("moved", ["body", "load"])
def test_what_moves_or_is_loaded_anew_is_no_standing_trial(moved: str) -> None:
    trial = standing()
    if moved == "body":
        trial.markers[1] += np.linspace(0.0, 0.2, FRAMES)
    else:
        trial = standing(np.where(np.arange(FRAMES) < 40, 0.0, 350.0), np.where(np.arange(FRAMES) < 40, 0.0, 336.0))
    assert not stands_still(trial)
    assert {"baseline", "rates"} <= doubts(trial)


@pytest.mark.parametrize(("share", "severity"), [(1.0, "pass"), (1.2, "warn"), (0.8, "warn")])
def test_the_weight_in_standing_is_compared(share: float, severity: str) -> None:
    (found,) = weight_findings(standing(350.0 * share, 336.5 * share), RIDER.weight)
    assert (found.where, found.severity) == ("standing", severity)
    assert f"{RIDER.weight:.0f} N expected" in found.evidence


@pytest.mark.parametrize(("share", "told"), [(0.5, "(+100."), (2.0, "(-50."), (0.1, "(+900.")])
def test_a_mass_that_is_far_off_is_told_where_both_feet_stand_on_plates(share: float, told: str) -> None:
    trial, expected = standing(350.0, 336.5), share * RIDER.weight
    (found,) = weight_findings(trial, expected, LABELS)
    assert (found.where, found.severity) == ("standing", "warn")
    assert told in found.evidence and f"{expected:.0f} N expected" in found.evidence
    assert found.advice == "check the mass in rider.toml and the plates' scale"
    assert weight_findings(trial, expected) == [], "without labels nothing tells that it is this rider's weight"


def of_left_foot(trial: Recording) -> list[int]:
    of_foot = {"left calcaneus", "left metatarsal1", "left metatarsal5"}
    return [k for k, label in enumerate(trial.labels) if label in of_foot]


@pytest.mark.parametrize("what", ["beside", "on the floor", "raised", "unseen", "over the edge", "stranger", "moving"])
def test_a_weight_that_may_be_something_else_is_not_told(what: str) -> None:
    trial = standing(350.0, 0.0 if what == "on the floor" else 336.5)
    left = of_left_foot(trial)
    if what in ("beside", "on the floor"):
        trial.markers[0, left] += 2.0
    elif what == "raised":
        trial.markers[1, left] += 0.3
    elif what == "unseen":
        trial.markers[:, left[1:]] = np.nan
    elif what == "over the edge":
        trial.markers[0, left] += 0.5
    elif what == "moving":
        trial.markers[1] += 0.1 * np.sin(np.arange(FRAMES))
    elif what == "stranger":
        far = replace(trial.plates[0], number=3, corners=trial.plates[0].corners + [[3.0], [0.0], [0.0]])
        trial = replace(trial, plates=(*trial.plates, far))
    assert not stands_on_plates(trial, LABELS, slice(0, FRAMES))
    assert weight_findings(trial, 0.3 * RIDER.weight, LABELS) == []
    assert stands_on_plates(standing(), LABELS, slice(0, FRAMES))


@pytest.mark.parametrize(("level", "severity"), [(0.0, "pass"), (18.0, "warn"), (-18.0, "warn")])
def test_nobody_weighs_in_flight(level: float, severity: str) -> None:
    """18 N are 2.6 % of this body's weight."""
    force = np.where(np.arange(FRAMES) < 40, level, 350.0)
    found = {f.where: f for f in weight_findings(standing(force, force), RIDER.weight)}
    assert found["flight"].severity == severity
    assert found["standing"].severity == "pass"


@pytest.mark.parametrize(("share", "severity"), [(0.03, "pass"), (0.15, "warn")])
def test_a_force_that_leans_while_the_body_stands_still(share: float, severity: str) -> None:
    trial = standing()
    leaning = [replace(p, force=p.force + share * p.force[1] * np.array([[0.0], [0.0], [1.0]])) for p in trial.plates]
    (found,) = [f for f in inspect_recording(replace(trial, plates=tuple(leaning))) if f.check == "force tilt"]
    assert found.severity == severity
    assert f"leans by {100 * share:.0f} %" in found.evidence


@pytest.mark.parametrize(("over", "severity"), [(True, "warn"), (False, "pass")])
def test_a_plate_that_feels_nothing_of_a_body_on_it_is_told(over: bool, severity: str) -> None:
    """Beside the plates a standing trial needs no force."""
    trial = standing(0.0, 0.0)
    silent = Finding("plate load", "warn", "plate 1", "its vertical force stays below 50 N", "never loaded")
    if not over:
        trial.markers[0] += 2.0
    found = inspect_recording(replace(trial, findings=(silent,)))
    assert [f.severity for f in found if f.check == "plate load"] == [severity]


def test_a_marker_stays_where_it_keeps_near_its_middle_place() -> None:
    """One marker at a time by the definition itself, on paths with gaps, about as far as is allowed."""
    rng = np.random.default_rng(8)
    size = np.linspace(0.2, 1.2, 200)[:, None]
    paths = STILL * size * np.clip(rng.standard_normal((3, 200, 60)), -2.0, 2.0) ** 3 / 8.0
    paths[:, rng.random((200, 60)) < 0.2] = np.nan
    paths += rng.uniform(-1.0, 2.0, (3, 200, 1))
    reach = np.nanmax(np.linalg.norm(paths - np.nanmedian(paths, axis=2, keepdims=True), axis=0), axis=1)
    extent = np.nanmax(paths, axis=2) - np.nanmin(paths, axis=2)
    stays = reach < STILL
    assert stays.any() and (np.linalg.norm(extent, axis=0)[stays] > STILL).any() and not stays.all()
    assert [_hardly_move(paths[:, [k]]) for k in range(200)] == stays.tolist()

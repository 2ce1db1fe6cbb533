"""Landings with both feet on one board and one plate, against the wrenches they were made from."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from boards import LANDINGS, board_landing, session_of
from made import LABELS, RATE, RIDER, recording, standing_positions

from jointload.analysis import Analysis, analyse
from jointload.body.calibration import calibrate
from jointload.body.pose import smooth_markers, track_segments
from jointload.intake.recording import SIDES, Plate
from jointload.landing.landed import Measure
from jointload.loads.contact import foot_contact
from jointload.loads.pressed_soles import PressedSoles
from jointload.loads.shared_plate import share_plates
from jointload.settings import Settings
from jointload.synthetic.board import BoardLanding

UNFILTERED = Settings(smoothing="fixed", cutoff=None, impact_cutoff=None)
ROUNDING = 1e-6


@lru_cache(maxsize=4)
def analysed(which: str, exact: bool) -> tuple[BoardLanding, Analysis]:
    made = board_landing(which, exact=exact)
    return made, analyse(session_of(made), UNFILTERED if exact else Settings(), variants=False)


def found(analysis: Analysis, quantity: str, side: str) -> Measure:
    return next(m for m in analysis.measures if (m.quantity, m.side) == (quantity, side))


def true_peak(made: BoardLanding, analysis: Analysis, side: str) -> float:
    events = analysis.landing.events.sides[side]
    time = made.landing.time
    span = (time >= events.touchdown) & (time <= events.landing_end)
    return float(made.landing.loads.of(f"{side}_knee", "adduction")[span].max())


@pytest.mark.parametrize("which", LANDINGS)
def test_both_feet_together_bear_what_the_plate_feels(which: str) -> None:
    """Net of the board, whatever the split: force and moment about the lab origin. Below the contact threshold of 20 N
    the board is not yet taken to stand on the plate."""
    made, analysis = analysed(which, True)
    force, moment = made.feet()
    contact, split = analysis.landing.contact, analysis.landing.split
    assert split is not None
    inner = np.flatnonzero(made.exact_plates()[0].force[1] > 20.0)[:-2]
    np.testing.assert_allclose(contact.force.sum(axis=1)[:, inner], force.sum(axis=1)[:, inner], atol=2.0)
    np.testing.assert_allclose(contact.moment.sum(axis=1)[:, inner], moment.sum(axis=1)[:, inner], atol=1.0)


@pytest.mark.parametrize("which", LANDINGS)
def test_the_true_split_is_one_of_the_feasible_ones(which: str) -> None:
    """Every component of the true right wrench lies between the corners' extremes while the foot bears load."""
    made, analysis = analysed(which, True)
    assert analysis.landing.split is not None
    split = analysis.landing.split.split
    force, moment = made.feet()
    bearing = split.frames & (force[1].sum(axis=0) > 300.0)
    true = np.concatenate((force[:, 0], moment[:, 0]))[:, bearing]
    corner = np.concatenate((split.force, split.moment))[..., bearing]
    slack = 0.01 * np.abs(true).max()
    inside = (corner.min(axis=1) - slack <= true) & (true <= corner.max(axis=1) + slack)
    assert inside.mean() > 0.98


@pytest.mark.parametrize("which", LANDINGS)
@pytest.mark.parametrize("exact", [True, False])
def test_the_interval_holds_the_true_knee_adduction_moment(which: str, exact: bool) -> None:
    made, analysis = analysed(which, exact)
    for side in SIDES:
        measure = found(analysis, "knee_adduction_moment_peak", side)
        assert measure.low - ROUNDING <= true_peak(made, analysis, side) <= measure.high + ROUNDING
        assert measure.low <= measure.value <= measure.high


def test_the_report_says_that_the_interval_is_too_wide() -> None:
    _, analysis = analysed("equal", False)
    said = [finding for finding in analysis.findings if finding.check == "split_interval"]
    assert len(said) == 2
    assert all("too wide to compare conditions" in finding.advice for finding in said)


def test_the_insoles_share_narrows_the_forces() -> None:
    """True shares given: the vertical force is known better, and the truth stays inside."""
    made, analysis = analysed("back foot heavy", True)
    landing = analysis.landing
    assert landing.split is not None
    wide = landing.split.split
    vertical = made.feet()[0][1]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = vertical[0] / vertical.sum(axis=0)
    insoles = PressedSoles({}, 0.0, 0.0, share, ())
    raw = replace(landing.contact, lost=(), findings=())
    plates = replace(landing.recording, plates=(whole_plate(made),))
    _, narrow = share_plates(raw, plates, landing.poses, landing.body, None, insoles)
    assert narrow is not None
    assert "insoles" in narrow.basis
    both = wide.frames & narrow.frames & (vertical.sum(axis=0) > 300.0)
    assert np.median((narrow.share_high - narrow.share_low)[both]) < 0.75 * np.median(
        (wide.share_high - wide.share_low)[both]
    )
    assert ((narrow.share_low - 1e-3 <= share) & (share <= narrow.share_high + 1e-3))[both].mean() > 0.98


def test_the_interval_is_the_value_in_frames_that_are_not_shared() -> None:
    """Both feet on one plate, then the left lifts: one shared frame makes no frame of the right foot alone unsure."""
    frames, shared = 100, 40
    lift = np.where(np.arange(frames) < shared, 0.0, 0.3)
    foot = {f"left {n}" for n in ("calcaneus", "metatarsal1", "metatarsal5")}
    path = {
        label: place[:, None] + np.stack([0 * lift, lift, 0 * lift]) if label in foot else place
        for label, place in standing_positions().items()
    }
    body = calibrate(recording(standing_positions()), LABELS, RIDER)
    vertical = np.full(frames, RIDER.weight)
    pressed = np.where(np.arange(frames) < shared, 0.0, 0.09) * np.array([[0.0], [0.0], [1.0]]) + [[0.03], [0.0], [0.0]]
    force = np.stack([0 * vertical, vertical, 0 * vertical])
    corners = np.array([[0.5, 0.5, -0.5, -0.5], [0.0] * 4, [-0.5, 0.5, 0.5, -0.5]])
    plate = Plate(1, 2, corners, force, np.cross(pressed, force, axis=0), "made up")
    trial = recording(path, frames, "trial", (plate,))
    markers, _ = smooth_markers(trial, body, None, 0.1)
    poses, _ = track_segments(markers, body, RATE)
    contact = foot_contact(trial, poses, body, None, 20.0)
    contact, split = share_plates(contact, trial, poses, body, None)
    assert split is not None and split.frames.any() and not split.frames[shared + 5 :].any()
    alone = np.flatnonzero(~split.frames)
    assert np.ptp(split.share_high - split.share_low) > 0.1
    for corner, value in ((split.force, contact.force[:, 0]), (split.moment, contact.moment[:, 0])):
        np.testing.assert_array_equal(corner[..., alone], np.broadcast_to(value[:, None], corner.shape)[..., alone])
    assert split.force[1, :, alone].min() == pytest.approx(RIDER.weight)


def whole_plate(made: BoardLanding) -> Plate:
    """What the plate would feel of the feet alone, at the deck's height."""
    force, moment = made.feet()
    (plate,) = made.exact_plates()
    raised = plate.corners + np.array([[0.0], [made.board.deck_height], [0.0]])
    return replace(plate, corners=raised, force=force.sum(axis=1), moment=moment.sum(axis=1))

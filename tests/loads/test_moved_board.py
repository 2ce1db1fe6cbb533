"""What moves a board, on the feet that stand on it."""

from __future__ import annotations

import numpy as np
from boards import board_landing, session_of

from jointload.analysis import Analysis, analyse
from jointload.body.board import seen_labels
from jointload.intake.recording import SIDES, Array
from jointload.loads.moved_board import MovedBoard, on_feet
from jointload.loads.soles import sole_outlines
from jointload.settings import Settings
from jointload.synthetic.board import PlatesUnder

UNFILTERED = Settings(smoothing="fixed", cutoff=None, impact_cutoff=None)


def moved_on_feet(plates: PlatesUnder) -> tuple[Analysis, MovedBoard, Array, tuple[Array, Array]]:
    """The analysis, the board, its parts' wrenches and those on the feet."""
    analysis = analyse(session_of(board_landing("back foot heavy", plates, exact=True)), UNFILTERED, variants=False)
    landing, trial = analysis.landing, analysis.landing.recording
    moved = landing.moved_board
    assert moved is not None
    markers = trial.markers[:, [trial.labels.index(label) for label in seen_labels(moved.board, trial)]]
    step, samples = trial.samples_per_frame, landing.contact.fast_force.shape[-1]
    wrenches = moved.wrenches(markers, trial.point_rate, step, samples)
    soles = sole_outlines(landing.poses, landing.body)
    return analysis, moved, wrenches, on_feet(moved, wrenches, landing.contact, soles, step)


def test_a_half_on_a_plate_of_its_own_is_that_foots() -> None:
    """And is what the plate felt beside the foot."""
    analysis, moved, wrenches, (force, moment) = moved_on_feet("one a foot")
    assert wrenches.shape[2] == 2
    for side in range(len(SIDES)):
        plate = analysis.session.trial.plates[side]
        left = plate.force - analysis.landing.contact.fast_force[:, side]
        np.testing.assert_allclose(left, force[:, side], rtol=0, atol=1e-6)
        np.testing.assert_allclose(wrenches[1, :, moved.plates.index(side)], moment[:, side], rtol=0, atol=1e-9)


def test_both_feet_on_one_plate_bear_the_whole_board() -> None:
    """Forces and moments about the laboratory's origin add up, wherever either foot bears some of the plate."""
    analysis, _, wrenches, (force, moment) = moved_on_feet("one")
    assert wrenches.shape[2] == 1
    borne = np.isfinite(analysis.landing.contact.fast_force).all(axis=(0, 1))
    np.testing.assert_allclose(force.sum(axis=1)[:, borne], wrenches[0, :, 0][:, borne], rtol=0, atol=1e-8)
    np.testing.assert_allclose(moment.sum(axis=1)[:, borne], wrenches[1, :, 0][:, borne], rtol=0, atol=1e-8)
    assert np.abs(force[1]).max(axis=1).min() > 50.0


def test_draws_without_errors_are_the_board_itself() -> None:
    analysis, moved, wrenches, _ = moved_on_feet("one a foot")
    trial = analysis.landing.recording
    markers = trial.markers[:, [trial.labels.index(label) for label in moved.labels]]
    drawn = np.repeat(markers[:, :, None], 3, axis=2)
    drawn[:, :, 2, 900] += 1e-3
    step, samples = trial.samples_per_frame, wrenches.shape[-1]
    three = moved.wrenches(drawn, trial.point_rate, step, samples)
    np.testing.assert_allclose(three[..., :2, :], np.repeat(wrenches[..., None, :], 2, axis=-2), rtol=0, atol=1e-6)
    assert np.abs(three[..., 2, :] - wrenches).max() > 1.0


def test_a_part_of_the_recording_has_the_same_board() -> None:
    analysis, moved, wrenches, _ = moved_on_feet("one a foot")
    trial = analysis.landing.recording
    markers = trial.markers[:, [trial.labels.index(label) for label in moved.labels]]
    part = slice(100, trial.frames)
    of_part = moved.around(part).wrenches(
        markers[..., part],
        trial.point_rate,
        trial.samples_per_frame,
        wrenches.shape[-1] - 100 * trial.samples_per_frame,
    )
    inner = slice(10, -10)
    np.testing.assert_allclose(
        of_part[..., inner], wrenches[..., 100 * trial.samples_per_frame :][..., inner], rtol=0, atol=1e-6
    )

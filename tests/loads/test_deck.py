"""Plates under a board: what is left for the feet, and where the board is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from boards import board_landing, session_of

from jointload.analysis import Analysis, analyse
from jointload.body.board import track_board
from jointload.intake.recording import SIDES
from jointload.intake.session import Session
from jointload.landing.measures.load_measures import MOMENT_PEAKS
from jointload.settings import Settings
from jointload.synthetic.board import BoardLanding
from jointload.synthetic.standing import SILENT

UNFILTERED = Settings(smoothing="fixed", cutoff=None, impact_cutoff=None)
CAMERA = 3e-4
"""Noise of the markers [m], that of models/uncertainty."""
TWO_PER_CENT = 0.02
"""What the moments may miss of their peak with one plate per foot."""


def run(session: Session, settings: Settings = UNFILTERED) -> Analysis:
    return analyse(session, settings, variants=False)


def said(analysis: Analysis, check: str = "board") -> str:
    return "; ".join(f"{f.severity}: {f.evidence}" for f in analysis.findings if f.check == check)


def moved(made: BoardLanding, x: float = 0.0, z: float = 0.0) -> Session:
    """One plate, its middle moved under the board."""
    return session_of(replace(made, shift=(x, z)))


def test_one_plate_a_foot_and_a_board_meet_the_true_moments() -> None:
    """Markers at 2000 Hz, no noise, no filter; peaks of the knee and hip moments within 2 % of the truth."""
    made = board_landing("back foot heavy", "one a foot", exact=True)
    analysis = run(session_of(made))
    assert "each bear one half of the board" in said(analysis)
    time, worst = made.landing.time, 0.0
    for side in SIDES:
        events = analysis.landing.events.sides[side]
        span = (time >= events.touchdown) & (time <= events.landing_end)
        for name, (joint, rotation, kind, sign) in MOMENT_PEAKS.items():
            true, got = (
                sign * loads.of(f"{side}_{joint}", rotation, kind)
                for loads in (made.landing.loads, analysis.landing.loads)
            )
            largest = np.abs(true[span]).max()
            worst = max(worst, abs(got[span].max() - true[span].max()) / largest)
            assert abs(got[span].max() - true[span].max()) < TWO_PER_CENT * largest, name
    assert worst > 0.0


@pytest.mark.parametrize(("rate", "false"), [(100.0, 0.08), (250.0, 0.04)])
def test_a_board_that_stops_between_two_frames_leaves_little_false_impact(rate: float, false: float) -> None:
    """The feet's force by the default smoothing, as a share of its largest: at 100 Hz, with knots at the frames as the
    feet's markers have, the board's stop would begin before the plates feel it, and 12 % be false."""
    made = board_landing("equal", "one a foot")
    spec = replace(made.landing.spec, marker_rate=rate, noise=replace(SILENT, camera=CAMERA))
    analysis = analyse(session_of(replace(made, landing=replace(made.landing, spec=spec))), variants=False)
    assert analysis.settings.smoothing == "balanced"
    late = np.nan_to_num(analysis.landing.recording.cameras_late)
    found, force = analysis.landing.contact.fast_force[1].sum(axis=0), made.feet()[0][1].sum(axis=0)
    true = np.interp(made.landing.time - late, made.landing.time, force)
    since = made.landing.time - min(made.landing.touchdown.values())
    strike = (since > -0.01) & (since < 0.04)
    assert np.abs(found - true)[strike].max() < false * np.abs(true)[strike].max()


def test_a_board_that_is_forgotten_spoils_the_moments() -> None:
    """The same landing without the board's file: its inertia, 1.0 kN at its stop, is taken for the feet's."""
    made = board_landing("back foot heavy", "one a foot", exact=True)
    force = run(session_of(made, board=False)).landing.contact.fast_force[1].sum(axis=0)
    true = made.feet()[0][1].sum(axis=0)
    assert np.abs(force - true).max() > 500.0


def test_a_board_is_in_the_air_then_on_the_plate() -> None:
    analysis = run(session_of(board_landing("equal", exact=True)))
    assert "pass: the board is in the air or not yet on a plate for 0.2" in said(analysis)
    assert "plate 1 bears it" in said(analysis)
    before = analysis.landing.contact.fast_force[:, :, :400]
    np.testing.assert_allclose(before, 0.0, atol=1e-6)


def test_a_board_half_off_the_plate_gives_no_moments() -> None:
    analysis = run(moved(board_landing("equal", exact=True), z=0.35))
    assert "refuse: the board is half off the plates" in said(analysis)
    peak = next(m for m in analysis.measures if m.quantity == "knee_adduction_moment_peak")
    assert np.isnan(peak.value)
    assert "half off the plates" in peak.note


def test_a_rider_who_lands_beside_a_flying_board_is_not_robbed_of_it() -> None:
    """The board stays up: the plates bear the rider alone."""
    made = board_landing("equal", exact=True)
    session = session_of(made)
    up = np.array([0.0, 0.6, 0.0])[:, None]
    markers = session.trial.markers.copy()
    for label in made.board.markers:
        markers[:, session.trial.labels.index(label)] += up
    force, moment = made.feet()
    (plate,) = made.exact_plates()
    plate = replace(plate, force=force.sum(axis=1), moment=moment.sum(axis=1))
    analysis = run(replace(session, trial=replace(session.trial, markers=markers, plates=(plate,))))
    assert "in the air or beside the plates while they bear load" in said(analysis)
    np.testing.assert_allclose(analysis.landing.contact.total, force[1].sum(axis=0))


def test_without_markers_its_inertia_is_ignored_and_bounded() -> None:
    made = board_landing("equal", exact=True)
    bare = replace(made.board, markers={})
    analysis = run(replace(session_of(made), board=bare))
    assert "its weight and inertia stay in the load of the feet, at most" in said(analysis)
    bound = float(said(analysis).split("at most ")[1].split(" N")[0])
    true = np.abs(made.board_wrench()[0][1]).max()
    assert true < bound < 2.0 * true


def test_a_board_that_bridges_two_plates_is_one_wrench() -> None:
    """Feet inside the board's supports: the plates feel the supports, not the feet, and are taken together."""
    made = board_landing("equal", "one a foot", exact=True)
    session = session_of(made)
    first, second = session.trial.plates
    apart = 0.33
    total_force, total_moment = first.force + second.force, first.moment + second.moment
    sideways = -total_moment[0] / np.where(np.abs(total_force[1]) > 1.0, total_force[1], np.inf)
    share = 0.5 + 0.5 * np.clip(sideways / apart, -1.0, 1.0)
    plates = []
    for plate, part, z in ((first, share, apart), (second, 1.0 - share, -apart)):
        force = part * total_force
        place = np.stack(
            (total_moment[2] / np.where(total_force[1] > 1.0, total_force[1], np.inf), 0 * part, z + 0 * part)
        )
        plates.append(replace(plate, force=force, moment=np.cross(place.T, force.T).T))
    analysis = run(replace(session, trial=replace(session.trial, plates=tuple(plates))))
    assert "plates 1 and 2 bear it together" in said(analysis)
    assert analysis.landing.split is not None


def test_a_ruler_error_is_told() -> None:
    made = board_landing("equal", exact=True)
    wrong = {label: place * np.array([1.1, 1.0, 1.0]) for label, place in made.board.markers.items()}
    analysis = run(replace(session_of(made), board=replace(made.board, markers=wrong)))
    assert said(analysis, "board_markers").startswith("warn")


@pytest.mark.parametrize("seen", [2, 3])
def test_a_label_that_the_recording_lacks_is_told(seen: int) -> None:
    """Also where three others remain, by which the board is followed as before."""
    made = board_landing("equal", exact=True)
    markers = {
        label if k < seen else f"{label}_typo": place for k, (label, place) in enumerate(made.board.markers.items())
    }
    analysis = run(replace(session_of(made), board=replace(made.board, markers=markers)))
    absent = list(made.board.markers)[seen:]
    lacking = "; ".join(f"{label}_typo, closest is {label}" for label in absent)
    assert f"warn: not in the recording: {lacking}" in said(analysis, "board_markers")
    assert ("weight and inertia of 2.8 kg taken out" in said(analysis)) == (seen == 3)


def test_the_board_is_tracked() -> None:
    made = board_landing("equal", exact=True)
    pose = track_board(made.recorded(), made.board, None, 0.1)
    assert pose is not None
    rotation, origin = made.pose(np.arange(pose.origin.shape[1]) / pose.rate)
    np.testing.assert_allclose(pose.rotation, rotation, atol=1e-9)
    np.testing.assert_allclose(pose.origin, origin, atol=1e-9)


@pytest.mark.parametrize("seen", [0, 2])
def test_two_markers_are_no_board(seen: int) -> None:
    made = board_landing("equal", exact=True)
    few = dict(list(made.board.markers.items())[:seen])
    assert track_board(made.recorded(), replace(made.board, markers=few), None, 0.1) is None

"""What is not seen gives no number and says why: a landing from which parts are taken away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from jointload.analysis import Analysis, analyse
from jointload.errors import SettingError
from jointload.intake.recording import Plate, Recording, split_side
from jointload.intake.session import Session
from jointload.landing.landed import Measure
from jointload.landing.measures.every_measure import SIDE_MEASURES
from jointload.landing.measures.force_measures import _time_of_largest, vertical_impulse_100ms
from jointload.numerics.signals import peak
from jointload.settings import Settings

LANDED = {
    "vertical_force_peak",
    "knee_flexion_peak",
    "knee_flexion_moment_peak",
    "knee_work_negative",
    "knee_over_ankle",
}
"""Numbers that need the whole landing of a side."""


def changed(clean_session: Session, trial: Recording) -> Session:
    return replace(clean_session, trial=trial)


def measured(analysis: Analysis, quantity: str, side: str = "right") -> Measure:
    (found,) = [m for m in analysis.measures if m.quantity == quantity and m.side == side]
    return found


def run(clean_session: Session, **settings: object) -> Analysis:
    return analyse(clean_session, replace(Settings(), **settings), variants=False)


def hidden(clean_session: Session, words: tuple[str, ...], start: float, stop: float) -> Session:
    """The session without the markers whose landmark or cluster starts with one of the words, its side aside."""
    landmarks = {v for k, v in clean_session.labels.landmarks.items() if _starts(k, words)}
    clusters = {label for k, v in clean_session.labels.clusters.items() if _starts(k, words) for label in v}
    trial = clean_session.trial
    markers = trial.markers.copy()
    rows = [trial.labels.index(label) for label in landmarks | clusters if label in trial.labels]
    markers[:, rows, round(start * trial.point_rate) : round(stop * trial.point_rate)] = np.nan
    return changed(clean_session, replace(trial, markers=markers))


def _starts(name: str, words: tuple[str, ...]) -> bool:
    return name.startswith(words) or split_side(name)[1].startswith(words)


def cut(clean_session: Session, seconds: float) -> Session:
    """The recording ends earlier."""
    trial = clean_session.trial
    frames = round(seconds * trial.point_rate)
    samples = frames * trial.samples_per_frame
    plates = tuple(replace(p, force=p.force[:, :samples], moment=p.moment[:, :samples]) for p in trial.plates)
    return changed(clean_session, replace(trial, markers=trial.markers[..., :frames], plates=plates))


@pytest.fixture(scope="module")
def whole(clean_session: Session) -> Analysis:
    return run(clean_session)


@pytest.fixture(scope="module")
def touchdown(whole: Analysis) -> float:
    return whole.landing.events.first_touchdown


def test_the_whole_landing_gives_every_number(whole: Analysis) -> None:
    known = {m.quantity for m in whole.measures if m.side == "right" and np.isfinite(m.value)}
    assert known >= LANDED


def test_a_pelvis_that_is_not_seen_leaves_no_landing_numbers(clean_session: Session, touchdown: float) -> None:
    partly = run(hidden(clean_session, ("asis", "psis", "sacrum", "iliac"), touchdown + 0.03, touchdown + 0.5))
    for quantity in LANDED:
        found = measured(partly, quantity)
        assert np.isnan(found.value), quantity
        assert "pelvis is lowest" in found.note
    assert any(f.check == "no_landing_end" for f in partly.findings)


def test_a_recording_that_ends_early_leaves_no_landing_numbers(clean_session: Session, touchdown: float) -> None:
    short = run(cut(clean_session, touchdown + 0.06))
    for quantity in (*LANDED, "vertical_impulse_100ms"):
        found = measured(short, quantity)
        assert np.isnan(found.value), quantity
        assert "recording ends" in found.note
    assert np.isfinite(measured(short, "knee_flexion_touchdown").value)


def test_a_thigh_that_is_not_seen_moves_no_alignment_to_another_instant(
    clean_session: Session, whole: Analysis, touchdown: float
) -> None:
    partly = run(hidden(clean_session, ("right_thigh",), touchdown + 0.1, touchdown + 0.3))
    for quantity in ("knee_flexion_peak", "knee_over_ankle", "tibia_inclination_frontal"):
        assert np.isnan(measured(partly, quantity).value), quantity
    assert measured(partly, "vertical_force_peak").value == measured(whole, "vertical_force_peak").value


ONE_STRIKE = 5e-3
"""Share by which one plate's single touch-down in place of two moves a balanced peak."""


def one_plate(clean_session: Session) -> Session:
    """Both feet on one plate that is as wide as both: its wrench is the sum."""
    first, second = clean_session.trial.plates
    corners = np.concatenate((first.corners, second.corners), axis=1)
    x, z = (corners[0].min(), corners[0].max()), (corners[2].min(), corners[2].max())
    outline = np.array([[x[1], x[1], x[0], x[0]], [0.0] * 4, [z[0], z[1], z[1], z[0]]])
    both = Plate(1, 2, outline, first.force + second.force, first.moment + second.moment, "made up")
    return changed(clean_session, replace(clean_session.trial, plates=(both,)))


def test_two_feet_on_one_plate_give_moments_with_an_interval(clean_session: Session, whole: Analysis) -> None:
    shared = run(one_plate(clean_session))
    for name in ("knee_flexion_moment_peak", "knee_adduction_moment_peak", "hip_work_negative", "vertical_force_peak"):
        split = measured(shared, name)
        assert split.low < measured(whole, name).value < split.high, "two plates tell what one must leave open"
        assert split.low <= split.value <= split.high
        assert "shared plate" in split.note
    lumbar = measured(shared, "l5s1_extension_moment_peak", "")
    assert np.isnan(lumbar.low), "the lower back bears both feet together, however they share"
    fixed = [run(session, smoothing="fixed") for session in (one_plate(clean_session), clean_session)]
    one, two = (measured(each, "l5s1_extension_moment_peak", "").value for each in fixed)
    assert one == pytest.approx(two, rel=1e-6)
    assert lumbar.value == pytest.approx(measured(whole, "l5s1_extension_moment_peak", "").value, rel=ONE_STRIKE)
    assert measured(shared, "knee_flexion_peak").value == pytest.approx(
        measured(whole, "knee_flexion_peak").value, abs=0.02
    )
    total, parts = (measured(a, "vertical_force_total_peak", "").value for a in (shared, whole))
    assert total == pytest.approx(parts, rel=1e-6)
    assert shared.landing.events.kind == "landing"


@pytest.mark.parametrize("part", [0.0, 0.3, 0.9])
def test_an_impulse_begins_between_two_samples(whole: Analysis, part: float) -> None:
    """A force that rises by 40 N a sample, from anywhere in a sample: 20 N x 0.1 s + 40,000 N/s x
    (0.1 s)^2 / 2 = 202 N s from where it passes 20 N; the time to its largest value counts from there, too."""
    landing, rate = whole.landing, 1000.0
    contact, start = landing.contact, 300.0 + part
    rise = np.minimum(40.0 * (np.arange(contact.total.size) - start), 6000.0)
    force = contact.fast_force.copy()
    force[1, 0] = rise
    touched = float(np.argmax(rise > 20.0)) / rate
    right = replace(landing.events.sides["right"], touchdown=touched, landing_end=touched + 0.12)
    events = replace(landing.events, sides={**landing.events.sides, "right": right})
    ramp = replace(landing, contact=replace(contact, fast_force=force, fast_rate=rate), events=events, _filtered=[])
    impulse, note = vertical_impulse_100ms(ramp, "right")
    assert impulse == pytest.approx(202.0, abs=1e-9) and not note
    last = round((touched + 0.12) * rate)
    assert _time_of_largest(rise, ramp, "right") == pytest.approx((last - start - 0.5) / rate, abs=1e-9)


def test_a_side_that_never_lands_keeps_its_rows(clean_session: Session) -> None:
    right_only = run(changed(clean_session, replace(clean_session.trial, plates=clean_session.trial.plates[:1])))
    rows = [m for m in right_only.measures if m.side == "left"]
    assert {m.quantity for m in rows} >= set(SIDE_MEASURES)
    assert not [m.quantity for m in rows if np.isnan(m.value) and not m.note and not m.word]


def test_weights_of_plate_and_rider_stand_apart(clean_session: Session) -> None:
    lighter = replace(clean_session, rider=replace(clean_session.rider, mass=0.95 * clean_session.rider.mass))
    analysis = run(lighter)
    assert measured(analysis, "body_weight_rider", "").value == pytest.approx(lighter.rider.weight)
    assert measured(analysis, "body_weight_plate", "").value == pytest.approx(clean_session.rider.weight, rel=0.01)


def test_the_standing_zero_changes_angles_and_no_moment(clean_session: Session, whole: Analysis) -> None:
    standing = run(clean_session, angle_zero="standing")
    assert measured(standing, "ankle_dorsiflexion_peak").value != measured(whole, "ankle_dorsiflexion_peak").value
    for quantity in ("knee_adduction_moment_peak", "hip_adduction_moment_peak", "ankle_inversion_moment_peak"):
        assert measured(standing, quantity).value == measured(whole, quantity).value, quantity


def test_adduction_and_abduction_are_two_sides_of_one_curve(whole: Analysis) -> None:
    landing = whole.landing
    for side in ("right", "left"):
        moment = landing.loads.of(f"{side}_knee", "adduction")[landing.window(side)]
        assert measured(whole, "knee_adduction_moment_peak", side).value == peak(moment) >= moment.max()
        assert measured(whole, "knee_abduction_moment_peak", side).value == peak(-moment) >= -moment.min()


def test_smoothing_after_the_dynamics_leaves_the_residual_readable(clean_session: Session, whole: Analysis) -> None:
    after = run(clean_session, smoothing="after")
    before = measured(whole, "unexplained_force", "").value
    assert measured(after, "unexplained_force", "").value < 3 * before + 20.0


def test_raised_plates_are_still_stood_on(clean_session: Session, whole: Analysis) -> None:
    """The whole landing 6 cm higher, as on a plinth, with a static trial on the floor."""
    lift = np.array([0.0, 0.06, 0.0])
    plates = tuple(
        replace(p, corners=p.corners + lift[:, None], moment=p.moment + np.cross(lift, p.force.T).T)
        for p in clean_session.trial.plates
    )
    trial = replace(clean_session.trial, markers=clean_session.trial.markers + lift[:, None, None], plates=plates)
    raised = run(changed(clean_session, trial))
    for quantity in ("knee_flexion_moment_peak", "vertical_force_peak"):
        assert measured(raised, quantity).value == pytest.approx(measured(whole, quantity).value, rel=0.01), quantity


def test_a_landing_that_is_not_there_is_told(clean_session: Session) -> None:
    with pytest.raises(SettingError, match="1 that follow a flight"):
        run(clean_session, landing=2)


def test_mirroring_the_rider_swaps_the_sides(clean_session: Session, whole: Analysis) -> None:
    """Left and right exchanged in markers, labels and plates: every number changes side and nothing else."""
    mirrored = run(_mirrored(clean_session))
    for name in SIDE_MEASURES:
        for side, other in (("right", "left"), ("left", "right")):
            here, there = measured(whole, name, side).value, measured(mirrored, name, other).value
            assert there == pytest.approx(here, rel=1e-6, abs=1e-6, nan_ok=True), name


def _mirrored(clean_session: Session) -> Session:
    flip = np.array([1.0, 1.0, -1.0])

    def mirror(recording: Recording) -> Recording:
        plates = tuple(
            replace(
                p,
                corners=(p.corners * flip[:, None])[:, [1, 0, 3, 2]],
                force=p.force * flip[:, None],
                moment=p.moment * -flip[:, None],
            )
            for p in recording.plates
        )
        return replace(recording, markers=recording.markers * flip[:, None, None], plates=plates)

    def other(name: str) -> str:
        side, rest = split_side(name)
        return f"{'left' if side == 'right' else 'right'}_{rest}" if side else name

    labels = replace(
        clean_session.labels,
        landmarks={other(k): v for k, v in clean_session.labels.landmarks.items()},
        clusters={other(k): v for k, v in clean_session.labels.clusters.items()},
    )
    return replace(clean_session, trial=mirror(clean_session.trial), static=mirror(clean_session.static), labels=labels)

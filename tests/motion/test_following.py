"""Markers followed as quickly as the plates say, against landings whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from landed import landed

from jointload.analysis import analyse, fit_body, plates_struck
from jointload.body.calibration import FittedBody
from jointload.intake.recording import Recording
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.motion.following import AS_CAMERA, follow
from jointload.motion.roughness import roughness
from jointload.settings import Settings
from jointload.synthetic.landing import SyntheticLanding
from jointload.synthetic.measurement import as_recording, exact_markers
from jointload.synthetic.specification import LandingSpec
from jointload.synthetic.standing import SILENT, Noise, label_map, static_recording
from jointload.synthetic.truth import UNFILTERED, truth_table

RIDER = Rider("rider_f", 66.0, 1.71, "f", stance="right")
USUAL = Settings()
FALSE_IMPACT = 0.02
"""Moment [Nm/kg], root mean square, that noise may make where nothing strikes."""
SAME = 0.02
"""Share of a peak by which derivatives of splines and central differences at 250 Hz may differ."""


@pytest.fixture(scope="module")
def landing() -> SyntheticLanding:
    """Followed until the rider stands still."""
    return landed(LandingSpec(RIDER, drop=0.5, peak=5.5, settling=1.3, marker_rate=50.0))


def recorded(landing: SyntheticLanding, rate: float, silent: bool = False) -> Recording:
    noise = SILENT if silent else landing.spec.noise
    return as_recording(replace(landing, spec=replace(landing.spec, marker_rate=rate, noise=noise)))


def body_of(landing: SyntheticLanding) -> FittedBody:
    static = static_recording(RIDER)
    return fit_body(Session(static, static, label_map(), RIDER), RIDER, USUAL)


@pytest.mark.parametrize(("rate", "followed"), [(50.0, 250.0), (100.0, 500.0), (250.0, 250.0), (1000.0, 1000.0)])
def test_slow_recordings_are_followed_at_a_finer_rate(landing: SyntheticLanding, rate: float, followed: float) -> None:
    trial, body = recorded(landing, rate), body_of(landing)
    made = follow(trial, body, None, USUAL.longest_gap, plates_struck(trial, USUAL))
    assert made.recording.point_rate == followed
    assert made.recording.force_rate % made.recording.point_rate == 0
    assert made.recording.time[-1] == pytest.approx(trial.time[-1])
    assert set(made.recording.labels) == set(trial.labels)


def test_a_strike_is_followed_quicker_than_the_flight(landing: SyntheticLanding) -> None:
    trial, body = recorded(landing, 250.0), body_of(landing)
    rough = roughness(trial, body, plates_struck(trial, USUAL))
    since = trial.time - min(landing.touchdown.values())
    foot, trunk = rough.density("foot"), rough.density("trunk")
    assert foot[(since > 0.02) & (since < 0.05)].min() > 1e3 * foot[since < -0.1].max()
    assert (foot >= trunk).all()
    assert trunk[since > 0.5].max() < 1e-2 * trunk.max()


def test_the_noise_is_measured_and_mostly_taken_out(landing: SyntheticLanding) -> None:
    trial, body = recorded(landing, 250.0), body_of(landing)
    still = replace(trial, markers=trial.markers[..., :50], plates=())
    rng = np.random.default_rng(3)
    exact = exact_markers(replace(landing, spec=replace(landing.spec, marker_rate=250.0)))
    noisy = {n: x[:, :50] + 3e-4 * rng.standard_normal((3, 50)) for n, x in exact.items()}
    still = replace(still, labels=tuple(noisy), markers=np.stack(list(noisy.values()), axis=1))
    made = follow(still, body, None, USUAL.longest_gap, ())
    with_skin = 3e-4 * np.sqrt(1.0 + still.point_rate / AS_CAMERA)
    assert all(level == pytest.approx(with_skin, rel=0.25) for level in made.smoother.noise.values())
    left = np.concatenate([made.markers[n] - exact[n][:, :50] for n in made.markers])
    assert np.std(left) < 0.5 * 3e-4


def test_a_gap_at_the_end_stays_a_gap(landing: SyntheticLanding) -> None:
    trial, body = recorded(landing, 250.0), body_of(landing)
    markers = trial.markers.copy()
    rows = [trial.labels.index(label) for label in body.clusters["trunk"].labels]
    row = rows[0]
    markers[:, rows, -40:] = np.nan
    made = follow(replace(trial, markers=markers), body, None, USUAL.longest_gap, plates_struck(trial, USUAL))
    seen = made.recording.markers[0, made.recording.labels.index(trial.labels[row])]
    assert np.isnan(seen[-40:]).all() and np.isfinite(seen[:-40]).all()


@pytest.mark.parametrize("rate", [100.0, 250.0, 1000.0])
def test_calm_stays_calm(landing: SyntheticLanding, rate: float) -> None:
    """Cameras and plates with noise, in flight, where joints bear nothing, and standing still after the landing."""
    made = replace(landing, spec=replace(landing.spec, noise=Noise(skin=0.0)))
    session = Session(recorded(made, rate), static_recording(RIDER), label_map(), RIDER)
    found = analyse(session, USUAL, variants=False).landing
    frames = found.recording.frames
    time, step = found.recording.time, round(made.spec.force_rate / found.poses.rate)
    false = (found.loads.components - made.loads.components[..., ::step][..., :frames]) / RIDER.mass
    touchdown = min(made.touchdown.values())
    for calm in ((time > 0.02) & (time < touchdown - 0.05), time > touchdown + 1.1):
        assert np.sqrt(np.nanmean(false[..., calm] ** 2, axis=-1)).max() < FALSE_IMPACT


def test_exact_markers_give_the_unfiltered_answer(landing: SyntheticLanding) -> None:
    """Without noise nothing is smoothed, and a rigid body leaves nothing to lay on flesh."""
    session = Session(recorded(landing, 250.0, silent=True), static_recording(RIDER), label_map(), RIDER)
    balanced, raw = (analyse(session, settings, variants=False) for settings in (Settings(), UNFILTERED))
    found, same = ({(m.quantity, m.side): m.value for m in each.measures} for each in (balanced, raw))
    moments = [row for row in truth_table(landing) if row.quantity.endswith("moment_peak")]
    assert len({row.quantity for row in moments}) > 3
    for row in moments:
        size = max(abs(row.value), 0.1 * RIDER.mass)
        assert abs(found[row.quantity, row.side] - same[row.quantity, row.side]) < SAME * size, row

"""Flesh that swings, and the balance that finds it, against laws of mechanics and landings of known truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from landed import landed

from jointload.analysis import analyse
from jointload.body.calibration import FittedBody
from jointload.intake.rider import G, Rider
from jointload.loads.balance import _swing
from jointload.settings import Settings
from jointload.synthetic.disturbed import disturbed
from jointload.synthetic.flesh import Flesh
from jointload.synthetic.landing import SyntheticLanding
from jointload.synthetic.specification import LandingSpec
from jointload.synthetic.standing import fitted_body
from jointload.synthetic.truth import truth_table

RIDER = Rider("rider_w", 74.0, 1.78, "m", stance="left")
SPEC = LandingSpec(RIDER, drop=0.5, peak=5.0, settling=0.5)
PROXIMAL = ("hip_flexion_moment_peak", "hip_adduction_moment_peak", "l5s1_extension_moment_peak")
FLESH = {
    "shank": Flesh(0.55, 16.0, 0.3),
    "thigh": Flesh(0.65, 12.0, 0.3),
    "pelvis": Flesh(0.45, 12.0, 0.3),
    "trunk": Flesh(0.40, 8.0, 0.3),
}


def flesh_of(body: FittedBody) -> dict[str, Flesh]:
    return {name: FLESH[name.split("_")[-1]] for name in body.segments if name.split("_")[-1] in FLESH}


@pytest.fixture(scope="module")
def landing() -> SyntheticLanding:
    return landed(SPEC, flesh=flesh_of(fitted_body(RIDER)))


def errors(landing: SyntheticLanding, settings: Settings) -> dict[str, float]:
    """Mean share by which the peaks of both sides are off, recorded with cameras and skin in motion alone."""
    session = disturbed(landing, 5, size=0.0, motion=1.0).session
    found = {(m.quantity, m.side): m.value for m in analyse(session, settings, variants=False).measures}
    truth = [row for row in truth_table(landing) if row.quantity in PROXIMAL]
    return {
        name: float(np.mean([abs(found[r.quantity, r.side] / r.value - 1) for r in truth if r.quantity == name]))
        for name in PROXIMAL
    }


def test_newton_holds_with_flesh(landing: SyntheticLanding) -> None:
    """The force is mass times acceleration of all parts, and weight; the flesh floats in flight and hangs at rest."""
    mass = [float(landing.body.inertia[name].mass) for name in landing.body.segments if name in landing.body.inertia]
    force = np.einsum("s,isn->in", mass, landing.motion.acceleration)
    force += landing.trunk.mass * landing.trunk_motion.acceleration[:, 0]
    force[1] += RIDER.weight
    np.testing.assert_allclose(force, landing.force.sum(axis=1), atol=1e-6 * landing.force.max())
    floating = G / (2 * np.pi * 12.0) ** 2
    np.testing.assert_allclose(landing.swing["left_thigh"][1, :100], floating, atol=1e-6)
    assert 0.005 < np.abs(landing.swing["left_thigh"]).max() < 0.03


def test_flesh_moves_the_truth_and_not_the_plates(landing: SyntheticLanding) -> None:
    rigid = landed(SPEC)
    np.testing.assert_allclose(landing.force[1].sum(axis=0), rigid.force[1].sum(axis=0), atol=0.02 * rigid.force.max())
    peaks = [{(r.quantity, r.side): r.value for r in truth_table(each)} for each in (landing, rigid)]
    key = ("l5s1_extension_moment_peak", "")
    assert abs(peaks[0][key] / peaks[1][key] - 1.0) > 0.01


def test_a_swing_is_that_of_a_damped_spring() -> None:
    """A step of the bone's acceleration: the flesh lags at once, and hangs still beside a new place in the end."""
    dt, hertz, damping = 1e-4, 10.0, 0.3
    time = np.arange(0.0, 1.0, dt)
    bone = np.where(time > 0.1, 20.0, 0.0)[None]
    swing = _swing(bone, hertz, damping, dt)[0]
    w = 2 * np.pi * hertz
    free = w * np.sqrt(1 - damping**2)
    t = time[time > 0.1] - 0.1
    closed = -20.0 * np.exp(-damping * w * t) * (np.cos(free * t) - damping * w / free * np.sin(free * t))
    np.testing.assert_allclose(swing[time > 0.1], closed, atol=0.1)


def test_the_balance_brings_the_hips_and_the_back_nearer_to_the_truth(landing: SyntheticLanding) -> None:
    balanced, fixed = errors(landing, Settings()), errors(landing, Settings(smoothing="fixed"))
    assert sum(balanced.values()) < 0.7 * sum(fixed.values())
    assert balanced["l5s1_extension_moment_peak"] < fixed["l5s1_extension_moment_peak"]


def test_a_rigid_body_is_given_little_flesh() -> None:
    session = disturbed(landed(SPEC), 5, size=0.0, motion=0.0).session
    balance = analyse(session, Settings(), variants=False).landing.balance
    assert balance is not None
    assert all(abs(float(share)) < 0.05 for share in balance.share.values())


def test_flesh_is_found_where_there_is_some(landing: SyntheticLanding) -> None:
    session = disturbed(landing, 5, size=0.0, motion=1.0).session
    balance = analyse(session, Settings(), variants=False).landing.balance
    assert balance is not None
    assert float(balance.share["trunk"]) > 0.1
    assert np.sqrt(np.mean(balance.left**2)) < 0.7 * np.sqrt(np.mean(balance.force**2))


def test_nothing_is_balanced_where_part_of_the_body_stands_beside_the_plates(landing: SyntheticLanding) -> None:
    session = disturbed(landing, 5, size=0.0, motion=1.0).session
    right, left = session.trial.plates
    half = replace(left, force=0.3 * left.force, moment=0.3 * left.moment)
    trial = replace(session.trial, plates=(right, half))
    analysis = analyse(replace(session, trial=trial), Settings(), variants=False)
    assert analysis.landing.balance is None and analysis.settings.smoothing == "fixed"
    (told,) = [finding for finding in analysis.findings if finding.check == "smoothing"]
    assert told.evidence.startswith("no landing that the plates bear as a whole")

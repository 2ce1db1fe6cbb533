"""What is drawn: evenly, to the bit, alike where recordings share it and apart where they do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jointload.analysis import Analysis
from jointload.uncertainty.draws import PlateErrors, Streams, draw_inputs
from jointload.uncertainty.skin import KNOTS, draw_skin
from jointload.uncertainty.spreads import load_source, load_sources

MANY = 512


def streams(analysis: Analysis, trial: str = "flat", seed: int = 0) -> Streams:
    session = replace(analysis.session, trial=replace(analysis.session.trial, name=trial))
    return Streams.of(session, seed)


def test_normal_numbers_are_normal_and_independent(flat: Analysis) -> None:
    """Equal slices: mean and deviation far nearer than the 0.04 of random numbers, correlations like theirs; quantiles
    of the normal distribution."""
    drawn = streams(flat).normal(load_source("placement"), MANY, 60)
    assert np.abs(drawn.mean(axis=1)).max() < 0.01
    assert np.abs(drawn.std(axis=1) - 1.0).max() < 0.02
    between = np.corrcoef(drawn) - np.eye(60)
    assert np.abs(between).max() < 5.0 / np.sqrt(MANY)
    np.testing.assert_allclose(np.quantile(drawn, (0.025, 0.16, 0.84, 0.975)), (-1.96, -0.994, 0.994, 1.96), atol=0.03)


def test_two_inputs_do_not_follow_each_other(flat: Analysis) -> None:
    first, second = (streams(flat).normal(load_source(name), MANY, 12) for name in ("placement", "joint_centre"))
    between = np.corrcoef(first, second)[:12, 12:]
    assert np.abs(between).max() < 5.0 / np.sqrt(MANY)
    halves = np.corrcoef(first > 0, second > 0)[:12, 12:]
    assert np.abs(halves).max() < 5.0 / np.sqrt(MANY)


def test_draws_are_the_same_to_the_bit(flat: Analysis) -> None:
    for name in ("placement", "pressure_centre", "inertia"):
        once, twice = (streams(flat).normal(load_source(name), 50, 7) for _ in range(2))
        assert np.array_equal(once, twice)
    assert not np.array_equal(once, streams(flat, seed=1).normal(load_source("inertia"), 50, 7))


def test_recordings_share_what_is_the_same_for_them(flat: Analysis) -> None:
    """Placement wholly, the centre of pressure to its repeatable share, the clock not at all."""
    expected = {"placement": 1.0, "inertia": 1.0, "pressure_centre": 0.5, "time_offset": 0.0}
    for name, shared in expected.items():
        source = load_source(name)
        first, second = (streams(flat, trial).normal(source, MANY, 8).ravel() for trial in ("flat", "wedge"))
        assert abs(np.corrcoef(first, second)[0, 1] - shared) < 0.06, name


def test_a_plate_seen_shifted_moves_the_moment_by_force_times_distance() -> None:
    """Closed form: a vertical force seen 10 mm forward turns about Z by 0.01 F, 10 mm to the right about X by -0.01
    F."""
    force, moment = np.zeros((3, 2, 4)), np.zeros((3, 2, 4))
    force[1] = 800.0
    place = np.zeros((3, 2, 1))
    place[0, 0], place[2, 1] = 0.01, 0.01
    _, shifted = PlateErrors(np.ones((2, 1)), place).disturbed(force, moment)
    np.testing.assert_allclose(shifted[2, 0, 0], 8.0)
    np.testing.assert_allclose(shifted[0, 1, 0], -8.0)
    assert not shifted[1].any()


def test_what_is_switched_off_is_without_error(flat: Analysis) -> None:
    inputs = draw_inputs(flat.session, flat.landing, {}, streams(flat), 8, 4)
    assert not inputs.body.places and not inputs.plates.place.any() and not inputs.offset.any()
    for mass, shift, radius in inputs.body.inertia.values():
        assert (mass == 1.0).all() and (radius == 1.0).all() and not shift.any()
    assert (inputs.plates.gain == 1.0).all() and (inputs.cutoff == 1.0).all()


def test_cutoffs_fill_their_range_evenly(flat: Analysis) -> None:
    low, high = load_source("cutoff").content["spread"]["factor"]
    factors = draw_inputs(flat.session, flat.landing, load_sources(("cutoff",)), streams(flat), 100, 5).cutoff
    place = np.sort(np.log(factors[::5] / low) / np.log(high / low))
    np.testing.assert_allclose(place, (np.arange(20) + 0.5) / 20, atol=1e-12)
    assert all(np.ptp(factors[k : k + 5]) == 0 for k in range(0, 100, 5))


def test_skin_moves_as_much_as_its_table_says(flat: Analysis) -> None:
    """Long after touch-down: the shift of the cluster's middle, its turn about each axis, and what is left."""
    source = load_source("skin")
    skin = draw_skin(source, streams(flat), 400, {"right_thigh": 4})
    arms = np.array([[0.1, -0.1, 0.0, 0.0], [0.0, 0.0, 0.1, -0.1], [0.0, 0.0, 0.0, 0.0]])
    since = np.linspace(0.6, 1.2, 30)
    moved = skin.displacement("right_thigh", arms, since, 4.0, slice(0, 400))
    size = source.content["segments"]["thigh"]
    own = size["deformation_mm"] ** 2 / 4
    middle = 1000 * moved.mean(axis=1).std(axis=(1, 2))
    np.testing.assert_allclose(middle, np.sqrt(size["translation_mm"] ** 2 + own), rtol=0.06)
    turn = np.rad2deg((moved[1, 0] - moved[1, 1]) / 0.2).std()
    expected = np.hypot(size["rotation_deg"], np.rad2deg(np.sqrt(2) * size["deformation_mm"] / 200.0))
    assert abs(turn / expected - 1.0) < 0.06


def test_skin_motion_grows_with_the_impact_and_is_smooth(flat: Analysis) -> None:
    source = load_source("skin")
    skin = draw_skin(source, streams(flat), 300, {"right_shank": 4})
    arms, since = np.zeros((3, 4)), np.arange(-0.2, 0.4, 0.004)
    hard, soft = (skin.displacement("right_shank", arms, since, peak, slice(0, 300)) for peak in (12.0, 6.0))
    size = hard.std(axis=(0, 1, 2))
    assert size[since < -0.05].mean() < 0.5 * size[since > 0.15].mean()
    swing = hard - soft
    assert not swing[..., since <= 0.0].any()
    assert swing[..., since > 0.35].std() < 0.05 * swing[..., (since > 0.01) & (since < 0.08)].std()
    least = skin.displacement("right_shank", arms, since, 3.0, slice(0, 300))
    np.testing.assert_allclose(swing, 2.0 * (soft - least), atol=1e-15)
    lag = round(source.content["time"]["correlation_s"] / 0.004)
    late = soft[..., since > 0.2]
    pairs = np.corrcoef(late[..., :-lag].ravel(), late[..., lag:].ravel())[0, 1]
    assert abs(pairs - np.exp(-0.25)) < 0.1


def test_skin_turns_less_in_walking_than_in_cutting(flat: Analysis) -> None:
    """Benoit et al. (2006): up to 4.4 deg and 13.0 mm walking (1.1 body weights), 13.1 deg and 16.1 mm cutting."""
    skin = draw_skin(load_source("skin"), streams(flat), 300, {"right_thigh": 2})
    arms, since = np.array([[0.1, -0.1], [0.0, 0.0], [0.0, 0.0]]), np.linspace(0.8, 1.2, 20)
    walking, cutting = (skin.displacement("right_thigh", arms, since, peak, slice(0, 300)) for peak in (1.1, 3.0))
    slide = [moved.mean(axis=1).std() for moved in (walking, cutting)]
    turn = [(moved[1, 0] - moved[1, 1]).std() for moved in (walking, cutting)]
    assert abs(slide[0] / slide[1] - 13.0 / 16.1) < 0.05
    assert 4.4 / 13.1 < turn[0] / turn[1] < 0.6, "the deformation, too, tilts the line between two markers"


def test_the_wander_has_knots_enough() -> None:
    time = load_source("skin").content["time"]
    assert KNOTS[-1] * time["correlation_s"] > 1.5

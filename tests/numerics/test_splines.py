"""Smoothing splines against what they must keep, a transfer function, and the spread of what they leave open."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline, CubicSpline

from jointload.numerics.splines import AT_KNOT, CubicCurve, JerkSpline, noise_level, quintic

RATE, SAMPLES, NOISE = 250.0, 400, 3e-4
TIME = np.arange(SAMPLES) / RATE


def spline(density: float = 250.0, noise: float = NOISE, finer: int = 1) -> JerkSpline:
    return JerkSpline.of(np.full(SAMPLES, density), noise, 1.0 / RATE, finer)


def test_a_parabola_stays_what_it_is() -> None:
    rows = np.stack((np.ones(SAMPLES), TIME, 3.0 * TIME**2 - TIME))
    np.testing.assert_allclose(spline().smooth(rows), rows, atol=1e-9)


def test_without_noise_the_data_are_met() -> None:
    rows = 0.1 * np.sin(2 * np.pi * 20.0 * TIME)
    np.testing.assert_allclose(spline(noise=1e-8).smooth(rows), rows, atol=1e-7)


@pytest.mark.parametrize("hertz", [8.0, 13.0, 16.0])
def test_a_sine_is_passed_as_the_two_densities_say(hertz: float) -> None:
    """Noise N and jerk density q: the best linear estimate passes q / (q + N dt w^6) (Wiener's filter; Winter DA (2009)
    chapter 2 on transfer functions is too coarse for it)."""
    density = 250.0
    passed = density / (density + NOISE**2 / RATE * (2 * np.pi * hertz) ** 6)
    smooth = spline(density).smooth(np.sin(2 * np.pi * hertz * TIME))
    middle = slice(150, 250)
    got = np.std(smooth[middle]) / np.std(np.sin(2 * np.pi * hertz * TIME)[middle])
    assert got == pytest.approx(passed, rel=0.03)


def test_a_finer_curve_passes_through_the_coarse_one() -> None:
    rows = np.sin(2 * np.pi * 5.0 * TIME)
    coarse, fine = spline().smooth(rows), spline(finer=4).smooth(rows)
    assert fine.shape == (4 * (SAMPLES - 1) + 1,)
    np.testing.assert_allclose(fine[::4], coarse, atol=1e-12)
    between = spline().smooth(np.sin(2 * np.pi * 5.0 * (TIME + 0.5 / RATE)))[:-1]
    np.testing.assert_allclose(fine[2::4][100:-100], between[100:-100], atol=1e-6)


def test_knots_between_the_data_let_a_curve_bend_where_its_density_is_high() -> None:
    """A path that stops at once between two samples: with knots at the samples it begins to stop far before."""
    every, fine = 5, np.arange((SAMPLES - 1) * 5 + 1) / (5 * RATE)
    stop = 0.8013
    path = np.where(fine < stop, fine, stop)
    density = np.where((fine >= stop) & (fine < stop + 0.02), 1e10, 1.0)
    seen = path[::every]
    sharp = JerkSpline.of(density, 1e-7, 1.0 / (5 * RATE), every=every).smooth(seen)
    blunt = JerkSpline.of(np.full(SAMPLES, 1e10), 1e-7, 1.0 / RATE, finer=every).smooth(seen)
    assert sharp.shape == blunt.shape == path.shape
    before = (fine > stop - 0.02) & (fine < stop - 0.0005)
    speed = [np.gradient(curve, fine)[before] for curve in (sharp, blunt)]
    assert np.abs(speed[0] - 1.0).max() < 0.2 * np.abs(speed[1] - 1.0).max()


def test_the_quintic_is_that_of_a_library_of_splines() -> None:
    places = np.linspace(-3.5, 3.5, 141)
    theirs = np.nan_to_num(BSpline.basis_element(np.arange(-3.0, 4.0), extrapolate=False)(places))
    np.testing.assert_allclose([quintic(place) for place in places], theirs, atol=1e-15)
    np.testing.assert_allclose([quintic(place) for place in range(-2, 3)], AT_KNOT, atol=1e-16)


@pytest.mark.parametrize("points", [2, 3, 4, 5, 60])
def test_a_cubic_curve_is_that_of_a_library_of_splines(points: int) -> None:
    rng = np.random.default_rng(points)
    places, values = np.cumsum(rng.uniform(0.5, 2.0, points)), rng.normal(size=(2, 3, points))
    at = np.linspace(places[0] - 0.5, places[-1] + 0.5, 300)
    theirs = CubicSpline(places, values, axis=2)(at)
    np.testing.assert_allclose(CubicCurve.through(places, values)(at), theirs, atol=1e-12)


@pytest.mark.parametrize("own", [NOISE, 0.5 * NOISE])
def test_what_is_left_open_has_the_spread_of_the_error(own: float) -> None:
    """Trajectories drawn from the model itself, recorded with noise: error and doubt are alike, calm and rough, also
    where the data are better than they are smoothed for."""
    rng = np.random.default_rng(1)
    density = np.where(np.abs(TIME - 0.8) < 0.1, 2e5, 250.0)
    made = JerkSpline.of(density, NOISE, 1.0 / RATE, own=own)
    jerk = np.sqrt(np.concatenate((density[:1], density)) / RATE**5) * rng.standard_normal((400, SAMPLES + 1))
    coefficients = np.cumsum(np.cumsum(np.cumsum(np.pad(jerk, ((0, 0), (3, 0))), axis=1), axis=1), axis=1)
    true = sum(value * coefficients[:, i : i + SAMPLES] for i, value in enumerate(AT_KNOT))
    error = made.smooth(true + own * rng.standard_normal(true.shape)) - true
    doubt = made.doubt(rng.standard_normal((400, SAMPLES + 4)))
    for part in (slice(50, 150), slice(185, 215)):
        acceleration = [np.std(np.diff(x, 2, axis=1)[:, part]) for x in (error, doubt)]
        assert np.std(error[:, part]) == pytest.approx(np.std(doubt[:, part]), rel=0.05)
        assert acceleration[0] == pytest.approx(acceleration[1], rel=0.05)


@pytest.mark.parametrize("rate", [100.0, 250.0, 1000.0])
def test_the_noise_of_a_moving_marker_is_found(rate: float) -> None:
    time, rng = np.arange(0.0, 2.0, 1.0 / rate), np.random.default_rng(2)
    moving = 0.3 * np.sin(2 * np.pi * 2.0 * time) + NOISE * rng.standard_normal((12, time.size))
    moving[:, time.size // 2 :] += 0.05
    assert noise_level(moving, np.ones(time.size, dtype=bool)) == pytest.approx(NOISE, rel=0.1)

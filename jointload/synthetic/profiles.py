"""Smooth functions of time that a synthetic landing is made of: every one has four continuous derivatives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import zip_longest
from math import factorial
from typing import Any

import numpy as np
from numpy.polynomial import Polynomial

from jointload.intake.recording import Array
from jointload.intake.rider import G

STEP = Polynomial([0, 0, 0, 0, 0, 126, -420, 540, -315, 70])
"""From 0 to 1 over the unit interval, four derivatives zero at both ends."""
BUMP_SCALE = 17.0**17 / (5.0**5 * 12.0**12)
"""Makes the height of u^5 (1 - u)^12, whose peak lies at u = 5/17, one."""
BUMP_AREA = BUMP_SCALE * factorial(5) * factorial(12) / factorial(18)
SUPPORT_TIME = 0.08
"""Time [s] in which the ground takes over the body's weight after touch-down."""
SECOND_SHARE = 0.05
"""The second peak is at least this share of the highest force."""


STEP_RISE, STEP_CURVATURE = STEP.coef.tolist(), STEP.deriv(2).coef.tolist()
STOPPED = (1 - STEP).integ().coef.tolist(), (Polynomial([0, 1]) * (1 - STEP)).integ().coef.tolist()
"""What is left of a speed that is stopped smoothly over the unit interval, and of one that grows with time."""


def _value(coefficients: Sequence[Array | float], u: Array) -> Array:
    """The polynomial at u, lowest order first; the integration asks too often for numpy's own checks."""
    lowest, *between, highest = coefficients
    out: Array = highest * u
    for c in reversed(between):
        out += c
        out *= u
    out += lowest
    return out


def _inside(u: Array) -> Array:
    return np.minimum(np.maximum(u, 0.0), 1.0)


def step(u: Array) -> Array:
    """0 below 0, 1 above 1, smooth between."""
    return _value(STEP_RISE, _inside(u))


def bump(u: Array) -> Array:
    """0 outside 0 to 1, a single peak of height 1 inside."""
    inside = _inside(u)
    return BUMP_SCALE * inside**5 * (1.0 - inside) ** 12


def soft_clip(x: Array, limit: float) -> Array:
    """x near zero, bending smoothly to -limit and limit."""
    return x / (1.0 + (x / limit) ** 4) ** 0.25


@dataclass(frozen=True)
class FootFall:
    """How far a sole point still has to go until it rests: ballistic before touch-down, then stopped smoothly.

    speed : downward at touch-down [m/s];  forward : horizontal speed [m/s];  stop : time from touch-down to rest [s];
    each may be an array, of several points
    """

    speed: float | Array
    forward: float | Array
    stop: float | Array

    def height(self, since: Array) -> Array:
        """[m] above its resting place; since : time [s] from touch-down, of any sign."""
        before = np.minimum(since, 0.0)
        return _value(self._down, _inside(since / self.stop)) - self.speed * before - 0.5 * G * before**2

    def behind(self, since: Array) -> Array:
        """[m] behind its resting place."""
        return _value(self._ahead, _inside(since / self.stop)) - self.forward * np.minimum(since, 0.0)

    @cached_property
    def _down(self) -> list[Any]:
        """The way [m] that is left since touch-down, as a polynomial of time over `stop`."""
        return _left(
            [self.stop * (self.speed * a + G * self.stop * b) for a, b in zip_longest(*STOPPED, fillvalue=0.0)]
        )

    @cached_property
    def _ahead(self) -> list[Any]:
        return _left([self.stop * self.forward * a for a in STOPPED[0]])


def _left(way: list[Any]) -> list[Any]:
    """What is left of a way over the unit interval, as polynomials."""
    return [sum(way), *(-c for c in way[1:])]


@dataclass(frozen=True)
class ForceProfile:
    """Vertical force of a landing in body weights: support, two peaks, and a slow rise out of the crouch.

    first, second : heights [body weights];  first_length, length : of the first and the second peak [s]
    rise : of the centre of mass [m] from rise_start [s] over rise_time [s]
    """

    first: float
    first_length: float
    second: float
    length: float
    rise: float
    rise_start: float
    rise_time: float

    def __call__(self, since: Array) -> Array:
        """since : time [s] from touch-down."""
        u = _inside((since - self.rise_start) / self.rise_time)
        rising = self.rise / self.rise_time**2 / G * _value(STEP_CURVATURE, u)
        return (
            step(since / SUPPORT_TIME)
            + self.first * bump(since / self.first_length)
            + self.second * bump(since / self.length)
            + rising
        )


def force_profile(impulse: float, peak: float, first_share: float, first_length: float, rise: float) -> ForceProfile:
    """The profile with this peak [body weights] whose impulse above body weight is `impulse` [body weights x s].

    first_share, first_length : height of the first bump as a share of the peak, and how long it lasts [s]
    """
    from scipy.optimize import brentq

    first = first_share * peak
    left = impulse + 0.5 * SUPPORT_TIME - first * first_length * BUMP_AREA
    time = np.arange(0.0, 0.4, 2e-4)

    def profile(second: float) -> ForceProfile:
        length = left / (second * BUMP_AREA)
        return ForceProfile(first, first_length, second, length, rise, 0.8 * length, 0.55)

    return profile(
        brentq(lambda second: float(np.max(profile(second)(time))) - peak, SECOND_SHARE * peak, peak, xtol=1e-6)
    )

"""Quintic smoothing splines whose smoothness varies in time: solved once, used on any number of rows.

A trajectory is a sum of quintic B-splines with a knot at every sample. Its third derivative (jerk) is held to be noise
of a given density, the data to be the trajectory plus noise; the coefficients then follow from one banded system
A c = B'y with A = B'B + D' L D, D the third difference of the coefficients. Where the density is high the curve follows
the data, where it is low it is smooth. Eilers PHC, Marx BD (1996) Stat Sci 11:89-121 on penalised B-splines; Wahba G
(1978) J R Stat Soc B 40:364-372 on the same as a random process (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import comb

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

AT_KNOT = np.array([1.0, 26.0, 66.0, 26.0, 1.0]) / 120.0
"""The five B-splines that are not zero at a knot, there."""
THIRD_DIFFERENCE = np.array([-1.0, 3.0, -3.0, 1.0])
FEWEST = 8
"""Samples that a run must have to be smoothed."""


@dataclass(frozen=True, eq=False)
class JerkSpline:
    """The smoothing of N samples.

    factor : (5, N + 4) upper banded Cholesky factor of A;  spread : likewise, of what data and jerk leave open
    noise : standard deviation of the data's noise;  finer : places at which the curve is given, per knot
    every : knots per sample, where a curve bends quicker than its data are seen
    """

    factor: Array
    spread: Array
    samples: int
    noise: float
    finer: int
    every: int = 1

    @classmethod
    def of(
        cls, density: Array, noise: float, dt: float, finer: int = 1, own: float | None = None, every: int = 1
    ) -> JerkSpline:
        """density : (N,) of the jerk [m2/s5] at the knots;  noise : of the data [m], by which they are smoothed;  dt :
        between knots [s];  own : noise [m] that the data truly have, where it is less;  every : data at each such knot.

        A curve made with too much noise errs by A^-1 D' L (its jerk) and by A^-1 B' (the data's own noise), so that the
        coefficients have the covariance A^-1 M A^-1, M = noise^2 D' L D + own^2 B' B.
        """
        from scipy.linalg import cholesky_banded

        weight = noise**2 / (density * dt**5)
        between = np.concatenate((weight[:1], weight))
        samples = density.size
        by_data = _squared(AT_KNOT, (np.arange(samples) % every == 0).astype(float), samples + 4)
        by_jerk = _squared(THIRD_DIFFERENCE, between, samples + 4)
        factor = cholesky_banded(by_data + by_jerk, overwrite_ab=True, check_finite=False)
        if own is None or own >= noise:
            return cls(factor, factor, samples, noise, finer, every)
        spread = cholesky_banded((own / noise) ** 2 * by_data + by_jerk, overwrite_ab=True, check_finite=False)
        return cls(factor, spread, samples, noise, finer, every)

    def smooth(self, rows: Array) -> Array:
        """(..., N) data to the curve at every place, (..., (N - 1) every finer + 1)."""
        from scipy.linalg import cho_solve_banded

        flat = rows.reshape(-1, rows.shape[-1])
        right = np.zeros((self.samples + 4, flat.shape[0]))
        for i, value in enumerate(AT_KNOT):
            right[i : i + self.samples : self.every] += value * flat.T
        return self._curve(
            cho_solve_banded((self.factor, False), right, overwrite_b=True, check_finite=False), rows.shape[:-1]
        )

    def doubt(self, normal: Array) -> Array:
        """(..., N + 4) standard normal numbers to what the data leave open of the curve, at every place."""
        from scipy.linalg import cho_solve_banded, solve_banded

        flat = normal.reshape(-1, self.samples + 4).T
        if self.spread is self.factor:
            open_ = solve_banded((0, 4), self.factor, flat, check_finite=False)
        else:
            right = self.spread[4][:, None] * flat
            for k in range(1, 5):
                right[k:] += self.spread[4 - k, k:, None] * flat[:-k]
            open_ = cho_solve_banded((self.factor, False), right, overwrite_b=True, check_finite=False)
        return self._curve(self.noise * open_, normal.shape[:-1])

    def _curve(self, coefficients: Array, shape: tuple[int, ...]) -> Array:
        """From the solver's columns, which lie in memory as rows of samples."""
        rows = coefficients.T
        out = np.empty((rows.shape[0], (self.samples - 1) * self.finer + 1))
        for step, rule in enumerate(_between_knots(self.finer)):
            count = self.samples - (step > 0)
            place, part = np.zeros((rows.shape[0], count)), np.empty((rows.shape[0], count))
            for i, value in enumerate(rule):
                if value:
                    place += np.multiply(rows[:, i : i + count], value, out=part)
            out[:, step :: self.finer] = place
        return out.reshape(*shape, -1)


@dataclass(frozen=True, eq=False)
class CubicCurve:
    """The cubic spline through points: places (N,) ascending, values (..., N), slopes (..., N) there."""

    places: Array
    values: Array
    slopes: Array

    @classmethod
    def through(cls, places: Array, values: Array) -> CubicCurve:
        """Two or more points. The third derivative does not jump at the second and the last but one; three points lie
        on a parabola, two on a line. Importing a library of splines takes a tenth of a second."""
        from scipy.linalg import solve_banded

        width = np.diff(places)
        rise = np.diff(values) / width
        if width.size < 2:
            return cls(places, values, np.repeat(rise, 2, axis=-1))
        if width.size == 2:
            middle = (width[1] * rise[..., 0] + width[0] * rise[..., 1]) / width.sum()
            ends = 2.0 * rise - middle[..., None]
            return cls(places, values, np.stack((ends[..., 0], middle, ends[..., 1]), axis=-1))
        first, last = width[:2].sum(), width[-2:].sum()
        band = np.zeros((3, places.size))
        band[0, 1], band[0, 2:] = first, width[:-1]
        band[1, 0], band[1, 1:-1], band[1, -1] = width[1], 2.0 * (width[1:] + width[:-1]), width[-2]
        band[2, -2], band[2, :-2] = last, width[1:]
        right = np.empty(values.shape)
        right[..., 1:-1] = 3.0 * (width[1:] * rise[..., :-1] + width[:-1] * rise[..., 1:])
        right[..., 0] = (width[0] + 2.0 * first) * width[1] * rise[..., 0] + width[0] ** 2 * rise[..., 1]
        right[..., 0] /= first
        right[..., -1] = (width[-1] + 2.0 * last) * width[-2] * rise[..., -1] + width[-1] ** 2 * rise[..., -2]
        right[..., -1] /= last
        flat = right.reshape(-1, places.size).T
        return cls(places, values, solve_banded((1, 1), band, flat, check_finite=False).T.reshape(values.shape))

    def __call__(self, at: Array) -> Array:
        """(..., K) at places (K,); beyond the ends the last cubic goes on."""
        part = np.clip(np.searchsorted(self.places, at, side="right") - 1, 0, self.places.size - 2)
        width, since = np.diff(self.places)[part], at - self.places[part]
        start, slope, end = self.values[..., part], self.slopes[..., part], self.slopes[..., part + 1]
        rise = (self.values[..., part + 1] - start) / width
        bend = (slope + end - 2.0 * rise) / width
        return np.asarray(start + since * (slope + since * ((rise - slope) / width - bend + since * bend / width)))


def _squared(rule: Array, many: Array, size: int) -> Array:
    """(5, size) upper banded form of R' diag(many) R, every row of R the rule moved on by one."""
    banded = np.zeros((5, size))
    for i in range(rule.size):
        for j in range(i, rule.size):
            banded[4 - (j - i), j : j + many.size] += many * rule[i] * rule[j]
    return banded


@lru_cache(maxsize=16)
def _between_knots(finer: int) -> tuple[tuple[float, ...], ...]:
    """The six B-splines at 0, 1 / finer, ... of the way from one knot to the next."""
    return tuple(tuple(quintic(step / finer - j) for j in range(-2, 4)) for step in range(finer))


def quintic(place: float) -> float:
    """The quintic B-spline with knots at -3, -2, ..., 3: a sum of truncated powers, from its nearer end. Importing a
    library of splines takes a tenth of a second."""
    inside = 3.0 - abs(place)
    return sum((-1) ** k * comb(6, k) * (inside - k) ** 5 for k in range(3) if inside > k) / 120.0


def noise_level(rows: Array, calm: NDArray[np.bool_]) -> float:
    """Standard deviation of the noise of (..., N) trajectories, from their fifth differences in calm samples (N,).

    The fifth difference of a motion below a few hertz is nothing beside that of its noise, which has the variance
    252 times its own; the median is not moved by single jumps.
    """
    difference = np.diff(rows, 5, axis=-1)
    used = np.convolve(~calm, np.ones(6, dtype=int), "valid") == 0
    chosen = np.abs(difference[..., used] if np.count_nonzero(used) >= FEWEST else difference)
    seen = chosen[np.isfinite(chosen)]
    return float(np.median(seen) / 0.6745 / np.sqrt(252.0)) if seen.size else float("nan")

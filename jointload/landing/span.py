"""A stretch of a series, one in every draw, and what is read from it: its largest value, its integral, its mean."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from jointload.intake.recording import Array
from jointload.numerics.signals import peak

Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]


def nearest(time: Array, rate: float) -> Indices:
    """Samples next to times [s]; one midway goes to the even sample, and an unknown time to the first."""
    if np.ndim(time) == 0:
        return np.array(0 if np.isnan(time) else round(float(time) * rate))
    return np.nan_to_num(np.rint(time * rate)).astype(np.intp)


def picked(series: Array, where: Indices) -> Array:
    """(...) one sample of a series (..., F), or (..., D) one in each of D draws (..., D, F)."""
    return np.asarray(series[..., int(where)] if where.ndim == 0 else series[..., np.arange(where.size), where])


@dataclass(frozen=True, eq=False)
class Span:
    """Samples from `start` until before `stop`, () of one landing or (D,) of D draws, which differ a little.

    What is read takes series cut to the `hull` (..., W), or (..., D, W) with draws, and gives (...) or (..., D); it is
    NaN where a sample of the stretch is unknown, because a peak may hide in what was not seen, or where there is none.
    """

    start: Indices
    stop: Indices

    @classmethod
    def of(cls, start: Array, end: Array, rate: float) -> Span:
        """From one time [s] to the sample of another, which is in it; empty where the end is not known."""
        first = nearest(start, rate)
        return cls(first, np.where(np.isfinite(end), nearest(end, rate) + 1, first))

    @cached_property
    def hull(self) -> slice:
        """The samples that any draw has."""
        return slice(int(self.start.min()), int(self.stop.max()))

    @cached_property
    def alike(self) -> bool:
        """Whether every draw has the whole hull."""
        return bool((self.start == self.hull.start).all() and (self.stop == self.hull.stop).all())

    def inside(self, width: int) -> Mask:
        """(D, W) which samples of a cut series are in the stretch; (W,) all of them where the draws do not differ."""
        if width not in self._inside:
            sample = self.hull.start + np.arange(width)
            ends = (self.start[..., None], self.stop[..., None])
            self._inside[width] = np.ones(width, bool) if self.alike else (sample >= ends[0]) & (sample < ends[1])
        return self._inside[width]

    @cached_property
    def _inside(self) -> dict[int, Mask]:
        return {}

    def cut(self, series: Array) -> Array:
        return series[..., self.hull]

    def known(self, cut: Array) -> Mask:
        """Whether the stretch has samples and all of them are numbers."""
        if self.alike:
            return np.asarray(np.isfinite(cut).all(axis=-1) & (cut.shape[-1] > 0), dtype=bool)
        inside = self.inside(cut.shape[-1])
        return np.asarray((np.isfinite(cut) | ~inside).all(axis=-1) & inside.any(axis=-1), dtype=bool)

    def _only(self, cut: Array, outside: float) -> Array:
        """A cut series with a value that does not count in place of samples outside the stretch."""
        return cut if self.alike else np.where(self.inside(cut.shape[-1]), cut, outside)

    def largest(self, cut: Array) -> Array:
        if not cut.shape[-1]:
            return np.full(cut.shape[:-1], np.nan)
        if self.alike:
            return np.asarray(cut.max(axis=-1))
        top = np.max(self._only(cut, -np.inf), axis=-1)
        return np.where(np.isneginf(top), np.nan, top)

    def peak(self, cut: Array) -> Array:
        """`largest` of a curve at marker frames, between which it may peak."""
        if not cut.shape[-1]:
            return np.full(cut.shape[:-1], np.nan)
        top = peak(self._only(cut, -np.inf))
        return np.where(np.isneginf(top), np.nan, top)

    def place_of_largest(self, cut: Array) -> Indices:
        """Sample of the whole series where it is largest; it means something where the stretch is `known`."""
        if not cut.shape[-1]:
            return np.broadcast_to(self.start, cut.shape[:-1])
        return np.asarray(self.hull.start + np.argmax(self._only(cut, -np.inf), axis=-1))

    def integral(self, cut: Array, dt: float) -> Array:
        """By the trapezium rule, NaN without two samples."""
        if cut.shape[-1] < 2:
            return np.full(cut.shape[:-1], np.nan)
        pairs = cut[..., 1:] + cut[..., :-1]
        if not self.alike:
            inside = self.inside(cut.shape[-1])
            within = inside[..., 1:] & inside[..., :-1]
            pairs = np.where(within, pairs, np.where(within.any(axis=-1, keepdims=True), 0.0, np.nan))
        return np.asarray(0.5 * dt * np.sum(pairs, axis=-1))

    def root_mean_square(self, cut: Array) -> Array:
        inside = self.inside(cut.shape[-1])
        count = np.count_nonzero(inside, axis=-1)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(np.sqrt(np.sum(self._only(cut, 0.0) ** 2, axis=-1) / count))

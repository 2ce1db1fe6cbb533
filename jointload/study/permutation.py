"""Whole curves compared by permutation, with the chance of any false alarm along the curve held by the maximum.

Nichols TE, Holmes AP (2002) Hum Brain Mapp 15:1-25 (from memory): under no difference the labels could have been
otherwise; the distribution of the largest |t| along the curve over all such labels gives one threshold for every point.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import comb
from typing import Any

import numpy as np

from jointload.intake.recording import Array
from jointload.numerics.signals import runs

MOST_PERMUTATIONS = 20_000
"""Fewer are gone through one by one; of more, this many are drawn, the observed one among them (choice)."""
ALPHA = 0.05
BLOCK = 512
"""Permutations at a time, to bound memory."""


@dataclass(frozen=True)
class Stretch:
    """Points first to last where |t| passes the threshold; p is that of its peak along the whole curve."""

    first: int
    last: int
    peak: int
    p: float


@dataclass(frozen=True, eq=False)
class CurveTest:
    """t (Q,) along the curve, its threshold at 5 %, the stretches beyond it, the p of the whole curve, and the scheme
    in words with the number of permutations and the smallest p they can give."""

    t: Array
    threshold: float
    stretches: tuple[Stretch, ...]
    p: float
    scheme: str
    permutations: int
    exact: bool
    riders: int
    smallest_p: float


def sign_flip(differences: Array, seed: int = 1) -> CurveTest:
    """Riders' mean difference curves (N, Q): without an effect each rider's sign could have been the other."""
    differences = np.asarray(differences, dtype=float)
    n = len(differences)
    exact = 2 ** (n - 1) <= MOST_PERMUTATIONS
    squares = np.sum(differences**2, axis=0)

    def statistic(signs: Array) -> Array:
        mean = signs @ differences / n
        return _ratio(mean, np.sqrt(np.maximum(squares - n * mean**2, 0.0) / (n - 1) / n), squares)

    blocks = _all_signs(n) if exact else _drawn_signs(n, seed)
    return _tested(statistic, blocks, "sign-flip of the riders' mean differences", exact, n, 1)


def labels_between(curves: Array, second: Any, seed: int = 1) -> CurveTest:
    """Riders' mean curves (N, Q), second (N,) true for the riders of the second group: without an effect the group's
    label could have been anyone's."""
    curves, second = curves - np.mean(curves, axis=0), np.asarray(second, dtype=bool)
    n, m = len(curves), int(second.sum())
    exact = comb(n, m) <= MOST_PERMUTATIONS
    squares, total = np.sum(curves**2, axis=0), curves.sum(axis=0)

    def statistic(labels: Array) -> Array:
        of_second = labels @ curves
        mean_2, mean_1 = of_second / m, (total - of_second) / (n - m)
        within = np.maximum(squares - m * mean_2**2 - (n - m) * mean_1**2, 0.0)
        return _ratio(mean_2 - mean_1, np.sqrt(within / (n - 2) * (1 / m + 1 / (n - m))), squares)

    blocks = _all_choices(second) if exact else _drawn_labels(np.zeros(n, dtype=int), second, seed)
    alike = 2 if n == 2 * m else 1
    return _tested(statistic, blocks, "exchange of the groups' labels between riders", exact, n, alike)


def labels_within(curves: Array, rider: Any, second: Any, seed: int = 1) -> CurveTest:
    """Curves (T, Q) of single landings, rider (T,), second (T,) true under the second condition: without an effect a
    rider's landings could have borne each other's labels. It speaks of these riders, not of others."""
    curves, second = curves - np.mean(curves, axis=0), np.asarray(second, dtype=bool)
    names, index = np.unique(rider, return_inverse=True)
    weights = [(index == r) for r in range(len(names))]
    squares = np.sum(curves**2, axis=0)
    spare = len(curves) - 2 * len(names)

    def statistic(labels: Array) -> Array:
        difference, within, variance = np.zeros((len(labels), curves.shape[1])), squares, 0.0
        for own in weights:
            m = int(second[own].sum())
            k = int(own.sum()) - m
            of_second = labels[:, own] @ curves[own]
            mean_2, mean_1 = of_second / m, (curves[own].sum(axis=0) - of_second) / k
            difference += (mean_2 - mean_1) / len(names)
            within = within - m * mean_2**2 - k * mean_1**2
            variance += (1 / m + 1 / k) / len(names) ** 2
        return _ratio(difference, np.sqrt(np.maximum(within, 0.0) / spare * variance), squares)

    count = int(np.prod([float(comb(int(own.sum()), int(second[own].sum()))) for own in weights]))
    exact = count <= MOST_PERMUTATIONS
    blocks = _all_within(weights, second) if exact else _drawn_labels(index, second, seed)
    alike = 2 if all(own.sum() == 2 * second[own].sum() for own in weights) else 1
    words = "exchange of labels between the landings of each rider"
    return _tested(statistic, blocks, words, exact, len(names), alike)


def _tested(
    statistic: Callable[[Array], Array], blocks: Iterator[Array], scheme: str, exact: bool, riders: int, alike: int
) -> CurveTest:
    """The first row of the first block is the observed labelling; alike: labellings that share its |t| in any case."""
    observed, largest = None, []
    for block in blocks:
        t = statistic(block)
        observed = t[0] if observed is None else observed
        largest.append(np.abs(t).max(axis=1))
    assert observed is not None
    maxima = np.sort(np.concatenate(largest))
    count = len(maxima)
    threshold = float(maxima[count - int(np.floor(ALPHA * count)) - 1])
    beyond = np.abs(observed) > threshold * (1 + ROUNDING)

    def p_of(value: float) -> float:
        return float(np.count_nonzero(maxima >= value * (1 - ROUNDING)) / count)

    stretches = []
    for start, stop in runs(beyond):
        peak = start + int(np.argmax(np.abs(observed[start:stop])))
        stretches.append(Stretch(start, stop - 1, peak, p_of(abs(observed[peak]))))
    p = p_of(np.abs(observed).max())
    return CurveTest(observed, threshold, tuple(stretches), p, scheme, count, exact, riders, alike / count)


ROUNDING = 1e-9
"""Two labellings with the same |t| differ by no more than this share."""


def _ratio(difference: Array, error: Array, squares: Array) -> Array:
    """t; zero where neither numerator nor denominator is more than rounding."""
    tiny = ROUNDING_OF_T * np.sqrt(squares) + 1e-300
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.where(error > tiny, difference / error, np.where(np.abs(difference) > tiny, np.inf, 0.0))
    return np.where(np.isinf(t), np.sign(difference) * LARGEST, t)


ROUNDING_OF_T = 1e-7
"""Square root of a double's precision: a spread below this share of the values is rounding."""
LARGEST = 1e9
"""Stands for an infinite t: riders who differ by exactly the same amount."""


def _all_signs(n: int) -> Iterator[Array]:
    """The first rider's sign is kept: all signs turned about give the same |t|."""
    numbers = np.arange(2 ** (n - 1))
    for block in np.array_split(numbers, max(1, len(numbers) // BLOCK)):
        bits = (block[:, None] >> np.arange(n - 1)) & 1
        yield np.column_stack([np.ones(len(block)), 1.0 - 2.0 * bits])


def _drawn_signs(n: int, seed: int) -> Iterator[Array]:
    rng = np.random.default_rng(seed)
    left, first = MOST_PERMUTATIONS, True
    while left > 0:
        signs = rng.choice([-1.0, 1.0], size=(min(BLOCK, left), n))
        if first:
            signs[0], first = 1.0, False
        left -= len(signs)
        yield signs


def _all_choices(second: Any) -> Iterator[Array]:
    n, m = len(second), int(second.sum())
    others = (chosen for chosen in itertools.combinations(range(n), m) if set(chosen) != set(np.flatnonzero(second)))
    rows = itertools.chain([tuple(np.flatnonzero(second))], others)
    while chunk := list(itertools.islice(rows, BLOCK)):
        labels = np.zeros((len(chunk), n))
        labels[np.arange(len(chunk))[:, None], np.array(chunk)] = 1.0
        yield labels


def _all_within(weights: list[Array], second: Any) -> Iterator[Array]:
    places = [np.flatnonzero(own) for own in weights]
    choices = [list(itertools.combinations(own, int(second[own].sum()))) for own in places]
    observed = tuple(tuple(own[second[own]]) for own in places)
    others = (chosen for chosen in itertools.product(*choices) if chosen != observed)
    rows = itertools.chain([observed], others)
    while chunk := list(itertools.islice(rows, BLOCK)):
        labels = np.zeros((len(chunk), len(second)))
        for row, chosen in zip(labels, chunk, strict=True):
            row[list(itertools.chain(*chosen))] = 1.0
        yield labels


def _drawn_labels(index: Any, second: Any, seed: int) -> Iterator[Array]:
    """Labels exchanged at random within each value of index, the observed ones first."""
    rng = np.random.default_rng(seed)
    left, first = MOST_PERMUTATIONS, True
    while left > 0:
        rows = min(BLOCK, left)
        order = np.lexsort((rng.random((rows, len(index))), np.broadcast_to(index, (rows, len(index)))), axis=1)
        place = np.argsort(index, kind="stable")
        labels = np.empty((rows, len(index)))
        np.put_along_axis(labels, np.broadcast_to(place, order.shape), second[order].astype(float), axis=1)
        if first:
            labels[0], first = second, False
        left -= rows
        yield labels

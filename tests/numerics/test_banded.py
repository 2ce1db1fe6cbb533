"""A banded map against the whole matrix, and what a spline leaves open by either way."""

from __future__ import annotations

import numpy as np
import pytest

from jointload.numerics.banded import BLOCK, NEGLIGIBLE, BandedMap
from jointload.numerics.splines import JerkSpline


@pytest.mark.parametrize("size", [1, BLOCK - 1, BLOCK, 5 * BLOCK + 7])
def test_blocks_give_what_the_matrix_gives(size: int) -> None:
    rng = np.random.default_rng(0)
    apart = np.arange(size + 4)[:, None] - np.arange(size)
    matrix = rng.normal(size=apart.shape) * np.exp(-np.abs(apart))
    made, x = BandedMap.of(matrix), rng.normal(size=(3, 2, size + 4))
    left_out = 10 * NEGLIGIBLE * np.abs(matrix).max()
    assert made.size == matrix.shape
    assert made(x) == pytest.approx(x @ matrix, abs=left_out)
    if size > 2 * BLOCK:
        assert sum(weights.size for _, _, weights in made.blocks) < 0.6 * matrix.size


def test_what_a_spline_leaves_open_is_such_a_map() -> None:
    time = np.arange(300)
    spline = JerkSpline.of(100.0 + 1e6 * np.exp(-(((time - 120) / 15.0) ** 2)), 3e-4, 1 / 250, finer=2)
    normal = np.random.default_rng(1).standard_normal((4, 304))
    made = BandedMap.of(spline.doubt(np.eye(304)))
    assert made(normal) == pytest.approx(spline.doubt(normal), abs=1e-6 * spline.noise)

"""A linear map whose every result hangs on a few neighbours, worked out in dense blocks: one product a block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BLOCK = 32
"""Results worked out together (choice: faster than 64 and 128 on series of 300 to 3,000 samples)."""
NEGLIGIBLE = 1e-8
"""Weights below this share of the largest are left out (choice: a sum is then right to 1e-7 of its size)."""


@dataclass(frozen=True, eq=False)
class BandedMap:
    """blocks : (rows, columns, weights) for every BLOCK of results;  size : (M, N) of the matrix they stand for."""

    blocks: tuple[tuple[slice, slice, Array], ...]
    size: tuple[int, int]

    @classmethod
    def of(cls, matrix: Array) -> BandedMap:
        """matrix : (M, N) weight of every input for every result."""
        least, out = NEGLIGIBLE * np.abs(matrix).max(), []
        for start in range(0, matrix.shape[1], BLOCK):
            columns = slice(start, min(start + BLOCK, matrix.shape[1]))
            felt = np.flatnonzero((np.abs(matrix[:, columns]) > least).any(axis=1))
            rows = slice(int(felt[0]), int(felt[-1]) + 1) if felt.size else slice(0, 0)
            out.append((rows, columns, np.ascontiguousarray(matrix[rows, columns])))
        return cls(tuple(out), (matrix.shape[0], matrix.shape[1]))

    def __call__(self, x: Array) -> Array:
        """(..., M) to (..., N)."""
        flat = x.reshape(-1, self.size[0])
        out = np.empty((flat.shape[0], self.size[1]))
        for rows, columns, weights in self.blocks:
            np.matmul(flat[:, rows], weights, out=out[:, columns])
        return out.reshape(*x.shape[:-1], -1)

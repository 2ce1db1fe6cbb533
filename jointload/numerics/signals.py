"""Filters, derivatives and gap filling along the last axis."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from jointload.numerics.splines import CubicCurve
from jointload.numerics.together import together

Array = NDArray[np.float64]

PASS_CORRECTION = (2**0.5 - 1) ** 0.25
"""Cut-off factor of a second-order Butterworth filter after two passes, 0.802 (Winter 2009, chapter 3)."""
PADDING_SECONDS = 1.0
"""Howarth SJ, Callaghan JP (2009) J Electromyogr Kinesiol 19:875, 'rule of 1 s' (read in an excerpt)."""
PADDING_PERIODS = 5.0
"""Periods of the cut-off after which more padding changes no sample by 1e-12 of the signal; the rule of 1 s is the
cap."""
SHORTEST_RUN = 5
"""Samples that a run between gaps must have to be filtered; shorter runs become NaN."""


def zero_lag_lowpass(x: Array, cutoff: float | None, rate: float) -> Array:
    """Second-order Butterworth low-pass applied forward and backward, -3 dB at `cutoff` after both passes.

    x : (..., N); cutoff, rate [Hz]; cutoff None gives x unchanged. NaN splits the signal: every unbroken run is
    filtered by itself, and a run shorter than SHORTEST_RUN becomes NaN. The correction for two passes is made on the
    pre-warped frequency: tan(pi fd / fs) = tan(pi fc / fs) / 0.802, exact at any cutoff / rate (Winter 2009, chapter
    3; with the bilinear transform's own warping). Both ends are padded by odd reflection.
    """
    if cutoff is None or x.shape[-1] < SHORTEST_RUN:
        return x
    sections = _lowpass_sections(cutoff, rate)
    padding = int(np.ceil(min(PADDING_SECONDS, PADDING_PERIODS / cutoff) * rate))
    rows = np.ascontiguousarray(x, dtype=float).reshape(-1, x.shape[-1])
    valid = np.isfinite(rows)
    if valid.all():
        return _two_passes(sections, rows, padding).reshape(x.shape)
    out = np.full_like(rows, np.nan)
    for pattern, members in _grouped_rows(valid):
        for start, stop in runs(pattern):
            if stop - start >= SHORTEST_RUN:
                out[members, start:stop] = _two_passes(sections, rows[members, start:stop], padding)
    return out.reshape(x.shape)


def _lowpass_sections(cutoff: float, rate: float) -> Array:
    warped = np.tan(np.pi * cutoff / rate) / PASS_CORRECTION
    gain = 1.0 / (1.0 + np.sqrt(2.0) * warped + warped**2)
    b = gain * warped**2 * np.array([1.0, 2.0, 1.0])
    a = np.array([1.0, 2.0 * gain * (warped**2 - 1.0), gain * (1.0 - np.sqrt(2.0) * warped + warped**2)])
    return np.concatenate((b, a))[None]


def _two_passes(sections: Array, rows: Array, padding: int) -> Array:
    """Forward and backward over rows (R, N) with `padding` samples of odd reflection at both ends.

    Each pass starts in the steady state of its first sample; the filter's gain at rest is one.
    """
    samples = rows.shape[-1]
    padding = min(samples - 1, padding)
    before = 2.0 * rows[:, :1] - rows[:, padding:0:-1]
    after = 2.0 * rows[:, -1:] - rows[:, -2 : -padding - 2 : -1]
    x = np.concatenate((before, rows, after), axis=1)
    (_, b1, b2, _, a1, a2) = sections[0]
    steady = np.array([b1 - a1 + b2 - a2, b2 - a2])
    for _ in range(2):
        x = recursion(sections[0, :3], sections[0, 3:], x, x[:, :1] * steady)[:, ::-1]
    return np.ascontiguousarray(x[:, padding : padding + samples])


def recursion(b: Array, a: Array, x: Array, state: Array | None = None) -> Array:
    """y with y[n] + a1 y[n-1] + a2 y[n-2] = b0 x[n] + b1 x[n-1] + b2 x[n-2] along rows (R, N), N > 2, as a triangular
    band: importing a library of filters takes half a second.

    b, a : (3,) with a0 = 1;  state : (R, 2) by which the first two samples are raised before that, none for rest
    """
    from scipy.linalg.lapack import dtbtrs

    band = np.repeat(a[:, None], x.shape[1], axis=1)
    y = b[0] * x
    y[:, 1:] += b[1] * x[:, :-1]
    y[:, 2:] += b[2] * x[:, :-2]
    if state is not None:
        y[:, :2] += state
    return np.asarray(dtbtrs(band, y.T, uplo="L", diag="U", overwrite_b=1)[0].T)


def peaks(x: Array, prominence: float) -> NDArray[np.intp]:
    """Samples of x (N,) that stand out from the lower ground on both sides, up to the next higher one, by as much; of a
    flat top its middle. The ends are no peaks."""
    first = np.concatenate(([0], np.flatnonzero(np.diff(x)) + 1))
    level, last = x[first], np.append(first[1:], x.size) - 1
    tops = np.flatnonzero((level[1:-1] > level[:-2]) & (level[1:-1] > level[2:])) + 1
    if not tops.size:
        return tops
    valleys, heights = np.minimum.reduceat(level, np.concatenate(([0], tops))).tolist(), level[tops].tolist()
    before, after = _grounds(heights, valleys), _grounds(heights[::-1], valleys[::-1])[::-1]
    high = tops[level[tops] - np.maximum(before, after) >= prominence]
    return np.asarray((first[high] + last[high]) // 2)


def _grounds(heights: list[float], valleys: list[float]) -> list[float]:
    """The lowest valley before each top, back to the next higher one; valleys[k] lies before heights[k]."""
    out, higher = [], list[tuple[float, float]]()
    for height, ground in zip(heights, valleys, strict=False):
        while higher and higher[-1][0] <= height:
            ground = min(ground, higher.pop()[1])
        higher.append((height, ground))
        out.append(ground)
    return out


def _grouped_rows(valid: NDArray[np.bool_]) -> Iterator[tuple[NDArray[np.bool_], NDArray[np.intp]]]:
    groups: dict[bytes, list[int]] = {}
    for k, pattern in enumerate(valid):
        groups.setdefault(pattern.tobytes(), []).append(k)
    for members in groups.values():
        yield valid[members[0]], np.array(members)


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """(start, stop) of every unbroken run of True in a (N,) mask, stop exclusive."""
    return runs_of_rows(mask[None])[0]


def runs_of_rows(mask: NDArray[np.bool_]) -> list[list[tuple[int, int]]]:
    """`runs` of every row of a (R, N) mask."""
    out: list[list[tuple[int, int]]] = [[] for _ in mask]
    width = mask.shape[1] + 1
    framed = np.zeros(mask.shape[0] * width + 1, dtype=np.int8)
    framed[1:].reshape(-1, width)[:, :-1] = mask
    edges = np.flatnonzero(framed[1:] != framed[:-1])
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        row, first = divmod(start, width)
        out[row].append((first, stop - row * width))
    return out


def delayed(x: Array, delay: Array) -> Array:
    """(..., D, N) series later by `delay` (D,) [samples], by the cubic through the four samples around; the first and
    last sample stand for what lies outside."""
    place = -delay
    first = np.floor(place).astype(int)
    u = place - first
    cubic = (
        -u * (u - 1.0) * (u - 2.0) / 6.0,
        (u + 1.0) * (u - 1.0) * (u - 2.0) / 2.0,
        -(u + 1.0) * u * (u - 2.0) / 2.0,
        (u + 1.0) * u * (u - 1.0) / 6.0,
    )
    draws, samples = x.shape[-2:]
    out, rows = np.empty(x.shape), x.reshape(-1, draws, samples)
    alike = [(int(step), np.flatnonzero(first == step)) for step in np.unique(first)]
    for part in together(len(rows), draws * samples):
        some, late = rows[part], out.reshape(rows.shape)[part]
        for step, which in alike:
            around = _moved_on(some[:, which], step - 1, samples + 3)
            each = around[..., :samples] * cubic[0][which, None]
            for k in (1, 2, 3):
                each += around[..., k : k + samples] * cubic[k][which, None]
            late[:, which] = each
    return out


def _moved_on(x: Array, first: int, length: int) -> Array:
    """(..., length) of a series (..., N) from sample `first` on, which may lie before it; the first and last sample
    stand for what lies outside."""
    out = np.empty((*x.shape[:-1], length))
    before, last = min(max(-first, 0), length), x.shape[-1]
    inside = max(min(last - first, length), before)
    out[..., :before] = x[..., :1]
    out[..., before:inside] = x[..., first + before : first + inside]
    out[..., inside:] = x[..., -1:]
    return out


def first_derivative(x: Array, dt: float) -> Array:
    """Central first difference along the last axis, NaN at both ends. x : (..., N); dt [s]."""
    out = np.full_like(x, np.nan)
    out[..., 1:-1] = (x[..., 2:] - x[..., :-2]) * (0.5 / dt)
    return out


def second_derivative(x: Array, dt: float) -> Array:
    """Central second difference along the last axis, NaN at both ends. x : (..., N); dt [s]."""
    out = np.empty_like(x)
    out[..., :1] = out[..., -1:] = np.nan
    inner = out[..., 1:-1]
    np.multiply(x[..., 1:-1], -2.0, out=inner)
    inner += x[..., 2:]
    inner += x[..., :-2]
    inner *= 1.0 / dt**2
    return out


def known_median(x: Array) -> Array:
    """(...) median along the last axis (..., N) of what is known, NaN where nothing is: NaN is sorted to the end."""
    known = np.count_nonzero(~np.isnan(x), axis=-1)[..., None]
    ordered = np.sort(x, axis=-1)
    lower, upper = (np.take_along_axis(ordered, np.maximum(at, 0) // 2, axis=-1)[..., 0] for at in (known - 1, known))
    return np.asarray(0.5 * (lower + upper))


def of_fourth_order(second: Array) -> Array:
    """Central second differences along the last axis with the error of their own order taken off: a twelfth of their
    own second difference. Where a neighbour is unknown they stay. second : (..., N), changed in place and returned."""
    change = second[..., 2:] + second[..., :-2]
    change -= 2.0 * second[..., 1:-1]
    change *= 1.0 / 12.0
    np.nan_to_num(change, copy=False, nan=0.0)
    second[..., 1:-1] -= change
    return second


def peak(rows: Array) -> Array:
    """Largest value of smooth curves (..., N) to (...): the top of the parabola through the largest sample and its two
    neighbours, the sample itself at an end or beside one that is not finite; NaN where a sample is.

    Of a peak that is 20 ms wide at half its height, samples every 4 ms would lose 1 % in the mean.
    """
    width = rows.shape[-1]
    if width < 3:
        return np.asarray(rows.max(axis=-1))
    flat = rows.reshape(-1, width)
    row, largest = np.arange(len(flat)), flat.argmax(axis=1)
    middle = np.clip(largest, 1, width - 2)
    top, before, at, after = (flat[row, place] for place in (largest, middle - 1, middle, middle + 1))
    with np.errstate(invalid="ignore", divide="ignore"):
        above = (after - before) ** 2 / (8.0 * (2.0 * at - before - after))
    return (top + np.where((at == top) & np.isfinite(above), above, 0.0)).reshape(rows.shape[:-1])


def bridge_short_gaps(
    x: Array, longest: int, forbidden: tuple[int, ...] = ()
) -> tuple[Array, list[tuple[int, int, int]]]:
    """Fill gaps of up to `longest` samples in (3, M, F) trajectories by a cubic spline through the samples around them.

    A gap at either end, one that holds a frame of `forbidden`, or one with fewer than two samples on a side stays NaN.
    Returns the filled copy and the filled gaps as (marker, start, stop).
    """
    gaps = [
        (m, start, stop)
        for m in np.flatnonzero(~np.isfinite(x[0]).all(axis=1)).tolist()
        for start, stop in runs(~np.isfinite(x[0, m]))
        if start > 0 and stop < x.shape[2] and stop - start <= longest and not any(start <= f < stop for f in forbidden)
    ]
    if not gaps:
        return x, []
    out, filled = x.copy(), []
    for m, start, stop in gaps:
        seen = np.flatnonzero(np.isfinite(x[0, m]))
        around = np.concatenate((seen[seen < start][-5:], seen[seen >= stop][:5]))
        if np.count_nonzero(around < start) < 2 or np.count_nonzero(around >= stop) < 2:
            continue
        out[:, m, start:stop] = CubicCurve.through(around.astype(float), x[:, m, around])(
            np.arange(start, stop, dtype=float)
        )
        filled.append((m, start, stop))
    return out, filled


def integral(y: Array, dt: float) -> Array:
    """Integral over the last axis by the trapezium rule; NaN when any sample is, or when there are not two."""
    if y.shape[-1] < 2:
        return np.full(y.shape[:-1], np.nan)
    return np.asarray(0.5 * dt * np.sum(y[..., 1:] + y[..., :-1], axis=-1))


def over_time(y: Array, time: Array) -> Array:
    """Integral of a series (..., N) over times (N,) [s] of any spacing by the trapezium rule."""
    return np.asarray(np.sum(0.5 * (y[..., 1:] + y[..., :-1]) * np.diff(time), axis=-1))

"""The whole body against the plates: what the force demands and the markers do not show is flesh that swings.

The plates' force is the sum of mass times acceleration over all parts, and weight. Markers show the bones with noise
and the flesh in part; what is left over is laid on swings of the flesh, c e'' with e'' + 2 z w e' + w2 e = -a of the
bone, of three frequencies for shanks, thighs, pelvis and what is above it. The sizes c are a Bayesian regression: a
prior of published size about none, whose common factor stands for a rider with much or little of it, and the left-over
force of the landing as data. It is linear in the accelerations and nothing where nothing swings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import Array, Finding, split_side
from jointload.intake.rider import G
from jointload.loads.from_above import upper_mass
from jointload.loads.moments import SegmentMotion, body_chain, loaded_segments, segment_motion
from jointload.modeldata import load_model
from jointload.numerics.signals import recursion, second_derivative

BEFORE, AFTER = 0.02, 0.35
"""The swings are found from this time [s] before the first touch-down until the second after it (choice)."""


@dataclass(frozen=True, eq=False)
class Balance:
    """What the plates feel beside weight and the motion of all parts, draws before frames where there are any.

    force : (3, F) [N] left over by the motion of the markers;  left : (3, F) [N] with the flesh's swings
    share : segment kind -> share of its mass that swings beside its markers, the sum over frequencies
    above : (3, F) [N] what drives the flesh of trunk, head and arms beside their bones
    """

    force: Array
    left: Array
    share: dict[str, Array]
    above: Array

    def drawn(self, draw: int) -> Balance:
        """One draw of many."""
        share = {kind: each[draw] for kind, each in self.share.items()}
        return Balance(self.force[:, draw], self.left[:, draw], share, self.above[:, draw])


@dataclass(frozen=True, eq=False)
class _Swings:
    """kinds : of segments, one for every swing;  size, spread : (K,) of the prior;  hertz : (K,)."""

    kinds: tuple[str, ...]
    hertz: Array
    size: Array
    spread: Array
    damping: float
    noise: Mapping[str, float]

    @property
    def precision(self) -> Array:
        """(K, K) inverse of the prior's covariance: own spreads and the common factor."""
        return np.asarray(np.linalg.inv(np.diag(self.spread**2) + np.outer(self.size, self.size)))


@lru_cache(maxsize=1)
def _swings() -> _Swings:
    content: dict[str, Any] = load_model("uncertainty", "flesh").content
    rows = [
        (kind, f, part["size"] / len(part["hertz"]), part["spread"])
        for kind, part in content["segments"].items()
        for f in part["hertz"]
    ]
    kinds, *numbers = zip(*rows, strict=True)
    hertz, size, spread = (np.array(column, dtype=float) for column in numbers)
    return _Swings(kinds, hertz, size, spread, content["swing"]["damping"], content["noise"])


def balanced_motion(
    poses: SegmentPoses,
    markers: dict[str, Array],
    body: FittedBody,
    force: Array,
    strikes: tuple[int, ...],
    drawn: Array | None = None,
) -> tuple[SegmentMotion, Balance | None]:
    """Motion of the loaded segments with their flesh, and the balance; the markers' motion alone and None where there
    is nothing to balance: no touch-down, no plate, part of the weight beside the plates.

    force : (3, 2, F) [N] on both feet;  strikes : frames of touch-down;  drawn : (K, D) standard normal numbers, for
    draws of what the regression leaves open
    """
    motion = segment_motion(poses, body)
    if not strikes:
        return motion, None
    names, chain = loaded_segments(body), body_chain(body)
    bones = _to_the_ends(motion.acceleration)
    unseen, above, mass = _above(poses, markers, body, names, bones, chain.mass)
    left = np.nan_to_num(force).sum(axis=1) - np.einsum("s...,is...f->i...f", chain.mass, bones)
    left = left - mass[..., None] * above
    left[1] -= (chain.mass.sum(axis=0) + mass)[..., None] * G
    swings = _swings()
    known = np.isfinite(force).all(axis=(0, 1)) & np.isfinite(left).all(axis=0)
    window = _window(strikes, poses.rate, left.shape[-1]) & known.reshape(-1, known.shape[-1]).all(axis=0)
    weight = body.rider.weight
    if not window.any() or not _whole(left, force, window, weight, swings):
        return motion, None
    of_kind = {kind: _of_kind(names, kind) for kind in swings.kinds}
    hung_on = {kind: above[:, None] if kind == "trunk" else bones[:, of_kind[kind]] for kind in swings.kinds}
    masses = {kind: mass[None] if kind == "trunk" else chain.mass[of_kind[kind]] for kind in swings.kinds}
    parts = [
        _swing(hung_on[kind], f, swings.damping, 1.0 / poses.rate)
        for kind, f in zip(swings.kinds, swings.hertz, strict=True)
    ]
    columns = np.stack(
        [np.einsum("s...,is...f->i...f", masses[kind], part) for kind, part in zip(swings.kinds, parts, strict=True)]
    )
    noise = np.hypot(
        np.hypot(swings.noise["seen"], swings.noise["unseen"] * unseen) * body.rider.mass,
        swings.noise["per_force"] * np.abs(np.nan_to_num(force)).sum(axis=(0, 1)),
    )
    size = _regressed(columns[..., window], left[..., window], noise[..., window], swings, drawn)
    acceleration = motion.acceleration.copy()
    for k, (kind, part) in enumerate(zip(swings.kinds, parts, strict=True)):
        if kind != "trunk":
            acceleration[:, of_kind[kind]] += size[k][..., None] * part
    share = {kind: sum(size[k] for k, one in enumerate(swings.kinds) if one == kind) for kind in swings.kinds}
    driven = size[..., None] * columns.swapaxes(0, 1)
    of_trunk = [k for k, kind in enumerate(swings.kinds) if kind == "trunk"]
    return replace(motion, acceleration=acceleration), Balance(
        left,
        left - driven.sum(axis=1),
        {kind: np.asarray(each) for kind, each in share.items()},
        driven[:, of_trunk].sum(axis=1),
    )


def balance_findings(
    balance: Balance | None, trial: str, weight: float, strikes: tuple[int, ...], rate: float
) -> tuple[Finding, ...]:
    """How well the plates' force is that of the whole body's motion while the flesh swings."""
    if balance is None:
        text = "no landing that the plates bear as a whole"
        return (Finding("whole_body_balance", "pass", trial, text, "moments follow the markers alone"),)
    window = _window(strikes, rate, balance.left.shape[-1])
    before, left = (
        float(np.sqrt(np.nanmean(np.sum(f[:, window] ** 2, axis=0)))) for f in (balance.force, balance.left)
    )
    share = ", ".join(f"{kind} {100 * float(part):.0f} %" for kind, part in balance.share.items())
    text = (
        f"{before:.0f} N of the plates' force are not the markers' motion, {left:.0f} N "
        f"({100 * left / weight:.0f} % of body weight) with flesh that swings beside them: {share} of the mass"
    )
    return (Finding("whole_body_balance", "pass", trial, text, "see unexplained force"),)


def swings_drawn() -> int:
    """How many standard normal numbers a draw of the swings takes."""
    return len(_swings().kinds)


def _of_kind(names: tuple[str, ...], kind: str) -> list[int]:
    return [s for s, name in enumerate(names) if split_side(name)[1] == kind]


def _above(
    poses: SegmentPoses, markers: dict[str, Array], body: FittedBody, names: tuple[str, ...], bones: Array, mass: Array
) -> tuple[float, Array, Array]:
    """Share of the body's mass that is above the pelvis and not seen, acceleration (3, F) and mass [kg] of all above
    it: what is not seen moves with the rest, with the pelvis where nothing is seen."""
    rest = np.asarray(body.rider.mass - mass.sum(axis=0))
    seen, place = upper_mass(poses, markers, body)
    if place is None:
        return float(np.mean(rest)) / body.rider.mass, bones[:, names.index("pelvis")], rest
    missing = max(float(np.mean(rest - seen)) / body.rider.mass, 0.0)
    return missing, _to_the_ends(second_derivative(place, 1.0 / poses.rate)), rest


def _to_the_ends(series: Array) -> Array:
    """The first and last sample, which a difference does not give, as their neighbours."""
    out = series.copy()
    out[..., 0], out[..., -1] = out[..., 1], out[..., -2]
    return out


def _window(strikes: tuple[int, ...], rate: float, frames: int) -> NDArray[np.bool_]:
    since = (np.arange(frames) - min(strikes)) / rate
    return (since > -BEFORE) & (since < AFTER)


def _whole(left: Array, force: Array, window: NDArray[np.bool_], weight: float, swings: _Swings) -> bool:
    """Whether the plates bear the whole body: left over is less than a share of weight and force."""
    excess = np.sqrt(np.mean(np.sum(left[..., window] ** 2, axis=0)))
    felt = np.sqrt(np.mean(np.sum(np.nan_to_num(force).sum(axis=1)[..., window] ** 2, axis=0)))
    return bool(excess < swings.noise["leftover_allowed"] * max(weight, float(felt)))


def _swing(bone: Array, hertz: float, damping: float, dt: float) -> Array:
    """Acceleration of flesh beside the bone it hangs on, both (3, ..., F); at rest beside it in the first frame.

    Bilinear transform of -s2 / (s2 + 2 z w s + w2), pre-warped at w.
    """
    w = 2.0 / dt * np.tan(np.pi * hertz * dt)
    k = 2.0 / dt
    a = np.array([k * k + 2 * damping * w * k + w * w, 2 * (w * w - k * k), k * k - 2 * damping * w * k + w * w])
    b = -k * k * np.array([1.0, -2.0, 1.0])
    start = np.nan_to_num(bone)
    rows = (start - start[..., :1]).reshape(-1, start.shape[-1])
    return recursion(b / a[0], a / a[0], rows).reshape(start.shape)


def _regressed(columns: Array, left: Array, noise: Array, swings: _Swings, drawn: Array | None) -> Array:
    """(K,) or (K, D) sizes: mean of the posterior, plus a draw of it."""
    together = swings.noise["samples_together"]
    scaled = columns / noise
    normal = np.einsum("ki...f,li...f->...kl", scaled, scaled) / together + swings.precision
    right = np.einsum("ki...f,i...f->...k", scaled, left / noise) / together
    size = np.linalg.solve(normal, right[..., None])[..., 0]
    if drawn is not None:
        # The Cholesky factor of the posterior's precision turns standard normal numbers into draws of it.
        upper = np.linalg.cholesky(normal).swapaxes(-1, -2)
        size = size + np.linalg.solve(upper, drawn.T[..., None])[..., 0]
    return np.moveaxis(size, -1, 0)

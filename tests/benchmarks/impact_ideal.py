"""How far off an ideal estimator is that knows the true covariance of every error in a recording.

All errors are near enough to Gaussian and small: cameras, skin, flesh, landmarks, joint centres, inertia, plates and
clock, with the covariances by which the benchmark's recordings are made. Draws of all of them, each analysed in full,
give draws of a joint's peak as the truth may be, and with it of what the laws say must be nothing: gaps between the
bones of hips, knees and ankles, and what separates the moment at L5/S1 summed from the feet up from that of trunk, head
and arms. Conditional on these being nothing the peak has the mean that no linear estimator betters, and the standard
deviation s of what a ridge regression of the peak on them leaves, the ridge by generalised cross-validation; its
expected absolute error is sqrt(2/pi) s, and it has no bias. The trunk's flesh is in the sum from above, and the trunk
is known as its spreads below say. It is generous: real bones part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.analysis import descend, fit_body, plates_struck, weigh
from jointload.body.calibration import FittedBody
from jointload.body.joined import _gaps
from jointload.intake.recording import Array
from jointload.intake.session import Session
from jointload.landing.certainty import Key
from jointload.landing.landed import Landing
from jointload.landing.measures.every_measure import measure_landing
from jointload.loads.from_above import turned, upper_trunk
from jointload.numerics.rotations import cross, rotate
from jointload.one_clock import on_one_clock
from jointload.settings import Settings
from jointload.uncertainty import pour as pouring
from jointload.uncertainty.draws import Streams, draw_inputs
from jointload.uncertainty.spreads import SOURCES, load_sources

DRAWS, TOGETHER = 400, 25
INSTANTS = np.array([-0.05, 0.02, 0.04, 0.07, 0.12, 0.25])
"""[s] from touch-down at which what must be nothing is looked at."""
RIDGES = 10.0 ** np.arange(-1.0, 4.5, 0.5)
TRUNK_CENTRE, TRUNK_RADIUS = 0.032, 0.06
"""Spread of the centre of mass of trunk, head and arms, share of the way from hips to shoulders along each of two axes,
and of their radii of gyration (choice: that of the thigh in models/uncertainty/inertia.toml)."""
OF_MOTION = ("camera", "skin", "flesh")
"""What is uncertain where body and plates are exact."""


@dataclass(frozen=True)
class Expected:
    """Of one number of a recording, SI units: the absolute error that is expected of the default, by the spread of its
    draws, of an ideal estimator that knows only that bones meet, and of the ideal one; and by how much all errors shift
    the number in the mean when they are laid on it once more: a peak near others only rises."""

    default: float
    by_joints: float
    ideal: float
    shift: float


def landed(session: Session, settings: Settings, exact: FittedBody | None) -> tuple[Session, Landing]:
    """The session on one clock and its landing, with the laboratory's body or with a known one."""
    rider, weight, _ = weigh(session)
    body = exact or fit_body(session, rider, settings)
    session, _ = on_one_clock(session, body, settings, plates_struck(session.trial, settings))
    return session, descend(session, body, weight, settings)[0]


def expected_errors(session: Session, exact: FittedBody | None = None) -> dict[Key, Expected]:
    """(quantity, side) -> what is expected of it.

    exact : the rider's true body, where it and the plates are known"""
    session, landing = landed(session, Settings(), exact)
    sources, streams = load_sources(SOURCES if exact is None else OF_MOTION), Streams.of(session, 0)
    inputs = draw_inputs(session, landing, sources, streams, DRAWS, TOGETHER)
    body = fit_body(session, landing.body.rider, landing.settings, inputs.body)
    near = pouring._near(landing, float(inputs.cutoff.min()))
    markers = pouring._Markers.of(session, landing, near, sources, streams, DRAWS)
    joining = pouring._joining(session, near.landing, markers)
    assert joining is not None
    trunk = np.random.default_rng(305).standard_normal((3, DRAWS)) * (exact is None)
    board = pouring.BoardUnderFeet.of(near.landing, markers.named(markers.exact))
    shared = pouring._Pouring(near.landing, body, inputs, markers, joining, board)
    since = near.landing.events.first_touchdown + INSTANTS
    at = np.round(since * near.landing.poses.rate).astype(int)
    peaks: dict[Key, Array] = {}
    nothing = np.full((3 * len(joining.meetings) + 3, at.size, DRAWS), np.nan)
    for start in range(0, DRAWS, TOGETHER):
        which = slice(start, start + TOGETHER)
        together, filtered = pouring._poured(shared, which, markers.disturbed(which, markers.drawn(which)))
        for numbers, drawn in pouring._by_events(together, filtered, inputs.weight[which]):
            for key, value in pouring._values(drawn, landing.weight).items():
                peaks.setdefault(key, np.full(DRAWS, np.nan))[start + numbers] = value
        gaps = _gaps(together.poses, together.body, joining.meetings)[..., at]
        parts = (gaps.reshape(-1, *gaps.shape[2:]), _disagreement(together, trunk[:, which])[..., at])
        nothing[..., which] = np.concatenate(parts).swapaxes(1, 2)
    joints, rows = (each.reshape(-1, DRAWS) for each in (nothing[:-3], nothing))
    least = float(np.sqrt(2.0 / np.pi))
    values = {(measure.quantity, measure.side): measure.value for measure in measure_landing(landing)}
    return {
        key: Expected(
            least * float(np.nanstd(drawn)),
            least * _left(drawn, joints),
            least * _left(drawn, rows),
            float(np.nanmean(drawn)) - values[key],
        )
        for key, drawn in peaks.items()
    }


def _disagreement(landing: Landing, trunk: Array) -> Array:
    """(3, D, F) [N m] the moment at L5/S1 from below less that from above; trunk : (3, D) standard normal numbers for
    the place of its centre forward and up, and its radii."""
    assert landing.upper is not None
    body, j, (rotation, _) = landing.body, landing.angles.joints.index("l5s1"), landing.poses.of("trunk")
    own, points = upper_trunk(body), body.standing_points
    assert own is not None
    long = np.linalg.norm(points["shoulder_mid"] - points["hip_mid"], axis=0)
    shift = TRUNK_CENTRE * long * np.stack((trunk[0], trunk[1], np.zeros_like(trunk[0])))
    moment = cross(rotate(rotation, shift[..., None]), landing.upper.force)
    moment += 2.0 * TRUNK_RADIUS * trunk[2][:, None] * turned(rotation, own.tensor, 1.0 / landing.poses.rate)
    more = np.einsum("ca...,c...->a...", landing.angles.axes[:, :, j], moment)
    more *= landing.angles.signs[:, j].reshape(3, 1, 1)
    return landing.loads.components[:, landing.loads.joints.index("l5s1")] - landing.upper.components - more


def _left(values: Array, rows: Array) -> float:
    """Standard deviation of what a ridge regression of (D,) values on (k, D) rows leaves."""
    seen = np.isfinite(values) & np.isfinite(rows).all(axis=0)
    if not seen.any():
        return float("nan")
    away, y = rows[:, seen] - rows[:, seen].mean(axis=1, keepdims=True), values[seen] - values[seen].mean()
    size = away.std(axis=1, keepdims=True)
    _, singular, directions = np.linalg.svd(away / np.where(size > 0.0, size, 1.0), full_matrices=False)
    along = directions @ y
    scores = []
    for ridge in RIDGES:
        kept = singular**2 / (singular**2 + ridge)
        rest = y - (kept * along) @ directions
        scores.append(np.mean(rest**2) / (1.0 - (kept.sum() + 1.0) / y.size) ** 2)
    return float(np.sqrt(min(scores)))

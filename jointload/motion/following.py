"""Every marker's trajectory, smooth where the body is calm and quick where it strikes, by splines of its segment's own.

The noise of the markers is measured in the recording; the roughness comes from the plates. Slow recordings are followed
at a finer rate, so that no peak falls between two frames.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from jointload.body.board import with_board
from jointload.body.calibration import FittedBody
from jointload.body.pose import complete_markers
from jointload.intake.board import Board
from jointload.intake.recording import Array, Finding, Recording, split_side
from jointload.motion.roughness import OF_BOARD, Roughness, roughness
from jointload.numerics.banded import BandedMap
from jointload.numerics.signals import runs
from jointload.numerics.splines import FEWEST, JerkSpline, noise_level

SLOWEST = 240.0
"""A recording is followed at no less than this rate [Hz] (choice: at 200 Hz a hip's peak is 3 % lower than at 500 Hz,
at 250 Hz 1 %)."""
AS_CAMERA = 500.0
"""Marker rate [Hz] at which what skin and flesh do in an impact weighs as much as the camera's noise: it has a spectrum
of its own, which more frames a second do not thin out (choice; tuned on landings of tests/benchmarks/impact.py kept
apart from those reported)."""
BOARD = "board"
"""The kind of a board's markers. A board stops within a frame of a slow recording, and its mass makes of what is
smeared beyond the touch a false impact; so its splines have a knot at every followed frame, and may bend from the force
sample of the touch on (knee adduction of landings on a board at 100 Hz: 40 to 23 %, hip flexion 17 to 4 %). It has no
skin."""
LEAST_NOISE = 2e-6
"""Noise of markers [m] below which they are followed as they are (choice: a C3D file stores no finer)."""


@dataclass(frozen=True, eq=False)
class Smoother:
    """What was done to the markers of every kind of segment, so that what it leaves open can be drawn.

    rows : kind -> rows of its markers;  noise : kind -> [m] with the skin's;  camera : without it, which is drawn apart
    density : kind -> (F,) at the marker rate, a board's at the followed rate
    """

    rows: dict[str, list[int]]
    noise: dict[str, float]
    camera: dict[str, float]
    density: dict[str, Array]
    dt: float
    finer: int
    skipped: int = 0
    """Followed frames before the first that is asked for."""

    def around(self, frames: slice) -> Smoother:
        """For some of the followed frames, which need not begin with a marker frame."""
        part = slice(frames.start // self.finer, -(-(frames.stop - 1) // self.finer) + 1)
        density = {name: each[self._knots(name, part)] for name, each in self.density.items()}
        return replace(self, density=density, skipped=frames.start - part.start * self.finer)

    def normals(self, generator: np.random.Generator, draws: int) -> dict[str, Array]:
        """Kind -> standard normal numbers for `doubts`, (3, rows, D, samples)."""
        return {
            name: generator.standard_normal((3, len(rows), draws, self._open[name].size[0]))
            for name, rows in self.rows.items()
        }

    def doubts(self, normals: dict[str, Array], frames: int) -> Iterator[tuple[int, Array]]:
        """Row of every marker and (3, D, F) [m] draws of what is not known of its trajectory after smoothing, noise and
        all."""
        for name, normal in normals.items():
            doubts = self._open[name](normal)[..., self.skipped : self.skipped + frames]
            yield from zip(self.rows[name], doubts.swapaxes(0, 1), strict=True)

    @cached_property
    def _open(self) -> dict[str, BandedMap]:
        """Kind -> from standard normal numbers to what its spline leaves open."""
        splines = {
            name: self._through(name, self.density[name]) if name == BOARD else self._coarse(name) for name in self.rows
        }
        return {name: BandedMap.of(spline.doubt(np.eye(spline.samples + 4))) for name, spline in splines.items()}

    def _coarse(self, name: str) -> JerkSpline:
        """The spline of as many samples a second as a recording is followed at: a jerk that is white up to the half of
        1000 Hz would make the doubt of an acceleration larger than any body moves. Noise is as thinned out as samples
        are; one sample more than needed reaches beyond the last."""
        step = max(int(1.0 / (self.dt * SLOWEST)), 1)
        density, thinner = self.density[name], np.sqrt(step)
        density = np.pad(density, (0, step - 1), mode="edge")[::step]
        noise, own = self.noise[name] / thinner, self.camera[name] / thinner
        return JerkSpline.of(density, noise, step * self.dt, step * self.finer, own)

    def smoothed(self, markers: Array) -> Array:
        """(3, M, F) data to trajectories at the followed rate; NaN stays, and a run too short becomes NaN."""
        frames = (markers.shape[2] - 1) * self.finer + 1
        out, seen = np.full((*markers.shape[:2], frames), np.nan), np.all(np.isfinite(markers), axis=0)
        for name, rows in self.rows.items():
            whole = [row for row in rows if seen[row].all()]
            if whole:
                out[:, whole] = self._spline(name, slice(0, markers.shape[2])).smooth(markers[:, whole])
            for row in set(rows) - set(whole):
                for start, stop in runs(seen[row]):
                    if stop - start >= FEWEST:
                        part = self._spline(name, slice(start, stop)).smooth(markers[:, row, start:stop])
                        out[:, row, start * self.finer : (stop - 1) * self.finer + 1] = part
        return out

    def _spline(self, name: str, part: slice) -> JerkSpline:
        return self._through(name, self.density[name][self._knots(name, part)])

    def _every(self, name: str) -> int:
        """Knots a marker frame."""
        return self.finer if name == BOARD else 1

    def _knots(self, name: str, part: slice) -> slice:
        """Of some marker frames."""
        every = self._every(name)
        return slice(part.start * every, (part.stop - 1) * every + 1)

    def _through(self, name: str, density: Array) -> JerkSpline:
        every, noise, camera = self._every(name), self.noise[name], self.camera[name]
        return JerkSpline.of(density, noise, self.dt / every, self.finer // every, camera, every)


@dataclass(frozen=True, eq=False)
class Followed:
    """recording : at the followed rate, the markers of body and board smooth, all others as they were
    markers : label -> (3, F) [m] of those the body needs, smooth;  strikes : frames in which feet strike
    """

    recording: Recording
    markers: dict[str, Array]
    smoother: Smoother
    strikes: tuple[int, ...]
    findings: tuple[Finding, ...]


def follow(
    trial: Recording, body: FittedBody, board: Board | None, longest_gap: float, struck: tuple[int, ...]
) -> Followed:
    """Trajectories of the markers that body and board need. struck : force samples in which plates begin to bear
    load."""
    touchdowns = tuple(sample // trial.samples_per_frame for sample in struck)
    used, markers, findings, _ = complete_markers(trial, body, longest_gap, touchdowns)
    labels, markers = with_board(trial, board, longest_gap, used, markers)
    ridden = labels[len(used) :]
    owner = {label: split_side(name)[1] for name, cluster in body.clusters.items() for label in cluster.labels}
    owner |= dict.fromkeys(ridden, BOARD)
    rows: dict[str, list[int]] = {}
    for row, label in enumerate(labels):
        rows.setdefault(owner.get(label, "trunk"), []).append(row)
    smoother = _smoother(trial, markers, rows, roughness(trial, body, struck))
    if ridden:
        finer = roughness(trial, body, struck, OF_BOARD, smoother.finer)
        smoother = replace(smoother, density=smoother.density | {BOARD: finer.density(BOARD)})
    smooth = smoother.smoothed(markers)
    return Followed(
        recording=_at_followed_rate(trial, labels, smooth, smoother.finer),
        markers=dict(zip(used, smooth[:, : len(used)].swapaxes(0, 1), strict=True)),
        smoother=smoother,
        strikes=tuple(frame * smoother.finer for frame in touchdowns),
        findings=findings,
    )


def _smoother(trial: Recording, markers: Array, rows: dict[str, list[int]], rough: Roughness) -> Smoother:
    with_skin = np.sqrt(1.0 + trial.point_rate / AS_CAMERA)
    camera = {name: noise_level(markers[:, own], rough.calm) for name, own in rows.items()}
    return Smoother(
        rows=rows,
        noise={name: _at_least(level if name == BOARD else with_skin * level) for name, level in camera.items()},
        camera={name: _at_least(level) for name, level in camera.items()},
        density={name: rough.density(name) for name in rows},
        dt=1.0 / trial.point_rate,
        finer=_finer(trial),
    )


def _at_least(noise: float) -> float:
    return max(noise, LEAST_NOISE) if np.isfinite(noise) else LEAST_NOISE


def _finer(trial: Recording) -> int:
    """Into how many equal parts a frame is cut: force samples, so that both stay on one clock."""
    step = trial.samples_per_frame if trial.plates else 1
    return next((k for k in range(1, step + 1) if step % k == 0 and k * trial.point_rate >= SLOWEST), step)


def _at_followed_rate(trial: Recording, labels: list[str], smooth: Array, finer: int) -> Recording:
    if finer == 1:
        markers = trial.markers.copy()
        markers[:, [trial.labels.index(label) for label in labels]] = smooth
        return replace(trial, markers=markers)
    others = [row for row, label in enumerate(trial.labels) if label not in labels]
    at = np.arange(smooth.shape[2]) / finer
    frames = np.arange(trial.frames)
    rest = np.zeros((3, len(others), at.size))
    for k, row in enumerate(others):
        rest[:, k] = [np.interp(at, frames, path) for path in trial.markers[:, row]]
    return replace(
        trial,
        labels=(*labels, *(trial.labels[row] for row in others)),
        markers=np.concatenate((smooth, rest), axis=1),
        point_rate=trial.point_rate * finer,
        first_frame=(trial.first_frame - 1) * finer + 1,
        parts=finer,
    )

"""What plates under a board bear of the feet: their wrench without the board's own weight and inertia.

Plate and board together feel the feet, so the wrench on the feet is the plates' wrench less what gives the board its
measured acceleration, m (a - g) and the rate of its angular momentum, both about the lab origin.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jointload.body.board import BoardPose, track_board
from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.board import Board
from jointload.intake.labels import with_closest
from jointload.intake.plates.plates import centre_of_pressure
from jointload.intake.recording import SIDES, Array, Finding, Plate, Recording, Severity
from jointload.intake.rider import G
from jointload.loads.contact import Lost, loaded_spans, outside
from jointload.loads.moments import Chain, SegmentMotion, inverse_dynamics
from jointload.loads.soles import off_sole, sole_outlines
from jointload.numerics.rotations import angular_motion
from jointload.numerics.signals import of_fourth_order, runs, second_derivative, zero_lag_lowpass
from jointload.numerics.splines import CubicCurve
from jointload.settings import Settings

SUPPORT_MARGIN = 0.01
"""A support may lie this far [m] outside a plate's corners and still press on it (choice: markers and ruler)."""
LARGE_RESIDUAL = 0.010
"""Root mean square distance [m] of the board's markers from their places in board.toml that is looked at (choice)."""
HALF_OFFSET = 0.75
"""A rod's halves lie sqrt(0.75 I / m) from its middle, a quarter of its length."""
UNDER_FOOT, UNDER_SHARE = 0.02, 0.75
"""A plate bears the foot above it alone when its pressure lies within this [m] of the sole for this share of the
loaded time (choice)."""
BEARING = 0.2
"""Plates are judged while they bear this share of body weight (choice)."""
HALF_OFF = "the board stands half off the plates"
NOT_SEEN = "the board's markers are not seen"


@dataclass(frozen=True, eq=False)
class UnderFeet:
    """The plates as the feet press on them: a recording with the board's part taken out, surfaces at the deck's height;
    frames in which that is not known; what was found."""

    recording: Recording
    lost: tuple[Lost, ...] = ()
    findings: tuple[Finding, ...] = ()
    board: Board | None = None


def under_feet(
    trial: Recording, board: Board | None, poses: SegmentPoses, body: FittedBody, settings: Settings
) -> UnderFeet:
    """The trial with plates that bear the feet alone; the trial itself where there is no board."""
    if board is None or not trial.plates:
        return UnderFeet(trial)
    pose = track_board(trial, board, _cutoff(settings, trial.point_rate), settings.longest_gap)
    lacking = _lacking(board, trial)
    if pose is None:
        return UnderFeet(trial, findings=(*lacking, _ignored(board, trial, body, settings)), board=board)
    place = _Whereabouts.of(pose, trial, settings.contact_threshold)
    findings = [*lacking, _fit_finding(pose, trial), *place.findings(trial, board)]
    if not place.borne.any():
        return UnderFeet(trial, place.lost(), tuple(findings), board)
    plates, words = _without(pose, place, trial, poses, body)
    peak = _largest_share(trial, plates)
    doubt = "no interval holds what its markers leave open of its stop"
    evidence = f"{words}; weight and inertia of {board.mass:g} kg taken out, up to {peak:.0f} N; {doubt}"
    findings.append(Finding("board", "pass", f"{trial.name}: {board.name}", evidence, ""))
    return UnderFeet(replace(trial, plates=plates), place.lost(), tuple(findings), board)


def _cutoff(settings: Settings, rate: float) -> float | None:
    """The plates' own cut-off for peaks: whatever low-pass follows acts on plate and board alike."""
    return None if settings.impact_cutoff is None else min(settings.impact_cutoff, 0.45 * rate)


@dataclass(frozen=True, eq=False)
class _Whereabouts:
    """Where the board is in every marker frame.

    seen, loaded, low : (F,) whether its pose is known, any plate bears load, it may stand on the plates' surface
    over : (P, F) whether a support lies over each plate;  whole : (F,) whether all of them lie over plates
    """

    seen: NDArray[np.bool_]
    loaded: NDArray[np.bool_]
    low: NDArray[np.bool_]
    over: NDArray[np.bool_]
    whole: NDArray[np.bool_]

    @classmethod
    def of(cls, pose: BoardPose, trial: Recording, threshold: float) -> _Whereabouts:
        frames, step = trial.frames, trial.samples_per_frame
        loaded = np.zeros(frames, dtype=bool)
        total = np.sum([plate.force[1] for plate in trial.plates], axis=0)
        for start, stop in loaded_spans(total, trial.force_rate, threshold):
            loaded[start // step : -(-stop // step)] = True
        over = np.array([outside(plate.corners, pose.supports) < SUPPORT_MARGIN for plate in trial.plates])
        surface = float(np.mean([plate.corners[1].mean() for plate in trial.plates]))
        return cls(np.isfinite(pose.residual), loaded, pose.low(surface), np.any(over, 1), np.all(np.any(over, 0), 0))

    @property
    def borne(self) -> NDArray[np.bool_]:
        """(F,) whether the plates bear the whole board."""
        return self.seen & self.loaded & self.low & self.whole

    @property
    def half_off(self) -> NDArray[np.bool_]:
        return self.seen & self.loaded & self.low & self.over.any(axis=0) & ~self.whole

    @property
    def apart(self) -> NDArray[np.bool_]:
        """(F,) whether the plates are loaded while the board is in the air or beside them."""
        return self.seen & self.loaded & ~(self.low & self.over.any(axis=0))

    @property
    def free(self) -> NDArray[np.bool_]:
        """(F,) whether board and plates are apart and nothing is measured."""
        return self.seen & ~self.loaded & ~(self.low & self.over.any(axis=0))

    def lost(self) -> tuple[Lost, ...]:
        reasons = ((self.half_off, HALF_OFF), (~self.seen & self.loaded, NOT_SEEN))
        return tuple(
            Lost(side, start, stop, why) for side in SIDES for mask, why in reasons for start, stop in runs(mask)
        )

    def findings(self, trial: Recording, board: Board) -> list[Finding]:
        where = f"{trial.name}: {board.name}"
        cases: tuple[tuple[NDArray[np.bool_], Severity, str, str], ...] = (
            (self.free, "pass", "in the air or not yet on a plate", "nothing is taken out there"),
            (
                self.apart,
                "warn",
                "in the air or beside the plates while they bear load",
                "nothing is taken out there; did the rider land without the board?",
            ),
            (
                self.half_off,
                "refuse",
                "half off the plates, which do not feel all of it",
                "no moments in these frames; land with the whole board on the plates",
            ),
            (~self.seen & self.loaded, "warn", "not seen while the plates bear load", "no moments in these frames"),
        )
        return [
            Finding("board", severity, where, f"the board is {words} for {_seconds(mask, trial)}", advice)
            for mask, severity, words, advice in cases
            if mask.any()
        ]


def _seconds(mask: NDArray[np.bool_], trial: Recording) -> str:
    longest = max(runs(mask), key=lambda run: run[1] - run[0])
    return f"{mask.sum() / trial.point_rate:.2f} s, the longest in frames {trial.numbers.span(*longest)}"


def _without(
    pose: BoardPose, place: _Whereabouts, trial: Recording, poses: SegmentPoses, body: FittedBody
) -> tuple[tuple[Plate, ...], str]:
    """The trial's plates without the board, and in words which bear it."""
    carriers = [p for p in range(len(trial.plates)) if place.over[p, place.borne].any()]
    others = tuple(plate for p, plate in enumerate(trial.plates) if p not in carriers)
    at_samples = _at_samples(place.borne, trial)
    owners = _half_owners(pose, place, trial)
    named = " and ".join(str(trial.plates[p].number) for p in carriers)
    if len(carriers) == 2 and set(owners) == set(carriers):
        force, moment = _inertial_wrench(pose, halves=True)
        apart = []
        for half, p in enumerate(owners):
            plate = _lifted(trial.plates[p], pose.board.deck_height)
            apart.append(_less(plate, force[:, half], moment[:, half], at_samples, trial))
        if _each_under_a_foot(apart, trial, poses, body):
            both = tuple(sorted(apart, key=lambda plate: plate.number))
            return (*others, *both), f"plates {named} each bear one half of the board and the foot above it"
    force, moment = (wrench[:, 0] for wrench in _inertial_wrench(pose, halves=False))
    whole = _less(_joined([trial.plates[p] for p in carriers], pose, place), force, moment, at_samples, trial)
    together = " together" if len(carriers) > 1 else ""
    return (
        *others,
        whole,
    ), f"plate{'s' if len(carriers) > 1 else ''} {named} bear{'' if together else 's'} it{together}"


def _half_owners(pose: BoardPose, place: _Whereabouts, trial: Recording) -> tuple[int, ...]:
    """The plate under each half's middle while the board is borne, -1 for none."""
    offset = _half_offset(pose.board)
    middles = pose.place(np.array([[offset, -offset], [0.0, 0.0], [0.0, 0.0]]))[..., place.borne]
    over = np.stack([(outside(plate.corners, middles) < 0.0).mean(axis=1) for plate in trial.plates])
    return tuple(int(np.argmax(over[:, half])) if over[:, half].max() > 0.5 else -1 for half in range(2))


def _half_offset(board: Board) -> float:
    return float(np.sqrt(HALF_OFFSET * board.inertia[1:].min() / board.mass))


def _inertial_wrench(pose: BoardPose, halves: bool) -> tuple[Array, Array]:
    """Force and moment about the lab origin, (3, S, F) [N], [N m], that the ground and the feet together must exert on
    the board, or on each of its halves, to move it as it moves. The halves have the board's mass and inertia together.
    """
    board = pose.board
    offset = _half_offset(board) if halves else 0.0
    along = np.array([offset, -offset] if halves else [0.0])
    parts = along.size
    centre = pose.place(board.centre[:, None] + np.stack((along, 0 * along, 0 * along)))
    own = (board.inertia - board.mass * np.array([0.0, offset**2, offset**2])) / parts
    velocity, acceleration = angular_motion(pose.rotation, 1.0 / pose.rate)
    motion = SegmentMotion(
        rotation=np.repeat(pose.rotation[:, :, None], parts, axis=2),
        centre=centre,
        acceleration=of_fourth_order(second_derivative(centre, 1.0 / pose.rate)),
        angular_velocity=np.repeat(velocity[:, None], parts, axis=1),
        angular_acceleration=np.repeat(of_fourth_order(acceleration)[:, None], parts, axis=1),
    )
    tensor = np.repeat(np.diag(own)[..., None], parts, axis=2)
    chain = Chain(np.full(parts, board.mass / parts), tensor, (-1,) * parts)
    nothing = np.zeros((3, 0, centre.shape[2]))
    return inverse_dynamics(motion, chain, np.zeros_like(centre), nothing, nothing, ())


def _at_samples(frames: NDArray[np.bool_], trial: Recording) -> NDArray[np.bool_]:
    """(N,) the same at the force rate, without samples in which no plate is loaded."""
    samples = trial.plates[0].force.shape[1]
    index = np.minimum(np.arange(samples) // trial.samples_per_frame, trial.frames - 1)
    return frames[index]


def _less(plate: Plate, force: Array, moment: Array, where: NDArray[np.bool_], trial: Recording) -> Plate:
    """A plate without a wrench (3, F) at the marker rate, taken out in the samples `where`."""
    taken = _resampled(np.concatenate((force, moment)), trial) * where
    return replace(plate, force=plate.force - taken[:3], moment=plate.moment - taken[3:])


def _resampled(series: Array, trial: Recording) -> Array:
    """(C, N) at the force rate of (C, F) by a cubic spline through the known frames, held at their ends; 0 where none
    is known."""
    samples = trial.plates[0].force.shape[1]
    known = np.flatnonzero(np.isfinite(series).all(axis=0))
    if known.size < 2:
        return np.zeros((series.shape[0], samples))
    frame = np.clip(np.arange(samples) / trial.samples_per_frame, known[0], known[-1])
    return CubicCurve.through(known.astype(float), series[:, known])(frame)


def _lifted(plate: Plate, height: float) -> Plate:
    return replace(plate, corners=plate.corners + np.array([[0.0], [height], [0.0]]))


def _joined(plates: list[Plate], pose: BoardPose, place: _Whereabouts) -> Plate:
    """The plates under a board as one, whose surface is the deck where the board comes to rest."""
    settled = np.flatnonzero(place.borne)
    deck = np.median(pose.deck[..., settled[settled.size // 2 :]], axis=2)
    deck[1] = np.mean([plate.corners[1].mean() for plate in plates]) + pose.board.deck_height
    force, moment = (np.sum([getattr(plate, key) for plate in plates], axis=0) for key in ("force", "moment"))
    return replace(plates[0], corners=deck, force=force, moment=moment)


def _each_under_a_foot(plates: list[Plate], trial: Recording, poses: SegmentPoses, body: FittedBody) -> bool:
    """Whether the pressure on every plate stays under a sole: else the board passes load from one to the other."""
    outline, step = sole_outlines(poses, body), trial.samples_per_frame
    for plate in plates:
        force, moment = plate.force[:, ::step][:, : trial.frames], plate.moment[:, ::step][:, : trial.frames]
        least = BEARING * body.rider.weight
        place = centre_of_pressure(force, moment, float(plate.corners[1].mean()), least)[[0, 2]]
        off = np.min([off_sole(outline[:, k, :, : place.shape[1]], place) for k in range(len(SIDES))], axis=0)
        known = np.isfinite(off)
        if known.any() and np.mean(off[known] < UNDER_FOOT) < UNDER_SHARE:
            return False
    return True


def _largest_share(trial: Recording, plates: tuple[Plate, ...]) -> float:
    """Largest vertical force [N] that was taken out."""
    before, after = (np.sum([plate.force[1] for plate in group], axis=0) for group in (trial.plates, plates))
    return float(np.max(np.abs(before - after)))


def _lacking(board: Board, trial: Recording) -> tuple[Finding, ...]:
    """Markers of the board that the recording lacks, whether enough others remain or not."""
    absent = [label for label in board.markers if label not in trial.labels]
    if not absent:
        return ()
    text = f"not in the recording: {'; '.join(with_closest(absent, trial, board.markers))}"
    advice = "correct board.toml, or label them there: without them the board's way is less certain"
    return (Finding("board_markers", "warn", f"{trial.name}: {board.name}", text, advice),)


def _fit_finding(pose: BoardPose, trial: Recording) -> Finding:
    typical = float(np.nanmedian(pose.residual))
    text = f"markers {1000 * typical:.1f} mm from their places on the board"
    severity: Severity = "warn" if typical > LARGE_RESIDUAL else "pass"
    advice = "measure the markers' places in board.toml again" if severity == "warn" else ""
    return Finding("board_markers", severity, f"{trial.name}: {pose.board.name}", text, advice)


def _ignored(board: Board, trial: Recording, body: FittedBody, settings: Settings) -> Finding:
    """How much the board's weight and inertia can at most be, from how fast the feet on it are stopped."""
    most = _largest_stop(trial, body, settings)
    evidence = "no three of its markers are in the recording: its weight and inertia stay in the load of the feet"
    if np.isfinite(most):
        bound = board.mass * (most + G)
        peak = float(np.max(np.sum([plate.force[1] for plate in trial.plates], axis=0)))
        evidence += (
            f", at most {bound:.0f} N ({board.mass:g} kg stopped at {most:.0f} m/s2 like the fastest foot marker), "
        )
        evidence += f"{100 * bound / peak:.0f} % of the plates' peak"
    advice = "put three markers on the board and name them in board.toml"
    return Finding("board", "warn", f"{trial.name}: {board.name}", evidence, advice)


def _largest_stop(trial: Recording, body: FittedBody, settings: Settings) -> float:
    """Largest vertical acceleration [m/s2] of either foot's markers while the plates bear load, NaN when not seen."""
    total = np.sum([plate.force[1] for plate in trial.plates], axis=0)
    spans = loaded_spans(total, trial.force_rate, settings.contact_threshold)
    step, most = trial.samples_per_frame, float("nan")
    for side in SIDES:
        labels = [label for label in body.clusters[f"{side}_foot"].labels if label in trial.labels]
        height = trial.markers[1, [trial.labels.index(label) for label in labels]]
        height = zero_lag_lowpass(height, _cutoff(settings, trial.point_rate), trial.point_rate)
        stop = np.fmax.reduce(np.abs(second_derivative(height, 1.0 / trial.point_rate)))
        parts = [stop[start // step : -(-end // step)] for start, end in spans]
        most = float(np.nanmax([most, *(np.nanmax(part) for part in parts if np.isfinite(part).any())]))
    return most

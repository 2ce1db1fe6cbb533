"""What plates under a board bear of the feet: their wrench without the board's own weight and inertia.

Plate and board together feel the feet, so the wrench on the feet is the plates' wrench less what gives the board its
measured acceleration, m (a - g) and the rate of its angular momentum, both about the lab origin.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jointload.body.board import BoardPose, seen_labels, track_board
from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.board import Board
from jointload.intake.labels import with_closest
from jointload.intake.plates.plates import centre_of_pressure
from jointload.intake.recording import SIDES, Finding, Plate, Recording, Severity
from jointload.intake.rider import G
from jointload.loads.contact import Lost, loaded_spans, outside
from jointload.loads.moved_board import MovedBoard, half_offset
from jointload.loads.soles import off_sole, sole_outlines
from jointload.numerics.signals import runs, second_derivative, zero_lag_lowpass
from jointload.settings import Settings

SUPPORT_MARGIN = 0.01
"""A support may lie this far [m] outside a plate's corners and still press on it (choice: markers and ruler)."""
LARGE_RESIDUAL = 0.010
"""Root mean square distance [m] of the board's markers from their places in board.toml that is looked at (choice)."""
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
    moved: MovedBoard | None = None


def under_feet(
    trial: Recording, board: Board | None, poses: SegmentPoses, body: FittedBody, settings: Settings
) -> UnderFeet:
    """The trial with plates that bear the feet alone; the trial itself where there is no board."""
    if board is None or not trial.plates:
        return UnderFeet(trial)
    pose = track_board(trial, board, settings.peak_cutoff(trial.point_rate), settings.longest_gap)
    lacking = _lacking(board, trial)
    if pose is None:
        return UnderFeet(trial, findings=(*lacking, _ignored(board, trial, body, settings)))
    place = _Whereabouts.of(pose, trial, settings.contact_threshold)
    findings = [*lacking, _fit_finding(pose, trial), *place.findings(trial, board)]
    if not place.borne.any():
        return UnderFeet(trial, place.lost(), tuple(findings))
    plates, moved, words = _without(pose, place, trial, poses, body, settings)
    peak = _largest_share(trial, plates)
    evidence = f"{words}; weight and inertia of {board.mass:g} kg taken out, up to {peak:.0f} N"
    findings.append(Finding("board", "pass", f"{trial.name}: {board.name}", evidence, ""))
    return UnderFeet(replace(trial, plates=plates), place.lost(), tuple(findings), moved)


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
    pose: BoardPose,
    place: _Whereabouts,
    trial: Recording,
    poses: SegmentPoses,
    body: FittedBody,
    settings: Settings,
) -> tuple[tuple[Plate, ...], MovedBoard, str]:
    """The trial's plates without the board, what was taken out, and in words which bear it."""
    carriers = [p for p in range(len(trial.plates)) if place.over[p, place.borne].any()]
    others = tuple(plate for p, plate in enumerate(trial.plates) if p not in carriers)
    owners = _half_owners(pose, place, trial)
    named = " and ".join(str(trial.plates[p].number) for p in carriers)
    if len(carriers) == 2 and set(owners) == set(carriers):
        lifted = [_lifted(trial.plates[p], pose.board.deck_height) for p in sorted(owners)]
        halves = _moved(pose, place, trial, settings, tuple(len(others) + sorted(owners).index(p) for p in owners))
        apart = _less((*others, *lifted), halves, pose, trial)
        if _each_under_a_foot(apart[len(others) :], trial, poses, body):
            return apart, halves, f"plates {named} each bear one half of the board and the foot above it"
    whole = _moved(pose, place, trial, settings, (len(others),))
    one = _joined([trial.plates[p] for p in carriers], pose, place)
    together, many = (" together", "s") if len(carriers) > 1 else ("", "")
    words = f"plate{many} {named} bear{'' if many else 's'} it{together}"
    return _less((*others, one), whole, pose, trial), whole, words


def _moved(
    pose: BoardPose, place: _Whereabouts, trial: Recording, settings: Settings, plates: tuple[int, ...]
) -> MovedBoard:
    labels = tuple(seen_labels(pose.board, trial))
    return MovedBoard(pose.board, labels, settings.peak_cutoff(trial.point_rate), plates, place.borne)


def _less(plates: tuple[Plate, ...], moved: MovedBoard, pose: BoardPose, trial: Recording) -> tuple[Plate, ...]:
    """The plates without what moves the board."""
    taken = moved.wrenches_of(pose, trial.samples_per_frame, trial.plates[0].force.shape[1])
    out = list(plates)
    for part, p in enumerate(moved.plates):
        out[p] = replace(out[p], force=out[p].force - taken[0, :, part], moment=out[p].moment - taken[1, :, part])
    return tuple(out)


def _half_owners(pose: BoardPose, place: _Whereabouts, trial: Recording) -> tuple[int, ...]:
    """The plate under each half's middle while the board is borne, -1 for none."""
    offset = half_offset(pose.board)
    middles = pose.place(np.array([[offset, -offset], [0.0, 0.0], [0.0, 0.0]]))[..., place.borne]
    over = np.stack([(outside(plate.corners, middles) < 0.0).mean(axis=1) for plate in trial.plates])
    return tuple(int(np.argmax(over[:, half])) if over[:, half].max() > 0.5 else -1 for half in range(2))


def _lifted(plate: Plate, height: float) -> Plate:
    return replace(plate, corners=plate.corners + np.array([[0.0], [height], [0.0]]))


def _joined(plates: list[Plate], pose: BoardPose, place: _Whereabouts) -> Plate:
    """The plates under a board as one, whose surface is the deck where the board comes to rest."""
    settled = np.flatnonzero(place.borne)
    deck = np.median(pose.deck[..., settled[settled.size // 2 :]], axis=2)
    deck[1] = np.mean([plate.corners[1].mean() for plate in plates]) + pose.board.deck_height
    force, moment = (np.sum([getattr(plate, key) for plate in plates], axis=0) for key in ("force", "moment"))
    return replace(plates[0], corners=deck, force=force, moment=moment)


def _each_under_a_foot(plates: tuple[Plate, ...], trial: Recording, poses: SegmentPoses, body: FittedBody) -> bool:
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
        height = zero_lag_lowpass(height, settings.peak_cutoff(trial.point_rate), trial.point_rate)
        stop = np.fmax.reduce(np.abs(second_derivative(height, 1.0 / trial.point_rate)))
        parts = [stop[start // step : -(-end // step)] for start, end in spans]
        most = float(np.nanmax([most, *(np.nanmax(part) for part in parts if np.isfinite(part).any())]))
    return most

"""How far are the joints' peaks from what the joints bore? Run by hand: python tests/benchmarks/impact.py [--tuning]

Riders, bodies, flesh, styles and laboratories are drawn anew for every seed; the landings are exact solutions of
Newton's and Euler's equations with wobbling flesh, recorded with the errors of models/uncertainty. Methods are tuned on
the seeds of TUNING alone; REPORTING is what README quotes. Biases have the standard error over landings. The last
columns are what impact_ideal.py expects on the same recordings: of the default by its own draws, and of an ideal
estimator that knows the covariance of all errors, with and without the moment from above; in brackets not a bias, which
it has none of, but by how much all errors shift a number when they are laid on it once more.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import astuple, dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from impact_ideal import expected_errors, landed

from jointload.body.calibration import FittedBody, calibrate
from jointload.errors import InputError
from jointload.intake.recording import Recording
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.landing.measures.every_measure import measure_landing
from jointload.numerics.rotations import rotate
from jointload.numerics.signals import zero_lag_lowpass
from jointload.settings import Settings
from jointload.synthetic.board import BoardLanding
from jointload.synthetic.disturbed import disturbed, laboratory_errors, seen_wrenches, true_body
from jointload.synthetic.flesh import drawn_flesh
from jointload.synthetic.landing import SyntheticLanding, simulate_landing
from jointload.synthetic.specification import LandingSpec
from jointload.synthetic.standing import label_map, static_recording
from jointload.synthetic.truth import truth_table

TUNING, REPORTING = range(100, 160), range(740, 780)
"""Seeds; 500 to 529, 700 to 739, and others below 700, were reported on before."""
ENDLESS = (1226, 1262)
"""Seeds whose motion takes the integration many minutes; they are left out, as are motions that legs cannot make."""
RATES = (100.0, 250.0, 1000.0)
PEAKS = (
    "ankle_dorsiflexion_moment_peak", "knee_flexion_moment_peak", "knee_adduction_moment_peak",
    "hip_flexion_moment_peak", "hip_adduction_moment_peak", "l5s1_extension_moment_peak", "knee_adduction_impulse",
    "ankle_work_negative", "knee_work_negative", "hip_work_negative", "knee_flexion_peak",
)  # fmt: skip
CAMERA = 0.3e-3
"""Noise of the board's markers [m], that of models/uncertainty."""
COMMON_STEPS = 20
"""Landings are simulated at multiples of so many force samples, so that every marker rate cuts them alike."""
SLOWEST_RESIDUAL, FASTEST_RESIDUAL = 2.0, 45.0
"""Cut-offs [Hz] between which the residual analysis looks; its straight part is the upper half."""


@dataclass(frozen=True, eq=False)
class Case:
    """One rider's landing with its truth, and the board under it, if any."""

    landing: SyntheticLanding
    board: BoardLanding | None

    @property
    def truth(self) -> dict[tuple[str, str], float]:
        return {(row.quantity, row.side): row.value for row in truth_table(self.landing)}


def drawn_spec(seed: int) -> LandingSpec:
    """Rider and style of a seed: one landing in three leads with one foot, one in three stands wide and sideways."""
    rng = np.random.default_rng([seed, 301])
    sex: Literal["f", "m"] = "f" if rng.random() < 0.5 else "m"
    height = rng.normal(1.66, 0.06) if sex == "f" else rng.normal(1.79, 0.07)
    rider = Rider(
        f"rider_{seed}",
        rng.uniform(19.5, 28.0) * height**2,
        height,
        sex,
        stance="right" if rng.random() < 0.5 else "left",
    )
    drop, kind = float(rng.uniform(0.2, 1.2)), seed % 3
    stiff = bool(rng.random() < 0.5)
    peak = (2.6 if stiff else 2.0) + 3.4 * np.sqrt(drop) + rng.uniform(-0.4, 0.6)
    return LandingSpec(
        rider,
        drop=drop,
        peak=float(min(peak, 7.5)),
        back_share=float(rng.uniform(0.54, 0.62) if kind == 1 else rng.uniform(0.47, 0.56)),
        approach=float(rng.uniform(0.0, 0.9)),
        stance=float(rng.uniform(0.52, 0.66) if kind == 2 else rng.uniform(0.36, 0.50)),
        knee_dip=float(rng.uniform(-0.05, 0.25)),
        style="stiff" if stiff else "soft",
        delay=float(rng.uniform(0.012, 0.020) if kind == 1 else rng.uniform(0.0, 0.008)),
        settling=0.6,
        marker_rate=1000.0 / COMMON_STEPS,
        seed=seed,
        name=f"landing_{seed}",
    )


@lru_cache(maxsize=64)
def drawn_case(seed: int, flesh: bool = True) -> Case | None:
    """The landing of a seed; None where its legs cannot make it."""
    if seed in ENDLESS:
        return None
    spec, rng = drawn_spec(seed), np.random.default_rng([seed, 302])
    body: FittedBody = calibrate(
        static_recording(spec.rider), label_map(), spec.rider, errors=true_body(spec.rider, rng)
    ).drawn(0)
    drawn = drawn_flesh(body, rng)
    try:
        landing = simulate_landing(spec, body, drawn if flesh else None)
    except InputError:
        return None
    return Case(landing, BoardLanding(landing, plates="one a foot") if rides(seed) else None)


def rides(seed: int) -> bool:
    """Whether its landing is on a board."""
    return seed % 4 == 3


def recorded(case: Case, rate: float, known: bool = False, board_noise: float = CAMERA) -> Session:
    """What a laboratory with markers at `rate` [Hz] records of it; known : without errors of landmarks and plates;
    board_noise : of the board's markers [m]."""
    size = 0.0 if known else 1.0
    landing = replace(case.landing, spec=replace(case.landing.spec, marker_rate=rate))
    session = disturbed(landing, landing.spec.seed, size, motion=1.0).session
    return (
        session if case.board is None else _on_board(session, replace(case.board, landing=landing), size, board_noise)
    )


def _on_board(session: Session, board: BoardLanding, size: float, noise: float) -> Session:
    """The session with the board in it: its markers, everything raised, its own pull on the plates."""
    trial, raised = session.trial, np.array([0.0, board.board.deck_height, 0.0])[:, None, None]
    rng = np.random.default_rng([board.landing.spec.seed, 303])
    of_plates, late = laboratory_errors(board.landing.spec.seed, size)
    rotation, origin = board.pose(np.arange(trial.frames) / trial.point_rate - late)
    places = np.stack(list(board.board.markers.values()), axis=1)
    seen = origin[:, None] + rotate(rotation[:, :, None], places[..., None])
    seen = seen + noise * rng.standard_normal(seen.shape)
    exact = board.exact_plates()
    force, moment = (np.stack([getattr(plate, key) for plate in exact], axis=1) for key in ("force", "moment"))
    if size:
        force, moment = seen_wrenches(force, moment, of_plates)
    plates = tuple(replace(p, force=force[:, k], moment=moment[:, k]) for k, p in enumerate(exact))
    return replace(
        session,
        trial=replace(
            trial,
            labels=(*trial.labels, *board.board.markers),
            markers=np.concatenate((trial.markers + raised, seen), axis=1),
            plates=plates,
        ),
        board=board.board,
    )


def residual_cutoff(trial: Recording) -> float:
    """[Hz] by residual analysis, the mean over markers: where the residual meets the level that noise alone leaves.

    Winter DA (2009) Biomechanics and motor control of human movement, chapter 3 (from memory).
    """
    rate = trial.point_rate
    cutoffs = np.arange(SLOWEST_RESIDUAL, min(FASTEST_RESIDUAL, 0.45 * rate))
    markers = trial.markers[:, np.isfinite(trial.markers).all(axis=(0, 2))]
    residual = np.array(
        [np.sqrt(np.mean((markers - zero_lag_lowpass(markers, f, rate)) ** 2, axis=2)) for f in cutoffs]
    )
    upper = cutoffs >= 0.5 * cutoffs[-1]
    found = []
    for row in residual.reshape(cutoffs.size, -1).T:
        _, level = np.polyfit(cutoffs[upper], row[upper], 1)
        below = np.flatnonzero(row <= level)
        found.append(cutoffs[below[0]] if below.size else cutoffs[-1])
    return float(np.mean(found))


Method = Callable[[Session], Settings]
METHODS: Mapping[str, Method] = {
    "fixed 20 Hz": lambda session: Settings(smoothing="fixed", cutoff=20.0),
    "fixed 40 Hz": lambda session: Settings(smoothing="fixed", cutoff=40.0),
    "residual analysis": lambda session: Settings(smoothing="fixed", cutoff=residual_cutoff(session.trial)),
    "balanced": lambda session: Settings(smoothing="balanced"),
}


def values(session: Session, settings: Settings, body: FittedBody | None = None) -> dict[tuple[str, str], float]:
    """Every number of a recording, with the laboratory's body or with a known one."""
    _, landing = landed(session, settings, body)
    return {(measure.quantity, measure.side): measure.value for measure in measure_landing(landing)}


@dataclass(frozen=True)
class Row:
    """One number of one recording, SI units; known : with the rider's true body and exact plates, so that only cameras,
    skin and flesh err.  value, shift : by a method, and 0; of EXPECTED the error that is expected, and by how much all
    errors shift the number when they are laid on it once more."""

    rate: float
    known: bool
    method: str
    seed: int
    quantity: str
    truth: float
    value: float
    shift: float


EXPECTED = {"expected of the default": "default", "ideal, bones meet": "by_joints", "ideal": "ideal"}
"""Methods that are expected errors -> their field of impact_ideal.Expected."""


def rows_of(case: Case, rate: float, known: bool, methods: Collection[str]) -> Iterator[Row]:
    """Every one of PEAKS by every method asked for, and by what is expected where one of EXPECTED is."""
    session, truth, body = recorded(case, rate, known), case.truth, case.landing.body if known else None
    found = {
        name: {key: (x, 0.0) for key, x in values(session, way(session), body).items()}
        for name, way in METHODS.items()
        if name in methods
    }
    if set(EXPECTED) & set(methods):
        expected = expected_errors(session, body)
        found |= {
            name: {key: (getattr(each, field), each.shift) for key, each in expected.items()}
            for name, field in EXPECTED.items()
        }
    for name, each in found.items():
        for (quantity, side), true in truth.items():
            if quantity in PEAKS:
                yield Row(rate, known, name, case.landing.spec.seed, quantity, true, *each[quantity, side])


def figures(rows: list[Row]) -> tuple[float, float, float]:
    """Mean absolute error, bias and the bias's standard error over landings [%] of the mean true size."""
    told = [(row.seed, row.truth, row.value, row.shift) for row in rows if np.isfinite([row.truth, row.value]).all()]
    seed, true, value, shift = np.array(told).T
    size, sign = np.mean(np.abs(true)), np.sign(np.mean(true))
    expected = rows[0].method in EXPECTED
    error, towards = (value, sign * shift) if expected else (np.abs(value - true), sign * (value - true))
    of_landing = [np.sum(towards[seed == one] - towards.mean()) for one in np.unique(seed)]
    spread = np.sqrt(np.sum(np.square(of_landing))) / towards.size
    return 100 * float(error.mean() / size), 100 * float(towards.mean() / size), 100 * float(spread / size)


def table(rows: list[Row]) -> Iterator[str]:
    methods = list(dict.fromkeys(row.method for row in rows))
    yield "| quantity | " + " | ".join(methods) + " |"
    yield "|---|" + "---:|" * len(methods)
    for quantity in PEAKS:
        cells = []
        for method in methods:
            error, bias, chance = figures([row for row in rows if (row.quantity, row.method) == (quantity, method)])
            cells.append(f"{error:.1f} ({bias:+.1f} ± {chance:.1f})")
        yield f"| {quantity} | " + " | ".join(cells) + " |"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--tuning", action="store_true", help="the seeds on which methods may be tuned")
    parser.add_argument("--rates", type=float, nargs="*", default=list(RATES))
    parser.add_argument("--known", choices=("both", "no", "yes"), default="both", help="true body and exact plates")
    parser.add_argument("--methods", nargs="*", default=[*METHODS, *EXPECTED], choices=[*METHODS, *EXPECTED])
    parser.add_argument("--part", default="1/1", help="which of how many parts of the landings")
    parser.add_argument("--keep", help="write every number to this CSV file")
    parser.add_argument("--join", nargs="*", help="make the tables of these CSV files")
    chosen = parser.parse_args()
    rows = [row for name in chosen.join or () for row in _kept(Path(name))]
    part, parts = (int(number) for number in chosen.part.split("/"))
    seeds = () if chosen.join else (TUNING if chosen.tuning else REPORTING)[part - 1 :: parts]
    bodies = {"both": (False, True), "no": (False,), "yes": (True,)}[chosen.known]
    for case in filter(None, map(drawn_case, seeds)):
        for rate in chosen.rates:
            for known in bodies:
                rows += rows_of(case, rate, known, chosen.methods)
        if chosen.keep:
            with Path(chosen.keep).open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows(map(astuple, rows))
    for rate, known in dict.fromkeys((row.rate, row.known) for row in rows):
        words = "true body, exact plates" if known else "a laboratory's body and plates"
        print(f"\nmarkers at {rate:g} Hz, {words}: mean absolute error (bias) in % of the mean true size")
        print("\n".join(table([row for row in rows if (row.rate, row.known) == (rate, known)])), flush=True)


def _kept(path: Path) -> Iterator[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        for rate, known, method, seed, name, *numbers in csv.reader(file):
            yield Row(float(rate), known == "True", method, int(seed), name, *map(float, numbers))


if __name__ == "__main__":
    main()

"""Do the 95 % intervals hold what the joints bore? Run by hand: python tests/benchmarks/coverage.py [--tuning]

Riders and landings drawn as in impact.py, on none of which anything was tuned, each recorded by a laboratory whose
errors are drawn from the spreads of models/uncertainty, analysed with intervals and default settings. The truth is
unfiltered; board or not, each foot is on a plate of its own. Of a tissue load it is the true joint load through the
tissue's formula with numbers drawn from their own spreads, once for each of several persons.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Iterator
from dataclasses import astuple, dataclass, replace
from pathlib import Path

import numpy as np
from impact import RATES, TUNING, Case, drawn_case, recorded, rides

from jointload.analysis import analyse
from jointload.intake.recording import SIDES, Array
from jointload.landing.certainty import LIKELY, Key
from jointload.landing.measures.tissue_measures import BODY_LOADS, MEDIAL_SHARE, SIDE_LOADS
from jointload.loads.tissue.achilles import achilles_force
from jointload.loads.tissue.knee import knee_tissue
from jointload.loads.tissue.lumbar import disc_loads
from jointload.loads.tissue.spreads import Factors, tissue_spreads
from jointload.numerics.rotations import dot, rotate_back
from jointload.numerics.signals import integral
from jointload.report.words.quantities import quantity, shown
from jointload.synthetic.landing import SyntheticLanding
from jointload.synthetic.truth import landing_span
from jointload.uncertainty.intervals import with_intervals

NAMED = (
    "touchdown_speed", "knee_flexion_touchdown", "ankle_dorsiflexion_touchdown", "knee_flexion_peak",
    "ankle_dorsiflexion_peak", "rearfoot_eversion_peak", "knee_internal_rotation_peak", "hip_flexion_peak",
    "vertical_force_peak", "vertical_impulse_100ms", "braking_force_peak", "ankle_dorsiflexion_moment_peak",
    "ankle_inversion_moment_peak", "knee_flexion_moment_peak", "knee_adduction_moment_peak",
    "hip_flexion_moment_peak", "hip_adduction_moment_peak", "l5s1_extension_moment_peak", "knee_adduction_impulse",
    "ankle_work_negative", "knee_work_negative", "hip_work_negative", "tibiofemoral_force_peak",
    "tibiofemoral_medial_force_peak", "tibiofemoral_lateral_force_peak", "patellofemoral_force_peak",
    "patellofemoral_stress_peak", "achilles_force_peak", "l5s1_disc_force_peak", "l5s1_disc_shear_peak",
)  # fmt: skip
REPORTING = range(1220, 1340)
"""Seeds: a share of 120 landings is known to 2 %; 1340 to 1459 were reported, too. On 740 to 859 speed of touch-down
and braking were found wanting, on 860 to 979, whose intervals left out the shift of the draws, the moments of hip and
knee."""
BOARDS = range(980, 1220)
"""Seeds of landings on boards, one in four."""
PERSONS = 16
"""Whose tissues are judged by the truth of one landing."""
LABORATORY = 1000
"""Step between the seeds of a landing's laboratories."""


@dataclass(frozen=True)
class Judged:
    """One number of one recording with its interval and one person's truth, SI units."""

    seed: int
    rate: float
    quantity: str
    side: str
    value: float
    low: float
    high: float
    truth: float

    @property
    def held(self) -> bool:
        return self.low <= self.truth <= self.high


def judged(case: Case, laboratory: int, rate: float, draws: int) -> Iterator[Judged]:
    """Every number of NAMED in one laboratory's recording; a tissue load once for each of several persons."""
    spec = case.landing.spec
    there = replace(case, landing=replace(case.landing, spec=replace(spec, seed=spec.seed + LABORATORY * laboratory)))
    analysis = analyse(recorded(there, rate), variants=False)
    if analysis.settings.smoothing != "balanced":
        print(f"{there.landing.spec.seed}: not balanced with the plates")
        return
    truths = case.truth | true_tissue(case.landing, np.random.default_rng([spec.seed, 304]))
    weighed = analysis.landing.weight / spec.rider.weight
    for measure in with_intervals(analysis, draws, shares=False).measures:
        key = (measure.quantity, measure.side)
        if measure.quantity in NAMED and key in truths and np.isfinite([measure.value, measure.low]).all():
            # What is shown per body weight is judged per body weight: a plate's gain is in both.
            scale = weighed if quantity(measure.quantity).normaliser != "none" else 1.0
            for truth in np.atleast_1d(scale * truths[key]):
                if np.isfinite(truth):
                    yield Judged(spec.seed, rate, *key, measure.value, measure.low, measure.high, float(truth))


def true_tissue(landing: SyntheticLanding, rng: np.random.Generator) -> dict[Key, Array]:
    """(PERSONS,) loads by the true joint loads; every person's arms, areas and slopes are drawn from their spreads."""
    factors: Factors = {
        name: rng.triangular(each.low, each.value, each.high, (PERSONS, 1)) for name, each in tissue_spreads().items()
    }
    out: dict[Key, Array] = {}
    dt = 1.0 / landing.spec.force_rate
    for side in SIDES:
        span, loads = landing_span(landing, side), landing.loads
        knee = knee_tissue(
            loads.of(f"{side}_knee", "flexion")[span],
            loads.of(f"{side}_knee", "adduction")[span],
            landing.angles.of(f"{side}_knee", "flexion")[span],
            -dot(loads.force[:, loads.joints.index(f"{side}_knee")], landing.poses.of(f"{side}_shank")[0][:, 1])[span],
            factors,
        )
        moment, angle = loads.of(f"{side}_ankle", "dorsiflexion"), landing.angles.of(f"{side}_ankle", "dorsiflexion")
        series = {
            "patellofemoral_force": knee.patellofemoral,
            "patellofemoral_stress": knee.patellofemoral_stress,
            "tibiofemoral_force": knee.compression,
            "tibiofemoral_medial_force": knee.medial,
            "tibiofemoral_lateral_force": knee.lateral,
            "achilles_force": achilles_force(moment[span], angle[span], factors),
        }
        for name, (of, _) in SIDE_LOADS.items():
            out[name, side] = _reduced(name, series[of], dt)
        out[MEDIAL_SHARE, side] = integral(knee.medial, dt) / integral(knee.compression, dt)
    span, j = landing_span(landing), landing.loads.joints.index("l5s1")
    force = rotate_back(landing.poses.of("pelvis")[0], landing.loads.force[:, j])[:, span]
    disc = dict(
        zip(
            ("l5s1_disc_force", "l5s1_disc_shear"),
            disc_loads(landing.loads.of("l5s1", "flexion")[span], force, factors),
            strict=True,
        )
    )
    return out | {(name, ""): _reduced(name, disc[of], dt) for name, (of, _) in BODY_LOADS.items()}


def _reduced(name: str, series: Array, dt: float) -> Array:
    return integral(series, dt) if name.endswith("impulse") else np.max(series, axis=-1)


def table(found: list[Judged], rates: list[float]) -> Iterator[str]:
    """The last column is the root mean square of the misses, in standard deviations of their intervals: 1 is right."""
    yield "| quantity | unit | typical interval | " + "".join(f"held at {rate:g} Hz | " for rate in rates) + "miss |"
    yield "|---|---|---:|" + "---:|" * len(rates) + "---:|"
    for name in NAMED:
        mine = [one for one in found if one.quantity == name]
        if not mine:
            continue
        what = quantity(name)
        half = shown(float(np.median([one.high - one.low for one in mine])) / 2, what, 70 * 9.81)
        shares = [100 * np.mean([one.held for one in mine if one.rate == rate]) for rate in rates]
        cells = " | ".join(f"{share:.1f} %" for share in shares)
        misses = [2 * LIKELY * (one.truth - one.value) / (one.high - one.low) for one in mine]
        miss = float(np.sqrt(np.mean(np.square(misses))))
        yield f"| {what.plain_name} | {what.unit} | ±{half:.2g} | {cells} | {miss:.2f} |"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--tuning", action="store_true", help="the landings on which intervals may be tuned")
    parser.add_argument("--boards", action="store_true", help="the landings on boards, with their boards")
    parser.add_argument("--laboratories", type=int, default=1, help="that record each landing")
    parser.add_argument("--rates", type=float, nargs="*", default=list(RATES))
    parser.add_argument("--draws", type=int, default=100)
    parser.add_argument("--part", default="1/1", help="which of how many parts of the landings")
    parser.add_argument("--keep", help="write every judged number to this CSV file")
    parser.add_argument("--join", nargs="*", help="make the table of these CSV files")
    chosen = parser.parse_args()
    found = [one for name in chosen.join or () for one in _kept(Path(name))]
    part, parts = (int(number) for number in chosen.part.split("/"))
    reporting = BOARDS if chosen.boards else REPORTING
    seeds = (
        ()
        if chosen.join
        else [seed for seed in (TUNING if chosen.tuning else reporting) if rides(seed) or not chosen.boards]
    )
    for case in filter(None, map(drawn_case, seeds[part - 1 :: parts])):
        for laboratory in range(chosen.laboratories):
            for rate in chosen.rates:
                found += judged(case if chosen.boards else replace(case, board=None), laboratory, rate, chosen.draws)
        if chosen.keep:
            with Path(chosen.keep).open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows(map(astuple, found))
    print("\n".join(table(found, chosen.rates)))


def _kept(path: Path) -> Iterator[Judged]:
    with path.open(encoding="utf-8", newline="") as file:
        for seed, rate, name, side, *numbers in csv.reader(file):
            yield Judged(int(seed), float(rate), name, side, *map(float, numbers))


if __name__ == "__main__":
    main()

"""Do the 95 % intervals hold the truth? Run by hand: python tests/benchmarks/coverage.py [--landings 300] [--size 1]

Invented landings of known truth are recorded by laboratories whose errors are drawn from the published spreads
(--size 2: from twice those), each is analysed with intervals, and it is counted how often they hold the truth: that
through the 20 Hz filter on exact markers, plates and body, and that without any filter.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from jointload.analysis import analyse, descend, fit_body, weigh
from jointload.errors import InputError
from jointload.intake.rider import Rider
from jointload.landing.certainty import Key, drawn_interval
from jointload.landing.measures.every_measure import measure_landing
from jointload.settings import Settings
from jointload.synthetic.disturbed import Disturbed, disturbed
from jointload.synthetic.landing import SyntheticLanding, simulate_landing
from jointload.synthetic.specification import LandingSpec
from jointload.synthetic.truth import UNFILTERED
from jointload.uncertainty.draws import Streams
from jointload.uncertainty.pour import pour
from jointload.uncertainty.spreads import load_sources

NAMED = (
    "touchdown_speed", "knee_flexion_touchdown", "knee_flexion_peak", "ankle_dorsiflexion_peak",
    "rearfoot_eversion_peak", "knee_internal_rotation_peak", "hip_flexion_peak", "pelvis_obliquity_touchdown",
    "vertical_force_peak", "ankle_dorsiflexion_moment_peak", "knee_flexion_moment_peak", "knee_adduction_moment_peak",
    "hip_flexion_moment_peak", "hip_adduction_moment_peak", "l5s1_extension_moment_peak", "knee_adduction_impulse",
    "knee_work_negative",
)  # fmt: skip
RIDERS = (Rider("c1", 61.0, 1.67, "f", stance="right"), Rider("c2", 79.0, 1.82, "m", stance="left"))
STYLES = ({"drop": 0.45, "peak": 5.0}, {"drop": 0.35, "peak": 6.0, "style": "stiff"}, {"drop": 0.5, "peak": 4.2})


@dataclass(frozen=True)
class Judged:
    """One number of one landing: estimate, interval, truth through the usual filter, truth without a filter."""

    key: Key
    value: float
    low: float
    high: float
    truth: float
    unfiltered: float


@lru_cache(maxsize=8)
def true_landing(number: int) -> SyntheticLanding:
    rider, style = RIDERS[number % 2], STYLES[number % 3]
    return simulate_landing(LandingSpec(rider, settling=0.5, seed=number, name=f"landing {number}", **style))


def judged(number: int, size: float, draws: int) -> Iterator[Judged]:
    """Every number of one laboratory's recording."""
    made = disturbed(true_landing(number % 6), seed=number, size=size)
    analysis = analyse(made.session, made.settings, variants=False)
    samples = pour(made.session, analysis.landing, load_sources(), Streams.of(made.session, 0), draws).samples
    truths = [_truth(made, settings) for settings in (Settings(smoothing="fixed"), UNFILTERED)]
    for measure in analysis.measures:
        key = (measure.quantity, measure.side)
        if measure.word or not np.isfinite(measure.value) or not all(key in truth for truth in truths):
            continue
        low, high = drawn_interval(measure.value, samples[key])
        scale = analysis.landing.weight
        yield Judged(key, measure.value, low, high, *(truth[key] * _per(key, scale) for truth in truths))


def _truth(made: Disturbed, settings: Settings) -> dict[Key, float]:
    """Numbers of the exact recordings with the body that the rider truly has; those per body weight for weight 1."""
    session = made.exact
    rider, weight, _ = weigh(session)
    body = fit_body(session, rider, settings, made.truth).drawn(0)
    landing, _ = descend(session, body, weight, settings)
    out = {}
    for measure in measure_landing(landing):
        key = (measure.quantity, measure.side)
        out[key] = measure.value / _per(key, landing.weight)
    return out


def _per(key: Key, weight: float) -> float:
    from jointload.report.words.quantities import quantity

    return weight if quantity(key[0]).normaliser != "none" else 1.0


def rows(landings: int, size: float, draws: int) -> list[Judged]:
    from rich.progress import track

    out: list[Judged] = []
    for number in track(range(landings), "Landings"):
        try:
            found = list(judged(number, size, draws))
        except InputError as problem:
            print(f"landing {number}: {problem}")
            continue
        out += [one for one in found if one.key[1] in ("", ("right", "left")[(number // 2) % 2])]
    return out


def table(found: list[Judged]) -> str:
    from jointload.report.words.quantities import quantity, shown

    lines = [
        "| quantity | unit | typical interval | holds the truth | holds the unfiltered truth |",
        "|---|---|---:|---:|---:|",
    ]
    for name in NAMED:
        mine = [one for one in found if one.key[0] == name]
        what = quantity(name)
        half = shown(float(np.median([one.high - one.low for one in mine])) / 2, what, 70 * 9.81)
        hold = [
            100 * np.mean([one.low <= getattr(one, t) <= one.high for one in mine]) for t in ("truth", "unfiltered")
        ]
        lines.append(f"| {what.plain_name} | {what.unit} | ±{half:.2g} | {hold[0]:.1f} % | {hold[1]:.1f} % |")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--landings", type=int, default=300)
    parser.add_argument("--size", type=float, default=1.0)
    parser.add_argument("--draws", type=int, default=150)
    parser.add_argument("--keep", help="write every judged number to this CSV file")
    chosen = parser.parse_args()
    found = rows(chosen.landings, chosen.size, chosen.draws)
    print(table(found))
    if chosen.keep:
        with Path(chosen.keep).open("w", encoding="utf-8") as file:
            for one in found:
                file.write(
                    ",".join(map(str, (*one.key, one.value, one.low, one.high, one.truth, one.unfiltered))) + "\n"
                )


if __name__ == "__main__":
    main()

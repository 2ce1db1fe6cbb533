"""What the statistics of a study promise, against simulated studies: false alarms, power, intervals.

python tests/benchmarks/study_truth.py [--studies 20000] [--few 40]

On equally many landings the mixed model is the t-test of the riders' means: false alarms and power are counted by that
over many studies, and on a few the model is held against it.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[1]))

from made_study import made_numbers

from jointload.intake.recording import Array
from jointload.study.effects import equivalence_p, power_of
from jointload.study.mixed import contrasts

LANDING = 0.6
"""Standard deviation of a landing in made_numbers; riders differ by 1."""
ANSWERS, EFFECT = 0.5, 0.6
"""What riders' answers to either level differ by, and the smallest change of the power table."""
RIDERS, TIMES = (6, 10, 16, 24, 40), (1, 3, 5, 10)


def mean_differences(rng: np.random.Generator, riders: int, times: int, answers: float, studies: int) -> Array:
    """(studies, riders) differences of riders' means, by the law of made_numbers, without an effect."""
    answer = answers * rng.standard_normal((studies, riders, 2))
    means = answer + LANDING / np.sqrt(times) * rng.standard_normal((studies, riders, 2))
    return np.asarray(means[..., 1] - means[..., 0])


def paired_p(differences: Array) -> Array:
    """(studies,) p of the paired t-test, which the mixed model is on equally many landings."""
    return np.asarray(stats.ttest_1samp(differences, 0.0, axis=1).pvalue)


def false_alarms(riders: int, times: int, answers: float, studies: int, few: int) -> str:
    """Of the paired t-test on many studies, and how far the mixed model's p is from it on a few."""
    alarms = np.mean(paired_p(mean_differences(np.random.default_rng(1), riders, times, answers, studies)) < 0.05)
    apart, found = [], 0
    for seed in range(few):
        data = made_numbers(riders, times, seed=seed, answers=answers)
        means = data.groupby(["rider", "level"])["value"].mean().unstack()
        p = contrasts(data, ["flat", "wedge"])[0].p
        found += p < 0.05
        apart.append(abs(p / stats.ttest_rel(means["wedge"], means["flat"]).pvalue - 1.0))
    return _told(alarms, found, few, max(apart))


def groups(studies: int, few: int, riders: int = 6, times: int = 3, answers: float = 0.5) -> str:
    """False alarms between two groups of riders: the t-test of their means, and the mixed model on a few studies."""
    spread = np.sqrt(1.0 + answers**2 + LANDING**2 / times)
    first, second = spread * np.random.default_rng(2).standard_normal((2, studies, riders))
    alarms = np.mean(stats.ttest_ind(first, second, axis=1).pvalue < 0.05)
    apart, found = [], 0
    for seed in range(few):
        data = made_numbers(2 * riders, times, seed=seed, answers=answers)
        own = data[(data["level"] == "flat") == (data["rider"].str[1:].astype(int) < riders)]
        means = own.groupby(["level", "rider"])["value"].mean()
        p = contrasts(own, ["flat", "wedge"])[0].p
        found += p < 0.05
        apart.append(abs(p / stats.ttest_ind(means["wedge"], means["flat"]).pvalue - 1.0))
    return _told(alarms, found, few, max(apart))


def _told(alarms: float, found: int, few: int, apart: float) -> str:
    return f"{100 * alarms:.1f} % | {found} of {few}, p within {apart:.0e} of the t-test's"


def power_rows(studies: int) -> Iterator[str]:
    """How often EFFECT is found by riders and landings of each: computed as a study tells it, and simulated."""
    yield "| riders | " + " | ".join(f"{times} landings" for times in TIMES) + " |"
    yield "|---:|" + "---:|" * len(TIMES)
    for riders in RIDERS:
        cells = []
        for times in TIMES:
            error = np.sqrt(2 * (ANSWERS**2 + LANDING**2 / times) / riders)
            computed = float(power_of(np.array([EFFECT / error]), np.array([riders - 1]))[0])
            differences = EFFECT + mean_differences(np.random.default_rng(3), riders, times, ANSWERS, studies)
            found = np.mean((paired_p(differences) < 0.05) & (differences.mean(axis=1) > 0))
            cells.append(f"{100 * computed:.0f} ({100 * found:.0f}) %")
        yield f"| {riders} | " + " | ".join(cells) + " |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=20_000, help="by the t-test of riders' means")
    parser.add_argument("--few", type=int, default=40, help="by the mixed model")
    chosen = parser.parse_args()
    print(f"{chosen.studies} studies each; wanted: 3 to 7 % false alarms")
    for riders, times, answers in ((10, 3, 0.5), (10, 3, 0.0), (6, 3, 0.5), (20, 1, 0.5)):
        words = f"{riders} riders, {times} landings each, answers differ by {answers:g}"
        print(f"| {words} | {false_alarms(riders, times, answers, chosen.studies, chosen.few)} |", flush=True)
    print(f"| two groups of 6 riders | {groups(chosen.studies, chosen.few)} |", flush=True)
    print("\n".join(power_rows(chosen.studies)), flush=True)
    held, wrong, few = 0, 0, chosen.few
    for seed in range(few):
        found = contrasts(made_numbers(10, 3, effect=0.8, seed=seed, answers=0.5), ["flat", "wedge"])[0]
        held += found.low < 0.8 < found.high
        wrong += equivalence_p(found, 0.8) < 0.05
    print(f"effect at the margin, 10 riders: interval holds it in {held} of {few}, called the same in {wrong}")


if __name__ == "__main__":
    main()

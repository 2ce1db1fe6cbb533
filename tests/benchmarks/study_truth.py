"""What the statistics of a study promise, against simulated studies: false alarms, power, intervals.

python tests/benchmarks/study_truth.py [--studies 400]
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[1]))

from made_study import made_numbers

from jointload.study.effects import equivalence_p
from jointload.study.mixed import Contrast, contrasts

LANDING = 0.6
"""Standard deviation of a landing in made_numbers; riders differ by 1."""


def power(effect: float, riders: int, times: int, answers: float) -> float:
    """Of the paired t-test on riders' means, by the noncentral t distribution."""
    error = np.sqrt(2 * (answers**2 + LANDING**2 / times) / riders)
    cut = stats.t.isf(0.025, riders - 1)
    noncentral = stats.nct(riders - 1, effect / error)
    return float(noncentral.sf(cut) + noncentral.cdf(-cut))


def share(studies: int, answer: Callable[[Contrast], bool], **design: float) -> float:
    found = [contrasts(made_numbers(seed=seed, **design), ["flat", "wedge"])[0] for seed in range(studies)]  # type: ignore[arg-type]
    return sum(answer(contrast) for contrast in found) / studies


def groups(studies: int) -> float:
    """False alarms between two groups of six riders, three landings each."""
    alarms = 0
    for seed in range(studies):
        data = made_numbers(12, 3, seed=seed)
        apart: pandas.DataFrame = data[(data["level"] == "flat") == (data["rider"].str[1:].astype(int) < 6)]
        alarms += contrasts(apart, ["flat", "wedge"])[0].p < 0.05
    return alarms / studies


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=400)
    studies = parser.parse_args().studies
    print(f"{studies} studies each")
    for riders, times, answers in ((10, 3, 0.5), (10, 3, 0.0), (6, 3, 0.5), (20, 1, 0.5)):
        design = {"riders": riders, "times": times, "answers": answers}
        alarms = share(studies, lambda c: c.p < 0.05, **design)
        print(f"no effect, {design}: false alarms {100 * alarms:.1f} % (wanted 3 to 7)", flush=True)
    print(f"no effect, groups of 6: false alarms {100 * groups(studies):.1f} % (wanted 3 to 7)", flush=True)
    for riders, effect in ((10, 0.6), (16, 0.6)):
        design = {"riders": riders, "times": 3, "answers": 0.5, "effect": effect}
        found = share(studies, lambda c: c.p < 0.05, **design)
        held = share(studies, lambda c, true=effect: c.low < true < c.high, **design)  # type: ignore[misc]
        print(
            f"effect {effect}, {riders} riders: found {100 * found:.1f} %, computed "
            f"{100 * power(effect, riders, 3, 0.5):.1f} %; intervals hold it {100 * held:.1f} %",
            flush=True,
        )
    design = {"riders": 10, "times": 3, "answers": 0.5, "effect": 0.8}
    wrong = share(studies, lambda c: equivalence_p(c, 0.8) < 0.05, **design)
    print(f"effect at the margin: called the same {100 * wrong:.1f} % (wanted at most 7)")


if __name__ == "__main__":
    main()

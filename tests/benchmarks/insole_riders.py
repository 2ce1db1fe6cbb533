"""Do calibrated intervals hold? Run by hand: python tests/benchmarks/insole_riders.py --riders 200

Made riders land on the flat insole and on four wedges, five times each, with the printed scatter between landings. A
quarter of them answers by the mechanics with own answers; a quarter by a line that knows no mechanics: every number in
proportion to the wedge, with a slope of its own and a scatter of its own from shape to shape; a quarter by thresholds
and a quarter by no formula at all. Each rider is calibrated, and the 95 % intervals of shapes that were not recorded
are compared with what that rider would do on them. A seed is blind once: what was seen with it may have moved a number.
"""

from __future__ import annotations

import os

for library in ("OPENBLAS", "OMP", "MKL"):
    os.environ[f"{library}_NUM_THREADS"] = "1"

import argparse  # noqa: E402
import time  # noqa: E402
from dataclasses import replace  # noqa: E402
from functools import lru_cache  # noqa: E402

import numpy as np  # noqa: E402

from jointload.analysis import analyse  # noqa: E402
from jointload.insole.calibration.observation import ANSWERED, OBSERVED, mass_of, predicted, scatter  # noqa: E402
from jointload.insole.calibration.personal import (  # noqa: E402
    SAID,
    Condition,
    Trials,
    calibrate,
    changes_of,
    left_out_of,
    model_of,
    prior_of,
    widening,
    wider_covariance,
)
from jointload.insole.calibration.traits import LinearModel, learned, traits_of  # noqa: E402
from jointload.insole.limb.change import INTERVAL  # noqa: E402
from jointload.insole.limb.standing import Standing, settle, settle_flat, stand  # noqa: E402
from jointload.insole.shape.asked import case_of  # noqa: E402
from jointload.insole.shape.geometry import Wedge, parse_wedge  # noqa: E402
from jointload.intake.session import read_session  # noqa: E402
from jointload.landing.landed import Landing  # noqa: E402
from jointload.modeldata import shipped_folder  # noqa: E402

Array = np.ndarray
LANDINGS = 5
RECORDED = ("lateral:6 full", "medial:6 full", "lateral:6 heel", "medial:6 heel")
FORETOLD = ("lateral:4 full", "medial:3 full", "medial:4 heel")
FULL, HEEL = 1.0, 0.6
"""Share of a full-length wedge's answer that a heel wedge has by the other law."""
OFF_LINE = 0.15
"""SD of what a shape of the other law lies off its line, as a share of the spread between riders."""
DEGREE = float(np.deg2rad(1.0))
DEAD_ZONE, SATURATION, HEEL_SHARE = (0.0, 2.0), (6.0, 15.0), (0.4, 0.8)
"""Of riders by thresholds: [deg] below which nothing happens, [deg] towards which an answer saturates, share of a
full-length wedge's answer that a heel wedge has; even between the ends."""
ALIKE_ANGLE, ALIKE_PART = 6.0, 0.5
"""Of riders by neighbours: [deg] within which wedges are alike, and how much full length and heel differ (exponent)."""
SIDED, ANY_INSOLE = 0.2, 2.5
"""SD of the logarithm by which one side answers more than the other; SD of what any wedge at all does, in degrees'
worth of the spread between riders."""
DRAWS, MODEL_DRAWS = 200, 150


def base() -> Landing:
    sample = shipped_folder("sample_c3d")
    files = {"labels": sample / "labels.toml", "rider": sample / "rider_a.toml"}
    session = read_session(sample / "rider_a_landing_flat.c3d", sample / "rider_a_static.c3d", **files)
    return analyse(session, variants=False).landing


def wedges(texts: tuple[str, ...]) -> list[Wedge]:
    return [parse_wedge(text.split()[0], "right", text.split()[1]) for text in texts]


def answers(landing: Landing, standing: Standing, wedge: Wedge) -> Array:
    """(D, Q) with own answers."""
    case = case_of(wedge, standing.place.length)
    return predicted(landing, standing, settle(standing, case.after, settle_flat(standing, case.before)))[1]


def by_mechanics(landing: Landing, riders: int, seed: int) -> tuple[list[Array], list[Array]]:
    standing = stand(landing, "right", riders, seed)
    return tuple([answers(landing, standing, wedge) for wedge in wedges(texts)] for texts in (RECORDED, FORETOLD))  # type: ignore[return-value]


def published_slopes(landing: Landing) -> tuple[dict[str, float], dict[str, float]]:
    """ANSWERED -> mean over persons and spread between them of its change per degree [SI]."""
    mass, degree = mass_of(landing), DEGREE
    mean = {
        "rearfoot_roll": 0.25 * degree, "pressure_centre_medial": 0.68e-3, "tibial_rotation": -0.3 * degree,
        "knee_adduction_moment": 0.015 * mass, "hip_adduction_moment": 0.0, "knee_adduction": 0.0,
        "hip_adduction": -0.4 * degree,
    }  # fmt: skip
    spread = {
        "rearfoot_roll": 0.20 * degree, "pressure_centre_medial": 0.35e-3, "tibial_rotation": 0.25 * degree,
        "knee_adduction_moment": 0.015 * mass, "hip_adduction_moment": 0.012 * mass, "knee_adduction": 0.15 * degree,
        "hip_adduction": 0.28 * degree,
    }  # fmt: skip
    return mean, spread


def by_another_law(landing: Landing, riders: int, seed: int) -> tuple[list[Array], list[Array]]:
    """Slopes per degree from published means and spreads between persons, no law of the mechanics among them."""
    rng, (mean, spread) = np.random.default_rng(seed), published_slopes(landing)
    slopes = {name: mean[name] + spread[name] * rng.standard_normal(riders) for name in ANSWERED}

    def on(wedge: Wedge) -> Array:
        size = np.rad2deg(wedge.angle) * (HEEL if wedge.length == "heel" else FULL)
        out = np.full((riders, len(OBSERVED)), np.nan)
        for q, name in enumerate(ANSWERED):
            out[:, q] = size * (slopes[name] + OFF_LINE * spread[name] * rng.standard_normal(riders))
        return out

    return tuple([on(wedge) for wedge in wedges(texts)] for texts in (RECORDED, FORETOLD))  # type: ignore[return-value]


def by_thresholds(landing: Landing, riders: int, seed: int) -> tuple[list[Array], list[Array]]:
    """Neither the mechanics nor a line: nothing below an angle of the rider's own, less and less more above it, more to
    one side than to the other, something to any insole at all, and now and then a shape far off all that. Published
    means again, spreads between persons even instead of normal; riders answered 6 deg and not 3 in some studies
    (Kakihana 2004 Am J Phys Med Rehabil 83:273), in proportion in others, with 2 deg to any shell at all (Telfer 2013
    J Biomech 46:1489)."""
    rng, (mean, spread) = np.random.default_rng(seed), published_slopes(landing)

    def even(low: float, high: float) -> Array:
        return rng.uniform(low, high, riders)

    dead, full, heel = np.deg2rad(even(*DEAD_ZONE)), np.deg2rad(even(*SATURATION)), even(*HEEL_SHARE)
    root = np.sqrt(3.0)
    slope = {name: (mean[name] + spread[name] * even(-root, root)) / DEGREE for name in ANSWERED}
    leaning = {name: SIDED * even(-root, root) for name in ANSWERED}
    offset = {name: ANY_INSOLE * spread[name] * rng.standard_normal(riders) for name in ANSWERED}

    def on(wedge: Wedge) -> Array:
        share = heel if wedge.length == "heel" else np.ones(riders)
        angle = np.sign(wedge.angle) * full * np.tanh(np.maximum(abs(wedge.angle) - dead, 0.0) / full)
        out = np.full((riders, len(OBSERVED)), np.nan)
        for q, name in enumerate(ANSWERED):
            sided = np.exp(np.sign(wedge.angle) * leaning[name])
            off = OFF_LINE * spread[name] * (wedge.angle / DEGREE) * rng.standard_t(4, riders) / np.sqrt(2.0)
            out[:, q] = share * (slope[name] * sided * angle + offset[name]) + off
        return out

    return tuple([on(wedge) for wedge in wedges(texts)] for texts in (RECORDED, FORETOLD))  # type: ignore[return-value]


def by_neighbours(landing: Landing, riders: int, seed: int) -> tuple[list[Array], list[Array]]:
    """No formula: alike wedges are answered alike, by a random smooth function of angle and length about the published
    mean, half of whose variance is in proportion to the wedge."""
    rng, (mean, spread) = np.random.default_rng(seed), published_slopes(landing)
    every = wedges(RECORDED + FORETOLD)
    angle, heel = (
        np.array(part) for part in zip(*((w.angle / DEGREE, w.length == "heel") for w in every), strict=True)
    )
    size = angle * np.where(heel, HEEL, FULL)
    reach = np.abs(size)
    apart = (angle[:, None] - angle) ** 2 / (2 * ALIKE_ANGLE**2) + ALIKE_PART * (heel[:, None] != heel)
    bumps = np.linalg.cholesky(np.outer(reach, reach) * np.exp(-apart) + 1e-9 * np.eye(len(every)))
    out = np.full((len(every), riders, len(OBSERVED)), np.nan)
    for q, name in enumerate(ANSWERED):
        steady = np.outer(size, rng.standard_normal(riders))
        wavy = bumps @ rng.standard_normal((len(every), riders))
        out[:, :, q] = size[:, None] * mean[name] + spread[name] * np.sqrt(0.5) * (steady + wavy)
    return list(out[: len(RECORDED)]), list(out[len(RECORDED) :])


def trials_of(recorded: list[Array], rider: int, noise: Array, seed: int) -> Trials:
    rng = np.random.default_rng([seed, rider])

    def landings(mean: Array) -> Array:
        return mean + rng.standard_normal((LANDINGS, len(OBSERVED))) * noise

    flat = landings(np.zeros(len(OBSERVED)))
    conditions = [Condition(w, landings(mean[rider])) for w, mean in zip(wedges(RECORDED), recorded, strict=True)]
    flat[:, len(ANSWERED) :] = np.nan
    for one in conditions:
        one.landings[:, len(ANSWERED) :] = np.nan
    return Trials("right", flat, tuple(conditions))


@lru_cache(maxsize=1)
def linear_tier(landing: Landing) -> tuple[LinearModel, tuple[Array, Array]]:
    """Changes on all shapes over the population's traits, and their prior."""
    population = stand(landing, "right", MODEL_DRAWS, 1)
    shapes = [*wedges(RECORDED), *wedges(FORETOLD)]
    return model_of(landing, population, shapes), prior_of(traits_of(population.person))


def first_order(
    landing: Landing, made: tuple[list[Array], list[Array]], riders: int, seed: int
) -> tuple[Array, int, float]:
    """(riders, shapes, Q) whether the interval holds the truth, by the linear estimate that a calibration makes; how
    many riders were said to contradict the law; the median width over the population's."""
    recorded, truth = made
    noise, (model, prior) = scatter([], mass_of(landing)), linear_tier(landing)
    q = len(OBSERVED)
    first = np.arange(len(model.offset)) < len(RECORDED) * q
    early, late, crowd = model.of(first), model.of(~first), np.sqrt(np.diag(model.covariance(prior[1])))
    out = np.zeros((riders, len(FORETOLD), len(ANSWERED)), dtype=bool)
    contradicted, widths = 0, []
    for rider in range(riders):
        seen, spread = changes_of(trials_of(recorded, rider, noise, seed), mass_of(landing))
        told = np.isfinite(seen)
        mean, covariance = learned(early.of(told), *prior, seen[told], spread[np.ix_(told, told)])
        left_out = left_out_of(early, prior, (seen, spread), wedges(RECORDED))
        widened = widening(left_out)
        contradicted += any(factor > SAID for factor in widened.values())
        factor = np.tile([widened.get(name, 1.0) for name in OBSERVED], len(FORETOLD))
        middle, traits = late.mean(mean), late.slope @ wider_covariance(covariance, widened) @ late.slope.T
        variance = np.diag(traits) + factor**2 * np.diag(late.scatter)
        real = np.concatenate([one[rider] for one in truth])
        inside = np.abs(real - middle) <= 1.96 * np.sqrt(variance)
        out[rider] = inside.reshape(len(FORETOLD), q)[:, : len(ANSWERED)]
        widths.append(np.sqrt(variance) / crowd[~first])
    return out, contradicted, float(np.median(np.array(widths).reshape(riders, -1, q)[..., : len(ANSWERED)]))


def held(landing: Landing, made: tuple[list[Array], list[Array]], riders: int, seed: int) -> tuple[Array, int, float]:
    """(riders, shapes, Q) whether the interval holds the truth; how many riders were said to contradict the law,
    and the median width over the population's."""
    recorded, truth = made
    noise, population = scatter([], mass_of(landing)), stand(landing, "right", DRAWS, 1)
    crowd = [answers(landing, population, wedge) for wedge in wedges(FORETOLD)]
    out = np.zeros((riders, len(FORETOLD), len(ANSWERED)), dtype=bool)
    contradicted, widths = 0, []
    for rider in range(riders):
        personal = calibrate(landing, trials_of(recorded, rider, noise, seed))
        contradicted += any(factor > SAID for factor in personal.widened.values())
        told = replace(population, person=personal.of(population.person))
        for k, wedge in enumerate(wedges(FORETOLD)):
            drawn = answers(landing, told, wedge)[:, : len(ANSWERED)]
            low, high = np.quantile(drawn, INTERVAL, axis=0)
            real = truth[k][rider, : len(ANSWERED)]
            out[rider, k] = (low <= real) & (real <= high)
            widths.append(drawn.std(axis=0) / crowd[k][:, : len(ANSWERED)].std(axis=0))
        if rider % 5 == 4:
            print(rider + 1, np.round(out[: rider + 1].mean(axis=(0, 1)), 3), flush=True)
    return out, contradicted, float(np.median(widths))


LAWS = {
    "the mechanics": by_mechanics,
    "a line": by_another_law,
    "thresholds": by_thresholds,
    "neighbours": by_neighbours,
}


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--riders", type=int, default=200)
    words.add_argument("--full", action="store_true", help="every rider by the whole calibration and the full bed")
    words.add_argument("--seed", type=int, default=99)
    asked = words.parse_args()
    riders, check = -(-asked.riders // len(LAWS)), held if asked.full else first_order
    landing, start, every = base(), time.perf_counter(), []
    for name, law in LAWS.items():
        inside, contradicted, width = check(landing, law(landing, riders, asked.seed), riders, asked.seed + 1)
        every.append(inside)
        print(f"\nriders by {name}: {contradicted} of {riders} said to contradict the law, width {width:.2f}")
        told(inside)
    print("\nall riders")
    told(np.concatenate(every))
    print(f"{time.perf_counter() - start:.0f} s")


def told(inside: Array) -> None:
    for quantity, share in zip(ANSWERED, inside.mean(axis=(0, 1)), strict=True):
        print(f"| {quantity} | {100 * share:.1f} % |")


if __name__ == "__main__":
    main()

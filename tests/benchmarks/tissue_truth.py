"""Do the intervals of tissue loads, of a dose and of what a change saves hold persons whose tissues are known?

python tests/benchmarks/tissue_truth.py [--persons 40] [--riders 200] [--seed 2] [--without bend landings]

A person's tissues follow a law of their own (Person): arms, ratios and areas along smooth curves of the joint's angle
that lie anywhere between the published ends, where the analysis takes one place at all angles; the arm of the patellar
tendon shrinks with flexion, that of the Achilles tendon goes by an exponential. Persons are normal to either side of
the likeliest number, 98 of 100 between the ends, others drawn again. They land as the sample's riders do; a laboratory
reads their net loads with known errors, and the analysis puts its own intervals about what was read. Tuned on seeds 1
to 5.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.stats import norm

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from made_dose import COLUMNS, exposures

from jointload.analysis import analyse
from jointload.intake.recording import SIDES, Array
from jointload.intake.session import read_session
from jointload.landing.certainty import drawn_interval
from jointload.landing.landed import Landing, Measure
from jointload.landing.measures.load_measures import along
from jointload.landing.measures.lower_back import lower_back
from jointload.landing.measures.tissue_measures import (
    BODY_LOADS,
    MEDIAL_SHARE,
    SIDE_LOADS,
    body_load,
    side_load,
    with_tissue_spreads,
)
from jointload.modeldata import load_model, shipped_folder
from jointload.numerics.rotations import rotate_back
from jointload.numerics.signals import integral
from jointload.report.words.quantities import quantity
from jointload.study.strain_dose import strain_dose, tissues

BETWEEN_ENDS = 0.98
"""Share of persons between the low and the high that a source gives (assumption)."""
ALONG = 0.8
"""Correlation of a person's place at neighbouring angles, 45 degrees apart (assumption)."""
TENDON_ARM = {"low": 0.020, "value": 0.040, "high": 0.050}
"""[m] of persons at 25 degrees: 20 to 50 mm in 34 moving knees [@pmc2753825]; no table of the analysis."""
SHRINKS = 0.15
"""Of the patellar tendon's arm over 60 degrees of flexion: 42.6 to 36.2 mm [@pmc7547162]."""
GAIN, ARM, ANGLE, FORCE = 0.05, 0.006, np.deg2rad(2.0), 0.01
"""Known errors of what is read: share of a moment, joint centre beside the force [m], angle [rad], share of a force."""
COMMON = 0.7
"""Share of their variance that is the same in every landing of a person: body and markers."""
ERRORS = 200
"""Draws of the errors, by which the analysis knows how large they are."""
BENT = 15.0
"""Degrees by which knees are bent further for landings beyond what is measured of the kneecap."""
LANDING = 0.07
"""Standard deviation of the logarithm of a rider's landings of one kind (assumption)."""
SAVED = 0.92
"""What the changed landing's loads are of the usual one's."""
Key = tuple[str, str]


class Person:
    """Tissues by their own law. places : angle [deg] -> how far from the likeliest, in standard deviations."""

    def __init__(self, rng: np.random.Generator, shrinks: float = SHRINKS) -> None:
        self.rng, self.shrinks = rng, shrinks
        self.tables = load_model("tissue", "knee").content
        spread = {}
        for file in ("knee", "achilles", "lumbar"):
            spread |= load_model("tissue", file).content["spread"]
        spread["patellar_tendon_arm"] = TENDON_ARM
        self.spread = spread
        self.curves = {
            name: self._curve(name) for name in ("quadriceps_arm", "patellofemoral_ratio", "patellofemoral_area")
        }
        self.numbers = {name: self._number(row) for name, row in spread.items() if name not in self.curves}

    def _number(self, row: Mapping[str, float]) -> float:
        return float(two_sided(self._inside(), row["low"], row["value"], row["high"]))

    def _inside(self) -> float:
        """A person between the ends: one beyond them is drawn again."""
        reach = norm.isf(0.5 * (1.0 - BETWEEN_ENDS))
        place = self.rng.standard_normal()
        while abs(place) > reach:
            place = self.rng.standard_normal()
        return float(place)

    def _curve(self, name: str) -> PchipInterpolator:
        table = self.tables[name]
        angles = np.array(table["flexion"])
        anchors = np.arange(angles[0], angles[-1] + 45.0, 45.0)
        places = [self._inside()]
        for _ in anchors[1:]:
            places.append(ALONG * places[-1] + np.sqrt(1.0 - ALONG**2) * self._inside())
        place = np.interp(angles, anchors, places)
        reach = norm.isf(0.5 * (1.0 - BETWEEN_ENDS))
        ends = (np.array(table[end]) for end in ("low", "value", "high"))
        return PchipInterpolator(angles, two_sided(np.clip(place, -reach, reach), *ends))

    def leg(self, landing: Landing, side: str) -> dict[str, Array]:
        """Loads of a leg over its landing [N], [Pa]."""
        window, loads = landing.window(side), landing.loads
        bent = np.rad2deg(landing.angles.of(f"{side}_knee", "flexion")[window])
        moment = np.maximum(loads.of(f"{side}_knee", "flexion")[window], 0.0)
        quadriceps = moment / self.curves["quadriceps_arm"](bent)
        kneecap = quadriceps * self.curves["patellofemoral_ratio"](bent)
        row = self.spread["patellar_tendon_arm"]
        shorter = 1.0 - self.shrinks * (np.clip(bent, 0.0, 90.0) - 25.0) / 60.0
        tendon_arm = self.numbers["patellar_tendon_arm"] * shorter
        whole = -along(landing, f"{side}_knee", f"{side}_shank")[window]
        whole = whole + moment / np.clip(tendon_arm, row["low"], row["high"])
        tilt = loads.of(f"{side}_knee", "adduction")[window] / self.numbers["contact_distance"]
        up = np.rad2deg(landing.angles.of(f"{side}_ankle", "dorsiflexion")[window])
        arm = 0.0454 * self.numbers["achilles_arm"] * np.exp(-self.numbers["achilles_growth"] * up)
        return {
            "patellofemoral_force": kneecap,
            "patellofemoral_stress": kneecap / (1e-6 * self.curves["patellofemoral_area"](bent)),
            "tibiofemoral_force": whole,
            "tibiofemoral_medial_force": np.clip(whole / 2 + tilt, 0.0, None),
            "tibiofemoral_lateral_force": np.clip(whole / 2 - tilt, 0.0, None),
            "achilles_force": np.maximum(loads.of(f"{side}_ankle", "dorsiflexion")[window], 0.0) / arm,
        }

    def back(self, landing: Landing) -> dict[str, Array]:
        """Loads of the disc [N]."""
        found, window = lower_back(landing), landing.window("")
        pelvis = rotate_back(landing.poses.of("pelvis")[0][..., window], found.force)
        slope = np.deg2rad(self.numbers["disc_slope"])
        normal = np.array([np.sin(slope), np.cos(slope), 0.0])
        forward = np.array([np.cos(slope), -np.sin(slope), 0.0])
        muscle = np.maximum(-found.components[0], 0.0) / self.numbers["lumbar_arm"]
        return {"l5s1_disc_force": muscle + normal @ pelvis, "l5s1_disc_shear": -(forward @ pelvis)}

    def truth(self, landing: Landing) -> dict[Key, float]:
        dt = 1.0 / landing.poses.rate
        out: dict[Key, float] = {}
        for side in SIDES:
            series = self.leg(landing, side)
            out |= {(name, side): _reduced(name, series[of], dt) for name, (of, _) in SIDE_LOADS.items()}
            medial, whole = (integral(series[f"tibiofemoral_{part}force"], dt) for part in ("medial_", ""))
            out[MEDIAL_SHARE, side] = float(medial / whole)
        series = self.back(landing)
        return out | {(name, ""): _reduced(name, series[of], dt) for name, (of, _) in BODY_LOADS.items()}


def two_sided(place: Array | float, low: Array | float, value: Array | float, high: Array | float) -> Array:
    """A number whose place is normal, with BETWEEN_ENDS of the persons between low and high."""
    share = np.asarray(place) / norm.isf(0.5 * (1.0 - BETWEEN_ENDS))
    low, value, high = (np.asarray(each) for each in (low, value, high))
    return np.asarray(value + np.where(share < 0, share * (value - low), share * (high - value)))


def _reduced(name: str, series: Array, dt: float) -> float:
    return float(integral(series, dt)) if name.endswith("impulse") else float(np.max(series))


# What a laboratory reads --------------------------------------------------------------------------------------------


def read_with_errors(landing: Landing, places: Mapping[str, Array]) -> Landing:
    """The landing as read; places : standard normal errors of each kind."""
    loads, size = landing.loads, np.linalg.norm(landing.loads.force, axis=0)
    components = loads.components * (1.0 + GAIN * places["gain"]) + ARM * places["arm"] * size
    angle = landing.angles.angle + ANGLE * places["angle"]
    force = loads.force * (1.0 + FORCE * places["force"])
    return replace(
        landing,
        loads=replace(loads, components=components, force=force),
        angles=replace(landing.angles, angle=angle),
    )


def places(landing: Landing, rng: np.random.Generator) -> dict[str, Array]:
    moments, angles = landing.loads.components.shape[:2], landing.angles.angle.shape[:2]
    return {
        "gain": rng.standard_normal((*moments, 1)),
        "arm": rng.standard_normal((*moments, 1)),
        "angle": rng.standard_normal((*angles, 1)),
        "force": rng.standard_normal((1, 1, 1)),
    }


def told(landing: Landing) -> tuple[Measure, ...]:
    """Tissue loads by the analysis, without intervals."""
    legs = [(name, side, side_load(name)(landing, side)) for side in SIDES for name in (*SIDE_LOADS, MEDIAL_SHARE)]
    body = [(name, "", body_load(name)(landing)) for name in BODY_LOADS]
    return tuple(
        Measure(name, side, float(found[0] if isinstance(found, tuple) else found)) for name, side, found in legs + body
    )


@dataclass(frozen=True, eq=False)
class Read:
    """A landing with what the analysis knows of the errors: (ERRORS,) drawn values of each number, less the value."""

    landing: Landing
    away: Mapping[Key, Array]

    @classmethod
    def of(cls, landing: Landing, seed: int) -> Read:
        rng = np.random.default_rng([seed, 71, zlib.crc32(landing.recording.name.encode())])
        here = {(m.quantity, m.side): m.value for m in told(landing)}
        drawn = [told(read_with_errors(landing, places(landing, rng))) for _ in range(ERRORS)]
        rows = {key: [] for key in here}
        for one in drawn:
            for m in one:
                rows[m.quantity, m.side].append(m.value)
        return cls(landing, {key: np.array(values) - here[key] for key, values in rows.items()})

    def bounded(self, read: Landing) -> Iterator[Measure]:
        """Every tissue load as the analysis tells it, with its interval."""
        for m in with_tissue_spreads(told(read), read):
            samples = m.value + self.away[m.quantity, m.side]
            low, high = drawn_interval(m.value, samples)
            yield m.doubted(low, high)


def sample_landings() -> list[Landing]:
    folder, out = shipped_folder("sample_c3d"), []
    for path in sorted(folder.glob("rider_?_landing_*.c3d")):
        rider = path.name[:7]
        files = {"labels": folder / "labels.toml", "rider": folder / f"{rider}.toml"}
        session = read_session(path, folder / f"{rider}_static.c3d", **files)
        out.append(analyse(session, variants=False).landing)
    return out


def bent_further(landing: Landing) -> Landing:
    angles = landing.angles
    more = np.zeros(angles.angle.shape[:2] + (1,))
    for side in SIDES:
        j = angles.joints.index(f"{side}_knee")
        more[angles.rotations[j].index("flexion"), j] = np.deg2rad(BENT)
    return replace(landing, angles=replace(angles, angle=angles.angle + more))


# Coverage -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Judged:
    """One interval: whether it holds the truth, whether the truth is above its low end, how wide it is of the value."""

    quantity: str
    deep: bool
    held: bool
    above: bool
    width: float


def judged(reads: list[Read], persons: int, seed: int) -> list[Judged]:
    out = []
    deep = load_model("tissue", "knee").content["beyond"]["flexion"]
    for number, base in enumerate(reads):
        for k in range(persons):
            rng = np.random.default_rng([seed, number, k])
            truth = Person(rng).truth(base.landing)
            read = read_with_errors(base.landing, places(base.landing, rng))
            for m in base.bounded(read):
                true = truth[m.quantity, m.side]
                if not np.isfinite([m.value, m.low, true]).all():
                    continue
                kneecap = m.quantity.startswith("patellofemoral")
                beyond = kneecap and _most_bent(read, m.side) > deep
                width = (m.high - m.low) / abs(m.value) if m.value else np.nan
                out.append(Judged(m.quantity, beyond, m.low <= true <= m.high, true >= m.low, width))
    return out


def _most_bent(landing: Landing, side: str) -> float:
    return float(np.rad2deg(landing.angles.of(f"{side}_knee", "flexion")[landing.window(side)].max()))


def tissue_table(found: list[Judged]) -> Iterator[str]:
    yield "| tissue load | intervals | held | truth above the low end | width, middle |"
    yield "|---|---:|---:|---:|---:|"
    for deep in (False, True):
        for name in dict.fromkeys(one.quantity for one in found):
            mine = [one for one in found if (one.quantity, one.deep) == (name, deep)]
            if mine:
                words = quantity(name).plain_name + (", beyond 90 deg" if deep else "")
                held, above = (100 * np.mean([getattr(one, key) for one in mine]) for key in ("held", "above"))
                width = 100 * np.nanmedian([one.width for one in mine])
                yield f"| {words} | {len(mine)} | {held:.1f} % | {above:.1f} % | {width:.0f} % |"


# Dose and savings ---------------------------------------------------------------------------------------------------


Where = tuple[bool, bool]
"""Whether a truth lies below an interval, whether above it."""


def dose_rows(
    reads: list[Read], riders: int, times: int, seed: int, without: Collection[str] = ()
) -> dict[str, list[Where]]:
    """Where the truth of each rider's dose and of what the changed landing saves lies, by what was told.

    Each rider lands `times` times flat and changed; loads of landings scale with one factor a landing.
    without : 'bend', a tendon's arm alike at all angles; 'landings', landings of a kind alike
    """
    import pandas as pd

    held: dict[str, list[Where]] = {}
    shrinks, spread = ("bend" not in without) * SHRINKS, ("landings" not in without) * LANDING
    names = dict.fromkeys(n for t in tissues().values() for n in (t.impulse, t.peak))
    for k in range(riders):
        rng = np.random.default_rng([seed, 17, k])
        base = reads[k % len(reads)]
        truth = Person(rng, shrinks).truth(base.landing)
        shared, rows = places(base.landing, rng), []
        for condition, ratio in (("flat", 1.0), ("changed", SAVED)):
            for n in range(times):
                own = places(base.landing, rng)
                mixed = {key: np.sqrt(COMMON) * shared[key] + np.sqrt(1 - COMMON) * own[key] for key in own}
                factor = ratio * np.exp(spread * rng.standard_normal())
                head = (f"{condition}{n}", "a", "", "drop", condition, "")
                rows.append((*head, "", "", "drop_height", 0.4, "m", "", "", ""))
                for m in base.bounded(read_with_errors(base.landing, mixed)):
                    if m.quantity in names:
                        cells = (factor * m.value, "BW", factor * m.low, factor * m.high, "")
                        rows.append((*head, m.side, "", m.quantity, *cells))
        table = pd.DataFrame(rows, columns=[*COLUMNS, "low", "high", "note"]).astype(str)
        found = strain_dose(table, exposures(), "flat")
        _judge_doses(found, truth, spread, held)
    return held


def _judge_doses(found, truth: Mapping[Key, float], spread: float, held: dict[str, list[Where]]) -> None:
    for row in found.doses:
        tissue = tissues()[row["tissue"]]
        true_load = truth.get((getattr(tissue, row["basis"]), row["side"]), np.nan)
        m = row["exponent"]
        true = row["landings"] * (true_load / row["reference"]) ** m * np.exp(0.5 * (m * spread) ** 2)
        if np.isfinite([true, row["low"], row["high"]]).all():
            key = f"dose, {tissue.title}, {row['basis']}"
            held.setdefault(f"{key}, exponent {m:g}", []).append((true < row["low"], true > row["high"]))
    for row in found.savings:
        if row["change"].startswith("changed") and np.isfinite([row["low"], row["high"]]).all():
            true = 1.0 - SAVED ** row["exponent"]
            key = f"saved, {tissues()[row['tissue']].title}, impulse, exponent {row['exponent']:g}"
            held.setdefault(key, []).append((true < row["low"], true > row["high"]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--persons", type=int, default=40, help="on each of twelve landings")
    parser.add_argument("--riders", type=int, default=200, help="of a dose")
    parser.add_argument("--times", type=int, default=4, help="landings of a rider under each condition")
    parser.add_argument("--seed", type=int, default=6)
    parser.add_argument("--without", nargs="*", choices=("bend", "landings"), default=(), help="switched off in a dose")
    chosen = parser.parse_args()
    flat = sample_landings()
    reads = [Read.of(landing, chosen.seed) for landing in (*flat, *map(bent_further, flat))]
    print("\n".join(tissue_table(judged(reads, chosen.persons, chosen.seed))), flush=True)
    print("| number | riders' feet | held | truth below | truth above |\n|---|---:|---:|---:|---:|")
    for name, where in dose_rows(reads[: len(flat)], chosen.riders, chosen.times, chosen.seed, chosen.without).items():
        below, above = 100 * np.mean(where, axis=0)
        print(f"| {name} | {len(where)} | {100 - below - above:.1f} % | {below:.1f} % | {above:.1f} % |")


if __name__ == "__main__":
    main()

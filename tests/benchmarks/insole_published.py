"""Published magnitudes of wedges and lifts against ours, run by hand: python tests/benchmarks/insole_published.py

One set of parameters answers all of them: walking and running from published recordings beside the checkout, landing
from the shipped samples. Every line says whether the magnitude was used for fitting or kept back; the root mean square
of the logarithm of ours over published, over the wedges kept back, is the misfit in models/insole_response/group.toml.
`--formulations` shows what other formulations of the leg make of the same magnitudes.
"""

from __future__ import annotations

import os

for library in ("OPENBLAS", "OMP", "MKL"):
    os.environ[f"{library}_NUM_THREADS"] = "1"

import argparse  # noqa: E402
from collections.abc import Callable, Mapping  # noqa: E402
from dataclasses import dataclass, replace  # noqa: E402
from functools import lru_cache  # noqa: E402
from pathlib import Path  # noqa: E402

import numpy as np  # noqa: E402

from jointload.analysis import Analysis, analyse  # noqa: E402
from jointload.insole.bed.bed import BedLoad, Person  # noqa: E402
from jointload.insole.bed.foundation import baseline_pose, changed_pose  # noqa: E402
from jointload.insole.bed.person import draw_person, plain_foot  # noqa: E402
from jointload.insole.limb.pouring import Leg, Poured, pour_again  # noqa: E402
from jointload.insole.limb.readings import readings  # noqa: E402
from jointload.insole.limb.response import FootResponse, respond, tibial_coupling  # noqa: E402
from jointload.insole.limb.standing import Settled, Standing, settle, settle_flat, stand  # noqa: E402
from jointload.insole.shape.asked import Given, Parts, case_of  # noqa: E402
from jointload.insole.shape.geometry import parse_wedge  # noqa: E402
from jointload.intake.rider import G  # noqa: E402
from jointload.intake.session import read_session  # noqa: E402
from jointload.modeldata import shipped_folder  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
SHARED = ROOT.parent / "shared" / "c3d"
LABELS = ROOT / "tests" / "intake" / "real"
DRAWS = 60
FITTED, KEPT = "used", "kept back"

Adjust = Callable[[Person], Person]


@dataclass(frozen=True)
class Published:
    """A magnitude as printed: value, ends of the group's interval (NaN where none is known), unit; ours is a function
    of the formulation. size : within which ours is called alike where the published value is none."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    use: str
    source: str
    ours: Callable[[Adjust | None], float]
    size: float = float("nan")


@dataclass(frozen=True, eq=False)
class Answer:
    """One foot on one shape."""

    analysis: Analysis
    side: str
    standing: Standing
    settled: Settled
    response: FootResponse
    poured: Poured

    def peak(self, joint: str, rotation: str, sign: float = 1.0, leg: str = "mechanics") -> float:
        """Median change of the largest value of an angle [deg]."""
        rows = sign * getattr(self.poured, leg).angles.of(f"{self.side}_{joint}", rotation)
        return float(np.rad2deg(np.median(rows[1:].max(axis=1)) - rows[0].max()))

    def moment(self, joint: str, first_half: bool = False) -> tuple[float, float]:
        """Median change of the largest external adduction moment [Nm/kg], and in per cent."""
        rows = self.poured.loads.of(f"{self.side}_{joint}", "adduction")
        rows = rows[:, : rows.shape[1] // 2] if first_half else rows
        peaks = rows.max(axis=1)
        change = float(np.median(peaks[1:]) - peaks[0])
        return change / (self.analysis.landing.weight / G), 100 * change / float(peaks[0])

    def reading(self, quantity: str, leg: str = "mechanics") -> tuple[float, float]:
        """Median change of a reading, and in per cent."""
        one = readings(self.analysis.landing, self.side, self.standing.person.values)[quantity]
        after = np.arange(1, self.poured.rows)
        chosen: Leg = getattr(self.poured, leg)
        before = one.to_number(one.series(self.poured.mechanics, np.zeros_like(after)))
        change = one.to_number(one.series(chosen, after)) - before
        return float(np.median(change)), float(np.median(100 * change / before))

    def roll_ratio(self, degrees: float) -> float:
        """Roll on the bed per degree while the rearfoot bears."""
        bears = self.standing.rearfoot_bears
        roll = np.median((self.settled.changed.roll - self.settled.flat.roll)[:, bears], axis=0)
        return float(np.rad2deg(np.average(roll, weights=self.standing.load.force[bears])) / degrees)


# Recordings


@lru_cache(maxsize=1)
def walks() -> tuple[tuple[Analysis, str], ...]:
    folder = SHARED / "walking"
    return tuple((_shared(folder / f"walk_{k}.c3d", "walking"), side) for k in (1, 2, 3) for side in ("right", "left"))


@lru_cache(maxsize=1)
def run() -> tuple[tuple[Analysis, str], ...]:
    analysis = _shared(SHARED / "running" / "treadmill_3.5ms.c3d", "running")
    return tuple((analysis, side) for side in ("right", "left"))


@lru_cache(maxsize=1)
def landings() -> tuple[tuple[Analysis, str], ...]:
    """Both feet of the six sample landings."""
    sample = shipped_folder("sample_c3d")
    out = []
    for rider in "abc":
        files = {"labels": sample / "labels.toml", "rider": sample / f"rider_{rider}.toml"}
        for shape in ("flat", "wedge"):
            trial, static = sample / f"rider_{rider}_landing_{shape}.c3d", sample / f"rider_{rider}_static.c3d"
            analysis = analyse(read_session(trial, static, **files), variants=False)
            out += [(analysis, side) for side in ("right", "left")]
    return tuple(out)


@lru_cache(maxsize=16)
def _shared(trial: Path, who: str) -> Analysis:
    files = {"labels": LABELS / f"{who}_labels.toml", "rider": LABELS / f"{who}_rider.toml"}
    return analyse(read_session(trial, trial.parent / "static.c3d", **files), variants=False)


# Answers


@lru_cache(maxsize=2000)
def answer(analysis: Analysis, side: str, shape: str, adjust: Adjust | None) -> Answer:
    landing = analysis.landing
    standing = stand(landing, side, DRAWS, 1, adjust)
    case = case_of(_given(shape, side), standing.place.length)
    settled = settle(standing, case.after, settle_flat(standing, case.before))
    response = respond(standing, settled, landing.window(side))
    return Answer(
        analysis, side, standing, settled, response, pour_again(landing, side, response.with_none_first())
    )  # fmt: skip


def _given(shape: str, side: str) -> Given:
    if shape.startswith("lift:"):
        return Parts(side, lift=float(shape.removeprefix("lift:")) / 1000)
    wedge, _, length = shape.partition(" ")
    return parse_wedge(wedge, side, length or "full")


def over(
    feet: Callable[[], tuple[tuple[Analysis, str], ...]], shape: str, read: Callable[[Answer], float]
) -> Callable[[Adjust | None], float]:
    """Mean over feet of what is read from their answers."""
    return lambda adjust: float(np.mean([read(answer(analysis, side, shape, adjust)) for analysis, side in feet()]))


def half_difference(
    feet: Callable[[], tuple[tuple[Analysis, str], ...]], one: str, other: str, read: Callable[[Answer], float]
) -> Callable[[Adjust | None], float]:
    """Difference between two shapes."""
    first, second = over(feet, one, read), over(feet, other, read)
    return lambda adjust: first(adjust) - second(adjust)


UNKNOWN = float("nan")


def eversion(answer: Answer) -> float:
    return answer.peak("ankle", "inversion", -1.0)


def sagittal(answer: Answer) -> float:
    """Largest of the sagittal changes at hip, knee and ankle."""
    pairs = (("hip", "flexion"), ("knee", "flexion"), ("ankle", "dorsiflexion"))
    return max((answer.peak(*pair) for pair in pairs), key=abs)


def at_contact(answer: Answer) -> float:
    """Change of inversion at touch-down [deg]."""
    rows = answer.poured.angles.of(f"{answer.side}_ankle", "inversion")
    return float(np.rad2deg(np.median(rows[1:, 0]) - rows[0, 0]))


def standing_tilt(adjust: Adjust | None) -> float:
    """Forward tilt of the pelvis [deg] in standing on 10 deg lateral wedges, half the body's weight on a foot."""
    person = draw_person(DRAWS, 1, STANDING_MASS, STANDING_FOOT)
    person = person if adjust is None else adjust(person)
    bed = plain_foot(STANDING_FOOT)
    weight = np.array([0.5 * STANDING_MASS * G])
    load = BedLoad(weight, np.array([STANDING_PLACE * STANDING_FOOT]), np.zeros(1))
    flat = np.full(bed.x.shape, 0.020)
    before = baseline_pose(bed, flat, person.materials, person.joints, load)
    after = changed_pose(bed, flat - np.tan(np.deg2rad(10.0)) * bed.y, person.joints, before)
    rotation = -tibial_coupling(person.values) * (after.roll - before.roll)[:, 0]
    return float(np.rad2deg(np.median(person.values["pelvis_tilt_share"] * rotation)))


STANDING_MASS, STANDING_FOOT, STANDING_PLACE = 70.0, 0.260, 0.40
"""Of nobody in particular; the load of standing lies between heel and ball (choice)."""

MAGNITUDES = (
    Published("stand, 10 deg lateral: tilt of the pelvis", 1.5, UNKNOWN, UNKNOWN, "deg", FITTED,
              "Pinto 2008, 14 persons, quoted", standing_tilt),
    Published("walk, 5 deg lateral: first peak of the knee adduction moment", -5.8, -9.0, -3.0, "%", FITTED,
              "Hinman 2012 Clin Biomech 27:27, 73 persons; interval: spread of other studies' means",
              over(walks, "lateral:5", lambda a: a.moment("knee", True)[1])),
    Published("walk, 5 deg medial under the heel: rearfoot", 0.145, 0.13, 0.16, "deg/deg", FITTED,
              "Telfer 2013 J Biomech 46:1489, 24 persons", over(walks, "medial:5 heel", lambda a: a.roll_ratio(5.0))),
    Published("run, 5 deg medial: peak eversion", -1.62, UNKNOWN, UNKNOWN, "deg", FITTED,
              "Sinclair 2017 FAOJ 10(4):1, 12 men", over(run, "medial:5", eversion)),
    Published("run, 5 deg lateral: peak eversion", 1.74, UNKNOWN, UNKNOWN, "deg", FITTED,
              "Sinclair 2017", over(run, "lateral:5", eversion)),
    Published("landing, 5 deg medial: hip adduction", -1.98, -2.99, -0.97, "deg", FITTED,
              "Joseph 2010 OAJSM 1:23, 10 women, jump from 31 cm",
              over(landings, "medial:5", lambda a: a.peak("hip", "adduction"))),
    Published("walk, 5 deg lateral: impulse of the knee adduction moment", -6.3, UNKNOWN, UNKNOWN, "%", KEPT,
              "Hinman 2012", over(walks, "lateral:5", lambda a: a.reading("knee_adduction_impulse")[1])),
    Published("walk, 2 deg lateral: first peak of the knee adduction moment", 0.0, -3.0, 0.0, "%", KEPT,
              "Fukuchi, Footwear Science, 15 persons: no difference",
              over(walks, "lateral:2", lambda a: a.moment("knee", True)[1]), 3.0),
    Published("walk, 10 deg lateral: first peak of the knee adduction moment", -8.0, UNKNOWN, UNKNOWN, "%", KEPT,
              "Kerrigan 2002, 15 persons, FROM MEMORY", over(walks, "lateral:10", lambda a: a.moment("knee", True)[1])),
    Published("walk, 5 deg lateral: first peak of the hip adduction moment", 0.0, UNKNOWN, UNKNOWN, "%", KEPT,
              "Kang 2013 Orthopedics, 48 persons; Crenshaw 2000: unchanged; alike within a fifth of the knee's",
              over(walks, "lateral:5", lambda a: a.moment("hip", True)[1]), 1.2),
    Published("walk, 5 deg lateral: hip adduction", 0.0, UNKNOWN, UNKNOWN, "deg", KEPT,
              "Crenshaw 2000 Clin Orthop 375:185, 17 persons: no angle changed; alike within 1 deg",
              over(walks, "lateral:5", lambda a: a.peak("hip", "adduction")), 1.0),
    Published("run, 5 deg medial against lateral: knee adduction moment", 0.15, UNKNOWN, UNKNOWN, "Nm/kg", KEPT,
              "Sinclair and Stainton, Kinesiology, 12 women",
              half_difference(run, "medial:5", "lateral:5", lambda a: a.moment("knee")[0])),
    Published("run, 18 mm heel lift: Achilles force", -12.1, -22.4, -1.8, "%", KEPT,
              "Farris 2012 JAB 28:511, 10 women; interval from P = 0.024",
              over(run, "lift:18", lambda a: a.reading("achilles_force_peak")[1])),
    Published("run, 12 mm heel lift: Achilles force", -6.3, UNKNOWN, UNKNOWN, "%", KEPT,
              "Farris 2012, not significant", over(run, "lift:12", lambda a: a.reading("achilles_force_peak")[1])),
    Published("run, 15 mm heel lift: dorsiflexion", -3.9, UNKNOWN, UNKNOWN, "deg", KEPT,
              "Dixon and Kerwin 1999 JAB 15:139, 8 persons",
              over(run, "lift:15", lambda a: a.peak("ankle", "dorsiflexion"))),
    Published("landing, 5 deg medial: peak eversion", -0.95, UNKNOWN, UNKNOWN, "deg", KEPT,
              "Joseph 2008 AJSM 36:285, 10 women, drop jump", over(landings, "medial:5", eversion)),
    Published("landing, 5 deg medial: eversion at contact", -0.77, UNKNOWN, UNKNOWN, "deg", FITTED,
              "Joseph 2008", over(landings, "medial:5", lambda a: -at_contact(a))),
    Published("landing, 5 deg medial: largest sagittal change", 0.0, UNKNOWN, UNKNOWN, "deg", KEPT,
              "Joseph 2010: unchanged; alike within 1 deg", over(landings, "medial:5", sagittal), 1.0),
    Published("landing, 8 deg medial: internal rotation of the knee", -3.1, -8.2, 2.0, "deg", KEPT,
              "2003 Phys Ther Sport 4:34, 7 women on one leg",
              over(landings, "medial:8", lambda a: a.peak("knee", "internal_rotation"))),
    Published("landing, 8 deg lateral: internal rotation of the knee", 2.6, 0.6, 4.6, "deg", FITTED,
              "2003 Phys Ther Sport 4:34", over(landings, "lateral:8", lambda a: a.peak("knee", "internal_rotation"))),
)  # fmt: skip


# Formulations


def adjusted(**changes: Callable[[np.ndarray], np.ndarray]) -> Adjust:
    """Persons with some of their values changed."""

    def adjust(person: Person) -> Person:
        values = dict(person.values)
        for name, change in changes.items():
            values[name] = change(values[name])
        joints = replace(person.joints, roll=values["roll_stiffness"], swing=values["swing_stiffness"])
        return replace(person, joints=joints, values=values)

    return adjust


def none(values: np.ndarray) -> np.ndarray:
    return 0.0 * values


def rigid(values: np.ndarray) -> np.ndarray:
    return 1e9 + 0.0 * values


STILL = {"swing_stiffness": rigid, "held_at_contact": none, "pelvis_tilt_share": none}
FORMULATIONS: Mapping[str, Adjust | None] = {
    "chosen": None,
    "pelvis held, the leg never swings": adjusted(
        **STILL, pelvis_share=none, knee_plane_share=lambda v: 0.4 + v
    ),
    "the pelvis goes with the ankle, no swing": adjusted(**STILL, pelvis_share=lambda v: 1.0 + 0.0 * v),
    "the tibia's turn taken up threefold by the knee's plane": adjusted(**STILL, knee_plane_share=lambda v: 3.0 + v),
    "swing, nothing set before contact": adjusted(held_at_contact=none),
    "swing, thigh and shank turn alike": adjusted(knee_twist_share=none),
    "swing, force line kept parallel": adjusted(force_following=none),
    "swing twice as stiff": adjusted(swing_stiffness=lambda v: 2.0 * v),
    "swing half as stiff": adjusted(swing_stiffness=lambda v: 0.5 * v),
}  # fmt: skip


def misfit(rows: list[tuple[Published, float]], use: str) -> float:
    """Root mean square of ln(ours / published) of those with a value other than none."""
    ratios = [ours / one.value for one, ours in rows if one.use == use and one.value]
    return float(np.sqrt(np.mean(np.log(np.maximum(ratios, 0.05)) ** 2)))


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--formulations", action="store_true")
    chosen = {"chosen": None} if not words.parse_args().formulations else FORMULATIONS
    for name, adjust in chosen.items():
        print(f"\n{name}\n| magnitude | published | interval | ours | ratio | |\n|---|---:|---:|---:|---:|---|")
        rows = []
        for one in MAGNITUDES:
            ours = one.ours(adjust)
            rows.append((one, ours))
            interval = "" if np.isnan(one.low) else f"{one.low:g} to {one.high:g}"
            alike = "alike" if abs(ours) <= one.size else "not alike"
            ratio = f"{ours / one.value:.2f}" if one.value else alike
            print(f"| {one.name} [{one.unit}] | {one.value:g} | {interval} | {ours:.2f} | {ratio} | {one.use} |")
        print(f"misfit used {misfit(rows, FITTED):.2f}, kept back {misfit(rows, KEPT):.2f}", end="")
        wedges = [(one, ours) for one, ours in rows if "lift" not in one.name]
        print(f", of them wedges {misfit(wedges, KEPT):.2f}", flush=True)


if __name__ == "__main__":
    main()

"""Published magnitudes of wedges and lifts against ours, run by hand: python tests/benchmarks/insole_published.py

One set of parameters answers all of them: walking and running from published recordings beside the checkout, landing
from the shipped samples. A magnitude is met where our group's interval overlaps the published group's; where a study
prints no interval, it is made from its number of persons and a published spread between persons. Every line says
whether the magnitude was used for fitting or kept back; the root mean square of the logarithm of ours over published,
over what was kept back, is the misfit in models/insole_response/group.toml.
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
from jointload.insole.limb.change import TISSUE_FORCE, Change, Drawn  # noqa: E402
from jointload.insole.limb.pouring import Leg, Poured, pour_again  # noqa: E402
from jointload.insole.limb.readings import readings  # noqa: E402
from jointload.insole.limb.response import (  # noqa: E402
    FootResponse,
    own_answers,
    own_features,
    respond,
    tibial_coupling,
)
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
FITTED, KEPT, MEMORY = "used", "kept back", "from memory, not counted"

Adjust = Callable[[Person], Person]
Draws = np.ndarray
"""(2, D) changes of the drawn persons: by the mechanics alone, and of one person."""


@dataclass(frozen=True)
class Published:
    """A magnitude as printed: the group's mean and the ends of its 95 % interval in `unit`, and where that is from;
    ours is a function of the formulation."""

    name: str
    value: float
    interval: tuple[float, float]
    unit: str
    use: str
    source: str
    ours: Callable[[Adjust | None], Draws]

    def answer(self, adjust: Adjust | None) -> Change:
        """Ours as a prediction tells it."""
        mechanics, person = self.ours(adjust)
        return Drawn(TISSUE_FORCE if self.of_tissue else "", "", np.zeros(1), mechanics, person).row(1.0)

    @property
    def of_tissue(self) -> bool:
        return "force" in self.name


@dataclass(frozen=True, eq=False)
class Answer:
    """One foot on one shape."""

    analysis: Analysis
    side: str
    standing: Standing
    settled: Settled
    response: FootResponse
    poured: Poured

    def peak(self, joint: str, rotation: str, sign: float = 1.0) -> Draws:
        """Change of the largest value of an angle [deg]."""
        return np.rad2deg(
            self._change(lambda leg: (sign * leg.angles.of(f"{self.side}_{joint}", rotation)).max(axis=1))
        )

    def moment(self, joint: str, half: int | None = None) -> Draws:
        """Change of the largest external adduction moment [N m/kg] of the whole contact, or of a half of it (0, 1)."""
        return self._change(lambda leg: self._largest(leg, joint, half)) / (self.analysis.landing.weight / G)

    def moment_share(self, joint: str, half: int | None = None) -> Draws:
        """The same in per cent."""
        before = self._largest(self.poured.mechanics, joint, half)[0]
        return 100 * self._change(lambda leg: self._largest(leg, joint, half)) / before

    def _largest(self, leg: Leg, joint: str, half: int | None) -> np.ndarray:
        rows = leg.loads.of(f"{self.side}_{joint}", "adduction")
        middle = rows.shape[1] // 2
        return {None: rows, 0: rows[:, :middle], 1: rows[:, middle:]}[half].max(axis=1)

    def reading_share(self, quantity: str) -> Draws:
        """Change of a reading [%]."""
        one = readings(self.analysis.landing, self.side, self.standing.person.values)[quantity]
        after = np.arange(1, self.poured.rows)
        before = one.to_number(one.series(self.poured.mechanics, np.zeros_like(after)))
        legs = (self.poured.mechanics, self.poured.own)
        return np.stack([100 * (one.to_number(one.series(leg, after)) / before - 1.0) for leg in legs])

    def at_contact(self, joint: str, rotation: str) -> Draws:
        """Change of an angle at touch-down [deg]."""
        return np.rad2deg(self._change(lambda leg: leg.angles.of(f"{self.side}_{joint}", rotation)[:, 0]))

    def _change(self, read: Callable[[Leg], np.ndarray]) -> Draws:
        before = read(self.poured.mechanics)[0]
        return np.stack([read(leg)[1:] - before for leg in (self.poured.mechanics, self.poured.own)])

    def roll_ratio(self, degrees: float) -> Draws:
        """Roll on the bed per degree while the rearfoot bears."""
        bears = self.standing.rearfoot_bears
        roll = (self.settled.changed.roll - self.settled.flat.roll)[:, bears]
        mechanics = roll @ self.standing.load.force[bears] / self.standing.load.force[bears].sum()
        return np.rad2deg(np.stack([mechanics, mechanics + self.response.own_answer("rearfoot_roll")])) / degrees


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
    feet: Callable[[], tuple[tuple[Analysis, str], ...]], shape: str, read: Callable[[Answer], Draws]
) -> Callable[[Adjust | None], Draws]:
    """Mean over feet of what is read from their answers, person by person."""
    return lambda adjust: np.mean([read(answer(analysis, side, shape, adjust)) for analysis, side in feet()], axis=0)


def difference(
    feet: Callable[[], tuple[tuple[Analysis, str], ...]], one: str, other: str, read: Callable[[Answer], Draws]
) -> Callable[[Adjust | None], Draws]:
    """Difference between two shapes."""
    first, second = over(feet, one, read), over(feet, other, read)
    return lambda adjust: first(adjust) - second(adjust)


def eversion(answer: Answer) -> Draws:
    return answer.peak("ankle", "inversion", -1.0)


def sagittal(answer: Answer) -> Draws:
    """Largest of the sagittal changes at hip, knee and ankle."""
    pairs = (("hip", "flexion"), ("knee", "flexion"), ("ankle", "dorsiflexion"))
    return max((answer.peak(*pair) for pair in pairs), key=lambda draws: abs(np.median(draws[0])))


def standing_tilt(adjust: Adjust | None) -> Draws:
    """Forward tilt of the pelvis [deg] in standing on 10 deg lateral wedges, half the body's weight on a foot."""
    person = draw_person(DRAWS, 1, STANDING_MASS, STANDING_FOOT)
    person = person if adjust is None else adjust(person)
    bed = plain_foot(STANDING_FOOT)
    weight = np.array([0.5 * STANDING_MASS * G])
    load = BedLoad(weight, np.array([STANDING_PLACE * STANDING_FOOT]), np.zeros(1))
    flat, slope = np.full(bed.x.shape, 0.020), -np.tan(np.deg2rad(10.0))
    before = baseline_pose(bed, flat, person.materials, person.joints, load)
    after = changed_pose(bed, flat + slope * bed.y, person.joints, before)
    rotation = -tibial_coupling(person.values) * (after.roll - before.roll)[:, 0]
    tilt = person.values["pelvis_tilt_share"] * rotation
    own = own_answers(person.values, own_features(np.array([slope, slope]), np.zeros(())))["pelvis_tilt"]
    return np.rad2deg(np.stack([tilt, tilt + own]))


STANDING_MASS, STANDING_FOOT, STANDING_PLACE = 70.0, 0.260, 0.40
"""Of nobody in particular; the load of standing lies between heel and ball (choice)."""

KNEE, EVERSION, TENDON, KNEECAP, DORSIFLEXION = 2.3, 1.27, 1.17, 1.23, 0.87
"""SD between persons of a change over its mean: of knee adduction moments, as a third goes the other way (patent US
11147520); of eversion on 7 deg medial in running (Braga 2019 Gait Posture 74:242, 19 persons, from r = 0.63); of the
Achilles force on 18 mm (Farris 2012, from P = 0.024); of the kneecap's stress in a lunge (16 persons, ES 0.81); of
dorsiflexion on 15 mm, as 1 of 8 went the other way. Trial noise is in all of them."""


def of_mean(value: float, persons: int, ratio: float, size: float | None = None) -> tuple[float, float]:
    """95 % interval of a group's mean from the SD between persons, `ratio` times `size` (else the value itself)."""
    from scipy.stats import t

    half = float(t.ppf(0.975, persons - 1)) * ratio * abs(value if size is None else size) / np.sqrt(persons)
    return value - half, value + half


def within(size: float) -> tuple[float, float]:
    """A change that was not seen, told as none within a size that the study could hardly have missed (choice)."""
    return -size, size


MAGNITUDES = (
    Published("stand, 10 deg lateral: tilt of the pelvis", 1.5, of_mean(1.5, 14, EVERSION), "deg", FITTED,
              "Pinto 2008, 14 persons, quoted; spread as of eversion (choice)", standing_tilt),
    Published("walk, 5 deg lateral: first peak of the knee adduction moment", -5.8, of_mean(-5.8, 73, KNEE), "%",
              FITTED, "Hinman 2012 Clin Biomech 27:27, 73 persons",
              over(walks, "lateral:5", lambda a: a.moment_share("knee", 0))),
    Published("walk, 5 deg medial under the heel: rearfoot", 0.145, of_mean(0.145, 24, EVERSION), "deg/deg", FITTED,
              "Telfer 2013 J Biomech 46:1489, 24 persons: 0.13 to 0.16",
              over(walks, "medial:5 heel", lambda a: a.roll_ratio(5.0))),
    Published("run, 5 deg medial: peak eversion", -1.62, of_mean(-1.62, 12, EVERSION), "deg", FITTED,
              "Sinclair 2017 FAOJ 10(4):1, 12 men", over(run, "medial:5", eversion)),
    Published("run, 5 deg lateral: peak eversion", 1.74, of_mean(1.74, 12, EVERSION), "deg", FITTED,
              "Sinclair 2017", over(run, "lateral:5", eversion)),
    Published("landing, 5 deg medial: hip adduction", -1.98, (-2.99, -0.97), "deg", FITTED,
              "Joseph 2010 OAJSM 1:23, 10 women, jump from 31 cm, interval as printed",
              over(landings, "medial:5", lambda a: a.peak("hip", "adduction"))),
    Published("landing, 5 deg medial: eversion at contact", -0.77, of_mean(-0.77, 10, EVERSION), "deg", FITTED,
              "Joseph 2008 AJSM 36:285, 10 women, drop jump",
              over(landings, "medial:5", lambda a: -a.at_contact("ankle", "inversion"))),
    Published("landing, 8 deg lateral: internal rotation of the knee", 2.6, of_mean(2.6, 7, 2.2 / 2.6), "deg", FITTED,
              "2003 Phys Ther Sport 4:34, 7 women on one leg, SD as printed",
              over(landings, "lateral:8", lambda a: a.peak("knee", "internal_rotation"))),
    Published("walk, 5 deg lateral: impulse of the knee adduction moment", -6.3, of_mean(-6.3, 73, KNEE), "%", KEPT,
              "Hinman 2012", over(walks, "lateral:5", lambda a: a.reading_share("knee_adduction_impulse"))),
    Published("walk, 5 deg lateral: second peak of the knee adduction moment", -7.0, (-9.0, -5.3), "%", KEPT,
              "Arnold 2016 Arthritis Care Res, 18 studies, SMD -0.25 (-0.32 to -0.19), times 0.28, SD over mean of a "
              "second peak (10 healthy walkers, two days)",
              over(walks, "lateral:5", lambda a: a.moment_share("knee", 1))),
    Published("walk, 2 deg lateral: first peak of the knee adduction moment", 0.0, of_mean(0.0, 15, KNEE, 0.5 * 5.8),
              "%", KEPT, "Fukuchi, Footwear Science, 15 persons: no difference; spread half of that on 5 deg",
              over(walks, "lateral:2", lambda a: a.moment_share("knee", 0))),
    Published("walk, 9 deg lateral: first peak of the knee adduction moment", 0.0, of_mean(0.0, 21, KNEE, 1.24 * 5.8),
              "%", KEPT, "Fukuchi 2016 JAPMA 106:411, 21 men: no difference; spread by tanh(9 / 5) of that on 5 deg",
              over(walks, "lateral:9", lambda a: a.moment_share("knee", 0))),
    Published("walk, 10 deg lateral: first peak of the knee adduction moment", -11.6,
              (2 * of_mean(-5.8, 73, KNEE)[0], 2 * of_mean(-5.8, 73, KNEE)[1]), "%", KEPT,
              "twice Hinman's 5 deg: linear from -6 to 10 deg (Telfer 2013)",
              over(walks, "lateral:10", lambda a: a.moment_share("knee", 0))),
    Published("the same, as it is remembered", -8.0, of_mean(-8.0, 15, KNEE), "%", MEMORY, "Kerrigan 2002, 15 persons",
              over(walks, "lateral:10", lambda a: a.moment_share("knee", 0))),
    Published("walk, 5 deg lateral: first peak of the hip adduction moment", 0.0, within(1.2), "%", KEPT,
              "Kang 2013 Orthopedics, 48 persons; Crenshaw 2000: unchanged; a fifth of the knee's",
              over(walks, "lateral:5", lambda a: a.moment_share("hip", 0))),
    Published("walk, 5 deg lateral: hip adduction", 0.0, within(1.0), "deg", KEPT,
              "Crenshaw 2000 Clin Orthop 375:185, 17 persons: no angle changed",
              over(walks, "lateral:5", lambda a: a.peak("hip", "adduction"))),
    Published("run, 5 deg medial against lateral: knee adduction moment", 0.15, of_mean(0.15, 12, KNEE), "Nm/kg", KEPT,
              "Sinclair and Stainton, Kinesiology, 12 women",
              difference(run, "medial:5", "lateral:5", lambda a: a.moment("knee"))),
    Published("run, 5 deg lateral: Achilles force", -5.8, of_mean(-5.8, 12, TENDON), "%", KEPT,
              "Sinclair and Stainton, 5.34 to 5.03 BW",
              over(run, "lateral:5", lambda a: a.reading_share("achilles_force_peak"))),
    Published("run, 5 deg medial: patellofemoral force", 6.5, of_mean(6.5, 12, KNEECAP), "%", KEPT,
              "Sinclair and Stainton, 2.60 to 2.77 BW",
              over(run, "medial:5", lambda a: a.reading_share("patellofemoral_force_peak"))),
    Published("run, 18 mm heel lift: Achilles force", -12.1, of_mean(-12.1, 10, TENDON), "%", KEPT,
              "Farris 2012 JAB 28:511, 10 women",
              over(run, "lift:18", lambda a: a.reading_share("achilles_force_peak"))),
    Published("run, 12 mm heel lift: Achilles force", -6.3, of_mean(-6.3, 10, TENDON, 12.1), "%", KEPT,
              "Farris 2012, not significant; spread as on 18 mm",
              over(run, "lift:12", lambda a: a.reading_share("achilles_force_peak"))),
    Published("run, 15 mm heel lift: dorsiflexion", -3.9, of_mean(-3.9, 8, DORSIFLEXION), "deg", KEPT,
              "Dixon and Kerwin 1999 JAB 15:139, 8 persons",
              over(run, "lift:15", lambda a: a.peak("ankle", "dorsiflexion"))),
    Published("landing, 5 deg medial: peak eversion", -0.95, of_mean(-0.95, 10, EVERSION), "deg", KEPT,
              "Joseph 2008", over(landings, "medial:5", eversion)),
    Published("landing, 5 deg medial: largest sagittal change", 0.0, within(1.0), "deg", KEPT,
              "Joseph 2010: unchanged", over(landings, "medial:5", sagittal)),
    Published("landing, 8 deg medial: internal rotation of the knee", -3.1, of_mean(-3.1, 7, 5.5 / 3.1), "deg", KEPT,
              "2003 Phys Ther Sport 4:34, SD as printed",
              over(landings, "medial:8", lambda a: a.peak("knee", "internal_rotation"))),
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


Row = tuple[Published, Change]


def misfit(rows: list[Row]) -> float:
    """Root mean square of ln(ours / published) of those with a value other than none."""
    ratios = [ours.change / one.value for one, ours in rows if one.value]
    return float(np.sqrt(np.mean(np.log(np.maximum(ratios, 0.05)) ** 2)))


def sampled(rows: list[Row]) -> float:
    """What misfit chance alone makes: root mean square of the published means' own standard errors over them."""
    errors = [(one.interval[1] - one.interval[0]) / 3.92 / abs(one.value) for one, _ in rows if one.value]
    return float(np.sqrt(np.mean(np.square(errors))))


def overlaps(one: Published, ours: Change) -> bool:
    return bool(ours.group_low <= one.interval[1] and ours.group_high >= one.interval[0])


def inside(one: Published, ours: Change) -> bool:
    """Whether the median lies in the published interval."""
    return bool(one.interval[0] <= ours.change <= one.interval[1])


HEAD = "magnitude | published | their group | ours | our group | ratio | met"


def main() -> None:
    global DRAWS
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--formulations", action="store_true")
    words.add_argument("--draws", type=int, default=DRAWS)
    asked = words.parse_args()
    chosen = FORMULATIONS if asked.formulations else {"chosen": None}
    DRAWS = asked.draws
    for name, adjust in chosen.items():
        print(f"\n{name}\n| {HEAD} | |\n|---|---:|---:|---:|---:|---:|---|---|")
        rows = []
        for one in MAGNITUDES:
            ours = one.answer(adjust)
            rows.append((one, ours))
            low, high = one.interval
            ratio = f"{ours.change / one.value:.2f}" if one.value else ""
            met = "median inside" if inside(one, ours) else "overlap" if overlaps(one, ours) else "no"
            numbers = f"{one.value:g} | {low:.2g} to {high:.2g} | {ours.change:.2f}"
            group = f"{ours.group_low:.2g} to {ours.group_high:.2g}"
            print(f"| {one.name} [{one.unit}] | {numbers} | {group} | {ratio} | {met} | {one.use} |")
        counted = [
            (row, f"{row[0].use}, {'tissue forces' if row[0].of_tissue else 'angles and moments'}") for row in rows
        ]
        for use in dict.fromkeys(use for row, use in counted if row[0].use != MEMORY):
            chosen_rows = [row for row, one in counted if one == use]
            met, middle = (sum(judge(*row) for row in chosen_rows) for judge in (overlaps, inside))
            told = f"misfit {misfit(chosen_rows):.2f}, by chance {sampled(chosen_rows):.2f}"
            print(f"{use}: {told}; met {met} of {len(chosen_rows)}, by the median {middle}", flush=True)


if __name__ == "__main__":
    main()

"""Does what is said of heel, ball and toes hold? Run by hand: python tests/benchmarks/foot.py --landings 100

On fresh landings, in parts: --first 5000 --landings 50 --keep A.csv, --first 5050 --landings 50 --keep B.csv, then
--table A.csv B.csv.

Two tables. Published numbers met at once by one set of parameters, a third of them kept back. Invented landings whose
heel, friction and toe push follow laws of their own: an exponential pad under a sphere, friction that falls with load,
a shoe with mass, loads under the sole after a made-up pattern; recorded by laboratories whose errors are drawn from the
published spreads, with pressure insoles and without; how often the 95 % intervals hold the truth.
"""

from __future__ import annotations

import os

for library in ("OPENBLAS", "OMP", "MKL"):
    os.environ[f"{library}_NUM_THREADS"] = "1"

import argparse  # noqa: E402
import csv  # noqa: E402
import sys  # noqa: E402
from dataclasses import astuple, dataclass, replace  # noqa: E402
from functools import lru_cache  # noqa: E402
from pathlib import Path  # noqa: E402

import numpy as np  # noqa: E402

sys.path.insert(0, str(Path(__file__).parents[1]))

from dropped import GRAVITY, drop  # noqa: E402
from other_feet import OtherHeel, OtherShoe, other_shoe, persons_weights, shoe_said  # noqa: E402

from jointload.analysis import Analysis, analyse, plate_cutoff  # noqa: E402
from jointload.errors import InputError  # noqa: E402
from jointload.foot.bore import with_feet  # noqa: E402
from jointload.foot.heel import walking_heel  # noqa: E402
from jointload.foot.heel_pad import StiffeningColumn, heel_of, likeliest_heel, press_heel  # noqa: E402
from jointload.foot.spreads import drawn, foot_spreads, triangular  # noqa: E402
from jointload.foot.thin_layers import Bearing, held_by_cup, spare  # noqa: E402
from jointload.foot.toes import SLIDES  # noqa: E402
from jointload.foot.underfoot import BALL  # noqa: E402
from jointload.insole.shape.materials import Material  # noqa: E402
from jointload.intake.pressure import PressureRecording, SensorLayout  # noqa: E402
from jointload.intake.recording import SIDES  # noqa: E402
from jointload.intake.rider import Rider  # noqa: E402
from jointload.intake.shoe import Shoe  # noqa: E402
from jointload.landing.sole_regions import HEEL_END, region_of_sensors  # noqa: E402
from jointload.loads.moments import loaded_segments  # noqa: E402
from jointload.loads.pressed_soles import match_insoles  # noqa: E402
from jointload.modeldata import load_model  # noqa: E402
from jointload.synthetic.disturbed import disturbed  # noqa: E402
from jointload.synthetic.landing import SyntheticLanding, simulate_landing  # noqa: E402
from jointload.synthetic.pressure import (  # noqa: E402
    BACK_FOOT,
    EVEN,
    FRONT_FOOT,
    InsoleMake,
    made_layout,
    weighed_pressure,
)
from jointload.synthetic.specification import LandingSpec  # noqa: E402

Array = np.ndarray
RIDERS = (Rider("f1", 61.0, 1.67, "f", stance="right"), Rider("f2", 79.0, 1.82, "m", stance="left"))
STYLES = ({"drop": 0.45, "peak": 5.0}, {"drop": 0.35, "peak": 6.0, "style": "stiff"}, {"drop": 0.5, "peak": 4.2})
PATTERNS = (EVEN, BACK_FOOT, FRONT_FOOT)
JUDGED = (
    "heel_force_peak", "heel_pressure_peak", "heel_pressure_of_walking", "heel_pad_compression_peak",
    "heel_pad_strain_peak", "heel_pad_energy", "first_metatarsal_pressure_peak", "first_metatarsal_force_peak",
    "other_metatarsals_pressure_peak", "other_metatarsals_force_peak", "toe_push_force_peak", "toe_push_force_impulse",
    "friction_needed",
)  # fmt: skip


# truth ----------------------------------------------------------------------------------------------------------------


RECORDED = 4
"""Laboratories, persons and shoes that share one simulated landing, which takes long."""


@lru_cache(maxsize=2)
def true_landing(number: int) -> SyntheticLanding:
    """Height, peak, the back foot's share and the approach are this landing's own."""
    rng = np.random.default_rng([number, 29])
    style = STYLES[number % 3]
    drop, peak = (style[name] * rng.uniform(0.85, 1.15) for name in ("drop", "peak"))
    own = {"drop": drop, "peak": peak, "back_share": rng.uniform(0.45, 0.60), "approach": rng.uniform(0.2, 0.8)}
    spec = LandingSpec(RIDERS[number % 2], settling=0.5, seed=number, name=f"landing {number}", **style | own)
    return simulate_landing(spec)


def truth_of(
    made: SyntheticLanding, side: str, layout: SensorLayout, weights: Array, heel: OtherHeel, shoe: OtherShoe,
    walking_force: float,
) -> dict[str, float]:  # fmt: skip
    """Of one foot, from touch-down to the lowest pelvis, without any filter [SI]."""
    rate = made.spec.force_rate
    hips = made.poses.place(made.body, "hip_mid")[1]
    start = round(made.touchdown[side] * rate)
    window = slice(start, int(np.argmin(hips)) + 1)
    pressed = weighed_pressure(made, side, layout, weights)[:, window]
    regions = np.array(region_of_sensors(layout, layout.length))
    borne = pressed * layout.area[:, None]
    on_heel = borne[layout.along < HEEL_END * layout.length].sum(axis=0)
    force, top = float(on_heel.max()), int(np.argmax(on_heel))
    idle = np.flatnonzero(on_heel[:top] < 0.05 * force)
    rise = max((top - (idle[-1] if idle.size else 0)) / rate, 0.004)
    landed = heel.pressed(force, rise, shoe.sole)
    walked = heel.pressed(walking_force, 0.10, None)
    out = {
        "heel_force_peak": force, "heel_pressure_peak": landed["pressure"],
        "heel_pressure_of_walking": landed["pressure"] / walked["pressure"],
        "heel_pad_compression_peak": landed["compression"], "heel_pad_strain_peak": landed["strain"],
        "heel_pad_energy": landed["energy"],
    }  # fmt: skip
    for part, names in BALL.items():
        of_part = np.isin(regions, names)
        out[f"{part}_pressure_peak"] = float(pressed[of_part].max())
        out[f"{part}_force_peak"] = float(borne[of_part].sum(axis=0).max())
    return out | _true_toes(made, side, window, shoe)


def _true_toes(made: SyntheticLanding, side: str, window: slice, shoe: OtherShoe) -> dict[str, float]:
    """The shoe has a mass of its own, which the ground stops, too."""
    k, rate = SIDES.index(side), made.spec.force_rate
    rotation, _ = made.poses.of(f"{side}_foot")
    own = made.motion.acceleration[:, loaded_segments(made.body).index(f"{side}_foot"), window]
    stopped = own + np.array([[0.0], [GRAVITY], [0.0]])
    level = rotation[:, 0, window] * np.array([[1.0], [0.0], [1.0]])
    pitch = np.maximum(np.arcsin(rotation[1, 0, window]), 0.0)
    level /= np.linalg.norm(level, axis=0)
    felt = made.force[:, k, window] - shoe.mass * stopped
    ahead, aside = (np.einsum("jn,jn->n", way, felt) for way in (level, np.stack([-level[2], level[1], level[0]])))
    ahead = ahead + shoe.lean * felt[1]
    local = np.stack(
        [np.cos(pitch) * ahead + np.sin(pitch) * felt[1], np.cos(pitch) * felt[1] - np.sin(pitch) * ahead, aside]
    )
    inside = np.cos(shoe.turn) * local[0] + np.sin(shoe.turn) * local[2]
    push = shoe.push(inside, local[1])
    bearing = local[1] > 0.2 * made.spec.rider.weight
    needed = np.where(bearing, (-inside - shoe.lacing) / np.maximum(local[1], 1.0), 0.0)
    return {
        "toe_push_force_peak": float(push.max()),
        "toe_push_force_impulse": float(push.sum() / rate),
        "friction_needed": float(max(needed.max(), 0.0)),
    }


def insoles_of(
    made: SyntheticLanding, layout: SensorLayout, weights: tuple[Array, ...], rng: np.random.Generator
) -> tuple[PressureRecording, ...]:
    """Insoles whose sensors differ by 10 %, whose heel differs from the rest by 5 %, and which read a third too
    little."""
    make = InsoleMake()
    own = np.arange(-make.before, made.time[-1], 1.0 / make.rate)
    out = []
    for k, side in enumerate(SIDES):
        true = weighed_pressure(made, side, layout, weights[k])
        felt = np.stack([np.interp(own, made.time, row) for row in true])
        gain = make.gains[k] * (1.0 + 0.10 * rng.standard_normal(layout.area.size))
        gain[layout.along < HEEL_END * layout.length] *= 1.0 + 0.05 * rng.standard_normal()
        said = gain[:, None] * felt + 1e3 * make.noise * rng.standard_normal(felt.shape) * (felt > 0)
        said = np.maximum(np.round(said / 500.0) * 500.0, 0.0)
        out.append(PressureRecording(f"{side} insole", "", side, layout, own + make.clock, said, "kPa", (), ()))
    return tuple(out)


# counting -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Judgement:
    quantity: str
    insoles: bool
    shoe: bool
    value: float
    low: float
    high: float
    truth: float

    @property
    def holds(self) -> bool:
        return bool(self.low <= self.truth <= self.high)


def judged(number: int) -> list[Judgement]:
    rng = np.random.default_rng([number, 23])
    made = true_landing(number // RECORDED)
    recorded = disturbed(made, seed=number)
    plain = analyse(recorded.session, recorded.settings, variants=False)
    layout = made_layout(float(np.clip(0.152 * made.spec.rider.height, 0.2, 0.32)))
    weights = tuple(persons_weights(layout, PATTERNS[int(rng.integers(3))], rng) for _ in SIDES)
    known = number % 2 == 0
    heel, shoe = OtherHeel.of(rng), other_shoe(rng, slippery=known)
    said = shoe_said(shoe, rng, known)
    walking = made.spec.rider.weight * float(np.clip(rng.normal(1.3, 0.08), 1.05, 1.55))
    truths = {side: truth_of(made, side, layout, weights[k], heel, shoe, walking) for k, side in enumerate(SIDES)}
    out = []
    for insoles in (False, True):
        found = with_feet(_recorded(plain, made, layout, weights, rng, said, insoles))
        measures = {(m.quantity, m.side): m for m in found.measures}
        for side in SIDES:
            for name in JUDGED:
                m = measures[name, side]
                pushes = not name.startswith("toe_push") or truths[side]["toe_push_force_peak"] > SLIDES
                if np.isfinite(m.value) and pushes:
                    out.append(Judgement(name, insoles, said is not None, m.value, m.low, m.high, truths[side][name]))
    return out


def _recorded(
    plain: Analysis, made: SyntheticLanding, layout: SensorLayout, weights: tuple[Array, ...],
    rng: np.random.Generator, shoe: Shoe | None, insoles: bool,
) -> Analysis:  # fmt: skip
    landing, session = plain.landing, replace(plain.session, shoe=shoe)
    if insoles:
        cutoff = plate_cutoff(landing.settings, session.trial.force_rate)
        felt = insoles_of(made, layout, weights, rng)
        landing = replace(landing, pressed=match_insoles(felt, landing.contact, landing.recording.time, cutoff))
    return replace(plain, session=session, landing=landing)


def judgements(numbers: range) -> list[Judgement]:
    found: list[Judgement] = []
    for number in numbers:
        try:
            found += judged(number)
        except InputError as problem:
            print(f"landing {number}: {problem}")
    return found


def kept(found: list[Judgement], path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerows(astuple(one) for one in found)


def read(path: Path) -> list[Judgement]:
    with path.open(encoding="utf-8", newline="") as file:
        return [
            Judgement(name, i == "True", s == "True", *map(float, numbers)) for name, i, s, *numbers in csv.reader(file)
        ]


def coverage(found: list[Judgement]) -> str:
    lines = [
        "| quantity | without insoles | typical interval | with insoles | typical interval |",
        "|---|---:|---:|---:|---:|",
    ]
    for name in JUDGED:
        cells = []
        for insoles in (False, True):
            mine = [one for one in found if one.quantity == name and one.insoles == insoles]
            held = 100.0 * np.mean([one.holds for one in mine]) if mine else float("nan")
            away = [abs(one.value - one.truth) / max(abs(one.truth), 1e-9) for one in mine if one.truth > 0]
            width = [(one.high - one.low) / 2 / max(abs(one.value), 1e-9) for one in mine if one.value > 0]
            cells += [
                f"{held:.1f} % of {len(mine)}",
                f"±{100 * np.median(width):.0f} %, off by {100 * np.median(away):.0f} %",
            ]
        lines.append(f"| {name} | {' | '.join(cells)} |")
    return "\n".join(lines)


# published ------------------------------------------------------------------------------------------------------------


WEIGHT = 70.0 * GRAVITY
MASSES_DIFFER = 0.15
"""Of walkers, standard deviation of the logarithm (choice: men and women)."""
RUNNING_SHOE = (StiffeningColumn(0.025, 1.8e6, 0.75),)
"""A trainer's midsole (choice)."""


Row = tuple[str, str, str, str, str, str]
"""What, the published value, its interval, ours, used or kept back, source."""
DROP, STAND, WALK = "kinoshita_1993", "pmid16513397", "shorten_1989"


def published() -> str:
    """Every number is met by the parameters of models/foot; 'kept back' were looked at once, after all was fitted."""
    rows = [*_used(), *_kept_back()]
    head = ["| published | value | interval | ours | | source |", "|---|---:|---:|---:|---|---|"]
    return "\n".join([*head, *(f"| {' | '.join(row)} |" for row in rows)])


def _used() -> list[Row]:
    pad, walk = (load_model("foot", name).content for name in ("heel_pad", "walking"))
    test, stand = pad["drop_test"], pad["standing"]
    dropped = drop(likeliest_heel(pad["impact"]["loading_time"]), test["mass"], test["speed"], test["leg_mass"])
    still = press_heel(0.5 * WEIGHT * stand["heel_share"], likeliest_heel(stand["loading_time"]))
    rows = [
        ("drop on living heels: deceleration [g]", "11.6", "", f"{dropped.deceleration / GRAVITY:.3g}", "used", DROP),
        ("drop on living heels: way [mm]", "11.3", "", f"{1e3 * dropped.travel:.3g}", "used", DROP),
        ("standing: share of thickness left", "0.62", "0.53 to 0.71", f"{1 - float(still.strain):.3g}", "used", STAND),
    ]
    quick, speeds = walk["heel_force"]["loading_time"], walk["speeds"]
    for k, speed in enumerate(speeds["metres_per_second"]):
        pressed = press_heel(walk["heel_force"]["body_weights"][k] * WEIGHT, likeliest_heel(quick))
        mean, sd = speeds["heel_kpa"][k], speeds["heel_kpa_sd"][k]
        name, ours = f"walking at {speed:g} m/s: heel [kPa]", f"{1e-3 * float(pressed.peak_pressure):.3g}"
        rows.append((name, f"{mean:g}", f"{mean - sd:g} to {mean + sd:g}", ours, "used", WALK))
    return rows


def _kept_back() -> list[Row]:
    """Rows that were not fitted to."""
    draws = 500
    rows = load_model("foot", "walking").content["heel_force"]
    share = triangular(rows["low"][1], rows["body_weights"][1], rows["high"][1], "walking", draws, 3)
    weights = WEIGHT * np.exp(MASSES_DIFFER * np.random.default_rng(3).standard_normal((draws, 1)))
    walkers = press_heel(share * weights, heel_of(drawn("heel_pad", draws, 3), rows["loading_time"]))
    at_320 = _strain_at(320e3, rows["loading_time"])
    firm = 1e-3 * _stiffness(likeliest_heel(0.1), 1.0 * WEIGHT)
    slipperiest = foot_spreads("shoe")["friction"].low
    bare, shod = (press_heel(2.0 * WEIGHT, likeliest_heel(0.02), under).compression for under in ((), RUNNING_SHOE))
    quick = 1e3 * float(np.median(walking_heel(WEIGHT, draws, 3).compression))
    spread = 100 * walkers.peak_pressure.std() / walkers.peak_pressure.mean()
    heel, ball = _softer_sole()
    kept, memory = "kept back", "from memory: "
    return [
        ("walking: strain at 320 kPa", "0.39", "0.34 to 0.44", f"{at_320:.3g}", kept, "gefen_2001, second hand"),
        ("walking: spread of the heel's pressure between persons [%]", "31", "", f"{spread:.3g}", "used", WALK),
        ("walking: largest compression [mm]", "10.3", "", f"{quick:.3g}", kept, f"{memory}Wearing 2014"),
        ("walking: stiffness late in loading [N/mm]", "212", "87 to 337", f"{firm:.3g}", kept, f"{memory}Wearing 2014"),
        ("running: compression in a shoe over none", "0.61", "", f"{float(shod / bare):.3g}", kept,
         f"{memory}De Clercq 1994"),
        ("walking: shear over load, slides above", "0.23", "", f"{slipperiest:.3g}", kept, "naemi_2016"),
        ("close counter, drop test: force [%]", "-8.8", "-15.5 to -5.8", f"{_in_cup():.2g}", kept, "jorgensen_1988"),
        ("softer sole, drop jumps: pressure under the heel", "down", "", f"{heel:+.2g} %", "used", "alonzo_2020"),
        ("softer sole, drop jumps: pressure under the ball", "up", "", f"{ball:+.2g} %", "used", "alonzo_2020"),
        ("midsoles of 0 to 16 mm: the ground's force", "none", "", "none, by construction", "used", "chambon_2014"),
    ]  # fmt: skip


def _in_cup() -> float:
    """Change of the largest deceleration of the drop test by a pad that a counter holds [%]."""
    pad = load_model("foot", "heel_pad").content
    test, heel = pad["drop_test"], likeliest_heel(pad["impact"]["loading_time"])
    cup = foot_spreads("layer")["cup"].value
    open_, held = (drop(h, test["mass"], test["speed"], test["leg_mass"]) for h in (heel, held_by_cup(heel, cup)))
    return 100.0 * (held.deceleration / open_.deceleration - 1.0)


def _softer_sole() -> tuple[float, float]:
    """Change of the largest pressure under heel and ball [%], middle of drawn persons, from a layer of 10 mm to one a
    third softer (10 Asker C) under the whole foot, in a landing of 1.1 kN under the heel."""
    one = np.ones((200, 1))
    sole = (StiffeningColumn(0.012, 2.5e6, 0.72),)
    bearing = Bearing("right", "modelled", 1100.0 * one, 800.0 * one, 250e3 * one, 0.03 * one, sole, 0.14, WEIGHT, 5)
    foams = [
        Material(name, "foam", modulus, 0.7, law_misfit=0.02) for name, modulus in (("firm", 1.8e6), ("soft", 1.2e6))
    ]
    spared = spare(bearing, foams, (0.010,), places=("whole",)).spared["whole"]
    left = [1.0 + each[:, 0] for each in (spared.heel_change, spared.ball_change)]
    heel, ball = (100.0 * float(np.median(each[1] / each[0] - 1.0)) for each in left)
    return heel, ball


def _strain_at(pressure: float, loading_time: float) -> float:
    heel = likeliest_heel(loading_time)
    return float(heel.pad.compression(np.array(pressure)) / heel.pad.thickness)


def _stiffness(heel: object, force: float) -> float:
    ends = [press_heel(f, heel).compression for f in (0.99 * force, 1.01 * force)]  # type: ignore[arg-type]
    return float(0.02 * force / (ends[1] - ends[0]))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--landings", type=int, default=100)
    parser.add_argument("--first", type=int, default=0, help="number of the first landing; others are fresh ones")
    parser.add_argument("--keep", type=Path, help="CSV for what was found, to be joined by --table")
    parser.add_argument("--table", type=Path, nargs="+", help="CSV of earlier parts")
    chosen = parser.parse_args()
    if chosen.table:
        print(coverage([one for path in chosen.table for one in read(path)]))
        return
    print(published())
    if chosen.landings:
        found = judgements(range(chosen.first, chosen.first + chosen.landings))
        if chosen.keep:
            kept(found, chosen.keep)
        print(f"\n{coverage(found)}")


if __name__ == "__main__":
    main()

"""What a landing did to both feet, as numbers of the analysis: heel, ball and toes, each with its interval."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from jointload.analysis import Analysis
from jointload.foot.felt import BOUND, MEASURED, FootBore
from jointload.foot.heel import bone_force, heel_bore
from jointload.foot.spreads import drawn, foot_spreads
from jointload.foot.toes import toe_bend, toes_of
from jointload.foot.underfoot import Underfoot, underfoot
from jointload.intake.recording import SIDES, Array
from jointload.intake.shoe import Shoe
from jointload.landing.landed import Landing, Measure
from jointload.modeldata import load_model
from jointload.numerics.signals import over_time

DRAWS, SEED = 200, 5
"""Persons and circumstances drawn (choice: the ends of 95 % settle within 5 %)."""
HEEL = (
    "heel_force_peak", "heel_force_impulse", "heel_pressure_peak", "heel_pressure_of_walking",
    "heel_pad_compression_peak", "heel_pad_strain_peak", "heel_pad_way_used", "heel_pad_energy",
    "heel_energy_of_drop_test", "heel_force_of_bone",
)  # fmt: skip
PARTS = ("first_metatarsal", "other_metatarsals")
BALL = (
    *(f"{part}_{what}" for part in PARTS for what in ("pressure_peak", "force_peak", "pressure_time")),
    "ball_force_peak",
    "ball_force_impulse",
    "ball_pressure_of_walking",
)
TOES = (
    "toe_push_force_peak", "toe_push_force_impulse", "toe_push_time", "toe_slide", "friction_needed", "toe_bend_peak",
)  # fmt: skip
FOOT_QUANTITIES = (*HEEL, *BALL, *TOES)
NOT_LANDED = "this foot does not land on a plate"
SLIDE_NOTE = "share of what grip, lacing and axis may be in which the foot slides: it is the doubt itself"
LOCAL = "felt in the shoe, walking on a plate: in a shoe less is felt, so that the landing is rather more than that"


def with_feet(analysis: Analysis, draws: int = DRAWS, seed: int = SEED) -> Analysis:
    """The analysis with what the landing did to heel, ball and toes of each foot, among its numbers and as `feet`."""
    feet = tuple(_foot(analysis, side, draws, seed) for side in SIDES)
    numbers = tuple(_measure(foot, name) for foot in feet for name in FOOT_QUANTITIES)
    others = tuple(m for m in analysis.measures if m.quantity not in FOOT_QUANTITIES)
    return replace(analysis, measures=(*others, *numbers), feet=feet)


def _measure(foot: FootBore, name: str) -> Measure:
    note = foot.notes.get(name, "")
    if name == "toe_slide" and name in foot.samples:
        return Measure(name, foot.side, float(np.mean(foot.samples[name])), note=note)
    low, high = foot.interval(name)
    return Measure(name, foot.side, foot.middle(name), low, high, note)


@dataclass
class _Told:
    """Numbers of one foot as they are found."""

    samples: dict[str, Array] = field(default_factory=dict)
    notes: dict[str, str] = field(default_factory=dict)
    bounds: dict[str, float] = field(default_factory=dict)

    def add(self, note: str = "", **numbers: Array) -> None:
        for name, values in numbers.items():
            self.samples[name] = np.ravel(values)
            if note:
                self.notes[name] = note

    def lack(self, reason: str, *names: str) -> None:
        for name in names:
            self.notes[name] = reason


def _foot(analysis: Analysis, side: str, draws: int, seed: int) -> FootBore:
    landing, told = analysis.landing, _Told()
    none = np.zeros(0), np.zeros((3, 0))
    if side not in landing.events.sides:
        told.lack(NOT_LANDED, *FOOT_QUANTITIES)
        return FootBore(side, BOUND, told.samples, told.notes, told.bounds, *none)
    _add_bend(told, analysis, side, draws, seed)
    below = underfoot(landing, side, draws, seed)
    if below is None:
        reason = _bound(told, landing, side)
        told.lack(reason, *(name for name in FOOT_QUANTITIES if name not in told.notes and name not in told.samples))
        return FootBore(side, BOUND, told.samples, told.notes, told.bounds, *none)
    _add_heel(told, analysis, below, draws, seed)
    _add_ball(told, below, draws, seed)
    _add_toes(told, analysis, side, below, draws, seed)
    ends = np.percentile(below.heel, (2.5, 50.0, 97.5), axis=0)
    return FootBore(side, below.basis, told.samples, told.notes, told.bounds, below.time, ends, below.map)


def _bound(told: _Told, landing: Landing, side: str) -> str:
    """The heel bears at most what all plates bear together."""
    total = landing.filtered.total[landing.fast_window(side)]
    reason = landing.events.sides[side].reason or "force or place under this foot is not known throughout its landing"
    if total.size and np.isfinite(total).all():
        told.bounds["heel_force_peak"] = float(total.max())
        most = f"at most {total.max():.0f} N, what all plates bear together"
        told.notes["heel_force_peak"] = f"{reason}; {most}"
    return reason


def _add_heel(told: _Told, analysis: Analysis, below: Underfoot, draws: int, seed: int) -> None:
    landing = analysis.landing
    if not below.heel.any():
        told.lack("nothing presses on the heel", *HEEL)
        return
    bore = heel_bore(below.heel, below.time, landing.body.rider, analysis.session.shoe, draws, seed)
    note = f"force under the heel {below.basis}"
    if analysis.session.shoe is None:
        note += "; sole of the shoe unknown, 4 to 25 mm"
    told.add(
        note,
        heel_force_peak=bore.force,
        heel_force_impulse=over_time(below.heel, below.time),
        heel_pressure_peak=bore.landing.peak_pressure,
        heel_pressure_of_walking=bore.landing.peak_pressure / bore.walking.peak_pressure,
        heel_pad_compression_peak=bore.landing.compression,
        heel_pad_strain_peak=bore.landing.strain,
        heel_pad_way_used=bore.landing.locked,
        heel_pad_energy=bore.landing.pad_energy,
        heel_energy_of_drop_test=bore.landing.pad_energy / bore.dropped.pad_energy,
    )
    sex = landing.body.rider.sex
    bone = bone_force(sex)
    rows = load_model("foot", "heel_pad").content["bone"]
    small = f" ({rows['small_women']:.0f} N in small women)" if sex == "f" else ""
    told.add(
        f"of {bone:.0f} N{small}, at which heel bones without their pad broke: no limit of a heel that has one",
        heel_force_of_bone=bore.force / bone,
    )


def _add_ball(told: _Told, below: Underfoot, draws: int, seed: int) -> None:
    for part in PARTS:
        if part not in below.ball:
            told.lack("no sensor of it measures", *(name for name in BALL if name.startswith(part)))
            continue
        load = below.ball[part]
        told.add(
            f"pressure {below.basis}",
            **{
                f"{part}_pressure_peak": load.peak_pressure,
                f"{part}_force_peak": load.peak_force,
                f"{part}_pressure_time": load.pressure_time,
            },
        )
    if "ball" not in below.ball:
        told.lack("no sensor of it measures", *(name for name in BALL if name.startswith("ball")))
        return
    whole = below.ball["ball"]
    told.add(f"force {below.basis}", ball_force_peak=whole.peak_force, ball_force_impulse=whole.impulse)
    note = LOCAL if below.basis == MEASURED else f"pressure {below.basis}"
    told.add(note, ball_pressure_of_walking=whole.peak_pressure / walking_ball(draws, seed))


def walking_ball(draws: int, seed: int) -> Array:
    """(D,) [Pa] under the forefoot in brisk barefoot walking, over persons: log-normal with the published mean and
    standard deviation."""
    from scipy.special import ndtri

    rows = load_model("foot", "walking").content
    k = rows["speeds"]["metres_per_second"].index(rows["brisk"]["metres_per_second"])
    mean, sd = 1e3 * rows["speeds"]["forefoot_kpa"][k], 1e3 * rows["speeds"]["forefoot_kpa_sd"][k]
    rng = np.random.default_rng([seed, *b"walking ball"])
    chance = (rng.permutation(draws) + rng.random(draws)) / draws
    spread = np.sqrt(np.log1p((sd / mean) ** 2))
    return np.asarray(mean * np.exp(spread * ndtri(chance) - 0.5 * spread**2))


def _add_toes(told: _Told, analysis: Analysis, side: str, below: Underfoot, draws: int, seed: int) -> None:
    landing, shoe = analysis.landing, analysis.session.shoe
    names = tuple(name for name in TOES if name != "toe_bend_peak")
    if shoe is not None and shoe.barefoot:
        told.lack("barefoot: no toe box", *names)
        return
    window = landing.window(side)
    if not np.isfinite(landing.poses.of(f"{side}_foot")[0][..., window]).all():
        told.lack("the foot is not seen throughout", *names)
        return
    toes = toes_of(landing, side, shoe, below.vertical, below.time, draws, seed)
    known = shoe is not None and shoe.friction is not None
    socks = load_model("foot", "shoe").content["socks"]
    ends = f"{socks['regular_low']:.2f} to {socks['regular_high']:.2f}"
    note = "friction as told" if known else f"friction unknown: over the range of published socks, {ends}"
    grip = foot_spreads("sole")["grip_loaded"]
    note += f"; under a landing's load {grip.low:g} to {grip.high:g} of it"
    told.add(
        "; ".join((note, _room_note(shoe))),
        toe_push_force_peak=toes.peak,
        toe_push_force_impulse=toes.impulse,
        toe_push_time=toes.lasts,
    )
    told.add(f"{note}; {SLIDE_NOTE}", toe_slide=toes.slides)
    told.add(friction_needed=toes.friction_needed)


def _room_note(shoe: Shoe | None) -> str:
    """The way that the foot has slid before its toes push."""
    usual = foot_spreads("shoe")["toe_room"]
    room = usual if shoe is None or shoe.toe_room is None else shoe.toe_room
    known = "" if room is not usual else ", which nobody measured,"
    return f"before the toes push, the room of {1e3 * room.low:.0f} to {1e3 * room.high:.0f} mm{known} is used up"


def _add_bend(told: _Told, analysis: Analysis, side: str, draws: int, seed: int) -> None:
    bend, reason = toe_bend(analysis.landing, side, analysis.session.labels.landmarks)
    if reason:
        told.lack(reason, "toe_bend_peak")
        return
    doubt = np.deg2rad(np.asarray(drawn("sole", draws, seed)["toe_bend"]))
    sprain = load_model("foot", "shoe").content["toe_joint"]["sprain_deg"]
    told.add(
        f"markers on a shoe; half of 20 cadaver joints were sprained at {sprain:.0f} deg", toe_bend_peak=bend + doubt
    )

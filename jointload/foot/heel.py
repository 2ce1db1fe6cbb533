"""What a landing did to the heel's pad, beside what the same pad bears in barefoot walking and in a drop test."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from jointload.foot.heel_pad import Heel, PressedHeel, StiffeningColumn, heel_of, press_heel
from jointload.foot.spreads import drawn, triangular
from jointload.intake.recording import Array
from jointload.intake.rider import G, Rider
from jointload.intake.shoe import Given, Shoe
from jointload.modeldata import load_model

BEGUN = 0.05
"""The heel is loaded from this share of its largest force on (choice)."""
QUICKEST = 0.004
"""No heel is loaded within less [s] (choice: below it a plate's filter is seen, not a heel)."""
STEPS, SETTLED = 40, 1e-9
"""Most steps of the search for a force, five are usual, and the share of it by which it may move at the last."""


@dataclass(frozen=True, eq=False)
class HeelBore:
    """force, loading_time : (D, 1) [N], [s];  landing, walking, dropped : the pad at the largest force of each, (D, 1)

    walking is brisk barefoot walking, dropped the published test on living heels
    """

    force: Array
    loading_time: Array
    landing: PressedHeel
    walking: PressedHeel
    dropped: PressedHeel


def heel_bore(heel_force: Array, time: Array, rider: Rider, shoe: Shoe | None, draws: int, seed: int) -> HeelBore:
    """heel_force : (D, N) [N] at times (N,) [s] after touch-down, not all zero."""
    factors = drawn("heel_pad", draws, seed)
    force = heel_force.max(axis=1, keepdims=True)
    loading = loading_time(heel_force, time)
    landing = press_heel(force, heel_of(factors, loading), sole_columns(shoe, draws, seed))
    return HeelBore(
        force,
        loading,
        landing,
        walking_heel(rider.weight, draws, seed),
        _dropped_as_published(draws, seed),
    )


def loading_time(heel_force: Array, time: Array) -> Array:
    """(D, 1) [s] from the first load of the heel to its largest."""
    most = heel_force.max(axis=1, keepdims=True)
    last = np.argmax(heel_force, axis=1)
    before = np.arange(time.size) <= last[:, None]
    idle = before & (heel_force < BEGUN * most)
    first = np.where(idle.any(axis=1), time.size - 1 - np.argmax(idle[:, ::-1], axis=1), 0)
    return np.maximum(time[last] - time[first], QUICKEST)[:, None]


def sole_columns(shoe: Shoe | None, draws: int, seed: int) -> tuple[StiffeningColumn, ...]:
    """All that lies between heel and ground, nothing under a bare foot; what is not known of it is drawn."""
    if shoe is not None and shoe.barefoot:
        return ()
    unknown = drawn("shoe", draws, seed)
    thickness, modulus = (
        unknown[name] if given is None else of_shoe(given, name, draws, seed)
        for name, given in (
            ("sole", None if shoe is None else shoe.sole),
            ("sole_modulus", None if shoe is None else shoe.sole_modulus),
        )
    )
    return (StiffeningColumn(thickness, modulus, unknown["sole_strain"]),)


def of_shoe(given: Given, name: str, draws: int, seed: int) -> Array:
    """(D, 1) draws of a number that shoe.toml gives."""
    if given.high == given.low:
        return np.full((draws, 1), given.value)
    return triangular(given.low, given.value, given.high, f"shoe {name}", draws, seed)


@lru_cache(maxsize=32)
def walking_heel(body_weight: float, draws: int, seed: int) -> PressedHeel:
    """The same pads, bare, in brisk walking."""
    rows = load_model("foot", "walking").content
    k = rows["speeds"]["metres_per_second"].index(rows["brisk"]["metres_per_second"])
    of = rows["heel_force"]
    share = triangular(of["low"][k], of["body_weights"][k], of["high"][k], "walking heel_force", draws, seed)
    quick = triangular(
        of["loading_time_low"], of["loading_time"], of["loading_time_high"], "walking loading_time", draws, seed
    )
    return press_heel(share * body_weight, heel_of(drawn("heel_pad", draws, seed), quick))


@lru_cache(maxsize=8)
def _dropped_as_published(draws: int, seed: int) -> PressedHeel:
    """The drawn pads in the drop test, whoever landed."""
    quick = load_model("foot", "heel_pad").content["impact"]["loading_time"]
    return dropped_heel(heel_of(drawn("heel_pad", draws, seed), quick), draws, seed)


def dropped_heel(heel: Heel, draws: int, seed: int) -> PressedHeel:
    """The same pads, bare, at their largest compression in the published drop test: when mass and leg move alike, the
    pad has taken the work  m M / (m + M) (v^2 / 2 + g d),  m the mass, M the leg's, d its weight's way.

    Newton's steps on the logarithm of the force F: a bare pad's work grows by F dd, and dF = 2 pi R (p0 - p_edge) dd.
    """
    test = load_model("foot", "heel_pad").content["drop_test"]
    leg = triangular(test["leg_mass_low"], test["leg_mass"], test["leg_mass_high"], "drop leg_mass", draws, seed)
    moving = test["mass"] * leg / (test["mass"] + leg)
    force = np.full((draws, 1), test["mass"] * test["deceleration_g"] * G)
    for _ in range(STEPS):
        pressed = press_heel(force, heel)
        missing = moving * (0.5 * test["speed"] ** 2 + G * pressed.compression) - pressed.pad_energy
        stiffness = 2.0 * np.pi * heel.curve * (pressed.peak_pressure - pressed.edge_pressure)
        step = missing * stiffness / (pressed.force * (pressed.force - moving * G))
        if np.all(np.abs(step) < SETTLED):
            break
        force = force * np.exp(np.clip(step, -1.0, 1.0))
    return pressed


def bone_force(sex: str) -> float:
    """Mean force [N] at which heel bones broke whose pad had been taken off, of men or of women."""
    rows = load_model("foot", "heel_pad").content["bone"]
    return float(rows["men" if sex == "m" else "women"])

"""Which thin layer serves a landing: what one sentence and one picture need, judged between the same drawn persons."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from jointload.errors import SettingError, expected_found
from jointload.foot.felt import ENDS
from jointload.foot.layer_law import Circumstances
from jointload.foot.thin_layers import HEIGHTS, PLACES, LayerTrial, Spared
from jointload.intake.recording import Array
from jointload.modeldata import load_model

MOSTLY = 0.5
"""A layer counts as bottomed where it is so in at least this share of the drawn persons (choice)."""


@dataclass(frozen=True)
class Told:
    """A number of a landing: middle, and the ends of its 95 % interval; NaN where it is not known."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True)
class LayerChoice:
    """The material that leaves the least pressure at one height, and from and up to where height counts.

    place : of the layer;  target : 'heel' or 'ball', whose pressure is judged;  height [m]
    best : its number among the materials, None where each is bottomed or compacted;  change : of its pressure, a share
    alike : numbers of the materials that are not told from it;  bottomed : of those that are bottomed at that height
    told_from, gained_to : heights [m] from which any layer is told from none, beside the cup if there is one, and above
    which nothing is gained within the stack; None where no height is;  limit : of the stack [m]
    """

    place: str
    target: str
    height: float
    best: int | None
    change: Told
    alike: tuple[int, ...]
    bottomed: tuple[int, ...]
    told_from: float | None
    gained_to: float | None
    limit: float


@dataclass(frozen=True)
class Question:
    """What was asked of thin layers: where, at which height [m] and within which stack [m], in which circumstances."""

    under: str
    height: float
    limit: float
    circumstances: Circumstances
    draws: int = 200
    seed: int = 5

    def __post_init__(self) -> None:
        if self.under not in PLACES:
            raise SettingError(
                expected_found("--under", ", ".join(PLACES), repr(self.under), "the command", "name one")
            )
        most = min(self.limit, HEIGHTS[-1])
        if not HEIGHTS[0] - 1e-9 <= self.height <= most + 1e-9:
            ends = f"{1000 * HEIGHTS[0]:g} to {1000 * most:g} mm, within the stack"
            found = f"{1000 * self.height:g} mm"
            raise SettingError(expected_found("--height", ends, found, "the command", "choose another height"))

    @property
    def places(self) -> tuple[str, ...]:
        """The one that was asked for first."""
        return tuple(sorted(PLACES, key=lambda place: place != self.under))

    def as_record(self) -> dict[str, object]:
        known = self.circumstances
        warm = None if math.isnan(known.temperature) else known.temperature
        return {
            "draws": self.draws, "seed": self.seed, "stack_m": self.limit, "temperature_deg_C": warm,
            "worn_km": known.worn, "cup": known.cup,
        }  # fmt: skip


def told(draws: Array) -> Told:
    """Middle and interval of draws (D,)."""
    if not np.isfinite(draws).all():
        return Told(float("nan"), float("nan"), float("nan"))
    low, middle, high = np.percentile(draws, (ENDS[0], 50.0, ENDS[1]))
    return Told(float(middle), float(low), float(high))


def together(trials: Sequence[LayerTrial], riders: int) -> LayerTrial:
    """The same layers under several landings as one trial, its draws side by side; each landing counts alike. The toes'
    push is known where it is in all of them."""
    first = trials[0]

    def joined(values: Iterable[Array], axis: int = -1) -> Array:
        return np.concatenate(list(values), axis=axis)

    bearings = [trial.bearing for trial in trials]
    unknown = next((each.no_toes for each in bearings if each.toe_push is None), "")
    bearing = replace(
        bearings[0],
        side="",
        basis=" or ".join(dict.fromkeys(each.basis for each in bearings)),
        heel_force=joined((each.heel_force for each in bearings), 0),
        ball_force=joined((each.ball_force for each in bearings), 0),
        ball_pressure=joined((each.ball_pressure for each in bearings), 0),
        quickness=joined((each.quickness for each in bearings), 0),
        toe_push=None if unknown else joined(each.toe_push for each in bearings if each.toe_push is not None),
        no_toes=unknown,
    )
    names = [field.name for field in fields(Spared) if field.name != "place"]

    def side_by_side(place: str) -> Spared:
        parts: dict[str, Any] = {name: joined(getattr(trial.spared[place], name) for trial in trials) for name in names}
        return Spared(place, **parts)

    return replace(
        first,
        bearing=bearing,
        spared={place: side_by_side(place) for place in first.spared},
        riders=riders,
        stiffer=joined(trial.stiffer for trial in trials),
        bare_pressure=joined(trial.bare_pressure for trial in trials),
        bare_strain=joined(trial.bare_strain for trial in trials),
        cup_change=joined(trial.cup_change for trial in trials),
    )


def judged(trial: LayerTrial, place: str) -> Array:
    """(M, H, D) change of the pressure that a layer at this place is for."""
    spared = trial.spared[place]
    return spared.ball_change if place == "ball" else spared.heel_change


def cup_alone(trial: LayerTrial, place: str) -> Array:
    """(D,) what a cup changes of that pressure without any layer."""
    return np.zeros_like(trial.cup_change) if place == "ball" else trial.cup_change


def choose(trial: LayerTrial, place: str, height: float, limit: float) -> LayerChoice:
    """height : the one asked for [m], taken at the nearest that was tried;  limit : greatest height the shoe has [m]"""
    floors = load_model("foot", "layer").content["floors"]
    change, heights = judged(trial, place), np.array(trial.heights)
    within = np.flatnonzero(heights <= limit + 1e-9)
    at = int(within[np.argmin(np.abs(heights[within] - height))]) if within.size else 0
    firm = trial.spared[place].bottomed.mean(axis=-1) < MOSTLY
    able = np.flatnonzero(firm[:, at])
    middles = np.median(change, axis=-1)
    best = int(able[np.argmin(middles[able, at])]) if able.size else None
    alike: tuple[int, ...] = ()
    if best is not None:
        alike = tuple(int(k) for k in able if k != best and told(change[best, at] - change[k, at]).high >= 0.0)
    lowest = np.where(firm, middles, np.inf)[:, within].min(axis=0)
    beside = (1.0 + change) / (1.0 + cup_alone(trial, place)) - 1.0
    worse = np.percentile(beside, ENDS[1], axis=-1)[:, within].min(axis=0)
    seen = np.flatnonzero(worse < -floors["told"])
    gained = np.flatnonzero(lowest - lowest.min() < floors["gained"]) if np.isfinite(lowest).any() else seen[:0]
    return LayerChoice(
        place,
        "ball" if place == "ball" else "heel",
        float(heights[at]),
        best,
        told(change[best, at] if best is not None else np.full(1, np.nan)),
        alike,
        tuple(int(k) for k in np.flatnonzero(~firm[:, at])),
        float(heights[within[seen[0]]]) if seen.size else None,
        float(heights[within[gained[0]]]) if gained.size else None,
        limit,
    )

"""A prediction as data: quantities before and after, with the interval of the mechanics and that of one person."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from jointload.insole.shape.shape import InsoleShape
from jointload.intake.recording import Array, Finding
from jointload.intake.rider import G
from jointload.modeldata import load_model

INTERVAL = (0.025, 0.975)
FLOOR_UNITS = {"deg": np.deg2rad(1.0), "mm": 1e-3, "%": 1.0, "kPa": 1e3, "points": 0.01}
TISSUE_FORCE = "_force"
"""In the name of every force within the body."""
Least = Mapping[tuple[str, str], float]
"""Smallest change that can be told from none, by quantity and side, in SI units."""


@dataclass(frozen=True)
class Change:
    """One quantity before and after, in SI units; before is NaN where only the change is known.

    low and high bound 95 % of the drawn changes by the mechanics alone, person_low and person_high those of one person
    group_low, group_high : 95 % of a group's mean (models/insole_response/group.toml), NaN where the draws are one
    rider's
    share_lower : of the drawn persons whose value falls, with its interval where a group's mean has one
    percent : change over before, NaN near zero;  floor : a smaller change is negligible, NaN where none is known
    geometry : the change is of the insole itself, the same for every person
    instant : the moment it is read at, empty for the landing's extreme or the reference instant
    recording_least, rider_least : smallest change that this recording can show, and that this rider's own landings let
    be told from their scatter; NaN where unknown
    """

    quantity: str
    side: str
    before: float
    after: float
    change: float
    low: float
    high: float
    share_lower: float
    person_low: float = float("nan")
    person_high: float = float("nan")
    percent: float = float("nan")
    note: str = ""
    instant: str = ""
    recording_least: float = float("nan")
    rider_least: float = float("nan")
    group_low: float = float("nan")
    group_high: float = float("nan")
    share_lower_low: float = float("nan")
    share_lower_high: float = float("nan")
    floor: float = float("nan")
    geometry: bool = False

    @property
    def distinguishable(self) -> bool:
        """Whether the interval of one person leaves out zero."""
        return self.person_low > 0 or self.person_high < 0

    @property
    def unmoved(self) -> bool:
        """Whether no drawn person's value moves at all."""
        return self.change == self.person_low == self.person_high == 0.0

    @property
    def negligible(self) -> bool:
        """Whether the change is too small to matter, however sure it is."""
        return abs(self.change) < self.floor

    @property
    def against_recording(self) -> float:
        """Size of the change in units of what this recording, or else this rider's landings, can show; in units of the
        floor where neither is known."""
        known = [least for least in (self.recording_least, self.rider_least) if np.isfinite(least) and least > 0]
        return abs(self.change) / (max(known) if known else self.floor)

    @property
    def below_rider(self) -> bool:
        """Whether the change is smaller than this rider's detectable change."""
        return abs(self.change) < self.rider_least

    @property
    def below_recording(self) -> bool:
        """Whether the change is smaller than what this recording can show."""
        return abs(self.change) < self.recording_least


@dataclass(frozen=True, eq=False)
class Drawn:
    """A quantity of every drawn person (D,): before, and its change by the mechanics alone and of one person.

    near_zero : no per-cent change while before is smaller than this;  reason : told where the change is not known, or
    why it is none;  geometry : as in Change;  grouped : whether a group's mean has an interval
    """

    quantity: str
    side: str
    before: Array
    changes: Array
    person: Array
    near_zero: float = np.inf
    instant: str = ""
    reason: str = ""
    geometry: bool = False
    grouped: bool = True

    def row(self, mass: float, calibrated: bool = False) -> Change:
        """The middle of the draws by the mechanics alone, or of one person where the draws are of this rider.

        mass : of the rider [kg], for the floors
        """
        if not np.isfinite(self.changes).all():
            lost = float("nan")
            return Change(
                self.quantity, self.side, lost, lost, lost, lost, lost, lost, note=self.reason, instant=self.instant
            )
        before, middle = float(np.median(self.before)), float(np.median(self.person if calibrated else self.changes))
        low, high = np.quantile(self.changes, INTERVAL)
        person_low, person_high = np.quantile(self.person, INTERVAL)
        percent = 100.0 * middle / before if abs(before) > self.near_zero else float("nan")
        row = Change(
            self.quantity, self.side, before, before + middle, middle, float(low), float(high),
            float(np.mean(self.person < 0)), float(person_low), float(person_high), percent, instant=self.instant,
            note=self.reason if not self.person.any() else "", floor=floor_of(self.quantity, mass),
            geometry=self.geometry,
        )  # fmt: skip
        return row if calibrated or self.geometry or not self.grouped else self._with_group(row)

    def _with_group(self, row: Change) -> Change:
        """With the interval of a group's mean: half of it 1.96 sqrt(SD^2 / n + (misfit mean)^2), one person's at most;
        and the shares of persons whose value falls if the group's mean lies at either end."""
        group = load_model("insole_response", "group").content["group"]
        sampling = float(np.std(self.person)) / np.sqrt(group["persons"])
        misfit = group["tissue_misfit" if TISSUE_FORCE in row.quantity else "misfit"]
        half = 1.96 * float(np.hypot(sampling, misfit * row.change))
        low, high = max(row.change - half, row.person_low), min(row.change + half, row.person_high)
        shares = (float(np.mean(self.person + end - row.change < 0)) for end in (high, low))
        share_low, share_high = shares
        return replace(
            row, group_low=low, group_high=high, share_lower_low=share_low, share_lower_high=share_high,
        )  # fmt: skip


def floor_of(quantity: str, mass: float) -> float:
    """Smallest change [SI] of a quantity that matters to a rider of this mass [kg]; NaN where none is known.

    A row of models/insole_response/floors.csv holds for the quantity of its name and all that end in it; that of a
    pressure for every region.
    """
    name = "pressure" if quantity.startswith("peak_pressure") else quantity.removesuffix("_peak")
    rows = [row for row in load_model("insole_response", "floors").content if f"_{name}".endswith(f"_{row['name']}")]
    if not rows:
        return float("nan")
    row = max(rows, key=lambda one: len(one["name"]))
    units = FLOOR_UNITS | {"Nm/kg": mass, "Nm s/kg": mass, "BW": mass * G}
    return float(row["floor"]) * units[row["unit"]]


@dataclass(frozen=True, eq=False)
class PressureMap:
    """Median pressure (n,) [Pa] of the draws under the cells of the sole, flat and changed, at the reference instant.

    x, y, area : (n,) cells, [m] forward from the heel and towards medial, [m2];  point : centre of pressure (2,) [m]
    height_change : (n,) [m] of the insole
    """

    x: Array
    y: Array
    area: Array
    before: Array
    after: Array
    point_before: tuple[float, float]
    point_after: tuple[float, float]
    height_change: Array


@dataclass(frozen=True, eq=False)
class WhatIf:
    """The predicted effect of one shape on one landing.

    rows : at the landing's extremes and the reference instant;  at_instants : the same at named instants
    others : further shapes under the same foot, same draws
    baseline_pressure : where the pressure before the change is from, in words
    leg : (3, P, W) [m] places of limb.LEG_POINTS on the shape, in the middle of the drawn persons, over the landing
    """

    shape: InsoleShape
    shape_text: str
    side: str
    task: str
    draws: int
    seed: int
    rows: tuple[Change, ...]
    at_instants: tuple[Change, ...]
    response_text: tuple[str, ...]
    findings: tuple[Finding, ...]
    pressure: PressureMap
    others: tuple[WhatIf, ...] = ()
    baseline_pressure: str = "modelled"
    leg: Array | None = None

    @property
    def of_layers(self) -> bool:
        """Whether thin layers or a cup are asked about, which act on heel, ball and toes."""
        return any(one.shape.thin or one.shape.cup.height for one in (self, *self.others))

    def row(self, quantity: str) -> Change:
        """The row of one quantity at its extreme; KeyError when this landing has none."""
        for row in self.rows:
            if row.quantity == quantity:
                return row
        raise KeyError(quantity)

    def with_least(self, recording: Least, rider: Least) -> WhatIf:
        """The same with the smallest changes that the recording and this rider's own landings can show."""

        def told(rows: tuple[Change, ...]) -> tuple[Change, ...]:
            unknown = float("nan")
            return tuple(
                replace(
                    row,
                    recording_least=recording.get((row.quantity, row.side), unknown),
                    rider_least=rider.get((row.quantity, row.side), unknown),
                )
                for row in rows
            )

        return replace(self, rows=told(self.rows))

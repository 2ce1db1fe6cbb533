"""A board under the feet, drawn with its markers and the plates: what they leave open of the wrench that moves it is
open in what the feet bear."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from jointload.intake.recording import Array
from jointload.landing.filtered import FilteredForces, filtered_forces
from jointload.landing.landed import Landing
from jointload.loads.contact import Contact
from jointload.loads.moved_board import MovedBoard, on_feet
from jointload.loads.soles import sole_outlines
from jointload.numerics.signals import zero_lag_lowpass
from jointload.settings import Settings
from jointload.uncertainty.draws import PlateErrors

Markers = dict[str, Array]
"""Label -> (3, F) or (3, D, F) [m]."""


@dataclass(frozen=True, eq=False)
class BoardUnderFeet:
    """A landing's board; exact : markers as analysed."""

    landing: Landing
    moved: MovedBoard
    exact: Markers

    @classmethod
    def of(cls, landing: Landing, exact: Markers) -> BoardUnderFeet | None:
        """None without a board."""
        return None if landing.moved_board is None else cls(landing, landing.moved_board, exact)

    @cached_property
    def soles(self) -> Array:
        """Outlines (2, 2, V, F) [m]."""
        return sole_outlines(self.landing.poses, self.landing.body)

    @cached_property
    def analysed(self) -> tuple[Array, Array]:
        """Its force [N] and moment [N m] (3, 2, N) on the feet."""
        return self.wrench(self.exact)

    def wrench(self, markers: Markers) -> tuple[Array, Array]:
        """Force and moment (3, 2, N) or (3, 2, D, N) on the feet."""
        contact, step = self.landing.contact, self.landing.recording.samples_per_frame
        seen = np.stack([markers[label] for label in self.moved.labels], axis=1)
        wrenches = self.moved.wrenches(seen, self.landing.poses.rate, step, contact.fast_force.shape[-1])
        return on_feet(self.moved, wrenches, contact, self.soles, step)

    def change(self, plates: PlateErrors, drawn: Markers) -> BoardChange:
        """Plates feel feet and board with one error; taken off is what the drawn markers say of the board."""
        felt, taken = plates.disturbed(*self.analysed), self.wrench(drawn)
        return BoardChange(felt[0] - taken[0], felt[1] - taken[1])


@dataclass(frozen=True, eq=False)
class BoardChange:
    """What draws change of the wrench on the feet, at the force rate: force, moment (3, 2, D, N)."""

    force: Array
    moment: Array

    @property
    def total(self) -> Array:
        """(D, N) [N] vertical, of both feet."""
        return np.asarray(self.force[1].sum(axis=0))

    def of_contact(self, contact: Contact, cutoff: float | None, step: int) -> Contact:
        """The drawn contact with it. cutoff : low-pass [Hz] of the wrenches for the dynamics;  step : force samples a
        frame"""
        frames, rate = contact.force.shape[-1], contact.fast_rate
        slow = (zero_lag_lowpass(each, cutoff, rate)[..., ::step][..., :frames] for each in (self.force, self.moment))
        force, moment = slow
        return replace(
            contact,
            force=contact.force + force,
            moment=contact.moment + moment,
            fast_force=contact.fast_force + self.force,
            fast_moment=contact.fast_moment + self.moment,
            total=contact.total + self.total,
        )

    def of_filtered(self, filtered: FilteredForces, contact: Contact, settings: Settings) -> FilteredForces:
        """The drawn filtered forces with it: a filter is linear."""
        change = filtered_forces(replace(contact, fast_force=self.force, total=self.total), settings)
        return FilteredForces(
            filtered.force + change.force, filtered.total + change.total, filtered.settling + change.settling
        )

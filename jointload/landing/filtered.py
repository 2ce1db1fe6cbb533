"""Ground forces with the low-pass filters that the numbers of the impact and of the settling are read through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.intake.recording import Array, Which
from jointload.loads.contact import Contact
from jointload.numerics.signals import zero_lag_lowpass
from jointload.settings import Settings

SETTLING_CUTOFF = 20.0
"""Low-pass [Hz] of the total force whose settling is looked for (choice)."""


@dataclass(frozen=True, eq=False)
class FilteredForces:
    """Forces at the force rate; each has draws before its samples where the contact has them.

    force : (3, 2, N) [N] on right and left foot, total : (N,) [N] vertical force of all plates, with the impact cut-off
    settling : (N,) [N] that total with SETTLING_CUTOFF
    """

    force: Array
    total: Array
    settling: Array

    def drawn(self, draw: Which) -> FilteredForces:
        """One draw of many, or some of them."""
        return FilteredForces(self.force[:, :, draw], self.total[draw], self.settling[draw])


def filtered_forces(contact: Contact, settings: Settings) -> FilteredForces:
    """A contact's forces by the low-pass of peaks, and their total by that of standing still."""
    rate = contact.fast_rate
    force, total = (impact_lowpass(each, settings, rate) for each in (contact.fast_force, contact.total))
    return FilteredForces(force, total, zero_lag_lowpass(contact.total, SETTLING_CUTOFF, rate))


def scaled_forces(contact: Contact, settings: Settings, gain: Array) -> FilteredForces:
    """Of a contact without draws whose feet bear `gain` (2, D) times as much: a filter is linear, so that one pass
    serves all draws."""
    once, rate = filtered_forces(contact, settings), contact.fast_rate
    feet = np.where(np.isfinite(contact.total), np.nan_to_num(contact.fast_force[1]), np.nan)
    impact, settling = impact_lowpass(feet, settings, rate), zero_lag_lowpass(feet, SETTLING_CUTOFF, rate)
    return FilteredForces(
        once.force[:, :, None] * gain[..., None],
        once.total + np.einsum("sd,sn->dn", gain - 1.0, impact),
        once.settling + np.einsum("sd,sn->dn", gain - 1.0, settling),
    )


def impact_lowpass(force: Array, settings: Settings, rate: float) -> Array:
    """A force (..., N) at the force rate [Hz] with the impact cut-off, kept below half the rate."""
    return zero_lag_lowpass(force, settings.peak_cutoff(rate), rate)

"""Ground forces with the low-pass filters that the numbers of the impact and of the settling are read through."""

from __future__ import annotations

from dataclasses import dataclass

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
    rate = contact.fast_rate
    force, total = (impact_lowpass(each, settings, rate) for each in (contact.fast_force, contact.total))
    return FilteredForces(force, total, zero_lag_lowpass(contact.total, SETTLING_CUTOFF, rate))


def impact_lowpass(force: Array, settings: Settings, rate: float) -> Array:
    """A force (..., N) at the force rate [Hz] with the impact cut-off, kept below half the rate."""
    cutoff = settings.impact_cutoff
    return zero_lag_lowpass(force, None if cutoff is None else min(cutoff, 0.45 * rate), rate)

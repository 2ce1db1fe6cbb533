"""Forces of drawn gains, filtered once, against each draw filtered by itself."""

from __future__ import annotations

import numpy as np
import pytest

from jointload.landing.filtered import filtered_forces, scaled_forces
from jointload.loads.contact import Contact
from jointload.settings import Settings

RATE = 1000.0
ROUNDING = 1e-9
"""[N] of forces of some thousand newtons."""


def test_scaled_forces_are_those_of_each_draw() -> None:
    rng = np.random.default_rng(0)
    fast = rng.normal(scale=900.0, size=(3, 2, 1200)).cumsum(axis=2) / 30.0
    fast[:, 0, 300:340] = np.nan
    nothing = np.zeros((3, 2, 300))
    total = np.nan_to_num(fast[1]).sum(axis=0) + 50.0
    total[:20] = np.nan
    contact = Contact(nothing, nothing, fast, fast, total, RATE, 0.0, ())
    gain = 1.0 + 0.02 * rng.normal(size=(2, 5))
    together = scaled_forces(contact, Settings(), gain)
    for d in range(5):
        drawn = fast * gain[:, d, None]
        whole = total + (gain[:, d] - 1.0) @ np.nan_to_num(fast[1])
        alone = filtered_forces(Contact(nothing, nothing, drawn, drawn, whole, RATE, 0.0, ()), Settings())
        for name in ("force", "total", "settling"):
            assert getattr(together.drawn(d), name) == pytest.approx(getattr(alone, name), abs=ROUNDING, nan_ok=True)

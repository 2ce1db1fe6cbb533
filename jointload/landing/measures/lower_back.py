"""The load on L5/S1 of a landing: from the feet up where both wrenches are known, else from trunk, head and arms down.

Where both are known, their disagreement tells how far either can be trusted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from jointload.intake.recording import Array
from jointload.landing.landed import Landing, both_sides_note, whole_window

BELOW, ABOVE = "from the feet up", "from trunk, head and arms down"


@dataclass(frozen=True, eq=False)
class LowerBack:
    """Load of the pelvis on the trunk over the landing's W frames, and the way it was found.

    force : (3, W) [N], lab axes;  components : (3, W) [N m], internal, as JointLoads.components
    way : BELOW or ABOVE;  apart : (W,) [N m] extension moment from below less that from above, NaN without both
    note : why the other way was not taken, or why neither could be
    """

    force: Array
    components: Array
    way: str
    apart: Array
    note: str


@lru_cache(maxsize=4)
def lower_back(landing: Landing) -> LowerBack:
    """The load on L5/S1 in the landing, NaN with the reason in `note` where neither way gives it."""
    window = whole_window(landing)
    j = landing.loads.joints.index("l5s1")
    force, components = landing.loads.force[:, j, window], landing.loads.components[:, j, window]
    reason = both_sides_note(landing)
    if landing.upper is None:
        return LowerBack(force, components, BELOW, np.full(force.shape[1], np.nan), reason)
    upper_force, upper = landing.upper.force[:, window], landing.upper.components[:, window]
    apart = upper[0] - components[0]
    if _known(components) or not _known(upper):
        return LowerBack(force, components, BELOW, apart, reason)
    return LowerBack(upper_force, upper, ABOVE, apart, f"{ABOVE}, because {reason or 'a leg is not seen'}")


def not_from_above(landing: Landing) -> str:
    """Why there is no load from above; '' when there is."""
    if landing.upper is None:
        return "nothing was computed from above"
    if landing.upper.missing:
        return "no markers of " + ", ".join(name.replace("_", " ") for name in landing.upper.missing)
    return "" if _known(landing.upper.components[:, whole_window(landing)]) else "the trunk is not seen throughout"


def _known(series: Array) -> bool:
    return series.size > 0 and bool(np.isfinite(series).all())

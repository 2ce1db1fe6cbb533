"""The load on L5/S1 of a landing: from the feet up where both wrenches are known, else from trunk, head and arms down.

Where both are known, their disagreement tells how far either can be trusted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from jointload.intake.recording import Array
from jointload.landing.landed import Landing, both_sides_note

BELOW, ABOVE = "from the feet up", "from trunk, head and arms down"


@dataclass(frozen=True, eq=False)
class LowerBack:
    """Load of the pelvis on the trunk over the landing's W frames, and the way it was found; with draws (D, W) for W.

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
    span, j = landing.span(), landing.loads.joints.index("l5s1")
    force, components = span.cut(landing.loads.force[:, j]), span.cut(landing.loads.components[:, j])
    reason = both_sides_note(landing)
    if landing.upper is None:
        return LowerBack(force, components, BELOW, np.full(force.shape[1:], np.nan), reason)
    upper_force, upper = span.cut(landing.upper.force), span.cut(landing.upper.components)
    apart = upper[0] - components[0]
    below = np.asarray(span.known(components).all(axis=0) | ~span.known(upper).all(axis=0))
    if below.all():
        return LowerBack(force, components, BELOW, apart, reason)
    force = np.where(below[..., None], force, upper_force)
    components = np.where(below[..., None], components, upper)
    return LowerBack(force, components, ABOVE, apart, f"{ABOVE}, because {reason or 'a leg is not seen'}")


def not_from_above(landing: Landing) -> str:
    """Why there is no load from above; '' when there is."""
    if landing.upper is None:
        return "nothing was computed from above"
    if landing.upper.missing:
        return "no markers of " + ", ".join(name.replace("_", " ") for name in landing.upper.missing)
    span = landing.span()
    known = span.known(span.cut(landing.upper.components)).all()
    return "" if known else "the trunk is not seen throughout"

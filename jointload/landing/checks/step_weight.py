"""Whether a step's plates bear the weight that the body should have; a landing's stance is asked in intake/standing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from jointload.body.sole import sole_of
from jointload.intake.recording import SIDES, Finding
from jointload.intake.rider import G
from jointload.intake.standing import OF_BOTH_FEET
from jointload.landing.checks.judgement import Judgement, passed
from jointload.landing.landed import Landing
from jointload.loads.contact import PASSING_SPEED
from jointload.numerics.signals import first_derivative, integral, runs

CARRIED_SECONDS = 0.6
"""[s] the plates must carry the whole body for its weight to be read (choice: 0.9 s on the walks at hand, three of
which agree within 1.5 %)."""
WEIGHT_WARN = 0.05
"""Share by which the weight may miss the body's (choice: 1.5 % on the walks at hand, 3 % on the run, whose runner's
mass was published)."""


def check_step_weight(landing: Landing) -> Judgement:
    """The weight by the impulse of the ground while every foot is on a plate or in the air: it is that of weight and of
    the change of the body's vertical velocity. Without a whole body the pelvis' velocity stands for it."""
    check, name, rate = "body_weight", landing.recording.name, landing.poses.rate
    if landing.events.kind == "landing" or not landing.recording.plates:
        return Judgement()
    speed = first_derivative(landing.centre_height, 1.0 / rate)
    carried = _carried(landing) & np.isfinite(speed)
    start, stop = max(runs(carried), key=lambda span: span[1] - span[0], default=(0, 0))
    seconds = (stop - 1 - start) / rate
    if seconds < CARRIED_SECONDS:
        return passed(check, name, "no step in which the plates carry the whole body long enough to weigh it")
    force = integral(landing.contact.force[1, :, start:stop].sum(axis=0), 1.0 / rate) / seconds
    weight = force / (1.0 + (speed[stop - 1] - speed[start]) / seconds / G)
    off = weight / landing.weight - 1.0
    text = f"{weight:.0f} N by the plates' impulse from {start / rate:.2f} to {stop / rate:.2f} s, "
    text += f"{landing.weight:.0f} N expected ({100 * off:+.1f} %)"
    if abs(off) <= WEIGHT_WARN:
        return passed(check, name, text)
    advice = f"{OF_BOTH_FEET}: moments, and all that is told per body weight or mass, shift with it"
    return Judgement((Finding(check, "warn", name, text, advice),), (), True)


def _carried(landing: Landing) -> NDArray[np.bool_]:
    """(F,) frames in which each foot is borne by plates, or moves too fast to press on anything else."""
    carried = np.ones(landing.poses.origin.shape[2], dtype=bool)
    for side, vertical in zip(SIDES, landing.contact.force[1], strict=True):
        with np.errstate(invalid="ignore"):
            in_air = sole_of(landing.poses, landing.body, side).speeds.min(axis=0) > PASSING_SPEED
            borne = vertical > landing.settings.contact_threshold
        carried &= np.isfinite(vertical) & (in_air | borne)
    return carried

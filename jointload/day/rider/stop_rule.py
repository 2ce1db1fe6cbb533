"""Whether one more trial could change the answer of a fitting, before anybody lands again."""

from __future__ import annotations

import math

LEAST_CHANCE = 0.05
"""Chance of another answer below which a rider may go home (choice)."""
END = 1.959963984540054
"""Upper end of a 95 % interval in standard deviations."""


def chance_of_change(mean: float, sd: float, share_left: float, least: float) -> float:
    """Chance that the decision 'the target surely falls by `least`' is another one after a further trial.

    mean, sd : of the change of the target, of what is known now, as if normal;  share_left : of sd after the trial
    The decision is mean + END sd <= -least. After the trial sd is share_left sd whatever it shows, and the mean has
    moved by a normal variable of variance (1 - share_left^2) sd^2: the law of total variance.
    """
    if not (math.isfinite(mean) and math.isfinite(sd) and sd > 0.0):
        return math.nan
    share = min(max(share_left, 0.0), 1.0)
    moves = sd * math.sqrt(1.0 - share**2)
    helps = mean + END * sd <= -least
    if moves == 0.0:
        return 0.0
    bound = -least - END * share * sd
    chance = _normal((bound - mean) / moves)
    return 1.0 - chance if helps else chance


def normal_of_ends(low: float, high: float) -> tuple[float, float]:
    """Mean and standard deviation of the normal distribution with these ends of the 95 % interval."""
    return 0.5 * (low + high), (high - low) / (2.0 * END)


def _normal(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))

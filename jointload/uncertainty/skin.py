"""How markers move on the bone, drawn: a segment's cluster as a whole, a smaller deformation, a swing after impact."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from jointload.intake.recording import Array, split_side
from jointload.numerics.rotations import cross
from jointload.uncertainty.draws import MM, Streams
from jointload.uncertainty.spreads import Source

KNOTS = np.arange(-6.0, 22.0)
"""Places of the wander's knots in correlation times from touch-down; outside them it stands still."""
ALONG = np.array([0.5, 1.0, 0.5])
"""The swing is largest along the segment (choice)."""


@dataclass(frozen=True, eq=False)
class SkinMotion:
    """D draws of what the markers of every segment do.

    modes : segment -> (D, rows, knots) unit normal coefficients of three translations, three rotations and three
    displacements of each marker
    swing : segment -> (D, 3) unit normal amplitudes;  frequency : segment -> (D,) [Hz]
    """

    content: Mapping[str, Any]
    modes: dict[str, Array]
    swing: dict[str, Array]
    frequency: dict[str, Array]

    def displacement(self, segment: str, arms: Array, since: Array, peak: float, draws: slice) -> Array:
        """(3, n, D, F) [m] of n markers in the segment's axes.

        arms : (3, n) [m] of the markers from their middle;  since : (F,) [s] from touch-down
        peak : largest vertical force on both feet [body weights]; the swing is in proportion to it, the rest grows
        with it up to that of hard movements
        """
        size, time = self.content["segments"][split_side(segment)[1]], self.content["time"]
        modes = np.moveaxis(self.modes[segment][draws], 1, 0)
        slide, roll = _hardness(self.content["impact"], peak)
        shift, turn = (
            slide * MM * size["translation_mm"] * modes[:3],
            roll * np.deg2rad(size["rotation_deg"]) * modes[3:6],
        )
        own = slide * MM * size["deformation_mm"] * modes[6:].reshape(-1, 3, *modes.shape[1:]).swapaxes(0, 1)
        knots = own + (shift[:, None] + cross(turn[:, None], arms[..., None, None]))
        after = np.maximum(since, 0.0)
        decay = np.exp(-after / time["swing_decay_s"]) * _ramp(after / 0.02)
        swing = np.sin(2 * np.pi * self.frequency[segment][draws, None] * after) * decay
        amplitude = MM * size["swing_mm_per_bw"] * peak * ALONG[:, None] * self.swing[segment][draws].T
        out = np.asarray(knots @ _wander(since, time))
        out += (amplitude[..., None] * swing)[:, None]
        return out


def draw_skin(source: Source, streams: Streams, draws: int, markers: Mapping[str, int]) -> SkinMotion:
    """markers : segment -> how many markers it has. Segments and markers in the order given."""
    modes, swing, frequency = {}, {}, {}
    slowest, fastest = source.content["time"]["swing_hz"]
    for segment, count in markers.items():
        modes[segment] = _blend(source, streams, segment, (draws, 6 + 3 * count, KNOTS.size))
        swing[segment] = _blend(source, streams, f"{segment} swing", (draws, 3))
        chance = streams.generator(source, source.same_for, f"{segment} frequency").random(draws)
        frequency[segment] = slowest + (fastest - slowest) * chance
    return SkinMotion(source.content, modes, swing, frequency)


def _blend(source: Source, streams: Streams, part: str, shape: Sequence[int]) -> Array:
    shared = streams.generator(source, source.same_for, part).standard_normal(shape)
    own = streams.generator(source, "recording", part).standard_normal(shape)
    return np.sqrt(source.repeatable) * shared + np.sqrt(1.0 - source.repeatable) * own


def _hardness(impact: Mapping[str, float], peak: float) -> tuple[float, float]:
    """Shares of the translation and of the rotation of hard movements, by the peak of the vertical force."""
    hard = float(np.clip((peak - impact["gentle_bw"]) / (impact["hard_bw"] - impact["gentle_bw"]), 0.0, 1.0))
    slide, roll = (impact[f"gentle_{of}"] for of in ("translation", "rotation"))
    return slide + (1.0 - slide) * hard, roll + (1.0 - roll) * hard


def _wander(since: Array, time: Mapping[str, Any]) -> Array:
    """(knots, F) weights that turn unit normal knots into a smooth wander of the size the time asks for."""
    place = np.clip(since / time["correlation_s"], KNOTS[0], KNOTS[-1])
    weight = np.exp(-0.5 * (place - KNOTS[:, None]) ** 2)
    weight /= np.sqrt(np.sum(weight**2, axis=0))
    rest = time["before_touchdown"]
    return weight * (rest + (1.0 - rest) * _ramp(since / time["grows_within_s"]))


def _ramp(x: Array) -> Array:
    """0 to 1 between 0 and 1, without a kink."""
    x = np.clip(x, 0.0, 1.0)
    return x * x * x * (x * (6.0 * x - 15.0) + 10.0)

"""What a board's markers leave open is open in what the feet bear."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from boards import board_landing, session_of

from jointload.analysis import Analysis, analyse
from jointload.settings import Settings
from jointload.synthetic.board import BoardLanding
from jointload.synthetic.standing import SILENT
from jointload.uncertainty.intervals import with_intervals

CAMERA = 3e-4
"""Noise of the markers [m], that of models/uncertainty."""
DRAWS = 40


@lru_cache(maxsize=4)
def drawn(inputs: tuple[str, ...], smoothing: str = "balanced", taken: bool = True) -> Analysis:
    """taken : whether the board is told, and taken out of the plates"""
    made = board_landing("equal", "one a foot")
    spec = replace(made.landing.spec, marker_rate=250.0, noise=replace(SILENT, camera=CAMERA))
    session = session_of(BoardLanding(replace(made.landing, spec=spec), plates=made.plates), board=taken)
    settings = Settings(smoothing="balanced" if smoothing == "balanced" else "fixed")
    return with_intervals(analyse(session, settings, variants=False), DRAWS, inputs=inputs, shares=False)


def spread(analysis: Analysis, quantity: str, side: str = "right") -> float:
    assert analysis.certainty is not None
    return float(np.sqrt(analysis.certainty.variance((quantity, side))))


@pytest.mark.parametrize("smoothing", ["balanced", "fixed"])
def test_by_the_cameras_alone_the_feets_force_is_open(smoothing: str) -> None:
    """Without a board no camera tells of a plate's force, and its peak spreads by the direction of travel alone."""
    assert spread(drawn(("camera",), smoothing), "braking_force_peak") > 2.0
    assert spread(drawn(("camera",), smoothing, taken=False), "braking_force_peak") < 0.01


def test_a_boards_stop_makes_the_moments_less_certain() -> None:
    with_board, without = (drawn(("camera",), taken=taken) for taken in (True, False))
    name = "ankle_inversion_moment_peak"
    assert spread(with_board, name) > 1.5 * spread(without, name)


def test_the_vertical_peak_long_after_the_stop_is_as_certain_as_without() -> None:
    assert spread(drawn(("camera",)), "vertical_force_peak") < 10.0


def test_the_boards_weight_bears_no_plates_gain() -> None:
    """A plate that shows one per cent too much shows it of the board, too, which is taken out as it is."""
    analysis = drawn(("plate_force",))
    assert analysis.certainty is not None
    key = ("vertical_force_peak", "right")
    samples, value = analysis.certainty.samples[key], analysis.certainty.values[key]
    assert np.all(np.isfinite(samples)) and np.std(samples) > 0.0
    assert abs(np.mean(samples) - value) < 0.01 * value

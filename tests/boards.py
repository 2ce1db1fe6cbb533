"""Synthetic landings on a board, simulated once for the tests of several rooms."""

from __future__ import annotations

from dataclasses import replace

from landed import landed

from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.synthetic.board import BoardLanding, PlatesUnder
from jointload.synthetic.specification import LandingSpec
from jointload.synthetic.standing import SILENT, TYPICAL, label_map, static_recording

RIDER = Rider("S5", 68.0, 1.74, "m", stance="right")
RATE = 2000.0
"""Forces, and markers of exact recordings [Hz]: a board stops within 27 ms, which a second difference at 1000 Hz misses
by 0.5 Nm at the knee."""
LANDINGS = {
    "equal": LandingSpec(
        RIDER, drop=0.4, back_share=0.5, delay=0.0, approach=0.2, settling=0.35, force_rate=RATE, seed=51
    ),
    "back foot heavy": LandingSpec(
        RIDER, drop=0.4, back_share=0.62, delay=0.004, settling=0.35, force_rate=RATE, seed=52
    ),
    "one foot late": LandingSpec(
        RIDER, drop=0.4, back_share=0.55, delay=0.018, settling=0.35, force_rate=RATE, seed=53
    ),
}


def board_landing(which: str, plates: PlatesUnder = "one", exact: bool = False) -> BoardLanding:
    """exact : without noise, markers as often as forces."""
    landing = landed(LANDINGS[which])
    if exact:
        landing = replace(landing, spec=replace(landing.spec, noise=SILENT, marker_rate=landing.spec.force_rate))
    return BoardLanding(landing, plates=plates)


def session_of(made: BoardLanding, board: bool = True) -> Session:
    spec = made.landing.spec
    noise = SILENT if spec.noise == SILENT else TYPICAL
    static = static_recording(spec.rider, noise, spec.seed)
    return Session(made.recorded(), static, label_map(), spec.rider, board=made.board if board else None)

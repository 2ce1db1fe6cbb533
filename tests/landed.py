"""Synthetic landings made once for all tests of a run: what one process has simulated, the others read."""

from __future__ import annotations

import hashlib
import os
import pickle
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from jointload.intake.rider import Rider
from jointload.synthetic.flesh import Flesh
from jointload.synthetic.landing import SyntheticLanding, simulate_landing
from jointload.synthetic.specification import LandingSpec

MADE = "TESTS_MADE_LANDINGS"
"""Of the environment: the folder that all processes of a run share; conftest.py makes and removes it."""
USUAL = LandingSpec(Rider("S3", 70.0, 1.76, "m", stance="right"), settling=0.6, seed=3)
"""What tests take that can do with any landing."""
UNSEEN = {"name": "landing", "seed": 0, "noise": LandingSpec.noise}
"""What a specification says of the recording alone, the motion being the same."""


def landed(spec: LandingSpec, flesh: Mapping[str, Flesh] | None = None) -> SyntheticLanding:
    """simulate_landing(spec, flesh=flesh)."""
    moved = replace(spec, **UNSEEN)
    key = hashlib.sha256(repr((moved, flesh)).encode()).hexdigest()
    if key not in _made:
        _made[key] = _read_or_made(Path(os.environ[MADE], key), moved, flesh)
    return replace(_made[key], spec=spec)


_made: dict[str, SyntheticLanding] = {}


def _read_or_made(place: Path, spec: LandingSpec, flesh: Mapping[str, Flesh] | None) -> SyntheticLanding:
    if place.exists():
        return pickle.loads(place.read_bytes())
    made = simulate_landing(spec, flesh=flesh)
    half = place.with_suffix(f".{os.getpid()}")
    half.write_bytes(pickle.dumps(made))
    half.replace(place)
    return made

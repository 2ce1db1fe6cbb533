"""A few hundred of the mutations that `python tests/intake/fuzz.py` makes by the thousand."""

from __future__ import annotations

import importlib.util
import signal
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

MUTATIONS = 360
SEED = 11

pytestmark = pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="this system has no alarm to end a hang")


@pytest.fixture(scope="module")
def fuzz() -> ModuleType:
    spec = importlib.util.spec_from_file_location("fuzz", Path(__file__).parent / "fuzz.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["fuzz"] = module
    spec.loader.exec_module(module)
    return module


def test_the_bases_are_sound(fuzz: ModuleType, write_c3d: Callable[..., bytes], tmp_path: Path) -> None:
    """Each is read without a doubt, so that a mutation's own finding is seen."""
    for base in fuzz.bases(write_c3d, tmp_path):
        assert fuzz.doubts(base.recording) == set(), base.name
        assert len(base.recording.plates) == 1 and len(base.recording.events) == 2
        assert base.recording.plates[0].force[1].max() == pytest.approx(860, rel=0.01)


def test_differences_are_seen(fuzz: ModuleType, write_c3d: Callable[..., bytes], tmp_path: Path) -> None:
    one = fuzz.bases(write_c3d, tmp_path)[0].recording
    (plate,) = one.plates
    harder = replace(plate, force=plate.force * 1.001)
    assert fuzz.differences(one, one) == []
    assert fuzz.differences(one, replace(one, markers=one.markers + 1e-5)) == ["markers"]
    assert fuzz.differences(one, replace(one, plates=(harder,))) == ["force"]
    assert fuzz.differences(one, replace(one, plates=(), point_rate=201.0)) == ["rates", "plates"]


def test_slight_differences_are_those_that_nobody_could_measure(
    fuzz: ModuleType, write_c3d: Callable[..., bytes], tmp_path: Path
) -> None:
    one = fuzz.bases(write_c3d, tmp_path)[0].recording
    (plate,) = one.plates
    for share, slight in ((1e-5, True), (1e-3, False)):
        other = replace(one, plates=(replace(plate, force=plate.force * (1 + share)),))
        assert fuzz.is_slight(one, other) == slight
    assert not fuzz.is_slight(one, replace(one, markers=one.markers + 1e-5))


def test_mutated_files_are_refused_equal_or_told(fuzz: ModuleType, write_c3d: Callable[..., bytes]) -> None:
    tally = fuzz.run(write_c3d, MUTATIONS, SEED)
    assert tally.refused + tally.equal + tally.told + tally.slight + sum(tally.silent.values()) == MUTATIONS
    assert min(tally.refused, tally.equal, tally.told) > 0
    assert tally.slowest < fuzz.SECONDS
    unexpected = [name for name in tally.silent if name.startswith("other")]
    assert not unexpected, "only numbers that nothing contradicts may change in silence"
    assert sum(tally.silent.values()) < 0.03 * MUTATIONS

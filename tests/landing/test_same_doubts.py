"""`check` and the analysis of the same pair doubt the same: neither warns on what the other accepts in silence."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from command import jointload
from recorded import sample_session

from jointload.analysis import analyse
from jointload.errors import InputError
from jointload.intake.recording import Plate, Recording
from jointload.intake.session import Session, read_session
from jointload.modeldata import shipped_folder
from jointload.synthetic.c3d_file import write_c3d

SAMPLE = shipped_folder("sample_c3d")
DAMAGED = sorted((Path(__file__).parents[1] / "intake" / "damaged").glob("*.c3d"))


@dataclass(frozen=True)
class Pair:
    """A landing, its standing trial, the rider and the names of the markers, as files."""

    trial: Path
    static: Path
    rider: Path = SAMPLE / "rider_a.toml"
    labels: Path = SAMPLE / "labels.toml"


def of_check(pair: Pair, rider: bool = True) -> tuple[set[tuple[str, str]], int]:
    """Check and severity of every doubt in what the command prints, and its exit code."""
    told = ("--rider", str(pair.rider)) if rider else ()
    done = jointload("check", str(pair.static), str(pair.trial), "--labels", str(pair.labels), *told, where=Path.cwd())
    rows = re.findall(r"^  (warn|refuse) +([a-z ]+), ", done.stdout, re.MULTILINE)
    return {(name, severity) for severity, name in rows}, done.returncode


def of_analysis(pair: Pair) -> set[tuple[str, str]]:
    session = read_session(pair.trial, pair.static, labels=pair.labels, rider=pair.rider)
    found = analyse(session, variants=False).findings
    return {(f.check.replace("_", " "), f.severity) for f in found if f.severity != "pass"}


def assert_alike(pair: Pair, expected: str | None = None) -> None:
    """The same doubts; without a rider some of them."""
    doubts, code = of_check(pair)
    assert doubts == of_analysis(pair)
    assert of_check(pair, rider=False)[0] <= doubts
    assert code == (0 if not doubts else 2 if "refuse" in {severity for _, severity in doubts} else 1)
    if expected is not None:
        assert expected in {name for name, _ in doubts}


@pytest.mark.parametrize("rider", ["a", "b", "c"])
@pytest.mark.parametrize("condition", ["flat", "wedge"])
def test_on_the_sample(rider: str, condition: str) -> None:
    pair = Pair(
        SAMPLE / f"rider_{rider}_landing_{condition}.c3d",
        SAMPLE / f"rider_{rider}_static.c3d",
        SAMPLE / f"rider_{rider}.toml",
    )
    assert_alike(pair)
    assert of_check(pair) == (set(), 0)


@pytest.mark.parametrize("path", DAMAGED, ids=lambda path: path.stem)
def test_on_damaged_files(path: Path) -> None:
    """What the analysis refuses to read, check refuses."""
    for pair in (Pair(path, SAMPLE / "rider_a_static.c3d"), Pair(SAMPLE / "rider_a_landing_flat.c3d", path)):
        with pytest.raises(InputError):
            of_analysis(pair)
        assert of_check(pair)[1] == 2


@pytest.mark.parametrize("name", ["walking/walk_1", "walking/walk_2", "running/treadmill_3.5ms"])
def test_on_published_recordings(shared_c3d: Path, name: str) -> None:
    who = name.partition("/")[0]
    real = Path(__file__).parents[1] / "intake" / "real"
    static = shared_c3d / who / "static.c3d"
    rider, labels = (real / f"{who}_{kind}.toml" for kind in ("rider", "labels"))
    assert_alike(Pair(shared_c3d / f"{name}.c3d", static, rider, labels))


def test_what_is_no_landing_is_still_held_against_the_standing_trial(sample: Session, tmp_path: Path) -> None:
    """Such as a movement for the hip centres beside the plates."""
    plates = tuple(replace(p, force=0 * p.force, moment=0 * p.moment) for p in sample.trial.plates)
    write_c3d(replace(sample.trial, plates=plates), tmp_path / "swing.c3d")
    doubts, code = of_check(Pair(tmp_path / "swing.c3d", SAMPLE / "rider_a_static.c3d"))
    assert ("analysis", "warn") in doubts and code == 1


# Faults, each at a marker, a moment and of a size drawn from a seed ---------------------------------------------------

Both = tuple[Recording, Recording]
"""A landing and its standing trial."""
Fault = Callable[[Recording, Recording, np.random.Generator], Both]


def of_markers(change: Callable[[Recording, np.ndarray, np.random.Generator], object]) -> Fault:
    def fault(trial: Recording, static: Recording, random: np.random.Generator) -> Both:
        markers = trial.markers.copy()
        change(trial, markers, random)
        return replace(trial, markers=markers), static

    return fault


def of_plate(change: Callable[[Plate, np.random.Generator], Plate]) -> Fault:
    def fault(trial: Recording, static: Recording, random: np.random.Generator) -> Both:
        chosen = int(random.integers(len(trial.plates)))
        plates = [change(p, random) if k == chosen else p for k, p in enumerate(trial.plates)]
        return replace(trial, plates=tuple(plates)), static

    return fault


def hidden(trial: Recording, markers: np.ndarray, random: np.random.Generator) -> None:
    begin = int(random.integers(20, trial.frames // 2))
    markers[:, tracked(trial, random), begin : begin + int(0.3 * trial.point_rate)] = np.nan


def jumping(trial: Recording, markers: np.ndarray, random: np.random.Generator) -> None:
    begin = int(random.integers(20, trial.frames - 40))
    markers[1, tracked(trial, random), begin : begin + 10] += random.uniform(0.06, 0.2)


def exchanged(trial: Recording, markers: np.ndarray, random: np.random.Generator) -> None:
    begin = int(random.integers(20, trial.frames // 2))
    two = [trial.labels.index(f"R_shank_{k}") for k in random.choice([1, 2, 3, 4], 2, replace=False)]
    markers[:, two, begin : begin + 30] = markers[:, two[::-1], begin : begin + 30]


def slipped(trial: Recording, markers: np.ndarray, random: np.random.Generator) -> None:
    markers[:, tracked(trial, random)] += np.array([[0.0], [random.uniform(0.03, 0.04)], [0.0]])


def tracked(trial: Recording, random: np.random.Generator) -> int:
    side, part = random.choice(["R", "L"]), random.choice(["shank", "thigh"])
    return trial.labels.index(f"{side}_{part}_{random.integers(1, 5)}")


def force(plate: Plate, new: np.ndarray) -> Plate:
    return replace(plate, force=np.stack([plate.force[0], new, plate.force[2]]))


def shaking(plate: Plate, random: np.random.Generator) -> Plate:
    return force(plate, plate.force[1] + random.normal(0, random.uniform(5, 8), plate.force.shape[1]))


def saturated(plate: Plate, random: np.random.Generator) -> Plate:
    return force(plate, np.minimum(plate.force[1], random.uniform(0.5, 0.8) * plate.force[1].max()))


def stronger(plate: Plate, random: np.random.Generator) -> Plate:
    factor = random.uniform(1.4, 2.0)
    return replace(plate, force=factor * plate.force, moment=factor * plate.moment)


def misplaced(plate: Plate, random: np.random.Generator) -> Plate:
    way = np.array([0.0, 0.0, random.uniform(0.08, 0.12)])[:, None] * random.choice([-1, 1])
    return replace(plate, corners=plate.corners + way, moment=plate.moment + np.cross(way, plate.force, axis=0))


def overlapping(trial: Recording, static: Recording, random: np.random.Generator) -> Both:
    """Both plates moved towards each other."""
    way = np.array([0.0, 0.0, random.uniform(0.03, 0.06)])[:, None]
    middles = [plate.corners[2].mean() for plate in trial.plates]
    signs = np.sign(np.mean(middles) - middles)
    plates = [replace(p, corners=p.corners + sign * way) for p, sign in zip(trial.plates, signs, strict=True)]
    return replace(trial, plates=tuple(plates)), static


def slow(trial: Recording, static: Recording, random: np.random.Generator) -> Both:
    return replace(trial, markers=trial.markers[:, :, ::2], point_rate=trial.point_rate / 2), static


def unmarked(trial: Recording, static: Recording, random: np.random.Generator) -> Both:
    gone = tracked(trial, random)
    kept = [k for k in range(len(trial.labels)) if k != gone]
    return replace(trial, labels=tuple(trial.labels[k] for k in kept), markers=trial.markers[:, kept]), static


def without_plates(trial: Recording, static: Recording, random: np.random.Generator) -> Both:
    return replace(trial, plates=()), static


def somebody_else(trial: Recording, static: Recording, random: np.random.Generator) -> Both:
    shifted = static.markers + random.normal(0, 0.014, (3, len(static.labels), 1))
    plates = tuple(replace(p, force=1.3 * p.force, moment=1.3 * p.moment) for p in static.plates)
    return trial, replace(static, markers=shifted, plates=plates)


def heavier(trial: Recording, static: Recording, random: np.random.Generator) -> Both:
    factor = random.uniform(1.06, 1.09)
    plates = tuple(replace(p, force=factor * p.force, moment=factor * p.moment) for p in static.plates)
    return trial, replace(static, plates=plates)


def mirrored(trial: Recording, static: Recording, random: np.random.Generator) -> Both:
    """The inner and outer markers of one knee exchanged in the standing trial."""
    side = random.choice(["R", "L"])
    two = [static.labels.index(f"{side}_knee_{where}") for where in ("medial", "lateral")]
    markers = static.markers.copy()
    markers[:, two] = markers[:, two[::-1]]
    return trial, replace(static, markers=markers)


FAULTS: dict[str, tuple[Fault, str]] = {
    "a marker hidden": (of_markers(hidden), "gaps"),
    "a marker that jumps": (of_markers(jumping), "marker jumps"),
    "two markers exchanged": (of_markers(exchanged), "markers exchanged"),
    "a marker slipped": (of_markers(slipped), "cluster shape"),
    "plates that overlap": (overlapping, "plate overlap"),
    "a plate that shakes": (of_plate(shaking), "plate noise"),
    "a plate saturated": (of_plate(saturated), "plate saturation"),
    "a plate too strong": (of_plate(stronger), "unexplained force"),
    "a plate misplaced": (of_plate(misplaced), "pressure off foot"),
    "slow markers": (slow, "rates"),
    "a cluster without a marker": (unmarked, "labels"),
    "no plates": (without_plates, "no forces"),
    "somebody else": (somebody_else, "same person"),
    "a weight that is off": (heavier, "body weight"),
    "landmarks exchanged": (mirrored, "landmark sides"),
}


@pytest.fixture(scope="module")
def sample() -> Session:
    return sample_session()


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", FAULTS)
def test_on_seeded_faults(sample: Session, tmp_path: Path, name: str, seed: int) -> None:
    fault, expected = FAULTS[name]
    trial, static = fault(sample.trial, sample.static, np.random.default_rng(seed))
    pair = Pair(tmp_path / "landing.c3d", tmp_path / "standing.c3d")
    write_c3d(trial, pair.trial)
    write_c3d(static, pair.static)
    assert_alike(pair, expected)

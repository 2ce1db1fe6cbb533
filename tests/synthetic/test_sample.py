"""The shipped sample study: complete, small, readable, and what its own script makes."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pytest
from recorded import sample_session

from jointload.analysis import analyse
from jointload.intake.c3d import read_recording
from jointload.intake.labels import read_labels
from jointload.intake.rider import G, read_rider
from jointload.landing.checks.known_people import CHECK
from jointload.modeldata import load_model, shipped_folder
from jointload.synthetic.sample import SETTLING, STUDY
from jointload.synthetic.standing import TYPICAL, label_map, static_recording

LARGEST = 6e6
CONDITIONS = ("flat", "wedge")
NOISY_ANGLE = np.deg2rad(4.0)
"""Skin motion of several millimetres on segments of 0.4 m, and the default filter."""
NOISY_FORCE = 5.0


def truth(recording: str, table: str = "truth.csv") -> dict[tuple[str, str], float]:
    with (shipped_folder("sample_c3d") / table).open(encoding="utf-8") as file:
        return {
            (r["quantity"], r["side"]): float(r["value"]) for r in csv.DictReader(file) if r["recording"] == recording
        }


def test_the_study_is_complete_and_small() -> None:
    sample = shipped_folder("sample_c3d")
    names = {path.name for path in sample.iterdir()}
    for person in STUDY:
        rider = person.rider.id
        assert {f"{rider}.toml", f"{rider}_static.c3d", *(f"{rider}_landing_{c}.c3d" for c in CONDITIONS)} <= names
        assert read_rider(sample / f"{rider}.toml") == person.rider
    assert read_labels(sample / "labels.toml") == label_map()
    assert sum(path.stat().st_size for path in sample.iterdir()) < LARGEST
    assert "invented" in (sample / "README.md").read_text(encoding="utf-8").lower()


def test_the_shipped_static_trial_is_what_the_script_makes() -> None:
    person = STUDY[0]
    shipped = read_recording(shipped_folder("sample_c3d") / f"{person.rider.id}_static.c3d")
    made = static_recording(person.rider, TYPICAL, person.flat.seed)
    assert shipped.labels == made.labels
    assert np.abs(shipped.markers - made.markers).max() < 1e-6


@pytest.mark.parametrize("person", STUDY, ids=lambda person: person.rider.id)
@pytest.mark.parametrize("condition", CONDITIONS)
def test_the_analysis_comes_near_the_truth(person: object, condition: str) -> None:
    rider = person.rider.id  # type: ignore[attr-defined]
    analysis = analyse(sample_session(rider, condition), variants=False)
    assert not [finding for finding in analysis.findings if finding.severity == "refuse"]
    assert not analysis.landing.contact.lost
    found = {(measure.quantity, measure.side): measure.value for measure in analysis.measures}
    true = truth(f"{rider}_landing_{condition}.c3d")
    assert len(true) > 40
    for side in ("right", "left"):
        assert found["vertical_force_peak", side] == pytest.approx(true["vertical_force_peak", side], abs=NOISY_FORCE)
        assert found["knee_flexion_peak", side] == pytest.approx(true["knee_flexion_peak", side], abs=NOISY_ANGLE)
        moment = true["knee_flexion_moment_peak", side]
        assert found["knee_flexion_moment_peak", side] == pytest.approx(moment, rel=0.15)
    assert found["touchdown_speed", ""] == pytest.approx(true["touchdown_speed", ""], abs=0.02)
    assert found["fall_acceleration", ""] == pytest.approx(9.80665, rel=0.02)
    assert found["body_weight_plate", ""] == pytest.approx(true["body_weight_plate", ""], abs=1.0)
    assert np.isfinite(found["time_to_stabilisation", ""])
    assert not [f for f in analysis.findings if f.check == CHECK and f.severity != "pass"]
    low, high = published()["l5s1_disc_force_peak"]
    assert low <= found["l5s1_disc_force_peak", ""] / analysis.landing.weight <= high


def published() -> dict[str, tuple[float, float]]:
    """Quantity -> the range of published landings from comparable drops, in the units of models/sanity."""
    rows = load_model("sanity", "comparable_drops").content
    return {row["quantity"]: (float(row["low"]), float(row["high"])) for row in rows}


BOARD = "rider_a_board.c3d"
LANDINGS = [f"{person.rider.id}_landing_{c}.c3d" for person in STUDY for c in CONDITIONS] + [BOARD]


@pytest.mark.parametrize("name", LANDINGS)
def test_the_landings_are_such_as_people_do(name: str) -> None:
    """Truth against published ranges; the force is of both feet, less what the board weighs."""
    sample, ranges = shipped_folder("sample_c3d"), published()
    rider = next(person.rider for person in STUDY if name.startswith(person.rider.id))
    board = 2.8 * G if name == BOARD else 0.0
    force = sum(plate.force[1] for plate in read_recording(sample / name).plates)
    true = truth(name, "board_truth.csv" if name == BOARD else "truth.csv")
    found = [("total_force_peak", (float(np.max(force)) - board) / rider.weight)]
    units = {"knee_flexion_peak": np.pi / 180, "hip_flexion_peak": np.pi / 180}
    units |= {"knee_flexion_moment_peak": rider.mass, "l5s1_extension_moment_peak": rider.mass}
    found += [(quantity, value / units[quantity]) for (quantity, _), value in true.items() if quantity in units]
    assert len(found) == 8
    for quantity, value in found:
        low, high = ranges[quantity]
        assert low <= value <= high, (quantity, value)


def test_the_landings_are_as_long_as_the_script_says() -> None:
    trial = sample_session().trial
    assert trial.time[-1] == pytest.approx(replace(STUDY[0].flat, settling=SETTLING).settling + 0.28, abs=0.01)

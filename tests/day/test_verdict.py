"""What a worker says of a recording: of which kind it is, and whether it can be used, in the words of a person."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from jointload.analysis import analyse
from jointload.day.rider.verdict import Asked, FirstLook, judged, kind_of, recognised, refusal
from jointload.intake.c3d import read_recording
from jointload.modeldata import shipped_folder
from jointload.report.words.trust import trust_in
from jointload.settings import Settings
from jointload.study.manifest import read_study
from jointload.study_run.trial import Job, job_of, session_of

SAMPLE = shipped_folder("sample_c3d")
FIVE = ("vertical_force_peak", "knee_flexion_peak", "knee_adduction_moment_peak", "l5s1_extension_moment_peak",
        "rearfoot_eversion_peak")  # fmt: skip


def job(name: str = "rider_a_landing_flat") -> Job:
    study = read_study(SAMPLE)
    trial = next(trial for trial in study.trials if trial.name == name)
    return job_of(study, trial, Path("nowhere"), Path("nowhere"), full=False)


@pytest.mark.parametrize(
    ("file", "kind"),
    [("rider_a_static", "static"), ("rider_b_landing_wedge", "landing"), ("rider_c_landing_flat", "landing"),
     ("rider_a_board", "landing")],
)  # fmt: skip
def test_the_samples_recordings_are_recognised_without_doubt(file: str, kind: str) -> None:
    told = recognised(FirstLook(str(SAMPLE / f"{file}.c3d"), str(SAMPLE / "labels.toml"), None, None))
    assert (told["kind"], told["sure"], told["whole"]) == (kind, True, True)


def test_thighs_that_swing_over_standing_feet_are_a_hip_movement_to_be_confirmed() -> None:
    standing = read_recording(SAMPLE / "rider_a_static.c3d")
    markers = standing.markers.copy()
    swing = 0.3 * np.sin(np.linspace(0.0, 12.0, standing.frames))
    high = np.nanmean(markers[1], axis=1) > 0.3
    markers[0, high] += swing
    assert kind_of(replace(standing, markers=markers)) == ("hip_movement", False)


def test_a_recording_without_plates_is_asked_for() -> None:
    moving = read_recording(SAMPLE / "rider_a_landing_flat.c3d")
    assert kind_of(replace(moving, plates=())) == ("landing", False)


def test_a_file_that_ends_in_nothing_is_not_whole_yet(tmp_path: Path) -> None:
    content = (SAMPLE / "rider_a_landing_flat.c3d").read_bytes()
    path = tmp_path / "one.c3d"
    path.write_bytes(content[:-4096] + bytes(4096))
    look = FirstLook(str(path), str(SAMPLE / "labels.toml"), None, None)
    assert not recognised(look)["whole"] and recognised(look)["kind"] == "landing"
    path.write_bytes(content[:-4096])
    told = recognised(look)
    assert not told["whole"] and "it was cut short" in told["problem"] and str(tmp_path) not in told["problem"]


def test_the_verdict_is_the_one_verdict_of_the_analysis() -> None:
    asked = job()
    told = judged(Asked("landing", asked, FIVE))
    analysis = analyse(session_of(asked), Settings(**asked.settings), variants=False)
    assert told["trust"] == trust_in(analysis).recording.text == "fine"
    assert (told["word"], told["title"], told["reason"]) == ("fine", "Fine", "Nothing speaks against this landing.")
    assert [row["quantity"] for row in told["numbers"]] == list(FIVE)
    peaks = {m.side: m.value / analysis.landing.weight for m in analysis.measures if m.quantity == FIVE[0]}
    cells = {cell["side"]: cell["number"] for cell in told["numbers"][0]["cells"]}
    assert cells == pytest.approx(peaks, rel=1e-6) and told["force_bw"] == pytest.approx(max(peaks.values()))


def test_a_landing_with_somebody_elses_standing_trial_is_to_be_recorded_again() -> None:
    asked = job()
    told = judged(Asked("landing", replace(asked, inputs=asked.inputs | {"static": "rider_b_static.c3d"}), FIVE))
    assert told["word"] == "again" and "same person" in told["reason"].lower()
    assert told["checks"][0]["severity"] == "refuse" and told["title"].startswith("Record again: ")


def test_a_file_that_cannot_be_analysed_says_why_in_one_line() -> None:
    asked = job()
    told = judged(Asked("landing", replace(asked, inputs=asked.inputs | {"trial": "rider_a_static.c3d"}), FIVE))
    assert told["word"] == "again" and "\n" not in told["reason"] and str(SAMPLE) not in told["reason"]
    gone = judged(Asked("landing", replace(asked, inputs=asked.inputs | {"trial": "none.c3d"}), FIVE))
    assert gone["word"] == "again" and "does not exist" in gone["reason"]
    assert refusal("no advice here")["reason"] == "No advice here."


def test_a_standing_trial_is_judged_by_the_body_that_is_fitted_to_it() -> None:
    static = job("rider_a_static")
    inputs = {"trial": "rider_a_static.c3d", "labels": "labels.toml"}
    told = judged(Asked("static", replace(static, inputs=inputs), FIVE))
    assert (told["word"], told["numbers"]) == ("fine", [])
    moving = judged(Asked("static", replace(static, inputs=inputs | {"trial": "rider_a_landing_flat.c3d"}), FIVE))
    assert moving["word"] == "again", "its medial markers are not there"
    heavy = replace(static, inputs=inputs, rider=static.rider | {"mass": 120.0})
    assert judged(Asked("static", heavy, FIVE))["word"] == "usable"

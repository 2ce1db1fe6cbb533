"""A standing trial of somebody else in a study: told in the terminal, without moments, unless trials.csv insists."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pandas
import pytest
from command import jointload
from made_study import change, sample_study, write_csv

from jointload.errors import StudyError
from jointload.study.manifest import read_study
from jointload.study_run.rerun import rerun

LANDING = "rider_a_landing_flat"


def strangers_study(folder: Path, word: str, kind: str = "static") -> Path:
    """Rider A's landing with the standing trial of rider B; the word stands in the row of this kind."""
    study = sample_study(folder)
    shutil.copy(study / "rider_b_static.c3d", study / "standing.c3d")
    change(study / "riders.csv", lambda rows: rows.__delitem__(slice(2, None)))
    rows = [["standing.c3d", "rider_a", "static", ""], [f"{LANDING}.c3d", "rider_a", "landing", "flat"]]
    rows = [[*row, word if row[2] == kind else ""] for row in rows]
    write_csv(study / "trials.csv", [["file", "rider", "kind", "condition", "same_person"], *rows])
    return study


def moments(out: Path) -> pandas.Series:
    table = pandas.read_csv(out / "metrics.csv")
    return table[table.quantity == "knee_adduction_moment_peak"]["value"].astype(float)


def test_a_standing_trial_is_insisted_on_by_its_row(tmp_path: Path) -> None:
    """A word in trials.csv makes the result anew, and its record repeats it to the byte."""
    study, out = strangers_study(tmp_path / "study", ""), tmp_path / "out"
    words = ["study", "run", str(study), "--out", str(out), "--workers", "1"]
    first = jointload(*words, where=tmp_path)
    assert first.returncode == 0, first.stderr
    assert f"{LANDING}: this standing trial looks like somebody else's" in first.stderr
    assert "same_person in a study's trials.csv" in first.stderr
    assert not np.isfinite(moments(out)).any()
    change(study / "trials.csv", lambda rows: rows[1].__setitem__(4, "yes"))
    again = jointload(*words, where=tmp_path)
    assert "1 trials analysed" in again.stdout and "it is insisted on" in again.stderr
    assert np.isfinite(moments(out)).all()
    record = out / "trials" / LANDING / "run.json"
    assert json.loads(record.read_text(encoding="utf-8"))["study"]["same_person"] is True
    assert not rerun(record, tmp_path / "again", study).differing


@pytest.mark.parametrize(("word", "kind"), [("perhaps", "static"), ("yes", "landing")])
def test_what_insists_on_nothing_is_a_fault(tmp_path: Path, word: str, kind: str) -> None:
    with pytest.raises(StudyError, match="same_person: expected nothing, or yes in a row of kind static"):
        read_study(strangers_study(tmp_path / "study", word, kind))

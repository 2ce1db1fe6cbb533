"""The result folder appears whole or not at all."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import jointload.report.files.folder as folder
from jointload.analysis import Analysis
from jointload.errors import OutputError, SettingError
from jointload.insole.fitting.whatif import WhatIf
from jointload.intake.c3d import read_recording
from jointload.report.figures.paper import PAPER_WIDTH
from jointload.report.files.curves import curves_table
from jointload.report.files.figure_files import FIGURES
from jointload.report.files.folder import write_report

FILES = {
    "report.html", "metrics.csv", "series.csv", "quality.csv", "derived.c3d", "methods.md", "methods.tex",
    "references.bib",
    "run.json",
}  # fmt: skip

SINGLE = 6e-8
"""Relative rounding of a 32-bit real."""

NOT_ASKED_FOR = {
    "feet",
    "heel_forces",
    "shapes_compared",
    "fit_trade_off",
    "fit_pressure",
    "plate_split",
    "sole_pressures",
}
"""Figures of answers, of a shared plate and of pressure insoles that these results do not hold."""


def names(path: Path) -> set[str]:
    return {entry.name for entry in path.iterdir()}


@pytest.fixture
def quick_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawing is not what these tests are about."""
    monkeypatch.setattr(folder, "render_page", lambda analysis, whatif, fit, beside: "<!DOCTYPE html>")


def test_a_result_holds_its_files(analysis: Analysis, prediction: WhatIf, tmp_path: Path) -> None:
    out = write_report(analysis, tmp_path / "new" / "result", prediction)
    assert names(out) == FILES | {"whatif.csv"}
    assert names(tmp_path / "new") == {"result"}
    metrics = pd.read_csv(out / "metrics.csv")
    assert len(metrics) == len(analysis.measures)
    series = pd.read_csv(out / "series.csv", header=[0, 1])
    assert series.columns[0] == ("time", "s") and len(series) == analysis.session.trial.frames
    assert set(pd.read_csv(out / "quality.csv")["severity"]) <= {"pass", "warn", "refuse"}
    record = json.loads((out / "run.json").read_text())
    assert record["whatif"]["seed"] == prediction.seed


def test_a_slow_recording_has_a_whole_result_at_the_rate_it_is_followed_at(
    slow_analysis: Analysis, tmp_path: Path
) -> None:
    out = write_report(slow_analysis, tmp_path / "result")
    assert names(out) == FILES
    trial = slow_analysis.session.trial
    time = pd.read_csv(out / "series.csv", header=[0, 1])["time", "s"].to_numpy()
    assert np.allclose(np.diff(time), 1.0 / 500.0) and time[-1] == pytest.approx(trial.time[-1])
    derived = read_recording(out / "derived.c3d")
    assert (derived.frames, derived.point_rate) == (trial.frames, 100.0)
    centre = slow_analysis.landing.loads.centre[:, slow_analysis.landing.loads.joints.index("right_knee"), ::5]
    np.testing.assert_allclose(derived.marker("right_knee_centre"), centre, rtol=SINGLE)


def test_curves_of_a_slow_recording_begin_at_touch_down(slow_analysis: Analysis) -> None:
    curves, landing = curves_table(slow_analysis).set_index(["quantity", "side"]), slow_analysis.landing
    knee = np.rad2deg(landing.angles.of("right_knee", "flexion"))
    at = landing.events.sides["right"].touchdown * landing.recording.point_rate
    assert curves.loc[("knee_flexion_angle", "right"), "p0"] == pytest.approx(np.interp(at, np.arange(knee.size), knee))


@pytest.mark.usefixtures("quick_page")
def test_every_figure_is_a_file_in_the_form_asked_for(analysis: Analysis, prediction: WhatIf, tmp_path: Path) -> None:
    out = write_report(analysis, tmp_path / "result", prediction, figures="svg")
    assert names(out / "figures") == {f"{name}.svg" for name in set(FIGURES) - NOT_ASKED_FOR}
    widths = {re.search(r'width="([\d.]+)pt"', file.read_text())[1] for file in (out / "figures").iterdir()}  # type: ignore[index]
    assert widths == {f"{72 * PAPER_WIDTH:g}"}
    with pytest.raises(SettingError, match="one of svg, png, pdf, found 'gif'"):
        write_report(analysis, tmp_path / "other", figures="gif")
    assert names(tmp_path) == {"result"}


@pytest.mark.usefixtures("quick_page")
def test_an_earlier_result_is_replaced_whole(analysis: Analysis, tmp_path: Path) -> None:
    out = tmp_path / "result"
    write_report(analysis, out)
    (out / "left_over.txt").write_text("from before")
    write_report(analysis, out)
    assert names(out) == FILES
    assert names(tmp_path) == {"result"}


@pytest.mark.usefixtures("quick_page")
def test_an_empty_folder_may_be_used(analysis: Analysis, tmp_path: Path) -> None:
    out = tmp_path / "result"
    out.mkdir()
    assert names(write_report(analysis, out)) == FILES


def other_files(out: Path) -> None:
    out.mkdir()
    (out / "thesis.txt").write_text("years of work")


def a_file(out: Path) -> None:
    out.write_text("years of work")


@pytest.mark.usefixtures("quick_page")
@pytest.mark.parametrize("prepare", [other_files, a_file])
def test_what_is_no_result_is_left_alone(prepare: Callable[[Path], None], analysis: Analysis, tmp_path: Path) -> None:
    out = tmp_path / "mine"
    prepare(out)
    with pytest.raises(OutputError, match="result folder: expected") as told:
        write_report(analysis, out)
    assert "\n" not in str(told.value)
    assert names(tmp_path) == {"mine"}
    kept = out if out.is_file() else out / "thesis.txt"
    assert kept.read_text() == "years of work"


def test_a_place_below_a_file_is_refused(analysis: Analysis, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="result folder"):
        write_report(analysis, tmp_path / "file" / "deep" / "result")
    assert names(tmp_path) == {"file"}


@pytest.mark.parametrize("problem", [OSError(28, "No space left on device"), ValueError("a fault")])
def test_nothing_stays_behind_after_a_failure(
    problem: Exception, analysis: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> str:
        raise problem

    monkeypatch.setattr(folder, "render_page", fail)
    expected = OutputError if isinstance(problem, OSError) else ValueError
    with pytest.raises(expected):
        write_report(analysis, tmp_path / "deep" / "result")
    assert names(tmp_path) == set()


@pytest.mark.usefixtures("quick_page")
def test_an_earlier_result_survives_a_failure(
    analysis: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = write_report(analysis, tmp_path / "result")
    before = (out / "metrics.csv").read_bytes()
    real = Path.replace

    def fail_for_the_new_one(self: Path, target: Path) -> Path:
        if self.name == "new":
            raise OSError(13, "Permission denied")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", fail_for_the_new_one)
    session = replace(analysis.session, rider=replace(analysis.session.rider, id="another"))
    with pytest.raises(OutputError, match="Permission denied"):
        write_report(replace(analysis, session=session), out)
    assert (out / "metrics.csv").read_bytes() == before
    assert names(tmp_path) == {"result"}

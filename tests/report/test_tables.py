"""Columns, units and values of the tables against the arrays they come from."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from jointload.analysis import Analysis
from jointload.errors import ModelDataError
from jointload.insole.fitting.whatif import WhatIf
from jointload.intake.recording import Finding
from jointload.intake.rider import G
from jointload.landing.landed import Measure
from jointload.numerics.signals import peak
from jointload.report.words.methods import methods_text
from jointload.report.words.tables import (
    all_findings,
    change_table,
    metrics_table,
    quality_table,
    run_record,
    series_table,
    variants_table,
)
from jointload.settings import Settings

ROUNDING = 1e-12


def test_metrics_have_their_columns_and_a_row_a_measure(analysis: Analysis) -> None:
    table = metrics_table(analysis)
    assert list(table.columns) == [
        "recording", "rider", "condition", "side", "quantity", "value", "unit", "low", "high", "note", "shown",
        "shown_low", "shown_high",
    ]  # fmt: skip
    assert len(table) == len(analysis.measures)
    assert set(table["rider"]) == {"S1"}
    row = table[(table["quantity"] == "knee_flexion_moment_peak") & (table["side"] == "right")].iloc[0]
    (measure,) = [m for m in analysis.measures if (m.quantity, m.side) == ("knee_flexion_moment_peak", "right")]
    assert row["value"] == pytest.approx(measure.value / (analysis.landing.weight / G), rel=ROUNDING)
    assert row["unit"] == "Nm/kg external"


def test_a_word_stands_as_value(analysis: Analysis) -> None:
    table = metrics_table(analysis)
    words = set(table[table["quantity"] == "first_contact_zone"]["value"])
    assert words and words <= {"heel", "midfoot", "forefoot"}


def test_a_measure_that_the_glossary_lacks_is_refused(analysis: Analysis) -> None:
    strange = replace(analysis, measures=(Measure("unheard_of", "", 1.0),))
    with pytest.raises(ModelDataError, match="unheard_of"):
        metrics_table(strange)


def test_series_start_with_time_and_carry_their_units(analysis: Analysis) -> None:
    table, landing = series_table(analysis), analysis.landing
    units = dict(table.columns)
    assert table.columns[0] == ("time", "s")
    assert len(table) == landing.recording.frames
    for name, unit in {
        "right_knee_flexion_angle": "deg", "left_knee_adduction_moment": "Nm/kg external", "right_vertical_force": "BW",
        "right_ankle_inversion_moment": "Nm/kg internal", "l5s1_extension_moment": "Nm/kg internal",
        "left_hip_power": "W/kg",
        "right_centre_of_pressure_forward": "m", "pelvis_tilt": "deg", "left_knee_over_ankle": "deg",
        "right_knee_force_upward": "BW internal",
    }.items():  # fmt: skip
        assert units[name] == unit
    angle = np.rad2deg(landing.angles.of("right_knee", "flexion"))
    np.testing.assert_allclose(table["right_knee_flexion_angle"].to_numpy()[:, 0], angle, rtol=ROUNDING)


def test_series_and_metrics_agree(analysis: Analysis) -> None:
    series, metrics, landing = series_table(analysis), metrics_table(analysis), analysis.landing
    for side in ("right", "left"):
        for stem in ("ankle_dorsiflexion", "ankle_inversion", "knee_flexion", "knee_adduction", "hip_flexion"):
            moment = series[f"{side}_{stem}_moment"].to_numpy()[landing.window(side), 0]
            row = metrics[(metrics["quantity"] == f"{stem}_moment_peak") & (metrics["side"] == side)].iloc[0]
            assert row["value"] == pytest.approx(peak(moment), rel=ROUNDING)
    windows = [landing.window(side) for side in ("right", "left")]
    whole = slice(min(w.start for w in windows), max(w.stop for w in windows))
    row = metrics[metrics["quantity"] == "l5s1_extension_moment_peak"].iloc[0]
    assert row["value"] == pytest.approx(peak(series["l5s1_extension_moment"].to_numpy()[whole, 0]), rel=ROUNDING)


def test_the_centre_of_pressure_is_blank_in_flight(analysis: Analysis) -> None:
    series = series_table(analysis)
    force, place = (
        series[name].to_numpy()[:, 0] for name in ("right_vertical_force", "right_centre_of_pressure_forward")
    )
    assert np.isnan(place[force * analysis.landing.weight < 50.0]).all()
    assert np.isfinite(place[force * analysis.landing.weight > 50.0]).all()


def test_quality_starts_with_the_worst() -> None:
    found = [Finding("c", severity, "w", "e", "a") for severity in ("pass", "refuse", "warn", "pass")]
    table = quality_table(found)
    assert list(table.columns) == ["check", "severity", "where", "evidence", "advice"]
    assert list(table["severity"]) == ["refuse", "warn", "pass", "pass"]
    assert list(quality_table([]).columns) == list(table.columns)


def test_findings_of_the_prediction_are_kept(analysis: Analysis, prediction: WhatIf) -> None:
    assert len(all_findings(analysis, prediction)) == len(analysis.findings) + len(prediction.findings)


def test_variants_stand_beside_the_settings_used(analysis: Analysis) -> None:
    table = variants_table(analysis)
    assert list(table.columns) == ["quantity", "side", "unit", "these settings", *(v.name for v in analysis.variants)]
    assert "contact threshold 20 N" not in table, "the settings' own threshold is no variant"
    assert not np.array_equal(table["contact threshold 10 N"], table["these settings"])


UNKNOWN = ("pelvis_shift",)
"""Of a place that is told as a change alone."""


def test_changes_put_knee_adduction_and_flexion_first(analysis: Analysis, prediction: WhatIf) -> None:
    table = change_table(analysis, prediction)
    assert set(table["quantity"][:2]) == {"knee_adduction_moment_peak", "knee_flexion_moment_peak"}
    assert table["note"].str.startswith("prediction").all()
    unclear = (table["person_low"] <= 0) & (table["person_high"] >= 0)
    small, told = table["change"].abs() < table["floor"], table["note"].str.contains("not distinguishable")
    assert (told <= unclear).all() and told.any() and not (told & small).any()
    toes = table["quantity"] == "toe_push_force_peak"
    assert (table["note"].str.contains("negligible") == (small & ~toes)).all() and small.any()
    assert table.loc[toes, "note"].str.contains("the toes do not push").all()
    of_insole = table["quantity"].isin(["heel_stack", "forefoot_stack"])
    assert table["note"][of_insole].str.endswith("height of the insole itself").all()
    assert (table["person_low"] <= table["low"]).any()
    known_change = table[table["change"].notna()]
    assert (known_change["low"] <= known_change["change"]).all()
    grouped = table[table["group_low"].notna()]
    assert (grouped["person_low"] <= grouped["group_low"]).all() and (grouped["group_low"] < grouped["change"]).any()
    shares = table[table["share_lower_low"].notna()]
    assert (shares["share_lower_low"] <= shares["share_lower"]).all()
    known = table[table["before"].notna()]
    np.testing.assert_allclose(known["after"] - known["before"], known["change"], atol=1e-9)
    only_changes = set(table["quantity"][table["before"].isna()])
    assert {"rearfoot_roll", "foot_pitch", "tibial_rotation"} < only_changes
    assert all(
        name.startswith(("rearfoot_roll", "foot_", "tibial_", "peak_pressure", *UNKNOWN)) for name in only_changes
    )


def test_the_record_is_the_same_for_the_same_run_and_holds_hashes_and_settings(
    analysis: Analysis, tmp_path: Path
) -> None:
    labels = tmp_path / "labels.toml"
    labels.write_text("[landmarks]\n")
    record = run_record(analysis, {"labels": labels})
    assert json.dumps(record) == json.dumps(run_record(analysis, {"labels": labels}))
    assert record["inputs"]["labels"] == {
        "name": "labels.toml",
        "sha256": hashlib.sha256(labels.read_bytes()).hexdigest(),
    }
    assert record["inputs"]["trial"]["sha256"] == analysis.session.trial.sha256
    assert record["settings"] == Settings().as_dict()
    assert "de Leva" in record["body"]["inertia"]["source"]
    assert str(tmp_path) not in json.dumps(record)
    assert run_record(analysis, now="2020-01-01T00:00:00Z")["time_utc"] == "2020-01-01T00:00:00Z"


def test_methods_follow_the_settings(analysis: Analysis) -> None:
    usual = dict(methods_text(analysis).checklist)
    other = Settings(cutoff=15.0, smoothing="after", contact_threshold=33.0, angle_zero="standing")
    changed = dict(methods_text(replace(analysis, landing=replace(analysis.landing, settings=other))).checklist)
    assert "balanced" in usual["Filter"] and "quintic splines" in usual["Filter"] and "100 Hz" in usual["Filter"]
    fixed = replace(analysis.landing, settings=Settings(smoothing="fixed"))
    filtered = dict(methods_text(replace(analysis, landing=fixed)).checklist)["Filter"]
    assert "20 Hz" in filtered and "before the dynamics" in filtered
    assert "15 Hz" in changed["Filter"] and "after dynamics on unfiltered data" in changed["Filter"]
    assert "33 N" in changed["Events"]
    assert "static trial" in changed["Joint angles"]
    assert "@harrington_2007" in usual["Hip joint centre"]


def test_tables_load_no_slow_package() -> None:
    slow = ("pandas", "matplotlib", "ezc3d")
    code = f"import sys, jointload.report.words.tables; print([m for m in {slow} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

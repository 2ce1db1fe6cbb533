"""A study folder is checked as a whole: every fault at once, each in one line that names its place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from made_study import change, sample_study

from jointload.errors import StudyError
from jointload.modeldata import shipped_folder
from jointload.study.manifest import read_study
from jointload.study.plan import split_foot
from jointload.whole_study import run_study

Row = list[str]


def faults_of(folder: Path) -> tuple[str, ...]:
    with pytest.raises(StudyError) as caught:
        read_study(folder)
    assert all("\n" not in fault for fault in caught.value.faults)
    return caught.value.faults


def test_the_sample_is_a_study() -> None:
    study = read_study(shipped_folder("sample_c3d"))
    assert [trial.name for trial in study.landings][:2] == ["rider_a_landing_flat", "rider_a_landing_wedge"]
    assert sorted(study.riders) == ["rider_a", "rider_b", "rider_c"]
    statics = {trial.rider: study.helper(trial, "static") for trial in study.landings}
    assert {rider: static and static.file for rider, static in statics.items()} == {
        rider: f"{rider}_static.c3d" for rider in study.riders
    }
    assert study.helper(study.landings[0], "hip_movement") is None
    assert study.plan.settings.cutoff == 20.0 and study.plan.baseline == "flat"


def rows_where(column: int, word: str, edit: Callable[[Row], object]) -> Callable[[list[Row]], object]:
    return lambda rows: [edit(row) for row in rows if row[column] == word]


FAULTS: dict[str, tuple[str, Callable[[list[Row]], object], str]] = {
    "a rider without a static": (
        "trials.csv",
        lambda rows: rows.remove(next(r for r in rows if r[:3] == ["rider_b_static.c3d", "rider_b", "static"])),
        "static of rider_b: expected one standing trial, found none for flat, wedge",
    ),
    "two trials with one file": (
        "trials.csv",
        lambda rows: rows.append(list(rows[2])),
        "expected one trial of each, found 2 of rider_a_landing_flat.c3d",
    ),
    "a missing condition": (
        "trials.csv",
        rows_where(0, "rider_c_landing_wedge.c3d", lambda row: row.__setitem__(3, " ")),
        "condition: expected a word, such as flat, found none",
    ),
    "conditions that differ by case": (
        "trials.csv",
        rows_where(0, "rider_c_landing_wedge.c3d", lambda row: row.__setitem__(3, "Wedge")),
        "found 'Wedge' and 'wedge'",
    ),
    "riders that differ by case": (
        "trials.csv",
        rows_where(0, "rider_c_landing_wedge.c3d", lambda row: row.__setitem__(1, "Rider_C")),
        "found 'Rider_C' and 'rider_c'",
    ),
    "a file that is not there": (
        "trials.csv",
        rows_where(0, "rider_a_landing_flat.c3d", lambda row: row.__setitem__(0, "gone.c3d")),
        "expected gone.c3d in the study folder, found no such file",
    ),
    "a file outside the folder": (
        "trials.csv",
        rows_where(0, "rider_a_landing_flat.c3d", lambda row: row.__setitem__(0, "../a.c3d")),
        "expected a path inside the study folder, found '../a.c3d'",
    ),
    "an unknown kind": (
        "trials.csv",
        rows_where(2, "static", lambda row: row.__setitem__(2, "standing")),
        "expected static or landing or hip_movement, found 'standing'",
    ),
    "two statics": (
        "trials.csv",
        lambda rows: rows.append(["rider_b_static.c3d", "rider_a", "static", "", ""]),
        "static of rider_a: expected one without a condition, found 2",
    ),
    "an impossible mass": (
        "riders.csv",
        rows_where(0, "rider_a", lambda row: row.__setitem__(1, "6100")),
        "rider mass_kg: expected a number from 20 to 250 kg, found 6100.0",
    ),
    "a mass in words": (
        "riders.csv",
        rows_where(0, "rider_a", lambda row: row.__setitem__(1, "61,5")),
        "rider mass_kg: expected a number from 20 to 250 kg, found '61,5'",
    ),
    "a rider twice": ("riders.csv", lambda rows: rows.append(list(rows[1])), "expected each id once, found rider_a"),
    "a rider without landings": (
        "riders.csv",
        lambda rows: rows.append(["rider_d", "70", "1.7", "f", "right", ""]),
        "expected a landing of each rider, found none of rider_d",
    ),
    "an unknown column": ("riders.csv", lambda rows: rows[0].__setitem__(5, "shoes"), "found 'shoes'"),
    "a missing column": ("trials.csv", lambda rows: rows[0].__setitem__(3, "note"), "found no condition"),
    "a cell too many": ("riders.csv", lambda rows: rows[1].append("flat"), "expected 6 cells, found more"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_told_with_its_place(tmp_path: Path, fault: str) -> None:
    table, edit, message = FAULTS[fault]
    study = sample_study(tmp_path / "study")
    change(study / table, edit)
    found = [line for line in faults_of(study) if message in line]
    assert found and table in found[0]


TOML_FAULTS = {
    "name = ": "expected TOML",
    "nmae = 'x'": "found nmae",
    "primary = ['knee_bend']": "found 'knee_bend'",
    "draws = 3": "a whole number from 50 on",
    "primary = 'knee_flexion_peak'": "study primary: expected a list of names",
    "[settings]\ncutof = 6": "found 'cutof'",
    "[settings]\ncutoff = 'six'": "setting cutoff: expected a number, found 'six'",
    "[settings]\nlanding_end = 'soon'": "setting landing_end: expected lowest_pelvis or",
    "[smallest_change]\nknee_flexion_peak = 0": "smallest_change knee_flexion_peak: expected a number above 0",
}


@pytest.mark.parametrize("text", TOML_FAULTS)
def test_a_fault_of_the_settings_is_told(tmp_path: Path, text: str) -> None:
    study = sample_study(tmp_path / "study")
    (study / "study.toml").write_text(text, encoding="utf-8")
    assert any(TOML_FAULTS[text] in fault for fault in faults_of(study))


def test_every_fault_is_told_at_once_and_nothing_is_written(tmp_path: Path) -> None:
    study = sample_study(tmp_path / "study")
    for table, edit, _ in (FAULTS["a rider without a static"], FAULTS["an impossible mass"]):
        change(study / table, edit)
    (study / "labels.toml").write_text("[landmarks]\nnose = 'x'\n", encoding="utf-8")
    (study / "rider_c_landing_flat.c3d").write_bytes(b"no recording")
    with pytest.raises(StudyError) as caught:
        run_study(study, tmp_path / "out")
    for words in ("static of rider_b", "rider mass_kg", "labels.toml", "rider_c_landing_flat.c3d"):
        assert any(words in fault for fault in caught.value.faults), words
    assert not (tmp_path / "out").exists()


def test_a_folder_that_is_none() -> None:
    assert "expected a folder, found none" in faults_of(Path("nowhere"))[0]


def test_a_static_of_the_same_condition_comes_first(tmp_path: Path) -> None:
    """A shoe with a wedge is another zero of the foot: its own static serves its landings."""
    study = sample_study(tmp_path / "study")
    (study / "wedge_static.c3d").write_bytes((study / "rider_a_static.c3d").read_bytes())
    change(study / "trials.csv", lambda rows: rows.append(["wedge_static.c3d", "rider_a", "static", "wedge", ""]))
    known = read_study(study)
    statics = {t.condition: known.helper(t, "static") for t in known.landings if t.rider == "rider_a"}
    assert {c: s and s.file for c, s in statics.items()} == {"flat": "rider_a_static.c3d", "wedge": "wedge_static.c3d"}


def test_semicolons_and_a_byte_order_mark_as_some_spreadsheets_write_them(tmp_path: Path) -> None:
    study = sample_study(tmp_path / "study")
    text = (study / "trials.csv").read_text(encoding="utf-8").replace(",", ";")
    (study / "trials.csv").write_text("\ufeff" + text, encoding="utf-8")
    assert read_study(study).trials == read_study(shipped_folder("sample_c3d")).trials


def test_one_file_with_two_landings(tmp_path: Path) -> None:
    study = sample_study(tmp_path / "study")

    def second(rows: list[Row]) -> None:
        for row in rows:
            row.append("")
        rows[0][-1] = "landing"
        rows.append([*rows[2][:-1], "2"])

    change(study / "trials.csv", second)
    names = [trial.name for trial in read_study(study).landings]
    assert "rider_a_landing_flat__landing_2" in names and len(names) == 7


def test_a_quantity_names_its_foot() -> None:
    assert split_foot("back_knee_flexion_peak") == ("knee_flexion_peak", "back")
    assert split_foot("knee_flexion_peak") == ("knee_flexion_peak", "")

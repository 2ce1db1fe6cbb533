"""Landings of a study on a board and with pressure insoles: the numbers of the single analysis, run again when a file
under the feet changes, and every mistake told."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pandas
import pytest
from made_study import change, every_byte, read_csv, sample_study, write_csv

from jointload.analysis import analyse
from jointload.errors import StudyError
from jointload.foot.bore import with_feet
from jointload.intake.session import read_session
from jointload.modeldata import shipped_folder
from jointload.report.words.tables import metrics_table
from jointload.study.manifest import read_study
from jointload.study_run.rerun import rerun
from jointload.whole_study import run_study

BENEATH = {
    "board": "board.toml", "pressure_left": "rider_a_board_left.csv", "pressure_right": "rider_a_board_right.csv",
    "pressure_layout": "pressure_layout.csv",
}  # fmt: skip
HEAD = ["file", "rider", "kind", "condition", *BENEATH]
BOARD_ROW = 3


def board_study(folder: Path) -> Path:
    """Rider A of the sample, a landing on two plates and one on a board with insoles."""
    study = sample_study(folder)
    change(study / "riders.csv", lambda rows: rows.__delitem__(slice(2, None)))
    rows = [
        HEAD,
        ["rider_a_static.c3d", "rider_a", "static", "", "", "", "", ""],
        ["rider_a_landing_flat.c3d", "rider_a", "landing", "flat", "", "", "", ""],
        ["rider_a_board.c3d", "rider_a", "landing", "board", *BENEATH.values()],
    ]
    write_csv(study / "trials.csv", rows)
    return study


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    place = tmp_path_factory.mktemp("beneath")
    study = board_study(place / "study")
    assert run_study(study, place / "out").analysed == 2
    return study, place / "out"


def test_numbers_are_those_of_the_single_analysis(ran: tuple[Path, Path]) -> None:
    sample = shipped_folder("sample_c3d")
    names = {"labels": "labels.toml", "rider": "rider_a.toml"} | BENEATH
    files = {role: sample / name for role, name in names.items()}
    session = read_session(sample / "rider_a_board.c3d", sample / "rider_a_static.c3d", **files)
    alone = metrics_table(with_feet(analyse(session)), "board")
    written = pandas.read_csv(ran[1] / "trials" / "rider_a_board" / "metrics.csv", keep_default_na=False, dtype=str)
    assert list(written.quantity) == list(alone.quantity)
    for name in ("value", "low", "high"):
        for text, value in zip(written[name], alone[name], strict=True):
            wanted = value if isinstance(value, str) else pytest.approx(value, nan_ok=True)
            assert (text if isinstance(value, str) else float(text or "nan")) == wanted
    wide = pandas.to_numeric(alone.high, errors="coerce") - pandas.to_numeric(alone.low, errors="coerce")
    assert (wide[alone.quantity == "knee_adduction_moment_peak"] > 1.0).all(), "two feet on one plate leave it open"


def test_pressed_regions_stand_beside_the_numbers(ran: tuple[Path, Path]) -> None:
    trials = ran[1] / "trials"
    assert {row[0] for row in read_csv(trials / "rider_a_board" / "regions.csv")[1:]} == {"rider_a_board.c3d"}
    assert not (trials / "rider_a_landing_flat" / "regions.csv").exists()


def test_the_joined_tables_say_who_stood_on_a_board_and_what_pressed(ran: tuple[Path, Path]) -> None:
    head, *rows = read_csv(ran[1] / "trials.csv")
    boards = {row[head.index("trial")]: row[head.index("board")] for row in rows}
    assert boards == {"rider_a_board": BENEATH["board"], "rider_a_landing_flat": ""}
    head, *rows = read_csv(ran[1] / "regions.csv")
    alone, *own = read_csv(ran[1] / "trials" / "rider_a_board" / "regions.csv")
    assert {row[head.index("condition")] for row in rows} == {"board"}
    for name in ("side", "place", "region", "peak_pressure_kPa", "note"):
        assert [row[head.index(name)] for row in rows] == [row[alone.index(name)] for row in own], name


def test_the_record_names_what_was_beneath_and_repeats_it(ran: tuple[Path, Path], tmp_path: Path) -> None:
    record = ran[1] / "trials" / "rider_a_board" / "run.json"
    known = json.loads(record.read_text(encoding="utf-8"))
    assert {role: known["inputs"][role]["name"] for role in BENEATH} == BENEATH
    assert rerun(record, tmp_path / "again", ran[0]).differing == ()
    assert every_byte(tmp_path / "again") == every_byte(record.parent)


@pytest.mark.parametrize(
    ("role", "old", "new"),
    [("board", "mass_kg = 2.8", "mass_kg = 3.4"), ("pressure_layout", "sensor,", "# measured anew\nsensor,")],
)
def test_a_changed_file_makes_its_trial_alone_run_again(
    ran: tuple[Path, Path], tmp_path: Path, role: str, old: str, new: str
) -> None:
    study, out = Path(shutil.copytree(ran[0], tmp_path / "study")), Path(shutil.copytree(ran[1], tmp_path / "out"))
    before = (out / "trials" / "rider_a_board" / "metrics.csv").read_bytes()
    text = (study / BENEATH[role]).read_text(encoding="utf-8")
    assert old in text
    (study / BENEATH[role]).write_text(text.replace(old, new, 1), encoding="utf-8")
    again = run_study(study, out)
    assert (again.analysed, again.unchanged, again.refused) == (1, 1, {})
    changed = (out / "trials" / "rider_a_board" / "metrics.csv").read_bytes() != before
    assert changed == (role == "board"), "a heavier board is other numbers, a comment is none"
    record = ran[1] / "trials" / "rider_a_board" / "run.json"
    with pytest.raises(StudyError, match=rf"{role} {BENEATH[role]}: expected SHA-256"):
        rerun(record, tmp_path / "again", study)


def cell(column: str, word: str, row: int = BOARD_ROW) -> Callable[[Path], None]:
    def edit(study: Path) -> None:
        change(study / "trials.csv", lambda rows: rows[row].__setitem__(HEAD.index(column), word))

    return edit


def content(file: str, text: str) -> Callable[[Path], None]:
    return lambda study: (study / file).write_text(text, encoding="utf-8") and None


FAULTS: dict[str, tuple[Callable[[Path], None], str]] = {
    "no such board": (cell("board", "gone.toml"), "board: expected gone.toml in the study folder, found no such file"),
    "a board elsewhere": (cell("board", "../board.toml"), "board: expected a path inside the study folder"),
    "no such table": (cell("pressure_left", "gone.csv"), "pressure_left: expected gone.csv in the study folder"),
    "no layout": (
        cell("pressure_layout", ""),
        "found rider_a_board_left.csv and rider_a_board_right.csv without a layout",
    ),
    "a layout alone": (cell("pressure_layout", "pressure_layout.csv", 2), "found a layout without tables"),
    "one table for two feet": (cell("pressure_left", BENEATH["pressure_right"]), "rider_a_board_right.csv twice"),
    "a board of a static": (cell("board", "board.toml", 1), "board: expected none for a static, found board.toml"),
    "a board that is no TOML": (content("board.toml", "mass_kg ="), "board file: expected TOML"),
    "a board without mass": (content("board.toml", "length_mm = 800"), "board: expected the key mass_kg"),
    "a layout that is none": (content("pressure_layout.csv", "a,b\n1,2\n"), "sensor layout: expected the columns"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_mistake_is_told_alone_and_in_one_line(tmp_path: Path, fault: str) -> None:
    edit, message = FAULTS[fault]
    study = board_study(tmp_path / "study")
    edit(study)
    with pytest.raises(StudyError) as caught:
        read_study(study)
    assert len(caught.value.faults) == 1 and "\n" not in caught.value.faults[0]
    assert message in caught.value.faults[0]


def test_a_table_that_cannot_be_read_is_told_with_the_other_faults(tmp_path: Path) -> None:
    study = board_study(tmp_path / "study")
    (study / "board.toml").write_text("mass_kg =", encoding="utf-8")
    (study / BENEATH["pressure_left"]).write_text("time,S01\n", encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        run_study(study, tmp_path / "out")
    assert [fault.split(":")[0] for fault in caught.value.faults] == ["board file", "pressure table"]
    assert not (tmp_path / "out").exists()


def test_a_table_that_cannot_be_read_refuses_its_trial_alone(ran: tuple[Path, Path], tmp_path: Path) -> None:
    """As a recording that cannot be read."""
    study, out = Path(shutil.copytree(ran[0], tmp_path / "study")), Path(shutil.copytree(ran[1], tmp_path / "out"))
    (study / BENEATH["pressure_left"]).write_text("time,S01\n", encoding="utf-8")
    done = run_study(study, out)
    assert (done.analysed, done.unchanged, list(done.refused)) == (0, 1, ["rider_a_board"])
    assert "rider_a_board_left.csv" in done.refused["rider_a_board"]

"""A recording day from an empty folder to the protocol: what is asked, judged, written, and what a study run says after
it. The sample's recordings arrive one by one; workers and clock are the test's."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from made_day import HandDay, empty_study, record
from made_study import every_byte, read_csv

from jointload.day.engine import Day, DayOptions
from jointload.day.rider import results
from jointload.errors import SettingError, StudyError
from jointload.modeldata import shipped_folder
from jointload.whole_study import run_study

FLAT, WEDGE, STATIC = "rider_a_landing_flat.c3d", "rider_a_landing_wedge.c3d", "rider_a_static.c3d"


@dataclass
class Played:
    hand: HandDay
    states: list[dict[str, Any]]


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Played]:
    """Standing trial, a landing flat and one on a wedge, each asked for and answered; then the end of the day."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(results, "DRAWS", 50)
        hand = HandDay(empty_study(tmp_path_factory.mktemp("day") / "study"))
        states = [hand.turn()]
        for file, kind, condition in ((STATIC, "static", ""), (FLAT, "landing", "flat"), (WEDGE, "landing", "wedge")):
            record(hand.folder, file)
            states.append(hand.settle())
            hand.day.answer(file, "rider_a", kind, condition)
            states.append(hand.settle())
        riders = read_csv(hand.folder / "riders.csv")
        (hand.folder / "riders.csv").write_text("\n".join(",".join(f'"{c}"' for c in row) for row in riders[:2]) + "\n")
        hand.turn()
        hand.day.finish()
        states.append(hand.settle())
        yield Played(hand, states)


def test_an_empty_folder_says_what_it_waits_for(played: Played) -> None:
    first = played.states[0]
    assert first["trials"] == [] and first["latest"] is None and first["questions"] == []
    assert [rider["id"] for rider in first["riders"]] == ["rider_a", "rider_b", "rider_c"]
    assert first["plan"]["text"] == "No plan yet." and first["end"]["stage"] == "open"


def test_every_recording_is_recognised_and_asked_for(played: Played) -> None:
    for state, kind in zip(played.states[1::2][:3], ("static", "landing", "landing"), strict=True):
        (question,) = state["questions"]
        assert (question["kind"], question["kind_sure"], question["rider"]) == (kind, True, "rider_a")
        assert state["trials"][-1]["status"] == "asked"
    assert played.states[3]["questions"][0]["condition"] == "", "nobody has named one yet"
    assert played.states[5]["questions"][0]["condition"] == "flat", "as the landing before it"


def test_trials_csv_holds_the_answers(played: Played) -> None:
    assert read_csv(played.hand.folder / "trials.csv") == [
        ["file", "rider", "kind", "condition"],
        [STATIC, "rider_a", "static", ""],
        [FLAT, "rider_a", "landing", "flat"],
        [WEDGE, "rider_a", "landing", "wedge"],
    ]


def test_the_verdict_is_the_one_of_the_results(played: Played) -> None:
    for file in (FLAT, WEDGE):
        trial = played.hand.day.trial(Path(file).stem)
        kept = json.loads((played.hand.folder / "results/trials" / trial["name"] / "run.json").read_text())
        assert (trial["word"], trial["title"]) == ("fine", "Fine")
        assert kept["verdict"]["text"] == "recording: fine"
        told = played.hand.day.book.verdicts[trial["name"]].told
        assert told["trust"] == "fine"


def test_the_numbers_are_those_of_the_results_with_their_intervals(played: Played) -> None:
    trial = played.hand.day.trial("rider_a_landing_wedge")
    head, *rows = read_csv(played.hand.folder / "results/trials/rider_a_landing_wedge/metrics.csv")
    written = {(row[head.index("quantity")], row[head.index("side")]): row for row in rows}
    assert len(trial["numbers"]) == 5
    for number in trial["numbers"]:
        for cell in number["cells"]:
            row = written[number["quantity"], cell["side"]]
            assert cell["number"] == pytest.approx(float(row[head.index("value")]), rel=1e-6)
            assert cell["interval"], "the intervals have followed"


def test_the_study_run_afterwards_gives_the_same_bytes(played: Played, tmp_path: Path) -> None:
    assert played.states[-1]["end"]["stage"] == "done", played.states[-1]["end"]
    done = run_study(played.hand.folder, tmp_path / "out")
    assert (done.analysed, done.refused) == (2, {})
    assert every_byte(tmp_path / "out") == every_byte(played.hand.folder / "results")


def test_the_protocol_lists_every_recording(played: Played) -> None:
    end = played.states[-1]["end"]
    assert [one["key"] for one in end["files"]] == ["protocol.html", "protocol.csv", "protocol.md"]
    head, *rows = read_csv(played.hand.day.file("protocol.csv"))
    assert [row[head.index("file")] for row in rows] == [STATIC, FLAT, WEDGE]
    assert {row[head.index("verdict")] for row in rows} == {"fine"}
    page = played.hand.day.file("protocol.html").read_text(encoding="utf-8")
    assert all(file in page for file in (STATIC, FLAT, WEDGE)) and "Landings tire and can hurt" in page


def test_only_what_is_listed_is_handed_out(played: Played) -> None:
    day = played.hand.day
    listed = day.trial("rider_a_landing_flat")["files"]
    assert [day.file(one["key"]).name for one in listed] == ["metrics.csv", "quality.csv", "curves.csv", "run.json"]
    for key in ("../study.toml", "trial/../../study.toml", "trial/rider_a_landing_flat/../x", "day/journal.jsonl",
                "/etc/hostname", "trials.csv", "fit/report.html", ""):  # fmt: skip
        with pytest.raises(KeyError):
            day.file(key)


def test_recordings_are_never_touched(played: Played) -> None:
    for file in (STATIC, FLAT, WEDGE):
        assert (played.hand.folder / file).read_bytes() == (shipped_folder("sample_c3d") / file).read_bytes()


def test_opened_again_it_goes_on_where_it_was(played: Played) -> None:
    before = played.hand.day.state()
    again = HandDay(played.hand.folder)
    after = again.settle()
    assert after["trials"] == before["trials"] and after["plan"] == before["plan"]
    assert not [key for lane in again.lanes for key in lane.done if not key.startswith("look")], "nothing is done twice"  # type: ignore[attr-defined]
    assert after["latest"] == before["latest"]


def test_whoever_waits_is_told_of_a_change(played: Played) -> None:
    day = played.hand.day
    revision = day.revision
    assert day.wait_for_change(revision, 0.01) == revision
    day.want("rider_a", "flat", 4)
    assert day.wait_for_change(revision, 0.01) > revision
    assert day.state()["revision"] == day.revision
    assert read_csv(played.hand.folder / "plan.csv")[1:] == [["rider_a", "flat", "4"], ["rider_a", "wedge", "3"]]


# Answers ------------------------------------------------------------------------------------------------------------


@pytest.fixture
def hand(tmp_path: Path) -> HandDay:
    """A day whose results nobody writes."""
    return HandDay(empty_study(tmp_path / "study"), skipped=("result",))


def test_a_landing_waits_for_its_standing_trial(hand: HandDay) -> None:
    record(hand.folder, FLAT)
    hand.settle()
    hand.day.answer(FLAT, "rider_a", "landing", "flat")
    row = hand.settle()["trials"][0]
    assert (row["status"], row["word"]) == ("waits", "")
    assert row["reason"].startswith("Record the standing trial of rider_a")
    record(hand.folder, STATIC)
    hand.settle()
    hand.day.answer(STATIC, "rider_a", "static")
    assert [row["word"] for row in hand.settle()["trials"]] == ["fine", "fine"]


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        ({"rider": "rider_x"}, "rider: expected rider_a, rider_b, rider_c, found 'rider_x'"),
        ({"condition": " "}, "condition: expected a word, such as flat, found none"),
        ({"kind": "walk"}, "kind: expected landing, static, hip_movement, found 'walk'"),
        ({"landing": 0}, "landing: expected a number from 1 to 99, found 0"),
        ({"file": "other.c3d"}, "recording: expected one of this day, found 'other.c3d'"),
    ],
)
def test_an_answer_that_cannot_be_is_refused_in_one_line(hand: HandDay, answer: dict[str, Any], why: str) -> None:
    record(hand.folder, FLAT)
    hand.settle()
    with pytest.raises(SettingError) as caught:
        hand.day.answer(**{"file": FLAT, "rider": "rider_a", "condition": "flat"} | answer)
    assert why in str(caught.value) and "\n" not in str(caught.value)
    assert not (hand.folder / "trials.csv").exists()


def test_an_answer_is_corrected_and_spelt_as_before(hand: HandDay) -> None:
    for file in (FLAT, WEDGE):
        record(hand.folder, file)
    hand.settle()
    hand.day.answer(FLAT, "rider_b", "landing", "Flat")
    hand.day.answer(WEDGE, "rider_a", "landing", "flat ")
    hand.day.answer(FLAT, "rider_a", "landing", "FLAT")
    assert read_csv(hand.folder / "trials.csv")[1:] == [
        [FLAT, "rider_a", "landing", "Flat"],
        [WEDGE, "rider_a", "landing", "Flat"],
    ]


def test_a_second_standing_trial_takes_the_place_of_the_first_when_told(hand: HandDay) -> None:
    record(hand.folder, STATIC)
    hand.settle()
    hand.day.answer(STATIC, "rider_a", "static")
    record(hand.folder, "again.c3d", STATIC)
    (question,) = hand.settle()["questions"]
    assert question["earlier"] == STATIC and question["why"] == f"the same content as {STATIC}"
    with pytest.raises(SettingError, match=r"expected one of each rider, found rider_a_static\.c3d already"):
        hand.day.answer("again.c3d", "rider_a", "static")
    hand.day.answer("again.c3d", "rider_a", "static", replaces=True)
    state = hand.settle()
    assert [row["status"] for row in state["trials"]] == ["left_out", "done"]
    assert state["questions"] == []
    assert read_csv(hand.folder / "trials.csv")[1:] == [["again.c3d", "rider_a", "static", ""]]


def test_what_is_left_out_is_not_asked_for_again_and_comes_back(hand: HandDay) -> None:
    record(hand.folder, FLAT)
    hand.settle()
    hand.day.answer(FLAT, "rider_a", "landing", "flat")
    with pytest.raises(SettingError, match="say why"):
        hand.day.leave_out(FLAT, " ")
    hand.day.leave_out(FLAT, "slipped")
    again = HandDay(hand.folder, skipped=("result",))
    state = again.settle()
    assert state["questions"] == [] and again.row(FLAT)["reason"] == "Left out: slipped"
    assert [(one["rider"], one["landings"]) for one in state["session"]] == [("rider_a", 1)], "landed all the same"
    again.day.answer(FLAT, "rider_a", "landing", "flat")
    assert again.settle()["trials"][0]["status"] == "waits"


def test_columns_and_rows_of_a_person_stay(hand: HandDay) -> None:
    (hand.folder / "trials.csv").write_text(
        'file;rider;kind;condition;style;note\nrider_b_static.c3d;rider_b;static;;;"quiet; twice"\n', encoding="utf-8"
    )
    record(hand.folder, FLAT)
    hand.settle()
    hand.day.answer(FLAT, "rider_a", "landing", "flat")
    assert (hand.folder / "trials.csv").read_text(encoding="utf-8").splitlines() == [
        "file;rider;kind;condition;style;note",
        'rider_b_static.c3d;rider_b;static;;;"quiet; twice"',
        f"{FLAT};rider_a;landing;flat;;",
    ]


def test_a_row_that_a_person_writes_into_trials_csv_is_taken(hand: HandDay) -> None:
    record(hand.folder, STATIC)
    assert len(hand.settle()["questions"]) == 1
    (hand.folder / "trials.csv").write_text(f"file,rider,kind,condition\n{STATIC},rider_a,static,\n", encoding="utf-8")
    state = hand.settle()
    assert state["questions"] == [] and state["trials"][0]["word"] == "fine"


def test_a_landing_that_cannot_be_used_is_to_be_recorded_again(hand: HandDay) -> None:
    record(hand.folder, STATIC)
    record(hand.folder, "wrong.c3d", "rider_b_static.c3d")
    (hand.folder / "trials.csv").write_text(
        f"file,rider,kind,condition\n{STATIC},rider_a,static,\nwrong.c3d,rider_a,landing,flat\n", encoding="utf-8"
    )
    hand.settle()
    trial = hand.day.trial("wrong")
    assert trial["word"] == "again" and trial["title"].startswith("Record again") and trial["reason"].endswith(".")
    assert trial["numbers"] == [] or trial["checks"]
    assert hand.day.state()["plan"]["rows"][0] | {"again": 1, "usable": 0} == hand.day.state()["plan"]["rows"][0]


def test_the_plan_counts_usable_landings(tmp_path: Path) -> None:
    study = empty_study(tmp_path / "study")
    (study / "plan.csv").write_text("rider,condition,landings\nrider_a,flat,1\nrider_a,wedge,2\n", encoding="utf-8")
    hand = HandDay(study, skipped=("result",))
    assert hand.turn()["plan"]["next"]["text"] == "rider_a, flat: landing 1 of 1"
    for file in (STATIC, FLAT):
        record(study, file)
    hand.settle()
    hand.day.answer(STATIC, "rider_a", "static")
    hand.day.answer(FLAT, "rider_a", "landing", "flat")
    plan = hand.settle()["plan"]
    assert [(row["usable"], row["left"]) for row in plan["rows"]] == [(1, 0), (0, 2)]
    assert plan["next"]["text"] == "rider_a, wedge: landing 1 of 2" and plan["text"] == "2 of 3 landings left."


# What cannot be opened ----------------------------------------------------------------------------------------------


def test_a_folder_without_tables_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(StudyError) as caught:
        Day(tmp_path)
    assert any("riders.csv does not exist" in fault for fault in caught.value.faults)


@pytest.mark.parametrize(
    ("name", "text", "why"),
    [
        ("plan.csv", "rider,landings\nrider_a,3\n", "expected the columns rider,condition,landings"),
        ("plan.csv", "rider,condition,landings\nrider_a,flat,many\n", "row 2; correct it"),
        ("plan.csv", "rider,condition,landings\nrider_a,flat,1\nrider_a,flat,2\n", "rider_a, flat twice"),
        ("day.toml", "[limit]\nlandings = 3\n", "day: expected the keys limits, shapes, fitting, found limit"),
        ("day.toml", "[limits]\nlandings = -3\n", "limits landings: expected a number, 0 for none, found -3"),
        ("day.toml", '[fitting]\nrider = "rider_a"\nside = "back"\n', "expected a rider, and right or left"),
        ("day.toml", '[fitting]\nrider = "a"\nside = "left"\ntarget = "speed"\n', "target: expected one of"),
    ],
)
def test_a_table_that_cannot_be_meant_is_told_in_one_line(tmp_path: Path, name: str, text: str, why: str) -> None:
    study = empty_study(tmp_path / "study")
    (study / name).write_text(text, encoding="utf-8")
    with pytest.raises(SettingError) as caught:
        Day(study)
    assert why in str(caught.value) and "\n" not in str(caught.value)


def test_a_replay_is_never_played_over_other_recordings(tmp_path: Path) -> None:
    study = empty_study(tmp_path / "study")
    record(study, "mine.c3d", FLAT)
    for folder in (study, shipped_folder("sample_c3d")):
        with pytest.raises(SettingError, match="replay: expected a new folder"):
            Day(folder, DayOptions(replay=shipped_folder("sample_c3d")))

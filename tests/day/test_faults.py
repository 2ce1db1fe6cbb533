"""What goes wrong on a recording day, each once: nothing is lost, and the page is told in a sentence."""

from __future__ import annotations

import errno
import os
import shutil
import time
from pathlib import Path

import pytest
from made_day import HandDay, another, empty_study, record
from made_study import every_byte, read_csv

from jointload.day.disk import AGAIN_SECONDS
from jointload.day.folder.journal import Journal
from jointload.day.lanes import Lane
from jointload.day.rider import results
from jointload.errors import OutputError, SettingError

FLAT, WEDGE, STATIC = "rider_a_landing_flat.c3d", "rider_a_landing_wedge.c3d", "rider_a_static.c3d"
TRIALS = "\n".join(
    ("file,rider,kind,condition", f"{STATIC},rider_a,static,", f"{FLAT},rider_a,landing,flat",
     f"{WEDGE},rider_a,landing,wedge", "")
)  # fmt: skip


@pytest.fixture
def study(tmp_path: Path) -> Path:
    return empty_study(tmp_path / "study")


@pytest.fixture
def listed(study: Path) -> Path:
    """The same with a trials.csv that lists a standing trial and two landings to come."""
    (study / "trials.csv").write_text(TRIALS, encoding="utf-8")
    return study


# Damaged and replaced -----------------------------------------------------------------------------------------------


def test_a_damaged_file_is_to_be_recorded_again_and_its_new_version_counts(listed: Path) -> None:
    hand = HandDay(listed, skipped=("result",))
    record(listed, STATIC)
    whole = record(listed, FLAT).read_bytes()
    (listed / FLAT).write_bytes(whole[: len(whole) // 2])
    row = next(row for row in hand.damaged()["trials"] if row["file"] == FLAT)
    assert (row["word"], row["version"]) == ("again", 1)
    assert "it was cut short" in hand.day.trial("rider_a_landing_flat")["advice"]
    (listed / FLAT).write_bytes(whole)
    hand.settle()
    trial = hand.day.trial("rider_a_landing_flat")
    assert (trial["word"], trial["version"]) == ("fine", 2)
    assert [(one["version"], one["word"]) for one in trial["versions"]] == [(1, "again"), (2, "fine")]


def test_a_damaged_file_that_nobody_listed_is_told_and_not_asked_for(study: Path) -> None:
    hand = HandDay(study)
    (study / "broken.c3d").write_bytes(os.urandom(4096))
    state = hand.damaged()
    assert state["questions"] == [] and state["latest"]["word"] == "again"
    assert "broken.c3d" not in state["latest"]["reason"] or state["latest"]["reason"]
    assert str(study) not in state["latest"]["reason"], "no long paths on the page"


def test_a_new_version_is_judged_and_written_anew(listed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(results, "DRAWS", 50)
    hand = HandDay(listed)
    record(listed, STATIC)
    record(listed, FLAT)
    hand.settle()
    before = every_byte(listed / "results" / "trials")
    record(listed, FLAT, WEDGE)
    state = hand.settle()
    assert state["latest"]["version"] == 2 and state["latest"]["status"] == "done"
    after = every_byte(listed / "results" / "trials")
    assert set(before) == set(after) and before != after
    record(listed, FLAT, WEDGE)
    os.utime(listed / FLAT)
    assert hand.settle()["latest"]["version"] == 2, "the same bytes are no new version"


def test_a_new_standing_trial_judges_its_landings_anew(listed: Path) -> None:
    hand = HandDay(listed, skipped=("result",))
    record(listed, STATIC)
    record(listed, FLAT)
    hand.settle()
    done = list(hand.lanes.quick.done)  # type: ignore[attr-defined]
    another(listed, STATIC, STATIC, 5)
    hand.settle()
    more = hand.lanes.quick.done[len(done) :]  # type: ignore[attr-defined]
    assert more == [f"look {STATIC}", "judge rider_a_static", "judge rider_a_landing_flat"]


# A folder that goes and comes ---------------------------------------------------------------------------------------


def test_a_folder_vanishes_and_returns(listed: Path) -> None:
    hand = HandDay(listed, skipped=("result",))
    record(listed, STATIC)
    hand.settle()
    aside = listed.with_name("aside")
    shutil.copytree(listed, aside)
    shutil.rmtree(listed)
    state = hand.turn(1.0, times=3)
    assert state["connection"]["folder"] == "gone" and "Nothing is lost" in state["connection"]["text"]
    assert [row["word"] for row in state["trials"]] == ["fine"], "what is known stays"
    assert not listed.exists(), "nothing is written where a share was"
    shutil.copytree(aside, listed)
    record(listed, FLAT)
    state = hand.settle()
    assert state["connection"]["folder"] == "there"
    assert [(row["word"], row["version"]) for row in state["trials"]] == [("fine", 1), ("fine", 1)]


def test_an_answer_is_never_written_where_a_share_was(study: Path) -> None:
    """A share that is gone leaves an empty folder: the answer waits for the share."""
    hand = HandDay(study, skipped=("judge", "result"))
    record(study, STATIC)
    hand.settle()
    aside = study.with_name("aside")
    study.rename(aside)
    study.mkdir()
    hand.day.answer(STATIC, "rider_a", "static")
    state = hand.turn(AGAIN_SECONDS, times=3)
    assert state["disk"]["waiting"] == 1 and "the folder is gone" in state["disk"]["text"]
    assert not list(study.iterdir())
    with pytest.raises(SettingError, match="the folder is gone"):
        hand.day.want("rider_a", "flat", 3)
    study.rmdir()
    aside.rename(study)
    state = hand.turn(2 * AGAIN_SECONDS, times=3)
    assert state["disk"]["waiting"] == 0 and not state["disk"]["full"]
    assert read_csv(study / "trials.csv")[1:] == [[STATIC, "rider_a", "static", ""]]
    assert HandDay(study).day.state()["trials"][0]["rider"] == "rider_a", "the journal has it, too"


def test_a_folder_that_vanishes_while_a_landing_is_judged_costs_nothing(listed: Path) -> None:
    hand = HandDay(listed, skipped=("result",))
    record(listed, STATIC)
    hand.settle()
    record(listed, FLAT)
    hand.turn()
    hand.clock.now += 1.0
    while not hand.lanes.quick.waiting or not hand.lanes.quick.waiting[0][0].startswith("judge"):  # type: ignore[attr-defined]
        hand.turn()
    aside = listed.with_name("aside")
    listed.rename(aside)
    hand.turn(1.0, times=3)
    assert hand.row(FLAT)["word"] == "", "a verdict on nothing does not count"
    aside.rename(listed)
    hand.settle()
    assert hand.row(FLAT)["word"] == "fine"


# A full disk --------------------------------------------------------------------------------------------------------


def full(*_: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_an_answer_on_a_full_disk_waits_and_trials_csv_stays_whole(
    study: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (study / "trials.csv").write_text("file,rider,kind,condition\n", encoding="utf-8")
    hand = HandDay(study, skipped=("result", "judge"))
    record(study, STATIC)
    hand.settle()
    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        hand.day.answer(STATIC, "rider_a", "static")
        state = hand.turn(AGAIN_SECONDS, times=3)
        assert state["disk"]["full"] and state["disk"]["waiting"] == 1
        assert "No space left on device" in state["disk"]["text"] and "Nothing is lost" in state["disk"]["text"]
        assert (study / "trials.csv").read_text(encoding="utf-8") == "file,rider,kind,condition\n"
    state = hand.turn(2 * AGAIN_SECONDS, times=3)
    assert state["disk"] == {"full": False, "waiting": 0, "text": ""}
    assert read_csv(study / "trials.csv")[1:] == [[STATIC, "rider_a", "static", ""]]
    assert not list(study.glob(".*draft")), "no draft is left"
    assert HandDay(study).settle()["trials"][0]["rider"] == "rider_a"


def test_results_on_a_full_disk_are_written_when_there_is_room(listed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(results, "DRAWS", 50)
    hand = HandDay(listed)
    record(listed, STATIC)
    record(listed, FLAT)
    with monkeypatch.context() as patch:
        patch.setattr("jointload.study_run.trial.write_draft", lambda *_: (_ for _ in ()).throw(OutputError("no room")))
        state = hand.settle()
        assert state["disk"]["full"] and "no room" in state["disk"]["text"]
        assert state["trials"][1]["word"] == "fine" and state["trials"][1]["status"] == "intervals"
    hand.clock.now += 2 * AGAIN_SECONDS
    state = hand.settle()
    assert not state["disk"]["full"] and state["trials"][1]["status"] == "done"
    assert (listed / "results/trials/rider_a_landing_flat/run.json").is_file()


def test_a_journal_line_that_a_kill_cut_short_is_left_out(tmp_path: Path) -> None:
    journal = Journal(tmp_path)
    journal.add("arrived", file="one.c3d")
    journal.flush()
    with journal.path.open("ab") as file:
        file.write(b'{"what": "arrived", "fi')
    again = Journal(tmp_path)
    again.add("arrived", file="two.c3d")
    again.flush()
    assert [entry["file"] for entry in Journal(tmp_path).entries()] == ["one.c3d", "two.c3d"]


def test_a_fault_of_the_program_is_told_and_the_day_goes_on(listed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hand = HandDay(listed, skipped=("result",))
    record(listed, STATIC)
    with monkeypatch.context() as patch:
        patch.setattr(hand.day.book, "trials", lambda: 1 / 0)
        hand.day.safe_turn()
        revision = hand.day.revision
        hand.day.safe_turn()
        assert hand.day.revision == revision, "told once"
    assert hand.day.state()["faults"] == ["unforeseen ZeroDivisionError: division by zero; the day goes on"]
    assert hand.settle()["trials"][0]["word"] == "fine"


# Clocks, and many landings ------------------------------------------------------------------------------------------


def test_a_clock_that_is_set_back_changes_no_order(listed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hand = HandDay(listed, skipped=("result",))
    record(listed, STATIC)
    record(listed, FLAT)
    hand.settle()
    real = time.localtime
    monkeypatch.setattr(time, "localtime", lambda *args: real((args[0] if args else time.time()) - 7200))
    monkeypatch.setattr(time, "strftime", lambda form, *_: "10:00:00" if "H" in form else "2026-01-01")
    os.utime(record(listed, WEDGE), (1e9, 1e9))
    state = hand.settle()
    assert [(row["file"], row["order"]) for row in state["trials"]] == [(STATIC, 1), (FLAT, 2), (WEDGE, 3)]
    assert state["latest"]["file"] == WEDGE
    assert [(one["landings"], one["since_last_s"]) for one in state["session"]] == [(2, 0)], "both are of today"


def test_what_was_there_before_the_day_is_not_counted_as_landed_today(listed: Path) -> None:
    os.utime(record(listed, STATIC), (1e9, 1e9))
    os.utime(record(listed, FLAT), (1e9, 1e9))
    hand = HandDay(listed, skipped=("result",))
    assert hand.settle()["session"] == []
    record(listed, WEDGE)
    assert [one["landings"] for one in hand.settle()["session"]] == [1]


@pytest.mark.parametrize(
    ("name", "text", "fault"),
    [
        ("study.toml", "name = ", "expected TOML"),
        ("riders.csv", "id;mass\n", "columns: expected id"),
        ("trials.csv", "half a line", "columns: expected file"),
        ("plan.csv", "rider", "plan: expected the columns"),
        ("day.toml", "[limits", "expected TOML"),
    ],
)
def test_a_table_under_somebodys_hands_leaves_what_was_known(listed: Path, name: str, text: str, fault: str) -> None:
    hand = HandDay(listed, skipped=("result",))
    record(listed, STATIC)
    before, whole = hand.settle(), (listed / name).read_text(encoding="utf-8") if (listed / name).exists() else None
    done = len(hand.lanes.quick.done)  # type: ignore[attr-defined]
    (listed / name).write_text(text, encoding="utf-8")
    state = hand.settle()
    assert any(fault in line for line in state["faults"]), state["faults"]
    assert state["trials"] == before["trials"] and state["riders"] == before["riders"]
    assert len(hand.lanes.quick.done) == done, "nothing is judged anew"  # type: ignore[attr-defined]
    (listed / name).unlink() if whole is None else (listed / name).write_text(whole, encoding="utf-8")
    assert hand.settle()["faults"] == []


def test_three_hundred_landings_in_a_day(study: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The book of a long day: a short row a landing for the page, and as much work for the last one as for the first.
    The verdicts are made up; time and memory are measured in tests/benchmarks/day.py."""
    verdict = {"word": "fine", "title": "Fine", "trust": "fine", "reason": "None.", "advice": "", "checks": [],
               "seconds": 0.1, "force_bw": 2.5}  # fmt: skip
    numbers = [
        {"quantity": "knee_flexion_peak", "text": "peak knee flexion", "unit": "deg",
         "cells": [{"side": "right", "number": 80.0, "value": "80.0", "interval": "", "note": ""}]}
    ]  # fmt: skip
    monkeypatch.setattr("jointload.day.tasks.judged", lambda asked: verdict | {"numbers": numbers})
    hand = HandDay(study, skipped=("result",), at_once=True)
    lines = ["file,rider,kind,condition", f"{STATIC},rider_a,static,"]
    record(study, STATIC)
    for k in range(300):
        another(study, f"take_{k:03}.c3d", FLAT, k)
        lines.append(f"take_{k:03}.c3d,rider_a,landing,flat")
    (study / "trials.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    monkeypatch.setattr("jointload.day.tasks.recognised", lambda look: {
        "whole": True, "problem": "", "sha256": Path(look.path).name, "kind": "landing", "sure": True})  # fmt: skip
    hand.turn()
    hand.clock.now += 1.0
    while hand.lanes.quick.busy or not hand.day.book.verdicts:
        hand.day.turn()
    state = hand.day.state()
    assert len(state["trials"]) == 301 and state["session"][0]["landings"] == 300
    assert len(str(state)) < 250_000
    assert len(hand.day.trial("take_299")["numbers"][0]["cells"][0]["earlier"]) == 299


# Workers ------------------------------------------------------------------------------------------------------------


def dies(_: object) -> None:
    os._exit(1)


def sleeps(_: object) -> None:
    time.sleep(60)


def doubles(number: int) -> int:
    return 2 * number


def test_a_worker_that_dies_or_hangs_is_replaced_and_the_lane_goes_on() -> None:
    lane = Lane("jointload.errors", most_seconds=0.5)
    try:
        lane.put("dies", dies, None)
        lane.put("hangs", sleeps, None)
        lane.put("doubles", doubles, 21)
        found = {}
        deadline = time.monotonic() + 60
        while len(found) < 3 and time.monotonic() < deadline:
            if lane.at is not None and lane.at.key == "doubles":
                lane.most_seconds = 60.0
            found |= {done.key: done.answer for done in lane.step()}
            time.sleep(0.01)
        assert found == {"dies": None, "hangs": None, "doubles": 42}
    finally:
        lane.close()

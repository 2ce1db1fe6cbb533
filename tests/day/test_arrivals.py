"""A recording is taken when size, time and content are at rest, by a clock that nobody can set back."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from made_day import Clock, HandDay, another, empty_study, record

from jointload.day.folder.arrivals import PATIENCE_SECONDS, REST_SECONDS, Arrivals
from jointload.modeldata import shipped_folder

SAMPLE = "rider_a_landing_flat.c3d"


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def arrivals(tmp_path: Path, clock: Clock) -> Arrivals:
    return Arrivals(empty_study(tmp_path / "study"), ("study.toml",), clock)


def test_a_file_at_rest_is_handed_out_once(arrivals: Arrivals, clock: Clock) -> None:
    record(arrivals.folder, SAMPLE)
    assert arrivals.look().ready == ()
    clock.now += 0.9 * REST_SECONDS
    assert arrivals.look().ready == ()
    clock.now += 0.2 * REST_SECONDS
    (ready,) = arrivals.look().ready
    assert ready.file == SAMPLE and not ready.last
    assert arrivals.look().ready == ()
    assert arrivals.read(ready, whole=True)
    clock.now += 100
    look = arrivals.look()
    assert look.ready == () and look.arriving == ()


def test_a_file_that_grows_is_left_alone(arrivals: Arrivals, clock: Clock) -> None:
    content = (shipped_folder("sample_c3d") / SAMPLE).read_bytes()
    for share in range(1, 9):
        (arrivals.folder / SAMPLE).write_bytes(content[: share * len(content) // 8])
        look = arrivals.look()
        assert look.ready == () and look.arriving[0][:2] == (SAMPLE, share * len(content) // 8)
        clock.now += 0.9 * REST_SECONDS
    clock.now += REST_SECONDS
    assert [one.file for one in arrivals.look().ready] == [SAMPLE]


def test_a_file_that_changes_while_it_is_read_does_not_count(arrivals: Arrivals, clock: Clock) -> None:
    path = record(arrivals.folder, SAMPLE)
    arrivals.look()
    clock.now += REST_SECONDS
    (ready,) = arrivals.look().ready
    path.write_bytes(path.read_bytes() + b"\0" * 512)
    arrivals.look()
    assert not arrivals.read(ready, whole=True)
    clock.now += REST_SECONDS
    assert len(arrivals.look().ready) == 1


def test_a_cut_file_is_read_again_and_called_damaged_late(arrivals: Arrivals, clock: Clock) -> None:
    (arrivals.folder / SAMPLE).write_bytes(b"cut short")
    began, reads, last = clock.now, [], False
    while not last:
        for ready in arrivals.look().ready:
            reads.append(clock.now - began)
            last = ready.last
            assert arrivals.read(ready, whole=False) == last
        clock.now += 0.1
    assert len(reads) >= 4 and reads[-1] >= PATIENCE_SECONDS


def test_drafts_our_own_folders_and_other_files_are_no_recordings(arrivals: Arrivals, clock: Clock) -> None:
    for name in ("results", "day", "monday"):
        (arrivals.folder / name).mkdir()
        record(arrivals.folder / name, SAMPLE)
    record(arrivals.folder, f".{SAMPLE}", SAMPLE)
    (arrivals.folder / "notes.txt").write_text("none", encoding="utf-8")
    arrivals.look()
    clock.now += REST_SECONDS
    assert [one.file for one in arrivals.look().ready] == [f"monday/{SAMPLE}"]


def test_times_of_change_from_another_clock_do_no_harm(arrivals: Arrivals, clock: Clock) -> None:
    """The cameras' computer is a year behind, then a year ahead: rest is what nobody changes, by our clock."""
    path = record(arrivals.folder, SAMPLE)
    arrivals.look()
    for away in (-365, 365):
        when = path.stat().st_mtime + 86400 * away
        os.utime(path, (when, when))
        clock.now += 2 * REST_SECONDS
        assert arrivals.look().ready == (), "a new time is a change"
        clock.now += REST_SECONDS
        (ready,) = arrivals.look().ready
        assert arrivals.read(ready, whole=True)


def test_a_folder_that_is_gone_or_empty_is_told(arrivals: Arrivals, clock: Clock) -> None:
    record(arrivals.folder, SAMPLE)
    arrivals.look()
    aside = arrivals.folder.with_name("aside")
    arrivals.folder.rename(aside)
    assert not arrivals.look().there
    arrivals.folder.mkdir()
    assert not arrivals.look().there, "a share that is gone leaves an empty folder"
    arrivals.folder.rmdir()
    shutil.copytree(aside, arrivals.folder)
    assert arrivals.look().there
    clock.now += REST_SECONDS
    assert [one.file for one in arrivals.look().ready] == [SAMPLE]


def test_a_file_made_at_its_full_size_and_filled_later_is_waited_for(tmp_path: Path) -> None:
    study = empty_study(tmp_path / "study")
    hand = HandDay(study, skipped=("judge", "result"))
    content = (shipped_folder("sample_c3d") / SAMPLE).read_bytes()
    (study / SAMPLE).write_bytes(content[: len(content) // 2] + b"\0" * (len(content) - len(content) // 2))
    hand.turn()
    state = hand.turn(REST_SECONDS, times=4)
    assert state["trials"] == [] and state["arriving"][0]["file"] == SAMPLE
    (study / SAMPLE).write_bytes(content)
    assert hand.settle()["trials"][0]["version"] == 1


def test_two_files_at_once_are_both_taken(tmp_path: Path) -> None:
    study = empty_study(tmp_path / "study")
    hand = HandDay(study, skipped=("judge", "result"))
    another(study, "one.c3d", SAMPLE, 1)
    another(study, "two.c3d", SAMPLE, 2)
    state = hand.settle()
    assert sorted(row["file"] for row in state["trials"]) == ["one.c3d", "two.c3d"]
    assert [row["order"] for row in state["trials"]] == [1, 2]

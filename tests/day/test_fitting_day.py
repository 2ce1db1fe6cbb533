"""A fitting in one day, from the flat insole to the rider's own answer, with the real search on few drawn persons. The
landings on the shapes are the sample's on its wedge, under other names: what they tell is not judged here."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from few import few_draws
from made_day import HandDay, empty_study, record
from made_study import read_csv

from jointload.insole.shape.conditions import read_conditions

FLAT, WEDGE, STATIC = "rider_a_landing_flat.c3d", "rider_a_landing_wedge.c3d", "rider_a_static.c3d"


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[HandDay, dict[str, Any]]]:
    """Baseline of one landing, as plan.csv wants it, and the first search."""
    with few_draws():
        study = empty_study(tmp_path_factory.mktemp("day") / "study")
        (study / "plan.csv").write_text("rider,condition,landings\nrider_a,flat,1\n", encoding="utf-8")
        hand = HandDay(study, skipped=("result",), at_once=True)
        hand.turn()
        hand.day.fit("rider_a", "right", "knee_adduction_moment")
        assert hand.settle()["fitting"]["text"] == "Record 1 more on the flat insole."
        for file, kind, condition in ((STATIC, "static", ""), (FLAT, "landing", "flat")):
            record(study, file)
            hand.settle()
            hand.day.answer(file, "rider_a", kind, condition)
        yield hand, hand.settle()["fitting"]


def test_after_the_baseline_two_shapes_are_asked_for(fitted: tuple[HandDay, dict[str, Any]]) -> None:
    hand, told = fitted
    assert (told["stage"], told["working"], told["problem"]) == ("shapes", False, "")
    assert len(told["next"]) == 2 and all(shape["left"] == 5 for shape in told["next"])
    assert not told["answer"]["calibrated"] and told["answer"]["landings"] == 1
    assert "of the spread of this rider's answer" in told["narrows"] and not told["stop"]["now"]
    plan = [(row["condition"], row["needed"], row["because"]) for row in hand.day.state()["plan"]["rows"]]
    assert plan == [("flat", 1, "plan"), *((shape["condition"], 5, "fitting") for shape in told["next"])]


def test_its_files_are_those_of_a_fit(fitted: tuple[HandDay, dict[str, Any]]) -> None:
    hand, told = fitted
    paths = {one["key"]: hand.day.file(one["key"]) for one in told["files"]}
    assert "fit/report.html" in paths and all(path.stat().st_size for path in paths.values())
    rows = read_conditions(hand.folder / "conditions_rider_a.csv", "right")
    assert [(row.file.name, row.shape) for row in rows] == [(FLAT, None)]


def test_with_the_shapes_the_answer_is_the_riders_own(fitted: tuple[HandDay, dict[str, Any]]) -> None:
    hand, told = fitted
    with few_draws():
        text = (hand.folder / "trials.csv").read_text(encoding="utf-8")
        for shape in told["next"]:
            for k in range(shape["landings"]):
                name = f"{shape['condition']}_{k}.c3d".replace(":", "_").replace(" ", "_")
                record(hand.folder, name, WEDGE)
                text += f"{name},rider_a,landing,{shape['condition']}\n"
        (hand.folder / "trials.csv").write_text(text, encoding="utf-8")
        after = hand.settle()["fitting"]
    assert after["answer"]["calibrated"] and len(after["answer"]["measured"]) == 2
    assert after["answer"]["landings"] == 11
    assert after["stage"] in ("shapes", "answered") and not after["working"]
    assert len(read_csv(hand.folder / "conditions_rider_a.csv")) == 12
    again = HandDay(hand.folder, skipped=("result",))
    assert again.settle()["fitting"]["answer"] == after["answer"], "kept over a restart"
    assert not again.lanes.fit.done, "and not searched again"  # type: ignore[attr-defined]


def test_a_fitting_that_cannot_be_searched_says_why(tmp_path: Path) -> None:
    study = empty_study(tmp_path / "study")
    hand = HandDay(study)
    hand.turn()
    with pytest.raises(Exception, match="rider: expected rider_a, rider_b, rider_c, found 'x'"):
        hand.day.fit("x", "right")
    with pytest.raises(Exception, match="right or left"):
        hand.day.fit("rider_a", "back")
    hand.day.fit("rider_a", "left")
    assert hand.day.state()["fitting"]["stage"] == "baseline"
    hand.day.stop_fitting()
    assert hand.day.state()["fitting"] is None
    assert HandDay(study).day.state()["fitting"] is None

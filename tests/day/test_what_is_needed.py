"""What the day still needs: the plan, the limits of a laboratory, the stages of a fitting, and when to stop."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from jointload.day.folder.settings import Aim, Limits
from jointload.day.folder.tables import with_trial, without_trial
from jointload.day.rider.fitting import Stage, condition_of, enough_shapes, told_stage
from jointload.day.rider.plan import Counted, planned
from jointload.day.rider.stop_rule import END, chance_of_change, normal_of_ends
from jointload.day.rider.strain import Landed, strained
from jointload.errors import SettingError
from jointload.insole.shape.geometry import parse_wedge

RIDERS = ["rider_a", "rider_b"]


def landed(*words: str, rider: str = "rider_a", condition: str = "flat") -> list[Counted]:
    return [Counted(rider, condition, word) for word in words]


# Plan ---------------------------------------------------------------------------------------------------------------


def test_only_usable_landings_count() -> None:
    wants = [("rider_a", "flat", 3), ("rider_b", "flat", 2)]
    told = planned(wants, (), landed("fine", "again", "usable", ""), RIDERS, {})
    row = told["rows"][0]
    assert (row["usable"], row["again"], row["waiting"], row["left"]) == (2, 1, 1, 1)
    assert told["next"]["text"] == "rider_a, flat: landing 3 of 3" and told["text"] == "3 of 5 landings left."


def test_the_rider_who_landed_last_goes_on() -> None:
    wants = [("rider_a", "flat", 3), ("rider_b", "flat", 2)]
    told = planned(wants, (), landed("fine") + landed("fine", rider="rider_b"), RIDERS, {})
    assert told["next"]["rider"] == "rider_b"


def test_without_a_plan_it_follows_from_the_first_trials() -> None:
    assert planned(None, (), [], RIDERS, {})["text"] == "No plan yet."
    told = planned(None, (), landed("fine"), RIDERS, {})
    assert [(row["rider"], row["condition"], row["needed"], row["because"]) for row in told["rows"]] == [
        (rider, "flat", 3, "first trials") for rider in RIDERS
    ]


def test_a_limit_stops_the_plan_and_a_fitting_adds_to_it() -> None:
    fitting = [("rider_a", "flat", 3), ("rider_a", "medial:6 full", 5)]
    told = planned([("rider_a", "flat", 2)], fitting, landed("fine"), RIDERS, {})
    assert [(row["condition"], row["needed"], row["because"]) for row in told["rows"]] == [
        ("flat", 3, "fitting"),
        ("medial:6 full", 5, "fitting"),
    ]
    stopped = planned([("rider_a", "flat", 2)], (), landed("fine"), RIDERS, {"rider_a": "The limit is reached."})
    assert stopped["next"] is None and stopped["rows"][0]["left"] == 0 and not stopped["rows"][0]["complete"]
    assert stopped["text"].endswith("A limit of the laboratory has stopped the plan of rider_a.")


# Warm-up, rest, limits ------------------------------------------------------------------------------------------------


def test_warm_up_then_rest_then_nothing() -> None:
    limits = Limits(rest_after=2, rest_minutes=3.0)
    assert strained("rider_a", [], limits, 0.0)["kind"] == "warm_up"
    one, two = Landed(2.5, 100.0), Landed(1.5, 200.0)
    assert strained("rider_a", [one], limits, 110.0)["kind"] == ""
    told = strained("rider_a", [one, two], limits, 210.0)
    assert (told["kind"], told["hard"], told["since_last_s"]) == ("rest", 1, 10)
    assert strained("rider_a", [one, two], limits, 400.0)["kind"] == "", "they have rested"


@pytest.mark.parametrize(
    ("limits", "why"), [(Limits(landings=2), "limit of 2 landings"), (Limits(hard=1), "limit of 1 hard landings")]
)
def test_a_limit_of_the_laboratory_is_told(limits: Limits, why: str) -> None:
    told = strained("rider_a", [Landed(2.5, 1.0), Landed(1.0, 2.0)], limits, 3.0)
    assert told["kind"] == "limit" and why in told["stopped"] and told["reminder"] == told["stopped"]


def test_a_landing_whose_force_is_not_known_may_have_been_hard() -> None:
    assert strained("rider_a", [Landed(None, None)], Limits(), 0.0)["hard"] == 1
    assert strained("rider_a", [Landed(None, None)], Limits(), 0.0)["since_last_s"] is None


# When to stop -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("mean", "share"), [(-0.3, 0.4), (-0.15, 0.4), (-0.15, 0.9), (0.1, 0.3), (-0.25, 0.97)])
def test_the_chance_of_another_answer_is_that_of_many_such_riders(mean: float, share: float) -> None:
    """Riders are drawn from what is known now, their trial is drawn from them, what is known then follows by Bayes'
    rule for normal variables, worked out draw by draw."""
    sd, least, draws = 0.1, 0.02, 200_000
    rng = np.random.default_rng(1)
    noise = sd * share / math.sqrt(1 - share**2)
    true = mean + sd * rng.standard_normal(draws)
    seen = true + noise * rng.standard_normal(draws)
    after_sd = 1 / math.sqrt(1 / sd**2 + 1 / noise**2)
    after = after_sd**2 * (mean / sd**2 + seen / noise**2)
    now, then = mean + END * sd <= -least, after + END * after_sd <= -least
    assert after_sd == pytest.approx(share * sd)
    assert chance_of_change(mean, sd, share, least) == pytest.approx(float(np.mean(then != now)), abs=0.005)


def test_a_trial_that_tells_nothing_changes_nothing() -> None:
    assert chance_of_change(-0.3, 0.1, 1.0, 0.02) == 0.0
    assert math.isnan(chance_of_change(math.nan, 0.1, 0.5, 0.02))
    assert normal_of_ends(-0.392, 0.0) == pytest.approx((-0.196, 0.1), rel=1e-3)


# Stages of a fitting --------------------------------------------------------------------------------------------------

AIM = Aim("rider_a", "right")
SHAPES = [{"condition": "medial:6 full", "text": "one"}, {"condition": "lateral:3", "text": "two"}]


def found(stop: bool = False, had: dict[str, int] | None = None, calibrated: bool = False) -> dict[str, Any]:
    answer = {"calibrated": calibrated, "verdict": "A shape."}
    trials = {"shapes": SHAPES, "landings": 5, "share_left": 0.35}
    return {"problem": "", "answer": answer, "trials": trials, "had": had or {}, "files": [], "chance": 0.2,
            "stop": stop, "certainty": "One more."}  # fmt: skip


def stage(have: dict[str, int], told: dict[str, Any] | None = None, working: bool = False) -> Stage:
    return Stage(AIM, "flat", 3, have, told, working)


def test_a_fitting_goes_from_stage_to_stage() -> None:
    steps = [
        (stage({"flat": 1}), "baseline", "Record 2 more on the flat insole."),
        (stage({"flat": 3}, None, True), "fitted", "The shape is being searched."),
        (stage({"flat": 3}, found()), "shapes", "Record 5 on medial:6 full and 5 on lateral:3."),
        (stage({"flat": 3, "medial:6 full": 5, "lateral:3": 2}, found()), "shapes", "Record 3 on lateral:3."),
        (stage({"flat": 3, "medial:6 full": 5, "lateral:3": 5}, found()), "fitted", "The shape is searched next."),
        (stage({"flat": 3}, found(stop=True)), "answered", "rider_a may go home"),
    ]
    for one, key, text in steps:
        told = told_stage(one)
        assert told["stage"] == key and text in told["text"]
        assert "never a prescription" in told["caution"]
    assert told_stage(steps[-1][0])["next"] == [] and told_stage(steps[-1][0])["stop"]["now"]


def test_shapes_that_are_asked_for_again_are_to_be_landed_on_again() -> None:
    had = {"medial:6 full": 5, "lateral:3": 5}
    again = stage({"flat": 3} | had, found(had=had, calibrated=True))
    assert [shape["left"] for shape in again.next_shapes] == [5, 5] and again.key == "shapes"
    assert again.wants == (("rider_a", "flat", 3), ("rider_a", "medial:6 full", 10), ("rider_a", "lateral:3", 10))


def test_a_wedge_is_named_as_in_conditions_csv() -> None:
    assert condition_of(parse_wedge("medial:6", "right", "full")) == "medial:6 full"
    assert condition_of(parse_wedge("lateral:3", "left")) == "lateral:3"
    assert enough_shapes({"medial:6 full": 3, "lateral:3": 3}, ["medial:6 full", "lateral:3"])
    assert not enough_shapes({"medial:6 full": 9, "lateral:3": 2}, ["medial:6 full", "lateral:3"])


# trials.csv -----------------------------------------------------------------------------------------------------------

CELLS = {"file": "a.c3d", "rider": "rider_a", "kind": "landing", "condition": "flat, wet", "landing": "1"}


def test_a_row_is_added_or_corrected_and_taken_away() -> None:
    text = with_trial("", CELLS)
    assert text == 'file,rider,kind,condition\na.c3d,rider_a,landing,"flat, wet"\n'
    assert with_trial(text, CELLS | {"rider": "rider_b"}).count("a.c3d") == 1
    second = with_trial(text, CELLS | {"landing": "2"})
    assert second.splitlines()[0] == "file,rider,kind,condition,landing" and second.count("a.c3d") == 2
    assert without_trial(second, "a.c3d") == "file,rider,kind,condition,landing\n"


def test_a_table_of_another_kind_is_not_written_over() -> None:
    with pytest.raises(SettingError, match=r"trials\.csv: expected file, rider"):
        with_trial("name,age\nx,1\n", CELLS)

"""Pressure insoles of a synthetic landing on a board: clock, scale, regions, path, against what they were made from."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from boards import board_landing, session_of
from command import jointload

from jointload.analysis import Analysis, analyse
from jointload.intake.pressure import PressureRecording, SensorLayout
from jointload.intake.recording import SIDES
from jointload.intake.session import Session
from jointload.landing.sole_regions import board_pattern, pressure_at, region_of_sensors, sole_loads
from jointload.synthetic.pressure import BOARD_PATTERNS, InsoleMake, insole_tables, made_layout, true_pressure

LAYOUT = made_layout(0.268)
MAKE = InsoleMake(patterns=BOARD_PATTERNS["right"])
WHICH = "back foot heavy"
CLOCK = 0.002
"""[s] between the true lag and the one found, on insoles at 200 Hz."""


@lru_cache(maxsize=1)
def tables() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    return insole_tables(board_landing(WHICH).landing, LAYOUT, MAKE)


def session(gain: float = 1.0, layout: SensorLayout = LAYOUT) -> Session:
    insoles = tuple(
        PressureRecording(f"{side}.csv", "", side, layout, time, 1e3 * gain * said, "kPa", (), ())
        for side, (time, said) in ((s, tables()[s]) for s in SIDES)
    )
    return replace(session_of(board_landing(WHICH)), insoles=insoles)


@lru_cache(maxsize=1)
def analysed() -> Analysis:
    return analyse(session(), variants=False)


def refusal(analysis: Analysis, check: str) -> str:
    found = [f for f in analysis.findings if f.check == check and f.severity == "refuse"]
    return found[0].evidence + "; " + found[0].advice if found else ""


def test_the_clock_is_found_within_what_it_claims() -> None:
    pressed = analysed().landing.pressed
    assert pressed is not None
    assert abs(pressed.lag + MAKE.clock) < pressed.lag_spread < CLOCK


def test_the_scale_is_the_plates() -> None:
    """Both insoles read 28 and 34 % too little; one plate gives one factor for both, between theirs."""
    pressed = analysed().landing.pressed
    assert pressed is not None
    factors = {side: sole.factor for side, sole in pressed.soles.items()}
    assert factors["right"] == factors["left"]
    assert 1 / MAKE.gains[0] < factors["right"] < 1 / MAKE.gains[1]


def test_two_plates_scale_each_insole_by_its_own_foot() -> None:
    made = board_landing(WHICH, "one a foot")
    analysis = analyse(replace(session_of(made), insoles=session().insoles), variants=False)
    assert analysis.landing.pressed is not None
    assert analysis.landing.split is None
    for k, side in enumerate(SIDES):
        assert analysis.landing.pressed.soles[side].factor == pytest.approx(1 / MAKE.gains[k], rel=0.03)


def test_the_insoles_share_is_used_within_their_error() -> None:
    landing = analysed().landing
    assert landing.split is not None
    split = landing.split.split
    assert "pressure insoles' share" in split.basis
    force = board_landing(WHICH).landing.force[1, :, :: round(2000.0 / 250.0)]
    loaded = split.frames & (force.sum(axis=0) > 1000.0)
    true = force[0] / np.where(loaded, force.sum(axis=0), 1.0)
    assert np.median(np.abs(split.share - true)[loaded]) < 0.04


def test_peaks_of_the_regions_are_those_they_were_made_from() -> None:
    """Within the spread of one factor for two insoles (8 %) and sensor noise."""
    analysis = analysed()
    regions = np.array(region_of_sensors(LAYOUT, LAYOUT.length))
    soles = sole_loads(analysis.landing)
    assert [sole.side for sole in soles] == list(SIDES)
    for k, sole in enumerate(soles):
        assert sole.regions
        true = true_pressure(board_landing(WHICH).landing, sole.side, LAYOUT, MAKE.patterns[k])
        window = analysis.landing.fast_window(sole.side)
        for row in sole.regions:
            highest = true[regions == row.region][:, window].max()
            assert row.peak_pressure == pytest.approx(highest, rel=0.08, abs=10e3), row.region
        assert sum(row.share for row in sole.regions) == pytest.approx(1.0)


def test_common_practice_pattern_is_told_from_a_recording_made_to_show_it() -> None:
    """Common practice, no published source: the back foot peaks at the medial heel and the first metatarsal head, the
    front foot at the heel."""
    soles = {sole.side: sole for sole in sole_loads(analysed().landing)}
    assert soles["right"].peak_regions(2) == ["medial_heel", "first_metatarsal_head"]
    assert soles["left"].peak_regions(1)[0] in ("medial_heel", "lateral_heel")
    assert board_pattern(tuple(soles.values()), "right")
    assert not board_pattern(tuple(soles.values()), "left"), "a left-footed stance makes another pattern of it"
    assert not board_pattern(tuple(soles.values()), "")


def test_the_path_is_the_true_centre_of_pressure() -> None:
    """Away from the edges of the sensors, to a few millimetres: along and across the foot."""
    landing = board_landing(WHICH).landing
    soles = sole_loads(analysed().landing)
    assert len(soles) == len(SIDES)
    for sole in soles:
        k = SIDES.index(sole.side)
        rotation, origin = landing.poses.of(f"{sole.side}_foot")
        local = np.einsum("jif,jf->if", rotation, landing.point[:, k] - origin)
        heel = landing.body.points[f"{sole.side}_calcaneus"][1]
        sign = 1.0 if sole.side == "right" else -1.0
        true = np.stack((local[0] - heel[0], sign * (local[2] - heel[2])))
        at = analysed().landing.events.sides[sole.side].touchdown + sole.path_time
        there = np.stack([np.interp(at, landing.time, row) for row in true])
        late = (sole.path_time > 0.05) & np.isfinite(sole.path[0])
        assert np.abs(sole.path - there)[:, late].max() < 0.006


def test_a_measured_map_at_an_instant_carries_the_load() -> None:
    landing = analysed().landing
    assert landing.pressed is not None
    sole = landing.pressed.soles["right"]
    instant = landing.events.sides["right"].touchdown + 0.08
    felt = float(pressure_at(sole, instant) @ LAYOUT.area)
    true = float(np.interp(instant, board_landing(WHICH).landing.time, board_landing(WHICH).landing.force[1, 0]))
    assert felt == pytest.approx(true, rel=0.08)


@pytest.mark.parametrize("gain", [10.0, 0.1])
def test_a_wrong_unit_is_refused_by_the_plates(gain: float) -> None:
    analysis = analyse(session(gain), variants=False)
    assert "unit" in refusal(analysis, "pressure_scale")
    assert analysis.landing.pressed is not None
    assert not analysis.landing.pressed.soles


def test_another_landings_insoles_are_refused() -> None:
    """A slow wave in place of a landing."""
    given = session()
    wave = tuple(
        replace(insole, pressure=np.tile(2e5 + 1e5 * np.sin(7.0 * insole.time), (len(LAYOUT.sensors), 1)))
        for insole in given.insoles
    )
    analysis = analyse(replace(given, insoles=wave), variants=False)
    assert "alike" in refusal(analysis, "pressure_clock")
    assert not sole_loads(analysis.landing)


def test_two_like_landings_are_not_told_apart() -> None:
    given = session()
    twice = []
    for insole in given.insoles:
        later = np.concatenate((insole.time, insole.time + insole.time[-1] - insole.time[0] + 1.0 / insole.rate))
        twice.append(replace(insole, time=later, pressure=np.tile(insole.pressure, 2)))
    analysis = analyse(replace(given, insoles=tuple(twice)), variants=False)
    assert "two places fit" in refusal(analysis, "pressure_clock")


def test_the_layout_may_name_the_regions() -> None:
    named = replace(LAYOUT, region=("midfoot", *LAYOUT.region[1:]))
    assert region_of_sensors(LAYOUT, LAYOUT.length)[0] != "midfoot"
    assert region_of_sensors(named, LAYOUT.length)[0] == "midfoot"
    assert set(region_of_sensors(LAYOUT, LAYOUT.length)) == {
        "medial_heel", "lateral_heel", "midfoot", "first_metatarsal_head", "other_metatarsal_heads", "hallux",
        "lesser_toes",
    }  # fmt: skip


def test_the_sample_goes_through_in_one_command(root: Path, tmp_path: Path) -> None:
    """The shipped board landing with one plate and insoles, by the command line; the truth stands beside it."""
    import csv

    sample, out = root / "sample_c3d", tmp_path / "out"
    words = ["analyse", str(sample / "rider_a_board.c3d"), "--out", str(out)]
    for option, name in (
        ("static", "rider_a_static.c3d"), ("labels", "labels.toml"), ("rider", "rider_a.toml"), ("board", "board.toml"),
        ("pressure-right", "rider_a_board_right.csv"), ("pressure-left", "rider_a_board_left.csv"),
        ("pressure-layout", "pressure_layout.csv"), ("draws", ""),
    ):  # fmt: skip
        words += [f"--{option}", str(sample / name) if name else "0"]
    done = jointload(*words, where=tmp_path)
    assert done.returncode == 0, done.stderr
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "Where on the foot the load was" in page
    assert "too wide to compare conditions" in page
    assert "curves are the likeliest split, without a band" in page
    with (out / "regions.csv").open(encoding="utf-8") as file:
        assert {row["place"] for row in csv.DictReader(file)} == {"back", "front"}
    with (sample / "board_truth.csv").open(encoding="utf-8") as file:
        name = "knee_adduction_moment_peak"
        true = {row["side"]: float(row["value"]) for row in csv.DictReader(file) if row["quantity"] == name}
    with (out / "metrics.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["quantity"] == name:
                mass = 61.0
                assert float(row["low"]) <= true[row["side"]] / mass <= float(row["high"])

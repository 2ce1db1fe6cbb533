"""Heel, ball and toes as a report tells them: sentences, first screen, map, curves, tables."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from jointload.analysis import Analysis
from jointload.foot.bore import FOOT_QUANTITIES, with_feet
from jointload.foot.felt import MEASURED, SoleMap
from jointload.intake.shoe import shoe_from
from jointload.report.figures.feet_map import feet_map, shares
from jointload.report.figures.heel_forces import heel_forces
from jointload.report.page.feet_answers import feet_sentences
from jointload.report.page.feet_section import feet_answer, feet_section
from jointload.report.page.page import render_page
from jointload.report.words.section import Reported
from jointload.report.words.tables import metrics_table, series_table

DRAWS = 60


@pytest.fixture(scope="module")
def seen(analysis: Analysis) -> Analysis:
    return with_feet(analysis, DRAWS)


@pytest.fixture(scope="module")
def asked(analysis: Analysis) -> Analysis:
    shoe = shoe_from({"friction": 0.4, "lacing_n": 20, "sole_mm": 10})
    return with_feet(replace(analysis, session=replace(analysis.session, shoe=shoe)), DRAWS)


def test_three_sentences_name_back_and_front_foot_with_intervals(seen: Analysis) -> None:
    heel, ball, toes = feet_sentences(seen)
    for sentence, start in ((heel, "Heel: "), (ball, "Ball, "), (toes, "Toes, ")):
        assert sentence.startswith(start)
        assert sentence.index("back foot (left)") < sentence.index("front foot (right)")
    found = {(m.quantity, m.side): m for m in seen.measures}
    measure = found["heel_pressure_of_walking", "left"]
    value, low, high = (f"{each:#.2g}" for each in (measure.value, measure.low, measure.high))
    assert f"{value} times ({low} to {high}) the pressure of brisk barefoot walking" in heel


def test_an_unknown_foot_is_named_with_the_reason(seen: Analysis) -> None:
    lost = tuple(
        replace(m, value=np.nan, note="no plate") if (m.quantity, m.side) == ("heel_pressure_of_walking", "left") else m
        for m in seen.measures
    )
    assert "back foot (left) not known (no plate)" in feet_sentences(replace(seen, measures=lost))[0]
    assert feet_sentences(replace(seen, feet=())) == ()


def test_no_sentence_speaks_of_injury(seen: Analysis) -> None:
    page = feet_section(Reported(seen))
    told = " ".join(feet_sentences(seen)).lower()
    assert not re.search(r"\b(risk|injur|bruis|safe|danger)", told)
    assert "No pressure or strain at which a heel bruises has been published" in page


def test_the_map_says_how_far_it_may_be_off(seen: Analysis) -> None:
    page = feet_section(Reported(seen))
    assert "may bear 0.2 to 2.6 times what is drawn, the others 0.3 to 1.6 times" in page
    felt = tuple(replace(foot, basis=MEASURED) for foot in seen.feet)
    assert "a sensor may show 0.77 to 1.23 times what is there" in feet_section(Reported(replace(seen, feet=felt)))


def test_what_every_number_of_a_table_notes_stands_once_beneath_it(seen: Analysis) -> None:
    page = feet_section(Reported(seen))
    for note in ("force under the heel modelled; sole of the shoe unknown, 4 to 25 mm", "pressure modelled"):
        assert sum(m.note == note for m in seen.measures) > 10
        assert page.count(f">{note}<") == 0
        assert len(re.findall(f'<p class="soft">Note [a-z]: {note}.</p>', page)) == 1
    assert page.count("<small>Note a</small>") > 20


def test_the_first_screen_answers_where_the_feet_were_asked_after(seen: Analysis, asked: Analysis) -> None:
    assert feet_answer(Reported(seen)) == ""
    answer = feet_answer(Reported(asked))
    assert all(sentence.split(":")[0] in answer for sentence in feet_sentences(asked)) and 'href="#feet"' in answer
    page = render_page(asked)
    assert page.index("Heel: back foot") < page.index('id="forces"')
    assert 'id="feet"' in render_page(seen), "the section stands either way"


def test_shares_of_the_map_are_the_whole_force() -> None:
    along = np.array([0.02, 0.10, 0.17, 0.24])
    told = SoleMap(along, np.zeros(4), np.full(4, 1e-4), np.array([400e3, 100e3, 300e3, 200e3]), 0.25, 0.06)
    assert shares(told) == pytest.approx({"heel": 0.4, "midfoot": 0.1, "ball": 0.3, "toes": 0.2})


def test_map_and_curves_show_both_feet_in_words_too(seen: Analysis) -> None:
    sheet, curves = feet_map(seen), heel_forces(seen)
    assert sheet is not None and curves is not None
    assert [panel.title for panel in sheet.panels] == ["Back foot (left)", "Front foot (right)"]
    for panel in sheet.panels:
        assert "ms after touch-down" in panel.told and "heel" in panel.told
    assert curves.panels[0].told.count("at most") == 2
    assert feet_map(replace(seen, feet=())) is None and heel_forces(replace(seen, feet=())) is None


def test_tables_hold_every_number_and_the_heels_in_time(seen: Analysis) -> None:
    metrics = metrics_table(seen)
    assert set(FOOT_QUANTITIES) <= set(metrics.quantity)
    series = series_table(seen)
    for side in ("right", "left"):
        column = series[f"{side}_heel_force"].to_numpy().ravel()
        (peak,) = metrics[(metrics.quantity == "heel_force_peak") & (metrics.side == side)].value
        assert np.nanmax(column) == pytest.approx(float(peak), rel=0.1) and np.isnan(column[0])

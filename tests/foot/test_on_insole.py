"""Thin layers and a cup upon an insole: the solid, the bed, and heel, ball and toes in a what-if and a fit."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from few import few_draws
from recorded import sample_session

from jointload.analysis import Analysis, analyse
from jointload.errors import SettingError
from jointload.foot.bore import DRAWS, with_feet
from jointload.foot.on_insole import ON_INSOLE, Feet
from jointload.foot.thin_layers import spare
from jointload.insole.fitting.aim import Limits
from jointload.insole.fitting.fit import Fit, fit
from jointload.insole.fitting.laid import FeetSlopes, options
from jointload.insole.fitting.whatif import Parts, WhatIf, what_if, what_ifs
from jointload.insole.limb.feet import Borne
from jointload.insole.limb.standing import bed_of, heights_on, place_foot, stand, with_thin_layers
from jointload.insole.shape.layers_apart import layers_apart
from jointload.insole.shape.materials import Material, cushions, material
from jointload.insole.shape.measured import measure
from jointload.insole.shape.mesh import REPRODUCED, faithful_solid, largest_miss, solid_of
from jointload.insole.shape.parts import NO_CUP, HeelCup, Layer, ThinLayer
from jointload.insole.shape.shape import InsoleShape
from jointload.insole.shape.shape_file import design_from, read_shape
from jointload.insole.shape.shape_text import toml_of
from jointload.insole.shape.surface import sole_grid
from jointload.intake.shoe import shoe_from
from jointload.landing.sole_regions import BALL_START, HEEL_END, TOE_START
from jointload.report.page.feet_answers import of_feet_asked, shape_sentences
from jointload.report.papers.insole_sheet import Written, WrittenLayer, render_sheet
from jointload.report.words.last_lines import last_lines
from jointload.report.words.section import Reported

MM = 0.001
FOAM = replace(material("insole_foam"), basis="measured", law_misfit=0.02, loading_time=0.05)
GEL = material("gel")
HEEL_LAYER = ThinLayer(FOAM, 4 * MM, "heel")
CUP = HeelCup(12 * MM)
LENGTH = 0.265


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return analyse(sample_session("rider_b"), variants=False)


@pytest.fixture(scope="module")
def feet(analysis: Analysis) -> Feet:
    found = Borne.of(analysis, "left", DRAWS).feet
    assert found is not None
    return found


@pytest.fixture(scope="module")
def answers(analysis: Analysis) -> tuple[WhatIf, ...]:
    """A layer under the heel, the same in a cup, a cup alone, a lift as high."""
    asked = (
        Parts("left", thin=(HEEL_LAYER,)), Parts("left", thin=(HEEL_LAYER,), cup=CUP), Parts("left", cup=CUP),
        Parts("left", lift=4 * MM),
    )  # fmt: skip
    return what_ifs(analysis, asked)


@pytest.fixture(scope="module")
def spared(analysis: Analysis) -> Fit:
    return fit(analysis, "left", "heel_pressure", Limits(stack=7 * MM), draws=30, materials=[FOAM, GEL])


def fitted(analysis: Analysis, side: str, target: str, limits: Limits) -> Fit:
    """A fit whose trade-off is not looked at."""
    with few_draws():
        return fit(analysis, side, target, limits, draws=30, materials=[FOAM])


# the shape and its solid


def test_a_thin_layer_is_full_under_its_part_and_skived_beyond() -> None:
    along = np.linspace(0.0, 1.0, 2001)
    heel, ball, whole = (ThinLayer(FOAM, 3 * MM, under).share(along) for under in ("heel", "ball", "whole"))
    assert (heel[along <= HEEL_END] == 1.0).all() and (heel[along > HEEL_END + 0.1 + 1e-9] == 0.0).all()
    assert (ball[(along >= BALL_START) & (along <= TOE_START)] == 1.0).all() and ball[0] == ball[-1] == 0.0
    assert (whole == 1.0).all()
    for share in (heel, ball):
        assert np.abs(np.diff(share)).max() < 0.02, "no step"


def test_a_cup_rises_to_its_rim_at_the_heels_edge_and_bears_nothing() -> None:
    shape = InsoleShape("right", LENGTH, cup=CUP)
    x = np.array([0.1, 0.15, 0.2]) * LENGTH
    edge, middle = shape.heights(x, shape.medial_edge(x)), shape.heights(x, np.zeros(3))
    np.testing.assert_allclose(edge, shape.base + CUP.height, atol=1e-12)
    np.testing.assert_allclose(middle, shape.base, atol=1e-12)
    np.testing.assert_allclose(shape.bearing_heights(x, shape.medial_edge(x)), shape.base, atol=1e-12)
    assert shape.heights(np.array([0.5 * LENGTH]), np.zeros(1)) == pytest.approx(shape.base)


def test_the_layers_apart_add_up_to_the_whole_and_close() -> None:
    thin = (ThinLayer(GEL, 3 * MM, "heel"), ThinLayer(FOAM, 2 * MM, "ball"), ThinLayer(FOAM, 1 * MM, "whole"))
    layers = (Layer(material("pu_foam_soft"), 1 * MM), Layer(material("eva_medium")))
    shape = InsoleShape("left", LENGTH, base=5 * MM, layers=layers, thin=thin, cup=CUP)
    apart = layers_apart(shape)
    assert [one.layer.material.name for one in apart] == ["gel", *["insole_foam"] * 2, "pu_foam_soft", "eva_medium"]
    x, y = sole_grid(shape, 60, 21)
    whole = sum(
        np.where((x >= start) & (x <= start + one.length), one.heights(x - start, y), 0.0)
        for one in apart
        for start in (getattr(one, "start", 0.0),)
    )
    skived = 0.25 * MM
    np.testing.assert_allclose(whole, shape.heights(x, y), atol=2 * skived)
    volume = sum(measure(one).volume for one in apart)
    assert volume == pytest.approx(measure(shape).volume, rel=5e-3)
    masses = sum(measure(one).volume * one.layer.material.density for one in apart)
    assert measure(shape).mass == pytest.approx(masses, rel=5e-3)
    for one in apart:
        solid = solid_of(one, 3 * MM)
        assert solid.open_edges == 0 and solid.volume == pytest.approx(measure(one).volume, rel=0.02)
    for one in apart[:2]:
        assert largest_miss(one, faithful_solid(one)) < 0.9 * REPRODUCED
    written = tuple(WrittenLayer(one, "0" * 64) for one in apart)
    sheet = render_sheet([Written(shape, measure(shape), "0" * 64, written)], "layers", {})
    assert "3.0 mm under the heel" in sheet and "Heel cup" in sheet and "2 mm insole foam under the ball" in sheet


def test_insole_toml_has_layers_and_a_cup_and_reads_back(tmp_path: Path) -> None:
    content = {
        "side": "right", "length_mm": 265, "heel_cup": {"height_mm": 12},
        "thin_layers": [
            {"material": "gel", "thickness_mm": 3}, {"material": "insole_foam", "thickness_mm": 2, "under": "ball"},
        ],
    }  # fmt: skip
    (shape,) = design_from(content).shapes
    assert [(one.material.name, one.height, one.under) for one in shape.thin] == [
        ("gel", 3 * MM, "heel"), ("insole_foam", 2 * MM, "ball"),
    ]  # fmt: skip
    (tmp_path / "insole.toml").write_text(toml_of(shape))
    back = read_shape(tmp_path / "insole.toml")
    assert (back.cup, [(o.height, o.under) for o in back.thin]) == (
        shape.cup,
        [(o.height, o.under) for o in shape.thin],
    )


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ({"thin_layers": [{"material": "gel", "thickness_mm": 9}]}, "1 to 8 mm"),
        ({"thin_layers": [{"material": "gel", "thickness_mm": 3, "under": "arch"}]}, "heel or ball or whole"),
        ({"thin_layers": [{"thickness_mm": 3}]}, "a material each"),
        ({"heel_cup": {"height_mm": 3}}, "8 to 25 mm"),
    ],
)
def test_a_wrong_layer_is_told_in_one_line(table: dict[str, object], told: str) -> None:
    with pytest.raises(SettingError, match=told) as problem:
        design_from({"side": "right", "length_mm": 265, **table})
    assert "\n" not in str(problem.value)


# the bed


def test_the_bed_knows_layers_and_cup(analysis: Analysis) -> None:
    """In series: as soft as both while hardly pressed, and as much way as both."""
    standing = stand(analysis.landing, "left", 50, 1)
    bed = bed_of(place_foot(analysis.landing, "left"))
    plain = InsoleShape("left", bed.length)
    shape = replace(plain, thin=(HEEL_LAYER,))
    made = with_thin_layers(bed, standing.person.materials, shape)
    heel, toes = bed.x < 0.25 * bed.length, bed.x > 0.9 * bed.length
    body = standing.person.materials.insole_modulus[:, None]
    height = heights_on(bed, shape)
    np.testing.assert_allclose(height[heel] - heights_on(bed, plain)[heel], HEEL_LAYER.height)
    soft = plain.base / body + HEEL_LAYER.height / FOAM.modulus
    np.testing.assert_allclose(height[heel] / made.insole_modulus[:, heel], np.broadcast_to(soft, (50, heel.sum())))
    np.testing.assert_allclose(made.insole_modulus[:, toes], np.broadcast_to(body, (50, toes.sum())))
    in_cup = heights_on(bed, replace(plain, cup=CUP)) - heights_on(bed, plain)
    assert (in_cup[heel] > 2 * MM).all() and (in_cup[toes] == 0).all()


# a what-if


def test_before_is_what_the_analysis_says(analysis: Analysis, answers: tuple[WhatIf, ...]) -> None:
    said = {m.quantity: m.value for m in with_feet(analysis).measures if m.side == "left"}
    for name in set(ON_INSOLE) - {"ball_pressure_peak"}:
        assert answers[0].row(name).before == pytest.approx(said[name], rel=0.02), name


def test_a_layer_in_a_what_if_is_that_of_the_comparison(analysis: Analysis, feet: Feet) -> None:
    """One law in both commands: the very numbers of `jointload layers`, draw by draw."""
    trial = spare(feet.bearing, (FOAM,), (HEEL_LAYER.height,), places=("heel",)).spared["heel"]
    laid = feet.on_thin((HEEL_LAYER,), False)
    np.testing.assert_allclose(laid.heel_factor - 1.0, trial.heel_change[0, 0], atol=1e-9)
    np.testing.assert_allclose(laid.ball_factor - 1.0, trial.ball_change[0, 0], atol=1e-9)
    np.testing.assert_allclose(laid.moved, trial.ball_force[0, 0], atol=1e-6)


def test_two_halves_are_the_layer(feet: Feet) -> None:
    whole = feet.on_thin((ThinLayer(FOAM, 6 * MM, "heel"),), False)
    halves = feet.on_thin((ThinLayer(FOAM, 3 * MM, "heel"),) * 2, False)
    np.testing.assert_allclose(halves.heel_factor, whole.heel_factor, rtol=1e-7)


def test_a_layer_spares_the_heel_and_loads_the_ball(answers: tuple[WhatIf, ...]) -> None:
    """Drop jumps on a softer sole: rearfoot lower, forefoot higher (Alonzo et al. 2020, foot_evidence.md)."""
    layer, both, cup, lift = answers
    for name in ("heel_pressure_peak", "heel_pad_strain_peak", "heel_force_peak"):
        row = layer.row(name)
        assert row.person_high < 0 and math.isfinite(row.change), name
    assert layer.row("ball_pressure_peak").change > 0
    pressure = [answer.row("heel_pressure_peak").change for answer in answers]
    assert pressure[1] < min(pressure[0], pressure[2]) < 0, "a cup adds to a layer"
    assert cup.row("heel_stack").change == 0 and layer.row("heel_stack").change == pytest.approx(4 * MM)
    assert any(row.quantity == "peak_pressure_medial_heel" and row.change < 0 for row in layer.rows)
    assert {f.check for f in layer.findings} >= {"layer_bottoms_out", "layer_law", "layer_leaves"}
    assert both.of_layers and not lift.of_layers


def test_what_a_layer_leaves_is_said(answers: tuple[WhatIf, ...]) -> None:
    for name in ("vertical_force_first_peak", "vertical_loading_rate"):
        row = answers[0].row(name)
        assert row.unmoved and "Chambon 2014" in row.note
    (left,) = [f for f in answers[0].findings if f.check == "layer_leaves"]
    assert "joint moments" in left.where and "0 to 16 mm" in left.evidence
    moments = [row for row in answers[0].rows if "moment" in row.quantity]
    assert moments and all(row.negligible or abs(row.percent) < 5 for row in moments)


def test_a_bottomed_layer_is_warned_of(analysis: Analysis) -> None:
    soft = Material("soft", "foam", 0.05e6, 0.7, 0.3, 100.0, 0.1)
    answer = what_if(analysis, Parts("left", thin=(ThinLayer(soft, 2 * MM, "heel"),)), draws=60)
    (found,) = [f for f in answer.findings if f.check == "layer_bottoms_out"]
    assert found.severity == "warn" and "bottoms out in" in found.evidence


def test_the_page_and_the_terminal_answer_the_feet_first(analysis: Analysis, answers: tuple[WhatIf, ...]) -> None:
    reported = Reported(with_feet(analysis), whatif=replace(answers[0], others=answers[1:2]))
    assert of_feet_asked(reported) and not of_feet_asked(Reported(reported.analysis, whatif=answers[3]))
    first, second = shape_sentences(reported)
    assert first.startswith("4 mm insole foam under the heel of the left foot: heel pressure −")
    assert "heel cup" in second
    lines = "\n".join(last_lines(reported.analysis, reported.whatif))
    assert "peak heel pressure" in lines and "push of the toes" in lines
    of_which = f"Of the first of 2 shapes, {answers[0].shape_text}; the report compares all:"
    assert lines.index(of_which) < lines.index("Change of left peak heel pressure")
    assert "shapes" not in "\n".join(last_lines(reported.analysis, answers[0]))


# a fit


def test_a_fit_finds_layer_and_cup_for_the_heel(analysis: Analysis, spared: Fit) -> None:
    shape = spared.shape
    assert spared.helps and shape is not None and spared.answer is not None
    assert shape.thin and shape.thin[0].under in ("heel", "whole") and shape.cup.height > 0
    assert measure(replace(shape, cup=NO_CUP)).heel_stack <= 7 * MM + 1e-9
    row = spared.answer.row("heel_pressure_peak")
    assert spared.high == pytest.approx(row.person_high) and spared.high < -0.02 * row.before
    changes = [point.change for point in spared.trade_off]
    assert len(changes) > 2 and changes[-1] <= changes[0]
    assert spared.first_order[1] == pytest.approx(spared.change, rel=0.15)
    again = what_if(analysis, replace(shape, layers=()), draws=60)
    assert again.row("heel_pad_strain_peak").change < 0


def test_no_cup_and_no_bottomed_layer_is_offered_where_there_is_no_room(feet: Feet) -> None:
    upon = FeetSlopes(feet, None, np.ones(DRAWS, dtype=bool))  # type: ignore[arg-type]
    soft = replace(FOAM, name="soft", modulus=0.03e6)
    found = list(options(upon, [FOAM, soft], 2.5 * MM, False, upon.laid((), NO_CUP)))
    assert {one.thin[0].height for one in found} == {1 * MM, 2 * MM} and not any(one.cup.height for one in found)
    assert not any(one.thin[0].under != "ball" and one.thin[0].material == soft for one in found)
    beside = list(options(upon, [FOAM], 2.5 * MM, True, found[0]))
    assert beside[0].cup.height and {one.thin[-1].under for one in beside[1:]} == {"ball"}


def test_toes_that_do_not_push_have_nothing_to_lower(analysis: Analysis) -> None:
    found = fitted(analysis, "left", "toe_push", Limits(stack=6 * MM))
    assert not found.helps


def test_a_bare_foot_has_no_toe_push_to_lower(analysis: Analysis) -> None:
    barefoot = replace(analysis, session=replace(analysis.session, shoe=shoe_from({"barefoot": True})))
    with pytest.raises(SettingError, match="no toe box"):
        fit(barefoot, "left", "toe_push", draws=60)


def test_layers_and_posting_together(analysis: Analysis) -> None:
    """A weighted set searches both; the answer's own rows make up the target."""
    found = fitted(analysis, "left", "heel_pressure:1,knee_adduction_moment:1", Limits(stack=8 * MM))
    assert found.answer is not None and found.answer.shape.thin
    heel, knee = (found.answer.row(name) for name in ("heel_pressure_peak", "knee_adduction_moment_peak"))
    shares = 0.5 * heel.change / heel.before + 0.5 * knee.change / knee.before
    assert found.change == pytest.approx(shares, abs=0.04)


def test_every_cushion_may_be_a_layer() -> None:
    assert set(cushions()) >= {"gel", "eva_medium", "pu_foam_soft"} and "heel_pad" not in cushions()

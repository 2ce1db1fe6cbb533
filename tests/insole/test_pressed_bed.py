"""The baseline that pressure insoles measured: the laws of the bed must hold on it, and it must press as was felt."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from boards import board_landing, session_of
from made import exchanged_sides, mirrored_recording

from jointload.analysis import Analysis, analyse
from jointload.insole.bed.bed import GRAVITY, Array, BedLoad, BedPose
from jointload.insole.bed.foundation import baseline_pose, changed_pose, first_order
from jointload.insole.bed.person import draw_person, plain_foot
from jointload.insole.bed.pressed_bed import MeasuredBed, on_bed, pressed_baseline
from jointload.insole.fitting.whatif import WhatIf, what_if, what_ifs
from jointload.insole.limb.standing import settle, settle_flat, stand
from jointload.insole.shape.asked import case_of
from jointload.insole.shape.geometry import parse_wedge
from jointload.insole.shape.shape import InsoleShape
from jointload.intake.pressure import PressureRecording, SensorLayout
from jointload.intake.recording import SIDES, Finding
from jointload.intake.session import Session
from jointload.report.page.change_section import split_told
from jointload.report.words.tables import change_table
from jointload.synthetic.pressure import BOARD_PATTERNS, InsoleMake, insole_tables, made_layout

LENGTH, MASS = 0.260, 70.0
BED = plain_foot(LENGTH)
ONE = draw_person(1, 1, MASS, LENGTH)
MANY = draw_person(40, 1, MASS, LENGTH)
LOAD = BedLoad(1.2 * MASS * GRAVITY * np.ones(3), np.array([0.32, 0.40, 0.48]) * LENGTH, np.array([0.003, 0.0, -0.003]))
BALANCE = 1e-9
"""Share of the vertical force; what is promised of every pose."""
SAME = 1e-8
"""Difference of two searches for one pose [m, rad]: their imbalance over the bed's stiffness."""
FLAT = np.full(BED.x.shape, 0.012)
WEDGE = np.maximum(FLAT + np.tan(np.deg2rad(5.0)) * BED.y, 0.0)
CELLS = SensorLayout("cells", ("",) * BED.x.size, BED.x, -BED.y, BED.area, ("",) * BED.x.size)
"""A sensor under every cell."""


def modelled(person=ONE) -> BedPose:
    return baseline_pose(BED, FLAT, person.materials, person.joints, LOAD)


def sampled(layout: SensorLayout) -> Array:
    """(T, K) [Pa] what sensors feel of the modelled pressure: the mean of the cells that lie under them."""
    half = 0.5 * np.sqrt(layout.area)[:, None] + 0.25 * np.sqrt(BED.area[0])
    near = (np.abs(BED.x - layout.along[:, None]) < half) & (np.abs(BED.y + layout.outward[:, None]) < half)
    return np.asarray(modelled().pressure[0] @ (near / near.sum(axis=1, keepdims=True)).T)


def felt(patch: float = 0.0) -> MeasuredBed:
    """Another map than the modelled one: more under the lateral heel, by `patch` of it."""
    own = modelled().pressure[0]
    return on_bed(BED, CELLS, own * (1.0 + patch * ((BED.x < 0.3 * LENGTH) & (BED.y < 0))), LOAD)


def test_a_map_equal_to_the_modelled_one_gives_the_modelled_answer() -> None:
    before, same = modelled(), pressed_baseline(BED, modelled(), felt(), ONE.joints)
    for one, other in (
        (before, same),
        (changed_pose(BED, WEDGE, ONE.joints, before), changed_pose(BED, WEDGE, ONE.joints, same)),
    ):
        np.testing.assert_allclose(other.unknowns, one.unknowns, atol=SAME)
        np.testing.assert_allclose(other.cop_y, one.cop_y, atol=SAME)
        np.testing.assert_allclose(other.held_twist, one.held_twist, atol=1e-6)


INTERPOLATION = 0.05
"""Share of the roll by which a grid of 16 by 13 mm sensors errs, for cells of 8 mm and the modelled map: 1.2 % was
found."""


def test_a_usual_grid_of_sensors_gives_the_modelled_answer_within_interpolation() -> None:
    layout = made_layout(LENGTH)
    measured = on_bed(BED, layout, sampled(layout), LOAD)
    before, same = modelled(), pressed_baseline(BED, modelled(), measured, ONE.joints)
    own, other = (changed_pose(BED, WEDGE, ONE.joints, base).roll - base.roll for base in (before, same))
    np.testing.assert_allclose(other, own, rtol=INTERPOLATION)
    assert measured.moved.max() < 0.05


def test_every_draw_presses_as_was_felt_and_bears_the_plates_force_at_its_centre() -> None:
    measured = felt(0.5)
    base = pressed_baseline(BED, modelled(MANY), measured, MANY.joints)
    assert base.stable.all()
    assert base.residual.max() < BALANCE
    np.testing.assert_allclose(base.pressure, np.broadcast_to(measured.pressure, (40, 3, BED.x.size)), atol=1.0)
    borne = measured.pressure * BED.area
    np.testing.assert_allclose(borne.sum(axis=1), LOAD.force, rtol=BALANCE)
    for place, centre in ((BED.x, LOAD.x), (BED.y, LOAD.y)):
        np.testing.assert_allclose(borne @ place / LOAD.force, centre, atol=BALANCE * LENGTH)
    np.testing.assert_allclose(base.cop_y, np.broadcast_to(LOAD.y, base.cop_y.shape), atol=BALANCE * LENGTH)


def test_the_laws_of_a_change_hold_on_a_measured_baseline() -> None:
    """An equal insole gives the baseline itself; balance; F d(y of the centre of pressure) = k_net d(phi)."""
    base = pressed_baseline(BED, modelled(MANY), felt(0.5), MANY.joints)
    assert changed_pose(BED, FLAT.copy(), MANY.joints, base) is base
    after = changed_pose(BED, WEDGE, MANY.joints, base)
    assert after.stable.all()
    assert after.residual.max() < BALANCE
    stiffness = MANY.joints.net_roll(LOAD, BED.ankle_height)
    shifted = LOAD.force * (after.cop_y - base.cop_y)
    np.testing.assert_allclose(shifted, stiffness * (after.roll - base.roll), rtol=1e-6)
    back = changed_pose(BED, FLAT, MANY.joints, replace(base, height=WEDGE), start=after)
    np.testing.assert_allclose(back.unknowns, base.unknowns, atol=SAME)


KINK = 0.03
"""A cell that bore nothing where the model touches just clears the insole, and bears from the first height that is
added: the slope is one-sided there, 2.2 % were found."""


def test_first_order_is_the_slope_of_the_full_answer() -> None:
    base = pressed_baseline(BED, modelled(MANY), felt(0.5), MANY.joints)
    step = 1e-6 * (BED.y - BED.y.min())
    unknowns, _ = first_order(BED, MANY.joints, base, step[:, None])
    after = changed_pose(BED, FLAT + step, MANY.joints, base)
    np.testing.assert_allclose(unknowns[..., 1, 0], after.roll - base.roll, rtol=KINK)


def test_the_map_is_bent_to_the_centre_by_a_plane_in_its_logarithm() -> None:
    """Of all loads with a given centre the nearest by relative entropy is an exponential tilt (Kullback 1959, from
    memory)."""
    own = modelled().pressure[0]
    away = replace(LOAD, x=LOAD.x + 0.010, y=LOAD.y - 0.004)
    bent = on_bed(BED, CELLS, own, away)
    pressed = own[0] > 100.0
    plane = np.stack([np.ones(pressed.sum()), BED.x[pressed], BED.y[pressed]], axis=1)
    ratio = np.log(bent.pressure[0, pressed] / own[0, pressed])
    left = ratio - plane @ np.linalg.lstsq(plane, ratio, rcond=None)[0]
    assert np.abs(left).max() < 1e-8
    assert np.all(bent.pressure[:, own[0] == 0.0][0] == 0.0)
    assert bent.finding.severity == "pass"


def test_a_map_that_lies_elsewhere_leaves_the_modelled_baseline() -> None:
    own = modelled().pressure[0]
    heel_only = np.where(BED.x < 0.3 * LENGTH, own, 0.0)
    heel_only[2] = np.nan
    nothing = on_bed(BED, CELLS, heel_only, LOAD)
    assert nothing.text == "modelled"
    assert nothing.finding.severity == "warn"
    base = modelled()
    assert pressed_baseline(BED, base, nothing, ONE.joints) is base
    some = on_bed(BED, CELLS, np.stack([own[0], heel_only[1], own[2]]), LOAD)
    assert some.text == "measured by pressure insoles at 2 of 3 instants, modelled at the others"
    mixed = pressed_baseline(BED, base, some, ONE.joints)
    np.testing.assert_allclose(mixed.unknowns[:, 1], base.unknowns[:, 1], atol=SAME)
    assert mixed.residual.max() < BALANCE


def test_a_sensor_that_was_left_out_is_bridged() -> None:
    own = modelled().pressure[0]
    middle = int(np.argmin(np.hypot(BED.x - 0.2 * LENGTH, BED.y)))
    gap = own.copy()
    gap[:, middle] = np.nan
    bridged = on_bed(BED, CELLS, gap, LOAD).pressure
    np.testing.assert_allclose(bridged[0, middle], own[0, middle], rtol=0.1)


# In a landing


WHICH = "back foot heavy"


@lru_cache(maxsize=4)
def landed(plates: str) -> Session:
    made = board_landing(WHICH, plates)  # type: ignore[arg-type]
    layout = made_layout(0.268)
    tables = insole_tables(made.landing, layout, InsoleMake(patterns=BOARD_PATTERNS["right"]))
    insoles = tuple(
        PressureRecording(f"{side}.csv", "", side, layout, tables[side][0], 1e3 * tables[side][1], "kPa", (), ())
        for side in SIDES
    )
    return replace(session_of(made), insoles=insoles)


@lru_cache(maxsize=4)
def analysed(plates: str) -> Analysis:
    return analyse(landed(plates), variants=False)


def finding(answer: WhatIf, check: str) -> Finding:
    (found,) = [f for f in answer.findings if f.check == check]
    return found


def test_no_change_of_shape_changes_nothing_on_a_measured_baseline() -> None:
    analysis = analysed("one a foot")
    for shape in (parse_wedge("medial:0", "right"), InsoleShape("right", 0.265)):
        answer = what_if(analysis, shape, draws=50)
        assert answer.baseline_pressure == "measured by pressure insoles"
        assert all((row.change, row.person_low, row.person_high) == (0.0,) * 3 for row in answer.rows)


def test_the_answer_says_which_baseline_it_has_and_peak_pressures_refer_to_it() -> None:
    analysis = analysed("one a foot")
    wedge = parse_wedge("medial:4", "right")
    standing = stand(analysis.landing, "right", 50, 1)
    assert standing.measured is not None
    answer = what_if(analysis, wedge, draws=50)
    np.testing.assert_allclose(answer.pressure.before, standing.measured.pressure[standing.reference], atol=1.0)
    assert finding(answer, "baseline_pressure").evidence.startswith("measured by pressure insoles; its force times")
    assert set(change_table(analysis, answer)["baseline_pressure"]) == {"measured by pressure insoles"}
    plain = replace(analysis, landing=replace(analysis.landing, pressed=None))
    other = what_if(plain, wedge, draws=50)
    assert other.baseline_pressure == "modelled"
    assert set(change_table(plain, other)["baseline_pressure"]) == {"modelled"}
    assert answer.row("peak_pressure_medial_heel").change != other.row("peak_pressure_medial_heel").change
    assert answer.row("rearfoot_roll").change == pytest.approx(other.row("rearfoot_roll").change, rel=0.3)


def test_insoles_that_could_not_be_matched_are_told() -> None:
    analysis = analysed("one a foot")
    assert analysis.landing.pressed is not None
    unmatched = replace(analysis.landing.pressed, soles={})
    answer = what_if(
        replace(analysis, landing=replace(analysis.landing, pressed=unmatched)),
        parse_wedge("medial:4", "right"),
        draws=50,
    )
    assert answer.baseline_pressure == "modelled"
    assert finding(answer, "baseline_pressure").severity == "warn"


def test_the_same_draws_serve_all_shapes_on_a_measured_baseline() -> None:
    wedges = [parse_wedge(f"{raised}:4", "right", "full") for raised in ("medial", "lateral")]
    alone = [what_if(analysed("one a foot"), wedge, draws=40) for wedge in wedges]
    for one, other in zip(alone, what_ifs(analysed("one a foot"), wedges, draws=40), strict=True):
        assert repr(one.rows) == repr(other.rows)


def test_poses_of_a_landing_balance_on_a_measured_baseline() -> None:
    standing = stand(analysed("one a foot").landing, "right", 50, 1)
    shape = case_of(parse_wedge("medial:4", "right", "full"), standing.place.length).after
    settled = settle(standing, shape, settle_flat(standing, shape))
    assert settled.unstable_share == 0.0
    assert max(settled.flat.residual.max(), settled.changed.residual.max()) < BALANCE


def test_a_mirrored_landing_with_insoles_gets_the_mirrored_answer() -> None:
    session = landed("one a foot")
    labels = session.labels
    assert labels is not None
    other_side = {"right": "left", "left": "right"}
    swapped = tuple(replace(insole, side=other_side[insole.side]) for insole in reversed(session.insoles))
    mirrored = replace(
        session,
        trial=mirrored_recording(session.trial),
        static=mirrored_recording(session.static),
        labels=replace(labels, landmarks=exchanged_sides(labels.landmarks), clusters=exchanged_sides(labels.clusters)),
        insoles=swapped,
        board=None,
    )
    right = what_if(analyse(replace(session, board=None), variants=False), parse_wedge("lateral:4", "right"), draws=40)
    left = what_if(analyse(mirrored, variants=False), parse_wedge("lateral:4", "left"), draws=40)
    assert left.baseline_pressure == right.baseline_pressure
    assert right.baseline_pressure.startswith("measured by pressure insoles")
    for one, two in zip(right.rows, left.rows, strict=True):
        assert two.change == pytest.approx(one.change, rel=1e-6, abs=1e-7), one.quantity
        assert (two.person_low, two.person_high) == pytest.approx((one.person_low, one.person_high), rel=1e-6, abs=1e-7)


# Two feet on one plate


def test_a_likely_split_is_told_beside_the_answer() -> None:
    answer = what_if(analysed("one"), parse_wedge("medial:4", "right"), draws=50)
    told = finding(answer, "likely_split")
    assert told.severity == "warn"
    assert "no interval of the change holds that freedom" in told.evidence
    assert "no interval of the change holds that freedom" in split_told(answer)


def test_one_plate_a_foot_has_no_split_to_tell() -> None:
    answer = what_if(analysed("one a foot"), parse_wedge("medial:4", "right"), draws=50)
    assert not [f for f in answer.findings if f.check == "likely_split"]
    assert split_told(answer) == ""

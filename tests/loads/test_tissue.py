"""Tissue loads against printed values, statics by hand, and laws of scale and direction."""

from __future__ import annotations

import numpy as np
import pytest

from jointload.loads.tissue.achilles import achilles_arm, achilles_force
from jointload.loads.tissue.knee import (
    compartments,
    contact_area,
    knee_tissue,
    patellar_tendon_arm,
    patellofemoral_force,
    patellofemoral_ratio,
    patellofemoral_stress,
    quadriceps_arm,
)
from jointload.loads.tissue.lumbar import disc_loads
from jointload.loads.tissue.spreads import drawn, likeliest, tissue_spreads
from jointload.modeldata import load_model


def deg(*angles: float) -> np.ndarray:
    return np.deg2rad(np.array(angles))


# printed values


def test_quadriceps_arm_by_imaging_lies_in_the_spread() -> None:
    """Im, Goltzer and Sheehan (2015) J Biomech, abstract: women 45.5 and 32.9 mm, men 47.1 and 31.5 mm at 10 and 50
    degrees of flexion; the table lies within the middle of both, 1 mm at 10 degrees and 1.5 mm at 50."""
    low, value, high = (quadriceps_arm(deg(10, 50), place) for place in (0.0, 1.0, 2.0))
    for measured in ([0.0455, 0.0329], [0.0471, 0.0315]):
        assert (low < measured).all() and (measured < high).all()
    assert abs(value[0] - 0.0463) < 0.001 and abs(value[1] - 0.0322) < 0.0015


def test_tendon_arm_and_ratio_give_the_effective_arm() -> None:
    """Moment over quadriceps force is the tendon's arm times its share of that force. Tendon arm at 60 degrees 36.18 mm
    (Arch Bone Jt Surg 2020, PMC7547162), tendon force over quadriceps 1.16 at 10 and 0.645 at 70 degrees (Buff, Jones
    and Hungerford 1988 J Biomech 21:17, abstract), a line between: 0.73 at 60."""
    share = np.interp(60.0, (10.0, 70.0), (1.16, 0.645))
    assert quadriceps_arm(deg(60))[0] == pytest.approx(0.03618 * share, rel=0.07)


def test_patellar_tendon_arm_by_imaging_lies_in_the_spread() -> None:
    """Arch Bone Jt Surg 2020, PMC7547162, abstract, at rest: 42.55 +- 4.20, 39.91 +- 2.98, 37.73 +- 2.87 and 36.18 +-
    2.90 mm at 0, 20, 40 and 60 degrees; J Biomech 2009, PMC2753825, abstract: 20 mm bent to 50 mm straight in 34 moving
    knees; J Biomech 2004, doi 10.1016/j.jbiomech.2003.09.010, abstract: in six cadavers greatest near 45 degrees, 40
    to 60 mm."""
    low, value, high = (1000 * patellar_tendon_arm(deg(0, 20, 40, 60), place) for place in (0.0, 1.0, 2.0))
    mean, sd = np.array([42.55, 39.91, 37.73, 36.18]), np.array([4.20, 2.98, 2.87, 2.90])
    np.testing.assert_allclose(value, mean, atol=1.2)
    assert (low < mean - 1.75 * sd).all() and (mean + 1.75 * sd < high).all(), "24 of 25 persons to each side"
    moving = 1000 * patellar_tendon_arm(deg(90, 0), np.array([[0.0], [2.0]]))
    assert moving[0, 0] <= 20.0 and moving[1, 1] >= 50.0
    assert 1000 * patellar_tendon_arm(deg(45), 2.0)[0] >= 60.0


def test_the_arms_of_both_tendons_meet() -> None:
    """Moment over quadriceps force is the patellar tendon's arm times its share of that force: 1.16 at 10 and 0.645 at
    70 degrees (Buff et al. 1988 J Biomech 21:17, abstract), a line between."""
    angles = np.array([10.0, 30.0, 45.0, 60.0, 70.0])
    by_statics = patellar_tendon_arm(deg(*angles)) * np.interp(angles, (10.0, 70.0), (1.16, 0.645))
    np.testing.assert_allclose(quadriceps_arm(deg(*angles)), by_statics, rtol=0.09)


def test_the_patellar_tendon_has_an_arm_at_every_angle() -> None:
    """A knee that is overstretched, or bent beyond the table, keeps its load."""
    ends = patellar_tendon_arm(deg(-8, 0, 140, 150))
    assert ends[0] == ends[1] > ends[2] == ends[3] > 0
    overstretched = knee_tissue(np.array([50.0]), np.array([0.0]), deg(-8), np.array([300.0]), likeliest())
    assert overstretched.compression[0] == pytest.approx(300 + 50 / 0.042)


def test_the_arm_falls_by_nearly_half_in_some_person() -> None:
    """Draganich, Andriacchi and Andersson (1987) J Orthop Res 5:539, abstract, cadavers: greatest at about 20 degrees,
    changing by nearly 50 % from 0 to 90; living knees in motion have it greatest at 10 or below."""
    value, high = (quadriceps_arm(deg(*np.arange(0, 91)), place) for place in (1.0, 2.0))
    assert (np.diff(value) <= 0).all() and high.min() / high.max() > 0.5 > value.min() / value.max()


def test_kneecap_force_is_that_of_two_tendons_at_an_angle() -> None:
    """F = sqrt(1 + r^2 - 2 r cos a) of the quadriceps force, r that of the patellar tendon: 1.16 at 10 and 0.645 at 70
    degrees (Buff, Jones and Hungerford 1988 J Biomech 21:17, abstract), a line between; a, the tendons' turn,
    36, 46 and 62 degrees at 10, 30 and 60 (read at second hand)."""
    angles, turn = np.array([10.0, 30.0, 60.0]), deg(36, 46, 62)
    tendon = np.interp(angles, (10.0, 70.0), (1.16, 0.645))
    by_statics = np.sqrt(1 + tendon**2 - 2 * tendon * np.cos(turn))
    low, value, high = (patellofemoral_ratio(deg(*angles), place) for place in (0.0, 1.0, 2.0))
    assert (low < by_statics).all() and (by_statics < high).all()
    np.testing.assert_allclose(value, by_statics, rtol=0.06)


def test_contact_area_by_imaging_lies_in_the_spread() -> None:
    """Besier et al. (2005) J Orthop Res 23:345, abstract: men 210, 414 and 520 mm2 at 0, 30 and 60 degrees, women 269
    and 396 mm2 at 30 and 60; under weight 24 % more."""
    low, high = (1e6 * contact_area(deg(0, 30, 60), place) for place in (0.0, 2.0))
    for measured in ([210, 414, 520], [210, 269, 396], [210 * 1.24, 414 * 1.23, 520 * 1.24]):
        assert (low < measured).all() and (measured <= high).all(), measured


def test_a_place_runs_from_low_by_value_to_high() -> None:
    table = load_model("tissue", "knee").content["patellofemoral_area"]
    for place, column in ((0.0, "low"), (1.0, "value"), (2.0, "high")):
        np.testing.assert_allclose(1e6 * contact_area(deg(*table["flexion"]), place), table[column], rtol=1e-12)
    between = 1e6 * contact_area(deg(0, 7.5), np.array([[0.5], [1.5]]))
    np.testing.assert_allclose(between[:, 0], [(150 + 240) / 2, (240 + 280) / 2], rtol=1e-12)
    assert between.shape == (2, 2)


def test_running_gives_the_published_patellofemoral_force() -> None:
    """Roos 2012 (PMC3391667): 4.5 +- 1.5 BW at a knee moment of 157 +- 54 Nm, 20 runners. The knee's angle there was
    not read; stance running peaks near 40 degrees (FROM MEMORY), a rider of 70 kg is a choice."""
    flexion = deg(40.0)
    force = patellofemoral_force(157.0 / quadriceps_arm(flexion), flexion) / (70 * 9.80665)
    assert abs(force[0] - 4.5) < 1.5


def test_achilles_arms_that_were_measured_lie_in_the_spread() -> None:
    """Abstracts: contracted 35.7 +- 1.8 mm at 20 degrees of dorsiflexion and 38.1 +- 2.6 mm at 20 of plantarflexion
    (Manal, Cowder and Buchanan 2013 Physiol Rep 1:e00139); 47.93 +- 4.54 mm (Wolfram et al. 2018 R Soc Open Sci
    5:171358); 43 mm at 15 degrees of dorsiflexion and 56 mm at 30 of plantarflexion at rest, 22 % more in contraction
    (Maganaris, Baltzopoulos and Sargeant 2000 Eur J Appl Physiol 83:363)."""
    spread = tissue_spreads()["achilles_arm"]
    angles, measured = deg(20, -20, 0, 15, -30), np.array([0.0357, 0.0381, 0.0479, 1.22 * 0.043, 1.22 * 0.056])
    share = measured / achilles_arm(angles)
    assert spread.low <= share.min() and share.max() <= spread.high


def test_achilles_arm_grows_between_ultrasound_and_imaging() -> None:
    """6 to 7 % from 20 degrees of dorsiflexion to 10 of plantarflexion (Manal et al. 2013, abstract), 43 to 56 mm from
    15 of dorsiflexion to 30 of plantarflexion (Maganaris et al. 2000, abstract)."""
    spread = tissue_spreads()["achilles_growth"]
    for growth, (first, last), ratios in (
        (spread.low, (20, -10), (1.06, 1.07)),
        (spread.high, (15, -30), (1.29, 1.31)),
    ):
        ends = achilles_arm(deg(first, last), growth)
        assert ratios[0] < ends[1] / ends[0] < ratios[1]
    np.testing.assert_allclose(achilles_arm(deg(0)), 0.042 * 1.08, rtol=0.001)


def test_a_landings_compression_from_its_printed_net_values() -> None:
    """sportsmedicine-open s40798-016-0072-x, 20 persons: net compression 14.8 and 17.8 N/kg from 22 and 44 cm, flexion
    moment 2.12 Nm/kg from 44 cm. With an arm of 34.7 mm at 70 degrees the tendon adds 61 N/kg by hand: more than three
    times the net force, which is why the net force is no load of the cartilage."""
    factors = likeliest()
    out = knee_tissue(np.array([2.12]), np.array([0.0]), deg(70), np.array([17.8]), factors)
    assert out.compression[0] == pytest.approx(17.8 + 2.12 / (0.036 - 0.002 * 10 / 15), rel=1e-12)
    assert out.medial[0] == out.lateral[0] == pytest.approx(out.compression[0] / 2)
    lower = knee_tissue(np.array([2.12 * 14.8 / 17.8]), np.array([0.0]), deg(70), np.array([14.8]), factors)
    assert lower.compression[0] / out.compression[0] == pytest.approx(14.8 / 17.8, rel=1e-12)


# beyond 90 degrees


def test_the_kneecap_bears_most_at_a_right_angle_for_the_same_moment() -> None:
    """Greatest contact force at 90 degrees among 20 to 120, 12 cadaver knees (Huberti and Hayes 1984, PMID 6725318,
    abstract); force and stress greatest at 90 degrees in deep squats, as the quadriceps tendon wraps beyond (Hartmann,
    Wirth and Klusemann 2013 Sports Med 43:993, abstract)."""
    angles = np.arange(0.0, 141.0)
    force = patellofemoral_ratio(deg(*angles)) / quadriceps_arm(deg(*angles))
    for load in (force, force / contact_area(deg(*angles))):
        assert abs(angles[np.argmax(load)] - 90.0) <= 5.0
        assert load[120] < load[90] and load[140] < load[90]


def test_the_quadriceps_tendon_bears_a_third_at_120_degrees() -> None:
    """Huberti and Hayes (1984), PMID 6725318, abstract: a third of the contact force at 120 degrees. The whole is that
    of two tendons whose turn is 94 degrees (read at second hand), the patellar tendon's share 0.645 at 70 degrees
    (Buff et al. 1988 J Biomech 21:17, abstract) and held; with both tendons as tense the whole is 1.46."""
    whole = np.sqrt(1 + 0.645**2 - 2 * 0.645 * np.cos(deg(94)[0]))
    low, value, high = (patellofemoral_ratio(deg(120), place)[0] for place in (0.0, 1.0, 2.0))
    assert value == pytest.approx(2 / 3 * whole, rel=0.05)
    assert low < 0.5 * whole and whole < 2 * np.sin(deg(94)[0] / 2) < high, "bounded from both sides"


def test_what_lies_beyond_moves_no_number_below() -> None:
    """The tables to 90 degrees as they stood alone, entry by entry, and the same bytes between their angles."""
    alone = {
        "quadriceps_arm": (quadriceps_arm, 1.0, {
            "value": [0.046, 0.046, 0.043, 0.040, 0.034, 0.027, 0.023, 0.020],
            "low": [0.030, 0.034, 0.036, 0.035, 0.030, 0.023, 0.019, 0.017],
            "high": [0.050, 0.050, 0.047, 0.044, 0.039, 0.033, 0.029, 0.027],
        }),
        "patellofemoral_ratio": (patellofemoral_ratio, 1.0, {
            "value": [0.56, 0.65, 0.71, 0.78, 0.86, 0.93, 1.00, 1.07],
            "low": [0.45, 0.55, 0.62, 0.70, 0.78, 0.82, 0.79, 0.74],
            "high": [0.65, 0.72, 0.78, 0.90, 0.95, 1.05, 1.18, 1.28],
        }),
        "patellofemoral_area": (contact_area, 1e-6, {
            "value": [240.0, 270.0, 310.0, 370.0, 430.0, 490.0, 480.0, 450.0],
            "low": [150.0, 165.0, 200.0, 240.0, 300.0, 390.0, 360.0, 330.0],
            "high": [280.0, 340.0, 430.0, 510.0, 580.0, 645.0, 640.0, 620.0],
        }),
    }  # fmt: skip
    angles, flexion = [0.0, 10.0, 20.0, 30.0, 45.0, 60.0, 75.0, 90.0], deg(*np.linspace(0, 90, 3601))
    for formula, scale, rows in alone.values():
        low, value, high = (np.interp(np.rad2deg(flexion), angles, rows[end]) for end in ("low", "value", "high"))
        for place in (0.0, 0.63, 1.0, 1.61, 2.0):
            beside = place - 1.0
            drawn_place = value + min(beside, 0.0) * (value - low) + max(beside, 0.0) * (high - value)
            assert formula(flexion, place).tobytes() == (scale * drawn_place).tobytes()


def test_the_bound_widens_with_the_angle() -> None:
    """Spread of the kneecap's force for one moment, all places drawn: at 120 wider than at 90, at 140 wider again."""
    factors = drawn(2000, 5)
    ends = []
    for angle in (60, 90, 120, 140):
        out = knee_tissue(np.array([100.0]), np.array([0.0]), deg(angle), np.array([500.0]), factors)
        low, high = np.quantile(out.patellofemoral, (0.025, 0.975))
        ends.append(high / low)
    assert (np.diff(ends) > 0).all()


# statics by hand


def test_a_static_squat_with_a_known_lever_arm() -> None:
    """350 N under each foot, 0.2 m behind the knee's axis at 60 degrees: 70 Nm; quadriceps 70 / r, and so on."""
    flexion = deg(60)
    arm = 0.027
    out = knee_tissue(np.array([350 * 0.2]), np.array([7.0]), flexion, np.array([300.0]), likeliest())
    assert out.quadriceps[0] == pytest.approx(70 / arm)
    assert out.patellofemoral[0] == pytest.approx(70 / arm * patellofemoral_ratio(flexion)[0])
    assert out.patellofemoral_stress[0] == pytest.approx(out.patellofemoral[0] / 490e-6)
    assert out.compression[0] == pytest.approx(300 + 70 / 0.036)
    assert out.medial[0] - out.lateral[0] == pytest.approx(2 * 7.0 / 0.045)
    assert out.medial[0] + out.lateral[0] == pytest.approx(out.compression[0])


def test_standing_still_loads_the_disc_with_the_weight_above_it() -> None:
    """400 N straight above, no moment: 400 cos 30 presses the disc, 400 sin 30 drives the trunk forward."""
    compression, shear = disc_loads(np.array([0.0]), np.array([[0.0], [400.0], [0.0]]), likeliest())
    assert compression[0] == pytest.approx(400 * np.cos(np.pi / 6))
    assert shear[0] == pytest.approx(400 * np.sin(np.pi / 6))


def test_leaning_forward_costs_twenty_times_its_moment() -> None:
    """An arm of 5 cm: 100 Nm of extension moment are 2000 N in the muscle and on the disc."""
    still, bent = (
        disc_loads(np.array([m]), np.array([[0.0], [400.0], [0.0]]), likeliest())[0][0] for m in (0.0, 100.0)
    )
    assert bent - still == pytest.approx(100.0 / 0.05)


def test_the_disc_feels_the_same_force_however_it_slopes() -> None:
    """Compression and shear are two components of one force: their squares add up."""
    force = np.array([[120.0], [500.0], [-60.0]])
    compression, shear = disc_loads(np.array([0.0]), force, drawn(50, 1))
    np.testing.assert_allclose(compression**2 + shear**2, 120.0**2 + 500.0**2, rtol=1e-12)


def test_a_lifted_side_bears_nothing_and_the_other_the_whole_moment() -> None:
    medial, lateral = compartments(np.array([1000.0]), np.array([30.0]), 0.045)
    assert lateral[0] == 0.0
    assert medial[0] == pytest.approx(500 + 30 / 0.045)
    mirrored = compartments(np.array([1000.0]), np.array([-30.0]), 0.045)
    assert (mirrored[1][0], mirrored[0][0]) == (medial[0], 0.0)


# ranges


def test_outside_its_range_a_formula_gives_no_number() -> None:
    assert np.isnan(quadriceps_arm(deg(-1, 141, 150))).all()
    assert np.isnan(patellofemoral_ratio(deg(-1, 141))).all()
    assert np.isnan(contact_area(deg(-1, 141))).all()
    assert np.isnan(achilles_arm(deg(-51, 41))).all()


def test_a_muscle_without_work_needs_no_arm() -> None:
    """An extending load on a straight or deeply bent knee asks nothing of the quadriceps."""
    out = knee_tissue(np.array([-5.0, -5.0]), np.zeros(2), deg(-3, 150), np.array([100.0, 100.0]), likeliest())
    assert (out.quadriceps == 0).all() and (out.patellofemoral == 0).all() and (out.patellofemoral_stress == 0).all()
    np.testing.assert_array_equal(out.compression, [100.0, 100.0])
    assert achilles_force(np.array([-5.0]), deg(60), likeliest())[0] == 0.0


def test_what_is_not_known_stays_unknown() -> None:
    out = knee_tissue(np.array([np.nan]), np.array([1.0]), deg(40), np.array([10.0]), likeliest())
    assert np.isnan([out.quadriceps, out.patellofemoral, out.compression, out.medial, out.lateral]).all()
    assert np.isnan(achilles_force(np.array([np.nan]), deg(0), likeliest())).all()


# laws


def test_twice_the_moments_and_forces_twice_every_load() -> None:
    rng = np.random.default_rng(4)
    moment, turn, pressed = rng.normal(100, 80, 200), rng.normal(0, 30, 200), rng.normal(900, 300, 200)
    flexion = deg(*rng.uniform(0, 90, 200))
    one, two = (knee_tissue(k * moment, k * turn, flexion, k * pressed, likeliest()) for k in (1.0, 2.0))
    for name in ("quadriceps", "patellofemoral", "patellofemoral_stress", "compression", "medial", "lateral"):
        np.testing.assert_allclose(getattr(two, name), 2 * getattr(one, name), rtol=1e-12, err_msg=name)


def test_more_moment_is_never_less_load() -> None:
    moment = np.linspace(0, 400, 80)
    out = knee_tissue(moment, np.full(80, 20.0), np.full(80, deg(60)[0]), np.full(80, 500.0), likeliest())
    for name in ("quadriceps", "patellofemoral", "patellofemoral_stress", "compression", "medial", "lateral"):
        assert (np.diff(getattr(out, name)) >= 0).all(), name
    assert (np.diff(achilles_force(moment, np.zeros(80), likeliest())) > 0).all()
    assert (np.diff(disc_loads(moment, np.ones((3, 80)), likeliest())[0]) > 0).all()


def test_less_adduction_with_more_flexion_moment_need_not_unload_the_medial_side() -> None:
    before = knee_tissue(np.array([100.0]), np.array([30.0]), deg(50), np.array([800.0]), likeliest())
    after = knee_tissue(np.array([160.0]), np.array([20.0]), deg(50), np.array([800.0]), likeliest())
    assert after.medial[0] > before.medial[0]


def test_the_achilles_arm_grows_towards_plantarflexion() -> None:
    assert (np.diff(achilles_arm(deg(*np.arange(-50, 41)))) < 0).all()


# spreads


def test_every_spread_is_whole() -> None:
    for spread in tissue_spreads().values():
        assert 0 <= spread.low < spread.value < spread.high, spread.name
        assert spread.basis in ("published", "derived", "memory", "choice") and spread.source and spread.unit


def test_draws_stay_in_their_triangles_and_come_again() -> None:
    draws, again, other = drawn(4000, 7), drawn(4000, 7), drawn(4000, 8)
    for name, spread in tissue_spreads().items():
        values = np.asarray(draws[name])
        assert values.shape == (4000, 1) and spread.low <= values.min() and values.max() <= spread.high
        mean = (spread.low + spread.value + spread.high) / 3
        assert values.mean() == pytest.approx(mean, abs=4 * (spread.high - spread.low) / np.sqrt(18 * 4000))
        np.testing.assert_array_equal(values, again[name])
        assert not np.array_equal(values, other[name])


def test_a_draw_in_the_frame_axis_is_that_draw_alone() -> None:
    """Draws (D, 1) against frames (F,) give (D, F): every row is what its own factors give."""
    factors, frames = drawn(5, 3), 7
    inputs = (np.linspace(10, 200, frames), np.linspace(-20, 20, frames), deg(*np.linspace(5, 85, frames)))
    together = knee_tissue(*inputs, np.full(frames, 700.0), factors)
    for d in range(5):
        own = {name: np.asarray(values)[d] for name, values in factors.items()}
        alone = knee_tissue(*inputs, np.full(frames, 700.0), own)
        for name in ("quadriceps", "patellofemoral", "patellofemoral_stress", "compression", "medial", "lateral"):
            np.testing.assert_array_equal(getattr(together, name)[d], getattr(alone, name), err_msg=name)


def test_the_lifting_limits_say_that_they_are_not_of_landing() -> None:
    limits = load_model("tissue", "lumbar").content["limits"]
    assert (limits["action_limit"], limits["upper_limit"]) == (3400.0, 6400.0)
    assert "not for landing" in limits["remark"]


def test_stress_is_force_over_area() -> None:
    stress = patellofemoral_stress(np.array([2450.0]), deg(60))
    assert stress[0] == pytest.approx(2450 / 490e-6)

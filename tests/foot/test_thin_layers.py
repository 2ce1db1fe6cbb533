"""Thin layers under heel and ball: laws, published directions and magnitudes, and the choice between them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import trapezoid

from jointload.errors import SettingError
from jointload.foot.heel import dropped_heel
from jointload.foot.heel_pad import StiffeningColumn, heel_of
from jointload.foot.layer_choice import choose, told
from jointload.foot.layer_law import Circumstances, most_exponent, stiffening_in
from jointload.foot.spreads import drawn, foot_spreads
from jointload.foot.thin_layers import (
    HEIGHTS,
    TILTS,
    Bearing,
    LayerTrial,
    Spared,
    held_by_cup,
    spare,
)
from jointload.insole.shape.materials import Material, shipped_materials
from jointload.modeldata import load_model

DRAWS, SEED = 100, 5
FOAM = Material("foam", "foam", 1.2e6, 0.7, 0.35, 150.0, 0.3, law_misfit=0.02)
SOFT = replace(FOAM, name="soft", modulus=0.5e6)
ONE = np.ones((DRAWS, 1))
LEVER = 0.14


def bearing(force: float = 1100.0, push: float | None = 800.0) -> Bearing:
    """A foot with a plain sole whose toes push by a slope times the load."""
    toes = None if push is None else np.repeat(push * TILTS[:, None] + 90.0, DRAWS, axis=1)
    sole = (StiffeningColumn(0.012, 2.5e6, 0.72),)
    return Bearing(
        "right", "modelled", force * ONE, 800.0 * ONE, 250e3 * ONE, 0.03 * ONE, sole, LEVER, 700.0, SEED, toes,
        "" if push is not None else "barefoot: no toe box",
    )  # fmt: skip


@pytest.fixture(scope="module")
def trial() -> LayerTrial:
    return spare(bearing(), (FOAM, SOFT))


# laws


def test_no_height_changes_nothing() -> None:
    for spared in spare(bearing(), (FOAM,), (1e-10,)).spared.values():
        for change in (spared.heel_change, spared.ball_change, spared.ball_force, spared.taken):
            assert np.abs(change).max() < 1e-5


def test_a_rigid_layer_spares_nothing_but_tilts_the_foot() -> None:
    rigid = Material("rigid", "shell", 5e9, 0.9, 0.0, 900.0, 0.0)
    spared = spare(bearing(), (rigid,), (0.003,)).spared["heel"]
    assert np.abs(spared.heel_change).max() < 1e-3 and spared.left == pytest.approx(0.003, rel=1e-3)
    assert spared.toe_push == pytest.approx(800.0 * 0.003 / LEVER, rel=1e-2)


def test_more_height_and_less_stiffness_leave_less_pressure(trial: LayerTrial) -> None:
    for place, spared in trial.spared.items():
        change = spared.ball_change if place == "ball" else spared.heel_change
        middles = np.median(change, axis=-1)
        assert (np.diff(middles, axis=1) < 0).all() and (middles < 0).all()
        assert (spared.left > 0).all() and (spared.kept <= spared.taken).all()
    own = trial.spared["heel"]
    assert (np.median(own.left[1], axis=-1) < np.median(own.left[0], axis=-1)).all()


def test_what_leaves_the_heel_goes_to_the_ball(trial: LayerTrial) -> None:
    """A softer sole: rearfoot lower, forefoot higher in drop jumps from 31 to 61 cm; Appl Sci 2020 10:3594."""
    spared = trial.spared["heel"]
    assert (spared.ball_force > 0).all() and (spared.ball_change > 0).all()
    firm, soft = (np.median(each, axis=-1)[:, 2] for each in (spared.heel_change, spared.ball_change))
    assert firm[1] < firm[0] and soft[1] > soft[0]


def test_a_heel_that_sinks_in_stands_lower_than_its_layer(trial: LayerTrial) -> None:
    heel, whole = trial.spared["heel"], trial.spared["whole"]
    rise = 800.0 * np.array(HEIGHTS) / LEVER
    assert (heel.toe_push > 0).all() and (heel.toe_push < rise[None, :, None] + 1e-9).all()
    assert (np.abs(whole.toe_push) < heel.toe_push).all()


def test_toes_that_are_not_known_stay_unknown() -> None:
    found = spare(bearing(push=None), (FOAM,), (0.003,))
    assert np.isnan(found.spared["heel"].toe_push).all() and found.bearing.no_toes


def test_energy_of_a_linear_layer_is_half_of_force_and_way() -> None:
    """Of each ring p c / 2: with a linear layer its energy lies between none and F c_max / 2, which a flat heel has."""
    linear = Material("linear", "foam", 2e6, 1.0, 0.3, 150.0, 0.0)
    found = spare(bearing(), (linear,), (0.004,), places=("heel",)).spared["heel"]
    most = 0.5 * 1100.0 * (0.004 - found.left)
    assert (found.taken < most).all() and (found.taken > 0.3 * most).all()
    assert found.kept == pytest.approx(0.3 * found.taken)


def test_a_foam_that_the_law_misses_is_less_certain() -> None:
    """Of the same law: one whose test it meets, one whose test it misses, and one that was never tested."""
    poor, untested = replace(FOAM, law_misfit=0.08), replace(FOAM, law_misfit=math.nan)
    well, *doubtful = (spare(bearing(), (m,), (0.004,)).spared["whole"] for m in (FOAM, poor, untested))
    for spared in doubtful:
        for change in ("heel_change", "ball_change"):
            assert np.std(getattr(spared, change)) > 1.1 * np.std(getattr(well, change))
        assert np.array_equal(spared.left, well.left)


# speed, temperature, wear


@pytest.mark.parametrize("power", [0.03, 0.08, 0.15])
def test_loss_tells_the_exponent_of_a_fractional_element(power: float) -> None:
    """stress = D^power of strain: its modulus grows as speed^power and its loss angle is pi power / 2, exactly. The
    work of a loop between nothing and a largest strain is integrated here, inwards and whole."""
    phase = np.linspace(0.0, 2.0 * np.pi, 20001)
    delta = 0.5 * np.pi * power
    strain = 0.5 - 0.5 * np.cos(phase)
    stress = 0.5 * math.cos(delta) - 0.5 * np.cos(phase + delta)
    inwards = phase <= np.pi
    loss = trapezoid(stress, strain) / trapezoid(stress[inwards], strain[inwards])
    assert most_exponent(float(loss)) == pytest.approx(power, rel=0.05)


def stiffer(material: Material, circumstances: Circumstances = Circumstances()) -> np.ndarray:  # noqa: B008
    return stiffening_in(material, 0.02 * ONE, circumstances, drawn("layer", DRAWS, SEED), SEED)


def test_two_speeds_decide_where_they_were_measured() -> None:
    measured = replace(FOAM, loading_time=2.0, rate_exponent=0.1)
    assert stiffer(measured) == pytest.approx(100.0**0.1)
    assert stiffer(replace(FOAM, loading_time=0.02)) == pytest.approx(1.0)
    doubted = stiffer(replace(measured, rate_sd=0.02))
    assert np.std(np.log(doubted) / np.log(100.0)) == pytest.approx(0.02, rel=0.1)
    slow = stiffer(replace(FOAM, loading_time=2.0))
    assert (slow >= 1.0).all() and np.ptp(slow) > 0.2


def test_cold_and_wear_are_as_published() -> None:
    """-18 deg C: hardness +4.4 to +115 %, median +19 %, of 18 shoes. 500 km: peak pressure +100 % on average, taken for
    the most; Verdejo and Mills 2004."""
    quick = replace(FOAM, loading_time=0.02)
    cold = stiffer(quick, Circumstances(temperature=-18.0))
    assert cold.min() >= 1.044 - 1e-9 and cold.max() <= 2.15
    worn = stiffer(quick, Circumstances(worn=500.0))
    assert worn.min() >= 1.0 and worn.max() <= 2.0
    assert foot_spreads("layer")["cold"].value == 0.19
    assert stiffer(quick, Circumstances(temperature=22.0)) == pytest.approx(1.0)


@pytest.mark.parametrize("wrong", [{"temperature": -40.0}, {"worn": 5000.0}, {"worn": -1.0}])
def test_nothing_is_said_beyond_what_was_published(wrong: dict[str, float]) -> None:
    with pytest.raises(SettingError, match="nothing was published beyond"):
        Circumstances(**wrong)


def test_a_batch_is_the_material_s_own_and_the_same_again() -> None:
    both, alone = spare(bearing(), (FOAM, SOFT)), spare(bearing(), (SOFT,))
    assert np.array_equal(both.spared["heel"].heel_change[1], alone.spared["heel"].heel_change[0])


# the cup


def test_a_cup_takes_a_drop_better_as_published() -> None:
    """A shoe's counter beside none: shock absorption +8.8 % (5.8 to 15.5), 14 legs; Int J Sports Med 1988 9:468-473.
    5 kg at 0.93 m/s upon a heel, as force: the middle within that range, the same persons with and without."""
    factors = drawn("heel_pad", DRAWS, SEED)
    usual = load_model("foot", "heel_pad").content["impact"]["loading_time"]
    heel = heel_of(factors, usual)
    held = held_by_cup(heel, drawn("layer", DRAWS, SEED)["cup"])
    eased = 1.0 - dropped_heel(held, DRAWS, SEED).force / dropped_heel(heel, DRAWS, SEED).force
    assert 0.058 < float(np.median(eased)) < 0.155
    assert (eased > 0).all()


def test_a_cup_eases_the_heel_and_is_told_by_itself() -> None:
    with_cup = spare(bearing(), (FOAM,), (1e-10, 0.003), Circumstances(cup=True), places=("heel",))
    without = spare(bearing(), (FOAM,), (0.003,), places=("heel",))
    assert (with_cup.cup_change < 0).all() and (without.cup_change == 0).all()
    assert with_cup.spared["heel"].heel_change[0, 0] == pytest.approx(with_cup.cup_change, abs=1e-5)
    assert (with_cup.spared["heel"].heel_change[0, 1] < without.spared["heel"].heel_change[0, 0]).all()
    assert np.array_equal(with_cup.bare_pressure, without.bare_pressure)


# the choice


def made(changes: dict[str, list[float]], bottomed: tuple[str, ...] = (), doubt: float = 0.2) -> LayerTrial:
    """A trial whose heel changes are given at 1, 2, ... mm, with draws that scale them."""
    scale = np.linspace(1.0 - doubt, 1.0 + doubt, DRAWS)
    heel = np.array(list(changes.values()))[..., None] * scale
    flag = np.array([[[float(name in bottomed)] * DRAWS] * heel.shape[1] for name in changes])
    nothing = np.zeros_like(heel)
    spared = Spared("heel", heel, *([nothing] * 7), flag, nothing, nothing)
    materials = tuple(replace(FOAM, name=name) for name in changes)
    heights = HEIGHTS[: heel.shape[1]]
    return LayerTrial(
        bearing(), materials, heights, Circumstances(), ONE.T, ONE[:, 0], ONE[:, 0], 0 * ONE[:, 0], {"heel": spared}
    )


def test_the_best_that_does_not_bottom_is_chosen() -> None:
    found = choose(made({"a": [-0.05, -0.08], "b": [-0.06, -0.09], "c": [-0.2, -0.3]}, ("c",)), "heel", 0.002, 0.002)
    assert (found.best, found.bottomed, found.alike) == (1, (2,), ())
    assert found.change.middle == pytest.approx(-0.09) and found.change.high > found.change.middle


def test_no_gain_and_nothing_told() -> None:
    """Told from none at 2 % at the worse end; nothing gained where the rest is less than 2 %."""
    found = choose(made({"a": [-0.01, -0.05, -0.10, -0.11, -0.115]}), "heel", 0.003, 0.005)
    assert (found.told_from, found.gained_to) == (0.002, 0.003)
    assert choose(made({"a": [-0.001, -0.002]}), "heel", 0.002, 0.008).told_from is None


def test_within_the_stack_alone() -> None:
    found = choose(made({"a": [-0.05, -0.10, -0.20]}), "heel", 0.003, 0.0021)
    assert found.height == 0.002 and found.gained_to == 0.002


def test_materials_within_each_other_s_doubt_are_not_told_apart() -> None:
    one = made({"a": [-0.10], "b": [-0.10]})
    draws = np.random.default_rng(1).normal(1.0, 0.3, (2, 1, DRAWS))
    apart = replace(one, spared={"heel": replace(one.spared["heel"], heel_change=-0.1 * draws)})
    best = choose(apart, "heel", 0.001, 0.008)
    assert best.best is not None and best.alike == (1 - best.best,)


def test_an_unknown_number_is_told_as_unknown() -> None:
    assert math.isnan(told(np.full(5, np.nan)).middle)


def test_every_shipped_cushion_can_be_tried() -> None:
    cushions = [m for m in shipped_materials().values() if m.kind in ("foam", "gel", "elastomer")]
    spared = spare(bearing(), cushions).spared["whole"]
    assert len(cushions) >= 5 and np.isfinite(spared.heel_change).all()

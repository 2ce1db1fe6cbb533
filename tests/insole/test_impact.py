"""Impact tests of cushions: a linear spring in closed form, and masses dropped on layers of other laws."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from jointload.errors import SettingError
from jointload.insole.shape.compression import read_compression
from jointload.insole.shape.impact_test import (
    CushionFit,
    Dropped,
    ImpactTest,
    dropped_from,
    fit_cushion,
    is_impact,
    read_impact,
    standard_of,
)

GRAVITY = 9.80665
THICKNESS, AREA = 0.010, 0.25 * math.pi * 0.045**2
STEP = 4e-6
MASS = 8.5
INTEGRATED = 0.01
"""Share that a touch-down read between two samples of 10 kHz, and a touch at 2 % of the peak, may cost."""
Law = Callable[[float, float, float], float]
"""Compression [m], its speed [m/s], largest so far [m] -> force [N]."""


def drop(law: Law, mass: float, height: float, rate: float = 10_000.0, noise: float = 0.0) -> tuple[np.ndarray, ...]:
    """Time [s] and force [N] as recorded, 3 ms before touch and after release, and the way [m]."""
    speed, way, deepest = math.sqrt(2.0 * GRAVITY * height), 0.0, 0.0
    forces, ways = [], []
    while len(forces) < 200_000:
        deepest = max(deepest, way)
        force = max(law(way, speed, deepest), 0.0)
        forces.append(force)
        ways.append(way)
        if len(forces) > 100 and (force <= 0.0 or way <= 0.0):
            break
        speed += (GRAVITY - force / mass) * STEP
        way += speed * STEP
    idle = np.zeros(round(0.003 / STEP))
    fine = np.concatenate((idle, forces, idle))
    every = round(1.0 / rate / STEP)
    rng = np.random.default_rng(3)
    force = fine[::every]
    force = force + noise * force.max() * rng.standard_normal(force.size)
    return np.arange(force.size) / rate, force, np.array(ways)


def linear(stiffness: float) -> Law:
    return lambda way, speed, deepest: stiffness * way


def gas_foam(rate: float = 0.0, quick: float = 1.0, loss: float = 0.3) -> Law:
    """Closed cells p = (walls + gas) quick^rate on the way in, quick : speed of the loading [m/s]; let go, the force
    falls more steeply."""

    def force(way: float, speed: float, deepest: float) -> float:
        strain = min(max(way, 0.0) / THICKNESS, 0.79)
        stress = 500e3 * strain / (1.0 + strain) + 100e3 * strain / (0.8 - strain)
        back = 1.0 if speed >= 0.0 else (max(way, 0.0) / deepest) ** (3.0 * loss)
        return AREA * stress * quick**rate * back

    return force


def table(path: Path, head: str, *columns: np.ndarray) -> Path:
    np.savetxt(path, np.column_stack(columns), delimiter=",", header=head, comments="", fmt="%.7g")
    return path


def written(folder: Path, time: np.ndarray, values: np.ndarray, head: str = "time_s,force_N") -> Path:
    return table(folder / "a.csv", head, time, values)


def fallen(height: float, mass: float = MASS) -> Dropped:
    return Dropped(mass, math.sqrt(2.0 * GRAVITY * height))


def read(folder: Path, law: Law, height: float = 0.05, mass: float = MASS, said: float = 0.0) -> ImpactTest:
    time, force, _ = drop(law, mass, height)
    return read_impact(written(folder, time, force), fallen(said or height, mass), THICKNESS, AREA)


# closed forms


def test_a_linear_spring_gives_its_closed_form(tmp_path: Path) -> None:
    """k x^2 / 2 = m g (h + x): x = (m g / k) (1 + sqrt(1 + 2 k h / m g)); energy over peak force is x / 2; the mass
    goes up as quickly as it came. After touch  x = u (1 - cos wt) + (v / w) sin wt,  u = m g / k."""
    stiffness, height = 250e3, 0.05
    test = read(tmp_path, linear(stiffness), height)
    weight = MASS * GRAVITY
    deepest = weight / stiffness * (1.0 + math.sqrt(1.0 + 2.0 * stiffness * height / weight))
    assert test.loop.strain.max() * THICKNESS == pytest.approx(deepest, rel=INTEGRATED)
    assert test.peak_force == pytest.approx(stiffness * deepest, rel=INTEGRATED)
    assert test.peak_g == pytest.approx(stiffness * deepest / weight, rel=INTEGRATED)
    assert test.energy_over_force == pytest.approx(0.5 * deepest, rel=2 * INTEGRATED)
    assert test.energy == pytest.approx(weight * (height + deepest), rel=2 * INTEGRATED)
    assert test.returned == pytest.approx(1.0, abs=0.05)
    pace = math.sqrt(stiffness / MASS)
    turn = (math.pi - math.atan(test.dropped.speed / pace / (weight / stiffness))) / pace
    assert test.loop.loading_time == pytest.approx(turn, rel=0.03)


def test_height_or_energy_say_the_same() -> None:
    """E = m g h."""
    by_height, by_energy = dropped_from(5.0, 0.10, None, "a"), dropped_from(5.0, None, 5.0 * GRAVITY * 0.10, "a")
    assert by_height.speed == pytest.approx(by_energy.speed) and by_energy.height == pytest.approx(0.10)
    for height, energy in ((None, None), (0.1, 5.0)):
        with pytest.raises(SettingError, match="its height or its energy"):
            dropped_from(5.0, height, energy, "a.csv")


def test_a_heavy_blow_by_energy_and_height_as_a_seller_s_test() -> None:
    """5 kg with 37.5 J: 3.9 m/s (a seller's page, own arithmetic)."""
    assert dropped_from(5.0, None, 37.5, "a").speed == pytest.approx(3.9, abs=0.05)


# a layer of another law


def test_what_a_foam_of_another_law_did_is_read_back(tmp_path: Path) -> None:
    law = gas_foam()
    time, force, ways = drop(law, MASS, 0.05, noise=0.01)
    test = read_impact(written(tmp_path, time, force), fallen(0.05), THICKNESS, AREA)
    assert test.loop.strain.max() * THICKNESS == pytest.approx(ways.max(), rel=0.02)
    assert test.peak_force == pytest.approx(force.max(), rel=0.05)
    assert test.implied[0] < 0.05 < 1.15 * test.implied[1]
    assert 0.0 < test.returned < 0.9 and test.cutoff == 1000.0


def test_force_and_acceleration_tell_the_same_either_sign(tmp_path: Path) -> None:
    time, force, _ = drop(gas_foam(), MASS, 0.05)
    mass = fallen(0.05)
    plain = read_impact(written(tmp_path, time, force), mass, THICKNESS, AREA)
    for values, head in (
        (force / MASS / GRAVITY, "time_s,acceleration_g"),
        (-force / MASS, "time_s,acceleration_ms2"),
        (1e-3 * force, "time_s,force_kN"),
    ):
        other = read_impact(written(tmp_path, time, values, head), mass, THICKNESS, AREA)
        assert other.peak_force == pytest.approx(plain.peak_force, rel=1e-4)
        assert other.energy == pytest.approx(plain.energy, rel=1e-3)


@pytest.mark.parametrize(("said", "wrong"), [(0.5, True), (0.01, True), (0.072, False)])
def test_a_height_that_does_not_fit_the_impact_is_told(tmp_path: Path, said: float, wrong: bool) -> None:
    """Ten times or a fifth of the true 50 mm is a mistake; nearly half as much again is doubted."""
    if wrong:
        with pytest.raises(SettingError, match=r"drop height|a mass that is stopped|thickness"):
            read(tmp_path, gas_foam(), said=said)
    else:
        assert "look at mass, height and units" in read(tmp_path, gas_foam(), said=said).loop.notes[0]


def test_other_steps_of_time_and_no_impact_are_refused(tmp_path: Path) -> None:
    time, force, _ = drop(gas_foam(), MASS, 0.05)
    mass = Dropped(MASS, 1.0)
    with pytest.raises(SettingError, match="even steps"):
        read_impact(written(tmp_path, time**1.1, force), mass, THICKNESS, AREA)
    with pytest.raises(SettingError, match="time_s or time_ms"):
        read_impact(written(tmp_path, time, force, "time_s,load_N"), mass, THICKNESS, AREA)


def test_files_are_known_by_their_columns(tmp_path: Path) -> None:
    time, force, _ = drop(gas_foam(), MASS, 0.05)
    assert is_impact(written(tmp_path, time, force))
    both = table(tmp_path / "b.csv", "time_s,compression_mm,force_N", time, time, force)
    assert not is_impact(both)


def test_a_standard_is_named_only_where_it_is_the_test(tmp_path: Path) -> None:
    """ASTM F1976, scope: 8.5 kg dropped 30 to 70 mm."""
    assert "F1976" in standard_of(read(tmp_path, gas_foam(), 0.05))
    assert standard_of(read(tmp_path, gas_foam(), 0.02)) == ""
    assert standard_of(read(tmp_path, gas_foam(), 0.05, mass=5.0)) == ""


# speed


def slow_test(folder: Path, rate: float, lasts: float) -> Path:
    """The same foam in a testing machine, up and back at one speed."""
    way = 0.0065 * np.concatenate((np.linspace(0, 1, 200), np.linspace(1, 0, 200)[1:]))
    law = gas_foam(rate, 0.0065 / lasts)
    force = [law(w, 1.0 if k < 200 else -1.0, 0.0065) for k, w in enumerate(way)]
    time = np.linspace(0.0, 2.0 * lasts, way.size)
    return table(folder / "slow.csv", "time_s,compression_mm,force_N", time, 1e3 * way, np.array(force))


def dropped(folder: Path, rate: float, height: float, mass: float = MASS) -> ImpactTest:
    """A drop whose foam is stiffened by what its mean speed is, seven tenths of that at touch."""
    return read(folder, gas_foam(rate, 0.7 * math.sqrt(2.0 * GRAVITY * height)), height, mass)


@pytest.mark.parametrize("rate", [0.0, 0.05, 0.10])
def test_two_speeds_give_the_exponent(tmp_path: Path, rate: float) -> None:
    """Stress as the strain rate to a power: a slow test and a drop give it back within three of its deviations."""
    slow = read_compression(slow_test(tmp_path, rate, 5.0), THICKNESS, AREA)
    found = fit_cushion([slow, dropped(tmp_path, rate, 0.05)], "foam")
    assert slow.loading_time == pytest.approx(5.0, rel=0.02)
    assert found.fit.material.rate_exponent == pytest.approx(rate, abs=max(3 * found.exponent_sd, 0.02))
    assert found.fit.material.loading_time < 0.05


def test_two_energies_of_one_mass_are_too_alike_in_speed_unless_they_differ(tmp_path: Path) -> None:
    near = [dropped(tmp_path, 0.05, height) for height in (0.045, 0.05)]
    told: CushionFit = fit_cushion(near, "foam")
    assert math.isnan(told.exponent_sd) and "differ too little in speed" in told.fit.notes[-1]
    assert math.isnan(told.fit.material.rate_exponent)
    apart = [dropped(tmp_path, 0.05, height, 5.0) for height in (0.004, 0.05)]
    assert fit_cushion(apart, "foam").exponent_sd > 0.03


def test_several_tests_must_say_how_quick_they_were(tmp_path: Path) -> None:
    path = slow_test(tmp_path, 0.0, 5.0)
    rows = [line.split(",", 1)[1] for line in path.read_text().splitlines()]
    path.write_text("\n".join(rows))
    slow = read_compression(path, THICKNESS, AREA)
    with pytest.raises(SettingError, match="a column time_s in each"):
        fit_cushion([slow, read(tmp_path, gas_foam())], "foam")

"""Rows of materials, the law of a layer, hardness, and tests of a material fitted back to what they were made of."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from jointload.errors import InputError, ModelDataError, SettingError
from jointload.insole.shape.compression import (
    AREA_UNITS,
    LENGTH_UNITS,
    CompressionTest,
    energy_loss,
    fit_layer,
    parse_quantity,
    read_compression,
)
from jointload.insole.shape.cushioning import TISSUE_A, TISSUE_B, TISSUE_THICKNESS, rest_heel
from jointload.insole.shape.materials import (
    COLUMNS,
    KINDS,
    Material,
    gent_1958,
    material,
    materials_from,
    modulus_from_hardness,
    read_materials,
    ruess,
    shipped_materials,
)

FOAM = Material("made", "foam", 1.4e6, 0.72, 0.38)
THICKNESS, AREA = 0.010, 500e-6
PRINTED = 0.005
"""Half the last printed digit of a modulus in MPa."""


# Rows ---------------------------------------------------------------------------------------------------------------


def test_every_shipped_material_says_where_it_comes_from() -> None:
    shipped = shipped_materials()
    assert {m.kind for m in shipped.values()} == set(KINDS)
    assert all(m.source and m.basis and m.density > 0 for m in shipped.values())
    for m in shipped.values():
        assert ("memory" in m.source or "choice" in m.source) == (m.basis != "read"), m.name


def test_a_row_goes_round() -> None:
    for name, found in shipped_materials().items():
        assert materials_from([found.row()], "here")[name] == found


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"kind": "cheese"}, "expected elastomer, foam, gel, shell, tissue"),
        ({"modulus_MPa": "1.2e6"}, "modulus_MPa: expected a number from 0.005 to 5000"),
        ({"modulus_MPa": ""}, "an empty cell"),
        ({"energy_loss": "35"}, "from 0 to 1, found '35'"),
        ({"density_kg_m3": "0.2"}, "from 10 to 3000"),
        ({"stiffening_strain": "-1"}, "found '-1'"),
        ({"basis": "hearsay"}, "from memory"),
    ],
)
def test_a_wrong_cell_is_named(change: dict[str, str], said: str) -> None:
    with pytest.raises(ModelDataError, match=said):
        materials_from([FOAM.row() | change], "here")


def test_a_material_is_known_as_pages_print_it() -> None:
    assert material("pu foam soft") == material("pu_foam_soft")


def test_unknown_materials_list_the_known(tmp_path: Path) -> None:
    with pytest.raises(ModelDataError, match=r"eva_medium.*found 'EVA'"):
        material("EVA")
    with pytest.raises(ModelDataError, match="does not exist"):
        read_materials(tmp_path / "nowhere.csv")


# The law ------------------------------------------------------------------------------------------------------------


def test_pressure_and_compression_are_inverse() -> None:
    p = np.geomspace(1e2, 1e8, 50)
    strain = FOAM.compression(p, 0.004) / 0.004
    np.testing.assert_allclose(FOAM.pressure(strain), p, rtol=1e-6)
    assert np.all(strain < FOAM.stiffening_strain)
    assert np.isinf(FOAM.pressure(0.8))
    assert FOAM.pressure(1e-6) == pytest.approx(1.4, rel=1e-4), "E times a small strain"


def test_bottoming_out_is_ten_times_the_first_stiffness() -> None:
    s, d = FOAM.bottoming_strain, 1e-6
    assert (FOAM.pressure(s + d) - FOAM.pressure(s - d)) / (2 * d) == pytest.approx(10 * FOAM.modulus, rel=1e-5)
    assert FOAM.pressure(s) == pytest.approx(FOAM.bottoming_pressure, rel=1e-12)


# Hardness -----------------------------------------------------------------------------------------------------------


def test_ruess_is_a_power_of_ten() -> None:
    """60 Shore A gives 5.88 MPa; e in place of ten would give 2.16."""
    assert ruess(60) / 1e6 == pytest.approx(5.88, abs=PRINTED)
    assert material("elastomer_60a").modulus == pytest.approx(ruess(60), abs=0.05e6)


@pytest.mark.parametrize(("shore", "modulus"), [(25, 0.92), (40, 1.69), (60, 3.61)])
def test_gent_gives_its_printed_values(shore: float, modulus: float) -> None:
    assert gent_1958(shore) / 1e6 == pytest.approx(modulus, abs=PRINTED)


@pytest.mark.parametrize("kind", ["foam", "gel", "tissue", "shell"])
def test_hardness_is_refused_for_all_but_solid_elastomers(kind: str) -> None:
    with pytest.raises(SettingError, match="measure it"):
        modulus_from_hardness(45, kind)


def test_hardness_outside_its_range_and_unknown_laws_are_refused() -> None:
    assert modulus_from_hardness(40, "elastomer", "gent_1958") == gent_1958(40)
    for shore in (25, 75, math.nan):
        with pytest.raises(SettingError, match="30 to 60 Shore A"):
            modulus_from_hardness(shore, "elastomer")
    with pytest.raises(SettingError, match="gent_1958, ruess"):
        modulus_from_hardness(40, "elastomer", "exponential")


# Tests of a material ------------------------------------------------------------------------------------------------


def loop(deepest: float = 0.55, noise: float = 0.0, loss: float = 0.38, samples: int = 400) -> tuple[np.ndarray, ...]:
    """Strain and stress of one loop of FOAM; on the way back the stress is (1 - loss) of the law's, so that the share
    of work lost is `loss`."""
    strain = 0.5 * deepest * (1 - np.cos(np.linspace(0, 2 * np.pi, 2 * samples + 1)))
    stress = FOAM.pressure(strain)
    stress[samples + 1 :] *= 1 - loss
    rng = np.random.default_rng(11)
    return strain + noise * deepest * rng.normal(size=strain.size), stress + noise * stress.max() * rng.normal(
        size=stress.size
    )


def saved(folder: Path, strain: np.ndarray, stress: np.ndarray, head: str = "compression_mm,force_N") -> Path:
    path = folder / "loop.csv"
    rows = np.stack((strain * 1e3 * THICKNESS, stress * AREA), axis=-1)
    path.write_text(head + "\n" + "\n".join(f"{a:.6f},{b:.4f}" for a, b in rows) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(("noise", "tolerance"), [(0.0, 0.002), (0.01, 0.05)])
def test_a_fit_gives_back_what_the_loop_was_made_of(tmp_path: Path, noise: float, tolerance: float) -> None:
    """Noise is a share of the largest compression and load; the tolerance five times that."""
    fit = fit_layer(read_compression(saved(tmp_path, *loop(noise=noise)), THICKNESS, AREA), "made", density=180)
    assert fit.material.modulus == pytest.approx(FOAM.modulus, rel=tolerance)
    assert fit.material.stiffening_strain == pytest.approx(FOAM.stiffening_strain, rel=tolerance)
    assert fit.material.energy_loss == pytest.approx(0.38, abs=0.002 + 3 * noise)
    assert fit.bottoming_load == pytest.approx(FOAM.bottoming_pressure * AREA, rel=2 * tolerance)
    assert fit.rms == pytest.approx(fit.rms_share * fit.test.strain[fit.test.loading].max() * THICKNESS)
    assert fit.rms_share < max(3 * noise, 1e-4)
    assert set(fit.material.row()) == {*COLUMNS, "law_misfit"} and fit.material.row()["basis"] == "measured"


def test_stress_against_strain_needs_neither_thickness_nor_area(tmp_path: Path) -> None:
    strain, stress = loop()
    path = tmp_path / "a.csv"
    lines = [
        f"{k};{100 * a:.4f};{b / 1e3:.4f}".replace(".", ",")
        for k, (a, b) in enumerate(zip(strain, stress, strict=True))
    ]
    path.write_text("# a machine\ntime_s;strain_percent;stress_kPa\n" + "\n".join(lines), encoding="utf-8")
    fit = fit_layer(read_compression(path), "made")
    assert fit.material.modulus == pytest.approx(FOAM.modulus, rel=0.002)
    assert math.isnan(fit.rms) and math.isnan(fit.bottoming_load)


def test_the_last_whole_loop_of_several_is_used(tmp_path: Path) -> None:
    first, last = loop(loss=0.6), loop(loss=0.38)
    strain, stress = (np.concatenate((a, a[1:], b[1:])) for a, b in zip(first, last, strict=True))
    test = read_compression(saved(tmp_path, strain, stress), THICKNESS, AREA)
    assert "3 loops" in test.notes[0]
    assert energy_loss(test) == pytest.approx(0.38, abs=0.005)


def test_a_loading_alone_leaves_the_loss_unknown(tmp_path: Path) -> None:
    strain, stress = loop()
    fit = fit_layer(read_compression(saved(tmp_path, strain[:400], stress[:400]), THICKNESS, AREA), "made")
    assert math.isnan(fit.material.energy_loss)
    assert any("energy loss is unknown" in note for note in fit.notes)
    assert fit.material.row()["energy_loss"] == ""


def test_a_machine_that_counts_compression_negative_is_turned(tmp_path: Path) -> None:
    strain, stress = loop()
    test = read_compression(saved(tmp_path, -strain, -stress), THICKNESS, AREA)
    assert "both columns were turned" in test.notes[0]
    assert fit_layer(test, "made").material.modulus == pytest.approx(FOAM.modulus, rel=0.002)


def test_what_the_test_did_not_reach_is_told(tmp_path: Path) -> None:
    shallow = fit_layer(read_compression(saved(tmp_path, *loop(0.08)), THICKNESS, AREA), "made")
    assert any("test deeper" in note for note in shallow.notes)
    assert any("before bottoming out" in note for note in shallow.notes)
    deep = fit_layer(read_compression(saved(tmp_path, *loop(0.65)), THICKNESS, AREA), "made")
    assert deep.notes == ()


def test_a_plateau_that_the_law_cannot_follow_is_told() -> None:
    strain = np.linspace(0, 0.7, 300)
    stress = 2e5 * np.minimum(strain / 0.05, 1) + 1e6 * np.maximum(strain - 0.6, 0) ** 2
    fit = fit_layer(CompressionTest(strain, stress, 299, 0.01, AREA, "here"), "plateau")
    assert fit.rms_share > 0.05
    assert any("do not use it" in note for note in fit.notes)


UNIT_MISTAKES = {
    "newtons that are kilonewtons": ("compression_mm,force_kN", THICKNESS, AREA, "check the units"),
    "millimetres that are metres": ("compression_m,force_N", THICKNESS, AREA, "check the unit of the compression"),
    "millimetres that are micrometres": ("compression_um,force_N", THICKNESS, AREA, "check the unit of the compr"),
    "area in mm2 taken for cm2": ("compression_mm,force_N", THICKNESS, 100 * AREA, "check the units"),
    "area in cm2 taken for mm2": ("compression_mm,force_N", THICKNESS, AREA / 100, "check the units"),
    "thickness of a tenth": ("compression_mm,force_N", THICKNESS / 10, AREA, "check the unit of the compression"),
    "unknown unit": ("compression_inch,force_N", THICKNESS, AREA, "expected cm, m, mm, um, found 'inch'"),
    "no unit": ("compression,force", THICKNESS, AREA, "found ''"),
    "no load": ("compression_mm,time_s", THICKNESS, AREA, "found compression_mm, time_s"),
    "two loads": ("force_N,force_kN", THICKNESS, AREA, "compression_mm or strain_percent"),
    "no thickness": ("compression_mm,force_N", None, AREA, "give --thickness"),
    "no area": ("compression_mm,force_N", THICKNESS, None, "give --area"),
}


@pytest.mark.parametrize("mistake", UNIT_MISTAKES)
def test_unit_mistakes_are_one_line(mistake: str, tmp_path: Path) -> None:
    head, thickness, area, said = UNIT_MISTAKES[mistake]
    with pytest.raises(InputError, match=said) as error:
        fit_layer(read_compression(saved(tmp_path, *loop(), head), thickness, area), "made")
    assert "\n" not in str(error.value)


DIRECTION_MISTAKES = {
    "rows in reversed order": (lambda: tuple(values[::-1] for values in loop()), "more work returned"),
    "unloading first": (lambda: tuple(np.roll(values, 400) for values in loop()), "starts near its deepest place"),
    "a negative compression": (lambda: (-loop()[0], loop()[1]), "a negative compression"),
    "a negative load": (lambda: (loop()[0], -loop()[1]), "a negative load"),
    "a load that falls": (lambda: (loop()[0], 5e6 - loop()[1]), "does not"),
    "no load at all": (lambda: (loop()[0], 0 * loop()[1]), "does not"),
}


@pytest.mark.parametrize("mistake", DIRECTION_MISTAKES)
def test_direction_and_sign_mistakes_are_one_line(mistake: str, tmp_path: Path) -> None:
    make, said = DIRECTION_MISTAKES[mistake]
    with pytest.raises(SettingError, match=said) as error:
        fit_layer(read_compression(saved(tmp_path, *make()), THICKNESS, AREA), "made")
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"compression_mm,force_N\n1,2\n", "at least 20 rows"),
        (b"compression_mm,force_N\n" + b"1,two\n" * 30, "found 'two'"),
        (b"compression_mm,force_N\n" + b"1\n" * 30, "a number in every cell"),
        (b"compression_mm,force_N\n" + b"1,2\n1\n" * 30, "one row of numbers"),
        (b"compression_mm,force_N\n" + b"1,nan\n" * 30, "gaps"),
        (b"\xff\xfe\x00", "no text"),
    ],
)
def test_a_broken_table_is_one_line(content: bytes, said: str, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(content)
    with pytest.raises(SettingError, match=said) as error:
        read_compression(path, THICKNESS, AREA)
    assert "\n" not in str(error.value)


def test_a_tissue_is_not_tested(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="tissue cannot be cut"):
        fit_layer(read_compression(saved(tmp_path, *loop()), THICKNESS, AREA), "made", "tissue")


def test_quantities_carry_their_unit() -> None:
    assert parse_quantity("5mm", LENGTH_UNITS, "thickness") == 0.005
    assert parse_quantity(" 5.5 cm2 ", AREA_UNITS, "area") == pytest.approx(5.5e-4)
    for bad in ("5", "mm", "-5mm", "5inch", "5mm2"):
        with pytest.raises(SettingError, match=r"write it like 5mm$"):
            parse_quantity(bad, LENGTH_UNITS, "thickness")


# Under a heel -------------------------------------------------------------------------------------------------------


def test_the_heel_carries_its_load() -> None:
    """The pressure integrated over the rings of the heel is the load, by a sum of its own."""
    curve, radius, load, thickness = 0.080, 0.028, 1500.0, 0.005
    peak = rest_heel(FOAM, thickness, load).peak_pressure
    p = np.geomspace(1e-3, peak, 200_000)
    depth = FOAM.compression(p, thickness) + TISSUE_THICKNESS / TISSUE_B * np.log1p(p / TISSUE_A)
    r = np.linspace(0, radius, 20_001)
    at = np.interp(depth[-1] - r**2 / (2 * curve), depth, p, left=0.0)
    force = np.sum(2 * math.pi * 0.5 * (r[1:] * at[1:] + r[:-1] * at[:-1]) * np.diff(r))
    assert force == pytest.approx(load, rel=2e-3)


def test_bare_heel_pressure_of_walking() -> None:
    """762 +- 220 kPa under the medial heel of 47 persons walking barefoot (PMC8275713), at about 700 N."""
    assert rest_heel(material("polypropylene_shell"), 0.0005, 700).peak_pressure == pytest.approx(762e3, abs=220e3)


def test_more_thickness_less_pressure_and_the_best_stiffness_grows_with_the_load() -> None:
    """Chatzistergos 2017: the heavier the load, the stiffer the best insole."""
    peaks = [rest_heel(FOAM, t, 1500).peak_pressure for t in (0.001, 0.003, 0.006, 0.012)]
    assert np.all(np.diff(peaks) < 0)
    moduli = np.geomspace(0.05e6, 20e6, 60)

    def best(load: float) -> float:
        options = [rest_heel(Material("m", "foam", e, 0.7), 0.006, load).peak_pressure for e in moduli]
        return float(moduli[np.argmin(options)])

    assert best(400) < best(1500) < best(4000)


def test_energy_stays_within_the_work_of_the_layer() -> None:
    rest = rest_heel(FOAM, 0.006, 1500)
    assert rest.energy_lost == pytest.approx(0.38 * rest.work)
    assert 0 < rest.work < 1500 * (0.006 - rest.height_left), "less than the load over the whole way"
    assert 0 < rest.height_left < 0.006
    assert math.isnan(rest_heel(Material("m", "foam", 1e6, 0.7), 0.006, 1500).energy_lost)
    assert rest_heel(FOAM, 0.006, 20_000).bottomed_out and not rest.bottomed_out

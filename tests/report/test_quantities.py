"""The glossary is whole, and the way from SI to shown units is exact."""

from __future__ import annotations

import math

import pytest

from jointload.errors import ModelDataError
from jointload.intake.rider import G
from jointload.landing.measures.every_measure import BODY_MEASURES, SIDE_MEASURES
from jointload.modeldata import load_model
from jointload.report.words.quantities import (
    glossary,
    number_text,
    of_joint,
    quantity,
    range_text,
    sanity,
    shown,
    told_number,
)
from jointload.report.words.tables import plain_digits

WEIGHT = 70.0 * G
ROUNDING = 1e-15
"""Relative: two roundings of a double."""


@pytest.mark.parametrize("name", [*BODY_MEASURES, *SIDE_MEASURES, "first_contact_zone"])
def test_every_measure_is_in_the_glossary(name: str) -> None:
    what = quantity(name)
    assert what.definition and what.positive and what.frame and what.source and what.unit
    assert what.kind in ("external", "internal", "none")
    of_force = name.endswith("_force_impulse")
    assert ("moment" in name or (name.endswith("_impulse") and not of_force)) == what.full_unit.startswith("Nm")
    assert not of_force or what.unit == "BW s"


def test_an_unknown_quantity_names_the_known_ones() -> None:
    with pytest.raises(ModelDataError, match=r"'nothing'.*knee_flexion_peak"):
        quantity("nothing")


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("knee_flexion_peak", math.pi / 2, 90.0),
        ("time_to_peak", 0.05, 50.0),
        ("flight_time", 0.3, 0.3),
        ("vertical_force_peak", 2.0 * WEIGHT, 2.0),
        ("vertical_loading_rate", 80.0 * WEIGHT, 80.0),
        ("vertical_impulse_100ms", 0.1 * WEIGHT, 0.1),
        ("knee_flexion_moment_peak", 140.0, 2.0),
        ("knee_adduction_impulse", 7.0, 0.1),
        ("knee_work_negative", -70.0, -1.0),
        ("hip_power_absorbed_peak", -700.0, -10.0),
        ("body_weight_plate", WEIGHT, WEIGHT),
        ("friction_use_peak", 0.4, 0.4),
        ("fall_acceleration", 9.8, 9.8),
    ],
)
def test_shown_values_are_si_values_in_another_unit(name: str, value: float, expected: float) -> None:
    assert shown(value, quantity(name), WEIGHT) == pytest.approx(expected, rel=ROUNDING)


def test_every_unit_of_the_glossary_can_be_shown() -> None:
    for what in glossary().values():
        assert math.isfinite(shown(1.0, what, WEIGHT))
        assert (what.unit in ("BW", "BW/s", "BW s")) == (what.normaliser == "BW")
        assert what.unit.endswith("/kg") == (what.normaliser == "body_mass")


def test_moments_name_external_or_internal_in_their_unit() -> None:
    assert quantity("knee_adduction_moment_peak").full_unit == "Nm/kg external"
    assert quantity("l5s1_extension_moment_peak").full_unit == "Nm/kg internal"
    assert quantity("knee_flexion_peak").full_unit == "deg"


@pytest.mark.parametrize(
    ("value", "unit", "extra", "text"),
    [
        (-2.345, "deg", 0, "−2.3"),
        (float("nan"), "BW", 0, "–"),
        (-0.001, "BW", 0, "0.00"),
        (0.0123, "Nm/kg", 1, "0.012"),
    ],
)
def test_number_texts(value: float, unit: str, extra: int, text: str) -> None:
    assert number_text(value, unit, extra) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (0.2, 0.998, "0.20 to 1.0"),
        (1.0, 19.4, "1.0 to 19"),
        (9.96, 174.0, "10 to 170"),
        (2.01, 1.99, "2.0"),
        (float("nan"), 1.0, ""),
    ],
)
def test_ratios_are_told_in_two_figures(low: float, high: float, text: str) -> None:
    assert range_text(low, high) == text


def test_bands_know_the_task() -> None:
    inside, outside = sanity("knee_flexion_peak", "landing", 80.0), sanity("knee_flexion_peak", "landing", 170.0)
    assert inside is not None and inside.inside and "@devita_1992" in inside.source
    assert outside is not None and not outside.inside
    assert sanity("knee_flexion_peak", "walking", 80.0) is None


def test_bands_are_in_the_units_of_the_glossary() -> None:
    for row in load_model("sanity", "landings").content:
        assert row["unit"] == quantity(row["quantity"]).unit


def test_the_side_stands_last() -> None:
    assert of_joint("right_knee", "flexion_angle") == "right_knee_flexion_angle"
    assert of_joint("l5s1", "power") == "l5s1_power"


@pytest.mark.parametrize(
    ("numbers", "unit", "texts"),
    [
        ((94.6, 86.2, 103.0), "deg", ("95", "86", "103")),
        ((0.413, 0.142, 0.687), "Nm/kg", ("0.41", "0.14", "0.69")),
        ((5.01, 4.57, 5.46), "Nm/kg", ("5.0", "4.6", "5.5")),
        ((76.3, 75.2, 77.4), "ms", ("76", "75", "77")),
        ((-7.8, -15.3, -0.3), "deg", ("−7.8", "−15.3", "−0.3")),
        ((0.2714, 0.2711, 0.2717), "ratio", ("0.271", "0.271", "0.272")),
    ],
)  # fmt: skip
def test_digits_are_those_that_the_interval_supports(
    numbers: tuple[float, float, float], unit: str, texts: tuple[str, str, str]
) -> None:
    """By hand: one digit of half the interval, two where it begins with 1 or 2; never an end that reads as zero, and
    never both ends alike."""
    told = told_number(*numbers, unit)
    assert (told.value, told.low, told.high) == texts


def test_an_interval_of_nothing_is_not_told_as_two_numbers() -> None:
    assert told_number(0.0, 0.0, 0.0, "Nm/kg").interval == "within 0.01 of 0.00"
    assert told_number(1.0, float("nan"), 2.0, "Nm/kg").interval == ""
    assert plain_digits(-1.234, -2.0, -0.5, "deg") == ("-1.2", "-2.0", "-0.5")

"""Laws of the height field, its limits, and insole.toml."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointload.errors import InputError, ModelDataError, SettingError
from jointload.insole.shape.geometry import parse_wedge
from jointload.insole.shape.materials import material
from jointload.insole.shape.measured import measure
from jointload.insole.shape.outline import BALL_SHARE, BREADTH_SHARE, Outline, foot_size, mondopoint
from jointload.insole.shape.parts import (
    ArchFill,
    HeelLift,
    Layer,
    MetatarsalSupport,
    Posting,
    smooth_bump,
    smooth_step,
)
from jointload.insole.shape.shape import InsoleShape, flat, wedge_shape
from jointload.insole.shape.shape_file import read_design, read_shape
from jointload.insole.shape.surface import is_inside, sole_grid

ROUNDING = 1e-12
"""Heights of a few millimetres in double precision [m]."""
PLAIN = InsoleShape("right", 0.265, 0.095)


def posted(degrees: float, **more: object) -> InsoleShape:
    return replace(PLAIN, rearfoot=Posting(math.radians(degrees)), **more)


FULL = InsoleShape(
    "right", 0.265, 0.095, 0.005, 0.0015,
    Posting(math.radians(6)), Posting(math.radians(-3), 0.6, 1.0), HeelLift(0.006),
    ArchFill(0.012), MetatarsalSupport(0.005, offset=0.004), (Layer(material("eva_medium")),),
)  # fmt: skip


# Laws ---------------------------------------------------------------------------------------------------------------


def test_nothing_added_is_flat() -> None:
    x, y = sole_grid(PLAIN, 50, 20)
    assert np.all(PLAIN.heights(x, y) == PLAIN.base)
    numbers = measure(PLAIN)
    assert numbers.steepest == 0 and numbers.heel_stack == numbers.forefoot_stack == PLAIN.base


def test_both_sides_have_the_same_heights_over_medial_axes() -> None:
    x, y = sole_grid(FULL, 50, 20)
    np.testing.assert_array_equal(FULL.heights(x, y), replace(FULL, side="left").heights(x, y))


@pytest.mark.parametrize(("degrees", "sign"), [(4, 1), (-4, -1)])
def test_posting_is_a_plane_of_that_angle_across_the_heel(degrees: float, sign: int) -> None:
    y = np.array([-0.03, 0.03])
    low, high = posted(degrees).heights(np.full(2, 0.04), y)
    assert (high - low) / 0.06 == pytest.approx(sign * math.tan(math.radians(4)), abs=ROUNDING)
    assert measure(posted(degrees)).heel_tilt == pytest.approx(math.radians(degrees), abs=1e-9)
    assert measure(posted(degrees)).forefoot_tilt == pytest.approx(0, abs=1e-9)


@given(st.floats(-10, 10), st.floats(0, 0.265))
@settings(max_examples=40, deadline=None)
def test_a_wedge_pivots_about_the_centre_line(degrees: float, x: float) -> None:
    """Tilt adds no thickness on the line from heel to ball, but for what the minimum asks of the whole insole."""
    shape = posted(degrees, base=0.010)
    assert shape.raised == 0
    assert shape.heights(np.array(x), np.array(0.0)) == shape.base


def test_medial_and_lateral_posting_are_mirror_images_about_the_centre_line() -> None:
    x, y = np.full(9, 0.05), np.linspace(-0.03, 0.03, 9)
    np.testing.assert_allclose(posted(5, base=0.01).heights(x, y), posted(-5, base=0.01).heights(x, -y), atol=ROUNDING)


def test_equal_postings_of_both_parts_are_one_plane() -> None:
    """The blends of rearfoot and forefoot add up to one, so a full-length wedge has no kink."""
    shape = wedge_shape(parse_wedge("lateral:5", "left", "full"), 0.26, base=0.012)
    x, y = sole_grid(shape, 80, 30)
    np.testing.assert_allclose(shape.heights(x, y), 0.012 - math.tan(math.radians(5)) * y, atol=ROUNDING)
    assert shape.side == "left"


def test_a_heel_wedge_leaves_the_forefoot() -> None:
    shape = wedge_shape(parse_wedge("medial:4", "right"), 0.26)
    y = np.array([-0.04, 0.04])
    assert np.ptp(shape.heights(np.full(2, 0.7 * 0.26), y)) == 0
    assert flat(shape) == InsoleShape("right", 0.26)


@pytest.mark.parametrize("law", [smooth_step, smooth_bump])
def test_blends_have_no_kink(law) -> None:
    """The slope changes by no more between neighbours than the curvature of 5 allows."""
    s = np.linspace(-1.5, 1.5, 3001)
    slope = np.gradient(law(s), s)
    assert np.abs(np.diff(slope)).max() < 7 * (s[1] - s[0])


@pytest.mark.parametrize("across", [False, True])
def test_the_whole_field_has_no_kink(across: bool) -> None:
    """Halving the step halves the largest change of slope; at a kink it would stay."""
    x, y = sole_grid(FULL, 60, 30)
    changes = []
    for step in (0.0004, 0.0002):
        dx, dy = (0.0, step) if across else (step, 0.0)
        ahead, here, back = (FULL.heights(x + k * dx, y + k * dy) for k in (1, 0, -1))
        changes.append(np.abs(ahead - 2 * here + back).max() / step)
    assert changes[1] < 0.62 * changes[0]


def test_lift_arch_and_metatarsal_support_stand_where_they_should() -> None:
    lifted = replace(PLAIN, lift=HeelLift(0.010))
    assert measure(lifted).heel_stack == pytest.approx(0.014, abs=0.0005)
    assert measure(lifted).forefoot_stack == PLAIN.base
    arched = replace(PLAIN, arch=ArchFill(0.012))
    medial = float(arched.medial_edge(np.array(0.43 * 0.265)))
    lateral = float(arched.lateral_edge(np.array(0.43 * 0.265)))
    assert arched.heights(np.array(0.43 * 0.265), np.array(medial)) == pytest.approx(0.016, abs=ROUNDING)
    assert arched.heights(np.array(0.43 * 0.265), np.array(lateral)) == pytest.approx(0.004, abs=ROUNDING)
    domed = replace(PLAIN, metatarsal=MetatarsalSupport(0.005, 0.62, 0.004))
    assert domed.heights(np.array(0.62 * 0.265), np.array(0.004)) == pytest.approx(0.009, abs=ROUNDING)
    assert domed.heights(np.array(0.7 * 0.265), np.array(0.03)) == PLAIN.base


# Thickness and limits -----------------------------------------------------------------------------------------------


@given(st.floats(-10, 10), st.floats(-10, 10), st.floats(0.003, 0.008))
@settings(max_examples=25, deadline=None)
def test_no_place_is_under_the_minimum_and_the_whole_is_raised_no_more_than_needed(
    rear: float, fore: float, base: float
) -> None:
    shape = replace(posted(rear, base=base), forefoot=Posting(math.radians(fore), 0.6, 1.0))
    x, y = sole_grid(shape, 150, 60)
    lowest = shape.heights(x, y).min()
    assert lowest >= shape.minimum - 1e-5, "a coarser grid sees almost the same edge"
    if shape.raised > 0:
        assert lowest < shape.minimum + 5e-5


def test_covers_come_on_top_of_the_minimum() -> None:
    layers = (Layer(material("pu_foam_soft"), 0.002), Layer(material("eva_medium")))
    shape = posted(8, layers=layers)
    assert measure(shape).thinnest == pytest.approx(0.0035, abs=ROUNDING)


def test_volume_and_mass_of_a_flat_insole() -> None:
    """Area by the trapezoid rule over many stations; density 200 over the body, 250 over a 2 mm cover."""
    x = np.linspace(0, 0.265, 400_001)
    breadth = PLAIN.medial_edge(x) - PLAIN.lateral_edge(x)
    area = np.sum(0.5 * (breadth[1:] + breadth[:-1])) * (x[1] - x[0])
    layers = (Layer(material("pu_foam_soft"), 0.002), Layer(material("eva_medium")))
    numbers = measure(replace(PLAIN, layers=layers))
    assert numbers.volume == pytest.approx(0.004 * area, rel=2e-4)
    assert numbers.mass == pytest.approx(area * (0.002 * 250 + 0.002 * 200), rel=2e-4)
    assert math.isnan(measure(PLAIN).mass)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Posting(math.radians(16)), "-15 to 15 deg, found 16 deg"),
        (lambda: HeelLift(0.021), "0 to 20 mm, found 21 mm"),
        (lambda: HeelLift(-0.001), "found -1 mm"),
        (lambda: ArchFill(0.05), "found 50 mm"),
        (lambda: MetatarsalSupport(0.02), "found 20 mm"),
        (lambda: replace(PLAIN, base=-0.004), "found -4 mm"),
        (lambda: replace(PLAIN, base=0.001), "not under minimum and covers together: expected 1.5 to 30 mm"),
        (lambda: replace(PLAIN, minimum=0.0), "minimum thickness"),
        (lambda: replace(PLAIN, length=265.0), "150 to 360 mm"),
        (lambda: replace(PLAIN, width=0.4), "50 to 140 mm"),
        (lambda: replace(PLAIN, side="r"), "expected right or left"),
        (lambda: replace(PLAIN, layers=(Layer(material("heel_pad")),)), "a tissue"),
        (lambda: replace(PLAIN, layers=(Layer(material("gel"), 0.002),)), "exactly one"),
        (lambda: replace(PLAIN, base=math.nan), "found nan"),
    ],
)
def test_what_no_insole_can_be_is_refused(make, said: str) -> None:
    with pytest.raises(SettingError, match=said) as error:
        make()
    assert "\n" not in str(error.value)


# Outline ------------------------------------------------------------------------------------------------------------


def test_the_outline_has_the_length_and_width_asked_for() -> None:
    outline = Outline(0.265, 0.095)
    x = np.linspace(0, 0.265, 5001)
    breadth = outline.medial_edge(x) - outline.lateral_edge(x)
    assert breadth.max() == pytest.approx(0.095, abs=1e-5)
    assert breadth[0] == breadth[-1] == 0
    assert np.all(breadth[1:-1] > 0)
    assert x[breadth.argmax()] == pytest.approx(BALL_SHARE * 0.265, abs=0.01)
    for share in (0.15, BALL_SHARE):
        assert float(outline.medial_edge(np.array(share * 0.265)) + outline.lateral_edge(np.array(share * 0.265))) == (
            pytest.approx(0, abs=1e-9)
        ), "the line from heel to ball is y = 0"


def test_what_lies_on_the_sole() -> None:
    x, y = np.array([-0.01, 0.1, 0.1, 0.19, 0.27]), np.array([0.0, 0.0, 0.06, 0.045, 0.0])
    assert is_inside(PLAIN, x, y).tolist() == [False, True, False, True, False]


def test_size_from_markers_does_not_depend_on_where_the_foot_points() -> None:
    marks = {"calcaneus": (0, 0.03, 0), "metatarsal1": (0.18, 0.03, -0.05), "metatarsal5": (0.17, 0.02, 0.045)}
    turn = np.array([[0.6, 0, 0.8], [0, 1, 0], [-0.8, 0, 0.6]])
    turned = {name: turn @ np.array(place) + [0.2, 0, 0.1] for name, place in marks.items()}
    length, width = foot_size(**turned)
    assert width == pytest.approx(math.hypot(0.01, 0.095), abs=ROUNDING)
    assert length == pytest.approx(math.hypot(0.175, 0.0025) / BALL_SHARE, abs=ROUNDING)
    toe = turn @ np.array([0.25, 0.02, 0.25 * -0.0025 / 0.175]) + [0.2, 0, 0.1]
    assert foot_size(**turned, toe=toe)[0] == pytest.approx(0.25 * math.hypot(1, 0.0025 / 0.175), abs=1e-9)


def test_mondopoint_is_the_foot_in_millimetres() -> None:
    assert mondopoint(265) == (0.265, None)
    assert mondopoint("265/100") == (0.265, 0.1)
    for bad in ("42", "9.5", "US 10", "26.5"):
        with pytest.raises(SettingError, match="150 to 360"):
            mondopoint(bad)


# insole.toml --------------------------------------------------------------------------------------------------------

WHOLE = """
side = "both"
name = "rider_7 trial A"
mondopoint = "265/98"
base_mm = 5
minimum_mm = 1.2
[rearfoot_posting]
degrees = 4
raised = "medial"
end = 0.3
[forefoot_posting]
degrees = 2
raised = "lateral"
[heel_lift]
height_mm = 6
[arch_fill]
fraction = 0.5
arch_height_mm = 20
[metatarsal_support]
height_mm = 4
position = 0.6
[[layers]]
material = "pu_foam_soft"
thickness_mm = 1.5
[[layers]]
material = "eva_medium"
[sheet]
pseudonym = "rider_7"
mass_kg = 72
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "insole.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_whole_file_is_read_in_millimetres_and_degrees(tmp_path: Path) -> None:
    path = written(tmp_path, WHOLE)
    shape = read_shape(path, "left")
    assert (shape.side, shape.length, shape.width, shape.base, shape.minimum) == ("left", 0.265, 0.098, 0.005, 0.0012)
    assert shape.rearfoot == Posting(math.radians(4), 0.0, 0.3)
    assert shape.forefoot == Posting(-math.radians(2), 0.6, 1.0)
    assert (shape.lift.height, shape.arch.height, shape.metatarsal.height) == (0.006, 0.01, 0.004)
    assert [(layer.material.name, layer.thickness) for layer in shape.layers] == [
        ("pu_foam_soft", 0.0015),
        ("eva_medium", None),
    ]
    design = read_design(path)
    assert [s.side for s in design.shapes] == ["right", "left"]
    assert design.sheet == {"pseudonym": "rider_7", "mass_kg": "72"} and design.name == "rider_7 trial A"
    with pytest.raises(SettingError, match="expected right or left"):
        read_shape(path)


def test_a_small_file_takes_the_usual_breadth_and_one_layer(tmp_path: Path) -> None:
    shape = read_shape(written(tmp_path, 'side = "right"\nlength_mm = 250\n'))
    assert shape.width == BREADTH_SHARE * 0.25
    assert [layer.material.name for layer in shape.layers] == ["eva_medium"]


SMALL = 'side = "right"\nlength_mm = 265\n'
MISTAKES = {
    "posting of 40 deg": (SMALL + '[rearfoot_posting]\ndegrees = 40\nraised = "medial"', "0 to 10, found 40"),
    "posting without a side": (SMALL + "[rearfoot_posting]\ndegrees = 4", 'expected "medial" or "lateral"'),
    "negative thickness": (SMALL + "base_mm = -3", "found -3 mm"),
    "unknown material": (SMALL + '[[layers]]\nmaterial = "cheese"', "eva_medium.*found 'cheese'"),
    "unknown key": (SMALL + "heel_raise_mm = 3", "heel_raise_mm"),
    "unknown key in a table": (SMALL + "[heel_lift]\nheight = 3", "heel_lift: expected the keys height_mm"),
    "no side": ("length_mm = 265", "set side"),
    "no size": ('side = "right"', "length_mm or mondopoint"),
    "two sizes": (SMALL + "mondopoint = 265", "found both"),
    "length in metres": ('side = "right"\nlength_mm = 0.265', "found 0.265 mm"),
    "words for a number": (SMALL + 'base_mm = "4"', "expected a number"),
    "not TOML": ("side = r", "mend that line"),
    "a number for a table": (SMALL + "heel_lift = 6", r"a table \[heel_lift\]"),
    "fraction without a height": (SMALL + "[arch_fill]\nfraction = 0.5", "arch_height_mm"),
    "no file of materials": (SMALL + 'materials = "mine.csv"', "mine.csv"),
    "lift of 40 mm": (SMALL + "[heel_lift]\nheight_mm = 40", "0 to 20 mm, found 40 mm"),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_in_the_file_is_one_line(mistake: str, tmp_path: Path) -> None:
    text, said = MISTAKES[mistake]
    with pytest.raises(InputError, match=said) as error:
        read_design(written(tmp_path, text))
    assert "\n" not in str(error.value)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match=r"nowhere\.toml"):
        read_design(tmp_path / "nowhere.toml")


def test_own_materials_come_before_the_shipped(tmp_path: Path) -> None:
    row = material("gel").row() | {"name": "mine", "modulus_MPa": "0.7"}
    (tmp_path / "mine.csv").write_text(",".join(row) + "\n" + ",".join(f'"{cell}"' for cell in row.values()) + "\n")
    shape = read_shape(written(tmp_path, SMALL + 'materials = "mine.csv"\n[[layers]]\nmaterial = "mine"'))
    assert shape.layers[0].material.modulus == pytest.approx(0.7e6)
    (tmp_path / "mine.csv").write_text("name,kind\nmine,foam\n")
    with pytest.raises(ModelDataError, match="modulus_MPa"):
        read_shape(written(tmp_path, SMALL + 'materials = "mine.csv"'))

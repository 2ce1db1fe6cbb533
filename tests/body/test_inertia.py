"""Segment inertia against printed rows, worked examples, a measured trial, and the laws of mass and length."""

import csv
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from jointload.body import inertia
from jointload.body.inertia import INERTIA_TABLES, line_masses, segment_inertias, table_row
from jointload.errors import ModelDataError
from jointload.intake.rider import Rider
from jointload.modeldata import load_model

MAN = Rider("man", 70.0, 1.741, "m")
WOMAN = Rider("woman", 60.0, 1.70, "f")
REFERENCE = Path(__file__).resolve().parents[3] / "shared" / "reference"
"""A folder with independent transcriptions of the printed tables."""
needs_reference = pytest.mark.skipif(not REFERENCE.is_dir(), reason="../shared/reference is not beside this checkout")

LAST_PRINTED_DIGIT = 1e-9
"""The same printed number, converted: only floating point may differ."""


def standing(toe: bool = False, fibula: bool = True) -> dict[str, np.ndarray]:
    """A symmetrical standing rider, X forward, Y up, Z right."""
    right = {
        "hip_centre": (0.0, 0.90, 0.09),
        "knee_centre": (0.02, 0.48, 0.10),
        "ankle_centre": (-0.01, 0.08, 0.11),
        "calcaneus": (-0.06, 0.04, 0.11),
        "metatarsal1": (0.13, 0.03, 0.07),
        "metatarsal5": (0.09, 0.02, 0.16),
    }
    if fibula:
        right["fibula_head"] = (0.0, 0.45, 0.15)
    points = {
        f"{side}_{name}": np.array([x, y, z * sign])
        for name, (x, y, z) in right.items()
        for side, sign in (("right", 1), ("left", -1))
    }
    for side, sign in (("right", 1), ("left", -1)):
        points[f"{side}_forefoot"] = points[f"{side}_toe_tip"] = (
            points[f"{side}_metatarsal1"] + points[f"{side}_metatarsal5"]
        ) / 2
        if toe:
            points[f"{side}_toe"] = points[f"{side}_toe_tip"] = np.array([0.19, 0.04, 0.12 * sign])
    return points | {"hip_mid": np.array([0.0, 0.90, 0.0]), "l5s1": np.array([-0.03, 1.00, 0.0])}


def lab_frames(points: dict[str, np.ndarray]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Frames with the lab's axes at the usual origins: easy to check by hand."""
    origins = {
        f"{s}_{part}": points[f"{s}_{o}"]
        for part, o in (("foot", "ankle_centre"), ("shank", "knee_centre"), ("thigh", "hip_centre"))
        for s in ("right", "left")
    }
    return {name: (np.eye(3), origin) for name, origin in (origins | {"pelvis": np.array([0.07, 0.97, 0.0])}).items()}


def every_segment(rider: Rider = MAN, toe: bool = False) -> Iterator[tuple[str, str, inertia.SegmentInertia]]:
    points = standing(toe)
    for table in INERTIA_TABLES:
        for name, segment in segment_inertias(table, rider, points, lab_frames(points)).items():
            yield table, name, segment


def test_every_table_gives_every_segment():
    for table in INERTIA_TABLES:
        names = {name for t, name, _ in every_segment() if t == table}
        assert names == {"right_foot", "left_foot", "right_shank", "left_shank", "right_thigh", "left_thigh", "pelvis"}


# printed rows


def test_de_leva_thigh_is_the_printed_row():
    """de Leva (1996) Table 4, male thigh: 14.16 % of body mass, 40.95 % from the hip, radii 32.9, 32.9, 14.9 %."""
    points = standing()
    points["right_hip_centre"], points["right_knee_centre"] = np.array([0.0, 0.9, 0.1]), np.array([0.0, 0.5, 0.1])
    thigh = segment_inertias("de_leva_1996", MAN, points, lab_frames(points))["right_thigh"]
    assert thigh.mass == pytest.approx(0.1416 * 70, rel=LAST_PRINTED_DIGIT)
    np.testing.assert_allclose(thigh.com, [0, -0.4095 * 0.4, 0], atol=1e-12)
    expected = 0.1416 * 70 * np.diag([0.329 * 0.4, 0.149 * 0.4, 0.329 * 0.4]) ** 2
    np.testing.assert_allclose(thigh.tensor, expected, rtol=LAST_PRINTED_DIGIT)


def test_de_leva_foot_is_long_along_x_and_uses_the_toe_marker():
    """Female foot: 40.14 % from the heel, radii 29.9 (sagittal), 27.9 (transverse), 13.9 % (long) of its length."""
    points = standing(toe=True)
    foot = segment_inertias("de_leva_1996", WOMAN, points, lab_frames(points))["right_foot"]
    heel, tip = (
        points["right_calcaneus"] - points["right_ankle_centre"],
        points["right_toe_tip"] - points["right_ankle_centre"],
    )
    np.testing.assert_allclose(foot.com, heel + 0.4014 * (tip - heel), atol=1e-12)
    length = np.linalg.norm(tip - heel)
    np.testing.assert_allclose(
        np.sqrt(np.diag(foot.tensor) / foot.mass) / length, [0.139, 0.299, 0.279], rtol=LAST_PRINTED_DIGIT
    )


def test_de_leva_foot_without_toe_marker_has_the_reference_length_of_the_riders_height():
    """258.1 mm at a stature of 1741 mm, along the line to the metatarsal heads, which is far shorter."""
    points = standing()
    foot = segment_inertias("de_leva_1996", MAN, points, lab_frames(points))["right_foot"]
    np.testing.assert_allclose(np.sqrt(foot.tensor[1, 1] / foot.mass), 0.257 * 0.2581, rtol=LAST_PRINTED_DIGIT)
    heel, heads = (
        points["right_calcaneus"] - points["right_ankle_centre"],
        points["right_toe_tip"] - points["right_ankle_centre"],
    )
    along = (heads - heel) / np.linalg.norm(heads - heel)
    np.testing.assert_allclose(foot.com, heel + 0.4415 * 0.2581 * along, atol=1e-12)
    assert np.linalg.norm(heads - heel) < 0.8 * 0.2581


def test_de_leva_pelvis_is_the_lower_trunk_above_the_hips():
    """Male lower trunk: 145.7 mm from navel to mid hips, centre of mass at 61.15 % from the navel."""
    points = standing()
    pelvis = segment_inertias("de_leva_1996", MAN, points, lab_frames(points))["pelvis"]
    from_hips = pelvis.com + [0.07, 0.97, 0.0] - points["hip_mid"]
    np.testing.assert_allclose(from_hips, [0, (1 - 0.6115) * 0.1457, 0], atol=1e-12)


def test_dumas_thigh_is_the_printed_row_with_the_signs_of_2007():
    """Female thigh: com (-7.7, -37.7, 0.8), radii 31 19 32, products 7 and 2 and 7, signs (+, -, -) as in 2007."""
    points = standing()
    thigh = segment_inertias("dumas_wojtusch_2018", WOMAN, points, lab_frames(points))["right_thigh"]
    length = np.linalg.norm(points["right_hip_centre"] - points["right_knee_centre"])
    np.testing.assert_allclose(thigh.com, np.array([-0.077, -0.377, 0.008]) * length, atol=1e-12)
    squares = np.array([[31**2, 7**2, -(2**2)], [7**2, 19**2, -(7**2)], [-(2**2), -(7**2), 32**2]])
    np.testing.assert_allclose(thigh.tensor, 0.146 * 60 * (length / 100) ** 2 * squares, rtol=LAST_PRINTED_DIGIT)


def test_dumas_foot_stands_in_its_own_axes():
    """Male foot: com (50.2, -19.9, 3.4) % of ankle to mid metatarsal heads; Y is normal to the sole's plane."""
    points = standing()
    foot = segment_inertias("dumas_wojtusch_2018", MAN, points, lab_frames(points))["right_foot"]
    x = points["right_forefoot"] - points["right_calcaneus"]
    y = np.cross(
        points["right_metatarsal5"] - points["right_calcaneus"], points["right_metatarsal1"] - points["right_calcaneus"]
    )
    x, y = x / np.linalg.norm(x), y / np.linalg.norm(y)
    assert y[1] > 0
    length = np.linalg.norm(points["right_forefoot"] - points["right_ankle_centre"])
    np.testing.assert_allclose(foot.com, length * (0.502 * x - 0.199 * y + 0.034 * np.cross(x, y)), atol=1e-12)
    assert x @ foot.tensor @ x == pytest.approx(0.012 * 70 * (0.22 * length) ** 2)


def test_dumas_foot_with_a_toe_alone_is_scaled_to_the_metatarsal_heads():
    points = {name: p for name, p in standing(toe=True).items() if "metatarsal" not in name}
    for side in ("right", "left"):
        points[f"{side}_forefoot"] = points[f"{side}_toe"]
    foot = segment_inertias("dumas_wojtusch_2018", MAN, points, lab_frames(points))["right_foot"]
    length = np.linalg.norm(points["right_toe"] - points["right_ankle_centre"]) * 139 / 183
    assert np.linalg.norm(foot.com) == pytest.approx(length * np.linalg.norm([0.502, 0.199, 0.034]))


def test_dumas_pelvis_length_is_sagittal():
    points = standing()
    points["hip_mid"] = points["hip_mid"] + [0, 0, 0.05]
    pelvis = segment_inertias("dumas_wojtusch_2018", MAN, points, lab_frames(points))["pelvis"]
    length = np.hypot(0.03, 0.10)
    np.testing.assert_allclose(
        pelvis.com + [0.07, 0.97, 0] - points["l5s1"], length * np.array([-0.002, -0.282, -0.006]), atol=1e-12
    )


def test_shank_z_of_dumas_points_to_the_fibula_head():
    """Turning the fibula head forward by some angle about the shank turns centre of mass and tensor with it."""
    points = standing()
    points["right_knee_centre"], points["right_ankle_centre"] = np.array([0.0, 0.5, 0.1]), np.array([0.0, 0.1, 0.1])
    results = []
    for angle in (0.0, 20.0):
        turn = Rotation.from_euler("y", angle, degrees=True).as_matrix()
        points["right_fibula_head"] = points["right_knee_centre"] + turn @ [0, -0.03, 0.05]
        results.append(segment_inertias("dumas_wojtusch_2018", MAN, points, lab_frames(points))["right_shank"])
    np.testing.assert_allclose(results[1].com, turn @ results[0].com, atol=1e-12)
    np.testing.assert_allclose(results[1].tensor, turn @ results[0].tensor @ turn.T, atol=1e-12)
    np.testing.assert_allclose(results[0].com, 0.4 * np.array([-0.048, -0.41, 0.007]), atol=1e-12)


# worked examples


def planar(points: dict[str, tuple[float, float]]) -> dict[str, np.ndarray]:
    return {name: np.array([*xy, 0.0]) for name, xy in points.items()}


def test_worked_example_of_a_leg():
    """Points in m of a planar teaching example with Winter's table: centres to 1 mm, inertia of a 100 kg man.

    MT2 (1.011, .013) ankle (.849, .110) knee (.864, .549) hip (.721, .928); printed: foot (.930, .062) leg (.858, .359)
    thigh (.783, .764), I about the centre of mass .012, .082, .171 kg m2. Read in an open set of teaching notes.
    """
    points = planar(
        {
            "right_metatarsal2": (1.011, 0.013),
            "right_ankle_centre": (0.849, 0.110),
            "right_knee_centre": (0.864, 0.549),
            "right_hip_centre": (0.721, 0.928),
        }
    )
    points |= dict.fromkeys(("right_forefoot", "right_toe_tip"), points["right_metatarsal2"]) | {
        "right_calcaneus": points["right_ankle_centre"]
    }
    frames = {name: (np.eye(3), np.zeros(3)) for name in ("right_foot", "right_shank", "right_thigh")}
    found = segment_inertias("dempster_winter", replace(MAN, mass=100.0), points, frames)
    printed = {
        "right_foot": (0.930, 0.062, 0.012),
        "right_shank": (0.858, 0.359, 0.082),
        "right_thigh": (0.783, 0.764, 0.171),
    }
    half_digit = 0.00051
    for name, (x, y, moment) in printed.items():
        np.testing.assert_allclose(found[name].com, [x, y, 0], atol=half_digit)
        assert found[name].tensor[2, 2] == pytest.approx(moment, abs=half_digit)


def test_centres_of_mass_of_winters_walking_trial():
    """Winter (2009) Appendix A, Tables A.2 and A.3, frames 28 and 30: markers and centres of mass, m."""
    trial = [
        {
            "hip": (1.0183, 0.7959),
            "knee": (1.1223, 0.5042),
            "ankle": (1.2539, 0.1081),
            "leg": (1.179, 0.333),
            "thigh": (1.063, 0.670),
        },
        {
            "hip": (1.0664, 0.7970),
            "knee": (1.1669, 0.5046),
            "ankle": (1.2720, 0.0999),
            "leg": (1.212, 0.329),
            "thigh": (1.110, 0.670),
        },
    ]
    frames = {name: (np.eye(3), np.zeros(3)) for name in ("right_shank", "right_thigh")}
    for row in trial:
        points = planar({f"right_{name}_centre": row[name] for name in ("hip", "knee", "ankle")})
        found = segment_inertias("dempster_winter", replace(MAN, mass=56.7), points, frames)
        np.testing.assert_allclose(found["right_shank"].com[:2], row["leg"], atol=0.00065)
        np.testing.assert_allclose(found["right_thigh"].com[:2], row["thigh"], atol=0.00065)


def test_foot_of_winters_walking_trial():
    """A foot of 0.122 m and 56.7 kg: 0.0028 kg m2 about its centre of mass (fitted to Table A.5, four decimals)."""
    points = planar(
        {
            "right_ankle_centre": (0, 0),
            "right_metatarsal2": (0.122, 0),
            "right_forefoot": (0.122, 0),
            "right_toe_tip": (0.122, 0),
            "right_calcaneus": (-0.05, 0),
        }
    )
    foot = segment_inertias(
        "dempster_winter", replace(MAN, mass=56.7), points, {"right_foot": (np.eye(3), np.zeros(3))}
    )["right_foot"]
    assert foot.tensor[2, 2] == pytest.approx(0.0028, abs=0.00005)


# laws


@pytest.mark.parametrize("rider", [MAN, WOMAN])
def test_all_parts_of_the_body_weigh_the_body(rider):
    """Legs and mass lines (the trunk's includes the pelvis) sum to the whole; printed shares are rounded to 0.01 %."""
    rows = (table_row("de_leva_1996", rider.sex, name) for name in ("Foot", "Shank", "Thigh"))
    legs = sum(2 * float(row["mass_pct"]) / 100 for row in rows) * rider.mass
    lines = sum(mass for mass, _ in line_masses(rider).values())
    assert legs + lines == pytest.approx(rider.mass, rel=0.0005)


def test_line_masses_are_the_printed_rows():
    lines = line_masses(MAN)
    assert lines["trunk"] == pytest.approx((0.4346 * 70, 0.4310))
    assert lines["left_forearm"] == lines["right_forearm"] == pytest.approx((0.0162 * 70, 0.4574))


def test_shares_of_mass_in_all_three_units():
    found = {(table, name): segment.mass / MAN.mass for table, name, segment in every_segment()}
    assert found["de_leva_1996", "right_thigh"] == pytest.approx(0.1416)
    assert found["dumas_wojtusch_2018", "pelvis"] == pytest.approx(0.142)
    assert found["dempster_winter", "right_shank"] == pytest.approx(0.0465)


def test_left_is_the_mirror_of_right():
    mirror = np.diag([1.0, 1.0, -1.0])
    for toe in (False, True):
        found = {(table, name): segment for table, name, segment in every_segment(toe=toe)}
        for table, name in found:
            if name.startswith("right"):
                right, left = found[table, name], found[table, name.replace("right", "left")]
                np.testing.assert_allclose(left.com, mirror @ right.com, atol=1e-12)
                np.testing.assert_allclose(left.tensor, mirror @ right.tensor @ mirror, atol=1e-12)


def test_double_mass_doubles_the_tensor_and_leaves_the_centre():
    for (_, _, one), (_, _, two) in zip(every_segment(), every_segment(replace(MAN, mass=140.0)), strict=True):
        assert two.mass == pytest.approx(2 * one.mass)
        np.testing.assert_allclose(two.tensor, 2 * one.tensor)
        np.testing.assert_allclose(two.com, one.com)


def test_a_rider_twice_as_large_has_four_times_the_tensor():
    points = standing()
    large = {name: 2 * point for name, point in points.items()}
    for table in INERTIA_TABLES:
        frames = {name: (axes, 2 * origin) for name, (axes, origin) in lab_frames(points).items()}
        one = segment_inertias(table, MAN, points, lab_frames(points))
        two = segment_inertias(table, replace(MAN, height=2 * MAN.height), large, frames)
        for name in one:
            np.testing.assert_allclose(two[name].com, 2 * one[name].com, atol=1e-12)
            np.testing.assert_allclose(two[name].tensor, 4 * one[name].tensor, atol=1e-12)


def test_turning_the_laboratory_changes_nothing_in_the_segment():
    points = standing()
    turn = Rotation.from_euler("xyz", [20, 110, -35], degrees=True).as_matrix()
    turned = {name: turn @ point + [1, 2, 3] for name, point in points.items()}
    for table in INERTIA_TABLES:
        frames = {name: (turn @ axes, turn @ origin + [1, 2, 3]) for name, (axes, origin) in lab_frames(points).items()}
        one, two = (
            segment_inertias(table, MAN, points, lab_frames(points)),
            segment_inertias(table, MAN, turned, frames),
        )
        for name in one:
            np.testing.assert_allclose(two[name].com, one[name].com, atol=1e-12)
            np.testing.assert_allclose(two[name].tensor, one[name].tensor, atol=1e-12)


def test_every_tensor_is_one_a_rigid_body_can_have():
    for rider in (MAN, WOMAN):
        for table, name, segment in every_segment(rider):
            low, middle, high = np.linalg.eigvalsh(segment.tensor)
            assert low > 0 and high <= low + middle, (table, name)
            np.testing.assert_allclose(segment.tensor, segment.tensor.T, atol=1e-15)


def test_tables_agree_on_what_they_measure():
    """Three independent samples: masses, centres and radii within the spread between published tables."""
    found = {(table, name): segment for table, name, segment in every_segment()}
    for name, mass_tolerance in (("right_shank", 0.2), ("right_thigh", 0.4)):
        base = found["de_leva_1996", name]
        for table in ("dumas_wojtusch_2018", "dempster_winter"):
            other = found[table, name]
            assert other.mass == pytest.approx(base.mass, rel=mass_tolerance)
            assert other.com[1] == pytest.approx(base.com[1], abs=0.03)
            assert np.sqrt(other.tensor[2, 2] / other.mass) == pytest.approx(
                np.sqrt(base.tensor[2, 2] / base.mass), rel=0.25
            )


# what is missing or wrong


def test_a_segment_without_its_points_is_left_out():
    points = standing()
    frames = lab_frames(points)
    del points["hip_mid"], points["left_calcaneus"], frames["right_shank"]
    for table in INERTIA_TABLES:
        assert set(segment_inertias(table, MAN, points, frames)) == {
            "right_foot",
            "left_shank",
            "right_thigh",
            "left_thigh",
        }


def test_a_frame_of_another_part_is_ignored():
    points = standing()
    frames = lab_frames(points) | {"trunk": (np.eye(3), np.zeros(3))}
    assert "trunk" not in segment_inertias("de_leva_1996", MAN, points, frames)


def test_an_impossible_row_is_refused_by_name(monkeypatch):
    monkeypatch.setattr(inertia, "table_row", lambda *args: table_row(*args) | {"rg_longitudinal_pct": "60"})
    points = standing()
    with pytest.raises(ModelDataError, match=r"models/inertia/de_leva_1996\.csv, (foot|shank|thigh) \(m\)"):
        segment_inertias("de_leva_1996", MAN, points, lab_frames(points))


def test_a_missing_place_is_refused_not_passed_on():
    points = standing()
    points["right_knee_centre"] = np.full(3, np.nan)
    with pytest.raises(ModelDataError, match="static trial"):
        segment_inertias("de_leva_1996", MAN, points, {"right_thigh": (np.eye(3), points["right_hip_centre"])})


def test_unknown_names_list_the_known_ones():
    with pytest.raises(ModelDataError, match="de_leva_1996, dempster_winter, dumas_wojtusch_2018"):
        segment_inertias("zatsiorsky", MAN, {}, {})
    with pytest.raises(ModelDataError, match="Lower trunk"):
        table_row("de_leva_1996", "f", "Tail")


# the whole tables against an independent transcription


def transcription(name: str) -> list[dict[str, str]]:
    lines = (REFERENCE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line.strip() and not line.startswith("#")))


@needs_reference
def test_de_leva_rows_are_the_transcribed_ones():
    rows = {(r["sex"], r["segment"]): r for r in load_model("inertia", "de_leva_1996").content}
    printed = transcription("bsip_deleva1996.csv")
    assert len(rows) == len(printed)
    columns = {"mass_pct": "mass_frac", "com_pct": "com_frac"} | {
        f"rg_{a}_pct": f"rg_{a}" for a in ("sagittal", "transverse", "longitudinal")
    }
    for row in printed:
        for ours, theirs in columns.items():
            assert float(rows[row["sex"], row["segment"]][ours]) == pytest.approx(
                100 * float(row[theirs]), rel=LAST_PRINTED_DIGIT
            )
        ours = rows[row["sex"], row["segment"]]
        assert ours["length_ref_mm"] in ("", row["length_ref_mm"])
        assert ours["length_ref_mm"] or row["length_conf"] in ("MEM", ""), "a length that was read is kept"


@needs_reference
def test_dumas_rows_are_the_transcribed_ones():
    rows = {(r["sex"], r["segment"]): r for r in load_model("inertia", "dumas_wojtusch_2018").content}
    printed, signs = (transcription(f"bsip_{name}.csv") for name in ("dumas_wojtusch2018", "dumas2007"))
    assert len(rows) == len(printed)
    for row in printed:
        ours = rows[row["sex"], row["segment"]]
        for column in row:
            if column.endswith("_pct"):
                assert ours[column] == row[column]
            if column.endswith("_imag"):
                assert ours[column + "inary"] == row[column]
    for row in signs:
        if row["segment"] in ("thigh", "shank"):
            ours = rows[row["sex"], row["segment"]]
            assert [ours[f"sign_{p}"] for p in ("xy", "xz", "yz")] == [
                "-1" if row[f"r{p}_imag"] == "1" else "1" for p in ("xy", "xz", "yz")
            ]


@needs_reference
def test_winter_rows_are_the_transcribed_ones():
    assert load_model("inertia", "dempster_winter").content == transcription("bsip_dempster_winter.csv")

"""Joint centres against printed formulas worked by hand, the law of the mirror, and movements with a known centre."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from jointload.body.joint_centres import (
    HIP_CENTRES,
    PelvisSize,
    functional_hip_centre,
    hip_centre_error,
    l5s1_centre,
)
from jointload.errors import CalibrationError, ModelDataError
from jointload.modeldata import load_model, model_names

REFERENCE = Path(__file__).resolve().parents[3] / "shared" / "reference"
"""A folder with independent transcriptions of the printed formulas."""

PW, PD, LL, R = 240.0, 150.0, 900.0, 7.0
PELVIS = PelvisSize(width=PW / 1000, depth=PD / 1000, leg_length=LL / 1000, marker_radius=R / 1000)

ROUNDING = 0.05
"""[mm] the hand-worked values carry one decimal."""

NEED_LEG_LENGTH = {"harrington_2007_stepwise", "davis_1991", "leardini_1999", "hara_2016"}

# Right hip, mm, x anterior, y cranial, z right, worked by hand from the printed formulas with the sizes above.
BY_HAND = {
    "harrington_2007": (-0.24 * 150 - 9.9, -0.30 * 240 - 10.9, 0.33 * 240 + 7.3),  # -45.9, -82.9, 86.5
    "harrington_2007_stepwise": (-45.9, -38.4 - 36.0 - 7.1, 42.0 + 38.4 + 7.9),  # -45.9, -81.5, 88.3
    "bell_1989": (-52.8, -72.0, 86.4),
    "bell_1990": (-45.6, -72.0, 86.4),
    "leardini_1999": (-46.5, -86.4, 91.2),
    "hara_2016": (11 - 56.7, -9 - 70.2, 8 + 77.4),  # -45.7, -79.2, 85.4
    # C = 88.2, xdis = 67.36, xdis + r = 74.36; printed X = -70.72 + 23.98, Y = 41.95 - 120, Z = -22.98 - 73.79
    "davis_1991": (-46.7, -96.8, 78.0),
}


@pytest.mark.parametrize("name", BY_HAND)
@pytest.mark.parametrize("side", ["right", "left"])
def test_worked_by_hand(name, side):
    centre = HIP_CENTRES[name](PELVIS, side, "f") * 1000
    x, y, z = BY_HAND[name]
    np.testing.assert_allclose(centre, (x, y, z if side == "right" else -z), atol=ROUNDING + 0.01)


@pytest.mark.parametrize(("sex", "x", "y", "z"), [("f", -0.139, -0.336, 0.372), ("m", -0.095, -0.370, 0.361)])
def test_reed_hip_is_the_printed_fraction_of_pelvis_width(sex, x, y, z):
    np.testing.assert_allclose(
        HIP_CENTRES["reed_1999"](PELVIS, "right", sex), [x * 0.24, y * 0.24, z * 0.24], atol=1e-12
    )


def test_l5s1_is_the_printed_fraction_of_pelvis_width():
    np.testing.assert_allclose(l5s1_centre(0.24, "f"), [-0.340 * 0.24, 0.049 * 0.24, 0], atol=1e-12)
    np.testing.assert_allclose(l5s1_centre(0.24, "m"), [-0.335 * 0.24, -0.032 * 0.24, 0], atol=1e-12)


@pytest.mark.parametrize("name", HIP_CENTRES)
@pytest.mark.parametrize("sex", ["f", "m"])
def test_left_mirrors_right(name, sex):
    right, left = (HIP_CENTRES[name](PELVIS, side, sex) for side in ("right", "left"))
    np.testing.assert_allclose(left, right * [1, 1, -1], atol=1e-12)
    assert right[0] < 0 and right[1] < 0 and right[2] > 0  # behind, below and outward of the middle of the ASIS


def test_methods_agree_within_their_errors():
    """Regressions of one adult pelvis lie within 30 mm of each other, the upper end of their published error."""
    centres = [method(PELVIS, "right", "f") for method in HIP_CENTRES.values()]
    assert max(np.linalg.norm(a - b) for a in centres for b in centres) < 0.030


def test_one_per_cent_of_leg_length_moves_hara_less_than_a_millimetre_on_any_axis():
    longer = PelvisSize(0.24, 0.15, 0.909)
    move = np.abs(HIP_CENTRES["hara_2016"](longer, "right", "f") - HIP_CENTRES["hara_2016"](PELVIS, "right", "f"))
    assert 0.0005 < move.max() < 0.001


def test_davis_marker_radius_moves_the_centre_back_along_the_tilted_axis():
    without = HIP_CENTRES["davis_1991"](PelvisSize(0.24, 0.15, 0.9, 0.0), "right", "f")
    beta = math.radians(18.0)
    move = HIP_CENTRES["davis_1991"](PELVIS, "right", "f") - without
    np.testing.assert_allclose(move, [-0.007 * math.cos(beta), -0.007 * math.sin(beta), 0], atol=1e-12)


@pytest.mark.parametrize("name", HIP_CENTRES)
def test_missing_leg_length_is_named_only_where_it_is_needed(name):
    pelvis = PelvisSize(0.24, 0.15)
    if name not in NEED_LEG_LENGTH:
        assert np.isfinite(HIP_CENTRES[name](pelvis, "right", "f")).all()
        return
    with pytest.raises(CalibrationError, match=f"{name}: expected a leg length") as error:
        HIP_CENTRES[name](pelvis, "right", "f")
    assert "\n" not in str(error.value)


def test_every_method_has_its_data_and_its_error():
    assert set(model_names("hip_centres")) == set(HIP_CENTRES)
    for name in HIP_CENTRES:
        mean, sd = hip_centre_error(name)
        assert 0.005 < sd < mean < 0.040
        error = load_model("hip_centres", name).content["error"]
        assert error["basis"] in ("published", "derived", "from memory", "choice") and error["source"]


def test_published_errors():
    """Mantovani (2016), 67 hips: Harrington 12.3 +- 5.9 mm, Davis 25.0 +- 6.7 mm."""
    assert hip_centre_error("harrington_2007") == pytest.approx((0.0123, 0.0059))
    assert hip_centre_error("davis_1991") == pytest.approx((0.0250, 0.0067))


def test_derived_errors_follow_from_their_derivation():
    """A normal error of equal size s on three axes has a length of mean sqrt(8/pi) s and SD sqrt(3 - 8/pi) s."""
    mean_per_sigma, sd_per_sigma = math.sqrt(8 / math.pi), math.sqrt(3 - 8 / math.pi)
    one_decimal = 0.051e-3
    bell = 0.033 / 2.795  # 95 % within 33 mm
    assert hip_centre_error("bell_1989") == pytest.approx((mean_per_sigma * bell, sd_per_sigma * bell), abs=one_decimal)
    hara = math.sqrt((4.78**2 + 3.59**2 + 4.68**2 + 9.7**2 + 7.0**2) / 3) / 1000
    assert hip_centre_error("hara_2016") == pytest.approx((mean_per_sigma * hara, sd_per_sigma * hara), abs=one_decimal)


def test_unknown_error_lists_the_known_methods():
    with pytest.raises(ModelDataError, match="bell_1989"):
        hip_centre_error("guess")


@pytest.mark.skipif(not REFERENCE.is_dir(), reason="../shared/reference is not beside this checkout")
@pytest.mark.parametrize(
    ("name", "entry", "fields"),
    [
        ("harrington_2007", "harrington2007", ("x", "y_single", "z_single")),
        ("harrington_2007_stepwise", "harrington2007", ("x", "y_stepwise", "z_stepwise")),
        ("hara_2016", "hara2016", ("x", "y", "z")),
        ("leardini_1999", "leardini1999", ("x", "y", "z")),
    ],
)
def test_transcribed_formulas(name, entry, fields):
    formulas = tomllib.loads((REFERENCE / "hjc_regressions.toml").read_text(encoding="utf-8"))[entry]
    for pw, pd, ll in ((210, 130, 800), (260, 170, 1010)):
        expected = [eval(formulas[f], {"__builtins__": {}}, {"PW": pw, "PD": pd, "LL": ll}) for f in fields]
        centre = HIP_CENTRES[name](PelvisSize(pw / 1000, pd / 1000, ll / 1000), "right", "f")
        np.testing.assert_allclose(centre * 1000, expected, atol=1e-9)


# the hip by movement

CENTRE = np.array([-0.046, -0.083, 0.087])
THIGH = np.array([[0.08, -0.15, 0.05], [0.02, -0.25, 0.08], [0.06, -0.35, 0.04]]).T


def swing(flexion: np.ndarray, adduction: np.ndarray, noise: float = 0.0, seed: int = 1) -> np.ndarray:
    """(3, 3, F) [m] three thigh markers turned about CENTRE by the two angles [deg], with marker noise [m]."""
    turns = Rotation.from_euler("ZX", np.column_stack([flexion, adduction]), degrees=True).as_matrix()
    points = CENTRE[:, None, None] + np.einsum("fij,jm->imf", turns, THIGH)
    return points + noise * np.random.default_rng(seed).standard_normal(points.shape)


def star(half_range: float, frames: int = 600) -> tuple[np.ndarray, np.ndarray]:
    """Angles [deg] of sine swings in six directions in turn."""
    phase = np.linspace(0, 12 * np.pi, frames)
    direction = np.floor(phase / (2 * np.pi)) * np.pi / 6
    return half_range * np.sin(phase) * np.cos(direction), half_range * np.sin(phase) * np.sin(direction)


def test_exact_movement_gives_the_exact_centre():
    centre, residual = functional_hip_centre(swing(*star(30)))
    np.testing.assert_allclose(centre, CENTRE, atol=1e-9)
    assert residual < 1e-9


def test_noisy_movement_gives_the_centre_and_the_noise():
    """3 mm of noise on 600 frames: below the 12 mm of a regression by far, on every one of twenty draws."""
    for seed in range(20):
        centre, residual = functional_hip_centre(swing(*star(30), noise=0.003, seed=seed))
        assert np.linalg.norm(centre - CENTRE) < 0.003
        assert residual == pytest.approx(0.003, rel=0.1)


def test_noise_pulls_the_centre_nowhere_on_average():
    """Plain least squares is drawn toward the markers; with the bias removed the mean of many draws is the centre."""
    draws = [functional_hip_centre(swing(*star(25, 300), noise=0.005, seed=seed))[0] for seed in range(60)]
    standard_error = np.std(draws, axis=0) / math.sqrt(len(draws))
    assert (np.abs(np.mean(draws, axis=0) - CENTRE) < 4 * standard_error).all()
    assert (standard_error < 0.0005).all()


def test_frames_with_a_hidden_marker_are_left_out():
    points = swing(*star(30))
    points[:, 1, 100:200] = np.nan
    np.testing.assert_allclose(functional_hip_centre(points)[0], CENTRE, atol=1e-9)
    points[:, 0, 10:] = np.nan
    with pytest.raises(
        CalibrationError, match="expected at least 3 thigh markers seen together in 20 frames, found 3 markers in 10"
    ):
        functional_hip_centre(points)


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.003])
def test_too_small_or_hinge_like_movements_are_refused(noise):
    phase = np.linspace(0, 8 * np.pi, 600)
    for flexion, adduction in (
        star(8),
        (40 * np.sin(phase), 0 * phase),
        (60 * np.sin(phase), 3 * np.cos(phase)),
        (0 * phase, 0 * phase),
    ):
        with pytest.raises(CalibrationError, match="hip movement trial: expected the thigh swung") as error:
            functional_hip_centre(swing(flexion, adduction, noise))
        assert "\n" not in str(error.value)


def test_markers_on_one_line_are_refused():
    """Their turning about that line is unseen, so the range of movement is unknown."""
    points = swing(*star(30))
    points[:, 2] = 2 * points[:, 1] - points[:, 0]
    with pytest.raises(CalibrationError, match="markers on one line"):
        functional_hip_centre(points)

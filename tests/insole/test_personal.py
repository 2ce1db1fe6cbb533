"""Calibration to one rider: closed forms it must meet, riders of known traits, and misses that it must see."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from jointload.analysis import Analysis, analyse
from jointload.body.angles import joint_angles
from jointload.errors import SettingError
from jointload.insole.calibration.knowledge import known_of, rider_least
from jointload.insole.calibration.observation import OBSERVED, observe, predicted, scatter
from jointload.insole.calibration.personal import KNEE, Condition, Known, Personal, Trials, _changes, _model, calibrate
from jointload.insole.calibration.traits import LinearModel, given_the_others, learned, moved_to, traits_of, with_traits
from jointload.insole.fitting.whatif import what_if
from jointload.insole.limb.limb import answering_poses
from jointload.insole.limb.response import FootResponse, Standing, place_foot, settle, settle_flat, stand
from jointload.insole.shape.asked import Parts, case_of
from jointload.insole.shape.conditions import read_conditions
from jointload.insole.shape.geometry import Wedge, parse_wedge
from jointload.intake.recording import Array
from jointload.intake.session import read_session
from jointload.landing.landed import Landing
from jointload.modeldata import shipped_folder

MASS = 61.0
"""Of the sample study's rider_a [kg]; it scales the printed scatter of moments."""
LANDINGS = 5
WEDGES = tuple(
    parse_wedge(f"{raised}:6", "right", length) for length in ("full", "heel") for raised in ("lateral", "medial")
)
"""Flat with +-6 deg full and +-6 deg heel wedges, five landings each: the trial of INSOLE.md."""
SCATTER = scatter([], MASS)


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return _landing("flat")


def _landing(shape: str) -> Analysis:
    """A landing of the shipped sample study."""
    sample = shipped_folder("sample_c3d")
    files = {"labels": sample / "labels.toml", "rider": sample / "rider_a.toml"}
    session = read_session(sample / f"rider_a_landing_{shape}.c3d", sample / "rider_a_static.c3d", **files)
    return analyse(session, variants=False)


@pytest.fixture(scope="module")
def riders(analysis: Analysis) -> tuple[Array, dict[Wedge, Array]]:
    """Traits (R, 5) of 40 riders and what the mechanics makes of each on every wedge (R, 5)."""
    standing = stand(analysis.landing, "right", 40, 99)
    answers = {}
    for wedge in WEDGES:
        answers[wedge] = _answer_to(analysis.landing, standing, wedge)
    return traits_of(standing.person), answers


def recorded(answers: dict[Wedge, Array], rider: int, seed: int, wedges: tuple[Wedge, ...] = WEDGES) -> Trials:
    """Landings of one rider with the printed scatter."""
    rng = np.random.default_rng(seed)

    def landings(mean: Array) -> Array:
        return mean + rng.normal(size=(LANDINGS, len(OBSERVED))) * SCATTER

    flat = landings(np.zeros(len(OBSERVED)))
    return Trials("right", flat, tuple(Condition(wedge, landings(answers[wedge][rider])) for wedge in wedges))


@pytest.fixture(scope="module")
def personal(analysis: Analysis, riders: tuple[Array, dict[Wedge, Array]]) -> Personal:
    return calibrate(analysis.landing, recorded(riders[1], 3, 7))


# Closed forms


def test_learning_is_the_linear_gaussian_update() -> None:
    """The information form of the same law, prior precision plus B' N^-1 B (Bishop 2006, Pattern Recognition and
    Machine Learning, eq. 2.116 and 2.117)."""
    rng = np.random.default_rng(3)
    slope, offset = rng.normal(size=(8, 5)), rng.normal(size=8)
    half, noise_half = rng.normal(size=(5, 5)), rng.normal(size=(8, 8))
    covariance, noise, scatter_part = half @ half.T, noise_half @ noise_half.T, 0.3 * np.eye(8)
    mean, seen = rng.normal(size=5), rng.normal(size=8)
    new_mean, new_covariance = learned(LinearModel(offset, slope, scatter_part), mean, covariance, seen, noise)
    weight = np.linalg.inv(noise + scatter_part)
    expected = np.linalg.inv(np.linalg.inv(covariance) + slope.T @ weight @ slope)
    np.testing.assert_allclose(new_covariance, expected, rtol=1e-8, atol=1e-10)
    pulled = expected @ (slope.T @ weight @ (seen - offset) + np.linalg.solve(covariance, mean))
    np.testing.assert_allclose(new_mean, pulled, rtol=1e-8, atol=1e-10)


def test_a_hidden_part_of_a_gaussian_follows_the_seen_one() -> None:
    """Two numbers of correlation r: mean r (x - m), variance (1 - r^2)."""
    covariance = np.array([[1.0, 0.8], [0.8, 1.0]])
    mean, spread = given_the_others(np.zeros(2), covariance, np.array([0.0, 1.5]), np.array([True, False]))
    assert mean[0] == pytest.approx(1.2)
    assert spread[0, 0] == pytest.approx(0.36)


def test_least_squares_over_persons_finds_the_line() -> None:
    rng = np.random.default_rng(4)
    traits, slope = rng.normal(size=(300, 5)), rng.normal(size=(3, 5))
    model = LinearModel.over(traits, 0.5 + traits @ slope.T + 0.1 * rng.normal(size=(300, 3)))
    np.testing.assert_allclose(model.slope, slope, atol=0.03)
    np.testing.assert_allclose(np.sqrt(np.diag(model.scatter)), 0.1, rtol=0.15)


def test_moved_persons_have_the_asked_traits_and_keep_the_rest(analysis: Analysis) -> None:
    person = stand(analysis.landing, "right", 80, 1).person
    traits = traits_of(person)
    np.testing.assert_allclose(traits_of(with_traits(person, traits)), traits, atol=1e-12)
    mean = traits.mean(axis=0) + np.array([0.2, -0.1, 0.02, 0.3, 0.004])
    covariance = 0.25 * np.cov(traits.T)
    moved = moved_to(person, mean, covariance)
    np.testing.assert_allclose(traits_of(moved).mean(axis=0), mean, atol=1e-9)
    np.testing.assert_allclose(np.cov(traits_of(moved).T), covariance, rtol=1e-6, atol=1e-12)
    assert moved.materials is person.materials and moved.joints.pitch is person.joints.pitch
    np.testing.assert_array_equal(moved.joints.roll, moved.values["roll_stiffness"])


def test_scatter_is_pooled_and_leans_on_the_printed_one() -> None:
    rows = np.random.default_rng(1).normal(size=(400, 5)) * 3 * SCATTER
    np.testing.assert_allclose(scatter([rows], MASS), 3 * SCATTER, rtol=0.1)
    np.testing.assert_allclose(scatter([rows[:1]], MASS), SCATTER, rtol=1e-12)
    shifted = [rows[:200], rows[200:] + 50 * SCATTER]
    np.testing.assert_allclose(scatter(shifted, MASS), 3 * SCATTER, rtol=0.1)


def test_conditions_share_their_flat_landings() -> None:
    """Var(a - f) = s2 (1/n + 1/m), Cov(a - f, b - f) = s2 / m."""
    zero = np.zeros((2, 5))
    trials = Trials("right", np.zeros((4, 5)), (Condition(WEDGES[0], zero), Condition(WEDGES[1], np.zeros((5, 5)))))
    _, noise = _changes(trials, MASS)
    s2 = noise[0, 5] * 4
    assert noise[0, 0] == pytest.approx(s2 * (1 / 2 + 1 / 4)) and noise[5, 5] == pytest.approx(s2 * (1 / 5 + 1 / 4))
    assert noise[0, 1] == 0.0


# Riders of known traits


def test_the_truth_lies_inside_and_the_interval_shrinks(
    analysis: Analysis, riders: tuple[Array, dict[Wedge, Array]]
) -> None:
    """Of 200 intervals of 95 %, 190 hold the truth on average; 88 % is four standard deviations below. The personal
    arm's interval was 0.3 of the population's in the trial of INSOLE.md."""
    truth, answers = riders
    standing = stand(analysis.landing, "right", 100, 1)
    model = _model(analysis.landing, standing, recorded(answers, 0, 0))
    prior = traits_of(standing.person)
    mean, covariance = prior.mean(axis=0), np.cov(prior.T)
    inside, shares = [], []
    for rider in range(len(truth)):
        seen, noise = _changes(recorded(answers, rider, rider), MASS)
        after, spread = learned(model, mean, covariance, seen, noise)
        inside.append(np.abs(truth[rider] - after) < 1.96 * np.sqrt(np.diag(spread)))
        shares.append(np.sqrt(np.diag(spread) / np.diag(covariance)))
    assert np.mean(inside) > 0.88
    share = dict(zip(("roll", "twist", "following", "coupling", "arm"), np.median(shares, axis=0), strict=True))
    assert share["arm"] < 0.4 and share["roll"] < 0.7
    assert all(value <= 1.0 + 1e-9 for value in share.values())


def test_the_knee_moment_of_this_rider_is_told_more_narrowly(
    analysis: Analysis, riders: tuple[Array, dict[Wedge, Array]], personal: Personal
) -> None:
    wedge = parse_wedge("lateral:6", "right", "full")
    row, crowd = (
        what_if(analysis, wedge, 100, known=known).row("knee_adduction_impulse") for known in (Known(personal), Known())
    )
    assert row.person_high - row.person_low < 0.5 * (crowd.person_high - crowd.person_low)
    assert row.person_low < row.change < row.person_high


def test_a_wedge_that_was_not_recorded_is_foretold(
    analysis: Analysis, riders: tuple[Array, dict[Wedge, Array]]
) -> None:
    """Knee moment of eight riders on 4 deg of full length, from their landings on 6 deg. Riders whose knee turns much
    have heavier tails than a Gaussian: of 30 riders the 95 % intervals held 25, so that six of eight are asked for."""
    landing, wedge, knee = analysis.landing, parse_wedge("lateral:4", "right", "full"), OBSERVED.index(KNEE)
    person = stand(landing, "right", 100, 1)
    truth = _answer_to(landing, stand(landing, "right", 40, 99), wedge)[:, knee]
    model, prior = _model(landing, person, recorded(riders[1], 0, 0)), traits_of(person.person)
    held = 0
    for rider in range(8):
        seen, noise = _changes(recorded(riders[1], rider, rider), MASS)
        told = moved_to(person.person, *learned(model, prior.mean(axis=0), np.cov(prior.T), seen, noise))
        answers = _answer_to(landing, replace(person, person=told), wedge)[:, knee]
        low, high = np.quantile(answers, (0.025, 0.975))
        held += low <= truth[rider] <= high
    assert held >= 6


def _answer_to(landing: Landing, standing: Standing, wedge: Wedge) -> Array:
    case = case_of(wedge, standing.place.length)
    return predicted(landing, standing, settle(standing, case.after, settle_flat(standing, case.before)))


def test_a_well_told_rider_is_foretold(personal: Personal) -> None:
    assert len(personal.left_out) == len(WEDGES) * len(OBSERVED)
    knee = [row.miss for row in personal.left_out if row.quantity == "knee_adduction_moment"]
    assert max(knee) < 3 and personal.widened < 1.5
    assert personal.tested == pytest.approx((-np.deg2rad(6), np.deg2rad(6)), abs=1e-3)


def test_a_miss_is_seen_and_widens_the_personal_arm(
    analysis: Analysis, riders: tuple[Array, dict[Wedge, Array]], personal: Personal
) -> None:
    """One shape answered by 60 Nm that no trait explains."""
    trials = recorded(riders[1], 3, 7)
    odd = trials.conditions[0]
    moment = OBSERVED.index("knee_adduction_moment")
    surprised = odd.landings + 60.0 * (np.arange(len(OBSERVED)) == moment)
    conditions = (replace(odd, landings=surprised), *trials.conditions[1:])
    missed = calibrate(analysis.landing, replace(trials, conditions=conditions))
    assert missed.widened > 2 and missed.missed
    assert missed.covariance[-1, -1] > 2 * personal.covariance[-1, -1]
    (finding,) = missed.findings
    assert finding.severity == "warn" and "raised" in finding.advice


def test_one_condition_alone_makes_no_personal_claim(
    analysis: Analysis, riders: tuple[Array, dict[Wedge, Array]]
) -> None:
    with pytest.raises(SettingError, match="one condition alone") as caught:
        calibrate(analysis.landing, recorded(riders[1], 0, 0, WEDGES[:1]))
    assert "\n" not in str(caught.value)


def test_nothing_personal_is_claimed_beyond_the_measured_wedges(analysis: Analysis, personal: Personal) -> None:
    steep = parse_wedge("lateral:9", "right", "full")
    known, unknown = (what_if(analysis, steep, 50, known=k) for k in (Known(personal), Known()))
    assert repr(known.rows) == repr(unknown.rows)
    assert "outside_measured_shapes" in {finding.check for finding in known.findings}
    other_foot = what_if(analysis, parse_wedge("lateral:4", "left", "full"), 50, known=Known(personal))
    assert "outside_measured_shapes" in {finding.check for finding in other_foot.findings}
    inside = what_if(analysis, parse_wedge("lateral:4", "right", "full"), 50, known=Known(personal))
    assert "personal_calibration" in {finding.check for finding in inside.findings}


# Measured landings


def test_a_rolled_foot_and_a_turned_shank_are_observed(analysis: Analysis) -> None:
    """The limb's own answer to 2 deg of roll and 1 deg of tibial rotation, read back from its poses."""
    landing, side = analysis.landing, "right"
    frames = landing.recording.frames
    roll, turn = np.deg2rad(2.0), np.deg2rad(1.0)
    constant = FootResponse.none(1, 1)
    moved = replace(
        constant, roll=np.full(frames, roll), pitch=np.zeros(frames), tibial_rotation=np.full(frames, turn),
        knee_plane=np.zeros(frames), ankle_height=0.07,
    )  # fmt: skip
    poses = answering_poses(landing, side, landing.poses, moved)
    answered = replace(landing, poses=poses, angles=joint_angles(poses, landing.body))
    place = place_foot(landing, side)
    change = dict(zip(OBSERVED, observe(answered, side, place) - observe(landing, side, place), strict=True))
    tenth = np.deg2rad(0.1)
    assert change["rearfoot_roll"] == pytest.approx(roll, abs=tenth)
    assert change["tibial_rotation"] == pytest.approx(turn, abs=3 * tenth)
    assert change["knee_adduction_moment"] == change["hip_adduction_moment"] == 0.0


def test_recordings_on_known_shapes_calibrate(analysis: Analysis) -> None:
    """The way from recordings to a calibration; the invented wedge landing, and the flat one taken for a lift's."""
    landings = [
        (None, analysis),
        (parse_wedge("medial:4", "right"), _landing("wedge")),
        (Parts("right", lift=0.008), analysis),
    ]
    known = known_of(analysis, "right", landings)
    assert known.personal is not None
    assert known.personal.landings == 4 and len(known.personal.conditions) == 2
    assert np.isfinite(known.personal.mean).all()
    assert known.personal.tested == pytest.approx((0.0, np.deg2rad(4)), abs=0.01)
    assert known.rider_least == {}, "two landings tell no scatter"


def test_the_riders_own_scatter_is_its_detectable_change(analysis: Analysis) -> None:
    """1.96 sqrt(2) SD, of three landings that differ by one degree of knee flexion each."""
    key, degree = ("knee_flexion_peak", "right"), np.deg2rad(1.0)
    landings = [
        replace(analysis, measures=tuple(
            replace(m, value=m.value + k * degree) if (m.quantity, m.side) == key else m for m in analysis.measures
        ))
        for k in range(3)
    ]  # fmt: skip
    least = rider_least(landings)
    assert least[key] == pytest.approx(1.96 * np.sqrt(2) * degree, rel=1e-3)
    assert least[("hip_flexion_peak", "right")] == 0.0


def test_a_table_of_conditions_is_read(tmp_path: Path) -> None:
    for name in ("a.c3d", "b.c3d"):
        (tmp_path / name).touch()
    table = tmp_path / "conditions.csv"
    table.write_text("# landings of one day\nfile,shape\na.c3d,flat\nb.c3d, medial:4 full\na.c3d,lift:8mm\n")
    flat, wedge, lift = read_conditions(table, "left")
    assert flat.shape is None and flat.file == tmp_path / "a.c3d"
    assert wedge.shape == parse_wedge("medial:4", "left", "full")
    assert lift.shape == Parts("left", lift=0.008)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("name,shape\na.c3d,flat\n", "columns file,shape"),
        ("", "columns file,shape"),
        ("file,shape\n", "one row a recording"),
        ("file,shape\nnone.c3d,flat\n", "beside the table"),
        ("file,shape\na.c3d,medial:40\n", "0 to 10 degrees"),
        ("file,shape\na.c3d,wedge\n", "flat, medial:4"),
        ("file,shape\na.c3d,\n", "flat, medial:4"),
        ("file,shape\na.c3d,lift:8\n", "row 2"),
        ("file,shape\na.c3d,none.toml\n", "row 2"),
    ],
)
def test_a_mistake_in_the_table_is_one_line(content: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "a.c3d").touch()
    (tmp_path / "conditions.csv").write_text(content)
    with pytest.raises(SettingError, match=said) as caught:
        read_conditions(tmp_path / "conditions.csv", "right")
    assert "\n" not in str(caught.value)


def test_a_missing_table_is_named(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match=r"nowhere\.csv"):
        read_conditions(tmp_path / "nowhere.csv", "right")

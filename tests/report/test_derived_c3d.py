"""The derived file read back by this package's own reader and by ezc3d."""

from __future__ import annotations

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from jointload.analysis import Analysis
from jointload.intake.c3d import read_recording
from jointload.intake.c3d_bytes.guard import read_structure
from jointload.modeldata import shipped_folder
from jointload.report.files.derived_c3d import write_derived
from jointload.report.words.tables import joint_moment
from jointload.synthetic.c3d_file import write_c3d

SINGLE = 6e-8
"""Relative rounding of a 32-bit real."""


@pytest.fixture(scope="module")
def derived(analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("derived") / "derived.c3d"
    write_derived(analysis, path)
    return path


def test_markers_come_back_and_derived_ones_stay_apart(derived: Path, analysis: Analysis) -> None:
    back, trial = read_recording(derived), analysis.session.trial
    joints = len(analysis.landing.angles.joints)
    assert back.labels[: len(trial.labels)] == trial.labels
    assert len(back.labels) == len(trial.labels) + joints
    np.testing.assert_array_equal(back.lab_from_file, np.eye(3))
    np.testing.assert_allclose(back.markers[:, : len(trial.labels)], trial.markers, rtol=SINGLE)
    assert back.point_rate == trial.point_rate and back.first_frame == trial.first_frame
    assert any(f.evidence.startswith(f"{7 * joints} angles") for f in back.findings)


def test_joint_centres_are_positions(derived: Path, analysis: Analysis) -> None:
    loads = analysis.landing.loads
    centre = read_recording(derived).marker("right_knee_centre")
    np.testing.assert_allclose(centre, loads.centre[:, loads.joints.index("right_knee")], rtol=SINGLE)


def test_events_come_back(derived: Path, analysis: Analysis) -> None:
    found = {(event.label, event.side): event.time for event in read_recording(derived).events}
    assert set(analysis.landing.events.sides) == {"right", "left"}
    for side, events in analysis.landing.events.sides.items():
        assert found["touch-down", side] == pytest.approx(events.touchdown, rel=1e-6)
        assert found["landing end", side] == pytest.approx(events.landing_end, rel=1e-6)


def test_another_reader_finds_angles_moments_and_powers_with_units(derived: Path, analysis: Analysis) -> None:
    import ezc3d

    file, landing = ezc3d.c3d(str(derived)), analysis.landing
    point = file["parameters"]["POINT"]
    assert point["X_SCREEN"]["value"] == ["+X"] and point["Y_SCREEN"]["value"] == ["+Y"]
    assert point["ANGLE_UNITS"]["value"] == ["deg"] and point["MOMENT_UNITS"]["value"] == ["Nmm"]
    labels = point["LABELS"]["value"]
    for group in ("ANGLES", "MOMENTS", "POWERS"):
        assert set(point[group]["value"]) <= set(labels)
    stored = dict(zip(labels, file["data"]["points"][:3].swapaxes(0, 1), strict=True))
    j = landing.angles.joints.index("left_knee")
    for k, rotation in enumerate(landing.angles.rotations[j]):
        angle = stored[f"left_knee_{rotation}_angle"]
        np.testing.assert_allclose(angle[0], np.rad2deg(landing.angles.angle[k, j]), rtol=SINGLE, atol=1e-6)
        assert not np.any(angle[1:])
    external = 1000.0 * landing.loads.of("left_knee", "flexion", "external")
    np.testing.assert_allclose(stored["left_knee_flexion_moment"][0], external, rtol=SINGLE)
    internal = 1000.0 * landing.loads.of("left_ankle", "inversion", "internal")
    np.testing.assert_allclose(stored["left_ankle_inversion_moment"][0], internal, rtol=SINGLE)
    np.testing.assert_allclose(stored["left_knee_power"][0], landing.loads.power[j], rtol=SINGLE)
    described = dict(zip(labels, point["DESCRIPTIONS"]["value"], strict=True))
    assert described["left_knee_flexion_moment"] == "Nmm, external, in X"
    assert described["l5s1_extension_moment"] == "Nmm, internal, in X"


def test_missing_values_have_the_residual_minus_one(analysis: Analysis, tmp_path: Path) -> None:
    import ezc3d

    trial = analysis.session.trial
    markers = trial.markers.copy()
    markers[:, 2, 10:20] = np.nan
    holed = replace(analysis, session=replace(analysis.session, trial=replace(trial, markers=markers)))
    write_derived(holed, tmp_path / "holed.c3d")
    residuals = ezc3d.c3d(str(tmp_path / "holed.c3d"))["data"]["meta_points"]["residuals"][0]
    assert (residuals[2, 10:20] == -1).all() and (residuals[2, :10] == 0).all()
    back = read_recording(tmp_path / "holed.c3d").markers[:, 2]
    np.testing.assert_array_equal(np.isnan(back), np.isnan(markers[:, 2]))


def test_a_marker_named_like_a_derived_one_keeps_its_name(analysis: Analysis, tmp_path: Path) -> None:
    trial = analysis.session.trial
    labels = ("right_knee_flexion_angle", *trial.labels[1:])
    clash = replace(analysis, session=replace(analysis.session, trial=replace(trial, labels=labels)))
    write_derived(clash, tmp_path / "clash.c3d")
    back = read_recording(tmp_path / "clash.c3d")
    np.testing.assert_allclose(back.marker("right_knee_flexion_angle"), trial.markers[:, 0], rtol=SINGLE)


def test_a_third_reader_opens_it(derived: Path, analysis: Analysis) -> None:
    """The c3d package reads the same numbers, lists and events."""
    c3d = pytest.importorskip("c3d")
    landing = analysis.landing
    with warnings.catch_warnings(), derived.open("rb") as handle:
        warnings.simplefilter("ignore")  # the package warns about parameters it does not know
        reader = c3d.Reader(handle)
        labels = [label.strip() for label in reader.point_labels]
        frames = np.stack([points[:, :4].T for _, points, _ in reader.read_frames()], axis=-1)
        events = reader.get("EVENT")
        texts = {name: [text.strip() for text in events.get(name).string_array] for name in ("LABELS", "CONTEXTS")}
        times = events.get("TIMES").float_array
        lists = {group: reader.get("POINT").get(group).string_array for group in ("ANGLES", "MOMENTS", "POWERS")}
        kinds = ("ANGLE", "MOMENT", "POWER")
        units = [reader.get("POINT").get(f"{kind}_UNITS").string_array[0].strip() for kind in kinds]
    assert units == ["deg", "Nmm", "W"] and frames.shape[-1] == analysis.session.trial.frames
    joints, turns = landing.angles.joints, landing.angles.rotations
    each = [(joint, turn) for joint, of_it in zip(joints, turns, strict=True) for turn in of_it]
    assert [label.strip() for label in lists["ANGLES"]] == [f"{joint}_{turn}_angle" for joint, turn in each]
    assert [label.strip() for label in lists["MOMENTS"]] == [
        f"{joint}_{joint_moment(landing, joint, turn)[0]}_moment" for joint, turn in each
    ]
    assert [label.strip() for label in lists["POWERS"]] == [f"{joint}_power" for joint in joints]
    angle = np.rad2deg(landing.angles.of("right_hip", "flexion"))
    np.testing.assert_allclose(frames[0, labels.index("right_hip_flexion_angle")], angle, rtol=SINGLE, atol=1e-6)
    power = landing.loads.power[landing.loads.joints.index("right_hip")]
    stored, _, _, residual = frames[:, labels.index("right_hip_power")]
    np.testing.assert_array_equal(residual == -1, np.isnan(power))
    known = np.isfinite(power)
    np.testing.assert_allclose(stored[known], power[known], rtol=SINGLE, atol=1e-6)
    assert texts["LABELS"] == ["touch-down", "touch-down", "landing end", "landing end"]
    assert set(texts["CONTEXTS"]) == {"Right", "Left"}
    first = next(iter(landing.events.sides.values()))
    start = (analysis.session.trial.first_frame - 1) / analysis.session.trial.point_rate
    minutes, seconds = times.reshape(-1, 2)[0]
    assert 60 * minutes + seconds == pytest.approx(first.touchdown + start, rel=1e-6)


def test_no_makers_contact_is_left(derived: Path, analysis: Analysis, tmp_path: Path) -> None:
    written = tmp_path / "made.c3d"
    write_c3d(analysis.session.trial, written)
    for path in (derived, written, *shipped_folder("sample_c3d").glob("*.c3d")):
        assert read_structure(path).text("EZC3D", "CONTACT").strip() == ""
        assert b"hotmail" not in path.read_bytes() and b".com" not in path.read_bytes()

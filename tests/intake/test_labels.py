"""labels.toml: read, checked against recordings, proposed from words."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from jointload.errors import LabelError
from jointload.intake.c3d import read_recording
from jointload.intake.label_words import place_of, words
from jointload.intake.labels import (
    LANDMARKS,
    SEGMENTS,
    SIDED,
    SIDED_SEGMENTS,
    UNSIDED,
    LabelMap,
    check_labels,
    labels_from,
    read_labels,
    renewed_labels,
)
from jointload.intake.proposed_labels import propose_labels
from jointload.intake.recording import Recording
from jointload.intake.rider import read_rider
from jointload.intake.session import read_session
from jointload.sources import shipped_folder

REAL = Path(__file__).parent / "real"
MOST_LETTERS = 600
"""Of an error that can be read: six lines of a terminal (choice)."""
TRIALS = {
    "jump": ["landing/vertical_jump_two_plates.c3d"],
    "running": ["running/static.c3d", "running/treadmill_3.5ms.c3d"],
    "walking": ["walking/static.c3d", "walking/walk_1.c3d", "walking/walk_2.c3d", "walking/walk_3.c3d"],
    "walk_type4": ["walking/walk_two_plates_type4.c3d"],
}


def recording_with(*labels: str) -> Recording:
    return Recording(
        name="trial.c3d",
        sha256="",
        labels=labels,
        markers=np.zeros((3, len(labels), 1)),
        point_rate=100.0,
        plates=(),
        force_rate=100.0,
        events=(),
        lab_from_file=np.eye(3),
        axes_evidence="",
    )


def proposal(*labels: str) -> LabelMap:
    return labels_from(tomllib.loads(propose_labels(recording_with(*labels))))


def write(folder: Path, text: str) -> Path:
    path = folder / "labels.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_reading(tmp_path: Path) -> None:
    path = write(tmp_path, '[landmarks]\nright_asis = "A"\nc7 = "B"\n[clusters]\nleft_thigh = ["C", "D", "E"]\n')
    assert read_labels(path) == LabelMap({"right_asis": "A", "c7": "B"}, {"left_thigh": ("C", "D", "E")})
    assert read_labels(path).labels == {"A", "B", "C", "D", "E"}


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('[landmarks]\nasis_rigth = "A"', "unknown landmark 'asis_rigth'"),
        ('[landmarks]\nasis = "A"', "closest is left_asis or right_asis"),
        ('[clusters]\nthigh = ["A", "B", "C"]', "unknown segment 'thigh'"),
        ('[clusters]\nright_thigh = ["A", "B"]', "at least 3 marker labels"),
        ('[clusters]\nright_thigh = "ABC"', "at least 3 marker labels"),
        ("[landmarks]\nright_asis = 3", "expected a marker label, found 3"),
        ('[markers]\nright_asis = "A"', "unknown table 'markers'"),
        ("landmarks = 3", "a table [landmarks]"),
        ("[landmarks", "expected TOML"),
    ],
)
def test_a_wrong_file_is_refused_in_one_line(tmp_path: Path, text: str, found: str) -> None:
    path = write(tmp_path, text)
    with pytest.raises(LabelError) as refusal:
        read_labels(path)
    assert found in str(refusal.value)
    assert str(path) in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_an_unknown_landmark_tells_where_the_known_ones_are_listed(tmp_path: Path) -> None:
    with pytest.raises(LabelError, match=r"sacrum, c7, .* more; `jointload guide landing` lists all$") as refusal:
        read_labels(write(tmp_path, '[landmarks]\nzzz = "A"'))
    assert len(str(refusal.value)) < MOST_LETTERS
    listed = (
        (shipped_folder("guide") / "landing.md").read_text(encoding="utf-8").split("Landmarks:")[1].split("\n\n")[0]
    )
    assert set(re.findall(r"[a-z][a-z0-9_]+", listed)) >= {*UNSIDED, *SIDED, *SIDED_SEGMENTS, "pelvis", "trunk"}


def test_a_file_of_another_laboratory_is_refused_in_a_line_that_can_be_read() -> None:
    """Forty labels, none of which the recording has: the first few of both, and how to see the rest."""
    label_map = LabelMap({name: f"theirs {k}" for k, name in enumerate(LANDMARKS[:40])})
    with pytest.raises(
        LabelError, match=r"35 more; its labels are Q0, .* 35 more: `jointload labels` lists all"
    ) as refusal:
        check_labels(label_map, recording_with(*(f"Q{k}" for k in range(40))))
    assert len(str(refusal.value)) < MOST_LETTERS


def test_an_unreadable_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LabelError, match="does not exist"):
        read_labels(tmp_path / "absent.toml")
    path = tmp_path / "labels.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(LabelError, match="expected TOML"):
        read_labels(path)


def test_labels_may_stand_in_any_of_the_recordings() -> None:
    label_map = LabelMap({"right_asis": "A", "left_asis": "B"}, {"right_thigh": ("A", "B", "C")})
    check_labels(label_map, [recording_with("A"), recording_with("B", "C")], needed=("right_asis",))
    check_labels(label_map, recording_with("A", "B", "C"))


def test_a_label_in_no_recording_is_refused_with_the_closest() -> None:
    label_map = LabelMap({"right_asis": "R.ASIS"})
    with pytest.raises(
        LabelError, match=r"right_asis: marker 'R.ASIS' is not in trial.c3d, closest is R_ASIS or L_ASIS; correct"
    ):
        check_labels(label_map, recording_with("R_ASIS", "L_ASIS", "HEAD"))
    with pytest.raises(LabelError, match="cluster right_foot: marker 'C' is not in"):
        check_labels(LabelMap({}, {"right_foot": ("A", "B", "C")}), recording_with("A", "B"))


def test_a_needed_landmark_that_is_not_mapped_is_refused() -> None:
    with pytest.raises(LabelError, match="expected left_asis, found right_asis"):
        check_labels(LabelMap({"right_asis": "A"}), recording_with("A"), needed=("right_asis", "left_asis"))


@pytest.mark.parametrize(
    ("label", "expected"),
    [
        ("R.Knee.Medial", ("r", "knee", "medial")),
        ("R_MT_1", ("r", "mt", "1")),
        ("leftKneeLat", ("left", "knee", "lat")),
        ("RASIS", ("r", "asis")),
        ("LHeel", ("l", "heel")),
        ("L.MT5", ("l", "mt", "5")),
        ("T10", ("t", "10")),
        ("", ()),
    ],
)
def test_words(label: str, expected: tuple[str, ...]) -> None:
    assert words(label) == expected


@pytest.mark.parametrize(
    ("label", "place"),
    [
        ("R.Knee", "knee"),
        ("V_R.Knee_JC", ""),
        ("RFHD", ""),
        ("fibula head R", "fibula"),
        ("Top.Head", "head"),
        ("R.HF", "fibula"),
    ],
)
def test_places(label: str, place: str) -> None:
    assert place_of(label) == place


@pytest.mark.parametrize(
    ("label", "landmark"),
    [
        ("right anterior superior iliac spine", "right_asis"),
        ("Left posterior superior iliac spine", "left_psis"),
        ("R iliac crest", "right_iliac_crest"),
        ("lateral epicondyle left", "left_femur_epicondyle_lateral"),
        ("R_FemoralCondyle_Med", "right_femur_epicondyle_medial"),
        ("malleolus medialis", ""),
        ("L_Malleolus_Lat", "left_malleolus_lateral"),
        ("Right_Calcaneus", "right_calcaneus"),
        ("metatarsal 5 R", "right_metatarsal5"),
        ("Sacrum", "sacrum"),
        ("C7", "c7"),
        ("T8", "t8"),
        ("IJ", "suprasternale"),
        ("left acromion", "left_acromion"),
    ],
)
def test_words_of_anatomy_name_the_landmark(label: str, landmark: str) -> None:
    assert proposal(label).landmarks == ({landmark: label} if landmark else {})


def test_a_bare_knee_is_lateral_only_beside_a_medial_one() -> None:
    assert proposal("R.Knee", "R.Knee.Medial").landmarks == {
        "right_femur_epicondyle_lateral": "R.Knee",
        "right_femur_epicondyle_medial": "R.Knee.Medial",
    }
    text = propose_labels(recording_with("R.Knee", "L.Knee.Medial"))
    assert '# right_femur_epicondyle_lateral = "R.Knee"  # uncertain' in text


def test_what_is_uncertain_is_a_comment() -> None:
    text = propose_labels(recording_with("Heel", "R.Foot.Medial", "ABC", "R.Hip_JC"))
    assert tomllib.loads(text)["landmarks"] == {}
    assert '# right_calcaneus = "Heel"' in text
    assert '# right_metatarsal1 = "R.Foot.Medial"' in text
    assert "known here: ABC, R.Hip_JC" in text


def test_markers_on_the_skin_come_before_computed_ones() -> None:
    found = proposal("V_RHeel", "R.Heel", "V.Sacral")
    assert found.landmarks == {"right_calcaneus": "R.Heel", "sacrum": "V.Sacral"}


def test_leftover_markers_make_clusters() -> None:
    labels = [f"R_{segment}_{k}" for segment in ("THIGH", "SHANK") for k in (1, 2, 3, 4)]
    found = proposal(*labels, "R_HEEL", "R_MT_1", "R_MT_5")
    assert found.clusters == {
        "right_thigh": tuple(labels[:4]),
        "right_shank": tuple(labels[4:]),
        "right_foot": ("R_HEEL", "R_MT_1", "R_MT_5"),
    }


def test_a_single_thigh_marker_is_joined_by_the_knee() -> None:
    found = proposal("R.Thigh", "R.Knee", "R.Knee.Medial")
    assert found.clusters == {"right_thigh": ("R.Thigh", "R.Knee", "R.Knee.Medial")}


def test_strange_labels_stay_valid_toml() -> None:
    strange = ['R "knee" med', "R\\Heel", "L heel\u200b", "# toe R"]
    found = proposal(*strange)
    assert set(found.landmarks.values()) == set(strange)


def test_every_name_is_unique() -> None:
    assert len(set(LANDMARKS)) == len(LANDMARKS) == 49
    assert len(set(SEGMENTS)) == len(SEGMENTS) == 8


@pytest.mark.parametrize("name", TRIALS)
def test_label_files_of_the_published_recordings(shared_c3d: Path, name: str) -> None:
    recordings = [read_recording(shared_c3d / trial) for trial in TRIALS[name]]
    label_map = read_labels(REAL / f"{name}_labels.toml")
    sides = [
        f"{side}_{base}"
        for base in ("asis", "femur_epicondyle_lateral", "malleolus_medial")
        for side in ("right", "left")
    ]
    check_labels(label_map, recordings, needed=sides)
    clusters = {label for labels in label_map.clusters.values() for label in labels}
    for recording in recordings[1:]:
        assert clusters <= set(recording.labels), "clusters must be seen in the moving trials"
    assert read_rider(REAL / f"{name}_rider.toml").id == name


@pytest.mark.parametrize("name", TRIALS)
def test_pinned_proposals_for_the_published_recordings(shared_c3d: Path, name: str) -> None:
    """The label files came from proposals that were read through: only lines the words leave open may differ."""
    recording = read_recording(shared_c3d / TRIALS[name][0])
    proposed = labels_from(tomllib.loads(propose_labels(recording)))
    written = read_labels(REAL / f"{name}_labels.toml")
    decided = (
        {"right_metatarsal1", "left_metatarsal1", "right_metatarsal5", "left_metatarsal5"}
        if name == "walk_type4"
        else set()
    )
    assert {key: value for key, value in written.landmarks.items() if key not in decided} == proposed.landmarks
    by_hand = {"trunk"} if name == "jump" else set()
    assert proposed.clusters == {key: value for key, value in written.clusters.items() if key not in by_hand}


def test_a_proposal_depends_on_the_labels_alone() -> None:
    recording = recording_with("R.Heel", "L.Heel")
    assert propose_labels(recording) == propose_labels(replace(recording, markers=np.ones((3, 2, 9))))


def test_a_label_without_words_is_understood_from_its_description() -> None:
    recording = replace(
        recording_with("M1", "M2", "M3", "R.Heel", "V_M5_JC"),
        descriptions=("right lateral malleolus", "left ASIS", "outer knee", "left toe", "right knee"),
    )
    text = propose_labels(recording)
    found = labels_from(tomllib.loads(text)).landmarks
    assert found == {"right_malleolus_lateral": "M1", "left_asis": "M2", "right_calcaneus": "R.Heel"}
    assert 'right_malleolus_lateral = "M1"  # by its description' in text
    assert 'right_calcaneus = "R.Heel"\n' in text, "the label's own words come first"
    assert '# right_femur_epicondyle_lateral = "M3"  # uncertain' in text
    assert "known here: V_M5_JC" in text, "a label that says computed stays so"


def test_descriptions_are_read_from_the_file(tmp_path: Path, write_c3d: Callable[..., bytes]) -> None:
    path = tmp_path / "trial.c3d"
    point = {"LABELS": ["A1", "Jane:A2", "A3"], "DESCRIPTIONS": ["Jane:right heel", "", "left heel"]}
    people = {"NAMES": ["Jane"], "LABEL_PREFIXES": ["Jane:"]}
    path.write_bytes(write_c3d(np.ones((2, 3, 3)), parameters={"POINT": point, "SUBJECTS": people}))
    recording = read_recording(path)
    assert recording.descriptions == ("right heel", "", "left heel")
    proposed = propose_labels(recording)
    assert labels_from(tomllib.loads(proposed)).landmarks == {"right_calcaneus": "A1", "left_calcaneus": "A3"}
    assert "Jane" not in proposed


def test_names_of_an_earlier_form_are_refused_and_converted(tmp_path: Path) -> None:
    old = write(tmp_path, '[landmarks]  # ours\nc7 = "C7"\nasis_r = "wrist_l"\n# toe_l = "T"  # uncertain\n\n'
                          '[clusters]\nthigh_l = ["a_r", "b", "c"]\n')  # fmt: skip
    with pytest.raises(LabelError, match=r"the side first, right_asis, found asis_r in .*jointload labels .* --out"):
        read_labels(old)
    (tmp_path / "new.toml").write_text(renewed_labels(old), encoding="utf-8")
    assert renewed_labels(tmp_path / "new.toml") == (tmp_path / "new.toml").read_text(encoding="utf-8")
    assert "# left_toe =" in renewed_labels(old) and "[landmarks]  # ours" in renewed_labels(old)
    renewed = read_labels(tmp_path / "new.toml")
    assert renewed.landmarks == {"c7": "C7", "right_asis": "wrist_l"}
    assert renewed.clusters == {"left_thigh": ("a_r", "b", "c")}


# Abbreviations, nothing recognised, mistyped -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("label", "landmark"),
    [
        ("RGT", "right_trochanter"), ("LLE", "left_femur_epicondyle_lateral"), ("L_ME", "left_femur_epicondyle_medial"),
        ("HF_R", "right_fibula_head"), ("R.LM", "right_malleolus_lateral"), ("LMM", "left_malleolus_medial"),
        ("RCA", "right_calcaneus"), ("LFM", "left_metatarsal1"), ("RVM", "right_metatarsal5"),
        ("LTT", "left_tibia_tuberosity"),
        ("RAC", "right_acromion"), ("LPSIS", "left_psis"),
    ],
)  # fmt: skip
def test_abbreviations_of_the_literature_are_proposed(label: str, landmark: str) -> None:
    """Clin Biomech 1995 10:171, J Biomech 2002 35:543 and 2005 38:981, from memory."""
    assert proposal(label).landmarks == {landmark: label}


@pytest.mark.parametrize("label", ["LM", "ALLE", "RLM2", "RGTX"])
def test_what_only_resembles_an_abbreviation_is_left_alone(label: str) -> None:
    assert not proposal(label, "R.Heel").landmarks.keys() - {"right_calcaneus"}


def test_nothing_recognised_is_an_error_with_all_labels() -> None:
    with pytest.raises(LabelError, match="none in Q1, Q2, Q3") as caught:
        propose_labels(recording_with("Q1", "Q2", "Q3"))
    assert "\n" not in str(caught.value) and "write labels.toml by hand" in str(caught.value)


def test_a_mistyped_label_without_a_standing_trial_gets_the_closest_one(
    tmp_path: Path, write_c3d: Callable[..., bytes]
) -> None:
    names = ["R.Heel", "L.Heel", "R.Knee", "L.Knee"]
    (tmp_path / "trial.c3d").write_bytes(write_c3d(np.ones((20, 4, 3)), parameters={"POINT": {"LABELS": names}}))
    text = 'right_calcaneus = "R.Heal"\nleft_calcaneus = "L.Heel"\nright_toe = "R.Knee"\nleft_toe = "L.Knee"\n'
    labels, rider = write(tmp_path, f"[landmarks]\n{text}"), tmp_path / "rider.toml"
    rider.write_text('id = "x"\nmass_kg = 70\nheight_m = 1.75\nsex = "m"\n', encoding="utf-8")
    with pytest.raises(LabelError, match=r"no R\.Heal, closest is R\.Heel"):
        read_session(tmp_path / "trial.c3d", labels=labels, rider=rider)

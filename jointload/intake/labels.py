"""labels.toml: which marker of a laboratory sits on which landmark and which belong to a cluster, read and checked."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jointload.errors import LabelError, expected_found, known_names, some
from jointload.intake.recording import SIDES, Recording
from jointload.intake.toml_file import read_toml

SIDED = (
    "asis",
    "psis",
    "iliac_crest",
    "trochanter",
    "femur_epicondyle_lateral",
    "femur_epicondyle_medial",
    "tibia_tuberosity",
    "fibula_head",
    "malleolus_lateral",
    "malleolus_medial",
    "calcaneus",
    "calcaneus_lateral",
    "calcaneus_upper",
    "metatarsal1",
    "metatarsal2",
    "metatarsal5",
    "toe",
    "acromion",
    "elbow",
    "wrist",
)
UNSIDED = ("sacrum", "c7", "t8", "t10", "suprasternale", "xiphoid", "head_top", "head_front", "head_rear")
LANDMARKS = UNSIDED + tuple(f"{side}_{name}" for name in SIDED for side in SIDES)
SIDED_SEGMENTS = ("thigh", "shank", "foot")
SEGMENTS = ("pelvis", "trunk") + tuple(f"{side}_{name}" for name in SIDED_SEGMENTS for side in SIDES)
LEAST_CLUSTER = 3
"""Markers a rigid body needs."""
CLUSTER_HELPERS = {
    "thigh": ("trochanter", "femur_epicondyle_lateral", "femur_epicondyle_medial"),
    "shank": ("malleolus_lateral", "malleolus_medial", "fibula_head", "tibia_tuberosity"),
    "foot": ("calcaneus", "calcaneus_lateral", "calcaneus_upper", "metatarsal1", "metatarsal5", "toe"),
}
"""Landmarks that ride on a segment and may complete its cluster."""
_KEY = re.compile(r"^(\s*(?:#\s*)?)([a-z0-9_]+)(?=\s*=)", re.MULTILINE)


@dataclass(frozen=True)
class LabelMap:
    """A laboratory's labels: landmarks (anatomical name to marker label), clusters (segment name to marker labels)."""

    landmarks: dict[str, str]
    clusters: dict[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def labels(self) -> frozenset[str]:
        """Every marker label that is named."""
        return frozenset(self.landmarks.values()).union(*self.clusters.values())


def read_labels(path: str | Path) -> LabelMap:
    """Read labels.toml; LabelError names an unknown landmark or segment, and the closest known ones."""
    return labels_from(read_toml(Path(path), "labels", "give --labels", LabelError), str(path))


def labels_from(content: dict[str, Any], where: str = "labels") -> LabelMap:
    """A checked LabelMap from the tables of labels.toml."""
    _known(content, ("landmarks", "clusters"), "table", where)
    _side_first(content, where)
    landmarks, clusters = content.get("landmarks", {}), content.get("clusters", {})
    for name, table in (("landmarks", landmarks), ("clusters", clusters)):
        if not isinstance(table, dict):
            raise LabelError(expected_found(name, f"a table [{name}]", repr(table), where, "write it as a table"))
    _known(landmarks, LANDMARKS, "landmark", where)
    _known(clusters, SEGMENTS, "segment", where)
    for name, label in landmarks.items():
        if not isinstance(label, str) or not label:
            raise LabelError(expected_found(f"landmark {name}", "a marker label", repr(label), where, "correct it"))
    for name, labels in clusters.items():
        if not isinstance(labels, list) or len(labels) < LEAST_CLUSTER or not all(isinstance(k, str) for k in labels):
            expected = f"a list of at least {LEAST_CLUSTER} marker labels"
            raise LabelError(expected_found(f"cluster {name}", expected, repr(labels), where, "correct it"))
    return LabelMap(dict(landmarks), {name: tuple(labels) for name, labels in clusters.items()})


def _side_first(content: dict[str, Any], where: str) -> None:
    """Refuse names of an earlier form, whose side stood last as a letter."""
    for table in content.values():
        for name in table if isinstance(table, dict) else ():
            renamed = _renamed(name)
            if renamed != name:
                advice = f"write a new file with: jointload labels {where} --out NEW.toml"
                raise LabelError(expected_found("labels", f"the side first, {renamed}", name, where, advice))


def _renamed(name: str) -> str:
    """right_asis for asis_r; any other name as it is."""
    stem, _, letter = name.rpartition("_")
    side = {side[0]: side for side in SIDES}.get(letter)
    return f"{side}_{stem}" if side and stem in (*SIDED, *SIDED_SEGMENTS) else name


def renewed_labels(path: str | Path) -> str:
    """The text of a labels.toml whose names end in a side letter, with the side as the first word; the rest stays."""
    read_toml(Path(path), "labels", "give a labels.toml", LabelError)
    text = Path(path).read_text(encoding="utf-8")
    return _KEY.sub(lambda found: found[1] + _renamed(found[2]), text)


def _known(names: Iterable[str], known: Sequence[str], what: str, where: str) -> None:
    for name in names:
        if name not in known:
            hint = _closest(name, known) or f"; the known ones are {some(known)}"
            raise LabelError(f"labels: unknown {what} {name!r} in {where}{hint}; `jointload guide landing` lists all")


def _closest(name: str, known: Iterable[str], least: float = 0.5) -> str:
    """The closest known names as a hint for a message, empty when none is alike by at least so much."""
    known = list(known)
    lower = {text.lower(): text for text in known}
    near = difflib.get_close_matches(name.lower(), lower, n=3, cutoff=least)
    return f", closest is {' or '.join(lower[text] for text in near)}" if near else ""


LISTS_LABELS = "`jointload labels` lists all of a recording"
MISTYPED = 0.75
"""Likeness from which on a label that is missing was rather mistyped than left out (choice)."""


def with_closest(missing: Iterable[str], recording: Recording, named: Collection[str]) -> list[str]:
    """Labels that a recording lacks, each with the closest one that it has and that is not named itself."""
    free = [label for label in recording.labels if label not in named]
    return [label + _closest(label, free, MISTYPED) for label in missing]


def check_labels(label_map: LabelMap, recordings: Recording | Sequence[Recording], needed: Iterable[str] = ()) -> None:
    """LabelError names every label that is in none of the recordings, or the needed landmarks that are not mapped."""
    recordings = (recordings,) if isinstance(recordings, Recording) else tuple(recordings)
    where = " and ".join(recording.name for recording in recordings)
    known = list(dict.fromkeys(label for recording in recordings for label in recording.labels))
    wanted = [(f"landmark {name}", label) for name, label in label_map.landmarks.items()]
    wanted += [(f"cluster {name}", label) for name, labels in label_map.clusters.items() for label in labels]
    absent = [(what, label, _closest(label, known)) for what, label in wanted if label not in known]
    if absent:
        told = some((f"{what}: marker {label!r} is not in {where}{near}" for what, label, near in absent), "; ")
        unlike = "" if all(near for *_, near in absent) else f"; its labels are {some(known)}: {LISTS_LABELS}"
        raise LabelError(f"{told}{unlike}; correct labels.toml")
    missing = [name for name in needed if name not in label_map.landmarks]
    if missing:
        found = known_names(label_map.landmarks)
        raise LabelError(expected_found("labels", ", ".join(missing), found, "[landmarks]", "add their markers"))

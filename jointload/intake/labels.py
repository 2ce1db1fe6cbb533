"""Marker labels and anatomy: labels.toml read and checked, and one proposed from the words in the labels.

The words are those of anatomy; a laboratory's own abbreviations are for its own labels.toml.
"""

from __future__ import annotations

import difflib
import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from jointload.errors import LabelError, expected_found, known_names
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
FOOT_RESERVE = ("malleolus_lateral", "malleolus_medial")
"""Ankle landmarks, taken into the foot's cluster only when it is short of markers."""

SIDE_WORDS = {"r": "right", "right": "right", "rt": "right", "l": "left", "left": "left", "lt": "left"}
COMPUTED_WORDS = {"jc", "joint", "mid", "origin", "offset", "centre", "center", "virtual"}
"""A label with one of these words is a computed point, no marker on the skin."""
ASPECTS = {
    "lateral": ("lateral", "lat"),
    "medial": ("medial", "med"),
    "upper": ("top", "upper"),
    "lower": ("bottom", "lower"),
    "front": ("front", "anterior"),
    "rear": ("rear", "back", "posterior"),
}
PLACE_WORDS = {
    "asis": ("asis",),
    "psis": ("psis",),
    "sacrum": ("sacrum", "sacral"),
    "spine": ("spine",),
    "crest": ("crest", "iliac"),
    "trochanter": ("trochanter", "troch", "gtr"),
    "knee": ("knee", "epicondyle", "condyle"),
    "tuberosity": ("tuberosity", "tt"),
    "fibula": ("fibula", "hf"),
    "ankle": ("ankle", "malleolus"),
    "heel": ("heel", "calcaneus"),
    "metatarsal": ("metatarsal", "mt"),
    "toe": ("toe", "hallux"),
    "acromion": ("acromion", "shoulder"),
    "elbow": ("elbow",),
    "wrist": ("wrist",),
    "suprasternale": ("suprasternale", "jugular", "ij"),
    "xiphoid": ("xiphoid", "px"),
    "head": ("head",),
    "thigh": ("thigh",),
    "shank": ("shank",),
    "foot": ("foot",),
}
"""Anatomical places in the order of precedence: a label that names several is at the first."""
PLACE_OF_WORD = {word: place for place, all_words in PLACE_WORDS.items() for word in all_words}
ASPECT_OF_WORD = {word: aspect for aspect, all_words in ASPECTS.items() for word in all_words}
PLAIN = {
    "asis": "asis",
    "psis": "psis",
    "sacrum": "sacrum",
    "crest": "iliac_crest",
    "trochanter": "trochanter",
    "tuberosity": "tibia_tuberosity",
    "fibula": "fibula_head",
    "toe": "toe",
    "acromion": "acromion",
    "elbow": "elbow",
    "wrist": "wrist",
    "suprasternale": "suprasternale",
    "xiphoid": "xiphoid",
}
"""Places that are a landmark whatever else the label says."""
ASPECTED = {
    ("spine", "front"): "asis",
    ("spine", "rear"): "psis",
    ("knee", "lateral"): "femur_epicondyle_lateral",
    ("knee", "medial"): "femur_epicondyle_medial",
    ("knee", ""): "femur_epicondyle_lateral",
    ("ankle", "lateral"): "malleolus_lateral",
    ("ankle", "medial"): "malleolus_medial",
    ("ankle", ""): "malleolus_lateral",
    ("heel", ""): "calcaneus",
    ("heel", "lower"): "calcaneus",
    ("heel", "rear"): "calcaneus",
    ("heel", "lateral"): "calcaneus_lateral",
    ("heel", "upper"): "calcaneus_upper",
    ("head", "upper"): "head_top",
    ("head", "front"): "head_front",
    ("head", "rear"): "head_rear",
    ("foot", "medial"): "metatarsal1",
    ("foot", "lateral"): "metatarsal5",
}
ABBREVIATIONS = {
    "ASIS": ("asis", ""), "PSIS": ("psis", ""), "GT": ("trochanter", ""), "LE": ("knee", "lateral"),
    "ME": ("knee", "medial"), "HF": ("fibula", ""), "TT": ("tuberosity", ""), "LM": ("ankle", "lateral"),
    "MM": ("ankle", "medial"), "CA": ("heel", ""), "FM": ("foot", "medial"), "VM": ("foot", "lateral"),
    "AC": ("acromion", ""),
}  # fmt: skip
"""Landmark abbreviations of the anatomical literature, for a label that is one of them and a side, to place and aspect.

Cappozzo A et al (1995) Clin Biomech 10:171-178 (GT greater trochanter, LE and ME epicondyles, HF head of the fibula, TT
tibial tuberosity, LM and MM malleoli, CA calcaneus, FM and VM heads of the first and fifth metatarsal); Wu G et al
(2002) J Biomech 35:543-548 (ASIS, PSIS, LM, MM, TT); Wu G et al (2005) J Biomech 38:981-992 (AC acromioclavicular
joint). All from memory.
"""
_ABBREVIATED = re.compile(
    rf"(?:([RL])[ _.-]?({'|'.join(ABBREVIATIONS)})|({'|'.join(ABBREVIATIONS)})[ _.-]?([RL]))", re.IGNORECASE
)
VERTEBRAE: dict[tuple[str, ...], str] = {("c", "7"): "c7", ("t", "8"): "t8", ("t", "10"): "t10"}
METATARSALS = {"1": "metatarsal1", "2": "metatarsal2", "5": "metatarsal5"}

_KEY = re.compile(r"^(\s*(?:#\s*)?)([a-z0-9_]+)(?=\s*=)", re.MULTILINE)
_WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[0-9]+")


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
    """Read labels.toml; LabelError names an unknown landmark or segment, the closest known one, and all known ones."""
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
            hint = f"{_closest(name, known)}; the known ones are {known_names(known)}"
            raise LabelError(f"labels: unknown {what} {name!r} in {where}{hint}")


def _closest(name: str, known: Iterable[str], least: float = 0.5) -> str:
    """The closest known names as a hint for a message, empty when none is alike by at least so much."""
    known = list(known)
    lower = {text.lower(): text for text in known}
    near = difflib.get_close_matches(name.lower(), lower, n=3, cutoff=least)
    return f", closest is {' or '.join(lower[text] for text in near)}" if near else ""


MISTYPED = 0.75
"""Likeness from which on a label that is missing was rather mistyped than left out (choice)."""


def with_closest(missing: Iterable[str], recording: Recording, label_map: LabelMap) -> list[str]:
    """Labels that a recording lacks, each with the closest one that it has and that nothing else names."""
    free = [label for label in recording.labels if label not in label_map.labels]
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
        told = "; ".join(f"{what}: marker {label!r} is not in {where}{near}" for what, label, near in absent)
        unlike = "" if all(near for *_, near in absent) else f"; its labels are {known_names(known)}"
        raise LabelError(f"{told}{unlike}; correct labels.toml")
    missing = [name for name in needed if name not in label_map.landmarks]
    if missing:
        found = known_names(label_map.landmarks)
        raise LabelError(expected_found("labels", ", ".join(missing), found, "[landmarks]", "add their markers"))


@lru_cache(maxsize=4096)
def words(label: str) -> tuple[str, ...]:
    """The words of a label in lower case, split at separators, capitals and digits.

    A side letter is cut off a known word: RASIS is r, asis.
    """
    found: list[str] = []
    for word in _WORD.findall(label):
        word = word.lower()
        if word not in PLACE_OF_WORD and word[:1] in "rl" and word[1:] in PLACE_OF_WORD:
            found += [word[0], word[1:]]
        else:
            found.append(word)
    return tuple(found)


@lru_cache(maxsize=4096)
def place_of(label: str) -> str:
    """The anatomical place a label names ('knee', 'heel', 'asis', ...), '' when it names none or a computed point."""
    found = words(label)
    if COMPUTED_WORDS.intersection(found):
        return ""
    places = {PLACE_OF_WORD[word] for word in found if word in PLACE_OF_WORD}
    if "head" in places and "fibula" in places:
        return "fibula"
    return next((place for place in PLACE_WORDS if place in places), "")


@lru_cache(maxsize=4096)
def side_of(label: str) -> str:
    """'right' or 'left' where a label says so, else ''."""
    return next((SIDE_WORDS[word] for word in words(label) if word in SIDE_WORDS), "")


def is_anatomical(text: str) -> bool:
    """Whether a text says a side or a place of the body, so that it is a label's own word and nobody's name."""
    return bool(place_of(text)) or not SIDE_WORDS.keys().isdisjoint(words(text))


@dataclass(frozen=True)
class _Guess:
    """What the words of one label say: the landmark, the segment of a tracking marker, and how sure that is."""

    label: str
    place: str
    side: str
    aspect: str
    landmark: str
    sure: bool
    described: bool = False
    """The label itself says nothing: its description was read."""


def _understood(label: str, description: str) -> _Guess:
    """What a label says, or its description where the label's own words name no place of the body."""
    guess = _guess(label)
    if guess.place or guess.landmark or COMPUTED_WORDS.intersection(words(label)):
        return guess
    told = _guess(description)
    return replace(told, label=label, described=True) if told.place or told.landmark else guess


def _abbreviated(label: str) -> _Guess | None:
    """What a label says that is a side and an abbreviation of the literature and nothing else, None for any other."""
    found = _ABBREVIATED.fullmatch(label.strip())
    if found is None:
        return None
    place, aspect = ABBREVIATIONS[(found[2] or found[3]).upper()]
    side = SIDE_WORDS[(found[1] or found[4]).lower()]
    base = PLAIN.get(place) or ASPECTED[place, aspect]
    return _Guess(label, place, side, aspect, f"{side}_{base}", True)


def _guess(label: str) -> _Guess:
    abbreviated = _abbreviated(label)
    if abbreviated is not None:
        return abbreviated
    found = words(label)
    place = place_of(label)
    side = side_of(label)
    aspect = next((ASPECT_OF_WORD[word] for word in found if word in ASPECT_OF_WORD), "")
    base = PLAIN.get(place) or ASPECTED.get((place, aspect), "")
    if place == "metatarsal":
        base = next((METATARSALS[word] for word in found if word in METATARSALS), "")
    if not place:
        base = VERTEBRAE.get(found[-2:], "")
    sure = place != "foot" and (base in UNSIDED or bool(side))
    landmark = base if base in UNSIDED else f"{side or SIDES[0]}_{base}" if base else ""
    return _Guess(label, place, side, aspect, landmark, sure)


def propose_labels(recording: Recording) -> str:
    """The text of a labels.toml proposed from the words in the labels, and in their descriptions where a label says
    nothing; uncertain lines are commented out. LabelError with all labels where nothing is recognised."""
    descriptions = [*recording.descriptions, *[""] * len(recording.labels)]
    guesses = [_understood(label, text) for label, text in zip(recording.labels, descriptions, strict=False)]
    described = {guess.label for guess in guesses if guess.described}
    chosen, doubtful = _choose_landmarks(guesses)
    if not chosen and not doubtful:
        expected = "a word of anatomy in some label or description, such as R_heel"
        found = f"none in {known_names(recording.labels) or 'no labels'}"
        advice = 'write labels.toml by hand: [landmarks] with lines such as right_calcaneus = "LABEL"'
        raise LabelError(expected_found("labels", expected, found, recording.name, advice))
    clusters = _choose_clusters(guesses, chosen)
    lines = [f"# Proposed from the words in the labels of {_comment(recording.name)}. Check every line.", "[landmarks]"]
    for name in (name for name in LANDMARKS if name in chosen):
        lines.append(f"{name} = {_quoted(chosen[name])}" + "  # by its description" * (chosen[name] in described))
    lines += [f"# {name} = {_quoted(label)}  # uncertain" for name, label in doubtful]
    if clusters:
        lines += ["", "[clusters]"]
        lines += [f"{name} = [{', '.join(map(_quoted, clusters[name]))}]" for name in SEGMENTS if name in clusters]
    named = {label for _, label in doubtful}.union(chosen.values(), *clusters.values())
    unused = [label for label in recording.labels if label not in named]
    if unused:
        lines += ["", "# without a word of anatomy known here: " + ", ".join(map(_comment, unused))]
    return "\n".join(lines) + "\n"


def proposed_labels(recording: Recording) -> LabelMap:
    """The labels that `propose_labels` is sure of."""
    import tomllib

    return labels_from(tomllib.loads(propose_labels(recording)), recording.name)


def _choose_landmarks(guesses: list[_Guess]) -> tuple[dict[str, str], list[tuple[str, str]]]:
    """Landmark to label where the words are clear, and the (landmark, label) pairs that are not."""
    has_medial = {(guess.place, guess.side) for guess in guesses if guess.aspect == "medial"}
    chosen: dict[str, str] = {}
    doubtful: list[tuple[str, str]] = []
    for guess in sorted((guess for guess in guesses if guess.landmark), key=_preference):
        bare = guess.place in ("knee", "ankle") and not guess.aspect
        sure = guess.sure and not (bare and (guess.place, guess.side) not in has_medial)
        if sure and guess.landmark not in chosen:
            chosen[guess.landmark] = guess.label
        else:
            doubtful.append((guess.landmark, guess.label))
    return chosen, doubtful


def _preference(guess: _Guess) -> tuple[bool, int]:
    """Labels that start with a V are often computed points; of the others the one of fewest words is the plainest."""
    found = words(guess.label)
    return found[:1] == ("v",), len(found)


def _choose_clusters(guesses: list[_Guess], chosen: dict[str, str]) -> dict[str, tuple[str, ...]]:
    leftover: dict[str, list[str]] = defaultdict(list)
    for guess in guesses:
        if guess.place in CLUSTER_HELPERS and guess.side and guess.label not in chosen.values():
            leftover[f"{guess.side}_{guess.place}"].append(guess.label)
    clusters: dict[str, tuple[str, ...]] = {}
    for segment, helpers in CLUSTER_HELPERS.items():
        for side in SIDES:
            own = leftover[f"{side}_{segment}"]
            on_segment = [chosen[name] for helper in helpers if (name := f"{side}_{helper}") in chosen]
            reserve = [chosen[name] for helper in FOOT_RESERVE if (name := f"{side}_{helper}") in chosen]
            if segment == "foot":
                own = on_segment + own
                own = own if len(own) >= LEAST_CLUSTER else own + reserve
            elif len(own) < LEAST_CLUSTER:
                own = own + on_segment if own else []
            if len(own) >= LEAST_CLUSTER:
                clusters[f"{side}_{segment}"] = tuple(own)
    return clusters


def _quoted(text: str) -> str:
    """A TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04X}" for c in escaped) + '"'


def _comment(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)

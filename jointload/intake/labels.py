"""Marker labels and anatomy: labels.toml read and checked, and one proposed from the words in the labels."""

from __future__ import annotations

import re
from functools import lru_cache

SIDED = (
    "asis", "psis", "iliac_crest", "trochanter", "femur_epicondyle_lateral", "femur_epicondyle_medial",
    "tibia_tuberosity", "fibula_head", "malleolus_lateral", "malleolus_medial", "calcaneus", "calcaneus_lateral",
    "calcaneus_upper", "metatarsal1", "metatarsal2", "metatarsal5", "toe", "acromion", "elbow", "wrist",
)  # fmt: skip
UNSIDED = ("sacrum", "c7", "t8", "t10", "suprasternale", "xiphoid", "head_top", "head_front", "head_rear")
LANDMARKS = UNSIDED + tuple(f"{name}_{side}" for name in SIDED for side in ("r", "l"))

SIDE_WORDS = {"r": "r", "right": "r", "rt": "r", "l": "l", "left": "l", "lt": "l"}
COMPUTED_WORDS = {"jc", "joint", "mid", "origin", "offset", "centre", "center", "virtual"}
"""A label with one of these words is a computed point, no marker on the skin."""

ASPECTS = {
    "lateral": "lateral", "lat": "lateral", "medial": "medial", "med": "medial", "top": "upper", "upper": "upper",
    "bottom": "lower", "lower": "lower", "front": "front", "rear": "rear", "back": "rear",
}  # fmt: skip

PLACES = {
    "asis": "asis", "psis": "psis", "sacrum": "sacrum", "sacral": "sacrum", "trochanter": "trochanter", "troch": "trochanter",
    "gtr": "trochanter", "knee": "knee", "epicondyle": "knee", "condyle": "knee", "ankle": "ankle", "malleolus": "ankle",
    "heel": "heel", "calcaneus": "heel", "toe": "toe", "hallux": "toe", "shoulder": "acromion", "acromion": "acromion",
    "elbow": "elbow", "wrist": "wrist", "head": "head", "suprasternale": "suprasternale", "jugular": "suprasternale",
    "ij": "suprasternale", "xiphoid": "xiphoid", "px": "xiphoid", "tt": "tuberosity", "tuberosity": "tuberosity",
    "fibula": "fibula", "hf": "fibula", "crest": "crest", "iliac": "crest", "mt": "metatarsal", "metatarsal": "metatarsal",
    "thigh": "thigh", "shank": "shank", "foot": "foot", "pelvis": "pelvis",
}  # fmt: skip

_WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[0-9]+")


@lru_cache(maxsize=4096)
def words(label: str) -> tuple[str, ...]:
    """The words of a label in lower case: split at separators, capitals and digits, a side letter cut off a known word."""
    found: list[str] = []
    for word in _WORD.findall(label):
        word = word.lower()
        if word not in PLACES and word[:1] in "rl" and word[1:] in PLACES:
            found += [word[0], word[1:]]
        else:
            found.append(word)
    return tuple(found)


def place_of(label: str) -> str:
    """The anatomical place a label names ('knee', 'heel', 'asis', ...), '' when it names none or a computed point."""
    found = words(label)
    if COMPUTED_WORDS.intersection(found):
        return ""
    return next((PLACES[word] for word in found if word in PLACES), "")

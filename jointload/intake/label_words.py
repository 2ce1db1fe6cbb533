"""What the words of a marker label say: a place of the body, its side, the landmark that is meant.

The words are those of anatomy; a laboratory's own abbreviations are for its own labels.toml.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from jointload.intake.labels import UNSIDED
from jointload.intake.recording import SIDES

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

_WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[0-9]+")


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
class Guess:
    """What the words of one label say: the landmark, the segment of a tracking marker, and how sure that is."""

    label: str
    place: str
    side: str
    aspect: str
    landmark: str
    sure: bool
    described: bool = False
    """The label itself says nothing: its description was read."""


def understood(label: str, description: str) -> Guess:
    """What a label says, or its description where the label's own words name no place of the body."""
    guess = _guess(label)
    if guess.place or guess.landmark or COMPUTED_WORDS.intersection(words(label)):
        return guess
    told = _guess(description)
    return replace(told, label=label, described=True) if told.place or told.landmark else guess


def _abbreviated(label: str) -> Guess | None:
    """What a label says that is a side and an abbreviation of the literature and nothing else, None for any other."""
    found = _ABBREVIATED.fullmatch(label.strip())
    if found is None:
        return None
    place, aspect = ABBREVIATIONS[(found[2] or found[3]).upper()]
    side = SIDE_WORDS[(found[1] or found[4]).lower()]
    base = PLAIN.get(place) or ASPECTED[place, aspect]
    return Guess(label, place, side, aspect, f"{side}_{base}", True)


def _guess(label: str) -> Guess:
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
    return Guess(label, place, side, aspect, landmark, sure)

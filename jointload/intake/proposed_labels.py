"""A labels.toml proposed from the words in a recording's labels."""

from __future__ import annotations

from collections import defaultdict

from jointload.errors import LabelError, expected_found, known_names
from jointload.intake.label_words import Guess, understood, words
from jointload.intake.labels import (
    CLUSTER_HELPERS,
    LANDMARKS,
    LEAST_CLUSTER,
    SEGMENTS,
    LabelMap,
    labels_from,
)
from jointload.intake.recording import SIDES, Recording

FOOT_RESERVE = ("malleolus_lateral", "malleolus_medial")
"""Ankle landmarks, taken into the foot's cluster only when it is short of markers."""


def propose_labels(recording: Recording) -> str:
    """The text of a labels.toml proposed from the words in the labels, and in their descriptions where a label says
    nothing; uncertain lines are commented out. LabelError with all labels where nothing is recognised."""
    descriptions = [*recording.descriptions, *[""] * len(recording.labels)]
    guesses = [understood(label, text) for label, text in zip(recording.labels, descriptions, strict=False)]
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


def _choose_landmarks(guesses: list[Guess]) -> tuple[dict[str, str], list[tuple[str, str]]]:
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


def _preference(guess: Guess) -> tuple[bool, int]:
    """Labels that start with a V are often computed points; of the others the one of fewest words is the plainest."""
    found = words(guess.label)
    return found[:1] == ("v",), len(found)


def _choose_clusters(guesses: list[Guess], chosen: dict[str, str]) -> dict[str, tuple[str, ...]]:
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

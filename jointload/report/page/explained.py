"""One quantity in words: definition, sign, frame, unit, source, and where other people's numbers lay."""

from __future__ import annotations

import difflib

from jointload.errors import SettingError, expected_found
from jointload.modeldata import load_model
from jointload.report.page.page import SECTIONS
from jointload.report.words.quantities import DIVISOR_WORDS, Quantity, glossary
from jointload.sources import cited, every_source, in_words

MOST_SUGGESTED = 5
WORTH_SUGGESTING = 0.5
"""Likeness of a name, 0 to 1, from which it is suggested (choice)."""
PREDICTIONS = "Of predictions alone"


def grouped_names() -> dict[str, list[str]]:
    """Heading of the report -> names of the quantities that stand under it; every name of the glossary once."""
    known = glossary()
    groups = {section.heading: [name for name in section.quantities if name in known] for section in SECTIONS}
    placed = {name for names in groups.values() for name in names}
    groups[PREDICTIONS] = [name for name in known if name not in placed]
    return {heading: names for heading, names in groups.items() if names}


def explanation(name: str) -> str:
    """The quantity's lines; SettingError names the nearest ones when it is not known."""
    asked, known = name.strip().lower().replace(" ", "_").replace("-", "_").replace("/", ""), glossary()
    if asked not in known:
        near = _nearest(asked)
        expected = "one of " + ", ".join(near) if near else "a name of the glossary"
        advice = "`jointload explain` lists all names"
        raise SettingError(expected_found("quantity", expected, repr(name), "models/glossary", advice))
    return "\n".join([asked, *(f"    {key}: {text}" for key, text in _lines(known[asked]))])


def _nearest(asked: str) -> list[str]:
    """Names that hold every word asked for, then names spelt alike."""
    known, words = glossary(), asked.split("_")
    holding = [name for name in known if all(word in name for word in words)]
    alike = difflib.get_close_matches(asked, known, MOST_SUGGESTED, WORTH_SUGGESTING)
    return list(dict.fromkeys([*holding, *alike]))[:MOST_SUGGESTED]


def _lines(what: Quantity) -> list[tuple[str, str]]:
    unit = "a word, no number" if what.unit == "word" else what.full_unit
    if what.normaliser != "none":
        unit += f", divided by {DIVISOR_WORDS[what.normaliser]}"
    lines = [("definition", what.definition), ("unit", unit), ("positive", what.positive), ("frame", what.frame)]
    lines = [(key, text) for key, text in lines if text != "none"]
    rows = _bands(what)
    keys = cited(what.source, *(row["source"] for row in rows))
    read = [("what was read", f"{every_source()[key].words}: {every_source()[key].what_was_read}") for key in keys]
    return [*lines, ("source", in_words(what.source)), *_published(rows), *read]


def _bands(what: Quantity) -> list[dict[str, str]]:
    return [row for row in load_model("sanity", "landings").content if row["quantity"] == what.name]


def _published(rows: list[dict[str, str]]) -> list[tuple[str, str]]:
    """A line a task: where published numbers lay, and how that was read."""
    if not rows:
        return [("typical range", "none on record")]
    return [
        (
            f"typical range, {row['task']}",
            f"{row['low']} to {row['high']} {row['unit']}: a reason to look twice, not a limit. {row['note']} "
            f"({in_words(row['source'])}; {row['read']})",
        )
        for row in rows
    ]

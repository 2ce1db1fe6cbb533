"""What the page may ask of the day, and in which words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from jointload.errors import InputError

if TYPE_CHECKING:
    from jointload.day.engine import Day

Words = Mapping[str, str]


def act(day: Day, words: Words) -> str:
    """Do what was asked; the line that says why it cannot be done, '' where it is.  words : 'act' and its own"""
    try:
        asked = ACTS[words["act"]]
        return asked(day, words) or ""
    except KeyError as missing:
        return f"the page asked for something unknown ({missing}); load it again"
    except InputError as problem:
        return str(problem)


def _answer(day: Day, words: Words) -> None:
    kind = words["kind"]
    condition = words.get("condition", "") if kind == "landing" else ""
    day.answer(words["file"], words["rider"], kind, condition, replaces=kind != "landing")


def _want(day: Day, words: Words) -> str:
    if not words["landings"].isdigit():
        return f"landings: expected a whole number, found {words['landings']!r}"
    day.want(words["rider"], words["condition"], int(words["landings"]))
    return ""


ACTS: Mapping[str, Callable[[Day, Words], str | None]] = {
    "answer": _answer,
    "leave_out": lambda day, words: day.leave_out(words["file"], words["reason"]),
    "want": _want,
    "fit": lambda day, words: day.fit(words["rider"], words["side"], words["target"]),
    "stop_fitting": lambda day, words: day.stop_fitting(),
    "finish": lambda day, words: day.finish(),
}
"""Name of an act -> how it is done."""

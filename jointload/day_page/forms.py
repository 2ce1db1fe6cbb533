"""Forms of the page: groups of buttons that are sent by the click that completes them, and small fields."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from html import escape
from urllib.parse import quote


@dataclass(frozen=True)
class Choice:
    """One button of a group.  note : said beside its words where the recording's kind is `note_for`"""

    value: str
    words: str
    note: str = ""
    note_for: str = ""


@dataclass(frozen=True)
class Group:
    """Buttons of which one is pressed.  proposed : pressed from the start;  only : asked for this kind alone;  other :
    what a word of one's own in their place is called, '' where there is none"""

    name: str
    legend: str
    choices: tuple[Choice, ...]
    proposed: str = ""
    only: str = ""
    other: str = ""


def asked(key: str, act: str, fixed: Mapping[str, str], groups: Iterable[Group], fields: str = "") -> str:
    """A form of groups; a click in the last one sends it, where each other has a pressed button.

    key : its own, the same as long as it asks the same;  fixed : words that go with the answer;  fields : before them
    """
    before = f'<div class="fields">{fields}</div>' if fields else ""
    return _form(key, act, fixed, before + "".join(_group(key, group) for group in groups))


def filled(key: str, act: str, fixed: Mapping[str, str], fields: str, button: str) -> str:
    """A form of fields; its button sends it."""
    send = f'<button type="submit" id="{_id(key, "send")}">{escape(button)}</button>'
    return _form(key, act, fixed, f'<div class="fields">{fields}{send}</div>')


def field(key: str, name: str, label: str, kind: str = "text", value: str = "") -> str:
    own, more = _id(key, name), ' min="0" max="99"' if kind == "number" else ' maxlength="200"'
    return (
        f'<label for="{own}">{escape(label)} '
        f'<input id="{own}" name="{escape(name)}" type="{kind}" value="{escape(value)}"{more} required></label>'
    )


def select(key: str, name: str, label: str, values: Iterable[str]) -> str:
    own = _id(key, name)
    options = "".join(f'<option value="{escape(v)}">{escape(v.replace("_", " "))}</option>' for v in values)
    return f'<label for="{own}">{escape(label)} <select id="{own}" name="{escape(name)}">{options}</select></label>'


def _form(key: str, act: str, fixed: Mapping[str, str], inner: str) -> str:
    words = "".join(f'<input type="hidden" name="{escape(n)}" value="{escape(word)}">' for n, word in fixed.items())
    return (
        f'<form data-key="{escape(key)}" data-act="{escape(act)}">{words}{inner}'
        '<p role="status" class="told"></p></form>'
    )


def _group(key: str, group: Group) -> str:
    only = f' data-only="{group.only}"' if group.only else ""
    buttons = "".join(_button(key, group, choice) for choice in group.choices)
    own = ""
    if group.other:
        typed, send = _id(key, group.name, "other"), _id(key, group.name, "send")
        own = (
            f'<label for="{typed}">{escape(group.other)} <input id="{typed}" name="other" maxlength="80"></label>'
            f'<button type="submit" id="{send}">Write</button>'
        )
    name = escape(group.name)
    return f'<fieldset{only} data-name="{name}"><legend>{escape(group.legend)}</legend>{buttons}{own}</fieldset>'


def _button(key: str, group: Group, choice: Choice) -> str:
    proposed = choice.value == group.proposed
    note = f' <small data-only="{choice.note_for}">{escape(choice.note)}</small>' if choice.note else ""
    return (
        f'<button type="button" id="{_id(key, group.name, choice.value)}" name="{escape(group.name)}" '
        f'value="{escape(choice.value)}" aria-pressed="{str(proposed).lower()}"{" data-proposed" * proposed}>'
        f"{escape(choice.words)}{note}</button>"
    )


def _id(*words: str) -> str:
    return "-".join(quote(word, safe="") for word in words)

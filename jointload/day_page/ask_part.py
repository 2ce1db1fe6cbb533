"""Whose recording is it? Asked with two clicks, rider and condition; the same form corrects an answer."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from jointload.day_page.forms import Choice, Group, asked, field, filled
from jointload.day_page.marks import State, kind_words, paragraph

REASONS = ("the rider fell or stepped aside", "a foot missed its plate", "a marker came off", "a test, no landing")
"""For leaving a recording out (choice)."""


def ask_part(state: State) -> str:
    """The oldest open question, and how many there are."""
    questions = state["questions"]
    if not questions:
        return ""
    first, others = questions[0], len(questions) - 1
    earlier = paragraph(f"It takes the place of {first['earlier']}." if first["earlier"] else "")
    more = f" <small>and {others} more after it</small>" if others else ""
    return (
        f'<section class="ask" aria-labelledby="ask-title"><h2 id="ask-title">Whose is {escape(first["file"])}, '
        f"{escape(first['at'])}?{more}</h2>{earlier}{answer_form('ask', state, first, not first['kind_sure'])}"
        f"{leave_out_form('ask', first['file'])}</section>"
    )


def answer_form(where: str, state: State, asked_of: State, ask_kind: bool) -> str:
    """Buttons for the rider and the condition, for the kind where it is in doubt.

    where : the place on the page;  asked_of : a question, or a trial whose answer is corrected
    """
    kind = asked_of["kind"]
    groups = [_kinds(state["kinds"], kind)] if ask_kind else []
    groups += [_riders(state["riders"], asked_of["rider"])]
    if ask_kind or kind == "landing":
        groups += [_conditions(state["conditions"], asked_of["condition"])]
    fixed = {"file": asked_of["file"]} | ({} if ask_kind else {"kind": kind})
    return asked(f"{where}-{asked_of['file']}", "answer", fixed, groups)


def leave_out_form(where: str, file: str) -> str:
    key = f"{where}-out-{file}"
    why = Group("reason", "It is left out, because", tuple(Choice(reason, reason) for reason in REASONS))
    return (
        f'<details id="{escape(key)}"><summary>Leave it out of the study</summary>'
        f"{asked(f'{key}-why', 'leave_out', {'file': file}, [why])}"
        f"{filled(f'{key}-own', 'leave_out', {'file': file}, field(key, 'reason', 'Another reason'), 'Leave out')}"
        "<p><small>The recording itself stays where it is.</small></p></details>"
    )


def _kinds(kinds: Sequence[str], proposed: str) -> Group:
    return Group("kind", "What is it?", tuple(Choice(kind, kind_words(kind)) for kind in kinds), proposed)


def _riders(riders: Sequence[State], proposed: str) -> Group:
    choices = (
        Choice(each["id"], each["id"], f"in place of {each['static']}" if each["static"] else "", "static")
        for each in riders
    )
    return Group("rider", "Rider", tuple(choices), proposed)


def _conditions(conditions: Sequence[str], proposed: str) -> Group:
    return Group(
        "condition", "Condition", tuple(Choice(each, each) for each in conditions), proposed, "landing", "or a new one"
    )

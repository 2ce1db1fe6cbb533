"""The words and shapes of the page's verdicts, and its smallest pieces of HTML."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any
from urllib.parse import quote

State = Mapping[str, Any]
"""The day, or a piece of it, as its engine tells it: plain data."""
VERDICTS = {"fine": ("pass", "✓", "Fine"), "usable": ("warn", "▲", "Usable"), "again": ("refuse", "■", "Record again")}
"""Word -> severity, shape and what is shown: never colour alone."""
ON_THEIR_WAY = {
    "checking": "Being checked",
    "asked": "Whose is it?",
    "waits": "Waits for its standing trial",
    "left_out": "Left out",
}
"""What a trial without a verdict is doing."""
UNKNOWN = ("soft", "…", "Being checked")
MOST_DOTS = 12
"""More are told in figures alone."""


def verdict_of(trial: State) -> tuple[str, str, str]:
    """Severity, shape and words of a trial; what it waits for where it has no verdict."""
    if trial["status"] == "left_out":
        return "soft", "–", ON_THEIR_WAY["left_out"]
    if trial["word"] in VERDICTS:
        return VERDICTS[trial["word"]]
    return "soft", "…", ON_THEIR_WAY.get(trial["status"], UNKNOWN[2])


def badge(trial: State) -> str:
    severity, shape, words = verdict_of(trial)
    return f'<span class="mark {severity}"><span aria-hidden="true">{shape}</span> {words}</span>'


def whose(trial: State) -> str:
    """Such as 'rider_a, flat, 14:31:07'."""
    kind = "" if trial["kind"] == "landing" else kind_words(trial["kind"])
    return escape(", ".join(filter(None, (trial["rider"], kind or trial["condition"], trial["at"]))))


def kind_words(kind: str) -> str:
    return {"static": "standing trial", "hip_movement": "hip movement"}.get(kind, kind.replace("_", " "))


def dots(have: int, need: int) -> str:
    """What is there of what is needed, beside its figures."""
    if not 0 < need <= MOST_DOTS:
        return ""
    filled = min(have, need)
    return f'<span class="dots" aria-hidden="true">{"●" * filled}{"○" * (need - filled)}</span>'


def files(found: Iterable[State]) -> str:
    """Links to results; each opens beside the page."""
    links = "".join(
        f'<li><a href="/results/{quote(each["key"])}" target="_blank" rel="noopener">{escape(each["text"])}</a></li>'
        for each in found
    )
    return f'<ul class="files">{links}</ul>' if links else ""


def alert(text: str, severity: str = "warn") -> str:
    shape = {"warn": "▲", "refuse": "■", "pass": "✓"}[severity]
    return f'<p class="alert {severity}"><span aria-hidden="true">{shape}</span> {escape(text)}</p>' if text else ""


def paragraph(text: str, kind: str = "") -> str:
    return f"<p{f' class={kind!r}' if kind else ''}>{escape(text)}</p>" if text else ""


def listed(texts: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f"<ul>{items}</ul>" if items else ""

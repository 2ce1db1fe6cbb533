"""Small pieces of HTML. Every text that comes from a file or a person goes through `escape`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from html import escape
from importlib import resources

from jointload.report.words.colours import colours_css
from jointload.report.words.references import numbered

MARKS = {"refuse": "■ refuse", "warn": "▲ look", "pass": "✓ fine"}
"""Shape and word carry the severity, not colour alone."""
NOTHING_FROM_ELSEWHERE = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
"""A browser that reads this loads nothing for the page from anywhere."""

FROM_MEMORY = re.compile(r"\s*\(from memory\)|[,;]?\s*\bfrom memory\b", re.IGNORECASE)
MEMORY_MARK = "†"


def document(title: str, body: str, used: Iterable[str] | None = None) -> str:
    """A whole page that needs nothing from anywhere else; what is published is cited by number with a list at the end,
    what is told from memory bears a mark with one footnote.  used : the keys to list, as in `numbered`
    """
    body = FROM_MEMORY.sub(MEMORY_MARK, numbered(body, used))
    if MEMORY_MARK in body:
        body += f"\n<p><small>{MEMORY_MARK} from memory: not read again in its source.</small></p>"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{NOTHING_FROM_ELSEWHERE}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{_style()}</style>\n</head>\n<body>\n"
        '<a class="skip" href="#content">Skip to the content</a>\n'
        f'<main id="content">\n{body}\n</main>\n</body>\n</html>\n'
    )


@lru_cache(maxsize=1)
def _style() -> str:
    return colours_css() + shipped_text("page", "page.css")


def shipped_text(room: str, name: str) -> str:
    """A file that ships in a folder of report/: style, script, or a piece of a page."""
    return (resources.files(f"jointload.report.{room}") / name).read_text(encoding="utf-8")


def section(key: str, heading: str, *parts: str) -> str:
    return (
        f'<section id="{key}">\n<h2>{escape(heading)}</h2>\n'
        + "\n".join(part for part in parts if part)
        + "\n</section>"
    )


def answer(text: str) -> str:
    """What a section says first; nothing where nothing is known."""
    return f'<p class="lead">{escape(text)}</p>' if text else ""


def paragraph(text: str) -> str:
    return f"<p>{escape(text)}</p>"


def table(head: Sequence[str], rows: Iterable[Sequence[str]], numeric: Iterable[int] = ()) -> str:
    """head is text; the cells of rows are HTML already; numeric names the columns of numbers."""
    right = set(numeric)

    def cells(tag: str, row: Sequence[str]) -> str:
        scope = ' scope="col"' if tag == "th" else ""
        return "".join(
            f'<{tag}{scope} class="number">{c}</{tag}>' if k in right else f"<{tag}{scope}>{c}</{tag}>"
            for k, c in enumerate(row)
        )

    body = "\n".join(f"<tr>{cells('td', row)}</tr>" for row in rows)
    first = f"<thead><tr>{cells('th', [escape(text) for text in head])}</tr></thead>\n" if head else ""
    return sideways("table", f"<table>\n{first}<tbody>\n{body}\n</tbody></table>")


def sideways(what: str, content: str) -> str:
    """Something that may be wider than the screen: it scrolls by itself, by the keyboard too."""
    return f'<div class="scroll" tabindex="0" role="group" aria-label="{what}, scrolls sideways">{content}</div>'


def mark(severity: str) -> str:
    return f'<span class="mark {severity}">{MARKS[severity]}</span>'


def folded(summary: str, content: str) -> str:
    return f"<details><summary>{escape(summary)}</summary>\n{content}\n</details>"

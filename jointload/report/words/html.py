"""Small pieces of HTML. Every text that comes from a file or a person goes through `escape`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
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
MANY_COLUMNS = 7
"""A table with as many needs a wide screen for columns."""


def document(title: str, body: str, used: Iterable[str] | None = None, links: Mapping[str, str] | None = None) -> str:
    """A whole page that needs nothing from anywhere else; what is published is cited by number with a list at the end,
    what is told from memory bears a mark with one footnote.

    used : the keys to list, as in `numbered`;  links : id of a section -> its heading, for the contents in reach
    """
    body = FROM_MEMORY.sub(MEMORY_MARK, numbered(body, used))
    if MEMORY_MARK in body:
        body += f"\n<p><small>{MEMORY_MARK} from memory: not read again in its source.</small></p>"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{NOTHING_FROM_ELSEWHERE}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{_style()}</style>\n</head>\n<body>\n"
        f'<a class="skip" href="#content">Skip to the content</a>\n{_bar(title, links)}'
        f'<main id="content">\n{body}\n</main>\n<script>\n{shipped_text("page", "page.js")}</script>\n'
        "</body>\n</html>\n"
    )


def _bar(title: str, links: Mapping[str, str] | None) -> str:
    """A line that stays on the screen, with the contents behind a button; nothing without links."""
    if not links:
        return ""
    items = "".join(f'<li><a href="#{key}">{escape(heading)}</a></li>' for key, heading in links.items())
    return (
        f'<header class="bar"><a href="#content">{escape(title)}</a>'
        '<button type="button" popovertarget="contents">Contents</button></header>\n'
        f'<nav id="contents" popover aria-label="Sections"><ol><li><a href="#content">Answers</a></li>{items}'
        '<li><a href="#sources">Sources</a></li></ol></nav>\n'
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


def with_appendix(sections: Mapping[str, tuple[str, str]]) -> str:
    """Sections, id -> heading and content, of which the first belongs to the answers."""
    first, *others = (section(key, heading, content) for key, (heading, content) in sections.items())
    return "\n".join((first, APPENDIX, *others))


APPENDIX = '<p class="appendix">Appendix</p>'
"""On paper a new page begins here: before it the answers, on two pages, behind it the rest."""


def answer(text: str) -> str:
    """What a section says first; nothing where nothing is known."""
    return f'<p class="lead">{escape(text)}</p>' if text else ""


def paragraph(text: str) -> str:
    return f"<p>{escape(text)}</p>"


def table(head: Sequence[str], rows: Iterable[Sequence[str]], numeric: Iterable[int] = ()) -> str:
    """head is text; the cells of rows are HTML already; numeric names the columns of numbers. Every cell bears its
    heading, so that a narrow screen can show a row as lines instead of columns."""
    return grouped_table(head, [("", rows)], numeric)


def grouped_table(
    head: Sequence[str], groups: Iterable[tuple[str, Iterable[Sequence[str]]]], numeric: Iterable[int] = ()
) -> str:
    """The same with rows that belong together under a heading of their own; '' for none."""
    right, numbers = set(numeric), ' class="number"'
    names = [escape(text) for text in head]

    def cell(k: int, content: str) -> str:
        kind = numbers if k in right else ""
        told = f' data-head="{names[k]}"' if 0 < k < len(names) and names[k] and content else ""
        return f"<td{kind}{told}>{content}</td>"

    parts = []
    for title, rows in groups:
        heading = f'<tr class="group"><th colspan="{len(names)}" scope="rowgroup">{escape(title)}</th></tr>\n'
        lines = "\n".join(f"<tr>{''.join(cell(k, content) for k, content in enumerate(row))}</tr>" for row in rows)
        parts.append(f"<tbody>\n{heading if title else ''}{lines}\n</tbody>")
    cells = "".join(f'<th scope="col"{numbers if k in right else ""}>{name}</th>' for k, name in enumerate(names))
    first = f"<thead><tr>{cells}</tr></thead>\n" if names else ""
    many = " many" if len(names) >= MANY_COLUMNS else ""
    return f'<div class="rows{many}"><table>\n{first}{"".join(parts)}</table></div>'


def mark(severity: str) -> str:
    return f'<span class="mark {severity}">{MARKS[severity]}</span>'


def symbol(severity: str) -> str:
    """The shape of a severity alone, beside words that tell it."""
    return f'<span class="mark {severity}" aria-hidden="true">{MARKS[severity].partition(" ")[0]}</span>'


def folded(summary: str, content: str) -> str:
    return f"<details><summary>{escape(summary)}</summary>\n{content}\n</details>"


def numbers(summary: str, table: str) -> str:
    """A table that a wide screen shows at once and a narrow one folds away; nothing where there is no table."""
    return f'<details class="numbers"><summary>{escape(summary)}</summary>\n{table}\n</details>' if table else ""

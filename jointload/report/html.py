"""Small pieces of HTML. Every text that comes from a file or a person goes through `escape`."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from html import escape

STYLE = """
:root { --ink: #1d2526; --soft: #566365; --line: #cfd6d2; --paper: #fbfaf6; --panel: #f1efe7; --accent: #0b4f55; }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 16px/1.5 Charter, "Bitstream Charter", "Noto Serif", Georgia, serif; }
main { max-width: 62rem; margin: 0 auto; padding: 1.5rem 1.25rem 4rem; }
h1 { font-size: 1.9rem; line-height: 1.2; margin: .5rem 0 .25rem; }
h2 { font-size: 1.35rem; margin: 2.75rem 0 .5rem; padding-top: .75rem; border-top: 3px solid var(--accent); }
h3 { font-size: 1.05rem; margin: 1.5rem 0 .25rem; }
p { max-width: 46rem; margin: .5rem 0; }
a { color: var(--accent); }
small, .soft { color: var(--soft); font-size: .85rem; }
table, nav, .number, .mark { font-family: "Noto Sans", "DejaVu Sans", "Segoe UI", Roboto, sans-serif; }
.scroll { overflow-x: auto; margin: .75rem 0; }
table { border-collapse: collapse; width: 100%; font-size: .84rem; line-height: 1.35; }
th, td { text-align: left; vertical-align: top; padding: .32rem .6rem .32rem 0; border-bottom: 1px solid var(--line); }
thead th { border-bottom: 2px solid var(--ink); font-weight: 600; }
td.number, th.number { text-align: right; padding-right: 1.1rem; font-variant-numeric: tabular-nums; }
td.number { white-space: nowrap; }
td.number small { white-space: normal; display: block; max-width: 11rem; margin-left: auto; }
figure { margin: 1.25rem 0; }
figure img { width: 100%; height: auto; background: #fff; border: 1px solid var(--line); }
figcaption { font-size: .9rem; color: var(--soft); max-width: 46rem; }
.facts { display: grid; grid-template-columns: repeat(auto-fit, minmax(15rem, 1fr)); gap: .75rem; margin: 1rem 0; }
.facts div { background: var(--panel); padding: .7rem .9rem; border-left: 4px solid var(--accent); }
.facts dt { font-size: .85rem; color: var(--soft); }
.facts dd { margin: 0; font: 600 1.3rem/1.3 "Noto Sans", "DejaVu Sans", "Segoe UI", Roboto, sans-serif; }
.facts dd small { font-weight: 400; display: block; }
.verdict { border: 2px solid var(--ink); padding: .6rem .9rem; max-width: none; background: #fff; }
.mark { font-weight: 600; white-space: nowrap; }
.refuse { color: #7a1028; } .warn { color: #7a4a00; } .pass { color: #0b4f55; }
.outside { font-weight: 700; text-decoration: underline; text-decoration-thickness: 2px; text-underline-offset: 3px; }
nav { font-size: .85rem; margin: 1rem 0; line-height: 1.9; } nav a { margin-right: 1rem; }
td ul { margin: 0; padding-left: 1rem; }
.caution { background: var(--panel); border-left: 4px solid #7a1028; padding: .6rem 1rem; }
details { margin: .75rem 0; } summary { cursor: pointer; color: var(--accent); }
@media print {
  body { background: #fff; font-size: 10.5pt; } main { max-width: none; padding: 0; } nav { display: none; }
  h2 { break-after: avoid; } figure, tr, .facts { break-inside: avoid; } .scroll { overflow: visible; }
  details::details-content { content-visibility: visible; block-size: auto; }
}
"""

MARKS = {"refuse": "■ refuse", "warn": "▲ look", "pass": "✓ fine"}
"""Shape and word carry the severity, not colour alone."""


def document(title: str, body: str) -> str:
    """A whole page that needs nothing from anywhere else."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def section(key: str, heading: str, *parts: str) -> str:
    return (
        f'<section id="{key}">\n<h2>{escape(heading)}</h2>\n'
        + "\n".join(part for part in parts if part)
        + "\n</section>"
    )


def paragraph(text: str) -> str:
    return f"<p>{escape(text)}</p>"


def table(head: Sequence[str], rows: Iterable[Sequence[str]], numeric: Iterable[int] = ()) -> str:
    """head is text; the cells of rows are HTML already; numeric names the columns of numbers."""
    right = set(numeric)

    def cells(tag: str, row: Sequence[str]) -> str:
        return "".join(
            f'<{tag} class="number">{c}</{tag}>' if k in right else f"<{tag}>{c}</{tag}>" for k, c in enumerate(row)
        )

    body = "\n".join(f"<tr>{cells('td', row)}</tr>" for row in rows)
    first = f"<thead><tr>{cells('th', [escape(text) for text in head])}</tr></thead>\n" if head else ""
    return f'<div class="scroll"><table>\n{first}<tbody>\n{body}\n</tbody></table></div>'


def mark(severity: str) -> str:
    return f'<span class="mark {severity}">{MARKS[severity]}</span>'


def picture(svg: bytes, alt: str, caption: str) -> str:
    """A figure as an image inside the page."""
    data = base64.b64encode(svg).decode("ascii")
    return (
        f'<figure><img alt="{escape(alt)}" src="data:image/svg+xml;base64,{data}">'
        f"<figcaption>{escape(caption)}</figcaption></figure>"
    )


def facts(items: Iterable[tuple[str, str, str]]) -> str:
    """Large numbers: (name, number, small print)."""
    cells = "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(number)}<small>{escape(note)}</small></dd></div>"
        for name, number, note in items
    )
    return f'<dl class="facts">{cells}</dl>'


def folded(summary: str, content: str) -> str:
    return f"<details><summary>{escape(summary)}</summary>\n{content}\n</details>"

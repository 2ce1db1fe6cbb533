"""A sheet of panels on the page: legend, a picture a panel that flows with the width, and the table behind."""

from __future__ import annotations

from html import escape

from jointload.report.figures.sheet import Key, Sheet, panel_axes, panel_pictures
from jointload.report.words import html

LEAST = 4.6
"""A panel gets at least this many rem of screen for an inch of its width before there are fewer in a row."""
SWATCH = {"^": "M5 13 L13 13 L9 6 Z", "s": "M6 4 H14 V12 H6 Z", "o": "M6 8 A4 4 0 1 0 14 8 A4 4 0 1 0 6 8 Z"}
"""Outlines of marks in a box of 28 by 16."""
ARROW = "M9 15 V3 M5 7 L9 2 L13 7"


def sheet_figure(sheet: Sheet, caption: str, first_column: str = "ms") -> str:
    """The sheet as a figure of the page; first_column : what the rows of the table behind it are."""
    pictures = "".join(
        f'<div class="panel"{_place(sheet) if panel.timed else ""}>{html.image(svg, panel.told)}</div>'
        for panel, svg in zip(sheet.panels, panel_pictures(sheet), strict=True)
    )
    keys = "".join(f"<li>{_swatch(key)}{escape(key.label)}</li>" for key in sheet.keys)
    panels = f'<div class="panels" style="--columns: {sheet.columns}; --least: {LEAST * sheet.width:.1f}rem">'
    return (
        f'<figure><ul class="keys">{keys}</ul>{panels}{pictures}</div>'
        f"<figcaption>{escape(caption)}</figcaption>{_behind(sheet, first_column)}</figure>"
    )


def _place(sheet: Sheet) -> str:
    """Where the axes of a timed panel lie, for the time cursor: left, top, width, height in per cent."""
    return ' data-axes="' + " ".join(f"{100 * share:.2f}" for share in panel_axes(sheet)) + '"'


def _behind(sheet: Sheet, first_column: str) -> str:
    columns = {name: cells for panel in sheet.panels for name, cells in panel.behind.items()}
    if not columns or not sheet.rows:
        return ""
    rows = [[escape(cell) for cell in row] for row in zip(sheet.rows, *columns.values(), strict=True)]
    table = html.table((first_column, *columns), rows, range(1, len(columns) + 1))
    return html.folded("The numbers behind this figure", table)


def _swatch(key: Key) -> str:
    """The line and mark of a legend, drawn beside its words, which tell the same."""
    parts = []
    if key.width:
        dashes = f' stroke-dasharray="{" ".join(f"{1.3 * d:g}" for d in key.dashes)}"' if key.dashes else ""
        parts.append(f'<path d="M0 8 H28" stroke="{key.colour}" stroke-width="{1.3 * key.width:g}"{dashes}/>')
    if key.mark:
        fill = "#fff" if key.hollow else key.colour
        outline = SWATCH.get(key.mark, ARROW)
        parts.append(f'<path d="{outline}" stroke="{key.colour}" stroke-width="1.6" fill="{fill}"/>')
    return f'<svg width="28" height="16" viewBox="0 0 28 16" aria-hidden="true">{"".join(parts)}</svg>'

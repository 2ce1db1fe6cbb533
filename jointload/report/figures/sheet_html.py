"""A sheet of panels on the page: legend, panels that flow with the width, and the table behind."""

from __future__ import annotations

from html import escape

from jointload.report.figures.inline_svg import letters, plot, swatch
from jointload.report.figures.panel import Key, Panel, Sheet
from jointload.report.words import html

LETTER, LEAST_MARGIN = 6.9, 22.0
"""Width of a letter of a tick, and of the margin that holds half of the first tick below [px]."""


def sheet_figure(sheet: Sheet, caption: str, first_column: str = "ms") -> str:
    """The sheet as a figure of the page; first_column : what the rows of the table behind it are."""
    margin = max(LEAST_MARGIN, 10 + LETTER * letters(text for panel in sheet.panels for _, text in panel.y.ticks))
    panels = "".join(_panel(panel, sheet) for panel in sheet.panels)
    narrow = sheet.narrow or sheet.least
    style = f"--columns:{sheet.columns};--least:{sheet.least:g}px;--narrow:{narrow:g}px;--margin:{margin:.0f}px"
    kind = "panels stacked" if any(panel.height for panel in sheet.panels) else "panels"
    return (
        f'<figure>{legend(sheet.keys)}<div class="{kind}" style="{style}">{panels}</div>'
        f"<figcaption>{escape(caption)}</figcaption>{_behind(sheet, first_column)}</figure>"
    )


def legend(keys: tuple[Key, ...]) -> str:
    entries = "".join(f"<li>{swatch(key)}{escape(key.label)}</li>" for key in keys)
    return f'<ul class="keys">{entries}</ul>' if entries else ""


def _panel(panel: Panel, sheet: Sheet) -> str:
    """Its words are the page's own text, so that they wrap; the picture is told in one sentence."""
    wide, high = abs(panel.x.high - panel.x.low), abs(panel.y.high - panel.y.low)
    size = f"aspect-ratio:{wide / high:.4f}" if panel.equal else _height(panel, sheet)
    timed = " data-timed" if panel.timed else ""
    subtitle = f"<small>{_unbroken(escape(panel.subtitle))}</small>" if panel.subtitle else ""
    label = f'<p class="along">{escape(panel.x.label)}</p>' if panel.x.label else ""
    kind = "panel broad" if panel.broad else "panel"
    return (
        f'<div class="{kind}"><p class="told"><b>{escape(panel.title)}</b>{subtitle}</p>{legend(panel.keys)}'
        f'<div class="plot" role="img" aria-label="{escape(panel.told)}" style="{size}"{timed}>{plot(panel)}</div>'
        f"{label}</div>"
    )


def _height(panel: Panel, sheet: Sheet) -> str:
    """One's own height is that of rows and stays; the sheet's shrinks on a narrow screen."""
    return f"height:{panel.height:g}px" if panel.height else f"--height:{sheet.height:g}px"


def _unbroken(text: str) -> str:
    """A sign stays with the word before it."""
    return text.replace(" +", "&nbsp;+").replace(" −", "&nbsp;−")


def _behind(sheet: Sheet, first_column: str) -> str:
    columns = {name: cells for panel in sheet.panels for name, cells in panel.behind.items()}
    if not columns or not sheet.rows:
        return ""
    rows = [[escape(cell) for cell in row] for row in zip(sheet.rows, *columns.values(), strict=True)]
    table = html.table((first_column, *columns), rows, range(1, len(columns) + 1))
    return html.folded("The numbers behind this figure", table)

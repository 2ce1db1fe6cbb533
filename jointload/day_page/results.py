"""Results that the page may hand out: whole files inside the study's folder, of the kinds that it links to."""

from __future__ import annotations

from pathlib import Path

KINDS = {
    ".html": "text/html; charset=utf-8",
    ".svg": "image/svg+xml",
    ".pdf": "application/pdf",
    ".stl": "model/stl",
    ".csv": "text/csv; charset=utf-8",
    ".json": "application/json",
    ".toml": "text/plain; charset=utf-8",
    ".md": "text/plain; charset=utf-8",
}
SAVED = (".stl", ".csv", ".json", ".toml")
"""Kinds that a browser saves rather than shows."""
HARMLESS = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; "
    "frame-ancestors 'none'; sandbox allow-scripts"
)
"""A result's page runs as one of no site at all: it reaches neither the network nor the page of the day."""


def may_be_handed_out(path: Path, folder: Path) -> bool:
    """Whether a file lies in the folder itself, whatever leads there, and is a result of a known kind.

    No step upwards, nothing hidden, no link on the way from the folder to the file.
    """
    try:
        inside = path.absolute().relative_to(folder.absolute())
        real = path.resolve(strict=True).relative_to(folder.resolve(strict=True))
    except (OSError, RuntimeError, ValueError):
        return False
    hidden = any(part.startswith(".") for part in inside.parts)
    return inside == real and not hidden and path.suffix.lower() in KINDS and path.is_file()

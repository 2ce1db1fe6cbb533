"""Blanks the contact of the writing library's maker in a C3D file that was just written."""

from __future__ import annotations

from pathlib import Path

from jointload.intake.c3d_bytes.guard import read_structure

CONTACT = "CONTACT"


def blank_contact(path: str | Path) -> None:
    """Overwrite every parameter named CONTACT with spaces, in place; nothing else of the file changes."""
    places = [record.values for record in read_structure(path).records if record.name == CONTACT]
    with Path(path).open("r+b") as file:
        for start, stop in places:
            file.seek(start)
            file.write(b" " * (stop - start))

"""Every name that a written folder holds: files, headers and names in its tables, labels of its recordings."""

from __future__ import annotations

import csv
from pathlib import Path

from jointload.intake.c3d import read_recording

NAMES_STAND_IN = ("quantity", "name", "side", "series", "foot", "sides")


def written_names(folder: Path) -> set[str]:
    names = set()
    for path in folder.rglob("*"):
        names.add(path.stem)
        if path.suffix == ".csv":
            with path.open(encoding="utf-8", newline="") as file:
                head, *rows = csv.reader(line for line in file if not line.startswith("#"))
            names |= set(head)
            columns = [k for k, cell in enumerate(head) if cell in NAMES_STAND_IN]
            names |= {row[k] for row in rows for k in columns if k < len(row)}
        elif path.suffix == ".c3d":
            recording = read_recording(path)
            names |= {*recording.labels, *(event.label for event in recording.events)}
    return names


def ends_in_a_side_letter(folder: Path) -> list[str]:
    return sorted(name for name in written_names(folder) if name.endswith(("_r", "_l")) or name in ("r", "l"))

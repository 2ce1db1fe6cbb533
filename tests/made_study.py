"""Study folders made from the sample's recordings, and their tables as lists of rows."""

from __future__ import annotations

import csv
import hashlib
import os
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

from jointload.modeldata import shipped_folder


def write_csv(path: Path, rows: Sequence[Sequence[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)


def read_csv(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def change(path: Path, edit: Callable[[list[list[str]]], object]) -> None:
    """Edit a table in place; the first row is its head."""
    rows = read_csv(path)
    edit(rows)
    write_csv(path, rows)


def sample_study(folder: Path, times: int = 1) -> Path:
    """A copy of the sample study, each of its six landings `times` times under names of their own."""
    shutil.copytree(shipped_folder("sample_c3d"), folder)
    head, *rows = read_csv(folder / "trials.csv")
    more = [head]
    for file, *rest in rows:
        names = [file] if rest[1] == "static" or times == 1 else [f"{Path(file).stem}_{k}.c3d" for k in range(times)]
        for name in names:
            if name != file:
                os.link(folder / file, folder / name)
            more.append([name, *rest])
    write_csv(folder / "trials.csv", more)
    return folder


def every_byte(folder: Path) -> dict[str, str]:
    """SHA-256 of every file under a folder, by its path."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }

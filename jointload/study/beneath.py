"""What trials.csv says of things at the feet: board, shoe, and the tables of pressure insoles with their layout.

Insoles come in sizes, and boards and shoes are worn by turns, so each landing names its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path, PurePosixPath

from jointload.errors import InputError, expected_found
from jointload.intake.board import read_board
from jointload.intake.pressure import read_layout, read_pressure
from jointload.intake.recording import Side
from jointload.intake.shoe import read_shoe

TABLES: dict[str, Side] = {"pressure_left": "left", "pressure_right": "right"}
LAYOUT = "pressure_layout"
BENEATH_COLUMNS = ("board", *TABLES, LAYOUT, "shoe")


def beneath_of(row: Mapping[str, str], folder: Path, where: str, faults: list[str]) -> dict[str, str]:
    """Role -> path inside the study folder, of one row of trials.csv; what is wrong is added to `faults`."""
    given = {role: row[role].replace("\\", "/") for role in BENEATH_COLUMNS if row.get(role)}
    if given and row["kind"] != "landing":
        advice = "leave the cells empty: they belong to landings"
        found = ", ".join(given.values())
        faults.append(expected_found(", ".join(given), f"none for a {row['kind']}", found, where, advice))
    for role, file in given.items():
        if not is_inside(file):
            expected, advice = "a path inside the study folder", "move the file there"
            faults.append(expected_found(role, expected, repr(file), where, advice))
        elif not (folder / file).is_file():
            expected = f"{file} in the study folder"
            faults.append(expected_found(role, expected, "no such file", where, "add or correct it"))
    tables = [given[role] for role in TABLES if role in given]
    if bool(tables) != (LAYOUT in given):
        found = f"{' and '.join(tables)} without a layout" if tables else "a layout without tables"
        expected = "tables and the layout of their sensors"
        advice = f"fill {LAYOUT} together with {' or '.join(TABLES)}"
        faults.append(expected_found("pressure", expected, found, where, advice))
    if len(tables) > len(set(tables)):
        expected = "a table of each foot's own"
        faults.append(expected_found("pressure", expected, f"{tables[0]} twice", where, "correct one"))
    return given


def is_inside(file: str) -> bool:
    """Whether a path stays in the study folder."""
    path = PurePosixPath(file)
    return bool(file) and not path.is_absolute() and ".." not in path.parts


def check_beneath(folder: Path, beneath: Iterable[Mapping[str, str]], faults: list[str]) -> None:
    """Read each board, shoe and layout once; the tables are read with the recordings they belong to."""
    for role, file in sorted({named for given in beneath for named in given.items()}):
        read = {"board": read_board, LAYOUT: read_layout, "shoe": read_shoe}.get(role)
        if read is not None and (folder / file).is_file():
            try:
                read(folder / file)
            except InputError as problem:
                faults.append(str(problem))


def unreadable_tables(folder: Path, beneath: Iterable[Mapping[str, str]]) -> list[str]:
    """What is wrong with the pressure tables whose layout can be read."""
    faults = []
    named = {(given[role], role, given[LAYOUT]) for given in beneath for role in TABLES if {role, LAYOUT} <= set(given)}
    for file, role, layout in sorted(named):
        try:
            sensors = read_layout(folder / layout)
        except InputError:
            continue
        if (folder / file).is_file():
            try:
                read_pressure(folder / file, TABLES[role], sensors)
            except InputError as problem:
                faults.append(str(problem))
    return faults

"""A recording day in a process of its own, to be killed: every recording is answered by its file's name, and the day is
finished when all of them are there.  python day_driver.py FOLDER NUMBER_OF_RECORDINGS"""

from __future__ import annotations

import sys
from pathlib import Path

from jointload.day.engine import Day, DayOptions


def answered(day: Day, question: dict[str, str]) -> None:
    """rider_a_landing_wedge_7.c3d is rider_a's, landed on the wedge."""
    file = question["file"]
    standing = "static" in file
    condition = "" if standing else "wedge" if "wedge" in file else "flat"
    day.answer(file, "_".join(file.split("_")[:2]), "static" if standing else "landing", condition)


def main(folder: str, recordings: int) -> None:
    with Day(Path(folder), DayOptions(poll=True)) as day:
        revision = 0
        while True:
            revision = day.wait_for_change(revision, 1.0)
            state = day.state()
            for question in state["questions"]:
                answered(day, question)
            done = [row for row in state["trials"] if row["status"] == "done"]
            if state["end"]["stage"] == "open" and len(done) == recordings:
                day.finish()
            if state["end"]["stage"] in ("done", "failed"):
                print(state["end"])
                sys.exit(0 if state["end"]["stage"] == "done" else 1)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))

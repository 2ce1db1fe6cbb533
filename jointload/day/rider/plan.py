"""What the day still needs: usable landings by rider and condition, from plan.csv, a fitting, or the first trials."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from jointload.day.folder.tables import Want
from jointload.uncertainty.repeats import FEWEST_REPEATS

Record = dict[str, Any]
USABLE = ("fine", "usable")


@dataclass(frozen=True)
class Counted:
    """One landing as the plan counts it: its rider, condition and word, '' while its verdict is not known."""

    rider: str
    condition: str
    word: str


def planned(
    wants: Sequence[Want] | None,
    fitting: Sequence[Want],
    landings: Sequence[Counted],
    riders: Sequence[str],
    stopped: Mapping[str, str],
) -> Record:
    """The plan as the page shows it.

    wants : rows of plan.csv, None without one: then each rider is to land FEWEST_REPEATS times in each condition that
    was recorded; fitting : rows that a fitting adds;  stopped : rider -> limit of the laboratory that is reached
    """
    rows = _rows(wants, fitting, landings, riders)
    told = [_row(want, because, landings, stopped.get(want[0], "")) for want, because in rows]
    left = sum(row["left"] for row in told)
    every = sum(row["needed"] for row in told)
    ahead = _next(told, landings[-1].rider if landings else "")
    text = (
        f"{left} of {every} landings left." if left else "Every planned landing is there." if told else "No plan yet."
    )
    held = sorted({row["rider"] for row in told if row["stopped"]})
    if held:
        text += f" A limit of the laboratory has stopped the plan of {', '.join(held)}."
    return {
        "source": "first trials" if wants is None else "plan.csv",
        "rows": told,
        "next": ahead,
        "complete": bool(told) and not left,
        "text": text,
    }


def _rows(
    wants: Sequence[Want] | None, fitting: Sequence[Want], landings: Iterable[Counted], riders: Sequence[str]
) -> list[tuple[Want, str]]:
    """Each rider and condition once, with why it is wanted; the largest number counts."""
    first = [(want, "plan") for want in wants or ()]
    if wants is None:
        conditions = list(dict.fromkeys(landing.condition for landing in landings))
        fitted = {want[1] for want in fitting}
        first = [
            ((rider, condition, FEWEST_REPEATS), "first trials")
            for rider in riders
            for condition in conditions
            if condition not in fitted
        ]
    rows: dict[tuple[str, str], tuple[Want, str]] = {}
    for want, because in [*first, *((want, "fitting") for want in fitting)]:
        earlier = rows.get(want[:2])
        if earlier is None or earlier[0][2] < want[2]:
            rows[want[:2]] = want, because
    return list(rows.values())


def _row(want: Want, because: str, landings: Iterable[Counted], stopped: str) -> Record:
    rider, condition, needed = want
    words = Counter(one.word for one in landings if (one.rider, one.condition) == (rider, condition))
    usable = sum(words[word] for word in USABLE)
    left = max(0, needed - usable)
    return {
        "rider": rider, "condition": condition, "needed": needed, "usable": usable, "again": words["again"],
        "waiting": words[""], "left": 0 if stopped else left, "complete": not left,
        "stopped": stopped if left else "", "because": because,
    }  # fmt: skip


def _next(rows: Sequence[Record], rider: str) -> Record | None:
    """The first row that lacks something, of the rider who landed last before all others."""
    open_rows = [row for row in rows if row["left"]]
    row = next((row for row in open_rows if row["rider"] == rider), open_rows[0] if open_rows else None)
    if row is None:
        return None
    number = row["usable"] + 1
    text = f"{row['rider']}, {row['condition']}: landing {number} of {row['needed']}"
    return {"rider": row["rider"], "condition": row["condition"], "text": text}

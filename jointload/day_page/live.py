"""Keeps the hub what the day is: one thread waits for changes and draws the parts anew."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from jointload.day_page.document import parts_of
from jointload.day_page.hub import Hub
from jointload.day_page.marks import alert

if TYPE_CHECKING:
    from jointload.day.engine import Day

WAIT_SECONDS = 0.25
"""For a change, before it is looked whether the day is over (choice)."""
LEAST_SECONDS = 0.1
"""Between two drawings: many changes at once are drawn together (choice)."""


@contextmanager
def followed(day: Day, hub: Hub) -> Iterator[None]:
    """The hub has what the day says while the body runs."""
    over = threading.Event()
    thread = threading.Thread(target=_follow, args=(day, hub, over), name="drawing", daemon=True)
    hub.publish(_drawn(day))
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def _follow(day: Day, hub: Hub, over: threading.Event) -> None:
    seen = 0
    while not over.is_set():
        now = day.wait_for_change(seen, WAIT_SECONDS)
        if now > seen:
            hub.publish(_drawn(day))
            seen = now
            time.sleep(LEAST_SECONDS)


def _drawn(day: Day) -> dict[str, str]:
    """The parts; where they cannot be drawn that is said, lest an old page be taken for the newest."""
    try:
        return parts_of(day.state())
    except Exception as problem:
        words = f"This page could not be drawn anew ({type(problem).__name__}: {problem}); the recording goes on."
        return {"troubles": alert(words, "refuse")}

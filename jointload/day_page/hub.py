"""What every open browser is told: the parts of the page that have changed since it was told last.

Each browser gets the newest of every part, however slow it is, so that memory does not grow with time, landings or
browsers; one that comes back gets all parts.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import threading
from collections.abc import AsyncIterator, Mapping

BEAT_SECONDS = 4.0
"""A browser that hears nothing for three of these takes the connection for broken (choice)."""
COME_BACK_MS = 1500
"""How soon a browser tries again (choice)."""


class Hub:
    """Parts by their id, each with the number of the change that made it what it is."""

    def __init__(self) -> None:
        self.parts: dict[str, tuple[int, str]] = {}
        self.number = 0
        self.closed = False
        self._lock = threading.Lock()
        self._waiting: dict[asyncio.Event, asyncio.AbstractEventLoop] = {}

    def publish(self, parts: Mapping[str, str]) -> None:
        """From any thread: the parts as they are now; what is as before is told to nobody."""
        with self._lock:
            changed = {key: text for key, text in parts.items() if self.parts.get(key, (0, None))[1] != text}
            if changed:
                self.number += 1
                self.parts |= {key: (self.number, text) for key, text in changed.items()}
                self._wake()

    def close(self) -> None:
        """Let every browser go."""
        with self._lock:
            self.closed = True
            self._wake()

    def whole(self) -> dict[str, str]:
        with self._lock:
            return {key: text for key, (_, text) in self.parts.items()}

    @property
    def listening(self) -> int:
        """How many browsers are told."""
        return len(self._waiting)

    async def stream(self) -> AsyncIterator[str]:
        """Server-sent events for one browser, from all parts on."""
        seen, changed = 0, asyncio.Event()
        with self._lock:
            self._waiting[changed] = asyncio.get_running_loop()
        try:
            yield f"retry: {COME_BACK_MS}\n\n"
            while not self.closed:
                changed.clear()
                seen, parts = self._since(seen)
                yield event("parts", parts) if parts else event("beat", {})
                try:
                    await asyncio.wait_for(changed.wait(), BEAT_SECONDS)
                except TimeoutError:
                    continue
        finally:
            with self._lock:
                self._waiting.pop(changed, None)

    def _since(self, seen: int) -> tuple[int, dict[str, str]]:
        with self._lock:
            return self.number, {key: text for key, (number, text) in self.parts.items() if number > seen}

    def _wake(self) -> None:
        for changed, loop in self._waiting.items():
            with contextlib.suppress(RuntimeError):  # the server ended meanwhile
                loop.call_soon_threadsafe(changed.set)


def event(name: str, content: Mapping[str, str]) -> str:
    """One server-sent event; JSON has no line breaks of its own."""
    return f"event: {name}\ndata: {json.dumps(content, ensure_ascii=False)}\n\n"

"""The page's server beside the day's own work: it listens first, serves from a thread of its own, and lets go."""

from __future__ import annotations

import os
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from jointload.day_page.app import day_app
from jointload.day_page.guard import Guard
from jointload.day_page.hub import Hub
from jointload.day_page.live import followed
from jointload.errors import SettingError, expected_found

if TYPE_CHECKING:
    from jointload.day.engine import Day

LET_GO_SECONDS = 2
"""For what is under way when the day ends (choice)."""


def require_packages() -> None:
    """SettingError where the optional packages are not installed."""
    try:
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
    except ImportError:
        advice = "install them: pip install 'jointload[day]'"
        message = expected_found("day", "the packages starlette and uvicorn", "none", "this Python", advice)
        raise SettingError(message) from None


def listening(host: str, port: int) -> socket.socket:
    """A socket that listens there; SettingError where that cannot be.  port : 0 for any free one"""
    found = None
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        found = socket.socket(family, kind, protocol)
        if os.name == "posix":
            found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind(address)
        found.listen()
    except OSError as problem:
        if found is not None:
            found.close()
        advice = "choose another --port or --host, or end what listens there"
        message = expected_found(
            "page", "a free port of this machine", problem.strerror or problem, f"{host}:{port}", advice
        )
        raise SettingError(message) from None
    return found


@contextmanager
def serving(day: Day, folder: Path, guard: Guard, door: socket.socket) -> Iterator[Hub]:
    """The page of a day at that socket while the body runs."""
    import uvicorn

    hub = Hub()
    config = uvicorn.Config(
        day_app(day, folder, guard, hub), log_level="critical", access_log=False, server_header=False, lifespan="off",
        ws="none", proxy_headers=False, timeout_graceful_shutdown=LET_GO_SECONDS,
    )  # fmt: skip
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [door]}, name="page", daemon=True)
    with followed(day, hub):
        thread.start()
        try:
            yield hub
        finally:
            hub.close()
            server.should_exit = True
            thread.join(2 * LET_GO_SECONDS)

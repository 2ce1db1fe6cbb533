"""The page of an invented day, served, and a browser that looks at it."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from in_browser import started
from invented_day import InventedDay

from jointload.day_page.guard import Guard
from jointload.day_page.hub import Hub


@dataclass(frozen=True)
class Served:
    """An invented day, who may ask for its page, and what its browsers are told."""

    day: InventedDay
    guard: Guard
    hub: Hub

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.guard.port}/"


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """Serves an invented day, in a study folder `study`; key : that of the address, '' for none"""
    pytest.importorskip("uvicorn", reason="the extra [day] is not installed")
    pytest.importorskip("starlette", reason="the extra [day] is not installed")
    from jointload.day_page.server import listening, serving

    with contextlib.ExitStack() as stack:

        def begin(day: InventedDay | None = None, key: str = "", port: int = 0) -> Served:
            (tmp_path / "study").mkdir(exist_ok=True)
            day = day or InventedDay()
            door = stack.enter_context(contextlib.closing(listening("127.0.0.1", port)))
            guard = Guard("127.0.0.1", door.getsockname()[1], key)
            return Served(day, guard, stack.enter_context(serving(day, tmp_path / "study", guard, door)))

        yield begin


@pytest.fixture(scope="session")
def driver() -> Iterator[Any]:
    """One browser for all tests that need a real one."""
    yield from started()

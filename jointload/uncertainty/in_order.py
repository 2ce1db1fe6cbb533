"""Work on several processors whose result does not tell how many there were."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

MOST_THREADS = 4
"""Threads beyond which the interpreter, which runs one of them at a time between two array operations, is the limit
(choice)."""


def usual_threads() -> int:
    """As many as the processors this process may use, up to MOST_THREADS."""
    return min(processors(), MOST_THREADS)


def processors() -> int:
    """How many this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def in_order(work: Callable[[Item], Result], items: Iterable[Item], threads: int) -> Iterator[Result]:
    """work(item) of every item, in the order of the items, on so many threads: the array operations inside run side by
    side. Items are asked for in their order, here, and few ahead, so that what they hold stays small."""
    if threads < 2:
        yield from map(work, items)
        return
    with ThreadPoolExecutor(threads) as pool:
        waiting: deque[Future[Result]] = deque()
        for item in items:
            waiting.append(pool.submit(work, item))
            if len(waiting) > threads:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()

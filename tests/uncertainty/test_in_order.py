"""Work on threads: results in the order of the items, items asked for one after another and few ahead."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest

from jointload.uncertainty.in_order import MOST_THREADS, in_order, processors, usual_threads


@pytest.mark.parametrize("threads", [1, 2, 5])
def test_results_come_in_the_order_of_the_items(threads: int) -> None:
    asked, done = [], []

    def items() -> Iterator[int]:
        for k in range(12):
            assert k - len(done) <= threads
            asked.append(k)
            yield k

    def work(k: int) -> int:
        time.sleep(0.01 * (k % 3 == 0))
        return k * k

    for result in in_order(work, items(), threads):
        done.append(result)
    assert done == [k * k for k in asked] == [k * k for k in range(12)]


def test_an_error_reaches_who_asked() -> None:
    with pytest.raises(ZeroDivisionError):
        list(in_order(lambda k: 1 // k, [2, 1, 0, 3], 2))


def test_no_more_threads_than_processors() -> None:
    assert 1 <= usual_threads() <= min(processors(), MOST_THREADS)

"""What a worker process does. It imports nothing of ours, so that it shows that it lives before it loads the rest."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
import time
from typing import Any

BEAT_SECONDS = 0.2
"""How often a worker process shows that it lives (choice)."""


def serve(line: Any, beats: Any) -> None:
    """Do one job after the other until the line is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who runs the study ends its workers
    threading.Thread(target=_beat, args=(beats,), daemon=True).start()
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with contextlib.suppress(EOFError, OSError):
        while True:
            ticket, work, job = line.recv()
            line.send((ticket, work(job)))


def _beat(beats: Any) -> None:
    while True:
        beats.value += 1
        time.sleep(BEAT_SECONDS)


def _end_with_parent() -> None:
    """A worker whose parent was killed ends itself: nobody else would."""
    import multiprocessing
    from multiprocessing.connection import wait

    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)

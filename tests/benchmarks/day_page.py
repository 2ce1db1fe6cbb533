"""How soon a browser shows what the day knows, on a day of 300 landings; and what memory and an open page cost then.

python tests/benchmarks/day_page.py
"""

from __future__ import annotations

import contextlib
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from in_browser import TABLET, screen, started, until  # noqa: E402
from invented_day import InventedDay, short, trial  # noqa: E402

from jointload.day_page.document import parts_of  # noqa: E402
from jointload.day_page.guard import Guard  # noqa: E402
from jointload.day_page.server import listening, serving  # noqa: E402

BEFORE, MORE = 300, 200
WATCH = (
    "window.shown = {}; new MutationObserver(() => {"
    "const file = document.querySelector('#recent tbody th').textContent; shown[file] ??= Date.now(); })"
    ".observe(document.getElementById('recent'), { childList: true, characterData: true, subtree: true })"
)


def main() -> None:
    day, told = InventedDay(landings=BEFORE), {}
    with tempfile.TemporaryDirectory() as folder, contextlib.closing(listening("127.0.0.1", 0)) as door:
        guard = Guard("127.0.0.1", door.getsockname()[1])
        with serving(day, Path(folder), guard, door) as hub, contextlib.contextmanager(started)() as browser:
            with screen(browser, TABLET):
                browser.get(guard.addresses()[0])
                until(browser, "document.body.dataset.told")
                browser.execute_script(WATCH)
                before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
                for k in range(BEFORE + 1, BEFORE + MORE + 1):
                    new = trial(k)
                    told[new["file"]] = 1000 * time.time()
                    day.tell(trials=[*day.told["trials"], short(new)], latest=new)
                    time.sleep(0.3)
                shown = until(browser, f"shown['{new['file']}'] && shown")
            size = sum(len(part.encode()) for part in hub.whole().values())
    late = np.array([shown[file] - at for file, at in told.items()])
    began = time.perf_counter()
    parts_of(day.state())
    print(f"from a change to the screen: {np.median(late):.0f} ms, 95 % within {np.percentile(late, 95):.0f} ms")
    print(f"drawing all parts of {BEFORE + MORE} landings: {1000 * (time.perf_counter() - began):.1f} ms, {size} bytes")
    print(f"memory grew by {(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024:.1f} MB")


if __name__ == "__main__":
    main()

"""Makes the picture of README, and the words in it, from a report that `jointload demo` writes.

    python .readme/pictures.py            makes the demo's report first, in half a minute
    python .readme/pictures.py REPORT     of a report.html that is there already

The picture needs chromium. The words tell a test whether the picture is still that of the page.
"""

from __future__ import annotations

import html
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

FOLDER = Path(__file__).parent
NAME = "demo_report"
WIDTH, SCALE, COLOURS = 1100, 1.25, 255
MARGIN = 8
"""Under the answers [px]."""
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run",
    "--disable-background-networking", "--disable-sync", "--disable-component-update", "--force-prefers-reduced-motion",
)  # fmt: skip


def first_screen(page: str) -> str:
    """The HTML of the page from its title to its first picture: the answers."""
    start = page.index("<h1")
    return page[start : page.index("<figure", start)]


def words(page: str) -> str:
    """What one reads there, a line an element."""
    text = re.sub(r"<(style|script).*?</\1>", "", first_screen(page), flags=re.S)
    lines = (html.unescape(re.sub(r"<[^>]+>", " ", line)) for line in re.split(r"</(?:p|h1|h2|tr|li|div)>", text))
    return "\n".join(filter(None, (" ".join(line.split()) for line in lines))) + "\n"


def main() -> None:
    browser = shutil.which("chromium") or sys.exit("no chromium on this machine: apt-get install chromium")
    with tempfile.TemporaryDirectory() as scratch:
        report = Path(sys.argv[1]) if len(sys.argv) > 1 else _demo(Path(scratch))
        page = report.read_text(encoding="utf-8")
        shown = Path(scratch) / "shown.html"
        shown.write_text(page, encoding="utf-8")
        height = _height(browser, shown, scratch)
        picture = FOLDER / f"{NAME}.png"
        _browse(browser, scratch, *_window(height), f"--screenshot={picture}", shown.as_uri())
        Image.open(picture).convert("RGB").quantize(COLOURS).save(picture, optimize=True)
    (FOLDER / f"{NAME}.txt").write_text(words(page), encoding="utf-8")


def _demo(scratch: Path) -> Path:
    subprocess.run([sys.executable, "-m", "jointload.cli", "demo", "--out", str(scratch / "demo")], check=True)
    return scratch / "demo" / "report.html"


def _height(browser: str, page: Path, scratch: str) -> int:
    """Down to the end of the answers, in a window of that width."""
    probe = page.with_name("probe.html")
    script = (
        "<script>addEventListener('load', () => { document.title = Math.ceil("
        "document.querySelector('.answers').getBoundingClientRect().bottom + scrollY); });</script>"
    )
    probe.write_text(
        re.sub(r"<meta[^>]*Content-Security-Policy[^>]*>", "", page.read_text(encoding="utf-8")) + script,
        encoding="utf-8",
    )
    dumped = _browse(browser, scratch, *_window(2000), "--dump-dom", probe.as_uri())
    found = re.search(r"<title>(\d+)</title>", dumped)
    return int(found[1]) + MARGIN if found else sys.exit("the page has no answers")


def _window(height: int) -> tuple[str, ...]:
    return f"--window-size={WIDTH},{height}", f"--force-device-scale-factor={SCALE}"


def _browse(browser: str, scratch: str, *words: str) -> str:
    command = [browser, *QUIET, f"--user-data-dir={scratch}/profile", *words]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


if __name__ == "__main__":
    main()

"""Makes the pictures of README and the guide, and the words in them, from pages that the commands write.

    python .readme/pictures.py            writes the pages first, in half a minute
    python .readme/pictures.py layers     makes one of them alone

A picture needs chromium. The words tell a test whether it is still that of the page.
"""

from __future__ import annotations

import html
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).parent
SAMPLE = FOLDER.parent / "sample_c3d"


@dataclass(frozen=True)
class Picture:
    """words : of the command that writes the page, without its --out;  page : its name;  last : selector of what is at
    the bottom;  width : of the window [px]"""

    words: tuple[str, ...]
    page: str
    last: str
    width: int


PICTURES = {
    "demo_report": Picture(("demo",), "report.html", ".answers", 1100),
    "layers": Picture(
        (
            "layers", str(SAMPLE / "rider_b_landing_flat.c3d"), "--static", str(SAMPLE / "rider_b_static.c3d"),
            "--labels", str(SAMPLE / "labels.toml"), "--rider", str(SAMPLE / "rider_b.toml"), "--height", "3mm",
            "--stack", "6mm",
        ),
        "layers.html", "figure", 800,
    ),
}  # fmt: skip
SCALE, COLOURS = 1.25, 255
MARGIN = 8
"""Under the answers [px]."""
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run",
    "--disable-background-networking", "--disable-sync", "--disable-component-update", "--force-prefers-reduced-motion",
)  # fmt: skip


def first_screen(page: str) -> str:
    """The HTML of the page from its title to its first figure: the answers."""
    start = page.index("<h1")
    return page[start : page.index("<figure", start)]


def words(page: str) -> str:
    """What one reads there, a line an element."""
    text = re.sub(r"<(style|script).*?</\1>", "", first_screen(page), flags=re.S)
    lines = (html.unescape(re.sub(r"<[^>]+>", " ", line)) for line in re.split(r"</(?:p|h1|h2|tr|li|div)>", text))
    return "\n".join(filter(None, (" ".join(line.split()) for line in lines))) + "\n"


def main() -> None:
    browser = shutil.which("chromium") or sys.exit("no chromium on this machine: apt-get install chromium")
    for name in sys.argv[1:] or PICTURES:
        with tempfile.TemporaryDirectory() as scratch:
            _make(name, PICTURES[name], browser, Path(scratch))


def written(picture: Picture, folder: Path) -> str:
    """The page that its command writes into a folder."""
    out = str(folder / "out")
    subprocess.run([sys.executable, "-m", "jointload.cli", *picture.words, "--out", out], check=True)
    return (folder / "out" / picture.page).read_text(encoding="utf-8")


def _make(name: str, picture: Picture, browser: str, scratch: Path) -> None:
    from PIL import Image

    page = written(picture, scratch)
    shown = scratch / "shown.html"
    shown.write_text(page, encoding="utf-8")
    window = _window(picture.width, _height(browser, picture, shown, scratch))
    file = FOLDER / f"{name}.png"
    _browse(browser, scratch, *window, f"--screenshot={file}", shown.as_uri())
    Image.open(file).convert("RGB").quantize(COLOURS).save(file, optimize=True)
    (FOLDER / f"{name}.txt").write_text(words(page), encoding="utf-8")


def _height(browser: str, picture: Picture, page: Path, scratch: Path) -> int:
    """Down to the end of what is shown, in a window of that width."""
    probe = page.with_name("probe.html")
    script = (
        "<script>addEventListener('load', () => { document.title = Math.ceil("
        f"document.querySelector('{picture.last}').getBoundingClientRect().bottom + scrollY); }});</script>"
    )
    probe.write_text(
        re.sub(r"<meta[^>]*Content-Security-Policy[^>]*>", "", page.read_text(encoding="utf-8")) + script,
        encoding="utf-8",
    )
    dumped = _browse(browser, scratch, *_window(picture.width, 2000), "--dump-dom", probe.as_uri())
    found = re.search(r"<title>(\d+)</title>", dumped)
    return int(found[1]) + MARGIN if found else sys.exit("the page does not have what is to be shown")


def _window(width: int, height: int) -> tuple[str, ...]:
    return f"--window-size={width},{height}", f"--force-device-scale-factor={SCALE}"


def _browse(browser: str, scratch: Path, *words: str) -> str:
    command = [browser, *QUIET, f"--user-data-dir={scratch}/profile", *words]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


if __name__ == "__main__":
    main()

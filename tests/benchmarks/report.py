"""How long the report of a 300-frame landing takes after its analysis, how large its page is and when it is first seen.

References in the same run: as many bare axes drawn by matplotlib, and a page that says one word.

python tests/benchmarks/report.py
"""

from __future__ import annotations

import io
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from jointload.analysis import analyse
from jointload.insole.fitting.whatif import what_if
from jointload.insole.shape.geometry import parse_wedge
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.report.files.folder import write_report
from jointload.report.page.page import render_page
from jointload.synthetic.landing import LandingSpec, simulate_landing
from jointload.synthetic.measurement import as_recording
from jointload.synthetic.standing import label_map, static_recording
from jointload.uncertainty.intervals import with_intervals

RIDER = Rider("S1", 70.0, 1.76, "m")
SETTLING = 0.92
"""Seconds after touch-down that make a recording of 300 frames."""
REPEATS = 3
OPENINGS = 9
DRAWS = 100
"""Of the intervals; they are analysis, not report."""
PANEL_SIZE = (3.5, 2.4)
"""Of a bare axes [in]."""
BARE_PAGE = "<!DOCTYPE html><title>bare</title><p>One word.</p>"


def seconds(work: Callable[[], object]) -> float:
    """Least time of the processor over REPEATS, after one that warms up."""
    work()
    out = []
    for _ in range(REPEATS):
        start = time.process_time()
        work()
        out.append(time.process_time() - start)
    return min(out)


def bare_axes(number: int) -> None:
    """So many empty axes, each an SVG of its own, of the size of a panel of the page."""
    for _ in range(number):
        figure = Figure(figsize=PANEL_SIZE)
        figure.add_axes((0.15, 0.2, 0.8, 0.65))
        figure.savefig(io.BytesIO(), format="svg")


def first_paints(pages: list[Path]) -> list[float] | None:
    """Median time from the start of loading to the first content on the screen [s] of each page, opened in turns; None
    without a browser."""
    browser, driver_path = shutil.which("chromium"), shutil.which("chromedriver")
    if not (browser and driver_path):
        return None
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = browser
    for word in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--window-size=1280,1000"):
        options.add_argument(word)
    driver: Any = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver_path))
    found: list[list[float]] = [[] for _ in pages]
    try:
        for opening in range(OPENINGS + 1):
            for page, times in zip(pages, found, strict=True):
                driver.get("about:blank")
                driver.get(page.as_uri())
                driver.get_screenshot_as_png()
                (paint,) = driver.execute_script(
                    "return performance.getEntriesByName('first-contentful-paint').map((entry) => entry.startTime)"
                )
                if opening:
                    times.append(paint / 1000)
    finally:
        driver.quit()
    return [statistics.median(times) for times in found]


def main() -> None:
    trial = as_recording(simulate_landing(LandingSpec(RIDER, settling=SETTLING)))
    analysis = with_intervals(analyse(Session(trial, static_recording(RIDER), label_map(), RIDER)), DRAWS)
    whatif = what_if(analysis, parse_wedge("medial:4", "right"), draws=50)
    with tempfile.TemporaryDirectory() as folder:
        out, bare = Path(folder) / "result", Path(folder) / "bare.html"
        start = time.process_time()
        write_report(analysis, out, whatif)
        first = time.process_time() - start
        again = seconds(lambda: write_report(analysis, out, whatif))
        page = (out / "report.html").read_text(encoding="utf-8")
        bare.write_text(BARE_PAGE, encoding="utf-8")
        paints = first_paints([out / "report.html", bare])
    drawn = seconds(lambda: render_page(analysis, whatif))
    number = page.count('<div class="plot"')
    reference = seconds(lambda: bare_axes(number))
    print(f"frames {trial.frames}, panels {number}, page {len(page.encode()) / 1e6:.2f} MB")
    print(f"whole report {first:.2f} s the first time, {again:.2f} s again; its page {drawn:.2f} s")
    print(f"{number} bare axes {reference:.2f} s, ratio of the page {drawn / reference:.2f}")
    if paints is None:
        print("first paint not measured: no chromium with its chromedriver")
    else:
        print(f"first paint {paints[0]:.2f} s, of a page with one word {paints[1]:.2f} s")


if __name__ == "__main__":
    main()

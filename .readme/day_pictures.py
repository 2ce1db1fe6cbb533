"""Makes the pictures of the guide's page on a recording day: the sample study, played as if it were recorded now.

    python .readme/day_pictures.py

Needs chromium with its chromedriver, and selenium; takes a minute.
"""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

FOLDER = Path(__file__).parent
WIDTH, HEIGHT, COLOURS = 1024, 768, 64
"""A tablet's [px]."""
RECORDINGS = 9
LONGEST = 300
"""For anything that is waited for [s]."""
QUIET = ("--headless=new", "--no-sandbox", "--no-first-run", "--disable-background-networking", "--hide-scrollbars")


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch:
        command = [sys.executable, "-m", "jointload.cli", "day", f"{scratch}/loft", "--replay", "sample_c3d"]
        running = subprocess.Popen(
            [*command, "--speed", "100", "--ask", "--port", "0"], stdout=subprocess.PIPE, text=True
        )
        try:
            assert running.stdout is not None
            with browser() as page:
                page.get(running.stdout.readline().removeprefix("Open ").strip())
                photograph(page)
        finally:
            running.send_signal(signal.SIGINT)
            running.communicate(timeout=LONGEST)


def photograph(page: Any) -> None:
    """Answer whose each recording is, and take a picture where the page has most to say."""

    def until(script: str) -> Any:
        return WebDriverWait(page, LONGEST).until(lambda p: p.execute_script(f"return {script}"))

    question = "document.querySelector('.ask input[name=file]')?.value"
    for _ in range(RECORDINGS):
        file = until(question)
        rider, condition = file[:7], re.search(r"landing_(\w+)\.", file)
        until("document.querySelector('.ask form').dataset.ready")
        click(page, f".ask button[name=rider][value={rider}]")
        if condition:
            click(page, f".ask button[name=condition][value={condition[1]}]")
        until(f"{question} !== {file!r}")
    until("document.querySelector('#verdict .pass') && document.querySelector('#numbers table')")
    save(page, "day_verdict")
    until("document.querySelector('#fitting .files')")
    page.execute_script("document.getElementById('fitting').scrollIntoView()")
    save(page, "day_fitting", "#fitting")


def click(page: Any, query: str) -> None:
    page.find_element(By.CSS_SELECTOR, query).click()


def save(page: Any, name: str, query: str = "") -> None:
    """The screen, or one element of it, in few colours."""
    path = str(FOLDER / f"{name}.png")
    page.find_element(By.CSS_SELECTOR, query).screenshot(path) if query else page.save_screenshot(path)
    Image.open(path).convert("RGB").quantize(COLOURS).save(path, optimize=True)


def browser() -> Any:
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or sys.exit("no chromium on this machine")
    for word in (*QUIET, f"--window-size={WIDTH},{HEIGHT}"):
        options.add_argument(word)
    page = webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver")))
    page.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": WIDTH, "height": HEIGHT, "deviceScaleFactor": 1, "mobile": False},
    )
    return page


if __name__ == "__main__":
    main()

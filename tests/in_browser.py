"""What the tests in a real browser share: how it is started, and what is looked for in every page."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources
from typing import Any

import pytest

BROWSER, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
NO_BROWSER = "no chromium with its chromedriver on this machine (apt install chromium-driver)"
QUIET = (
    "--headless=new", "--no-sandbox", "--no-first-run", "--disable-background-networking", "--disable-sync",
    "--disable-component-update", "--disable-quic", "--disable-gpu", "--disable-dev-shm-usage",
    "--window-size=1280,1000",
)  # fmt: skip
CONTRAST = ("color-contrast",)
"""The one rule that asks for another answer in light and dark."""
LONGEST_SCRIPT = 120
"""Of a busy machine, for one script in the page [s]."""
LEAST_LETTERS = 11.0
"""Of any figure at any width [px]."""
TELEPHONE = {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True}
TABLET = {"width": 1024, "height": 768, "deviceScaleFactor": 1, "mobile": False}
DESKTOP = {"width": 1440, "height": 900, "deviceScaleFactor": 1, "mobile": False}


def started() -> Iterator[Any]:
    """A browser that keeps a record of what it asks for and complains of."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    if not (BROWSER and DRIVER):
        pytest.skip(NO_BROWSER)
    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER
    for word in QUIET:
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    driver.set_script_timeout(LONGEST_SCRIPT)
    yield driver
    driver.quit()


@contextmanager
def screen(browser: Any, size: dict[str, Any], scheme: str = "light") -> Iterator[None]:
    """A screen of this size and scheme for what is loaded within."""
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    try:
        yield
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": []})


def until(browser: Any, script: str, *words: Any, seconds: float = 20.0) -> Any:
    """What a script gives, as soon as it is something."""
    from selenium.webdriver.support.ui import WebDriverWait

    return WebDriverWait(browser, seconds, 0.05).until(lambda b: b.execute_script(f"return {script}", *words))


def text_of(browser: Any, query: str) -> str:
    """What one reads in an element, on one line."""
    return " ".join(browser.execute_script("return document.querySelector(arguments[0]).innerText", query).split())


LAY_OUT = "document.querySelectorAll('section').forEach((s) => { s.style.contentVisibility = 'visible'; });"
"""A section that is not yet in sight has a height that is guessed until it is laid out."""
OPEN_ALL = LAY_OUT + "document.querySelectorAll('details').forEach((fold) => { fold.open = true; });"


def letters(browser: Any) -> tuple[float, list[str]]:
    """The smallest letters of any figure [px], and the texts that its panel cuts off or that leave the panel."""
    return tuple(  # type: ignore[return-value]
        browser.execute_script(
            OPEN_ALL + "const texts = [...document.querySelectorAll('.panel :is(text, tspan, b, small, p, li)')];"
            "const size = Math.min(...texts.map((t) => parseFloat(getComputedStyle(t).fontSize)));"
            "const out = texts.filter((t) => { const a = t.getBoundingClientRect(), "
            "b = t.closest('.panel').getBoundingClientRect(); return a.left < b.left - 1 || a.right > b.right + 1; });"
            "return [size, out.map((t) => t.textContent)]"
        )
    )


ROWS_OF_A_LOOK = 3
LIKE_THOSE_BEFORE = (
    "const like = [...document.querySelectorAll('tbody')].flatMap((body) => { const seen = {}; "
    "return [...body.rows].filter((row) => { const look = [row, ...row.querySelectorAll('*')]"
    ".map((one) => one.tagName + one.getAttribute('class') + one.getAttribute('style')).join(); "
    f"return (seen[look] = (seen[look] || 0) + 1) > {ROWS_OF_A_LOOK}; }}); }});"
)
"""Rows of a table that look like some before them."""


def barriers(browser: Any, only: tuple[str, ...] = (), within: tuple[str, ...] = ()) -> list[tuple[str, list[str]]]:
    """Serious and critical findings of axe-core's rules: WCAG 2 A and AA, and its best practice.

    Of a table's rows that look alike a few are looked at.

    only : some of its rules, all when empty;  within : selectors of the parts looked at, the whole page when empty
    """
    pytest.importorskip("axe_core_python", reason="axe-core-python is not installed")
    browser.execute_script((resources.files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8"))
    found = browser.execute_async_script(
        LIKE_THOSE_BEFORE + "like.forEach((row) => { row.style.display = 'none'; });"
        "const [rules, parts, done] = arguments, shown = (answer) => "
        "{ like.forEach((row) => { row.style.display = ''; }); done(answer); }, asked = "
        "{ resultTypes: ['violations'], selectors: false, preload: false };"
        "if (rules.length) asked.runOnly = { type: 'rule', values: rules };"
        "axe.run(parts.length ? { include: parts } : document, asked).then(shown, (e) => shown(String(e)))",
        list(only),
        list(within),
    )
    assert isinstance(found, dict), found
    return [
        (rule["id"], [node["html"][:120] for node in rule["nodes"][:3]])
        for rule in found["violations"]
        if rule["impact"] in ("serious", "critical")
    ]


def quiet(browser: Any) -> None:
    """Nothing was asked for elsewhere, and nothing complained, since this was asked last."""
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    assert asked
    assert [url[:80] for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []

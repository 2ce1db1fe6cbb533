"""The page in a real browser: it loads nothing, says nothing on the console, plays to its end, and serves everybody."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from in_browser import CONTRAST, LEAST_LETTERS, OPEN_ALL, TELEPHONE, barriers, letters, quiet

from jointload.analysis import Analysis
from jointload.insole.fitting.whatif import WhatIf
from jointload.insole.shape.shape import InsoleShape
from jointload.report.page.page import render_page
from jointload.report.papers.shape_folder import write_shape
from jointload.report.words.colours import DARK, LIGHT

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
from selenium.webdriver.common.by import By  # noqa: E402
from selenium.webdriver.common.keys import Keys  # noqa: E402
from selenium.webdriver.support.ui import WebDriverWait  # noqa: E402

LONGEST_WAIT = 60
"""Of a busy machine, for one thing of the page [s]."""
MOST_TABS = 400
"""Of the keyboard, through the links of a page."""


@pytest.fixture(scope="module")
def page(analysis: Analysis, prediction: WhatIf, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(render_page(analysis, prediction), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser(driver: Any, page: Path) -> Any:
    driver.get(page.as_uri())
    return driver


def wait_until(browser: Any, script: str) -> None:
    WebDriverWait(browser, LONGEST_WAIT, poll_frequency=0.05).until(lambda b: b.execute_script(f"return {script}"))


def stage(browser: Any) -> Any:
    """The replay's picture, drawn."""
    found = browser.find_element(By.ID, "replay-stage")
    browser.execute_script("arguments[0].scrollIntoView()", found)
    wait_until(browser, "document.getElementById('replay-stage').dataset.ready === 'true'")
    return found


def frame(browser: Any) -> int:
    return int(browser.find_element(By.ID, "replay-stage").get_attribute("data-frame"))


def last_frame(browser: Any) -> int:
    return int(browser.find_element(By.ID, "replay-time").get_attribute("max"))


def test_every_picture_shows_something(browser: Any) -> None:
    seen = browser.execute_script(
        OPEN_ALL + "return [...document.querySelectorAll('.plot')].map((plot) => [plot.clientWidth, plot.clientHeight, "
        "plot.getAttribute('aria-label').length, plot.querySelectorAll('.l, .f, .h').length])"
    )
    assert len(seen) > 30
    assert all(width > 100 and height > 25 and words > 40 and shapes for width, height, words, shapes in seen)


@pytest.mark.parametrize("width", [320, 390, 768, 1440])
def test_letters_keep_their_size_at_every_width(browser: Any, width: int) -> None:
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {**TELEPHONE, "width": width})
    try:
        size, outside = letters(browser)
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert size >= LEAST_LETTERS
    assert outside == []


@pytest.mark.parametrize("kind", ["dark", "light"])
def test_figures_follow_the_colours_of_the_screen_and_paper_is_light(browser: Any, kind: str) -> None:
    scheme = {"dark": DARK, "light": LIGHT}[kind]
    setting = {"features": [{"name": "prefers-color-scheme", "value": kind}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", setting)
    try:
        drawn = browser.execute_script(
            "return ['.plot .l.c-right', '.limb.c-left', '.edge.c-insole'].map("
            "(q) => getComputedStyle(document.querySelector(q)).stroke)"
        )
        found = barriers(browser, () if kind == "light" else CONTRAST)
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print", **setting})
        printed = browser.execute_script(
            "return getComputedStyle(document.documentElement).getPropertyValue('--card').trim()"
        )
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": []})
    assert printed == LIGHT["card"]
    wanted = [tuple(int(scheme[name][k : k + 2], 16) for k in (1, 3, 5)) for name in ("right", "left", "insole")]
    assert [tuple(map(int, re.findall(r"\d+", colour))) for colour in drawn] == wanted
    assert found == []


def test_the_replay_is_drawn(browser: Any) -> None:
    from matplotlib.image import imread

    picture = imread(io.BytesIO(stage(browser).screenshot_as_png))[..., :3]
    colours = np.unique((picture * 15).astype(int).reshape(-1, 3), axis=0)
    assert len(colours) > 20
    assert (picture.min(axis=-1) < 0.5).mean() > 0.002


def test_the_keyboard_alone_moves_the_time(browser: Any) -> None:
    browser.refresh()
    reached: list[str] = []
    wanted = ["replay-play", "replay-back", "replay-step", "replay-time", "replay-speed"]
    actions = webdriver.ActionChains(browser)
    for _ in range(MOST_TABS):
        actions.send_keys(Keys.TAB).perform()
        focused = browser.switch_to.active_element
        reached.append(focused.get_attribute("id") or focused.get_attribute("class"))
        if reached[-1] == wanted[0]:
            wait_until(browser, "document.getElementById('replay-stage').dataset.ready === 'true'")
        if reached[-1] == "replay-time":
            before = frame(browser)
            actions.send_keys(Keys.ARROW_RIGHT).perform()
            assert frame(browser) == before + 1
            actions.send_keys(Keys.END).perform()
            assert frame(browser) == last_frame(browser)
        if reached[-1] == "replay-step":
            before = frame(browser)
            actions.send_keys(Keys.ENTER).perform()
            assert frame(browser) == before + 1
        if reached[-1] == wanted[-1]:
            break
    assert reached[0] == "skip"
    assert [name for name in reached if name in wanted] == wanted


def test_the_replay_reaches_its_last_frame(browser: Any) -> None:
    stage(browser)
    browser.execute_script(
        "document.getElementById('replay-speed').value = '1';"
        "const time = document.getElementById('replay-time'); time.value = 0; time.dispatchEvent(new Event('input'))"
    )
    assert frame(browser) == 0
    browser.find_element(By.ID, "replay-play").click()
    wait_until(browser, "document.getElementById('replay-stage').dataset.frame === "
                        "document.getElementById('replay-time').max")  # fmt: skip
    wait_until(browser, "document.getElementById('replay-play').textContent === 'Play'")
    assert "after touch-down" in browser.find_element(By.ID, "replay-now").text


def test_the_curves_follow_the_replay(browser: Any) -> None:
    stage(browser)
    for k in (0, last_frame(browser)):
        browser.execute_script(
            "const time = document.getElementById('replay-time'); time.value = arguments[0];"
            "time.dispatchEvent(new Event('input'))", k,
        )  # fmt: skip
        data = json.loads(browser.execute_script("return document.getElementById('replay-data').textContent"))
        start, end = data["span"]
        panels = browser.find_elements(By.CSS_SELECTOR, "[data-timed]")
        assert len(panels) > 20
        for panel in panels:
            line = panel.find_element(By.CLASS_NAME, "cursor")
            share = float(line.get_attribute("style").partition("left: ")[2].partition("%")[0]) / 100
            assert share == pytest.approx((data["times"][k] - start) / (end - start), abs=0.005)


def test_a_click_on_a_curve_moves_the_time(browser: Any) -> None:
    stage(browser)
    data = json.loads(browser.execute_script("return document.getElementById('replay-data').textContent"))
    panel = browser.find_element(By.CSS_SELECTOR, "#replay [data-timed]")
    browser.execute_script(
        "const box = arguments[0].getBoundingClientRect(); arguments[0].dispatchEvent(new MouseEvent('click', "
        "{ clientX: box.left + 0.5 * box.width, bubbles: true }))", panel,
    )  # fmt: skip
    wanted = 0.5 * sum(data["span"]) + data["zeros"][0]
    step = data["times"][1] - data["times"][0]
    assert data["times"][frame(browser)] == pytest.approx(wanted, abs=0.5 * step + 0.1)


def test_views_turn_the_picture(browser: Any) -> None:
    found = stage(browser)
    pictures = []
    for name in ("right", "behind", "above"):
        button = browser.find_element(By.CSS_SELECTOR, f"[data-view={name}]")
        button.click()
        assert button.get_attribute("aria-pressed") == "true"
        wait_until(
            browser, "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))"
        )
        pictures.append(found.screenshot_as_png)
    assert len(set(pictures)) == 3


def test_the_replay_stands_where_the_landing_was(browser: Any) -> None:
    """From the right: forward to the right and height up on one scale; the knee lies where its places say."""
    found = stage(browser)
    browser.find_element(By.CSS_SELECTOR, "[data-view=right]").click()
    data = json.loads(browser.execute_script("return document.getElementById('replay-data').textContent"))
    leg = next(line for line in data["lines"] if line["name"] == "right leg")
    _, forward, up = (np.array(row[:3], dtype=float) for row in leg["places"][frame(browser)])
    d = found.find_element(By.CSS_SELECTOR, ".limb.c-right").get_attribute("d")
    drawn = np.array([float(v) for v in re.findall(r"-?[\d.]+", d)]).reshape(-1, 2)[:3].T
    shift = drawn - drawn[:, :1]
    scale = np.linalg.norm(shift[:, 2]) / np.hypot(forward[2] - forward[0], up[2] - up[0])
    assert shift[0] == pytest.approx(scale * (forward - forward[0]), abs=0.2)
    assert -shift[1] == pytest.approx(scale * (up - up[0]), abs=0.2)


def test_keys_and_the_pointer_turn_the_picture(browser: Any) -> None:
    found = stage(browser)
    button = browser.find_element(By.CSS_SELECTOR, "[data-view=behind]")
    button.click()
    limb = found.find_element(By.CSS_SELECTOR, ".limb.c-right")
    seen = [limb.get_attribute("d")]
    found.send_keys(Keys.ARROW_LEFT)
    seen.append(limb.get_attribute("d"))
    webdriver.ActionChains(browser).drag_and_drop_by_offset(found, 60, 20).perform()
    seen.append(limb.get_attribute("d"))
    assert len(set(seen)) == 3
    assert button.get_attribute("aria-pressed") == "false"


def test_less_motion_is_stills(browser: Any) -> None:
    stage(browser)
    browser.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]}
    )
    try:
        seen = browser.execute_async_script(
            "const done = arguments[0], stage = document.getElementById('replay-stage'), seen = [];"
            "const time = document.getElementById('replay-time');"
            "time.value = 0; time.dispatchEvent(new Event('input'));"
            "const watch = new MutationObserver(() => seen.push(stage.dataset.frame));"
            "watch.observe(stage, { attributeFilter: ['data-frame'] });"
            "document.getElementById('replay-play').click();"
            "setTimeout(() => { document.getElementById('replay-play').click(); done(seen); }, 1600);"
        )
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert len(seen) <= 2 and frame(browser) > 1


def test_a_telephone_scrolls_one_way_only(browser: Any) -> None:
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", TELEPHONE)
    try:
        wide = browser.execute_script(
            "return [...document.querySelectorAll('main *')].filter((e) => !e.closest('.scroll, .stage') && "
            "e.getBoundingClientRect().right > 391).map((e) => e.outerHTML.slice(0, 80))"
        )
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert wide == []


def test_no_serious_barrier_after_use(browser: Any) -> None:
    """The whole page was looked at before it was used: what changes with use is the replay's."""
    assert barriers(browser, within=("#replay",)) == []


def test_nothing_was_loaded_and_nothing_complained(browser: Any) -> None:
    """Last of all: what the tests above made the page do."""
    quiet(browser)


def test_the_sheet_of_an_insole_has_no_serious_barrier(browser: Any, tmp_path: Path) -> None:
    write_shape([InsoleShape("right", 0.265)], tmp_path / "insole")
    browser.get((tmp_path / "insole" / "sheet.html").as_uri())
    assert barriers(browser) == []

"""The page of a day as a laboratory meets it: on a tablet, by keyboard, in two browsers, with a broken line."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from in_browser import DESKTOP, TABLET, TELEPHONE, barriers, screen, text_of, until
from invented_day import InventedDay, fitting, question, short, state, trial

SCREENS = {"tablet": TABLET, "desktop": DESKTOP, "telephone": TELEPHONE}
TABLET_PIXEL = 197.0 / 1024
"""Of a tablet whose screen is 197 mm wide [mm]."""
CAPITAL = 0.714
"""Height of a capital letter in that of its letters: Noto Sans; DejaVu Sans has 0.729."""
TWO_METRES, LEAST_ANGLE = 2000.0, 15.9
"""Distance [mm], and how large a letter is from there [minutes of arc]: three times the 5 of normal sight."""
LEAST_TARGET = 44.0
MOST_ELEMENTS, MOST_BYTES = 800, 40_000
"""Of the page, and of all that a browser is told when it comes back, however many landings the day has."""


def opened(browser: Any, served: Any) -> None:
    """Loaded, and connected."""
    browser.get(served.address)
    until(
        browser,
        "document.body.dataset.told",
    )


@pytest.mark.parametrize("size", SCREENS)
def test_the_page_holds_on_every_screen(driver: Any, serve: Callable[..., Any], size: str) -> None:
    served = serve(InventedDay(word="usable", questions=[question()], fitting=fitting(home=True)))
    with screen(driver, SCREENS[size]):
        opened(driver, served)
        driver.execute_script("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
        wide, low = driver.execute_script(
            "return [document.documentElement.scrollWidth, [...document.querySelectorAll('button, select, input, "
            "summary, .files a')].filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < arguments[0])"
            ".map((e) => e.outerHTML.slice(0, 80))]",
            LEAST_TARGET - 0.5,
        )
        found = barriers(driver)
        dark = driver.execute_script("return getComputedStyle(document.body).backgroundColor")
    assert wide <= SCREENS[size]["width"] and low == []
    assert found == []
    assert max(int(part) for part in dark.removeprefix("rgb(").rstrip(")").split(",")) < 40


@pytest.mark.parametrize("word", ["fine", "usable", "again"])
def test_the_verdict_is_read_from_two_metres(driver: Any, serve: Callable[..., Any], word: str) -> None:
    with screen(driver, TABLET):
        opened(driver, serve(InventedDay(word=word)))
        sizes, bottom = driver.execute_script(
            "const [word, reason] = ['.word', '.reason'].map((q) => document.querySelector(q));"
            "const sizes = [word, reason].map((e) => parseFloat(getComputedStyle(e).fontSize));"
            "return [sizes, reason.getBoundingClientRect().bottom]"
        )
        told = text_of(driver, "#verdict")
    angles = [60.0 * math.degrees(math.atan(CAPITAL * size * TABLET_PIXEL / TWO_METRES)) for size in sizes]
    assert min(angles) >= LEAST_ANGLE and bottom <= TABLET["height"]
    assert {"fine": "✓ Fine", "usable": "▲ Usable", "again": "■ Record again"}[word] in told


def test_a_long_reason_stays_on_the_screen(driver: Any, serve: Callable[..., Any]) -> None:
    served = serve(InventedDay(word="again"))
    served.day.told["latest"]["reason"] = "The markers of the right foot are hidden for a while. " * 5
    with screen(driver, TABLET):
        opened(driver, served)
        bottom, size = driver.execute_script(
            "const reason = document.querySelector('.reason');"
            "return [reason.getBoundingClientRect().bottom, parseFloat(getComputedStyle(reason).fontSize)]"
        )
    assert bottom <= TABLET["height"] and size >= 48.0


def test_whose_a_recording_is_takes_two_clicks(driver: Any, serve: Callable[..., Any]) -> None:
    served = serve(InventedDay(questions=[question("take_0009.c3d"), question("take_0010.c3d", at="14:32:00")]))
    with screen(driver, TABLET):
        opened(driver, served)
        seen = driver.execute_script(
            "const box = document.querySelector('.ask').getBoundingClientRect();"
            "return box.top >= 0 && box.bottom <= innerHeight"
        )
        assert seen and "and 1 more" in text_of(driver, ".ask h2")
        click(driver, "rider", "rider_b")
        assert served.day.asked == []
        served.day.tell(faults=["something else has changed"])
        until(driver, "document.getElementById('troubles').textContent")
        assert pressed(driver) == ["rider_b"], "half an answer stays while the page moves on"
        click(driver, "condition", "wedge")
        until(driver, "document.querySelector('.ask h2').textContent.includes('take_0010')")
    assert served.day.asked == [("answer", "take_0009.c3d", "rider_b", "landing", "wedge", False)]


def test_a_condition_that_nobody_has_named_is_typed(driver: Any, serve: Callable[..., Any]) -> None:
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    served = serve(InventedDay(questions=[question()], conditions=[]))
    with screen(driver, TABLET):
        opened(driver, served)
        typed = driver.find_element(By.CSS_SELECTOR, ".ask input[name=other]")
        typed.send_keys("soft boots", Keys.ENTER)
        assert driver.execute_script("return document.activeElement.name") == "rider" and served.day.asked == []
        click(driver, "rider", "rider_a")
        until(driver, "!document.querySelector('.ask') || null")
    assert served.day.asked == [("answer", "take_0009.c3d", "rider_a", "landing", "soft boots", False)]


def click(browser: Any, name: str, value: str, within: str = ".ask") -> None:
    from selenium.webdriver.common.by import By

    until(browser, "document.querySelector(arguments[0] + ' form').dataset.ready", within)
    browser.find_element(By.CSS_SELECTOR, f"{within} button[name={name}][value='{value}']").click()


def pressed(browser: Any, within: str = ".ask") -> list[str]:
    query = f"return [...document.querySelectorAll(\"{within} button[aria-pressed='true']\")].map((b) => b.value)"
    return list(browser.execute_script(query))


def test_a_tap_is_for_what_stood_there(driver: Any, serve: Callable[..., Any]) -> None:
    """Nothing above moves a button of the question; a second tap answers neither the same question again nor the one
    that follows."""
    served = serve(InventedDay(questions=[question("take_0009.c3d", rider="rider_a"), question("take_0010.c3d")]))
    place = "const b = document.querySelector('.ask button[value=wedge]').getBoundingClientRect(); return [b.x, b.y]"
    with screen(driver, TABLET):
        opened(driver, served)
        before = driver.execute_script(place)
        served.day.tell(
            faults=["riders.csv line 4: no mass"] * 3,
            latest=trial(5, "again"),
            arriving=[{"file": "x.c3d", "text": "…"}],
        )
        until(driver, "document.querySelector('.word').textContent.includes('Record again')")
        assert driver.execute_script(place) == before
        until(driver, "document.querySelector('.ask form').dataset.ready")
        driver.execute_script(
            "['wedge', 'flat'].forEach((word) => document.querySelector(`.ask button[value=${word}]`).click());"
            "new MutationObserver(() => ['rider_b', 'flat'].forEach((word) => "
            "document.querySelector(`.ask button[value=${word}]`)?.click()))"
            ".observe(document.getElementById('ask'), { childList: true, subtree: true });"
        )
        until(driver, "document.querySelector('.ask h2').textContent.includes('take_0010')")
        until(driver, "document.querySelector('.ask form').dataset.ready")
        assert pressed(driver) == []
    assert served.day.asked == [("answer", "take_0009.c3d", "rider_a", "landing", "wedge", False)]


def test_a_proposal_is_never_written_before_it_is_clicked(driver: Any, serve: Callable[..., Any]) -> None:
    """The rider of a proposal may be corrected; the click on the condition writes."""
    served = serve(InventedDay(questions=[question(rider="rider_a", condition="flat")]))
    with screen(driver, TABLET):
        opened(driver, served)
        until(driver, "document.querySelector('.ask button[aria-pressed=true]') && true")
        assert pressed(driver) == ["rider_a", "flat"]
        click(driver, "rider", "rider_b")
        assert served.day.asked == []
        click(driver, "condition", "flat")
        until(driver, "!document.querySelector('.ask') || null")
    assert served.day.asked == [("answer", "take_0009.c3d", "rider_b", "landing", "flat", False)]


def test_a_standing_trial_needs_its_rider_and_says_what_it_replaces(driver: Any, serve: Callable[..., Any]) -> None:
    served = serve(InventedDay(questions=[question(kind="landing", kind_sure=False)]))
    with screen(driver, TABLET):
        opened(driver, served)
        assert "in place of" not in text_of(driver, ".ask")
        click(driver, "kind", "static")
        assert "in place of rider_a_static.c3d" in text_of(driver, ".ask") and "Condition" not in text_of(
            driver, ".ask"
        )
        click(driver, "rider", "rider_a")
        until(driver, "!document.querySelector('.ask') || null")
    assert served.day.asked == [("answer", "take_0009.c3d", "rider_a", "static", "", True)]


def test_the_keyboard_alone_answers_leaves_out_and_looks_closer(driver: Any, serve: Callable[..., Any]) -> None:
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    def tab_to(query: str) -> None:
        for _ in range(80):
            ActionChains(driver).send_keys(Keys.TAB).perform()
            if driver.execute_script("return document.activeElement.matches(arguments[0])", query):
                return
        raise AssertionError(f"the keyboard does not reach {query}")

    def press(key: str) -> None:
        ActionChains(driver).send_keys(key).perform()

    served = serve(InventedDay(questions=[question(), question("take_0010.c3d")]))
    with screen(driver, TABLET):
        opened(driver, served)
        until(driver, "document.querySelector('.ask form').dataset.ready")
        tab_to("button[name=rider][value=rider_a]")
        press(Keys.SPACE)
        focused = driver.execute_script("return document.activeElement.name")
        assert focused == "condition", "the next group is where the keyboard is"
        press(Keys.ENTER)
        until(driver, "document.querySelector('.ask h2').textContent.includes('take_0010')")
        tab_to(".ask summary")
        press(Keys.ENTER)
        tab_to(".ask input[name=reason]")
        press("the rider laughed" + Keys.ENTER)
        until(driver, "!document.querySelector('.ask') || null")
        tab_to("[data-open]")
        press(Keys.ENTER)
        until(driver, "document.getElementById('whole').open")
        until(driver, "document.getElementById('whole-content').textContent.includes('peak vertical force')")
        found = barriers(driver, within=("#whole",))
        press(Keys.ESCAPE)
        until(driver, "!document.getElementById('whole').open")
    assert found == []
    assert served.day.asked == [
        ("answer", "take_0009.c3d", "rider_a", "landing", "flat", False),
        ("leave_out", "take_0010.c3d", "the rider laughed"),
    ]


def test_what_cannot_be_is_said_where_it_was_asked(driver: Any, serve: Callable[..., Any]) -> None:
    served = serve(InventedDay(questions=[question()]))
    with screen(driver, TABLET):
        opened(driver, served)
        served.day.told = served.day.told | {"riders": []}
        click(driver, "rider", "rider_a")
        click(driver, "condition", "flat")
        until(driver, "document.querySelector('.ask .told').textContent.includes('expected a known rider')")


def test_a_broken_connection_is_said_and_comes_back(driver: Any, serve: Callable[..., Any], tmp_path: Path) -> None:
    from jointload.day_page.guard import Guard
    from jointload.day_page.server import listening, serving

    day = InventedDay(word="fine")
    with screen(driver, TABLET):
        with contextlib.closing(listening("127.0.0.1", 0)) as door:
            port = door.getsockname()[1]
            with serving(day, tmp_path, Guard("127.0.0.1", port), door):
                driver.get(f"http://127.0.0.1:{port}/")
                assert text_of(driver, "#link") == "connected"
        until(driver, "document.getElementById('link').textContent.startsWith('No connection since')")
        assert "by itself" in text_of(driver, "#link")
        day.tell(**state(word="again"))
        with (
            contextlib.closing(listening("127.0.0.1", port)) as door,
            serving(day, tmp_path, Guard("127.0.0.1", port), door),
        ):
            until(driver, "document.getElementById('link').textContent === 'connected'")
            until(driver, "document.querySelector('.word').textContent.includes('Record again')")
        with (
            contextlib.closing(listening("127.0.0.1", port)) as door,
            serving(day, tmp_path, Guard("127.0.0.1", port, "a-new-key"), door),
        ):
            until(driver, "document.getElementById('link').textContent.includes('started anew')")
    driver.get_log("browser")  # the lines that were lost are no complaint of the page


def test_troubles_of_the_folder_come_and_go(driver: Any, serve: Callable[..., Any]) -> None:
    served = serve()
    gone = {"folder": "gone", "since": "14:31", "text": "The folder is gone since 14:31; nothing is lost."}
    there = served.day.told["connection"]
    with screen(driver, TABLET):
        opened(driver, served)
        served.day.tell(connection=gone, disk={"full": True, "waiting": 1, "text": "The disk is full; 1 answer waits."})
        until(driver, "document.getElementById('troubles').textContent.includes('gone since 14:31')")
        assert "The disk is full" in text_of(driver, "#troubles")
        served.day.tell(connection=there, disk={"full": False, "waiting": 0, "text": ""})
        until(driver, "document.getElementById('troubles').textContent === '' || null")


def test_two_browsers_show_the_same(driver: Any, serve: Callable[..., Any]) -> None:
    served = serve(InventedDay(questions=[question()]))
    with screen(driver, TABLET):
        opened(driver, served)
        first = driver.current_window_handle
        driver.switch_to.new_window("window")
        try:
            opened(driver, served)
            click(driver, "rider", "rider_a")
            click(driver, "condition", "wedge")
            until(driver, "!document.querySelector('.ask') || null")
            here = driver.execute_script("return document.querySelector('main').textContent")
            driver.switch_to.window(first)
            until(driver, "!document.querySelector('.ask') || null")
            assert driver.execute_script("return document.querySelector('main').textContent") == here
        finally:
            for handle in set(driver.window_handles) - {first}:
                driver.switch_to.window(handle)
                driver.close()
            driver.switch_to.window(first)


def test_a_fitting_goes_from_two_clicks_to_its_files(driver: Any, serve: Callable[..., Any]) -> None:
    served = serve()
    with screen(driver, TABLET):
        opened(driver, served)
        driver.execute_script("document.getElementById('begin-fitting').open = true")
        click(driver, "rider", "rider_a", "#fitting")
        click(driver, "side", "right", "#fitting")
        until(driver, "document.querySelector('#fitting .stages') && true")
        told = text_of(driver, "#fitting")
        served.day.tell(fitting=fitting(home=True))
        until(driver, "document.getElementById('next').textContent.includes('may go home')")
        served.day.tell(fitting=fitting() | {"problem": "the search could not be made: no foot is known"})
        until(driver, "document.getElementById('fitting').textContent.includes('no foot is known')")
        links = driver.execute_script(
            "const links = [...document.querySelectorAll('#fitting .files a')];"
            "return links.map((a) => [a.textContent, a.getAttribute('href')])"
        )
    assert served.day.asked == [("fit", "rider_a", "right", "knee_adduction_moment")]
    for words in ("Flat insole", "medial:6 full", "46 %", "-0.12 Nm/kg", "chance of 3 %", "never a prescription"):
        assert words in told
    assert links == [["Sheet for the maker", "/results/fit/insole/sheet.html"],
                     ["Solid (STL, mm)", "/results/fit/insole/insole_right.stl"]]  # fmt: skip


def test_three_hundred_landings_keep_the_page_small(driver: Any, serve: Callable[..., Any]) -> None:
    served = serve(InventedDay(landings=300))
    with screen(driver, TABLET):
        opened(driver, served)
        for k in range(301, 311):
            served.day.tell(trials=[*served.day.told["trials"], short(trial(k))], latest=trial(k))
            until(driver, "document.querySelector('#recent tbody th').textContent.includes(arguments[0])", f"{k:04}")
        elements = driver.execute_script("return document.querySelectorAll('*').length")
        driver.execute_script("document.getElementById('open-all').click()")
        until(driver, "document.querySelectorAll('#whole-content tbody tr').length === 310")
    assert elements < MOST_ELEMENTS
    assert sum(len(part.encode()) for part in served.hub.whole().values()) < MOST_BYTES


def test_nothing_comes_from_elsewhere_and_nothing_complained(driver: Any, serve: Callable[..., Any]) -> None:
    import json

    served = serve(InventedDay(questions=[question()], fitting=fitting(home=True)))
    driver.get_log("performance")
    driver.get_log("browser")
    with screen(driver, TABLET):
        opened(driver, served)
        driver.execute_script("document.querySelector('[data-open]').click()")
        until(driver, "document.getElementById('whole').open")
        driver.execute_script("document.querySelector('#whole form[method=dialog] button').click()")
        until(driver, "!document.getElementById('whole').open")
    assert [entry for entry in driver.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")] == []
    messages = [json.loads(entry["message"])["message"] for entry in driver.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    assert len(asked) >= 4
    assert [url for url in asked if not url.startswith((served.address, "data:"))] == []

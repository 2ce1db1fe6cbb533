"""Every kind of page as its reader meets it: on a wide screen, on a telephone, on paper, in light and dark."""

from __future__ import annotations

import base64
import re
from pathlib import Path
from typing import Any

import pytest
from few import few_draws
from in_browser import CONTRAST, DESKTOP, LAY_OUT, LEAST_LETTERS, TELEPHONE, barriers, letters, quiet, screen
from made_study import made_results

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import fit
from jointload.insole.fitting.whatif import WhatIf, what_if
from jointload.insole.shape.geometry import parse_wedge
from jointload.report.page.first_answers import shift_sentences
from jointload.report.page.page import render_page
from jointload.report.study_pages.dose_page import render_dose
from jointload.report.study_pages.dose_words import dose_items
from jointload.report.words.cells import told_measure
from jointload.report.words.trust import trust_in
from jointload.study.exposures import Exposure
from jointload.study.strain_dose import BASES, strain_dose, tissues
from jointload.uncertainty.intervals import with_intervals
from jointload.whole_study import compare_study

KINDS = ("analyse", "whatif", "fit", "study", "dose")
LANDINGS = ("analyse", "whatif", "fit")
MOST_BYTES = 2_000_000
MOST_SCREENS = 20
LEAST_TARGET = 44.0
"""Of what a finger meets [px]."""
ROUNDING = 0.5
OF_FIT = (".answers", "#fit")
"""What only the page of a fit has; the rest is that of a change, which is looked at as a whole elsewhere."""
PAPER = {"paperWidth": 8.27, "paperHeight": 11.69, "printBackground": True, "preferCSSPageSize": True}
"""A4 [in]."""


@pytest.fixture(scope="module")
def certain(analysis: Analysis) -> Analysis:
    with few_draws():
        return with_intervals(analysis, draws=50)


@pytest.fixture(scope="module")
def wedge(certain: Analysis) -> WhatIf:
    return what_if(certain, parse_wedge("medial:4", "right"), draws=50)


@pytest.fixture(scope="module")
def pages(certain: Analysis, wedge: WhatIf, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every kind of page, written."""
    folder = tmp_path_factory.mktemp("pages")
    _, compared = compare_study(made_results(folder / "made", riders=4, times=2), "condition")
    found = strain_dose(_metrics(), _exposures(), "flat")
    with few_draws():
        fitted = fit(certain, "right", "peak_pressure", draws=50)
    texts = {
        "analyse": render_page(certain),
        "whatif": render_page(certain, wedge),
        "fit": render_page(certain, fit=fitted),
        "study": (compared / "comparison.html").read_text(encoding="utf-8"),
        "dose": render_dose("made up", found, dose_items(found, ()))[0],
    }
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in texts}


def _metrics() -> Any:
    """Joined numbers of two riders with a landing flat and one with a wedge each."""
    import pandas as pd

    rows = []
    for rider, load in (("a", 1.0), ("b", 1.3)):
        for condition, factor in (("flat", 1.0), ("wedge", 0.96)):
            head = (f"{rider}_{condition}", rider, "", "drop", condition, "")
            rows.append((*head, "", "", "drop_height", 0.4, "m", "", "", ""))
            for side, worse in (("right", 1.0), ("left", 1.1)):
                rows.append((*head, side, "", "knee_flexion_peak", 85, "deg", "", "", ""))
                for tissue in tissues().values():
                    if tissue.name != "lumbar_disc" or side == "right":
                        own = "" if tissue.name == "lumbar_disc" else side
                        value = load * factor * worse
                        rows += [
                            (*head, own, "", getattr(tissue, basis), value, "BW s", 0.8 * value, 1.2 * value, "")
                            for basis in BASES
                        ]
    columns = ["trial", "rider", "group", "task", "condition", "style", "side", "foot", "quantity", "value", "unit"]
    return pd.DataFrame(rows, columns=[*columns, "low", "high", "note"]).astype(str)


def _exposures() -> list[Exposure]:
    works = (("practice", 0.2, 0.6, 30.0), ("contests", 0.3, 0.5, 5.0))
    return [Exposure(r, name, low, high, n, 2.0, 10.0, 5.0) for r in ("a", "b") for name, low, high, n in works]


def opened(browser: Any, path: Path) -> None:
    """Loaded, with every section laid out."""
    browser.get(path.as_uri())
    browser.execute_script(LAY_OUT)


def bare(text: str) -> str:
    """Letters and digits alone: paper breaks its lines elsewhere."""
    return re.sub(r"\W+", "", text)


def words_of(browser: Any, query: str) -> str:
    return " ".join(browser.execute_script("return document.querySelector(arguments[0]).innerText", query).split())


@pytest.mark.parametrize("kind", KINDS)
def test_the_answers_stand_on_the_first_screen(driver: Any, pages: dict[str, Path], kind: str) -> None:
    with screen(driver, DESKTOP):
        opened(driver, pages[kind])
        boxes = driver.execute_script(
            "return [...document.querySelectorAll('.answer')].map((a) => [a.id, a.getBoundingClientRect().bottom])"
        )
        wide = driver.execute_script("return document.documentElement.scrollWidth")
    wanted = {
        "analyse": ["trust", "hard", "aligned"], "whatif": ["trust", "shift", "hard", "aligned"],
        "fit": ["trust", "shift", "feet", "hard", "aligned"], "study": ["trust", "shift"],
        "dose": ["trust", "rider", "source", "change", "unsure"],
    }[kind]  # fmt: skip
    assert [name for name, _ in boxes] == [f"answer-{name}" for name in wanted]
    assert max(bottom for _, bottom in boxes) <= DESKTOP["height"]
    assert wide <= DESKTOP["width"]
    assert pages[kind].stat().st_size <= MOST_BYTES


@pytest.mark.parametrize("kind", KINDS)
def test_no_number_says_nothing(pages: dict[str, Path], kind: str) -> None:
    """No '0.00 (0.00 to 0.00)', no interval whose ends read alike, no '– to –'."""
    text = re.sub(r"<(style|script|svg).*?</\1>", "", pages[kind].read_text(encoding="utf-8"), flags=re.S)
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))
    assert re.findall(r"(?<![\d.−-])([−-]?\d+(?:\.\d+)?) to \1(?![\d.])", text) == []
    assert "– to" not in text and "to –" not in text and "nan" not in text.lower().split()


def test_the_landing_is_answered_in_words_and_numbers(
    driver: Any, pages: dict[str, Path], certain: Analysis, wedge: WhatIf
) -> None:
    with screen(driver, DESKTOP):
        opened(driver, pages["whatif"])
        trust, hard, aligned, shift, title = (
            words_of(driver, query)
            for query in ("#answer-trust", "#answer-hard", "#answer-aligned", "#answer-shift", "h1")
        )
    assert trust_in(certain, wedge).text in trust
    assert title.startswith("S1, landing: what a 4 deg heel wedge")
    for name, box in (("vertical_force_peak", hard), ("knee_over_ankle", aligned), ("rearfoot_eversion_peak", aligned)):
        for measure in (m for m in certain.measures if m.quantity == name):
            told = told_measure(measure, certain)
            assert told.interval and f"{told.value} {told.interval}" in box, name
    assert "1 to 17" in hard
    assert re.sub("<[^>]+>", "", shift_sentences(certain, wedge)) in shift


def test_the_study_and_the_dose_are_answered_in_sentences(driver: Any, pages: dict[str, Path]) -> None:
    with screen(driver, DESKTOP):
        opened(driver, pages["study"])
        study = words_of(driver, "#answer-shift")
        opened(driver, pages["dose"])
        rider, source, change = (words_of(driver, f"#answer-{name}") for name in ("rider", "source", "change"))
    assert study.count("for wedge than for flat") == 3 and "riders would decide" in study
    assert "b (left foot) under every exponent" in rider
    assert "practice makes" in source and "saves" in change


@pytest.mark.parametrize("kind", KINDS)
def test_a_telephone_shows_every_value_within_reach(driver: Any, pages: dict[str, Path], kind: str) -> None:
    with screen(driver, TELEPHONE):
        opened(driver, pages[kind])
        screens = driver.execute_script(f"{LAY_OUT} return document.documentElement.scrollHeight") / TELEPHONE["height"]
        low = driver.execute_script(
            "document.getElementById('contents').showPopover();"
            "return [...document.querySelectorAll('button, select, summary, input, nav a')].filter((e) => "
            "e.checkVisibility()).map((e) => [e.outerHTML.slice(0, 60), e.getBoundingClientRect().height])"
        )
        over = driver.execute_script(
            "document.querySelectorAll('details').forEach((fold) => { fold.open = true; });"
            "return [...document.querySelectorAll('main *')].filter((e) => !e.closest('.stage') && "
            "e.getBoundingClientRect().right > 391).map((e) => e.outerHTML.slice(0, 80))"
        )
        size, outside = letters(driver)
        scrolled = driver.execute_script(
            "return [...document.querySelectorAll('.rows, html')].filter("
            "(e) => e.scrollWidth > e.clientWidth + 1).length"
        )
    assert screens <= MOST_SCREENS
    assert [text for text, height in low if height < LEAST_TARGET - ROUNDING] == []
    assert over == [] and scrolled == 0
    assert size >= LEAST_LETTERS and outside == []


@pytest.mark.parametrize("kind", KINDS)
def test_no_column_is_cut_off_on_a_small_desktop(driver: Any, pages: dict[str, Path], kind: str) -> None:
    """A table that is wider than the page can be pushed sideways in its own box."""
    with screen(driver, DESKTOP | {"width": 1280}):
        opened(driver, pages[kind])
        over = driver.execute_script(
            "document.querySelectorAll('details').forEach((fold) => { fold.open = true; });"
            "return [...document.querySelectorAll('main td, main th')].filter((e) => "
            "e.getBoundingClientRect().right > 1281 && getComputedStyle(e.closest('.rows')).overflowX !== 'auto')"
            ".map((e) => e.textContent)"
        )
        wide = driver.execute_script("return document.documentElement.scrollWidth")
    assert over == [] and wide <= 1280


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("kind", ["fit", "study", "dose"])
def test_contrast_holds_in_light_and_dark(driver: Any, pages: dict[str, Path], kind: str, scheme: str) -> None:
    with screen(driver, DESKTOP, scheme):
        opened(driver, pages[kind])
        found = barriers(driver, () if scheme == "light" else CONTRAST, OF_FIT if kind == "fit" else ())
    assert found == []


@pytest.mark.parametrize("kind", ["whatif", "study"])
def test_the_keyboard_alone_reaches_play_and_every_fold(driver: Any, pages: dict[str, Path], kind: str) -> None:
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    with screen(driver, TELEPHONE):
        opened(driver, pages[kind])
        wanted = driver.execute_script(
            "const found = [...document.querySelectorAll('summary, #replay-play')].filter((e) => e.checkVisibility());"
            "window.met = new Set(); document.addEventListener('focusin', (e) => window.met.add(e.target));"
            "window.missed = () => found.filter((e) => !window.met.has(e)).map((e) => e.textContent);"
            "return [found.length, document.querySelectorAll('a, button, select, input, summary, [tabindex]').length]"
        )
        for _ in range(wanted[1] // 10 + 1):
            ActionChains(driver).send_keys(Keys.TAB * 10).perform()
            missed = driver.execute_script("return window.missed()")
            if not missed:
                break
    assert wanted[0] > 5 and missed == []


def test_a_term_tells_its_words_where_it_stands(driver: Any, pages: dict[str, Path]) -> None:
    with screen(driver, DESKTOP):
        opened(driver, pages["analyse"])
        told, inside, closed = driver.execute_script(
            "document.querySelector('#answer-aligned a[href=\"#q-knee_over_ankle\"]').click();"
            "const card = document.getElementById('term'), box = card.getBoundingClientRect();"
            "const seen = box.left >= 0 && box.right <= innerWidth && box.bottom <= innerHeight;"
            "const open = seen && card.matches(':popover-open');"
            "const text = card.innerText; card.hidePopover();"
            "return [text, open, location.hash]"
        )
    assert "Definition:" in told and "Positive:" in told and inside and closed == ""


def test_the_contents_are_in_reach_and_lead_there(driver: Any, pages: dict[str, Path]) -> None:
    with screen(driver, DESKTOP):
        opened(driver, pages["analyse"])
        seen = driver.execute_script(
            "scrollTo(0, document.documentElement.scrollHeight);"
            "const button = document.querySelector('[popovertarget=contents]'), at = button.getBoundingClientRect();"
            "button.click(); const nav = document.getElementById('contents'), open = nav.matches(':popover-open');"
            "const link = nav.querySelector('a[href=\"#alignment\"]'); link.click();"
            "return [at.top >= 0 && at.bottom <= innerHeight, open, nav.matches(':popover-open'), location.hash]"
        )
    assert seen == [True, True, False, "#alignment"]


def test_space_and_arrows_play_on_the_whole_page(driver: Any, pages: dict[str, Path]) -> None:
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys
    from selenium.webdriver.support.ui import WebDriverWait

    def frame() -> int:
        return int(driver.execute_script("return document.getElementById('replay-stage').dataset.frame"))

    with screen(driver, DESKTOP):
        opened(driver, pages["whatif"])
        before = frame()
        ActionChains(driver).send_keys(Keys.ARROW_RIGHT).perform()
        assert frame() == before, "the stage is not in view"
        driver.execute_script("document.getElementById('replay-stage').scrollIntoView({ block: 'center' })")
        WebDriverWait(driver, 20).until(
            lambda _: ActionChains(driver).send_keys(Keys.ARROW_RIGHT).perform() or frame() > before
        )
        at = frame()
        ActionChains(driver).send_keys(Keys.ARROW_LEFT).perform()
        assert frame() == at - 1
        ActionChains(driver).send_keys(" ").perform()
        WebDriverWait(driver, 20).until(lambda _: frame() > at)
        ActionChains(driver).send_keys(" ").perform()
        assert driver.execute_script("return document.getElementById('replay-play').textContent") == "Play"
        filled = driver.execute_script(
            "const stage = document.getElementById('replay-stage'), box = stage.getBoundingClientRect();"
            "const drawn = [...stage.querySelectorAll('.limb, .arrow')].map((p) => p.getBoundingClientRect());"
            "return [(Math.max(...drawn.map((b) => b.bottom)) - Math.min(...drawn.map((b) => b.top))) / box.height]"
        )[0]
        legend = words_of(driver, "#replay .keys")
    assert filled > 0.6
    for words in ("right leg and sole", "left leg and sole", "predicted", "the shape under the foot"):
        assert words in legend


@pytest.mark.parametrize("kind", KINDS)
def test_paper_has_two_pages_of_answers_and_no_lonely_heading(driver: Any, pages: dict[str, Path], kind: str) -> None:
    pdfium = pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    opened(driver, pages[kind])
    headings, panels, boxes = driver.execute_script(
        "return [[...document.querySelectorAll('h2, h3')].map((h) => h.textContent.trim()), "
        "[...document.querySelectorAll('.panel:has(.told small):has(.along):not(.followed *)')].map((p) => "
        "[p.querySelector('.told').textContent, p.querySelector('.along').textContent]), "
        "[...document.querySelectorAll('.answer')].map((a) => a.textContent.trim().replace(/\\s+/g, ' '))]"
    )
    printed = base64.b64decode(driver.execute_cdp_cmd("Page.printToPDF", PAPER)["data"])
    document = pdfium.PdfDocument(printed)
    texts = [document[k].get_textpage().get_text_range() for k in range(len(document))]
    (start,) = [k for k, text in enumerate(texts) if text.lstrip().startswith("Appendix")]
    assert start <= 2, "the answers take two pages at most"
    lonely = [lines[-1] for lines in ([line.strip() for line in text.splitlines() if line.strip()] for text in texts)
              if lines and lines[-1] in headings]  # fmt: skip
    assert lonely == []
    letters = [bare(text) for text in texts]
    assert broken([(bare(title), bare(label)) for title, label in panels], letters) == []
    for box in boxes:
        ends = (bare(box)[:20], bare(box)[-14:])
        assert any(all(end in text for end in ends) for text in letters), f"broken: {box[:60]}"


def broken(panels: list[tuple[str, str]], texts: list[str]) -> list[tuple[str, int, int, int]]:
    """Label below a panel, page, and how many of its panels have their title and how many their label there, where
    these differ: a panel that begins on one page and ends on the next.  panels, texts : letters alone
    """
    out = []
    for label in sorted({label for _, label in panels}):
        titles = {title for title, own in panels if own == label}
        for page, text in enumerate(texts):
            begun, ended = sum(text.count(title) for title in titles), text.count(label)
            out += [(label, page, begun, ended)] if begun != ended else []
    return out


def test_nothing_was_loaded_and_nothing_complained(driver: Any) -> None:
    """Last of all: what the tests above made the pages do."""
    quiet(driver)

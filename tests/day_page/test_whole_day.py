"""The sample study, played as if it were recorded now: from an empty folder to the fitted shape and the protocol, by
the command and in a real browser."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from in_browser import TABLET, screen, text_of, until
from made_study import change, with_draws

from jointload.modeldata import shipped_folder

LONGEST = 900
"""Of the whole day on a busy machine [s]."""
RECORDINGS = 6
PLAN = "rider,condition,landings\nrider_a,flat,1\n"
SHAPES = '[shapes]\nwedge = "medial:4"\n'


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two riders of the sample with a plan of one landing, and no fitting until somebody begins one."""
    folder = tmp_path_factory.mktemp("recorded") / "loft"
    shutil.copytree(shipped_folder("sample_c3d"), folder, ignore=shutil.ignore_patterns("rider_c*"))
    for table in ("riders.csv", "trials.csv"):
        change(folder / table, lambda rows: rows.__setitem__(slice(None), [r for r in rows if "rider_c" not in r]))
    (folder / "plan.csv").write_text(PLAN, encoding="utf-8")
    (folder / "day.toml").write_text(SHAPES, encoding="utf-8")
    with_draws(folder)
    return folder


def started(words: list[str], place: Path) -> Iterator[tuple[Any, str]]:
    """The command at work, and the address that it told; ended in the end, whatever happens."""
    command = [sys.executable, "-m", "jointload.cli", "day", *words, "--port", "0"]
    root = Path(__file__).resolve().parents[2]
    environment = os.environ | {"PYTHONPATH": str(root)}
    running = subprocess.Popen(
        command, cwd=place, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        assert running.stdout is not None
        first = running.stdout.readline()
        assert first.startswith("Open http://127.0.0.1:"), first + (running.stderr.read() if running.stderr else "")
        yield running, first.removeprefix("Open ").strip()
    finally:
        if running.poll() is None:
            running.kill()
        running.communicate()


@pytest.fixture
def day(study: Path, tmp_path: Path) -> Iterator[tuple[Any, str]]:
    pytest.importorskip("uvicorn", reason="the extra [day] is not installed")
    yield from started(["a_day", "--replay", str(study), "--speed", "1000", "--ask"], tmp_path)


def test_a_day_goes_from_an_empty_folder_to_fitted_shape_and_protocol(
    driver: Any, day: tuple[Any, str], study: Path, tmp_path: Path
) -> None:
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    running, address = day
    ends = time.monotonic() + LONGEST

    def click(query: str) -> None:
        driver.find_element(By.CSS_SELECTOR, query).click()

    def state(script: str) -> Any:
        return until(driver, script, seconds=ends - time.monotonic())

    with screen(driver, TABLET):
        driver.get(address)
        for number in range(RECORDINGS):
            file = state("document.querySelector('.ask')?.querySelector('input[name=file]').value")
            rider = file[:7]
            state("document.querySelector('.ask form').dataset.ready")
            click(f".ask button[name=rider][value={rider}]")
            condition = re.search(r"landing_(\w+)\.", file)
            if condition is not None:
                known = driver.find_elements(By.CSS_SELECTOR, f".ask button[name=condition][value={condition[1]}]")
                if known:
                    known[0].click()
                else:
                    driver.find_element(By.CSS_SELECTOR, ".ask input[name=other]").send_keys(condition[1], Keys.ENTER)
            state(f"document.querySelector('.ask')?.querySelector('input[name=file]').value !== '{file}' && true")
            assert number == RECORDINGS - 1 or time.monotonic() < ends
        state("document.querySelectorAll('#numbers tbody tr').length === 5")
        assert "Fine" in text_of(driver, "#verdict")

        click("#begin-fitting summary")
        driver.execute_script("document.querySelector('#fitting select').value = 'peak_pressure'")
        state("document.querySelector('#fitting form').dataset.ready")
        click("#fitting button[name=rider][value=rider_a]")
        click("#fitting button[name=side][value=right]")
        state("document.querySelector('#fitting .files')")
        fitting = text_of(driver, "#fitting")
        links = driver.execute_script("return [...document.querySelectorAll('#fitting .files a')].map((a) => a.href)")

        click("#end button")
        state("document.querySelector('#end .files')")
        driver.get(driver.execute_script("return document.querySelector('#end .files a[href$=html]').href"))
        protocol = text_of(driver, "body")
    running.send_signal(signal.SIGINT)
    told, complained = running.communicate(timeout=LONGEST)
    assert running.returncode == 0, complained
    assert "heel lift" in fitting or "wedge" in fitting or "posting" in fitting
    assert any(link.endswith(".stl") for link in links) and any(link.endswith("sheet.html") for link in links)
    for file in (
        "rider_a_static.c3d",
        "rider_a_landing_flat.c3d",
        "rider_a_landing_wedge.c3d",
        "rider_b_landing_flat.c3d",
    ):
        assert file in protocol and f"{file}: fine" in told
        assert (tmp_path / "a_day" / file).read_bytes() == (study / file).read_bytes()
    assert "protocol.html" in told.splitlines()[-4]
    answered = (tmp_path / "a_day" / "trials.csv").read_text(encoding="utf-8")
    assert "rider_a_landing_wedge.c3d,rider_a,landing,wedge" in answered

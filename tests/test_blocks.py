"""Every block of commands and of Python in README and the guide is run, as by one who reads on from page to page."""

from __future__ import annotations

import contextlib
import re
import shlex
import shutil
from functools import partial
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from command import jointload
from few import few_draws
from made_day import Here

import jointload as jointload_package
from jointload.cli.guide import PAGES
from jointload.insole.fitting.fit import fit
from jointload.intake.pressure import read_layout, read_pressure
from jointload.intake.rider import G
from jointload.modeldata import shipped_folder
from jointload.uncertainty.intervals import with_intervals

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = shipped_folder("sample_c3d")
TEXTS = {page: (ROOT / "jointload" / "guide" / f"{page}.md").read_text(encoding="utf-8") for page in PAGES} | {
    "README": (ROOT / "README.md").read_text(encoding="utf-8")
}
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", flags=re.M | re.S)
RUN_HERE = {"console", "python"}
SHOWN = {"text"}
"""What the block of commands before it prints."""
READ_ELSEWHERE = {"toml": "test_readme", "csv": "test_readme, and below", "sh": ".ci/run, in a clean clone"}
OWN_FILES = {
    "landing.c3d": "rider_a_landing_flat.c3d",
    "landing_2.c3d": "rider_a_landing_flat.c3d",
    "wedge_1.c3d": "rider_a_landing_wedge.c3d",
    "wedge_2.c3d": "rider_a_landing_wedge.c3d",
    "lift_1.c3d": "rider_a_landing_flat.c3d",
    "own_1.c3d": "rider_a_landing_flat.c3d",
    "standing.c3d": "rider_a_static.c3d",
    "rider.toml": "rider_a.toml",
    "board_landing.c3d": "rider_a_board.c3d",
    "board.toml": "board.toml",
    "right.csv": "rider_a_board_right.csv",
    "left.csv": "rider_a_board_left.csv",
    "layout.csv": "pressure_layout.csv",
}
"""What a reader has before the first page, and what of the sample stands in for it."""
WRITTEN = {
    "insole.toml": ("insole", "toml"),
    "shoe.toml": ("feet", "toml"),
    "conditions.csv": ("calibration", "csv"),
    "foam.csv": ("material", "csv"),
}
"""Files of the reader's own that a page shows whole."""
DROPS = {"drop_low.csv": 0.020, "drop_high.csv": 0.045}
"""Files of drop tests -> height [m] from which 8.5 kg fell on the reader's foam, here a linear spring."""
FEW_DRAWS = {
    "analyse": ("--draws", "0"),
    "whatif": ("--draws", "50", "--interval-draws", "0"),
    "layers": ("--draws", "50"),
    "fit": ("--draws", "50", "--interval-draws", "0"),
    "day": ("--speed", "1000", "--port", "0"),
}
"""Added to these commands alone, so that all run in a minute; how many draws there are is tested elsewhere."""
OPTIONAL = {"day": "uvicorn"}
"""A command that needs an optional package."""
Told = tuple[int, str, str]
"""Exit code, standard output, standard error."""


def blocks(text: str, *languages: str) -> list[tuple[str, str]]:
    return [(language, body) for language, body in BLOCK.findall(text) if language in languages]


COMMANDS = list(
    dict.fromkeys(line for text in TEXTS.values() for _, body in blocks(text, "console") for line in body.splitlines())
)
"""In reading order, each once: README shows some of those of the guide again."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What somebody has who follows the guide: own recordings, and the checkout's sample beside them."""
    place = tmp_path_factory.mktemp("reader")
    for name, source in OWN_FILES.items():
        shutil.copy(SAMPLE / source, place / name)
    for name, (page, language) in WRITTEN.items():
        (place / name).write_text(blocks(TEXTS[page], language)[0][1], encoding="utf-8")
    for name, height in DROPS.items():
        write_drop(place / name, height, mass=8.5, stiffness=2e5)
    shutil.copytree(SAMPLE, place / "sample_c3d")
    return place


def write_drop(path: Path, height: float, mass: float, stiffness: float) -> None:
    """Force [N] in time of a mass [kg] that fell on a linear spring [N/m], in closed form."""
    turns, speed = np.sqrt(stiffness / mass), np.sqrt(2.0 * G * height)
    since = np.arange(-0.003, 0.04, 1e-4)
    way = speed / turns * np.sin(turns * since) + G / turns**2 * (1.0 - np.cos(turns * since))
    touching = (since > 0) & (since < 1.5 * np.pi / turns) & (way > 0)
    columns = np.column_stack((1000.0 * since, np.where(touching, stiffness * way, 0.0)))
    np.savetxt(path, columns, delimiter=",", header="time_ms,force_N", comments="", fmt="%.6g")


@pytest.fixture(scope="module")
def told(folder: Path) -> dict[str, Told]:
    """Every command run once, in reading order; a day's workers are this process (as processes: test_whole_day)."""
    done = {}
    with few_draws(), pytest.MonkeyPatch.context() as patch:
        patch.setattr("jointload.day.lanes.Lane", lambda *_, **__: Here())
        for line in COMMANDS:
            done[line] = run(line, folder)
            if line.startswith("jointload labels"):
                shutil.copy(SAMPLE / "labels.toml", folder)  # the reader has read and completed every line
    return done


def run(line: str, folder: Path) -> Told:
    program, command, *words = shlex.split(line)
    assert program == "jointload"
    done = jointload(command, *words, *FEW_DRAWS.get(command, ()), where=folder)
    return done.returncode, done.stdout, done.stderr


def lacks_package(line: str) -> bool:
    """Whether this command needs an optional package that is not installed."""
    needed = OPTIONAL.get(line.split()[1])
    return needed is not None and find_spec(needed) is None


def test_no_block_is_left_out() -> None:
    for name, text in TEXTS.items():
        found = {language for language, _ in BLOCK.findall(text)}
        assert found <= RUN_HERE | SHOWN | set(READ_ELSEWHERE), f"{name} has a block that nothing runs or reads"
        assert text.count("```") == 2 * len(BLOCK.findall(text)), f"{name} has a block that is indented or open"
    assert len(COMMANDS) > 20


def test_the_first_two_lines_are_run_in_a_clean_clone() -> None:
    assert [name for name, text in TEXTS.items() if blocks(text, "sh")] == ["README"]
    assert len(blocks(TEXTS["README"], "sh")) == 2
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for number in (1, 2):
        assert f'bash -euo pipefail -c "$(readme_command {number})"' in script


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_shown_does_what_it_is_shown_for(line: str, told: dict[str, Told], folder: Path) -> None:
    code, out, err = told[line]
    if lacks_package(line):
        assert code == 2 and "expected the packages" in err
        pytest.skip("the optional packages of this command are not installed")
    assert code == 0, err
    assert out.strip()
    written = re.search(r"--out (\S+)", line)
    assert written is None or (folder / written[1]).exists()


def test_what_a_page_shows_of_the_output_is_printed(told: dict[str, Told]) -> None:
    """What stands under the line of the set-up is compared where the demo is run."""
    for text in TEXTS.values():
        before = ("", "")
        for language, body in blocks(text, "console", "sh", "text"):
            if language == "text" and before[0] == "console" and not any(map(lacks_package, before[1].splitlines())):
                said = [line for command in before[1].splitlines() for line in told[command][1].splitlines()]
                assert body.splitlines() == said[-len(body.splitlines()) :]
            before = (language, body)


@pytest.mark.parametrize("line", [c for c in COMMANDS if c.split()[1] in ("analyse", "whatif", "fit", "study")])
def test_a_run_ends_with_the_verdict(line: str, told: dict[str, Told]) -> None:
    last = told[line][1].splitlines()[-1]
    assert last.startswith("Verdict") or any(word in line for word in ("study rerun", "study layers"))


def test_the_python_of_the_guide_runs(told: dict[str, Told], folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From top to bottom, beside the labels.toml that the guide's own command has written; with few draws."""
    monkeypatch.setattr(jointload_package, "with_intervals", partial(with_intervals, draws=30), raising=False)
    monkeypatch.setattr(jointload_package, "fit", partial(fit, draws=50), raising=False)
    names: dict[str, object] = {}
    with few_draws(), contextlib.chdir(folder):
        for _, code in blocks(TEXTS["python"], "python"):
            exec(compile(code, "python.md", "exec"), names)
    table = names["jointload"].metrics_table(names["landing"])  # type: ignore[attr-defined]
    assert {"quantity", "value", "unit"} <= set(table.columns)
    assert (folder / "result_python" / "fit.csv").is_file()


def test_the_tables_of_the_pressure_page_are_read(tmp_path: Path) -> None:
    """As many rows and sensors as the readers ask for, like those that the page shows."""
    (_, pressure), (_, layout) = blocks(TEXTS["pressure"], "csv")
    more = "".join(f"S{k:02},{12 + 20 * k},8,208,\n" for k in range(3, 7))
    (tmp_path / "layout.csv").write_text(layout + more)
    head, units, *rows = pressure.splitlines()
    wide = [f"{head},S03,S04,S05,S06", f"{units},{','.join(['kPa'] * 4)}"]
    wide += [f"{0.005 * k:.3f},{rows[k % 3].partition(',')[2]},0,0,0,0" for k in range(40)]
    (tmp_path / "right.csv").write_text("\n".join(wide))
    sensors = read_layout(tmp_path / "layout.csv")
    read = read_pressure(tmp_path / "right.csv", "right", sensors)
    assert read.pressure.shape[0] == 6 and read.pressure.max() == 148_000.0

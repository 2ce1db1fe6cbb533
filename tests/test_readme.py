"""README.md and the guide say what is so: their commands exist, their Python runs, the set-up is two lines."""

from __future__ import annotations

import csv
import math
import re
import statistics
import subprocess
import tomllib
from pathlib import Path

import pytest
from command import jointload

from jointload.analysis import analyse
from jointload.cli.guide import PAGES
from jointload.day.folder.settings import read_day_settings
from jointload.day.folder.tables import read_wants
from jointload.insole.shape.conditions import read_conditions
from jointload.insole.shape.shape_file import design_from
from jointload.intake.board import board_from
from jointload.intake.labels import labels_from
from jointload.intake.rider import rider_from
from jointload.intake.session import read_session
from jointload.intake.shoe import shoe_from
from jointload.modeldata import shipped_folder

ROOT = Path(__file__).resolve().parents[1]
GROUPS = ("study",)
GUIDE = ROOT / "jointload" / "guide"
README = (ROOT / "README.md").read_text(encoding="utf-8")
TEXTS = {"README.md": README} | {path.name: path.read_text(encoding="utf-8") for path in sorted(GUIDE.glob("*.md"))}
EVERY_TEXT = "\n".join(TEXTS.values())
COMMAND_LINES = list(dict.fromkeys(re.findall(r"^jointload [a-z]+.*", EVERY_TEXT, flags=re.M)))
MOST_WORDS = 950
"""Of README: one sitting."""


def blocks(language: str, text: str = EVERY_TEXT) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", text, flags=re.S)


def command_of(line: str) -> str:
    """The words of a command: analyse, study run."""
    words = line.split()[1:]
    return " ".join(words[:2] if words[0] in GROUPS else words[:1])


def help_of(command: str) -> str:
    done = jointload(*command.split(), "--help", where=ROOT)
    assert done.returncode == 0, f"a text shows `jointload {command}`, which does not exist"
    return done.stdout


def test_the_set_up_is_two_lines() -> None:
    first, second = blocks("sh", README)
    assert first.strip().endswith("jointload demo --out demo_report")
    assert second.strip().endswith("python -m pytest -n auto --dist loadfile")
    assert len(first.strip().splitlines()) == len(second.strip().splitlines()) == 1


@pytest.mark.parametrize("line", COMMAND_LINES)
def test_each_command_shown_exists_with_its_options(line: str) -> None:
    shown = help_of(command_of(line))
    for option in re.findall(r"--[a-z-]+", line):
        assert option in shown, f"{option} is no option of: {line}"


def test_every_command_is_shown() -> None:
    shown = {command_of(line) for line in COMMAND_LINES} | {"demo", "guide"}
    assert shown == {
        "demo", "guide", "day", "check", "labels", "analyse", "whatif", "fit", "shape", "layers", "material", "models",
        "explain", "study run", "study compare", "study rerun", "study dose",
        "study layers",
    }  # fmt: skip
    assert "`jointload guide`" in README


def test_readme_is_read_in_one_sitting() -> None:
    assert len(README.split()) <= MOST_WORDS


def test_every_page_of_the_guide_is_listed_and_reached_from_readme() -> None:
    assert sorted(PAGES) == sorted(path.stem for path in GUIDE.glob("*.md"))
    for page in PAGES:
        assert f"](jointload/guide/{page}.md)" in README, page
        assert TEXTS[f"{page}.md"].startswith("# ")


def test_the_files_shown_are_right() -> None:
    (board,), (insole,), (labels, rider), (shoe,) = (
        [tomllib.loads(text) for text in blocks("toml", TEXTS[f"{page}.md"])]
        for page in ("board", "insole", "landing", "feet")
    )
    assert shoe_from(shoe).friction is not None
    labels_from(labels)
    rider_from(rider)
    assert len(board_from(board).markers) == 3
    assert {shape.side for shape in design_from(insole).shapes} == {"right", "left"}


def test_the_table_of_conditions_is_right(tmp_path: Path) -> None:
    (table,) = blocks("csv", TEXTS["calibration.md"])
    (tmp_path / "conditions.csv").write_text(table)
    (tmp_path / "insole.toml").write_text('side = "right"\nlength_mm = 260\n')
    for line in table.splitlines()[1:]:
        (tmp_path / line.split(",")[0]).touch()
    rows = read_conditions(tmp_path / "conditions.csv", "right")
    assert [row.shape is None for row in rows] == [True, False, False, False, False]


def test_the_files_of_a_day_are_right(tmp_path: Path) -> None:
    for name, language in (("plan.csv", "csv"), ("day.toml", "toml")):
        (tmp_path / name).write_text(blocks(language, TEXTS["day.md"])[0])
    assert [landings for _, _, landings in read_wants(tmp_path / "plan.csv")] == [5, 5]
    settings = read_day_settings(tmp_path / "day.toml")
    assert settings.limits.hard == 20 and settings.fitting is not None and settings.fitting.side == "right"


def test_the_python_runs(tmp_path: Path) -> None:
    sample = shipped_folder("sample_c3d")
    code = blocks("python")[0]
    for shown, file in (
        ("landing.c3d", "rider_a_landing_flat.c3d"),
        ("standing.c3d", "rider_a_static.c3d"),
        ("labels.toml", "labels.toml"),
        ("rider.toml", "rider_a.toml"),
    ):
        assert f'"{shown}"' in code
        code = code.replace(f'"{shown}"', repr(str(sample / file)))
    names: dict[str, object] = {}
    exec(compile(code, "README.md", "exec"), names)
    table = names["jointload"].metrics_table(names["landing"])  # type: ignore[attr-defined]
    assert {"quantity", "value", "unit"} <= set(table.columns)


def test_public_names_exist() -> None:
    import jointload

    names = set(re.findall(r"jointload\.([a-z_]+)", EVERY_TEXT))
    assert names
    for name in names:
        assert hasattr(jointload, name), f"a text names jointload.{name}"


ERROR_ROWS = {
    "vertical force peak": ("vertical_force_peak", 1.0),
    "knee flexion peak": ("knee_flexion_peak", 180.0 / math.pi),
    "knee flexion moment peak": ("knee_flexion_moment_peak", 1.0),
    "knee adduction moment peak": ("knee_adduction_moment_peak", 1.0),
    "L5/S1 extension moment peak": ("l5s1_extension_moment_peak", 1.0),
}
"""Row of README -> quantity of truth.csv, and README's unit in one of its own."""
AS_TOLD = 0.25
"""README prints one or two digits; an error that moves by more than this wants a new row."""


def test_the_five_errors_of_readme_are_those_of_the_sample() -> None:
    sample = shipped_folder("sample_c3d")
    errors: dict[str, list[float]] = {}
    with (sample / "truth.csv").open(encoding="utf-8", newline="") as file:
        truth = {(row["recording"], row["quantity"], row["side"]): float(row["value"]) for row in csv.DictReader(file)}
    for trial in sorted(sample.glob("rider_?_landing_*.c3d")):
        rider = trial.name[:7]
        files = {"static": sample / f"{rider}_static.c3d", "labels": sample / "labels.toml"}
        session = read_session(trial, **files, rider=sample / f"{rider}.toml")
        for measure in analyse(session, variants=False).measures:
            key = (trial.name, measure.quantity, measure.side)
            if key in truth:
                errors.setdefault(measure.quantity, []).append(abs(measure.value - truth[key]))
    for row, (name, factor) in ERROR_ROWS.items():
        (told,) = re.findall(rf"^\| {row} \|[^|]*\| ([\d.]+) ", README, flags=re.M)
        assert factor * statistics.mean(errors[name]) == pytest.approx(float(told), rel=AS_TOLD), row


@pytest.mark.parametrize("name", TEXTS)
def test_links_and_pictures_are_there(name: str) -> None:
    folder = ROOT if name == "README.md" else GUIDE
    for target in re.findall(r"\]\(([^)#]+)\)", TEXTS[name]):
        assert (folder / target).exists(), target


def test_the_top_level_is_as_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "jointload", "models", "tests", "sample_c3d"}
    done = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("not a git checkout")
    tops = {line.split("/")[0] for line in done.stdout.splitlines()}
    assert {top for top in tops if not top.startswith(".")} <= agreed
    assert agreed <= tops

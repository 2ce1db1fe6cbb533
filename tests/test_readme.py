"""README.md says what is so: its commands exist, its Python runs, its set-up is two lines."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from jointload.insole.shape.conditions import read_conditions
from jointload.insole.shape.shape_file import design_from
from jointload.intake.board import board_from
from jointload.intake.labels import labels_from
from jointload.intake.rider import rider_from
from jointload.modeldata import shipped_folder

ROOT = Path(__file__).resolve().parents[1]
GROUPS = ("study",)
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMAND_LINES = [line.strip() for line in README.splitlines() if re.match(r"\s*jointload [a-z]+ ", line)]


def blocks(language: str) -> list[str]:
    return [
        re.sub(r"^ {3}", "", text, flags=re.M) for text in re.findall(rf"```{language}\n(.*?)```", README, flags=re.S)
    ]


def command_of(line: str) -> str:
    """The words of a command: analyse, study run."""
    words = line.split()[1:]
    return " ".join(words[:2] if words[0] in GROUPS else words[:1])


def help_of(command: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "jointload.cli", *command.split(), "--help"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, f"README shows `jointload {command}`, which does not exist"
    return done.stdout


def test_the_set_up_is_two_lines() -> None:
    first, second = blocks("sh")
    assert first.strip().endswith("jointload demo --out demo_report")
    assert second.strip().endswith("python -m pytest")
    assert len(first.strip().splitlines()) == len(second.strip().splitlines()) == 1


@pytest.mark.parametrize("line", COMMAND_LINES)
def test_each_command_shown_exists_with_its_options(line: str) -> None:
    shown = help_of(command_of(line))
    for option in re.findall(r"--[a-z-]+", line):
        assert option in shown, f"{option} in README is no option of: {line}"


def test_every_command_is_shown() -> None:
    shown = {command_of(line) for line in COMMAND_LINES} | {"demo", "models", "explain"}
    assert shown == {
        "demo", "check", "labels", "analyse", "whatif", "fit", "shape", "material", "models", "explain", "study run",
        "study compare",
        "study rerun",
        "study dose",
    }  # fmt: skip
    assert "`jointload models`" in README and "`jointload explain`" in README


def test_the_files_shown_are_right() -> None:
    labels, rider, insole, board = (tomllib.loads(text) for text in blocks("toml"))
    labels_from(labels)
    rider_from(rider)
    assert len(board_from(board).markers) == 3
    assert {shape.side for shape in design_from(insole).shapes} == {"right", "left"}


def test_the_table_of_conditions_is_right(tmp_path: Path) -> None:
    (table,) = blocks("csv")
    (tmp_path / "conditions.csv").write_text(table)
    (tmp_path / "insole.toml").write_text('side = "right"\nlength_mm = 260\n')
    for line in table.splitlines()[1:]:
        (tmp_path / line.split(",")[0]).touch()
    rows = read_conditions(tmp_path / "conditions.csv", "right")
    assert [row.shape is None for row in rows] == [True, False, False, False, False]


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

    for name in set(re.findall(r"jointload\.([a-z_]+)", "\n".join(blocks("python")) + README)) - {"read"}:
        assert hasattr(jointload, name), f"README names jointload.{name}"


def test_links_and_pictures_are_there() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target


def test_the_top_level_is_as_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "jointload", "models", "tests", "sample_c3d"}
    done = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("not a git checkout")
    tops = {line.split("/")[0] for line in done.stdout.splitlines()}
    assert {top for top in tops if not top.startswith(".")} <= agreed
    assert agreed <= tops

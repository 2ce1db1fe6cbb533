"""The command line as a new user meets it: every command works, every mistake is one line and leaves nothing behind."""

from __future__ import annotations

import csv
import json
import math
import os
import re
import runpy
import shutil
import stat
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from command import jointload
from few import few_draws
from written_names import ends_in_a_side_letter

from jointload import __version__ as jointload_version
from jointload.cli.command import GROUPS
from jointload.insole.shape.mesh import load_solid
from jointload.intake.c3d import read_recording
from jointload.modeldata import shipped_folder
from jointload.synthetic.c3d_file import write_c3d

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = shipped_folder("sample_c3d")
COMMANDS = ("demo", "check", "labels", "analyse", "whatif", "fit", "shape", "layers", "material", "models")
PAPER = {"methods.md", "methods.tex", "references.bib"}
RESULT = {"report.html", "metrics.csv", "series.csv", "quality.csv", "derived.c3d", "run.json"} | PAPER


def as_a_process(*words: str, where: Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONWARNINGS": "error", "COLUMNS": "100"}
    return subprocess.run(
        [sys.executable, "-m", "jointload.cli", *words],
        cwd=where,
        env=environment | {"PYTHONPATH": str(Path(__file__).parents[1])},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def inputs(**changed: str) -> list[str]:
    """The words of an analysis of one sample landing, with some replaced ('' leaves one out)."""
    given = {
        "trial": str(SAMPLE / "rider_a_landing_flat.c3d"),
        "static": str(SAMPLE / "rider_a_static.c3d"),
        "labels": str(SAMPLE / "labels.toml"),
        "rider": str(SAMPLE / "rider_a.toml"),
        "out": "result",
    } | changed
    words = [given.pop("trial")]
    return words + [word for name, value in given.items() if value for word in (f"--{name}", value)]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command: str, tmp_path: Path) -> None:
    done = jointload(command, "--help", where=tmp_path)
    assert done.returncode == 0
    assert len(done.stdout.splitlines()) > 4


def test_short_help_and_the_version(tmp_path: Path) -> None:
    assert as_a_process("-h", where=tmp_path).stdout == jointload("--help", where=tmp_path).stdout
    assert jointload("analyse", "-h", where=tmp_path).returncode == 0
    done = as_a_process("--version", where=tmp_path)
    assert done.returncode == 0
    assert done.stdout.strip() == f"jointload {jointload_version}"


@pytest.mark.parametrize(("told", "kept"), [(None, "1"), ("3", "3")])
def test_libraries_of_algebra_get_one_thread_unless_told(told: str | None, kept: str) -> None:
    """The draws' own threads have the processors; those of a library wait for them in a loop."""
    environment = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    script = "import atexit, os\natexit.register(lambda: print(os.environ['OPENBLAS_NUM_THREADS']))\n"
    script += "from jointload.cli import main\nmain()"
    environment |= {"OPENBLAS_NUM_THREADS": told} if told else {}
    done = subprocess.run(
        [sys.executable, "-c", script, "--version"], env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.split()[-1] == kept


@pytest.mark.parametrize("words", [["--help"], ["study", "--help"]])
def test_a_command_stands_once_in_the_help(words: list[str], tmp_path: Path) -> None:
    said = re.findall(r"^  ([a-z]+)  ", jointload(*words, where=tmp_path).stdout, re.MULTILINE)
    assert "layers" in said and len(said) == len(set(said))


def test_a_quantity_may_be_named_in_words(tmp_path: Path) -> None:
    assert jointload("explain", "peak", "knee", where=tmp_path).returncode == 2
    said = jointload("explain", "knee", "flexion", "peak", where=tmp_path).stdout
    assert said == jointload("explain", "knee_flexion_peak", where=tmp_path).stdout


def test_a_decimal_comma_is_told(tmp_path: Path) -> None:
    (tmp_path / "rider.toml").write_text('id = "x"\nmass_kg = 68,5\n', encoding="utf-8")
    words = ("check", str(SAMPLE / "rider_a_static.c3d"), "--rider", "rider.toml")
    assert "at line 2, column 13) in rider.toml; mend that line: words in quotes, decimals with a point" in (
        jointload(*words, where=tmp_path).stderr
    )


def test_no_words_show_the_help(tmp_path: Path) -> None:
    done = jointload(where=tmp_path)
    assert done.returncode == 0
    assert all(command in done.stdout for command in COMMANDS)


def test_the_demo_writes_the_whole_result_folder(tmp_path: Path) -> None:
    done = jointload("demo", "--out", "demo_report", where=tmp_path)
    assert done.returncode == 0, done.stderr
    assert {path.name for path in (tmp_path / "demo_report").iterdir()} == RESULT | {
        "whatif.csv", "fit.csv", "trade_off.csv", "insole"
    }  # fmt: skip
    page = (tmp_path / "demo_report" / "report.html").read_text(encoding="utf-8")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert f"```text\n{done.stdout.splitlines()[-1]}\n```" in readme.split("```sh")[1]
    assert_the_picture_of_readme_shows(page)
    assert page.count("pressure before (modelled) and after") >= 2
    solid = load_solid(tmp_path / "demo_report" / "insole" / "insole_right_mm.stl")
    assert solid.open_edges == 0
    assert not ends_in_a_side_letter(tmp_path / "demo_report")
    assert {path.name for path in tmp_path.iterdir()} == {"demo_report"}


def pictures() -> dict[str, Any]:
    return runpy.run_path(str(ROOT / ".readme" / "pictures.py"))


def test_the_picture_of_the_layers_is_that_of_the_page(tmp_path: Path) -> None:
    made = pictures()
    assert_the_picture_of_readme_shows(made["written"](made["PICTURES"]["layers"], tmp_path), "layers")


ENDS_APART = 2.01
"""Last digits by which a fitted shape differs between the oldest and the newest versions: 0.2 mm of its base."""


def assert_the_picture_of_readme_shows(page: str, name: str = "demo_report") -> None:
    """The words of the page's answers are those in the picture, and its numbers are near: others are for a new one."""
    made = pictures()
    shown = (ROOT / ".readme" / f"{name}.txt").read_text(encoding="utf-8")
    number = re.compile(r"\d+(?:\.\d+)?")
    now = made["words"](page)
    assert number.sub("#", now) == number.sub("#", shown), "run: python .readme/pictures.py"
    for one, other in zip(number.findall(now), number.findall(shown), strict=True):
        last_digit = 10.0 ** -len(other.partition(".")[2])
        near = pytest.approx(float(other), rel=0.1, abs=ENDS_APART * last_digit)
        assert float(one) == near, "run: python .readme/pictures.py"


def test_analyse_without_a_whatif(tmp_path: Path) -> None:
    with few_draws():
        done = jointload("analyse", *inputs(out="a/b/result"), "--draws", "40", where=tmp_path)
    assert done.returncode == 0, done.stderr
    assert {path.name for path in (tmp_path / "a/b/result").iterdir()} == RESULT
    *_, force, knee, back, verdict = done.stdout.splitlines()
    assert [line.split(" [")[0] for line in (force, knee, back)] == [
        "peak vertical force", "peak knee adduction moment", "peak L5/S1 extension moment"
    ]  # fmt: skip
    assert " right 2.18 (" in force and ", left 2.29 (" in force  # 1304.34 and 1372.16 N of truth.csv by 61 kg
    record = json.loads((tmp_path / "a/b/result/run.json").read_text(encoding="utf-8"))
    assert verdict == f"Verdict: {record['verdict']['text']}" == "Verdict: recording: fine"
    with (tmp_path / "a/b/result/metrics.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) > 90
    for row in rows:
        number = row["value"] and row["quantity"] not in {"first_contact_zone", "toe_slide"}  # a word, a doubt itself
        assert bool(row["low"] and row["high"]) == bool(number), row
    assert not ends_in_a_side_letter(tmp_path / "a/b/result")
    assert record["intervals"]["draws"] == 40 and "skin" in record["intervals"]["inputs"]


def test_inputs_taken_as_exact_are_left_out(tmp_path: Path) -> None:
    words = ("--draws", "20", "--without", "skin, camera", "--seed", "4")
    with few_draws():
        done = jointload("analyse", *inputs(), *words, where=tmp_path)
    assert done.returncode == 0, done.stderr
    intervals = json.loads((tmp_path / "result" / "run.json").read_text(encoding="utf-8"))["intervals"]
    assert intervals["seed"] == 4 and not {"skin", "camera"} & set(intervals["inputs"])
    done = jointload("analyse", *inputs(out="other"), "--without", "markers", where=tmp_path)
    assert done.returncode == 2 and "the known ones are camera" in done.stderr
    assert len(done.stderr.splitlines()) == 1


def own_folder(folder: Path) -> Path:
    """A folder as a laboratory has it: one landing, one standing trial, labels.toml and rider.toml."""
    files = {"rider_a_landing_flat.c3d": "landing.c3d", "rider_a_static.c3d": "standing.c3d"}
    for name, own in (files | {"labels.toml": "labels.toml", "rider_a.toml": "rider.toml"}).items():
        shutil.copy(SAMPLE / name, folder / own)
    return folder


def test_what_lies_beside_a_landing_is_found_and_said(tmp_path: Path) -> None:
    own_folder(tmp_path)
    done = jointload("analyse", "landing.c3d", "--out", "result", "--draws", "0", where=tmp_path)
    assert done.returncode == 0, done.stderr
    found = "Found beside landing.c3d: labels.toml, rider.toml, the standing trial standing.c3d"
    assert done.stderr.splitlines()[0] == found
    record = json.loads((tmp_path / "result" / "run.json").read_text(encoding="utf-8"))
    assert set(record["inputs"]) == {"trial", "static", "labels", "rider"}


def test_of_several_standing_trials_none_is_guessed(tmp_path: Path) -> None:
    own_folder(tmp_path)
    shutil.copy(SAMPLE / "rider_b_static.c3d", tmp_path / "other.c3d")
    done = jointload("analyse", "landing.c3d", "--out", "result", where=tmp_path)
    assert done.returncode == 2
    assert "found other.c3d, standing.c3d" in done.stderr and "--static" in done.stderr
    assert not (tmp_path / "result").exists()


def test_a_landing_and_its_standing_trial_exchanged_are_told(tmp_path: Path) -> None:
    own_folder(tmp_path)
    done = jointload("analyse", "standing.c3d", "--static", "landing.c3d", "--out", "result", where=tmp_path)
    assert done.returncode == 2
    assert "exchanged with the standing trial" in done.stderr.splitlines()[-1]


def test_an_earlier_result_is_replaced_when_told_alone(tmp_path: Path) -> None:
    own_folder(tmp_path)
    words = ("analyse", "landing.c3d", "--out", "result", "--draws", "0")
    assert jointload(*words, where=tmp_path).returncode == 0
    first = (tmp_path / "result" / "run.json").read_bytes()
    again = jointload(*words, "--cutoff", "15", "--smoothing", "fixed", where=tmp_path)
    assert again.returncode == 2 and "--replace" in again.stderr
    assert (tmp_path / "result" / "run.json").read_bytes() == first
    replaced = jointload(*words, "--cutoff", "15", "--smoothing", "fixed", "--replace", where=tmp_path)
    assert replaced.returncode == 0, replaced.stderr
    assert (tmp_path / "result" / "run.json").read_bytes() != first
    (tmp_path / "result" / "run.json").unlink()
    assert jointload(*words, "--replace", where=tmp_path).returncode == 2, "what is no result is never replaced"


@pytest.mark.parametrize("command", ["analyse", "whatif", "fit", "demo", "shape", "study compare", "study dose"])
def test_options_are_grouped_and_the_defaults_are_told(command: str, tmp_path: Path) -> None:
    shown = jointload(*command.split(), "--help", where=tmp_path).stdout
    groups = [line.rstrip(":") for line in shown.splitlines() if line.endswith(":") and not line.startswith(" ")]
    assert groups == [group for group in GROUPS if group in groups]
    assert {"Output", "Help"} <= set(groups) and "--replace" in shown.split("Output:")[1]
    if "--threshold" in shown:
        assert "[default: 20.0]" in shown.split("Settings:")[1]


def test_layers_say_which_one_serves(tmp_path: Path) -> None:
    words = inputs(out="result", static=str(SAMPLE / "rider_a_static.c3d"))
    other = str(SAMPLE / "rider_a_landing_wedge.c3d")
    done = jointload("layers", *words, "--others", other, "--stack", "5mm", "--draws", "60", where=tmp_path)
    assert done.returncode == 0, done.stderr
    assert {path.name for path in (tmp_path / "result").iterdir()} == {"layers.html", "layers.csv", "layers.json"}
    assert done.stdout.startswith("At 3 mm under the heel of the ") and "heel pressure −" in done.stdout
    with (tmp_path / "result/layers.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["place"] for row in rows} == {"heel", "ball", "whole"}
    assert len({row["landing"] for row in rows}) == 2 and len({row["side"] for row in rows}) == 2
    for row in rows:
        numbers = [float(row[f"heel_pressure_change_percent{end}"]) for end in ("_low", "", "_high")]
        assert numbers == sorted(numbers) and row["law_speed"] and row["law_basis"]
    record = json.loads((tmp_path / "result/layers.json").read_text(encoding="utf-8"))
    assert done.stdout.splitlines()[0] == record["sentence"]
    page = (tmp_path / "result/layers.html").read_text(encoding="utf-8")
    assert "stack limit" in page and "probability of injury" in page and "Midsoles of 0, 2, 4, 8 and 16 mm" in page


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--height", "9mm"), "1 to 8 mm, within the stack"),
        (("--height", "6mm", "--stack", "5mm"), "1 to 5 mm, within the stack"),
        (("--under", "arch"), "heel, ball, whole"),
        (("--temperature", "-60"), "-20 to 50 deg C"),
    ],
)
def test_a_layer_that_is_none_is_refused_before_the_work(tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    done = jointload("layers", *inputs(), *words, where=tmp_path)
    assert done.returncode == 2 and told in done.stderr and len(done.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_labels_are_proposed_and_never_overwritten(tmp_path: Path) -> None:
    file = str(SAMPLE / "rider_a_static.c3d")
    assert "[landmarks]" in jointload("labels", file, where=tmp_path).stdout
    assert jointload("labels", file, "--out", "labels.toml", where=tmp_path).returncode == 0
    (tmp_path / "labels.toml").write_text("mine", encoding="utf-8")
    again = jointload("labels", file, "--out", "labels.toml", where=tmp_path)
    assert again.returncode == 2
    assert (tmp_path / "labels.toml").read_text(encoding="utf-8") == "mine"


def test_check_tells_good_from_bad(tmp_path: Path) -> None:
    (tmp_path / "bad.c3d").write_text("not a recording", encoding="utf-8")
    good, bad = str(SAMPLE / "rider_a_landing_flat.c3d"), "bad.c3d"
    assert jointload("check", good, where=tmp_path).returncode in (0, 1)
    both = jointload("check", bad, good, where=tmp_path)
    assert both.returncode == 2
    assert "bad.c3d: refused" in both.stderr
    assert f"{good}: 22 passed" in both.stdout, "the good file is still told"
    assert "rates, markers: 250 Hz" in jointload("check", "--all", good, where=tmp_path).stdout


def test_models_show_their_sources(tmp_path: Path) -> None:
    listed = jointload("models", where=tmp_path)
    assert "inertia/de_leva_1996" in listed.stdout
    assert "source:" in listed.stdout
    one = jointload("models", "harrington_2007", where=tmp_path).stdout
    assert "population:" in one
    assert "read_in:" in one


def bad_rider(tmp_path: Path, **changed: object) -> str:
    rider = {"id": "x", "mass_kg": 70, "height_m": 1.7, "sex": "f"} | changed
    lines = [f"{key} = {value!r}".replace("'", '"') for key, value in rider.items() if value is not None]
    (tmp_path / "bad.toml").write_text("\n".join(lines), encoding="utf-8")
    return "bad.toml"


MISTAKES = {
    "missing trial": (lambda t: {"trial": "nowhere.c3d"}, "nowhere.c3d"),
    "missing static": (lambda t: {"static": "nowhere.c3d"}, "nowhere.c3d"),
    "no static and none in the landing": (lambda t: {"static": ""}, "with --static"),
    "missing labels": (lambda t: {"labels": "nowhere.toml"}, "nowhere.toml"),
    "missing rider": (lambda t: {"rider": "nowhere.toml"}, "nowhere.toml"),
    "a folder for a trial": (lambda t: {"trial": str(t)}, "found a directory"),
    "zero mass": (lambda t: {"rider": bad_rider(t, mass_kg=0)}, "20 to 250 kg"),
    "negative height": (lambda t: {"rider": bad_rider(t, height_m=-1.7)}, "1 to 2.4 m"),
    "height in centimetres": (lambda t: {"rider": bad_rider(t, height_m=170)}, "1 to 2.4 m"),
    "mass in pounds as text": (lambda t: {"rider": bad_rider(t, mass_kg="154 lb")}, "20 to 250 kg"),
    "no mass": (lambda t: {"rider": bad_rider(t, mass_kg=None)}, "mass_kg"),
    "misspelt key": (lambda t: {"rider": bad_rider(t, masss=1)}, "masss"),
    "unknown hip centre": (lambda t: {"hip-centre": "guess"}, "harrington_2007"),
    "unknown inertia table": (lambda t: {"inertia": "guess"}, "de_leva_1996"),
    "cut-off out of range": (lambda t: {"cutoff": "9999", "smoothing": "fixed"}, "1 to 500 Hz"),
    "cut-off beside balanced smoothing": (lambda t: {"cutoff": "15"}, "none with balanced smoothing"),
    "unknown landing end": (lambda t: {"landing-end": "soon"}, "lowest_pelvis"),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_one_clear_line_and_leaves_nothing(mistake: str, tmp_path: Path) -> None:
    change, words = MISTAKES[mistake]
    words_given = inputs(**change(tmp_path))
    before = {path.name for path in tmp_path.iterdir()}
    done = jointload("analyse", *words_given, where=tmp_path)
    steps = ("Reading", "Angles and moments", "Report", "Looking for a standing trial")
    lines = [line for line in done.stderr.splitlines() if line not in steps]
    assert done.returncode == 2, done.stderr
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith("jointload: ")
    assert words in lines[0]
    assert {path.name for path in tmp_path.iterdir()} == before


def test_an_unknown_label_lists_the_close_ones(tmp_path: Path) -> None:
    text = (SAMPLE / "labels.toml").read_text(encoding="utf-8").replace('"R_heel"', '"R_heal"')
    (tmp_path / "labels.toml").write_text(text, encoding="utf-8")
    done = jointload("analyse", *inputs(labels="labels.toml"), where=tmp_path)
    assert done.returncode == 2
    assert "R_heal" in done.stderr
    assert "R_heel" in done.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nonsense"], "nonsense"),
        (["analyse"], "analyse needs TRIAL (C3D file of the landing), --out (folder for the result), --labels"),
        (["analyse", "README.md"], "README.md does not exist; analyse needs --out"),
        (["fit", *inputs(out="")], "fit needs --out (folder for the result), --side (right or left"),
        (["whatif", *inputs(), "--side", "right"], "heel-wedge"),
        (["check", "nowhere.c3d", "gone.c3d"], "nowhere.c3d does not exist; gone.c3d does not exist"),
        (["study", "compare"], "compare needs FOLDER (study.toml, riders.csv, trials.csv, labels.toml and recordings)"),
        (["analyse", "--outt", "x"], "see jointload analyse --help"),
        (["guide", "nothing"], "landing"),
        (["models", "nothing"], " more, found 'nothing' in models/; `jointload models` lists all names"),
        (["shape", str(SAMPLE / "rider_a_static.c3d"), "--out", "x"], "insole file: expected TOML, found no text in"),
        (["material", str(SAMPLE / "truth.csv"), "--hardness", "60"], "a test or a hardness, found both"),
        (["material", "--hardness", "60", "--kind", "elastomer", "--out", "x"], "leave --out out"),
        (["models", "de_leva"], "expected one of de_leva_1996, found 'de_leva'"),
    ],
)
def test_wrong_words_are_one_line(words: list[str], said: str, tmp_path: Path) -> None:
    done = jointload(*words, where=tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert said in done.stderr


def test_an_impossible_wedge_is_refused_before_any_work(tmp_path: Path) -> None:
    done = jointload("whatif", *inputs(), "--heel-wedge", "medial:40", "--side", "right", where=tmp_path)
    assert done.returncode == 2
    assert done.stderr.startswith("jointload: wedge angle") and done.stderr.strip().endswith("write it like medial:4")
    assert not list(tmp_path.iterdir())


INSOLE = """side = "right"
length_mm = 270
[rearfoot_posting]
degrees = 3
raised = "medial"
[arch_fill]
height_mm = 5
"""


def test_a_whatif_of_parts_and_of_an_insole_file(tmp_path: Path) -> None:
    (tmp_path / "insole.toml").write_text(INSOLE, encoding="utf-8")
    parts = ("--heel-wedge", "lateral:3", "--heel-lift", "3mm", "--thickness", "5mm", "--side", "right")
    for words, said in ((parts, "3 mm heel lift"), (("--insole", "insole.toml"), "5 mm arch fill")):
        few = ("--draws", "50", "--interval-draws", "0", "--replace")
        done = jointload("whatif", *inputs(), *words, *few, where=tmp_path)
        assert done.returncode == 0, done.stderr
        record = json.loads((tmp_path / "result" / "run.json").read_text(encoding="utf-8"))
        *_, eversion, knee, moment, verdict = done.stdout.splitlines()
        assert all(line.startswith("Change of right ") for line in (eversion, knee, moment))
        assert verdict == f"Verdict: {record['verdict']['text']}" and "prediction: " in verdict
        assert said in record["whatif"]["shape"]


def test_several_wedges_are_compared(tmp_path: Path) -> None:
    words = ("--heel-wedge", "medial:2, lateral:4", "--side", "right", "--draws", "50", "--interval-draws", "0")
    done = jointload("whatif", *inputs(), *words, where=tmp_path)
    assert done.returncode == 0, done.stderr
    record = json.loads((tmp_path / "result" / "run.json").read_text(encoding="utf-8"))
    assert record["whatif"]["shape"].startswith("2 deg heel wedge under the right foot, medial")
    (other,) = record["whatif"]["compared_with"]
    assert other.startswith("4 deg heel wedge under the right foot, lateral")
    table = (tmp_path / "result" / "whatif.csv").read_text(encoding="utf-8")
    assert table.count("knee_adduction_moment_peak") == 2
    assert "The shapes beside each other" in (tmp_path / "result" / "report.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--insole", "insole.toml", "--heel-lift", "3mm"), "--insole alone"),
        (("--insole", "nowhere.toml"), "nowhere.toml does not exist, closest is insole.toml"),
        (("--insole", "insole.toml", "--side", "left"), "insole side"),
        (("--heel-lift", "3mm"), "add --side"),
        (("--heel-lift", "3 miles", "--side", "right"), "a number with a unit"),
        (("--heel-lift", "60mm", "--side", "right"), "heel lift: expected 0 to 20 mm"),
        (("--thickness", "1m", "--side", "right"), "base thickness"),
    ],
)
def test_an_impossible_shape_is_refused_before_any_work(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    (tmp_path / "insole.toml").write_text(INSOLE, encoding="utf-8")
    done = jointload("whatif", *inputs(), *words, where=tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1 and said in done.stderr
    assert not (tmp_path / "result").exists()


def test_a_folder_of_other_things_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "result").mkdir()
    (tmp_path / "result" / "thesis.txt").write_text("years of work", encoding="utf-8")
    done = jointload("analyse", *inputs(), "--draws", "0", where=tmp_path)
    assert done.returncode == 2
    assert [path.name for path in (tmp_path / "result").iterdir()] == ["thesis.txt"]


def test_an_unwritable_folder_is_told(tmp_path: Path) -> None:
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(stat.S_IRUSR | stat.S_IXUSR)
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    target = "file/result" if os.geteuid() == 0 else "locked/result"
    done = jointload("analyse", *inputs(out=target), "--draws", "0", where=tmp_path)
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].startswith("jointload: ")
    assert not list(locked.iterdir())


@pytest.mark.parametrize(
    "command",
    [
        ["demo"],
        ["analyse", *inputs(out="")],
        ["whatif", *inputs(out=""), "--heel-wedge", "medial:4", "--side", "right"],
        ["fit", *inputs(out=""), "--side", "right"],
        ["layers", *inputs(out="")],
        ["shape", "insole.toml"],
        ["material", "insole.toml"],
        ["study", "run", str(SAMPLE)],
        ["study", "compare", str(SAMPLE), "--by", "condition"],
        ["study", "dose", str(SAMPLE)],
        ["study", "layers", str(SAMPLE)],
        ["study", "rerun", "insole.toml"],
    ],
    ids=lambda words: "_".join(words[: 2 if words[0] == "study" else 1]),
)
def test_a_place_that_cannot_be_written_is_told_before_any_work(command: list[str], tmp_path: Path) -> None:
    """The word of a step stands on a line of its own, so that one line says: nothing was begun."""
    (tmp_path / "insole.toml").write_text("", encoding="utf-8")
    (tmp_path / "file").write_text("", encoding="utf-8")
    done = jointload(*command, "--out", "file/result", where=tmp_path)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert line.startswith("jointload: result folder: expected a place that can be written, found a file in the way")
    assert line.endswith("choose another --out")


@pytest.mark.parametrize("command", [["shape", "insole.toml"], ["study", "dose", str(SAMPLE)]])
def test_a_folder_that_holds_no_earlier_result_is_not_replaced(command: list[str], tmp_path: Path) -> None:
    """Told before the insole, or the study's results, are read."""
    (tmp_path / "insole.toml").write_text("", encoding="utf-8")
    (tmp_path / "result").mkdir()
    (tmp_path / "result" / "thesis.txt").write_text("years of work", encoding="utf-8")
    done = jointload(*command, "--out", "result", "--replace", where=tmp_path)
    (line,) = done.stderr.splitlines()
    assert line.startswith("jointload: result folder: expected an empty or new folder, or an earlier result, found ")


def test_a_fit_with_landings_on_known_shapes(tmp_path: Path) -> None:
    """The invented wedge landing, and the flat one taken for a lift's; hashes of all of them are in the record."""
    for name in ("rider_a_landing_wedge.c3d", "rider_a_landing_flat.c3d"):
        (tmp_path / name).write_bytes((SAMPLE / name).read_bytes())
    table = "file,shape\nrider_a_landing_wedge.c3d,medial:4\nrider_a_landing_flat.c3d,lift:8mm\n"
    (tmp_path / "conditions.csv").write_text(table)
    words = (
        "--side",
        "right",
        "--target",
        "peak_pressure",
        "--stack",
        "12mm",
        "--draws",
        "50",
        "--interval-draws",
        "0",
    )
    with few_draws():
        done = jointload("fit", *inputs(), *words, "--conditions", "conditions.csv", where=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "a prediction" in done.stdout and "A shape within your limits" in done.stdout
    record = json.loads((tmp_path / "result" / "run.json").read_text())
    assert len(record["fit"]["measured_shapes"]) == 2
    assert {"conditions", "condition_1", "condition_2"} <= set(record["inputs"])
    assert {path.name for path in (tmp_path / "result").iterdir()} == RESULT | {"fit.csv", "trade_off.csv", "insole"}
    assert "Does the calibration foretell this rider" in (tmp_path / "result" / "report.html").read_text()


@pytest.mark.parametrize(
    ("words", "said"),
    [(["--side", "x"], "right or left"), (["--side", "right", "--target", "speed"], "knee_adduction_moment"),
     (["--side", "right", "--stack", "8"], "stack"), (["--side", "right", "--posting", "40"], "posting"),
     (["--side", "right", "--conditions", "nowhere.csv"], "nowhere.csv")],
)  # fmt: skip
def test_a_fit_that_cannot_be_asked_is_one_line(words: list[str], said: str, tmp_path: Path) -> None:
    done = jointload("fit", *inputs(), *words, "--interval-draws", "0", where=tmp_path)
    assert done.returncode == 2
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith("jointload: ") and said in last
    assert not (tmp_path / "result").exists()


def test_check_finds_nothing_wrong_with_a_clean_standing_trial_and_its_landing(tmp_path: Path) -> None:
    told = ("--labels", str(SAMPLE / "labels.toml"), "--rider", str(SAMPLE / "rider_a.toml"), "--forward", "+x")
    files = [str(SAMPLE / f"rider_a_{name}.c3d") for name in ("static", "landing_flat")]
    done = as_a_process("check", *files, *told, where=tmp_path)
    assert done.returncode == 0, done.stdout
    assert len(done.stdout.splitlines()) == 3, "what passed is a count"
    done = jointload("check", *files, *told, "--all", where=tmp_path)
    assert "rider_a_static.c3d and rider_a_landing_flat.c3d, compared" in done.stdout
    assert "body weight" in done.stdout and "as told" in done.stdout
    assert jointload("check", files[0], where=tmp_path).returncode == 0


def test_somebody_elses_standing_trial_is_said_in_the_terminal(tmp_path: Path) -> None:
    other = {"static": str(SAMPLE / "rider_b_static.c3d")}
    done = jointload("analyse", *inputs(**other), "--draws", "0", where=tmp_path)
    assert done.returncode == 1
    assert "this standing trial looks like somebody else's" in done.stderr
    checked = as_a_process(
        "check", other["static"], str(SAMPLE / "rider_a_landing_flat.c3d"), "--labels", str(SAMPLE / "labels.toml"),
        "--rider", str(SAMPLE / "rider_a.toml"), where=tmp_path,
    )  # fmt: skip
    assert checked.returncode == 2 and "same person" in checked.stdout
    insisted = jointload("analyse", *inputs(out="other", **other), "--draws", "0", "--same-person", where=tmp_path)
    assert insisted.returncode == 0


def test_a_shape_under_a_landing_without_plates_is_refused_before_the_draws(tmp_path: Path) -> None:
    trial = tmp_path / "bare.c3d"
    write_c3d(replace(read_recording(SAMPLE / "rider_a_landing_flat.c3d"), plates=()), trial)
    for command, asked in (("whatif", ("--heel-wedge", "medial:4")), ("fit", ())):
        done = jointload(command, *inputs(trial=str(trial)), *asked, "--side", "right", where=tmp_path)
        assert done.returncode == 2
        assert "How certain" not in done.stderr
        last = done.stderr.strip().splitlines()[-1]
        assert "no force plate in the recording" in last and "record the landing on force plates" in last
    assert not (tmp_path / "result").exists()


def test_hidden_names_reach_no_output(tmp_path: Path) -> None:
    """The recordings' file names hold a name; none of the results does."""
    for name in ("landing_flat", "static"):
        (tmp_path / f"jane_roe_{name}.c3d").write_bytes((SAMPLE / f"rider_a_{name}.c3d").read_bytes())
    own = {"trial": "jane_roe_landing_flat.c3d", "static": "jane_roe_static.c3d"}
    done = jointload("analyse", *inputs(**own), "--draws", "0", "--hide-names", where=tmp_path)
    assert done.returncode == 0, done.stderr
    for path in (tmp_path / "result").iterdir():
        assert b"jane_roe" not in path.read_bytes().lower(), path.name
    assert "jane_roe" not in (done.stdout + done.stderr).lower()


def test_no_table_holds_a_formula(tmp_path: Path) -> None:
    """A rider @SUM(1) stays readable, and no cell begins like a formula."""
    rider = (SAMPLE / "rider_a.toml").read_text(encoding="utf-8").splitlines()
    (tmp_path / "rider.toml").write_text(
        "\n".join('id = "@SUM(1)"' if line.startswith("id") else line for line in rider), encoding="utf-8"
    )
    done = jointload("analyse", *inputs(rider="rider.toml"), "--draws", "0", where=tmp_path)
    assert done.returncode == 0, done.stderr
    cells = []
    for path in (tmp_path / "result").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            cells += [cell for row in csv.reader(file) for cell in row]
    assert "'@SUM(1)" in cells
    for cell in cells:
        assert not cell.startswith(("=", "+", "@")) and (not cell.startswith("-") or math.isfinite(float(cell))), cell

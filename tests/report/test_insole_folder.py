"""The maker's folder, the drawing, the sheet and the figure of materials, and the two commands that write them."""

from __future__ import annotations

import hashlib
import json
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command import jointload
from in_browser import TELEPHONE, screen

from jointload.errors import OutputError
from jointload.insole.shape.compression import CompressionTest, fit_layer
from jointload.insole.shape.impact_test import fit_cushion
from jointload.insole.shape.materials import Material, material, read_materials
from jointload.insole.shape.measured import measure
from jointload.insole.shape.mesh import REPRODUCED, Solid, load_solid, solid_of, stl_bytes
from jointload.insole.shape.parts import ArchFill, HeelLift, Layer, MetatarsalSupport, Posting
from jointload.insole.shape.scan import read_scan
from jointload.insole.shape.shape import InsoleShape
from jointload.report.papers import shape_folder
from jointload.report.papers.insole_drawing import draw_insole
from jointload.report.papers.insole_sheet import PERSON, Written, render_sheet
from jointload.report.papers.insole_words import CAUTIONS, HEADING, angle_text, parts_of, remarks
from jointload.report.papers.material_figure import draw_materials
from jointload.report.papers.material_folder import write_material
from jointload.report.papers.shape_folder import shown_numbers, write_shape
from jointload.report.words.whole_folder import write_whole

LAYERS = (Layer(material("pu_foam_soft"), 0.0015), Layer(material("eva_medium")))
SHAPE = InsoleShape(
    "right", 0.265, 0.095, 0.005, 0.0015,
    Posting(math.radians(4)), Posting(math.radians(-2), 0.6, 1.0), HeelLift(0.004),
    ArchFill(0.010), MetatarsalSupport(0.004), LAYERS,
)  # fmt: skip
FIELDS = {"pseudonym": "rider_7", "sport": "street <b>skateboard</b>"}
FOAM = Material("made", "foam", 1.4e6, 0.72, 0.38)


# Words and drawing --------------------------------------------------------------------------------------------------


def test_angles_name_the_raised_side() -> None:
    assert angle_text(math.radians(4)) == "4.0° medial side raised"
    assert angle_text(math.radians(-2.5)) == "2.5° lateral side raised"
    assert angle_text(0.0) == "none"


def test_every_part_that_is_there_is_named_and_no_other() -> None:
    assert [part.name for part in parts_of(SHAPE)] == [
        "Rearfoot posting", "Heel lift", "Arch fill", "Metatarsal support", "Forefoot posting",
    ]  # fmt: skip
    assert parts_of(InsoleShape("right", 0.26)) == []
    assert all(0 <= part.start < part.end <= SHAPE.length for part in parts_of(SHAPE))


def test_a_raised_insole_and_a_steep_posting_are_told() -> None:
    steep = replace(SHAPE, rearfoot=Posting(math.radians(9)))
    assert f"raised by {1000 * steep.raised:.1f} mm" in remarks(steep)[0]
    assert "beyond 8°" in remarks(steep)[1]
    assert remarks(SHAPE) == []


def svg_words(svg: bytes) -> str:
    """Words drawn as text; the drawing draws letters as paths, so the comments that name them are read."""
    return " ".join(re.findall(r"<!-- (.*?) -->", svg.decode()))


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_drawing_carries_its_dimensions(side: str) -> None:
    shape = replace(SHAPE, side=side)
    drawn = draw_insole(shape, "trial A", "a1b2c3d4e5f60718aa")
    svg = drawn["svg"]
    ET.fromstring(svg)
    words, numbers = svg_words(svg), measure(shape)
    for value in (shape.length, shape.width, numbers.heel_stack, numbers.forefoot_stack):
        assert f"{1000 * value:.1f}" in words
    for text in ("4.0° medial side raised", "2.0° lateral side raised", side.upper(), HEADING, "a1b2c3d4"):
        assert text in words
    assert draw_insole(shape, "trial A", "a1b2c3d4e5f60718aa") == drawn, "the same insole gives the same bytes"


def test_a_flat_and_a_very_large_insole_are_drawn() -> None:
    assert "flat, 4.0" in svg_words(draw_insole(InsoleShape("right", 0.26), "plain")["svg"])
    large = InsoleShape("left", 0.35, 0.135, lift=HeelLift(0.02))
    assert "1:2.5" in svg_words(draw_insole(large, "large")["svg"])


# Sheet --------------------------------------------------------------------------------------------------------------


def test_the_sheet_carries_the_fields_of_a_form_and_never_calls_itself_a_prescription() -> None:
    page = render_sheet([Written(SHAPE, measure(SHAPE), "ab" * 32)], "trial A", FIELDS)
    assert f"<h1>{HEADING}</h1>" in page
    assert "prescription" not in page.lower()
    for caution in CAUTIONS:
        assert caution in page
    for words in (*PERSON.values(), "Rearfoot posting", "Arch fill", "Cast modifications", "Heel stabiliser", "Cover"):
        assert words in page
    assert "rider_7" in page and "&lt;b&gt;skateboard" in page and "<b>skate" not in page
    assert page.count('<span class="blank">') >= len(PERSON) - len(FIELDS) + 4, "what is unknown stays a line"
    assert "4.0° medial side raised" in page and "pu foam soft, 1.5 mm" in page


def test_a_telephone_shows_every_blank_of_the_sheet(driver: Any, tmp_path: Path) -> None:
    page = tmp_path / "sheet.html"
    page.write_text(render_sheet([Written(SHAPE, measure(SHAPE), "ab" * 32)], "trial A", {}), encoding="utf-8")
    with screen(driver, TELEPHONE):
        driver.get(page.as_uri())
        ends = driver.execute_script(
            "return [...document.querySelectorAll('.person div')].map((e) => e.getBoundingClientRect().right)"
        )
    assert len(ends) == len(PERSON) and max(ends) <= TELEPHONE["width"]


def test_cautions_say_what_they_must() -> None:
    text = " ".join(CAUTIONS).lower()
    for words in ("not a medical device", "licensed practitioners", "gradually", "how the ankle rolls"):
        assert words in text


# Folder -------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    both = (SHAPE, replace(SHAPE, side="left"))
    return write_shape(both, tmp_path_factory.mktemp("shape") / "deep" / "out", "trial A", FIELDS)


def test_the_folder_is_whole(folder: Path) -> None:
    apart = ("1_pu_foam_soft", "2_eva_medium")
    assert {path.name for path in folder.iterdir()} == {
        *(f"insole_{side}_layer_{name}_mm.stl" for side in ("right", "left") for name in apart),
        "insole_right_mm.stl", "insole_left_mm.stl", "drawing_right.svg", "drawing_right.pdf", "drawing_left.svg",
        "drawing_left.pdf", "sheet.html", "shape.json",
    }  # fmt: skip
    assert all((folder / f"drawing_{side}.pdf").read_bytes().startswith(b"%PDF") for side in ("right", "left"))


def test_the_record_tells_the_truth_about_the_files(folder: Path) -> None:
    record = json.loads((folder / "shape.json").read_text(encoding="utf-8"))
    assert record["unit"] == "mm" and record["heading"] == HEADING
    for insole, side in zip(record["insoles"], ("right", "left"), strict=True):
        content = (folder / insole["file"]).read_bytes()
        assert hashlib.sha256(content).hexdigest() == insole["sha256"]
        assert b"unit mm" in content[:80] and side.encode() in content[:80]
        assert len(content) == 84 + 50 * insole["triangles"]
        assert insole["closed"] and insole["largest_miss_mm"] < 1000 * REPRODUCED
        scan = measure(read_scan(folder / insole["file"], side, layers=LAYERS))
        for key, value in shown_numbers(SHAPE, scan).items():
            assert insole["numbers"][key] == pytest.approx(value, rel=0.01, abs=0.05), key
        assert insole["parameters"]["rearfoot"]["angle"] == SHAPE.rearfoot.angle


def test_a_solid_that_misses_its_heights_is_not_handed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shape_folder, "faithful_solid", lambda surface: solid_of(surface, 0.008))
    with pytest.raises(OutputError, match=r"within 0\.05 mm"):
        write_shape([SHAPE], tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_a_failure_leaves_an_earlier_result_and_nothing_else(tmp_path: Path) -> None:
    write_whole(tmp_path / "out", "record", lambda draft: (draft / "record").write_text("first") and None)

    def fail(draft: Path) -> None:
        (draft / "record").write_text("second")
        raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match="No space left"):
        write_whole(tmp_path / "out", "record", fail)
    assert (tmp_path / "out" / "record").read_text() == "first"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    write_whole(tmp_path / "out", "record", lambda draft: (draft / "record").write_text("third") and None)
    assert (tmp_path / "out" / "record").read_text() == "third"
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("years")
    with pytest.raises(OutputError, match="other files and no record"):
        write_whole(tmp_path / "mine", "record", fail)


# Materials ----------------------------------------------------------------------------------------------------------


def made_test(folder: Path, deepest: float = 0.6) -> CompressionTest:
    strain = 0.5 * deepest * (1 - np.cos(np.linspace(0, 2 * np.pi, 401)))
    stress = FOAM.pressure(strain)
    stress[201:] *= 1 - FOAM.energy_loss
    return CompressionTest(strain, stress, 200, 0.01, 5e-4, str(folder / "loop.csv"))


def test_the_materials_folder_gives_a_row_that_reads_back(tmp_path: Path) -> None:
    write_material(fit_cushion([made_test(tmp_path)], "mine", density=180), tmp_path / "out", 1500, [material("gel")])
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"material.csv", "material.svg", "material.json"}
    row = read_materials(tmp_path / "out" / "material.csv")["mine"]
    assert row.modulus == pytest.approx(FOAM.modulus, rel=1e-3) and row.density == 180
    assert row.energy_loss == pytest.approx(FOAM.energy_loss, abs=0.002)
    record = json.loads((tmp_path / "out" / "material.json").read_text())
    assert record["bottoming_load_N"] == pytest.approx(FOAM.bottoming_pressure * 5e-4, rel=2e-3)


def test_the_figure_names_every_material(tmp_path: Path) -> None:
    svg = draw_materials(fit_layer(made_test(tmp_path), "mine"), 2000, [material("gel"), material("eva_medium")])
    words = svg_words(svg)
    for text in ("mine", "gel", "eva medium", "2000 N", "bottoms out", "loss 38 %"):
        assert text in words


# Commands -----------------------------------------------------------------------------------------------------------

INSOLE = 'side = "right"\nlength_mm = 265\nbase_mm = 5\n[rearfoot_posting]\ndegrees = 4\nraised = "medial"\n'


def drop_file(folder: Path, name: str, height: float) -> str:
    """8.5 kg dropped on a linear sample of 200 N/mm that lets go with a third of the force."""
    pace, weight = math.sqrt(200e3 / 8.5), 8.5 * 9.80665
    time = np.arange(0.0, 0.03, 1e-4)
    speed, sag = math.sqrt(2 * 9.80665 * height), weight / 200e3
    way = sag * (1 - np.cos(pace * time)) + speed / pace * np.sin(pace * time)
    force = np.where(np.arange(time.size) <= np.argmax(way), 1.0, 0.66) * 200e3 * np.maximum(way, 0.0)
    force[np.argmax(way <= -1e-9) or force.size :] = 0.0
    rows = np.column_stack((1e3 * time, force))
    np.savetxt(folder / name, rows, delimiter=",", header="time_ms,force_N", comments="", fmt="%.6g")
    return name


def loop_file(folder: Path, head: str = "compression_mm,force_N", turned: bool = False) -> str:
    test = made_test(folder)
    rows = np.stack((1e3 * test.thickness * test.strain, test.area * test.stress), axis=-1)
    lines = [f"{a:.5f},{b:.4f}" for a, b in (rows[::-1] if turned else rows)]
    (folder / "loop.csv").write_text(head + "\n" + "\n".join(lines), encoding="utf-8")
    return "loop.csv"


def mesh_file(folder: Path, scale: float = 1.0, name: str = "old.stl") -> str:
    solid = solid_of(SHAPE, 0.003)
    (folder / name).write_bytes(stl_bytes(Solid(scale * solid.vertices, solid.triangles), "made"))
    return name


@pytest.mark.parametrize("command", ["shape", "material"])
def test_both_commands_have_help(command: str, tmp_path: Path) -> None:
    done = jointload(command, "--help", where=tmp_path)
    assert done.returncode == 0 and len(done.stdout.splitlines()) > 6


def test_layers_are_written_apart_and_add_up(tmp_path: Path) -> None:
    """The body and the sheets together have the whole's volume; each file is closed and named by its material."""
    layers = '[[layers]]\nmaterial = "gel"\nthickness_mm = 1.5\n[[layers]]\nmaterial = "elastomer_60a"\n'
    (tmp_path / "insole.toml").write_text(INSOLE + layers, encoding="utf-8")
    done = jointload("shape", "insole.toml", "--out", "out", where=tmp_path)
    assert done.returncode == 0, done.stderr
    names = ["insole_right_layer_1_gel_mm.stl", "insole_right_layer_2_elastomer_60a_mm.stl"]
    solids = [load_solid(tmp_path / "out" / name) for name in ("insole_right_mm.stl", *names)]
    whole, *apart = (solid.volume for solid in solids)
    assert sum(apart) == pytest.approx(whole, rel=1e-3) and all(solid.open_edges == 0 for solid in solids)
    sheet = (tmp_path / "out" / "sheet.html").read_text(encoding="utf-8")
    assert (
        all(name in sheet for name in names) and "Shore A 60, modulus 5.9 MPa" in sheet and "hardness unknown" in sheet
    )
    record = json.loads((tmp_path / "out" / "shape.json").read_text(encoding="utf-8"))["insoles"][0]["layers"]
    assert [row["thickness_mm"] for row in record] == [1.5, "takes the shape"]


def test_material_reads_impacts_as_laboratories_make_them(tmp_path: Path) -> None:
    files = [drop_file(tmp_path, name, height) for name, height in (("low.csv", 0.03), ("high.csv", 0.05))]
    words = ("--mass", "8.5", "--thickness", "10mm", "--tup", "45mm", "--name", "mine", "--kind", "gel")
    words += ("--cutoff", "0", "--out", "out")
    done = jointload("material", files[0], "--more", files[1], *words, "--drop-height", "30mm,50mm", where=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "8.5 kg from 30 mm, mass and drop height as in ASTM F1976" in done.stdout
    assert "energy over peak force" in done.stdout and "too little in speed" in done.stdout
    record = json.loads((tmp_path / "out" / "material.json").read_text())
    assert [round(1000 * each["drop_height_m"]) for each in record["impacts"]] == [30, 50]
    row = read_materials(tmp_path / "out" / "material.csv")["mine"]
    assert row.loading_time < 0.02 and math.isnan(row.rate_exponent)
    for wrong, told in (
        (("--energy", "5J", "--drop-height", "30mm"), "its height or its energy"),
        (("--drop-height", "30mm,40mm,50mm"), "one, or one for each of 2 impact tests"),
        (("--drop-height", "300mm"), "a mass that is stopped"),
    ):
        done = jointload("material", files[0], "--more", files[1], *words[:-1], "new", *wrong, where=tmp_path)
        assert done.returncode == 2 and told in done.stderr and not (tmp_path / "new").exists(), done.stderr


def test_shape_writes_its_folder(tmp_path: Path) -> None:
    (tmp_path / "insole.toml").write_text(INSOLE, encoding="utf-8")
    done = jointload("shape", "insole.toml", "--out", "out", where=tmp_path)
    assert done.returncode == 0, done.stderr
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "insole_right_mm.stl", "drawing.svg", "drawing.pdf", "sheet.html", "shape.json",
    }  # fmt: skip
    assert {path.name for path in tmp_path.iterdir()} == {"insole.toml", "out"}


def test_shape_takes_an_existing_insole_when_told_its_unit(tmp_path: Path) -> None:
    name = mesh_file(tmp_path, 1e-3)
    done = jointload("shape", name, "--side", "right", "--unit", "m", "--layer", "gel", "--out", "out", where=tmp_path)
    assert done.returncode == 0, done.stderr
    record = json.loads((tmp_path / "out" / "shape.json").read_text())["insoles"][0]
    assert record["numbers"]["length_mm"] == pytest.approx(265, abs=0.1)
    assert record["numbers"]["mass_g"] == pytest.approx(record["numbers"]["volume_cm3"], rel=1e-3), "1000 kg/m3"
    assert record["parameters"] is None


def test_material_prints_a_row_or_writes_a_folder(tmp_path: Path) -> None:
    words = ("material", loop_file(tmp_path), "--thickness", "10mm", "--area", "500mm2", "--name", "mine")
    shown = jointload(*words, where=tmp_path)
    assert shown.returncode == 0, shown.stderr
    assert "bottoms out" in shown.stdout and "\nmine,foam,1.4,,0.72,0.38" in shown.stdout
    assert {path.name for path in tmp_path.iterdir()} == {"loop.csv"}
    assert jointload(*words, "--out", "out", where=tmp_path).returncode == 0
    assert (tmp_path / "out" / "material.svg").stat().st_size > 10_000


def test_hardness_is_turned_for_elastomers_only(tmp_path: Path) -> None:
    done = jointload("material", "--hardness", "60", "--kind", "elastomer", where=tmp_path)
    assert "ruess: 5.88 MPa" in done.stdout and "gent_1958: 3.61 MPa" in done.stdout
    refused = jointload("material", "--hardness", "45", where=tmp_path)
    assert refused.returncode == 2 and "a solid elastomer" in refused.stderr


def insole(text: str):
    def make(folder: Path) -> list[str]:
        (folder / "insole.toml").write_text(text, encoding="utf-8")
        return ["shape", "insole.toml", "--out", "out"]

    return make


MISTAKES = {
    "posting of 40 deg": (insole(INSOLE.replace("= 4\n", "= 40\n")), "0 to 10, found 40"),
    "negative thickness": (insole(INSOLE.replace("= 5\n", "= -5\n")), "found -5 mm"),
    "unknown material": (insole(INSOLE + '[[layers]]\nmaterial = "cheese"'), "eva_medium"),
    "no such file": (lambda t: ["shape", "nowhere.toml", "--out", "out"], "nowhere.toml"),
    "mesh in metres": (lambda t: ["shape", mesh_file(t, 1e-3), "--side", "right", "--out", "out"], "give --unit m"),
    "mesh of the other foot": (
        lambda t: ["shape", mesh_file(t), "--side", "left", "--out", "out"],
        "give --side right",
    ),
    "mesh without a side": (lambda t: ["shape", mesh_file(t), "--out", "out"], "add --side right or --side left"),
    "mesh upside down": (
        lambda t: ["shape", mesh_file(t), "--side", "right", "--up", "-z", "--out", "o"],
        "upside down",
    ),
    "a loop backwards": (
        lambda t: ["material", loop_file(t, turned=True), "--thickness", "10mm", "--area", "500mm2", "--out", "out"],
        "reversed order",
    ),
    "kilonewtons": (
        lambda t: ["material", loop_file(t, "compression_mm,force_kN"), "--thickness", "10mm", "--area", "500mm2"],
        "check the units",
    ),
    "no thickness": (lambda t: ["material", loop_file(t), "--area", "500mm2"], "give --thickness"),
    "a thickness without a unit": (lambda t: ["material", loop_file(t), "--thickness", "10"], "write it like 5"),
    "nothing to fit": (lambda t: ["material"], "give the test's CSV"),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_one_line_and_leaves_nothing(mistake: str, tmp_path: Path) -> None:
    make, said = MISTAKES[mistake]
    words = make(tmp_path)
    before = {path.name for path in tmp_path.iterdir()}
    done = jointload(*words, where=tmp_path)
    lines = [line for line in done.stderr.splitlines() if line not in ("Reading", "Solid, drawing and sheet")]
    assert done.returncode == 2, done.stderr
    assert len(lines) == 1 and lines[0].startswith("jointload: ") and said in lines[0], done.stderr
    assert {path.name for path in tmp_path.iterdir()} == before

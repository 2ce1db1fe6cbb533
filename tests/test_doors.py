"""The floors of the house: what each room may import, read from its source."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "jointload"

ORDER = (
    "errors",
    "sources",
    "modeldata",
    "settings",
    "numerics.together",
    "numerics.rotations",
    "numerics.rigid_fit",
    "numerics.banded",
    "numerics.splines",
    "numerics.signals",
    "intake.recording",
    "intake.toml_file",
    "intake.rider",
    "intake.board",
    "intake.shoe",
    "intake.pressure",
    "intake.c3d_bytes.parameters",
    "intake.c3d_bytes.guard",
    "intake.c3d_bytes.layout",
    "intake.c3d_bytes.events",
    "intake.c3d_bytes.makers_contact",
    "intake.plates.baseline",
    "intake.plates.plausible",
    "intake.plates.settings",
    "intake.plates.mechanics",
    "intake.plates.readings",
    "intake.plates.plates",
    "intake.plates.behaviour",
    "intake.labels",
    "intake.label_words",
    "intake.proposed_labels",
    "intake.axes",
    "intake.c3d",
    "intake.paths",
    "intake.standing",
    "intake.quality",
    "intake.session",
    "body.definitions",
    "body.inertia",
    "body.joint_centres",
    "body.calibration",
    "body.gaps",
    "body.pose",
    "body.sole",
    "body.bent",
    "body.board",
    "body.angles",
    "body.mass_centre",
    "body.joined",
    "motion.roughness",
    "motion.following",
    "loads.contact",
    "loads.moments",
    "loads.tissue.spreads",
    "loads.tissue.muscle",
    "loads.tissue.achilles",
    "loads.tissue.knee",
    "loads.tissue.lumbar",
    "foot.spreads",
    "foot.heel_pad",
    "foot.felt",
    "loads.soles",
    "loads.moved_board",
    "loads.deck",
    "loads.board_clock",
    "loads.feasible_splits",
    "loads.pressed_soles",
    "loads.shared_plate",
    "loads.split_interval",
    "loads.from_above",
    "loads.balance",
    "landing.filtered",
    "landing.span",
    "landing.borne",
    "landing.ends",
    "landing.events",
    "landing.alignment",
    "landing.landed",
    "landing.certainty",
    "landing.measures.force_measures",
    "landing.measures.body_measures",
    "landing.measures.angle_measures",
    "landing.measures.load_measures",
    "landing.measures.lower_back",
    "landing.measures.back_measures",
    "landing.measures.tissue_measures",
    "landing.measures.style_measures",
    "landing.measures.every_measure",
    "landing.checks.judgement",
    "landing.checks.split_measures",
    "landing.checks.known_people",
    "landing.sole_regions",
    "landing.checks.marker_checks",
    "landing.checks.force_checks",
    "landing.checks.person",
    "landing.checks.step_weight",
    "landing.checks.verdict",
    "together",
    "one_clock",
    "other_choices",
    "analysis",
    "uncertainty.spreads",
    "uncertainty.draws",
    "uncertainty.skin",
    "uncertainty.around",
    "uncertainty.in_order",
    "uncertainty.under_board",
    "uncertainty.pour",
    "uncertainty.shares",
    "uncertainty.intervals",
    "uncertainty.repeats",
    "insole.shape.geometry",
    "insole.bed.bed",
    "insole.bed.bed_search",
    "insole.bed.foundation",
    "insole.bed.person",
    "insole.shape.materials",
    "insole.shape.compression",
    "insole.shape.impact_test",
    "insole.shape.cushioning",
    "insole.shape.outline",
    "insole.shape.parts",
    "insole.shape.surface",
    "insole.shape.shape",
    "insole.shape.layers_apart",
    "insole.shape.measured",
    "insole.shape.shape_file",
    "insole.shape.mesh",
    "insole.shape.scan",
    "insole.fitting.published_ratio",
    "insole.shape.asked",
    "insole.limb.change",
    "insole.bed.pressed_bed",
    "insole.limb.standing",
    "foot.underfoot",
    "foot.heel",
    "foot.toes",
    "foot.bore",
    "foot.layer_law",
    "foot.thin_layers",
    "foot.layer_choice",
    "foot.on_insole",
    "insole.limb.response",
    "insole.limb.limb",
    "insole.limb.pouring",
    "insole.limb.readings",
    "insole.limb.regions",
    "insole.limb.feet",
    "insole.calibration.observation",
    "insole.calibration.traits",
    "insole.calibration.personal",
    "insole.shape.conditions",
    "insole.calibration.knowledge",
    "insole.fitting.doubts",
    "insole.fitting.whatif",
    "insole.fitting.parameters",
    "insole.fitting.slopes",
    "insole.fitting.aim",
    "insole.fitting.laid",
    "insole.fitting.ledger",
    "insole.fitting.shape_search",
    "insole.fitting.next_trials",
    "insole.fitting.fit",
    "insole.shape.shape_text",
    "synthetic.c3d_file",
    "synthetic.profiles",
    "synthetic.standing",
    "synthetic.specification",
    "synthetic.flesh",
    "synthetic.model",
    "synthetic.landing",
    "synthetic.measurement",
    "synthetic.board",
    "synthetic.disturbed",
    "synthetic.pressure",
    "synthetic.truth",
    "synthetic.sample",
    "synthetic.board_sample",
    "study.plan",
    "study.beneath",
    "study.manifest",
    "study.mixed",
    "study.effects",
    "study.permutation",
    "study.observations",
    "study.comparison",
    "study.styles",
    "study.reference",
    "study.reliability",
    "study.exposures",
    "study.heights",
    "study.scatter",
    "study.pieces",
    "study.strain_dose",
    "report.words.colours",
    "report.words.references",
    "report.words.html",
    "report.words.csv_text",
    "report.words.nameless",
    "report.words.quantities",
    "report.words.cells",
    "report.words.methods",
    "report.words.fit_units",
    "report.words.section",
    "report.words.trust",
    "report.words.last_lines",
    "report.words.tables",
    "report.words.two_landings",
    "report.words.before_after",
    "report.words.whole_file",
    "report.words.whole_folder",
    "report.figures.axis",
    "report.figures.panel",
    "report.figures.inline_svg",
    "report.figures.sheet_html",
    "report.figures.paper",
    "report.figures.change_figures",
    "report.figures.fit_figures",
    "report.figures.pictures",
    "report.figures.pressure_bed",
    "report.figures.soles",
    "report.figures.feet_map",
    "report.figures.layer_figure",
    "report.figures.work_bars",
    "report.figures.landing_curves",
    "report.figures.heel_forces",
    "report.figures.tissue_figure",
    "report.replay.replay",
    "report.page.answers",
    "report.page.feet_answers",
    "report.page.feet_section",
    "report.page.first_answers",
    "report.page.board_section",
    "report.page.certainty_section",
    "report.page.change_section",
    "report.page.first_screen",
    "report.page.fit_section",
    "report.page.landing_sections",
    "report.page.pressure_section",
    "report.page.reading_sections",
    "report.page.tissue_section",
    "report.page.trust_section",
    "report.page.page",
    "report.page.explained",
    "report.papers.insole_words",
    "report.papers.insole_drawing",
    "report.papers.insole_sheet",
    "report.papers.material_figure",
    "report.papers.material_folder",
    "report.papers.shape_folder",
    "report.papers.layer_words",
    "report.papers.layer_page",
    "report.papers.layer_folder",
    "report.files.curves",
    "report.files.derived_c3d",
    "report.files.figure_files",
    "report.files.fit_folder",
    "report.files.parquet_parts",
    "report.files.sole_table",
    "report.files.joined",
    "report.files.paper",
    "report.files.folder",
    "report.files.study_trial",
    "report.study_pages.study_words",
    "report.study_pages.dose_answers",
    "report.study_pages.dose_figures",
    "report.study_pages.dose_page",
    "report.study_pages.dose_words",
    "report.study_pages.dose_folder",
    "report.study_pages.study_figures",
    "report.study_pages.study_page",
    "report.study_pages.study_folder",
    "study_run.trial",
    "study_run.dispatch",
    "study_run.serving",
    "study_run.processes",
    "study_run.cluster",
    "study_run.workers",
    "study_run.batch",
    "study_run.rerun",
    "whole_study",
    "day.folder.tables",
    "day.folder.settings",
    "day.folder.journal",
    "day.folder.arrivals",
    "day.folder.replay",
    "day.rider.strain",
    "day.rider.stop_rule",
    "day.rider.plan",
    "day.rider.repeats",
    "day.rider.verdict",
    "day.rider.results",
    "day.rider.fitting",
    "day.lanes",
    "day.book",
    "day.state",
    "day.by_hand",
    "day.disk",
    "day.tasks",
    "day.protocol",
    "day.engine",
    "day_page.guard",
    "day_page.results",
    "day_page.marks",
    "day_page.forms",
    "day_page.ask_part",
    "day_page.plan_part",
    "day_page.verdict_part",
    "day_page.fitting_part",
    "day_page.document",
    "day_page.acts",
    "day_page.hub",
    "day_page.live",
    "day_page.app",
    "day_page.server",
    "cli.command",
    "cli.app",
    "cli.terminal",
    "cli.beside",
    "cli.explain",
    "cli.options",
    "cli.provenance",
    "cli.guide",
    "cli.insoles",
    "cli.recordings",
    "cli.riders",
    "cli.fitting",
    "cli.landings",
    "cli.studies",
    "cli.day",
    "cli.layers",
    "cli.main",
    "cli.__main__",
)
"""Top to bottom; a room imports only from rooms above it."""

DOORS = {
    "ezc3d": {"report.files.derived_c3d", "synthetic"},
    "trimesh": {"insole.shape.mesh", "report"},
    "matplotlib": {"report.figures.paper", "report.papers"},
    "pandas": {"report", "study", "study_run", "whole_study"},
    "typer": {"cli"},
    "rich": {"cli"},
    "distributed": {"study_run.cluster", "study_run.workers"},
    "pyarrow": {"report.files.parquet_parts", "study_run.batch"},
    "threadpoolctl": {"study_run.trial"},
    "watchfiles": {"day.folder.arrivals"},
    "statsmodels": {"study.mixed", "study.effects"},
    "sklearn": {"study.styles"},
    "starlette": {"day_page.app", "day_page.server"},
    "uvicorn": {"day_page.server"},
}
"""A third-party package and the only rooms that may import it."""

SLOW = (
    "statsmodels",
    "sklearn",
    "scipy.signal",
    "scipy.stats",
    "scipy.interpolate",
    "matplotlib",
    "pandas",
    "trimesh",
    "ezc3d",
    "distributed",
    "pyarrow",
    "starlette",
    "uvicorn",
)

ROOMS = sorted(
    ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
    for path in PACKAGE.rglob("*.py")
    if path.name != "__init__.py"
)


MOST_FILES = 20
"""A folder with more is none that one can see."""


def place(room: str) -> int:
    assert room in ORDER, f"room {room} has no place in the floor table: add it to ORDER and to DEVELOPERS.md"
    return ORDER.index(room)


@cache
def imports(room: str, top_level_only: bool = False) -> set[str]:
    tree = ast.parse((PACKAGE / Path(*room.split("."))).with_suffix(".py").read_text(encoding="utf-8"))
    nodes = tree.body if top_level_only else list(ast.walk(tree))
    out = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            out |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{room} uses a relative import"
            out |= {node.module or ""} | {f"{node.module}.{alias.name}" for alias in node.names}
    return out


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_imports_only_from_above(room: str) -> None:
    for module in imports(room):
        if module.startswith("jointload."):
            other = module.removeprefix("jointload.")
            if other in ROOMS:
                assert place(other) < place(room), f"{room} imports {other} from below"


def test_every_place_is_a_room() -> None:
    assert sorted(ORDER) == ROOMS


def test_a_folder_can_be_taken_in_at_a_glance() -> None:
    for folder in (PACKAGE, *(path for path in PACKAGE.rglob("*") if path.is_dir() and path.name != "__pycache__")):
        files = [path.name for path in folder.iterdir() if path.is_file()]
        assert len(files) <= MOST_FILES, f"{folder.name}/ holds {len(files)} files"


@pytest.mark.parametrize("room", ROOMS)
def test_a_package_has_one_door(room: str) -> None:
    for package, doors in DOORS.items():
        if any(module.split(".")[0] == package for module in imports(room)):
            assert any(room == door or room.startswith(door + ".") for door in doors), f"{room} imports {package}"


@pytest.mark.parametrize("room", ROOMS)
def test_slow_packages_are_imported_late(room: str) -> None:
    for module in imports(room, top_level_only=True):
        assert not any(module == slow or module.startswith(slow + ".") for slow in SLOW), (
            f"{room} imports {module} at the top"
        )


def test_no_analysis_waits_for_filters_and_distributions() -> None:
    """scipy.signal and scipy.stats take half a second to import: a study may have it, a landing may not."""
    asking = {room for room in ROOMS for module in imports(room) if module.startswith(("scipy.signal", "scipy.stats"))}
    assert all(room.startswith("study.") for room in asking), asking


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_can_be_imported(room: str) -> None:
    importlib.import_module(f"jointload.{room}")


def test_each_room_can_be_imported_alone() -> None:
    """In a fresh interpreter each, for one room of every floor, so that no order of imports is relied on."""
    for room in (
        "numerics.signals",
        "intake.c3d",
        "loads.moments",
        "analysis",
        "insole.fitting.whatif",
        "report.words.tables",
        "cli",
    ):
        subprocess.run([sys.executable, "-c", f"import jointload.{room}"], check=True, timeout=60)


def test_the_command_line_starts_without_heavy_packages() -> None:
    heavy = ("numpy", "scipy", "pandas", "matplotlib", "ezc3d")
    code = f"import sys, jointload.cli; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "[]"


def test_every_folder_of_rooms_is_shipped() -> None:
    """A folder that pyproject.toml forgets is missing in the installed package alone."""
    import tomllib

    file = PACKAGE.parent / "pyproject.toml"
    shipped = set(tomllib.loads(file.read_text(encoding="utf-8"))["tool"]["setuptools"]["packages"])
    folders = {".".join(path.parent.relative_to(PACKAGE.parent).parts) for path in PACKAGE.rglob("*.py")}
    assert folders <= shipped, folders - shipped

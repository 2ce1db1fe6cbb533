"""The floors of the house: what each room may import, read from its source."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "jointload"

ORDER = (
    "errors",
    "modeldata",
    "settings",
    "numerics.rotations",
    "numerics.rigid_fit",
    "numerics.signals",
    "intake.recording",
    "intake.toml_file",
    "intake.rider",
    "intake.board",
    "intake.pressure",
    "intake.c3d_parameters",
    "intake.c3d_guard",
    "intake.c3d_events",
    "intake.baseline",
    "intake.plate_settings",
    "intake.plate_mechanics",
    "intake.plate_readings",
    "intake.plates",
    "intake.labels",
    "intake.axes",
    "intake.c3d",
    "intake.quality",
    "intake.session",
    "body.definitions",
    "body.inertia",
    "body.joint_centres",
    "body.calibration",
    "body.pose",
    "body.board",
    "body.angles",
    "body.mass_centre",
    "loads.contact",
    "loads.moments",
    "loads.tissue",
    "loads.soles",
    "loads.deck",
    "loads.feasible_splits",
    "loads.pressed_soles",
    "loads.shared_plate",
    "loads.split_interval",
    "loads.from_above",
    "landing.filtered",
    "landing.events",
    "landing.alignment",
    "landing.landed",
    "landing.certainty",
    "landing.force_measures",
    "landing.body_measures",
    "landing.angle_measures",
    "landing.load_measures",
    "landing.lower_back",
    "landing.back_measures",
    "landing.tissue_measures",
    "landing.style_measures",
    "landing.measures",
    "landing.judgement",
    "landing.split_measures",
    "landing.sole_regions",
    "landing.marker_checks",
    "landing.force_checks",
    "landing.verdict",
    "analysis",
    "uncertainty.spreads",
    "uncertainty.draws",
    "uncertainty.skin",
    "uncertainty.around",
    "uncertainty.pour",
    "uncertainty.intervals",
    "uncertainty.repeats",
    "insole.geometry",
    "insole.bed",
    "insole.bed_search",
    "insole.foundation",
    "insole.person",
    "insole.materials",
    "insole.compression",
    "insole.cushioning",
    "insole.outline",
    "insole.shape",
    "insole.shape_file",
    "insole.mesh",
    "insole.scan",
    "insole.published_ratio",
    "insole.asked",
    "insole.change",
    "insole.pressed_bed",
    "insole.response",
    "insole.limb",
    "insole.pouring",
    "insole.readings",
    "insole.regions",
    "insole.observation",
    "insole.traits",
    "insole.personal",
    "insole.conditions",
    "insole.knowledge",
    "insole.doubts",
    "insole.whatif",
    "insole.parameters",
    "insole.slopes",
    "insole.aim",
    "insole.ledger",
    "insole.shape_search",
    "insole.next_trials",
    "insole.fit",
    "insole.shape_text",
    "synthetic",
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
    "study.strain_dose",
    "report",
    "study.trial",
    "study.workers",
    "study.batch",
    "study.rerun",
    "study.compare",
    "study.dose",
    "cli",
)
"""Top to bottom; a room imports only from rooms above it. Rooms of synthetic and report use each other freely."""

DOORS = {
    "ezc3d": {"report.derived_c3d", "synthetic"},
    "trimesh": {"insole.mesh", "report"},
    "matplotlib": {"report"},
    "plotly": {"report.replay"},
    "pandas": {"report", "study"},
    "typer": {"cli"},
    "rich": {"cli"},
    "distributed": {"study.workers"},
    "pyarrow": {"report.joined", "study.batch"},
    "threadpoolctl": {"study.trial"},
    "statsmodels": {"study.mixed", "study.effects"},
    "sklearn": {"study.styles"},
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
    "plotly",
    "trimesh",
    "ezc3d",
    "distributed",
    "pyarrow",
)

ROOMS = sorted(
    ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
    for path in PACKAGE.rglob("*.py")
    if path.name != "__init__.py"
)


def place(room: str) -> int:
    found = [k for k, name in enumerate(ORDER) if room == name or room.startswith(name + ".")]
    assert found, f"room {room} has no place in the floor table: add it to ORDER and to DEVELOPERS.md"
    return found[0]


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
                assert place(other) < place(room) or ORDER[place(other)] == ORDER[place(room)], (
                    f"{room} imports {other} from below"
                )


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
        "insole.whatif",
        "report.tables",
        "cli",
    ):
        subprocess.run([sys.executable, "-c", f"import jointload.{room}"], check=True, timeout=60)


def test_the_command_line_starts_without_heavy_packages() -> None:
    heavy = ("numpy", "scipy", "pandas", "matplotlib", "ezc3d")
    code = f"import sys, jointload.cli; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "[]"

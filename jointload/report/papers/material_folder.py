"""What a compression test gave: the row for models/materials, the figure and the numbers."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from jointload.insole.shape.compression import LayerFit
from jointload.insole.shape.impact_test import CushionFit, ImpactTest, loop_of, standard_of
from jointload.insole.shape.materials import Material
from jointload.report.papers.material_figure import draw_materials
from jointload.report.words.csv_text import shielded
from jointload.report.words.whole_folder import write_whole

RECORD = "material.json"
TABLE = "material.csv"


def material_row(material: Material) -> str:
    """The head and the row of a file of materials."""
    return material_table([material])


def material_table(materials: Iterable[Material]) -> str:
    """The head and the rows of a file of materials."""
    out = io.StringIO()
    rows = [material.row() for material in materials]
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: shielded(cell) for name, cell in row.items()} for row in rows)
    return out.getvalue()


def write_material(found: CushionFit, out: str | Path, load: float, others: Sequence[Material]) -> Path:
    """Write material.csv (with provenance; insole.toml names it with `materials`), material.svg and material.json.

    load : [N] under a heel, for the figure;  others : materials to compare with
    """

    fit = found.fit

    def fill(draft: Path) -> None:
        (draft / TABLE).write_text(_provenance(found) + material_row(fit.material), encoding="utf-8")
        (draft / "material.svg").write_bytes(draw_materials(fit, load, others))
        (draft / RECORD).write_text(json.dumps(cushion_record(found, load), indent=2) + "\n", encoding="utf-8")

    return write_whole(out, RECORD, fill)


def fit_record(fit: LayerFit, load: float) -> dict[str, Any]:
    """Every number of a fit in SI units; None for what is unknown."""
    source = Path(fit.test.where)
    numbers = {
        "thickness_m": fit.test.thickness,
        "area_m2": fit.test.area,
        "largest_strain": float(fit.test.strain.max()),
        "residual_rms_m": fit.rms,
        "residual_share": fit.rms_share,
        "bottoming_pressure_Pa": fit.material.bottoming_pressure,
        "bottoming_strain": fit.material.bottoming_strain,
        "bottoming_load_N": fit.bottoming_load,
    }
    material = {key: None if value != value else value for key, value in asdict(fit.material).items()}
    return {
        "material": material,
        **{key: None if math.isnan(value) else value for key, value in numbers.items()},
        "figure_load_N": load,
        "notes": fit.notes,
        "input": {
            "file": source.name,
            "sha256": hashlib.sha256(source.read_bytes()).hexdigest() if source.is_file() else None,
        },
    }


def cushion_record(found: CushionFit, load: float) -> dict[str, Any]:
    """That of the fit, with every impact test's own numbers in SI units."""
    record = fit_record(found.fit, load)
    impacts = [_impact_numbers(test) for test in found.tests if isinstance(test, ImpactTest)]
    return record | ({"impacts": impacts} if impacts else {})


def _impact_numbers(test: ImpactTest) -> dict[str, Any]:
    return {
        "file": Path(test.loop.where).name, "mass_kg": test.dropped.mass, "drop_height_m": test.dropped.height,
        "implied_height_m": list(test.implied), "filter_Hz": None if math.isnan(test.cutoff) else test.cutoff,
        "peak_force_N": test.peak_force, "peak_g": test.peak_g, "energy_J": test.energy,
        "energy_over_peak_force_m": test.energy_over_force, "returned_share": test.returned,
        "largest_strain": float(test.loop.strain.max()), "loading_time_s": test.loop.loading_time,
        "standard": standard_of(test) or None,
    }  # fmt: skip


def cushion_text(found: CushionFit) -> str:
    """The impacts one by one, then the fit, for a person."""
    lines = [_impact_text(test) for test in found.tests if isinstance(test, ImpactTest)]
    return "\n".join([*lines, fit_text(found.fit)])


def _impact_text(test: ImpactTest) -> str:
    filtered = "not filtered" if math.isnan(test.cutoff) else f"filtered at {test.cutoff:.0f} Hz"
    standard = f", {standard_of(test)}" if standard_of(test) else ""
    low, high = (1000 * height for height in test.implied)
    return (
        f"{Path(test.loop.where).name}: {test.dropped.mass:g} kg from {1000 * test.dropped.height:.0f} mm{standard} "
        f"(the impact itself tells {low:.0f} to {high:.0f} mm), {filtered}: peak {test.peak_force:.0f} N, "
        f"{test.peak_g:.1f} g after {1000 * test.loop.loading_time:.1f} ms, pressed by "
        f"{100 * test.loop.strain.max():.0f} %, {test.energy:.2f} J taken, {1000 * test.energy_over_force:.2f} mm "
        f"energy over peak force, {100 * test.returned:.0f} % of the energy back in the mass"
    )


def fit_text(fit: LayerFit) -> str:
    """The fit in a few lines for a person."""
    material = fit.material
    loss = "unknown" if math.isnan(material.energy_loss) else f"{100 * material.energy_loss:.0f} %"
    rms = "" if math.isnan(fit.rms) else f" ({1000 * fit.rms:.2g} mm)"
    load = "" if math.isnan(fit.bottoming_load) else f", {fit.bottoming_load:.0f} N on this sample"
    lines = [
        f"modulus {material.modulus / 1e6:.3g} MPa, stiffening strain {material.stiffening_strain:.3f}, "
        f"energy loss {loss}",
        f"residual {100 * fit.rms_share:.1f} % of the largest compression{rms}, root mean square",
        f"bottoms out (ten times as stiff as unloaded) at {100 * material.bottoming_strain:.0f} % strain, "
        f"{material.bottoming_pressure / 1e3:.0f} kPa{load}",
    ]
    return "\n".join([*lines, *(f"Note: {note}" for note in fit.notes)])


def _provenance(found: CushionFit) -> str:
    test = found.fit.test
    impact = isinstance(found.tests[0], ImpactTest)
    files = ", ".join(Path(loop_of(each).where).name for each in found.tests)
    tested = "" if math.isnan(test.thickness) else f", {1000 * test.thickness:g} mm thick"
    tested += "" if math.isnan(test.area) else f", {1e6 * test.area:g} mm2"
    return (
        f"# source: {'impact' if impact else 'compression'} test {files}, fitted by jointload material\n"
        "# unit: modulus_MPa is E and stiffening_strain e of p = E s / (1 - s / e); energy_loss a share\n"
        "# axes: through the thickness, compression positive\n"
        f"# population: one sample{tested}\n"
        "# read_in: the test's own file\n"
    )

"""What an insole is made of: rows of models/materials, the law of a layer under pressure, and hardness to modulus."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jointload.errors import ModelDataError, SettingError, expected_found, known_names, not_read
from jointload.intake.recording import Array
from jointload.modeldata import load_model, model_names

KINDS = ("foam", "gel", "elastomer", "shell", "tissue")
BASES = ("measured", "read", "derived", "from memory", "choice")
COLUMNS = (
    "name", "kind", "modulus_MPa", "modulus_cv", "stiffening_strain", "energy_loss", "density_kg_m3",
    "hardness_scale", "hardness_value", "basis", "source",
)  # fmt: skip
MORE_COLUMNS = ("loading_time_s", "rate_exponent", "rate_sd", "law_misfit")
"""What a row may also say: how quickly its test pressed, how its modulus grows with that, and by which share of the
largest compression the law misses its test."""
RANGES = {
    "modulus_MPa": (0.005, 5000.0),
    "modulus_cv": (0.0, 2.0),
    "stiffening_strain": (0.05, 1.0),
    "energy_loss": (0.0, 1.0),
    "density_kg_m3": (10.0, 3000.0),
    "loading_time_s": (0.0005, 1e5),
    "rate_exponent": (-0.2, 1.0),
    "rate_sd": (0.0, 0.5),
    "law_misfit": (0.0, 1.0),
}
"""What a row may say; outside, a unit or a column was mistaken."""
BOTTOMED_STIFFNESS = 10.0
"""A layer has bottomed out where it is this many times as stiff as unloaded (choice)."""
RUESS_RANGE, GENT_RANGE = (30.0, 60.0), (20.0, 80.0)
"""Shore A hardness for which each relation is used; Ruess as published, Gent a choice."""


@dataclass(frozen=True)
class Material:
    """One material as a layer under pressure: p = E s / (1 - s / e), s the compression over the thickness.

    modulus : E [Pa];  modulus_cv : its spread as a share;  stiffening_strain : e, where pressure has no bound
    energy_loss : share of the loading's work that is not returned, NaN when unknown;  density : [kg/m3], NaN likewise
    loading_time : [s] from touch to the deepest place of the test that gave E;  rate_exponent : m of
    E (loading_time / another)^m, from tests at two speeds;  rate_sd : its standard deviation
    law_misfit : share of the largest compression by which the law misses its test;  NaN where unknown
    """

    name: str
    kind: str
    modulus: float
    stiffening_strain: float
    energy_loss: float = math.nan
    density: float = math.nan
    modulus_cv: float = math.nan
    hardness: str = ""
    basis: str = "choice"
    source: str = ""
    loading_time: float = math.nan
    rate_exponent: float = math.nan
    rate_sd: float = math.nan
    law_misfit: float = math.nan

    def compression(self, pressure: Array | float, thickness: float) -> Array:
        """Compression [m] of a layer under a pressure [Pa]: c = h p / (E + p / e)."""
        return np.asarray(
            thickness * np.asarray(pressure) / (self.modulus + np.asarray(pressure) / self.stiffening_strain)
        )

    def pressure(self, strain: Array | float) -> Array:
        """Pressure [Pa] at a strain below e; infinite from e on."""
        room = 1.0 - np.asarray(strain) / self.stiffening_strain
        return np.where(room > 0, self.modulus * np.asarray(strain) / np.where(room > 0, room, 1.0), np.inf)

    @property
    def bottoming_strain(self) -> float:
        """Strain where the layer is BOTTOMED_STIFFNESS times as stiff as unloaded: dp/ds = E / (1 - s / e)^2."""
        return self.stiffening_strain * (1.0 - BOTTOMED_STIFFNESS**-0.5)

    @property
    def bottoming_pressure(self) -> float:
        """Pressure [Pa] at that strain: E e (sqrt(10) - 1), about 2.2 E e."""
        return self.modulus * self.stiffening_strain * (math.sqrt(BOTTOMED_STIFFNESS) - 1.0)

    def row(self) -> dict[str, str]:
        """The row of models/materials that says the same."""
        scale, _, value = self.hardness.rpartition(" ")
        numbers = {
            "modulus_MPa": self.modulus / 1e6, "modulus_cv": self.modulus_cv, "energy_loss": self.energy_loss,
            "stiffening_strain": self.stiffening_strain, "density_kg_m3": self.density,
            "loading_time_s": self.loading_time, "rate_exponent": self.rate_exponent,
            "rate_sd": self.rate_sd, "law_misfit": self.law_misfit,
        }  # fmt: skip
        cells = {
            "name": self.name, "kind": self.kind, "hardness_scale": scale, "hardness_value": value,
            "basis": self.basis, "source": self.source,
        }  # fmt: skip
        cells |= {key: "" if math.isnan(number) else f"{number:.4g}" for key, number in numbers.items()}
        speed = [column for column in MORE_COLUMNS if cells[column]]
        return {column: cells[column] for column in (*COLUMNS, *speed)}


def shipped_materials() -> dict[str, Material]:
    """Every material of models/materials by name."""
    out: dict[str, Material] = {}
    for file in model_names("materials"):
        out |= materials_from(load_model("materials", file).content, f"models/materials/{file}.csv")
    return out


def read_materials(path: str | Path) -> dict[str, Material]:
    """A user's own file of rows, as `jointload material` writes it."""
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        line = not_read("materials", "a readable CSV file", problem, path, "correct the path")
        raise ModelDataError(line) from None
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return materials_from(csv.DictReader(io.StringIO("\n".join(lines))), str(path))


def materials_from(rows: Iterable[Mapping[str, str]], where: str) -> dict[str, Material]:
    """Checked materials from rows of text; ModelDataError names the cell that is wrong."""
    found = [_material(row, where) for row in rows]
    return {material.name: material for material in found}


def cushions() -> dict[str, Material]:
    """The shipped materials that a thin layer may be of, by name."""
    return {name: one for name, one in shipped_materials().items() if one.kind in ("foam", "gel", "elastomer")}


def material(name: str, own: Mapping[str, Material] | None = None) -> Material:
    """The material of that name, the user's own before the shipped; an unknown name lists the known ones. A name as
    pages print it, with spaces, is known, too."""
    known = shipped_materials() | dict(own or {})
    name = name if name in known else name.strip().replace(" ", "_")
    if name not in known:
        advice = "choose one of them, or measure yours with `jointload material`"
        raise ModelDataError(expected_found("material", known_names(known), repr(name), "the layers", advice))
    return known[name]


def _material(row: Mapping[str, str], where: str) -> Material:
    missing = [column for column in COLUMNS if row.get(column) is None]
    if missing:
        raise ModelDataError(
            expected_found(
                "materials", "the columns " + ", ".join(COLUMNS), "no " + ", ".join(missing), where, "add them"
            )
        )
    for key, known in (("kind", KINDS), ("basis", BASES)):
        if row[key] not in known:
            raise ModelDataError(
                expected_found(f"material {row['name']} {key}", known_names(known), repr(row[key]), where, "correct it")
            )
    number = {key: _number(row, key, where) for key in RANGES}
    for key in ("modulus_MPa", "stiffening_strain"):
        if math.isnan(number[key]):
            raise ModelDataError(
                expected_found(f"material {row['name']} {key}", "a number", "an empty cell", where, "measure it")
            )
    return Material(
        row["name"], row["kind"], 1e6 * number["modulus_MPa"], number["stiffening_strain"], number["energy_loss"],
        number["density_kg_m3"], number["modulus_cv"],
        f"{row['hardness_scale']} {row['hardness_value']}".strip(), row["basis"], row["source"],
        number["loading_time_s"], number["rate_exponent"], number["rate_sd"],
        number["law_misfit"],
    )  # fmt: skip


def _number(row: Mapping[str, str], key: str, where: str) -> float:
    if not row.get(key):
        return math.nan
    low, high = RANGES[key]
    try:
        value = float(row[key])
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise ModelDataError(
            expected_found(
                f"material {row['name']} {key}",
                f"a number from {low:g} to {high:g}",
                repr(row[key]),
                where,
                "correct it, or leave it empty where it is unknown",
            )
        )
    return value


# Hardness to modulus ------------------------------------------------------------------------------------------------


def ruess(shore_a: float) -> float:
    """Modulus [Pa] of a solid elastomer: log10(E / MPa) = 0.0235 S - 0.6403, 30 to 60 Shore A.

    A power of ten: 60 Shore A gives 5.9 MPa. With e in place of ten, as some converters have it, it would be 2.2 MPa.
    Ruess, quoted by a design page; the original was not seen.
    """
    return 1e6 * 10.0 ** (0.0235 * shore_a - 0.6403)


def gent_1958(shore_a: float) -> float:
    """Modulus [Pa] of a solid elastomer: E = 0.0981 (56 + 7.62336 S) / (0.137505 (254 - 2.54 S)) MPa.

    Gent AN (1958) On the relation between indentation hardness and Young's modulus, FROM MEMORY.
    """
    return 1e6 * 0.0981 * (56.0 + 7.62336 * shore_a) / (0.137505 * (254.0 - 2.54 * shore_a))


HARDNESS_LAWS: dict[str, tuple[Callable[[float], float], tuple[float, float]]] = {
    "ruess": (ruess, RUESS_RANGE),
    "gent_1958": (gent_1958, GENT_RANGE),
}
"""Law -> function of Shore A, range it is used in."""


def modulus_from_hardness(shore_a: float, kind: str, law: str = "ruess") -> float:
    """Modulus [Pa] from Shore A hardness, for solid elastomers alone: SettingError for foams and outside the range."""
    if law not in HARDNESS_LAWS:
        raise SettingError(
            expected_found("hardness law", known_names(HARDNESS_LAWS), repr(law), "the call", "choose one")
        )
    if kind != "elastomer":
        raise SettingError(
            expected_found(
                "hardness to modulus",
                "a solid elastomer",
                repr(kind),
                "the material's kind",
                "measure it: a foam's or gel's hardness does not give its modulus (jointload material FILE.csv)",
            )
        )
    relation, (low, high) = HARDNESS_LAWS[law]
    if not low <= shore_a <= high:
        raise SettingError(
            expected_found(
                f"hardness by {law}", f"{low:g} to {high:g} Shore A", f"{shore_a:g}", "the call", "measure the material"
            )
        )
    return relation(shore_a)

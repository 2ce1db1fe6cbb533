"""Reads the data files in models/, which ship in the wheel and stand beside the package in a checkout.

Every file carries its provenance: the loader refuses one that lacks it. A TOML file has a `[provenance]` table; a CSV
file has `# key: value` lines on top. What is published is named by its key in models/sources: `[@bell_1990]`.
"""

from __future__ import annotations

import csv
import io
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from jointload.errors import ModelDataError, known_names
from jointload.sources import cited_in, source
from jointload.sources import shipped_folder as shipped_folder

PROVENANCE_KEYS = ("source", "unit", "axes", "population", "read_in")


@dataclass(frozen=True)
class ModelFile:
    """One data file of models/: where it came from and what it holds."""

    kind: str
    name: str
    provenance: dict[str, str]
    content: Any
    """A dict for TOML, a list of row dicts (all strings, as printed) for CSV."""
    keys: tuple[str, ...] = ()
    """Of the sources that it cites."""


def model_names(kind: str) -> list[str]:
    """Names of all shipped files of one kind (bodies, inertia, hip_centres, materials, insole_response, sanity)."""
    return sorted(
        path.stem for path in (shipped_folder("models") / kind).glob("*.*") if path.suffix in (".toml", ".csv")
    )


def model_kinds() -> list[str]:
    """The kinds of model data that ship, in alphabetical order."""
    return sorted(
        folder.name for folder in shipped_folder("models").iterdir() if folder.is_dir() and model_names(folder.name)
    )


@lru_cache(maxsize=64)
def load_model(kind: str, name: str) -> ModelFile:
    """Read models/<kind>/<name>.toml or .csv and check that it names its provenance."""
    folder = shipped_folder("models") / kind
    for suffix in (".toml", ".csv"):
        path = folder / (name + suffix)
        if path.is_file():
            return _read(path, kind)
    raise ModelDataError(
        f"unknown name {name!r} in models/{kind}; the known names are {known_names(model_names(kind))}"
    )


def _read(path: Path, kind: str) -> ModelFile:
    text = path.read_text(encoding="utf-8")
    provenance, content = _parse_toml(text) if path.suffix == ".toml" else _parse_csv(text)
    missing = [key for key in PROVENANCE_KEYS if not provenance.get(key)]
    if missing:
        raise ModelDataError(
            f"models/{kind}/{path.name}: expected provenance {', '.join(missing)}, found none; add it to its head"
        )
    keys = tuple(cited_in([provenance, content]))
    for key in keys:
        source(key, f"models/{kind}/{path.name}")
    return ModelFile(kind, path.stem, provenance, content, keys)


def _parse_toml(text: str) -> tuple[dict[str, str], dict[str, Any]]:
    content = tomllib.loads(text)
    return content.pop("provenance", {}), content


def _parse_csv(text: str) -> tuple[dict[str, str], list[dict[str, str]]]:
    provenance: dict[str, str] = {}
    rows: list[str] = []
    for line in text.splitlines():
        if line.startswith("#"):
            key, _, value = line.lstrip("# ").partition(":")
            provenance[key.strip()] = value.strip()
        elif line.strip():
            rows.append(line)
    return provenance, list(csv.DictReader(io.StringIO("\n".join(rows))))

"""One rider's unknowns drawn from their published or chosen spreads, and the plain sole and foot they stand on."""

from __future__ import annotations

from dataclasses import fields
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from jointload.insole.bed.bed import GRAVITY, BedMaterials, FootBed, JointStiffness, Mask, Person
from jointload.loads.tissue.spreads import drawn
from jointload.modeldata import load_model

Array = NDArray[np.float64]


def draw_person(draws: int, seed: int, mass: float, foot_length: float) -> Person:
    """Draw all unknowns of a rider of this mass [kg] and foot length [m] from models/insole_response/foundation.toml,
    and the Achilles tendon's arm from models/tissue.

    Each row is drawn on its own in equal slices of probability (Latin hypercube), from a stream of its own name, so
    that a row added later moves no other.
    """
    model = load_model("insole_response", "foundation").content
    ratio = {"mass": mass / model["reference"]["mass"], "length": foot_length / model["reference"]["foot_length"]}
    values = {}
    for name, row in model["draws"].items():
        generator = np.random.default_rng([seed, crc32(name.encode())])
        chance = (generator.permutation(draws) + generator.random(draws)) / draws
        grows = [ratio[part] for part in row.get("scales_with", "").split(" and ") if part]
        values[name] = _quantile(row, chance) * float(np.prod(grows))
    values |= draw_own_answers(draws, seed)
    tissue = {name: np.ravel(factor) for name, factor in drawn(draws, seed).items()}
    values |= {f"{TISSUE}{name}": factor for name, factor in tissue.items()}
    values |= {name: tissue[name] for name in ("achilles_arm", "achilles_growth")}
    joints = JointStiffness(
        roll=values["roll_stiffness"],
        pitch=values["pitch_stiffness"],
        twist=values["twist_stiffness"],
        arch=values["arch_stiffness"],
        body_weight=mass * GRAVITY,
        floor_share=model["limits"]["floor_share"],
        swing=values["swing_stiffness"],
    )
    return Person(BedMaterials(**{f.name: values[f.name] for f in fields(BedMaterials)}), joints, values)


TISSUE = "tissue_"
"""Before the name of a number of models/tissue among a person's values."""
OWN = "own_"
OWN_UNITS = {"deg": np.deg2rad(1.0), "mm": 1e-3}
TILT_PARTS = {"rearfoot": 0.25, "forefoot": 0.25, "unsigned": 0.50}
"""What of a wedge one person's own answer goes with, and its share of the variance (choice)."""
LIFT = "lift"
OWN_PARTS = (*TILT_PARTS, LIFT)
"""What of a shape one person's own answer goes with."""


def own_spreads(column: str = "sd") -> dict[str, float]:
    """Name of every own answer -> standard deviation between persons [SI]: sd at 5 deg of full-length wedge, lift_sd at
    18 mm of heel lift; of those that have one."""
    rows = load_model("insole_response", "own_answers").content
    return {row["name"]: float(row[column]) * OWN_UNITS[row["unit"]] for row in rows if float(row[column])}


def _part_spreads() -> dict[tuple[str, str], float]:
    """Own answer and part -> standard deviation between persons at the part's full size [SI]."""
    tilted = {
        (name, part): spread * float(np.sqrt(share))
        for name, spread in own_spreads().items()
        for part, share in TILT_PARTS.items()
    }
    return tilted | {(name, LIFT): spread for name, spread in own_spreads("lift_sd").items()}


def own_key(name: str, part: str) -> str:
    return f"{OWN}{name}_{part}"


def draw_own_answers(draws: int, seed: int) -> dict[str, Array]:
    """What one person answers beside the mechanics: (D,) of every name and part, in equal slices of probability."""
    from scipy.special import ndtri

    out = {}
    for (name, part), spread in _part_spreads().items():
        key = own_key(name, part)
        generator = np.random.default_rng([seed, crc32(key.encode())])
        chance = (generator.permutation(draws) + generator.random(draws)) / draws
        out[key] = spread * ndtri(chance)
    return out


def _quantile(row: dict[str, Any], chance: Array) -> Array:
    """Values of a row's distribution, cut off at its low and high, at chances in (0, 1)."""
    from scipy.special import ndtr, ndtri

    low, high = row.get("low", -np.inf), row.get("high", np.inf)
    if row["distribution"] == "uniform":
        return np.asarray(low + chance * (high - low))
    if row["distribution"] == "log_normal":
        spread = np.sqrt(np.log1p(row["cv"] ** 2))
        return np.asarray(row["median"] * np.exp(spread * ndtri(chance)))
    first, last = ndtr((np.array([low, high]) - row["mean"]) / row["sd"])
    return np.asarray(row["mean"] + row["sd"] * ndtri(first + chance * (last - first)))


def sole_outline(length: float, width: float) -> Array:
    """(k, 2) corners [m] of a plain sole of this length and greatest width, heel at x = 0, medial y positive."""
    row = load_model("insole_response", "foundation").content["sole"]
    x = np.array(row["x"]) * length
    medial, lateral = np.array(row["medial"]) * width, np.array(row["lateral"]) * -width
    return np.stack([np.concatenate((x, x[::-1])), np.concatenate((medial, lateral[::-1]))], axis=1)


def sole_cells(outline: Array, size: float) -> tuple[Array, Array, Array]:
    """Cells of about size x size [m] inside an outline (k, 2): centres x, y and areas (n,), from 6 x 6 points each.

    The grid is laid about y = 0, so that a mirrored outline gets mirrored cells.
    """
    fine = 6
    low, high = outline.min(axis=0), outline.max(axis=0)
    reach = int(np.ceil(np.abs(outline[:, 1]).max() / size))
    x = low[0] + size * (np.arange(int(np.ceil((high[0] - low[0]) / size)) * fine) + 0.5) / fine
    y = size * (np.arange(-reach * fine, reach * fine) + 0.5) / fine
    inside = _inside(outline, x[:, None], y[None, :])
    blocks = inside.reshape(x.size // fine, fine, y.size // fine, fine).astype(float)
    count = blocks.sum(axis=(1, 3))
    kept = count > 0
    centre_x = (blocks * x.reshape(-1, fine, 1, 1)).sum(axis=(1, 3))[kept] / count[kept]
    centre_y = (blocks * y.reshape(1, 1, -1, fine)).sum(axis=(1, 3))[kept] / count[kept]
    return centre_x, centre_y, count[kept] * (size / fine) ** 2


def _inside(outline: Array, x: Array, y: Array) -> Mask:
    """Whether points lie inside a polygon: an odd number of its sides crossed on the way to far +x."""
    odd = np.zeros(np.broadcast_shapes(x.shape, y.shape), dtype=bool)
    for (x1, y1), (x2, y2) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if y1 != y2:
            odd ^= ((y1 > y) != (y2 > y)) & (x < x1 + (y - y1) * (x2 - x1) / (y2 - y1))
    return odd


def plantar_shape(x: Array, y: Array, outline: Array) -> Array:
    """(n,) [m], height of the unloaded sole above its lowest plane: medial arch, rounded edges, toe spring.

    Source: models/insole_response/foundation.toml.
    """
    row = load_model("insole_response", "foundation").content["plantar_shape"]
    half = len(outline) // 2
    length = outline[:, 0].max()
    medial = np.interp(x, outline[:half, 0], outline[:half, 1])
    lateral = np.interp(x, outline[half:, 0][::-1], outline[half:, 1][::-1])
    across = np.clip((2 * y - medial - lateral) / np.maximum(medial - lateral, 1e-9), -1, 1)
    along = np.clip((x / length - row["arch_start"]) / (row["arch_end"] - row["arch_start"]), 0, 1)
    arch = row["arch_height"] * np.sin(np.pi * along) ** 2 * np.clip(0.5 + 0.5 * across, 0, 1)
    edge = row["edge_rise"] * np.clip((np.abs(across) - row["edge_start"]) / (1 - row["edge_start"]), 0, 1) ** 2
    toes = row["toe_spring"] * np.clip((x / length - row["toe_start"]) / (1 - row["toe_start"]), 0, 1)
    return np.asarray(arch + edge + toes)


def plain_foot(length: float, width: float | None = None, size: float = 0.008) -> FootBed:
    """A foot of this length [m] on its plain sole, all else by the shares of models/insole_response/foundation.toml."""
    outline = sole_outline(length, sole_width(length) if width is None else width)
    x, y, area = sole_cells(outline, size)
    return foot_bed(x, y, area, plantar_shape(x, y, outline), length)


def foot_bed(x: Array, y: Array, area: Array, shape: Array, length: float) -> FootBed:
    """A bed of these cells, thicknesses and the foot's measures from models/insole_response/foundation.toml."""
    foot = load_model("insole_response", "foundation").content["foot"]
    return FootBed(
        x,
        y,
        area,
        shape,
        tissue=np.interp(x / length, [0.15, 0.70], [foot["heel_tissue"], foot["forefoot_tissue"]]),
        midsole=np.full(x.shape, foot["midsole"]),
        length=length,
        **{name: foot[name] * length for name in ("ankle_forward", "ankle_height", "split", "arch_hinge")},
    )


def sole_width(length: float) -> float:
    """Greatest width [m] of a plain sole of this length."""
    return float(load_model("insole_response", "foundation").content["sole"]["width"] * length)

"""One printable page that goes with an insole: the fields that a maker's form asks for, filled as far as is known."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from jointload.insole.shape.layers_apart import LayerSurface
from jointload.insole.shape.measured import Numbers
from jointload.insole.shape.shape import InsoleShape
from jointload.insole.shape.surface import Surface
from jointload.report.papers.insole_words import (
    CAUTIONS,
    HEADING,
    angle_text,
    file_name,
    hardness_text,
    layer_file_name,
    layer_text,
    millimetres,
    parts_of,
    remarks,
)
from jointload.report.words import html

PERSON = {
    "pseudonym": "Pseudonym", "mass_kg": "Body mass [kg]", "shoe_size": "Shoe size", "shoe_type": "Shoe, boot",
    "sport": "Sport", "complaint": "Complaint, aim",
}  # fmt: skip
"""Key of [sheet] in insole.toml -> what the form calls it."""
STYLE = """<style>
@page { size: A4; margin: 11mm 12mm; }
main { max-width: 52rem; padding-top: .5rem; }
h1 { font-size: 1.45rem; } h2 { font-size: 1rem; margin: .8rem 0 .2rem; padding-top: .3rem; border-top-width: 2px; }
p { margin: .2rem 0; max-width: none; } table { font-size: .78rem; } .rows { margin: .2rem 0; }
td, th { padding: .2rem .5rem .2rem 0; } td:first-child { width: 24%; color: var(--soft); }
.person { display: grid; grid-template-columns: repeat(auto-fit, minmax(13rem, 1fr)); gap: .25rem 1.2rem;
  font: .8rem/1.4 "Noto Sans", "DejaVu Sans", sans-serif; }
.person div { display: flex; gap: .5rem; } .person span:first-child { color: var(--soft); white-space: nowrap; }
.blank { flex: 1; display: inline-block; min-width: 7rem; border-bottom: 1px solid var(--ink); height: 1.05em; }
.caution ul { margin: 0; padding-left: 1.1rem; font-size: .8rem; } .signed { margin-top: .7rem; display: grid;
  grid-template-columns: 2fr 1fr; gap: .6rem 1.5rem; font: .8rem/1.6 "Noto Sans", "DejaVu Sans", sans-serif; }
.signed div { display: flex; gap: .5rem; } .signed .whole { grid-column: 1 / 3; }
@media print { html { font-size: 13px; } body { font-size: 9pt; } h2 { margin-top: .5rem; } }
</style>"""
BLANK = '<span class="blank"></span>'


@dataclass(frozen=True)
class WrittenLayer:
    """One layer as it was written by itself, and the SHA-256 of its STL."""

    layer: LayerSurface
    checksum: str


@dataclass(frozen=True)
class Written:
    """One insole as it was written: its surface, its numbers and the SHA-256 of its STL."""

    surface: Surface
    numbers: Numbers
    checksum: str
    apart: tuple[WrittenLayer, ...] = ()


def render_sheet(insoles: Sequence[Written], name: str, fields: Mapping[str, str]) -> str:
    """The page; `fields` are the [sheet] of insole.toml, what they leave out stays a line to write on."""
    sides = " and ".join(one.surface.side for one in insoles)
    body = [
        STYLE,
        f"<h1>{HEADING}</h1>",
        f"<p>Insole {escape(name)}, {sides}. Made by jointload, a research tool; not a medical device.</p>",
        html.section("person", "For whom", _person(fields)),
        html.section("shape", "Orthosis", _by_side(insoles, _orthosis_rows(insoles, fields))),
        _apart(insoles),
        html.section("numbers", "Measures of the solid", _by_side(insoles, _number_rows(insoles)), _remarks(insoles)),
        html.section("cautions", "Cautions", _cautions()),
        _signed(),
    ]
    return html.document(f"{HEADING}: insole {name}", "\n".join(body))


def _person(fields: Mapping[str, str]) -> str:
    cells = "".join(
        f"<div><span>{escape(words)}</span><span>{escape(fields[key])}</span></div>"
        if key in fields
        else f"<div><span>{escape(words)}</span>{BLANK}</div>"
        for key, words in PERSON.items()
    )
    return f'<div class="person">{cells}</div>'


Row = tuple[str, list[str]]


def _by_side(insoles: Sequence[Written], rows: Sequence[Row]) -> str:
    """A table with a column a side; cells are HTML."""
    head = ["", *(one.surface.side for one in insoles)]
    return html.table(head, [[escape(name), *cells] for name, cells in rows])


def _orthosis_rows(insoles: Sequence[Written], fields: Mapping[str, str]) -> list[Row]:
    rows = [_same("Type of orthosis", fields.get("orthosis_type"), insoles)]
    for part, otherwise in (
        ("Rearfoot posting", "none"), ("Forefoot posting", "none"), ("Heel lift", "none"), ("Arch fill", "none"),
        ("Metatarsal support", "none"), ("Thin layer", "none"),
    ):  # fmt: skip
        rows.append((part, [_part(one.surface, part, otherwise) for one in insoles]))
    rows.append(_same("Cast modifications", fields.get("cast_modifications"), insoles))
    rows.append(("Shell (body)", [_layers(one.surface, shaped=True) for one in insoles]))
    rows.append(_same("Shell modifications", fields.get("shell_modifications"), insoles))
    rows.append(_same("Heel stabiliser", fields.get("heel_stabiliser"), insoles))
    rows.append(("Heel cup", [_part(one.surface, "Heel cup", "none") for one in insoles]))
    cover = fields.get("cover")
    rows.append(("Cover", [escape(cover) if cover else _layers(one.surface, shaped=False) for one in insoles]))
    if "notes" in fields:
        rows.append(_same("Notes", fields["notes"], insoles))
    return rows


def _same(name: str, text: str | None, insoles: Sequence[Written]) -> Row:
    return name, [escape(text) if text else BLANK for _ in insoles]


def _part(surface: Surface, name: str, otherwise: str) -> str:
    if not isinstance(surface, InsoleShape):
        return "as in the mesh"
    return "<br>".join(escape(part.text) for part in parts_of(surface) if part.name == name) or otherwise


def _layers(surface: Surface, shaped: bool) -> str:
    chosen = [layer_text(layer) for layer in surface.layers if (layer.thickness is None) == shaped]
    return "<br>".join(map(escape, chosen)) or ("none" if surface.layers else BLANK)


def _number_rows(insoles: Sequence[Written]) -> list[Row]:
    def cells(one: Written) -> dict[str, str]:
        n, surface = one.numbers, one.surface
        mass = "mass unknown" if math.isnan(n.mass) else f"{1000 * n.mass:.0f} g"
        return {
            "Length, width": f"{millimetres(surface.length)}, {millimetres(surface.width)}",
            "Stack height": f"heel {millimetres(n.heel_stack)}, forefoot {millimetres(n.forefoot_stack)}",
            "Tilt across": f"heel {angle_text(n.heel_tilt)}; forefoot {angle_text(n.forefoot_tilt)}",
            "Thickness": f"{millimetres(n.thinnest)} to {millimetres(n.thickest)}",
            "Steepest slope": f"{np.rad2deg(n.steepest):.1f}°",
            "Volume, mass": f"{1e6 * n.volume:.1f} cm³, {mass}",
            "File": file_name(surface),
            "SHA-256": f"{one.checksum[:32]} …",
        }

    found = [cells(one) for one in insoles]
    return [(name, [escape(cell[name]) for cell in found]) for name in found[0]]


def _apart(insoles: Sequence[Written]) -> str:
    """Every layer with its material, hardness and own file; empty where no insole has several."""
    rows = [
        [
            f"{escape(each.layer.side)}, {each.layer.number + 1} from the foot",
            escape(" ".join(filter(None, (layer_text(each.layer.layer), each.layer.place)))),
            escape(hardness_text(each.layer.layer)),
            escape(layer_file_name(each.layer)),
            f"{each.checksum[:16]} …",
        ]
        for one in insoles
        for each in one.apart
    ]
    head = ("layer", "material, thickness", "hardness", "file", "SHA-256")
    return html.section("layers", "Layers apart", html.table(head, rows)) if rows else ""


def _remarks(insoles: Sequence[Written]) -> str:
    notes = list(dict.fromkeys(note for one in insoles for note in remarks(one.surface)))
    notes.append(
        "The files are in millimetres, x to the toes, y to the left, z up. The outline is the foot's, without toe "
        "room; the solid holds the covers. Usual tolerances are 0.5 mm of the contour and 1 mm of the trim (from "
        "memory): ask the maker"
    )
    return "".join(f"<p><small>{escape(note[0].upper() + note[1:])}.</small></p>" for note in notes)


def _cautions() -> str:
    return '<div class="caution"><ul>' + "".join(f"<li>{escape(c)}</li>" for c in CAUTIONS) + "</ul></div>"


def _signed() -> str:
    return (
        f'<div class="signed"><div class="whole"><span>Changes asked for</span>{BLANK}</div>'
        f"<div><span>Qualified prescriber, name and signature</span>{BLANK}</div>"
        f"<div><span>Date</span>{BLANK}</div></div>"
    )

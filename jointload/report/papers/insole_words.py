"""An insole in the words and units of the trade: degrees, millimetres, grams."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jointload.insole.shape.layers_apart import LayerSurface
from jointload.insole.shape.parts import CUP_END, Layer, Posting, ThinLayer
from jointload.insole.shape.scan import Scan
from jointload.insole.shape.shape import InsoleShape
from jointload.insole.shape.surface import Surface

HEADING = "Design study for a qualified prescriber"
CAUTIONS = (
    "A design study from a research tool. It is not a medical device and decides nothing for a person.",
    "Insoles are prescribed by licensed practitioners; whether, and in which shape, this one is worn is theirs to say.",
    "Introduce it gradually: an hour or two a day at first, hard landings last. Stop when anything hurts.",
    "Ankle sprain: a raised side tips the foot away from it; raised medially, the ankle rolls over its outer edge more "
    "easily. Watch how the ankle rolls, the more above 5 degrees.",
    "Check the height in the shoe: the heel must not slip out, and the toes need their room.",
)
UNCOMFORTABLE = math.radians(8.0)
"""Posting beyond which the sheet says that few bear it (choice; discomfort grew at 10 deg, from memory)."""


@dataclass(frozen=True)
class Part:
    """One part of a shape: its name, what it is, and where it reaches [m] from the heel."""

    name: str
    text: str
    start: float
    end: float


def angle_text(angle: float) -> str:
    """4.0° medial side raised; 'none' for nothing."""
    degrees = math.degrees(abs(angle))
    if degrees < 0.05:
        return "none"
    return f"{degrees:.1f}° {'medial' if angle > 0 else 'lateral'} side raised"


def millimetres(value: float, digits: int = 1) -> str:
    return f"{1000 * value:.{digits}f} mm"


def parts_of(surface: Surface) -> list[Part]:
    """The parts that a shape is made of, from the heel on; none for the scan of an existing insole."""
    if not isinstance(surface, InsoleShape):
        return []
    length = surface.length
    parts = [_posting("Rearfoot posting", surface.rearfoot, length)]
    lift, arch, dome = surface.lift, surface.arch, surface.metatarsal
    if lift.height > 0:
        reach = f"to nothing from {1000 * lift.ramp_start * length:.0f} to {1000 * lift.ramp_end * length:.0f} mm"
        parts.append(Part("Heel lift", f"{millimetres(lift.height)}, {reach}", 0.0, lift.ramp_end * length))
    if arch.height > 0:
        middle = f"highest {1000 * arch.centre * length:.0f} mm from the heel"
        span = [(arch.centre + k * arch.half_length) * length for k in (-1, 1)]
        parts.append(Part("Arch fill", f"{millimetres(arch.height)} at the medial edge, {middle}", *span))
    if dome.height > 0:
        place = f"top {1000 * dome.position * length:.0f} mm from the heel"
        span = [dome.position * length + k * 0.5 * dome.length for k in (-1, 1)]
        parts.append(Part("Metatarsal support", f"{millimetres(dome.height)}, {place}", *span))
    parts.append(_posting("Forefoot posting", surface.forefoot, length))
    parts += [_thin(one, length) for one in surface.thin]
    if surface.cup.height:
        text = f"{millimetres(surface.cup.height)} high over the insole, close around the heel"
        parts.append(Part("Heel cup", text, 0.0, CUP_END * length))
    return [part for part in parts if part.text != "none"]


def _posting(name: str, posting: Posting, length: float) -> Part:
    start = max(posting.start - posting.blend, 0.0) if posting.start > 0 else 0.0
    end = min(posting.end + posting.blend, 1.0) if posting.end < 1 else 1.0
    text = angle_text(posting.angle)
    if text != "none":
        text += f", in full from {1000 * posting.start * length:.0f} to {1000 * posting.end * length:.0f} mm"
    return Part(name, text, start * length, end * length)


def _thin(thin: ThinLayer, length: float) -> Part:
    start, end = (share * length for share in thin.reach)
    reach = f"from {1000 * start:.0f} to {1000 * end:.0f} mm, edges skived" if thin.under != "whole" else "full length"
    return Part("Thin layer", f"{thin}, {reach}", start, end)


def layer_text(layer: Layer) -> str:
    """pu_foam_soft 2.0 mm; the layer that takes the shape says so."""
    thickness = "takes the shape" if layer.thickness is None else millimetres(layer.thickness)
    return f"{layer.material.name.replace('_', ' ')}, {thickness}"


def remarks(surface: Surface) -> list[str]:
    """What a reader must know beside the numbers."""
    if isinstance(surface, Scan):
        return list(surface.notes)
    if not isinstance(surface, InsoleShape):
        return []
    out = []
    if surface.raised > 5e-6:
        out.append(
            f"the whole {surface.side} insole is raised by {millimetres(surface.raised)}, so that no place "
            f"is thinner than {millimetres(surface.minimum)} under the covers"
        )
    steep = [p for p in (surface.rearfoot, surface.forefoot) if abs(p.angle) > UNCOMFORTABLE]
    if steep:
        out.append(f"posting beyond {math.degrees(UNCOMFORTABLE):.0f}° is borne by few")
    return out


def layer_file_name(layer: LayerSurface) -> str:
    """Numbered from the foot down, with its material."""
    return f"insole_{layer.side}_layer_{layer.number + 1}_{layer.layer.material.name}_mm.stl"


def hardness_text(layer: Layer) -> str:
    """What a maker asks for beside the name: hardness where it is known, and the modulus."""
    material = layer.material
    known = material.hardness or "hardness unknown"
    return f"{known}, modulus {material.modulus / 1e6:.3g} MPa"


def file_name(surface: Surface) -> str:
    """An STL holds no unit and no side, so its name does."""
    return f"insole_{surface.side}_mm.stl"

"""How the numbers were made, as a paragraph for a paper and as a checklist of what papers on joint moments must report.

The items follow Derrick TR et al (2020) J Biomech 99:109533 and Wu G, Cavanagh PR (1995) J Biomech 28:1257-1261, as
restated elsewhere. Every sentence is made from the settings and the data of this analysis, and cites what this result
used and nothing else: its keys are those of references.bib.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from importlib import metadata

from jointload.analysis import Analysis
from jointload.insole.limb.change import WhatIf
from jointload.intake.rider import G
from jointload.loads.contact import SHORTEST_CONTACT
from jointload.modeldata import load_model, model_names
from jointload.motion.following import BOARD
from jointload.report.words.cells import band_of, is_unknown
from jointload.report.words.quantities import quantity
from jointload.settings import Settings
from jointload.sources import cite, cited
from jointload.uncertainty.spreads import load_source

LANDING_ENDS = {
    "lowest_pelvis": "the lowest position of the middle of the hips",
    "peak_knee_flexion": "the largest knee flexion of that side",
    "peak_force": "the largest vertical force of that foot",
    "fixed_100ms": "100 ms after touch-down",
    "end of the contact": "the end of the contact, as no flight long enough came before it",
}
ZEROS = {
    "anatomical": "zero where the anatomical frames of both segments are parallel",
    "standing": "zero in the pose of the static trial",
}


@dataclass(frozen=True)
class Methods:
    """A paragraph, and (item, what was done) for every item of the checklist."""

    paragraph: str
    checklist: tuple[tuple[str, str], ...]


def methods_text(analysis: Analysis, answers: Iterable[WhatIf] = ()) -> Methods:
    """The methods of one analysis in words.  answers : predictions that were made for it"""
    answers = tuple(answers)
    checklist = (
        ("Recording", _recording(analysis)),
        ("Laboratory axes", f"X forward, Y up, Z right (ISB); {analysis.session.trial.axes_evidence}"),
        ("Force plates", _plates(analysis)),
        (BOARD_TAKEN_OUT, _board(analysis)),
        ("Segment frames", source_of("bodies", analysis.landing.body.definition.name)),
        ("Body fitted to", f"the stillest stretch of {analysis.landing.body.calibrated_from} of the file"),
        ("Hip joint centre", source_of("hip_centres", analysis.landing.body.hip_centre_method)),
        ("Knee and ankle joint centre", "middle between the epicondyles; middle between the malleoli"),
        ("L5/S1 joint centre", _lumbar_centre(analysis)),
        ("Segment inertia", source_of("inertia", analysis.landing.body.inertia_table)),
        ("Pose of segments", "least-squares rigid fit of all markers of a segment, every segment by itself"),
        ("Joint angles", _angles(analysis.settings)),
        ("Missing markers", _gaps(analysis.settings)),
        ("Filter", _filter(analysis)),
        ("Force peaks and loading rates", _impact_filter(analysis)),
        ("Derivatives", "central differences of the smoothed positions and rotations, accelerations of fourth order"),
        ("Peaks of joint loads and angles", "top of the parabola through the largest sample and its two neighbours"),
        ("Inverse dynamics", _dynamics(analysis)),
        ("Moments expressed in", "the joint coordinate system: projections on its axes, not all at right angles"),
        ("Internal or external", _kind()),
        ("Sign", _sign()),
        ("Normaliser", _normaliser(analysis)),
        ("Events", _events(analysis)),
        ("Landing phase", _phase(analysis)),
        ("Intervals", _intervals(analysis)),
        (DEFINITIONS, _definitions(analysis, answers)),
        (TISSUES, _tissues(analysis)),
        (FEET, _feet(analysis)),
        (BANDS, _bands(analysis)),
        (CHANGE, _predicted(answers)),
        ("Trials", "one; a person's own spread needs several landings of the same kind"),
        ("Software", _software()),
    )  # fmt: skip
    told = tuple((item, text) for item, text in checklist if text)
    return Methods(_paragraph(dict(told)), told)


def _paragraph(item: dict[str, str]) -> str:
    """The checklist's answers as sentences of one paragraph."""
    return (
        f"{item['Recording']}. {_capital(item['Force plates'])}. The body was fitted to {item['Body fitted to']}. "
        f"Segment frames followed {item['Segment frames']}; the hip joint centre followed {item['Hip joint centre']}; "
        f"segment inertia followed {item['Segment inertia']}{_after(item, 'L5/S1 joint centre')}. "
        f"{_capital(item['Joint angles'])}. "
        f"Filter: {item['Filter']}. {_capital(item['Force peaks and loading rates'])}. "
        f"{_capital(item['Inverse dynamics'])}. "
        f"{_capital(item['Internal or external'])}; {item['Sign']}. {_capital(item['Normaliser'])}. "
        f"{_capital(item['Events'])}. {_capital(item['Landing phase'])}. "
        f"{_capital(item['Intervals'])}. {_capital(item[DEFINITIONS])}."
        + "".join(f" {_capital(item[name])}." for name in AT_THE_END if name in item)
        + f" {item['Software']}."
    )


def _after(item: dict[str, str], name: str) -> str:
    return f"; {name}: {item[name]}" if name in item else ""


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def source_of(kind: str, name: str) -> str:
    """A model's name and source; a hip centre found by movement has no file."""
    if name not in model_names(kind):
        return f"{name}, found from this rider's movement"
    return f"{name}: {load_model(kind, name).provenance['source']}"


def _recording(analysis: Analysis) -> str:
    trial = analysis.session.trial
    plates = f", {len(trial.plates)} force plates at {trial.force_rate:g} Hz" if trial.plates else ", no force plates"
    return f"{len(trial.labels)} markers at {trial.point_rate:g} Hz{plates}"


def _plates(analysis: Analysis) -> str:
    plates = analysis.session.trial.plates
    if not plates:
        return "none"
    return "unloaded level: " + "; ".join(
        f"plate {plate.number} (type {plate.kind}), {plate.baseline}" for plate in plates
    )


def _angles(settings: Settings) -> str:
    return (
        "joint coordinate system, rotations in the order Z, X', Y'' of the distal frame in the proximal one "
        f"[@grood_1983; @wu_2002], "
        f"{ZEROS[settings.angle_zero]}"
    )


def _board(analysis: Analysis) -> str:
    moved, late = analysis.landing.moved_board, analysis.session.trial.cameras_late
    if moved is None:
        return ""
    followed = ", followed by splines that may bend from the touch on" if analysis.landing.smoother else ""
    way = "later" if late > 0.0 else "earlier"
    clock = f"; plates were moved {1000 * abs(late):.1f} ms {way}, onto the cameras' clock, as its stop tells"
    return (
        f"weight and inertia of the board ({moved.board.mass:g} kg) were taken out of what plates felt by the motion "
        f"of {len(moved.labels)} markers on it{followed}{clock if math.isfinite(late) else ''}"
    )


def _gaps(settings: Settings) -> str:
    return (
        f"gaps up to {1000 * settings.longest_gap:g} ms bridged by a cubic spline unless they hold a touch-down; "
        "longer ones placed by the rigid fit of the segment's other markers; the rest left empty"
    )


def _filter(analysis: Analysis) -> str:
    settings = analysis.settings
    if settings.smoothing == "balanced":
        return _followed(analysis)
    if settings.cutoff is None:
        return "none"
    what = {
        "fixed": "markers and plate wrenches alike, before the dynamics",
        "after": "joint loads and angles after dynamics on unfiltered data",
    }[settings.smoothing]
    return (
        "Butterworth low-pass, second order, run forward and backward (fourth order in all, zero lag), "
        f"−3 dB at {settings.cutoff:g} Hz after both passes: {what}; ends padded by odd reflection of up to 1 s"
    )


def _followed(analysis: Analysis) -> str:
    landing, cutoff = analysis.landing, analysis.settings.plate_cutoff(analysis.session.trial.force_rate)
    noise = [level for kind, level in landing.smoother.noise.items() if kind != BOARD] if landing.smoother else ()
    measured = f"{1000 * min(noise):.2g} to {1000 * max(noise):.2g} mm of noise" if noise else "noise"
    plates = "unfiltered plate wrenches" if cutoff is None else f"plate wrenches low-passed at {cutoff:g} Hz"
    flesh = (
        ", and what these demand beside the markers was laid on swinging flesh by a regression on damped oscillators, "
        f"with its share and swing after {cite(load_model('uncertainty', 'flesh').keys)}"
        if landing.balance
        else ", with nothing to balance against"
    )
    return (
        f"balanced: markers smoothed by quintic splines ({measured}, as measured in the recording and with the skin's "
        f"part) as far as the rate of the plates' force allows, followed at {landing.poses.rate:g} Hz; gaps between "
        "the bones of hips, knees and ankles shared out among segment poses and joint centres by their spreads; "
        f"dynamics with {plates}{flesh}"
    )


def _impact_filter(analysis: Analysis) -> str:
    rate = analysis.session.trial.force_rate
    cutoff = analysis.settings.peak_cutoff(rate)
    how = "not filtered" if cutoff is None else f"same filter at {cutoff:g} Hz"
    return f"force peaks, loading rates and friction were read from the plate force at {rate:g} Hz, {how}"


def _dynamics(analysis: Analysis) -> str:
    top = "L5/S1" if "l5s1" in analysis.landing.loads.joints else "the last joint"
    return (
        f"Newton-Euler from both feet up to {top}, wrenches summed about the laboratory origin and shifted "
        "to the joint centre last; no muscle forces, so that joint forces are net forces"
    )


def _kind() -> str:
    return (
        "external moments (of the loads on the distal segment) for ankle dorsiflexion, knee and hip; internal "
        "moments (the body's answer) for ankle inversion and L5/S1; every unit names which"
    )


def _sign() -> str:
    return (
        "positive in the named direction on both sides: flexion, adduction and internal rotation; at the ankle "
        "dorsiflexion and inversion; at L5/S1 as each name says"
    )


def _normaliser(analysis: Analysis) -> str:
    weight = analysis.landing.weight
    origin = "the plates in quiet standing" if math.isclose(weight, analysis.landing.weight_on_plates) else "rider.toml"
    return (
        f"forces by body weight ({weight:.1f} N, from {origin}), moments, work and power by body mass "
        f"({weight / G:.2f} kg)"
    )


def _events(analysis: Analysis) -> str:
    return (
        f"touch-down where the vertical force of the foot passes {analysis.settings.contact_threshold:g} N, in an "
        f"unbroken stretch above half of it of at least {1000 * SHORTEST_CONTACT:g} ms; take-off likewise"
    )


def _phase(analysis: Analysis) -> str:
    return f"from touch-down of each foot to {LANDING_ENDS[analysis.landing.events.landing_end]}"


def _intervals(analysis: Analysis) -> str:
    certainty = analysis.certainty
    if certainty is None:
        return "no intervals were drawn"
    inputs = "; ".join(f"{each.title} ({load_source(each.name).cited})" for each in certainty.inputs)
    keys = [key for each in certainty.inputs for key in load_model("uncertainty", each.name).keys]
    if "joint_centre" in [each.name for each in certainty.inputs]:
        keys += _hip_error_keys(analysis.landing.body.hip_centre_method)
    others = cite(key for key in keys if key not in cited(inputs))
    return (
        f"95 % intervals are 1.96 root mean squares of how far from the value {certainty.draws} draws (Latin "
        f"hypercube, seed {certainty.seed}) of the uncertain inputs through the whole analysis lie: {inputs}"
        + (f"; see also {others}" if others else "")
    )


DEFINITIONS, TISSUES, BANDS = "Definitions of quantities", "Tissue loads", "Published bands"
FEET, BOARD_TAKEN_OUT, CHANGE = "Heel, ball and toes", "Board", "Predicted change"
AT_THE_END = (BOARD_TAKEN_OUT, TISSUES, FEET, BANDS, CHANGE)
"""What ends the paragraph, where there is any."""
TISSUE_FILES = {"tibiofemoral": "knee", "patellofemoral": "knee", "achilles": "achilles", "l5s1_disc": "lumbar"}
"""How a quantity's name begins -> the file of models/tissue behind it."""


def known_quantities(analysis: Analysis) -> list[str]:
    """The quantities of which this landing has a value or a word."""
    return list(dict.fromkeys(m.quantity for m in analysis.measures if not is_unknown(m)))


def definitions_text(names: Iterable[str]) -> str:
    """Whom the definitions of these quantities follow."""
    keys = cite(cited(*(quantity(name).source for name in names)))
    return "quantities are defined in the glossary" + (f", after {keys}" if keys else "")


def tissues_text(names: Iterable[str]) -> str:
    """Where the numbers behind tissue loads come from; empty where none of these quantities is one."""
    files = [file for name in names for start, file in TISSUE_FILES.items() if name.startswith(start)]
    keys = [key for file in dict.fromkeys(files) for key in load_model("tissue", file).keys]
    if not keys:
        return ""
    return (
        "tissue loads are lower bounds from net moments and forces, one muscle group answering each moment, with arms, "
        f"ratios and areas judged from {cite(keys)}; impulses stand before peaks [@bisseling_2006]"
    )


def _definitions(analysis: Analysis, answers: Iterable[WhatIf]) -> str:
    rows = [row for each in answers for row in (*each.rows, *each.at_instants)]
    return definitions_text([*known_quantities(analysis), *(row.quantity for row in rows)])


def _tissues(analysis: Analysis) -> str:
    return tissues_text(known_quantities(analysis))


def _feet(analysis: Analysis) -> str:
    """Where the force under heel and ball is from, and what the pad's and the toes' numbers rest on."""
    bases = dict.fromkeys(foot.basis for foot in analysis.feet if foot.samples)
    if not bases:
        return ""
    keys = [key for file in ("heel_pad", "walking", "shoe") for key in load_model("foot", file).keys]
    return (
        f"forces under heel and ball were {' and '.join(bases)}; the heel's pad followed a law of columns that lock, "
        "for impact, and the push against the toe box is what friction and lacing leave over of the ground's force "
        f"along the foot's own axis, after {cite(keys)}"
    )


def _bands(analysis: Analysis) -> str:
    """Whose numbers stand beside those of this landing."""
    keys = []
    for measure in analysis.measures:
        band = None if is_unknown(measure) or measure.word else band_of(quantity(measure.quantity), measure, analysis)
        keys += cited(band.source) if band is not None else []
    return f"published bands beside the numbers are from {cite(keys)}" if keys else ""


def _predicted(answers: tuple[WhatIf, ...]) -> str:
    """What a prediction of an insole's effect rests on."""
    if not answers:
        return ""
    keys = [key for file in ("foundation", "wedge_ratio") for key in load_model("insole_response", file).keys]
    keys += load_model("tissue", "achilles").keys
    keys += cited(*(layer.material.source for each in answers for layer in each.shape.layers))
    return (
        "the change of the shoe's inside was predicted by a layered elastic bed under a foot of two parts and the same "
        f"inverse dynamics again, with spreads between persons after {cite(keys)}"
    )


def _lumbar_centre(analysis: Analysis) -> str:
    """The one regression from the pelvis's width; empty where no load of L5/S1 is known."""
    if "l5s1" not in analysis.landing.loads.joints:
        return ""
    return load_model("joint_centres", "reed_1999").provenance["source"]


def _hip_error_keys(method: str) -> list[str]:
    return list(load_model("hip_centres", method).keys) if method in model_names("hip_centres") else []


def _software() -> str:
    return ", ".join(f"{name} {metadata.version(name)}" for name in ("jointload", "numpy", "scipy"))

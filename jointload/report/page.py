"""The report of one landing as one self-contained page in plain language."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from html import escape
from typing import Any

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import SIDES, Array
from jointload.intake.rider import G
from jointload.landing.measures import Measure
from jointload.report import figures, html
from jointload.report.methods import methods_text
from jointload.report.quantities import Band, Quantity, number_text, quantity, sanity, shown
from jointload.report.tables import all_findings, distinguishable, variants_table

SECTIONS: dict[str, tuple[str, ...]] = {
    "hardness": (
        "touchdown_speed", "drop_height", "flight_time", "pelvis_drop", "time_to_stabilisation", "vertical_force_peak",
        "vertical_force_first_peak", "vertical_force_second_peak", "vertical_loading_rate", "vertical_impulse_100ms",
        "time_to_peak", "braking_force_peak", "time_to_braking_peak", "friction_use_peak", "first_contact_zone",
        "sole_angle_touchdown",
    ),
    "alignment": (
        "ankle_dorsiflexion_touchdown", "knee_flexion_touchdown", "hip_flexion_touchdown", "knee_adduction_touchdown",
        "ankle_dorsiflexion_peak", "knee_flexion_peak", "hip_flexion_peak", "rearfoot_eversion_peak", "knee_adduction_peak",
        "knee_internal_rotation_peak", "hip_adduction_peak", "knee_over_ankle", "tibia_inclination_frontal",
        "pelvis_obliquity_touchdown", "hip_pelvis_angle_touchdown", "pelvis_tilt_touchdown", "trunk_lean_touchdown",
        "trunk_lean_forward_touchdown", "trunk_flexion_peak",
    ),
    "loads": (
        "ankle_dorsiflexion_moment_peak", "ankle_inversion_moment_peak", "knee_flexion_moment_peak",
        "knee_adduction_moment_peak", "knee_adduction_impulse", "hip_flexion_moment_peak", "hip_adduction_moment_peak",
        "knee_compression_peak", "l5s1_extension_moment_peak", "l5s1_lateral_bend_moment_peak", "l5s1_compression_peak",
    ),
    "work": (
        "ankle_work_negative", "knee_work_negative", "hip_work_negative", "ankle_power_absorbed_peak",
        "knee_power_absorbed_peak", "hip_power_absorbed_peak",
    ),
    "trust": ("fall_acceleration", "residual_force", "body_weight_plate", "body_weight_rider"),
}  # fmt: skip
"""Which section shows which quantity."""
HEADINGS = {
    "measured": "What was measured",
    "trust": "Can it be trusted",
    "hardness": "How hard was the landing",
    "alignment": "How was the body aligned",
    "loads": "What ankle, knee, hip and lower back bore",
    "work": "Who did the work of stopping",
    "change": "What the change of the shoe's inside would shift",
    "variants": "How choices shift the numbers",
    "methods": "How the numbers were made",
    "glossary": "What every number means",
    "cautions": "Cautions",
}
KEY_QUANTITIES = (
    "touchdown_speed", "vertical_force_peak", "vertical_loading_rate", "knee_flexion_peak", "knee_flexion_moment_peak",
    "knee_adduction_moment_peak",
)  # fmt: skip
ALWAYS_TOGETHER = ("knee_adduction_moment_peak", "knee_flexion_moment_peak")
"""A prediction shows these first and never one without the other: a change that unloads one may load the other."""
CAUTIONS = (
    "This is a research tool. It is not a medical device, gives no diagnosis and does not predict injury.",
    "Joint moments and net joint forces are what the movement demanded of all tissues of a joint together. They are not the force "
    "on a cartilage, a disc or a ligament; muscles add to it, often severalfold.",
    "Published bands tell where other people's numbers lay. A number outside one asks for a second look at the data; it is neither "
    "a fault nor a danger by itself.",
    "Wedges shift loads little, differently from person to person, and a predicted shift is a reason to measure, not to wear one. "
    "Insoles are prescribed by licensed practitioners; defer to them.",
    "Stop when it hurts. Hard landings need a warm-up, a spotter, a surface that was checked and the approval that your "
    "institution asks for.",
)


def render_page(analysis: Analysis, whatif: Any = None) -> str:
    """The whole report as HTML; whatif : a prediction made for the same analysis, or None."""
    sections = {
        "measured": _measured(analysis),
        "trust": _trust(analysis, whatif),
        "hardness": _hardness(analysis),
        "alignment": _alignment(analysis),
        "loads": _loads(analysis),
        "work": _work(analysis),
        "change": "" if whatif is None else _change(analysis, whatif),
        "variants": _variants(analysis) if analysis.variants else "",
        "methods": _methods(analysis),
        "glossary": _glossary(analysis),
        "cautions": '<div class="caution">' + "".join(html.paragraph(text) for text in CAUTIONS) + "</div>",
    }
    present = [key for key, content in sections.items() if content]
    links = "".join(f'<a href="#{key}">{escape(HEADINGS[key])}</a>' for key in present)
    trial, rider = analysis.session.trial.name, analysis.session.rider.id
    top = (
        f"<h1>{escape(_title(analysis))}</h1>"
        + html.paragraph(f"Rider {rider}, recording {trial}.")
        + _verdict(analysis, whatif)
        + html.facts(_key_facts(analysis))
        + f"<nav>{links}</nav>"
    )
    body = top + "\n".join(html.section(key, HEADINGS[key], sections[key]) for key in present)
    return html.document(f"{_title(analysis)}: {trial}", body)


def _title(analysis: Analysis) -> str:
    return "One landing" if analysis.landing.events.kind == "landing" else "One step, no flight before it"


# First look ---------------------------------------------------------------------------------------------------------


def _verdict(analysis: Analysis, whatif: Any) -> str:
    counts = _severity_counts(analysis, whatif)
    unknown = sum(1 for measure in analysis.measures if _unknown(measure))
    if counts["refuse"]:
        word, text = (
            "refuse",
            f"{_count(counts['refuse'], 'check')} failed: do not use these numbers before that is solved.",
        )
    elif counts["warn"]:
        word, text = "warn", f"Usable with care: {_count(counts['warn'], 'thing')} to look at before trusting a number."
    else:
        word, text = "pass", "No check found anything to doubt."
    text += f" {unknown} of {len(analysis.measures)} numbers are not known from this recording." if unknown else ""
    return f'<p class="verdict">{html.mark(word)} {escape(text)} <a href="#trust">Why</a></p>'


def _severity_counts(analysis: Analysis, whatif: Any) -> dict[str, int]:
    found = [finding.severity for finding in all_findings(analysis, whatif)]
    return {severity: found.count(severity) for severity in html.MARKS}


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _key_facts(analysis: Analysis) -> list[tuple[str, str, str]]:
    """Two sides of a number stand in one box, right then left."""
    out = []
    for name in KEY_QUANTITIES:
        found = {m.side: m for m in analysis.measures if m.quantity == name}
        if not found:
            continue
        what = quantity(name)
        texts = [number_text(_shown(m, analysis), what.unit) for m in found.values()]
        small = what.full_unit + ("" if "" in found else ": " + ", ".join(_side_word(side) for side in found))
        out.append((_sentence_case(what.plain_name), " | ".join(texts), small))
    return out


# Sections -----------------------------------------------------------------------------------------------------------


def _measured(analysis: Analysis) -> str:
    session, landing = analysis.session, analysis.landing
    trial, rider = session.trial, session.rider
    static = f"the standing trial {session.static.name}" if session.has_static else "quiet frames of the landing itself"
    back = {"r": ", right foot at the back", "l": ", left foot at the back"}.get(rider.stance, "")
    rows = [
        ("Rider", f"{rider.id}: {rider.height:g} m, {landing.weight / G:.1f} kg{back}"),
        ("Shoe", rider.shoe or "not told"),
        ("Recording", f"{trial.name}, {trial.frames / trial.point_rate:.2f} s"),
        ("Rates", f"{len(trial.labels)} markers at {trial.point_rate:g} Hz, {len(trial.plates)} force plates at {trial.force_rate:g} Hz"),
        ("Body fitted to", static),
        ("Up and forward", trial.axes_evidence),
        ("Touch-down", _touchdown_text(analysis)),
    ]  # fmt: skip
    return html.table(("", ""), [(f"<b>{escape(name)}</b>", escape(text)) for name, text in rows])


def _touchdown_text(analysis: Analysis) -> str:
    """When each foot landed, the first one first."""
    events = analysis.landing.events
    order = sorted(events.sides.items(), key=lambda item: item[1].touchdown)
    first = order[0][1].touchdown
    texts = [f"{_side_word(order[0][0])} foot {first:.3f} s after the recording's start"]
    texts += [f"{_side_word(side)} foot {1000 * (e.touchdown - first):.0f} ms later" for side, e in order[1:]]
    texts += [f"{_side_word(side)} foot not seen on a plate" for side in SIDES if side not in events.sides]
    return ", ".join(texts)


def _trust(analysis: Analysis, whatif: Any) -> str:
    findings = all_findings(analysis, whatif)
    counts = _severity_counts(analysis, whatif)

    def rows(wanted: Iterable[str]) -> list[tuple[str, ...]]:
        return [
            (
                html.mark(f.severity),
                *(escape(text) for text in (f.check.replace("_", " "), f.where, f.evidence, f.advice)),
            )
            for f in findings
            if f.severity in wanted
        ]

    head = ("", "Check", "Where", "What was found", "What to do")
    doubts = rows(("refuse", "warn"))
    return (
        html.paragraph(
            f"{_count(counts['refuse'], 'check')} refused, {counts['warn']} to look at, {counts['pass']} passed. The worst stand first."
        )
        + (html.table(head, doubts) if doubts else "")
        + html.folded(f"{_count(counts['pass'], 'check')} passed", html.table(head, rows(("pass",))))
        + "<h3>Does it obey mechanics</h3>"
        + html.paragraph(_fall_text(analysis))
        + _measure_table(analysis, SECTIONS["trust"])
        + "<h3>Frames of the landing that are not known</h3>"
        + _unknown_frames(analysis)
    )


def _fall_text(analysis: Analysis) -> str:
    measure = next(m for m in analysis.measures if m.quantity == "fall_acceleration")
    if not np.isfinite(measure.value):
        return f"The fall of the model's centre of mass could not be checked: {measure.note}."
    off = 100.0 * abs(measure.value / G - 1.0)
    note = f" ({measure.note})" if measure.note else ""
    return f"In flight the model's centre of mass fell at {measure.value:.2f} m/s², {off:.1f} % from {G:.2f}{note}."


def _unknown_frames(analysis: Analysis) -> str:
    """Per joint: frames of the landing window whose angle or moment is NaN."""
    landing = analysis.landing
    rows = []
    for j, joint in enumerate(landing.angles.joints):
        stem, _, side = joint.rpartition("_")
        sides = [side] if stem else list(landing.events.sides)
        if any(s not in landing.events.sides for s in sides):
            continue
        windows = [landing.window(s) for s in sides]
        window = slice(min(w.start for w in windows), max(w.stop for w in windows))
        total = landing.angles.angle[0, j, window].size
        angle, moment = (_missing(series[:, j, window]) for series in (landing.angles.angle, landing.loads.components))
        rows.append((_joint_text(joint), f"{angle} of {total}", f"{moment} of {total}"))
    return html.table(("Joint", "Angle unknown", "Moment unknown"), rows, numeric=(1, 2))


def _missing(series: Array) -> int:
    return int(np.sum(~np.isfinite(series).all(axis=0)))


def _hardness(analysis: Analysis) -> str:
    return _figure(
        analysis,
        figures.forces,
        "Ground force on each foot, low-pass filtered for peaks",
        "Ground force on each foot in body weights. Triangles mark the largest vertical force; vertical lines mark touch-down and "
        "the end of the landing of each foot.",
    ) + _measure_table(analysis, SECTIONS["hardness"])


def _alignment(analysis: Analysis) -> str:
    return (
        _figure(
            analysis,
            figures.body_views,
            "Stick figures of the body at touch-down, at the largest force and at the lowest pelvis, from the side and from behind",
            "The body from the rider's right and from behind, with the ground force on each foot as an arrow from where it acts.",
        )
        + _figure(
            analysis,
            figures.angles,
            "Joint angles of both legs over the landing",
            "Joint angles. A break in a line is data that is not known.",
        )
        + _measure_table(analysis, SECTIONS["alignment"])
    )


def _loads(analysis: Analysis) -> str:
    return (
        _figure(
            analysis,
            figures.moments,
            "Joint moments of both legs and of the lower back over the landing",
            "Joint moments per kilogram of body mass; each axis says whether it is the external load or the body's internal answer.",
        )
        + _figure(
            analysis,
            figures.pressure_paths,
            "Path of the centre of pressure under each foot, seen from above",
            "Where the force acted under each foot, seen from above, from touch-down (ring) to the end of the landing (square). "
            "Larger dots are larger forces.",
        )
        + _measure_table(analysis, SECTIONS["loads"])
    )


def _work(analysis: Analysis) -> str:
    return _figure(
        analysis,
        figures.work,
        "Joint powers over the landing and the energy each joint absorbed",
        "Power of each joint (negative: it absorbs) and the energy that ankle, knee and hip absorbed in the landing.",
    ) + _measure_table(analysis, SECTIONS["work"])


def _change(analysis: Analysis, whatif: Any) -> str:
    order = sorted(whatif.rows, key=lambda row: (row.quantity not in ALWAYS_TOGETHER, row.quantity))
    rows = []
    for row in order:
        what = quantity(row.quantity)
        before, after, change, low, high = (
            number_text(shown(v, what, analysis.landing.weight), what.unit)
            for v in (row.before, row.after, row.change, row.low, row.high)
        )
        verdict = (
            f"falls in {100 * row.share_lower:.0f} % of the draws"
            if distinguishable(row)
            else "not distinguishable from no change"
        )
        verdict += f"; {row.note}" if row.note else ""
        rows.append((_linked(what), before, after, change, f"{low} to {high}", escape(what.full_unit), escape(verdict)))
    head = ("Prediction", "Before", "After", "Change", "95 % interval", "Unit", "Reading")
    return (
        f"<p><b>Prediction</b>, not a measurement: {escape(whatif.shape_text)}. "
        f"{whatif.draws} draws of the uncertain response, seed {whatif.seed}. Knee adduction and knee flexion moment stand together, "
        "as a change that lowers one may raise the other.</p>"
        + _figure_of(
            figures.changes(analysis, whatif),
            "Predicted changes with their 95 % intervals",
            "Predicted change with its 95 % interval. Filled: the interval leaves out zero. Hollow: not distinguishable from no change.",
        )
        + html.table(head, rows, numeric=(1, 2, 3, 4))
        + "<h3>What the prediction assumes</h3><ul>"
        + "".join(f"<li>{escape(text)}</li>" for text in whatif.response_text)
        + "</ul>"
    )


def _variants(analysis: Analysis) -> str:
    frame = variants_table(analysis)
    rows = []
    for name, side, unit, *values in frame.itertuples(index=False, name=None):
        what = quantity(name)
        texts = [number_text(value, what.unit) for value in values]
        marked = [texts[0]] + [f"<b>{text}</b>" if text != texts[0] else text for text in texts[1:]]
        rows.append((_linked(what), escape(_side_word(side)), escape(unit), *marked))
    head = ("Quantity", "Side", "Unit", *frame.columns[3:])
    return html.paragraph(
        "The same recording under other choices of threshold and smoothing. Bold: differs from the settings used in the last digit shown."
    ) + html.table(head, rows, numeric=range(3, len(head)))


def _methods(analysis: Analysis) -> str:
    methods = methods_text(analysis)
    return (
        html.paragraph(methods.paragraph)
        + "<h3>Checklist of what a paper must say</h3>"
        + html.table(("Item", "Here"), [(f"<b>{escape(item)}</b>", escape(text)) for item, text in methods.checklist])
    )


def _glossary(analysis: Analysis) -> str:
    rows = [
        (
            f'<span id="q-{what.name}">{escape(_sentence_case(what.plain_name))}</span>',
            escape(what.full_unit),
            escape(what.definition),
            escape(what.positive),
            escape(what.frame),
            escape({"BW": "body weight", "body_mass": "body mass", "none": "none"}[what.normaliser]),
            escape(what.source),
        )
        for what in (quantity(name) for name in dict.fromkeys(m.quantity for m in analysis.measures))
    ]
    return html.table(("Name", "Unit", "Definition", "Positive", "Frame", "Divided by", "Source"), rows)


# Pieces -------------------------------------------------------------------------------------------------------------


def _figure(analysis: Analysis, draw: Callable[[Analysis], bytes], alt: str, caption: str) -> str:
    return _figure_of(draw(analysis), alt, caption)


def _figure_of(svg: bytes, alt: str, caption: str) -> str:
    return html.picture(svg, alt, caption)


def _measure_table(analysis: Analysis, names: Iterable[str]) -> str:
    """Right and left beside each other; a number of the whole body stands in one cell of its own column."""
    found = {(m.quantity, m.side): m for m in analysis.measures}
    rows = []
    for name in names:
        cells = {side: found[name, side] for side in ("r", "l", "") if (name, side) in found}
        if not cells:
            continue
        what = quantity(name)
        columns = [_cell(cells[side], what, analysis) if side in cells else "" for side in ("r", "l", "")]
        rows.append(
            (_linked(what), *columns, escape(what.full_unit), escape(what.positive), _band_text(what, analysis))
        )
    kept = [k for k in range(7) if k in (0, 4, 5, 6) or any(row[k] for row in rows)]
    head = (
        "Quantity",
        _foot_heading(analysis, "r"),
        _foot_heading(analysis, "l"),
        "Body",
        "Unit",
        "Positive",
        "Published",
    )
    numeric = [kept.index(k) for k in (1, 2, 3) if k in kept]
    return html.table([head[k] for k in kept], [[row[k] for k in kept] for row in rows], numeric)


def _cell(measure: Measure, what: Quantity, analysis: Analysis) -> str:
    """The number, its interval, or a dash with the reason."""
    if measure.word:
        return escape(measure.word)
    value = _shown(measure, analysis)
    text = number_text(value, what.unit)
    if _unknown(measure):
        return f"{text} <small>{escape(measure.note or 'not known from this recording')}</small>"
    band = _band(what, value, analysis)
    if band is not None and not band.inside:
        text = f'<span class="outside">{text}</span>'
    if np.isfinite(measure.low) and np.isfinite(measure.high):
        low, high = (
            number_text(shown(v, what, analysis.landing.weight), what.unit) for v in (measure.low, measure.high)
        )
        text += f" <small>{low} to {high}</small>"
    return text + (f" <small>{escape(measure.note)}</small>" if measure.note else "")


def _band_text(what: Quantity, analysis: Analysis) -> str:
    """Published range of a quantity, and which side lies outside it."""
    sides = [m for m in analysis.measures if m.quantity == what.name and np.isfinite(m.value)]
    bands = [(m.side, _band(what, _shown(m, analysis), analysis)) for m in sides]
    known = [(side, band) for side, band in bands if band is not None]
    if not known:
        return ""
    band = known[0][1]
    outside = [_side_word(side) for side, b in known if not b.inside]
    text = f"{band.low:g} to {band.high:g}".replace("-", "−")
    flag = f'<br><span class="mark warn">▲ outside: {escape(", ".join(outside))}</span>' if outside else ""
    return f'<span title="{escape(band.source)}">{text}</span>{flag}'


def _band(what: Quantity, value: float, analysis: Analysis) -> Band | None:
    return sanity(what.name, analysis.landing.events.kind, value)


def _linked(what: Quantity) -> str:
    return f'<a href="#q-{what.name}">{escape(_sentence_case(what.plain_name))}</a>'


def _sentence_case(text: str) -> str:
    return text[:1].upper() + text[1:]


def _shown(measure: Measure, analysis: Analysis) -> float:
    return shown(measure.value, quantity(measure.quantity), analysis.landing.weight)


def _unknown(measure: Measure) -> bool:
    return not measure.word and not np.isfinite(measure.value)


def _side_word(side: str) -> str:
    return {"r": "right", "l": "left"}.get(side, "whole body")


def _foot_heading(analysis: Analysis, side: str) -> str:
    back = " (back foot)" if analysis.session.rider.stance == side else ""
    return _sentence_case(_side_word(side)) + back


def _joint_text(joint: str) -> str:
    stem, _, side = joint.rpartition("_")
    return f"{_sentence_case(_side_word(side))} {stem}" if stem else "Lower back (L5/S1)"

"""The report of one landing as one self-contained page in plain language."""

from __future__ import annotations

from html import escape
from typing import Any

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.whatif import task_of
from jointload.intake.recording import SIDES, Array
from jointload.intake.rider import G
from jointload.report import figures, html, pictures
from jointload.report.cells import (
    findings_table,
    is_unknown,
    linked,
    measure_table,
    sentence_case,
    shown_value,
    unit_text,
)
from jointload.report.methods import methods_text
from jointload.report.quantities import SIDE_WORDS, number_text, quantity, shown
from jointload.report.tables import distinguishable, ordered_changes, variants_table, worst_first

SECTIONS: dict[str, tuple[str, ...]] = {
    "trust": ("fall_acceleration", "residual_force", "body_weight_plate", "body_weight_rider"),
    "hardness": (
        "touchdown_speed", "drop_height", "flight_time", "pelvis_drop", "time_to_stabilisation",
        "vertical_force_total_peak", "vertical_force_peak",
        "vertical_force_first_peak", "vertical_force_second_peak", "vertical_loading_rate", "vertical_impulse_100ms",
        "time_to_peak", "braking_force_peak", "time_to_braking_peak", "friction_use_peak", "first_contact_zone",
        "sole_angle_touchdown",
    ),
    "alignment": (
        "ankle_dorsiflexion_touchdown", "knee_flexion_touchdown", "hip_flexion_touchdown", "knee_adduction_touchdown",
        "ankle_dorsiflexion_peak", "knee_flexion_peak", "hip_flexion_peak", "rearfoot_eversion_peak",
        "knee_adduction_peak", "knee_internal_rotation_peak", "hip_adduction_peak", "knee_over_ankle",
        "tibia_inclination_frontal", "pelvis_obliquity_touchdown", "hip_pelvis_angle_touchdown",
        "pelvis_tilt_touchdown", "trunk_lean_touchdown", "trunk_lean_forward_touchdown", "trunk_flexion_peak",
    ),
    "loads": (
        "ankle_dorsiflexion_moment_peak", "ankle_inversion_moment_peak", "ankle_eversion_moment_peak",
        "knee_flexion_moment_peak", "knee_flexion_impulse", "knee_adduction_moment_peak", "knee_adduction_impulse",
        "knee_abduction_moment_peak", "knee_abduction_impulse", "hip_flexion_moment_peak",
        "hip_adduction_moment_peak", "hip_adduction_impulse",
        "knee_compression_peak", "l5s1_extension_moment_peak", "l5s1_lateral_bend_moment_peak", "l5s1_compression_peak",
    ),
    "work": (
        "ankle_work_negative", "knee_work_negative", "hip_work_negative", "ankle_power_absorbed_peak",
        "knee_power_absorbed_peak", "hip_power_absorbed_peak",
    ),
}  # fmt: skip
"""Which section shows which quantity."""
HEADINGS = {
    "measured": "What was measured",
    "trust": "Can it be trusted",
    "hardness": "How hard was the landing",
    "alignment": "How was the body aligned",
    "loads": "What ankle, knee, hip and lower back bore",
    "work": "Which joints absorbed the landing",
    "change": "What the change of the shoe's inside would shift",
    "variants": "How choices shift the numbers",
    "methods": "How the numbers were made",
    "glossary": "What every number means",
    "cautions": "Cautions",
}
KEY_QUANTITIES = (
    "touchdown_speed", "vertical_force_peak", "knee_flexion_peak", "knee_flexion_moment_peak",
    "knee_adduction_moment_peak", "knee_abduction_moment_peak",
)  # fmt: skip
CAUTIONS = (
    "This is a research tool. It is not a medical device, gives no diagnosis and does not predict injury.",
    "Joint moments and net joint forces are what the movement demanded of all tissues of a joint together. They are "
    "not the force on a cartilage, a disc or a ligament; muscles add to it, often severalfold.",
    "Published bands tell where other people's numbers lay. A number outside one asks for a second look at the data; "
    "it is neither a fault nor a danger by itself.",
    "Wedges shift loads little and differently from person to person. A predicted shift is a reason to measure, not to "
    "wear one. Insoles are prescribed by licensed practitioners; defer to them.",
    "Stop when it hurts. Hard landings need a warm-up, a spotter, a surface that was checked and the approval that "
    "your institution asks for.",
)


def render_page(analysis: Analysis, whatif: Any = None) -> str:
    """The whole report as HTML; whatif : a prediction made for the same analysis, or None."""
    sections = {
        "measured": _measured(analysis),
        "trust": _trust(analysis),
        "hardness": _hardness(analysis),
        "alignment": _alignment(analysis),
        "loads": _loads(analysis),
        "work": _work(analysis),
        "change": "" if whatif is None else _change(analysis, whatif),
        "variants": _variants(analysis) if analysis.variants else "",
        "methods": _methods(analysis),
        "glossary": _glossary(analysis, whatif),
        "cautions": '<div class="caution">' + "".join(html.paragraph(text) for text in CAUTIONS) + "</div>",
    }
    present = {HEADINGS[key]: (key, content) for key, content in sections.items() if content}
    trial, rider = analysis.session.trial.name, analysis.session.rider.id
    title = _title(analysis)
    body = [
        f"<h1>{escape(title)}</h1>",
        html.paragraph(f"Rider {rider}, recording {trial}."),
        _verdict(analysis),
        html.facts(_key_facts(analysis)),
        "<nav>"
        + " ".join(f'<a href="#{key}">{escape(heading)}</a>' for heading, (key, _) in present.items())
        + "</nav>",
        *(html.section(key, heading, content) for heading, (key, content) in present.items()),
    ]
    return html.document(f"{title}: {trial}", "\n".join(body))


# First look ---------------------------------------------------------------------------------------------------------


def _title(analysis: Analysis) -> str:
    return "One landing" if analysis.landing.events.kind == "landing" else "One step, no flight before it"


def _verdict(analysis: Analysis) -> str:
    counts = _severity_counts(analysis)
    unknown = sum(is_unknown(measure) for measure in analysis.measures)
    if counts["refuse"]:
        word, text = "refuse", "Do not use these numbers before the refused checks are solved."
    elif counts["warn"]:
        word, text = "warn", f"Usable with care: {counts['warn']} findings to look at before trusting a number."
    else:
        word, text = "pass", "No check found anything to doubt."
    text += f" {unknown} of {len(analysis.measures)} numbers are not known from this recording." if unknown else ""
    return f'<p class="verdict">{html.mark(word)} {escape(text)} <a href="#trust">Why</a></p>'


def _severity_counts(analysis: Analysis) -> dict[str, int]:
    found: list[str] = [finding.severity for finding in analysis.findings]
    return {severity: found.count(severity) for severity in html.MARKS}


def _key_facts(analysis: Analysis) -> list[tuple[str, str, str]]:
    """Both sides of a number stand in one box, named in the order they stand."""
    out = []
    for name in KEY_QUANTITIES:
        what, found = quantity(name), [m for m in analysis.measures if m.quantity == name]
        if found:
            numbers = " | ".join(number_text(shown_value(m, analysis), what.unit) for m in found)
            sides = " | ".join(SIDE_WORDS[m.side] for m in found if m.side)
            reason = next((m.note for m in found if is_unknown(m)), "")
            small = ", ".join(text for text in (what.full_unit, sides, reason) if text)
            out.append((sentence_case(what.plain_name), numbers, small))
    return out


# Sections -----------------------------------------------------------------------------------------------------------


def _measured(analysis: Analysis) -> str:
    session, landing = analysis.session, analysis.landing
    trial, rider = session.trial, session.rider
    back = {"r": ", right foot at the back", "l": ", left foot at the back"}.get(rider.stance, "")
    plates = f"{len(trial.plates)} force plates at {trial.force_rate:g} Hz" if trial.plates else "no force plates"
    task = ", ".join(dict.fromkeys(task_of(landing, side) for side in landing.events.sides))
    rows = {
        "Rider": f"{rider.id}: {rider.height:g} m, {landing.weight / G:.1f} kg{back}",
        "Shoe": rider.shoe or "not told",
        "Recording": f"{trial.name}, {trial.frames / trial.point_rate:.2f} s",
        "Rates": f"{len(trial.labels)} markers at {trial.point_rate:g} Hz, {plates}",
        "Body fitted to": f"standing trial {session.static.name}" if session.has_static else "the landing's own frames",
        "Up and forward": trial.axes_evidence,
        "Touch-down": _touchdown_text(analysis),
        "Taken as": task,
    }
    return html.table((), [(f"<b>{escape(name)}</b>", escape(text)) for name, text in rows.items()])


def _touchdown_text(analysis: Analysis) -> str:
    """When each foot landed, the first one first."""
    events = analysis.landing.events
    order = sorted((e.touchdown, side) for side, e in events.sides.items())
    first, side = order[0]
    texts = [f"{SIDE_WORDS[side]} foot {first:.3f} s after the recording's start"]
    texts += [f"{SIDE_WORDS[side]} foot {1000 * (time - first):.0f} ms later" for time, side in order[1:]]
    texts += [f"{SIDE_WORDS[side]} foot not seen to land on a plate" for side in SIDES if side not in events.sides]
    return ", ".join(texts)


def _trust(analysis: Analysis) -> str:
    findings, counts = worst_first(analysis.findings), _severity_counts(analysis)
    doubts = findings_table(f for f in findings if f.severity != "pass")
    passed = findings_table(f for f in findings if f.severity == "pass")
    words = f"{counts['refuse']} refused, {counts['warn']} to look at, {counts['pass']} passed. The worst stand first."
    return (
        html.paragraph(words)
        + doubts
        + (html.folded(f"{counts['pass']} checks passed", passed) if passed else "")
        + "<h3>Does it obey mechanics</h3>"
        + html.paragraph(_fall_text(analysis))
        + measure_table(analysis, SECTIONS["trust"])
        + "<h3>Frames of the landing that are not known</h3>"
        + _unknown_frames(analysis)
    )


def _fall_text(analysis: Analysis) -> str:
    measure = next(m for m in analysis.measures if m.quantity == "fall_acceleration")
    if is_unknown(measure):
        return f"The fall of the model's centre of mass in flight could not be checked: {measure.note}."
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
        if set(sides) <= set(landing.events.sides):
            windows = [landing.window(s) for s in sides]
            window = slice(min(w.start for w in windows), max(w.stop for w in windows))
            series = (landing.angles.angle[:, j, window], landing.loads.components[:, j, window])
            name = f"{sentence_case(SIDE_WORDS[side])} {stem}" if stem else "Lower back, L5/S1"
            rows.append((name, *(f"{_missing(values)} of {values.shape[1]}" for values in series)))
    return html.table(("Joint", "Angle unknown", "Moment unknown"), rows, numeric=(1, 2))


def _missing(series: Array) -> int:
    return int(np.sum(~np.isfinite(series).all(axis=0)))


def _hardness(analysis: Analysis) -> str:
    return html.picture(
        figures.forces(analysis),
        "Curves of the vertical and horizontal ground force on each foot",
        "Ground force on each foot in body weights, low-pass filtered for peaks. Triangles mark the largest vertical "
        "force; vertical lines mark touch-down and end.",
    ) + measure_table(analysis, SECTIONS["hardness"])


def _alignment(analysis: Analysis) -> str:
    return (
        html.picture(
            pictures.body_views(analysis),
            "Stick figures of the body at touch-down, at the largest force and at the lowest pelvis",
            "The body with the ground force on each foot as an arrow from where it acts. Above from the rider's right, "
            "below from behind.",
        )
        + html.picture(
            figures.angles(analysis),
            "Curves of ankle, knee and hip angles of both legs",
            "Joint angles. A break in a line is data that is not known.",
        )
        + measure_table(analysis, SECTIONS["alignment"])
    )


def _loads(analysis: Analysis) -> str:
    return (
        html.picture(
            figures.moments(analysis),
            "Curves of joint moments of both legs and of the lower back",
            "Joint moments per kilogram of body mass. External is the load on the joint, internal the body's answer. "
            "Above the side view, below the front view.",
        )
        + html.picture(
            pictures.pressure_paths(analysis),
            "Path of the centre of pressure under each foot, seen from above",
            "Where the force acted under each foot from touch-down (ring) to the end of the landing (square), against "
            "the foot's landmarks in quiet standing. Larger dots are larger forces.",
        )
        + measure_table(analysis, SECTIONS["loads"])
    )


def _work(analysis: Analysis) -> str:
    return html.picture(
        figures.work(analysis),
        "Curves of joint powers and bars of the energy each joint absorbed",
        "Power of each joint, and the energy that ankle, knee and hip absorbed with their shares.",
    ) + measure_table(analysis, SECTIONS["work"])


def _change(analysis: Analysis, whatif: Any) -> str:
    head = ("Quantity", "Before", "After", "Change", "Per cent", "Mechanics", "One person", "Unit", "Reading")
    assumed = "".join(f"<li>{escape(text)}</li>" for text in whatif.response_text)
    return (
        f"<p><b>Prediction</b>, not a measurement: {escape(whatif.shape_text)}, against a flat insole. {whatif.draws} "
        f"drawn persons, seed {whatif.seed}. Mechanics is the 95 % interval of what the uncertain foot, shoe and limb "
        "leave open; one person's interval adds how differently people answer the same shape. Knee adduction and knee "
        "flexion moment stand together, as a change that lowers one may raise the other. A lumbar change is not "
        "predicted.</p>"
        + html.table(head, [_change_cells(analysis, row) for row in ordered_changes(whatif)], numeric=range(1, 7))
        + html.picture(
            figures.changes(analysis, whatif),
            "Predicted changes as dots with their 95 % intervals",
            "Predicted change with its 95 % intervals: thick of the mechanics, thin of one person. Filled: the "
            "interval of one person leaves out zero. Hollow: not distinguishable from no change.",
        )
        + html.picture(
            pictures.pressure_bed(analysis, whatif),
            "Height added under the sole, and the pressure before and after, seen from above",
            "What is added to the flat insole, and the modelled pressure before and after (median of the drawn "
            "persons) at the largest force that the rearfoot bears. The cross is the centre of pressure. Only the "
            "change is meant: a model of the foot's bed misses measured pressures by a third to a half.",
        )
        + (_comparison(analysis, whatif) if whatif.others else "")
        + "<h3>What limits the prediction</h3>"
        + findings_table(worst_first([f for answer in (whatif, *whatif.others) for f in answer.findings]))
        + f"<h3>What it assumes</h3><ul>{assumed}</ul>"
    )


def _comparison(analysis: Analysis, whatif: Any) -> str:
    """Every shape beside the others: change and one person's interval, by the same drawn persons."""
    answers = (whatif, *whatif.others)
    found = [{row.quantity: row for row in answer.rows} for answer in answers]
    rows = []
    for row in ordered_changes(whatif):
        what = quantity(row.quantity)
        cells = [_compared_cell(analysis, what, rows_of.get(row.quantity)) for rows_of in found]
        rows.append((linked(what), *cells, unit_text(what)))
    named = "".join(f"<li>{escape(answer.shape_text)}</li>" for answer in answers)
    return (
        f"<h3>The shapes beside each other</h3><ol>{named}</ol>"
        + html.paragraph(
            "Change, and below it the 95 % interval of one person. The same drawn persons stand on every shape, so "
            "that differences between shapes are those of the shapes. Nothing is ranked: a change whose interval "
            "reaches across zero is not distinguishable from none."
        )
        + html.table(("Quantity", *(str(k + 1) for k in range(len(answers))), "Unit"), rows, range(1, len(answers) + 1))
        + html.picture(
            figures.comparison(analysis, whatif),
            "Predicted changes of every shape with their intervals",
            "Predicted change of every shape: thick the 95 % interval of the mechanics, thin that of one person.",
        )
    )


def _compared_cell(analysis: Analysis, what: Any, row: Any) -> str:
    if row is None:
        return "–"
    change, low, high = (
        number_text(shown(value, what, analysis.landing.weight), what.unit, extra=1)
        for value in (row.change, row.person_low, row.person_high)
    )
    return f"{change}<small>{low} to {high}</small>"


def _change_cells(analysis: Analysis, row: Any) -> tuple[str, ...]:
    """Changes get one decimal more than values."""
    what = quantity(row.quantity)
    before, after, change, *ends = (
        number_text(shown(value, what, analysis.landing.weight), what.unit, extra=1)
        for value in (row.before, row.after, row.change, row.low, row.high, row.person_low, row.person_high)
    )
    name = f"{linked(what)}, {SIDE_WORDS[row.side]}"
    percent = number_text(row.percent, "%")
    intervals = (f"{ends[0]} to {ends[1]}", f"{ends[2]} to {ends[3]}")
    return (name, before, after, change, percent, *intervals, unit_text(what), escape(_reading(row)))


def _reading(row: Any) -> str:
    text = "not distinguishable from no change"
    if distinguishable(row):
        way, share = ("falls", row.share_lower) if row.change < 0 else ("rises", 1.0 - row.share_lower)
        text = f"{way} in {100 * share:.0f} % of the drawn persons"
    return f"{text}; {row.note}" if row.note else text


def _variants(analysis: Analysis) -> str:
    frame = variants_table(analysis)
    rows = []
    for name, side, _, *values in frame.itertuples(index=False, name=None):
        what = quantity(name)
        first, *others = (number_text(value, what.unit) for value in values)
        marked = [text if text == first else f"<b>{text}</b>" for text in others]
        rows.append((linked(what), escape(SIDE_WORDS[side]), unit_text(what), first, *marked))
    head = ("Quantity", "Side", "Unit", *frame.columns[3:])
    return html.paragraph(
        "The same recording under other choices of threshold and smoothing. Bold: the shown digits differ from those "
        "under the settings used."
    ) + html.table(head, rows, numeric=range(3, len(head)))


def _methods(analysis: Analysis) -> str:
    methods = methods_text(analysis)
    rows = [(f"<b>{escape(item)}</b>", escape(text)) for item, text in methods.checklist]
    return (
        html.paragraph(methods.paragraph)
        + "<h3>Checklist of what a paper must say</h3>"
        + html.table(("Item", "Here"), rows)
    )


def _glossary(analysis: Analysis, whatif: Any) -> str:
    divisors = {"BW": "body weight", "body_mass": "body mass", "none": "nothing"}
    rows = []
    predicted = () if whatif is None else whatif.rows
    for name in dict.fromkeys(row.quantity for row in (*analysis.measures, *predicted)):
        what = quantity(name)
        texts = (what.definition, what.positive, what.frame, divisors[what.normaliser], what.source)
        place = f'<span id="q-{what.name}">{escape(sentence_case(what.plain_name))}</span>'
        rows.append((place, unit_text(what), *(escape(text) for text in texts)))
    return html.table(("Name", "Unit", "Definition", "Positive", "Frame", "Divided by", "Source"), rows)

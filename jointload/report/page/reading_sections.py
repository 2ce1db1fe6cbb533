"""What one reads once: choices and what they shift, what was measured and how, every number's meaning, cautions."""

from __future__ import annotations

from html import escape

from jointload.analysis import Analysis
from jointload.insole.fitting.whatif import task_of
from jointload.intake.recording import SIDES
from jointload.intake.rider import G
from jointload.report.words import html
from jointload.report.words.cells import linked, sentence_case, unit_text
from jointload.report.words.methods import methods_text
from jointload.report.words.quantities import DIVISOR_WORDS, SIDE_WORDS, number_text, quantity
from jointload.report.words.section import Reported
from jointload.report.words.tables import variants_table


def choices_section(reported: Reported) -> str:
    analysis = reported.analysis
    if not analysis.variants:
        return ""
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


def measured_section(reported: Reported) -> str:
    analysis = reported.analysis
    session, landing = analysis.session, analysis.landing
    trial, rider = session.trial, session.rider
    back = {"right": ", right foot at the back", "left": ", left foot at the back"}.get(rider.stance, "")
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


def methods_section(reported: Reported) -> str:
    methods = methods_text(reported.analysis, reported.answers)
    rows = [(f"<b>{escape(item)}</b>", escape(text)) for item, text in methods.checklist]
    return html.paragraph(methods.paragraph) + html.folded(
        "Checklist of what a paper must say", html.table(("Item", "Here"), rows)
    )


def glossary_section(reported: Reported) -> str:
    rows = []
    names = [measure.quantity for measure in reported.analysis.measures]
    names += [row.quantity for answer in reported.answers for row in (*answer.rows, *answer.at_instants)]
    for name in dict.fromkeys(names):
        what = quantity(name)
        texts = (what.definition, what.positive, what.frame, DIVISOR_WORDS[what.normaliser], what.source)
        place = f'<span id="q-{what.name}">{escape(sentence_case(what.plain_name))}</span>'
        rows.append((place, unit_text(what), *(escape(text) for text in texts)))
    return html.table(("Name", "Unit", "Definition", "Positive", "Frame", "Divided by", "Source"), rows)


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


def cautions_section(reported: Reported) -> str:
    return '<div class="caution">' + "".join(html.paragraph(text) for text in CAUTIONS) + "</div>"

"""What was measured and how the numbers were made."""

from __future__ import annotations

from html import escape

from jointload.analysis import Analysis
from jointload.insole.whatif import task_of
from jointload.intake.recording import SIDES
from jointload.intake.rider import G
from jointload.report import html
from jointload.report.methods import methods_text
from jointload.report.quantities import SIDE_WORDS
from jointload.report.section import Reported


def measured_section(reported: Reported) -> str:
    analysis = reported.analysis
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


def methods_section(reported: Reported) -> str:
    methods = methods_text(reported.analysis)
    rows = [(f"<b>{escape(item)}</b>", escape(text)) for item, text in methods.checklist]
    return html.paragraph(methods.paragraph) + html.folded(
        "Checklist of what a paper must say", html.table(("Item", "Here"), rows)
    )

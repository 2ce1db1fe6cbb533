"""The first screen: what was asked, the answers in words and numbers, and the body at its two instants."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from html import escape

from jointload.analysis import Analysis
from jointload.report.figures import pictures
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.page.feet_section import feet_answer
from jointload.report.page.first_answers import aligned_answer, hard_answer, shift_answer, trust_answer
from jointload.report.words.cells import is_unknown, told_measure
from jointload.report.words.quantities import SIDE_WORDS
from jointload.report.words.section import Reported


@dataclass(frozen=True)
class Answer:
    """One question of the first screen; `render` gives the HTML of its answer, empty where there is none."""

    key: str
    question: str
    render: Callable[[Reported], str]


ANSWERS = (
    Answer("answer-trust", "Can I trust it?", trust_answer),
    Answer("answer-shift", "What would the shape shift?", shift_answer),
    Answer("answer-feet", "What did it do to heel, ball and toes?", feet_answer),
    Answer("answer-hard", "How hard was it?", hard_answer),
    Answer("answer-aligned", "How aligned was the body?", aligned_answer),
)
"""In reading order; a further question of the first screen is a line here."""


def first_screen(reported: Reported) -> str:
    found = {answer: answer.render(reported) for answer in ANSWERS}
    boxes = "".join(
        f'<div class="answer" id="{answer.key}"><h2>{escape(answer.question)}</h2>{content}</div>'
        for answer, content in found.items()
        if content
    )
    about = f"Recording {reported.analysis.session.trial.name}. {_arrival(reported.analysis)}"
    return "\n".join(
        (
            f"<h1>{escape(title_of(reported))}</h1>",
            f'<p class="about">{escape(about)}</p>',
            f'<div class="answers">{boxes}</div>',
            '<p class="soft">A research tool, not a medical device; insoles are prescribed by licensed practitioners. '
            '<a href="#cautions">Cautions</a></p>',
            sheet_figure(
                pictures.body(reported.analysis, pictures.INSTANTS[:2]),
                "The body with the ground force on each foot as an arrow from where it acts.",
                first_column="Instant",
            ),
        )
    )  # fmt: skip


def title_of(reported: Reported) -> str:
    """Rider, task and question."""
    return f"{reported.analysis.session.rider.id}, {reported.analysis.landing.events.kind}: {_question(reported)}"


def _question(reported: Reported) -> str:
    asked, fit = reported.whatif, reported.fit
    if asked is not None and asked.others:
        parts = [f"what {1 + len(asked.others)} shapes under the {asked.side} foot would shift"]
    else:
        parts = [] if asked is None else [f"what a {asked.shape_text.partition(' (')[0]} would shift"]
    parts += [] if fit is None else [f"the insole that lowers the {fit.target.text}"]
    return " and ".join(parts) or "how hard, how aligned, how certain"


def _arrival(analysis: Analysis) -> str:
    """How fast the rider came down, and which foot first; why a step is none of a landing."""
    measures = {m.quantity: m for m in analysis.measures if m.quantity in ("touchdown_speed", "drop_height")}
    texts = []
    if all(name in measures and not is_unknown(measures[name]) for name in ("touchdown_speed", "drop_height")):
        speed, height = (told_measure(measures[name], analysis).value for name in ("touchdown_speed", "drop_height"))
        texts.append(f"Came down at {speed} m/s, as from a drop of {height} m")
    order = sorted((e.touchdown, side) for side, e in analysis.landing.events.sides.items())
    (first, side), *others = order
    words = f"{SIDE_WORDS[side]} foot first"
    for time, other in others:
        late = round(1000 * (time - first))
        words = f"{words}, {SIDE_WORDS[other]} {late} ms later" if late else "both feet together"
    texts.append(words if texts else words[:1].upper() + words[1:])
    events = analysis.landing.events
    return ", ".join(texts) + "." + (f" Read as a step: {events.no_takeoff}." if events.kind == "step" else "")

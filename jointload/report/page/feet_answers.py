"""Heel, ball and toes in three short sentences, back and front foot named."""

from __future__ import annotations

import math
from collections.abc import Callable

from jointload.analysis import Analysis
from jointload.foot.on_insole import ON_INSOLE
from jointload.foot.toes import SLIDES
from jointload.insole.limb.change import Change, WhatIf
from jointload.landing.landed import Measure
from jointload.modeldata import load_model
from jointload.report.figures.soles import foot_name
from jointload.report.words.cells import is_unknown, sentence_case, told_change
from jointload.report.words.quantities import quantity, range_text, two_figures
from jointload.report.words.section import Reported

Found = dict[tuple[str, str], Measure]
SURE = 0.975
"""Share of what grip, lacing and axis may be from which on a slide is told as sure (choice)."""


def of_feet_asked(reported: Reported) -> bool:
    """Whether the feet were asked after: a shoe was described, pressure was measured, layers lie in the shoe, or a
    shape is to spare the feet."""
    fit, asked = reported.fit, reported.whatif
    spared = fit is not None and (fit.target.of_feet or any("pressure" in name for name in fit.target.quantities))
    laid = asked is not None and asked.of_layers
    analysis = reported.analysis
    return analysis.session.shoe is not None or analysis.landing.pressed is not None or spared or laid


def shape_sentences(reported: Reported) -> tuple[str, ...]:
    """What each shape that was asked about or found changes of heel, ball and toes; named where they are several."""
    fit, asked = reported.fit, reported.whatif
    answers = [] if asked is None else [asked, *asked.others]
    answers += [] if fit is None or fit.answer is None else [fit.answer]
    names = ["This shape"] if len(answers) == 1 else [sentence_case(answer.shape_text) for answer in answers]
    return tuple(
        f"{name}: {'; '.join(_changed(reported.analysis, answer))}."
        for name, answer in zip(names, answers, strict=True)
    )


def _changed(analysis: Analysis, answer: WhatIf) -> list[str]:
    rows = {row.quantity: row for row in answer.rows}
    out = []
    for name in ON_INSOLE:
        if name in rows:
            words = quantity(name).plain_name.removeprefix("peak ")
            out.append(f"{words} {_change_words(rows[name], analysis)}")
    return out


def _change_words(row: Change, analysis: Analysis) -> str:
    if not math.isfinite(row.change):
        return f"not known ({row.note})"
    if row.unmoved:
        return f"unchanged ({row.note})" if row.note else "unchanged"
    told = told_change(row, analysis)
    unit = "points" if row.quantity == "heel_pad_strain_peak" else quantity(row.quantity).unit
    return f"{'+' if row.change > 0 else ''}{told.value} {unit} ({told.interval})"


def feet_sentences(analysis: Analysis) -> tuple[str, ...]:
    """Of heel, ball and toes, one sentence each; a foot of which a number is unknown is named with the reason."""
    if not analysis.feet:
        return ()
    found = {(m.quantity, m.side): m for m in analysis.measures}
    return tuple(_sentence(analysis, found, *of) for of in (HEEL, BALL, TOES))


def _sentence(analysis: Analysis, found: Found, part: str, name: str, told: Callable[[Found, str], str]) -> str:
    """The feet in the order back, front; right, left without a stance."""
    stance = analysis.session.rider.stance
    sides = sorted((foot.side for foot in analysis.feet), key=lambda side: side != (stance or "right"))
    clauses = []
    for side in sides:
        measure = found[name, side]
        if is_unknown(measure):
            clauses.append(f"{foot_name(side, stance)} not known ({measure.note})")
        else:
            clauses.append(f"{foot_name(side, stance)} {told(found, side)}")
    return f"{part}: {'; '.join(clauses)}."


def _number(measure: Measure) -> str:
    """Value and interval of a ratio, such as '0.20 (0.16 to 0.39)'."""
    return f"{two_figures(measure.value)} ({range_text(measure.low, measure.high)})"


def _times(measure: Measure) -> str:
    """Such as '2.4 times (1.6 to 3.9)'."""
    return f"{two_figures(measure.value)} times ({range_text(measure.low, measure.high)})"


def _heel(found: Found, side: str) -> str:
    return f"{_times(found['heel_pressure_of_walking', side])} the pressure of brisk barefoot walking"


def _ball(found: Found, side: str) -> str:
    first, others = (found[f"{part}_pressure_peak", side] for part in ("first_metatarsal", "other_metatarsals"))
    place = "" if first.low <= others.high else ", most under the first metatarsal head"
    return f"{_times(found['ball_pressure_of_walking', side])}{place}"


def _toes(found: Found, side: str) -> str:
    slide, push = found["toe_slide", side].value, found["toe_push_force_peak", side]
    needed = f"friction needed {_number(found['friction_needed', side])}"
    if slide <= 1.0 - SURE:
        return f"held, {needed}"
    if push.value < SLIDES:
        return f"may have pushed with {push.high:.0f} N at most, {needed}"
    word = "pushed" if slide >= SURE else "probably pushed"
    return f"{word} with up to {push.value:.0f} N ({push.low:.0f} to {push.high:.0f}), {needed}"


HEEL = ("Heel", "heel_pressure_of_walking", _heel)
BALL = ("Ball, against the pressure of brisk barefoot walking", "ball_pressure_of_walking", _ball)
TOES = ("Toes, into the toe box", "toe_push_force_peak", _toes)
"""Of each sentence: its first words, the number without which it says nothing, and what it says of one foot."""


def socks_sentence() -> str:
    """What friction between sock and insole was measured to be."""
    socks = load_model("foot", "shoe").content["socks"]
    return (
        f"Between socked foot and insole {socks['regular_low']:.2f} to {socks['regular_high']:.2f} were measured, and "
        f"{socks['grip']:.2f} with a sock made to grip; under the loads of a landing friction is less than in these "
        "tests."
    )

"""What tissues bore: loads of cartilage, tendon and disc as lower bounds, with every number behind them in the open."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np

from jointload.analysis import Analysis
from jointload.landing.landed import Landing
from jointload.landing.measures.lower_back import lower_back, not_from_above
from jointload.landing.measures.tissue_measures import tissue_value
from jointload.loads.tissue.spreads import Spread, likeliest, tissue_spreads
from jointload.modeldata import load_model
from jointload.report.figures.sheet_html import sheet_figure
from jointload.report.figures.tissue_figure import tissue_loads
from jointload.report.words import html
from jointload.report.words.cells import measure_numbers
from jointload.report.words.quantities import SIDE_WORDS, number_text, quantity, shown
from jointload.report.words.section import Reported

KNEE = (
    "tibiofemoral_force_impulse", "tibiofemoral_medial_force_impulse", "tibiofemoral_medial_share",
    "tibiofemoral_force_peak", "tibiofemoral_medial_force_peak", "tibiofemoral_lateral_force_peak",
)  # fmt: skip
KNEE_MOMENTS = (
    "knee_adduction_impulse", "knee_flexion_impulse", "knee_adduction_moment_peak", "knee_flexion_moment_peak",
)  # fmt: skip
KNEECAP_AND_TENDON = (
    "patellofemoral_force_impulse", "patellofemoral_force_peak", "patellofemoral_stress_peak",
    "achilles_force_impulse", "achilles_force_peak",
)  # fmt: skip
BACK = (
    "l5s1_disc_force_impulse", "l5s1_extension_impulse", "l5s1_disc_force_peak", "l5s1_disc_shear_peak",
    "l5s1_moment_disagreement", "lordosis_standing", "lordosis_touchdown", "lordosis_force_peak",
)  # fmt: skip
BACK_ELSEWHERE = ("l5s1_extension_moment_peak", "hip_pelvis_angle_touchdown", "pelvis_tilt_touchdown")
QUANTITIES = (*KNEE, *KNEECAP_AND_TENDON, *BACK)

CAUTIONS = (
    "For research. These numbers diagnose nothing and call no load safe or unsafe. Who has pain in a knee, a tendon or "
    "the back should see a clinician, whatever stands here.",
    "Every force is a lower bound: one muscle group answers each moment, and muscles that work against each other, as "
    "they do in a hard landing, are not seen by markers and plates.",
    "Impulses stand before peaks. Peaks of the impact depend on the filter and are not to be used to explain chronic "
    "overuse [@bisseling_2006].",
)


@dataclass(frozen=True)
class Assumption:
    """A number behind a tissue load and the quantity on which its effect is shown."""

    words: str
    spread: str
    quantity: str


ASSUMPTIONS = (
    Assumption("Arm of the patellar tendon, in its range", "patellar_tendon_arm", "tibiofemoral_force_impulse"),
    Assumption("Distance of medial and lateral contact", "contact_distance", "tibiofemoral_medial_force_impulse"),
    Assumption("Effective arm of the quadriceps, in its range", "quadriceps_arm", "patellofemoral_force_peak"),
    Assumption("Kneecap per quadriceps force, in its range", "patellofemoral_ratio", "patellofemoral_force_peak"),
    Assumption("Contact area behind the kneecap, in its range", "patellofemoral_area", "patellofemoral_stress_peak"),
    Assumption("Arm of the Achilles tendon, share of the formula", "achilles_arm", "achilles_force_impulse"),
    Assumption("Growth of that arm, share a degree of plantarflexion", "achilles_growth", "achilles_force_impulse"),
    Assumption("Arm of the one back muscle", "lumbar_arm", "l5s1_disc_force_impulse"),
    Assumption("Slope of the disc to the pelvis's Y", "disc_slope", "l5s1_disc_shear_peak"),
)
STRUCTURE = (
    ("No muscle works against the one that answers a moment", "choice: markers and plates cannot see it",
     "every force is a lower bound; by how much is not known in landing"),
    ("The patellar tendon pulls along the shank", "choice; it leans, by how much was not read",
     "1 % too much of its part for 8 deg, 6 % for 20 deg"),
    ("Medial and lateral contact as two supports; a lifted side is held by ligament or muscle", "balance of a beam",
     "the other side may bear more than the whole"),
    ("The kneecap's tables are bounds from both sides from 90 to 140 deg of flexion",
     "the quadriceps tendon bears a third of the force at 120 deg in 12 cadaver knees [@huberti_1984], from nothing to "
     "60 % in the range", "a wide interval there, said beside the number; none further"),
    ("The Achilles tendon alone answers the dorsiflexion moment", "choice",
     "other plantarflexors would take a part; muscles in front of the shin would add to it"),
    ("The back muscle pulls at right angles to the disc; bending to the side and twisting are not answered",
     "usual in models of lifting", "shear holds no muscle; compression is too low in lopsided landings"),
    ("Arms do not grow with the rider", "no law was read", "inside the spread of each arm"),
)  # fmt: skip


def tissue_section(reported: Reported) -> str:
    analysis = reported.analysis
    return (
        '<div class="caution">' + "".join(html.paragraph(text) for text in CAUTIONS) + "</div>"
        + html.answer(_answer(analysis))
        + sheet_figure(
            tissue_loads(analysis),
            "Tissue loads in body weights from touch-down to the end of the landing. Bands: 95 % of draws of arms, "
            "areas and slopes alone. The dotted lines are limits for lifting at work, not for landing.",
        )
        + "<h3>Knee, thigh on shank</h3>"
        + html.paragraph(
            "The adduction moment stands with the flexion moment: a fall of one with a rise of the other need not "
            "unload the medial side, because the tendon that answers the flexion moment presses both sides."
        )
        + measure_numbers(analysis, (*KNEE, *KNEE_MOMENTS))
        + "<h3>Back of the kneecap, Achilles tendon</h3>"
        + measure_numbers(analysis, KNEECAP_AND_TENDON)
        + "<h3>Lower back</h3>"
        + html.paragraph(_way_text(analysis.landing))
        + measure_numbers(analysis, (*BACK, *BACK_ELSEWHERE))
        + html.paragraph(_limits_text())
        + html.folded("What these loads assume", _assumptions(analysis))
    )  # fmt: skip


def _answer(analysis: Analysis) -> str:
    """The cumulative load of knee and disc of this landing, in body weights times seconds."""
    found = {(m.quantity, m.side): m.value for m in analysis.measures}
    knees = []
    for side in analysis.landing.events.sides:
        value = found.get(("tibiofemoral_force_impulse", side), np.nan)
        if np.isfinite(value):
            knees.append(f"the {SIDE_WORDS[side]} knee {value / analysis.landing.weight:.2f}")
    disc = found.get(("l5s1_disc_force_impulse", ""), np.nan)
    if np.isfinite(disc):
        knees.append(f"the lumbar disc {disc / analysis.landing.weight:.2f}")
    return f"In this landing, in body weights times seconds and at least, {', '.join(knees)}." if knees else ""


def _way_text(landing: Landing) -> str:
    back = lower_back(landing)
    text = f"Load of L5/S1 {back.way}."
    if back.apart.size and np.isfinite(back.apart).all():
        scale = float(np.max(np.abs(back.components[0])))
        apart = float(np.sqrt(np.mean(back.apart**2)))
        text += (
            f" The other way, from trunk, head and arms down, shares neither plates nor leg markers with it; both "
            f"extension moments differ by {100 * apart / scale:.0f} % of the largest one (root mean square)."
        )
    else:
        text += f" The two ways cannot be held against each other: {not_from_above(landing) or back.note}."
    return text + (
        " Back pain in landing athletes went with the angle between thigh and pelvis and with lordosis rather than "
        "with the vertical force (383 youth players [@bmcmsd_2020], 36 athletes [@lordosis_athletes]), so the "
        "angles stand beside the loads."
    )


def _limits_text() -> str:
    limits = load_model("tissue", "lumbar").content["limits"]
    return (
        f"{limits['action_limit']:.0f} N and {limits['upper_limit']:.0f} N ({limits['source']}) were "
        f"{limits['remark']}. They are drawn for scale alone."
    )


def _assumptions(analysis: Analysis) -> str:
    spreads = tissue_spreads()
    rows = [_assumption_row(each, spreads[each.spread], analysis) for each in ASSUMPTIONS]
    rows += [(escape(words), "", "", escape(basis), escape(effect)) for words, basis, effect in STRUCTURE]
    head = ("Assumption", "Value", "Range", "Basis and source", "Effect here")
    return html.table(head, rows, numeric=(1,))


def _assumption_row(each: Assumption, spread: Spread, analysis: Analysis) -> tuple[str, ...]:
    unit = "" if spread.unit.startswith("share") else spread.unit
    scale, unit = (1000.0, "mm") if unit == "m" else (1.0, unit)
    value, low, high = (f"{scale * v:g}" for v in (spread.value, spread.low, spread.high))
    return (
        escape(each.words),
        f"{value} {unit}".strip(),
        f"{low} to {high} {unit}".strip(),
        escape(f"{spread.basis}: {spread.source}"),
        escape(_effect(each, spread, analysis)),
    )


def _effect(each: Assumption, spread: Spread, analysis: Analysis) -> str:
    """What the quantity would be at both ends of one spread, the others held."""
    landing, what = analysis.landing, quantity(each.quantity)
    side = next(iter(landing.events.sides))
    ends = [
        float(tissue_value(landing, each.quantity, side, likeliest() | {spread.name: end}))
        for end in (spread.low, spread.high)
    ]
    if not np.isfinite(ends).all():
        return f"{what.plain_name}: not known here"
    first, last = (number_text(shown(v, what, landing.weight), what.unit) for v in ends)
    return f"{what.plain_name} {first} to {last} {what.unit}"
